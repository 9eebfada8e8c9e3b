"""Before power is closed: the largest safe difference for every pack, and the inrush into the converters.

power.md §7. The reading that decides is the voltage across the open device, both sides on, with one meter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.bank import POLES
from interop.circuit.faulted import highest_v
from interop.circuit.joining import Precharge, decay, inrush, largest_safe_differences, precharge
from interop.circuit.picture import REST_STATE
from interop.circuit.pieces import capacity_ah
from interop.standards.cell_voltage import lfp_cell_slope
from interop.standards.estimates import CABLE_INDUCTANCE_PER_M
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from interop.circuit.network import Network
    from interop.circuit.picture import Picture

__all__ = ["CURVE_MINUTES", "Inrushing", "JoiningCurve", "SafeJoin", "inrush_of", "joining_curves", "safe_joins"]

CURVE_MINUTES = (0, 5, 15, 30, 60, 120)
"""Times after joining at which the current is told [min]."""

_MILLI = 1e-3


@unchanging
class SafeJoin:
    """The largest voltage [V] across the open run of one pack at which it may be joined to all the others.

    ``by``: the pack whose current sets it, or the record whose joining limit does; None: nothing stated sets one.
    """

    pack: str
    volts: float | None
    by: str | None
    not_stated: tuple[str, ...]


@once
def safe_joins(picture: Picture) -> tuple[SafeJoin, ...]:
    """Return the largest safe difference for each pack, with all resistances at the low end of their ranges."""
    bank, limits = picture.bank, picture.limits
    network = _lowest(picture)
    stated = {d.record.id: v for d in bank.packs if (v := lowest(d.record.limits.join_difference_v)) is not None}
    rows = {d.id: row[0] for d in bank.packs if (row := bank.of_run.get((bank.own_run[d.id], "plus")))}
    if len(bank.packs) < 2:
        return ()
    strictest = min(stated, key=lambda name: stated[name]) if stated else None
    found = []
    safes = largest_safe_differences(network, list(rows.values()), limits.charge_a, limits.discharge_a, stated)
    for name, safe in zip(rows, safes, strict=True):
        by = safe.first_higher_by if safe.first_higher_v <= safe.first_lower_v else safe.first_lower_by
        volts = safe.volts if np.isfinite(safe.volts) else None
        found.append(SafeJoin(name, volts, None if volts is None else by or strictest, safe.not_stated))
    return tuple(found)


@unchanging
class JoiningCurve:
    """The current of one pack [A] at `CURVE_MINUTES` after it was closed at a difference [V], it being the higher."""

    pack: str
    volts: float
    amps: tuple[float, ...]


@once
def joining_curves(picture: Picture) -> tuple[JoiningCurve, ...]:
    """Return for one new pack of each record how the current of joining dies away from the largest safe difference.

    Each pack is a capacitor of its capacity over the slope of its voltage at half charge (mean of both parameter sets);
    resistances to work with. Empty where a pack is not LFP, or its capacity or count of cells is not stated.
    """
    packs = picture.bank.packs
    slope = lfp_cell_slope(REST_STATE)
    sizes = [capacity_ah(d) for d in packs]
    cells = [d.record.cells for d in packs]
    series = [None if one is None or one.chemistry.only != "lfp" else one.in_series.only for one in cells]
    if slope is None or any(size is None for size in sizes) or any(count is None for count in series):
        return ()
    ah_per_v = [(size[0] + size[1]) / 2 / (slope.nominal * count) for size, count in zip(sizes, series, strict=True)
                if size is not None and count is not None]
    found: dict[str, JoiningCurve] = {}
    for safe in safe_joins(picture):
        at = picture.of_pack[safe.pack]
        if safe.volts is None or not packs[at].new or packs[at].record.id in found:
            continue
        emf = picture.emf_v(REST_STATE).copy()
        emf[at] += safe.volts
        died = decay(picture.bank.network.with_emf(emf), ah_per_v, [minutes / 60 for minutes in CURVE_MINUTES])
        found[packs[at].record.id] = JoiningCurve(safe.pack, safe.volts, tuple(map(float, died.pack_a[:, at])))
    return tuple(found.values())


def _lowest(picture: Picture) -> Network:
    bank = picture.bank
    network = picture.network_at(REST_STATE)
    return network.with_ohm([b.ohms.low for b in bank.branches], [o.low for o in bank.pack_ohms])


@unchanging
class Inrushing:
    """What the empty converters draw when power is closed: peak [A], the lowest short-circuit trip of the packs [A].

    ``millifarad``: of all converters; None: some converter does not state it; then so is ``peak_a``. ``trip_a``: sum
    of the packs' short-circuit steps; None: some pack does not state one. ``step``: the precharge to make.
    """

    volts: float
    millifarad: float | None
    peak_a: float | None
    trip_a: float | None
    step: Precharge | None
    not_stated: tuple[str, ...]

    @property
    def needs_precharge(self) -> bool | None:
        """Whether a precharge is a step of the day; None: it cannot be told, so it is one too."""
        if self.peak_a is None or self.trip_a is None:
            return None
        return self.peak_a > self.trip_a


@once
def inrush_of(picture: Picture) -> Inrushing | None:
    """Return the inrush when the whole bank is closed onto all converters; None without converters or voltages."""
    bank = picture.bank
    volts = [highest_v(device) for device in bank.packs]
    if not picture.converters or any(v is None for v in volts):
        return None
    most = max(v or 0.0 for v in volts)
    rows = {one.name: highest(one.spot.device.record.electric.input_capacitance_mf) for one in picture.converters}
    silent = tuple(dict.fromkeys(one.spot.device.record.id for one in picture.converters if rows[one.name] is None))
    trips = [d.record.electric.trips.short_circuit.only for d in bank.packs]
    trip = None if any(step is None for step in trips) else sum(step.amps for step in trips if step is not None)
    unknown = silent + tuple(dict.fromkeys(d.record.id for d, step in zip(bank.packs, trips, strict=True)
                                           if step is None))
    if silent:
        return Inrushing(most, None, None, trip, None, unknown)
    farad = sum(value or 0.0 for value in rows.values()) * _MILLI
    if farad <= 0:
        return Inrushing(most, 0.0, 0.0, trip, None, unknown)
    peak = inrush(most, _loop_ohm(picture), _henry(picture), farad).peak_a
    return Inrushing(most, farad / _MILLI, peak, trip, precharge(most, farad), unknown)


def _loop_ohm(picture: Picture) -> float:
    """Resistance [ohm] of bank and leads in series with all converters side by side, everything lowest."""
    bank = picture.bank
    packs = 1 / sum(1 / o.low for o in bank.ohmic)
    ports = []
    for spot in bank.ports:
        rows = [bank.branches[i].ohms.low for pole in POLES for i in bank.of_run.get((spot.name, pole), ())]
        ports.append(sum(rows))
    leads = 1 / sum(1 / ohm for ohm in ports if ohm > 0) if any(ports) else 0.0
    return packs + leads


def _henry(picture: Picture) -> float:
    """Inductance [H] of the leads of the converters side by side: 1 microhenry a metre of run (from memory)."""
    per_m = CABLE_INDUCTANCE_PER_M.value
    lengths = [run.plus.length_m for run in picture.bank.runs if run.unit is not None and run.plus.length_m]
    return per_m / sum(1 / length for length in lengths) if lengths else 0.0
