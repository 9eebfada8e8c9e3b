"""Rules of the conductor subject about single cables: conductors that lack, pairs, crossovers, what is not known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

from interop.rules.conductor_lines import line_hits
from interop.rules.conductor_nets import Cabled, bus_text, cabled, where
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import made_kinds
from interop.rules.wording import named
from interop.standards import plugs
from interop.wiring.contacts import BusWire, Face, NotStated, Socket, Unknown
from interop.wiring.faces import inside_known
from interop.wiring.stage import Stage, StageCable

__all__: list[str] = []

Wire = tuple[str, str]
"""Identity of a bus, and one of its wires."""


def _wires(socket: Socket) -> Mapping[Wire, tuple[str, ...]]:
    return _face_wires(socket.face)


@lru_cache(maxsize=4096)
def _face_wires(face: Face) -> Mapping[Wire, tuple[str, ...]]:
    """Return the pins of each bus wire of a socket."""
    found: dict[Wire, tuple[str, ...]] = {}
    for pin in face.poles:
        for contact in face.contacts[pin]:
            if isinstance(contact, BusWire):
                wire = (contact.bus, contact.wire)
                found[wire] = (*found.get(wire, ()), pin)
    return found


def _blank(socket: Socket) -> tuple[str, ...]:
    return tuple(
        p for p in socket.face.pins if any(isinstance(c, NotStated | Unknown) for c in socket.face.contacts[p])
    )


def _joins(one: Cabled, wire: Wire) -> list[tuple[str, str]]:
    """Return the conductors of a cable that carry a wire at both ends, copper inside the devices counted."""
    ours, theirs = _wires(one.one).get(wire, ()), _wires(one.other).get(wire, ())
    a = {one.one.face.nodes[p] for p in ours}
    b = {one.other.face.nodes[p] for p in theirs}
    return [(x, y) for x, y in one.joined if one.one.face.nodes.get(x) in a and one.other.face.nodes.get(y) in b]


def _lost(one: Cabled) -> tuple[list[Wire], list[Wire]]:
    """Return the wires that both ends have and no conductor joins, and those that only one end is known to have."""
    ours, theirs = _wires(one.one), _wires(one.other)
    common = {bus for bus, _ in ours} & {bus for bus, _ in theirs}
    both = [w for w in ours if w in theirs]
    lost = [w for w in both if not _joins(one, w)]
    half = [
        w
        for w in dict.fromkeys((*ours, *theirs))
        if w[0] in common and w not in both and _blank(one.other if w in ours else one.one)
    ]
    seen = {bus: {wire for b, wire in (*ours, *theirs) if b == bus} for bus in sorted(common)}
    if _blank(one.one) or _blank(one.other):
        half += [(bus, "the other wire") for bus, wires in seen.items() if len(wires) == 1]
    return lost, half


def _managed(stage: Stage, cable: StageCable) -> bool:
    return (
        cable.link is not None
        and cable.carries is not None
        and all(stage.packs[e.device].link is not None for e in (cable.a, cable.b) if e.device in stage.packs)
    )


@rule(
    "needed-conductor-missing",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A cable of a link does not join a wire of its bus, or of a line that numbers or wakes packs.",
    source="record",
    explain="""Both wires of a bus must go through: with one of them missing, some messages still arrive on a
short bench cable and none in the rack. So must the wires of a direction, enable or wake line: without them packs get
no number of their own, or stay off. Where one wire stands on several pins, one of them is enough. Add the
conductor, or take a cable that has it.""",
)
def _missing(stage: Stage) -> Iterator[Hit]:
    lost: dict[tuple[object, ...], list[tuple[Cabled, Wire]]] = {}
    half: dict[tuple[object, ...], list[tuple[Cabled, Wire]]] = {}
    for one in cabled(stage):
        if not _managed(stage, one.cable):
            continue
        for wires, table in zip(_lost(one), (lost, half), strict=True):
            for wire in wires:
                records = tuple(stage.device(s.device).record.id for s in (one.one, one.other))
                table.setdefault((one.cable.link, wire, records), []).append((one, wire))
    for found in lost.values():
        about, text = _wire_text(stage, found)
        yield broken(about, f"{text} does not go through", "Add this conductor to the cable.")
    told = {one.cable.id for table in (lost, half) for found in table.values() for one, _ in found}
    for one in cabled(stage):
        if not one.joined and one.cable.carries is not None and one.cable.id not in told:
            yield broken(
                tuple(end.device for end in one.ends),
                f"{where(one.cable.link, [one.cable.id])}: no conductor joins {one.one.device} {one.one.name} and "
                f"{one.other.device} {one.other.name}",
                "Say which pin joins which, or take the cable out.",
            )
    for found in half.values():
        about, text = _wire_text(stage, found)
        blank = tuple(
            dict.fromkeys(
                FactUsed(stage.device(s.device).record.id, f"pins.{s.port}.{p}", "not-stated")
                for one, _ in found[:1]
                for s in (one.one, one.other)
                for p in _blank(s)
            )
        )
        yield cannot_tell(
            about,
            f"{text} is known at one end only, so whether it goes through is not known",
            "Look in the manual for the table of pins of the port.",
            facts=blank,
        )
    yield from line_hits(stage, (one for one in cabled(stage) if _managed(stage, one.cable)))


def _wire_text(stage: Stage, found: Sequence[tuple[Cabled, Wire]]) -> tuple[tuple[str, ...], str]:
    about = tuple(dict.fromkeys(s.device for one, _ in found for s in (one.one, one.other)))
    one, (bus, wire) = found[0]
    ours, theirs = (_wires(s).get((bus, wire), ("not known",)) for s in (one.one, one.other))
    head = where(one.cable.link, [c.cable.id for c, _ in found])
    return about, (
        f"{head}: {wire} of {bus_text(stage, one.one.device, bus)} "
        f"(pin {' or '.join(ours)} of {one.one.device} {one.one.name}, "
        f"pin {' or '.join(theirs)} of {one.other.device} {one.other.name})"
    )


@rule(
    "split-pair",
    "conductor",
    broken=Level.CAUTION,
    unknown=Level.NOTE,
    meaning="The two wires of a bus run on two different twisted pairs.",
    source="TIA-568: pairs 1-2, 3-6, 4-5, 7-8",
    explain="""Twisting works only where both wires of a bus run on one pair: what an inverter radiates then hits
both alike. Split over two pairs they pick it up unequally, and messages are lost under load. Where the plugs
allow another choice of pins, use it; else keep the cable short and away from power cables.""",
)
def _split(stage: Stage) -> Iterator[Hit]:
    split: dict[tuple[str, str, tuple[str, ...]], list[Cabled]] = {}
    for one in cabled(stage):
        if not _managed(stage, one.cable):
            continue
        for bus in dict.fromkeys(b for b, _ in _wires(one.one)):
            wires = [w for w in _wires(one.one) if w[0] == bus]
            joins = [_joins(one, w) for w in wires]
            if len(wires) != 2 or not all(joins):
                continue
            pins = _apart(one, joins)
            if pins is not None:
                split.setdefault((str(one.cable.link), bus, pins), []).append(one)
    for (link, bus, pins), found in split.items():
        about = tuple(dict.fromkeys(s.device for c in found for s in (c.one, c.other)))
        head = where(link, [c.cable.id for c in found])
        words = bus_text(stage, found[0].one.device, bus)
        if pins:
            yield broken(
                about,
                f"{head}: the wires of {words} are on pins {' and '.join(pins)}, which are not one twisted pair",
                "Choose pins of one pair where the ports allow it.",
            )
        else:
            facts = tuple(
                dict.fromkeys(
                    FactUsed(
                        stage.device(s.device).record.id,
                        f"ports.{s.port}.plug",
                        stage.device(s.device).record.ports[s.port].plug.state,
                    )
                    for c in found[:1]
                    for s in (c.one, c.other)
                )
            )
            yield cannot_tell(
                about,
                f"{head}: whether the wires of {words} share a twisted pair is not known, since the plug is not",
                "Look at the plug.",
                facts=facts,
            )


def _apart(one: Cabled, joins: Sequence[Sequence[tuple[str, str]]]) -> tuple[str, ...] | None:
    """Return the pins of two wires that no twisted pair holds; () where the plug is not known; None: all is well."""
    for i, socket in enumerate((one.one, one.other)):
        if socket.face.plug == "not stated":
            return ()
        try:
            if not plugs.plug(socket.face.plug).twisted:
                return None
        except plugs.UnknownPlug:
            return None
        if not any(frozenset({x[i], y[i]}) in socket.face.pairs for x in joins[0] for y in joins[1]):
            return (joins[0][0][i], joins[1][0][i])
    return None


@rule(
    "crossover-lead",
    "conductor",
    broken=Level.NOTE,
    unknown=Level.NOTE,
    broken_also=(Level.CAUTION,),
    meaning="A cable is a crossover lead.",
    source="TIA-568: T568A at one end, T568B at the other; IEEE 802.3",
    explain="""A crossover lead looks like a straight one; only the colours in its two plugs differ. Pins 1 and 3
and pins 2 and 6 change places. Where the bus stands on other pins it does no harm, until somebody uses it
elsewhere: mark it, or replace it by a straight one.""",
)
def _crossover(stage: Stage) -> Iterator[Hit]:
    for one in cabled(stage):
        kind = plugs.crossover_of(dict(one.joined)) if len(dict(one.joined)) == len(one.joined) else None
        if kind is None:
            continue
        lost, _ = _lost(one)
        harm = (
            f"; {' and '.join(w for _, w in lost)} of its bus {'are' if len(lost) > 1 else 'is'} lost" if lost else ""
        )
        cable = one.cable
        yield broken(
            (one.one.device, one.other.device),
            f"{where(cable.link, [cable.id])}: it is a {kind} lead between {one.one.device} {one.one.name} "
            f"and {one.other.device} {one.other.name}{harm}",
            "Replace it by a straight cable, or mark it.",
            level=Level.CAUTION if lost else Level.NOTE,
        )


@rule(
    "inside-not-stated",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    unknown_also=(Level.CAUTION,),
    meaning="How the sockets of a port are joined inside is not known, and a cable is in it.",
    source="record",
    explain="""Sockets of one port may share all pins, none, or have pins bridged among themselves, such as 1
with 8 and 3 with 6. A bridge carries a line to the next cable, or shorts a stop pair two packs away, and no
look at the cables shows it. Measure with the pack off and every plug out, pin by pin, or ask the maker.""",
)
def _inside(stage: Stage) -> Iterator[Hit]:
    found: dict[tuple[str, str], dict[str, None]] = {}
    for cable in stage.cables:
        for end in (cable.a, cable.b):
            record = stage.device(end.device).record
            if end.port is not None and not inside_known(record, end.port):
                found.setdefault((record.id, end.port), {})[end.device] = None
    for (record_id, port), devices in found.items():
        fact = stage.device(next(iter(devices))).record.ports[port].inside
        yield cannot_tell(
            tuple(devices),
            f"How the sockets of port {port} of {named(devices)} ({record_id}) are joined inside is not known",
            "Look in the manual for the drawing of the ports, or measure with the pack off.",
            facts=(FactUsed(record_id, f"ports.{port}.inside", fact.state),),
            level=Level.STOP if stage.name == "planned" else Level.CAUTION,
        )


@rule(
    "how-made-not-known",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    unknown_also=(Level.CAUTION,),
    meaning="A data cable is in place, but nobody knows which pin joins which.",
    source="common practice",
    explain="""Two cables that look alike can differ in every conductor. Until one has been measured or its
colours read at both plugs, nothing can be said about the nets it makes. Take it out, read both plugs or measure
pin by pin, and write it down; or make a new one.""",
)
def _how_made(stage: Stage) -> Iterator[Hit]:
    kinds = made_kinds(stage)
    left = {"unknown", "propose"} if stage.name == "found" else {"unknown"}
    groups: dict[tuple[str | None, str | None], list[StageCable]] = {}
    for cable in stage.cables:
        if cable.id in stage.unplaced:
            continue  # the rule on listed cables without a place tells of it
        if cable.joined is None and (stage.decided or kinds.get(cable.id) in left):
            groups.setdefault((cable.link, cable.why_not), []).append(cable)
    for (link, why), cables in groups.items():
        about = tuple(dict.fromkeys(e.device for c in cables for e in (c.a, c.b)))
        head = f"{where(link, [c.id for c in cables])}: which pin joins which is not known"
        yield cannot_tell(
            about,
            f"{head}, and the plan cannot choose it: {why}" if why is not None else head,
            "Read the colours in both plugs, or measure pin by pin.",
            level=Level.STOP if stage.name == "planned" else Level.CAUTION,
        )
