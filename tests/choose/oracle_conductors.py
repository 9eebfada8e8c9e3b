"""Brute force over every cut of straight cables and every injective pin map, on chains written as plain data.

Shares nothing with the planner: reads contact texts by its own few lines, spreads labels over nets with numpy, and
filters all combinations level by level. A chain is a dict: devices (each with sockets "in" and "out": plug, poles,
pairs, pins {pin: [texts]}, nodes {pin: name}) and cables (made, no_repin, carries).
"""

from __future__ import annotations

from itertools import combinations, permutations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

Spec = dict[str, Any]
Pairs = tuple[tuple[str, str], ...]
Mask = NDArray[np.bool_]
_FOR = ("stop", "enable", "wake", "direction")
_MATE = {"plus": "minus", "minus": "plus", "high": "low", "low": "high"}


def best(spec: Spec) -> tuple[tuple[int, int, int, int], tuple[Pairs, ...]] | None:
    """The optimum: (re-pinned, references, pairs, conductors) and the joined pins of each cable, or None."""
    devices, cables = spec["devices"], spec["cables"]
    ends = [(devices[k]["out"], devices[k + 1]["in"]) for k in range(len(cables))]
    options = [_options(a, b, cable) for (a, b), cable in zip(ends, cables, strict=True)]
    index = [grid.ravel() for grid in np.indices([len(one) for one in options])]
    ok = np.ones(len(index[0]), dtype=bool)
    for (a, b), cable, ways, at in zip(ends, cables, options, index, strict=True):
        ok &= np.array([_sound(a, b, cable, way) for way in ways], dtype=bool)[at]
    ok &= ~_faulty(devices, options, index)
    if not ok.any():
        return None
    scores = [[_score(a, b, cable, way) for way in ways]
              for (a, b), cable, ways in zip(ends, cables, options, strict=True)]
    totals = [np.sum([np.array([score[level] for score in one])[at] for one, at in zip(scores, index, strict=True)],
                     axis=0) for level in range(4)]
    keys = [totals[0], -totals[1], -totals[2], totals[3]]
    for (a, b), ways, at in zip(ends, options, index, strict=True):
        order = sorted(range(len(ways)), key=lambda k, a=a, b=b, ways=ways: _height(a, b, ways[k]))  # type: ignore[misc]
        keys.append(np.argsort(np.array(order))[at])
    for key in keys:
        ok &= key == key[ok].min()
    (winner,) = np.flatnonzero(ok)
    vector = tuple(int(total[winner]) for total in totals)
    return (vector[0], vector[1], vector[2], vector[3]), tuple(
        ways[at[winner]] for ways, at in zip(options, index, strict=True))


def _options(a: Spec, b: Spec, cable: Spec) -> list[Pairs]:
    if cable["made"] is not None:
        return [tuple(sorted(tuple(pair) for pair in cable["made"]))]
    common = [p for p in a["poles"] if p in b["poles"]] if a["plug"] == b["plug"] else []
    cuts = [tuple((p, p) for p in some) for size in range(len(common) + 1) for some in combinations(common, size)]
    if cable["no_repin"]:
        return cuts
    size = min(len(a["poles"]), len(b["poles"]))
    return [tuple(zip(some, other, strict=True)) for n in range(size + 1)
            for some in combinations(a["poles"], n) for other in permutations(b["poles"], n)]


def _height(a: Spec, b: Spec, way: Pairs) -> list[int]:
    at = dict(way)
    return [b["poles"].index(at[p]) if p in at else 99 for p in a["poles"]]


def _wire(text: str) -> tuple[str, ...] | None:
    """What can be wanted: ("bus", name, wire) or ("line", use, sense, level, wire)."""
    words = text.split()
    if words[0] == "line" and (words[1] not in _FOR or "?" in words):
        return None
    return tuple(words) if words[0] in ("bus", "line") else None


def _wires(socket: Spec) -> set[tuple[str, ...]]:
    return {wire for texts in socket["pins"].values() for text in texts if (wire := _wire(text))}


def _wanted(a: Spec, b: Spec, cable: Spec) -> set[tuple[str, ...]] | None:
    left, right = _wires(a), _wires(b)
    names = cable["carries"]
    if names is None:
        names = {w[1] for w in left if w[0] == "bus"} & {w[1] for w in right if w[0] == "bus"}
        if not names:
            return None
    bus = {w for w in left | right if w[0] == "bus" and w[1] in names}
    if {w[1] for w in bus} != set(names):
        return None
    bus |= {("bus", w[1], _MATE[w[2]]) for w in bus}
    return bus | {w for w in left & right if w[0] == "line"}


def _sound(a: Spec, b: Spec, cable: Spec, way: Pairs) -> bool:
    wanted = _wanted(a, b, cable)
    if wanted is None:
        return False
    carried = set()
    for p, q in way:
        for one, two in product(a["pins"][p] or ["unused"], b["pins"][q] or ["unused"]):
            if one.startswith("ref") and two.startswith("ref"):
                continue
            if one != two or _wire(one) is None:
                return False
            carried.add(_wire(one))
    return wanted <= carried


def _score(a: Spec, b: Spec, cable: Spec, way: Pairs) -> tuple[int, int, int, int]:
    references = sum(any(text.startswith("ref") for text in a["pins"][p]) for p, _ in way)
    groups: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
    for wire in _wanted(a, b, cable) or ():
        groups.setdefault(wire[:-1], set()).add(wire)
    twisted = sum(len(wires) == 2 and _twisted(a, b, wires, way) for wires in groups.values())
    straight = a["plug"] == b["plug"] and all(p == q for p, q in way)
    return int(not straight), references, twisted, len(way)


def _twisted(a: Spec, b: Spec, wires: set[tuple[str, ...]], way: Pairs) -> bool:
    def on(pairs: list[list[str]], p: str, q: str) -> bool:
        return [p, q] in pairs or [q, p] in pairs

    for (p, q), (r, s) in combinations(way, 2):
        kinds = {_wire(text) for pin in (p, r) for text in a["pins"][pin]}
        if kinds == wires and on(a["pairs"], p, r) and on(b["pairs"], q, s):
            return True
    return False


def _faulty(devices: list[Spec], options: list[list[Pairs]], index: list[NDArray[Any]]) -> Mask:
    """Which combinations make a net with two things that must not meet."""
    nodes: dict[tuple[int, str], int] = {}
    pins: list[tuple[int, int, list[str]]] = []         # (device, node, texts)
    for number, device in enumerate(devices):
        for socket in (device["in"], device["out"]):
            for pin in socket["poles"] if socket else ():
                node = nodes.setdefault((number, socket["nodes"][pin]), len(nodes))
                pins.append((number, node, socket["pins"][pin]))
    size = len(index[0])
    label = [np.full(size, k, dtype=np.int16) for k in range(len(nodes))]
    touched = [np.zeros(size, dtype=bool) for _ in nodes]
    joins: list[tuple[Mask, int, int]] = []
    for k, (ways, at) in enumerate(zip(options, index, strict=True)):
        for p, q in sorted({pair for way in ways for pair in way}):
            mask = np.array([(p, q) in way for way in ways], dtype=bool)[at]
            u, v = nodes[k, devices[k]["out"]["nodes"][p]], nodes[k + 1, devices[k + 1]["in"]["nodes"][q]]
            touched[u] |= mask
            touched[v] |= mask
            joins.append((mask, u, v))
    _spread(label, joins)
    bad = np.zeros(size, dtype=bool)
    for x, (d, u, ours) in enumerate(pins):
        for e, v, theirs in pins[x:]:
            if any(_clash(one, d, two, e) for one, two in product(ours, theirs)):
                bad |= touched[u] if u == v else label[u] == label[v]
        if "unused" in ours and len(ours) > 1:
            bad |= touched[u]
    return bad


def _spread(label: list[NDArray[Any]], joins: list[tuple[Mask, int, int]]) -> None:
    """Give every node the lowest label on its net, in all combinations at once."""
    moving = True
    while moving:
        moving = False
        for mask, u, v in joins:
            if (mask & (label[u] != label[v])).any():
                low = np.minimum(label[u], label[v])
                label[u], label[v] = np.where(mask, low, label[u]), np.where(mask, low, label[v])
                moving = True


def _clash(one: str, d: int, two: str, e: int) -> bool:
    """Whether text ``one`` of device d and text ``two`` of device e must not share a net. Unused carries nothing."""
    if "unused" in (one, two) or (one == two and d == e):
        return False
    if one.startswith("ref") and two.startswith("ref"):
        ties = {one, two}
        return "ref unknown" in ties or ("ref isolated" not in ties and "ref cell minus" in ties)
    return one != two or not one.startswith(("bus", "line")) or "?" in one.split()
