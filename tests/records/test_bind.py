"""Nodes to models: all errors with their place, and what can be read although a part cannot."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.records.bind import bind, bind_part
from interop.records.checks import reading_of
from interop.records.faults import InputFaults
from interop.records.models import Record
from interop.records.nodes import read_document
from tests.records.small import HEAD, record_text, told

TARN_B = (Path(__file__).resolve().parents[2] / "catalogs/packs/tarn-b.yaml").read_text(encoding="utf-8")


def part(text: str) -> tuple[Record | None, list[str], set[str]]:
    document = read_document(text.encode(), "f.yaml")
    bound = bind_part(document, Record, reading_of(document))
    return bound.model, [str(f) for f in bound.faults], {".".join(map(str, path)) for path in bound.spoilt}


def test_a_good_record_is_bound_whole() -> None:
    model, faults, spoilt = part(TARN_B)
    assert model is not None
    assert (model.id, faults, spoilt) == ("tarn-b", [], set())


def test_the_rest_is_read_without_the_part_at_fault() -> None:
    model, faults, spoilt = part(record_text(
        "limits: {charge_a: x, discharge_a: 5}\nlines: {stop: {}, go: {wires: [a]}}"))
    assert model is not None
    assert model.limits.charge_a.state == "absent"
    assert model.limits.discharge_a.only == 5
    assert list(model.lines) == ["go"]
    assert spoilt == {"limits.charge_a", "lines.stop"}
    assert [fault.split(" ", 1)[1] for fault in faults] == [
        'limits.charge_a: got "x"; expected a number from 0 to 5000 A',
        'lines.stop.wires: got nothing; expected the field "wires"']


def test_what_an_entry_needs_takes_the_entry_with_it() -> None:
    model, faults, spoilt = part(record_text(
        "switches:\n  A: {kind: slide, printed: 1..1, parts: [{use: 1, sets: lights}]}\n  B: {kind: rotary, parts: "
        "[{use: all, sets: nothing}]}"))
    assert model is not None
    assert list(model.switches) == ["B"]
    assert len(faults) == 1
    assert "switches.A" in spoilt


def test_nothing_is_left_of_a_record_without_an_id() -> None:
    model, faults, _ = part(HEAD.replace("id: small\n", "id: [1]\n"))
    assert model is None
    assert faults == [
        ("f.yaml:2:5: id: got a list; expected a name: a letter or digit, then letters, digits, space "
         "and . + - _ / ( ) #, "
        "at most 64 characters")]


def test_faults_of_the_text_come_along() -> None:
    document = read_document(record_text("limits: {charge_a: 1, charge_a: x}").encode(), "f.yaml")
    with pytest.raises(InputFaults) as bad:
        bind(document, Record, reading_of(document))
    assert [str(fault) for fault in bad.value.faults] == [
        'f.yaml:6:23: limits.charge_a: got key "charge_a" a second time; expected each key once (first on line 6)']


@pytest.mark.parametrize(
    ("more", "line"),
    [
        ("cell: {}", ('cell: got field "cell"; expected a known field: addresses, buses, cable, cells, '
                      'device, electric, '
                     "family, firmware, follows, generation, id, interop, kind, levels, limits, lines, manager, modes, "
                     "name, pins, ports, printed, procedures, revision, sources, switches, terminals, "
                     "with; nearest known "
                     "name: cells")),
        ("buses: {a: {kind: can, termination: {fited: never}}}",
         ('buses.a.termination.fited: got field "fited"; expected a known field: ends, fitted, ohm; '
          'nearest known name: '
         "fitted")),
        ("modes: []", "modes: got an empty list; expected at least one entry"),
        ("modes: own", 'modes: got "own"; expected a list'),
        ("lines: {stop: {wires: [a, b, c, d, e]}}", "lines.stop.wires: got a list; expected fewer entries"),
        ("buses: [a]", "buses: got a list; expected a map"),
        ("cells: lfp", 'cells: got "lfp"; expected a map of fields'),
        ("buses: {'a!': {kind: can}}",
         ('buses.a!: got "a!"; expected a name: a letter or digit, then letters, digits, space and . + - _ / ( ) #, at '
         "most 64 characters")),
        ("buses: {a: {kind: can}}\naddresses: {a: {kept_for: {x: us}}}",
         'addresses.a.kept_for.x: got "x"; expected a whole number from 0 to 255'),
    ],
)  # fmt: skip
def test_one_fault_one_line(more: str, line: str) -> None:
    assert told(record_text(more)) == [line]


def test_a_bad_key_is_shown_at_the_key() -> None:
    _, faults, _ = part(record_text("buses:\n  'a!': {kind: can}"))
    assert faults[0].startswith('f.yaml:7:3: buses.a!: got "a!"; expected a name')


def test_many_faults_are_all_told_and_the_first_two_hundred_get_a_near_name() -> None:
    rows = "".join(f"  charge_aa{i}: 1\n" for i in range(500))
    _, faults, _ = part(record_text(f"limits:\n{rows}"))
    assert len(faults) == 500
    assert sum("nearest known name: charge_a" in fault for fault in faults) == 200
