"""What each pack gives for the seconds of a surge: by ohmic resistance, with one pack out too.

power.md §4. All inverters surge at once, the bank nearly empty, resistances to work with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.draws import Current, Draw, Power
from interop.circuit.network import State
from interop.circuit.picture import LOW_STATE
from interop.circuit.solve import solve
from interop.unchanging import unchanging
from interop.wiring.once import once

if TYPE_CHECKING:
    from interop.circuit.picture import Picture
    from interop.site.site import Device

__all__ = ["Surge", "surge_of"]


@unchanging
class Surge:
    """One pack at the surge: current [A] with all packs on, the most with one other pack out and which, what it may
    give for at least as long (None: not stated), and the seconds of the surge.
    """

    pack: str
    amps: float
    one_out_a: float
    out: str | None
    limit_a: float | None
    seconds: float


@once
def surge_of(picture: Picture) -> tuple[Surge, ...] | None:
    """Return the surge of every pack; None where some inverter does not state its surge, or it is not carried."""
    asked = [one.spot.device.record.converter.surge_w.only if one.draws else None for one in picture.converters]
    drawing = [one for one in picture.converters if one.draws]
    if not drawing or any(step is None for step, one in zip(asked, picture.converters, strict=True) if one.draws):
        return None
    seconds = max(step.seconds for step in asked if step is not None)
    network = picture.network_at(LOW_STATE)
    network = network.with_ohm(network.branch_ohm, [o.nominal for o in picture.bank.ohmic])
    draws: list[Draw] = [Current(0.0) if step is None else Power(one.dc_w(step.watts))
                         for step, one in zip(asked, picture.converters, strict=True)]
    whole = solve(network, draws)
    if not whole.outcome.holds:
        return None
    most = np.array(whole.pack_a)
    who: list[str | None] = [None] * len(most)
    for i, name in enumerate(network.packs):
        states = [State.OPEN if k == i else State.ON for k in range(len(network.packs))]
        if len(network.packs) < 2:
            break
        left = solve(network, draws, states=states)
        if left.outcome.holds:
            for k in np.flatnonzero(left.pack_a > most):
                most[k], who[k] = left.pack_a[k], name
    return tuple(Surge(d.id, float(whole.pack_a[i]), float(most[i]), who[i], _may(d, seconds), seconds)
                 for i, d in enumerate(picture.bank.packs))


def _may(device: Device, seconds: float) -> float | None:
    """What a pack may give for some seconds [A]: its peak if that lasts as long, else what it gives without end."""
    from interop.wiring.busbar import lowest

    limits = device.record.limits
    peak, steady = limits.discharge_peak_a.only, lowest(limits.discharge_a)
    if peak is not None and peak.seconds >= seconds:
        return peak.amps if steady is None else max(peak.amps, steady)
    return steady if peak is not None or limits.discharge_peak_a.known else None
