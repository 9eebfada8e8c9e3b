"""The shape that the data cables of a link make: a path from end to end, or what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import networkx as nx

__all__ = ["Shape", "shape_of"]


@dataclass(frozen=True)
class Shape:
    """``kind``: path, ring, branched, broken (in pieces) or none (no cable). ``order``: the packs from end to end
    of a path, else of the pieces one after the other. ``culprits``: the packs of the ring, the branching packs, or
    those not reached.
    """

    kind: str
    order: tuple[str, ...]
    culprits: tuple[str, ...] = ()


def shape_of(packs: Sequence[str], edges: Iterable[tuple[str, str]], start: str | None = None) -> Shape:
    """Return the shape of cables between packs; a path begins at ``start`` where that is an end, else at the first end.

    Two cables between one pair of packs are a ring.
    """
    graph: nx.MultiGraph = nx.MultiGraph()
    graph.add_nodes_from(packs)
    graph.add_edges_from(edges)
    if len(packs) == 1:
        return Shape("path", tuple(packs))
    try:
        ring = nx.find_cycle(graph)
        names = tuple(dict.fromkeys(edge[0] for edge in ring))
        return Shape("ring", tuple(packs), tuple(p for p in packs if p in names))
    except nx.NetworkXNoCycle:
        pass
    branching = tuple(p for p in packs if graph.degree(p) > 2)
    if branching:
        return Shape("branched", tuple(packs), branching)
    if graph.number_of_edges() == 0:
        return Shape("none", tuple(packs), tuple(packs))
    ends = [p for p in packs if graph.degree(p) == 1]
    first = start if start in ends else ends[0]
    order = tuple(nx.dfs_preorder_nodes(graph, first))
    if len(order) < len(packs):
        reached = set(nx.node_connected_component(graph, start if start is not None and start in graph else first))
        return Shape("broken", tuple(packs), tuple(p for p in packs if p not in reached))
    return Shape("path", order)
