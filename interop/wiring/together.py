"""Why packs cannot form one link: the first condition that no choice of modes, rates and managers meets, in words."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence

from interop.records.answers import Answer
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

__all__ = ["LEFT", "limits", "obstacle", "talk_words"]

LEFT = "what each record asks of addresses, switches and cables leaves no way"
"""What is in the way where nothing of all that can be named is."""


def talk_words(talks: Iterable[Talk]) -> str:
    """Print ways to talk: ``can dialect fjord-1 at 500000 bit/s``; ``in no known way`` for none."""
    words = [f"{t.kind} dialect {t.dialect}" + (f" at {t.rate_bps} bit/s" if t.rate_bps else "") for t in talks]
    return " or ".join(dict.fromkeys(words)) or "in no known way"


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


def limits(kinds: Sequence[RecordKey], packs: int, *, reports: bool) -> Iterator[str]:
    """Yield what a number of packs, or a link that reports to nobody, can run against in the records."""
    for key in kinds:
        record = key.record
        most = [v + 1 for v in record.manager.members_at_most.values] if has_manager(record) else []
        for bus, rule in record.addresses.items():
            for allowed in rule.allowed.values:
                numbers = len(set(allowed) - set(rule.kept_for))
                bare = any(fact.only == "none" for _, fact in rule.manager)
                if packs > numbers + bare:
                    yield f"{record.id} has {numbers} numbers to give on bus {bus}, and the link has {packs} packs"
            if rule.gaps.only != "allowed" and (rule.kept_for or any(fact.known for _, fact in rule.manager)):
                word = "allows no gap" if rule.gaps.known else "does not state whether gaps are allowed"
                yield f"{record.id} {word} between the numbers on bus {bus}, some of which are not for members"
            if not any(fact.known for _, fact in rule.manager) and record.manager.made_by.only == "address":
                yield f"at which address a {record.id} is the manager is not known (addresses.{bus}.manager)"
        if most and packs > min(most):
            yield f"a {record.id} as manager takes {min(most) - 1} members at most, and the link has {packs} packs"
        shared = [bus for bus in record.buses.values() if bus.used_by == "all" and bus.hop != "one"]
        nodes = [v for bus in shared for v in bus.nodes.values]
        if nodes and packs > min(nodes):
            yield f"{record.id} allows {min(nodes)} devices on its bus, and the link has {packs} packs"
        if not reports and any(p.sets == "rate" for row in record.switches.values() for p in row.parts):
            yield f"a switch of {record.id} sets the rate towards a controller, and the link reports to none"


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
        ways = "; ".join(f"{k.record.id} talks {talk_words(_chain(kinds, k))}" for k in kinds)
        yield f"no way to talk in common: {ways}"


def _reported(kinds: Sequence[RecordKey], controllers: Mapping[str, Record]) -> Iterator[str]:
    """A report that every controller takes and a possible manager gives."""
    if not controllers:
        return
    taken = {name: set(controller_talks(record)) for name, record in controllers.items()}
    common = set.intersection(*taken.values())
    listed = "; ".join(f"{n} ({controllers[n].id}) takes {talk_words(sorted(t))}" for n, t in taken.items())
    if not common:
        yield f"the controllers take nothing in common: {listed}"
    managers = [k for k in required_manager(kinds) if may_be_manager(k.record) is Answer.HOLDS]
    sources = managers or [k for k in kinds if has_manager(k.record) is False]
    given: list[Talk] = []
    for key in (k for k in kinds if k in sources):
        given += [t for m in _modes(kinds, key) for t in report_talks(key.record, m)]
    if not common & set(given):
        yield f"{_and([k.record.id for k in kinds if k in sources])} reports {talk_words(given)}; {listed}"


def _and(names: Sequence[str]) -> str:
    return " and ".join(names)
