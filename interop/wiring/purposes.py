"""What two ports have in common for a cable between them: buses, or a line alone."""

from __future__ import annotations

from interop.wiring.contacts import BusWire, Face, LineWire, NotStated, Unknown

__all__ = ["LINE", "buses_on", "has_blank", "line_only"]

LINE = "line"
"""What a cable carries that joins two ports by a line alone: a stop loop on plugs of its own."""


def buses_on(face: Face) -> set[str]:
    """Return the buses that a socket shows."""
    return {c.bus for held in face.contacts.values() for c in held if isinstance(c, BusWire)}


def _uses_on(face: Face) -> set[str]:
    return {c.use for held in face.contacts.values() for c in held if isinstance(c, LineWire)}


def has_blank(face: Face) -> bool:
    """Whether any pin of a socket, its shell apart, is unknown or not stated."""
    return any(isinstance(c, NotStated | Unknown) for pin in face.pins for c in face.contacts[pin])


def line_only(one: Face, other: Face) -> bool:
    """Whether two sockets have a line of one use in common, and one of them carries no data at all."""
    return bool(_uses_on(one) & _uses_on(other)) and not (buses_on(one) and buses_on(other))
