"""What one pack in one slot costs, level by level, and how its switches stand there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interop.choose.frames import Family
from interop.records.answers import Answer
from interop.records.models import Record
from interop.records.switches import (
    Case,
    Pattern,
    Reading,
    domain,
    part_switches,
    parts_in,
    readings,
    settings,
    value_key,
)
from interop.site.site import Device
from interop.unchanging import unchanging
from interop.wiring.stated import Use, unset
from interop.wiring.talks import RecordKey, address_allowed, chain_address_rule, chain_talks, report_talks

__all__ = [
    "SlotState",
    "Standing",
    "depends_on_count",
    "found_addresses",
    "found_codes",
    "kept",
    "lacking",
    "moved",
    "other_addresses",
    "set_codes",
    "slot_state",
    "standing",
    "standing_rows",
    "switch_values",
]

@unchanging
class SlotState:
    """What decides the switches of a pack on a link, apart from its place at an end."""

    role: str
    mode: str
    chain: Any
    report: Any
    address: int | None
    group: int | None
    count: int
    place: str | None = None
    ends: bool | None = None

    @property
    def controller_bus(self) -> str:
        """The kind of bus towards the controller."""
        return self.report.kind if self.report is not None else "none"


@unchanging
class Standing:
    """The rows of a pack in a slot: pattern per row, None for a switch that follows from the route."""

    patterns: tuple[tuple[str, tuple[str | None, ...]], ...]
    also: tuple[int, ...] = ()


def switch_values(record: Record, state: SlotState) -> dict[str, str | int | bool]:
    """Return every value a row may be asked to set in a state (terminators only when the ends are known)."""
    values: dict[str, str | int | bool] = {
        "role": state.role,
        "mode": state.mode,
        "count of packs": state.count,
        "count of members": state.count - 1,
    }
    if state.address is not None:
        values["address"] = state.address
        values.update({f"address {name}": state.address for name in record.buses})
    for talk, table in ((state.chain, chain_talks), (state.report, report_talks)):
        for name in table(record, state.mode).get(talk, ()) if talk is not None else ():
            values[f"rate {name}"] = talk.rate_bps
            values[f"dialect {name}"] = talk.dialect
    if state.report is not None:
        for name, bus in record.buses.items():
            if bus.used_by == "manager" and f"rate {name}" not in values:
                values[f"rate {name}"] = state.report.rate_bps
    if state.ends is not None:
        for name in record.buses:
            values[f"terminator {name}"] = state.ends
        values["terminator"] = state.ends
    values["group"] = state.group if state.group is not None else _first_group(record)
    return values


@cache
def _first_group_cached(key: RecordKey) -> int:
    for row in key.record.switches.values():
        for part in row.parts:
            if part.sets == "group":
                return int(domain(row, part)[0])
    return 0


def _first_group(record: Record) -> int:
    return _first_group_cached(RecordKey(record))


@cache
def _counts(key: RecordKey, role: str | None) -> bool:
    return any(
        (part.sets.startswith("count") or part.when.count is not None)
        and (role is None or part.when.role is None or role in part.when.role)
        for row in key.record.switches.values()
        for part in row.parts
    )


def depends_on_count(record: Record, role: str | None = None) -> bool:
    """Return whether any switch of a record depends on the number of packs (in a role, in any for None)."""
    return _counts(RecordKey(record), role)


def slot_state(family: Family, record: Record, mode: str, address: int | None, count: int, role: str) -> SlotState:
    """Return the state of a pack of a record in a slot of a family; ``count`` only where a switch depends on it."""
    known = count if depends_on_count(record, role) else 0
    return SlotState(role, mode, family.chain, family.report, address, family.group, known)


@lru_cache(maxsize=200_000)
def _standing(key: RecordKey, state: SlotState) -> Standing | None:
    record = key.record
    if state.address is not None and not _address_fits(record, state):
        return None
    values = switch_values(record, state)
    case = Case(
        state.role,
        state.mode,
        state.controller_bus,
        state.place,
        state.group if state.group is not None else _first_group(record),
        state.count,
    )
    rows, also = [], set[int]()
    for name, row in record.switches.items():
        setting = settings(row, values, case)
        later = {
            i
            for part, sure in parts_in(row, case)
            if sure is None or (part.sets == "terminator" and value_key(part) not in values)
            for i in part_switches(row, part)
        }
        if any(bit is None and i not in later for i, bit in enumerate(setting.pattern)):
            return None
        rows.append((name, setting.pattern))
        also |= _other_addresses(record, name, setting.pattern, case, state)
    if not all(_address_fits(record, replace(state, address=other)) for other in also):
        return None     # it may stand where no pack in this role may
    return Standing(tuple(rows), tuple(sorted(also)))


def standing(record: Record, state: SlotState) -> Standing | None:
    """Return how the switches of a pack stand in a state; None when they cannot (the slot is not for this pack)."""
    return _standing(RecordKey(record), state)


def other_addresses(record: Record, state: SlotState) -> frozenset[int]:
    """Return the other addresses that the switches of a pack mean as they stand in a state."""
    found = standing(record, state)
    return frozenset(found.also) if found is not None else frozenset()


def _address_fits(record: Record, state: SlotState) -> bool:
    names = chain_talks(record, state.mode).get(state.chain, ()) if state.chain is not None else tuple(record.addresses)
    rule = chain_address_rule(record, names)
    if rule is None or state.address is None:
        return rule is None
    return address_allowed(record, rule, state.address, state.mode, state.controller_bus, state.role) is Answer.HOLDS


def _other_addresses(
    record: Record, name: str, pattern: tuple[str | None, ...], case: Case, state: SlotState
) -> set[int]:
    """Other addresses that the same pattern means in the same case (two equal rows of a printed table)."""
    row = record.switches[name]
    if state.address is None or not any(p.sets == "address" and p.code is not None and p.code.table for p in row.parts):
        return set()
    texts = tuple("x" if bit is None else bit for bit in pattern)
    found = {
        int(v) for r in readings(row, texts, case, record.modes) for k, v in r.values if k.split(" ")[0] == "address"
    }
    return found - {state.address}


def found_addresses(device: Device) -> frozenset[int | None] | None:
    """Return every address the found switches can mean; None when nobody looked at a switch that sets it.

    Where they make the pack the manager and set no address there, it is the manager's as the record states it
    (None: it has none).
    """
    if device.found is None:
        return None
    meant: set[int | None] = set()
    for name, row in device.record.switches.items():
        known = Case(mode=device.found.mode)
        parts = [p for p, _ in parts_in(row, known) if p.sets == "address"]
        if not parts:
            continue
        pattern = device.found.patterns.get(name)
        if pattern is None or any(pattern[i] == "x" for p in parts for i in part_switches(row, p)):
            return None
        for reading in readings(row, pattern, known, device.record.modes):
            set_here = {int(v) for k, v in reading.values if k.split(" ")[0] == "address"}
            meant |= set_here or _manager_by_flag(device.record, reading, device.found.mode)
    return frozenset(meant)


def _manager_by_flag(record: Record, reading: Reading, mode: str | None) -> set[int | None]:
    """The stated addresses of a pack whose own switches make it the manager."""
    if reading.table.get("role") != "manager":
        return set()
    spoken = reading.case.mode or mode
    facts = [
        rule.manager.of(m, bus)
        for rule in record.addresses.values()
        for m in record.modes
        if spoken in (None, m)
        for bus in ("can", "rs-485")
    ]
    return {None if f.only == "none" else int(f.only) for f in facts if f.only is not None}


# ---- many packs at once ----

_CODES: dict[str | None, int] = {None: -1, "off": 0, "on": 1, "x": -2}
"""Texts of switches as small numbers: -1 follows from the route, -2 nobody looked."""


def _code(text: str | None) -> int:
    return _CODES.setdefault(text, len(_CODES))


@cache
def _widths(key: RecordKey) -> tuple[tuple[str, int], ...]:
    from interop.records.switches import row_length

    return tuple((name, row_length(row)) for name, row in key.record.switches.items())


def found_codes(device: Device) -> NDArray[np.int64]:
    """Return the found switches of a device as codes, row after row; -2 where nobody looked."""
    return _codes(device, device.found.patterns if device.found is not None else {})


def set_codes(device: Device) -> NDArray[np.int64]:
    """Return the switches that the site file sets as codes, row after row; -2 where it leaves them open."""
    return _codes(device, device.set_patterns)


def kept(codes: NDArray[np.int64], wanted: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return per (device, state) whether the switches that are decided agree with those that the site file sets."""
    against = (codes[None, :, :] != wanted[:, None, :]) & (codes[None, :, :] != -1) & (wanted[:, None, :] != -2)
    agrees: NDArray[np.bool_] = ~against.any(axis=2)
    return agrees


def _codes(device: Device, patterns: Mapping[str, Pattern]) -> NDArray[np.int64]:
    flat = [_code(t) for name, width in _widths(RecordKey(device.record)) for t in patterns.get(name, ("x",) * width)]
    return np.array(flat, dtype=np.int64)


@lru_cache(maxsize=50_000)
def standing_rows(
    key: RecordKey, states: tuple[SlotState, ...]
) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.int64]]:
    """Return for each state: the switches as codes, whether the slot is possible, whether its address reads as
    another.
    """
    width = sum(w for _, w in _widths(key))
    codes = np.full((len(states), width), -1, dtype=np.int64)
    possible = np.zeros(len(states), dtype=np.bool_)
    ambiguous = np.zeros(len(states), dtype=np.int64)
    for i, state in enumerate(states):
        found = _standing(key, state)
        if found is not None:
            possible[i] = True
            ambiguous[i] = bool(found.also)
            codes[i] = [_code(t) for _, pattern in found.patterns for t in pattern]
    return codes, possible, ambiguous


def moved(codes: NDArray[np.int64], devices: Sequence[Device], found: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return switches moved per (device, state): zero for new devices; a switch nobody looked at counts one."""
    differs = (codes[None, :, :] != found[:, None, :]) & (codes[None, :, :] != -1)
    count: NDArray[np.int64] = differs.sum(axis=2)
    count[[d.new for d in devices]] = 0
    return count


def lacking(key: RecordKey, devices: Sequence[Device], states: Sequence[SlotState]) -> NDArray[np.int64]:
    """Return for each (device, state) 1 where nothing in the record sets what the state asks for, else 0.

    Zero throughout for a record with one mode: it has no other to be preferred.
    """
    found = np.zeros((len(devices), len(states)), dtype=np.int64)
    if len(key.record.modes) < 2:
        return found
    stood = [d.found.mode if d.found is not None and not d.new else None for d in devices]
    for mode in dict.fromkeys(stood):
        known: dict[tuple[object, ...], int] = {}     # by all of a state but its address, which nothing here asks for
        row = []
        for state in states:
            case = (state.role, state.mode, state.controller_bus, state.place, state.group, state.count, state.chain,
                    state.report)
            if case not in known:
                known[case] = int(bool(unset(key.record, _use(key.record, state, mode))))
            row.append(known[case])
        found[[one == mode for one in stood]] = row
    return found


def _use(record: Record, state: SlotState, stands_in: str | None) -> Use:
    case = Case(state.role, state.mode, state.controller_bus, state.place, state.group, state.count or None)
    shared = chain_talks(record, state.mode).get(state.chain, ()) if state.chain is not None else ()
    reports = report_talks(record, state.mode).get(state.report, ()) if state.report is not None else ()
    return Use(case, shared or tuple(record.addresses), shared, reports if state.role == "manager" else (), stands_in)
