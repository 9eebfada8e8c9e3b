"""Resistance of what a bank is made of, each as a range: packs, cables with their lugs, devices, busbars.

A range says what it rests on: stated by a record, or assumed and why. Sharing uses the nominal figure, faults the low
end, voltage drop the high end; what the tolerance decides is found by moving each inside its range.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from interop.standards.conductors import conductor_ohm_per_m, copper_ohm_per_m
from interop.standards.estimates import (
    ASSUMED_TOLERANCE,
    BOLTED_FACE,
    COLD_FACTOR,
    DC_FACTOR,
    FUSE_200_TO_400_A,
    JOINT_TOLERANCE,
    LUG,
    OLD_PACK_FROM,
    OLD_PACK_RESISTANCE_FACTOR,
    SMALL_BREAKER_POLE,
    STATED_TOLERANCE,
    pack_dc_ohm,
    pack_ohmic_ohm,
)
from interop.standards.sizes import parse_size
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest

if TYPE_CHECKING:
    from interop.records.facts import Fact
    from interop.records.leaves import Span
    from interop.records.models import Record
    from interop.site.site import Device, Pole

__all__ = ["Ohms", "bar_ohms", "cable_ohms", "capacity_ah", "cold_factor", "device_ohms", "pack_ohms", "span_of"]

_COLD_C, _ROOM_C, _NOMINAL_C, _HOT_C = 0.0, 25.0, 40.0, 75.0
_COPPER_C = 20.0
_METRIC_MAX = 1.15
"""A class 5 size that no table lists: up to so many times plain copper of its area (listed ones: 1.10 to 1.14)."""
_BAR_STEP = (3e-6, 8e-6, 25e-6)
"""One step of a busbar that no record describes [ohm]: a bolted face and 3 to 10 cm of bar; this project's default."""


@unchanging
class Ohms:
    """A resistance [ohm]: lowest, the one to work with, highest. ``assumed``: what was taken for granted, or None."""

    low: float
    nominal: float
    high: float
    assumed: str | None = None

    def __add__(self, other: Ohms) -> Ohms:
        words = [w for w in (self.assumed, other.assumed) if w]
        return Ohms(self.low + other.low, self.nominal + other.nominal, self.high + other.high,
                    "; ".join(dict.fromkeys(words)) or None)

    def times(self, low: float, nominal: float, high: float, why: str | None = None) -> Ohms:
        """Return the range with each end so many times over."""
        words = [w for w in (self.assumed, why) if w]
        return Ohms(self.low * low, self.nominal * nominal, self.high * high, "; ".join(words) or None)


def span_of(value: float | Span | None) -> tuple[float, float] | None:
    """Return both ends of a figure that may be a range; None where it is not stated."""
    if value is None:
        return None
    if isinstance(value, (int, float)):
        return float(value), float(value)
    return value.low, value.high


def capacity_ah(device: Device) -> tuple[float, float] | None:
    """Return the capacity [Ah] of a pack, lowest and highest: what was found, else what its record states."""
    found = span_of(device.found_capacity_ah)
    if found is not None:
        return found
    fact = device.record.cells.capacity_ah if device.record.cells is not None else None
    return None if fact is None or not fact.known else (lowest(fact) or 0.0, highest(fact) or 0.0)


def _stated(fact: Fact[Any], scale: float) -> Ohms | None:
    """A stated resistance: its range as stated, a single figure with the tolerance of stated ones."""
    low, high = lowest(fact), highest(fact)
    if low is None or high is None:
        return None
    if high > low:
        return Ohms(low * scale, (low + high) / 2 * scale, high * scale)
    return Ohms(low * scale * STATED_TOLERANCE.low, low * scale, low * scale * STATED_TOLERANCE.high)


def pack_ohms(device: Device, which: str) -> Ohms:
    """Return the resistance between a pack's terminals, its BMS and built-in device included; ``which``: the field
    ``dc_mohm`` or ``ohmic_mohm``.

    Not stated: from the other of the two, else from cells and capacity, both assumed. Age widens the range; cold does
    not (it raises all packs of a bank together: :func:`cold_factor`).
    """
    electric = device.record.electric
    found = _stated(getattr(electric, which), 1e-3)
    if found is None:
        found = _from_the_other(device, which) or _from_cells(device, which)
    age = span_of(device.age_years)
    if not device.new and age is not None and age[1] > OLD_PACK_FROM.value:
        old = OLD_PACK_RESISTANCE_FACTOR
        found = found.times(old.low, old.nominal, old.high, f"older than {OLD_PACK_FROM.value:g} years: up to "
                            f"{old.high:g} times the resistance of a new pack")
    return found


def cold_factor(device: Device) -> float:
    """Return how many times its resistance at 25 C a pack has in the lowest ambient of its place (1 where not stated).

    Linear between 25 C and 0 C, below that as at 0 C.
    """
    ambient = span_of(device.ambient_c)
    cold = _ROOM_C if ambient is None else min(_ROOM_C, ambient[0])
    return 1 + (COLD_FACTOR.value - 1) * (_ROOM_C - max(cold, _COLD_C)) / (_ROOM_C - _COLD_C)


def _from_the_other(device: Device, which: str) -> Ohms | None:
    other = {"dc_mohm": "ohmic_mohm", "ohmic_mohm": "dc_mohm"}[which]
    found = _stated(getattr(device.record.electric, other), 1e-3)
    if found is None:
        return None
    times = DC_FACTOR.value if which == "dc_mohm" else 1 / DC_FACTOR.value
    tolerance = ASSUMED_TOLERANCE
    return Ohms(found.nominal * times * tolerance.low, found.nominal * times, found.nominal * times * tolerance.high,
                f"{which} not stated: {times:g} times {other}")


def _from_cells(device: Device, which: str) -> Ohms:
    cells = device.record.cells
    series = highest(cells.in_series) if cells is not None else None
    capacity = capacity_ah(device)
    if series is None or capacity is None:
        return Ohms(1e-3, 20e-3, 100e-3, f"{which} not stated, nor cells and capacity: 1 to 100 mohm")
    build = pack_dc_ohm if which == "dc_mohm" else pack_ohmic_ohm
    found = build(int(series), capacity[0])
    return Ohms(found.low, found.nominal, found.high,
                f"{which} not stated: from {series:g} cells of {capacity[0]:g} Ah (from memory)")


def cable_ohms(wired: Pole, size: str, length_m: float) -> Ohms:
    """Return the resistance of one piece of a pole's conductors with a lug at each end; ``size`` as written."""
    if length_m < 0:
        raise ValueError(f"a length [m] is not below zero, got {length_m}")
    each = _per_metre(wired, size)
    one = Ohms(each.low * length_m, each.nominal * length_m, each.high * length_m, each.assumed)
    lug = _lug(wired)
    share = 1 / wired.parallel
    return (one + lug + lug).times(share, share, share)


def _lug(wired: Pole) -> Ohms:
    seen = span_of(wired.lug_uohm)
    if seen is None:
        return Ohms(JOINT_TOLERANCE.low, LUG.nominal, JOINT_TOLERANCE.high, "lugs not measured: 5 to 500 uohm each")
    return Ohms(seen[0] * 1e-6, (seen[0] + seen[1]) / 2e6, seen[1] * 1e-6)


def _per_metre(wired: Pole, size: str) -> Ohms:
    conductor = wired.cable.record.conductor if wired.cable is not None else None
    strands = conductor.strands.only if conductor is not None else None
    parsed = parse_size(size)
    usual = "class 5" if parsed.unit == "mm2" else "stranded"
    kind = "class 5 coated" if strands == "class 5 tinned" else strands or usual
    cold, warm, hot = (conductor_ohm_per_m(parsed, c, kind) for c in (_COPPER_C, _NOMINAL_C, _HOT_C))
    if cold is not None and warm is not None and hot is not None:
        return Ohms(cold.low, warm.nominal, hot.high)
    copper = [copper_ohm_per_m(parsed, c) for c in (_COPPER_C, _NOMINAL_C, _HOT_C)]
    return Ohms(copper[0], copper[1] * (1 + _METRIC_MAX) / 2, copper[2] * _METRIC_MAX,
                f"{size} is in no table of {kind} conductors: up to {_METRIC_MAX:g} times copper of that area")


def device_ohms(record: Record) -> Ohms:
    """Return the resistance of one pole of a protective device or switch."""
    device = record.device
    found = None if device is None else _stated(device.mohm, 1e-3)
    if found is not None:
        return found
    kind = None if device is None else device.kind.only
    estimate = FUSE_200_TO_400_A if kind == "fuse" else SMALL_BREAKER_POLE
    return Ohms(estimate.low, estimate.nominal, estimate.high, f"resistance of {record.id} not stated")


def bar_ohms(record: Record | None) -> Ohms:
    """Return the resistance of a busbar from one post to the next."""
    found = None if record is None or record.busbar is None else _stated(record.busbar.step_mohm, 1e-3)
    if found is not None:
        return Ohms(found.low, found.nominal, found.high + 2 * BOLTED_FACE.high)
    return Ohms(*_BAR_STEP, "resistance of the busbar from post to post not stated")
