"""Packs of which only so many may be on one link: one identity for all, no address of their own, or a terminator fixed
inside each.

The choice prunes with these limits; the rules tell them of any stage.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from interop.records.leaves import Span
from interop.records.models import AddressRule, Bus, Record
from interop.standards.buses import bus_limits
from interop.unchanging import unchanging
from interop.wiring.talks import RecordKey, chain_address_rule

__all__ = [
    "AtMost",
    "Share",
    "at_most",
    "fixed_load",
    "fixed_terminator",
    "least_load_ohm",
    "no_address_of_its_own",
    "shared_bus",
    "speaks_as_one",
]

IDENTITY, ADDRESS, TERMINATOR = "identity", "address", "terminator"


@unchanging
class AtMost:
    """A limit on the packs of one link: each of a record weighs so much, and the sum may not pass ``limit``.

    ``why``: identity and address count packs; terminator adds up what their fixed terminators conduct [S].
    """

    why: str
    weights: tuple[tuple[RecordKey, float], ...]
    limit: float

    def most(self, counts: Sequence[tuple[RecordKey, int]]) -> int:
        """Return how many packs can be on the link, of so many of each record."""
        weights = dict(self.weights)
        total, left = 0, self.limit
        for weight, count in sorted((weights.get(key, 0.0), count) for key, count in counts):
            fit = count if not weight else min(count, int(left / weight + _ROUNDING))
            total, left = total + fit, left - fit * weight
        return total

    def passed(self, keys: Iterable[RecordKey]) -> bool:
        """Return whether these packs together pass the limit."""
        weights = dict(self.weights)
        return sum(weights.get(key, 0.0) for key in keys) > self.limit + _ROUNDING


_ROUNDING = 1e-9
"""What a sum of conductances may be off by: far below the step from one terminator to the next (1e-4 S at 10 kohm)."""


@unchanging
class Share:
    """The part of a record on a link: its buses there, in every mode it may be in."""

    key: RecordKey
    buses: tuple[tuple[str, ...], ...]

    def always(self, holds: Callable[[Record, Sequence[str]], bool]) -> bool:
        """Whether something holds on the buses of every mode."""
        return bool(self.buses) and all(holds(self.key.record, names) for names in self.buses)


def shared_bus(record: Record, buses: Iterable[str]) -> str | None:
    """Return the first of some buses that more than two devices can hang on; None where there is none."""
    return next((name for name in buses if record.buses[name].hop != "one"), None)


def speaks_as_one(record: Record, buses: Sequence[str]) -> bool:
    """Return whether all packs of a record surely speak with one identity on these buses."""
    bus = shared_bus(record, buses)
    return bus is not None and record.buses[bus].identity.only == "one for all"


def no_address_of_its_own(rule: AddressRule | None) -> bool:
    """Return whether packs under an address rule all answer at one address."""
    return rule is not None and rule.given == "none"


def fixed_terminator(bus: Bus) -> float | None:
    """Return the resistance [ohm] of a terminator that is surely fixed inside and known; None where there is none."""
    ohm = bus.termination.ohm.only
    if bus.termination.fitted.only != "always" or ohm is None or isinstance(ohm, Span):
        return None
    return float(ohm)


def fixed_load(record: Record, buses: Sequence[str]) -> float:
    """Return what the fixed terminator of a device conducts [S] on a bus that many devices share; 0 for none."""
    bus = shared_bus(record, buses)
    ohm = fixed_terminator(record.buses[bus]) if bus is not None else None
    return 0.0 if ohm is None else 1 / ohm


def least_load_ohm(kind: str) -> float | None:
    """Return the load [ohm] below which a kind of bus is not to be run at all; None where nothing is known."""
    limits = bus_limits(kind)
    return limits.load_ohm.low if limits.load_ohm is not None else limits.load_stop_below_ohm


def at_most(shares: Sequence[Share], kind: str | None, beside: float = 0.0) -> tuple[AtMost, ...]:
    """Return the limits on the packs of one link that its records state beyond dispute.

    ``kind`` of the bus (None: packs are not joined); ``beside``: what the controllers on the same bus load it with [S].
    """
    if kind is None:
        return ()
    found = []
    by_id: dict[str, list[RecordKey]] = {}
    for one in shares:
        if one.always(speaks_as_one):
            by_id.setdefault(one.key.record.id, []).append(one.key)
    found += [AtMost(IDENTITY, tuple((key, 1.0) for key in alike), 1.0) for alike in by_id.values()]
    bare = [s.key for s in shares if s.always(lambda r, names: no_address_of_its_own(chain_address_rule(r, names)))]
    if bare:
        found.append(AtMost(ADDRESS, tuple((key, 1.0) for key in bare), 1.0))
    each = [(s.key, min((fixed_load(s.key.record, names) for names in s.buses), default=0.0)) for s in shares]
    loads = tuple((key, load) for key, load in each if load)
    least = least_load_ohm(kind)
    if loads and least is not None:
        found.append(AtMost(TERMINATOR, loads, max(1 / least - beside, 0.0)))
    return tuple(found)
