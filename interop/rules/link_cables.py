"""Rules of the link subject: the shape that the cables make, their ports, and their length."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.link_facts import chain_buses, kinds_of, report_cables, waits_for_plan
from interop.rules.wording import named
from interop.standards.buses import longest_bus_m
from interop.wiring.contacts import Socket
from interop.wiring.line import Line, line_of, reached_controllers
from interop.wiring.purposes import LINE, buses_on, has_blank
from interop.wiring.stage import Stage, StageCable, StageEnd, StageLink
from interop.wiring.talks import Talk

__all__: list[str] = []


# ---- shape ----


@rule(
    "closed-ring",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="The data cables of a link close a ring.",
    source="TIA/EIA-485 and ISO 11898-2: a line with two ends",
    explain="""A data link is a line with two ends. Closed to a ring it has no end for a terminator, packs that
find their number by port order never find the last one, and a stop pair is fed from both sides so that one
pulled plug no longer opens it. Take out one cable of the ring; the manager should then stand at an end.""",
)
def _ring(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        line = line_of(stage, link)
        if line is not None and line.shape.kind == "ring":
            ring = line.shape.culprits
            cables = [c.id for c in line.cables if {c.a.device, c.b.device} <= set(ring)]
            yield broken(
                ring,
                f"Link {link.id}: cables {named(cables)} close a ring of {named(ring)}; a link is a line "
                "with two ends",
                "Take out one cable of the ring.",
            )


@rule(
    "link-in-pieces",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A pack or controller of a link is reached by no data cable.",
    source="common practice",
    explain="""A pack that no cable reaches is not asked, although it is counted as a member; a controller that
no cable reaches falls back to its own settings. Write down or add the missing cable, or take the pack off the
link.""",
)
def _pieces(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        line = line_of(stage, link)
        if line is None or waits_for_plan(stage, link):
            continue
        shape, lost = line.shape, tuple[str, ...]()
        if shape.kind in ("broken", "none"):
            lost = shape.culprits if shape.kind == "broken" else tuple(p for p in link.packs if p != link.manager)
            yield broken(
                lost,
                f"Link {link.id}: no data cable reaches {named(lost)}"
                + (f" from manager {link.manager}" if link.manager is not None else ""),
                "Add the missing cable.",
            )
        elif shape.kind == "path":
            yield from _walked_through(stage, link, line)
        yield from _controller_reached(stage, link, lost)


def _walked_through(stage: Stage, link: StageLink, line: Line) -> Iterator[Hit]:
    """Devices in the middle of the row of which nobody states that their sockets are joined inside."""
    for name, port in line.unclear:
        device = stage.device(name)
        yield cannot_tell(
            (name, *(p for p in link.packs if p in stage.packs)),
            f"Link {link.id}: the row runs through {name} ({device.record.id}), and whether the sockets of its port "
            f"{port} are joined inside is not known",
            f"Look in the manual of {device.record.id} for how its sockets are joined, or run the cables past it.",
            facts=(fact_used(device, f"ports.{port}.inside", device.record.ports[port].inside),) if port else (),
        )


def _controller_reached(stage: Stage, link: StageLink, lost: Sequence[str]) -> Iterator[Hit]:
    reached = reached_controllers(stage, link)
    missed = [name for name in link.reports_to if name not in reached and name not in lost]
    if missed:
        start = (link.manager,) if link.manager is not None else ()
        yield broken(
            (*missed, *start),
            f"Link {link.id}: no data cable reaches {named(missed)}" + "".join(f" from manager {m}" for m in start),
            "Add the missing cable.",
        )


@rule(
    "listed-cable-without-place",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    broken_also=(Level.NOTE,),
    meaning="The site lists a data cable that the plan has no place for.",
    source="common practice",
    explain="""The plan shows the cables of its links on sheets and notes. A cable that the site lists at a pack on a
link, and that belongs to no link as planned, would hang in a socket that the sheet tells to leave empty: a cable to
the controller from a pack that is not the manager, a lead to a device that no link reports to. Take it out of the site
file, or write the link so that it belongs to it. A cable between two devices that are no packs, such as the one by
which two inverters run in parallel, is not planned either; listed or found, it is left as the manuals of the two
say.""",
)
def _without_place(stage: Stage) -> Iterator[Hit]:
    for cable in stage.cables:
        if cable.id not in stage.unplaced:
            continue
        ends = (cable.a, cable.b)
        roles = {stage.packs[e.device].role for e in ends if e.device in stage.packs}
        if roles == {"unmanaged"}:
            continue    # told by the rule on data cables of unmanaged packs
        where = " to ".join(" ".join(filter(None, (e.device, e.socket or e.port))) for e in ends)
        about, head = tuple(dict.fromkeys(e.device for e in ends)), f"Cable {cable.id} ({where})"
        if roles:
            yield broken(about, f"{head} is listed and has no place in the plan" + _why_not(stage, cable),
                         "Take the cable out of the site file, or write the link so that it belongs to it.")
        elif cable.id in stage.made_kinds:
            yield broken(about, f"{head} is listed and has no place in the plan" + _why_not(stage, cable),
                         "Make it by the manuals of the two devices.", level=Level.NOTE)
        else:
            yield broken(about, f"{head} joins no pack and stays as it is", "Keep it as the manuals of the two devices "
                         "say.", level=Level.NOTE)


def _why_not(stage: Stage, cable: StageCable) -> str:
    for near, far in ((cable.a.device, cable.b.device), (cable.b.device, cable.a.device)):
        link = stage.link_of.get(near)
        if link is not None and link.manager is not None and far in link.reports_to:
            return f": {link.manager} is the manager of link {link.id}, and no other cable to {far} is needed"
    return ": no link of the plan runs over it"


@rule(
    "link-branched",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    meaning="The data cables of a link branch: more than two end on one pack.",
    source="TIA/EIA-485: daisy chain with short stubs; CiA: stub length by bit rate",
    explain="""Every branch is a stub: the signal runs down it and comes back late. Short and slow links forgive
it, long or fast ones lose messages. Run the cables from pack to pack in one line.""",
)
def _branched(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        line = line_of(stage, link)
        if line is not None and line.shape.kind == "branched":
            yield broken(
                line.shape.culprits,
                f"Link {link.id}: more than two data cables of the link end on {named(line.shape.culprits)}",
                "Run the cables from pack to pack in one line.",
            )


# ---- ports ----


@rule(
    "wrong-port-or-direction",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="A data cable joins ports that share no bus, two outputs or two inputs, or fills the port that must "
    "stay empty on a manager.",
    source="record",
    explain="""Sockets of one shape carry unlike things: the link port and the report port of a pack look alike.
A cable in the wrong one joins wires that never belonged together; out to out or in to in breaks numbering by
port order; a cable in the port whose emptiness makes the manager makes it a member. Move the plug to the port
that the text names.""",
)
def _wrong_port(stage: Stage) -> Iterator[Hit]:
    found: dict[tuple[str, ...], list[tuple[StageCable, Socket, Socket]]] = {}
    for cable in stage.cables:
        one, other = stage.socket(cable.a), stage.socket(cable.b)
        if one is None or other is None or cable.carries == LINE or _unmanaged(stage, cable):
            continue
        fault = _port_fault(stage, one, other)
        if fault is not None:
            group = (
                cable.link or "",
                fault,
                stage.device(one.device).record.id,
                one.port,
                stage.device(other.device).record.id,
                other.port,
            )
            found.setdefault(group, []).append((cable, one, other))
    for (_, fault, *_rest), cables in found.items():
        yield _port_hit(stage, fault, cables)
    yield from _manager_port(stage)


def _unmanaged(stage: Stage, cable: StageCable) -> bool:
    ends = [stage.packs.get(e.device) for e in (cable.a, cable.b)]
    return any(pack is not None and pack.link is None for pack in ends)


def _port_fault(stage: Stage, one: Socket, other: Socket) -> str | None:
    if not buses_on(one.face) & buses_on(other.face):
        return "blank" if has_blank(one.face) or has_blank(other.face) else "bus"
    ways = {_direction(stage, one), _direction(stage, other)}
    if ways in ({"in"}, {"out"}):
        return "direction"
    ports = [port for x in (one, other) for port in stage.device(x.device).record.ports.values()]
    directed = any(port.direction.only in ("in", "out") for port in ports)
    return "way" if None in ways and directed else None


def _direction(stage: Stage, socket: Socket) -> str | None:
    return stage.device(socket.device).record.ports[socket.port].direction.only


def _port_hit(stage: Stage, fault: str, cables: Sequence[tuple[StageCable, Socket, Socket]]) -> Hit:
    ids = named([c.id for c, _, _ in cables])
    _, one, other = cables[0]
    about = tuple(dict.fromkeys(s.device for _, a, b in cables for s in (a, b)))
    head = f"Cable{'s' if len(cables) > 1 else ''} {ids} join{'' if len(cables) > 1 else 's'} "
    ends = f"{_at(stage, one)} to {_at(stage, other)}"
    if fault == "bus":
        return broken(
            about,
            f"{head}{ends}; these ports share no bus",
            "Move the plug to a port that carries the bus of the link.",
        )
    if fault == "direction":
        return broken(
            about,
            f"{head}{ends}; both are {'outputs' if _direction(stage, one) == 'out' else 'inputs'}",
            "Run each cable from an output to an input.",
        )
    if fault == "blank":
        facts = tuple(FactUsed(stage.device(s.device).record.id, f"pins.{s.port}", "not-stated") for s in (one, other))
        return cannot_tell(
            about,
            f"{head}{ends}; whether these ports share a bus is not known, since some of their pins are not",
            "Look in the manual for the pins of both ports.",
            facts=tuple(dict.fromkeys(facts)),
        )
    devices = [(stage.device(s.device), s) for s in (one, other) if _direction(stage, s) is None]
    return cannot_tell(
        about,
        f"{head}{ends}; the direction of {' and '.join(s.port for _, s in devices)} is not known",
        "Look in the manual for which port is the input.",
        facts=tuple(fact_used(d, f"ports.{s.port}.direction", d.record.ports[s.port].direction) for d, s in devices),
    )


def _at(stage: Stage, socket: Socket) -> str:
    return f"{socket.device} {socket.name} ({stage.device(socket.device).record.id})"


def _manager_port(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        if link.manager is None or link.manager not in stage.packs:
            continue
        device = stage.packs[link.manager].device
        rule_ = device.record.manager
        if rule_.port is None or rule_.made_by.only not in ("empty port", None):
            continue
        for cable in stage.cables_at.get(link.manager, ()):
            if StageEnd(link.manager, rule_.port, None).port not in {
                e.port for e in (cable.a, cable.b) if e.device == link.manager
            }:
                continue
            text = f"Cable {cable.id} is in port {rule_.port} of manager {link.manager} ({device.record.id})"
            if rule_.made_by.only is None:
                yield cannot_tell(
                    (link.manager,),
                    f"{text}; whether that port must stay empty on a manager is not known",
                    "Look in the manual for what makes a pack the manager.",
                    facts=(fact_used(device, "manager.made_by", rule_.made_by),),
                )
            else:
                yield broken(
                    (link.manager,),
                    f"{text}; only the pack with this port empty becomes the manager",
                    f"Take the cable out of {rule_.port}, or make another pack the manager.",
                )


@rule(
    "port-used-twice",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="More data cables end on a port than it has sockets.",
    source="record",
    explain="""Two cables cannot stand in one socket. Either one of them is written down with the wrong port, or
a splitter is meant: then give the splitter a record and an id of its own, so that what it joins can be checked.""",
)
def _used_twice(stage: Stage) -> Iterator[Hit]:
    used: dict[tuple[str, str], dict[str, list[str]]] = {}
    for cable in stage.cables:
        for end in (cable.a, cable.b):
            if end.port is not None:
                used.setdefault((end.device, end.port), {}).setdefault(end.socket or "", []).append(cable.id)
    for (name, port), sockets in used.items():
        count = len(stage.device(name).record.ports[port].sockets)
        cables = list(dict.fromkeys(c for ids in sockets.values() for c in ids))
        if len(cables) > count or any(len(ids) > 1 for socket, ids in sockets.items() if socket):
            yield broken(
                (name,),
                f"Cables {named(cables)} all end on port {port} of {name} ({stage.device(name).record.id}), which "
                f"has {count} "
                f"socket{'s' if count > 1 else ''}",
                "Put each cable into a socket of its own.",
                got=f"{len(cables)} cables",
                limit=f"{count} sockets",
            )


# ---- length ----


@rule(
    "too-long-for-the-rate",
    "link",
    broken=Level.CAUTION,
    unknown=Level.NOTE,
    meaning="The data cables of one bus are together longer than its rate allows.",
    source="TIA/EIA-485: length x rate at most 1e8; CiA recommendation for ISO 11898-2: bus length by bit rate",
    explain="""The longer a bus, the later its echoes; the faster its rate, the less time they have to die out.
Past the limit messages are lost, first when it is hot or when many packs speak. Use the slower rate that all
have, shorter cables, or a repeater.""",
)
def _too_long(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        if waits_for_plan(stage, link):
            continue
        line = line_of(stage, link)
        row = list(line.cables) if line is not None else []
        hops = {bus.hop for k in kinds_of(stage, link) for bus in chain_buses(k.record, k.mode).values()}
        for cables in [[c] for c in row] if hops == {"one"} else [row]:
            yield from _length(stage, link, cables, "chain")
        for cable in report_cables(stage, link):
            if cable not in row:
                yield from _length(stage, link, [cable], "report")


def _only_talk(stage: Stage, link: StageLink) -> Talk | None:
    """Return kind and rate of the chain where every mode of every pack has the same, whatever the dialect is."""
    buses = [bus for k in kinds_of(stage, link) for bus in chain_buses(k.record, k.mode).values()]
    found = {(bus.kind.only, bus.rates_bps.only) for bus in buses}
    kind, rates = found.pop() if len(found) == 1 else (None, None)
    return Talk(kind, "", rates[0]) if kind is not None and rates is not None and len(rates) == 1 else None


def _length(stage: Stage, link: StageLink, cables: Sequence[StageCable], purpose: str) -> Iterator[Hit]:
    if not cables:
        return
    devices = tuple(dict.fromkeys(e.device for c in cables for e in (c.a, c.b)))
    ids = named([c.id for c in cables])
    total = round(sum(c.length_m for c in cables if c.length_m is not None), 3)
    missing = [c.id for c in cables if c.length_m is None]
    talk = (link.chain or _only_talk(stage, link)) if purpose == "chain" else link.report
    if talk is None or talk.kind not in ("rs-485", "can", "rs-232"):
        if talk is None:
            yield cannot_tell(
                devices,
                f"Link {link.id}: how long cables {ids} ({total:g} m) may be is not known, since kind or rate of "
                f"the bus is not",
                "Look in the manual under communication.",
                got=f"{total:g} m",
            )
        return
    limit = longest_bus_m(talk.kind, talk.rate_bps)
    rate = f"{talk.kind} at {talk.rate_bps} bit/s"
    if limit is not None and total > limit:
        yield broken(
            devices,
            f"Link {link.id}: {'cables' if len(cables) > 1 else 'cable'} {ids} {'are' if len(cables) > 1 else 'is'} "
            f"{total:g} m long; {rate} allows {limit:g} m",
            "Use shorter cables or a slower rate that all have.",
            got=f"{total:g} m",
            limit=f"{limit:g} m",
        )
    elif missing or limit is None:
        why = f"the length of {named(missing)} is not written" if missing else f"no limit is published for {rate}"
        yield cannot_tell(
            devices,
            f"Link {link.id}: whether cables {ids} are too long for {rate} is not known; {why}",
            "Measure the cables and write their lengths.",
            limit=None if limit is None else f"{limit:g} m",
        )
