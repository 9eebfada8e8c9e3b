"""Which conductors of each data cable of a chain may stay, chosen for the whole chain at once.

Judged by these levels, each a sum over the cables: every needed wire joined and no net with a fault (conditions),
fewest cables re-pinned, most references joined, most buses and lines on one twisted pair at both ends, fewest
conductors, lowest pins. "Lowest pins": cable by cable in chain order, pin by pin in the order of the plug at ``a``,
the first difference decides: joined before open, then the earlier pin at ``b``.

What concerns one cable is settled by :mod:`interop.choose.conductor_study`. The references are chosen by dynamic
programming from device to device. The state says, for each piece of copper with a reference that goes on from a
device, on which net it is and what that net is tied to. Shapes and moves are remembered, so equal cables cost once.

Limit: a re-pinned cable between plugs with eight references each takes seconds (millions of pin maps).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from enum import Enum
from functools import reduce
from operator import add
from typing import Literal, cast

from interop.choose.conductor_study import (
    Copper,
    Levels,
    Study,
    Want,
    copper_of,
    study_of,
    wires_of,
)
from interop.choose.no_cable import Core, NoCable, Reason, obstacles, reference_obstacles
from interop.unchanging import unchanging
from interop.wiring.contacts import (
    CableSlot,
    Cause,
    Chain,
    Contact,
    Face,
    Held,
    Joining,
    LineWire,
    NodeFault,
    Pair,
    Reference,
    Socket,
    Spot,
    Verdict,
    build_nets,
    bypasses,
    joining,
    node_faults,
    slot_joins,
)

__all__ = [
    "CableChoice",
    "Conductor",
    "ConductorChoice",
    "Core",
    "LeftOut",
    "Levels",
    "NoCable",
    "OpenLine",
    "Reason",
    "ReferenceOut",
    "Want",
    "choose_conductors",
]


class LeftOut(Enum):
    """Why a conductor that would be legal by itself is not there."""

    SPARE = "another conductor carries this wire"
    NOT_CARRIED = "not a bus of this cable"
    NO_COUNTERPART = "the other end does not have it"
    NO_PIN_LEFT = "the other end has no pin left for it"
    MADE_OPEN = "the made cable leaves it open"
    PASSES_ON = "through the other cables of the link it would carry load current past a BMS"


Why = Joining | NodeFault | LeftOut


@unchanging
class Conductor:
    """One conductor and why it is kept, or cut at both ends."""

    a: str
    b: str
    kept: bool
    why: Why


@unchanging
class OpenLine:
    """A line wire of the device at one end that this cable leaves open, on all pins it stands on there."""

    end: Literal["a", "b"]
    pins: tuple[str, ...]
    wire: LineWire
    why: Cause | LeftOut


@unchanging
class ReferenceOut:
    """A reference pin at one end that this cable leaves unjoined."""

    end: Literal["a", "b"]
    pin: str
    why: Why


@unchanging
class CableChoice:
    """What is decided for one cable.

    joined: pins at a and at b, in the order of the plug at a. cut: pins at a of conductors that exist and are cut;
    none in a re-pinned cable. conductors: every conductor of a straight cable, the kept ones of a re-pinned one.
    """

    id: str
    kind: Literal["straight", "repinned"]
    made: bool
    joined: tuple[Pair, ...]
    cut: tuple[str, ...]
    levels: Levels
    conductors: tuple[Conductor, ...]
    open_lines: tuple[OpenLine, ...]
    references_out: tuple[ReferenceOut, ...]


@unchanging
class ConductorChoice:
    """The best cables of a chain, in its order, and the sum of their levels."""

    cables: tuple[CableChoice, ...]
    levels: Levels


def choose_conductors(chain: Chain) -> ConductorChoice | NoCable:
    """Choose the conductors of all cables of a chain, or say which pins leave no cable.

    Raises ValueError for a made cable that names pins which its sockets do not have.
    """
    studies = _studies(chain)
    failed = [k for k, study in enumerate(studies) if study.joined is None]
    if failed:
        return _no_cable([core for k in failed for core in obstacles(chain, k)])
    references = _best_references(studies)
    if references is None:
        return _no_cable(reference_obstacles(chain))
    reports = [_report(study, pairs) for study, pairs in zip(studies, references, strict=True)]
    cables = [_cable(slot, study, report) for slot, study, report in zip(chain.cables, studies, reports, strict=True)]
    if any(report.unnamed for report in reports):
        cables = _name(chain, cables, reports)
    return ConductorChoice(tuple(cables), reduce(add, (one.levels for one in cables), Levels(0, 0, 0, 0)))


def _no_cable(cores: list[Core]) -> NoCable:
    if not cores:
        raise AssertionError("no cable, and no pins that say why")
    return NoCable(tuple(sorted(cores, key=lambda core: len({held.spot for held in core.pins}))))


def _studies(chain: Chain) -> list[Study]:
    cables = chain.cables
    studies = []
    for k, slot in enumerate(cables):
        if any(p not in slot.a.face.nodes or q not in slot.b.face.nodes for p, q in slot.fixed or ()):
            raise ValueError(f"made cable {slot.id} names a pin that its sockets do not have: {slot.fixed}")
        before = cables[k - 1].b.face if k else None
        after = cables[k + 1].a.face if k + 1 < len(cables) else None
        studies.append(study_of(before, slot.a.face, slot.b.face, after, slot.fixed, slot.no_repin, slot.carries,
                                slot.no_references))
    return studies


# ---- references: dynamic programming --------------------------------------------------------------------------------

_Ties = frozenset[tuple[int, str]]              # (owner, tie) of the references on a net that are not isolated
_State = tuple[tuple[int, _Ties], ...]          # per piece of copper that goes on: number and ties of its net
_OWN = -1                                       # owner: the device that the cable ends on
_MANY = -2                                      # owner: any number of devices tied to the busbar
_OPEN = 1 << 16                                 # after every position in a plug
_Rank = tuple[int, tuple[int, ...]]


@unchanging
class _Move:
    """One way to join references in a cable: where it leads, how many it joins, how low its pins are."""

    state: _State
    joined: int
    lowness: tuple[int, ...]
    pairs: tuple[Pair, ...]


def _best_references(studies: Sequence[Study]) -> list[tuple[Pair, ...]] | None:
    """The reference conductors of each cable: most in all, then lowest pins. None if made ones make a bypass.

    Of two ways to one state, the one with more references, or else lower pins so far, is never worse later: what can
    follow depends on the state alone. ``rank`` orders the ways by their pins so far without keeping them.
    """
    layer: dict[_State, tuple[int, int, object]] = {_first_state(studies[0]) if studies else (): (0, 0, None)}
    for study in studies:
        best: dict[_State, tuple[tuple[int, int, tuple[int, ...]], object]] = {}
        for state, (count, rank, trail) in layer.items():
            for move in _moves(study, state):
                worth = (-count - move.joined, rank, move.lowness)
                if move.state not in best or worth < best[move.state][0]:
                    best[move.state] = (worth, (move.pairs, trail))
        order = sorted(best.items(), key=lambda item: item[1][0][1:])
        layer = {state: (-worth[0], place, trail) for place, (state, (worth, trail)) in enumerate(order)}
    if not layer:
        return None
    _, _, trail = min(layer.values(), key=lambda mark: (-mark[0], mark[1]))
    return _along(trail)


def _along(trail: object) -> list[tuple[Pair, ...]]:
    found = []
    while trail is not None:
        pairs, trail = cast("tuple[tuple[Pair, ...], object]", trail)
        found.append(pairs)
    return found[::-1]


def _reference_nodes(copper: Copper, face: Face | None) -> tuple[str, ...]:
    """Sound pieces of copper with a reference pin on this face, in plug order."""
    if face is None:
        return ()
    return tuple(dict.fromkeys(face.nodes[pin] for pin in face.poles if face.nodes[pin] in copper.ties
                               and any(isinstance(one, Reference) for one in face.contacts[pin])))


def _first_state(study: Study) -> _State:
    copper = copper_of(None, study.a)
    nodes = _reference_nodes(copper, study.a)
    return _canonical(range(len(nodes)), [frozenset((_OWN, tie) for tie in copper.ties[node]) for node in nodes])


def _canonical(nets: Sequence[int], ties: Sequence[_Ties]) -> _State:
    """Number nets and owners by first appearance, so that equal situations are equal states."""
    names: dict[int, int] = {}
    owners: dict[int, int] = {}
    state = []
    for net, tied in zip(nets, ties, strict=True):
        short = frozenset((_MANY, tie) if tie == "busbar minus" else (owners.setdefault(owner, len(owners)), tie)
                          for owner, tie in tied)
        state.append((names.setdefault(net, len(names)), short))
    return tuple(state)


def _moves(study: Study, state: _State) -> tuple[_Move, ...]:
    known = cast("dict[_State, tuple[_Move, ...]]", study.moves)
    if state not in known:
        step = _Step(study, state)
        known[state] = step.moves() if study.fixed is None else step.made()
    return known[state]


class _Step:
    """The references of one cable, with one state before it. Nets are numbered; ``roots`` says which are merged."""

    def __init__(self, study: Study, state: _State) -> None:
        self._study = study
        numbers = [number for number, _ in state]
        self._a_net = dict(zip(_reference_nodes(study.a_copper, study.a), numbers, strict=True))
        nets = len(set(numbers))
        self._going_on = _reference_nodes(study.b_copper, study.b_out)
        nodes = dict.fromkeys((*_reference_nodes(study.b_copper, study.b), *self._going_on))
        self._b_net = {node: nets + place for place, node in enumerate(nodes)}
        self._ties: list[_Ties] = [next(tied for number, tied in state if number == net) for net in range(nets)]
        self._ties += [frozenset((_OWN, tie) for tie in study.b_copper.ties[node]) for node in nodes]

    def moves(self) -> tuple[_Move, ...]:
        """All ways that may matter: for each state after the cable, the best one."""
        frontier: dict[tuple[tuple[int, ...], frozenset[str]], tuple[_Rank, tuple[Pair, ...]]]
        frontier = {(tuple(range(len(self._ties))), frozenset()): ((0, ()), ())}
        pins = self._study.references
        for place, (pin, choices) in enumerate(pins):
            later = frozenset(other for _, others in pins[place + 1:] for other in others)
            grown: dict[tuple[tuple[int, ...], frozenset[str]], tuple[_Rank, tuple[Pair, ...]]] = {}
            for (roots, used), ((less, lowness), pairs) in frontier.items():
                for other in [*(one for one in choices if one not in used), None]:
                    merged = roots if other is None else self._merge(roots, pin, other)
                    if merged is None:
                        continue
                    at = _OPEN if other is None else self._study.b.position(other)
                    rank = (less - (other is not None), (*lowness, at))
                    key = (merged, frozenset(used if other is None else {*used, other}) & later)
                    if key not in grown or rank < grown[key][0]:
                        grown[key] = (rank, pairs if other is None else (*pairs, (pin, other)))
            frontier = grown
        return self._by_state(frontier)

    def made(self) -> tuple[_Move, ...]:
        """The one way of a made cable, or none where it makes a bypass. Its conductors are in the study already."""
        roots: tuple[int, ...] | None = tuple(range(len(self._ties)))
        for pin, others in self._study.references:
            for other in others:
                roots = self._merge(roots, pin, other) if roots is not None else None
        return () if roots is None else self._by_state({(roots, frozenset()): ((0, ()), ())})

    def _merge(self, roots: tuple[int, ...], pin: str, other: str) -> tuple[int, ...] | None:
        one = roots[self._a_net[self._study.a.nodes[pin]]]
        two = roots[self._b_net[self._study.b.nodes[other]]]
        merged = tuple(min(one, two) if root in (one, two) else root for root in roots)
        return None if bypasses(self._tied(merged, min(one, two))) else merged

    def _tied(self, roots: Sequence[int], root: int) -> _Ties:
        return frozenset().union(*(tied for tied, mine in zip(self._ties, roots, strict=True) if mine == root))

    def _by_state(self, frontier: Mapping[tuple[tuple[int, ...], frozenset[str]], tuple[_Rank, tuple[Pair, ...]]]
                  ) -> tuple[_Move, ...]:
        best: dict[_State, tuple[_Rank, tuple[Pair, ...]]] = {}
        for (roots, _), found in frontier.items():
            nets = [roots[self._b_net[node]] for node in self._going_on]
            state = _canonical(nets, [self._tied(roots, net) for net in nets])
            if state not in best or found[0] < best[state][0]:
                best[state] = found
        return tuple(_Move(state, -less, lowness, pairs) for state, ((less, lowness), pairs) in best.items())


# ---- reports --------------------------------------------------------------------------------------------------------


@unchanging
class _Report:
    """A cable's decision without names of devices. ``unnamed``: some reasons lie on copper or nets, to be named."""

    joined: tuple[Pair, ...]
    cut: tuple[str, ...]
    levels: Levels
    conductors: tuple[Conductor, ...]
    open_lines: tuple[OpenLine, ...]
    references_out: tuple[ReferenceOut, ...]
    unnamed: bool


_BYPASS = NodeFault(Cause.GROUND_BYPASSES, Held(Spot("", "", ""), Reference("unknown")),
                    Held(Spot("", "", ""), Reference("unknown")))      # stands for the fault that the chain will name


def _report(study: Study, references: tuple[Pair, ...]) -> _Report:
    known = cast("dict[tuple[Pair, ...], _Report]", study.reports)
    if references not in known:
        known[references] = _make_report(study, references)
    return known[references]


def _make_report(study: Study, references: tuple[Pair, ...]) -> _Report:
    a, b = study.a, study.b
    chosen = {*(study.joined or ()), *references}
    joined = tuple(sorted(chosen, key=lambda pair: (a.position(pair[0]), b.position(pair[1]))))
    poles = [p for p in a.pins if p in b.nodes] if study.straight and a.plug == b.plug else []
    pairs = list(dict.fromkeys([*((p, p) for p in poles), *joined]))
    conductors = tuple(Conductor(p, q, (p, q) in chosen, _why(study, joined, p, q)) for p, q in pairs)
    out = (*_references_out(study, joined, "a"), *_references_out(study, joined, "b"))
    lines = (*_open_lines(study, joined, "a"), *_open_lines(study, joined, "b"))
    unnamed = any(isinstance(why, NodeFault) for why in (*(one.why for one in conductors), *(one.why for one in out)))
    cut = tuple(p for p in poles if (p, p) not in chosen)
    return _Report(joined, cut, study.levels(joined), conductors, lines, out, unnamed)


def _why(study: Study, joined: Sequence[Pair], p: str, q: str) -> Why:
    """Why the conductor from pin p to pin q is kept or cut."""
    judged = _judged(study, p, q)
    if (p, q) in joined or judged.verdict is Verdict.FORBIDDEN:
        return judged
    barred = [*study.a_copper.barred.get(("out", p), ()), *study.b_copper.barred.get(("in", q), ())]
    if barred:
        return _mark(barred[0], "a" if ("out", p) in study.a_copper.barred else "b")
    if study.fixed is not None:
        return LeftOut.MADE_OPEN
    if judged.verdict is Verdict.REFERENCE:
        return LeftOut.PASSES_ON if study.no_references else _BYPASS
    return LeftOut.SPARE if wires_of(judged.first) in study.wants else LeftOut.NOT_CARRIED


def _judged(study: Study, p: str, q: str) -> Joining:
    """The worst that joining two pins does, over all they carry."""
    every = [joining(one, two) for one in study.a.ordered[p]
             for two in study.b.ordered[q]]
    return next((one for one in every if one.verdict is Verdict.FORBIDDEN), every[0])


def _mark(fault: NodeFault, end: str) -> NodeFault:
    """Note in place of the device at which end of the cable the copper lies."""
    first, second = (replace(held, spot=held.spot._replace(device=end)) for held in (fault.first, fault.second))
    return NodeFault(fault.cause, first, second)


def _references_out(study: Study, joined: Sequence[Pair], end: Literal["a", "b"]) -> list[ReferenceOut]:
    face, other, side = (study.a, study.b, 0) if end == "a" else (study.b, study.a, 1)
    there = _pins_of(other, Reference)
    taken = {pair[1 - side] for pair in joined}
    found = []
    for pin in _pins_of(face, Reference):
        if pin in {pair[side] for pair in joined}:
            continue
        if study.straight and study.fixed is None:
            opposite = [pin] if pin in other.nodes else []
        else:
            opposite = [one for one in there if one not in taken]
        ways = [(pin, one) if end == "a" else (one, pin) for one in opposite]
        whys = [_why(study, joined, *way) for way in ways]
        found.append(ReferenceOut(end, pin, _clearest(whys, LeftOut.NO_PIN_LEFT if there else LeftOut.NO_COUNTERPART)))
    return found


def _clearest(whys: Sequence[Why], otherwise: LeftOut) -> Why:
    """A fault of whole nets says most: nothing else kept the reference out."""
    return next((one for one in whys if isinstance(one, NodeFault)), whys[0] if whys else otherwise)


def _pins_of(face: Face, kind: type) -> list[str]:
    return [pin for pin in face.pins if any(isinstance(one, kind) for one in face.contacts[pin])]


def _open_lines(study: Study, joined: Sequence[Pair], end: Literal["a", "b"]) -> list[OpenLine]:
    face, other, side = (study.a, study.b, 0) if end == "a" else (study.b, study.a, 1)
    taken = {pair[side] for pair in joined}
    wires: dict[Contact, list[str]] = {}
    for pin in _pins_of(face, LineWire):
        for one in sorted(face.contacts[pin], key=repr):
            wires.setdefault(one, []).append(pin)
    there = [one for pin in _pins_of(other, LineWire) for one in sorted(other.contacts[pin], key=repr)]
    return [OpenLine(end, tuple(pins), one, _why_open(one, there, fixed=study.fixed is not None))
            for one, pins in wires.items() if isinstance(one, LineWire) and not taken & set(pins)]


def _why_open(wire: LineWire, there: Sequence[Contact], *, fixed: bool) -> Cause | LeftOut:
    """Judged against the wire of the same use and name at the other end."""
    for one in there:
        if isinstance(one, LineWire) and (one.use, one.wire) == (wire.use, wire.wire):
            judged = joining(wire, one)
            if judged.verdict is Verdict.FORBIDDEN:
                return judged.cause
            return LeftOut.MADE_OPEN if fixed else LeftOut.SPARE
    return LeftOut.NO_COUNTERPART


# ---- names ----------------------------------------------------------------------------------------------------------


def _cable(slot: CableSlot, study: Study, report: _Report) -> CableChoice:
    return CableChoice(slot.id, "straight" if study.straight else "repinned", slot.fixed is not None, report.joined,
                       report.cut, report.levels, report.conductors, report.open_lines, report.references_out)


def _name(chain: Chain, cables: Sequence[CableChoice], reports: Sequence[_Report]) -> list[CableChoice]:
    """Put names of devices, and the far ends of nets, where a report has only sides."""
    nets = _NetsOf(chain, cables)
    return [_named(chain, k, cable, nets) if report.unnamed else cable
            for k, (cable, report) in enumerate(zip(cables, reports, strict=True))]


class _NetsOf:
    """The nets of a finished choice: what else a reference would have met."""

    def __init__(self, chain: Chain, cables: Sequence[CableChoice]) -> None:
        sockets = [end for slot in chain.cables for end in (slot.a, slot.b)]
        joins = [join for slot, one in zip(chain.cables, cables, strict=True) for join in slot_joins(slot, one.joined)]
        self._at = {spot: net for net in build_nets(sockets, joins) for spot in net.spots}

    def fault(self, one: Spot, two: Spot) -> NodeFault | None:
        """What joining two pins would bring together."""
        held = (*self._at[one].held, *self._at[two].held)
        return next((fault for fault in node_faults(held) if fault.cause is Cause.GROUND_BYPASSES), None)


def _named(chain: Chain, k: int, cable: CableChoice, nets: _NetsOf) -> CableChoice:
    slot = chain.cables[k]
    sockets: dict[tuple[str, str], Socket] = {("a", "out"): slot.a, ("b", "in"): slot.b}
    if k:
        sockets["a", "in"] = chain.cables[k - 1].b
    if k + 1 < len(chain.cables):
        sockets["b", "out"] = chain.cables[k + 1].a

    def whole(held: Held) -> Held:
        socket = sockets[held.spot.device, held.spot.socket]
        return replace(held, spot=Spot(socket.device, socket.name, held.spot.pin))

    def named(why: Why, ways: Sequence[Pair]) -> Why:
        if why == _BYPASS:
            return next((fault for way in ways for fault in [nets.fault(*slot_joins(slot, [way])[0])] if fault), why)
        return NodeFault(why.cause, whole(why.first), whole(why.second)) if isinstance(why, NodeFault) else why

    conductors = tuple(replace(one, why=named(one.why, [(one.a, one.b)])) for one in cable.conductors)
    out = tuple(replace(one, why=named(one.why, _ways_of(slot, cable, one))) for one in cable.references_out)
    return replace(cable, conductors=conductors, references_out=out)


def _ways_of(slot: CableSlot, cable: CableChoice, out: ReferenceOut) -> list[Pair]:
    """The conductors that could have joined a reference which was left out."""
    other = slot.b.face if out.end == "a" else slot.a.face
    taken = {pair[1 if out.end == "a" else 0] for pair in cable.joined}
    there = [pin for pin in _pins_of(other, Reference)
             if pin not in taken and (cable.kind != "straight" or pin == out.pin)]
    return [(out.pin, pin) if out.end == "a" else (pin, out.pin) for pin in there]
