"""Rules of the link subject: who asks on a bus."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from interop.records.answers import Answer
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import chain_buses, judged_links
from interop.rules.wording import named, of_record
from interop.wiring.faces import wire_pins
from interop.wiring.groups import Groups
from interop.wiring.managers import claims_manager
from interop.wiring.stage import Stage, StageCable, StageLink
from interop.wiring.talks import alive_buses

__all__: list[str] = []

Node = tuple[str, str]


@rule(
    "second-poller",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Two devices ask on one bus.",
    source="Modbus over serial line V1.02, 2.1: one master at a time",
    explain="""On a bus that is asked, one device asks and the rest answer. A second one, such as a monitor or a
controller on the same pair, talks into the answers: packs drop out at random, and which ones changes from hour
to hour. Take one of the two off this bus, or give it a bus of its own.""",
)
def _second_poller(stage: Stage) -> Iterator[Hit]:
    for nodes in _shared_buses(stage):
        sure, maybe = _pollers(stage, nodes)
        if len(sure) > 1:
            yield broken(
                sure,
                f"{_list(stage, sure)} all ask on one bus; one device may"
                if len(sure) > 2
                else f"{_list(stage, sure)} both ask on one bus; one device may",
                "Take all but one of them off this bus.",
                got=f"{len(sure)} pollers",
                limit="1 poller",
            )
        elif maybe and len(sure) + len(maybe) > 1:
            yield cannot_tell(
                [*sure, *maybe],
                f"Whether {_list(stage, maybe)} {'asks' if len(maybe) == 1 else 'ask'} on the bus is not known"
                + (f"; {_list(stage, sure)} does" if sure else ""),
                "Look in the manual for who starts a message.",
                facts=_poller_facts(stage, nodes, maybe),
            )


@rule(
    "no-poller",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="A bus that must be asked has nobody who asks.",
    source="record",
    explain="""On this bus packs speak only when they are asked, and no device on it asks: no pack is set as the
manager, or the controller expects the manager to begin while the manager waits for the controller. The link
stays silent. Set one pack as the manager, or choose a controller, mode or dialect in which one side asks.""",
)
def _no_poller(stage: Stage) -> Iterator[Hit]:
    for nodes in _shared_buses(stage):
        packs = [n for n, _ in nodes if n in stage.packs]
        if len(dict.fromkeys(n for n, _ in nodes)) < 2 or not packs:
            continue
        wanted = {stage.device(n).record.buses[b].poller.only for n, b in nodes} & {"manager", "controller"}
        unknown = [n for n, b in nodes if stage.device(n).record.buses[b].poller.only is None]
        sure, maybe = _pollers(stage, nodes)
        lonely = wanted == {"controller"} and not any(n not in stage.packs for n, _ in nodes)
        if sure or not (wanted or unknown) or (lonely and _reports(stage, packs)):
            continue
        names = list(dict.fromkeys(n for n, _ in nodes))
        if maybe or unknown:
            yield cannot_tell(
                names,
                f"Whether anybody asks on the bus of {named(names)} is not known",
                "Look in the manual for who starts a message, and read the switches that make a manager.",
                facts=_poller_facts(stage, nodes, names),
            )
        else:
            yield broken(
                names,
                f"Nobody asks on the bus of {named(names)}; {' and '.join(_asked(stage, nodes))}",
                "Set one pack as the manager, or choose a controller that asks.",
                got="0 pollers",
                limit="1 poller",
            )


def _asked(stage: Stage, nodes: Sequence[Node]) -> list[str]:
    said: dict[tuple[str, str], list[str]] = {}
    for name, bus in nodes:
        record = stage.device(name).record
        said.setdefault((record.id, record.buses[bus].poller.only or "not stated"), []).append(name)
    words = {"manager": "the manager", "controller": "the controller", "nobody": "nobody"}
    return [
        f"{named(tuple(dict.fromkeys(names)))} ({record}) {'expect' if len(set(names)) > 1 else 'expects'} "
        f"{words.get(who, who)} to ask"
        for (record, who), names in said.items()
    ]


def _reports(stage: Stage, packs: Sequence[str]) -> bool:
    return any(stage.link_of[p].reports_to for p in packs if p in stage.link_of)


def _list(stage: Stage, names: Sequence[str]) -> str:
    return of_record([stage.device(n) for n in names])


def _poller_facts(stage: Stage, nodes: Sequence[Node], names: Sequence[str]) -> tuple[FactUsed, ...]:
    found = []
    for name, bus in nodes:
        record = stage.device(name).record
        fact = record.buses[bus].poller
        if name in names and fact.only is None:
            found.append(FactUsed(record.id, f"buses.{bus}.poller", fact.state))
    return tuple(dict.fromkeys(found))


def _pollers(stage: Stage, nodes: Sequence[Node]) -> tuple[list[str], list[str]]:
    """Return the devices that ask on a bus, and those that might."""
    answers: dict[str, Answer] = {}
    for name, bus in nodes:
        answer = _polls(stage, name, bus)
        if answer is not Answer.BROKEN and answers.get(name) is not Answer.HOLDS:
            answers[name] = answer
    return (
        [n for n, a in answers.items() if a is Answer.HOLDS],
        [n for n, a in answers.items() if a is Answer.CANNOT_TELL],
    )


def _polls(stage: Stage, name: str, bus: str) -> Answer:
    poller = stage.device(name).record.buses[bus].poller.only
    if name not in stage.packs:
        return Answer.CANNOT_TELL if poller is None else Answer.HOLDS if poller == "controller" else Answer.BROKEN
    if poller not in ("manager", None):
        return Answer.BROKEN
    if stage.device(name).record.buses[bus].hop == "one":
        return _hands_on(stage, name, bus) & (Answer.HOLDS if poller is not None else Answer.CANNOT_TELL)
    link = stage.link_of.get(name)
    if link is None:
        return Answer.BROKEN
    manager = _is_manager(stage, link, name)
    return manager if poller is not None or manager is Answer.BROKEN else Answer.CANNOT_TELL


def _hands_on(stage: Stage, name: str, bus: str) -> Answer:
    """On a link of one hop the pack nearer the manager asks: the one whose socket leads on to the next."""
    record = stage.device(name).record
    ways = {record.ports[port].direction.only for port in record.ports if wire_pins(record, port, bus, None)}
    if ways <= {"in", "out"} and len(ways) == 1:
        return Answer.HOLDS if ways == {"out"} else Answer.BROKEN
    return Answer.CANNOT_TELL


def _is_manager(stage: Stage, link: StageLink, name: str) -> Answer:
    if link.manager is not None or link.polled_by_controller:
        return Answer.HOLDS if name == link.manager else Answer.BROKEN
    claim = claims_manager(stage, link, name)
    return Answer.CANNOT_TELL if claim is None else claim


def _shared_buses(stage: Stage) -> tuple[tuple[Node, ...], ...]:
    """Group the buses of devices that are electrically one: members of a link, and what cables join to them."""
    together = Groups[Node]()
    for link in judged_links(stage):
        shared = [
            (n, b)
            for n in link.packs
            if n in stage.packs
            for b, bus in chain_buses(stage.packs[n].record, stage.packs[n].mode).items()
            if bus.hop == "shared"
        ]
        together.add(shared)
        for one, other in itertools.pairwise(shared):
            together.join(one, other)
    left_open = {link.id for link in stage.links if not link.judged}
    for cable in stage.cables:
        if cable.link not in left_open:
            for one, other in _bus_edges(stage, cable):
                together.join(one, other)
    order = {name: i for i, name in enumerate(stage.site.devices)}
    return tuple(
        tuple(sorted(group, key=lambda node: (order[node[0]], node[1]))) for group in together.groups()
    )


def _bus_edges(stage: Stage, cable: StageCable) -> Iterator[tuple[Node, Node]]:
    if cable.joined is None or cable.a.port is None or cable.b.port is None:
        return
    ours, theirs = _bus_pins(stage, cable.a.device, cable.a.port), _bus_pins(stage, cable.b.device, cable.b.port)
    for one, mine in ours.items():
        for other, far in theirs.items():
            if any(x in mine and y in far for x, y in cable.joined):
                yield (cable.a.device, one), (cable.b.device, other)


def _bus_pins(stage: Stage, device: str, port: str) -> dict[str, tuple[str, ...]]:
    record = stage.device(device).record
    pack = stage.packs.get(device)
    mode = pack.mode if pack is not None else None
    return {bus: pins for bus in alive_buses(record, mode) if (pins := wire_pins(record, port, bus, mode))}
