"""Numbers by the order of the cables, against rows worked out by hand."""

from __future__ import annotations

from typing import Any

import pytest

from interop.records.facts import ABSENT, ByCase, Fact, Statement
from interop.records.models import AddressRule
from interop.wiring.numbering import Doubt, by_order

ROW = ("A", "B", "C", "D")


def rule(first: str | None, allowed: tuple[int, ...] | None, manager: int | str | None, **more: Any) -> AddressRule:
    own: ByCase[Any] = ByCase() if manager is None else ByCase((("", Fact((Statement(manager, "manual"),))),))
    fact = ABSENT if allowed is None else Fact((Statement(allowed, "manual"),))
    return AddressRule.model_construct(given="by port order", first=first, allowed=fact, gaps=ABSENT, start=ABSENT,
                                       manager=own, kept_for={}, **more)


@pytest.mark.parametrize("first, allowed, manager, row, head, numbers, doubts", [
    ("manager", (0, 1, 2, 3), 0, ROW, "A", [0, 1, 2, 3], []),
    ("manager", (0, 1, 2, 3), 0, ROW, "D", [3, 2, 1, 0], []),                # counted from the manager on
    ("manager", (1, 2, 3, 4), 1, ROW, "A", [1, 2, 3, 4], []),
    ("member", (1, 2, 3), "none", ROW, "A", [None, 1, 2, 3], []),
    ("member", (1, 2, 3, 14), 14, ROW, "A", [14, 1, 2, 3], []),
    ("manager", (1, 2, 3), "none", ROW, "A", [None, 1, 2, 3], []),
    (None, (0, 1, 2, 3), 0, ROW, "A", [0, 1, 2, 3], []),                     # at the first number: it is the first
    (None, (1, 2, 3), "none", ROW, "A", [None, 1, 2, 3], []),
    ("manager", (0, 1, 2, 3), 0, ROW, "B", [None] * 4, [Doubt.INSIDE]),
    ("manager", (0, 1, 2, 3, 5), 5, ROW, "A", [None] * 4, [Doubt.OWN]),
    ("manager", (0, 1, 2, 3), None, ROW, "A", [None] * 4, [Doubt.UNKNOWN]),
    (None, (0, 1, 2, 3), None, ROW, "A", [None] * 4, [Doubt.FIRST]),
    ("manager", None, 0, ROW, "A", [None] * 4, [Doubt.ALLOWED]),
    ("manager", (0, 1), 0, ROW, "A", [0, 1, None, None], [Doubt.TOO_FEW]),
    (None, (0, 1), 5, ("A",), "A", [5], []),                                 # alone: nobody is counted
])
def test_numbers(first: str | None, allowed: tuple[int, ...] | None, manager: int | str | None, row: tuple[str, ...],
                 head: str, numbers: list[int | None], doubts: list[Doubt]) -> None:
    found = by_order(rule(first, allowed, manager), row, head, head, "own", "can")
    assert [found.numbers[name] for name in row] == numbers
    assert list(found.doubts) == doubts


def test_polled_packs_are_counted_from_the_controller_on() -> None:
    found = by_order(rule(None, (1, 2, 3, 4), None), ROW, "D", None, "own", "rs-485")
    assert found.numbers == {"A": 4, "B": 3, "C": 2, "D": 1}
    assert by_order(rule(None, (1, 2, 3, 4), None), ROW, "B", None, "own", "rs-485").doubts == (Doubt.INSIDE,)


def test_a_number_kept_for_another_or_below_the_start_is_passed_over() -> None:
    held = rule("manager", (0, 1, 2, 3, 4, 5, 6), 1)
    held = held.model_copy(update={"kept_for": {3: "a tool"}, "start": Fact((Statement(1, "manual"),))})
    assert [by_order(held, ROW, "A", "A", "own", "can").numbers[n] for n in ROW] == [1, 2, 4, 5]
