"""Groups and shortest ways against networkx, which shares no code with them."""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.wiring.groups import Groups, distances, near_of
from interop.wiring.paths import shape_of

PAIRS = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), max_size=20)


@given(PAIRS, st.lists(st.integers(0, 12), max_size=4))
def test_groups_as_another_program_finds_them(pairs: list[tuple[int, int]], alone: list[int]) -> None:
    """The same groups, by their first things, each in the order in which the things came."""
    groups = Groups(pairs)
    groups.add(alone)
    graph: nx.Graph = nx.Graph()
    graph.add_edges_from(pairs)
    graph.add_nodes_from(alone)
    assert [set(group) for group in groups.groups()] == list(nx.connected_components(graph))
    came = list(dict.fromkeys([*(thing for pair in pairs for thing in pair), *alone]))
    for group in groups.groups():
        assert group == [thing for thing in came if thing in group]
        assert {groups.root(thing) for thing in group} == {groups.root(group[0])}


def test_a_thing_that_never_came_has_no_group() -> None:
    with pytest.raises(KeyError):
        Groups([(1, 2)]).root(3)


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9), st.floats(0.01, 10)), max_size=25))
def test_shortest_ways_as_another_program_finds_them(pairs: list[tuple[int, int, float]]) -> None:
    graph: nx.MultiGraph = nx.MultiGraph()
    graph.add_node(0)
    graph.add_weighted_edges_from(pairs)
    wanted = nx.single_source_dijkstra_path_length(graph, 0)
    assert distances(near_of(pairs), 0) == pytest.approx(dict(wanted))


@given(st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)).filter(lambda pair: pair[0] != pair[1]), max_size=10))
def test_a_ring_is_found_where_there_is_one(pairs: list[tuple[int, int]]) -> None:
    """And every pack named lies on a ring or between two of them: nothing hangs off it."""
    packs = [f"P{k}" for k in range(8)]
    edges = [(f"P{a}", f"P{b}") for a, b in pairs]
    graph: nx.MultiGraph = nx.MultiGraph()
    graph.add_nodes_from(packs)
    graph.add_edges_from(edges)
    shape = shape_of(packs, edges)
    ring = not nx.is_forest(nx.Graph(graph)) or len(nx.Graph(graph).edges) < len(edges)
    assert (shape.kind == "ring") is ring
    if ring:
        inner = graph.subgraph(shape.culprits)
        assert min(degree for _, degree in inner.degree()) >= 2
    elif shape.kind == "path":
        assert all(graph.has_edge(one, other) for one, other in zip(shape.order, shape.order[1:], strict=False))
        assert sorted(shape.order) == packs
