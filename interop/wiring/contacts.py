"""What a live pin carries, which contacts may be joined, and what is wrong with a net of pins.

Two predicates say what is legal, and each is written once: :func:`joining` for one conductor between two pins,
:func:`node_faults` for a whole net. The choice of conductors prunes with them, the rules report with them. A net
is one electrical node, through cables and through the copper inside devices (:func:`build_nets`).

References and what they are tied to: a reference conductor must never become the return path of the load when a
BMS opens the minus pole (common practice).
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import field
from enum import Enum
from functools import cached_property
from itertools import combinations
from typing import Literal, NamedTuple, TypeVar

from interop.standards.plugs import SHELL
from interop.unchanging import unchanging
from interop.wiring.groups import Groups

__all__ = [
    "NEEDED_USES",
    "NOT_STATED",
    "BusWire",
    "CableSlot",
    "Cause",
    "Chain",
    "Contact",
    "Empty",
    "Face",
    "Held",
    "Joining",
    "LineWire",
    "Net",
    "NodeFault",
    "NotStated",
    "Pair",
    "Reference",
    "Shell",
    "Socket",
    "Spot",
    "Supply",
    "Tie",
    "Unknown",
    "Unused",
    "Verdict",
    "build_nets",
    "bypasses",
    "is_blank",
    "joining",
    "net_faults",
    "node_faults",
    "slot_joins",
]

Tie = Literal["isolated", "busbar minus", "cell minus", "unknown"]
Pair = tuple[str, str]
NOT_STATED = "not stated"
"""The text of a sense or level that nobody stated: never alike with anything, itself included."""
NEEDED_USES = frozenset({"stop", "enable", "wake", "direction"})
"""What a line must be for to be joined when both devices have it alike; any other line is left open."""


# ---- contacts -------------------------------------------------------------------------------------------------------


@unchanging
class BusWire:
    """One wire of a bus. ``bus`` names the bus link-wide, so that equal names mean one bus on both devices."""

    bus: str
    wire: str


@unchanging
class LineWire:
    """One wire of a line: what it is for, how it acts (closed, open, present, absent), at which level.

    ``line`` is the name in its own record and decides nothing. ``carried`` and ``passive`` (a plain contact, not
    driven) are kept for the rules; None is not stated.
    """

    line: str
    wire: str
    use: str
    acts: str
    level: str
    carried: bool | None = None
    passive: bool | None = None


@unchanging
class Reference:
    """The reference conductor of a port, and what it is tied to inside the device."""

    tie: Tie


@unchanging
class Shell:
    """The metal shell of a socket: tied to the case, which is earth, or to nothing inside the device.

    A shell that is tied to the reference of its port is a :class:`Reference`.
    """

    earthed: bool


@unchanging
class Supply:
    """A pin that is fed, with its voltage as printed [V]."""

    volts: str = NOT_STATED


@unchanging
class Empty:
    """A pin that must stay empty."""


@unchanging
class Unused:
    """A pin without any function that is alive in this mode."""


@unchanging
class Unknown:
    """A pin whose function its maker or a test calls unknown."""


@unchanging
class NotStated:
    """A pin about which the record says nothing."""


Contact = BusWire | LineWire | Reference | Shell | Supply | Empty | Unused | Unknown | NotStated


# ---- sockets, cables, chains ----------------------------------------------------------------------------------------


@unchanging
class Face:
    """What a socket shows in one mode of its device; equal faces are one object to the engine.

    poles: pins in the order of the plug, ``shell`` last if there is one. pairs: poles on one twisted pair.
    contacts: what each pin carries, all of it at once; a pin left out is not stated, a pin with nothing is unused.
    nodes: the piece of copper inside the device that each pin ends on, with names that hold across all sockets of
    that device. Raises ValueError for pins that are no poles, and poles without node.
    """

    plug: str
    poles: tuple[str, ...]
    pairs: frozenset[frozenset[str]]
    contacts: Mapping[str, frozenset[Contact]]
    nodes: Mapping[str, str]
    _hash: int = field(init=False, repr=False, compare=False, default=0)

    def __post_init__(self) -> None:
        strange = (set(self.contacts) | set(self.nodes) | set().union(*self.pairs)) - set(self.poles)
        if strange or len(set(self.poles)) != len(self.poles) or set(self.nodes) != set(self.poles):
            raise ValueError(f"pins and poles disagree: poles {self.poles}, nodes {sorted(self.nodes)}, "
                             f"strange {sorted(strange)}")
        full = {pin: frozenset(self.contacts.get(pin, (NotStated(),))) or frozenset({Unused()}) for pin in self.poles}
        object.__setattr__(self, "contacts", full)
        shape = (self.plug, self.poles, self.pairs, tuple(full.values()), tuple(self.nodes[p] for p in self.poles))
        object.__setattr__(self, "_hash", hash(shape))

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def ordered(self) -> Mapping[str, tuple[Contact, ...]]:
        """What each pin carries, in one order in every run."""
        return {pin: tuple(sorted(held, key=repr)) for pin, held in self.contacts.items()}

    @property
    def pins(self) -> tuple[str, ...]:
        """The poles without the shell."""
        return tuple(pin for pin in self.poles if pin != SHELL)

    def position(self, pin: str) -> int:
        """Place of a pin in the plug, from 0."""
        return self.poles.index(pin)


@unchanging
class Socket:
    """One socket of one device."""

    device: str
    port: str
    name: str
    face: Face


class Spot(NamedTuple):
    """One pin of one socket of one device."""

    device: str
    socket: str
    pin: str


@unchanging
class CableSlot:
    """A place for one cable, from socket ``a`` to socket ``b``.

    fixed: the joined pins of a cable that is made and stays, else None. no_repin: only a straight cable with cuts.
    carries: the buses this cable is there for; None means every bus that both ends have, and at least one.
    no_references: no reference is joined unless the cable is made so.
    """

    id: str
    a: Socket
    b: Socket
    fixed: tuple[Pair, ...] | None = None
    no_repin: bool = False
    carries: frozenset[str] | None = None
    no_references: bool = False


@unchanging
class Chain:
    """Cables from device to device, in order; every device once. Raises ValueError where they do not follow."""

    cables: tuple[CableSlot, ...]

    def __post_init__(self) -> None:
        devices = [slot.a.device for slot in self.cables] + [slot.b.device for slot in self.cables[-1:]]
        if len(set(devices)) != len(devices):
            raise ValueError(f"a device stands twice in the chain: {devices}")
        for before, after in zip(self.cables, self.cables[1:], strict=False):
            if before.b.device != after.a.device or before.b.name == after.a.name:
                raise ValueError(f"cable {after.id} does not go on from another socket of {before.b.device}")


# ---- one conductor --------------------------------------------------------------------------------------------------


class Verdict(Enum):
    """What a conductor between two pins is."""

    NEEDED = "needed"
    REFERENCE = "reference"
    HARMLESS = "harmless"
    FORBIDDEN = "forbidden"


class Cause(Enum):
    """Why two contacts may be joined, or may not."""

    SAME_WIRE = "same wire of one bus"
    SAME_LINE = "same wire of a line that both have alike"
    REFERENCES = "references that may be joined"
    SHELLS = "shells that may be joined"
    REVERSED_PAIR = "reversed pair"
    UNLIKE_BUSES = "unlike buses joined"
    DATA_MEETS_STOP = "data meets stop line"
    DATA_MEETS_LINE = "data meets line"
    DATA_MEETS_SUPPLY = "data meets supply"
    DATA_MEETS_REFERENCE = "data meets reference"
    LINE_MEETS_SUPPLY = "line meets supply"
    STOP_MEETS_REFERENCE = "stop line meets reference"
    LINE_MEETS_REFERENCE = "line meets reference"
    SUPPLY_MEETS_REFERENCE = "supply meets reference"
    SUPPLIES_JOINED = "supplies joined"
    USES_DIFFER = "lines for different uses"
    SENSES_DIFFER = "senses differ"
    LEVELS_DIFFER = "levels differ"
    BOTH_WIRES_OF_LINE = "both wires of one line"
    LINE_NOT_NEEDED = "line that neither addressing, waking nor stopping uses"
    EMPTY_JOINED = "must-be-empty pin joined"
    UNUSED_JOINED = "unused pin joined"
    UNKNOWN_JOINED = "unknown pin joined"
    NOT_STATED_JOINED = "not-stated pin joined"
    SENSE_NOT_STATED = "sense not stated"
    LEVEL_NOT_STATED = "level not stated"
    LIVE_SHELL = "data, line or supply on a shell"
    GROUND_BYPASSES = "data ground bypasses the BMS"
    GROUND_MEETS_EARTH = "data ground meets earth"
    TIE_UNKNOWN = "tie unknown"
    EARTH_TIE_UNKNOWN = "earth meets a reference whose tie is unknown"

    @property
    def cannot_tell(self) -> bool:
        """True where a fact is missing, false where the stated facts forbid (or allow) the joining."""
        return self in _CANNOT_TELL


_CANNOT_TELL = frozenset({Cause.UNKNOWN_JOINED, Cause.NOT_STATED_JOINED, Cause.SENSE_NOT_STATED, Cause.LEVEL_NOT_STATED,
                          Cause.TIE_UNKNOWN, Cause.EARTH_TIE_UNKNOWN})


@unchanging
class Joining:
    """The verdict on joining two contacts of two devices, with its cause."""

    verdict: Verdict
    cause: Cause
    first: Contact
    second: Contact


_BLANK: tuple[tuple[type, Cause], ...] = (
    (Empty, Cause.EMPTY_JOINED),
    (Unknown, Cause.UNKNOWN_JOINED),
    (NotStated, Cause.NOT_STATED_JOINED),
    (Unused, Cause.UNUSED_JOINED),
)
_MIXED = {
    frozenset({BusWire, Supply}): Cause.DATA_MEETS_SUPPLY,
    frozenset({BusWire, Reference}): Cause.DATA_MEETS_REFERENCE,
    frozenset({LineWire, Supply}): Cause.LINE_MEETS_SUPPLY,
    frozenset({Supply, Reference}): Cause.SUPPLY_MEETS_REFERENCE,
    frozenset({Supply}): Cause.SUPPLIES_JOINED,
}


def joining(first: Contact, second: Contact) -> Joining:
    """Judge a conductor between a pin that carries ``first`` and a pin of another device that carries ``second``.

    Symmetric. References are judged as a pair here; what else their net holds is for :func:`node_faults`.
    """
    cause = _joining_cause(first, second)
    verdict = {Cause.SAME_WIRE: Verdict.NEEDED, Cause.SAME_LINE: Verdict.NEEDED, Cause.REFERENCES: Verdict.REFERENCE,
               Cause.SHELLS: Verdict.HARMLESS}
    return Joining(verdict.get(cause, Verdict.FORBIDDEN), cause, first, second)


def _joining_cause(first: Contact, second: Contact) -> Cause:
    for kind, cause in _BLANK:
        if isinstance(first, kind) or isinstance(second, kind):
            return cause
    for shell, other in ((first, second), (second, first)):
        if isinstance(shell, Shell):
            return _shell_cause(shell, other)
    if isinstance(first, BusWire) and isinstance(second, BusWire):
        return _bus_cause(first, second)
    if isinstance(first, LineWire) and isinstance(second, LineWire):
        return _line_cause(first, second)
    if isinstance(first, Reference) and isinstance(second, Reference):
        return _reference_cause(first, second)
    for line, other in ((first, second), (second, first)):
        if isinstance(line, LineWire) and isinstance(other, BusWire):
            return Cause.DATA_MEETS_STOP if line.use == "stop" else Cause.DATA_MEETS_LINE
        if isinstance(line, LineWire) and isinstance(other, Reference):
            return Cause.STOP_MEETS_REFERENCE if line.use == "stop" else Cause.LINE_MEETS_REFERENCE
    return _MIXED[frozenset({type(first), type(second)})]


def _shell_cause(shell: Shell, other: Contact) -> Cause:
    """Earth joined to a reference that is tied to a minus makes a second path for load and fault current, or a short,
    whichever pole of the bank is earthed (common practice); an isolated reference may be earthed.
    """
    if isinstance(other, BusWire | LineWire | Supply):
        return Cause.LIVE_SHELL
    if not shell.earthed or not isinstance(other, Reference) or other.tie == "isolated":
        return Cause.SHELLS
    return Cause.EARTH_TIE_UNKNOWN if other.tie == "unknown" else Cause.GROUND_MEETS_EARTH


def _bus_cause(first: BusWire, second: BusWire) -> Cause:
    if first.bus != second.bus:
        return Cause.UNLIKE_BUSES
    return Cause.SAME_WIRE if first.wire == second.wire else Cause.REVERSED_PAIR


def _line_cause(first: LineWire, second: LineWire) -> Cause:
    if first.use != second.use:
        return Cause.USES_DIFFER
    if NOT_STATED in (first.acts, second.acts):
        return Cause.SENSE_NOT_STATED
    if first.acts != second.acts:
        return Cause.SENSES_DIFFER
    if NOT_STATED in (first.level, second.level):
        return Cause.LEVEL_NOT_STATED
    if first.level != second.level:
        return Cause.LEVELS_DIFFER
    if first.wire != second.wire:
        return Cause.BOTH_WIRES_OF_LINE
    return Cause.SAME_LINE if first.use in NEEDED_USES else Cause.LINE_NOT_NEEDED


def _reference_cause(first: Reference, second: Reference) -> Cause:
    if "unknown" in (first.tie, second.tie):
        return Cause.TIE_UNKNOWN
    return Cause.GROUND_BYPASSES if bypasses((("first", first.tie), ("second", second.tie))) else Cause.REFERENCES


# ---- whole nets -----------------------------------------------------------------------------------------------------


@unchanging
class Held:
    """One contact that a net holds, and where."""

    spot: Spot
    contact: Contact


@unchanging
class NodeFault:
    """Two things that one net must not hold together: both culprits."""

    cause: Cause
    first: Held
    second: Held


@unchanging
class Net:
    """All pins that are one electrical node. ``joined``: whether a conductor of a cable ends on it."""

    spots: tuple[Spot, ...]
    held: tuple[Held, ...]
    joined: bool


Owner = TypeVar("Owner", bound=Hashable)


def bypasses(ties: Collection[tuple[Owner, str]]) -> bool:
    """Whether one net with these references (owner, tie) would carry load current past a BMS.

    A net that holds a cell-side minus may hold no other reference that is not isolated. Two references of one device
    with one tie are one piece of copper and count once. Unknown ties are judged apart.
    """
    live = {(owner, tie) for owner, tie in ties if tie in ("busbar minus", "cell minus")}
    return len(live) > 1 and any(tie == "cell minus" for _, tie in live)


def node_faults(held: Iterable[Held]) -> tuple[NodeFault, ...]:
    """List what is wrong with one net that holds all this; empty when nothing is.

    Two unlike wires, both wires of one line, a must-be-empty, unknown, not-stated or supply contact with anything
    else, an unused pin that only a cable can have reached, references that bypass a BMS or whose tie is unknown,
    anything live on a shell, earth on a reference tied to a minus. Contacts of one device that are alike count once,
    so a net inside one device has faults only if its copper does.
    """
    things: dict[Hashable, Held] = {}
    ties: dict[tuple[str, str], Held] = {}
    shells: dict[bool, Held] = {}
    unused, live = [], []
    for one in held:
        if isinstance(one.contact, Unused):
            unused.append(one)
            continue
        live.append(one)
        if isinstance(one.contact, Reference):
            ties.setdefault((one.spot.device, one.contact.tie), one)
        elif isinstance(one.contact, Shell):
            shells.setdefault(one.contact.earthed, one)
        else:
            things.setdefault(_class(one), one)
    mixed = [*things.values(), *list(ties.values())[:1]]
    on_shell = _shell_faults(shells, things.values(), ties.values())
    return (*_mixed_faults(mixed), *on_shell, *_tie_faults(ties), *_unused_faults(unused, live))


def _shell_faults(shells: Mapping[bool, Held], things: Iterable[Held], ties: Iterable[Held]) -> list[NodeFault]:
    """What a shell must not meet; of an earthed one and one that is tied to nothing the earthed one is named."""
    if not shells:
        return []
    shell = shells.get(True) or shells[False]
    faults = [_fault(shell, one) for one in (*things, *ties)]
    return [fault for fault in faults if fault.cause is not Cause.SHELLS]


def _class(one: Held) -> Hashable:
    """Contacts with equal class are one thing on a net."""
    contact = one.contact
    if isinstance(contact, BusWire):
        return contact
    if isinstance(contact, LineWire):
        alike = (contact.use, contact.acts, contact.level, contact.wire)
        return (alike, one.spot.device if NOT_STATED in alike[1:3] else "")
    return (contact, one.spot.device)


def _mixed_faults(things: Sequence[Held]) -> list[NodeFault]:
    """Every two unlike things; blank pins, of which a long chain can hold thousands, once each."""
    blank = [one for one in things if isinstance(one.contact, Empty | Unknown | NotStated)]
    solid = [one for one in things if one not in blank] if blank else things
    faults = [_fault(one, two) for one, two in combinations(solid, 2)]
    if solid:
        return faults + [_fault(solid[0], one) for one in blank]
    return faults + [_fault(blank[0], one) for one in blank[1:]]


def _fault(first: Held, second: Held) -> NodeFault:
    return NodeFault(_joining_cause(first.contact, second.contact), first, second)


def _tie_faults(ties: Mapping[tuple[str, str], Held]) -> list[NodeFault]:
    unknown = [one for (_, tie), one in ties.items() if tie == "unknown"]
    known = [one for (_, tie), one in ties.items() if tie != "unknown"]
    other = (known or unknown)[:1]
    faults = [NodeFault(Cause.TIE_UNKNOWN, other[0], one) for one in unknown if one is not other[0]]
    if bypasses(ties.keys()):
        cell = next(one for (_, tie), one in ties.items() if tie == "cell minus")
        live = [one for (_, tie), one in ties.items() if tie in ("busbar minus", "cell minus") and one is not cell]
        faults += [NodeFault(Cause.GROUND_BYPASSES, cell, one) for one in live]
    return faults


def _unused_faults(unused: Sequence[Held], live: Sequence[Held]) -> list[NodeFault]:
    """An unused pin that carries something all the same, or that only a cable can have reached.

    The latter: its device puts nothing else on this net, and another device is on it.
    """
    owners = {one.spot.device for one in live}
    spots = {one.spot: one for one in live}
    faults = [_fault(spots[one.spot], one) for one in unused if one.spot in spots]
    lone = {one.spot.device: one for one in reversed(unused) if one.spot.device not in owners}
    first = [*live, *lone.values()][:1]
    return faults + [_fault(first[0], one) for one in lone.values() if one is not first[0]]


def build_nets(sockets: Iterable[Socket], joins: Iterable[tuple[Spot, Spot]]) -> tuple[Net, ...]:
    """Merge pins into nets, through the copper inside devices and through the conductors of cables.

    A join may name only pins of the given sockets, else KeyError. Nets come in the order of their first pin.
    """
    held: dict[Spot, tuple[Contact, ...]] = {}
    coppers: dict[tuple[str, str], int] = {}
    copper: dict[Spot, int] = {}     # groups are made of the pieces of copper inside devices, by number
    for socket in sockets:
        face = socket.face
        for pin in face.poles:
            spot = Spot(socket.device, socket.name, pin)
            held[spot] = face.ordered[pin]
            copper[spot] = coppers.setdefault((socket.device, face.nodes[pin]), len(coppers))
    merged: Groups[int] = Groups()
    merged.add(range(len(coppers)))
    ends: list[int] = []
    for one, two in joins:
        merged.join(copper[one], copper[two])     # a pin that no socket has is the caller's fault
        ends.append(copper[one])
    groups: dict[int, list[Spot]] = {}
    for spot, piece in copper.items():
        groups.setdefault(merged.root(piece), []).append(spot)
    live = {merged.root(piece) for piece in ends}
    return tuple(Net(tuple(spots), tuple(Held(spot, contact) for spot in spots for contact in held[spot]), root in live)
                 for root, spots in groups.items())


def is_blank(contact: Contact) -> bool:
    """Whether a pin carries nothing that anybody states: between two packs of one record, pin to the same pin, such a
    conductor is the maker's own lead. A pin that must stay empty is not blank: its maker says what he wants.
    """
    return isinstance(contact, Unused | Unknown | NotStated)


def slot_joins(slot: CableSlot, joined: Iterable[Pair]) -> tuple[tuple[Spot, Spot], ...]:
    """The joined pins of one cable as spots, for :func:`build_nets`."""
    a, b = slot.a, slot.b
    return tuple((Spot(a.device, a.name, one), Spot(b.device, b.name, two)) for one, two in joined)


def net_faults(chain: Chain, joined: Sequence[Iterable[Pair]]) -> tuple[NodeFault, ...]:
    """What is wrong with the nets that these joined pins make, cable by cable of the chain. Empty when nothing is.

    Reads nets and pairs of pins only, never how a choice was made, so it proves a choice of conductors.
    """
    sockets = [end for slot in chain.cables for end in (slot.a, slot.b)]
    joins = [join for slot, pairs in zip(chain.cables, joined, strict=True) for join in slot_joins(slot, pairs)]
    return tuple(fault for net in build_nets(sockets, joins) if net.joined for fault in node_faults(net.held))
