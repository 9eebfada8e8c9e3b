"""Which packs their own switches or cables make the manager of a link."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from interop.records.answers import Answer
from interop.records.switches import Case, Pattern, Reading, readings
from interop.wiring.stage import Stage, StageLink
from interop.wiring.talks import RecordKey, alive_buses, chain_address_rule, manager_addresses

__all__ = ["claims_manager"]


def claims_manager(stage: Stage, link: StageLink, name: str) -> Answer | None:
    """Return whether what is set or plugged on a pack makes it the manager of its link.

    None where nobody wrote down what would say so (no pattern, no cables), where nothing on the pack says so (by place,
    newest), or where the pattern has no legal meaning at all.
    """
    pack = stage.packs[name]
    made_by = pack.record.manager.made_by
    if made_by.only in ("never", "controller"):
        return Answer.BROKEN
    if made_by.only in ("place", "newest"):
        return None
    if made_by.only == "empty port":
        return _by_port(stage, link, name)
    if made_by.only is None:
        plugged = pack.record.manager.port is not None and stage.cables_known
        return Answer.CANNOT_TELL if pack.patterns or plugged else None
    if not pack.patterns:
        return None
    bus = link.report.kind if link.report is not None else "none"
    return _by_switches(RecordKey(pack.record), tuple(sorted(pack.patterns.items())), pack.mode, bus, made_by.only)


def _by_port(stage: Stage, link: StageLink, name: str) -> Answer | None:
    port = stage.packs[name].record.manager.port
    cables = [c for c in stage.cables_at.get(name, ()) if c.carries == "chain"]
    if not stage.cables_known or len(link.packs) < 2 or not cables:
        return None
    if port is None:
        return Answer.CANNOT_TELL
    used = {end.port for c in cables for end in (c.a, c.b) if end.device == name}
    if port in used:
        return Answer.BROKEN
    return Answer.CANNOT_TELL if None in used else Answer.HOLDS


@lru_cache(maxsize=4096)
def _by_switches(
    key: RecordKey, patterns: tuple[tuple[str, Pattern], ...], mode: str | None, controller_bus: str, made_by: str
) -> Answer | None:
    claims = set(_claims(key, dict(patterns), mode, controller_bus, made_by))
    if not claims:
        return None
    if None in claims or len(claims) > 1:
        return Answer.CANNOT_TELL
    return Answer.HOLDS if True in claims else Answer.BROKEN


def _claims(
    key: RecordKey, patterns: Mapping[str, Pattern], mode: str | None, controller_bus: str, made_by: str
) -> Iterator[bool | None]:
    record = key.record
    for name, row in record.switches.items():
        if name not in patterns:
            continue
        if made_by == "address" and not any(part.sets == "address" for part in row.parts):
            continue
        for reading in readings(row, patterns[name], Case(mode=mode), record.modes):
            if made_by == "address":
                yield from _by_address(key, reading, mode, controller_bus)
            else:
                role = reading.table.get("role", reading.case.role)
                if role is not None:
                    yield role == "manager"


def _by_address(key: RecordKey, reading: Reading, mode: str | None, controller_bus: str) -> Iterator[bool | None]:
    """The readings that agree with themselves: a manager at a manager's address, a member at another."""
    record = key.record
    spoken = mode or reading.case.mode
    for value_key, value in reading.values:
        if value_key.split(" ")[0] != "address":
            continue
        chain = [n for n, b in alive_buses(record, spoken).items() if b.used_by == "all"]
        rule = chain_address_rule(record, chain)
        own = manager_addresses(record, rule, spoken or record.modes[0], controller_bus) if rule is not None else ()
        if not own:
            yield None
            continue
        claims = value in own
        if reading.case.role is None or (reading.case.role == "manager") == claims:
            yield claims
