"""Unusable input through the installed command: status 2, nothing written, every fault of the run with its place."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.sites import INSTALLED, Done, run, site, tree

HEAD = "interop: site/1\nname: Boat house\n"


def refused(folder: Path, name: str = "site.yaml", *more: str) -> list[str]:
    """Plan a site that cannot be used; the lines on stderr."""
    before = tree(folder)
    done = run(folder, "plan", name, "--out", "out", *more)
    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    assert tree(folder) == before
    return done.stderr.splitlines()


# ---- the text of a file ----

DEEP = "a: " + "[" * 32 + "]" * 32
TEXTS = {
    "empty": (b"", "site.yaml:1:1: got an empty file; expected a map of fields"),
    "only comments": (b"# nothing\n\n# here\n", "site.yaml:1:1: got an empty file; expected a map of fields"),
    "only a document mark": (b"---\n", "site.yaml:1:1: got an empty file; expected a map of fields"),
    "a list": (b"- interop: site/1\n", "site.yaml:1:1: got a list; expected a map of fields"),
    "a word": (b"site\n", 'site.yaml:1:1: got "site"; expected a map of fields'),
    "no UTF-8": (b"interop: site/1\nname: \xc3\xa9\xc3\xa9\xff\n",
                 "site.yaml:2:9: got byte 0xff; expected UTF-8 text"),
    "no UTF-8 after a mark": (b"\xef\xbb\xbfname: \xff\n", "site.yaml:1:7: got byte 0xff; expected UTF-8 text"),
    "UTF-16": (HEAD.encode("utf-16"), "site.yaml:1:1: got UTF-16 text; expected UTF-8 text"),
    "tabs": (b"packs:\n  A1:\n\tmodel: tarn-a\n",
             "site.yaml:3:1: got a tab; expected spaces for indentation"),
    "a NUL": (b"name: a\0b\n", ("site.yaml:1:8: got character U+0000; expected printable text, with line feeds "
                               "between lines")),
    "an escape": (b"name: \x1b[2J\n", ("site.yaml:1:7: got character U+001B; expected printable text, with line feeds "
                                      "between lines")),
    "a line separator": ("name: a\u2028b\n".encode(), ("site.yaml:1:8: got character U+2028; expected printable text, "
                                                      "with line feeds between lines")),
    "returns alone": (b"name: a\rb: c\n", ("site.yaml:1:8: got character U+000D; expected printable text, with "
                                                "line feeds between lines")),
    "two documents": (b"name: a\n---\nname: b\n",
                      "site.yaml:2:1: got a second document; expected one document a file"),
    "an alias": (b"name: &n a\ncode: *n\n",
                 'site.yaml:2:7: code: got alias "*n"; expected the value written out (no anchors or aliases)'),
    "nesting": (DEEP.encode(), "site.yaml:1:35: " + "a" + ".0" * 31 +
                ": got nesting deeper than 32; expected at most 32 levels"),
    "a bracket left open": (b"packs: [1, 2\n",
                            "site.yaml:2:1: packs.2: got did not find expected ',' or ']'; expected well-formed YAML"),
    "a map as a key": (b"{a: 1}: b\n", "site.yaml:1:1: got a map or list as a key; expected a word as key"),
}  # fmt: skip


@pytest.mark.parametrize("case", TEXTS)
def test_text_that_no_site_can_be_read_from(tmp_path: Path, case: str) -> None:
    data, line = TEXTS[case]
    (tmp_path / "site.yaml").write_bytes(data)
    assert refused(tmp_path)[-1] == line


def test_what_the_text_has_wrong_is_told_together_with_its_fields(tmp_path: Path) -> None:
    site(tmp_path, "name: again\n<<: {a: b}\ncode: !!str none\npacks: {A1: {model: &m tarn-a, units: [2]}}\n")
    assert refused(tmp_path) == [
        'site.yaml:4:1: name: got key "name" a second time; expected each key once (first on line 2)',
        'site.yaml:5:1: <<: got merge key "<<"; expected the values written out',
        'site.yaml:6:7: code: got tag "tag:yaml.org,2002:str"; expected no tag',
        'site.yaml:7:21: packs.A1.model: got anchor "&m"; expected the value written out (no anchors or aliases)',
        "site.yaml:7:39: packs.A1.units: got a list; expected a whole number from 1 to 64",
    ]


def test_too_many_values_and_too_many_bytes(tmp_path: Path) -> None:
    (tmp_path / "site.yaml").write_text(HEAD + "posts: {main: [" + "1," * 200_000 + "]}\n", encoding="utf-8")
    (line,) = refused(tmp_path)
    assert line.endswith(": got more than 200000 values; expected at most 200000 values a file (--limit raises it)")
    assert line.startswith("site.yaml:3:")
    site(tmp_path, "packs: {A1: {model: tarn-a}}\n#" + "-" * 4_000_000 + "\n")
    assert refused(tmp_path) == [
        "site.yaml:1:1: got more than 4000000 bytes; expected at most 4000000 bytes (--limit raises it)"]
    raised = run(tmp_path, "check", "site.yaml", "--limit", "5")
    assert (raised.returncode, raised.stderr) == (4, "")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no /dev/zero")
def test_an_endless_file_ends(tmp_path: Path) -> None:
    done = run(tmp_path, "check", "/dev/zero")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "zero:1:1: got more than 4000000 bytes; expected at most 4000000 bytes (--limit raises it)\n"


# ---- the fields of a site ----


def test_fields_and_shapes(tmp_path: Path) -> None:
    site(tmp_path, """\
ambiant_c: 0..35
load: [1800]
dc_ground: earth
packs:
  A1: {model: tarn-a, mode: own, new: true}
  A2: tarn-a
  A3: {model: }
controllers: [INV]
cables: {}
links: {rack: {manager: A1}}
accepted: {rule: mixing-silent}
""")
    assert refused(tmp_path) == [
        ('site.yaml:4:1: ambiant_c: got field "ambiant_c"; expected a known field: accepted, ambient_c, cables, '
        "catalogs, code, controllers, dc_ground, devices, found, interop, links, load, name, packs, posts, racks, "
        "runs, set, storage_place, wishes; nearest known name: ambient_c"),
        "site.yaml:5:7: load: got a list; expected a map of fields",
        'site.yaml:6:12: dc_ground: got "earth"; expected one of: floating, minus, plus, unknown',
        ('site.yaml:8:23: packs.A1.mode: got field "mode"; expected a known field: age_years, cable_lands_on, '
        "firmware, found_capacity_ah, model, new, note, place, units; nearest known name: model"),
        'site.yaml:8:39: packs.A1.new: got "true"; expected one of: yes, no',
        'site.yaml:9:7: packs.A2: got "tarn-a"; expected a map of fields',
        "site.yaml:10:15: packs.A3.model: got nothing; expected a text of 1 to 400 characters",
        "site.yaml:11:14: controllers: got a list; expected a map",
        'site.yaml:13:15: links.rack.packs: got nothing; expected the field "packs"',
        "site.yaml:14:11: accepted: got a map; expected a list",
    ]


def test_numbers(tmp_path: Path) -> None:
    bad = ["-1", "NaN", ".nan", "inf", ".inf", "1e99", "1_000", "+5", '" 12 "', "0x10", '"12,5"', "1e3e3", "١٢",
           "1.", ".5", "5 W", "9..1", "~"]  # fmt: skip
    rows = "".join(f"  A{i}: {{model: tarn-a, age_years: {text}}}\n" for i, text in enumerate(bad))
    site(tmp_path, f"load: {{usual_w: 1e1, highest_w: 12..13.5}}\npacks:\n{rows}")
    got = [text.strip('"') for text in bad]
    expected = ["a number from 0 to 50 years" + (", lower end first" if text == "9..1" else "") for text in bad]
    assert refused(tmp_path) == [
        f'site.yaml:{i + 6}:{33 + len(str(i))}: packs.A{i}.age_years: got "{one}"; expected {what}'
        for i, (one, what) in enumerate(zip(got, expected, strict=True))]


def test_units(tmp_path: Path) -> None:
    lengths = ["3", "3 yd", "-1 m", "0 m", "1e9 m", "6 feet", "1;5 m", "nan m"]
    sizes = ["70", "70 mm", "00 AWG", "5/0 AWG", "2000 mm2", "1_0 mm2"]
    rows = "".join(f"  L{i}: {{from: one 1, to: two 1, length: {text}}}\n" for i, text in enumerate(lengths))
    rows += "".join(f"  S{i}: {{from: one 1, to: two 1, cable: {text}}}\n" for i, text in enumerate(sizes))
    site(tmp_path, f"packs: {{A1: {{model: tarn-a}}}}\nposts: {{one: [1], two: [1]}}\nruns:\n{rows}")
    lines = refused(tmp_path)
    length = "a length with its unit, such as 1.8 m or 6 ft"
    span = ", from 1 mm to 10 km"
    for i, text in enumerate(lengths):
        end = span if text in ("0 m", "1e9 m") else ""
        assert lines[i] == f'site.yaml:{7 + i}:40: runs.L{i}.length: got "{text}"; expected {length}{end}'
    assert len(lines) == len(lengths) + len(sizes)
    for i, text in enumerate(sizes):
        line = lines[len(lengths) + i]
        assert line.startswith(f'site.yaml:{7 + len(lengths) + i}:39: runs.S{i}.cable: got "{text}"; expected a '
                               "conductor size")


# ---- the names of a site ----

NAMES = """\
packs:
  A1..A3: {model: tarn-a, place: rack L slot 1..2}
  A2: {model: tarn-a}
  N1: {model: tarn-c, new: yes}
  N2: {model: tarn-b, new: yes}
  "<script>": {model: tarn-b}
controllers:
  INV: {model: mole-6}
  SUN: {model: tarn-a}
  pack: {model: mole-6}
found:
  A1: {ADD: 00000, voltage_v: -3}
  A2: {ADD: 0O01, END: 1}
  A1..A2: {ADD: 0000}
  N2: {ADD: "000000"}
  A3: {mode: older}
links:
  rack: {packs: [A1..A3, N1, B7], manager: B7, reports_to: [A1, IMV]}
  none: [A3]
cables:
  W1: {from: A1 LINK2, to: A1 LINK1}
  W2: {from: A1 LINK1, to: A2 LIMK1}
  W3: {from: A2 LINK1, to: A1 LINK1, made: crossed}
  W4..W5: {chain: [A1..A2]}
  W6..W7: {from: A2 LINK2, to: A3 LINK1..3}
  W8: {from: A1 LINK2}
  W9: {from: A3 LINK1, to: A2 LINK2, made: {3: 6, 6: 6}}
posts: {main: [1..2]}
runs:
  A1..A3: {from: pack, to: main 1..2, device: fuse-40}
  x: {from: main 1, to: main 2}
  y: {from: main 1, to: mian 2}
  z: {from: main 3, to: main 1}
wishes:
  must: [keep A1 managed, keep A1..A2 unmanaged, kep A1 managed, fewest switches moved, manager A1..A2]
  prefer: [manager A2 of rak]
accepted:
  - {rule: mixing-silent, about: [tarn-a, tarn-z], why: w, by: b, on: 2031-02-30}
"""

NAMES_TOLD = """\
site.yaml:5:34: packs.A1..A3.place: got "rack L slot 1..2", 2 places; expected 3 places, one for each of A1..A3
site.yaml:6:3: packs.A2: got id "A2" a second time; expected each id once (first on line 5)
site.yaml:7:15: packs.N1.model: got model "tarn-c"; expected the id of a record in the catalogs; nearest known \
name: tarn-b
site.yaml:9:3: packs.<script>: got "<script>"; expected an id: a letter or digit first and last, between them \
letters, digits, space and . + - _ / ( ) # (no two points together), at most 64 characters
site.yaml:12:16: controllers.SUN.model: got "tarn-a", a record of kind pack; expected a record of kind \
controller or charger
site.yaml:13:3: controllers.pack: got id "pack"; expected an id that is not one of links, cables, none, \
manager, pack, controller, propose
site.yaml:15:13: found.A1.ADD: got "00000"; expected 4 switches as 0, 1 or x, in the order printed (got 5)
site.yaml:15:31: found.A1.voltage_v: got "-3"; expected a number from 0 to 1500 V
site.yaml:16:13: found.A2.ADD: got "0O01"; expected 4 switches as 0, 1 or x, in the order printed
site.yaml:16:19: found.A2.END: got field "END"; expected a switch row of tarn-a or voltage_v or mode: ADD, \
voltage_v, mode
site.yaml:17:3: found.A1..A2: got "A1" a second time; expected each device once (first on line 15)
site.yaml:17:3: found.A1..A2: got "A2" a second time; expected each device once (first on line 16)
site.yaml:18:3: found.N2: got "N2"; expected an installed device (this one is new: yes)
site.yaml:19:14: found.A3.mode: got "older"; expected a mode of tarn-a: own
site.yaml:21:17: links.rack.packs: got "B7"; expected a pack of this site: A1, A2, A3, N2
site.yaml:21:44: links.rack.manager: got "B7"; expected a pack of this link, or propose: A1, A2, A3
site.yaml:21:60: links.rack.reports_to: got "A1", a pack of this link; expected a controller of this site
site.yaml:21:60: links.rack.reports_to: got "IMV"; expected a controller of this site: INV, pack; nearest known \
name: INV
site.yaml:22:9: links.none: got "A3"; expected a pack on no link (it stands in link rack)
site.yaml:24:3: cables.W1: got both ends on "A1"; expected two devices
site.yaml:25:3: cables.W2: got socket LINK1 of A1 a second time; expected one cable in each socket (cable W1 on \
line 24 is in it)
site.yaml:25:28: cables.W2.to: got "LIMK1"; expected a port or socket of A2 (tarn-a): LINK, REPORT, LINK1, \
LINK2; nearest known name: LINK1
site.yaml:26:3: cables.W3: got socket LINK1 of A1 a second time; expected one cable in each socket (cable W1 on \
line 24 is in it)
site.yaml:26:44: cables.W3.made: got "crossed"; expected straight, straight with cuts (straight, cut 1..6), a \
map of pins, propose, unknown, or the id of a cable record
site.yaml:27:19: cables.W4..W5.chain: got 2 devices; expected 3 devices for 2 cables
site.yaml:28:32: cables.W6..W7.to: got "A3 LINK1..3", 3 ends; expected 2 ends, one for each of W6..W7
site.yaml:29:3: cables.W8: got a cable with one end; expected the fields "from" and "to", or "chain"
site.yaml:30:54: cables.W9.made.6: got pin "6" of the far plug a second time; expected each pin of the far plug \
once (pin 3 goes to it)
site.yaml:33:28: runs.A1..A3.to: got "main 1..2", 2 ends; expected 3 ends, one for each of A1..A3
site.yaml:33:47: runs.A1..A3.device: got model "fuse-40"; expected the id of a record in the catalogs; nearest \
known name: fuse-400
site.yaml:34:3: runs.x: got both ends on busbar "main"; expected two different busbars
site.yaml:35:25: runs.y.to: got "mian"; expected a busbar of this site with its post: main; nearest known name: \
main
site.yaml:36:13: runs.z.from: got post "3" of main; expected a post of this busbar: 1, 2
site.yaml:38:27: wishes.must.1: got "keep A1..A2 unmanaged"; expected a wish that does not contradict "keep A1 \
managed" on line 38
site.yaml:38:50: wishes.must.2: got "kep A1 managed"; expected a wish: keep IDS unmanaged; keep IDS managed; \
keep addresses of IDS; keep switches of IDS; manager ID; not manager IDS; fewest switches moved; physical \
order; nearest known name: keep IDS managed
site.yaml:38:66: wishes.must.3: got "fewest switches moved"; expected under prefer: it has no yes or no
site.yaml:38:89: wishes.must.4: got "manager A1..A2"; expected one pack as manager of one link
site.yaml:38:89: wishes.must.4: got "manager A1..A2"; expected a wish that does not contradict "keep A1..A2 \
unmanaged" on line 38
site.yaml:38:89: wishes.must.4: got "manager A1..A2"; expected a wish that does not contradict link rack, which \
states the manager B7
site.yaml:39:12: wishes.prefer.0: got "rak"; expected a link of this site: rack; nearest known name: rack
site.yaml:41:34: accepted.0.about: got "tarn-z"; expected a device or model of this site: A1, A2, A3, N2, INV, \
pack, mole-6, tarn-a …; nearest known name: tarn-b
site.yaml:41:71: accepted.0.on: got "2031-02-30"; expected a date such as 2031-05-02
"""


def test_names_that_lead_nowhere(tmp_path: Path) -> None:
    site(tmp_path, NAMES)
    assert refused(tmp_path) == NAMES_TOLD.splitlines()


def test_what_follows_from_a_fault_is_not_told(tmp_path: Path) -> None:
    """A device without a record, or whose entry cannot be read, is still a device to all that name it."""
    site(tmp_path, """\
packs:
  A1..A2: {model: tarn-aa}
  A3: tarn-a
  A4..A5: {model: tarn-a, place: slot 1..3}
found: {A1: {ADD: 0000}, A3: {ADD: 0000}}
links: {rack: {packs: A1..A5, manager: A3}, other: [A1]}
cables: {W1..W4: {chain: A1..A5}, W5: {from: A1 LINK1, to: A5 LINK2}}
wishes: {must: [manager A1 of rack, keep addresses of A3, manager A2 of other]}
accepted: [{rule: mixing-silent, about: [tarn-a, A1], why: a, by: b, on: 2031-05-02}]
""")
    assert refused(tmp_path) == [
        ('site.yaml:5:19: packs.A1..A2.model: got model "tarn-aa"; expected the id of a record in the catalogs; '
        "nearest known name: tarn-a"),
        'site.yaml:6:7: packs.A3: got "tarn-a"; expected a map of fields',
        'site.yaml:7:34: packs.A4..A5.place: got "slot 1..3", 3 places; expected 2 places, one for each of A4..A5',
        "site.yaml:9:52: links.other: got a list; expected a map of fields",
    ]


def test_a_range_of_thousands_of_unknown_names_is_cut_short(tmp_path: Path) -> None:
    site(tmp_path, "packs: {A1: {model: tarn-a}}\nlinks: {rack: {packs: B1..B9000}}\n")
    lines = refused(tmp_path)
    assert len(lines) == 11
    assert lines[0] == 'site.yaml:5:23: links.rack.packs: got "B1"; expected a pack of this site: A1'
    expected = "expected a pack of this site: A1"
    assert lines[-1] == f"site.yaml:5:23: links.rack.packs: got more names of this kind; {expected}"


def test_more_ids_than_any_site_has(tmp_path: Path) -> None:
    site(tmp_path, "packs: {A1..A20001: {model: tarn-a}, B1..B20000: {model: tarn-a}, C1..C2: {model: tarn-a}}\n")
    assert refused(tmp_path) == [
        'site.yaml:4:9: packs.A1..A20001: got "A1..A20001"; expected a range of at most 20000 ids',
        "site.yaml:4:67: packs.C1..C2: got more than 20000 devices; expected at most 20000 devices a site",
    ]


WISHES = [
    (["keep A1 unmanaged", "manager A1"], '"keep A1 unmanaged" on line 8'),
    (["manager A1", "not manager A1..A2"], '"manager A1" on line 8'),
    (["not manager A1", "manager A1 of rack"], '"not manager A1" on line 8'),
    (["manager A1", "manager A2"], '"manager A1" on line 8'),
    (["keep addresses of A1", "keep A1..A2 unmanaged"], '"keep addresses of A1" on line 8'),
    (["keep A1 managed", "keep A3 managed"], "links.none, where A3 stands"),
]


@pytest.mark.parametrize(("wishes", "against"), WISHES)
def test_wishes_that_contradict(tmp_path: Path, wishes: list[str], against: str) -> None:
    rows = "".join(f"    - {wish}\n" for wish in wishes)
    site(tmp_path, "packs: {A1..A3: {model: tarn-a}}\nlinks: {rack: {packs: A1..A2}, none: A3}\n"
                   f"wishes:\n  must:\n{rows}")
    assert refused(tmp_path) == [
        f'site.yaml:9:7: wishes.must.1: got "{wishes[1]}"; expected a wish that does not contradict {against}']


# ---- records and catalogs ----


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A site of one pack with a catalog of its own beside it."""
    (tmp_path / "shelf").mkdir()
    site(tmp_path, "packs: {A1: {model: mine}}\n", catalogs=["shelf"])
    return tmp_path / "shelf"


RECORD = """\
interop: record/1
id: mine
name: Mine
sources: {manual: {title: M, says: stated}}
cells: {chemistry: lfp, in_series: 16}
"""


def test_a_record_with_many_faults_tells_them_all(shelf: Path) -> None:
    (shelf / "mine.yaml").write_text("""\
interop: record/1
id: mine
name: Mine
sources: {manual: {title: M, says: stated}, bench: {title: B, says: maybe}}
modes: [own, older, manual]
cells: {chemistry: lpf, in_series: 16.0, full_v: 58, empty_v: 60, charge_v: {manuel p. 9: 56}}
limits: {charge_a: 1..x, charge_peak_a: 75 for ever, discharge_a: {}}
buses: {chain: {kind: rs-485, dialect: {own: tarn-1, oldr: tarn-2}, isolated: yes, modes: [own, oler]}}
lines: {halt: {wires: [a]}}
ports: {LINK: {sockets: [IN, IN], plug: rj46, inside: same pins joined}}
pins: {LINK: {9: chain plus, 1: chain pluss}, LINKS: {1: empty}}
switches:
  ADD:
    kind: slide
    printed: 1..4
    parts:
      - {use: 1..5, sets: address, code: {binary: first is low, from: 0}, when: {role: [manger]}}
      - {use: 1, sets: address, code: {flag: on}, when: {mode: ownn}}
addresses: {chian: {allowed: 0..14}}
with: [{other: everyone, source: manul}]
""", encoding="utf-8")
    assert refused(shelf.parent) == RECORD_TOLD.splitlines()


RECORD_TOLD = """\
shelf/mine.yaml:4:69: sources.bench.says: got "maybe"; expected one of: stated, measured, practice, inferred, \
reported
shelf/mine.yaml:5:21: modes.2: got "manual"; expected a mode named unlike any source, role or bus kind
shelf/mine.yaml:6:20: cells.chemistry: got "lpf"; expected one of: lfp, nmc, nca, lto, lmo, lead, sodium; \
nearest known name: lfp
shelf/mine.yaml:6:36: cells.in_series: got "16.0"; expected a whole number from 1 to 48
shelf/mine.yaml:6:63: cells.empty_v: got "60"; expected less than full_v (58 V)
shelf/mine.yaml:6:78: cells.charge_v.manuel p. 9: got "manuel p. 9"; expected a source of this record, then a \
place in it: manual, bench; nearest known name: manual
shelf/mine.yaml:7:20: limits.charge_a: got "1..x"; expected a number from 0 to 5000 A
shelf/mine.yaml:7:41: limits.charge_peak_a: got "75 for ever"; expected a current in A with its time, such as \
75 for 30 s
shelf/mine.yaml:7:67: limits.discharge_a: got an empty map; expected a number from 0 to 5000 A, or statements \
by source
shelf/mine.yaml:8:54: buses.chain.dialect.oldr: got "oldr"; expected a mode of this record, a role or a kind of \
bus; nearest known name: older
shelf/mine.yaml:8:97: buses.chain.modes.1: got "oler"; expected a mode of this record: own, older, manual; \
nearest known name: older
shelf/mine.yaml:9:15: lines.halt: got line "halt"; expected the field "does" (stop, enable, wake, direction, on \
off), or one of these as its name
shelf/mine.yaml:10:30: ports.LINK.sockets.1: got socket "IN" a second time; expected each socket in one port \
(first in LINK)
shelf/mine.yaml:10:41: ports.LINK.plug: got "rj46"; expected a known plug (or the field poles beside it): rj45, \
rj11, rj12, ring lug, terminal block 1..24, round 2..24, header 2..24, modular 4, modular 6, modular 8, modular \
10, d-sub 9, d-sub 15, d-sub 25; nearest known name: rj45
shelf/mine.yaml:10:55: ports.LINK.inside: got "same pins joined"; expected same pin joined, alone, or a bridge \
such as 1-8; nearest known name: same pin joined
shelf/mine.yaml:11:33: pins.LINK.1: got "chain pluss"; expected a pin function: chain plus, chain minus, halt \
a, reference, shell, empty, unused, unknown, supply 5 V; nearest known name: chain plus
shelf/mine.yaml:11:54: pins.LINKS: got "LINKS"; expected a port of this record: LINK; nearest known name: LINK
shelf/mine.yaml:17:15: switches.ADD.parts.0.use: got "1..5"; expected switches of this row: 1, 2, 3, 4
shelf/mine.yaml:17:89: switches.ADD.parts.0.when.role.0: got "manger"; expected one of: manager, member, \
unmanaged; nearest known name: manager
shelf/mine.yaml:18:46: switches.ADD.parts.1.code.flag: got a flag for address; expected a table: a flag sets a \
role or a terminator
shelf/mine.yaml:18:64: switches.ADD.parts.1.when.mode: got "ownn"; expected a mode of this record: own, older, \
manual; nearest known name: own
shelf/mine.yaml:19:20: addresses.chian: got "chian"; expected a bus of this record: chain; nearest known name: \
chain
shelf/mine.yaml:20:16: with.0.other: got "everyone"; expected family NAME, family NAME generation N, record ID, \
or any
shelf/mine.yaml:20:34: with.0.source: got "manul"; expected a source of this record: manual, bench; nearest \
known name: manual
"""


def test_a_record_without_sources_and_one_that_names_the_switch_twice(shelf: Path) -> None:
    (shelf / "mine.yaml").write_text(RECORD.replace("sources: {manual: {title: M, says: stated}}\n", "") + """\
switches:
  ADD:
    kind: slide
    printed: 1..2
    parts:
      - {use: 1..2, sets: address, code: {binary: first is low, from: 0}}
      - {use: 2, sets: nothing}
""", encoding="utf-8")
    lines = refused(shelf.parent)
    assert lines[0] == 'shelf/mine.yaml:1:1: sources: got nothing; expected the field "sources"'
    twice = ("shelf/mine.yaml:10:7: switches.ADD.parts: got switch 2 covered twice; expected once in each case (here: "
             "every case)")
    assert lines[1:] == [twice]
    (shelf / "mine.yaml").write_text((shelf / "mine.yaml").read_text(encoding="utf-8")
                                     + "sources: {manual: {title: M, says: stated}}\n", encoding="utf-8")
    assert refused(shelf.parent) == [twice]


def test_faults_of_site_record_and_catalog_come_together(shelf: Path) -> None:
    (shelf / "mine.yaml").write_text(RECORD.replace("16", "0"), encoding="utf-8")
    (shelf / "other.yaml").write_text("[1, 2\n", encoding="utf-8")
    site(shelf.parent, "packs: {A1: {model: mine, units: 0}, A2: {model: yours}}\n", catalogs=["shelf", "../nowhere"])
    assert refused(shelf.parent) == [
        'shelf/mine.yaml:5:36: cells.in_series: got "0"; expected a whole number from 1 to 48',
        "shelf/other.yaml:2:1: 2: got did not find expected ',' or ']'; expected well-formed YAML",
        ('site.yaml:3:19: catalogs.1: got "../nowhere", no such folder; expected a folder of records, as seen from the '
        "folder of the site file"),
        'site.yaml:4:34: packs.A1.units: got "0"; expected a whole number from 1 to 64',
    ]


def test_one_id_in_two_files_and_in_two_catalogs(shelf: Path) -> None:
    (shelf / "a.yaml").write_text(RECORD, encoding="utf-8")
    (shelf / "b.yaml").write_text("# again\n" + RECORD.replace("id: mine", 'id: "mine"'), encoding="utf-8")
    (shelf.parent / "more").mkdir()
    (shelf.parent / "more" / "c.yml").write_text(RECORD, encoding="utf-8")
    site(shelf.parent, "packs: {A1: {model: mine}}\n", catalogs=["shelf", "more", "shelf"])
    assert refused(shelf.parent) == [
        'more/c.yml:2:1: id: got id "mine" a second time; expected each id once (first in shelf/a.yaml)',
        "shelf:1:1: got a folder a second time; expected each folder once (first as shelf)",
        'shelf/b.yaml:3:1: id: got id "mine" a second time; expected each id once (first in shelf/a.yaml)',
    ]


def test_links_that_leave_the_catalog_or_lead_nowhere(shelf: Path) -> None:
    (shelf.parent / "out.yaml").write_text(RECORD, encoding="utf-8")
    (shelf.parent / "far").mkdir()
    (shelf / "mine.yaml").symlink_to("../out.yaml")
    (shelf / "lost.yaml").symlink_to("no-such.yaml")
    (shelf / "round.yaml").symlink_to("round.yaml")
    (shelf / "deep").symlink_to("../far")
    what = "got a link that leads out of its folder, or nowhere; expected a file inside the catalog folder"
    assert refused(shelf.parent) == [f"shelf/{name}:1:1: {what}"
                                     for name in ("deep", "lost.yaml", "mine.yaml", "round.yaml")]


def test_a_link_inside_the_catalog_is_a_record(shelf: Path) -> None:
    (shelf / "hidden").mkdir()
    (shelf / "hidden" / "mine.txt").write_text(RECORD, encoding="utf-8")
    (shelf / "mine.yaml").symlink_to("hidden/mine.txt")
    done = run(shelf.parent, "check", "site.yaml")
    assert (done.returncode in {0, 1}, done.stderr) == (True, "")


def test_a_file_or_nothing_where_a_catalog_belongs(tmp_path: Path) -> None:
    site(tmp_path, "packs: {A1: {model: tarn-a}}\n", catalogs=["site.yaml", "nowhere", '"a\\0b"'])
    end = "expected a folder of records, as seen from the folder of the site file"
    assert refused(tmp_path) == [
        f'site.yaml:3:12: catalogs.0: got "site.yaml", a file; {end}',
        f'site.yaml:3:23: catalogs.1: got "nowhere", no such folder; {end}',
        f'site.yaml:3:32: catalogs.2: got "a⟨U+0000⟩b", no such folder; {end}',
    ]


# ---- files and folders ----


def test_a_site_that_is_missing_or_a_folder(tmp_path: Path) -> None:
    (tmp_path / "yard").mkdir()
    assert refused(tmp_path, "yard/none.yaml") == [
        "yard/none.yaml:1:1: got no such file or directory; expected a readable site file"]
    assert refused(tmp_path, "yard") == ["yard:1:1: got a folder; expected a site file"]
    assert refused(tmp_path, "yard/../none\n.yaml") == [
        "yard/../none⟨U+000A⟩.yaml:1:1: got no such file or directory; expected a readable site file"]


def powerless(folder: Path, *args: str) -> Done:
    """Run the installed command without the powers by which root reads and writes everything."""
    way = [str(INSTALLED), *args]
    if sys.platform == "win32" or os.geteuid() == 0:
        setpriv = shutil.which("setpriv")
        if setpriv is None:
            pytest.skip("root may read everything, and setpriv (util-linux), which gives that up, is not installed")
        way = [setpriv, "--inh-caps=-all", "--bounding-set=-all", *way]
    return subprocess.run(way, cwd=folder, capture_output=True, encoding="utf-8", check=False, timeout=120)


def test_what_may_not_be_read_or_written(tmp_path: Path) -> None:
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (shelf / "mine.yaml").write_text(RECORD, encoding="utf-8")
    path = site(tmp_path, "packs: {A1: {model: mine}}\n", catalogs=["shelf"])
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    closed.chmod(0o555)
    done = powerless(tmp_path, "plan", "site.yaml", "--out", "closed/plan")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "interop: closed may not be changed by this user\n"
    assert list(closed.iterdir()) == []
    (shelf / "mine.yaml").chmod(0)
    done = powerless(tmp_path, "check", "site.yaml")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[0] == "shelf/mine.yaml:1:1: got permission denied; expected a readable file"
    path.chmod(0)
    done = powerless(tmp_path, "check", "site.yaml")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "site.yaml:1:1: got permission denied; expected a readable site file\n"


def test_a_line_that_a_terminal_would_obey_is_shown_as_codes(tmp_path: Path) -> None:
    site(tmp_path, 'packs: {A1: {model: "\\e[2Jtarn\\u202e\\n⟨"}}\n')
    assert refused(tmp_path) == [
        ('site.yaml:4:21: packs.A1.model: got model "⟨U+001B⟩[2Jtarn⟨U+202E⟩⟨U+000A⟩⟨U+27E8⟩"; expected the id of a '
        "record in the catalogs")]


# ---- what looks like something else ----


def test_words_that_look_like_other_types_are_words(tmp_path: Path) -> None:
    (tmp_path / "shelf").mkdir()
    (tmp_path / "shelf" / "on.yaml").write_text("""\
interop: record/1
id: on
name: ~
revision: 12:30
sources: {no: {title: 1e3, says: stated, date: 2031-05-02}}
modes: [off, 0110]
cells: {chemistry: lfp, in_series: {no 12:30: 16}}
switches:
  ON: {kind: slide, printed: 1..4, parts: [{use: 1..4, sets: address, code: {binary: first is low, from: 0}}]}
""", encoding="utf-8")
    site(tmp_path, "packs: {1: {model: on, note: ~, firmware: 0x10}}\n"
                   "found: {1: {ON: 0110, mode: 0110, voltage_v: 53}}\n", catalogs=["shelf"])
    done = run(tmp_path, "check", "site.yaml")
    assert (done.returncode in {0, 1}, done.stderr) == (True, "")
