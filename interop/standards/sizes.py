"""Lengths and conductor sizes, in metric or US trade units, read from the text a person writes.

`1.8 m`, `30 cm`, `6 ft`, `4 in` are lengths; `70 mm2`, `2/0 AWG`, `250 kcmil` are sizes. Nothing is guessed:
text without a unit, or with a sign, is refused with what was expected.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Self

from interop.standards.sources import Certainty, Source

__all__ = [
    "AWG_SOURCE",
    "LENGTH_EXPECTED",
    "SIZE_EXPECTED",
    "Length",
    "Size",
    "SizeError",
    "awg_diameter_mm",
    "format_length",
    "parse_length_m",
    "parse_size",
]

LENGTH_EXPECTED = "a length with its unit, such as 1.8 m or 6 ft"
SIZE_EXPECTED = "a conductor size with its unit, such as 70 mm2, 2/0 AWG or 250 kcmil"


class SizeError(ValueError):
    """Text that is no usable length or size. `value` is the text as given, `expected` says what is wanted."""

    def __init__(self, value: str, expected: str) -> None:
        self.value = value
        self.expected = expected
        super().__init__(f"got {value!r}, expected {expected}")


@dataclass(frozen=True, slots=True, order=True)
class Size:
    """A conductor size. Sizes order by copper area, whatever unit they were written in.

    `text` is the canonical spelling and the key into tables; `unit` is `mm2`, `AWG` or `kcmil`.
    """

    area_mm2: float
    text: str
    unit: str = field(compare=False)

    def __str__(self) -> str:
        return self.text

    @property
    def circular_mils(self) -> float:
        """Copper area [circular mil]: the square of the diameter in thousandths of an inch."""
        return self.area_mm2 / _MM2_PER_CIRCULAR_MIL


class Length(float):
    """A length [m] that knows how it was written: somebody who wrote 6 ft has a tape in feet."""

    __slots__ = ("text",)

    def __new__(cls, metres: float, text: str) -> Self:
        """Return a length [m] with the text it was read from."""
        length = super().__new__(cls, metres)
        length.text = text
        return length

    text: str


def parse_length_m(text: str) -> Length:
    """Length [m] from text in m, cm, mm, ft or in; the nearest double to the exact value.

    Raises `SizeError` for any other text, and outside 1 mm to 10 km.
    """
    match = _match(_LENGTH, text, LENGTH_EXPECTED)
    metres = Fraction(match["number"]) * _METRES[match["unit"]]
    if not _SHORTEST_M <= metres <= _LONGEST_M:
        raise SizeError(text, f"{LENGTH_EXPECTED}, from 1 mm to 10 km")
    return Length(float(metres), " ".join(text.split()))


def format_length(metres: float) -> str:
    """Text that `parse_length_m` reads back as the same double. Raises `SizeError` outside 1 mm to 10 km."""
    text = f"{_shortest(metres)} m"
    parse_length_m(text)
    return text


def parse_size(text: str) -> Size:
    """Conductor size from text in mm2, AWG or kcmil (also written MCM).

    Raises `SizeError` for any other text, below 0.005 mm2, and above 1000 mm2 or 2000 kcmil.
    """
    match = _match(_SIZE, text, SIZE_EXPECTED)
    if match["gauge"]:
        return _awg(match["gauge"], text)
    number = Fraction(match["number"])
    if match["unit"] in {"mm2", "mm²"}:
        area, unit, fits = number, "mm2", number <= _LARGEST_MM2
    else:
        area, unit, fits = number * _MM2_PER_KCMIL, "kcmil", number <= _LARGEST_KCMIL
    if area < _SMALLEST_MM2 or not fits:
        raise SizeError(text, f"{SIZE_EXPECTED}, from 0.005 mm2 to 1000 mm2 or 2000 kcmil")
    return Size(float(area), f"{_shortest(float(number))} {unit}", unit)


def awg_diameter_mm(number: int) -> float:
    """Diameter [mm] of a solid round wire of that gauge; 1/0 is 0, 2/0 is -1, 4/0 is -3 (ASTM B258).

    Raises `ValueError` outside 4/0 to 40.
    """
    if not -3 <= number <= _FINEST_AWG:
        raise ValueError(f"gauge number {number} is outside -3 (4/0) to {_FINEST_AWG}")
    return float(0.127 * 92 ** ((36 - number) / 39))


def _awg(gauge: str, text: str) -> Size:
    zeros = int(gauge[0]) if gauge.endswith("/0") else 0
    number = 1 - zeros if zeros else int(gauge)
    if number > _FINEST_AWG:
        raise SizeError(text, f"{SIZE_EXPECTED}, gauge from 4/0 to {_FINEST_AWG}")
    name = f"{1 - number}/0" if number <= 0 else str(number)
    return Size(math.pi / 4 * awg_diameter_mm(number) ** 2, f"{name} AWG", "AWG")


def _match(pattern: re.Pattern[str], text: str, expected: str) -> re.Match[str]:
    match = pattern.fullmatch(text) if len(text) <= _LONGEST_TEXT else None
    if match is None:
        raise SizeError(text, expected)
    return match


def _shortest(number: float) -> str:
    """Shortest decimal text of a double in the number grammar of the files (no `+`, no trailing `.0`)."""
    return repr(float(number)).removesuffix(".0")


# A whole number has to stay short enough for exact arithmetic to be cheap.
_LONGEST_TEXT = 40

# The number grammar of the files, without its sign: every length and size is above zero.
_NUMBER = r"(?P<number>[0-9]+(?:\.[0-9]+)?(?:e-?[0-9]{1,2})?)"
_LENGTH = re.compile(_NUMBER + r" *(?P<unit>mm|cm|m|ft|in)")
# `00 AWG` is refused on purpose: it is read as 2/0 by some and would be read as 1/0 by a plain number reader.
_SIZE = re.compile(r"(?P<gauge>[1-4]/0|0|[1-9][0-9]?) *(?:AWG|awg)|" + _NUMBER + r" *(?P<unit>mm2|mm²|kcmil|MCM)")

# Inch and foot are exact by definition (international yard and pound agreement, 1959).
_INCH_M = Fraction(254, 10000)
_METRES = {
    "m": Fraction(1),
    "cm": Fraction(1, 100),
    "mm": Fraction(1, 1000),
    "ft": 12 * _INCH_M,
    "in": _INCH_M,
}
_SHORTEST_M = Fraction(1, 1000)
_LONGEST_M = Fraction(10000)

_SMALLEST_MM2 = Fraction(5, 1000)
_LARGEST_MM2 = Fraction(1000)
_LARGEST_KCMIL = Fraction(2000)
_FINEST_AWG = 40

# A circular mil is the area of a circle 0.001 inch across (by definition).
_MM2_PER_CIRCULAR_MIL = math.pi / 4 * 0.0254**2
_MM2_PER_KCMIL = Fraction(1000 * _MM2_PER_CIRCULAR_MIL)

AWG_SOURCE = Source("ASTM B258", "formula between 0.46 in (4/0) and 0.005 in (36)", Certainty.CALC)
"""The gauge formula reproduces the circular mils of NEC chapter 9 table 8 within 0.1 %."""
