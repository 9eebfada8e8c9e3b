"""Resistance of copper conductors by size and kind, at a temperature, as lowest, nominal and highest.

Three tables and one law: trade sizes, stranded and uncoated (NEC); metric class 5, plain and coated (IEC 60228);
and copper of the stated area (IEC 60028), which no conductor of that area is below. A size that a table does not
list has no answer: a neighbouring size is never taken for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from types import MappingProxyType

from interop.standards.sizes import Size, parse_size
from interop.standards.sources import Certainty, Source

__all__ = [
    "COPPER_SOURCE",
    "ConductorOhm",
    "UnknownConductorKind",
    "conductor_ohm_per_m",
    "copper_ohm_per_m",
    "known_conductor_kinds",
    "listed_sizes",
]


@dataclass(frozen=True, slots=True)
class ConductorOhm:
    """Resistance of one conductor [ohm/m] at one temperature.

    `low` is copper of that area (for faults and inrush), `nominal` the table (for sharing), `high` the most that
    the table's standard lets pass (for voltage drop and the smallest fault). `sources` names the source of each
    by its name.
    """

    low: float
    nominal: float
    high: float
    sources: Mapping[str, Source] = field(default_factory=dict, hash=False)


class UnknownConductorKind(ValueError):
    """No kind of conductor has this name. `near` holds the nearest known names, best first; it may be empty."""

    def __init__(self, kind: str, near: tuple[str, ...]) -> None:
        self.kind = kind
        self.near = near
        hint = f"nearest: {', '.join(near)}" if near else f"known: {', '.join(known_conductor_kinds())}"
        super().__init__(f"no kind of conductor is called {kind!r}, {hint}")


def known_conductor_kinds() -> tuple[str, ...]:
    """The kinds that have a table: `stranded` (trade sizes), `class 5` and `class 5 coated` (metric sizes)."""
    return tuple(_TABLES)


def listed_sizes(kind: str) -> tuple[Size, ...]:
    """The sizes that the table of a kind lists, smallest first. Raises `UnknownConductorKind`."""
    return tuple(sorted(map(parse_size, _table(kind).rows)))


def conductor_ohm_per_m(size: Size, temperature_c: float, kind: str) -> ConductorOhm | None:
    """Resistance [ohm/m] of a copper conductor at a temperature [C]; None for a size that the kind's table lacks.

    Each table is brought to the temperature by its own rule. Class 5 values are maxima, so `high` is `nominal`;
    `stranded` values are usual ones. Raises `UnknownConductorKind`, and `ValueError` outside -60 to 250 C.
    """
    table = _table(kind)
    low = copper_ohm_per_m(size, temperature_c)
    printed = table.rows.get(size.text)
    if printed is None:
        return None
    nominal = printed * table.ohm_per_m * table.at(temperature_c)
    sources = {"low": COPPER_SOURCE, "nominal": table.source, "high": table.high_source}
    return ConductorOhm(low, nominal, nominal * table.high_over_nominal, MappingProxyType(sources))


def copper_ohm_per_m(size: Size, temperature_c: float) -> float:
    """Resistance [ohm/m] of copper of exactly that area at a temperature [C]: the least that a conductor can have.

    For every size, listed or not. Raises `ValueError` outside -60 to 250 C.
    """
    _check_temperature(temperature_c)
    return _IACS_OHM_M / (size.area_mm2 * 1e-6) * _about_20_c(temperature_c)


@dataclass(frozen=True, slots=True)
class _Table:
    """`rows`: value as printed by the text of a size; one printed unit is so many ohm/m.

    `printed_at_c` and `per_kelvin` make the rule R = R0 [1 + a (T - T0)].
    """

    rows: Mapping[str, float]
    ohm_per_m: float
    printed_at_c: float
    per_kelvin: float
    source: Source
    high_over_nominal: float
    high_source: Source

    def at(self, temperature_c: float) -> float:
        """Factor from the printed temperature to this one [C]."""
        return 1 + self.per_kelvin * (temperature_c - self.printed_at_c)


def _table(kind: str) -> _Table:
    try:
        return _TABLES[kind]
    except KeyError:
        raise UnknownConductorKind(kind, tuple(get_close_matches(kind, _TABLES, n=3, cutoff=0.6))) from None


def _about_20_c(temperature_c: float) -> float:
    return 1 + _IACS_PER_KELVIN * (temperature_c - 20)


def _check_temperature(temperature_c: float) -> None:
    # The rules are straight lines, good for conductors in service and up to the end of a short circuit.
    if not -60 <= temperature_c <= 250:
        raise ValueError(f"a conductor's temperature [C] is from -60 to 250, got {temperature_c}")


# --- Copper ---------------------------------------------------------------------------------------
# IEC 60028, 100 % IACS: 1.7241e-8 ohm m at 20 C, 0.00393/K about 20 C (V2).

COPPER_SOURCE = Source("IEC 60028", "100 % IACS", Certainty.V2)
_IACS_OHM_M = 1.7241e-8
_IACS_PER_KELVIN = 0.00393

# --- NEC chapter 9 table 8 ------------------------------------------------------------------------
# Stranded, uncoated, direct current, 75 C, ohm/kft as printed (V2). Below 6 AWG many copies mix up the solid and the
# stranded column. The note's rule R2 = R1 [1 + 0.00323 (T2 - 75)] is 0.00393 about 20 C seen from 75 C (V1+calc).

_NEC_TABLE_8 = MappingProxyType(
    {
        "14 AWG": 3.14,
        "12 AWG": 1.98,
        "10 AWG": 1.24,
        "8 AWG": 0.778,
        "6 AWG": 0.491,
        "4 AWG": 0.308,
        "3 AWG": 0.245,
        "2 AWG": 0.194,
        "1 AWG": 0.154,
        "1/0 AWG": 0.122,
        "2/0 AWG": 0.0967,
        "3/0 AWG": 0.0766,
        "4/0 AWG": 0.0608,
        "250 kcmil": 0.0515,
        "300 kcmil": 0.0429,
        "350 kcmil": 0.0367,
        "400 kcmil": 0.0321,
        "500 kcmil": 0.0258,
    }
)
_OHM_PER_KFT = 1 / 304.8

_STRANDED = _Table(
    rows=_NEC_TABLE_8,
    ohm_per_m=_OHM_PER_KFT,
    printed_at_c=75,
    per_kelvin=0.00323,
    source=Source("NEC", "chapter 9 table 8, stranded uncoated", Certainty.V2),
    # A stranded conductor may have 2 % less copper than its nominal area.
    high_over_nominal=1 / 0.98,
    high_source=Source("ASTM B8", "area at least 98 % of nominal", Certainty.MEM),
)

# --- IEC 60228 class 5 ----------------------------------------------------------------------------
# Maximum ohm/km at 20 C (V2, three copies). Three traps: the printed temperature factors follow 0.004/K, not 0.00393/K;
# 50 mm2 really is below its class 2 value; fine strands may be coated, which is a table of its own.

_OHM_PER_KM = 1e-3

_CLASS_5_PLAIN = MappingProxyType(
    {
        "10 mm2": 1.91,
        "16 mm2": 1.21,
        "25 mm2": 0.780,
        "35 mm2": 0.554,
        "50 mm2": 0.386,
        "70 mm2": 0.272,
        "95 mm2": 0.206,
        "120 mm2": 0.161,
    }
)

_CLASS_5_COATED = MappingProxyType(
    {
        "10 mm2": 1.95,
        "16 mm2": 1.24,
        "25 mm2": 0.795,
        "35 mm2": 0.565,
        "50 mm2": 0.393,
        "70 mm2": 0.277,
        "95 mm2": 0.210,
        "120 mm2": 0.164,
    }
)


def _class_5(rows: Mapping[str, float], strands: str) -> _Table:
    source = Source("IEC 60228", f"class 5, {strands}, maximum", Certainty.V2)
    return _Table(rows, _OHM_PER_KM, 20, _IACS_PER_KELVIN, source, 1, source)


_TABLES: Mapping[str, _Table] = MappingProxyType(
    {
        "stranded": _STRANDED,
        "class 5": _class_5(_CLASS_5_PLAIN, "plain"),
        "class 5 coated": _class_5(_CLASS_5_COATED, "coated"),
    }
)
