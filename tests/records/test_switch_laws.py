"""Laws that tie settings and readings together: every record of catalogs/ and of the exercises, then invented rows."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from interop.records.catalog import parse_record
from interop.records.facts import Reading as Context
from interop.records.faults import InputFaults
from interop.records.models import SwitchRow
from interop.records.switches import (
    Case,
    Pattern,
    Reading,
    cover_faults,
    domain,
    grid,
    parts_in,
    positions,
    read_pattern,
    readings,
    row_length,
    row_numbers,
    settings,
    value_key,
)

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted([*(ROOT / "catalogs").rglob("*.yaml"), *(ROOT / "tests" / "exercises" / "records").glob("*.yaml")])
Values = dict[str, str | int | bool]
Row = tuple[SwitchRow, tuple[str, ...]]


def rows_of_records() -> list[Any]:
    found = []
    for path in FILES:
        record = parse_record(path.read_bytes(), path.name).record
        for name, row in record.switches.items():
            found.append(pytest.param((row, tuple(record.modes)), id=f"{record.id}-{name}".replace(" ", "_")))
    return found


ROWS = rows_of_records()


def patterns(row: SwitchRow) -> Iterator[Pattern]:
    """Every state of the row; for a wheel or menu one text more that it never shows."""
    if row.kind == "slide":
        yield from itertools.product(("off", "on"), repeat=row_length(row))
    else:
        yield from ((shown,) for shown in (*positions(row), "?"))


def combinations(row: SwitchRow, case: Case) -> Iterator[Values]:
    """Every combination of values in a case, save those in which the row would contradict the case (role, mode)."""
    offered: dict[str, tuple[str | int | bool, ...]] = {}
    for part, _ in parts_in(row, case):
        if part.sets != "nothing":
            offered[value_key(part)] = domain(row, part)
        elif part.keep is None:
            offered[f"free {part.use}"] = domain(row, part)
    for picked in itertools.product(*offered.values()):
        values = dict(zip(offered, picked, strict=True))
        if all(values.get(key, have) == have for key, have in (("role", case.role), ("mode", case.mode)) if have):
            yield values


def means(found: tuple[Reading, ...], case: Case, values: Mapping[str, str | int | bool]) -> bool:
    return any(reading.case == case and reading.table == values for reading in found)


def image(row: SwitchRow, case: Case) -> set[Pattern]:
    found = set()
    for values in combinations(row, case):
        setting = settings(row, values, case)
        if setting.complete:
            found.add(tuple(str(bit) for bit in setting.pattern))
    return found


def laws_hold(row: SwitchRow, modes: tuple[str, ...]) -> None:
    """x in readings(settings(x)); settings(y) = pattern for every y of a pattern; outside every image the empty set."""
    images: set[Pattern] = set()
    for case in grid(row, modes):
        for values in combinations(row, case):
            setting = settings(row, values, case)
            if not setting.complete:
                assert setting.causes, (case, values)
                continue
            pattern = tuple(str(bit) for bit in setting.pattern)
            images.add(pattern)
            assert means(readings(row, pattern, case, modes), case, values), (case, values, pattern)
            assert means(read_pattern(row, pattern, modes), case, values), (case, values, pattern)
    for pattern in patterns(row):
        found = read_pattern(row, pattern, modes)
        assert bool(found) == (pattern in images), pattern
        for reading in found:
            assert settings(row, reading.table, reading.case).pattern == pattern, (pattern, reading)


@pytest.mark.parametrize("given_row", ROWS)
def test_what_is_set_is_read_and_what_is_read_is_set(given_row: Row) -> None:
    laws_hold(*given_row)


@pytest.mark.parametrize("given_row", ROWS)
def test_each_case_reads_exactly_its_own_image(given_row: Row) -> None:
    row, modes = given_row
    for case in grid(row, modes):
        seen = {pattern for pattern in patterns(row) if readings(row, pattern, case, modes)}
        assert seen == image(row, case), case


@pytest.mark.parametrize("given_row", ROWS)
def test_every_switch_is_covered_exactly_once_in_every_case(given_row: Row) -> None:
    row, modes = given_row
    assert cover_faults(row, modes) == ()
    for case in grid(row, modes):
        values = next(combinations(row, case))
        assert settings(row, values, case).complete, case


@pytest.mark.parametrize("given_row", ROWS)
def test_knowing_the_case_only_takes_readings_away(given_row: Row) -> None:
    row, modes = given_row
    for pattern in patterns(row):
        every = set(read_pattern(row, pattern, modes))
        by_case = [set(readings(row, pattern, case, modes)) for case in grid(row, modes)]
        assert set().union(*by_case) == every
        assert all(found <= every for found in by_case)


@pytest.mark.parametrize("given_row", ROWS)
def test_a_switch_nobody_looked_at_reads_as_both(given_row: Row) -> None:
    row, modes = given_row
    for position in range(row_length(row)):
        for pattern in itertools.islice(patterns(row), 16):
            hidden = (*pattern[:position], "x", *pattern[position + 1:])
            states = ("off", "on") if row.kind == "slide" else positions(row)
            both = [(*pattern[:position], state, *pattern[position + 1:]) for state in states]
            expected = {reading for full in both for reading in read_pattern(row, full, modes)}
            assert set(read_pattern(row, hidden, modes)) == expected


@pytest.mark.parametrize("given_row", ROWS)
def test_an_unmanaged_pack_reads_as_a_member_where_the_row_says_nothing_else(given_row: Row) -> None:
    row, modes = given_row
    if any("unmanaged" in (part.when.role or ()) for part in row.parts):
        pytest.skip("the row names the case of an unmanaged pack")
    for pattern in patterns(row):
        found = readings(row, pattern, Case(role="unmanaged"), modes)
        assert found == readings(row, pattern, Case(role="member"), modes)


# ---- planted double covers ----

PLANTS = [
    ("catalogs/packs/tarn-a.yaml", "{use: 3, sets: nothing, keep: off}", "ADD", [(3, {})]),
    ("catalogs/packs/tarn-b.yaml", "{use: 6, sets: nothing, keep: off, when: {mode: own}}", "ADD",
     [(6, {"role": "manager", "mode": "own"}), (6, {"role": "member", "mode": "own"})]),
    ("catalogs/packs/tarn-b.yaml",
     "{use: 2..3, sets: group, code: {binary: first is low, from: 0}, when: {role: manager, mode: older}}", "ADD",
     [(2, {"role": "manager", "mode": "older"}), (3, {"role": "manager", "mode": "older"})]),
    ("tests/exercises/records/ex03-count-on-manager.yaml",
     "{use: 8, sets: nothing, keep: off, when: {role: unmanaged}}", "SW",
     [(8, {"role": "unmanaged"})]),
]


@pytest.mark.parametrize("file, part, row_name, expected", PLANTS)
def test_a_planted_double_cover_is_named_by_switch_and_case(
        file: str, part: str, row_name: str, expected: list[tuple[int, dict[str, str]]]) -> None:
    lines = (ROOT / file).read_text(encoding="utf-8").splitlines()
    last = max(i for i, line in enumerate(lines[:lines.index("addresses:")]) if line.startswith("      - {use"))
    at = last if row_name != "ADD" else max(
        i for i, line in enumerate(lines) if line.startswith("      - {use") and i < next(
            (j for j, other in enumerate(lines) if other == "  END:"), len(lines)))
    lines.insert(at + 1, f"      - {part}")
    with pytest.raises(InputFaults) as caught:
        parse_record("\n".join(lines).encode(), file)
    got = [(fault.path, fault.got, fault.expected) for fault in caught.value.faults]
    assert sorted(got) == sorted(
        (f"switches.{row_name}.parts", f"switch {number} covered twice",
         f"once in each case (here: {', '.join(f'{k} {v}' for k, v in case.items()) or 'every case'})")
        for number, case in expected)


# ---- invented rows ----

MODES = ("own", "older", "third")
CONDITIONS: list[list[dict[str, Any]]] = [
    [{}],
    [{"role": "manager"}, {"role": "member"}],
    [{"role": "manager"}, {"role": ["member", "unmanaged"]}],
    [{"role": "manager"}, {"role": "member"}, {"role": "unmanaged"}],
    [{"mode": "own"}, {"mode": "older"}, {"mode": "third"}],
    [{"mode": "own", "role": "manager"}, {"mode": "own", "role": "member"}, {"mode": "older"}, {"mode": "third"}],
    [{"controller_bus": "can"}, {"controller_bus": "rs-485"}, {"controller_bus": "rs-232"}, {"controller_bus": "none"}],
    [{"place": ["first", "only"]}, {"place": "middle"}, {"place": "last"}],
    [{"count": "0..1"}, {"count": "2..8"}, {"count": "9..255"}],
    [{"group": "0"}, {"group": "1, 3, 5"}, {"group": "2, 4, 6..99"}],
]


@st.composite
def invented_part(draw: st.DrawFn, numbers: list[int], key: int) -> dict[str, Any]:
    """One part for these switches; its value goes to bus b<key>, so that no two parts of a case set the same."""
    use = ", ".join(map(str, numbers))
    shapes = ["binary", "table", "one_of", "free", "off", "on"] + (["flag"] if len(numbers) == 1 else [])
    shape = draw(st.sampled_from(shapes))
    if shape in ("free", "off", "on"):
        return {"use": use, "sets": "nothing"} | ({} if shape == "free" else {"keep": shape})
    part: dict[str, Any] = {"use": use, "sets": "address", "bus": f"b{key}"}
    if shape == "binary":
        order = draw(st.sampled_from(["first is low", "last is low"]))
        return part | {"code": {"binary": order, "from": str(draw(st.integers(-3, 12)))}}
    if shape == "flag":
        return part | {"sets": "terminator", "code": {"flag": draw(st.sampled_from(["on", "off"]))}}
    if shape == "one_of":
        return part | {"sets": "dialect", "code": {"one_of": [f"d{n}" for n in numbers]}}
    words = st.lists(st.sampled_from(["on", "off"]), min_size=len(numbers), max_size=len(numbers)).map(" ".join)
    table = draw(st.dictionaries(st.integers(0, 40).map(str), words, min_size=1, max_size=9))
    return part | {"code": {"table": table}}


@st.composite
def invented_row(draw: st.DrawFn) -> SwitchRow:
    """A slide row whose parts cover each switch exactly once in every case, with table rows that may be equal."""
    first, count = draw(st.integers(0, 3)), draw(st.integers(1, 5))
    numbers = list(range(first, first + count))
    parts: list[dict[str, Any]] = []
    for when in draw(st.sampled_from(CONDITIONS)):
        rest = draw(st.permutations(numbers))
        while rest:
            size = draw(st.integers(1, len(rest)))
            part = draw(invented_part(rest[:size], len(parts)))
            parts.append(part | ({"when": when} if when else {}))
            rest = rest[size:]
    row = {"kind": "slide", "printed": f"{first}..{first + count - 1}", "parts": draw(st.permutations(parts))}
    return SwitchRow.model_validate(row, context=Context(("manual",), MODES))


@hypothesis_settings(max_examples=150, deadline=None)
@given(invented_row())
def test_the_laws_hold_for_invented_rows(row: SwitchRow) -> None:
    assert cover_faults(row, MODES) == ()
    laws_hold(row, MODES)


@hypothesis_settings(max_examples=60, deadline=None)
@given(invented_row(), st.data())
def test_a_part_planted_in_an_invented_row_is_found_where_it_was_planted(row: SwitchRow, data: st.DataObject) -> None:
    number = data.draw(st.sampled_from(row_numbers(row)))
    when = data.draw(st.sampled_from([{}, *(part.when.model_dump(exclude_unset=True) for part in row.parts)]))
    extra = SwitchRow.model_validate(
        {"kind": "slide", "printed": ", ".join(map(str, row_numbers(row))),
         "parts": [{"use": str(number), "sets": "nothing", "keep": "off"}]}).parts[0]
    part = extra.model_copy(update={"when": extra.when.model_copy(update=when)})
    planted = row.model_copy(update={"parts": [*row.parts, part]})
    found = cover_faults(planted, MODES)
    assert {switch for switch, _ in found} == {number}
    expected = {case for case in grid(planted, MODES) if any(p is part for p, _ in parts_in(planted, case))}
    assert {case for _, case in found} == expected


@hypothesis_settings(max_examples=60, deadline=None)
@given(invented_row(), st.data())
def test_a_part_taken_away_leaves_its_switches_not_stated(row: SwitchRow, data: st.DataObject) -> None:
    gone = data.draw(st.sampled_from(row.parts))
    rest = [part for part in row.parts if part is not gone]
    thinner = row.model_copy(update={"parts": rest})
    for case in grid(thinner, MODES):
        if not any(part is gone and answer is True for part, answer in parts_in(row, case)):
            continue
        setting = settings(thinner, next(combinations(thinner, case)), case)
        assert not setting.complete
        assert setting.causes[-1].startswith("not stated: switch ")
        assert all(not readings(thinner, pattern, case, MODES) for pattern in patterns(row))


@pytest.mark.parametrize("count", [0, 1, 2, 5, 8, 9, 40, 255])
def test_a_known_count_reads_in_its_own_range(count: int) -> None:
    parts = [
        {"use": "1..3", "sets": "address", "code": {"binary": "first is low", "from": "0"}, "when": {"count": "0..1"}},
        {"use": "1..3", "sets": "address", "code": {"binary": "last is low", "from": "0"}, "when": {"count": "2..8"}},
        {"use": "1..3", "sets": "nothing", "keep": "on", "when": {"count": "9..255"}},
    ]
    row = SwitchRow.model_validate({"kind": "slide", "printed": "1..3", "parts": parts})
    address = 1 if count <= 1 else 4
    found = readings(row, ("on", "off", "off"), Case(count=count), MODES)
    assert found == (() if count > 8 else (Reading(Case(count=count), (("address", address),)),))
    full = readings(row, ("on", "on", "on"), Case(count=count), MODES)
    assert full == (Reading(Case(count=count), () if count > 8 else (("address", 7),)),)
