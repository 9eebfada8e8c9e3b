"""What hangs at a port: an inverter's constant power, a constant current, or a charger.

Powers and currents are those at the port's DC terminals and positive when drawn from the bank.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["NOTHING", "Charger", "Current", "Draw", "Laws", "Power", "dc_power"]


def _number(what: str, value: float) -> None:
    if not math.isfinite(value):
        raise ValueError(f"{what} is {value}: expected a number")


@unchanging
class Power:
    """Constant power at the port's terminals [W], positive when drawn from the bank."""

    watts: float

    def __post_init__(self) -> None:
        _number("power", self.watts)


@unchanging
class Current:
    """Constant current at the port's terminals [A], positive when drawn from the bank."""

    amps: float

    def __post_init__(self) -> None:
        _number("current", self.amps)


@unchanging
class Charger:
    """A charger: its full current [A] into the bank up to a voltage [V] at its own terminals, then that voltage.

    It never draws: where the bank stands above its voltage it delivers nothing.
    """

    amps: float
    volts: float

    def __post_init__(self) -> None:
        _number("charge current", self.amps)
        _number("charge voltage", self.volts)
        if self.amps < 0 or self.volts <= 0:
            raise ValueError(f"a charger of {self.amps} A up to {self.volts} V: expected 0 A or more and above 0 V")


Draw: TypeAlias = Power | Current | Charger

NOTHING = Current(0.0)
"""A port that draws nothing."""


def dc_power(ac_w: float, efficiency: float, idle_w: float) -> float:
    """Return the power [W] that an inverter draws at its DC terminals: AC / efficiency + idle.

    ``ac_w``: AC load [W]; ``efficiency``: above 0, at most 1; ``idle_w``: own use [W]. Raises ``ValueError``.
    """
    if not 0 < efficiency <= 1:
        raise ValueError(f"efficiency is {efficiency}: expected above 0, at most 1")
    if not (idle_w >= 0 and ac_w >= 0):
        raise ValueError(f"AC load {ac_w} W and idle {idle_w} W: expected 0 or more")
    return ac_w / efficiency + idle_w


@unchanging(eq=False)
class Laws:
    """Draws as arrays of one shape (..., ports): i = power / u + current, a charger's current up to ``limit_v``.

    ``limit_v`` [V] is infinite where no charger is. ``shunt_s`` [S]: the network was given a source of ``limit_v``
    behind this conductance at the port, whose current is taken out again.
    """

    power_w: NDArray[np.float64]
    current_a: NDArray[np.float64]
    limit_v: NDArray[np.float64]
    shunt_s: NDArray[np.float64]

    @classmethod
    def of(cls, draws: Sequence[Draw]) -> Laws:
        """Return the laws of a row of draws; arrays of shape (ports,)."""
        power = np.array([d.watts if isinstance(d, Power) else 0.0 for d in draws])
        current = np.array([d.amps if isinstance(d, Current) else -d.amps if isinstance(d, Charger) else 0.0
                            for d in draws])
        limit = np.array([d.volts if isinstance(d, Charger) else np.inf for d in draws])
        return cls(power, current, limit, np.zeros(len(draws)))

    @property
    def demanding(self) -> NDArray[np.bool_]:
        """Where something must flow: not a charger, and not nothing."""
        asks: NDArray[np.bool_] = np.isinf(self.limit_v) & ((self.power_w != 0) | (self.current_a != 0))
        return asks

    @property
    def charging(self) -> NDArray[np.bool_]:
        """Where a charger is."""
        return np.isfinite(self.limit_v)

    def excess(self, volts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the currents [A] that the sources given in excess press in at these port voltages [V]."""
        return self.shunt_s * np.where(self.shunt_s > 0, self.limit_v - volts, 0.0)

    def drawn(self, volts: float) -> float:
        """Return the sum of all currents [A] at one voltage [V] above zero; chargers give all up to their own."""
        current = np.where(self.charging & (self.limit_v <= volts), 0.0, self.current_a)
        return float(self.power_w.sum() / volts + current.sum())

    def at(self, index: NDArray[np.int64]) -> Laws:
        """Return the laws of the ports at ``index``; -1 stands for a port that draws nothing."""
        def pick(values: NDArray[np.float64], none: float) -> NDArray[np.float64]:
            return np.append(values, none)[index]

        return Laws(pick(self.power_w, 0.0), pick(self.current_a, 0.0), pick(self.limit_v, np.inf),
                    pick(self.shunt_s, 0.0))

    def rows(self, where: NDArray[np.bool_] | NDArray[np.int64]) -> Laws:
        """Return the laws of some cases: rows of arrays of shape (cases, ports)."""
        return Laws(self.power_w[where], self.current_a[where], self.limit_v[where], self.shunt_s[where])

    def scaled(self, factor: NDArray[np.float64]) -> Laws:
        """Return the laws with every power multiplied by its row's ``factor``, shape (cases,)."""
        return replace(self, power_w=self.power_w * factor[:, None])

    def without(self, off: NDArray[np.bool_]) -> Laws:
        """Return the laws with the ports of ``off`` drawing nothing."""
        return Laws(np.where(off, 0.0, self.power_w), np.where(off, 0.0, self.current_a),
                    np.where(off, np.inf, self.limit_v), self.shunt_s)
