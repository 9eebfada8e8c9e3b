"""Figures that are known from a lowest to a highest value, and what would have to be known to tell them closer.

A limit kept by the highest value holds; one passed by the lowest is broken; in between nobody can tell, and the facts
that are not known are the cause.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import inf
from typing import Any

from interop.records.answers import Answer
from interop.records.facts import Fact
from interop.records.models import Record
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest

__all__ = ["Missing", "Range", "Verdict", "exactly", "known", "total", "within"]

_HAIR = 1e-9
"""A computed current such as 1.25 x 160 may lie a hair above the rating that it is."""


@unchanging(eq=False)
class Missing:
    """Something that is not known: a fact of a record by its path, or (record None) words about the site file."""

    path: str
    record: Record | None = None
    fact: Fact[Any] | None = None

    @property
    def key(self) -> tuple[str | None, str]:
        """What makes two of them the same."""
        return None if self.record is None else self.record.id, self.path


@unchanging(eq=False)
class Range:
    """A figure from ``least`` to ``most`` in some unit, and what is ``missing`` to tell it closer."""

    least: float
    most: float
    missing: tuple[Missing, ...] = ()

    def __add__(self, other: Range) -> Range:
        return Range(self.least + other.least, self.most + other.most, _both(self, other))

    def times(self, factor: float) -> Range:
        """The figure so many times over (factor above zero)."""
        return Range(self.least * factor, self.most * factor, self.missing)

    def at_most(self, other: Range) -> Range:
        """The lower of two figures; what cannot matter is no longer missing."""
        if self.most <= other.least:
            return self
        if other.most <= self.least:
            return other
        return Range(min(self.least, other.least), min(self.most, other.most), _both(self, other))

    def at_least(self, other: Range) -> Range:
        """The higher of two figures; what cannot matter is no longer missing."""
        if self.least >= other.most:
            return self
        if other.least >= self.most:
            return other
        return Range(max(self.least, other.least), max(self.most, other.most), _both(self, other))

    @property
    def told(self) -> bool:
        """Whether it is one figure."""
        return self.least == self.most


@unchanging(eq=False)
class Verdict:
    """An answer with the figure got and its limit, and what is not known where it cannot be told."""

    answer: Answer
    got: Range | None = None
    limit: Range | None = None
    missing: tuple[Missing, ...] = ()


def exactly(value: float) -> Range:
    """A figure that is known."""
    return Range(value, value)


def known(record: Record, path: str, fact: Fact[Any]) -> Range:
    """The figure that a record states; a disputed one from end to end, one not known from zero on."""
    low, high = lowest(fact), highest(fact)
    if low is None or high is None:
        return Range(0.0, inf, (Missing(path, record, fact),))
    return Range(low, high, () if low == high else (Missing(path, record, fact),))


def total(figures: Iterable[Range]) -> Range:
    """The sum of figures (zero of none)."""
    found = exactly(0.0)
    for one in figures:
        found += one
    return found


def within(got: Range, limit: Range) -> Verdict:
    """Whether a figure is not above its limit, wherever both lie."""
    if got.most <= limit.least * (1 + _HAIR):
        return Verdict(Answer.HOLDS, got, limit)
    if got.least > limit.most * (1 + _HAIR):
        return Verdict(Answer.BROKEN, got, limit)
    return Verdict(Answer.CANNOT_TELL, got, limit, _both(got, limit))


def _both(one: Range, other: Range) -> tuple[Missing, ...]:
    return tuple({missing.key: missing for missing in (*one.missing, *other.missing)}.values())
