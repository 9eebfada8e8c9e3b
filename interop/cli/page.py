"""Lines and tables on the output, for every command. Text is printed plainly, no markup.

Lines are broken between words only, so that a position such as ``site.yaml:12:3`` or a switch pattern stays whole.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from pathlib import Path

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from interop.documents.plaintext import visible
from interop.records.faults import seen

__all__ = ["INDENT", "Page"]

INDENT = 8
"""How far the lines of a finding stand in."""
_WIDEST = 120
"""Longer lines are hard to follow (common practice), however wide the terminal is."""
_PIPED = 100
"""Width where no terminal tells one, so that a file is the same wherever it is written."""


class Page:
    """Lines on the output: wrapped here, coloured by rich, which gets no markup and wraps nothing."""

    def __init__(self) -> None:
        if isinstance(sys.stdout, io.TextIOWrapper):  # a terminal of few characters shows the others as codes
            sys.stdout.reconfigure(errors="backslashreplace")
        self._console = Console(highlight=False, emoji=False, markup=False, soft_wrap=True)
        terminal = self._console.is_terminal
        self.width = max(40, min(self._console.width, _WIDEST)) if terminal else _PIPED

    def line(self, text: str, look: str = "", *, indent: int = 0) -> None:
        """Print a text that may hold what somebody wrote, every character of it visible."""
        for row in _wrapped(visible(text), self.width - indent):
            self._console.print(Text(" " * indent + row, style=look))

    def head(self, mark: str, look: str, rule: str, more: str) -> None:
        """Print the first line of a finding; all of it is our own text."""
        apart = len(f"{mark:<{INDENT}}{rule}{more}") > self.width
        self._console.print(Text.assemble((f"{mark:<{INDENT}}", look), (rule, "bold"), "" if apart else more))
        if apart:
            self._console.print(Text(" " * INDENT + more.strip()))

    def path(self, before: str, path: Path) -> None:
        """Print a path in one piece, so that it can be copied."""
        self._console.print(Text(f"{before}{seen(str(path))}"))

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]], whole: Sequence[int] = ()) -> None:
        """Print columns; those in ``whole`` are never broken, others between words. Without room for that, a line for
        each cell.
        """
        cells = [[visible(cell) for cell in row] for row in rows]
        widths = _widths([heads, *cells], self.width, whole)
        if widths is None:
            self._stacked(heads, cells)
            return
        for number, row in enumerate([heads, *cells]):
            broken = [list(_wrapped(cell, width)) for cell, width in zip(row, widths, strict=True)]
            for line in zip_longest(*broken, fillvalue=""):
                text = "  ".join(part + " " * (wide - cell_len(part)) for part, wide in zip(line, widths, strict=True))
                self._console.print(Text(text.rstrip(), style="bold" if number == 0 else ""))

    def _stacked(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Print each row as lines "head: cell"; a cell that is empty holds what the row above has, and is left out."""
        for row in rows:
            for i, (head, cell) in enumerate(zip(heads, row, strict=True)):
                if cell:
                    indent = 0 if i == 0 else 4
                    for line in _wrapped(f"{head}: {cell}", self.width - indent):
                        self._console.print(Text(" " * indent + line, style="bold" if i == 0 else ""))


def _wrapped(text: str, width: int) -> Iterator[str]:
    """Break a text between words; a word that is too long stays whole."""
    line = ""
    for word in text.split(" "):
        joined = word if not line else f"{line} {word}"
        if line and cell_len(joined) > width:
            yield line
            line = word
        else:
            line = joined
    yield line


def _widths(rows: Sequence[Sequence[str]], room: int, whole: Sequence[int]) -> list[int] | None:
    """Width of each column; the widest that may be broken give way, down to their longest words, until the row has
    room. None where it never has.
    """
    columns = list(zip(*rows, strict=True))
    widths = [max(map(cell_len, column)) for column in columns]
    least = [widths[i] if i in whole else max(cell_len(word) for cell in column for word in cell.split(" "))
             for i, column in enumerate(columns)]
    while sum(widths) + 2 * (len(widths) - 1) > room:
        may = [i for i, width in enumerate(widths) if width > least[i]]
        if not may:
            return None
        widths[max(may, key=lambda i: widths[i])] -= 1
    return widths
