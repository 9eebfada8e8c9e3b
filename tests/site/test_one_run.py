"""Every fault of a site and of the records it uses is told in one run: alone, or with any others, as the same line."""

from __future__ import annotations

import random
import re
from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from interop.records.faults import InputFaults
from interop.site.load import load_site
from tests.cli.sites import CATALOGS

RULES = ("mixing-silent", "power-not-judged", "on-side-not-stated")

SITE = """\
interop: site/1
name: Boat house
catalogs:
  - cat
  - shelf
ambient_c: 0..35
dc_ground: minus
load:
  usual_w: 1800
racks:
  rack S:
    model: elm
packs:
  R1..R6:
    model: tarn-a
    place: rack L slot 1..
  N1..N2:
    model: tarn-b
    place: rack L slot 7..8
    new: yes
  E1:
    place: rack S slot 1
    new: yes
  E2..E3:
    model: elm
    place: shelf 4
controllers:
  INV:
    model: mole-6
    units: 3
    cable_lands_on: unit 1
  SUN:
    model: brook-charger
found:
  R1:
    ADD: 0000
    voltage_v: 53.12
  R2:
    ADD: 1000
    mode: own
  E2..E3:
    SET: 01
  links:
    old:
      packs: R1..R6
      manager: R1
  cables:
    O1..O5:
      chain: R1..R6
      from: LINK2
      to: LINK1
links:
  rack:
    packs: [R1..R6, N1..N2]
    manager: propose
    reports_to: INV
  side:
    packs:
      - E1
      - E2
    manager: E1
    may_leave: E2
  none:
    - E3
cables:
  W1..W5:
    chain: R1..R6
    from: LINK2
    to: LINK1
    made: straight
    length: 0.5 m
  W6:
    from: R6 LINK2
    to: N1 LINK1
    made:
      7: 7
      8: 8
      6: 6
  W7:
    from: manager of rack REPORT
    to: INV BAT
    made: propose
  W8:
    from: E1 PORT1
    to: E2 PORT2
    made: straight, cut 1..3
posts:
  main: [1..9]
  left:
    - 1..12
runs:
  R1..R6, N1..N2:
    from: pack
    to: left 1..8
    cable: 25 mm2
    length: 0.6 m
  left:
    from: left 12
    to: main 1
    plus:
      device: fuse-400
  E1..E3:
    from: pack
    to: main 5..7
    length: 2 ft
  INV:
    from: controller unit 1..3
    to: main 2..4
    minus:
      length: 2.1 m
set:
  E1:
    SET: 10
wishes:
  must:
    - keep R1 managed
    - manager N1 of rack
  prefer:
    - keep addresses of R1..R3
    - fewest switches moved
accepted:
  - rule: mixing-silent
    about: [tarn-a, tarn-b]
    why: all fused
    by: A. Example
    on: 2031-05-02
  - rule: on-side-not-stated
    about: E1
    why: looked
    by: B. Example
    on: 2031-05-03
"""

ELM = """\
interop: record/1
id: elm
name: Elm
sources: {manual: {title: M, says: stated}}
cells:
  chemistry: lfp
  in_series: 16
buses:
  chain: {kind: rs-485}
ports:
  PORT: {sockets: [PORT1, PORT2], plug: rj45}
pins:
  PORT:
    1: chain plus
    2: chain minus
switches:
  SET:
    kind: slide
    printed: 1..2
    parts:
      - {use: 1..2, sets: address, code: {binary: first is low, from: 0}}
"""

PLANTS = {
    "version": ("interop: site/1", "interop: site/9"),
    "name": ("name: Boat house", "name: [a]"),
    "catalog": ("  - shelf", "  - shelf\n  - {a: b}"),
    "ambient": ("ambient_c: 0..35", "ambient_c: mild"),
    "ground": ("dc_ground: minus", "dc_ground: earth"),
    "load": ("usual_w: 1800", "usual_w: 1800 W"),
    "unknown field": ("racks:\n", "rakcs2: 1\nracks:\n"),
    "model": ("    model: elm\n    place", "    model: elms\n    place"),
    "place": ("slot 7..8", "slot 7..9"),
    "new": ("slot 1\n    new: yes", "slot 1\n    new: true"),
    "units": ("units: 3", "units: none"),
    "lands": ("cable_lands_on: unit 1", "cable_lands_on: "),
    "wrong kind": ("model: brook-charger", "model: tarn-a"),
    "no map": ("controllers:\n", "  X9: tarn-a\ncontrollers:\n"),
    "no id": ("controllers:\n", "  Y1..Z9: {model: tarn-a}\ncontrollers:\n"),
    "pattern": ("ADD: 0000", "ADD: 100"),
    "voltage": ("voltage_v: 53.12", "voltage_v: 53.12x"),
    "row": ("ADD: 1000", "ADDR: 1000"),
    "mode": ("mode: own", "mode: older"),
    "found device": ("  links:\n    old", "  R77: {voltage_v: 5}\n  links:\n    old"),
    "found manager": ("manager: R1\n", "manager: E2\n"),
    "found chain": ("chain: R1..R6\n      from", "chain: R1..R5\n      from"),
    "pack of a link": ("packs: [R1..R6, N1..N2]", "packs: [R1..R6, N1..N2, R99]"),
    "controller": ("reports_to: INV", "reports_to: IVN"),
    "manager": ("manager: E1", "manager: R2"),
    "leave": ("may_leave: E2", "may_leave: E9"),
    "no link": ("  none:\n", "  odd: [E1]\n  none:\n"),
    "none": ("    - E3\n", "    - E3\n    - E1\n"),
    "chain": ("chain: R1..R6\n    from", "chain: R1..R5\n    from"),
    "port": ("from: LINK2\n    to", "from: LNIK2\n    to"),
    "length": ("length: 0.5 m", "length: 0.5"),
    "end": ("from: R6 LINK2", "from: R66 LINK2"),
    "far pin": ("      8: 8", "      8: 7"),
    "another far pin": ("      6: 6", "      6: [6]"),
    "manager's port": ("manager of rack REPORT", "manager of rack REPROT"),
    "inverter's port": ("to: INV BAT", "to: INV BAR"),
    "cut": ("cut 1..3", "cut 1...3"),
    "far port": ("to: E2 PORT2", "to: E2 PROT"),
    "posts": ("    - 1..12", "    - 1..12\n    - {}"),
    "post": ("to: main 1\n", "to: main 11\n"),
    "busbar": ("to: main 5..7", "to: mian 5..7"),
    "size": ("cable: 25 mm2", 'cable: "#4"'),
    "run length": ("length: 0.6 m", "length: 6 ft 2 in"),
    "another run length": ("length: 2 ft", "length: 2 feets"),
    "fuse": ("device: fuse-400", "device: fuse-401"),
    "minus length": ("length: 2.1 m", "length: 2.1"),
    "run ends": ("to: left 1..8", "to: left 1..7"),
    "set": ("    SET: 10", "    SET: 12"),
    "wish": ("keep R1 managed", "keep R1 manged"),
    "wish's link": ("manager N1 of rack", "manager N1 of rakc"),
    "preference": ("    - fewest", "    - {}\n    - fewest"),
    "rule": ("rule: mixing-silent", "rule: mixing-silnt"),
    "about": ("about: E1", "about: E88"),
    "why": ("    why: looked\n", ""),
    "date": ("on: 2031-05-03", "on: 2031-05-33"),
    "record": ("  in_series: 16\n", "  in_series: none\n"),
    "record's pin": ("    2: chain minus\n", "    2: chain mine\n"),
    "record's format": ("interop: record/1", "interop: record/2"),
}  # fmt: skip


@pytest.fixture(scope="module")
def folder() -> Iterable[Path]:
    with TemporaryDirectory() as name:
        (Path(name) / "cat").symlink_to(CATALOGS)
        (Path(name) / "shelf").mkdir()
        yield Path(name)


def planted(names: Iterable[str]) -> tuple[str, str]:
    """The site and its own record with some faults planted."""
    texts = [SITE, ELM]
    for name in names:
        old, new = PLANTS[name]
        assert sum(text.count(old) for text in texts) == 1, (name, [text.count(old) for text in texts])
        texts = [text.replace(old, new) for text in texts]
    return texts[0], texts[1]


def read(folder: Path, site: str, elm: str) -> tuple[str, ...]:
    """The faults of a site, in order, without line and column."""
    (folder / "shelf" / "elm.yaml").write_text(elm, encoding="utf-8")
    (folder / "site.yaml").write_text(site, encoding="utf-8")
    try:
        load_site(folder / "site.yaml", rules=lambda: RULES)
    except InputFaults as bad:
        faults = bad.faults
    else:
        return ()
    places = [(fault.file, fault.line, fault.column) for fault in faults]
    assert places == sorted(places)
    assert len(set(faults)) == len(faults)
    return tuple(re.sub(r":\d+:\d+:", "", str(fault), count=1) for fault in faults)


_ALONE: dict[str, tuple[str, ...]] = {}


def alone(folder: Path, names: Iterable[str]) -> list[str]:
    for name in names:
        if name not in _ALONE:
            _ALONE[name] = read(folder, *planted([name]))
    return got(line for name in names for line in _ALONE[name])


def got(lines: Iterable[str]) -> list[str]:
    """Where a fault is and what was got there: the names that were expected are those that stand beside it."""
    return sorted(re.sub(r" on line \d+", "", line.partition("; expected")[0]) for line in lines)


def test_the_site_is_good(folder: Path) -> None:
    assert read(folder, SITE, ELM) == ()


@pytest.mark.parametrize("name", PLANTS)
def test_each_alone_is_one_line(folder: Path, name: str) -> None:
    assert len(alone(folder, [name])) == 1


HIDDEN = {
    "catalog": ["model", "fuse"],  # the record may stand in that catalog
    "model": ["far port"],  # the ports of that pack
}
"""What cannot be understood because of another plant."""


def test_all_together_are_told_in_one_run_and_nothing_else(folder: Path) -> None:
    for left_out in (["catalog", "far port"], ["catalog", "model"]):
        names = [name for name in PLANTS if name not in left_out]
        assert got(read(folder, *planted(names))) == alone(folder, names)


@pytest.mark.parametrize("seed", range(60))
def test_none_hides_or_causes_another(folder: Path, seed: int) -> None:
    rng = random.Random(seed)
    names = rng.sample(list(PLANTS), rng.choice([2, 5, 20, 40]))
    seen = [one for one in names if not any(one in HIDDEN.get(other, []) for other in names)]
    assert got(read(folder, *planted(names))) == alone(folder, seen)


RECORD_FAULTS = ["record", "record's pin", "record's format"]
NAMES_A_PACK = ["end", "found device", "pack of a link", "leave", "about"]
SECTIONS = {
    "catalogs": ("cat", ["catalog", "fuse", "model", "wrong kind", "pattern", "row", "mode", "set", "port", "far port",
                         "manager's port", "inverter's port", *RECORD_FAULTS]),
    "load": ("5", ["load"]),
    "racks": ("[x]", ["set", *RECORD_FAULTS]),  # nobody else has that record: "model" is planted too
    "packs": ("[R1]", ["model", "place", "new", "no map", "no id", "pattern", "row", "mode", "set", "port", "far port",
                       "manager's port", *NAMES_A_PACK, *RECORD_FAULTS]),
    "controllers": ("INV", ["units", "lands", "wrong kind", "controller", "inverter's port", "end", "found device",
                            "about", "manager's port"]),
    "found": ("R1", ["pattern", "voltage", "row", "mode", "found device", "found manager", "found chain"]),
    "links": ("[R1]", ["pack of a link", "controller", "manager", "leave", "no link", "none", "wish's link",
                       "manager's port"]),
    "cables": ("[W1]", ["chain", "port", "length", "end", "far pin", "another far pin", "manager's port",
                        "inverter's port", "cut", "far port"]),
    "posts": ("main", ["posts", "post", "busbar"]),
    "runs": ("[R1]", ["post", "busbar", "size", "run length", "another run length", "fuse", "minus length",
                      "run ends"]),
    "set": ("[]", ["set"]),
    "wishes": ("keep R1", ["wish", "wish's link", "preference"]),
    "accepted": ("{rule: a}", ["rule", "about", "why", "date"]),
}  # fmt: skip


@pytest.mark.parametrize("misspelt", [False, True], ids=["is none", "is misspelt"])
@pytest.mark.parametrize("section", SECTIONS)
def test_a_section_hides_only_what_rests_on_it(folder: Path, section: str, misspelt: bool) -> None:
    """One line for the section, none that follows from it, and every other fault as if it stood alone."""
    value, hidden = SECTIONS[section]
    names = [name for name in PLANTS if name not in ("catalog", "far port")]
    site, elm = planted(names)
    shape = rf"^{section}:\n(?:  ? ?.*\n)+?(?=\w|\Z)"
    line = f"{section[:-2]}x{section[-1]}: {value}\n" if misspelt else f"{section}: {value}\n"
    site, count = re.subn(shape, line, site, flags=re.MULTILINE)
    assert count == 1
    lines = got(read(folder, site, elm))
    (own,) = [one for one in lines if one.startswith(f"site.yaml {line.partition(':')[0]}: got")]
    assert lines == sorted([*alone(folder, [name for name in names if name not in hidden]), own])


def test_a_record_at_fault_still_tells_which_names_are_wrong(folder: Path) -> None:
    """Its sound rows and ports are known; a row or port at fault is not judged by."""
    site, elm = planted(["record", "set", "far port"])
    assert got(read(folder, site, elm)) == alone(folder, ["record", "set", "far port"])
    broken = elm.replace("printed: 1..2", "printed: 1..x")
    assert [line.partition(" got")[0] for line in got(read(folder, site, broken))] == [
        "shelf/elm.yaml cells.in_series:", "shelf/elm.yaml switches.SET.printed:", "site.yaml cables.W8.to:"]
    broken = elm.replace("sockets: [PORT1, PORT2]", "sockets: [PORT1, {}]")
    assert [line.partition(" got")[0] for line in got(read(folder, site, broken))] == [
        "shelf/elm.yaml cells.in_series:", "shelf/elm.yaml ports.PORT.sockets.1:", "site.yaml set.E1.SET:"]


def test_a_broken_file_beside_hides_only_models_that_are_not_there(folder: Path) -> None:
    beside = folder / "shelf" / "beside.yaml"
    try:
        beside.write_text("[1, 2\n", encoding="utf-8")
        names = ["model", "row", "inverter's port"]
        told = got(read(folder, *planted(names)))
        assert told == sorted([*alone(folder, names[1:]), "shelf/beside.yaml 2: got did not find expected ',' or ']'"])
        beside.write_text(ELM.replace("id: elm", '"id": elm2').replace("16", "0"), encoding="utf-8")
        assert got(read(folder, *planted(names))) == alone(folder, names), "its id is known, and nobody uses it"
    finally:
        beside.unlink()
