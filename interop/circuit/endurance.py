"""How long a bank carries a stated load: an estimate before and after an extension, with what it rests on.

Source: power.md §4 (P_dc = P_ac / efficiency + idle) and the course. Units: W, kWh, hours, V, Ah; charge states 0 to 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.course import TOLERANCE, course
from interop.circuit.plant import Stage
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.course import Packs
    from interop.circuit.network import Network

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["Compared", "Endurance", "compared", "endurance"]


@unchanging
class Endurance:
    """An estimate. ``stored_kwh``: between each pack's charge state and its low stop at its voltage without current;
    ``usable_kwh``, ``hours``: what reaches the DC terminals, and the time, until the load is cut off or nothing carries
    it; ``first_hours``, ``first``: until the first pack is at its low stop, and which; ``first_kwh`` by then;
    ``load_w``: DC power; ``ended``: "cut off", "dark", "collapse". ``rests_on``: what the estimate rests on, to print.
    """

    stored_kwh: float
    usable_kwh: float
    hours: float
    first_hours: float
    first_kwh: float
    first: str | None
    load_w: float
    ended: str
    rests_on: tuple[str, ...]


@unchanging
class Compared:
    """Endurance before and after an extension, at one load; ``times``: how many times as long it lasts."""

    before: Endurance
    after: Endurance

    @property
    def times(self) -> float:
        """Hours after over hours before."""
        return self.after.hours / self.before.hours if self.before.hours else float("inf")


def endurance(network: Network, packs: Packs, ac_w: float, efficiency: float, idle_w: float, cut_v: float, *,
              rests_on: Sequence[str] = (), split: ArrayLike | None = None, sense: int = 0, closed: Flags | None = None,
              drop_v: float = 0.0, tolerance: float = TOLERANCE) -> Endurance:
    """Return how long the bank carries ``ac_w`` [W] through inverters of an efficiency (0 to 1) and ``idle_w`` [W].

    ``cut_v`` [V]: the inverters' low cut-off at the sensed port. The packs' low stops are the usable shares.
    ``rests_on``: assumptions of the caller, put before those of this estimate. Raises `ValueError` for a load that is
    not above zero or an efficiency outside 0 to 1, else as `interop.circuit.course.course`.
    """
    if not (0 < efficiency <= 1 and ac_w >= 0 and idle_w >= 0 and ac_w + idle_w > 0):
        raise ValueError("endurance needs a load above zero and an efficiency from 0 to 1")
    load_w = ac_w / efficiency + idle_w
    on = np.ones(len(network.packs), bool) if closed is None else closed
    stored = _stored_kwh(packs, on)
    longest = 1.2 * stored * 1000 / load_w + 1e-3
    played = course(network, packs, [Stage(longest, watt=load_w, cut_v=cut_v)], split=split, sense=sense, closed=closed,
                    drop_v=drop_v, tolerance=tolerance)
    end = next((event for event in played.events if event.what in {"cut off", "dark", "collapse"}), None)
    hours = end.hours if end else longest
    stop = played.first("empty")
    first_hours = min(stop.hours, hours) if stop else hours
    first = network.packs[stop.pack] if stop and stop.pack is not None and stop.hours <= hours else None
    return Endurance(
        stored, load_w * hours / 1000, hours, first_hours, load_w * first_hours / 1000, first, load_w,
        end.what if end else "", (*rests_on, *_grounds(ac_w, efficiency, idle_w, cut_v)))


def compared(before: Endurance, after: Endurance) -> Compared:
    """Return both beside each other. Raises `ValueError` where they are for different loads."""
    if not np.isclose(before.load_w, after.load_w, rtol=1e-9):
        raise ValueError(f"endurance at {before.load_w:.0f} W and at {after.load_w:.0f} W is not comparable")
    return Compared(before, after)


def _stored_kwh(packs: Packs, on: Flags) -> float:
    """Energy at the voltage without current from the charge states down to the low stops, by Simpson's rule."""
    count = 201
    low = np.minimum(packs.low_soc, packs.soc)
    volts = np.array([packs.volts(low + (packs.soc - low) * k / (count - 1)) for k in range(count)])
    weights = np.array([1, *[4, 2] * ((count - 3) // 2), 4, 1]) / (3 * (count - 1))
    kwh = packs.capacity_ah * (packs.soc - low) * (weights @ volts) / 1000
    return float(kwh[on].sum())


def _grounds(ac_w: float, efficiency: float, idle_w: float, cut_v: float) -> tuple[str, ...]:
    return (
        f"a constant load of {ac_w:.0f} W AC at efficiency {efficiency:.2f} with {idle_w:.0f} W idle",
        f"a low cut-off of {cut_v:.1f} V at the inverter's terminals",
        "stated capacities and charge states, one resistance per pack, voltages without current from the curve given",
        "no charging meanwhile, no ageing, no cold",
    )
