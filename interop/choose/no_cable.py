"""Why a chain has no cable: the smallest sets of pins that cannot be kept apart, or wires that cannot be joined."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import Enum
from itertools import pairwise
from typing import Any

from interop.choose.conductor_study import Want, wants_of, wires_of
from interop.unchanging import unchanging
from interop.wiring.contacts import (
    CableSlot,
    Chain,
    Face,
    Held,
    Joining,
    Net,
    NodeFault,
    Reference,
    Socket,
    Spot,
    Verdict,
    build_nets,
    joining,
    node_faults,
    slot_joins,
)

__all__ = ["Core", "NoCable", "Reason", "obstacles", "reference_obstacles"]


class Reason(Enum):
    """In which way a set of pins leaves no cable."""

    NO_COMMON_BUS = "no bus that both ends have"
    WIRE_MISSING = "a wire that one end does not have"
    NOT_KEPT_APART = "every pin of a needed wire ends on copper that carries something else"
    NEEDS_REPINNING = "the wire is on other pins at the other end, and the cable must be straight"
    MADE_LACKS_WIRE = "a made cable lacks a needed wire"
    MADE_JOINS = "a made cable joins what must not be joined"
    GROUND_BYPASSES = "made cables join references past a BMS"


@unchanging
class Core:
    """One set of pins that together allow no cable; any real subset would.

    cable: the cable that cannot be made (of several made ones, the first). pins: device by device in chain order.
    lacking: devices without any pin for ``want``. why: what meets on the pins.
    """

    cable: str
    reason: Reason
    want: Want | None
    pins: tuple[Held, ...]
    lacking: tuple[str, ...] = ()
    why: tuple[Joining | NodeFault, ...] = ()


@unchanging
class NoCable:
    """No choice of conductors exists. ``cores``: one for each wire or made conductor that fails, smallest first."""

    cores: tuple[Core, ...]

    @property
    def smallest(self) -> Core:
        """The core with the fewest pins; of equals the first in the chain."""
        return self.cores[0]


@unchanging
class _End:
    """A socket with the other socket of its device."""

    socket: Socket
    other: Socket | None

    def on_copper(self, pin: str) -> list[Held]:
        """All that the piece of copper under a pin holds, the pin itself first."""
        node = self.socket.face.nodes[pin]
        spots = [(self.socket, pin)]
        for socket in (self.socket, self.other):
            for pole in socket.face.poles if socket else ():
                if socket and socket.face.nodes[pole] == node and (socket, pole) != spots[0]:
                    spots.append((socket, pole))
        return [held for socket, pole in spots for held in _held(socket, pole)]

    def clash(self, pin: str, known: Iterable[Spot] = ()) -> NodeFault | None:
        """What shares the copper under a pin and must not; rather on a pin that is known already."""
        held = self.on_copper(pin)
        mine = _held(self.socket, pin)
        faults = [fault for one in mine for two in held for fault in node_faults((one, two))] or node_faults(held)
        seen = set(known) | {mine[0].spot}
        return min(faults, key=lambda f: len({f.first.spot, f.second.spot} - seen), default=None)


def _held(socket: Socket, pin: str) -> list[Held]:
    spot = Spot(socket.device, socket.name, pin)
    return [Held(spot, one) for one in sorted(socket.face.contacts[pin], key=repr)]


def obstacles(chain: Chain, position: int) -> list[Core]:
    """All that leaves no cable at one place of the chain, long nets of references apart; empty if nothing does."""
    slot = chain.cables[position]
    before = chain.cables[position - 1].b if position else None
    after = chain.cables[position + 1].a if position + 1 < len(chain.cables) else None
    a, b = _End(slot.a, before), _End(slot.b, after)
    wants = wants_of(slot.a.face, slot.b.face, slot.carries)
    made = [core for pair in slot.fixed or () if (core := _made_joins(slot, a, b, *pair))]
    if wants is None:
        pins = [held for end in (a, b) for held in _bus_pins(end.socket)]
        return [*made, Core(slot.id, Reason.NO_COMMON_BUS, None, tuple(pins))]
    return made + [core for want in wants if (core := _want_fails(slot, a, b, want))]


def _bus_pins(socket: Socket) -> list[Held]:
    return [held for pin in socket.face.poles for held in _held(socket, pin)
            if (want := wires_of(held.contact)) and want.group[0] == "bus"]


def _made_joins(slot: CableSlot, a: _End, b: _End, p: str, q: str) -> Core | None:
    for one in _held(a.socket, p):
        for two in _held(b.socket, q):
            judged = joining(one.contact, two.contact)
            if judged.verdict is Verdict.FORBIDDEN:
                return Core(slot.id, Reason.MADE_JOINS, None, (one, two), why=(judged,))
    fault = a.clash(p) or b.clash(q)
    if fault is None:
        return None
    pins = _ordered(a, b, [*_held(a.socket, p), *_held(b.socket, q), fault.first, fault.second])
    return Core(slot.id, Reason.MADE_JOINS, None, pins, why=(fault,))


def _want_fails(slot: CableSlot, a: _End, b: _End, want: Want) -> Core | None:
    """The smallest core of one wire that this cable cannot carry, or None if it can."""
    at_a, at_b = _pins_with(a, want), _pins_with(b, want)
    if not at_a or not at_b:
        lacking = tuple(end.socket.device for end, pins in ((a, at_a), (b, at_b)) if not pins)
        return Core(slot.id, Reason.WIRE_MISSING, want, (*at_a, *at_b), lacking)
    if slot.fixed is not None:
        if {(p.spot.pin, q.spot.pin) for p in at_a for q in at_b} & set(slot.fixed):
            return None
        return Core(slot.id, Reason.MADE_LACKS_WIRE, want, (*at_a, *at_b))
    spoilt = [_all_spoilt(slot, a, b, end, want, pins) for end, pins in ((a, at_a), (b, at_b))]
    cores = [core for core in (*spoilt, _needs_repinning(slot, a, b, want)) if core]
    return min(cores, key=lambda core: len({held.spot for held in core.pins}), default=None)


def _pins_with(end: _End, want: Want) -> list[Held]:
    return [held for pin in end.socket.face.poles for held in _held(end.socket, pin) if wires_of(held.contact) == want]


def _all_spoilt(slot: CableSlot, a: _End, b: _End, end: _End, want: Want, pins: Sequence[Held]) -> Core | None:
    """All pins of a wire at one end stand on copper that holds something unlike."""
    faults: dict[str, NodeFault] = {}
    known = [held.spot for held in pins]
    for held in pins:
        fault = end.clash(held.spot.pin, known)
        if fault is None:
            return None
        faults.setdefault(end.socket.face.nodes[held.spot.pin], fault)
    held_all = [*pins, *(held for fault in faults.values() for held in (fault.first, fault.second))]
    return Core(slot.id, Reason.NOT_KEPT_APART, want, _ordered(a, b, held_all), why=tuple(faults.values()))


def _needs_repinning(slot: CableSlot, a: _End, b: _End, want: Want) -> Core | None:
    """Pins of a wire at both ends of a cable that must be straight, with what bars the ones that would meet."""
    if not slot.no_repin:
        return None
    at_a, at_b = _pins_with(a, want), _pins_with(b, want)
    known = [held.spot for held in (*at_a, *at_b)]
    common = {held.spot.pin for held in at_a} & {held.spot.pin for held in at_b}
    faults = []
    for pin in sorted(common, key=slot.a.face.position) if slot.a.face.plug == slot.b.face.plug else ():
        found = [fault for end in (a, b) if (fault := end.clash(pin, known))]
        if not found:
            return None
        faults.append(min(found, key=lambda f: len({f.first.spot, f.second.spot} - set(known))))
    pins = [*at_a, *at_b, *(held for fault in faults for held in (fault.first, fault.second))]
    return Core(slot.id, Reason.NEEDS_REPINNING, want, _ordered(a, b, pins), why=tuple(faults))


def _ordered(a: _End, b: _End, pins: Iterable[Held]) -> tuple[Held, ...]:
    """Each contact once, along the chain and in plug order."""
    sockets = [one for one in (a.other, a.socket, b.socket, b.other) if one]
    places = {(one.device, one.name): (rank, one.face) for rank, one in enumerate(sockets)}

    def place(held: Held) -> tuple[int, int, str]:
        rank, face = places[held.spot.device, held.spot.socket]
        return rank, _position(face, held), repr(held.contact)

    return tuple(sorted(dict.fromkeys(pins), key=place))


def _position(face: Face, held: Held) -> int:
    return face.position(held.spot.pin)


def reference_obstacles(chain: Chain) -> list[Core]:
    """Nets of references that made cables alone join past a BMS: for each, the shortest way from tie to tie."""
    made = [(slot, slot_joins(slot, slot.fixed or ())) for slot in chain.cables]
    sockets = [end for slot in chain.cables for end in (slot.a, slot.b)]
    cores = []
    for net in build_nets(sockets, [join for _, joins in made for join in joins]):
        faults = node_faults(net.held) if net.joined else ()
        if faults:
            cores.append(_shortest_bypass(chain, net, made))
    return cores


def _shortest_bypass(chain: Chain, net: Net, made: Sequence[tuple[CableSlot, Sequence[tuple[Spot, Spot]]]]) -> Core:
    import networkx as nx

    copper = {Spot(s.device, s.name, pin): (s.device, node) for slot in chain.cables for s in (slot.a, slot.b)
              for pin, node in s.face.nodes.items()}
    graph = nx.Graph()
    for slot, joins in made:
        graph.add_edges_from((copper[one], copper[two], {"cable": slot.id, "ends": (one, two)}) for one, two in joins)
    best: Core | None = None
    tied = [held for held in net.held if isinstance(held.contact, Reference) and held.contact.tie != "isolated"]
    for first in (held for held in tied if copper[held.spot] in graph):
        far = nx.single_source_shortest_path(graph, copper[first.spot])
        for second in tied:
            faults = node_faults((first, second))
            if faults and copper[second.spot] in far:
                core = _bypass_core(graph, far[copper[second.spot]], faults[0], net)
                best = core if best is None or len(core.pins) < len(best.pins) else best
    if best is None:
        raise AssertionError("a net of references is faulty, but no two of them are")
    return best


def _bypass_core(graph: Any, path: Sequence[object], fault: NodeFault, net: Net) -> Core:
    steps = [graph.edges[one, two] for one, two in pairwise(path)]
    spots = {spot for step in steps for spot in step["ends"]} | {fault.first.spot, fault.second.spot}
    pins = tuple(held for held in net.held if held.spot in spots)
    rank = {spot: place for place, held in enumerate(net.held) for spot in [held.spot]}
    first = min(steps, key=lambda step: min(rank[spot] for spot in step["ends"]))
    return Core(first["cable"], Reason.GROUND_BYPASSES, None, pins, why=(fault,))
