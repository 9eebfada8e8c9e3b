"""Findings and rules: one statement of a check about the site, and the table of everything that is checked.

A rule is one function over a stage that yields :class:`Hit` objects; the table gives its level, meaning and source,
and turns hits into findings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from enum import Enum
from typing import Any

from interop.records.answers import Answer
from interop.records.facts import Fact
from interop.site.site import Accepted, Device, Site
from interop.unchanging import unchanging
from interop.wiring.stage import Stage

__all__ = [
    "RULES",
    "SUBJECTS",
    "FactUsed",
    "Finding",
    "Hit",
    "Level",
    "Rule",
    "broken",
    "cannot_tell",
    "covers",
    "fact_used",
    "findings",
    "rule",
]

SUBJECTS = ("cells", "link", "address", "conductor", "stop line")
"""Subjects whose cannot-tell at level stop keeps the settings shut."""


class Level(Enum):
    """How grave a finding is."""

    STOP = "stop"
    CAUTION = "caution"
    NOTE = "note"


@unchanging
class FactUsed:
    """A fact a finding rests on: record, dotted path, state (stated, disputed, not-stated, absent, assumed)."""

    record: str
    path: str
    state: str


@unchanging
class Hit:
    """What a rule found: verdict, devices (both culprits of a clash), value got and limit with units, text, what to
    do.
    """

    answer: Answer
    about: tuple[str, ...]
    text: str
    todo: str
    got: str | None = None
    limit: str | None = None
    facts: tuple[FactUsed, ...] = ()
    at: tuple[tuple[int, int], ...] = ()
    level: Level | None = None
    source: str | None = None


@unchanging
class Finding:
    """One statement of a check about the site, in the shape of the plan's contract."""

    rule: str
    subject: str
    level: Level
    verdict: str
    about: tuple[str, ...]
    got: str | None
    limit: str | None
    facts: tuple[FactUsed, ...]
    text: str
    todo: str
    source: str
    at: tuple[tuple[str, int, int], ...]
    must_accept: bool = False
    accepted: Accepted | None = None


@unchanging
class Rule:
    """A rule: name of plain words, subject, levels of broken and of cannot tell, meaning, source, explanation.

    ``broken`` and ``unknown`` are the usual levels; ``broken_also`` and ``unknown_also`` are those that single
    findings may have instead.
    """

    name: str
    subject: str
    broken: Level
    unknown: Level
    must_accept: bool
    meaning: str
    source: str
    explain: str
    check: Callable[[Stage], Iterable[Hit]]
    broken_also: tuple[Level, ...] = ()
    unknown_also: tuple[Level, ...] = ()

    def levels(self, answer: Answer) -> tuple[Level, ...]:
        """Return every level that a finding with this answer may have, the usual one first."""
        usual, also = (self.broken, self.broken_also) if answer is Answer.BROKEN else (self.unknown, self.unknown_also)
        return tuple(dict.fromkeys((usual, *also)))


RULES: dict[str, Rule] = {}
"""Every rule by name; filled when the modules of this package are imported."""


def rule(
    name: str,
    subject: str,
    *,
    broken: Level,
    unknown: Level,
    meaning: str,
    source: str,
    explain: str,
    must_accept: bool = False,
    broken_also: tuple[Level, ...] = (),
    unknown_also: tuple[Level, ...] = (),
) -> Callable[[Callable[[Stage], Iterable[Hit]]], Callable[[Stage], Iterable[Hit]]]:
    """Enter a function as a rule. Raises ValueError for a name that stands already.

    ``explain`` may be broken into lines where the source needs it: it is one paragraph.
    """
    words = " ".join(explain.split())

    def enter(check: Callable[[Stage], Iterable[Hit]]) -> Callable[[Stage], Iterable[Hit]]:
        if name in RULES:
            raise ValueError(f"rule {name} stands twice")
        RULES[name] = Rule(
            name, subject, broken, unknown, must_accept, meaning, source, words, check, broken_also, unknown_also
        )
        return check

    return enter


def broken(about: Sequence[str], text: str, todo: str, **more: object) -> Hit:
    """Build a hit whose answer is broken (see :class:`Hit` for the rest)."""
    return Hit(Answer.BROKEN, tuple(about), text, todo, **more)  # type: ignore[arg-type]


def cannot_tell(about: Sequence[str], text: str, todo: str, **more: object) -> Hit:
    """Build a hit whose answer is cannot tell."""
    return Hit(Answer.CANNOT_TELL, tuple(about), text, todo, **more)  # type: ignore[arg-type]


def fact_used(device: Device, path: str, fact: Fact[Any]) -> FactUsed:
    """Name a fact of a device's record with its state."""
    return FactUsed(device.record.id, path, fact.state)


def findings(stage: Stage, rules: Iterable[Rule] | None = None) -> tuple[Finding, ...]:
    """Run rules (all for None) over a stage; findings in the order of rules, stops first within the caller's
    sorting.
    """
    found = [
        _finding(stage, one, hit)
        for one in (rules if rules is not None else RULES.values())
        for hit in one.check(stage)
    ]
    return tuple(dict.fromkeys(found))


def _finding(stage: Stage, one: Rule, hit: Hit) -> Finding:
    level = hit.level or (one.broken if hit.answer is Answer.BROKEN else one.unknown)
    at = tuple((stage.site.file, line, column) for line, column in (hit.at or _positions(stage, hit.about)))
    verdict = "broken" if hit.answer is Answer.BROKEN else "cannot-tell"
    finding = Finding(
        one.name,
        one.subject,
        level,
        verdict,
        hit.about,
        hit.got,
        hit.limit,
        hit.facts,
        hit.text,
        hit.todo,
        hit.source or one.source,
        at,
        one.must_accept and level is Level.CAUTION,
    )
    return replace(finding, accepted=_acceptance(stage, finding))


def _positions(stage: Stage, about: Iterable[str]) -> Iterator[tuple[int, int]]:
    yield from dict.fromkeys(stage.site.devices[name].at for name in about if name in stage.site.devices)


def _acceptance(stage: Stage, finding: Finding) -> Accepted | None:
    """Return the acceptance that covers a caution."""
    if finding.level is not Level.CAUTION:
        return None
    return next(
        (item for item in stage.site.accepted if item.rule == finding.rule and covers(stage.site, item, finding.about)),
        None,
    )


def covers(site: Site, item: Accepted, about: Iterable[str]) -> bool:
    """Return whether an acceptance names every one of these devices, by id or by its model."""
    named = set(item.about)
    return all(name in named or _model(site, name) in named for name in about)


def _model(site: Site, name: str) -> str | None:
    device = site.devices.get(name)
    return device.record.id if device is not None else None
