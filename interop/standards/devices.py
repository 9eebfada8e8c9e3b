"""Protective devices: standard ratings, which rating fits a load and a conductor, what a device can break or let pass.

Ratings and currents are in A. Typical interrupting capacities are from memory: they put a reader in the picture and
never stand in for what a device's record states.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from interop.standards.sizes import Size
from interop.standards.sources import Certainty, Source

__all__ = [
    "CONTINUOUS_SOURCE",
    "CONVENTIONAL_TRIPPING",
    "EXTRA_FUSE_RATINGS_A",
    "IEC_SOURCE",
    "LARGE_BANK_INTERRUPTING",
    "NEXT_SIZE_UP_SOURCE",
    "STANDARD_RATINGS_A",
    "STANDARD_RATINGS_SOURCE",
    "STORAGE_SOURCE",
    "TYPICAL_INTERRUPTING",
    "WITHSTAND_SOURCE",
    "ConventionalTripping",
    "IecOverload",
    "LargeBankInterrupting",
    "TypicalInterrupting",
    "continuous_capacity_a",
    "device_limit_a",
    "iec_overload",
    "least_device_a",
    "next_standard_a",
    "standard_at_most_a",
    "withstand_i2t_a2s",
]

# --- Standard ratings -----------------------------------------------------------------------------
# NEC 240.6(A) (V2). Devices of other ratings are permitted: a rating that is not listed is no fault.

STANDARD_RATINGS_SOURCE = Source("NEC", "240.6(A)", Certainty.V2)
STANDARD_RATINGS_A: tuple[int, ...] = (
    15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400, 450, 500,
    600, 700, 800, 1000, 1200, 1600, 2000, 2500, 3000, 4000, 5000, 6000,
)  # fmt: skip
EXTRA_FUSE_RATINGS_A: tuple[int, ...] = (1, 3, 6, 10)
"""Standard ratings that fuses have besides."""

NEXT_SIZE_UP_SOURCE = Source("NEC", "240.4(B), 240.4(C)", Certainty.V2)
_NEXT_SIZE_UP_TO_A = 800

CONTINUOUS_SOURCE = Source("NEC", "210.20(A)", Certainty.V1)
STORAGE_SOURCE = Source("NEC", "706, circuits of energy storage", Certainty.V1)
_CONTINUOUS = 1.25

# A computed current such as 1.25 x 160 may lie a hair above the rating that it is.
_HAIR = 1e-9


def next_standard_a(current_a: float, *, fuse: bool = False) -> int | None:
    """Smallest standard rating not below a current [A]; None above the largest.

    `fuse` adds the ratings that only fuses have. Raises `ValueError` for a current below zero or no number.
    """
    _check("current", current_a)
    return min((rating for rating in _ratings(fuse) if rating >= current_a * (1 - _HAIR)), default=None)


def standard_at_most_a(limit_a: float, *, fuse: bool = False) -> int | None:
    """Largest standard rating not above a limit [A]; None below the smallest. Arguments as in `next_standard_a`."""
    _check("limit", limit_a)
    return max((rating for rating in _ratings(fuse) if rating <= limit_a * (1 + _HAIR)), default=None)


def device_limit_a(ampacity_a: float, *, next_size_up: bool = True, fuse: bool = False) -> float:
    """Largest rating [A] of the device on a conductor of an ampacity [A]; any rating up to it is permitted.

    The next standard rating up where the ampacity is none itself and that rating is not above 800 A (240.4(B)); else,
    and where `next_size_up` is not allowed, the ampacity (240.4(C)). Small conductors have a limit of their own
    besides (240.4(D)). Raises `ValueError` for an ampacity below zero or no number.
    """
    _check("ampacity", ampacity_a)
    above = next_standard_a(ampacity_a, fuse=fuse)
    # A conductor that may carry nothing gets no device at all.
    if not next_size_up or ampacity_a == 0 or above is None or above > _NEXT_SIZE_UP_TO_A:
        return ampacity_a
    return max(ampacity_a, above)


def least_device_a(continuous_a: float, *, hundred_percent_rated: bool = False) -> float:
    """Least rating [A] for a continuous current [A]: 125 % of it, or itself for a device listed at 100 %.

    Not stated is not listed. Raises `ValueError` for a current below zero or no number.
    """
    _check("current", continuous_a)
    return continuous_a if hundred_percent_rated else _CONTINUOUS * continuous_a


def continuous_capacity_a(rating_a: float, *, hundred_percent_rated: bool = False) -> float:
    """Continuous current [A] that a device of a rating [A] carries: 80 % of it, or all where listed at 100 %.

    Not stated is not listed. Derating by ambient is the device's own and comes on top. Raises `ValueError` for a
    rating below zero or no number.
    """
    _check("rating", rating_a)
    return rating_a if hundred_percent_rated else rating_a / _CONTINUOUS


# --- The IEC rule ---------------------------------------------------------------------------------

IEC_SOURCE = Source("IEC 60364-4-43", "433.1, Ib <= In <= Iz and I2 <= 1.45 Iz", Certainty.MEM)


@dataclass(frozen=True, slots=True)
class IecOverload:
    """How a device stands between load and conductor; `trips_in_time` None where I2 is not stated (cannot tell)."""

    carries_load: bool
    within_conductor: bool
    trips_in_time: bool | None


def iec_overload(ib_a: float, in_a: float, iz_a: float, i2_a: float | None = None) -> IecOverload:
    """Hold a design current Ib, a rating In and a conductor's current Iz [A] against Ib <= In <= Iz, I2 <= 1.45 Iz.

    I2 is the device's conventional tripping or fusing current [A]. Raises `ValueError` for a current below zero or no
    number.
    """
    for name, value in (("Ib", ib_a), ("In", in_a), ("Iz", iz_a), ("I2", i2_a)):
        if value is not None:
            _check(name, value)
    return IecOverload(
        ib_a <= in_a * (1 + _HAIR),
        in_a <= iz_a * (1 + _HAIR),
        None if i2_a is None else i2_a <= 1.45 * iz_a * (1 + _HAIR),
    )


@dataclass(frozen=True, slots=True)
class ConventionalTripping:
    """I2 of a kind of device as a multiple of its rating In."""

    times_rating: float
    source: Source


CONVENTIONAL_TRIPPING: Mapping[str, ConventionalTripping] = MappingProxyType(
    {
        "breaker to IEC 60898": ConventionalTripping(1.45, Source("IEC 60898-1", "", Certainty.MEM)),
        "breaker to IEC 60947-2": ConventionalTripping(1.30, Source("IEC 60947-2", "", Certainty.MEM)),
        "fuse gG, 16 A and more": ConventionalTripping(1.60, Source("IEC 60269-1", "", Certainty.MEM)),
    }
)
"""I2 where a record names the standard but not the current."""

# --- Interrupting capacity ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TypicalInterrupting:
    """What devices of a kind usually break [kA], and up to which voltage [V] where that is the usual trap."""

    low_ka: float
    high_ka: float
    usual_v: tuple[int, ...]
    alternating: bool
    source: Source


@dataclass(frozen=True, slots=True)
class LargeBankInterrupting:
    """What is asked of the device on a large bank: `interrupting_ka` at `at_v` DC above both thresholds."""

    above_ah: float
    above_ka: float
    interrupting_ka: float
    at_v: float
    source: Source


_FIELD = Source("field practice", "", Certainty.MEM)

TYPICAL_INTERRUPTING: Mapping[str, TypicalInterrupting] = MappingProxyType(
    {
        "small moulded breaker": TypicalInterrupting(5, 10, (), alternating=False, source=_FIELD),
        "large frame breaker": TypicalInterrupting(10, 50, (), alternating=False, source=_FIELD),
        "bolt-down strip or terminal fuse": TypicalInterrupting(2, 6, (32, 58), alternating=False, source=_FIELD),
        # An AC figure: what it breaks on DC is another number and has to be stated.
        "class T fuse": TypicalInterrupting(200, 200, (), alternating=True, source=_FIELD),
    }
)
"""Orders of magnitude by kind of device, from memory. A fault above the range is worth a word; never a verdict."""

LARGE_BANK_INTERRUPTING = LargeBankInterrupting(
    above_ah=500,
    above_ka=10,
    interrupting_ka=20,
    at_v=125,
    source=Source("a standard for boats", "device on a large bank", Certainty.V1),
)

# --- What a conductor withstands ------------------------------------------------------------------
# IEC 60364-4-43, copper, heating from full load to the insulation's short-circuit temperature with no heat lost, good
# to about 5 s: PVC 70 to 160 C, XLPE 90 to 250 C, rubber 60 to 200 C. PVC above 300 mm2 has a lower k.

WITHSTAND_SOURCE = Source("IEC 60364-4-43", "434.5.2, I2t = k2 S2", Certainty.MEM)
_WITHSTAND_K: Mapping[str, int] = MappingProxyType({"pvc": 115, "xlpe": 143, "rubber": 141})
_PVC_UP_TO_MM2 = 300


def withstand_i2t_a2s(size: Size, insulation: str) -> float | None:
    """Most that a device may let through [A2 s] before the insulation of a copper conductor suffers.

    ``insulation``: `pvc`, `xlpe` or `rubber`. None for PVC above 300 mm2. Raises `ValueError` for another insulation.
    """
    if insulation not in _WITHSTAND_K:
        raise ValueError(f"insulation is one of {', '.join(_WITHSTAND_K)}, got {insulation!r}")
    if insulation == "pvc" and size.area_mm2 > _PVC_UP_TO_MM2:
        return None
    return (_WITHSTAND_K[insulation] * size.area_mm2) ** 2


def _ratings(fuse: bool) -> tuple[int, ...]:
    return EXTRA_FUSE_RATINGS_A + STANDARD_RATINGS_A if fuse else STANDARD_RATINGS_A


def _check(what: str, value: float) -> None:
    if not 0 <= value < math.inf:
        raise ValueError(f"{what} [A] is zero or more, got {value}")
