"""The best choice over all frames of a component: best-first by a lower bound, one assignment a frame.

A component is a set of links that compete for packs, with those packs. The answer is the least vector of levels;
equal vectors are told apart by place. Nothing is sampled: a frame is passed over only when its bound already loses.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interop.choose.assignment import assign
from interop.choose.component import (
    IMPOSSIBLE,
    Block,
    Combo,
    Component,
    Vector,
    Whole,
    block_of,
    family_low,
    slot_key,
)
from interop.choose.frames import Family
from interop.site.site import Device
from interop.unchanging import unchanging
from interop.wiring.talks import RecordKey

__all__ = [
    "MOST_ASSIGNMENTS",
    "MOST_FRAMES",
    "Placed",
    "Restriction",
    "Solution",
    "Unfinished",
    "best",
    "least",
]

MOST_ASSIGNMENTS = 30_000
"""Most assignments solved in one search; beyond, the best found is returned as not proved, with the bound reached."""
MOST_FRAMES = 400_000
"""Most frames looked at in one search."""


class Unfinished(Exception):
    """A search came to its limit before it found anything."""


@unchanging
class Placed:
    """One pack in a plan: link (index in the component), role, mode, address."""

    link: int | None
    role: str
    mode: str | None
    address: int | None
    slot: int


@unchanging
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


@unchanging
class Restriction:
    """What a second search must differ in: packs (row, link) that may not manage a link, must be on it, or off it; and
    slots (row, link, slot) that a pack may not have.
    """

    not_manager: tuple[tuple[int, int], ...] = ()
    on: tuple[tuple[int, int], ...] = ()
    off: tuple[tuple[int, int], ...] = ()
    shut: tuple[tuple[int, int, int], ...] = ()


def best(
    component: Component,
    restriction: Restriction | None = None,
    cutoff: Vector | None = None,
    assignments: int = MOST_ASSIGNMENTS,
) -> Solution | None:
    """Return the best choice under a restriction; None when nothing is possible or nothing comes up to ``cutoff``.

    After that many assignments the best found so far is returned with the bound reached: not proved. Where families
    were passed over unseen, nothing bounds the levels but zero. Raises :class:`Unfinished` when the limit comes
    before the first answer.
    """
    restricted, restriction = restriction is not None, restriction or Restriction()
    found: Solution | None = None
    last = component.assigned + assignments
    for number, (bound, combo, counts) in enumerate(_in_order(component)):
        limit = found.vector if found is not None else cutoff
        if limit is not None and bound > limit[: len(bound)]:
            break
        if limit and restricted and _bound(component, combo, sum(counts), restriction) > limit[: len(bound)]:
            continue
        if component.assigned >= last or number >= MOST_FRAMES:
            if found is None:
                raise Unfinished
            return replace(found, bound=bound)
        solved = _lawful(component, combo, counts, restriction, found)
        if solved is not None and (found is None or (solved.vector, solved.slots) < (found.vector, found.slots)):
            found = solved
    if found is not None and cutoff is not None and found.vector > cutoff:
        return None
    if found is not None and component.wide:
        return replace(found, bound=(0,) * (2 + len(component.early)))
    return found


def _in_order(component: Component) -> Iterator[tuple[Vector, Combo, tuple[int, ...]]]:
    """Yield frames by their bound, least first: every combination of families, from its most packs downwards.

    A combination comes up by its bound down to energy and is put back by its bound on every level, so that only those
    near the front are bounded in full.
    """
    heap: list[tuple[Vector, int, Combo, int]] = []
    ticket = itertools.count()
    fresh = iter(_starts(component))
    following = next(fresh, None)
    while heap or following is not None:
        if following is not None and (not heap or following[0] <= heap[0][0]):
            bound, combo, total = following
            following = next(fresh, None)
        else:
            bound, _, combo, total = heapq.heappop(heap)
        if len(bound) < component.levels:
            heapq.heappush(heap, (_bound_in_full(component, combo, bound), next(ticket), combo, total))
            continue
        yield from ((bound, combo, counts) for counts in _splits(_ranges(combo), total))
        if total > sum(least for least, _ in _ranges(combo)):
            lower = _bound(component, combo, total - 1, Restriction())
            heapq.heappush(heap, (lower, next(ticket), combo, total - 1))


def _bound_in_full(component: Component, combo: Combo, bound: Vector) -> Vector:
    """Return a lower bound on every level: each pack in its cheapest place, and no less than ``bound``."""
    if combo not in component.sums:
        if len(combo) == 1:
            lows = [family_low(component, family) for family in combo if family is not None]
            component.sums[combo] = np.minimum.reduce([component.off_low, *lows]).sum(axis=1).tolist()
        else:
            _sum_up(component, combo[:-1])
    sums = component.sums[combo]
    return (*map(max, bound, sums), *sums[len(bound) :])


def _sum_up(component: Component, first: Combo) -> None:
    """Enter the sums of every combination that begins with these families: all families of the last link at once."""
    lows = [family_low(component, family) for family in first if family is not None]
    before = np.minimum.reduce([component.off_low, *lows])
    last = component.families[-1]
    component.sums[(*first, None)] = before.sum(axis=1).tolist()
    if last:
        if component.last_low is None:
            component.last_low = np.stack([family_low(component, family) for family in last])
        every = np.minimum(before[None], component.last_low).sum(axis=2).tolist()
        component.sums.update({(*first, family): sums for family, sums in zip(last, every, strict=True)})


def _ranges(combo: Combo) -> list[tuple[int, int]]:
    """Return the least and the most packs of each link."""
    return [(f.least, f.most) if f is not None else (0, 0) for f in combo]


def _splits(ranges: Sequence[tuple[int, int]], total: int) -> Iterator[tuple[int, ...]]:
    """Yield every way to split a number of packs over links, most on the first link first."""
    if not ranges:
        if total == 0:
            yield ()
        return
    (low, high), rest = ranges[0], ranges[1:]
    fewest, most = sum(one for one, _ in rest), sum(one for _, one in rest)
    for first in range(min(high, total - fewest), max(low, total - most) - 1, -1):
        for others in _splits(rest, total - first):
            yield (first, *others)


def _starts(component: Component) -> list[tuple[Vector, Combo, int]]:
    """Every combination of families at its most packs, by bound (kept for the searches for the runner-up)."""
    if not component.starts:
        found = []
        for combo in _combos(component):
            ranges = _ranges(combo)
            if sum(low for low, _ in ranges) <= len(component.packs):
                total = min(sum(high for _, high in ranges), len(component.packs))
                bound = _bound(component, combo, total, Restriction())
                if len(combo) > 1:      # few families in many combinations: all are bounded in full at once
                    bound = _bound_in_full(component, combo, bound)
                found.append((bound, combo, total))
        component.starts = sorted(found, key=lambda one: one[0])
    return component.starts


def _combos(component: Component) -> Iterator[Combo]:
    yield from itertools.product(*[[*options, None] for options in component.families])


def least(component: Component, restriction: Restriction) -> Vector:
    """Return a bound below every choice under a restriction: the least over all frames at their most packs."""
    key = ("least", tuple((component.packs[row].record.id, int(component.energy[row])) for row, _ in restriction.off))
    if key not in component.bounds or component.early or restriction.on or restriction.not_manager:
        component.bounds[key] = min(
            _bound(component, combo, sum(high for _, high in _ranges(combo)), restriction)
            for combo in _combos(component)
        )
    return component.bounds[key]


def _bound(component: Component, combo: Combo, packs: int, restriction: Restriction) -> Vector:
    """Return a lower bound on the levels down to energy with so many packs on links: those of most energy."""
    off = restriction.off if len(component.links) == 1 else ()
    early, lost = component.room(combo, off)
    return (0, *early, lost[min(packs, len(lost) - 1)])


def _lawful(
    component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction, found: Solution | None
) -> Solution | None:
    """Solve a frame so that what no single pack and slot decides holds too (:func:`_ways_out`).

    Where something is broken, every way out of it is tried, unless the answer already loses to ``found``.
    """
    solved = _solve(component, combo, counts, restriction, found)
    if solved is None or (found is not None and (solved.vector, solved.slots) >= (found.vector, found.slots)):
        return None
    ways = next(_ways_out(component, combo, counts, solved, restriction), None)
    if ways is None:
        return solved
    best_of: Solution | None = None
    for way in ways:
        other = _lawful(component, combo, counts, way, best_of or found)
        best_of = other or best_of
    return best_of


def _ways_out(
    component: Component, combo: Combo, counts: tuple[int, ...], solved: Solution, restriction: Restriction
) -> Iterator[list[Restriction]]:
    """Yield for each condition that an answer breaks the restrictions of which every answer that keeps it meets one.

    Every kind of a frame is on its link, since what an absent kind asks must not shape the answer. No limit on the
    packs of some kinds is passed. No two packs may stand at one address, however their patterns are read. And who is on
    a link is not what was refused.
    """
    for link, family in enumerate(combo):
        if family is None:
            continue
        rows = [row for row, placed in enumerate(solved.placed) if placed.link == link]
        for kind in family.kinds:
            if not any(component.packs[row].record is kind.record for row in rows):
                yield [
                    replace(restriction, on=(*restriction.on, (row, link)))
                    for row, device in enumerate(component.packs)
                    if device.record is kind.record
                ]
        for limit in family.at_most:
            weighty = [row for row in rows if RecordKey(component.packs[row].record) in dict(limit.weights)]
            for number in range(1, len(weighty) + 1):
                if limit.passed(RecordKey(component.packs[row].record) for row in weighty[:number]):
                    yield _one_off(restriction, link, weighty[:number])
                    break
        block = block_of(component, family, counts[link])
        if block is not None and block.table.also:
            yield from _apart(component, block, link, solved, rows, restriction)
        yield from _otherwise(component, link, solved, rows, restriction)


def _one_off(restriction: Restriction, link: int, rows: Sequence[int]) -> list[Restriction]:
    """Not all of these packs on a link: each time one of them is off it, those before are on."""
    on = [(row, link) for row in rows]
    return [
        replace(restriction, on=(*restriction.on, *on[:i]), off=(*restriction.off, one)) for i, one in enumerate(on)
    ]


def _apart(
    component: Component, block: Block, link: int, solved: Solution, rows: Sequence[int], restriction: Restriction
) -> Iterator[list[Restriction]]:
    """Two packs whose patterns may mean one address: nobody that may mean it in the slot of one, or of the other."""
    slot_of: dict[int, int] = {}
    for row in rows:
        slot = solved.placed[row].slot
        for address in sorted(block.means(row, slot)):
            other = slot_of.setdefault(address, slot)
            if other != slot:
                yield [
                    replace(
                        restriction,
                        shut=(
                            *restriction.shut,
                            *((r, link, j) for r in range(len(component.packs)) if address in block.means(r, j)),
                        ),
                    )
                    for j in (other, slot)
                ]


def _otherwise(
    component: Component, link: int, solved: Solution, rows: Sequence[int], restriction: Restriction
) -> Iterator[list[Restriction]]:
    """The same packs under the same manager were refused: another manager, or one of them off the link, since a frame
    has just so many packs.
    """
    lead = next((row for row in rows if solved.placed[row].role == "manager"), None)
    if (link, lead, frozenset(rows)) not in component.refused:
        return
    ways = [] if lead is None else [replace(restriction, not_manager=(*restriction.not_manager, (lead, link)))]
    ways += _one_off(restriction, link, rows)
    yield ways


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
    n = len(component.packs)
    if _loses(component, blocks, counts, restriction, found):
        return None
    parts = [b for b in blocks if b is not None]
    spare = [sum(role == "member" for role, _ in b.slots) - b.members for b in parts]
    size = n + sum(spare)
    allowed = np.zeros((size, size), dtype=np.bool_)
    levels = np.zeros((component.levels, size, size), dtype=np.int64)
    column, row = 0, n
    starts: list[int] = []
    for block, extra in zip(parts, spare, strict=True):
        width = len(block.slots)
        allowed[:n, column : column + width] = block.allowed
        levels[:, :n, column : column + width] = block.levels
        members = [column + j for j, (role, _) in enumerate(block.slots) if role == "member"]
        allowed[row : row + extra, members] = True
        starts.append(column)
        column, row = column + width, row + extra
    levels[:, :n, column:] = component.off[:, :, None]
    allowed[:n, column:] = component.may_be_off[:, None]
    _apply(restriction, combo, parts, starts, allowed)
    component.assigned += 1

    def loses(columns: NDArray[Any]) -> bool:
        return found is not None and _vector(levels, columns, n) > found.vector

    columns = assign(levels, allowed, n, loses)
    return None if columns is None else _solution(component, combo, counts, parts, starts, levels, columns, column)


def _loses(
    component: Component,
    blocks: Sequence[Block | None],
    counts: Sequence[int],
    restriction: Restriction,
    found: Solution | None,
) -> bool:
    """Whether a frame cannot beat ``found``: by the sum of row minima of each level in turn, then by the lowest
    slots.
    """
    if found is None:
        return False
    parts = [(b, count) for b, count in zip(blocks, counts, strict=True) if b is not None]
    low = np.minimum.reduce([b.low for b, _ in parts]) if parts else component.off_low
    if sum(counts) < len(component.packs):
        low = np.minimum(low, component.off_low)
    for row, link in restriction.on:
        block = blocks[link]
        low[:, row] = block.low[:, row] if block is not None else IMPOSSIBLE
    for least_of, best_of in zip(low.sum(axis=1).tolist(), found.vector, strict=True):
        if least_of != best_of:
            return bool(least_of > best_of)
    keys = sorted(key for b, count in parts for key in b.keys[:count])
    return (*keys, *[_OFF] * (len(component.packs) - len(keys))) > found.slots


_OFF = 10**9
"""The slot of a pack on no link: after every slot of a link."""


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
    for row, link, slot in restriction.shut:
        allowed[row, starts[place[link]] + slot] = False
    for pairs, wanted in ((restriction.on, True), (restriction.off, False)):
        for row, link in pairs:
            mine = np.zeros(allowed.shape[1], dtype=np.bool_)
            if link in place:
                start = starts[place[link]]
                mine[start : start + len(parts[place[link]].slots)] = True
            allowed[row] &= mine if wanted else ~mine


def _vector(levels: Whole, columns: Sequence[int] | NDArray[Any], packs: int) -> Vector:
    """Return the sum of each level over the packs."""
    return tuple(levels[:, np.arange(packs), np.asarray(columns[:packs])].sum(axis=1).tolist())


def _solution(
    component: Component,
    combo: Combo,
    counts: tuple[int, ...],
    parts: Sequence[Block],
    starts: Sequence[int],
    levels: Whole,
    columns: Sequence[int],
    off: int,
) -> Solution:
    n = len(component.packs)
    vector = _vector(levels, columns, n)
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
        placed.append(Placed(where[k], role, parts[k].mode(i, j), address, j))
        slots.append(slot_key(where[k], role, address, j))
    chosen = tuple((f, counts[i]) if f is not None else None for i, f in enumerate(combo))
    return Solution(vector, chosen, tuple(placed), tuple(slots))
