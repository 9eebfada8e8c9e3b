"""The ripple that inverters draw beside their direct current, shared by ohmic resistance.

power.md §4: the effective value counts for cables and devices, the peak for the trips of a BMS. A single-phase inverter
draws its power in pulses of twice the mains frequency; how much of that its capacitors keep away is in its record, or a
default from memory.
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.picture import LOW_STATE
from interop.circuit.solve import solve
from interop.standards.estimates import Estimate
from interop.standards.sources import Certainty, Source
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from interop.circuit.picture import Picture

__all__ = ["RIPPLE", "Rippled", "rippled"]

RIPPLE = Estimate("ripple of an inverter, effective, against its direct current", 0.0, 0.2, 0.5, "",
                  Source("field practice", "", Certainty.MEM))
"""Where no record states it; a single-phase inverter without any capacitor has 0.71."""


@unchanging
class Rippled:
    """One pack or limited branch at the highest load: direct current [A], effective value with the ripple at the low
    and at the high end of what is known [A], and what it carries [A]; ``peak_a``: the peak at the high end;
    ``trip_a``: the current at which a BMS opens within a period, None: not stated or no pack.
    """

    name: str
    is_pack: bool
    amps: float
    least_a: float
    most_a: float
    limit_a: float
    peak_a: float
    trip_a: float | None


@once
def rippled(picture: Picture) -> tuple[Rippled, ...]:
    """Return what carries ripple; empty where the load is not known or not carried."""
    load = picture.at_load
    if picture.load_w is None or load is None or not load.outcome.holds:
        return ()
    network = picture.network_at(LOW_STATE)
    fast = solve(network.with_ohm(network.branch_ohm, [o.nominal for o in picture.bank.ohmic]),
                 picture.draws(picture.load_w))
    if not fast.outcome.holds:
        return ()
    shares = [_share(picture, side) for side in (0, 1)]
    packs = [(d.id, True, i, float(picture.limits.discharge_a[i]), _trip(picture, i))
             for i, d in enumerate(picture.bank.packs)]
    branches = [(name, False, i, float(picture.limits.forward_a[i]), None) for i, name in enumerate(network.branches)
                if np.isfinite(picture.limits.forward_a[i])]
    rows = []
    for name, is_pack, i, limit, trip in (*packs, *branches):
        direct = abs(float(load.pack_a[i] if is_pack else load.branch_a[i]))
        quick = abs(float(fast.pack_a[i] if is_pack else fast.branch_a[i]))
        least, most = (sqrt(direct**2 + (share * quick) ** 2) for share in shares)
        rows.append(Rippled(name, is_pack, direct, least, most, limit, direct + sqrt(2) * shares[1] * quick, trip))
    return tuple(rows)


def _share(picture: Picture, side: int) -> float:
    """The ripple of all inverters together, as if in step: of each at one end of what is known, by rated power."""
    drawing = [one for one in picture.converters if one.draws and one.power_w]
    rated = sum(one.power_w or 0.0 for one in drawing)
    total = 0.0
    for one in drawing:
        fact = one.spot.device.record.converter.ripple
        value = (lowest(fact), highest(fact))[side]
        total += (one.power_w or 0.0) * ((RIPPLE.low, RIPPLE.high)[side] if value is None else value)
    return total / rated if rated else 0.0


def _trip(picture: Picture, i: int) -> float | None:
    step = picture.bank.packs[i].record.electric.trips.short_circuit.only
    return None if step is None else step.amps
