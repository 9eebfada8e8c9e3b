"""The best choice over all frames of a component: best-first by a lower bound, one assignment a frame.

A component is a set of links that compete for packs, with those packs. The answer is the least vector of levels;
equal vectors are told apart by place. Nothing is sampled: a frame is passed over only when its bound already loses.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from interop.choose.assignment import assign
from interop.choose.component import Block, Combo, Component, Vector, Whole, block_of, off_levels
from interop.choose.frames import Family
from interop.site.site import Device

__all__ = [
    "MOST_COMBINATIONS",
    "MOST_FRAMES",
    "MOST_LINKS",
    "Placed",
    "Restriction",
    "Solution",
    "best",
    "least",
]

MOST_LINKS = 4
"""Most links of one component that are enumerated exactly."""
MOST_FRAMES = 20_000
"""Most frames solved in one search; beyond, the best found is returned as not proved, with the bound reached."""
MOST_COMBINATIONS = 300_000
"""Most combinations of the links' families that a search begins with."""


@dataclass(frozen=True)
class Placed:
    """One pack in a plan: link (index in the component), role, mode, address."""

    link: int | None
    role: str
    mode: str | None
    address: int | None
    slot: int


@dataclass(frozen=True)
class Solution:
    """A choice: level vector, family and number of packs per link, and every pack's slot in rank order."""

    vector: Vector
    chosen: tuple[tuple[Family, int] | None, ...]
    placed: tuple[Placed, ...]
    slots: tuple[int, ...]
    bound: Vector | None = None
    """None: proved best. Else the bound on the first levels below which nothing better can lie."""

    def manager(self, packs: Sequence[Device], link: int) -> str | None:
        """Return the id of a link's manager."""
        return next(
            (d.id for d, p in zip(packs, self.placed, strict=True) if p.link == link and p.role == "manager"), None
        )

    def members(self, packs: Sequence[Device], link: int) -> tuple[str, ...]:
        """Return the ids of all packs on a link, the manager among them, in rank order."""
        return tuple(d.id for d, p in zip(packs, self.placed, strict=True) if p.link == link)


@dataclass(frozen=True)
class Restriction:
    """What a second search must differ in: packs that may not manage a link, must be on it, or must be off it."""

    not_manager: tuple[tuple[int, int], ...] = ()
    on: tuple[tuple[int, int], ...] = ()
    off: tuple[tuple[int, int], ...] = ()


def best(
    component: Component,
    restriction: Restriction | None = None,
    cutoff: Vector | None = None,
    frames: int = MOST_FRAMES,
) -> Solution | None:
    """Return the best choice under a restriction; None when nothing is possible or nothing comes up to ``cutoff``.

    After ``frames`` frames the best found so far is returned with the bound reached: not proved.
    """
    restriction = restriction or Restriction()
    found: Solution | None = None
    for number, (bound, combo, counts) in enumerate(_in_order(component)):
        limit = found.vector if found is not None else cutoff
        if limit is not None and bound > limit[: len(bound)]:
            break
        if limit is not None and _bound(component, combo, counts, restriction) > limit[: len(bound)]:
            continue
        if number >= frames and found is not None:
            return replace(found, bound=bound)
        solved = _all_kinds(component, combo, counts, restriction, found)
        if solved is not None and (found is None or (solved.vector, solved.slots) < (found.vector, found.slots)):
            found = solved
    if found is not None and cutoff is not None and found.vector > cutoff:
        return None
    return found


def _in_order(component: Component) -> Iterator[tuple[Vector, Combo, tuple[int, ...]]]:
    """Yield frames by their bound, least first: every combination of families, from its most packs downwards."""
    heap: list[tuple[Vector, int, Combo, tuple[int, ...]]] = []
    ticket = itertools.count()
    seen: set[tuple[Combo, tuple[int, ...]]] = set()
    fresh = iter(_starts(component))
    following = next(fresh, None)
    while heap or following is not None:
        if following is not None and (not heap or following[0] <= heap[0][0]):
            bound, combo, counts = following
            following = next(fresh, None)
        else:
            bound, _, combo, counts = heapq.heappop(heap)
        yield bound, combo, counts
        for i, family in enumerate(combo):
            if family is not None and counts[i] > family.least:
                fewer = (*counts[:i], counts[i] - 1, *counts[i + 1 :])
                if (combo, fewer) not in seen:
                    seen.add((combo, fewer))
                    heapq.heappush(heap, (_bound(component, combo, fewer, Restriction()), next(ticket), combo, fewer))


def _starts(component: Component) -> list[tuple[Vector, Combo, tuple[int, ...]]]:
    """Every combination of families at its most packs, by bound (kept for the searches for the runner-up)."""
    if not component.starts:
        found = []
        for combo in _combos(component):
            counts = tuple(f.most if f is not None else 0 for f in combo)
            found.append((_bound(component, combo, counts, Restriction()), combo, counts))
        component.starts = sorted(found, key=lambda one: one[0])
    return component.starts


def _combos(component: Component) -> Iterator[Combo]:
    yield from itertools.product(*[[*options, None] for options in component.families])


def least(component: Component, restriction: Restriction) -> Vector:
    """Return a bound below every choice under a restriction: the least over all frames at their most packs."""
    key = ("least", tuple((component.packs[row].record.id, int(component.energy[row])) for row, _ in restriction.off))
    if key not in component.bounds or component.early or restriction.on or restriction.not_manager:
        component.bounds[key] = min(
            _bound(component, combo, tuple(f.most if f is not None else 0 for f in combo), restriction)
            for combo in _combos(component)
        )
    return component.bounds[key]


def _bound(component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction) -> Vector:
    """Return a lower bound on the levels down to energy: the packs of most energy that the frame has room for."""
    off = restriction.off if len(component.links) == 1 else ()
    early, lost = component.room(combo, off)
    return (0, *early, lost[min(sum(counts), len(lost) - 1)])


def _all_kinds(
    component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction, found: Solution | None
) -> Solution | None:
    """Solve a frame with every one of its kinds on the link: what an absent kind asks must not shape the answer.

    Where a kind is missing, its packs are put on the link one after the other, unless the answer already loses to
    ``found``.
    """
    solved = _solve(component, combo, counts, restriction, found)
    if solved is None or (found is not None and (solved.vector, solved.slots) >= (found.vector, found.slots)):
        return None
    missing = next(
        (
            (i, k)
            for i, family in enumerate(combo)
            if family is not None
            for k in family.kinds
            if not any(
                p.link == i and d.record is k.record for d, p in zip(component.packs, solved.placed, strict=True)
            )
        ),
        None,
    )
    if missing is None:
        return solved
    index, kind = missing
    best_of: Solution | None = None
    for row, device in enumerate(component.packs):
        if device.record is kind.record:
            other = _all_kinds(
                component, combo, counts, replace(restriction, on=(*restriction.on, (row, index))), best_of or found
            )
            best_of = other or best_of
    return best_of


def _solve(
    component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction, found: Solution | None
) -> Solution | None:
    """Solve one frame by one assignment; None when it cannot be filled or its row minima already lose to ``found``."""
    blocks: list[Block | None] = []
    for family, count in zip(combo, counts, strict=True):
        block = block_of(component, family, count) if family is not None else None
        if family is not None and block is None:
            return None
        blocks.append(block)
    n, total = len(component.packs), sum(counts)
    if total > n:
        return None
    parts = [b for b in blocks if b is not None]
    spare = [sum(role == "member" for role, _ in b.slots) - b.members for b in parts]
    size = n + sum(spare)
    allowed = np.zeros((size, size), dtype=np.bool_)
    levels = [np.zeros((size, size), dtype=np.int64) for _ in range(component.levels)]
    column, row = 0, n
    starts: list[int] = []
    for block, extra in zip(parts, spare, strict=True):
        width = len(block.slots)
        allowed[:n, column : column + width] = block.allowed
        for level, mine in zip(levels, block.levels, strict=True):
            level[:n, column : column + width] = mine
        members = [column + j for j, (role, _) in enumerate(block.slots) if role == "member"]
        allowed[row : row + extra, members] = True
        starts.append(column)
        column, row = column + width, row + extra
    _off_columns(component, levels, allowed, column)
    _apply(restriction, combo, parts, starts, allowed)
    if found is not None and _loses(levels, allowed, combo, counts, parts, found, n):
        return None
    columns = assign(levels, allowed, n)
    return None if columns is None else _solution(component, combo, counts, parts, starts, levels, columns, column)


def _loses(
    levels: Sequence[Whole],
    allowed: NDArray[np.bool_],
    combo: Combo,
    counts: tuple[int, ...],
    parts: Sequence[Block],
    found: Solution,
    n: int,
) -> bool:
    """Whether a frame cannot beat ``found``: by the sum of row minima of each level in turn, then by the lowest
    slots.
    """
    for level, best_of in zip(levels, found.vector, strict=True):
        low = int(np.where(allowed[:n], level[:n], 2**40).min(axis=1).sum())
        if low != best_of:
            return low > best_of
    where = [i for i, f in enumerate(combo) if f is not None]
    keys: list[int] = []
    for block, index in zip(parts, where, strict=True):
        mine = sorted(_slot_key(index, role, address, j) for j, (role, address) in enumerate(block.slots))
        keys += mine[: counts[index]]
    return (*sorted(keys), *[_OFF] * (n - len(keys))) > found.slots


_OFF = 10**9


def _slot_key(link: int, role: str, address: int | None, position: int) -> int:
    """Order of slots: by link, the manager first, then by address (by position where the route numbers the packs)."""
    return link * 10**6 + (0 if role == "manager" else 1 + (address if address is not None else position))


def _off_columns(component: Component, levels: list[Whole], allowed: NDArray[np.bool_], column: int) -> None:
    n = len(component.packs)
    for level, off in zip(levels, off_levels(component), strict=True):
        level[:n, column:] = off[:, None]
    allowed[:n, column:] = True
    for wish in component.must:
        if wish.what in ("managed", "addresses", "manager"):
            rows = [component.row[name] for name in wish.about if name in component.row]
            allowed[rows, column:] = False


def _apply(
    restriction: Restriction,
    combo: Combo,
    parts: Sequence[Block],
    starts: Sequence[int],
    allowed: NDArray[np.bool_],
) -> None:
    place = {i: k for k, i in enumerate(i for i, f in enumerate(combo) if f is not None)}
    for row, link in restriction.not_manager:
        if link in place:
            for j, (role, _) in enumerate(parts[place[link]].slots):
                if role == "manager":
                    allowed[row, starts[place[link]] + j] = False
    for row, link in (*restriction.on, *restriction.off):
        mine = np.zeros(allowed.shape[1], dtype=np.bool_)
        if link in place:
            start = starts[place[link]]
            mine[start : start + len(parts[place[link]].slots)] = True
        allowed[row] &= mine if (row, link) in restriction.on else ~mine


def _solution(
    component: Component,
    combo: Combo,
    counts: tuple[int, ...],
    parts: Sequence[Block],
    starts: Sequence[int],
    levels: Sequence[Whole],
    columns: Sequence[int],
    off: int,
) -> Solution:
    n = len(component.packs)
    vector = tuple(int(sum(int(level[i, columns[i]]) for i in range(n))) for level in levels)
    where = [i for i, f in enumerate(combo) if f is not None]
    placed, slots = [], []
    for i in range(n):
        if columns[i] >= off:
            placed.append(Placed(None, "unmanaged", None, None, -1))
            slots.append(_OFF)
            continue
        k = max(k for k, start in enumerate(starts) if start <= columns[i])
        j = columns[i] - starts[k]
        role, address = parts[k].slots[j]
        placed.append(Placed(where[k], role, parts[k].modes[i][j], address, j))
        slots.append(_slot_key(where[k], role, address, j))
    chosen = tuple((f, counts[i]) if f is not None else None for i, f in enumerate(combo))
    return Solution(vector, chosen, tuple(placed), tuple(slots))
