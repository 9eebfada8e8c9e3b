from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.standards.sizes import (
    LENGTH_EXPECTED,
    SIZE_EXPECTED,
    SizeError,
    awg_diameter_mm,
    format_length,
    parse_length_m,
    parse_size,
)

METRIC = st.decimals("0.005", 1000, allow_nan=False, places=3).map(lambda number: f"{number} mm2")
KCMIL = st.decimals(1, 2000, allow_nan=False, places=1).map(lambda number: f"{number} kcmil")
GAUGES = ["4/0", "3/0", "2/0", "1/0", *map(str, range(1, 41))]
AWG = st.sampled_from(GAUGES).map("{} AWG".format)
SIZES = st.one_of(METRIC, KCMIL, AWG)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1.8 m", 1.8),
        ("0.3 m", 0.3),
        ("30 cm", 0.3),
        ("35 cm", 0.35),
        ("1500 mm", 1.5),
        ("6 ft", 1.8288),
        ("4 in", 0.1016),
        ("1.5ft", 0.4572),
        ("12 in", 0.3048),
        ("5e-1 m", 0.5),
        ("1e3 m", 1000.0),
        ("10000 m", 10000.0),
        ("1 mm", 0.001),
    ],
)
def test_lengths_are_read_to_the_nearest_double(text: str, metres: float) -> None:
    assert parse_length_m(text) == metres


@pytest.mark.parametrize(
    "text",
    [
        "", "1.8", "m", "-1 m", "+1 m", "1,8 m", ".5 m", "1. m", "1_0 m", "1e+3 m", "1e100 m", "inf m", "nan m",
        " 1 m", "1 m ", "1 m\n", "1\tm", "1 M", "1 km", "6 ft 4 in", "6'", "١ m", "1 mm2", "1" * 5000 + " m",
    ],
)  # fmt: skip
def test_other_text_is_no_length(text: str) -> None:
    with pytest.raises(SizeError) as caught:
        parse_length_m(text)
    assert caught.value.value == text
    assert caught.value.expected == LENGTH_EXPECTED == "a length with its unit, such as 1.8 m or 6 ft"


@pytest.mark.parametrize("text", ["0 m", "0.0 ft", "0.0009 m", "10001 m", "32809 ft", "1e99 m", "1e-99 m"])
def test_zero_and_absurd_lengths_are_refused(text: str) -> None:
    with pytest.raises(SizeError) as caught:
        parse_length_m(text)
    assert str(caught.value) == f"got {text!r}, expected {LENGTH_EXPECTED}, from 1 mm to 10 km"


@given(st.floats(0.001, 10000))
def test_a_formatted_length_reads_back_as_itself(metres: float) -> None:
    assert parse_length_m(format_length(metres)) == metres


@pytest.mark.parametrize(("metres", "text"), [(1.0, "1 m"), (1.8, "1.8 m"), (6, "6 m"), (0.3, "0.3 m")])
def test_lengths_are_written_in_their_shortest_form(metres: float, text: str) -> None:
    assert format_length(metres) == text


@pytest.mark.parametrize("metres", [0.0, -1.0, math.inf, math.nan, 1e5])
def test_a_length_that_cannot_be_read_back_is_not_written(metres: float) -> None:
    with pytest.raises(SizeError):
        format_length(metres)


@given(st.integers(1, 10000), st.sampled_from([("ft", "in", 12), ("m", "cm", 100), ("cm", "mm", 10)]))
def test_a_unit_is_so_many_of_the_next(count: int, units: tuple[str, str, int]) -> None:
    large, small, ratio = units
    assert parse_length_m(f"{count} {large}") == parse_length_m(f"{count * ratio} {small}")


@pytest.mark.parametrize(
    ("text", "canonical", "unit"),
    [
        ("70 mm2", "70 mm2", "mm2"),
        ("70.0 mm2", "70 mm2", "mm2"),
        ("2.50mm²", "2.5 mm2", "mm2"),
        ("2/0 AWG", "2/0 AWG", "AWG"),
        ("0 AWG", "1/0 AWG", "AWG"),
        ("8awg", "8 AWG", "AWG"),
        ("250 kcmil", "250 kcmil", "kcmil"),
        ("250 MCM", "250 kcmil", "kcmil"),
        ("5e2 kcmil", "500 kcmil", "kcmil"),
        ("2000 kcmil", "2000 kcmil", "kcmil"),
        ("1000 mm2", "1000 mm2", "mm2"),
    ],
)
def test_sizes_have_one_canonical_text(text: str, canonical: str, unit: str) -> None:
    size = parse_size(text)
    assert (size.text, str(size), size.unit) == (canonical, canonical, unit)


@pytest.mark.parametrize(
    "text",
    [
        "", "70", "mm2", "-70 mm2", "-1 AWG", "00 AWG", "08 AWG", "8.5 AWG", "5/0 AWG", "0/0 AWG", "2/1 AWG",
        "8 Awg", "AWG 8", "#8", "250 KCMIL", "70 mm", "70 sqmm", "1e+2 mm2", " 8 AWG", "8 AWG\n", "inf mm2",
        "100 AWG", "9" * 5000 + " mm2",
    ],
)  # fmt: skip
def test_other_text_is_no_size(text: str) -> None:
    with pytest.raises(SizeError) as caught:
        parse_size(text)
    assert (caught.value.value, caught.value.expected) == (text, SIZE_EXPECTED)


@pytest.mark.parametrize("text", ["0 mm2", "0.004 mm2", "1000.1 mm2", "2000.5 kcmil", "0 kcmil", "1e99 mm2"])
def test_zero_and_absurd_sizes_are_refused(text: str) -> None:
    with pytest.raises(SizeError) as caught:
        parse_size(text)
    assert caught.value.expected == f"{SIZE_EXPECTED}, from 0.005 mm2 to 1000 mm2 or 2000 kcmil"


@pytest.mark.parametrize("text", ["41 AWG", "99 AWG"])
def test_a_gauge_finer_than_any_conductor_is_refused(text: str) -> None:
    with pytest.raises(SizeError, match="gauge from 4/0 to 40"):
        parse_size(text)


@given(SIZES)
def test_a_size_reads_back_from_its_own_text(text: str) -> None:
    size = parse_size(text)
    assert parse_size(size.text) == size


@given(SIZES, SIZES)
def test_sizes_order_by_area_whatever_their_unit(one: str, other: str) -> None:
    a, b = parse_size(one), parse_size(other)
    assert (a < b) == ((a.area_mm2, a.text) < (b.area_mm2, b.text))
    if a.area_mm2 < b.area_mm2:
        assert a < b


def test_trade_and_metric_sizes_interleave_as_in_the_trade() -> None:
    mixed = ["70 mm2", "4/0 AWG", "8 AWG", "250 kcmil", "2/0 AWG", "10 mm2", "120 mm2", "1/0 AWG", "50 mm2"]
    # 8 AWG is 8.4 mm2, 1/0 53.5, 2/0 67.4, 4/0 107.2, 250 kcmil 126.7 (common practice)
    assert [size.text for size in sorted(map(parse_size, mixed))] == [
        "8 AWG", "10 mm2", "50 mm2", "1/0 AWG", "2/0 AWG", "70 mm2", "4/0 AWG", "120 mm2", "250 kcmil",
    ]  # fmt: skip


def test_every_gauge_is_smaller_than_the_one_before() -> None:
    areas = [parse_size(f"{gauge} AWG").area_mm2 for gauge in GAUGES]
    assert areas == sorted(areas, reverse=True)
    assert len(set(areas)) == 44


@pytest.mark.parametrize("number", [-4, 41])
def test_a_gauge_number_outside_the_standard_is_refused(number: int) -> None:
    with pytest.raises(ValueError, match="is outside -3"):
        awg_diameter_mm(number)


def test_a_length_knows_how_it_was_written() -> None:
    length = parse_length_m(" 6  ft ".strip())
    assert (float(length), length.text) == (1.8288, "6 ft")
    assert length == 1.8288
    assert hash(length) == hash(1.8288)
