"""The order of packs on a link, the sockets of its cables, and where terminators go.

A site that states its own order keeps it (packs left off are bridged); otherwise the order is defined, not searched
freely: from the manager, the rest of its kind by place, then the other kinds in blocks, each by place or its reverse.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence

import networkx as nx

from interop.records.models import Record
from interop.site.site import Cable, Device, End, Link
from interop.unchanging import unchanging
from interop.wiring.faces import wire_pins
from interop.wiring.paths import shape_of
from interop.wiring.stage import StageEnd

__all__ = ["MOST_BLOCKS", "MOST_TRIED", "Hop", "bus_ports", "propose_order", "site_hops", "sockets_along"]

MOST_TRIED = 5
"""Most other kinds whose block orders and directions are tried one by one; beyond, they are built up by subsets."""
MOST_BLOCKS = 12
"""Most other kinds whose block orders and directions are all looked at; beyond, only the order by place."""


@unchanging
class Hop:
    """One cable of a route: from the pack nearer the start to the next. ``cable``: the wanted cable it is, or None
    (new). ``lead``: an installed cable whose sockets it keeps where they serve.
    """

    first: str
    second: str
    cable: Cable | None
    bridged: tuple[str, ...] = ()
    lead: Cable | None = None


def site_hops(
    link: Link, members: Sequence[str], cables: Sequence[Cable], manager: str | None, others: Sequence[str] = ()
) -> tuple[Hop, ...] | None:
    """Return the hops of the order that the site states, with packs left off bridged; None where it states none.

    ``others``: devices that stand in the row like a pack where a cable leads to them (controllers on the packs' own
    bus). Where its cables make no single path the hops are returned as written: the rules say what is wrong.
    """
    inside, wanted = set(members), {*link.packs, *others}
    graph: nx.MultiGraph = nx.MultiGraph()
    for cable in cables:
        a, b = cable.a.device, cable.b.device
        if a in wanted and b in wanted:
            graph.add_edge(a, b, cable=cable, bridged=())
    between = any(a not in others and b not in others for a, b in graph.edges())
    if not between and not any(graph.degree(one) > 1 for one in others if one in graph):
        return None
    _bridge(graph, [p for p in link.packs if p not in inside and p in graph])
    edges = [(a, b) for a, b in graph.edges()]
    shape = shape_of([*members, *(one for one in others if one in graph and graph.degree(one))], edges, manager)
    if shape.kind != "path":
        return tuple(Hop(a, b, data["cable"], data["bridged"]) for a, b, data in graph.edges(data=True))
    hops = []
    for a, b in itertools.pairwise(shape.order):
        data = next(iter(graph[a][b].values()))
        hops.append(Hop(a, b, data["cable"], data["bridged"]))
    return tuple(hops)


def _bridge(graph: nx.MultiGraph, off: Sequence[str]) -> None:
    """Take packs off the chain; the two neighbours of one between two others are joined by a new cable."""
    for pack in off:
        near = [(other, data) for _, other, data in graph.edges(pack, data=True)]
        graph.remove_node(pack)
        if len(near) == 2 and near[0][0] != near[1][0]:
            bridged = (*near[0][1]["bridged"], *near[1][1]["bridged"], pack)
            graph.add_edge(near[0][0], near[1][0], cable=None, bridged=bridged)


def propose_order(
    members: Sequence[Device],
    manager: str | None,
    has_cable: Callable[[str, str], bool],
    installed: frozenset[frozenset[str]],
    faults: Callable[[Sequence[str]], int] = lambda _: 0,
    *,
    anywhere: bool = False,
) -> tuple[str, ...] | None:
    """Return the best order of packs for a new route; None when no order has a cable for every neighbouring pair.

    ``installed``: pairs of packs joined by an installed cable. ``faults``: how many terminators an order leaves
    missing or out of place; an order from the manager on stands before all others that have as many. Best: fewest
    faults, fewest installed cables changed, then shortest by place, then the order tried first. ``anywhere``: the
    manager need not stand first, so orders with other packs at the ends are tried where those from the manager on
    have faults.
    """
    ranks = {d.id: d.rank for d in members}
    best: tuple[int, bool, int, int, int, tuple[str, ...]] | None = None
    ordered = [(order, False) for order in _orders(members, manager, has_cable, installed)]
    if anywhere and all(faults(order) for order, _ in ordered):
        first = ordered[0][0] if ordered else tuple(d.id for d in sorted(members, key=lambda d: d.rank))
        ordered += [(order, True) for order in _other_ends(members, first)]
    for number, (order, turned) in enumerate(ordered):
        pairs = list(itertools.pairwise(order))
        if not all(has_cable(a, b) for a, b in pairs):
            continue
        used = {frozenset(p) for p in pairs}
        inside = {p for p in installed if p <= set(ranks)}
        length = sum(abs(ranks[a] - ranks[b]) for a, b in pairs)
        key = (faults(order), turned, len(inside - used), length, number, order)
        if best is None or key < best:
            best = key
    return best[-1] if best is not None else None


def _orders(
    members: Sequence[Device],
    manager: str | None,
    has_cable: Callable[[str, str], bool],
    installed: frozenset[frozenset[str]],
) -> Iterator[tuple[str, ...]]:
    """Yield orders from the manager on, the best for every last pack among them."""
    by_place = sorted(members, key=lambda d: d.rank)
    head = next((d for d in by_place if d.id == manager), by_place[0])
    own = [d.id for d in by_place if d.record is head.record and d is not head]
    blocks: dict[int, list[str]] = {}
    for device in by_place:
        if device.record is not head.record:
            blocks.setdefault(id(device.record), []).append(device.id)
    parts = list(blocks.values())
    starts = [own, own[::-1]] if len(own) > 1 else [own]
    if MOST_TRIED < len(parts) <= MOST_BLOCKS:
        ranks = {d.id: d.rank for d in members}
        for start in starts:
            yield from _built_up((head.id, *start), parts, ranks, has_cable, installed)
        return
    directions = [(1, -1) if len(p) > 1 else (1,) for p in parts]
    orders = [tuple(range(len(parts)))]
    if len(parts) > MOST_BLOCKS:
        directions = [(1,)] * len(parts)
    else:
        orders = list(itertools.permutations(range(len(parts))))
    for start in starts:
        for order in orders:
            for turned in itertools.product(*(directions[i] for i in order)):
                tail = [p for i, turn in zip(order, turned, strict=True) for p in parts[i][::turn]]
                yield (head.id, *start, *tail)


def _built_up(
    start: tuple[str, ...],
    parts: Sequence[Sequence[str]],
    ranks: Mapping[str, int],
    has_cable: Callable[[str, str], bool],
    installed: frozenset[frozenset[str]],
) -> Iterator[tuple[str, ...]]:
    """Yield the best order for every last block and direction: dynamic programming over the blocks placed so far.

    What is weighed adds up from pair to pair: installed cables kept, then length by place, then the first blocks.
    """
    whole = [
        [turned for turned in dict.fromkeys((tuple(p), tuple(p[::-1]))) if all(map(has_cable, turned, turned[1:]))]
        for p in parts
    ]
    best: dict[tuple[int, str], tuple[int, int, tuple[str, ...]]] = {(0, start[-1]): (0, 0, start)}
    full = (1 << len(parts)) - 1
    for placed in range(full):
        for (mask, last), (lost, length, order) in [item for item in best.items() if item[0][0] == placed]:
            for i, turns in enumerate(whole):
                for block in turns:
                    if mask >> i & 1 or not has_cable(last, block[0]):
                        continue
                    key = (mask | 1 << i, block[-1])
                    kept = frozenset((last, block[0])) in installed
                    way = (lost - kept, length + abs(ranks[last] - ranks[block[0]]), (*order, *block))
                    if key not in best or way < best[key]:
                        best[key] = way
    yield from (order for (mask, _), (_, _, order) in best.items() if mask == full)


def _other_ends(members: Sequence[Device], order: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Yield the order with the first pack of one kind moved to the start and the last of one kind to the end."""
    kinds: dict[int, list[str]] = {}
    for device in sorted(members, key=lambda d: d.rank):
        kinds.setdefault(id(device.record), []).append(device.id)
    for one, other in itertools.product(kinds.values(), repeat=2):
        start, end = one[0], other[-1]
        if start != end:
            yield (start, *(p for p in order if p not in (start, end)), end)


def bus_ports(record: Record, buses: Sequence[str], mode: str | None) -> tuple[tuple[str, str], ...]:
    """Return (port, socket) of every socket that carries one of the buses, in the order of the record."""
    found = []
    for name, port in record.ports.items():
        for bus in buses:
            if wire_pins(record, name, bus, mode):
                own = record.buses[bus].sockets
                found += [(name, s) for s in port.sockets if own is None or s in own]
    return tuple(dict.fromkeys(found))


def _free(record: Record, candidates: Sequence[tuple[str, str]], used: set[str], way: str) -> tuple[str, str] | None:
    """First free socket towards the previous pack (``in``), last free towards the next (``out``)."""
    against = {"in": "out", "out": "in"}[way]
    fits = [(p, s) for p, s in candidates if s not in used and record.ports[p].direction.only != against]
    fits = fits if way == "in" else fits[::-1]
    exact = [(p, s) for p, s in fits if record.ports[p].direction.only == way]
    return (exact or fits or [None])[0]  # type: ignore[list-item]


def sockets_along(
    hops: Sequence[Hop],
    records: Mapping[str, Record],
    ports: Mapping[str, Sequence[tuple[str, str]]],
    taken: Mapping[str, set[str]],
    *,
    directed: bool = False,
) -> tuple[tuple[StageEnd, StageEnd], ...]:
    """Return the ends of each hop: as the site names them, else as an installed cable stands where that serves, else
    the first free socket that fits the direction. ``directed``: the row counts from its first pack on by the ports,
    so that an installed cable which runs the other way is turned.
    """
    used: dict[str, set[str]] = {name: set(sockets) for name, sockets in taken.items()}
    stated = [_stated(hop, records, ports, directed=directed) for hop in hops]
    for one in stated:
        for device, at in one.items():
            if at.socket is not None:
                used.setdefault(device, set()).add(at.socket)
    found = []
    for hop, named in zip(hops, stated, strict=True):
        ends = []
        for device, way in ((hop.first, "out"), (hop.second, "in")):
            end = named.get(device)
            if end is not None and end.socket is not None:
                ends.append(StageEnd(device, end.port, end.socket))
                continue
            candidates = [c for c in ports.get(device, ()) if end is None or end.port in (None, c[0])]
            free = _free(records[device], candidates, used.setdefault(device, set()), way)
            if free is not None:
                used[device].add(free[1])
            ends.append(StageEnd(device, *free) if free else StageEnd(device, end.port if end else None, None))
        found.append((ends[0], ends[1]))
    return tuple(found)


def _stated(
    hop: Hop, records: Mapping[str, Record], ports: Mapping[str, Sequence[tuple[str, str]]], *, directed: bool
) -> dict[str, End]:
    """The ends that a hop need not choose. A plug of an installed cable stays where its socket serves; neither does of
    a cable that is turned.
    """
    if hop.cable is not None:
        return {end.device: end for end in (hop.cable.a, hop.cable.b) if end.device is not None}
    if hop.lead is None:
        return {}
    ends = {end.device: end for end in (hop.lead.a, hop.lead.b) if end.device is not None}
    kept = {name: end for name, end in ends.items() if (end.port, end.socket) in ports.get(name, ())}
    against = {hop.first: "in", hop.second: "out"}
    ways = {name: records[name].ports[end.port or ""].direction.only for name, end in kept.items()}
    return {} if directed and any(way == against[name] for name, way in ways.items()) else kept
