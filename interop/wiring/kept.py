"""What of the found switches of a pack a plan moves."""

from __future__ import annotations

from interop.records.switches import Pattern
from interop.site.site import Device

__all__ = ["found_row", "moves"]


def found_row(device: Device, row: str, length: int) -> Pattern:
    """Return how a row was found: ``x`` where nobody looked."""
    found = device.found.patterns if device.found is not None else {}
    return found.get(row, ("x",) * length)


def moves(was: Pattern, planned: Pattern) -> tuple[int, ...]:
    """Return the switches (from 0) that surely move; one that nobody looked at may."""
    return tuple(i for i, (a, b) in enumerate(zip(was, planned, strict=True)) if a not in ("x", b))
