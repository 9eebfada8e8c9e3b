from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.standards.devices import (
    CONTINUOUS_SOURCE,
    CONVENTIONAL_TRIPPING,
    EXTRA_FUSE_RATINGS_A,
    IEC_SOURCE,
    LARGE_BANK_INTERRUPTING,
    NEXT_SIZE_UP_SOURCE,
    STANDARD_RATINGS_A,
    STANDARD_RATINGS_SOURCE,
    STORAGE_SOURCE,
    WITHSTAND_SOURCE,
    IecOverload,
    continuous_capacity_a,
    device_limit_a,
    iec_overload,
    least_device_a,
    next_standard_a,
    standard_at_most_a,
    withstand_i2t_a2s,
)
from interop.standards.sizes import parse_size

CURRENTS = st.floats(0, 7000)
NO_CURRENT = [-1, -0.001, math.inf, math.nan]


@pytest.mark.parametrize(
    "current_a, fuse, rating_a",
    [
        (0, False, 15),
        (0, True, 1),
        (5, False, 15),
        (5, True, 6),
        (6.5, True, 10),
        (10.5, True, 15),
        (15, False, 15),
        (15.01, False, 20),
        (6000, False, 6000),
        (6000.1, False, None),
    ],
)
def test_next_standard_rating(current_a: float, fuse: bool, rating_a: int | None) -> None:
    assert next_standard_a(current_a, fuse=fuse) == rating_a


@pytest.mark.parametrize(
    "limit_a, fuse, rating_a",
    [(14.9, False, None), (14.9, True, 10), (0.5, True, None), (15, False, 15), (129, False, 125), (9000, False, 6000)],
)
def test_largest_standard_rating_within_a_limit(limit_a: float, fuse: bool, rating_a: int | None) -> None:
    assert standard_at_most_a(limit_a, fuse=fuse) == rating_a


@pytest.mark.parametrize("rating_a", [*EXTRA_FUSE_RATINGS_A, *STANDARD_RATINGS_A])
def test_a_rating_reached_by_arithmetic_is_that_rating(rating_a: int) -> None:
    # thirds and tenths leave a hair on either side of the whole number
    for computed in (rating_a / 3 * 3, rating_a * 1.1 / 1.1, rating_a * (1 + 4e-16), rating_a * (1 - 4e-16)):
        assert next_standard_a(computed, fuse=True) == standard_at_most_a(computed, fuse=True) == rating_a


@given(CURRENTS, st.booleans())
def test_the_two_ratings_about_a_current_are_neighbours(current_a: float, fuse: bool) -> None:
    above, below = next_standard_a(current_a, fuse=fuse), standard_at_most_a(current_a, fuse=fuse)
    ratings = (EXTRA_FUSE_RATINGS_A if fuse else ()) + STANDARD_RATINGS_A
    if above is not None and below is not None and above != below:
        assert below < current_a < above
        assert ratings.index(above) == ratings.index(below) + 1


@given(CURRENTS)
def test_a_device_is_never_above_the_next_size_up_and_never_below_the_ampacity(ampacity_a: float) -> None:
    limit = device_limit_a(ampacity_a)
    assert ampacity_a <= limit
    assert device_limit_a(ampacity_a, next_size_up=False) == ampacity_a
    assert limit == ampacity_a or (limit in STANDARD_RATINGS_A and limit <= 800)


def test_a_conductor_that_may_carry_nothing_gets_no_device() -> None:
    assert device_limit_a(0) == 0
    assert standard_at_most_a(0, fuse=True) is None


def test_a_fuse_has_more_next_sizes() -> None:
    assert (device_limit_a(7), device_limit_a(7, fuse=True)) == (15, 10)


@given(CURRENTS, st.booleans())
def test_the_least_device_carries_what_it_was_chosen_for(current_a: float, listed: bool) -> None:
    rating_a = least_device_a(current_a, hundred_percent_rated=listed)
    assert continuous_capacity_a(rating_a, hundred_percent_rated=listed) == pytest.approx(current_a)


@pytest.mark.parametrize("value", NO_CURRENT)
def test_what_is_no_current_is_refused(value: float) -> None:
    for name, ask in (
        ("current", next_standard_a),
        ("limit", standard_at_most_a),
        ("ampacity", device_limit_a),
        ("current", least_device_a),
        ("rating", continuous_capacity_a),
    ):
        with pytest.raises(ValueError) as caught:
            ask(value)
        assert str(caught.value) == f"{name} [A] is zero or more, got {value}"


@pytest.mark.parametrize("name, at", [("Ib", 0), ("In", 1), ("Iz", 2), ("I2", 3)])
@pytest.mark.parametrize("value", NO_CURRENT)
def test_the_iec_rule_names_the_current_that_is_none(name: str, at: int, value: float) -> None:
    currents = [100.0, 125.0, 160.0, 181.25]
    currents[at] = value
    with pytest.raises(ValueError) as caught:
        iec_overload(*currents)
    assert str(caught.value) == f"{name} [A] is zero or more, got {value}"


def test_the_iec_rule_one_break_at_a_time() -> None:
    assert iec_overload(100, 125, 160, 181.25) == IecOverload(True, True, True)
    assert iec_overload(126, 125, 160, 181.25) == IecOverload(False, True, True)
    assert iec_overload(100, 125, 124, 162.5) == IecOverload(True, False, True)
    assert iec_overload(100, 125, 160, 233) == IecOverload(True, True, False)
    assert iec_overload(125, 125, 125, 1.45 * 125) == IecOverload(True, True, True)


def test_a_tripping_current_that_is_not_stated_is_no_pass() -> None:
    assert iec_overload(100, 125, 160).trips_in_time is None


def test_withstand() -> None:
    # 2/0 AWG is 67.4 mm2; above 300 mm2 PVC has a lower k, which is not known here
    assert withstand_i2t_a2s(parse_size("2/0 AWG"), "xlpe") == pytest.approx((143 * 67.43) ** 2, rel=1e-3)
    assert withstand_i2t_a2s(parse_size("300 mm2"), "pvc") is not None
    assert withstand_i2t_a2s(parse_size("350 mm2"), "pvc") is None
    assert withstand_i2t_a2s(parse_size("350 mm2"), "xlpe") is not None


@pytest.mark.parametrize("insulation", ["", "PVC", "silicone"])
def test_another_insulation_is_refused(insulation: str) -> None:
    with pytest.raises(ValueError) as caught:
        withstand_i2t_a2s(parse_size("70 mm2"), insulation)
    assert str(caught.value) == f"insulation is one of pvc, xlpe, rubber, got {insulation!r}"


def test_what_each_rule_rests_on() -> None:
    sources = {
        "NEC, 240.6(A) (V2)": STANDARD_RATINGS_SOURCE,
        "NEC, 240.4(B), 240.4(C) (V2)": NEXT_SIZE_UP_SOURCE,
        "NEC, 210.20(A) (V1)": CONTINUOUS_SOURCE,
        "NEC, 706, circuits of energy storage (V1)": STORAGE_SOURCE,
        "IEC 60364-4-43, 433.1, Ib <= In <= Iz and I2 <= 1.45 Iz (MEM)": IEC_SOURCE,
        "IEC 60364-4-43, 434.5.2, I2t = k2 S2 (MEM)": WITHSTAND_SOURCE,
        "a standard for boats, device on a large bank (V1)": LARGE_BANK_INTERRUPTING.source,
    }
    assert {text: str(source) for text, source in sources.items()} == {text: text for text in sources}
    assert not any(one.source.certainty.may_stop for one in CONVENTIONAL_TRIPPING.values())
