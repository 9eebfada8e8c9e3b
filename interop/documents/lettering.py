"""What the shipped fonts cover and how wide their characters are, from the table made by `tools/font_recipe.py`."""

from __future__ import annotations

import json
from bisect import bisect_right
from functools import cache
from importlib.resources import files
from typing import Literal

__all__ = ["Face", "covered", "fit", "width", "wrap"]

Face = Literal["regular", "bold", "mono"]


@cache
def _table() -> tuple[int, dict[str, tuple[list[int], list[list[int]]]]]:
    raw = json.loads((files("interop.documents") / "fonts" / "metrics.json").read_text(encoding="utf-8"))
    by_face = {face: ([run[0] for run in runs], runs) for face, runs in raw["advance"].items()}
    return raw["units_per_em"], by_face


@cache
def _advance(char: str, face: Face) -> int | None:
    starts, runs = _table()[1][face]
    at = bisect_right(starts, ord(char)) - 1
    return runs[at][2] if at >= 0 and ord(char) <= runs[at][1] else None


def covered(char: str) -> bool:
    """Whether both text faces (regular and bold) have a glyph for `char`."""
    return _advance(char, "regular") is not None and _advance(char, "bold") is not None


def width(text: str, size: float, face: Face = "regular") -> float:
    """Width of `text` set at `size` [pt] in one line, without kerning [pt].

    An uncovered character counts one em; `plaintext.visible` leaves none.
    """
    em = _table()[0]
    units = (_advance(char, face) for char in text)
    return sum(em if unit is None else unit for unit in units) * size / em


def fit(text: str, room: float, largest: float, smallest: float, face: Face = "bold") -> float:
    """The size [pt] at which `text` fills at most `room` [pt], within `smallest` and `largest` [pt]."""
    at_one = width(text, 1.0, face)
    return largest if at_one * largest <= room else max(smallest, int(room / at_one))


def _pieces(word: str, room: float, size: float, face: Face) -> list[str]:
    pieces = [""]
    for char in word:
        if pieces[-1] and width(pieces[-1] + char, size, face) > room:
            pieces.append("")
        pieces[-1] += char
    return pieces


def wrap(text: str, room: float, size: float, face: Face = "regular") -> list[str]:
    """`text` in lines of at most `room` [pt] at `size` [pt]; a word wider than a line is cut; nothing is lost."""
    lines = [""]
    for word in text.split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if width(joined, size, face) <= room:
            lines[-1] = joined
            continue
        if not lines[-1]:
            lines.pop()
        lines += _pieces(word, room, size, face)
    return lines
