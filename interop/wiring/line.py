"""The line that the cables of a link make on the packs' own bus: the packs, and the other devices that hang on it.

A controller that speaks on the packs' own bus stands in the row like a pack, at an end or in the middle. A device with
several sockets is walked through where they are one bus inside.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interop.records.answers import Answer
from interop.records.models import Record
from interop.unchanging import unchanging
from interop.wiring.faces import inside_known, wire_pins
from interop.wiring.once import once
from interop.wiring.paths import Shape, shape_of
from interop.wiring.stage import Stage, StageCable, StageEnd, StageLink
from interop.wiring.talks import alive_buses, controller_talks

__all__ = ["Line", "joined_inside", "line_of", "reached_controllers", "sharing"]


@unchanging(eq=False)
class Line:
    """``shape``: over packs and other devices; ``cables``: those on the packs' own bus; ``devices``: what hangs on it
    beside packs. ``unclear``: (device, port) whose sockets are taken as joined inside, which its record does not state.
    """

    shape: Shape
    cables: tuple[StageCable, ...]
    devices: tuple[str, ...]
    unclear: tuple[tuple[str, str], ...]


@once
def _lines(stage: Stage) -> dict[str, Line]:
    return {link.id: _line(stage, link) for link in stage.links if link.packs}


def line_of(stage: Stage, link: StageLink) -> Line | None:
    """Return the line of a link; None where it has no pack."""
    return _lines(stage).get(link.id)


def _line(stage: Stage, link: StageLink) -> Line:
    cables = _on_the_bus(stage, link)
    packs = set(link.packs)
    devices = tuple(dict.fromkeys(e.device for c in cables for e in (c.a, c.b) if e.device not in packs))
    names, unclear = _pieces_of_copper(stage, cables, devices)
    nodes = dict.fromkeys(names.values())
    edges = [(names.get(c.a, c.a.device), names.get(c.b, c.b.device)) for c in cables]
    shape = shape_of((*link.packs, *nodes), edges, link.manager)
    asking = next((name for name in sharing(stage, link) if name in nodes), None)
    if shape.kind == "broken" and link.manager is None and asking is not None:
        shape = shape_of((*link.packs, *nodes), edges, asking)     # what the controller that asks does not reach
    owner = {node: end.device for end, node in names.items()}
    order, culprits = (
        tuple(dict.fromkeys(owner.get(node, node) for node in part)) for part in (shape.order, shape.culprits)
    )
    if shape.kind == "broken":      # a device is reached where one of its pieces of copper is
        held = {owner[node] for node in owner.keys() - set(shape.culprits)}
        culprits = tuple(name for name in culprits if name not in held)
    return Line(Shape(shape.kind, order, culprits), cables, devices, unclear)


def _on_the_bus(stage: Stage, link: StageLink) -> tuple[StageCable, ...]:
    """The cables between packs, from them to what hangs on their own bus, and on from there."""
    on = sharing(stage, link)
    first = [c for c in _from_packs(stage, link) if _to_the_bus(stage, link, c, on)]
    found = dict.fromkeys([*stage.cables_of.get((link.id, "chain"), ()), *first])
    reached = {e.device for c in first for e in (c.a, c.b)} - set(link.packs)
    for cable in _onward(stage, reached):
        if {cable.a.device, cable.b.device} & set(link.reports_to) <= set(on):
            found[cable] = None
    return tuple(found)


def _from_packs(stage: Stage, link: StageLink) -> Iterator[StageCable]:
    """The cables of a link between a pack and a device that is none."""
    for cable in stage.cables_of.get((link.id, "report"), ()):
        if cable.a.device in stage.packs or cable.b.device in stage.packs:
            yield cable


def _to_the_bus(stage: Stage, link: StageLink, cable: StageCable, on: Mapping[str, object]) -> bool:
    """Whether a cable from a pack to another device is on the packs' own bus."""
    pack, other = (cable.a, cable.b) if cable.a.device in stage.packs else (cable.b, cable.a)
    if other.device in link.reports_to:
        return other.device in on
    return pack.port is not None and any(
        bus.used_by == "all" and wire_pins(stage.device(pack.device).record, pack.port, name, None)
        for name, bus in alive_buses(stage.device(pack.device).record, stage.packs[pack.device].mode).items()
    )


def _onward(stage: Stage, reached: set[str]) -> Iterator[StageCable]:
    """Yield the cables between devices that are no packs, from those reached on; ``reached`` grows."""
    between = [c for c in stage.cables if c.a.device not in stage.packs and c.b.device not in stage.packs]
    while True:
        following = next((c for c in between if {c.a.device, c.b.device} & reached), None)
        if following is None:
            return
        between.remove(following)
        reached |= {following.a.device, following.b.device}
        yield following


def _pieces_of_copper(
    stage: Stage, cables: Sequence[StageCable], devices: Sequence[str]
) -> tuple[dict[StageEnd, str], tuple[tuple[str, str], ...]]:
    """Name the piece of copper that each cable's end at a device other than a pack goes to: the device's own id, and
    more where its sockets are not joined inside.
    """
    names: dict[StageEnd, str] = {}
    unclear: dict[tuple[str, str], None] = {}
    for device in devices:
        record = stage.device(device).record
        groups: list[list[StageEnd]] = []
        for end in dict.fromkeys(e for c in cables for e in (c.a, c.b) if e.device == device):
            for group in groups:
                answer = joined_inside(record, group[0], end)
                if answer is not Answer.BROKEN:
                    group.append(end)
                    if answer is Answer.CANNOT_TELL:
                        unclear[device, end.port or group[0].port or ""] = None
                    break
            else:
                groups.append([end])
        for number, group in enumerate(groups):
            names |= dict.fromkeys(group, device if number == 0 else f"{device} {number}")
    return names, tuple(unclear)


def joined_inside(record: Record, one: StageEnd, other: StageEnd) -> Answer:
    """Return whether two ends at one device go to one piece of copper: sockets of a port that are joined inside, or
    ports that carry one bus.
    """
    if one.port is None or other.port is None:
        return Answer.HOLDS if len(record.ports) == 1 and len(next(iter(record.ports.values())).sockets) == 1 else (
            Answer.CANNOT_TELL)
    if one.port != other.port:
        both = any(
            wire_pins(record, one.port, bus, None) and wire_pins(record, other.port, bus, None) for bus in record.buses
        )
        return Answer.HOLDS if both else Answer.BROKEN
    if len(record.ports[one.port].sockets) == 1 or (one.socket is not None and one.socket == other.socket):
        return Answer.HOLDS
    if not inside_known(record, one.port):
        return Answer.CANNOT_TELL
    return Answer.BROKEN if "alone" in (record.ports[one.port].inside.only or ()) else Answer.HOLDS


def sharing(stage: Stage, link: StageLink) -> dict[str, tuple[str, ...]]:
    """The controllers cabled to the packs' own bus, each with the buses it hangs there with. Where it is not known
    whether the controller polls the packs it may hang there, and does here: it is the worse side.
    """
    cabled = {e.device for c in _from_packs(stage, link) for e in (c.a, c.b)} - set(link.packs)
    for _ in _onward(stage, cabled):
        pass
    made_by = [stage.packs[name].record.manager.made_by for name in link.packs if name in stage.packs]
    open_ = link.manager is None and all("controller" in fact.values or not fact.values for fact in made_by)
    found = {}
    for name in link.reports_to:
        record = stage.device(name).record
        talking = controller_talks(record).get(link.chain, ()) if link.chain is not None else ()
        same = [n for n in record.buses if stage.bus_identity(name, n) == f"chain {link.id}"]
        here = same or (list(record.buses) if open_ else [])
        if here and name in cabled:
            found[name] = tuple(n for n in here if n in talking) or tuple(here)
    return found


def reached_controllers(stage: Stage, link: StageLink) -> frozenset[str]:
    """Return the controllers that a data cable reaches: on the packs' own bus, or from the manager (from any pack where
    it is not known which is the manager), also through other devices.
    """
    line = line_of(stage, link)
    on = set(line.devices) if line is not None else set()
    reached = {
        e.device
        for c in _from_packs(stage, link)
        if link.manager in (None, c.a.device, c.b.device)
        for e in (c.a, c.b)
    } - set(link.packs)
    for _ in _onward(stage, reached):
        pass
    return frozenset(on | reached)
