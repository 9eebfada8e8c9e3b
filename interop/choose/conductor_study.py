"""One cable by itself: which wires it must carry, which conductors are legal, and which of them carry the wires best.

Why this can be settled cable by cable: a legal conductor joins two contacts of one class, so a net of legal
conductors is unlike only if the copper inside one device already is. Pins on such copper are barred here; what is
left of the whole chain is the references, whose nets may be long (:mod:`interop.choose.conductors`). Wires and
references never share a pin, so the two choices do not disturb each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product

from interop.unchanging import unchanging
from interop.wiring.contacts import (
    NEEDED_USES,
    NOT_STATED,
    BusWire,
    Contact,
    Face,
    Held,
    LineWire,
    NodeFault,
    Pair,
    Reference,
    Spot,
    Verdict,
    joining,
    node_faults,
)

__all__ = ["Copper", "Levels", "Study", "Want", "copper_of", "lowest_first", "study_of", "wants_of", "wires_of"]

_PARTNER = {"plus": "minus", "minus": "plus", "high": "low", "low": "high"}
_SHAPES = 4096      # devices or cables that differ; beyond, the oldest are studied again
_LAST = 1 << 16     # stands for "open": after every position in a plug


@unchanging
class Want:
    """A wire that a cable must carry: ``group`` is ("bus", name) or ("line", use, acts, level)."""

    group: tuple[str, ...]
    wire: str


@unchanging
class Levels:
    """What the choice is judged by, in this order; sums over cables. The lowest pins come after."""

    repinned: int
    references: int
    pairs: int
    conductors: int

    def __add__(self, other: Levels) -> Levels:
        return Levels(self.repinned + other.repinned, self.references + other.references, self.pairs + other.pairs,
                      self.conductors + other.conductors)


@unchanging
class Copper:
    """The copper inside one device, seen from its socket towards the chain's start (in) and end (out).

    barred: faults of the piece that a pin ends on, for (side, pin). ties: for each sound piece with a reference what
    it is tied to, isolated left out. Spots carry the side in place of a socket, and no device.
    """

    barred: dict[tuple[str, str], tuple[NodeFault, ...]]
    ties: dict[str, frozenset[str]]


@dataclass(eq=False)
class Study:
    """One shape of cable. ``joined``: the conductors for its wires, None where a wire cannot be carried.

    A made cable has all its conductors in ``joined``. references: for each pin at a, in plug order, the pins at b that
    it may reach. moves, reports: remembered by the engine, since the same shape comes again and again.
    """

    a: Face
    b: Face
    a_copper: Copper
    b_copper: Copper
    b_out: Face | None
    fixed: tuple[Pair, ...] | None
    wants: tuple[Want, ...]
    straight: bool
    joined: tuple[Pair, ...] | None
    references: tuple[tuple[str, tuple[str, ...]], ...]
    no_references: bool = False
    moves: dict[object, object] = field(default_factory=dict)
    reports: dict[object, object] = field(default_factory=dict)

    def legal(self, a_pin: str, b_pin: str) -> bool:
        """Whether one conductor may join these pins, whole nets of references apart."""
        return _legal(self.a, self.b, self.a_copper, self.b_copper, a_pin, b_pin)

    def levels(self, joined: Iterable[Pair]) -> Levels:
        """Judge the joined pins of this cable."""
        pairs = tuple(joined)
        references = sum(any(isinstance(one, Reference) for one in self.a.contacts[pin]) for pin, _ in pairs)
        twisted = sum(_carried_by_pair(self.a, self.b, group, pairs) for group in _two_wired(self.wants))
        return Levels(int(not self.straight), references, twisted, len(pairs))


def wires_of(contact: Contact) -> Want | None:
    """The wire that a contact is, if it can be wanted at all."""
    if isinstance(contact, BusWire):
        return Want(("bus", contact.bus), contact.wire)
    if (isinstance(contact, LineWire) and contact.use in NEEDED_USES
            and NOT_STATED not in (contact.acts, contact.level)):
        return Want(("line", contact.use, contact.acts, contact.level), contact.wire)
    return None


def wants_of(a: Face, b: Face, carries: frozenset[str] | None) -> tuple[Want, ...] | None:
    """The wires a cable between these faces must carry, sorted; None if neither end has a named bus, or none is common.

    Every wire of each bus, with the partner that makes it a pair, and each wire of a line that both ends have alike.
    """
    at_a, at_b = _all_wires(a), _all_wires(b)
    here, there = ({w.group[1] for w in wires if w.group[0] == "bus"} for wires in (at_a, at_b))
    buses = here & there if carries is None else carries
    if not buses <= here | there or (carries is None and not buses):
        return None
    wires = {w for w in at_a | at_b if w.group[0] == "bus" and w.group[1] in buses}
    wires |= {Want(w.group, _PARTNER[w.wire]) for w in wires if w.wire in _PARTNER}
    wires |= {w for w in at_a & at_b if w.group[0] == "line"}
    return tuple(sorted(wires, key=lambda w: (w.group, w.wire)))


def _all_wires(face: Face) -> frozenset[Want]:
    return frozenset(want for held in face.contacts.values() for one in held if (want := wires_of(one)))


@lru_cache(maxsize=_SHAPES)
def copper_of(inner: Face | None, outer: Face | None) -> Copper:
    """Read the copper of a device whose sockets in the chain have these faces."""
    pieces: dict[str, list[Held]] = {}
    ends: dict[tuple[str, str], str] = {}
    for side, face in [(side, face) for side, face in (("in", inner), ("out", outer)) if face is not None]:
        for pin in face.poles:
            ends[side, pin] = face.nodes[pin]
            held = [Held(Spot("", side, pin), one) for one in sorted(face.contacts[pin], key=repr)]
            pieces.setdefault(face.nodes[pin], []).extend(held)
    faults = {node: node_faults(held) for node, held in pieces.items()}
    ties = {node: [one.contact.tie for one in held if isinstance(one.contact, Reference)]
            for node, held in pieces.items()}
    return Copper({end: faults[node] for end, node in ends.items() if faults[node]},
                  {node: frozenset(t for t in found if t != "isolated")
                   for node, found in ties.items() if found and not faults[node]})


def _legal(a: Face, b: Face, a_copper: Copper, b_copper: Copper, a_pin: str, b_pin: str) -> bool:
    if ("out", a_pin) in a_copper.barred or ("in", b_pin) in b_copper.barred:
        return False
    return all(joining(one, two).verdict is not Verdict.FORBIDDEN
               for one in a.contacts[a_pin] for two in b.contacts[b_pin])


@lru_cache(maxsize=_SHAPES)
def study_of(a_in: Face | None, a: Face, b: Face, b_out: Face | None, fixed: tuple[Pair, ...] | None, no_repin: bool,
             carries: frozenset[str] | None, no_references: bool = False) -> Study:
    """Study the cable between faces ``a`` and ``b``; a_in, b_out are the other sockets of its two devices."""
    a_copper, b_copper = copper_of(a_in, a), copper_of(b, b_out)
    pins = (a.poles, b.poles) if fixed is not None else (a.pins, b.pins)  # a shell stays joined, but never is anew
    legal = [(p, q) for p in pins[0] for q in pins[1] if _legal(a, b, a_copper, b_copper, p, q)]
    wants = wants_of(a, b, carries)
    if fixed is not None:
        allowed = [pair for pair in legal if pair in fixed]
        straight = a.plug == b.plug and all(p == q for p, q in fixed)
        lost = wants is None or len(allowed) < len(set(fixed))
    else:
        same = [(p, q) for p, q in legal if p == q] if a.plug == b.plug else []
        straight = no_repin or (a.plug == b.plug and _covers(a, same, wants or ()))
        allowed, lost = (same if straight else legal), wants is None
    joined = None if lost else _best_wires(a, b, allowed, wants or ())
    if joined is not None and fixed is not None:
        joined = fixed
    references = () if no_references and fixed is None else _reference_pins(a, b, allowed)
    return Study(a, b, a_copper, b_copper, b_out, fixed, wants or (), straight, joined, references, no_references)


def _covers(a: Face, allowed: Iterable[Pair], wants: Iterable[Want]) -> bool:
    carried = {wires_of(one) for pin, _ in allowed for one in a.contacts[pin]}
    return all(want in carried for want in wants)


def _reference_pins(a: Face, b: Face, allowed: Iterable[Pair]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    reach: dict[str, list[str]] = {}
    for p, q in allowed:
        if all(any(isinstance(one, Reference) for one in held) for held in (a.contacts[p], b.contacts[q])):
            reach.setdefault(p, []).append(q)
    return tuple((p, tuple(reach[p])) for p in a.poles if p in reach)


def _two_wired(wants: Iterable[Want]) -> tuple[tuple[str, ...], ...]:
    """Buses and lines of exactly two wires: those that can sit on one twisted pair."""
    groups: dict[tuple[str, ...], int] = {}
    for want in wants:
        groups[want.group] = groups.get(want.group, 0) + 1
    return tuple(group for group, count in groups.items() if count == 2)


def _carried_by_pair(a: Face, b: Face, group: tuple[str, ...], joined: Iterable[Pair]) -> bool:
    """Whether two joined conductors bring the two wires of a group on one twisted pair at both ends."""
    ours: dict[str, list[Pair]] = {}
    for p, q in joined:
        for one in a.contacts[p]:
            want = wires_of(one)
            if want is not None and want.group == group:
                ours.setdefault(want.wire, []).append((p, q))
    return len(ours) == 2 and any(_on_pair(a, b, one, two) for one, two in product(*ours.values()))


def _on_pair(a: Face, b: Face, one: Pair, two: Pair) -> bool:
    return frozenset({one[0], two[0]}) in a.pairs and frozenset({one[1], two[1]}) in b.pairs


def lowest_first(a: Face, b: Face, pairs: Iterable[Pair]) -> tuple[int, ...]:
    """Sort key of "lowest pins": pin by pin of plug ``a``, the position reached at ``b``, open last."""
    reached = {p: b.position(q) for p, q in pairs}
    return tuple(reached.get(p, _LAST) for p in a.poles)


def _best_wires(a: Face, b: Face, allowed: Iterable[Pair], wants: tuple[Want, ...]) -> tuple[Pair, ...] | None:
    """One conductor for each wanted wire: most buses and lines on a twisted pair, then lowest pins."""
    options: dict[Want, list[Pair]] = {want: [] for want in wants}
    for p, q in allowed:
        want = next(iter({wires_of(one) for one in a.contacts[p]}), None)
        if want in options:
            options[want].append((p, q))
    if not all(options.values()):
        return None
    chosen: list[Pair] = []
    paired = _two_wired(wants)
    for group in dict.fromkeys(want.group for want in wants):
        ways = [found for want, found in options.items() if want.group == group]
        if group in paired:
            chosen += min(product(*ways), key=lambda way: (not _on_pair(a, b, *way), lowest_first(a, b, way)))
        else:
            chosen += (min(found, key=lambda pair: lowest_first(a, b, [pair])) for found in ways)
    return tuple(chosen)
