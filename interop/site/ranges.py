"""Repeats by range: ``R1..R8`` names eight devices, ``1..`` counts on with them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from interop.records.leaves import Expected, identifier, normal_id

__all__ = ["MOST", "expand_ids", "expand_many", "first_of", "numbered", "range_length"]

MOST = 20000
"""Most ids that one range may name."""

_RANGE = re.compile(r"(?P<head>.*?)(?P<first>[0-9]+)\s*\.\.\s*(?P<head2>.*?)(?P<last>[0-9]+)")
_ONE = identifier("an id")


def _one_range(text: str) -> list[str]:
    match = _RANGE.fullmatch(text)
    if match is None:
        return [_ONE.parse(text)]
    head, first, last = match["head"], match["first"], match["last"]
    if match["head2"] not in ("", head) or len(first) > 9 or len(last) > 9:
        raise Expected("a range with one name, such as R1..R9")
    start, end = int(first), int(last)
    if abs(end - start) >= MOST:
        raise Expected(f"a range of at most {MOST} ids")
    width = len(first) if first.startswith("0") else 0
    step = 1 if end >= start else -1
    return [_ONE.parse(f"{head}{number:0{width}d}") for number in range(start, end + step, step)]


def expand_ids(text: str) -> tuple[str, ...]:
    """Expand ``R1..R9, N1..N2`` into ids in the order written. Raises :class:`Expected`."""
    return _once(one for piece in normal_id(text).split(",") for one in _one_range(piece.strip()))


def expand_many(raw: str | Sequence[str]) -> tuple[str, ...]:
    """Expand a text or a list of texts with ranges. Raises :class:`Expected`."""
    pieces = [raw] if isinstance(raw, str) else raw
    return _once(one for piece in pieces for one in expand_ids(piece))


def _once(ids: Iterable[str]) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for one in ids:
        if one in found:
            raise Expected(f"each id once ({one} stands twice)")
        if len(found) == MOST:
            raise Expected(f"at most {MOST} ids")
        found[one] = None
    return tuple(found)


_OPEN = re.compile(r"(?P<head>.*?)(?P<first>[0-9]{1,9})\.\.(?P<last>[0-9]{1,9})?(?P<tail>.*)")


def range_length(text: str) -> int | None:
    """Return how many numbers the range in a text names; None where it names none or is open."""
    match = _OPEN.fullmatch(text)
    return None if match is None or match["last"] is None else abs(int(match["last"]) - int(match["first"])) + 1


def first_of(text: str) -> str:
    """Return what the first device gets of a text that is spread, whatever its range is good for."""
    match = _OPEN.fullmatch(text)
    return text if match is None else f"{match['head']}{match['first']}{match['tail']}"


def numbered(text: str, count: int) -> tuple[str, ...] | None:
    """Spread a text over ``count`` devices: ``rack L slot 4..`` counts on, ``left 1..9`` must have ``count`` numbers.

    A text without a range is the same for all. Returns None when the lengths differ.
    """
    match = _OPEN.fullmatch(text)
    if match is None:
        return (text,) * count
    first = int(match["first"])
    if range_length(text) not in (None, count):
        return None
    step = -1 if match["last"] is not None and int(match["last"]) < first else 1
    return tuple(f"{match['head']}{first + step * i}{match['tail']}" for i in range(count))
