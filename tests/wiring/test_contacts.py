"""Which contacts may meet on one conductor, and on one net."""

from __future__ import annotations

from itertools import permutations

import pytest

from interop.wiring.contacts import (
    NOT_STATED,
    BusWire,
    CableSlot,
    Cause,
    Chain,
    Contact,
    Empty,
    Face,
    Held,
    LineWire,
    NotStated,
    Reference,
    Socket,
    Spot,
    Supply,
    Unknown,
    Unused,
    Verdict,
    build_nets,
    bypasses,
    joining,
    net_faults,
    node_faults,
)

PLUS, MINUS, OTHER = BusWire("chain", "plus"), BusWire("chain", "minus"), BusWire("report", "plus")
STOP_A = LineWire("stop", "a", "stop", "closed", "contact")
STOP_B = LineWire("stop", "b", "stop", "closed", "contact")
WAKE = LineWire("start", "a", "wake", "closed", "contact")
ISOLATED, BUSBAR, CELL = Reference("isolated"), Reference("busbar minus"), Reference("cell minus")
TIE = Reference("unknown")
EVERY: list[Contact] = [PLUS, MINUS, OTHER, STOP_A, STOP_B, WAKE, ISOLATED, BUSBAR, CELL, TIE, Supply("5"), Empty(),
                        Unused(), Unknown(), NotStated()]

TABLE = [
    (PLUS, PLUS, Cause.SAME_WIRE),
    (PLUS, MINUS, Cause.REVERSED_PAIR),
    (PLUS, OTHER, Cause.UNLIKE_BUSES),
    (PLUS, STOP_A, Cause.DATA_MEETS_STOP),
    (PLUS, WAKE, Cause.DATA_MEETS_LINE),
    (PLUS, Supply("5"), Cause.DATA_MEETS_SUPPLY),
    (PLUS, ISOLATED, Cause.DATA_MEETS_REFERENCE),
    (PLUS, Empty(), Cause.EMPTY_JOINED),
    (PLUS, Unused(), Cause.UNUSED_JOINED),
    (PLUS, Unknown(), Cause.UNKNOWN_JOINED),
    (PLUS, NotStated(), Cause.NOT_STATED_JOINED),
    (STOP_A, LineWire("trip", "a", "stop", "closed", "contact", carried=True, passive=True), Cause.SAME_LINE),
    (STOP_A, STOP_B, Cause.BOTH_WIRES_OF_LINE),
    (STOP_A, WAKE, Cause.USES_DIFFER),
    (STOP_A, LineWire("stop", "a", "stop", "open", "contact"), Cause.SENSES_DIFFER),
    (STOP_A, LineWire("stop", "a", "stop", "closed", "12 V"), Cause.LEVELS_DIFFER),
    (STOP_A, LineWire("stop", "a", "stop", NOT_STATED, "contact"), Cause.SENSE_NOT_STATED),
    (STOP_A, LineWire("stop", "a", "stop", "closed", NOT_STATED), Cause.LEVEL_NOT_STATED),
    (LineWire("x", "a", "on off", "closed", "contact"), LineWire("y", "a", "on off", "closed", "contact"),
     Cause.LINE_NOT_NEEDED),
    (STOP_A, ISOLATED, Cause.STOP_MEETS_REFERENCE),
    (WAKE, ISOLATED, Cause.LINE_MEETS_REFERENCE),
    (WAKE, Supply("5"), Cause.LINE_MEETS_SUPPLY),
    (Supply("5"), ISOLATED, Cause.SUPPLY_MEETS_REFERENCE),
    (Supply("5"), Supply("5"), Cause.SUPPLIES_JOINED),
    (ISOLATED, ISOLATED, Cause.REFERENCES),
    (ISOLATED, CELL, Cause.REFERENCES),
    (ISOLATED, BUSBAR, Cause.REFERENCES),
    (BUSBAR, BUSBAR, Cause.REFERENCES),
    (BUSBAR, CELL, Cause.GROUND_BYPASSES),
    (CELL, CELL, Cause.GROUND_BYPASSES),
    (TIE, ISOLATED, Cause.TIE_UNKNOWN),
    (TIE, TIE, Cause.TIE_UNKNOWN),
    (Unknown(), Unknown(), Cause.UNKNOWN_JOINED),
    (NotStated(), NotStated(), Cause.NOT_STATED_JOINED),
    (Unknown(), NotStated(), Cause.UNKNOWN_JOINED),
    (Empty(), Unknown(), Cause.EMPTY_JOINED),
    (Unused(), Unused(), Cause.UNUSED_JOINED),
]


@pytest.mark.parametrize("first, second, cause", TABLE)
def test_cause_of_one_conductor(first: Contact, second: Contact, cause: Cause) -> None:
    verdict = {Cause.SAME_WIRE: Verdict.NEEDED, Cause.SAME_LINE: Verdict.NEEDED, Cause.REFERENCES: Verdict.REFERENCE}
    for one, two in ((first, second), (second, first)):
        judged = joining(one, two)
        assert (judged.cause, judged.verdict) == (cause, verdict.get(cause, Verdict.FORBIDDEN))


def test_a_missing_fact_is_told_from_a_forbidden_joining() -> None:
    assert {cause for cause in Cause if cause.cannot_tell} == {
        Cause.UNKNOWN_JOINED, Cause.NOT_STATED_JOINED, Cause.SENSE_NOT_STATED, Cause.LEVEL_NOT_STATED,
        Cause.TIE_UNKNOWN, Cause.EARTH_TIE_UNKNOWN}


@pytest.mark.parametrize("first", EVERY)
@pytest.mark.parametrize("second", EVERY)
def test_a_net_of_two_devices_agrees_with_the_conductor_between_them(first: Contact, second: Contact) -> None:
    faults = node_faults([Held(Spot("P1", "L", "1"), first), Held(Spot("P2", "L", "1"), second)])
    judged = joining(first, second)
    assert bool(faults) == (judged.verdict is Verdict.FORBIDDEN)
    if faults:
        assert {fault.cause for fault in faults} == {judged.cause}


def held(*contents: tuple[str, Contact]) -> list[Held]:
    return [Held(Spot(device, "L", str(k)), contact) for k, (device, contact) in enumerate(contents, 1)]


def causes(*contents: tuple[str, Contact]) -> list[Cause]:
    return [fault.cause for fault in node_faults(held(*contents))]


def test_alike_contacts_of_one_device_are_one_thing() -> None:
    for contact in EVERY:
        assert causes(("P1", contact), ("P1", contact)) == []
    unstated = LineWire("stop", "a", "stop", NOT_STATED, NOT_STATED)
    assert causes(("P1", unstated), ("P1", unstated)) == []
    assert causes(("P1", unstated), ("P2", unstated)) == [Cause.SENSE_NOT_STATED]


def test_every_two_unlike_wires_of_a_net_are_reported_with_both_culprits() -> None:
    faults = node_faults(held(("P1", PLUS), ("P2", PLUS), ("P3", STOP_A), ("P4", STOP_B)))
    assert [(fault.cause, fault.first.spot.device, fault.second.spot.device) for fault in faults] == [
        (Cause.DATA_MEETS_STOP, "P1", "P3"), (Cause.DATA_MEETS_STOP, "P1", "P4"),
        (Cause.BOTH_WIRES_OF_LINE, "P3", "P4")]


def test_one_cell_side_minus_may_stand_among_isolated_references_only() -> None:
    assert causes(("P1", CELL), ("P2", ISOLATED), ("P3", ISOLATED)) == []
    assert causes(("P1", CELL), ("P2", ISOLATED), ("P3", CELL)) == [Cause.GROUND_BYPASSES]
    assert causes(("P1", BUSBAR), ("P2", ISOLATED), ("P3", CELL)) == [Cause.GROUND_BYPASSES]
    assert causes(("P1", BUSBAR), ("P1", CELL)) == [Cause.GROUND_BYPASSES]
    assert causes(("P1", BUSBAR), ("P2", ISOLATED), ("P3", BUSBAR)) == []
    assert causes(("P1", CELL), ("P2", CELL), ("P3", BUSBAR)) == [Cause.GROUND_BYPASSES] * 2
    for order in permutations([("a", "cell minus"), ("b", "isolated"), ("c", "busbar minus")]):
        assert bypasses(order)
        assert not bypasses(order[:1])
    assert not bypasses([("a", "cell minus"), ("a", "cell minus"), ("b", "isolated")])


def test_unknown_tie_is_named_beside_any_other_reference() -> None:
    faults = node_faults(held(("P1", TIE), ("P2", ISOLATED), ("P3", TIE)))
    assert [(fault.cause, fault.first.spot.device, fault.second.spot.device) for fault in faults] == [
        (Cause.TIE_UNKNOWN, "P2", "P1"), (Cause.TIE_UNKNOWN, "P2", "P3")]


def test_unused_pin_on_the_copper_of_a_used_one_is_no_fault_by_itself() -> None:
    assert causes(("P1", PLUS), ("P1", Unused()), ("P2", PLUS)) == []
    assert causes(("P1", PLUS), ("P2", Unused())) == [Cause.UNUSED_JOINED]
    spot = Spot("P1", "L", "1")
    assert [fault.cause for fault in node_faults([Held(spot, PLUS), Held(spot, Unused())])] == [Cause.UNUSED_JOINED]


def test_blank_pins_of_a_long_chain_are_named_once_each() -> None:
    faults = node_faults(held(*((f"P{k}", NotStated()) for k in range(5000))))
    assert len(faults) == 4999


# ---- faces, chains, nets --------------------------------------------------------------------------------------------


def face(contacts: dict[str, frozenset[Contact]], nodes: dict[str, str] | None = None) -> Face:
    poles = ("1", "2", "3")
    return Face("three", poles, frozenset(), contacts, nodes or {pin: pin for pin in poles})


def test_face_fills_in_what_is_not_said() -> None:
    one = face({"1": frozenset({PLUS}), "2": frozenset()})
    assert one.contacts == {"1": frozenset({PLUS}), "2": frozenset({Unused()}), "3": frozenset({NotStated()})}
    assert one == face({"2": frozenset(), "1": frozenset({PLUS})})
    assert hash(one) == hash(face({"2": frozenset(), "1": frozenset({PLUS})}))
    with pytest.raises(ValueError, match="pins and poles disagree"):
        face({"9": frozenset({PLUS})})
    with pytest.raises(ValueError, match="pins and poles disagree"):
        face({}, {"1": "1"})


def sockets(number: int, one: Face) -> tuple[Socket, Socket]:
    return Socket(f"P{number}", "LINK", "IN", one), Socket(f"P{number}", "LINK", "OUT", one)


def test_chain_goes_from_device_to_device() -> None:
    one = face({})
    (in_1, out_1), (in_2, out_2), (in_3, _) = (sockets(k, one) for k in (1, 2, 3))
    Chain((CableSlot("W1", out_1, in_2), CableSlot("W2", out_2, in_3)))
    with pytest.raises(ValueError, match="a device stands twice"):
        Chain((CableSlot("W1", out_1, in_2), CableSlot("W2", out_2, in_1)))
    with pytest.raises(ValueError, match="does not go on from another socket of P2"):
        Chain((CableSlot("W1", out_1, in_2), CableSlot("W2", in_2, in_3)))
    with pytest.raises(ValueError, match="does not go on"):
        Chain((CableSlot("W1", out_1, in_2), CableSlot("W2", in_3, sockets(4, one)[0])))


def test_nets_run_through_cables_and_devices() -> None:
    ends = [*sockets(1, face({})), *sockets(2, face({}, {"1": "x", "2": "x", "3": "3"}))]
    nets = build_nets(ends, [(Spot("P1", "OUT", "1"), Spot("P2", "IN", "2"))])
    found = [{(spot.device, spot.socket, spot.pin) for spot in net.spots} for net in nets]
    assert found == [
        {("P1", "IN", "1"), ("P1", "OUT", "1"), ("P2", "IN", "1"), ("P2", "IN", "2"), ("P2", "OUT", "1"),
         ("P2", "OUT", "2")},
        {("P1", "IN", "2"), ("P1", "OUT", "2")}, {("P1", "IN", "3"), ("P1", "OUT", "3")},
        {("P2", "IN", "3"), ("P2", "OUT", "3")}]
    assert [net.joined for net in nets] == [True, False, False, False]
    with pytest.raises(KeyError):
        build_nets(ends, [(Spot("P1", "OUT", "1"), Spot("P9", "IN", "2"))])


def test_faults_of_a_chain_come_from_joined_nets_only() -> None:
    shorted = face({"1": frozenset({STOP_A}), "2": frozenset({STOP_B})}, {"1": "x", "2": "x", "3": "3"})
    sound = face({"1": frozenset({STOP_A}), "2": frozenset({STOP_B})})
    chain = Chain((CableSlot("W1", sockets(1, sound)[1], sockets(2, shorted)[0]),))
    assert net_faults(chain, [[]]) == ()
    assert {fault.cause for fault in net_faults(chain, [[("1", "1")]])} == {Cause.BOTH_WIRES_OF_LINE}
