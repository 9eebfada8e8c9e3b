"""How much power a bank carries: raised from zero until a port, a pack or the network itself says stop."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.draws import Power
from interop.circuit.network import Network, NetworkError, State, each
from interop.circuit.solve import Kind, Solution, Solver
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Limit", "Stop", "first_limit"]

_LEAST_W, _MOST_W = 1e-6, 1e12
_FINE = 1e-10


class Stop(StrEnum):
    """What says stop."""

    CUT_OFF = "low cut-off"
    HIGH_VOLTAGE = "high voltage"
    DISCHARGE = "discharge limit"
    CHARGE = "charge limit"
    COLLAPSE = "collapse"
    NO_PATH = "no path"
    NONE = "nothing"


@unchanging(eq=False)
class Limit:
    """The first thing that says stop, its name (a pack or ports), and the total power there [W], never negative.

    ``solution``: the bank at that power. A limit that is passed without any power stands at 0 W; where nothing says
    stop the power is infinite and the solution is that without power.
    """

    stop: Stop
    names: tuple[str, ...]
    watts: float
    solution: Solution


def first_limit(network: Network, share: ArrayLike, *, charging: bool = False, discharge_a: ArrayLike = np.inf,
                charge_a: ArrayLike = np.inf, low_v: ArrayLike = np.nan, high_v: ArrayLike = np.nan,
                states: Sequence[State] | None = None, drop_v: ArrayLike = 0.0,
                whole: NDArray[np.bool_] | None = None) -> Limit:
    """Raise the power from zero, split over the ports by ``share``, and return what comes first.

    ``share``: one per port, not negative, together 1; ``charging``: the power flows into the bank; ``discharge_a``,
    ``charge_a``: limits of the packs [A]; ``low_v``, ``high_v``: voltages [V] at the ports, NaN for none, judged where
    the share is above zero. Raises `NetworkError` for shares that do not fit and limits that are not above zero.

    The figures are exact to 1e-9 of the power or a microwatt. One crossing is looked for: seen against the current
    that is drawn, each pack's current is linear between changes of blocked packs and a limit in both directions is
    convex, so that what holds without power and fails once goes on failing.
    """
    shares = each(share, network.ports, "shares of the power")
    if not len(shares) or not (shares >= 0).all() or abs(float(shares.sum()) - 1) > 1e-9:
        raise NetworkError("shares of the power are not 0 or more and together 1", network.ports)
    climb = _Climb(network, -shares if charging else shares, Solver(network, states, drop_v=drop_v, whole=whole),
                   _limit(discharge_a, network.packs), _limit(charge_a, network.packs),
                   np.where(shares > 0, each(low_v, network.ports, "low voltages"), np.nan),
                   np.where(shares > 0, each(high_v, network.ports, "high voltages"), np.nan))
    stop, names, solution = climb.at(0.0)
    if stop != Stop.NONE:
        return Limit(stop, names, 0.0, solution)
    good, bad = 0.0, 100.0
    held = solution
    while (found := climb.at(bad))[0] == Stop.NONE:
        good, bad, held = bad, 2 * bad, found[2]
        if bad > _MOST_W:
            return Limit(Stop.NONE, (), np.inf, solution)
    while bad - good > max(_FINE * bad, _LEAST_W):
        middle = (good + bad) / 2
        tried = climb.at(middle)
        if tried[0] == Stop.NONE:
            good, held = middle, tried[2]
        else:
            bad, found = middle, tried
    return Limit(found[0], found[1], good, held)


def _limit(values: ArrayLike, packs: Sequence[str]) -> NDArray[np.float64]:
    """Limits of the packs [A]; one that is not known must not pass as none: the caller says infinite or leaves it."""
    limit = each(values, packs, "current limits")
    bad = [name for name, most in zip(packs, limit, strict=True) if not most > 0]
    if bad:
        raise NetworkError("current limit is not above zero", bad)
    return limit


@unchanging(eq=False)
class _Climb:
    network: Network
    shares: NDArray[np.float64]
    solver: Solver
    discharge_a: NDArray[np.float64]
    charge_a: NDArray[np.float64]
    low_v: NDArray[np.float64]
    high_v: NDArray[np.float64]

    def at(self, watts: float) -> tuple[Stop, tuple[str, ...], Solution]:
        """What says stop at a total power [W], the one that is passed by most."""
        solution = self.solver.solve([Power(float(watts * share)) for share in self.shares])
        outcome = solution.outcome
        if outcome.kind == Kind.NO_PATH:
            return Stop.NO_PATH, outcome.about, solution
        if not outcome.holds:
            return Stop.COLLAPSE, outcome.about, solution
        packs, ports, amps, volts = self.network.packs, self.network.ports, solution.pack_a, solution.port_v
        passed = [(Stop.DISCHARGE, packs, amps / self.discharge_a - 1), (Stop.CHARGE, packs, -amps / self.charge_a - 1),
                  (Stop.CUT_OFF, ports, 1 - volts / self.low_v), (Stop.HIGH_VOLTAGE, ports, volts / self.high_v - 1)]
        worst, names, most = Stop.NONE, tuple[str, ...](), 0.0
        for stop, whose, over in passed:
            by = np.where(np.isnan(over), -np.inf, over)
            if len(by) and float(by.max()) > most:
                worst, most, names = stop, float(by.max()), (whose[int(by.argmax())],)
        return worst, names, solution
