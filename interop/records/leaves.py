"""Leaf types: how the text of one scalar is read, and how an editor's JSON Schema shows it.

Numbers match one grammar inside a stated range, yes/no is an enumeration of two words: no loader's guess is used.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable
from typing import Any, Generic, TypeVar

from interop.records.faults import nearest
from interop.unchanging import unchanging

__all__ = ["NUMBER", "Expected", "Leaf", "Span", "TimedCurrent", "TimedPower", "calendar_date", "free_text",
           "identifier", "leaf_list", "normal_id", "number", "span_numbers", "timed_current", "timed_power", "whole",
           "whole_or", "word", "yes_no"]

T = TypeVar("T")

NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?(e-?[0-9]{1,2})?")
"""The one grammar of numbers: no sign +, no underscores, no inf or nan, no digits of other scripts."""
_TEXT_NUMBER: dict[str, Any] = {
    "type": "string",
    "pattern": r"^-?[0-9]+(\.[0-9]+)?(e-?[0-9]{1,2})?(\s*\.\.\s*-?[0-9]+(\.[0-9]+)?(e-?[0-9]{1,2})?)?$",
}
_TEXT_WHOLE: dict[str, Any] = {"type": "string", "pattern": r"^-?[0-9]{1,9}$"}
_ANY_WORD: dict[str, Any] = {"type": ["string", "number", "boolean"]}
_SPAN = re.compile(r"(?P<low>.+?)\.\.(?P<high>.+)")
_IDENTIFIER_ENDS = r"^\s*[^\s._+/()#:;'\"-]([^:;'\"]*[^\s._+/()#:;'\"-])?\s*$"
"""What JSON Schema's expressions can say of an id in any script: with which marks it neither begins nor ends."""
_IDENTIFIER = re.compile(r"[^\W_](?:[\w .+/()#-]*[^\W_)])?", re.UNICODE)


class Expected(ValueError):
    """A scalar that does not fit: what was expected, and the nearest known name if any."""

    def __init__(self, expected: str, near: str | None = None) -> None:
        self.expected = expected
        self.near = near
        super().__init__(expected)


@unchanging
class Span:
    """A range where a number stands; both ends belong to it. Same unit as the field."""

    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.low:g}..{self.high:g}"


@unchanging
class TimedCurrent:
    """A peak current [A] with the time [s] it is allowed for."""

    amps: float
    seconds: float

    def __str__(self) -> str:
        return f"{self.amps:g} A for {self.seconds:g} s"


@unchanging
class TimedPower:
    """A peak power [W] with the time [s] it is given for."""

    watts: float
    seconds: float

    def __str__(self) -> str:
        return f"{self.watts:g} W for {self.seconds:g} s"


@unchanging
class Leaf(Generic[T]):
    """How one kind of scalar is read: ``parse`` raises :class:`Expected`; ``schema`` is the editor's view."""

    parse: Callable[[str], T]
    expected: str
    schema: dict[str, Any]


def _figure(text: str, low: float, high: float, expected: str) -> float:
    if not NUMBER.fullmatch(text):
        raise Expected(expected)
    value = float(text)
    if not low <= value <= high:
        raise Expected(expected)
    return value


def number(low: float, high: float, unit: str = "", *, spans: bool = True) -> Leaf[float | Span]:
    """Return the leaf of a number [unit] from ``low`` to ``high``; a range ``a..b`` may stand for it."""
    expected = f"a number from {low:g} to {high:g}{' ' + unit if unit else ''}"

    def parse(text: str) -> float | Span:
        match = _SPAN.fullmatch(text) if spans else None
        if match is None:
            return _figure(text, low, high, expected)
        span = Span(*(_figure(match[end].strip(), low, high, expected) for end in ("low", "high")))
        if span.low > span.high:
            raise Expected(f"{expected}, lower end first")
        return span

    schema: dict[str, Any] = {"anyOf": [{"type": "number", "minimum": low, "maximum": high}, dict(_TEXT_NUMBER)]}
    return Leaf(parse, expected, schema)


def whole(low: int, high: int, unit: str = "") -> Leaf[int]:
    """Return the leaf of a whole number [unit] from ``low`` to ``high``."""
    expected = f"a whole number from {low} to {high}{' ' + unit if unit else ''}"

    def parse(text: str) -> int:
        if not re.fullmatch(r"-?[0-9]{1,9}", text) or not low <= int(text) <= high:
            raise Expected(expected)
        return int(text)

    return Leaf(parse, expected, {"anyOf": [{"type": "integer", "minimum": low, "maximum": high}, dict(_TEXT_WHOLE)]})


def whole_or(plain_word: str, low: int, high: int) -> Leaf[int | str]:
    """Return the leaf of a whole number from ``low`` to ``high``, or one word instead."""
    inner = whole(low, high)
    expected = f"{inner.expected}, or {plain_word}"

    def parse(text: str) -> int | str:
        if text == plain_word:
            return plain_word
        try:
            return inner.parse(text)
        except Expected:
            raise Expected(expected) from None

    return Leaf(parse, expected, {"anyOf": [*inner.schema["anyOf"], {"const": plain_word}]})


def word(*choices: str) -> Leaf[str]:
    """Return the leaf of one word out of ``choices``."""
    expected = "one of: " + ", ".join(choices)

    def parse(text: str) -> str:
        if text not in choices:
            raise Expected(expected, nearest(text, choices))
        return text

    looks = (("on", True), ("off", False), ("yes", True), ("no", False))
    looks_bool = [value for name, value in looks if name in choices]
    return Leaf(parse, expected, {"enum": [*choices, *dict.fromkeys(looks_bool)]})


def yes_no() -> Leaf[bool]:
    """Return the leaf of yes or no."""
    plain = word("yes", "no")
    return Leaf(lambda text: plain.parse(text) == "yes", "yes or no", plain.schema)


def free_text(longest: int = 400) -> Leaf[str]:
    """Return the leaf of any text, not empty, at most ``longest`` characters."""
    expected = f"a text of 1 to {longest} characters"

    def parse(text: str) -> str:
        if not text.strip() or len(text) > longest:
            raise Expected(expected)
        return str(text)

    return Leaf(parse, expected, dict(_ANY_WORD))


def calendar_date() -> Leaf[str]:
    """Return the leaf of a date, ``YYYY-MM-DD`` (ISO 8601, calendar date, extended format)."""
    expected = "a date such as 2031-05-02"

    def parse(text: str) -> str:
        try:
            if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
                return dt.date.fromisoformat(text).isoformat()
        except ValueError:
            pass
        raise Expected(expected)

    return Leaf(parse, expected, {"type": "string", "pattern": r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"})


def normal_id(text: str) -> str:
    """Return an id in the one form used inside: outer space cut, inner runs of space one, as typed otherwise."""
    return " ".join(str(text).split())


def identifier(what: str = "a name") -> Leaf[str]:
    """Return the leaf of an id: begins and ends with a letter or digit, 1 to 64 characters, no quotes or colons.

    What could turn a line round, break it or be taken for markup is no part of an id.
    """
    expected = (f"{what}: a letter or digit first and last, between them letters, digits, space and . + - _ / ( ) # "
                "(no two points together), at most 64 characters")

    def parse(text: str) -> str:
        name = normal_id(text)
        if not _IDENTIFIER.fullmatch(name) or len(name) > 64 or ".." in name:
            raise Expected(expected)
        return name

    # not at the top: pydantic would take it for the names of properties, and let any value stand beside other names
    return Leaf(parse, expected, {**_ANY_WORD, "allOf": [{"pattern": _IDENTIFIER_ENDS}]})


def _timed(build: Callable[[float, float], T], what: str, example: str, most: float) -> Leaf[T]:
    expected = f"{what} with its time, such as {example}"

    def parse(text: str) -> T:
        match = re.fullmatch(r"(\S+) for (\S+) s", text)
        if match is None:
            raise Expected(expected)
        return build(_figure(match[1], 0, most, expected), _figure(match[2], 0.0001, 7200, expected))

    return Leaf(parse, expected, {"type": "string", "pattern": r"^[0-9.e-]+ for [0-9.e-]+ s$"})


def timed_current() -> Leaf[TimedCurrent]:
    """Return the leaf of a peak: ``75 for 30 s`` (A, s)."""
    return _timed(TimedCurrent, "a current in A", "75 for 30 s", 20000)


def timed_power() -> Leaf[TimedPower]:
    """Return the leaf of a peak power: ``12000 for 5 s`` (W, s)."""
    return _timed(TimedPower, "a power in W", "12000 for 5 s", 1e6)


def _span_members(text: str, low: int, high: int, expected: str) -> Iterable[int]:
    inner = whole(low, high)
    for piece in text.split(","):
        match = re.fullmatch(r"\s*(\S+?)\s*(?:\.\.\s*(\S+?))?\s*", piece)
        if match is None:
            raise Expected(expected)
        try:
            first = inner.parse(match[1])
            last = inner.parse(match[2]) if match[2] else first
        except Expected:
            raise Expected(expected) from None
        if last < first and len(text.split(",")) > 1:
            raise Expected(expected)
        yield from range(first, last + 1) if first <= last else range(first, last - 1, -1)


def span_numbers(low: int, high: int, what: str = "whole numbers") -> Leaf[tuple[int, ...]]:
    """Return the leaf of a set of whole numbers in the order written: ``0..14``, ``1, 3, 5..7``, ``6..1`` (down)."""
    expected = f"{what} from {low} to {high}, such as {max(low, 1)}..{min(high, 8)} or 1, 3, 5"

    def parse(text: str) -> tuple[int, ...]:
        found = tuple(_span_members(text, low, high, expected))
        if len(set(found)) != len(found):
            raise Expected(f"{expected}, each once")
        return found

    return Leaf(parse, expected, {"anyOf": [{"type": "integer"}, {"type": "string", "pattern": r"^[0-9., ]+$"}]})


def leaf_list(inner: Leaf[T], text: str) -> tuple[T, ...]:
    """Read words separated by commas with ``inner``."""
    return tuple(inner.parse(piece.strip()) for piece in text.split(","))
