"""One bipartite assignment, best by levels in order, ties broken by row order: exact in whole numbers.

Levels are packed into one whole-number cost while the sum stays below 2^52 (the solver works in doubles); what does not
fit is solved on the edges that are tight under the levels before, so that every level is exact.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["GUARD", "assign"]

GUARD = 2**52
"""Largest sum of a packed cost: whole numbers up to 2^53 are exact in a double."""

Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]


def assign(
    levels: Sequence[Whole] | Whole,
    allowed: Mask,
    real_rows: int,
    loses: Callable[[NDArray[Any]], bool] | None = None,
) -> tuple[int, ...] | None:
    """Return the column of each row, or None when no perfect assignment exists.

    ``levels``: square matrices [cost], smaller is better, the first decides first. ``allowed``: which (row, column)
    may be taken. Among equal answers the first ``real_rows`` rows, in order, take the lowest column they can.
    ``loses``: asked of the columns of one best answer before ties are broken; None is returned where it says so.
    Raises OverflowError when one level alone passes the guard.
    """
    mask = allowed
    columns: NDArray[Any] | None = None
    rest = np.stack(levels) if not isinstance(levels, np.ndarray) else levels
    while True:
        packed, taken = _pack(rest, mask)
        rest = rest[taken:]
        columns = _solve(packed, mask)
        if columns is None:
            return None
        if not len(rest) and loses is not None and loses(columns):
            return None
        mask = _tight(packed, mask, columns)
        if not len(rest):
            break
    return _lowest(mask, columns, real_rows)


def _pack(levels: Whole, mask: Mask) -> tuple[Whole, int]:
    """Pack as many levels as the guard allows; return the packed cost and how many were taken."""
    rows = mask.shape[0]
    packed = np.zeros(mask.shape, dtype=np.int64)
    values = levels[:, mask]
    if not values.size:
        return packed, len(levels)
    bound, taken = 0, 0
    for level, low, high in zip(levels, values.min(axis=1).tolist(), values.max(axis=1).tolist(), strict=True):
        if low == high:     # every choice costs the same
            taken += 1
            continue
        span = (high - low) * rows + 1
        grown = bound * span + (high - low) * rows
        if grown >= GUARD:
            if bound == 0:
                raise OverflowError("one level alone passes 2^52")
            break
        packed = packed * span + (level - low)
        bound, taken = grown, taken + 1
    return packed, taken


def _solve(cost: Whole, mask: Mask) -> NDArray[Any] | None:
    from scipy.optimize import linear_sum_assignment

    try:
        _, columns = linear_sum_assignment(np.where(mask, cost.astype(np.float64), np.inf))
    except ValueError:
        return None
    return np.asarray(columns)


def _tight(cost: Whole, mask: Mask, columns: NDArray[Any]) -> Mask:
    """Return the edges of reduced cost zero under an optimal dual: every perfect assignment on them is optimal."""
    far = np.int64(2**60)
    by_owner = np.where(mask, cost, far)[:, columns]
    own = by_owner.diagonal()
    step = np.where(by_owner < far, by_owner - own[None, :], far)
    dual = np.zeros(len(columns), dtype=np.int64)
    while True:
        better = np.minimum(dual, (dual[:, None] + step).min(axis=0))
        if np.array_equal(better, dual):
            break
        dual = better
    zero = (step < far) & (dual[:, None] + step == dual[None, :])
    tight = np.zeros_like(mask)
    tight[:, columns] = zero
    return tight


def _lowest(tight: Mask, columns: NDArray[Any], real_rows: int) -> tuple[int, ...]:
    """Among perfect assignments on tight edges, let each row in order take the lowest column it can."""
    held = [int(c) for c in columns]
    owner = {column: row for row, column in enumerate(held)}
    choices = [np.flatnonzero(row).tolist() for row in tight]
    for row in range(real_rows):
        for column in choices[row]:
            if column >= held[row]:
                break
            if owner[column] > row and _swap(row, column, held, owner, choices):
                break
    return tuple(held)


def _swap(row: int, column: int, held: list[int], owner: dict[int, int], choices: list[list[int]]) -> bool:
    """Give ``column`` to ``row`` if the rows after it can be re-assigned along an alternating path."""
    target, first = held[row], owner[column]
    came: dict[int, tuple[int, int] | None] = {first: None}
    queue = [first]
    for here in queue:
        for free in choices[here]:
            if free == target:
                _shift(here, free, came, held, owner)
                held[row], owner[column] = column, row
                return True
            after = owner[free]
            if after > row and after not in came:
                came[after] = (here, free)
                queue.append(after)
    return False


def _shift(
    row: int, column: int, came: dict[int, tuple[int, int] | None], held: list[int], owner: dict[int, int]
) -> None:
    while True:
        before = came[row]
        held[row], owner[column] = column, row
        if before is None:
            return
        row, column = before
