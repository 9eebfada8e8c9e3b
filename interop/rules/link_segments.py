"""The buses of a link as they are electrically: their nodes, ends, length, and which terminators are on."""

from __future__ import annotations

import math
from collections.abc import Iterator

from interop.records.answers import Answer
from interop.records.leaves import Span
from interop.records.models import Bus, Record
from interop.records.switches import Case, readings
from interop.rules.finding import FactUsed
from interop.rules.link_facts import chain_buses, judged_links, report_cables, waits_for_plan
from interop.rules.wording import named
from interop.unchanging import unchanging
from interop.wiring.faces import wire_pins
from interop.wiring.line import line_of, sharing
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageLink
from interop.wiring.talks import Talk, alive_buses, chain_talks, controller_talks

__all__ = ["Node", "Segment", "segments"]


@unchanging(eq=False)
class Node:
    """One device on a bus. ``on``: its terminator is on, off, or not known (None)."""

    device: str
    record: Record
    name: str
    bus: Bus
    on: bool | None

    @property
    def fixed(self) -> bool | None:
        """Whether the terminator is fixed inside; None where it is not known."""
        fitted = self.bus.termination.fitted.only
        return None if fitted is None else fitted == "always"

    @property
    def ohm(self) -> float | None:
        """Resistance of the terminator [ohm]; None where it is not known."""
        value = self.bus.termination.ohm.only
        return None if value is None or isinstance(value, Span) else float(value)

    def fact(self, field: str) -> FactUsed:
        """Name a fact of the bus with its state."""
        of_bus = field in ("nodes", "kind", "unit_loads")
        path = field if of_bus else f"termination.{field}"
        fact = getattr(self.bus if of_bus else self.bus.termination, field)
        return FactUsed(self.record.id, f"buses.{self.name}.{path}", fact.state)


@unchanging(eq=False)
class Segment:
    """One bus of a link: its nodes, its two ends where they are known; ``about`` names every device meant."""

    link: StageLink
    label: str
    nodes: tuple[Node, ...]
    about: tuple[str, ...]
    talk: Talk | None
    ends: tuple[str, ...] = ()
    length_m: float | None = None

    @property
    def kind(self) -> str | None:
        """Kind of the bus; None where it is not known."""
        kinds = {n.bus.kind.only for n in self.nodes}
        return self.talk.kind if self.talk is not None else kinds.pop() if len(kinds) == 1 else None

    @property
    def sure(self) -> tuple[Node, ...]:
        """The nodes whose terminator is on."""
        return tuple(n for n in self.nodes if n.on is True)

    @property
    def maybe(self) -> tuple[Node, ...]:
        """The nodes of which nobody knows whether the terminator is on."""
        return tuple(n for n in self.nodes if n.on is None)

    @property
    def wishes(self) -> set[str | None]:
        """What the records ask of the ends: required, not required, forbidden, None (not known)."""
        return {self.asks(node) for node in self.nodes}

    def asks(self, node: Node) -> str | None:
        """What the record of a node asks of the ends: required, not required, forbidden, None (not known)."""
        asked = node.bus.termination.ends.only
        return self._in_loop(asked) if asked is not None else None

    def said(self, node: Node) -> frozenset[str]:
        """Everything that the sources of a node's record say of the ends; empty where nothing is stated."""
        return frozenset(self._in_loop(one) for one in node.bus.termination.ends.values)

    def _in_loop(self, asked: str) -> str:
        if asked == "only in open loop":
            return "forbidden" if self.link.reports_to else "required"
        return asked

    @property
    def at_odds(self) -> Answer:
        """Whether the records agree on terminators at the ends: broken where one surely requires what another surely
        forbids.
        """
        said = [self.said(node) for node in self.nodes]
        if {"required"} in said and {"forbidden"} in said:
            return Answer.BROKEN
        open_ = frozenset() in said and self.told & {"required", "forbidden"}
        return Answer.CANNOT_TELL if self.told >= {"required", "forbidden"} or open_ else Answer.HOLDS

    @property
    def told(self) -> frozenset[str]:
        """Everything that any source says of the ends."""
        return frozenset[str]().union(*(self.said(node) for node in self.nodes))


# ---- the buses of a link ----


@once
def segments(stage: Stage) -> tuple[Segment, ...]:
    """Return every bus of the links that are judged and whose cables are known."""
    return tuple(_segments(stage))


def _segments(stage: Stage) -> Iterator[Segment]:
    for link in judged_links(stage):
        if waits_for_plan(stage, link):
            continue
        nodes = [node for name in link.packs if name in stage.packs for node in _pack_nodes(stage, link, name)]
        shared = [n for n in nodes if n.bus.hop == "shared"]
        if shared and (len(link.packs) > 1 or sharing(stage, link)):
            yield _chain(stage, link, shared)
        elif len(nodes) > len(shared):
            yield from _hops(stage, link)
        yield from _report(stage, link)


def _pack_nodes(stage: Stage, link: StageLink, name: str) -> Iterator[Node]:
    pack = stage.packs[name]
    record, mode = pack.record, pack.mode
    buses = chain_buses(record, mode)
    if link.chain is not None:
        modes = (mode,) if mode is not None else tuple(record.modes)
        talking = {b for m in modes for b in chain_talks(record, m).get(link.chain, ())}
        buses = {n: b for n, b in buses.items() if n in talking} or buses
    yield from (Node(name, record, n, bus, _on(stage, name, n, bus)) for n, bus in buses.items())


def _chain(stage: Stage, link: StageLink, nodes: list[Node]) -> Segment:
    """The packs' own bus, with the controllers and other devices that hang on it: they stand in the row like a pack."""
    line = line_of(stage, link)
    cables = line.cables if line is not None else ()
    order = line.shape.order if line is not None and line.shape.kind == "path" else ()
    for name, buses in {**sharing(stage, link), **_listening(stage, link)}.items():
        record = stage.device(name).record
        nodes += [Node(name, record, n, record.buses[n], _on(stage, name, n, record.buses[n])) for n in buses]
    ends = (order[0], order[-1]) if order else ()
    lengths = [c.length_m for c in cables]
    about = tuple(dict.fromkeys(n.device for n in nodes))
    known = [one for one in lengths if one is not None]
    return Segment(
        link,
        f"the bus of {named(about)}",
        tuple(nodes),
        about,
        link.chain,
        ends,
        sum(known) if len(known) == len(lengths) else None,
    )


def _listening(stage: Stage, link: StageLink) -> dict[str, tuple[str, ...]]:
    """The devices on the packs' own bus that are no controllers of the link, each with its buses at the cables."""
    line = line_of(stage, link)
    found: dict[str, dict[str, None]] = {}
    for end in (e for c in (line.cables if line is not None else ()) for e in (c.a, c.b)):
        if end.device in stage.packs or end.device in link.reports_to or end.port is None:
            continue
        record = stage.device(end.device).record
        for name in record.buses:
            if wire_pins(record, end.port, name, None):
                found.setdefault(end.device, {})[name] = None
    return {name: tuple(buses) for name, buses in found.items()}


def _report(stage: Stage, link: StageLink) -> Iterator[Segment]:
    if link.manager is None or link.manager not in stage.packs or not report_cables(stage, link):
        return
    pack = stage.packs[link.manager]
    ours = {n: b for n, b in alive_buses(pack.record, pack.mode).items() if b.used_by == "manager"}
    cabled = {e.device for c in report_cables(stage, link) for e in (c.a, c.b)}
    nodes = [Node(pack.id, pack.record, n, b, _on(stage, pack.id, n, b)) for n, b in ours.items()]
    for name in link.reports_to:
        if name in cabled and nodes:
            record = stage.device(name).record
            talking = controller_talks(record).get(link.report, ()) if link.report is not None else ()
            nodes += [
                Node(name, record, n, record.buses[n], _on(stage, name, n, record.buses[n]))
                for n in talking or record.buses
            ]
    if len(nodes) > 1:
        about = tuple(dict.fromkeys(n.device for n in nodes))
        lengths = [c.length_m for c in report_cables(stage, link)]
        known = [one for one in lengths if one is not None]
        yield Segment(
            link,
            f"the bus of {named(about)}",
            tuple(nodes),
            about,
            link.report,
            length_m=sum(known) if len(known) == len(lengths) else None,
        )


def _hops(stage: Stage, link: StageLink) -> Iterator[Segment]:
    """One bus for each cable; alike cables are one segment that names them all."""
    groups: dict[tuple[object, ...], list[tuple[str, tuple[Node, ...], float | None]]] = {}
    for cable in stage.cables:
        if cable.link != link.id or cable.carries != "chain":
            continue
        pair = []
        for end in (cable.a, cable.b):
            port = stage.device(end.device).record.ports.get(end.port or "")
            sockets = [end.socket] if end.socket is not None else list(port.sockets) if port is not None else []
            pair += [n for n in _pack_nodes(stage, link, end.device) if set(n.bus.sockets or sockets) & set(sockets)]
        if len(pair) == 2:
            key = tuple((n.record.id, n.name, n.on) for n in pair)
            groups.setdefault(key, []).append((cable.id, tuple(pair), cable.length_m))
    for found in groups.values():
        about = tuple(dict.fromkeys(n.device for _, pair, _ in found for n in pair))
        longest = max((m if m is not None else math.inf) for _, _, m in found)
        yield Segment(
            link,
            f"each of the cables {named([c for c, _, _ in found])}",
            found[0][1],
            about,
            link.chain,
            length_m=None if longest == math.inf else longest,
        )


def _on(stage: Stage, name: str, bus_name: str, bus: Bus) -> bool | None:
    """Return whether the terminator of a device is on: from the record, the plan, or its switches; None: not known."""
    fitted = bus.termination.fitted.only
    if fitted in ("always", "never"):
        return fitted == "always"
    if fitted is None:
        return None
    planned = stage.terminators.get((name, bus_name))
    return planned if planned is not None or fitted == "by plug" else _read(stage, name, bus_name)


def _read(stage: Stage, name: str, bus: str) -> bool | None:
    pack = stage.packs.get(name)
    if pack is None:
        return None
    meant: set[object] = set()
    for row_name, row in pack.record.switches.items():
        if row_name in pack.patterns and any(part.sets == "terminator" for part in row.parts):
            for reading in readings(
                row, pack.patterns[row_name], Case(role=pack.role, mode=pack.mode), pack.record.modes
            ):
                meant |= {value for key, value in reading.values if key in ("terminator", f"terminator {bus}")}
    return bool(meant.pop()) if len(meant) == 1 else None
