"""What a record must fulfil beyond its shape."""

from __future__ import annotations

import pytest

from tests.records.small import HEAD, record_text, told

BUS = "buses: {chain: {kind: rs-485}}\n"
PORT = "ports: {LINK: {sockets: [A, B], plug: rj45}}\n"
ROW = "switches:\n  ADD: {{kind: {}, parts: [{}]}}\n"
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
    assert told(record_text("modes: {own: 1}\nbuses: {a: {kind: can, modes: [older]}}")) == [
        "modes: got a map; expected a list"]
