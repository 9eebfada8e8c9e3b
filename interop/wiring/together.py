"""Why packs cannot form one link: the first condition that no choice of modes, rates and managers meets, in words."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from interop.records.answers import Answer
from interop.records.facts import Fact
from interop.records.models import Record
from interop.wiring.mixing import pair_excluded, required_manager, required_modes
from interop.wiring.talks import (
    RecordKey,
    Talk,
    chain_talks,
    controller_talks,
    has_manager,
    may_be_manager,
    report_talks,
)

__all__ = ["LEFT", "obstacle", "talk_words"]

LEFT = "what each record asks of addresses, switches and cables leaves no way"
"""What is in the way where nothing of all that can be named is."""


def talk_words(talks: Iterable[Talk], record: Record | None = None) -> str:
    """Print ways to talk: ``can dialect fjord-1 at 500000 bit/s``; ``in no known way`` for none, with the facts of the
    record that are missing for one.
    """
    words = [f"{t.kind} dialect {t.dialect}" + (f" at {t.rate_bps} bit/s" if t.rate_bps else "") for t in talks]
    return " or ".join(dict.fromkeys(words)) or f"in no known way{_untold(record) if record is not None else ''}"


def _untold(record: Record) -> str:
    """The facts without which no bus of a record is known to talk: `` (buses.battery.rates_bps not stated)``."""
    found: dict[str, None] = {}
    for name, bus in record.buses.items():
        facts: list[tuple[str, Fact[Any]]] = [("kind", bus.kind), ("rates_bps", bus.rates_bps)]
        for field, fact in (*facts, *(("dialect", bus.dialect.of(mode)) for mode in record.modes)):
            if fact.only is None:
                found[f"buses.{name}.{field} {'disputed' if fact.state == 'disputed' else 'not stated'}"] = None
    return f" ({', '.join(found)})" if found else ""


def obstacle(kinds: Sequence[RecordKey], controllers: Mapping[str, Record], manager: Record | None = None) -> str:
    """Return the first thing in the way of one link of these kinds that reports to these controllers (id to record).

    ``manager``: the record of the manager that the site names, or None.
    """
    causes = itertools.chain(
        _excluded(kinds), _organised(kinds, controllers), _named(kinds, manager), _reported(kinds, controllers)
    )
    return next(causes, LEFT)


def _named(kinds: Sequence[RecordKey], manager: Record | None) -> Iterator[str]:
    """A manager that the site names against what the records say."""
    if manager is None or RecordKey(manager) not in kinds:
        return
    fit = required_manager(kinds)
    if RecordKey(manager) not in fit:
        only = [k.record.id for k in kinds if k in fit]
        who = " or ".join(only) or "no pack at all"
        yield f"the site names a {manager.id} as manager, and the records ask for {who}"
    elif may_be_manager(manager) is not Answer.HOLDS:
        yield f"the site names a {manager.id} as manager, and its record does not say that it may be one"


def _excluded(kinds: Sequence[RecordKey]) -> Iterator[str]:
    for one, other in itertools.combinations(kinds, 2):
        if pair_excluded(one.record, other.record):
            yield f"the records of {one.record.id} and {other.record.id} forbid one link or one busbar"


def _modes(kinds: Sequence[RecordKey], key: RecordKey) -> tuple[str, ...]:
    return required_modes(key.record, kinds)


def _chain(kinds: Sequence[RecordKey], key: RecordKey) -> list[Talk]:
    return list(dict.fromkeys(t for m in _modes(kinds, key) for t in chain_talks(key.record, m)))


def _organised(kinds: Sequence[RecordKey], controllers: Mapping[str, Record]) -> Iterator[str]:
    """Modes, who asks whom, who may be manager, and a way to talk among the packs."""
    for key in kinds:
        if not _modes(kinds, key):
            yield f"{key.record.id} has no mode that its record allows beside the others"
    unknown = [k.record.id for k in kinds if has_manager(k.record) is None]
    if unknown:
        yield f"what makes a pack of {_and(unknown)} the manager is not known (manager.made_by)"
    managed = [k.record.id for k in kinds if has_manager(k.record)]
    polled = [k.record.id for k in kinds if has_manager(k.record) is False]
    if managed and polled:
        yield f"{_and(polled)} is asked by the controller itself, {_and(managed)} by a pack that is the manager"
    if polled and not controllers:
        yield f"{_and(polled)} is asked by the controller, and the link reports to none"
    if managed and not [k for k in kinds if may_be_manager(k.record) is Answer.HOLDS]:
        yield f"no pack of {_and(managed)} may be the manager"
    fit = [k for k in required_manager(kinds) if may_be_manager(k.record) is Answer.HOLDS]
    if managed and not fit:
        yield f"the records of {_and(managed)} leave none of them as manager beside the others"
    if len(kinds) > 1 and not set.intersection(*({*_chain(kinds, k)} for k in kinds)):
        ways = "; ".join(f"{k.record.id} talks {talk_words(_chain(kinds, k), k.record)}" for k in kinds)
        yield f"no way to talk in common: {ways}"


def _reported(kinds: Sequence[RecordKey], controllers: Mapping[str, Record]) -> Iterator[str]:
    """A report that every controller takes and a possible manager gives."""
    if not controllers:
        return
    taken = {name: set(controller_talks(record)) for name, record in controllers.items()}
    common = set.intersection(*taken.values())
    words = {name: talk_words(sorted(talks), controllers[name]) for name, talks in taken.items()}
    listed = "; ".join(f"{name} ({controllers[name].id}) takes {words[name]}" for name in taken)
    if not common:
        yield f"the controllers take nothing in common: {listed}"
    managers = [k for k in required_manager(kinds) if may_be_manager(k.record) is Answer.HOLDS]
    sources = managers or [k for k in kinds if has_manager(k.record) is False]
    given: list[Talk] = []
    for key in (k for k in kinds if k in sources):
        given += [t for m in _modes(kinds, key) for t in report_talks(key.record, m)]
    if not common & set(given):
        who = _and([k.record.id for k in kinds if k in sources])
        yield f"{who} reports {talk_words(given, _only(kinds, sources))}; {listed}"


def _only(kinds: Sequence[RecordKey], sources: Sequence[RecordKey]) -> Record | None:
    """The record of the packs that report, where they are of one."""
    found = [k.record for k in kinds if k in sources]
    return found[0] if len(found) == 1 else None


def _and(names: Sequence[str]) -> str:
    return " and ".join(names)
