"""Faults of an input file: what is wrong, where, and what was expected.

A fault is an object; the text is made when it is shown. All faults of a file are gathered before any is raised.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Fault", "InputFaults", "nearest", "seen"]

# Categories of the Unicode character database: control, format, surrogate, private use, unassigned, line and paragraph
# separators. A terminal obeys some of them; the others cannot be seen.
_UNSEEN = frozenset(["Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"])


def seen(text: str) -> str:
    """Return a text with every character that cannot be seen as its code, so that a message stays one line."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(f"⟨U+{ord(char):04X}⟩" if char == "⟨" or unicodedata.category(char) in _UNSEEN else char
                   for char in text)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known name nearest to ``word``, or None when none is near."""
    if len(word) > 80:  # no name of ours is that long, and comparing grows with the product of the lengths
        return None
    found = difflib.get_close_matches(word, sorted(set(known)), n=1, cutoff=0.6)
    return found[0] if found else None


@dataclass(frozen=True, order=True)
class Fault:
    """One fault: file, line and column (from 1, in characters), dotted path, value got, what was expected."""

    file: str
    line: int
    column: int
    path: str
    got: str
    expected: str
    nearest: str | None = None

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}"
        path = f" {self.path}:" if self.path else ""
        hint = f"; nearest known name: {self.nearest}" if self.nearest else ""
        return seen(f"{where}:{path} got {self.got}; expected {self.expected}{hint}")


class InputFaults(Exception):
    """Raised once per reading, with every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        # by place; at one place in the order found, which no hash seed changes
        self.faults = tuple(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line, f.column)))
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(map(str, self.faults))
