"""Which packs their own switches or cables make the manager of a link."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from interop.records.answers import Answer
from interop.records.models import Record
from interop.records.switches import Case, Pattern, Reading, readings, row_length
from interop.wiring.faces import wire_pins
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
    patterns = dict(pack.patterns)
    for row in _role_rows(pack.record) - patterns.keys() if made_by.only == "flag" else ():
        if stage.name != "found":
            return None
        patterns[row] = ("x",) * row_length(pack.record.switches[row])
    bus = link.report.kind if link.report is not None else "none"
    return _by_switches(RecordKey(pack.record), tuple(sorted(patterns.items())), pack.mode, bus, made_by.only)


def _role_rows(record: Record) -> frozenset[str]:
    return frozenset(name for name, row in record.switches.items() if any(part.sets == "role" for part in row.parts))


def _by_port(stage: Stage, link: StageLink, name: str) -> Answer | None:
    port = stage.packs[name].record.manager.port
    cables = [c for c in stage.cables_at.get(name, ()) if c.carries == "chain"]
    if not stage.cables_known or len(link.packs) < 2 or not cables:
        return None
    if port is None:
        return Answer.CANNOT_TELL
    used = {end.port for c in cables for end in (c.a, c.b) if end.device == name}
    if port in used or _plugged(stage, name, port):
        return Answer.BROKEN
    return Answer.CANNOT_TELL if None in used else Answer.HOLDS


def _plugged(stage: Stage, name: str, port: str) -> bool:
    """Whether a terminator plug is known to be on that fits no other free socket than those of a port."""
    pack = stage.packs[name]
    used = {end.socket for c in stage.cables_at.get(name, ()) for end in (c.a, c.b) if end.device == name}
    free = [p for p, one in pack.record.ports.items() if set(one.sockets) - used]
    return any(
        {p for p in free if wire_pins(pack.record, p, bus, pack.mode)} == {port}
        for bus, one in pack.record.buses.items()
        if one.termination.fitted.only == "by plug" and stage.terminators.get((name, bus))
    )


@lru_cache(maxsize=4096)
def _by_switches(
    key: RecordKey, patterns: tuple[tuple[str, Pattern], ...], mode: str | None, controller_bus: str, made_by: str
) -> Answer | None:
    claims = _claims(key, dict(patterns), mode, controller_bus, made_by)
    if not claims:
        return None
    if None in claims or len(claims) > 1:
        return Answer.CANNOT_TELL
    return Answer.HOLDS if True in claims else Answer.BROKEN


def _claims(
    key: RecordKey, patterns: Mapping[str, Pattern], mode: str | None, controller_bus: str, made_by: str
) -> frozenset[bool | None]:
    """Return every claim that the rows of one pack leave open together: manager (True), member (False), not known.

    The rows that set what makes a manager decide. A row whose meaning only depends on the role adds nothing to them,
    nor does it stand in for a switch of theirs that nobody looked at; where it contradicts them, both claims stand.
    """
    record = key.record
    deciding: set[bool | None] = set()
    others: list[set[bool | None]] = []
    for name, row in record.switches.items():
        if name not in patterns:
            continue
        seen = readings(row, patterns[name], Case(mode=mode), record.modes)
        if made_by == "address":
            if any(part.sets == "address" for part in row.parts):
                deciding.update(claim for one in seen for claim in _by_address(key, one, mode, controller_bus))
            continue
        roles = {reading.table.get("role", reading.case.role) for reading in seen} - {None}
        claims: set[bool | None] = {role == "manager" for role in roles}
        if name in _role_rows(record):
            deciding |= claims
        elif claims:
            others.append(claims)
    against = [claims for claims in others if not deciding or not claims & deciding]
    return frozenset(deciding.union(*against))


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
