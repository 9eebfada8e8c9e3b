"""Every fault of a record is told in one run: planted alone, in pairs or all together, each gives the same line."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache

import pytest

from interop.records.catalog import parse_record
from interop.records.faults import InputFaults

RECORD = """\
interop: record/1
kind: pack
id: alder
name: Alder
sources:
  manual: {title: M, says: stated}
  bench:
    title: B
    says: measured
modes:
  - own
  - older
  - third
cells:
  chemistry: lfp
  in_series: 16
  full_v: 58
  empty_v: 44
  charge_v:
    manual p. 9: 56
    bench: 57
limits:
  charge_a: 50
  charge_peak_a: 75 for 30 s
buses:
  chain:
    kind: rs-485
    rates_bps:
      - 9600
      - 19200
    dialect:
      own: alder-2
      older: alder-1
    modes: [own]
  report:
    kind: can
    sockets: [REPORT]
lines:
  stop:
    wires: [a, b]
    modes: [older]
  halt:
    does: stop
    wires: [c]
ports:
  LINK:
    sockets: [LINK1, LINK2]
    plug: rj45
    inside: same pin joined
  REPORT:
    sockets: [REPORT]
    plug: rj45
pins:
  LINK:
    1: chain plus
    2: chain minus
    3: stop a
    4: [halt c, reference]
  REPORT:
    4: report high
    5: report low
printed:
  LINK:
    1: A
switches:
  ADD:
    kind: slide
    printed: 1..4
    on_side: up
    parts:
      - use: 1..3
        sets: address
        code: {binary: first is low, from: 0}
        when:
          role: [manager, member]
          mode: own
      - use: 4
        sets: terminator
        bus: chain
        code: {flag: on}
        when: {mode: own}
      - use: 1..4
        sets: nothing
        keep: off
        when: {mode: older}
  WHEEL:
    kind: hex
    positions: 0..15
    parts:
      - use: all
        sets: group
        code:
          table:
            1: "1"
            2: "2"
        when: {role: manager}
      - use: all
        sets: nothing
        keep: 0
        when: {role: [member, unmanaged]}
addresses:
  chain:
    allowed: 0..7
    kept_for: {7: nobody}
manager:
  made_by: address
  port: REPORT
procedures:
  - after: switch change
    do: restart
with:
  - other: family beech
    in_mode: older
    source: manual p. 3
  - other: family crag
    same_link: no
"""

PLANTS = {
    "format": ("interop: record/1", "interop: record/9"),
    "kind": ("kind: pack", "kind: pakc"),
    "id": ("id: alder\n", "id: [alder]\n"),
    "name": ("name: Alder", "name: ~x\nname: Alder"),
    "an unknown field": ("limits:\n", "note: hm\nlimits:\n"),
    "a source": ("    says: measured", "    says: maybe"),
    "a title": ("    title: B\n", ""),
    "a mode": ("cells:\n", "  - bench\ncells:\n"),
    "an odd mode": ("  - third\n", "  - thi!rd\n"),
    "chemistry": ("chemistry: lfp", "chemistry: lipo"),
    "in series": ("in_series: 16", "in_series: 16.0"),
    "empty above full": ("empty_v: 44", "empty_v: 60"),
    "a source of a statement": ("    bench: 57", "    bnch: 57"),
    "a statement": ("manual p. 9: 56", "manual p. 9: x"),
    "a number": ("charge_a: 50", "charge_a: 1..x"),
    "a peak": ("75 for 30 s", "75 for ever"),
    "a rate": ("      - 9600\n", "      - 9600 baud\n"),
    "another rate": ("      - 19200\n", "      - quick\n"),
    "a case": ("      older: alder-1", "      oldr: alder-1"),
    "a mode of a bus": ("    modes: [own]\n", "    modes: [owm]\n"),
    "a kind of bus": ("    kind: can", "    kind: cam"),
    "a socket of a bus": ("    sockets: [REPORT]\nlines", "    sockets: [REPOT]\nlines"),
    "a mode of a line": ("    modes: [older]\n", "    modes: [odler]\n"),
    "an odd wire": ("    wires: [c]\n", "    wires: [c, d!]\n"),
    "a line that does nothing": ("    does: stop\n", ""),
    "a plug": ("    plug: rj45\n    inside", "    plug: rj46\n    inside"),
    "inside": ("inside: same pin joined", "inside: same pins joined"),
    "a socket twice": ("sockets: [LINK1, LINK2]", "sockets: [LINK1, LINK1]"),
    "a pin function": ("    1: chain plus", "    1: chian plus"),
    "a wire": ("    3: stop a", "    3: stop e"),
    "one of two functions": ("4: [halt c, reference]", "4: [halt c, {}]"),
    "a pin of the plug": ("    5: report low", "    9: report low"),
    "pins of no port": ("  REPORT:\n    4:", "  REPORD: {1: empty}\n  REPORT:\n    4:"),
    "a printed port": ("printed:\n  LINK:", "printed:\n  LNIK: {2: B}\n  LINK:"),
    "the side": ("on_side: up", "on_side: top"),
    "the use of a part": ("      - use: 1..3", "      - use: 3..5"),
    "a role": ("role: [manager, member]", "role: [manger, member]"),
    "a mode of a part": ("          mode: own", "          mode: ownn"),
    "the bus of a part": ("        bus: chain", "        bus: nobus"),
    "a code": ("code: {flag: on}", "code: {flag: up}"),
    "what a part keeps": ("keep: off\n        when: {mode", "keep: of\n        when: {mode"),
    "a table": ('            2: "2"', '            two: "2"'),
    "a mark": ('            1: "1"', '            1: "16"'),
    "the mark that is kept": ("        keep: 0", "        keep: off"),
    "an address": ("  chain:\n    allowed: 0..7", "  chian: {allowed: 0..7}\n  chain:\n    allowed: 0..7"),
    "kept addresses": ("kept_for: {7: nobody}", "kept_for: {x: nobody}"),
    "the port of a manager": ("  port: REPORT", "  port: REPROT"),
    "a procedure": ("    do: restart", "    do: [restart]"),
    "another family": ("other: family beech", "other: beech"),
    "a source of mixing": ("source: manual p. 3", "source: manul p. 3"),
    "a mode of mixing": ("in_mode: older", "in_mode: oldr"),
    "mixing": ("    same_link: no", "    same_link: perhaps"),
}  # fmt: skip

@cache
def read(text: str) -> tuple[str, ...]:
    """The faults of a record, in order, without file, line and column."""
    try:
        parse_record(text.encode(), "alder.yaml")
    except InputFaults as bad:
        places = [(fault.line, fault.column) for fault in bad.faults]
        assert places == sorted(places)
        return tuple(str(fault).split(" ", 1)[1] for fault in bad.faults)
    return ()


def planted(names: Iterable[str]) -> str:
    text = RECORD
    for name in names:
        old, new = PLANTS[name]
        assert text.count(old) == 1, (name, text.count(old))
        text = text.replace(old, new)
    return text


def got(lines: Iterable[str]) -> list[str]:
    """Where a fault is and what was got there: the names that were expected are those that stand beside it."""
    return sorted(line.partition("; expected")[0] for line in lines)


def alone(names: Iterable[str]) -> list[str]:
    return got(line for name in names for line in read(planted([name])))


def test_the_record_is_good() -> None:
    assert read(RECORD) == ()


@pytest.mark.parametrize("name", PLANTS)
def test_each_alone_is_one_line(name: str) -> None:
    assert len(read(planted([name]))) == 1


def test_all_together_are_told_in_one_run_and_nothing_else() -> None:
    assert got(read(planted(PLANTS))) == alone(PLANTS)


@pytest.mark.parametrize("name", PLANTS)
def test_none_hides_or_causes_another(name: str) -> None:
    for other in PLANTS:
        if other != name:
            assert got(read(planted([name, other]))) == alone([name, other])


# ---- what cannot be understood because of one place ----

SECTIONS = {
    "sources": ("[manual]", ["a source of a statement", "a source of mixing", "a mode", "a source", "a title"]),
    "modes": ("own", ["a mode", "an odd mode", "a mode of a bus", "a mode of a line", "a mode of a part",
                      "a mode of mixing", "a case"]),
    "cells": ("lfp", ["chemistry", "in series", "empty above full", "a source of a statement", "a statement"]),
    "buses": ("[chain]", ["a rate", "another rate", "a case", "a mode of a bus", "a kind of bus", "a socket of a bus",
                          "a pin function", "a wire", "the bus of a part", "an address"]),
    "lines": ("stop", ["a mode of a line", "an odd wire", "a line that does nothing", "a pin function", "a wire"]),
    "ports": ("LINK", ["a plug", "inside", "a socket twice", "a pin of the plug", "pins of no port", "a printed port",
                       "the port of a manager", "a socket of a bus"]),
    "pins": ("7", ["a pin function", "a wire", "one of two functions", "a pin of the plug", "pins of no port"]),
    "switches": ("none", ["the side", "the use of a part", "a role", "a mode of a part", "the bus of a part", "a code",
                          "what a part keeps", "a table", "a mark", "the mark that is kept"]),
    "addresses": ("7", ["an address", "kept addresses"]),
    "with": ("nobody", ["another family", "a source of mixing", "a mode of mixing", "mixing"]),
}  # fmt: skip


def replaced(text: str, section: str, line: str) -> str:
    made, count = re.subn(rf"^{section}:\n(?:  ? ?.*\n)+?(?=\w|\Z)", line, text, flags=re.MULTILINE)
    assert count == 1
    return made


@pytest.mark.parametrize("section", SECTIONS)
def test_a_section_that_is_none_hides_only_what_rests_on_it(section: str) -> None:
    value, hidden = SECTIONS[section]
    others = [name for name in PLANTS if name not in hidden]
    lines = got(read(replaced(planted(PLANTS), section, f"{section}: {value}\n")))
    (own,) = [line for line in lines if line.startswith(f"{section}: got")]
    assert lines == sorted([*alone(others), own])


@pytest.mark.parametrize("section", ["modes", "cells", "buses", "lines", "ports", "switches", "sources"])
def test_a_misspelt_section_is_one_fault(section: str) -> None:
    """Nothing is told of what it would have given: neither that it is missing, nor that its names are unknown."""
    text = RECORD.replace(f"\n{section}:", f"\n{section[:-2]}x{section[-1]}:")
    (line,) = read(text)
    assert line.endswith(f"; nearest known name: {section}")


def test_what_yaml_itself_has_wrong_hides_nothing_else() -> None:
    odd = "name: &n Alder\nrevision: *n\n{a: b}: c\n<<: {family: x}\n[1]: [2]"
    text = planted(["a number", "a code", "mixing"]).replace("name: Alder", odd) + "---\na: 1\n"
    lines = got(read(text))
    assert lines == sorted([*alone(["a number", "a code", "mixing"]),
                            'name: got anchor "&n"', 'revision: got alias "*n"', "got a map or list as a key",
                            "got a map or list as a key", '<<: got merge key "<<"', "got a second document"])
