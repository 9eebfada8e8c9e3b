"""Nodes to models: all errors with their place, and what can be read although a part cannot."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.records.bind import bind, bind_part
from interop.records.checks import reading_of
from interop.records.faults import InputFaults
from interop.records.models import Record
from interop.records.nodes import Gap, read_document
from tests.records.small import HEAD, record_text, told

NAME = ("a name: a letter or digit first and last, between them letters, digits, space and . + - _ / ( ) # (no two "
        "points together), at most 64 characters")
TARN_B = (Path(__file__).resolve().parents[2] / "catalogs/packs/tarn-b.yaml").read_text(encoding="utf-8")


def part(text: str) -> tuple[Record | None, list[str], set[str]]:
    document = read_document(text.encode(), "f.yaml")
    bound = bind_part(document, Record, reading_of(document))
    return bound.model, [str(f) for f in bound.faults], {".".join(map(str, path)) for path in bound.spoilt}


def test_a_good_record_is_bound_whole() -> None:
    model, faults, spoilt = part(TARN_B)
    assert model is not None
    assert (model.id, faults, spoilt) == ("tarn-b", [], set())


def test_the_rest_is_read_with_stand_ins_for_what_is_at_fault() -> None:
    model, faults, spoilt = part(record_text(
        "limits: {charge_a: x, discharge_a: 5}\nlines: {stop: {}, go: {wires: [a]}}"))
    assert model is not None
    assert model.limits.charge_a.state == "absent"
    assert model.limits.discharge_a.only == 5
    assert list(model.lines) == ["stop", "go"]
    assert model.lines["stop"].wires == [Gap()]
    assert spoilt == {"limits.charge_a", "lines.stop.wires"}
    assert [fault.split(" ", 1)[1] for fault in faults] == [
        'limits.charge_a: got "x"; expected a number from 0 to 5000 A',
        'lines.stop.wires: got nothing; expected the field "wires"']


def test_an_entry_stands_without_what_it_needs() -> None:
    model, faults, spoilt = part(record_text(
        "switches:\n  A: {kind: slide, printed: 1..1, parts: [{use: 1, sets: lights}]}\n  B: {kind: rotary, parts: "
        "[{use: all, sets: nothing}]}"))
    assert model is not None
    assert list(model.switches) == ["A", "B"]
    assert (model.switches["A"].parts[0].use, model.switches["A"].parts[0].sets) == ("1", Gap())
    assert len(faults) == 1
    assert spoilt == {"switches.A.parts.0.sets"}


def test_a_key_that_is_no_name_keeps_its_entry() -> None:
    model, faults, spoilt = part(record_text("buses: {'a!': {kind: can, modes: [old]}, b: 5}"))
    assert model is not None
    assert model.buses["a!"].modes == ["old"]
    assert model.buses["b"].kind.state == "absent"
    assert len(faults) == 2
    assert spoilt == {"buses.a!", "buses.b"}


def test_an_entry_of_a_list_keeps_the_places_of_the_others() -> None:
    model, faults, spoilt = part(record_text("modes: [own, {}, older]\nprocedures: [5, {do: a}, {}]"))
    assert model is not None
    assert model.modes == ["own", Gap(), "older"]
    assert [one.do for one in model.procedures] == [Gap(), "a", Gap()]
    assert len(faults) == 3
    assert spoilt == {"modes.1", "procedures.0", "procedures.2.do"}


def test_a_record_without_an_id_is_read_all_the_same() -> None:
    model, faults, _ = part(HEAD.replace("id: small\n", "id: [1]\n"))
    assert model is not None
    assert model.id == Gap()
    assert faults == [f"f.yaml:2:5: id: got a list; expected {NAME}"]


def test_a_field_that_is_missing_because_it_is_misspelt_is_told_once() -> None:
    _, faults, spoilt = part(HEAD.replace("sources:", "source:"))
    assert len(faults) == 1
    assert faults[0].endswith("; nearest known name: sources")
    assert "sources" in spoilt


def test_nothing_is_left_of_what_is_no_map() -> None:
    assert part("[a]")[0] is None


def test_faults_of_the_text_come_along() -> None:
    document = read_document(record_text("limits: {charge_a: 1, charge_a: x}").encode(), "f.yaml")
    with pytest.raises(InputFaults) as bad:
        bind(document, Record, reading_of(document))
    assert [str(fault) for fault in bad.value.faults] == [
        'f.yaml:6:23: limits.charge_a: got key "charge_a" a second time; expected each key once (first on line 6)']


@pytest.mark.parametrize(
    ("more", "line"),
    [
        ("cell: {}", ('cell: got field "cell"; expected a known field: addresses, busbar, buses, cable, cells, '
                      'conductor, converter, device, electric, '
                     "family, firmware, follows, generation, id, interop, kind, levels, limits, lines, manager, "
                     "mode_set_by, modes, name, pins, ports, printed, procedures, revision, sources, switches, "
                     "terminals, with; nearest known "
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
         f'buses.a!: got "a!"; expected {NAME}'),
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
