"""How packs and controllers can talk: dialects, rates, who may be manager, what makers say about mixing.

Predicates beside the data they read; the choice prunes with them, the rules turn them into findings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from interop.records.answers import Answer
from interop.records.models import AddressRule, Bus, Mixing, Record

__all__ = [
    "RecordKey",
    "Talk",
    "address_allowed",
    "address_inside",
    "alive_buses",
    "chain_address_rule",
    "chain_talks",
    "controller_talks",
    "has_manager",
    "has_report_bus",
    "manager_addresses",
    "matches",
    "may_be_manager",
    "mixing_candidates",
    "mixing_statement",
    "report_talks",
    "same_busbar",
    "same_link",
]


class RecordKey:
    """A record as a cache key: by identity, since records hold maps and are read once."""

    __slots__ = ("record",)

    def __init__(self, record: Record) -> None:
        self.record = record

    def __eq__(self, other: object) -> bool:
        return isinstance(other, RecordKey) and other.record is self.record

    def __hash__(self) -> int:
        return id(self.record)


@dataclass(frozen=True, order=True)
class Talk:
    """One way to talk: kind of bus, dialect, rate [bit/s] (0 where the bus kind has none that matters)."""

    kind: str
    dialect: str
    rate_bps: int


def alive_buses(record: Record, mode: str | None) -> dict[str, Bus]:
    """Return the buses that are alive in a mode (all for None)."""
    return {name: bus for name, bus in record.buses.items() if mode is None or bus.modes is None or mode in bus.modes}


def _talks_of(bus: Bus, mode: str | None) -> tuple[Talk, ...]:
    """Return the talks of one bus in a mode; none where kind, dialect or rate is not known beyond dispute."""
    kind, dialects, rates = bus.kind.only, bus.dialect.of(mode).only, bus.rates_bps.only
    if kind is None or dialects is None or rates is None:
        return ()
    return tuple(Talk(kind, str(d), int(r)) for d in dialects for r in rates)


@cache
def _talks(key: RecordKey, mode: str, *, manager_only: bool) -> Mapping[Talk, tuple[str, ...]]:
    found: dict[Talk, tuple[str, ...]] = {}
    for name, bus in alive_buses(key.record, mode).items():
        if (bus.used_by == "manager") == manager_only:
            for talk in _talks_of(bus, mode):
                found[talk] = (*found.get(talk, ()), name)
    return MappingProxyType(found)


def chain_talks(record: Record, mode: str) -> Mapping[Talk, tuple[str, ...]]:
    """Return how a pack can talk with packs in a mode: talk -> the buses (two where a link is one hop each way)."""
    return _talks(RecordKey(record), mode, manager_only=False)


def report_talks(record: Record, mode: str) -> Mapping[Talk, tuple[str, ...]]:
    """Return how a manager can report in a mode; a bus of all packs counts where the controller polls or nobody
    does.
    """
    return _report_talks(RecordKey(record), mode)


@cache
def _report_talks(key: RecordKey, mode: str) -> Mapping[Talk, tuple[str, ...]]:
    record = key.record
    found = dict(_talks(key, mode, manager_only=True))
    for talk, names in chain_talks(record, mode).items():
        shared = [n for n in names if record.buses[n].poller.only in ("controller", "nobody")]
        if shared:
            found[talk] = (*found.get(talk, ()), *shared)
    return MappingProxyType(found)


def controller_talks(record: Record) -> dict[Talk, tuple[str, ...]]:
    """Return how a controller can be told: talk -> its buses."""
    found: dict[Talk, tuple[str, ...]] = {}
    for name, bus in record.buses.items():
        for talk in _talks_of(bus, None):
            found[talk] = (*found.get(talk, ()), name)
    return found


# ---- mixing ----


def matches(item: Mixing, other: Record) -> bool:
    """Return whether a mixing statement speaks of the other record."""
    if item.other == "any":
        return True
    words = item.other.split()
    if words[0] == "record":
        return other.id == " ".join(words[1:])
    if "generation" in words:
        cut = words.index("generation")
        return other.family == " ".join(words[1:cut]) and str(other.generation.only) == " ".join(words[cut + 1 :])
    return other.family == " ".join(words[1:])


@cache
def _statement(one: RecordKey, other: RecordKey) -> Mixing | None:
    return next((item for item in one.record.with_ if matches(item, other.record)), None)


def mixing_statement(record: Record, other: Record) -> Mixing | None:
    """Return the first statement of a record that speaks of the other, or None (silence)."""
    return _statement(RecordKey(record), RecordKey(other))


def mixing_candidates(record: Record, other: Record) -> tuple[tuple[Mixing, bool], ...]:
    """Return the statements that may speak of the other, in order: (statement, whether it surely does).

    The first sure one ends the list. A statement about a generation may speak of a record whose generation is not
    known.
    """
    found: list[tuple[Mixing, bool]] = []
    for item in record.with_:
        if matches(item, other):
            return (*found, (item, True))
        words = item.other.split()
        if "generation" in words and other.generation.only is None:
            family, stated = " ".join(words[1 : words.index("generation")]), other.generation.values
            if family == other.family and (not stated or words[-1] in map(str, stated)):
                found.append((item, False))
    return tuple(found)


def same_link(record: Record, other: Record) -> str:
    """Return yes, no or silent: what a record says of the other on one link (alike records: yes)."""
    if record is other:
        return "yes"
    item = mixing_statement(record, other)
    return item.same_link if item is not None else "silent"


def same_busbar(record: Record, other: Record) -> str:
    """Return yes, no or silent: what a record says of the other on one busbar; one link implies one busbar."""
    if record is other:
        return "yes"
    item = mixing_statement(record, other)
    if item is None:
        return "silent"
    if item.same_busbar is not None:
        return item.same_busbar
    return "yes" if item.same_link == "yes" else "silent"


# ---- manager and addresses ----


def has_manager(record: Record) -> bool | None:
    """Return whether a link of these packs has a manager (False: the controller polls each); None when not stated."""
    made_by = record.manager.made_by.only
    return None if made_by is None else made_by != "controller"


def has_report_bus(record: Record) -> bool:
    """Return whether a manager of this record has a bus of its own towards the controller (else that one hangs on the
    packs' own bus).
    """
    return any(bus.used_by == "manager" for bus in record.buses.values())


def may_be_manager(record: Record) -> Answer:
    """Return whether a pack of this record can be made the manager."""
    made_by = record.manager.made_by.only
    if made_by is None:
        return Answer.CANNOT_TELL
    return Answer.BROKEN if made_by in ("never", "controller") else Answer.HOLDS


def chain_address_rule(record: Record, buses: Iterable[str]) -> AddressRule | None:
    """Return the address rule of the first of these buses that has one."""
    return next((record.addresses[name] for name in buses if name in record.addresses), None)


def manager_addresses(record: Record, rule: AddressRule, mode: str, controller_bus: str) -> tuple[int | None, ...]:
    """Return the addresses a manager may stand at: its own where stated, (None,) for none, else every allowed one."""
    fact = rule.manager.of(mode, controller_bus)
    if fact.known:
        value = fact.only
        return () if value is None else (None if value == "none" else int(value),)
    if record.manager.made_by.only in ("address", None):
        return ()
    return tuple(rule.allowed.only or ())


def address_inside(rule: AddressRule, address: int) -> Answer:
    """Return whether an address is in the set that the record allows, whoever takes it."""
    return rule.allowed.judge(lambda allowed: Answer.HOLDS if address in allowed else Answer.BROKEN)


def address_allowed(
    record: Record, rule: AddressRule, address: int, mode: str, controller_bus: str, role: str
) -> Answer:
    """Return whether a record allows a pack an address in a role: in the set, not kept for others, not the
    manager's.
    """
    if role == "manager":
        answers = manager_addresses(record, rule, mode, controller_bus)
        if not answers:
            return Answer.CANNOT_TELL
        return Answer.HOLDS if address in answers else Answer.BROKEN
    if address in rule.kept_for:
        return Answer.BROKEN
    inside = address_inside(rule, address)
    fact = rule.manager.of(mode, controller_bus)
    if record.manager.made_by.only == "address":
        if not fact.known:
            return inside & Answer.CANNOT_TELL
        return inside & fact.judge(lambda own: Answer.BROKEN if own == address else Answer.HOLDS)
    return inside
