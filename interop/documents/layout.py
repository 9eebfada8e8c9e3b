"""Positions for boxes joined by lines, from Graphviz, which is given sizes and names of ours and no text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from interop.unchanging import unchanging

__all__ = ["Box", "Drawn", "Point", "layered"]

Point = tuple[float, float]


@unchanging
class Box:
    """Width and height of a box [pt]."""

    width: float
    height: float


@unchanging
class Drawn:
    """Top-left corners of the boxes, one Bezier curve per line (first point, then three per piece), size [pt].

    y grows downwards.
    """

    corners: Mapping[str, Point]
    curves: tuple[tuple[Point, ...], ...]
    width: float
    height: float


def _points(text: str, height: float) -> tuple[Point, ...]:
    pairs = (pair.split(",") for pair in text.replace("\\\n", "").split())
    return tuple((float(x), height - float(y)) for x, y in pairs)


def layered(boxes: Mapping[str, Box], lines: Sequence[tuple[str, str]]) -> Drawn:
    """`boxes` in layers from top to bottom, joined by `lines` (upper box, lower box) in the given order."""
    if not boxes:
        return Drawn({}, (), 0.0, 0.0)
    import pygraphviz

    graph = pygraphviz.AGraph(directed=True, strict=False)
    graph.graph_attr.update(rankdir="TB", nodesep="0.35", ranksep="0.35", pad="0")
    graph.node_attr.update(shape="box", fixedsize="true", label="")
    graph.edge_attr.update(arrowhead="none")
    names = {box: f"n{number}" for number, box in enumerate(boxes)}
    for box, size in boxes.items():
        graph.add_node(names[box], width=f"{size.width / 72:.4f}", height=f"{size.height / 72:.4f}")
    for number, (upper, lower) in enumerate(lines):
        graph.add_edge(names[upper], names[lower], key=f"e{number}")
    graph.layout(prog="dot")
    _left, _low, width, height = (float(number) for number in graph.graph_attr["bb"].split(","))
    middles = {box: _points(graph.get_node(name).attr["pos"], height)[0] for box, name in names.items()}
    corners = {box: (x - boxes[box].width / 2, y - boxes[box].height / 2) for box, (x, y) in middles.items()}
    curves = tuple(
        _points(graph.get_edge(names[upper], names[lower], key=f"e{number}").attr["pos"], height)
        for number, (upper, lower) in enumerate(lines)
    )
    return Drawn(corners, curves, width, height)
