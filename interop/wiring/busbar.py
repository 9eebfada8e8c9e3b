"""What packs on one busbar ask of each other: charge window, packs in parallel, voltage at joining, the makers' words.

Predicates beside the data they read; they know records and counts, not sites.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from interop.records.answers import Answer
from interop.records.facts import ABSENT, Fact
from interop.records.leaves import Span
from interop.records.models import Mixing, Record
from interop.unchanging import unchanging
from interop.wiring.talks import mixing_candidates

__all__ = ["Bound", "ChargeWindow", "JoinLimit", "Word", "charge_window", "highest", "join_limit", "lowest",
           "maker_words",
           "needed_words", "rests_on", "same_value", "version_at_least"]


def lowest(fact: Fact[Any]) -> float | None:
    """Return the lowest figure that any source states (lower end of a range); None where it is not known."""
    return min((v.low if isinstance(v, Span) else float(v) for v in fact.values), default=None)


def highest(fact: Fact[Any]) -> float | None:
    """Return the highest figure that any source states (upper end of a range); None where it is not known."""
    return max((v.high if isinstance(v, Span) else float(v) for v in fact.values), default=None)


def same_value(one: Fact[Any], other: Fact[Any]) -> Answer:
    """Return whether two facts state the same; under every pair of statements, else cannot tell."""
    def test(mine: object) -> Answer:
        return other.judge(lambda theirs: Answer.HOLDS if theirs == mine else Answer.BROKEN)

    return one.judge(test)


# ---- charge window: power.md's settings, "top = lowest recommended, bottom = highest needed" ----

@unchanging(eq=False)
class Bound:
    """One end of a window [V]: the figure, and the record and path that set it."""

    volts: float
    record: Record
    path: str


@unchanging(eq=False)
class ChargeWindow:
    """The window [V] at the pack terminals as far as it is known. ``missing``: facts that could make it smaller."""

    top: Bound | None
    bottom: Bound | None
    missing: tuple[tuple[Record, str], ...]

    @property
    def width_v(self) -> float | None:
        """Width [V] by what is known, below zero where there is none; what is missing can only narrow it."""
        if self.top is None or self.bottom is None:
            return None
        return round(self.top.volts - self.bottom.volts, 6)

    def at_least(self, width_v: float) -> Answer:
        """Return whether the window is at least so wide [V]: what is missing can only narrow it."""
        if self.width_v is not None and self.width_v < width_v:
            return Answer.BROKEN
        return Answer.CANNOT_TELL if self.missing or self.width_v is None else Answer.HOLDS


def charge_window(records: Iterable[Record]) -> ChargeWindow:
    """Return the common charge window of packs of these records.

    Top: the lowest recommended charge voltage (a highest charge voltage bounds one that is not stated). Bottom: the
    highest voltage any pack needs to finish and to balance. Disputed figures count with the strict one.
    """
    tops: list[Bound] = []
    bottoms: list[Bound] = []
    missing: list[tuple[Record, str]] = []
    for record in records:
        for name in ("charge_v", "charge_highest_v", "finish_v", "balance_v"):
            fact = getattr(record.cells, name, ABSENT)
            value = lowest(fact) if name.startswith("charge") else highest(fact)
            if value is not None:
                (tops if name.startswith("charge") else bottoms).append(Bound(value, record, f"cells.{name}"))
            elif name != "charge_highest_v":
                missing.append((record, f"cells.{name}"))
    top = min(tops, key=lambda one: one.volts, default=None)
    bottom = max(bottoms, key=lambda one: one.volts, default=None)
    return ChargeWindow(top, bottom, tuple(missing))


# ---- joining ----

@unchanging(eq=False)
class JoinLimit:
    """The strictest voltage difference at joining [V] that any record states, whose it is, and who states none."""

    limit_v: float | None
    of: Record | None
    missing: tuple[Record, ...]


def join_limit(records: Sequence[Record]) -> JoinLimit:
    """Return the strictest voltage difference [V] that packs of these records allow at joining."""
    stated = [(value, r) for r in records if (value := lowest(r.limits.join_difference_v)) is not None]
    missing = tuple(r for r in records if not r.limits.join_difference_v.known)
    if not stated:
        return JoinLimit(None, None, missing)
    return JoinLimit(*min(stated, key=lambda s: s[0]), missing)


# ---- the makers' words on mixing ----

@unchanging(eq=False)
class Word:
    """What one record says of another: allowed (holds: no word against it), silent, the statements that may speak."""

    record: Record
    other: Record
    allowed: Answer
    silent: bool
    items: tuple[tuple[Mixing, bool], ...]


def _says(item: Mixing, *, linked: bool, busbar: bool) -> str:
    on_busbar = item.same_busbar or ("yes" if item.same_link == "yes" else "silent")
    asked = [word for word, meant in ((on_busbar, busbar), (item.same_link, linked)) if meant]
    if "no" in asked:
        return "no"
    return "silent" if "silent" in asked else "yes"


def maker_words(record: Record, other: Record, *, linked: bool, busbar: bool = True) -> Word:
    """Return what a record says of another: on one busbar, on one link too where ``linked``, or on one link only
    where not ``busbar``.

    A statement about a generation may speak of a record whose generation is not known: then it cannot be told.
    """
    items = mixing_candidates(record, other)
    says = [_says(item, linked=linked, busbar=busbar) for item, _ in items]
    if not any(sure for _, sure in items):
        says.append("silent")
    against = [Answer.BROKEN if word == "no" else Answer.HOLDS for word in says]
    allowed = against[0] if len(set(against)) == 1 else Answer.CANNOT_TELL
    return Word(record, other, allowed, "silent" in says, items)


def needed_words(one: Record, other: Record) -> tuple[tuple[Record, Record], ...]:
    """Return whose words are needed, as (who, of whom): both makers', in one family the newer generation's alone."""
    mine, theirs = one.generation.only, other.generation.only
    family = one.family is not None and one.family == other.family
    if family and mine is not None and theirs is not None and mine != theirs:
        return ((one, other),) if mine > theirs else ((other, one),)
    return (one, other), (other, one)


def rests_on(record: Record, item: Mixing) -> tuple[str, str]:
    """Return the source a statement rests on and how sure it is (its first source where none is named)."""
    name = (item.source or "").split(" ")[0]
    if name not in record.sources:
        name = next(iter(record.sources))
    return name, record.sources[name].says


_VERSION = re.compile(r"\d+(?:\.\d+)*")


def version_at_least(have: str | None, least: str) -> Answer:
    """Return whether a firmware version is at least another, number by number; cannot tell without numbers."""
    mine, wanted = _VERSION.search(have or ""), _VERSION.search(least)
    if mine is None or wanted is None:
        return Answer.CANNOT_TELL
    a, b = ([int(n) for n in match[0].split(".")] for match in (mine, wanted))
    width = max(len(a), len(b))
    enough = a + [0] * (width - len(a)) >= b + [0] * (width - len(b))
    return Answer.HOLDS if enough else Answer.BROKEN
