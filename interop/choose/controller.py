"""The complete settings of every inverter and charger of a bank, each with its reason and the packs that set it.

power.md §9: an unmanaged pack never gets a say in the manager's orders, so the local settings must be safe for it; they
are also the fall-back when the link is lost. Figures from memory are proposals and say so. Voltages are those at the
converter's own terminals; nothing is added for what leads lose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

from interop.circuit.picture import MOST_SEARCHED
from interop.circuit.pieces import capacity_ah
from interop.unchanging import unchanging
from interop.wiring.busbar import ChargeWindow, charge_window, highest, lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from interop.circuit.converters import Converter
    from interop.circuit.lasting import Ends
    from interop.circuit.picture import Picture
    from interop.records.models import Record
    from interop.site.site import Device

__all__ = ["Setting", "charge_currents", "controller_settings", "course_ends", "setting_name"]

_TOLERANCE = 0.005
"""Tolerance of a charge voltage that no record states, as a share (power.md §9)."""
_TAIL_C = 0.05
"""Current at the end of charge against capacity; common practice."""
_CELL = {"float": 3.375, "recharge": 3.30, "low": 3.0, "back": 3.20}
"""Volts a cell of LFP: hold, charge again, stop, come back; from memory, proposals."""
_ABOVE_TRIP_V = 0.5
"""How far the low limit stays above the voltage at which a BMS opens (power.md §9)."""


@unchanging
class Setting:
    """One setting: what it is, the value with its unit, why, and the packs that set it; None: it cannot be told."""

    name: str
    value: str | None
    because: str
    set_by: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """The name of the setting in plan.json."""
        return _KEYS[self.name]

    @property
    def plain(self) -> float | str | None:
        """The value without its unit where the key has it."""
        if self.value is None or not self.key.endswith(("_v", "_a")):
            return self.value
        return float(self.value.split(" ")[0])


_KEYS = {
    "charge voltage": "charge_v", "float voltage": "float_v", "charge again below": "recharge_v",
    "charge current": "charge_a", "charge current of each unit": "charge_a", "end of charge": "end_of_charge",
    "stop discharge below": "low_cut_v", "start discharge again above": "reconnect_v", "equalise": "equalise",
    "temperature compensation": "compensation", "when the link is lost": "on_link_loss",
}


def setting_name(key: str, units: int) -> str | None:
    """Return how a setting of plan.json is told, for a device of so many units; None: it is none of these."""
    names = [name for name, one in _KEYS.items() if one == key]
    return None if not names else names[-1] if units > 1 else names[0]


def controller_settings(picture: Picture) -> dict[str, tuple[Setting, ...]]:
    """Return the settings by device, for every inverter and charger of a bank; units of a set are set alike."""
    found: dict[str, tuple[Setting, ...]] = {}
    window = charge_window(_records(picture.bank.packs))
    for one in picture.converters:
        if one.spot.device.id not in found and one.spot.device.kind != "load":
            found[one.spot.device.id] = tuple(_all(picture, one, window))
    return found


@once
def charge_currents(picture: Picture) -> tuple[float, ...] | None:
    """Return what each port is to give [A]: the plan of the picture, and no more than the bank takes until it is full.

    The second is known where the bank is followed over hours; at the resistances to work with, whole amperes.
    """
    plan = picture.charge_plan
    followed = picture.stage.over_time and 1 < len(picture.bank.packs) <= MOST_SEARCHED
    if not plan or not sum(plan) or not followed or not all(one.settable for one in picture.converters if one.charge_a):
        return plan
    from interop.circuit.lasting import filled, lasting

    ends = course_ends(picture)
    played = filled(picture, ends, plan)
    if played is None or played.over is None:
        return plan
    found = lasting(picture, ends).into
    if found is None or found.amp >= sum(plan):
        return plan
    return tuple(math.floor(amps * found.amp / sum(plan)) for amps in plan)


def course_ends(picture: Picture) -> Ends:
    """Return where a discharge and a charge end by these settings: the highest low limit, the lowest charge voltage."""
    from interop.circuit.lasting import Ends

    lows, tops = [], []
    window = charge_window(_records(picture.bank.packs))
    told: set[str] = set()
    for unit in picture.converters:
        if unit.spot.device.id in told or unit.spot.device.kind == "load":
            continue
        told.add(unit.spot.device.id)
        for one in (_charge_v(picture, unit, window), *(_low_limits(picture.bank.packs, unit) if unit.draws else ())):
            if one.name == "stop discharge below":
                lows.append(one.plain)
            elif one.name == "charge voltage":
                tops.append(one.plain)
    known = [[value for value in values if isinstance(value, float)] for values in (lows, tops)]
    return Ends(max(known[0]) if known[0] and len(known[0]) == len(lows) else None,
                min(known[1]) if known[1] and len(known[1]) == len(tops) else None)


def _records(packs: Sequence[Device]) -> tuple[Record, ...]:
    return tuple({d.record.id: d.record for d in packs}.values())


def _of(packs: Sequence[Device], record: Record) -> tuple[str, ...]:
    return tuple(d.id for d in packs if d.record.id == record.id)


def _all(picture: Picture, one: Converter, window: ChargeWindow) -> Iterator[Setting]:
    packs = picture.bank.packs
    charge = _charge_v(picture, one, window)
    yield charge
    yield from _by_cells(packs, None if charge.value is None else float(charge.value.split(" ")[0]))
    yield _charge_a(picture, one)
    yield _end_of_charge(packs)
    if one.draws:
        yield from _low_limits(packs, one)
    facts = one.spot.device.record.converter
    yield _off("equalise", facts.equalise_off.only, one)
    yield _off("temperature compensation", facts.compensation_off.only, one)
    lost = one.spot.device.record.follows.if_lost.only
    why = f"{one.spot.device.id}: {lost}" if lost else "what it does by itself is not stated: set it, and try it"
    yield Setting("when the link is lost", "these settings, and no charge on the manager's last word", why)


def _charge_v(picture: Picture, one: Converter, window: ChargeWindow) -> Setting:
    """Top of the window less the tolerance of the charger, rounded down to a tenth."""
    if window.top is None:
        return Setting("charge voltage", None, "no pack states a charge voltage")
    silent = [record.id for record, path in window.missing if path == "cells.charge_v"]
    if silent:
        return Setting("charge voltage", None, f"the charge voltage of {', '.join(silent)} is not stated")
    share = highest(one.spot.device.record.converter.voltage_tolerance)
    tolerance = _TOLERANCE if share is None else share
    volts = math.floor(window.top.volts / (1 + tolerance) * 10 + 1e-9) / 10
    who = tuple(d.id for d in picture.bank.packs if d.record.cells is not None
                and lowest(d.record.cells.charge_v) == window.top.volts) or _of(picture.bank.packs, window.top.record)
    because = (f"lowest recommended charge voltage of the bank, {window.top.volts:g} V, less {tolerance:.1%} tolerance"
               f"{'' if share is not None else ' (not stated)'}")
    if window.bottom is not None and volts < window.bottom.volts:
        because += f"; {window.bottom.record.id} needs {window.bottom.volts:g} V to finish or balance"
    return Setting("charge voltage", f"{volts:g} V", because, who)


def _series(packs: Sequence[Device]) -> int | None:
    counts = {d.record.cells.in_series.only if d.record.cells is not None else None for d in packs}
    kinds = {d.record.cells.chemistry.only if d.record.cells is not None else None for d in packs}
    return next(iter(counts)) if len(counts) == 1 and kinds == {"lfp"} else None


def _by_cells(packs: Sequence[Device], charge_v: float | None) -> Iterator[Setting]:
    """Hold and charge-again voltages, from the cells; never above the charge voltage."""
    series = _series(packs)
    for name, key, why in (("float voltage", "float", "holds a full LFP cell without charging on"),
                           ("charge again below", "recharge", "below the plateau's upper end")):
        if series is None:
            yield Setting(name, None, "cells in series or chemistry of the packs differ or are not stated")
            continue
        volts = round(_CELL[key] * series, 1)
        volts = volts if charge_v is None else min(volts, charge_v)
        yield Setting(name, f"{volts:g} V", f"{_CELL[key]:g} V a cell, {series} cells: {why} (from memory)")


def _charge_a(picture: Picture, one: Converter) -> Setting:
    """What each unit may give so that no pack passes its charge limit with every charger at its own part."""
    name = "charge current of each unit" if one.spot.device.units > 1 else "charge current"
    planned, sure = charge_currents(picture), picture.sure_charge_a
    if one.charge_a is None or planned is None:
        return Setting(name, None, f"what {one.spot.device.id} or another charger can give is not stated")
    amps = planned[picture.converters.index(one)]
    if sure is None:
        return Setting(name, None, "what the packs may take is not stated of all of them")
    if planned != picture.charge_plan:
        return Setting(name, f"{amps:g} A", f"with all chargers at their parts of {sum(planned):.0f} A no pack passes "
                       "its limit until it is full, at the resistances to work with")
    if sure.amps >= picture.chargers_a:
        return Setting(name, f"{amps:g} A", "its full current: no pack passes its limit with every charger at full")
    because = (f"with every charger at its part of {sure.amps:.0f} A no pack passes its limit wherever the resistances "
               f"lie; {sure.first} is first")
    if amps == one.charge_a and amps > 0:
        return Setting(name, None, f"{because}; whether every charger can be set lower is not stated")
    return Setting(name, f"{amps:g} A", because, (sure.first,) if sure.is_pack else ())


def _end_of_charge(packs: Sequence[Device]) -> Setting:
    sizes = [capacity_ah(d) for d in packs]
    if any(size is None for size in sizes):
        return Setting("end of charge", None, "the capacity of some pack is not stated")
    total = sum(size[0] for size in sizes if size is not None)
    return Setting("end of charge", f"at {_TAIL_C * total:.0f} A or after 60 min at the charge voltage",
                   f"{_TAIL_C:g} of {total:g} Ah (common practice); the time from memory")


def _low_limits(packs: Sequence[Device], one: Converter) -> Iterator[Setting]:
    """Stop above every voltage at which a BMS opens; come back well above it."""
    trips: list[tuple[float, Device]] = [(v, d) for d in packs if (v := lowest_trip(d)) is not None]
    silent = [d.id for d in packs if lowest_trip(d) is None]
    series = _series(packs)
    least: Callable[[tuple[float, Device]], float] = lambda row: row[0]  # noqa: E731
    volts = 0.0
    who: tuple[str, ...] = ()
    why = ""
    if trips:
        trip, device = max(trips, key=least)
        volts, who = trip + _ABOVE_TRIP_V, _of(packs, device.record)
        why = f"{_ABOVE_TRIP_V:g} V above the {trip:g} V at which the BMS of {device.record.id} opens"
    if silent and series is None:
        yield Setting("stop discharge below", None, "at which voltage a BMS opens is not stated, nor are the cells")
        return
    if silent and series is not None and series * _CELL["low"] > volts:
        volts, who = series * _CELL["low"], tuple(silent)
        why = f"{_CELL['low']:g} V a cell (from memory): where a BMS opens is not stated"
    if one.lowest_v is not None and one.lowest_v > volts:
        volts, who, why = one.lowest_v, (), f"{one.spot.device.id} itself stops there"
    yield Setting("stop discharge below", f"{math.ceil(volts * 10 - 1e-9) / 10:g} V", why, who)
    if series is not None:
        back = max(round(series * _CELL["back"], 1), volts + 1)
        yield Setting("start discharge again above", f"{back:g} V", f"{_CELL['back']:g} V a cell (from memory)")


def lowest_trip(device: Device) -> float | None:
    """Return the voltage [V] at which the BMS of a pack opens when empty, the highest that any source states."""
    return highest(device.record.limits.lowest_v) if lowest(device.record.limits.lowest_v) is not None else None


def _off(what: str, can: bool | None, one: Converter) -> Setting:
    record = one.spot.device.record.id
    if can is False:
        return Setting(what, None, f"{record} cannot switch it off: unfit for LFP")
    why = "LFP cells are neither equalised nor compensated"
    return Setting(what, "off", why if can else f"{why}; whether {record} can switch it off is not stated")
