"""What a record must fulfil beyond its shape."""

from __future__ import annotations

import re

import pytest

from interop.records.leaves import Expected, identifier
from interop.records.switches import Case, readings, settings
from interop.site.schema import record_schema
from tests.records.small import HEAD, record, record_text, told

BUS = "buses: {chain: {kind: rs-485}}\n"
PORT = "ports: {LINK: {sockets: [A, B], plug: rj45}}\n"
ROW = "switches:\n  ADD: {{kind: {}, parts: [{}]}}\n"
MANAGER = "{use: all, sets: address, code: {number: {shown: '1, 10', wire_from: 1}}, when: {role: manager}}"
SIXTEEN = "0, 1, 2, 3, 4, 5, 6, 7, 8, 9, A, B, C, D, E, F"
PART = "{use: all, sets: address, code: {table: {1: '1', 2: '2'}}}"


@pytest.mark.parametrize(
    ("more", "lines"),
    [
        (BUS + PORT + "pins: {LINK: {1: chain plus, 2: [reference, chain minus], 3: not stated, shell: shell}}", []),
        (("lines: {stop: {wires: [a]}, halt: {wires: [a], does: stop}}\nports: {L: {sockets: [A], plug: "
          "odd, poles: 3}}\n"
         "pins: {L: {3: stop a, 2: halt a, 1: supply 12 V}}"), []),
        (HEAD, ['cells: got nothing; expected the field "cells" of a pack']),
        ("modes: [own, own]", ["modes: got a mode twice; expected each mode once"]),
        ("modes: [own, can]", ['modes.1: got "can"; expected a mode named unlike any source, role or bus kind']),
        ("cells: {full_v: 50, empty_v: 50}", ['cells.empty_v: got "50"; expected less than full_v (50 V)']),
        ("buses: {a: {kind: can, modes: [old], sockets: [X]}}",
         ['buses.a.modes.0: got "old"; expected a mode of this record: own',
          'buses.a.sockets.0: got "X"; expected a socket of this record: none in this record']),
        ("lines: {halt: {wires: [a], modes: [owm]}}",
         [('lines.halt: got line "halt"; expected the field "does" (stop, enable, wake, direction, on off), or one of '
          "these as its name"),
          'lines.halt.modes.0: got "owm"; expected a mode of this record: own; nearest known name: own']),
        ("ports: {L: {sockets: [A]}, M: {sockets: [A]}}",
         ['ports.M.sockets.0: got socket "A" a second time; expected each socket in one port (first in L)']),
        ("ports: {L: {sockets: [A], plug: rj45, inside: [1-2, -]}}",
         ['ports.L.inside: got "-"; expected same pin joined, alone, or a bridge such as 1-8']),
        (BUS + PORT + "pins: {LINK: {9: chain plus, 1: chain high, 2: stop a}, LINKS: {1: empty}}",
         ['pins.LINK.9: got pin "9"; expected a pin of the plug: 1, 2, 3, 4, 5, 6, 7, 8, shell',
          ('pins.LINK.1: got "chain high"; expected a pin function: chain plus, chain minus, reference, shell, empty, '
          "unused, unknown, supply 5 V; nearest known name: chain minus"),
          ('pins.LINK.2: got "stop a"; expected a pin function: chain plus, chain minus, reference, '
           'shell, empty, unused, '
          "unknown, supply 5 V"),
          'pins.LINKS: got "LINKS"; expected a port of this record: LINK; nearest known name: LINK']),
        (PORT + "printed: {LINK: {0: A}}",
         ['printed.LINK.0: got pin "0"; expected a pin of the plug: 1, 2, 3, 4, 5, 6, 7, 8, shell']),
        (BUS + "addresses: {chian: {allowed: 0..3}}\nmanager: {port: X}",
         ['addresses.chian: got "chian"; expected a bus of this record: chain; nearest known name: chain',
          'manager.port: got "X"; expected a port of this record: none in this record']),
        ("with: [{other: all, in_mode: old, source: m p. 3}]",
         ['with.0.other: got "all"; expected family NAME, family NAME generation N, record ID, or any',
          'with.0.in_mode: got "old"; expected a mode of this record: own',
          'with.0.source: got "m"; expected a source of this record: manual, bench']),
        (ROW.format("slide", PART), [('switches.ADD: got a slide row without numbers; expected the '
                                      'field "printed", such '
                                     "as 1..4")]),
        (ROW.format("rotary, printed: 1..4", PART),
         ["switches.ADD.printed: got numbers; expected none: a rotary setting is one switch"]),
        (ROW.format("rotary, positions: 0..9", PART), []),
        (ROW.format("rotary, positions: 2..9", PART),
         ['switches.ADD.parts.0.code.table.1: got "1"; expected one of the positions 2, 3, 4, 5, 6, 7, 8, 9']),
        (ROW.format("menu", "{use: all, sets: address, code: {binary: first is low}}"),
         ["switches.ADD.parts.0.code: got binary; expected table or number for a menu setting"]),
        (ROW.format("slide, printed: 1..2", "{use: 1..3, sets: address, code: {binary: first is low}}"),
         ['switches.ADD.parts.0.use: got "1..3"; expected switches of this row: 1, 2']),
        (ROW.format("slide, printed: 1..2", "{use: 1..2, sets: address}"),
         ["switches.ADD.parts.0: got no code; expected a code for address: binary, table, flag, one_of or number"]),
        (ROW.format("slide, printed: 1..2", "{use: 1..2, sets: nothing, code: {flag: on}}"),
         ['switches.ADD.parts.0.code: got a code; expected no code for "nothing" (use keep: on or off)']),
        (ROW.format("slide, printed: 1..2", "{use: 1..2, sets: address, code: {binary: first is low, one_of: [a, b]}}"),
         [("switches.ADD.parts.0.code: got binary and one_of; expected exactly one of binary, table, "
          "flag, one_of, number")]),
        (ROW.format("slide, printed: 1..2", "{use: 1..2, sets: role, code: {flag: on}}"),
         ["switches.ADD.parts.0.use: got 2 switches; expected one switch for a flag"]),
        (ROW.format("slide, printed: 1..2", "{use: 1..2, sets: address, code: {table: {1: on, x: on off, 3: 1 0}}}"),
         ['switches.ADD.parts.0.code.table.1: got "on"; expected 2 words on or off',
          'switches.ADD.parts.0.code.table.x: got "x"; expected a whole number, since the part sets address',
          'switches.ADD.parts.0.code.table.3: got "1 0"; expected 2 words on or off']),
        (ROW.format("hex, positions: 0..15", f"{PART}, {{use: all, sets: nothing, keep: off, when: {{mode: old}}}}"),
         [f'switches.ADD.parts.1.keep: got "off"; expected one of the marks of this hex setting: {SIXTEEN}',
          'switches.ADD.parts.1.when.mode: got "old"; expected a mode of this record: own']),
        (ROW.format("hex", f"{MANAGER}, {{use: all, sets: nothing, keep: on, when: {{role: member}}}}"),
         ['switches.ADD.parts.1.keep: got "on"; expected one of the marks of this hex setting: 1, A']),
        (ROW.format("rotary, positions: 1..3", "{use: all, sets: nothing, keep: 0}"),
         ['switches.ADD.parts.0.keep: got "0"; expected one of the marks of this rotary setting: 1, 2, 3']),
        (ROW.format("menu", "{use: all, sets: nothing, keep: on}"),
         [('switches.ADD.parts.0.keep: got "on"; expected one of the marks of this menu setting: none in this record '
           "(list them in the field positions)")]),
        (ROW.format("hex, positions: 0..15", "{use: all, sets: nothing, keep: B}"), []),
        (ROW.format("menu", "{use: all, sets: mode, code: {table: {own: off}}, when: {role: manager}}, "
                    "{use: all, sets: nothing, keep: off, when: {role: member}}"), []),
        (ROW.format("slide, printed: 1..2", "{use: 1..2, sets: nothing, keep: 1}"),
         ['switches.ADD.parts.0.keep: got "1"; expected one of: on, off']),
        (ROW.format("hex, positions: 0..15", "{use: all, sets: address, code: {number: {shown: 1..16, wire_from: 1}}}"),
         [f'switches.ADD.parts.0.code.number.shown: got "16"; expected one of the positions {SIXTEEN}']),
        (BUS + ROW.format("slide, printed: 1..1", "{use: 1, sets: terminator, code: {flag: on}}"),
         ['switches.ADD.parts.0: got sets terminator without "bus"; expected the bus: chain']),
    ],
)  # fmt: skip
def test_checks(more: str, lines: list[str]) -> None:
    assert sorted(told(more if more == HEAD else record_text(more))) == sorted(lines)


def test_a_switch_covered_twice_is_told_with_its_case() -> None:
    parts = ("{use: 1..2, sets: address, code: {binary: first is low}, when: {mode: own}}, "
             "{use: 2, sets: nothing, when: {role: [manager, unmanaged]}}, "
             "{use: 1..2, sets: nothing, when: {mode: older, role: member}}")
    lines = told(record_text("modes: [own, older]\n" + ROW.format("slide, printed: 1..2", parts)))
    assert lines
    assert all(line.startswith("switches.ADD.parts: got switch 2 covered twice; expected once in each case (here: ")
               for line in lines)
    assert any("role manager" in line and "mode own" in line for line in lines)
    assert not any("mode older" in line for line in lines)


def test_what_rests_on_a_part_that_was_left_out_is_not_told() -> None:
    good = BUS + PORT + "pins: {LINK: {1: chain plus}}\naddresses: {chain: {allowed: 0..3}}"
    assert told(record_text(good)) == []
    assert told(record_text(good.replace("{kind: rs-485}", "rs-485"))) == [
        'buses.chain: got "rs-485"; expected a map of fields']
    assert told(record_text(
        "buses: {chain: {kind: cam}}\n" + PORT + "pins: {LINK: {1: chain high, 2: chian low}}"))[1].startswith(
        'pins.LINK.2: got "chian low"')
    assert told(record_text("modes: {own: 1}\nbuses: {a: {kind: can, modes: [older]}}")) == [
        "modes: got a map; expected a list"]


def test_a_row_may_be_left_at_a_mark() -> None:
    """Settings, readings and the positions of the row know it as any other mark."""
    row = record(ROW.format("hex, positions: 0..15", f"{MANAGER}, {{use: all, sets: nothing, keep: B, "
                            "when: {role: [member, unmanaged]}}")).switches["ADD"]
    assert settings(row, {}, Case(role="member")).pattern == ("B",)
    assert settings(row, {"address": 2}, Case(role="manager")).pattern == ("A",)
    assert [reading.case.role for reading in readings(row, ("B",), Case(), ["own"])] == ["member", "unmanaged"]
    assert readings(row, ("C",), Case(), ["own"]) == ()


@pytest.mark.parametrize("field", ["kind", "printed"])
def test_kind_and_numbers_that_do_not_agree_are_one_fault(field: str) -> None:
    row = ROW.format("slide, printed: 1..2", "{use: 1..2, sets: address, code: {binary: first is low}}, "
                     "{use: 7, sets: nothing, keep: 3, when: {mode: old}}")
    text = row.replace("slide", "rotary") if field == "kind" else row.replace(", printed: 1..2", "")
    lines = told(record_text(text))
    assert len(lines) == 2
    assert lines[1] == 'switches.ADD.parts.1.when.mode: got "old"; expected a mode of this record: own'


def test_sound_parts_are_compared_although_another_is_at_fault() -> None:
    row = ROW.format("slide, printed: 1..2", "{use: 1..2, sets: address, code: {binary: frist is low}}, "
                     "{use: 1..3, sets: nothing}, {use: 2, sets: nothing, when: {role: [boss]}}, "
                     "{use: 2, sets: nothing}")
    assert [line.partition(";")[0] for line in told(record_text(row))] == [
        "switches.ADD.parts: got switch 2 covered twice", 'switches.ADD.parts.0.code.binary: got "frist is low"',
        'switches.ADD.parts.1.use: got "1..3"', 'switches.ADD.parts.2.when.role.0: got "boss"']


def test_how_a_row_is_told_is_said_where_an_editor_shows_it() -> None:
    """The record tells a row with its own figures upright; ``mounted`` turns it, and nothing else does."""
    fields = record_schema()["$defs"]["SwitchRow"]["properties"]
    assert "the row's own figures the right way up" in fields["printed"]["description"]
    said = fields["on_side"]["description"]
    assert "The side to which a slider goes to be on, with the row's own figures the right way up." in said
    assert "not the side seen with the device's label the right way up but the opposite one: do not turn it" in said
    said = fields["mounted"]["description"]
    assert "How the row's own figures stand when the device's label is the right way up." in said
    assert "printed, on_side and every code are still told with the figures the right way up" in said


@pytest.mark.parametrize(("text", "good"), [
    ("A1", True), ("A", True), ("A (x) b", True), ("A.b", True), ("Ä", True), ("漢字", True), ("A (x)", False),
    ("A-", False), ("A_", False), ("A #", False), ("(A", False), ("A..b", False), ("", False), ("a:b", False)])
def test_what_an_id_ends_with_is_said(text: str, good: bool) -> None:
    leaf = identifier("an id")
    assert "a letter or digit first and last" in leaf.expected
    if good:
        assert leaf.parse(text) == text
    else:
        with pytest.raises(Expected, match="first and last, between them letters, digits, space"):
            leaf.parse(text)
    if ".." not in text:
        assert (re.search(leaf.schema["allOf"][0]["pattern"], text) is not None) == good
