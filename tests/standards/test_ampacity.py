from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.standards.ampacity import (
    COLUMNS_C,
    ambient_factor,
    conductor_ampacity,
    may_run_in_parallel,
    small_conductor_device_a,
    table_ampacity_a,
    table_source,
    terminal_column_c,
)
from interop.standards.sizes import parse_size

NOT_LISTED = ["70 mm2", "53.5 mm2", "67.43 mm2", "5 AWG", "16 AWG", "133.1 kcmil", "450 kcmil", "750 kcmil"]
SIZES = [
    "14 AWG", "12 AWG", "10 AWG", "8 AWG", "6 AWG", "4 AWG", "3 AWG", "2 AWG", "1 AWG", "1/0 AWG", "2/0 AWG",
    "3/0 AWG", "4/0 AWG", "250 kcmil", "300 kcmil", "350 kcmil", "400 kcmil", "500 kcmil",
]  # fmt: skip


@pytest.mark.parametrize("text", NOT_LISTED)
def test_metric_and_unlisted_sizes_have_no_ampacity(text: str) -> None:
    size = parse_size(text)
    assert [table_ampacity_a(size, column) for column in COLUMNS_C] == [None] * 3
    assert table_source(size) is None
    assert conductor_ampacity(size, insulation_c=90, terminal_c=75, ambient_c=30) is None


def test_a_larger_size_and_a_hotter_column_carry_more() -> None:
    for column in COLUMNS_C:
        rising = [table_ampacity_a(parse_size(text), column) or 0 for text in SIZES]
        assert rising == sorted(set(rising))
    for text in SIZES:
        columns = [table_ampacity_a(parse_size(text), column) or 0 for column in COLUMNS_C]
        assert columns == sorted(set(columns))


@pytest.mark.parametrize("column", [0, 70, 105, -75])
def test_another_column_is_refused(column: int) -> None:
    size, text = parse_size("2 AWG"), f"a column is one of 60, 75, 90 C, got {column}"
    for ask in (
        lambda: table_ampacity_a(size, column),
        lambda: ambient_factor(30, column),
        lambda: terminal_column_c(size, 100, column),
        lambda: conductor_ampacity(size, insulation_c=90, terminal_c=column, ambient_c=30),
        lambda: conductor_ampacity(parse_size("70 mm2"), insulation_c=column, terminal_c=75, ambient_c=30),
    ):
        with pytest.raises(ValueError) as caught:
            ask()
        assert str(caught.value) == text


@pytest.mark.parametrize(
    "ambient_c, factor",
    # between the printed whole degrees the warmer band counts
    [(30, 1.0), (30.01, 0.94), (35, 0.94), (35.5, 0.88), (36, 0.88), (40.001, 0.82), (10.5, 1.15), (-40, 1.2)],
)
def test_edges_of_the_ambient_bands(ambient_c: float, factor: float) -> None:
    assert ambient_factor(ambient_c, 75) == factor


@pytest.mark.parametrize("ambient_c, column", [(56, 60), (60, 60), (70.5, 75), (75, 75), (85.5, 90), (100, 90)])
def test_where_the_table_prints_a_dash_nothing_may_flow(ambient_c: float, column: int) -> None:
    assert ambient_factor(ambient_c, column) == 0
    found = conductor_ampacity(parse_size("4/0 AWG"), insulation_c=column, terminal_c=75, ambient_c=ambient_c)
    assert found is not None
    assert found.a == 0


@given(st.floats(-60, 100), st.floats(-60, 100), st.sampled_from(COLUMNS_C))
def test_a_warmer_place_never_allows_more(one_c: float, other_c: float, column: int) -> None:
    assert ambient_factor(max(one_c, other_c), column) <= ambient_factor(min(one_c, other_c), column)


@pytest.mark.parametrize("ambient_c", [-60.5, 100.5, math.nan, math.inf])
def test_an_absurd_ambient_is_refused(ambient_c: float) -> None:
    with pytest.raises(ValueError) as caught:
        ambient_factor(ambient_c, 75)
    assert str(caught.value) == f"an ambient [C] is from -60 to 100, got {ambient_c}"


def test_cold_never_lifts_a_conductor_above_its_terminals() -> None:
    # 90 C column at 10 C: 130 x 1.15 = 149.5 A, but the terminals stay at 115 A
    found = conductor_ampacity(parse_size("2 AWG"), insulation_c=90, terminal_c=75, ambient_c=10)
    assert found is not None
    assert (found.a, found.capped_by_terminals) == (115, True)
    assert found.derated_a == pytest.approx(149.5)


def test_more_conductors_together_derate_the_insulation_only() -> None:
    # 130 x 1.00 x 0.8 = 104 A (the factor is the caller's), the terminals' column stays as it is
    found = conductor_ampacity(parse_size("2 AWG"), insulation_c=90, terminal_c=75, ambient_c=30, adjustment=0.8)
    assert found is not None
    assert found.a == pytest.approx(104)
    assert (found.terminal_a, found.factor) == (115, 0.8)
    assert not found.capped_by_terminals


@pytest.mark.parametrize("adjustment", [0, -0.5, 1.01, math.nan])
def test_an_adjustment_only_takes_away(adjustment: float) -> None:
    with pytest.raises(ValueError) as caught:
        conductor_ampacity(parse_size("2 AWG"), insulation_c=90, terminal_c=75, ambient_c=30, adjustment=adjustment)
    assert str(caught.value) == f"an adjustment is above 0 and at most 1, got {adjustment}"


@pytest.mark.parametrize(
    "text, circuit_a, marked_c, column",
    [
        ("2/0 AWG", 100, None, 60),  # the circuit's rating decides
        ("2/0 AWG", 100.5, None, 75),
        ("1 AWG", 125, None, 60),  # the size decides
        ("2 AWG", 125, 75, 75),  # a mark goes before both
        ("4/0 AWG", 225, 60, 60),
        ("4/0 AWG", 225, 90, 90),
        ("35 mm2", 125, None, 60),  # by area: 1 AWG is 42.4 mm2
        ("50 mm2", 125, None, 75),
    ],
)
def test_which_column_the_terminals_allow(text: str, circuit_a: float, marked_c: int | None, column: int) -> None:
    assert terminal_column_c(parse_size(text), circuit_a, marked_c) == column


@pytest.mark.parametrize("circuit_a", [0, -1, math.inf, math.nan])
def test_a_circuit_has_a_rating(circuit_a: float) -> None:
    with pytest.raises(ValueError) as caught:
        terminal_column_c(parse_size("2 AWG"), circuit_a)
    assert str(caught.value) == f"a rating [A] is above zero, got {circuit_a}"


@pytest.mark.parametrize(
    "text, device_a",
    [
        ("8 AWG", math.inf),
        ("500 kcmil", math.inf),
        ("10 AWG", 30),
        ("9 AWG", None),
        ("13 AWG", None),
        ("16 AWG", None),
        ("10 kcmil", None),
        ("2.5 mm2", None),
        ("70 mm2", None),
    ],
)
def test_the_small_conductor_rule_beyond_its_three_sizes(text: str, device_a: float | None) -> None:
    assert small_conductor_device_a(parse_size(text)) == device_a


@pytest.mark.parametrize(
    "text, allowed",
    # 1/0 AWG is 53.5 mm2
    [("1/0 AWG", True), ("1 AWG", False), ("250 kcmil", True), ("50 mm2", False), ("70 mm2", True)],
)
def test_who_may_run_in_parallel(text: str, allowed: bool) -> None:
    assert may_run_in_parallel(parse_size(text)) is allowed
