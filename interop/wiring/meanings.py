"""What the switches of a pack in a stage can mean, and where packs of a link stand: every reading, not the likeliest.

A switch that nobody looked at stands for both its states. A row that a planned stage does not give is left to the plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache

from interop.records.models import AddressRule, Record
from interop.records.switches import Case, Pattern, Reading, readings, row_length
from interop.unchanging import unchanging
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageLink, StagePack
from interop.wiring.stated import numbering
from interop.wiring.talks import RecordKey, alive_buses, chain_address_rule, chain_talks, manager_addresses

__all__ = ["Meaning", "Standing", "address_rule", "chain_names", "controller_buses", "has_meaning", "known_case",
           "manager_values",
           "meaning", "modes_of", "pattern_of", "read_row", "reversed_addresses", "standings"]

_BUS_KINDS = ("can", "rs-485", "rs-232", "none")


@unchanging
class Meaning:
    """Every value that the switches can mean; ``looked``: whether every switch of the row was looked at."""

    values: frozenset[str | int | bool]
    looked: bool


@unchanging(eq=False)
class Standing:
    """Where a pack can stand on the bus of its link. ``switched``: by its own switches, not by rule."""

    pack: StagePack
    rule: AddressRule
    bus: str
    values: frozenset[int]
    looked: bool
    switched: bool

    @property
    def only(self) -> int | None:
        """The one address it can have; None where it can have several or none."""
        return next(iter(self.values)) if len(self.values) == 1 else None


def modes_of(pack: StagePack) -> tuple[str, ...]:
    """Return the mode of a pack, or every mode it may be in."""
    return (pack.mode,) if pack.mode is not None else tuple(pack.record.modes)


def controller_buses(link: StageLink) -> tuple[str, ...]:
    """Return the kinds of bus that may lead to the controller: one where it is known, none without a controller."""
    if link.report is not None:
        return (link.report.kind,)
    return _BUS_KINDS if link.reports_to else ("none",)


def known_case(stage: Stage, pack: StagePack) -> Case:
    """Return what is known of the case in which a pack's switches are read."""
    link = stage.link_of.get(pack.id)
    if link is None:
        return Case(role=pack.role, mode=pack.mode, place=pack.place)
    buses = controller_buses(link)
    return Case(pack.role, pack.mode, buses[0] if len(buses) == 1 else None, pack.place, link.group, len(link.packs))


def pattern_of(stage: Stage, pack: StagePack, row: str) -> Pattern | None:
    """Return how a row stands: all ``x`` where nobody looked, None where a planned stage leaves it to the plan."""
    pattern = pack.patterns.get(row)
    if pattern is not None or stage.name != "found":
        return pattern
    return ("x",) * row_length(pack.record.switches[row])


@lru_cache(maxsize=8192)
def _readings(key: RecordKey, row: str, pattern: Pattern, case: Case) -> tuple[Reading, ...]:
    return readings(key.record.switches[row], pattern, case, key.record.modes)


def read_row(record: Record, row: str, pattern: Pattern, case: Case) -> tuple[Reading, ...]:
    """Return every meaning of a row's pattern in a case as far as it is known."""
    return _readings(RecordKey(record), row, pattern, case)


def meaning(stage: Stage, pack: StagePack, key: str, case: Case | None = None) -> Meaning | None:
    """Return what a pack's switches can mean for a key (``address`` and ``count`` stand for every key that begins so).

    None where no row of the record sets it, or where the row is left to the plan.
    """
    case = case or known_case(stage, pack)
    values: set[str | int | bool] = set()
    looked, any_row = True, False
    for name, row in pack.record.switches.items():
        if not any(_fits(f"{p.sets} {p.bus}" if p.bus is not None else p.sets, key) for p in row.parts):
            continue
        pattern = pattern_of(stage, pack, name)
        if pattern is None:
            return None
        any_row, looked = True, looked and "x" not in pattern
        values |= {v for r in read_row(pack.record, name, pattern, case) for k, v in r.values if _fits(k, key)}
    return Meaning(frozenset(values), looked) if any_row else None


def _fits(have: str, key: str) -> bool:
    return have == key or have.startswith(f"{key} ")


# ---- addresses of a link ----

def chain_names(link: StageLink, pack: StagePack) -> tuple[str, ...]:
    """Return the buses of a pack that carry its link; every bus of all packs where the common talk is not known."""
    found: dict[str, None] = {}
    for mode in modes_of(pack):
        if link.chain is not None:
            found.update(dict.fromkeys(chain_talks(pack.record, mode).get(link.chain, ())))
    if found:
        return tuple(found)
    return tuple(name for name, bus in alive_buses(pack.record, pack.mode).items() if bus.used_by == "all")


def address_rule(link: StageLink, pack: StagePack) -> tuple[str, AddressRule] | None:
    """Return the bus of a link and the address rule of a pack on it; None where the record has none."""
    names = chain_names(link, pack)
    rule = chain_address_rule(pack.record, names)
    if rule is None:
        return None
    return next(name for name in names if pack.record.addresses.get(name) is rule), rule


def manager_values(link: StageLink, pack: StagePack, rule: AddressRule) -> frozenset[int] | None:
    """Return the addresses at which a pack of this record can be manager (empty: it takes none); None: not stated."""
    found: set[int] = set()
    for mode in modes_of(pack):
        for bus in controller_buses(link):
            values = manager_addresses(pack.record, rule, mode, bus)
            if not values:
                return None
            found |= {v for v in values if v is not None}
    return frozenset(found)


def standings(stage: Stage, link: StageLink) -> tuple[Standing, ...]:
    """Return where the packs of a link that have an address by their switches, or as manager, can stand.

    Packs whose row is left to the plan, and managers that take no address, have none.
    """
    return _all_standings(stage)[link]


@once
def _all_standings(stage: Stage) -> dict[StageLink, tuple[Standing, ...]]:
    """Every rule on addresses asks for these: they are made once a stage."""
    found = {}
    for link in stage.links:
        packs = [stage.packs[name] for name in link.packs if name in stage.packs]
        held = (_standing(stage, link, pack) for pack in packs)
        found[link] = tuple(one for one in held if one is not None)
    return found


def _standing(stage: Stage, link: StageLink, pack: StagePack) -> Standing | None:
    held = address_rule(link, pack)
    if held is None or numbering(pack.record, held[1]) != "by switches":
        return None
    bus, rule = held
    set_to = meaning(stage, pack, "address")
    if set_to is not None and set_to.values:
        return Standing(pack, rule, bus, frozenset(int(v) for v in set_to.values), set_to.looked, switched=True)
    if pack.role != "manager" or (set_to is None and _left_to_plan(stage, pack)):
        return None
    own = manager_values(link, pack, rule)
    if own is None:
        own = frozenset(a for value in rule.allowed.values for a in value) or frozenset(range(256))
    return Standing(pack, rule, bus, own, looked=True, switched=False) if own else None


def _left_to_plan(stage: Stage, pack: StagePack) -> bool:
    return any(pattern_of(stage, pack, name) is None for name in pack.record.switches)


def reversed_addresses(stage: Stage, standing: Standing) -> tuple[tuple[str, Pattern, Pattern, int], ...]:
    """Return (row, pattern, pattern from its other end, address that means) for slide rows with a binary code."""
    from interop.records.switches import part_switches

    pack, found = standing.pack, []
    for name, row in pack.record.switches.items():
        pattern = pattern_of(stage, pack, name)
        if row.kind != "slide" or pattern is None or "x" in pattern:
            continue
        for part in row.parts:
            if part.sets == "address" and part.code is not None and part.code.binary is not None:
                turned = _turned(pattern, part_switches(row, part))
                meant = {int(v) for r in read_row(pack.record, name, turned, known_case(stage, pack)) for k,
                         v in r.values
                         if _fits(k, "address")}
                if turned != pattern and len(meant) == 1:
                    found.append((name, pattern, turned, meant.pop()))
    return tuple(dict.fromkeys(found))


def _turned(pattern: Pattern, places: Sequence[int]) -> Pattern:
    bits = list(pattern)
    for place, bit in zip(places, reversed([pattern[i] for i in places]), strict=True):
        bits[place] = bit
    return tuple(bits)


def has_meaning(stage: Stage, pack: StagePack, row: str, pattern: Pattern, *, any_role: bool) -> Iterable[bool]:
    """Yield for every kind of bus that may lead to the controller whether a pattern has any meaning."""
    link = stage.link_of.get(pack.id)
    case = known_case(stage, pack)
    if any_role:
        case = replace(case, role=None)
    for bus in controller_buses(link) if link is not None else (None,):
        yield bool(read_row(pack.record, row, pattern, replace(case, controller_bus=bus)))
