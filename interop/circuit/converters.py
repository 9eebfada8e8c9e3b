"""What hangs at the ports of a bank: inverters, chargers, loads, with what their records state and what is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from interop.circuit.bank import Bank, PortSpot
from interop.circuit.draws import dc_power
from interop.standards.estimates import Estimate
from interop.standards.sources import PROJECT_DEFAULT, Certainty, Source
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest

if TYPE_CHECKING:
    from interop.records.facts import Fact
    from interop.site.site import Load

__all__ = ["EFFICIENCY", "IDLE_SHARE", "Converter", "converters", "shares_of_load"]

EFFICIENCY = Estimate("efficiency of an inverter", 0.88, 0.93, 0.97, "", Source("field practice", "", Certainty.MEM))
"""Efficiency where none is stated."""
IDLE_SHARE = Estimate("idle power of an inverter against its rated power", 0.0, 0.01, 0.02, "", PROJECT_DEFAULT)
"""Idle power where none is stated, as a share of the rated power."""


@unchanging
class Converter:
    """One unit at a port. ``draws`` False: a charger, which only gives.

    ``power_w``: rated power at its outlets [W]; ``lowest_v``, ``highest_v``: input range [V]; ``charge_a``: current
    into the bank [A]; None: not stated. ``settable``: its charge current can be set lower. ``efficiency``: lowest,
    nominal, highest; ``idle_w`` likewise [W]; ``assumed``: what was taken for granted.
    """

    spot: PortSpot
    draws: bool
    power_w: float | None
    efficiency: tuple[float, float, float]
    idle_w: tuple[float, float, float]
    lowest_v: float | None
    highest_v: float | None
    charge_a: float | None
    settable: bool
    assumed: tuple[tuple[str, str], ...]

    @property
    def name(self) -> str:
        """The name of its port."""
        return self.spot.name

    def dc_w(self, ac_w: float, which: int = 1) -> float:
        """Power at its DC terminals [W] for a power at its outlets [W]; ``which``: 0 the most it may draw, 1 nominal.

        The lowest efficiency goes with the highest idle power.
        """
        return dc_power(ac_w, self.efficiency[which], self.idle_w[2 if which == 0 else 1])

    def highest_a(self) -> float | None:
        """Current [A] at rated power and lowest input voltage (NEC 706.30(A), from memory); None: not stated."""
        if self.power_w is None or self.lowest_v is None:
            return None
        return self.dc_w(self.power_w, 0) / self.lowest_v


def _three(fact: Fact[Any], estimate: tuple[float, float, float]) -> tuple[tuple[float, float, float], bool]:
    low, high = lowest(fact), highest(fact)
    if low is None or high is None:
        return estimate, True
    return (low, (low + high) / 2, high), False


def converters(bank: Bank) -> tuple[Converter, ...]:
    """Return what hangs at each port of a bank, in the order of the ports."""
    return tuple(_converter(spot) for spot in bank.ports)


def _converter(spot: PortSpot) -> Converter:
    record = spot.device.record
    limits, facts = record.limits, record.converter
    power = lowest(limits.power_w)
    efficiency, unsure = _three(facts.efficiency, (EFFICIENCY.low, EFFICIENCY.nominal, EFFICIENCY.high))
    shares = (IDLE_SHARE.low, IDLE_SHARE.nominal, IDLE_SHARE.high)
    idle, idle_unsure = _three(facts.idle_w, tuple(s * (power or 0.0) for s in shares))  # type: ignore[arg-type]
    draws = record.kind != "charger"
    assumed = []
    if draws and unsure:
        assumed.append(("converter.efficiency", f"{EFFICIENCY.low:g}..{EFFICIENCY.high:g} (from memory)"))
    if draws and idle_unsure:
        assumed.append(("converter.idle_w", f"up to {IDLE_SHARE.high:.0%} of the rated power"))
    return Converter(spot, draws, power, efficiency, idle, lowest(limits.lowest_v), lowest(limits.highest_v),
                     highest(limits.charge_a), facts.current_settable.only is True, tuple(assumed))


def shares_of_load(found: Sequence[Converter], load: Load) -> tuple[float, ...] | None:
    """Return the power at each port's outlets [W] at the highest load of the site, by rated power.

    Without a stated load: every unit at its rated power. None where a unit that draws has no stated power. The load is
    carried by the units that draw; more than they are rated for is not given to them.
    """
    drawing = [one for one in found if one.draws]
    if not drawing or any(one.power_w is None for one in drawing):
        return None
    rated = sum(one.power_w or 0.0 for one in drawing)
    wanted = load.highest_w
    most = rated if wanted is None else min(rated, wanted if isinstance(wanted, (int, float)) else wanted.high)
    return tuple((one.power_w or 0.0) * most / rated if one.draws else 0.0 for one in found)
