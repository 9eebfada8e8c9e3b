"""What two ports have in common for a cable between them: buses, or a line alone."""

from __future__ import annotations

from collections.abc import Iterable

from interop.wiring.contacts import BusWire, Face, LineWire, NotStated, Unknown

__all__ = ["LINE", "buses_on", "has_blank", "joins_line", "line_only", "may_line"]

LINE = "line"
"""What a cable carries that joins two ports by a line alone: a stop loop on plugs of its own."""


def buses_on(face: Face) -> set[str]:
    """Return the buses that a socket shows."""
    return {c.bus for held in face.contacts.values() for c in held if isinstance(c, BusWire)}


def _uses_at(face: Face, pin: str) -> set[str]:
    return {c.use for c in face.contacts.get(pin, ()) if isinstance(c, LineWire)}


def _uses_on(face: Face) -> set[str]:
    return {use for pin in face.contacts for use in _uses_at(face, pin)}


def has_blank(face: Face) -> bool:
    """Whether any pin of a socket, its shell apart, is unknown or not stated."""
    return any(isinstance(c, NotStated | Unknown) for pin in face.pins for c in face.contacts[pin])


def may_line(one: Face, other: Face) -> bool:
    """Whether two sockets have a line of one use in common."""
    return bool(_uses_on(one) & _uses_on(other))


def line_only(one: Face, other: Face) -> bool:
    """Whether two sockets have a line of one use in common, and one of them carries no data at all."""
    return may_line(one, other) and not (buses_on(one) and buses_on(other))


def joins_line(one: Face, other: Face, joined: Iterable[tuple[str, str]]) -> bool:
    """Whether some conductor of a cable, pin at ``one`` with pin at ``other``, runs from a line to one of the same use.

    Between ports that have no bus in common that is what the cable is there for, whatever data they carry besides.
    """
    return any(_uses_at(one, a) & _uses_at(other, b) for a, b in joined)
