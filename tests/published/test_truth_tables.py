"""Switch settings held against truth tables that were typed by hand from what is printed on each device.

Encoder and reader are compared separately: a law that ties them together passes when both are wrong alike. Source of
every table: the description of the exercise or of the invented pack, named in its first line. `no meaning`: no case of
the record reads so. `x`: the switch decides nothing there. Which rows are slide switches is read here by a few lines
of YAML; their patterns are cut at white space, a wheel or menu shows one text.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest
import yaml

from interop.records.catalog import parse_record
from interop.records.models import Record
from interop.records.switches import Case, Reading, readings, settings

ROOT = Path(__file__).resolve().parents[2]
TABLES = sorted((ROOT / "tests" / "published" / "truth_tables").glob("*.csv"))
RECORDS = sorted([*(ROOT / "catalogs").rglob("*.yaml"), *(ROOT / "tests" / "exercises" / "records").glob("*.yaml")])
BY_ID = {path.stem: path for path in RECORDS}
BY_TABLE = {path.stem: path for path in TABLES}


@dataclass(frozen=True)
class Line:
    row: str
    role: str | None
    mode: str | None
    values: frozenset[tuple[str, str]] | None        # None: no meaning
    pattern: tuple[str, ...]


def plain_yaml(record: str) -> dict[str, dict[str, dict[str, str]]]:
    found = yaml.load(BY_ID[record].read_text(encoding="utf-8"), Loader=yaml.BaseLoader)  # noqa: S506 (our own files)
    assert isinstance(found, dict)
    return found


@cache
def lines_of(path: Path) -> tuple[Line, ...]:
    text = path.read_text(encoding="utf-8").splitlines()
    slide = {name for name, row in plain_yaml(path.stem)["switches"].items() if row["kind"] == "slide"}
    return tuple(_line(entry, slide) for entry in csv.DictReader(text[1:]))


def _line(entry: dict[str, str], slide: set[str]) -> Line:
    pairs = (pair.partition("=") for pair in entry["values"].split(";") if pair)
    values = None if entry["values"] == "no meaning" else frozenset((key, value) for key, _, value in pairs)
    pattern = tuple(entry["pattern"].split()) if entry["row"] in slide else (entry["pattern"],)
    return Line(entry["row"], entry["role"] or None, entry["mode"] or None, values, pattern)


def typed(key: str, text: str) -> str | int | bool:
    if key.startswith("terminator"):
        return text == "on"
    return int(text) if text.isdecimal() else text


def as_text(reading: Reading) -> frozenset[tuple[str, str]]:
    words = {True: "on", False: "off"}
    return frozenset((key, words[value] if isinstance(value, bool) else str(value))
                     for key, value in reading.values if not key.startswith("free"))


@cache
def record_of(name: str) -> Record:
    return parse_record(BY_ID[name].read_bytes(), BY_ID[name].name).record


def encoder_cases() -> Iterator[object]:
    for path in TABLES:
        for i, line in enumerate(lines_of(path)):
            if line.values is not None:
                yield pytest.param(path.stem, line, id=f"{path.stem}-{i + 3}")


def reader_cases() -> Iterator[object]:
    for path in TABLES:
        groups: dict[tuple[str, str | None, str | None, tuple[str, ...]], set[frozenset[tuple[str, str]]]] = {}
        for line in lines_of(path):
            group = groups.setdefault((line.row, line.role, line.mode, line.pattern), set())
            if line.values is not None:
                group.add(line.values)
        for key, expected in groups.items():
            words = [part for part in (key[0], key[1], key[2], "-".join(key[3])) if part]
            yield pytest.param(path.stem, key, expected, id=f"{path.stem}-{'-'.join(words)}")


@pytest.mark.parametrize("record, line", list(encoder_cases()))
def test_the_encoder_sets_what_the_table_says(record: str, line: Line) -> None:
    row = record_of(record).switches[line.row]
    assert line.values is not None
    setting = settings(row, {key: typed(key, text) for key, text in line.values}, Case(role=line.role, mode=line.mode))
    assert setting.causes == ()
    got = tuple("x" if wanted == "x" else have for have, wanted in zip(setting.pattern, line.pattern, strict=True))
    assert got == line.pattern


@pytest.mark.parametrize("record, key, expected", list(reader_cases()))
def test_the_reader_finds_every_meaning_that_the_table_says_and_no_other(
        record: str, key: tuple[str, str | None, str | None, tuple[str, ...]],
        expected: set[frozenset[tuple[str, str]]]) -> None:
    row_name, role, mode, pattern = key
    found = readings(record_of(record).switches[row_name], pattern, Case(role=role, mode=mode), record_of(record).modes)
    assert {as_text(reading) for reading in found} == expected


def test_every_record_with_switches_has_a_table() -> None:
    with_switches = {name for name in BY_ID if plain_yaml(name).get("switches")}
    assert {path.stem for path in TABLES} == with_switches


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.stem)
def test_a_table_says_that_it_was_typed_and_speaks_of_every_row(path: Path) -> None:
    first, header = path.read_text(encoding="utf-8").splitlines()[:2]
    assert first.startswith("# typed by hand from the description of ")
    assert header == "row,role,mode,values,pattern"
    assert {line.row for line in lines_of(path)} == set(plain_yaml(path.stem)["switches"])


@pytest.mark.parametrize("path", [path for path in TABLES if path.stem.startswith("ex")], ids=lambda path: path.stem)
def test_an_exercise_has_at_least_twelve_lines(path: Path) -> None:
    assert len(lines_of(path)) >= 12


@pytest.mark.parametrize("record", ["ex01-four-switches", "ex04-printed-table", "ex10p-report-and-chain", "tarn-a",
                                    "ex11a-fifteen-cells", "ex11b-sixteen-cells", "ex12-two-join-limits",
                                    "ex14a-reports-lowest"])
def test_a_row_of_four_is_typed_in_full(record: str) -> None:
    typed_patterns = {line.pattern for line in lines_of(BY_TABLE[record])}
    assert len(typed_patterns) == 16

