"""Whether addresses make a run without a gap, over every way in which packs may stand."""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet

from interop.records.answers import Answer

__all__ = ["run_answer"]

Values = AbstractSet[int]


def run_answer(packs: Sequence[Values], low: int, *, anywhere: int = 0, left: int = 0) -> Answer:
    """Judge whether packs, each at one of its values, stand at every address from ``low`` to the highest of theirs.

    ``anywhere``: so many more packs that may stand at any address. ``left``: so many that the plan still places, so
    that it can close a gap. Values below ``low`` count for nothing.
    """
    if not _fits(packs, low, anywhere + left):
        return Answer.BROKEN
    if left:
        return Answer.HOLDS
    return Answer.CANNOT_TELL if anywhere or _breaks(packs, low) else Answer.HOLDS


def _breaks(packs: Sequence[Values], low: int) -> bool:
    """Whether some way to stand leaves an address out below a pack."""
    sure = [value for values in packs if len(values) == 1 for value in values]
    taken = set(sure)
    for values in packs:
        alone = len(values) == 1 and all(sure.count(value) == 1 for value in values)
        others = taken - set(values) if alone else taken
        if any(u != v and u not in others for v in values for u in range(low, v)):
            return True
    return False


def _fits(packs: Sequence[Values], low: int, free: int) -> bool:
    """Whether some way to stand leaves none out; ``free`` packs fill any address."""
    highest = max((min(values) for values in packs), default=low)
    for top in range(max(highest, low - 1) + 1, low + len(packs) + free + 1):
        if top - low - _matched(packs, range(low, top)) <= free:
            return True
    return highest < low


def _matched(packs: Sequence[Values], run: range) -> int:
    """How many addresses of a run can be taken at once, each by a pack of its own (augmenting paths)."""
    held: dict[int, int] = {}

    def place(pack: int, seen: set[int]) -> bool:
        for value in sorted(packs[pack]):
            if value in run and value not in seen:
                seen.add(value)
                if value not in held or place(held[value], seen):
                    held[value] = pack
                    return True
        return False

    return sum(place(i, set()) for i in range(len(packs)))
