"""What the records ask of a person is told in every paper: the rate of a controller, special cables, how a mode is
taken, and numbers that nobody sets.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.documents.entries import entry_words
from interop.documents.package import Package, plan_site
from interop.site.load import load_site
from tests.cli.sites import CATALOGS, run
from tests.documents.reading import flat, need_poppler, texts

TWO = ("    rates_bps: [500000]\n    rate_set_by: fixed\n", "    rates_bps: [250000, 500000]\n    rate_set_by: menu\n")
CODES = ('    codes: {tarn-can: "menu 21, code 03", crag-can: "menu 21, code 07"}\n', "")
K5 = ("in_mode: older, manager: this, source: trade}",
      'in_mode: older, manager: this, special_cable: "adapter lead K5, resistor inside", source: trade}')


def site(folder: Path, packs: str, *, box: tuple[tuple[str, str], ...] = (), new: tuple[tuple[str, str], ...] = ()
         ) -> Path:
    """A site with a controller ``box`` like mole-6 and packs ``newer`` like tarn-b, both with changes."""
    (folder / "own").mkdir()
    for name, source, changes in (("box", "controllers/mole-6", box), ("newer", "packs/tarn-b", new)):
        text = (CATALOGS / f"{source}.yaml").read_text(encoding="utf-8")
        for old, now in ((f"id: {source.split('/')[1]}\n", f"id: {name}\n"), *changes):
            assert old in text
            text = text.replace(old, now)
        (folder / "own" / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    path = folder / "site.yaml"
    path.write_text("interop: site/1\nname: Told\ncatalogs: [cat, own]\n"
                    f"packs: {{{packs}}}\ncontrollers: {{INV: {{model: box, cable_lands_on: unit 1}}}}\n"
                    "links: {L: {packs: [A1, B1], manager: propose, reports_to: INV, cables: propose}}\n",
                    encoding="utf-8")
    return path


BOTH = "A1: {model: tarn-a, new: yes}, B1: {model: newer, new: yes}"
ALIKE = "A1: {model: newer, new: yes}, B1: {model: newer, new: yes}"


def drafted(path: Path) -> Package:
    return plan_site(load_site(path), draft=True)


def pages(package: Package, name: str, folder: Path) -> list[str]:
    need_poppler()
    return [flat(page) for page in texts(package.files[name], folder)]


def of(package: Package, rule: str) -> list[Any]:
    return [one for one in package.plan["findings"] if one["rule"] == rule]


@pytest.mark.parametrize("box, words", [
    ((TWO,), "Enter in INV: tarn-can: menu 21, code 03, 250 kbit/s."),
    ((TWO, CODES), "Enter in INV: tarn-can (box does not state its code), 250 kbit/s."),
    ((), "Enter in INV: tarn-can: menu 21, code 03."),
])
def test_the_rate_of_a_controller_is_told_in_every_paper(
    tmp_path: Path, box: tuple[tuple[str, str], ...], words: str
) -> None:
    """The packs report at either rate; the controller has to be told which."""
    path = site(tmp_path, ALIKE, box=box)
    package = drafted(path)
    (report,) = [bus for name, bus in package.plan["buses"].items() if name == "L report"]
    assert package.plan["settings"]["INV"].get("rate_bps", {}).get("value") == (250000 if box else None)
    assert report["rate_bps"] == (250000 if box else 500000)
    assert flat(words) in flat(run(tmp_path, "plan", "site.yaml", "--out", "out", "--draft").stdout)
    manager = package.plan["links"][0]["manager"]
    assert [manager in page for page in pages(package, "setting-sheets.pdf", tmp_path) if flat(words) in page] == [True]
    assert sum(flat(words) in page for page in pages(package, "cable-notes.pdf", tmp_path)) == 1


def test_a_rate_set_by_a_row_names_the_row() -> None:
    told = {"dialect": {"value": "tarn-can"}, "rate_bps": {"value": 9600, "by": "row RATE at 01"}}
    assert entry_words("INV", told) == "Enter in INV: tarn-can, 9600 bit/s (row RATE at 01)."
    assert entry_words("INV", {"charge_v": {"value": 55.7}}) is None


def test_a_rate_that_nothing_is_known_to_set_shuts_the_settings(tmp_path: Path) -> None:
    package = drafted(site(tmp_path, ALIKE, box=((TWO[0], "    rates_bps: [250000, 500000]\n"),)))
    (one,) = of(package, "setting-not-stated")
    assert (one["level"], one["verdict"], one["about"]) == ("stop", "cannot-tell", ["INV"])
    assert one["facts"] == [{"record": "box", "path": "buses.battery.rate_set_by", "state": "not-stated"}]
    assert package.plan["cleared"]["settings"] is False


def test_a_special_cable_is_told_in_every_paper_and_must_be_accepted(tmp_path: Path) -> None:
    words = "newer asks for a special cable here: adapter lead K5, resistor inside (trade)"
    path = site(tmp_path, BOTH, new=(K5,))
    package = drafted(path)
    assert {name: cable["special"] for name, cable in package.plan["cables"].items()} == {
        "L-1": [words], "L-to-INV": []}
    (one,) = of(package, "special-cable-asked")
    assert (one["level"], sorted(one["about"]), one["accepted"]) == ("caution", ["A1", "B1"], None)
    assert package.plan["cleared"]["settings"] is False
    assert flat(f"L-1: {words}.") in flat(run(tmp_path, "plan", "site.yaml", "--out", "out", "--draft").stdout)
    assert [flat(words) in page for page in pages(package, "setting-sheets.pdf", tmp_path)] == [True, True]
    assert sum(flat(words) in page for page in pages(package, "cable-notes.pdf", tmp_path)) == 1


def test_a_sheet_says_how_the_mode_is_taken(tmp_path: Path) -> None:
    package = drafted(site(tmp_path, BOTH))
    assert {name: (one["mode"], one["mode_set_by"]) for name, one in package.plan["packs"].items()} == {
        "A1": ("own", None), "B1": ("older", "automatic")}
    assert flat("older (automatic)") in pages(package, "setting-sheets.pdf", tmp_path)[1]


@pytest.mark.parametrize("statement, rules", [
    ("mode_set_by: hold the button for 5 s\n", []),
    ("mode_set_by: switch\n", ["stop"]),         # by a switch that the record does not list
    ("", ["stop"]),
])
def test_a_mode_that_nothing_is_known_to_select_shuts_the_settings(
    tmp_path: Path, statement: str, rules: list[str]
) -> None:
    line = next(one for one in (CATALOGS / "packs/tarn-b.yaml").read_text("utf-8").splitlines(keepends=True)
                if one.startswith("mode_set_by:"))
    package = drafted(site(tmp_path, BOTH, new=((line, statement),)))
    assert [one["level"] for one in of(package, "setting-not-stated")] == rules


def test_a_pack_that_stands_in_its_mode_needs_nothing(tmp_path: Path) -> None:
    line = next(one for one in (CATALOGS / "packs/tarn-b.yaml").read_text("utf-8").splitlines(keepends=True)
                if one.startswith("mode_set_by:"))
    path = site(tmp_path, BOTH.replace("model: newer, new: yes", "model: newer"), new=((line, ""),))
    path.write_text(path.read_text("utf-8") + "found: {B1: {ADD: 000000, END: 0, mode: older}}\n", encoding="utf-8")
    assert of(drafted(path), "setting-not-stated") == []


def test_the_mode_that_can_be_set_is_taken(tmp_path: Path) -> None:
    """Among alike packs either mode would do; only the one that the packs are delivered in is known to be had."""
    line = next(one for one in (CATALOGS / "packs/tarn-b.yaml").read_text("utf-8").splitlines(keepends=True)
                if one.startswith("mode_set_by:"))
    package = drafted(site(tmp_path, ALIKE, new=((line, ""), ("{own: tarn-2, older: tarn-1}", "tarn-1"))))
    assert {one["mode"] for one in package.plan["packs"].values()} == {"own"}
    assert of(package, "setting-not-stated") == []


def test_a_pattern_with_two_meanings_is_told_with_both(tmp_path: Path) -> None:
    """Address 1 has the pattern of 2: no paper says that the pack stands at 1, as if that were known."""
    changes = []
    for mode, width in (("own", 5), ("older", 4)):
        one, none = " ".join(["on", *["off"] * (width - 1)]), " ".join(["off"] * width)
        changes.append((f"code: {{binary: first is low, from: 0}}, when: {{mode: {mode}}}}}",
                        f"code: {{table: {{0: {none}, 1: {one}, 2: {one}}}}}, when: {{mode: {mode}}}}}"))
    changes.append(("gaps: forbidden", "gaps: allowed"))     # where they are forbidden the pack is left off the link
    package = drafted(site(tmp_path, ALIKE, new=tuple(changes)))
    assert {(one["address"], *one["address_also"]) for one in package.plan["packs"].values()} == {(0,), (1, 2)}
    assert any(flat("1 or 2: the table prints one pattern for them") in page
               for page in pages(package, "setting-sheets.pdf", tmp_path))
