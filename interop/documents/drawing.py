"""The data links as a drawing (SVG): who manages, which cable goes where, which conductors it keeps.

Graphviz gives positions only, for boxes whose size is computed from the shipped font; it is handed no text.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

from interop.documents.canonical import grouped
from interop.documents.face import Faces
from interop.documents.layout import Box, Drawn, layered
from interop.documents.lettering import width, wrap
from interop.documents.plaintext import visible
from interop.documents.sockets import far_words, removed_words
from interop.documents.svg import Line, page
from interop.unchanging import unchanging

__all__ = ["link_drawing"]

_SIZE, _BIG, _PITCH, _PAD, _ROOM = 10.0, 15.0, 13.5, 8.0, 190.0
_GAP, _MARGIN, _APART = 16.0, 24.0, 4

Style = Literal["manager", "member", "unmanaged", "controller", "cable"]


@unchanging
class _Block:
    """One box: its lines of text (size in pt, bold or not) and how its frame is drawn."""

    lines: tuple[Line, ...]
    style: Style

    @property
    def box(self) -> Box:
        widest = max(width(line.text, line.size, line.face) for line in self.lines)
        return Box(widest + 2 * _PAD, sum(line.size * 1.35 for line in self.lines) + 2 * _PAD)


def _block(heading: str, texts: list[str], style: Style) -> _Block:
    lines = [Line(part, _BIG, "bold") for part in wrap(visible(heading), _ROOM, _BIG, "bold")]
    for text in texts:
        lines += [Line(part, _SIZE, "regular") for part in wrap(visible(text), _ROOM, _SIZE)]
    return _Block(tuple(lines), style)


def _terminators(plan: Mapping[str, Any], device: str) -> Iterator[str]:
    for bus, entry in plan["buses"].items():
        for end in entry["terminators"]:
            if end["device"] == device:
                yield f"terminator of {bus}: {end['by']}"


def _role(plan: Mapping[str, Any], device: str) -> tuple[Style, list[str]]:
    pack = plan["packs"].get(device)
    if pack is None:
        return "controller", [plan["devices"][device]["kind"]]
    if pack["role"] == "unmanaged":
        return "unmanaged", ["unmanaged, no data cable"]
    words = [f"{pack['role'].upper()} on {pack['link']}"]
    if pack["address"] is not None:
        words.append(f"address {pack['address']}")
    return pack["role"], words


def _device_block(plan: Mapping[str, Any], device: str, faces: Faces) -> _Block:
    face = faces.device(device)
    style, words = _role(plan, device)
    place = face.place or plan["devices"][device]["place"]
    texts = [*words, *([place] if place else []), face.record_name, *_terminators(plan, device)]
    return _block(device, texts, style)


def _conductor_words(entry: Mapping[str, Any]) -> list[str]:
    kept = [here if here == there else f"{here} to {there}" for here, there in entry["joined"]]
    words = [f"{entry['kind']}, keeps {', '.join(kept) or 'nothing'}".replace("repinned", "re-pinned")]
    if entry["cut"]:
        words.append(f"cut: {', '.join(entry['cut'])}")
    if entry["remove"]:
        words.append(f"remove: {removed_words(entry['remove'])}")
    return words


def _cable_block(plan: Mapping[str, Any], cable: str, entry: Mapping[str, Any]) -> _Block:
    ends = f"{far_words(plan, entry, entry['from'])} → {far_words(plan, entry, entry['to'])}"
    return _block(f"{cable} - {entry['work']}", [ends, *_conductor_words(entry)], "cable")


def _linked(plan: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {cable: entry for cable, entry in plan["cables"].items() if entry["action"] != "remove"}


def _rank(plan: Mapping[str, Any], device: str) -> int:
    """Which devices are drawn at the top: controllers, else managers, else whatever there is."""
    if plan["devices"][device]["kind"] == "controller":
        return 0
    return 1 if _role(plan, device)[0] == "manager" else 2


def _depths(plan: Mapping[str, Any], cables: Mapping[str, Mapping[str, Any]]) -> dict[str, int]:
    """How many cables lie between a device and the nearest device of the highest rank it reaches."""
    import networkx as nx

    graph = nx.Graph()
    graph.add_edges_from((entry["from"][0], entry["to"][0]) for entry in cables.values())
    depths: dict[str, int] = {}
    for rank in range(3):
        sources = [one for one in graph if one not in depths and _rank(plan, one) == rank]
        if sources:
            depths |= nx.multi_source_dijkstra_path_length(graph, sources)
    return depths


def _edges(plan: Mapping[str, Any]) -> list[tuple[str, str, bool]]:
    """(upper box, lower box, whether the arrow points down) for both halves of every cable; D and C mark kinds.

    Boxes are "D" or "C" (device, cable) and the id, so that a cable and a device may share an id.
    """
    cables = _linked(plan)
    depths = _depths(plan, cables)
    edges = []
    for cable, entry in cables.items():
        here, there = entry["from"][0], entry["to"][0]
        down = depths[here] <= depths[there]
        upper, lower = (here, there) if down else (there, here)
        edges += [(f"D{upper}", f"C{cable}", down), (f"C{cable}", f"D{lower}", down)]
    return edges


def _linked_devices(plan: Mapping[str, Any]) -> set[str]:
    ends = [entry[side][0] for entry in _linked(plan).values() for side in ("from", "to")]
    managed = [pack for pack, entry in plan["packs"].items() if entry["role"] != "unmanaged"]
    controllers = [one for link in plan["links"] for one in link["reports_to"]]
    return {*ends, *managed, *controllers}


def _rows_apart(blocks: Mapping[str, _Block], top: float) -> dict[str, tuple[float, float]]:
    """Top-left corners of the boxes that no cable reaches, a few in a row below `top` [pt]."""
    corners: dict[str, tuple[float, float]] = {}
    names = list(blocks)
    for first in range(0, len(names), _APART):
        row = names[first : first + _APART]
        left = _MARGIN
        for name in row:
            corners[name] = (left, top)
            left += blocks[name].box.width + _GAP
        top += max(blocks[name].box.height for name in row) + _GAP
    return corners


def link_drawing(plan: Mapping[str, Any], faces: Faces) -> str:
    """The data links of `plan` (plan.json contract) as an SVG text; the same on every machine.

    Cables to take out are not drawn. Raises FaceMismatch if a device has no face.
    """
    linked = _linked_devices(plan)
    shown = {f"D{one}": _device_block(plan, one, faces) for one in plan["devices"] if one in linked}
    shown |= {f"C{cable}": _cable_block(plan, cable, entry) for cable, entry in _linked(plan).items()}
    apart = {f"D{one}": _device_block(plan, one, faces) for one in plan["packs"] if one not in linked}
    edges = _edges(plan)
    drawn: Drawn = layered({name: block.box for name, block in shown.items()}, [edge[:2] for edge in edges])
    corners = _rows_apart(apart, drawn.height + 3 * _MARGIN)
    blocks = shown | apart
    places = {name: (x + _MARGIN, y + _MARGIN) for name, (x, y) in drawn.corners.items()} | corners
    return page(
        title=f"Data links: {plan['site']['name']}",
        fingerprint=grouped(plan["fingerprint"]),
        draft=plan["draft"],
        joining=plan["cleared"]["joining"],
        boxes=[(places[name], block.box, block.style, block.lines) for name, block in blocks.items()],
        curves=[
            ([(x + _MARGIN, y + _MARGIN) for x, y in curve], _arrow(edge))
            for edge, curve in zip(edges, drawn.curves, strict=True)
        ],
        apart_at=drawn.height + 2.6 * _MARGIN if apart else None,
    )


def _arrow(edge: tuple[str, str, bool]) -> Literal["start", "end"] | None:
    """Where the arrow of a half cable stands: at the device it runs to, none on the half it comes from."""
    upper, lower, down = edge
    if down:
        return "end" if lower.startswith("D") else None
    return "start" if upper.startswith("D") else None
