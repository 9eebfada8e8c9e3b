"""What current a copper conductor in the NEC's table may carry, and what temperature its terminals allow.

Trade sizes of the table only. Metric, free-air and fine-stranded cable has no answer here: its own record states its
ampacity and the conditions, and a neighbouring size is never taken for it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from interop.standards.sizes import Size, parse_size
from interop.standards.sources import Certainty, Source

__all__ = [
    "AMBIENT_SOURCE",
    "COLUMNS_C",
    "PARALLEL_SOURCE",
    "SMALL_CONDUCTOR_SOURCE",
    "TERMINAL_SOURCE",
    "Ampacity",
    "ambient_factor",
    "conductor_ampacity",
    "may_run_in_parallel",
    "small_conductor_device_a",
    "table_ampacity_a",
    "table_source",
    "terminal_column_c",
]

COLUMNS_C = (60, 75, 90)
"""The temperature columns of the table [C]: of insulation or of terminals."""


@dataclass(frozen=True, slots=True)
class Ampacity:
    """What one conductor may carry [A], and why.

    `a` is the lower of `derated_a` (the insulation's column times `factor`) and `terminal_a` (the terminals' column,
    never derated). Where the load is continuous, `terminal_a` is also what 125 % of it is held against.
    """

    a: float
    derated_a: float
    terminal_a: float
    factor: float
    insulation_c: int
    terminal_c: int
    source: Source

    @property
    def capped_by_terminals(self) -> bool:
        """Whether the terminals and not the insulation set the limit."""
        return self.terminal_a < self.derated_a


def table_ampacity_a(size: Size, column_c: int) -> float | None:
    """Ampacity [A] as printed in a column [C] at 30 C ambient, three conductors at most in one raceway.

    None for a size that the table lacks, metric sizes among them. Raises `ValueError` for another column.
    """
    _check_column(column_c)
    row = _TABLE_310_16.get(size.text)
    return None if row is None else row[COLUMNS_C.index(column_c)]


def table_source(size: Size) -> Source | None:
    """Where the ampacity of this size comes from, and how sure it is; None for a size that the table lacks."""
    if size.text not in _TABLE_310_16:
        return None
    return _UP_TO_1_AWG if size.area_mm2 <= _1_AWG_MM2 else _FROM_1_0_AWG


def ambient_factor(ambient_c: float, insulation_c: int) -> float:
    """Factor on the table's ampacity for the highest ambient [C], by the column of the insulation [C].

    As printed, in bands of 5 C whose tops count (36-40 C is one band, 35.1 C is in it; everything up to 10 C is one).
    Zero where the table prints a dash: that insulation carries no current there. Raises `ValueError` for another
    column and for an ambient that is no number or outside -60 to 100 C.
    """
    _check_column(insulation_c)
    if not -60 <= ambient_c <= 100:
        raise ValueError(f"an ambient [C] is from -60 to 100, got {ambient_c}")
    top_c = max(10, 5 * math.ceil(ambient_c / 5))
    if top_c >= insulation_c:
        return 0.0
    return round(math.sqrt((insulation_c - top_c) / (insulation_c - _TABLE_AMBIENT_C)), 2)


def conductor_ampacity(
    size: Size, *, insulation_c: int, terminal_c: int, ambient_c: float, adjustment: float = 1.0
) -> Ampacity | None:
    """What one conductor may carry in the highest ambient [C] between terminals of a column [C].

    The insulation's column is derated, then capped at the terminals' column. `adjustment` is the factor for more than
    three current-carrying conductors together, above 0 and at most 1. None for a size that the table lacks. Raises
    `ValueError` for another column, an ambient outside -60 to 100 C, and another adjustment.
    """
    if not 0 < adjustment <= 1:
        raise ValueError(f"an adjustment is above 0 and at most 1, got {adjustment}")
    factor = ambient_factor(ambient_c, insulation_c) * adjustment
    insulated, terminal_a = table_ampacity_a(size, insulation_c), table_ampacity_a(size, terminal_c)
    source = table_source(size)
    if insulated is None or terminal_a is None or source is None:
        return None
    derated_a = insulated * factor
    return Ampacity(min(derated_a, terminal_a), derated_a, terminal_a, factor, insulation_c, terminal_c, source)


def terminal_column_c(size: Size, circuit_a: float, marked_c: int | None = None) -> int:
    """Column [C] that terminals allow: as marked (the lower of both ends), else by the circuit's rating [A].

    Unmarked: 60 C where the circuit is rated 100 A or less or the conductor is 1 AWG or smaller, 75 C above both
    (110.14(C)). Raises `ValueError` for another column and a rating not above zero.
    """
    if not 0 < circuit_a < math.inf:
        raise ValueError(f"a rating [A] is above zero, got {circuit_a}")
    if marked_c is not None:
        _check_column(marked_c)
        return marked_c
    return 60 if circuit_a <= 100 or size.area_mm2 <= _1_AWG_MM2 else 75


def small_conductor_device_a(size: Size) -> float | None:
    """Largest device [A] on a small conductor (240.4(D)), whatever its ampacity; infinite from 8 AWG on.

    None for metric sizes and for small sizes that the rule as known here does not name (below 14 AWG, 13, 11, 9 AWG).
    """
    if size.unit == "mm2":
        return None
    return math.inf if size.area_mm2 >= _8_AWG_MM2 else _SMALL_CONDUCTORS.get(size.text)


def may_run_in_parallel(size: Size) -> bool:
    """Whether conductors of this size may share one pole's current: 1/0 AWG and larger, by area (310.10(G)).

    They then have the same length, material, size, insulation and lugs, and each carries its own ampacity.
    """
    return size.area_mm2 >= _1_0_AWG_MM2


def _check_column(column_c: int) -> None:
    if column_c not in COLUMNS_C:
        raise ValueError(f"a column is one of {', '.join(map(str, COLUMNS_C))} C, got {column_c}")


_1_0_AWG_MM2 = parse_size("1/0 AWG").area_mm2
_1_AWG_MM2 = parse_size("1 AWG").area_mm2
_8_AWG_MM2 = parse_size("8 AWG").area_mm2

# --- NEC table 310.16 -----------------------------------------------------------------------------
# Copper, at most three current-carrying conductors in raceway, cable or earth, 30 C ambient; A at 60, 75 and 90 C.
# Two copies agree to 1 AWG (V2), one copy from 1/0 on (V1).

_UP_TO_1_AWG = Source("NEC", "table 310.16, copper", Certainty.V2)
_FROM_1_0_AWG = Source("NEC", "table 310.16, copper", Certainty.V1)

_TABLE_310_16: Mapping[str, tuple[int, int, int]] = MappingProxyType(
    {
        "14 AWG": (15, 20, 25),
        "12 AWG": (20, 25, 30),
        "10 AWG": (30, 35, 40),
        "8 AWG": (40, 50, 55),
        "6 AWG": (55, 65, 75),
        "4 AWG": (70, 85, 95),
        "3 AWG": (85, 100, 115),
        "2 AWG": (95, 115, 130),
        "1 AWG": (110, 130, 145),
        "1/0 AWG": (125, 150, 170),
        "2/0 AWG": (145, 175, 195),
        "3/0 AWG": (165, 200, 225),
        "4/0 AWG": (195, 230, 260),
        "250 kcmil": (215, 255, 290),
        "300 kcmil": (240, 285, 320),
        "350 kcmil": (260, 310, 350),
        "400 kcmil": (280, 335, 380),
        "500 kcmil": (320, 380, 430),
    }
)

# --- Ambient --------------------------------------------------------------------------------------
# Every printed entry is round(sqrt((Tc - Ta) / (Tc - 30)), 2) with Ta the top of its band (V1+calc). There is a second
# table on a 40 C base, which belongs to other ampacity tables.

AMBIENT_SOURCE = Source("NEC", "ambient factors of table 310.16, 30 C base", Certainty.CALC)
_TABLE_AMBIENT_C = 30

# --- Rules around the table -----------------------------------------------------------------------

SMALL_CONDUCTOR_SOURCE = Source("NEC", "240.4(D)", Certainty.V2)
_SMALL_CONDUCTORS = MappingProxyType({"14 AWG": 15, "12 AWG": 20, "10 AWG": 30})

TERMINAL_SOURCE = Source("NEC", "110.14(C)", Certainty.V2)
PARALLEL_SOURCE = Source("NEC", "310.10(G)", Certainty.V2)
