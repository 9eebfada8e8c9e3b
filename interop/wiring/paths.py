"""The shape that the data cables of a link make: a path from end to end, or what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from interop.unchanging import unchanging

__all__ = ["Shape", "shape_of"]


@unchanging
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
    if len(packs) == 1:
        return Shape("path", tuple(packs))
    near: dict[str, list[str]] = {pack: [] for pack in packs}
    for one, other in edges:
        near.setdefault(one, []).append(other)
        near.setdefault(other, []).append(one)
    on_a_ring = _on_a_ring(near)
    if on_a_ring:
        return Shape("ring", tuple(packs), tuple(p for p in packs if p in on_a_ring))
    branching = tuple(p for p in packs if len(near[p]) > 2)
    if branching:
        return Shape("branched", tuple(packs), branching)
    ends = [p for p in packs if len(near[p]) == 1]
    if not ends:
        return Shape("none", tuple(packs), tuple(packs))
    order = _walk(near, start if start in ends else ends[0])
    if len(order) < len(packs):
        reached = _walk(near, start) if start is not None and start in near else order
        return Shape("broken", tuple(packs), tuple(p for p in packs if p not in reached))
    return Shape("path", order)


def _on_a_ring(near: Mapping[str, Sequence[str]]) -> set[str]:
    """What is left when ends are taken away until there are none: rings, and what lies between them."""
    left = {pack: len(others) for pack, others in near.items()}
    ends = [pack for pack, count in left.items() if count <= 1]
    while ends:
        pack = ends.pop()
        if left.pop(pack, None) is None:
            continue
        for other in near[pack]:
            if other in left:
                left[other] -= 1
                if left[other] == 1:
                    ends.append(other)
    return set(left)


def _walk(near: Mapping[str, Sequence[str]], start: str) -> tuple[str, ...]:
    """Everything that is joined to one pack, from it on; of a path in its order."""
    order: dict[str, None] = {}
    ahead = [start]
    while ahead:
        pack = ahead.pop()
        if pack not in order:
            order[pack] = None
            ahead += reversed(near[pack])
    return tuple(order)
