"""Lines that numbering, enabling or waking needs and a cable does not carry: a part of needed-conductor-missing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from interop.records.pins import line_use, pin_function
from interop.rules.conductor_nets import Cabled, where
from interop.rules.finding import FactUsed, Hit, broken, cannot_tell
from interop.rules.wording import joined, of_record
from interop.unchanging import unchanging
from interop.wiring.contacts import Cause, LineWire, NotStated, Socket, Unknown, Verdict, joining
from interop.wiring.meanings import address_rule
from interop.wiring.stage import Stage

__all__ = ["line_hits"]

_NEEDED = ("direction", "enable", "wake")
"""Lines that addressing or waking uses; what a stop line must reach is for the rules of that subject."""
_FOR = {"direction": "numbers the packs", "enable": "enables them", "wake": "wakes them"}


@unchanging
class _End:
    """The pins of one use at one socket by wire, the wires of the record's lines of that use, those that no pin of the
    record is known to carry, and whether some pin of the socket is not known.
    """

    device: str
    socket: str
    pins: Mapping[str, tuple[str, ...]]
    wires: frozenset[str]
    unplaced: frozenset[str]
    blank: bool

    @property
    def listed(self) -> bool:
        """Whether the record lists a line of this use at all."""
        return bool(self.wires)

    def may_have(self, wire: str) -> bool:
        """Whether a pin that nobody stated may carry a wire."""
        return self.blank and wire in self.unplaced


def line_hits(stage: Stage, cables: Iterable[Cabled]) -> Iterator[Hit]:
    """Find, on cables of links, every line in :data:`_NEEDED` that both ends have alike and no conductor joins."""
    lost: dict[tuple[object, ...], list[Cabled]] = {}
    open_: dict[tuple[object, ...], list[Cabled]] = {}
    bare: dict[tuple[object, ...], list[Cabled]] = {}
    for one in cables:
        records = tuple(stage.device(s.device).record.id for s in one.ends)
        for use in _NEEDED:
            if use == "direction" and not _by_direction(stage, one):
                continue
            ends = _end(stage, one.one, use), _end(stage, one.other, use)
            needs = use == "direction"
            for wire in sorted(ends[0].wires | ends[1].wires):
                verdict = _wire(one, use, wire, ends, needs=needs)
                if verdict is not None:
                    (lost if verdict else open_).setdefault((one.cable.link, use, wire, records), []).append(one)
            if needs and any(not end.listed for end in ends):
                bare.setdefault((one.cable.link, use, records), []).append(one)
    yield from (_lost(stage, use, wire, found) for (_, use, wire, _), found in lost.items())  # type: ignore[arg-type]
    yield from (_open(stage, use, wire, found) for (_, use, wire, _), found in open_.items())  # type: ignore[arg-type]
    yield from (_bare(stage, found) for found in bare.values())


def _by_direction(stage: Stage, one: Cabled) -> bool:
    """Whether a cable of the chain leads to a pack that is numbered by a direction pin."""
    found = []
    for socket in one.ends:
        pack, link = stage.packs.get(socket.device), stage.link_of.get(socket.device)
        held = address_rule(link, pack) if pack is not None and link is not None else None
        found.append(held is not None and held[1].given == "by direction pin")
    return one.cable.carries == "chain" and any(found)


def _end(stage: Stage, socket: Socket, use: str) -> _End:
    record, pack = stage.device(socket.device).record, stage.packs.get(socket.device)
    mode = pack.mode if pack is not None else None
    pins: dict[str, tuple[str, ...]] = {}
    for pin in socket.face.poles:
        for contact in socket.face.contacts[pin]:
            if isinstance(contact, LineWire) and contact.use == use:
                pins[contact.wire] = (*pins.get(contact.wire, ()), pin)
    mine = {name: line for name, line in record.lines.items()
            if line_use(record, name) == use and (mode is None or line.modes is None or mode in line.modes)}
    texts = [t for port in record.pins.values() for fact in port.values() for value in fact.values for t in value]
    placed = {(f.name, f.wire) for t in texts if t != "not stated" and (f := pin_function(record, t)).what == "line"}
    unplaced = frozenset(w for name, line in mine.items() for w in line.wires if (name, w) not in placed)
    blank = any(isinstance(c, NotStated | Unknown) for pin in socket.face.poles for c in socket.face.contacts[pin])
    wires = frozenset(wire for line in mine.values() for wire in line.wires)
    return _End(socket.device, socket.name, pins, wires, unplaced, blank)


def _wire(one: Cabled, use: str, wire: str, ends: tuple[_End, _End], *, needs: bool) -> bool | None:
    """Return True where a wire is needed and does not go through, False where that cannot be told, None for no fault.

    ``needs``: both ends must have it; else it is needed only where they have it alike.
    """
    a, b = ends
    if not (wire in a.pins and wire in b.pins):
        if any(wire not in end.pins and not end.may_have(wire) for end in ends):
            return True if needs and a.listed and b.listed else None
        return False
    if _goes(one, a.pins[wire], b.pins[wire]):
        return None
    causes = {joining(x, y).cause if joining(x, y).verdict is not Verdict.NEEDED else None
              for x in _contacts(one.one, use, wire) for y in _contacts(one.other, use, wire)}
    if None in causes:
        return True
    if causes & {Cause.SENSE_NOT_STATED, Cause.LEVEL_NOT_STATED}:
        return False
    return True if needs else None


def _contacts(socket: Socket, use: str, wire: str) -> list[LineWire]:
    return [c for pin in socket.face.poles for c in socket.face.contacts[pin]
            if isinstance(c, LineWire) and (c.use, c.wire) == (use, wire)]


def _goes(one: Cabled, ours: Sequence[str], theirs: Sequence[str]) -> bool:
    """Whether a conductor joins the wire at both ends, copper inside the devices counted."""
    a, b = {one.one.face.nodes[p] for p in ours}, {one.other.face.nodes[p] for p in theirs}
    return any(one.one.face.nodes.get(x) in a and one.other.face.nodes.get(y) in b for x, y in one.joined)


def _text(stage: Stage, use: str, wire: str, found: Sequence[Cabled]) -> tuple[tuple[str, ...], str]:
    about = tuple(dict.fromkeys(s.device for one in found for s in one.ends))
    one = found[0]
    at = ", ".join(f"{_pin(_end(stage, s, use), wire)} of {s.device} {s.name}" for s in one.ends)
    return about, f"{where(one.cable.link, [c.cable.id for c in found])}: wire {wire} of the {use} line ({at})"


def _pin(end: _End, wire: str) -> str:
    if wire in end.pins:
        return f"pin {' or '.join(end.pins[wire])}"
    return "a pin not known" if end.may_have(wire) else "no pin"


def _lost(stage: Stage, use: str, wire: str, found: Sequence[Cabled]) -> Hit:
    about, text = _text(stage, use, wire, found)
    return broken(about, f"{text} does not go through; it {_FOR[use]}", "Add this conductor to the cable.")


def _open(stage: Stage, use: str, wire: str, found: Sequence[Cabled]) -> Hit:
    about, text = _text(stage, use, wire, found)
    return cannot_tell(
        about,
        f"{text} does not go through as far as is known; whether it is needed there is not",
        "Look in the manual for the table of pins of the port, and for how the line acts.",
        facts=_facts(stage, use, found[0]),
    )


def _facts(stage: Stage, use: str, one: Cabled) -> tuple[FactUsed, ...]:
    """The facts of the line that are not known, and the pins of its sockets that are not."""
    facts: dict[FactUsed, None] = {}
    for socket in one.ends:
        record = stage.device(socket.device).record
        for name, line in record.lines.items():
            if line_use(record, name) == use:
                for field, fact in (("contact", line.contact), ("level_v", line.level_v)):
                    if fact.only is None:
                        facts[FactUsed(record.id, f"lines.{name}.{field}", fact.state)] = None
        for pin in socket.face.poles if _end(stage, socket, use).unplaced else ():
            if any(isinstance(c, NotStated | Unknown) for c in socket.face.contacts[pin]):
                facts[FactUsed(record.id, f"pins.{socket.port}.{pin}", "not-stated")] = None
    return tuple(facts)


def _bare(stage: Stage, found: Sequence[Cabled]) -> Hit:
    about = tuple(dict.fromkeys(s.device for one in found for s in one.ends))
    devices = [stage.device(name) for name in about]
    without = {d.record.id: None for one in found for s in one.ends if not _end(stage, s, "direction").listed
               for d in [stage.device(s.device)]}
    head = where(found[0].cable.link, [c.cable.id for c in found])
    return cannot_tell(
        about,
        f"{head}: a direction pin numbers {of_record(devices)}, and {joined(list(without))} "
        f"{'lists' if len(without) == 1 else 'list'} no direction line, so whether it goes through is not known",
        "Look in the manual for the table of pins of the ports, and write the line into the record.",
        facts=tuple(FactUsed(record, "lines", "absent") for record in without),
    )
