"""What a number of packs can run against in the records, each fact named with where a manual prints it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from interop.records.facts import Fact
from interop.records.models import AddressRule, Record
from interop.records.switches import Case, domain, parts_in, settings
from interop.rules.wording import fact_missing, look_up, named
from interop.unchanging import unchanging
from interop.wiring.crowding import (
    fixed_load,
    least_load_ohm,
    no_address_of_its_own,
    shared_bus,
    speaks_as_one,
)
from interop.wiring.stated import numbering
from interop.wiring.talks import RecordKey, chain_address_rule, has_manager

__all__ = ["InTheWay", "limits"]


@unchanging
class InTheWay:
    """One thing in the way, and how a missing fact of it can be had ("" where none is missing)."""

    text: str
    todo: str = ""


def limits(kinds: Sequence[RecordKey], packs: int, *, reports: bool) -> Iterator[InTheWay]:
    """Yield what a number of packs, or a link that reports to nobody, runs against in the records."""
    kept: dict[int, str] = {}
    for key in kinds:
        for rule in key.record.addresses.values():
            kept.update(rule.kept_for)
    for key in kinds:
        record = key.record
        for bus, rule in record.addresses.items():
            yield from _addresses(record, bus, rule, packs, kept)
        yield from _counts(record, packs)
        yield from _uncovered(record, packs)
        yield from _crowded(record, packs)
        most = [v + 1 for v in record.manager.members_at_most.values] if has_manager(record) else []
        if most and packs > min(most):
            yield InTheWay(f"a {record.id} as manager takes {min(most) - 1} members at most, and the link has "
                           f"{packs} packs")
        shared = [bus for bus in record.buses.values() if bus.used_by == "all" and bus.hop != "one"]
        nodes = [v for bus in shared for v in bus.nodes.values]
        if nodes and packs > min(nodes):
            yield InTheWay(f"{record.id} allows {min(nodes)} devices on its bus, and the link has {packs} packs")
        if not reports and any(p.sets == "rate" for row in record.switches.values() for p in row.parts):
            yield InTheWay(f"a switch of {record.id} sets the rate towards a controller, and the link reports to none")


def _missing(record: Record, path: str, fact: Fact[Any]) -> InTheWay:
    return InTheWay(fact_missing(record.id, path, fact), look_up(record.id, path, fact))


def _addresses(
    record: Record, bus: str, rule: AddressRule, packs: int, kept: Mapping[int, str]
) -> Iterator[InTheWay]:
    path = f"addresses.{bus}"
    if rule.allowed.only is None and numbering(record, rule) in ("by switches", None):
        yield _missing(record, f"{path}.allowed", rule.allowed)
    unknown = next((fact for _, fact in rule.manager if fact.only is None), None)
    if record.manager.made_by.only == "address" and (unknown is not None or not tuple(rule.manager)):
        yield _missing(record, f"{path}.manager", unknown if unknown is not None else rule.manager.of(None, None))
    if has_manager(record) is not False:
        yield from _none_and_set(record, bus, rule)
    numbers = [len(set(allowed) - set(rule.kept_for)) for allowed in rule.allowed.values]
    bare = has_manager(record) is not False and any(fact.only == "none" for _, fact in rule.manager)
    if numbers and packs > min(numbers) + bare:
        yield InTheWay(f"{record.id} has {min(numbers)} numbers to give on bus {bus}, and the link has {packs} packs")
    if numbers and numbering(record, rule) == "by switches":
        gap = _gap(record, bus, rule, min(packs, min(numbers) + bare), kept)
        if gap is not None:
            yield gap
        yield from _printed_twice(record)


def _none_and_set(record: Record, bus: str, rule: AddressRule) -> Iterator[InTheWay]:
    """A manager that has no address, and switches that must set one on it."""
    for mode in record.modes:
        if rule.manager.of(mode).only == "none":
            for name, row in record.switches.items():
                if any(part.sets == "address" and sure for part, sure in parts_in(row, Case("manager", mode))):
                    yield InTheWay(f"row {name} of {record.id} sets an address on the manager too, and "
                                   f"addresses.{bus}.manager says that it has none")
                    return


def _gap(
    record: Record, bus: str, rule: AddressRule, packs: int, kept: Mapping[int, str]
) -> InTheWay | None:
    """Say why so many packs cannot stand without a gap; None where they can, or where gaps are allowed."""
    allowed = rule.allowed.only
    if allowed is None or rule.gaps.only == "allowed":
        return None
    stated = {fact.only for _, fact in rule.manager if fact.only is not None}
    if not stated and record.manager.made_by.only == "address":
        return None     # that the manager's address is not known stands for itself
    own = sorted(stated, key=str) if has_manager(record) else [None]
    found = [_run(record, rule, packs, one, allowed, kept) for one in own or sorted(allowed)]
    if None in found or not found:
        return None
    if rule.gaps.known:
        return InTheWay(str(found[0]))
    missing = _missing(record, f"addresses.{bus}.gaps", rule.gaps)
    return InTheWay(f"{found[0]}, unless gaps are allowed: {missing.text}", missing.todo)


def _run(
    record: Record, rule: AddressRule, packs: int, own: object, allowed: Sequence[int], kept: Mapping[int, str]
) -> str | None:
    """What stands in the way of a run of so many packs with the manager at ``own`` ("none": it has no number; None: no
    pack is the manager).
    """
    at = own if isinstance(own, int) else None
    start = rule.start.only
    first = start if start is not None else min((*allowed, *(() if at is None else (at,))))
    run = range(first, first + packs - (own == "none"))
    head = f"{record.id} numbers its packs from {first} on without a gap"
    if at is not None and at not in run:
        return f"{head}, and its manager stands at {at}"
    for value in run:
        if value != at and value in kept:
            return f"{head}, and {value} is kept for something else ({kept[value]})"
        if value != at and value not in allowed:
            return f"{head}, and {value} is not allowed"
    return None


def _printed_twice(record: Record) -> Iterator[InTheWay]:
    """Patterns that a table prints for several addresses: where a pack with one of them stands nobody knows."""
    for name, row in record.switches.items():
        for part in row.parts:
            if part.sets != "address" or part.code is None or not part.code.table:
                continue
            by_pattern: dict[object, list[str]] = {}
            for value, pattern in part.code.table.items():
                by_pattern.setdefault(pattern, []).append(str(value))
            for values in (v for v in by_pattern.values() if len(v) > 1):
                yield InTheWay(f"row {name} of {record.id} prints one pattern for the addresses {named(values)}",
                               "Read the address with the maker's tool, or ask the maker for the right table.")


def _crowded(record: Record, packs: int) -> Iterator[InTheWay]:
    """What only so many packs of a record may share: one identity, one address, the load of their terminators."""
    names = [name for name, bus in record.buses.items() if bus.used_by == "all"]
    if packs > 1 and speaks_as_one(record, names):
        yield InTheWay(f"packs of {record.id} all speak with one identity, and one such pack may be on a bus")
    if packs > 1 and no_address_of_its_own(chain_address_rule(record, names)):
        yield InTheWay(f"packs of {record.id} all answer at one address, and one such pack may be on a link")
    load, bus = fixed_load(record, names), shared_bus(record, names)
    kind = record.buses[bus].kind.only if bus is not None else None
    least = least_load_ohm(kind) if kind is not None else None
    if load and least is not None and packs * load > 1 / least:
        yield InTheWay(f"{record.id} has a terminator of {1 / load:g} ohm fixed inside, and {kind} fails below "
                       f"{least:g} ohm: {int(1 / least / load)} such packs may be on a bus")


def _counts(record: Record, packs: int) -> Iterator[InTheWay]:
    """Numbers of packs that the switches of a manager cannot be set to."""
    for name, row in record.switches.items():
        for part in row.parts:
            if part.sets.startswith("count"):
                wanted, can = packs - (part.sets == "count of members"), domain(row, part)
                if wanted not in can:
                    yield InTheWay(f"row {name} of {record.id} gives the {part.sets} as {named(map(str, can))}, and "
                                   f"the link needs {wanted}")


def _uncovered(record: Record, packs: int) -> Iterator[InTheWay]:
    """Switches of which the record says nothing in some case of a pack on a link."""
    for name, row in record.switches.items():
        seen: dict[str, list[str]] = {}
        for mode in record.modes:
            for role in ("manager", "member"):
                causes = settings(row, {}, Case(role, mode, count=packs)).causes
                for cause in (c for c in causes if c.startswith("not stated: ")):
                    where = f"a {role}" + (f" in mode {mode}" if len(record.modes) > 1 else "")
                    seen.setdefault(cause.removeprefix("not stated: "), []).append(where)
        for switch, cases in seen.items():
            yield InTheWay(f"how {switch} of row {name} of {record.id} stands on {' or '.join(cases)} is not stated",
                           f"Look up row {name} of {record.id}; a manual usually prints it beside the drawing of the "
                           "switches.")
