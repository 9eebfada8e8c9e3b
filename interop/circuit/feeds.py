"""The runs of the planned stage with what stands behind each of their ends, and the continuous current each must carry.

No circuit is solved: a current is bounded by what sources can give on one side of a run and what can take it on the
other. A pack gives and takes at most its limits, an inverter draws at most its rated power at its lowest voltage, a
charger gives at most its charge current. Currents in A.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from math import inf
from typing import TYPE_CHECKING

from interop.circuit.bank import POLES, conductor_of, run_name, runs_of, source_at_a
from interop.circuit.converters import EFFICIENCY, IDLE_SHARE
from interop.circuit.ranges import Missing, Range, exactly, known, total
from interop.records.answers import Answer
from interop.unchanging import unchanging
from interop.wiring.once import once

if TYPE_CHECKING:
    from interop.records.models import Record
    from interop.records.power import BuiltInDevice
    from interop.site.site import Device, Pole, Run, Site
    from interop.wiring.stage import Stage

__all__ = ["PROTECTING", "Circuit", "Guard", "Side", "Unit", "charge_of", "circuits", "draw_of", "kind_of", "protects"]

PROTECTING = ("fuse", "breaker")
"""Kinds of device that open by themselves; a switch protects nothing."""


@unchanging(eq=False)
class Guard:
    """A device in series with a run: in one pole of it, or built into the pack at its source.

    ``facts`` None: the record does not describe it. ``pole``: plus, minus, both, or None (not known). ``distance_m``
    from the source [m], None where it is not stated; 0 for one built in.
    """

    record: Record
    facts: BuiltInDevice | None
    path: str
    pole: str | None
    built_in: bool
    distance_m: float | None

    @property
    def kind(self) -> str | None:
        """Fuse, breaker, switch or none; None where it is not known."""
        return None if self.facts is None else self.facts.kind.only

    @property
    def rating(self) -> Range:
        """Its rating [A]."""
        if self.facts is None:
            return Range(0.0, inf, (Missing(f"{self.path}.rating_a", self.record),))
        return known(self.record, f"{self.path}.rating_a", self.facts.rating_a)

    def stands_in(self, pole: str) -> Answer:
        """Whether it stands in a pole."""
        if self.pole is None:
            return Answer.CANNOT_TELL
        return Answer.HOLDS if self.pole in (pole, "both") else Answer.BROKEN

    def lacking(self, name: str) -> Missing:
        """Name one of its facts as not known."""
        fact = None if self.facts is None else getattr(self.facts, name)
        return Missing(f"{self.path}.{name}", self.record, fact)


@unchanging
class Unit:
    """A controller, charger or load at the end of a run, with its unit of a set."""

    device: Device
    unit: int | None = None

    @property
    def name(self) -> str:
        """How it is told, and the node of its terminals."""
        return self.device.id if self.unit is None else f"{self.device.id} unit {self.unit}"


@unchanging(eq=False)
class Side:
    """What stands on one side of a run: packs, and units of controllers, chargers and loads."""

    packs: tuple[Device, ...]
    units: tuple[Unit, ...]


@unchanging(eq=False)
class _Net:
    """The runs of one bank: the node at each end of each, the runs at each node, and everything that stands on it."""

    runs: tuple[Run, ...]
    ends: tuple[tuple[str, str], ...]
    at: Mapping[str, tuple[int, ...]]
    whole: Side
    landing: Mapping[str, int]
    loose: tuple[Device, ...]

    def reach(self, start: str, without: int) -> set[str]:
        """The nodes that one is joined to without one run."""
        found, left = {start}, [start]
        while left:
            for i in self.at[left.pop()]:
                for node in self.ends[i] if i != without else ():
                    if node not in found:
                        found.add(node)
                        left.append(node)
        return found

    def of(self, nodes: set[str]) -> Side:
        """What stands on some nodes."""
        return Side(tuple(p for p in self.whole.packs if p.id in nodes),
                    tuple(u for u in self.whole.units if u.name in nodes))


@unchanging(eq=False)
class Circuit:
    """One run with what stands behind its ``a`` end and behind its ``b`` end, each without the run.

    ``kind``: pack, converter (controller, charger or load) or tie (busbar to busbar).
    """

    site: Site
    run: Run
    kind: str
    guards: tuple[Guard, ...]
    number: int
    net: _Net

    @property
    def name(self) -> str:
        """How its run is told."""
        return run_name(self.run)

    @cached_property
    def ends(self) -> tuple[Device, ...]:
        """The devices on whose terminals it ends, the one at ``a`` first."""
        return tuple(self.site.devices[end] for end in (self.run.a, self.run.b) if end in self.site.devices)

    @property
    def own(self) -> Device | None:
        """The device whose run it is; None of a tie."""
        return self.site.devices.get(self.run.a)

    @property
    def bank(self) -> Side:
        """Everything on the busbars that it belongs to."""
        return self.net.whole

    @property
    def loose(self) -> tuple[Device, ...]:
        """The devices that no run joins to anything, so that nobody knows on which side they stand."""
        return self.net.loose

    @property
    def both_ways(self) -> bool:
        """Whether current flows through it in either direction: not in the run of a charger or a load."""
        return self.own is None or self.own.record.kind not in ("charger", "load")

    @property
    def leaf(self) -> bool:
        """Whether nothing but its own device stands behind its ``a`` end."""
        return self.own is not None and len(self.net.at[self.net.ends[self.number][0]]) == 1

    @cached_property
    def _sides(self) -> tuple[Side, Side]:
        """Behind ``a`` and behind ``b``; the whole bank on both where the run closes a ring."""
        a, b = self.net.ends[self.number]
        behind = {a} if self.leaf else self.net.reach(a, self.number)
        if b in behind:
            return self.net.whole, self.net.whole
        whole = self.net.whole
        rest = Side(tuple(p for p in whole.packs if p.id not in behind),
                    tuple(u for u in whole.units if u.name not in behind))
        return self.net.of(behind), rest

    @property
    def a_side(self) -> Side:
        """What stands behind its ``a`` end."""
        return self._sides[0]

    @property
    def b_side(self) -> Side:
        """What stands behind its ``b`` end."""
        return self._sides[1]

    @property
    def source(self) -> Side:
        """What stands at its source: behind ``a``, but of a converter's run behind the busbar."""
        return self.a_side if source_at_a(self.site, self.run) else self.b_side

    @cached_property
    def about(self) -> tuple[str, ...]:
        """The devices that a finding about it names: its own; of a tie those at its source, else those beyond."""
        if self.own is not None:
            return (self.own.id,)
        for side in self._sides:
            names = (*(d.id for d in side.packs), *dict.fromkeys(u.device.id for u in side.units))
            if names:
                return names
        return tuple(d.id for d in self.loose)

    @cached_property
    def need(self) -> Range:
        """The continuous current it must carry [A]: the larger of both directions."""
        if self.kind == "converter" and self.own is not None:
            return draw_of(self.own).at_least(charge_of(self.own))
        return self._flow(self.a_side, self.b_side).at_least(self._flow(self.b_side, self.a_side))

    def _flow(self, here: Side, there: Side) -> Range:
        """What can flow from one side to the other: packs give to loads, chargers to loads and to packs."""
        chargers = self._unknown(_charge(here))
        takes = self._unknown(_draw(there, self.site)) + _accept(there).at_most(chargers)
        return (_discharge(here) + chargers).at_most(takes)

    def _unknown(self, figure: Range) -> Range:
        """Add what the devices that no run joins to anything may give or take."""
        words = tuple(Missing(f"the run of {device.id}") for device in self.loose)
        return figure if not words else Range(figure.least, inf, (*figure.missing, *words))

    @cached_property
    def drawing(self) -> tuple[Unit, ...]:
        """The inverters and loads whose draw makes the need; none where a charge current makes it."""
        if self.kind == "converter" and self.own is not None:
            draws = draw_of(self.own).most >= charge_of(self.own).most
            return (Unit(self.own, self.run.unit),) if draws else ()
        there, here = self.b_side, self.a_side
        if self._flow(there, here).most > self._flow(here, there).most:
            there, here = here, there
        draws = _draw(there, self.site).most >= _accept(there).at_most(_charge(here)).most
        return tuple(u for u in there.units if u.device.record.kind != "charger") if draws else ()


# ---- what devices give and take ----

def draw_of(device: Device) -> Range:
    """The current [A] that one unit draws at its rated power and its lowest voltage.

    Rated power over efficiency, and the idle power, over the lowest voltage (NEC 706.30(A), from memory). Efficiency
    and idle power that nobody stated lie in the default range, but no unit is surer than one without loss.
    """
    record = device.record
    if record.kind == "charger":
        return exactly(0.0)
    return _through(record, known(record, "limits.power_w", record.limits.power_w)) + _idle(record)


def _through(record: Record, power_w: Range) -> Range:
    """The current [A] for a power at its outlets, without its idle power."""
    volts = known(record, "limits.lowest_v", record.limits.lowest_v)
    least_share, most_share, lost = _efficiency(record)
    missing = (*power_w.missing, *volts.missing, *lost)
    if volts.least == 0:
        return Range(0.0, inf, missing)
    return Range(power_w.least / most_share / volts.most, power_w.most / least_share / volts.least, missing)


def _idle(record: Record) -> Range:
    """The current [A] of its idle power; none where it states no rated power to take a share of."""
    fact = record.converter.idle_w
    volts = known(record, "limits.lowest_v", record.limits.lowest_v)
    power = known(record, "limits.power_w", record.limits.power_w)
    watts = known(record, "converter.idle_w", fact) if fact.known else Range(
        0.0, IDLE_SHARE.high * power.most, (Missing("converter.idle_w", record, fact),))
    if volts.least == 0:
        return Range(0.0, inf, (*watts.missing, *volts.missing))
    return Range(watts.least / volts.most, watts.most / volts.least, (*watts.missing, *volts.missing))


def _efficiency(record: Record) -> tuple[float, float, tuple[Missing, ...]]:
    fact = record.converter.efficiency
    if not fact.known:
        return EFFICIENCY.low, 1.0, (Missing("converter.efficiency", record, fact),)
    stated = known(record, "converter.efficiency", fact)
    return stated.least, stated.most, stated.missing


def charge_of(device: Device) -> Range:
    """The current [A] that one unit of a controller or charger gives the bank at most."""
    if device.record.kind == "load":
        return exactly(0.0)
    return known(device.record, "limits.charge_a", device.record.limits.charge_a)


def _discharge(side: Side) -> Range:
    return total(known(p.record, "limits.discharge_a", p.record.limits.discharge_a) for p in side.packs)


def _accept(side: Side) -> Range:
    return total(known(p.record, "limits.charge_a", p.record.limits.charge_a) for p in side.packs)


def _charge(side: Side) -> Range:
    return total(charge_of(unit.device) for unit in side.units)


def _draw(side: Side, site: Site) -> Range:
    """What the units of a side draw: at their rated power, or at the highest load of the site where that is lower.

    The load at the outlets may fall on any of the inverters, each with its own efficiency and lowest voltage.
    """
    inverters = [unit.device for unit in side.units if unit.device.record.kind == "controller"]
    others = total(draw_of(unit.device) for unit in side.units if unit.device.record.kind != "controller")
    rated = total(draw_of(device) for device in inverters)
    wanted = site.load.highest_w
    if wanted is None or not inverters:
        return rated + others
    watts = exactly(float(wanted) if isinstance(wanted, (int, float)) else wanted.high)
    each = [_through(device.record, watts) for device in inverters]
    missing = tuple(cause for one in each for cause in one.missing)
    load = Range(min(one.least for one in each), max(one.most for one in each), missing)
    return (load + total(_idle(device.record) for device in inverters)).at_most(rated) + others


# ---- devices in runs ----

def kind_of(guard: Guard, *kinds: str) -> Answer:
    """Whether a device is of one of some kinds."""
    if guard.facts is None:
        return Answer.CANNOT_TELL
    return guard.facts.kind.judge(lambda kind: Answer.HOLDS if kind in kinds else Answer.BROKEN)


def protects(guard: Guard) -> Answer:
    """Whether a device opens by itself."""
    return kind_of(guard, *PROTECTING)


def _guards(site: Site, run: Run) -> Iterator[Guard]:
    source = site.devices.get(run.a if source_at_a(site, run) else run.b)
    if source is not None and source.kind == "pack":
        built = source.record.electric.built_in_device
        pole = None if built is None else built.poles.only
        yield Guard(source.record, built, "electric.built_in_device", pole, True, 0.0)
    for pole in POLES:
        wired: Pole = getattr(run, pole)
        for held in wired.devices:
            record = held.loaded.record
            yield Guard(record, record.device, "device", pole, False, held.distance_m)


# ---- the runs of a bank ----

@once
def circuits(stage: Stage) -> tuple[tuple[Circuit, ...], ...]:
    """Return the runs of the planned stage, alike ones together, worked out once for a stage; none as found.

    Runs are alike where no rule can tell them apart: the same records at their ends, the same conductors and devices,
    the same place of both ends among the others.
    """
    if stage.name != "planned":
        return ()
    groups: dict[tuple[object, ...], list[Circuit]] = {}
    for number, one in _all(stage):
        groups.setdefault((number, *_alike(one)), []).append(one)
    return tuple(tuple(group) for group in groups.values())


def _alike(one: Circuit) -> tuple[object, ...]:
    run = one.run
    poles = tuple((wired.size, wired.cable and wired.cable.record.id, wired.parallel, conductor_of(wired),
                   tuple((d.loaded.record.id, d.distance_m) for d in wired.devices))
                  for wired in (run.plus, run.minus))
    ends = tuple((d.record.id, d.ambient_c, one.net.landing.get(d.id, 0)) for d in one.ends)
    return one.kind, poles, run.laid, run.through_wall, ends, None if one.leaf else run.id


def _all(stage: Stage) -> Iterator[tuple[int, Circuit]]:
    site = stage.site
    joined = {end for run in site.runs for end in (run.a, run.b)}
    loose = tuple(d for d in site.devices.values() if d.id not in joined and _of_power(d)
                  and (d.kind != "pack" or d.id in stage.packs))
    seen: set[int] = set()
    for number, bank in enumerate(stage.banks):
        runs = [run for run in runs_of(stage, bank) if id(run) not in seen]
        seen.update(map(id, runs))
        yield from ((number, one) for one in _of_bank(site, runs, loose))


def _of_power(device: Device) -> bool:
    return device.record.kind in ("pack", "controller", "charger", "load")


def _of_bank(site: Site, runs: Sequence[Run], loose: tuple[Device, ...]) -> Iterator[Circuit]:
    ends = tuple((_node(site, run, run.a), run.b) for run in runs)
    at: dict[str, list[int]] = {}
    packs: dict[str, Device] = {}
    units: dict[str, Unit] = {}
    landing: dict[str, int] = {}
    for i, run in enumerate(runs):
        for node in ends[i]:
            at.setdefault(node, []).append(i)
        for end in (run.a, run.b):
            if end in site.devices and site.devices[end].kind == "pack":
                packs[end] = site.devices[end]
            elif end in site.devices:
                units[run_name(run)] = Unit(site.devices[end], run.unit)
        if run.b in site.devices:
            landing[run.b] = landing.get(run.b, 0) + 1
    whole = Side(tuple(packs.values()), tuple(units.values()))
    net = _Net(tuple(runs), ends, {node: tuple(found) for node, found in at.items()}, whole, landing, loose)
    for i, run in enumerate(runs):
        own = site.devices.get(run.a)
        kind = "tie" if own is None else "pack" if own.kind == "pack" else "converter"
        yield Circuit(site, run, kind, tuple(_guards(site, run)), i, net)


def _node(site: Site, run: Run, end: str) -> str:
    device = site.devices.get(end)
    return run_name(run) if device is not None and device.kind != "pack" else end
