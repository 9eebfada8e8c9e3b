"""Repeats by range."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.records.leaves import Expected
from interop.site.ranges import MOST, expand_ids, expand_many, numbered, range_length


@pytest.mark.parametrize(
    ("text", "ids"),
    [("R1", ["R1"]), ("R1..R3", ["R1", "R2", "R3"]), ("R1..3", ["R1", "R2", "R3"]), ("R3..R1", ["R3", "R2", "R1"]),
     ("R9..R11", ["R9", "R10", "R11"]), ("R09..R11", ["R09", "R10", "R11"]), ("R1..R2, N1", ["R1", "R2", "N1"]),
     ("1..3", ["1", "2", "3"]), ("  rack   A 1 .. 2 ", ["rack A 1", "rack A 2"]), ("R1..R1", ["R1"]),
     ("A1B1..A1B2", ["A1B1", "A1B2"])],
)  # fmt: skip
def test_ids(text: str, ids: list[str]) -> None:
    assert expand_ids(text) == tuple(ids)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("R1..N3", "a range with one name, such as R1..R9"), ("R1...R3", "a range with one name, such as R1..R9"),
     ("R1..R3, R2", "each id once (R2 stands twice)"),
     ("R1..R20001", f"a range of at most {MOST} ids"), ("A1..A20000, B1", f"at most {MOST} ids"),
     ("R1..R9999999999", "a range with one name, such as R1..R9")],
)  # fmt: skip
def test_ranges_that_name_no_ids(text: str, expected: str) -> None:
    with pytest.raises(Expected) as bad:
        expand_ids(text)
    assert bad.value.expected == expected


@pytest.mark.parametrize("text", ["", "R1,", ",", "R..", "..3", "R1..", "a:b", "'", "R\u0661..R\u0663", "R1\u202e"])
def test_text_that_is_no_id(text: str) -> None:
    with pytest.raises(Expected, match="an id: a letter or digit"):
        expand_ids(text)


def test_a_list_of_ranges() -> None:
    assert expand_many(["R1..R2", "N1"]) == ("R1", "R2", "N1")
    assert expand_many("R1..R2") == ("R1", "R2")
    with pytest.raises(Expected, match="R2 stands twice"):
        expand_many(["R1..R2", "R2"])


@given(st.integers(0, 300), st.integers(0, 300))
def test_a_range_counts_each_number_once(first: int, last: int) -> None:
    step = 1 if last >= first else -1
    assert expand_ids(f"R{first}..R{last}") == tuple(f"R{n}" for n in range(first, last + step, step))
    assert range_length(f"left {first}..{last} x") == abs(last - first) + 1


@pytest.mark.parametrize(
    ("text", "count", "texts"),
    [("rack L slot 4..", 2, ("rack L slot 4", "rack L slot 5")), ("left 1..2", 2, ("left 1", "left 2")),
     ("left 2..1", 2, ("left 2", "left 1")), ("left", 2, ("left", "left")), ("left 1..3", 2, None),
     ("left 1..1", 1, ("left 1",)),
     ("R 1..2 LINK", 2, ("R 1 LINK", "R 2 LINK")), ("left 1..2", 0, None), ("left", 0, ())],
)  # fmt: skip
def test_a_text_is_spread_over_devices(text: str, count: int, texts: tuple[str, ...] | None) -> None:
    assert numbered(text, count) == texts
