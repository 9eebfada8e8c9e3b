"""The commands on real sites: each exit status once, what is printed, and names that mean harm."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import resource
import shutil
import signal
import struct
import subprocess
import termios
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.cli.sites import INSTALLED, ROOT, run, site, tree

SMALL = """\
packs:
  A1..A3: {model: tarn-a, place: rack L slot 1..}
controllers:
  INV: {model: mole-6}
found:
  A1: {ADD: 0000}
  A2: {ADD: 1000}
  A3: {ADD: xx00}
  links: {old: {packs: A1..A3, manager: A1, reports_to: INV}}
  cables:
    W1..W2: {chain: A1..A3, from: LINK2, to: LINK1, made: straight, length: 0.3 m}
    W3: {from: A1 REPORT, to: INV BAT, made: "straight, cut 1..3, 7, 8", length: 3 m}
links:
  rack: {packs: A1..A3, manager: A1, reports_to: INV}
cables:
  W1..W2: {chain: A1..A3, from: LINK2, to: LINK1, made: straight, length: 0.3 m}
  W3: {from: A1 REPORT, to: INV BAT, made: propose, length: 3 m}
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    site(tmp_path, SMALL)
    return tmp_path


# ---- exit statuses ----


def test_0_no_stop_in_the_stages_asked_for(small: Path) -> None:
    done = run(small, "check", "site.yaml", "--stage", "found")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Boat house\nAs found: ")


def test_4_no_stop_but_for_joining(small: Path) -> None:
    done = run(small, "check", "site.yaml")
    assert (done.returncode, done.stderr) == (4, "")
    assert re.findall(r"^STOP +([a-z-]+)", done.stdout, re.MULTILINE) == ["run-not-described", "power-not-judged"]


def test_1_a_stop_and_a_refused_plan(small: Path) -> None:
    site(small, SMALL.replace("A2: {ADD: 1000}", "A2: {ADD: 0000}"))
    done = run(small, "check", "site.yaml")
    assert (done.returncode, done.stderr) == (1, "")
    assert "STOP    address-clash\n" in done.stdout
    assert run(small, "check", "site.yaml", "--stage", "planned").returncode == 4
    site(small, "packs:\n  A1: {model: tarn-a}\n  C1: {model: ex11a-fifteen-cells}\n",
         catalogs=[os.path.relpath(ROOT / "catalogs", small), os.path.relpath(ROOT / "tests/exercises/records", small)])
    done = run(small, "plan", "site.yaml", "--out", "out")
    assert (done.returncode, done.stderr) == (1, "")
    assert "\nREFUSED: no sheet and no note is issued.\n" in done.stdout
    assert "\nWritten: out\n        plan.json\n        refusal.pdf\n" in done.stdout
    assert sorted(tree(small / "out")) == ["plan.json", "refusal.pdf"]


def test_2_input_and_usage(small: Path) -> None:
    before = tree(small)
    usage = "Usage: interop {0} [OPTIONS] {1}\nTry 'interop {0} --help' for help.\n\nError: "
    plan, explain = usage.format("plan", "SITE"), usage.format("explain", "[RULE]")
    near = "nearest known name: address-clash; interop explain lists them all"
    cases = {
        ("check", "nowhere.yaml"):
            "nowhere.yaml:1:1: got no such file or directory; expected a readable site file\n",
        ("plan", "site.yaml"): f"{plan}Missing option '--out'.\n",
        ("plan", "site.yaml", "--out", "site.yaml"): "interop: site.yaml is not a folder\n",
        ("plan", "site.yaml", "--out", "out", "--date", "2031-02-30"):
            f"{plan}Invalid value for '--date': got \"2031-02-30\"; expected a date such as 2031-05-02\n",
        ("explain", "adress-clash"): f'{explain}no rule "adress-clash"; {near}\n',
    }  # fmt: skip
    for args, said in cases.items():
        done = run(small, *args)
        assert (done.returncode, done.stdout, done.stderr) == (2, "", said)
    assert tree(small) == before


def small_files() -> None:
    """No file over 2,000 bytes: a disk that is full in the middle of a plan, for a test."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))


def test_3_the_machine_fails_while_a_plan_is_written(small: Path) -> None:
    assert run(small, "plan", "site.yaml", "--out", "out").returncode == 4
    before = tree(small)
    done = subprocess.run([INSTALLED, "plan", "site.yaml", "--out", "out"], cwd=small, capture_output=True,
                          encoding="utf-8", check=False, timeout=120, preexec_fn=small_files)
    assert (done.returncode, done.stdout) == (3, "")
    assert re.fullmatch(r"interop: the machine failed: File too large.*\n", done.stderr)
    assert tree(small) == before


def test_3_the_output_is_full(small: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([INSTALLED, "check", "site.yaml"], cwd=small, stdout=full, stderr=subprocess.PIPE,
                              encoding="utf-8", check=False, timeout=120)
    assert (done.returncode, done.stderr) == (3, "interop: the machine failed: No space left on device\n")


def test_4_settings_but_not_joining(small: Path) -> None:
    done = run(small, "plan", "site.yaml", "--out", "out", "--json")
    assert (done.returncode, done.stderr) == (4, "")
    assert done.stdout.encode() == (small / "out" / "plan.json").read_bytes()
    assert json.loads(done.stdout)["cleared"] == {"settings": True, "joining": False}
    listed = ["cable-notes.pdf", "data-links.svg", "plan.json", "setting-sheets.pdf"]
    assert [name for name in sorted(tree(small / "out")) if name in listed] == listed


def test_130_interrupted_while_it_reads(small: Path) -> None:
    os.mkfifo(small / "slow.yaml")
    running = subprocess.Popen([INSTALLED, "plan", "slow.yaml", "--out", "out"], cwd=small, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, encoding="utf-8")
    with running, (small / "slow.yaml").open("wb"):  # opens once the command has opened it for reading
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    assert (running.returncode, out, err) == (130, "", "interop: interrupted\n")
    assert not (small / "out").exists()


# ---- what is printed ----


def test_the_plan_in_short(small: Path) -> None:
    done = run(small, "plan", "site.yaml", "--out", "out")
    lines = done.stdout.splitlines()
    assert lines[:2] == ["Boat house", "Link rack: manager A1, members A2, A3, reports to INV"]
    assert lines[2].startswith("        Second best for link rack: ")
    start = next(i for i, line in enumerate(lines) if line.startswith("Pack"))
    assert lines[start : start + 11] == [
        "Pack  Place          Role     Mode  Address  Row  Switches  Set   Was",
        "A1    rack L slot 1  manager  own   0        ADD  1..4      0000  the same",
        "A2    rack L slot 2  member   own   1        ADD  1..4      1000  the same",
        "A3    rack L slot 3  member   own   2        ADD  1..4      0100  xx00",
        "Set and Was: one sign for each switch, in the order of the numbers under Switches: 1 on, 0 off, x",
        "nobody looked.",
        "Cable  From       To        Work  Joined  Cut at both ends",
        "W1     A1 LINK2   A2 LINK1  keep  1..8    -",
        "W2     A2 LINK2   A3 LINK1  keep  1..8    -",
        "W3     A1 REPORT  INV BAT   keep  4..6    1..3, 7, 8",
        "Enter in INV: tarn-can: menu 21, code 03.",
    ]
    fingerprint = json.loads((small / "out" / "plan.json").read_bytes())["fingerprint"]
    assert lines[-1] == f"Plan fingerprint: {fingerprint[:4]} {fingerprint[4:8]} {fingerprint[8:12]}"
    assert not any(line.endswith(" ") for line in lines)


def test_conductors_to_remove_and_plugs_to_look_for_stand_in_the_table(small: Path) -> None:
    """Pins at From first. A cable of which only the sockets are not known is checked, not moved."""
    body = SMALL.replace('W3: {from: A1 REPORT, to: INV BAT, made: "straight, cut 1..3, 7, 8"',
                         "W3: {from: INV BAT, to: A1, made: {4: 4, 5: 5, 6: 6, 1: 3}")  # fmt: skip
    found = "W1..W2: {chain: A1..A3, from: LINK2, to: LINK1, made: straight, length: 0.3 m}"
    loose = ("W1: {from: A1 LINK, to: A2 LINK1, made: straight}\n    "
             "W2: {from: A2 LINK2, to: A3 LINK1, made: straight}")  # fmt: skip
    site(small, body.replace(found, loose, 1))
    out = run(small, "plan", "site.yaml", "--out", "out", "--draft").stdout
    rows = [line for line in out.splitlines() if line.startswith(("W", "Cable "))]
    lines = {row.split("  ")[0]: re.split(r" {2,}", row) for row in rows}
    assert lines["Cable"] == ["Cable", "From", "To", "Work", "Joined", "Cut at both ends", "Remove"]
    assert lines["W1"] == ["W1", "A1 LINK2", "A2 LINK1", "check", "1..8", "-", "-"]
    assert lines["W2"] == ["W2", "A2 LINK2", "A3 LINK1", "keep", "1..8", "-", "-"]
    assert lines["W3"] == ["W3", "A1 REPORT", "INV BAT", "check and alter", "4..6", "-", "3 to 1"]
    assert "\nW1: one plug belongs in A1 LINK2; look where it is now.\n" in out
    assert "the plug in A1 LINK goes" not in out
    plan = json.loads((small / "out" / "plan.json").read_text("utf-8"))
    assert plan["cables"]["W3"]["remove"] == [["3", "1"]]


def test_a_wheel_is_told_from_a_switch_that_is_on(tmp_path: Path) -> None:
    site(tmp_path, "packs:\n  C1..C2: {model: crag-300}\nfound: {C1: {DIAL: 1}}\nlinks: {none: C1..C2}\n")
    done = run(tmp_path, "plan", "site.yaml", "--out", "out")
    rows = [line for line in done.stdout.splitlines() if re.match(r"C[12] ", line)]
    assert [row.partition("DIAL")[2] for row in rows] == ["  -         at 1  the same", "  -         at 1  not seen"]


def on_terminal(folder: Path, columns: int, *args: str) -> list[str]:
    """Lines that the command prints on a terminal of so many columns, without their colours."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    env = {key: value for key, value in os.environ.items() if key not in ("COLUMNS", "LINES", "NO_COLOR")}
    text = b""
    with subprocess.Popen([INSTALLED, *args], cwd=folder, stdout=theirs, stderr=theirs, env={**env, "TERM": "xterm"}):
        os.close(theirs)
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # Linux answers so once the other side is closed
                break
            if not piece:
                break
            text += piece
    os.close(ours)
    plain = re.sub(r"\x1b\[[0-9;]*m", "", text.decode("utf-8"))
    assert "\x1b" not in plain
    assert plain != text.decode("utf-8"), "a terminal gets colours"
    return plain.replace("\r\n", "\n").splitlines()


@pytest.mark.parametrize("columns", [40, 60, 80, 120])
def test_lines_fit_the_terminal_and_break_between_words(small: Path, columns: int) -> None:
    shown = on_terminal(small, columns, "plan", "site.yaml", "--out", "out")
    assert max(map(len, shown)) <= columns
    piped = run(small, "plan", "site.yaml", "--out", "out").stdout
    words = {word for line in shown for word in line.split()}
    if columns >= 80:  # the table needs no broken cells
        assert " ".join(shown).split() == piped.split()
    else:
        heads = "Pack: Place: Role: Mode: Address: Row: Switches: Set: Was: Cable: From: To: Work: Joined: Cut ends:"
        assert words - set(heads.split()) <= set(piped.split())  # no word is broken
    assert {"site.yaml:5:3", "0000", "0100"} <= words


def test_a_row_that_stands_on_its_head_is_told_by_its_numbers(tmp_path: Path) -> None:
    """Terminal, plan.json and sheet: the terminal names the order, the sheet draws 4 3 2 1 as they are seen."""
    folder = ROOT / "tests" / "exercises"
    (tmp_path / "sites").mkdir()
    for name in ("records", "sites"):
        shutil.copytree(folder / name, tmp_path / name, dirs_exist_ok=True)
    shutil.copytree(ROOT / "catalogs", tmp_path / "catalogs")
    done = run(tmp_path / "sites", "plan", "ex06-upside-down.yaml", "--out", "out")
    rows = {line.split()[0]: line for line in done.stdout.splitlines() if re.match(r"[NO]\d ", line)}
    assert rows["N1"].endswith("1..4 upside down  0100  new"), rows["N1"]
    plan = json.loads((tmp_path / "sites" / "out" / "plan.json").read_bytes())
    ((_, row),) = plan["packs"]["N1"]["switches"].items()
    assert row["set"] == ["off", "on", "off", "off"]
    assert unbroken(
        "Upside down: with the label upright the row is seen, and drawn on its sheet, from the last of its numbers to "
        "the first. Go by the numbers."
    ) in unbroken(done.stdout)
    assert "left to right" not in done.stdout


def test_a_draft_says_so_on_the_terminal(small: Path) -> None:
    plain = run(small, "plan", "site.yaml", "--out", "out")
    draft = run(small, "plan", "site.yaml", "--out", "draft", "--draft")
    assert plain.returncode == draft.returncode == 4
    lines = draft.stdout.splitlines()
    assert lines[:2] == ["Boat house", "DRAFT - NOT FOR INSTALLATION"]
    assert "DRAFT - NOT FOR INSTALLATION: plan anew without --draft before anything is set or joined." in lines
    verdict = "Settings are cleared. Joining (closing power) is NOT cleared."
    assert verdict in plain.stdout.splitlines()
    assert f"In the plan without --draft: s{verdict[1:]}" in lines
    assert verdict not in lines
    assert "DRAFT" not in plain.stdout


def test_a_single_pack_has_no_second_best_called_none(tmp_path: Path) -> None:
    site(tmp_path, "packs:\n  A1: {model: tarn-a}\ncontrollers:\n  INV: {model: mole-6}\n"
                   "links:\n  rack: {packs: A1, manager: propose, reports_to: INV, cables: propose}\n")
    shown = run(tmp_path, "plan", "site.yaml", "--out", "out").stdout
    assert "Second best for link rack: no pack on it; it loses at" in shown
    assert "None" not in shown


def test_explain_says_every_rule(small: Path) -> None:
    listed = run(small, "explain")
    assert (listed.returncode, listed.stderr) == (0, "")
    names = [line.split()[0] for line in listed.stdout.splitlines() if line.startswith("  ")]
    assert len(names) == len(set(names)) > 10
    told = run(small, "explain", "address-clash")
    assert told.stdout.splitlines()[0] == "address-clash"
    assert (told.returncode, told.stderr) == (0, "")


# ---- names that mean harm ----

NASTY = r"""<script>alert('x')</script> &amp; [bold red]#\\ a\nb\u202Ec\u200Bd \u001b[2J\U0001F50B ⟨ \"e\" \u05d0"""
RAW = "<script>alert('x')</script> &amp; [bold red]#\\ a\nb\u202ec\u200bd \x1b[2J\U0001f50b ⟨ \"e\" \u05d0"
SEEN = (
    "<script>alert('x')</script> &amp; [bold red]#\\ a⟨U+000A⟩b⟨U+202E⟩c⟨U+200B⟩d ⟨U+001B⟩[2J⟨U+1F50B⟩ "
    '⟨U+27E8⟩ "e" ⟨U+05D0⟩'
)


@pytest.fixture
def nasty(tmp_path: Path) -> Path:
    """A site whose every free text means harm; a device place and an acceptance among them."""
    path = site(tmp_path, SMALL.replace("place: rack L slot 1..", f'place: "{NASTY}"').replace("{model: mole-6}", (
        f'{{model: mole-6, note: "{NASTY}"}}')) + "accepted:\n  - {rule: address-clash, about: [A1, A2], "
        f'why: "{NASTY}", by: "{NASTY}", on: 2031-05-02}}\n')
    path.write_text(path.read_text(encoding="utf-8").replace("Boat house", f'"{NASTY}"'), encoding="utf-8")
    return tmp_path


def unbroken(text: str) -> str:
    return "".join(text.split())


def test_harmful_names_in_the_terminal(nasty: Path) -> None:
    for args in (("check", "site.yaml"), ("plan", "site.yaml", "--out", "out")):
        done = run(nasty, *args, env={"FORCE_COLOR": "1"})
        assert done.returncode in {0, 4}, done.stderr
        plain = re.sub(r"\x1b\[[0-9;]*m", "", done.stdout)
        assert re.findall("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u05d0]", plain) == []
        assert unbroken(SEEN) in unbroken(plain)
        assert unbroken(plain).startswith(unbroken(SEEN))


def test_harmful_names_in_json_are_the_names(nasty: Path) -> None:
    assert run(nasty, "plan", "site.yaml", "--out", "out").returncode == 4
    plan = json.loads((nasty / "out" / "plan.json").read_bytes())
    assert plan["site"]["name"] == RAW
    assert plan["devices"]["A1"]["place"] == RAW
    checked = json.loads(run(nasty, "check", "site.yaml", "--json").stdout)
    assert checked["site"]["name"] == RAW


def test_harmful_names_in_the_drawing_are_text(nasty: Path) -> None:
    assert run(nasty, "plan", "site.yaml", "--out", "out").returncode == 4
    root = ET.fromstring((nasty / "out" / "data-links.svg").read_bytes())  # noqa: S314  # our own file  # our own file
    names = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert names.isdisjoint({"script", "foreignObject", "image", "a", "bold"})
    written = unbroken("".join(root.itertext()))
    assert unbroken("<script>alert('x')</script>") in written
    assert not set(written) & set("\x1b\u202e\u200b\u05d0")


def test_output_on_a_terminal_of_few_characters(nasty: Path) -> None:
    done = run(nasty, "check", "site.yaml", env={"PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (4, "")
    assert done.stdout.startswith("<script>alert('x')</script> &amp; [bold red]#\\ a\\u27e8U+000A\\u27e9b")
    as_json = run(nasty, "check", "site.yaml", "--json", env={"PYTHONIOENCODING": "ascii"})
    assert json.loads(as_json.stdout)["site"]["name"] == RAW


@pytest.mark.parametrize("name", ["<script>", "A[1]", 'A\\"1', "A\\u202E1", "A\\u200B1", "A:1", "-A", "A'1", "🔋"])
def test_harmful_ids_are_refused(tmp_path: Path, name: str) -> None:
    site(tmp_path, f'packs: {{"{name}": {{model: tarn-a}}}}\n')
    done = run(tmp_path, "check", "site.yaml")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert done.stderr.endswith("; expected an id: a letter or digit first and last, between them letters, digits, "
                                "space and . + - _ / ( ) # (no two points together), at most 64 characters\n")


def test_the_folder_is_named_whole(small: Path) -> None:
    out = small / ("a long name " * 12).strip()
    done = run(small, "plan", "site.yaml", "--out", str(out))
    assert f"\nWritten: {out}\n" in done.stdout
    shutil.rmtree(out)
