"""What is taken for a resistance, an inductance or a health that nobody stated: ranges, each with its source.

Every one is an assumption and is printed as one. Those from memory (MEM) warn and never stop on their own; the
tolerances and the typical figure inside a range are defaults of this project. Units are SI: ohm, H.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from interop.standards.sources import PROJECT_DEFAULT, Certainty, Source

__all__ = [
    "ASSUMED_TOLERANCE",
    "BOLTED_FACE",
    "CABLE_INDUCTANCE_PER_M",
    "CELL_OHMIC_TIMES_AH",
    "COLD_FACTOR",
    "DC_FACTOR",
    "FUSE_200_TO_400_A",
    "JOINT_TOLERANCE",
    "LUG",
    "OLD_PACK_FROM",
    "OLD_PACK_HEALTH",
    "OLD_PACK_RESISTANCE_FACTOR",
    "PACK_PLUG_PAIR",
    "SMALL_BREAKER_POLE",
    "STATED_TOLERANCE",
    "Estimate",
    "Figure",
    "Tolerance",
    "pack_dc_ohm",
    "pack_ohmic_ohm",
]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A range with a figure to work with inside it, in `unit` (empty: a factor); printed under the name `what`."""

    what: str
    low: float
    nominal: float
    high: float
    unit: str
    source: Source

    def times(self, factor: float, what: str) -> Estimate:
        """The range so many times over, under another name. Raises `ValueError` for a factor not above zero."""
        if not 0 < factor < math.inf:
            raise ValueError(f"a factor is above zero, got {factor}")
        return Estimate(what, self.low * factor, self.nominal * factor, self.high * factor, self.unit, self.source)


@dataclass(frozen=True, slots=True)
class Figure:
    """A single assumed figure without a range, in `unit` (empty: a factor); printed under the name `what`."""

    what: str
    value: float
    unit: str
    source: Source


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a resistance may lie from the figure that is known of it, as factors."""

    low: float
    high: float
    source: Source

    def around(self, what: str, nominal: float, unit: str, source: Source) -> Estimate:
        """The range about a figure. Raises `ValueError` for a figure not above zero."""
        if not 0 < nominal < math.inf:
            raise ValueError(f"{what} [{unit}] is above zero, got {nominal}")
        return Estimate(what, nominal * self.low, nominal, nominal * self.high, unit, source)


def pack_ohmic_ohm(in_series: int, capacity_ah: float) -> Estimate:
    """Resistance [ohm] of a pack that counts within 10 ms (faults, inrush, surge), at 25 C and half charge.

    So many cells in series, each 40 mohm over its capacity [Ah], and the tolerance of an assumed figure. Raises
    `ValueError` for a count or a capacity not above zero.
    """
    if in_series < 1:
        raise ValueError(f"cells in series are one or more, got {in_series}")
    if not 0 < capacity_ah < math.inf:
        raise ValueError(f"a capacity [Ah] is above zero, got {capacity_ah}")
    nominal = in_series * CELL_OHMIC_TIMES_AH.value / capacity_ah
    return ASSUMED_TOLERANCE.around("ohmic resistance of a pack", nominal, "ohm", _FIELD)


def pack_dc_ohm(in_series: int, capacity_ah: float) -> Estimate:
    """Resistance [ohm] of a pack that counts from 30 s on (sharing, drop): twice the ohmic one. Raises alike."""
    return pack_ohmic_ohm(in_series, capacity_ah).times(DC_FACTOR.value, "resistance of a pack over 30 s and longer")


def _decade(what: str, low: float, high: float, unit: str, source: Source) -> Estimate:
    """A range with its geometric mean to work with, since such figures spread by factors."""
    return Estimate(what, low, math.sqrt(low * high), high, unit, source)


_FIELD = Source("field practice", "", Certainty.MEM)

# --- Packs ----------------------------------------------------------------------------------------

CELL_OHMIC_TIMES_AH = Figure("ohmic resistance of one LFP cell times its capacity", 0.040, "ohm Ah", _FIELD)
DC_FACTOR = Figure("resistance over 30 s and longer against the ohmic one", 2.0, "", _FIELD)
COLD_FACTOR = Figure("resistance at 0 C against 25 C", 2.0, "", _FIELD)

# A pack older than so many years with nothing stated has the next two.
OLD_PACK_FROM = Figure("age from which a pack counts as old", 3, "years", PROJECT_DEFAULT)
OLD_PACK_HEALTH = Estimate("health of an old pack", 0.80, 0.90, 1.00, "", PROJECT_DEFAULT)
OLD_PACK_RESISTANCE_FACTOR = Estimate("resistance of an old pack against new", 1.0, 1.25, 1.5, "", PROJECT_DEFAULT)

# --- Joints and devices ---------------------------------------------------------------------------

LUG = _decade("crimped lug with its joint", 20e-6, 100e-6, "ohm", _FIELD)
BOLTED_FACE = _decade(
    "bolted face", 1.7e-6, 7e-6, "ohm", Source("common practice", "one copy of low authority", Certainty.V1)
)
PACK_PLUG_PAIR = _decade("pair of power plugs of a pack", 100e-6, 500e-6, "ohm", _FIELD)
SMALL_BREAKER_POLE = _decade("pole of a small DC breaker", 0.3e-3, 1e-3, "ohm", _FIELD)
FUSE_200_TO_400_A = _decade("fuse of 200 to 400 A", 0.1e-3, 0.3e-3, "ohm", _FIELD)

# --- Tolerances -----------------------------------------------------------------------------------

STATED_TOLERANCE = Tolerance(0.75, 1.25, PROJECT_DEFAULT)
ASSUMED_TOLERANCE = Tolerance(0.60, 2.00, PROJECT_DEFAULT)
JOINT_TOLERANCE = _decade("joint, good to bad", 5e-6, 500e-6, "ohm", PROJECT_DEFAULT)
"""What a joint may really be, whatever is usual."""

# --- Cables ---------------------------------------------------------------------------------------

CABLE_INDUCTANCE_PER_M = Figure("inductance of a cable by length", 1e-6, "H/m", _FIELD)
