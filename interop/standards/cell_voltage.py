"""Open-circuit voltage of one LFP cell against its charge state, how far that can be trusted, and the way back.

Voltages are V per cell, rested, at 25 C; a charge state is a fraction, 0 empty to 1 full. Two open parameter sets, A
and B, differ by 60 mV at 20 to 30 % and by much more below: voltage says little about charge on the plateau. Outside
10 to 95 % there is no answer (None). The `lfp_model_*` functions do answer everywhere, for a solver that integrates
through the ends; what they say there is a model and no published value. A measured rested voltage always replaces the
curve.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

from interop.standards.sources import PROJECT_DEFAULT, Certainty, Source

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BAND_SOURCE",
    "RESTED_FULL_HIGHEST_V",
    "RESTED_FULL_SOURCE",
    "RESTED_FULL_V",
    "SOURCE_A",
    "SOURCE_B",
    "VALID_FROM",
    "VALID_TO",
    "CellRange",
    "ChargeStateRange",
    "Curve",
    "lfp_cell_slope",
    "lfp_cell_voltage",
    "lfp_charge_state",
    "lfp_closed_form_a",
    "lfp_model_slope",
    "lfp_model_voltage",
]

Curve = Literal["mean", "a", "b"]
"""Mean of the two parameter sets, or one of them."""

VALID_FROM, VALID_TO = 0.10, 0.95
"""Charge states between which the curves are used at all."""

RESTED_FULL_V, RESTED_FULL_HIGHEST_V = 3.33, 3.45
"""A full cell at rest [V], and the most that it may show; 3.60 to 3.65 V exists only while charging."""


@dataclass(frozen=True, slots=True)
class CellRange:
    """A value of one cell [V, or V per unit of charge state] with the range that it may lie in."""

    low: float
    nominal: float
    high: float


@dataclass(frozen=True, slots=True)
class ChargeStateRange:
    """The charge states (0 to 1) that a voltage leaves possible."""

    low: float
    high: float

    @property
    def width(self) -> float:
        """How little the voltage says: 1 is nothing at all."""
        return self.high - self.low


def lfp_cell_voltage(charge_state: float) -> CellRange | None:
    """Rested voltage [V] of a cell; None outside 10 to 95 %.

    Nominal is the mean of both parameter sets. The range is 30 mV either way (200 mV below 20 %), and never narrower
    than the two sets. Raises `ValueError` for a charge state outside 0 to 1.
    """
    _check_charge_state(charge_state)
    if not VALID_FROM <= charge_state <= VALID_TO:
        return None
    return CellRange(_lowest_v(charge_state), _MEAN.voltage(charge_state), _highest_v(charge_state))


def lfp_cell_slope(charge_state: float) -> CellRange | None:
    """Slope [V per unit of charge state] of the rested voltage; None outside 10 to 95 %.

    Nominal is the mean curve's, low and high those of the two sets: on the plateau they differ several times over.
    Raises `ValueError` for a charge state outside 0 to 1.
    """
    _check_charge_state(charge_state)
    if not VALID_FROM <= charge_state <= VALID_TO:
        return None
    mean, a, b = (curve.slope(charge_state) for curve in (_MEAN, _A, _B))
    return CellRange(min(mean, a, b), mean, max(mean, a, b))


def lfp_charge_state(cell_v: float, uncertainty_v: float = 0.0) -> ChargeStateRange | None:
    """Every charge state that a rested cell at a voltage [V], read to within an uncertainty [V], may have.

    It holds all charge states whose range of `lfp_cell_voltage` reaches the reading, given that the voltage never falls
    as charge rises. Beyond 10 and 95 % the curves exclude nothing, so it then goes to 0 or 1. None where no rested LFP
    cell reads so: below 2.0 V or above the highest rested full. Raises `ValueError` for a voltage that is no number and
    an uncertainty below zero.
    """
    if not math.isfinite(cell_v):
        raise ValueError(f"a cell's voltage [V] is a number, got {cell_v}")
    if not 0 <= uncertainty_v < math.inf:
        raise ValueError(f"an uncertainty [V] is zero or more, got {uncertainty_v}")
    least_v, most_v = cell_v - uncertainty_v, cell_v + uncertainty_v
    if most_v < _EMPTY_V or least_v > RESTED_FULL_HIGHEST_V:
        return None
    low = 0.0 if _ceiling_v(VALID_FROM) >= least_v else _crossing(_ceiling_v, least_v)
    high = 1.0 if _lowest_v(VALID_TO) <= most_v else _crossing(_lowest_v, most_v)
    return ChargeStateRange(low, high)


def lfp_closed_form_a(charge_state: float) -> float:
    """Voltage [V] of parameter set A by its formula; to be used from 10 to 95 % only.

    Raises `ValueError` for a charge state outside 0 to 1.
    """
    _check_charge_state(charge_state)
    x = 0.0176179 + charge_state * (0.8100435 - 0.0176179)
    y = 0.7035020 - charge_state * (0.7035020 - 0.0037616)
    positive = 3.4077 - 0.020269 * y + 0.5 * math.exp(-150 * y) - 0.9 * math.exp(-30 * (1 - y))
    negative = (
        1.9793 * math.exp(-39.3631 * x)
        + 0.2482
        - 0.0909 * math.tanh(29.8538 * (x - 0.1234))
        - 0.04478 * math.tanh(14.9159 * (x - 0.2769))
        - 0.0205 * math.tanh(30.4444 * (x - 0.6103))
    )
    return positive - negative


def lfp_model_voltage(charge_state: ArrayLike, curve: Curve = "mean") -> NDArray[np.float64]:
    """Voltage [V] at any charge state, same shape: a model for integrating, smooth and rising everywhere.

    From 10 to 95 % it is the published curve. Below 10 % it follows the parameter sets down to 2.0 V at 0; above 95 %
    it follows them up to 99 % and then goes to the highest rested full at 1, where theirs go on to 3.6 V, which a cell
    at rest does not keep. Outside 0 to 1 it goes straight on. Raises `ValueError` for a charge state that is no finite
    number and for another curve.
    """
    (v, a, b, c), u = _located(charge_state, curve)
    return _as_array(_cubic(v, a, b, c, u))


def lfp_model_slope(charge_state: ArrayLike, curve: Curve = "mean") -> NDArray[np.float64]:
    """Slope [V per unit of charge state] of `lfp_model_voltage`, same shape; above zero everywhere. Raises alike."""
    (v, a, b, c), u = _located(charge_state, curve)
    return _as_array(_cubic_slope(v, a, b, c, u))


def _located(charge_state: ArrayLike, curve: Curve) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The coefficients of the piece that each charge state lies on, and how far from its start."""
    import numpy as np

    if curve not in _CURVES:
        raise ValueError(f"a curve is one of {', '.join(_CURVES)}, got {curve!r}")
    s = np.asarray(charge_state, dtype=np.float64)
    if not np.isfinite(s).all():
        raise ValueError("a charge state is a finite number")
    starts, pieces = _CURVES[curve].arrays
    spots = np.searchsorted(starts[1:], s, side="right")
    return pieces[:, spots], s - starts[spots]


def _as_array(values: Any) -> NDArray[np.float64]:
    """An array also for a single charge state, for which arithmetic leaves a plain number."""
    import numpy as np

    return np.asarray(values, dtype=np.float64)


def _cubic(v: Any, a: Any, b: Any, c: Any, u: Any) -> Any:
    """One piece at a distance from its start, for numbers and for arrays."""
    return v + u * (a + u * (b + u * c))


def _cubic_slope(_v: Any, a: Any, b: Any, c: Any, u: Any) -> Any:
    return a + u * (2 * b + u * 3 * c)


class _RisingCurve:
    """A smooth curve through points that rise, which rises between them too; straight beyond its ends.

    Piecewise cubic with slopes after Fritsch and Butland (1984). Piece i starts at `starts[i]`; the first runs from
    minus infinity and starts, for its distances, where the second does.
    """

    def __init__(self, at: Sequence[float], volts: Sequence[float]) -> None:
        slopes = _rising_slopes(at, volts)
        pieces = [(volts[0], slopes[0], 0.0, 0.0)]
        for (x0, x1), (v0, v1), (m0, m1) in zip(pairwise(at), pairwise(volts), pairwise(slopes), strict=True):
            h, chord = x1 - x0, (v1 - v0) / (x1 - x0)
            pieces.append((v0, m0, (3 * chord - 2 * m0 - m1) / h, (m0 + m1 - 2 * chord) / h**2))
        pieces.append((volts[-1], slopes[-1], 0.0, 0.0))
        self.starts = (at[0], *at)
        self.pieces = tuple(pieces)

    def voltage(self, s: float) -> float:
        i = bisect_right(self.starts, s, lo=1) - 1
        return float(_cubic(*self.pieces[i], s - self.starts[i]))

    def slope(self, s: float) -> float:
        i = bisect_right(self.starts, s, lo=1) - 1
        return float(_cubic_slope(*self.pieces[i], s - self.starts[i]))

    @cached_property
    def arrays(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Starts, and the four coefficients by piece."""
        import numpy as np

        return np.array(self.starts), np.array(self.pieces).T


def _rising_slopes(at: Sequence[float], volts: Sequence[float]) -> list[float]:
    steps = [b - a for a, b in pairwise(at)]
    chords = [(b - a) / h for (a, b), h in zip(pairwise(volts), steps, strict=True)]
    inner = []
    for (h0, h1), (d0, d1) in zip(pairwise(steps), pairwise(chords), strict=True):
        w0, w1 = 2 * h1 + h0, h1 + 2 * h0
        inner.append((w0 + w1) / (w0 / d0 + w1 / d1))
    # An end takes the slope of its own chord: always above zero.
    return [chords[0], *inner, chords[-1]]


def _lowest_v(s: float) -> float:
    band = _BAND_V if s >= _BAND_FROM else _BAND_BELOW_V
    return min(_MEAN.voltage(s) - band, _A.voltage(s), _B.voltage(s))


def _highest_v(s: float) -> float:
    band = _BAND_V if s >= _BAND_FROM else _BAND_BELOW_V
    return max(_MEAN.voltage(s) + band, _A.voltage(s), _B.voltage(s))


def _ceiling_v(s: float) -> float:
    """Highest voltage, given that no higher charge state may lie lower: it rises, where the wide band ends as well."""
    return _highest_v(s) if s >= _BAND_FROM else min(_highest_v(s), _highest_v(_BAND_FROM))


def _crossing(rising: Callable[[float], float], volts: float) -> float:
    """Charge state in 10 to 95 % where a rising bound passes a voltage; the nearer end where it does not."""
    low, high = VALID_FROM, VALID_TO
    for _ in range(60):
        middle = (low + high) / 2
        if rising(middle) < volts:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _check_charge_state(charge_state: float) -> None:
    if not 0 <= charge_state <= 1:
        raise ValueError(f"a charge state is a fraction from 0 to 1, got {charge_state}")


# --- The two parameter sets -----------------------------------------------------------------------
# Charge state, A [V], B [V], rested at 25 C. A borrows its electrode curves; read between its points it stays within
# 2 mV of A's own formula from 20 % on, 8 mV below. 3.33 and 3.45 V are from memory.

SOURCE_A = Source("pybamm, parameter set Prada2013", "electrode curves of Afshar 2017 and Chen 2020", Certainty.PRIMARY)
SOURCE_B = Source("Battery Parameter eXchange (BPX)", "example cell, LFP 18650", Certainty.V1)
RESTED_FULL_SOURCE = Source("field practice", "full LFP cell at rest", Certainty.MEM)
BAND_SOURCE = PROJECT_DEFAULT

_POINTS: tuple[tuple[float, float, float], ...] = (
    (0.00, 2.0, 2.0),
    (0.02, 2.46, 2.9482),
    (0.05, 2.7853, 3.1365),
    (0.10, 2.9781, 3.1882),
    (0.15, 3.108, 3.2039),
    (0.20, 3.1685, 3.2296),
    (0.25, 3.1857, 3.2541),
    (0.30, 3.2058, 3.2674),
    (0.40, 3.2525, 3.275),
    (0.50, 3.266, 3.2781),
    (0.60, 3.2688, 3.2864),
    (0.70, 3.274, 3.3057),
    (0.75, 3.2926, 3.3136),
    (0.80, 3.3097, 3.3181),
    (0.85, 3.3132, 3.3205),
    (0.90, 3.3142, 3.3218),
    (0.95, 3.3164, 3.3227),
    (0.98, 3.3502, 3.3235),
    (0.99, 3.415, 3.334),
    # At 1 the sets have 3.6 and 3.6486 V, which stand only while charging.
    (1.00, RESTED_FULL_HIGHEST_V, RESTED_FULL_HIGHEST_V),
)
_EMPTY_V = _POINTS[0][1]

# Half of the spread that is taken about the mean: hysteresis, temperature and unlike cells.
_BAND_V = 0.030
_BAND_BELOW_V = 0.200
_BAND_FROM = 0.20

_AT = [s for s, _, _ in _POINTS]
_A = _RisingCurve(_AT, [a for _, a, _ in _POINTS])
_B = _RisingCurve(_AT, [b for _, _, b in _POINTS])
_MEAN = _RisingCurve(_AT, [(a + b) / 2 for _, a, b in _POINTS])
_CURVES = {"mean": _MEAN, "a": _A, "b": _B}
