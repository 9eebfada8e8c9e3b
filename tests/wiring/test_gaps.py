"""The judgement of gaps against every way in which packs can stand, enumerated."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest

from interop.records.answers import Answer
from interop.wiring.gaps import run_answer

HIGHEST = 6


def by_enumeration(packs: Sequence[frozenset[int]], low: int, anywhere: int) -> Answer:
    """Every pack at each of its values, the unknown ones at each address up to well beyond: is there a hole?"""
    free = frozenset(range(low, low + HIGHEST + len(packs) + anywhere + 2))
    holes = set()
    for stand in itertools.product(*packs, *[free] * anywhere):
        taken = {v for v in stand if v >= low}
        holes.add(bool(taken) and taken != set(range(low, max(taken) + 1)))
    if len(holes) > 1:
        return Answer.CANNOT_TELL
    return Answer.BROKEN if holes == {True} else Answer.HOLDS


def drawn(rng: random.Random) -> tuple[list[frozenset[int]], int, int]:
    """Packs, the first address, and how many packs may stand anywhere: half of them anyhow, half of them a run with
    little that is wrong or open, since of addresses drawn anyhow hardly any make a run.
    """
    low, anywhere = rng.choice((0, 0, 1)), rng.choice((0, 0, 0, 1))
    if rng.random() < 0.5:
        sizes = [rng.choice((1, 1, 1, 2, 3)) for _ in range(rng.randint(1, 5))]
        return [frozenset(rng.choices(range(HIGHEST), k=size)) for size in sizes], low, anywhere
    run = [{low + i} for i in range(rng.randint(1, 5))]
    for _ in range(rng.choice((0, 1, 1, 2))):
        rng.choice(run).add(rng.randrange(HIGHEST))
    if rng.random() < 0.3:
        run[rng.randrange(len(run))] = {rng.randrange(HIGHEST)}
    if rng.random() < 0.4:      # one more, at one of two addresses of the run: it may leave none out
        run.append(set(rng.choices(sorted(set().union(*run)), k=2)))
    return [frozenset(one) for one in run], low, rng.choice((0, 0, 0, anywhere))


def test_equal_to_enumeration() -> None:
    rng = random.Random(3)
    seen = dict.fromkeys(Answer, 0)
    ambiguous = dict.fromkeys(Answer, 0)
    for _ in range(2500):
        packs, low, anywhere = drawn(rng)
        answer = run_answer(packs, low, anywhere=anywhere)
        assert answer is by_enumeration(packs, low, anywhere), (packs, low, anywhere)
        seen[answer] += 1
        ambiguous[answer] += any(len(one) > 1 for one in packs)
    assert min(seen.values()) > 400
    assert min(ambiguous.values()) > 100    # a pack with two meanings, and yet every answer comes


@pytest.mark.parametrize("packs, left, answer", [
    ([{0}, {2}], 1, Answer.HOLDS),          # the plan puts one at 1
    ([{0}, {3}], 1, Answer.BROKEN),         # one pack fills one hole
    ([{0}, {1}], 2, Answer.HOLDS),
    ([{0}, {1}, {3, 4}], 0, Answer.BROKEN),
    ([{0}, {1}, {2}, {3, 4}], 0, Answer.CANNOT_TELL),
    ([{0}, {1}, {2}, {2, 3}], 0, Answer.HOLDS),
])
def test_by_hand(packs: list[set[int]], left: int, answer: Answer) -> None:
    assert run_answer(packs, 0, left=left) is answer
