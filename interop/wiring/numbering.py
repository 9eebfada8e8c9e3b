"""Packs that get their numbers by the order of their cables: who is first, and which number each then has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from enum import Enum

from interop.records.models import AddressRule
from interop.unchanging import unchanging

__all__ = ["BY_ORDER", "Doubt", "Numbered", "by_order", "numbers_first"]

BY_ORDER = ("by port order", "by direction pin")
"""Ways to number that follow the data cables from pack to pack."""


class Doubt(Enum):
    """Why packs in a row have no numbers that are known."""

    INSIDE = "the pack that the numbers begin at stands inside the row"
    FIRST = "who is numbered first is not stated"
    OWN = "the manager is first, and its number is not the first one"
    UNKNOWN = "the manager is first, and its number is not stated"
    ALLOWED = "which numbers there are is not stated"
    TOO_FEW = "there are fewer numbers than packs"


@unchanging
class Numbered:
    """The number of each pack of a row (None: it has none, or it is not known), and what is in doubt."""

    numbers: Mapping[str, int | None]
    doubts: tuple[Doubt, ...] = field(default=())


def _sequence(rule: AddressRule) -> tuple[int, ...] | None:
    """The numbers in the order in which they are given; None where they are not known."""
    allowed, start = rule.allowed.only, rule.start.only
    if allowed is None:
        return None
    return tuple(n for n in sorted(allowed) if n not in rule.kept_for and (start is None or n >= start))


def numbers_first(rule: AddressRule, mode: str | None, controller_bus: str | None) -> str | None:
    """Return whether the manager or a member gets the first number: as stated, else as the manager's number says.

    A manager without a number is none of the numbered; one at the first of them is first. None: not stated.
    """
    if rule.first is not None:
        return rule.first
    own, numbers = rule.manager.of(mode, controller_bus).only, _sequence(rule)
    if own == "none":
        return "member"
    return "manager" if numbers and own == numbers[0] else None


def by_order(
    rule: AddressRule, order: Sequence[str], head: str | None, manager: str | None, mode: str | None,
    controller_bus: str | None,
) -> Numbered:
    """Number packs that stand in a row of cables, from ``head`` on: the manager, or the pack next to the controller
    that polls them (``manager`` None).
    """
    nobody: dict[str, int | None] = dict.fromkeys(order)
    row = list(order) if head in (None, order[0]) else list(order)[::-1]
    first = numbers_first(rule, mode, controller_bus)
    doubts = [Doubt.INSIDE] if head is not None and row[0] != head else []
    if manager is not None and first is None and len(row) > 1:
        doubts.append(Doubt.FIRST)
    own, sequence = rule.manager.of(mode, controller_bus), _sequence(rule)
    if sequence is None:
        doubts.append(Doubt.ALLOWED)
    elif manager is not None and first == "manager" and own.only not in ("none", *sequence[:1]):
        doubts.append(Doubt.OWN if own.known else Doubt.UNKNOWN)
    if doubts or sequence is None:
        return Numbered(nobody, tuple(doubts))
    if manager is not None and (first != "manager" or own.only == "none"):
        row = [name for name in row if name != manager]
        sequence = tuple(n for n in sequence if n != own.only)
        nobody[manager] = int(own.only) if own.only not in (None, "none") else None
    found = {**nobody, **dict(zip(row, sequence, strict=False))}
    return Numbered(found, (Doubt.TOO_FEW,) if len(row) > len(sequence) else ())
