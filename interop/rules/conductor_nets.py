"""What is wrong with the nets of a stage, gathered so that one link and one cause make one finding."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interop.rules.finding import FactUsed
from interop.rules.wording import named
from interop.site.site import Device
from interop.standards.plugs import SHELL
from interop.unchanging import unchanging
from interop.wiring.contacts import (
    BusWire,
    Cause,
    Contact,
    Empty,
    Held,
    LineWire,
    NodeFault,
    NotStated,
    Reference,
    Shell,
    Socket,
    Spot,
    Supply,
    Unknown,
    Unused,
    is_blank,
    node_faults,
)
from interop.wiring.faces import port_of_socket
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageCable

__all__ = [
    "Cabled",
    "NetGroup",
    "bus_text",
    "cabled",
    "contact_text",
    "net_groups",
    "pairings",
    "pin_facts",
    "spot_text",
    "tie_facts",
    "where",
]

_MOST = 4


@dataclass(eq=False)
class NetGroup:
    """Faults of one link with one cause: pairs of culprits, and the cables of their nets."""

    cause: Cause
    alike: bool
    blank: bool
    link: str | None
    order: Mapping[str, Device]
    faults: list[NodeFault] = field(default_factory=list)
    nets: dict[int, tuple[StageCable, ...]] = field(default_factory=dict)

    @property
    def about(self) -> tuple[str, ...]:
        """Every culprit, each once, in the order of the site file."""
        found = {h.spot.device for f in self.faults for h in (f.first, f.second)}
        return tuple(sorted(found, key=lambda name: self.order[name].index))

    def cables(self) -> tuple[str, ...]:
        """The cables of these nets that end on a culprit, in the order of the stage."""
        culprits = set(self.about)
        found = {c.id: None for cables in self.nets.values() for c in cables if {c.a.device, c.b.device} & culprits}
        return tuple(found)

    def head(self) -> str:
        """Begin a text: the link and its cables."""
        return where(self.link, self.cables())


@unchanging(eq=False)
class Cabled:
    """A cable that is known to the pin, with the sockets at its ends."""

    cable: StageCable
    one: Socket
    other: Socket
    joined: tuple[tuple[str, str], ...]

    @property
    def ends(self) -> tuple[Socket, Socket]:
        """The sockets at both ends."""
        return self.one, self.other


@once
def cabled(stage: Stage) -> tuple[Cabled, ...]:
    """Return the cables whose sockets and joined pins are known."""
    found = []
    for cable in stage.cables:
        one, other = stage.socket(cable.a), stage.socket(cable.b)
        if one is not None and other is not None and cable.joined is not None:
            found.append(Cabled(cable, one, other, cable.joined))
    return tuple(found)


@once
def net_groups(stage: Stage) -> tuple[NetGroup, ...]:
    """Gather the faults of all nets of a stage by link and cause."""
    groups: dict[tuple[object, ...], NetGroup] = {}
    links: dict[int, str | None] = {}
    for cables, fault in _faults(stage):
        if id(cables) not in links:
            links[id(cables)] = _link_of(cables)
        blank = _says_nothing(fault.first.contact) and _says_nothing(fault.second.contact)
        alike = is_blank(fault.first.contact) and is_blank(fault.second.contact) and _alike(stage, fault)
        alike = alike and fault.first.spot.pin != SHELL  # that the maker's lead is shielded does not go without saying
        cause = Cause.UNUSED_JOINED if alike else fault.cause
        key = (cause, alike, blank, links[id(cables)])
        group = groups.setdefault(key, NetGroup(cause, alike, blank, links[id(cables)], stage.site.devices))
        group.faults.append(fault)
        group.nets[id(cables)] = cables
    return tuple(groups.values())


def _faults(stage: Stage) -> Iterator[tuple[tuple[StageCable, ...], NodeFault]]:
    """Yield every fault with its culprits at pins that a conductor ends on, where the copper inside offers one."""
    wired = {
        Spot(s.device, s.name, pair[i]) for one in cabled(stage) for pair in one.joined for i, s in enumerate(one.ends)
    }
    for cables, net in stage.nets:
        faults = node_faults(net.held)
        if faults:
            at = {(h.spot.device, h.contact): h for h in reversed(net.held) if h.spot in wired}
            for fault in faults:
                first, second = (
                    h if h.spot in wired else at.get((h.spot.device, h.contact), h) for h in (fault.first, fault.second)
                )
                yield cables, NodeFault(fault.cause, first, second)


def _link_of(cables: Iterable[StageCable]) -> str | None:
    links = dict.fromkeys(c.link for c in cables if c.link is not None)
    return " and ".join(links) or None


def _says_nothing(contact: Contact) -> bool:
    return is_blank(contact) or isinstance(contact, Empty)


def _alike(stage: Stage, fault: NodeFault) -> bool:
    """Whether two packs of one record have the same blank pin joined: what the maker's own lead does."""
    one, two = fault.first, fault.second
    return (
        stage.device(one.spot.device).record is stage.device(two.spot.device).record
        and one.spot.pin == two.spot.pin
        and _port(stage, one.spot) == _port(stage, two.spot)
    )


def _port(stage: Stage, spot: Spot) -> str:
    return port_of_socket(stage.device(spot.device).record, spot.socket) or spot.socket


# ---- texts ----


def where(link: str | None, cables: Sequence[str]) -> str:
    """Return ``Link rack, cables W1..W3``."""
    word = f"cable{'s' if len(cables) != 1 else ''} {named(cables)}"
    return f"Link {link}, {word}" if link is not None else word[0].upper() + word[1:]


def bus_text(stage: Stage, device: str, bus: str) -> str:
    """Name a bus, given by its identity, as the record of a device on it does: ``bus chain of link rack``."""
    names = [name for name in stage.device(device).record.buses if stage.bus_identity(device, name) == bus]
    kind, _, link = bus.partition(" ")
    shared = kind in ("chain", "report") and any(one.id == link for one in stage.links)
    return f"bus {' and '.join(names) or bus} of {f'link {link}' if shared else 'its own'}"


def contact_text(stage: Stage, held: Held) -> str:
    """Say what a pin carries."""
    contact = held.contact
    if isinstance(contact, BusWire):
        return f"{contact.wire} of {bus_text(stage, held.spot.device, contact.bus)}"
    if isinstance(contact, LineWire):
        return f"{contact.line} {contact.wire}"
    if isinstance(contact, Reference):
        return (
            "reference"
            if contact.tie == "isolated"
            else f"reference, tied to {contact.tie}"
            if contact.tie != "unknown"
            else "reference, its tie not known"
        )
    if isinstance(contact, Shell):
        return "the case, which is earth" if contact.earthed else "tied to nothing inside"
    if isinstance(contact, Supply):
        return f"supply {contact.volts} V" if contact.volts[:1].isdigit() else "supply"
    words = {Empty: "must stay empty", Unused: "unused", Unknown: "unknown"}
    return words.get(type(contact), "not stated")


def spot_text(stage: Stage, held: Held) -> str:
    """Return ``pin 3 of N1 LINK1 (stop a)``."""
    return f"{_pins_text([held.spot.pin])} of {held.spot.device} {held.spot.socket} ({contact_text(stage, held)})"


def _pins_text(pins: Sequence[str]) -> str:
    """Return ``pins 3, 6 and the shell``."""
    numbers = [pin for pin in pins if pin != SHELL]
    words = [f"pin{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"] if numbers else []
    return " and ".join([*words, "the shell"] if SHELL in pins else words)


@dataclass(eq=False)
class _Pairing:
    """Joinings that read alike: the devices on both sides, their sockets, the pairs of pins."""

    sides: tuple[dict[str, None], dict[str, None]] = field(default_factory=lambda: ({}, {}))
    sockets: tuple[dict[str, None], dict[str, None]] = field(default_factory=lambda: ({}, {}))
    pins: dict[tuple[str, str], None] = field(default_factory=dict)


def pairings(stage: Stage, faults: Iterable[NodeFault]) -> str:
    """Say which pins meet: alike joinings folded, both culprits named by device, socket and pin."""
    found: dict[tuple[str, ...], _Pairing] = {}
    for fault in sorted(faults, key=lambda f: [stage.device(h.spot.device).index for h in (f.first, f.second)]):
        key: list[str] = []
        for held in (fault.first, fault.second):
            key += [stage.device(held.spot.device).record.id, _port(stage, held.spot), contact_text(stage, held)]
        one = found.setdefault(tuple(key), _Pairing())
        for i, held in enumerate((fault.first, fault.second)):
            one.sides[i][held.spot.device] = None
            one.sockets[i][held.spot.socket] = None
        one.pins[fault.first.spot.pin, fault.second.spot.pin] = None
    texts = [_pairing(key, one) for key, one in found.items()]
    more = f"; and {len(texts) - _MOST} more" if len(texts) > _MOST else ""
    return "; ".join(texts[:_MOST]) + more


def _pairing(key: tuple[str, ...], one: _Pairing) -> str:
    ends = []
    for i, (port, what) in enumerate(((key[1], key[2]), (key[4], key[5]))):
        pins = tuple(dict.fromkeys(pair[i] for pair in one.pins))
        sockets = one.sockets[i]
        ends.append(
            f"{_pins_text(pins)} of {named(one.sides[i])} "
            f"{next(iter(sockets)) if len(sockets) == 1 else port} ({what})"
        )
    return f"{ends[0]} meet{'' if len(one.pins) > 1 else 's'} {ends[1]}"


def pin_facts(stage: Stage, faults: Iterable[NodeFault]) -> tuple[FactUsed, ...]:
    """Name the facts of the pins that are not known among the culprits."""
    found: dict[FactUsed, None] = {}
    for fault in faults:
        for held in (fault.first, fault.second):
            if isinstance(held.contact, Unknown | NotStated):
                found[_pin_fact(stage, held.spot)] = None
    return tuple(found)


def _pin_fact(stage: Stage, spot: Spot) -> FactUsed:
    record, port = stage.device(spot.device).record, _port(stage, spot)
    fact = record.pins.get(port, {}).get(spot.pin)
    if spot.pin == SHELL and fact is None:
        return FactUsed(record.id, f"ports.{port}.shell", record.ports[port].shell.state)
    return FactUsed(record.id, f"pins.{port}.{spot.pin}", fact.state if fact is not None else "absent")


def tie_facts(stage: Stage, faults: Iterable[NodeFault]) -> tuple[FactUsed, ...]:
    """Name the references whose tie is not known."""
    found: dict[FactUsed, None] = {}
    for fault in faults:
        for held in (fault.first, fault.second):
            if isinstance(held.contact, Reference) and held.contact.tie == "unknown":
                record, port = stage.device(held.spot.device).record, _port(stage, held.spot)
                found[FactUsed(record.id, f"ports.{port}.reference", record.ports[port].reference.state)] = None
    return tuple(found)
