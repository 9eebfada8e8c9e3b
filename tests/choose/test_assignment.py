"""One bipartite assignment against all permutations: levels in order, the tie rule, sums near the guard."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from interop.choose.assignment import GUARD, assign


def by_permutations(levels: list[list[list[int]]], allowed: list[list[bool]], real: int) -> tuple[int, ...] | None:
    """The best permutation by plain whole numbers of any size: levels, then the columns of the first rows."""
    n = len(allowed)
    keys = [
        (*(sum(level[i][p[i]] for i in range(n)) for level in levels), *p[:real], p)
        for p in itertools.permutations(range(n))
        if all(allowed[i][p[i]] for i in range(n))
    ]
    return min(keys)[-1] if keys else None  # type: ignore[return-value]


def ours(levels: list[list[list[int]]], allowed: list[list[bool]], real: int) -> tuple[int, ...] | None:
    return assign([np.array(level, dtype=np.int64) for level in levels], np.array(allowed, dtype=np.bool_), real)


@pytest.mark.parametrize("most", [1, 3, 50, 10**6, 2**40, 2**49])
def test_equal_to_all_permutations(most: int) -> None:
    rng = random.Random(most)
    for _ in range(60):
        n = rng.randint(1, 6)
        top = min(most, (GUARD - 1) // (2 * n))
        levels = [
            [[rng.choice([0, rng.randint(0, top), top]) for _ in range(n)] for _ in range(n)]
            for _ in range(rng.randint(1, 4))
        ]
        allowed = [[rng.random() < 0.7 for _ in range(n)] for _ in range(n)]
        expected, got = by_permutations(levels, allowed, n), ours(levels, allowed, n)
        assert got == expected, (levels, allowed)


def test_spare_rows_do_not_break_ties() -> None:
    rng = random.Random(5)
    for _ in range(60):
        n = rng.randint(2, 6)
        real = rng.randint(1, n)
        levels = [[[rng.randint(0, 1) for _ in range(n)] for _ in range(n)]]
        allowed = [[rng.random() < 0.8 for _ in range(n)] for _ in range(n)]
        expected, got = by_permutations(levels, allowed, real), ours(levels, allowed, real)
        assert (got is None) == (expected is None)
        if got is not None and expected is not None:
            assert got[:real] == expected[:real]
            assert sum(levels[0][i][got[i]] for i in range(n)) == sum(levels[0][i][expected[i]] for i in range(n))


def test_a_difference_of_one_decides_below_the_guard() -> None:
    big = GUARD // 2 - 1
    level = [[big, big - 1], [big - 1, big - 1]]
    # 2^51 - 1 twice a row is just below the guard; the sum differs by one between the two assignments
    assert ours([level], [[True, True], [True, True]], 2) == (1, 0)
    assert ours([[[big - 1, big], [big - 1, big - 1]]], [[True, True], [True, True]], 2) == (0, 1)


def test_equal_rows_take_the_lowest_columns_in_order() -> None:
    assert ours([[[0] * 4 for _ in range(4)]], [[True] * 4 for _ in range(4)], 4) == (0, 1, 2, 3)


def test_a_level_that_passes_the_guard_alone_is_refused() -> None:
    with pytest.raises(OverflowError, match=r"one level alone passes 2\^52"):
        ours([[[0, GUARD], [0, 0]]], [[True, True], [True, True]], 2)


def test_no_perfect_assignment() -> None:
    assert ours([[[0, 0], [0, 0]]], [[True, False], [True, False]], 2) is None
