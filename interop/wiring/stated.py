"""What must be set on a pack for its part on a link, and what of that no statement of its record says how to set.

Not stated is never "set": an address, a role, a mode, a rate or a terminator that nothing known sets is as the pack
was delivered, and nobody knows how that is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from interop.records.models import AddressRule, Record
from interop.records.switches import Case, parts_in, value_key
from interop.unchanging import unchanging
from interop.wiring.talks import RecordKey, chain_address_rule

__all__ = ["Unset", "Use", "numbering", "unset", "unset_rate"]

_CODES = {"flag": "role", "dialect code": "dialect"}
"""What a switch part sets where it makes the manager, by ``manager.made_by``."""


@unchanging
class Use:
    """What a pack is used for: the case its switches stand in (place: None where it is not known yet).

    ``buses`` carry its link, ``shared`` those of them with another device on them; ``reports`` lead to the controller.
    ``stands_in``: the mode it is known to be in; None: the first of its record, as it is delivered.
    """

    case: Case
    buses: tuple[str, ...]
    shared: tuple[str, ...] = ()
    reports: tuple[str, ...] = ()
    stands_in: str | None = None


@unchanging
class Unset:
    """One thing that must be set and that nothing known sets: ``what`` (address, role, mode, rate, terminator) of
    ``bus``, with the fact that would say how: its path in the record and its state.
    """

    what: str
    bus: str | None
    path: str
    state: str


def numbering(record: Record, rule: AddressRule) -> str | None:
    """Return what gives packs their addresses: as stated, else by switches where a part sets them; None: not stated."""
    if rule.given is not None:
        return rule.given
    by_switch = any(part.sets == "address" for row in record.switches.values() for part in row.parts)
    return "by switches" if by_switch else None


def unset(record: Record, use: Use) -> tuple[Unset, ...]:
    """Return everything that a pack must be set to and that nothing in its record sets in this case."""
    return _unset(RecordKey(record), use)


@lru_cache(maxsize=16384)
def _unset(key: RecordKey, use: Use) -> tuple[Unset, ...]:
    if use.case.role == "unmanaged":
        return ()
    record = key.record
    found = [*_address(record, use), *_role(record, use), *_mode(record, use)]
    for bus in dict.fromkeys((*use.shared, *use.reports)):
        found += unset_rate(record, bus, use.case)
    for bus in use.shared:
        found += _terminator(record, bus, use.case)
    return tuple(found)


def _sets(record: Record, case: Case, *keys: str) -> bool:
    """Whether a part that applies in the case, or may where it is not known so far, sets one of these values."""
    return any(value_key(part) in keys for row in record.switches.values() for part, _ in parts_in(row, case))


def _address(record: Record, use: Use) -> Iterator[Unset]:
    rule = chain_address_rule(record, use.buses)
    if rule is None or numbering(record, rule) not in ("by switches", None):
        return
    own = rule.manager.of(use.case.mode, use.case.controller_bus)
    if use.case.role == "manager" and record.manager.made_by.only != "address" and own.known:
        return  # whatever makes it the manager also gives it the manager's number
    if _sets(record, use.case, "address", *(f"address {bus}" for bus in use.buses)):
        return
    bus = next(name for name in use.buses if record.addresses.get(name) is rule)
    path = f"addresses.{bus}.given" if numbering(record, rule) is None else "switches"
    yield Unset("address", bus, path, "absent")


def _role(record: Record, use: Use) -> Iterator[Unset]:
    sets = _CODES.get(record.manager.made_by.only or "")
    if use.case.role != "manager" or sets is None:
        return
    if not _sets(record, use.case, sets, *(f"{sets} {bus}" for bus in record.buses)):
        yield Unset("role", None, "switches", "absent")


def _mode(record: Record, use: Use) -> Iterator[Unset]:
    mode = use.case.mode
    if mode is None or mode == (use.stands_in or record.modes[0]):
        return
    if _sets(record, use.case, "mode") or record.mode_set_by.only not in (None, "switch"):
        return
    yield Unset("mode", None, "mode_set_by", record.mode_set_by.state)


def _terminator(record: Record, bus: str, case: Case) -> Iterator[Unset]:
    """A part for some place is enough: where it does not apply, its switch is kept as another part says."""
    fitted, anywhere = record.buses[bus].termination.fitted, replace(case, place=None)
    if fitted.only in (None, "by switch") and not _sets(record, anywhere, f"terminator {bus}"):
        known = fitted.only is not None
        yield Unset("terminator", bus, *(("switches", "absent") if known else (_FITTED.format(bus), fitted.state)))


_FITTED = "buses.{}.termination.fitted"


def unset_rate(record: Record, bus: str, case: Case) -> tuple[Unset, ...]:
    """Return the rate of a bus that has several, or nobody knows which, where nothing states how one is chosen.

    A menu is enough on a controller, which is told by hand; on a pack a row must set the rate.
    """
    one = record.buses[bus]
    if len(one.rates_bps.only or ()) == 1 or one.rate_set_by.only == "automatic":
        return ()
    if _sets(record, case, f"rate {bus}") or (one.rate_set_by.only == "menu" and record.kind != "pack"):
        return ()
    if one.rate_set_by.only in ("switch", "menu"):
        return (Unset("rate", bus, "switches", "absent"),)
    return (Unset("rate", bus, f"buses.{bus}.rate_set_by", one.rate_set_by.state),)
