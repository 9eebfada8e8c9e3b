from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from interop.standards.cell_voltage import (
    BAND_SOURCE,
    RESTED_FULL_HIGHEST_V,
    RESTED_FULL_SOURCE,
    CellRange,
    ChargeStateRange,
    Curve,
    lfp_cell_slope,
    lfp_cell_voltage,
    lfp_charge_state,
    lfp_closed_form_a,
    lfp_model_slope,
    lfp_model_voltage,
)

CURVES: list[Curve] = ["mean", "a", "b"]
USED = st.floats(0.10, 0.95)
ANY = st.floats(-0.5, 1.5)


def at(charge_state: float) -> CellRange:
    found = lfp_cell_voltage(charge_state)
    assert found is not None
    return found


def read(cell_v: float, uncertainty_v: float = 0.0) -> ChargeStateRange:
    found = lfp_charge_state(cell_v, uncertainty_v)
    assert found is not None
    return found


@pytest.mark.parametrize("charge_state", [0, 0.05, 0.0999, 0.9501, 0.98, 1])
def test_outside_10_to_95_percent_there_is_no_answer(charge_state: float) -> None:
    assert lfp_cell_voltage(charge_state) is None
    assert lfp_cell_slope(charge_state) is None


@pytest.mark.parametrize("charge_state", [-0.01, 1.01, 50, math.nan, math.inf])
def test_a_charge_state_is_a_fraction(charge_state: float) -> None:
    for ask in (lfp_cell_voltage, lfp_cell_slope, lfp_closed_form_a):
        with pytest.raises(ValueError) as caught:
            ask(charge_state)
        assert str(caught.value) == f"a charge state is a fraction from 0 to 1, got {charge_state}"


@given(USED)
def test_the_range_is_30_mv_either_way_and_200_below_20_percent(charge_state: float) -> None:
    found = at(charge_state)
    least = 0.030 if charge_state >= 0.20 else 0.200
    assert found.high - found.nominal >= least - 1e-12
    assert found.nominal - found.low >= least - 1e-12
    # Wider only where the two sets themselves lie further apart, by 5 mV at most.
    assert max(found.high - found.nominal, found.nominal - found.low) < least + 0.005


@given(USED)
def test_both_sets_lie_within_the_range(charge_state: float) -> None:
    found = at(charge_state)
    for curve in CURVES:
        assert found.low <= lfp_model_voltage(charge_state, curve) <= found.high
    # Between its points the table is read smoothly, which leaves set A's own formula by up to 1 mV.
    assert found.low - 0.001 <= lfp_closed_form_a(charge_state) <= found.high + 0.001


@given(USED)
def test_between_its_points_the_table_keeps_to_the_formula(charge_state: float) -> None:
    off_mv = 1000 * abs(float(lfp_model_voltage(charge_state, "a")) - lfp_closed_form_a(charge_state))
    assert off_mv < (2.0 if charge_state >= 0.20 else 8.0)


@given(USED)
def test_the_model_is_the_published_curve_where_that_is_used(charge_state: float) -> None:
    assert float(lfp_model_voltage(charge_state)) == at(charge_state).nominal
    slope = lfp_cell_slope(charge_state)
    assert slope is not None
    assert float(lfp_model_slope(charge_state)) == slope.nominal
    assert slope.low <= slope.nominal <= slope.high


@pytest.mark.parametrize("curve", CURVES)
def test_the_model_rises_everywhere_and_its_slope_is_its_slope(curve: Curve) -> None:
    s = np.linspace(-0.2, 1.2, 14_001)
    volts, slope = lfp_model_voltage(s, curve), lfp_model_slope(s, curve)
    assert (np.diff(volts) > 0).all()
    assert (slope > 0).all()
    middle = (s[1:] + s[:-1]) / 2
    assert np.diff(volts) / np.diff(s) == pytest.approx(lfp_model_slope(middle, curve), rel=2e-3)
    # no jump in the slope either: an integrator that adapts its step relies on it
    near = 1e-9
    knots = np.array([0, 0.02, 0.05, 0.1, 0.2, 0.5, 0.95, 0.98, 0.99, 1])
    assert lfp_model_slope(knots - near, curve) == pytest.approx(lfp_model_slope(knots + near, curve), rel=1e-5)


@pytest.mark.parametrize("curve", CURVES)
def test_the_model_between_its_points_against_another_reader_of_the_same_method(curve: Curve) -> None:
    # scipy's monotone interpolation differs at the two outermost pieces only, where it chooses another end slope.
    s = np.array([0, 2, 5, 10, 15, 20, 25, 30, 40, 50, 60, 70, 75, 80, 85, 90, 95, 98, 99, 100]) / 100
    theirs = PchipInterpolator(s, lfp_model_voltage(s, curve))
    inside = np.linspace(0.02, 0.99, 971)
    assert lfp_model_voltage(inside, curve) == pytest.approx(theirs(inside), abs=1e-12)
    assert lfp_model_slope(inside, curve) == pytest.approx(theirs.derivative()(inside), abs=1e-9)


@pytest.mark.parametrize("curve", CURVES)
def test_the_ends_of_the_model(curve: Curve) -> None:
    empty, full = lfp_model_voltage([0, 1], curve)
    assert (empty, full) == (2.0, RESTED_FULL_HIGHEST_V)
    slope = lfp_model_slope([-0.3, 0, 1, 1.3], curve)
    assert slope[0] == slope[1]
    assert slope[2] == slope[3]
    assert lfp_model_voltage(1.1, curve) == pytest.approx(3.45 + 0.1 * slope[2], abs=1e-12)
    assert lfp_model_voltage(-0.01, curve) == pytest.approx(2.0 - 0.01 * slope[0], abs=1e-12)


def test_the_model_keeps_the_shape_of_what_it_is_asked() -> None:
    asked = np.array([[0.2, 0.5, 0.9], [0.1, 1.0, 0.0]])
    assert lfp_model_voltage(asked).shape == lfp_model_slope(asked).shape == (2, 3)
    assert lfp_model_voltage(0.5).shape == lfp_model_slope(0.5).shape == ()
    assert lfp_model_voltage([]).shape == (0,)
    assert lfp_model_voltage(asked)[0, 1] == lfp_model_voltage(0.5)


def test_the_model_refuses_what_is_no_number_and_no_curve() -> None:
    for ask in (lfp_model_voltage, lfp_model_slope):
        for bad in (math.nan, [0.5, math.inf]):
            with pytest.raises(ValueError, match=r"^a charge state is a finite number$"):
                ask(bad)
        with pytest.raises(ValueError, match=r"^a curve is one of mean, a, b, got 'c'$"):
            ask(0.5, "c")  # type: ignore[arg-type]


@given(st.floats(0.20, 0.95), st.floats(-0.030, 0.030))
def test_a_voltage_within_the_range_leaves_its_own_charge_state_possible(charge_state: float, off_v: float) -> None:
    found = read(at(charge_state).nominal + off_v)
    assert found.low - 1e-9 <= charge_state <= found.high + 1e-9


@given(USED)
def test_no_set_is_excluded_by_its_own_voltage(charge_state: float) -> None:
    for curve in CURVES:
        found = read(float(lfp_model_voltage(charge_state, curve)))
        assert found.low - 1e-9 <= charge_state <= found.high + 1e-9


@given(st.floats(2.0, 3.45), st.floats(0, 0.1), st.floats(0, 0.1))
def test_a_poorer_meter_never_says_more(cell_v: float, one_v: float, other_v: float) -> None:
    fine, coarse = read(cell_v, min(one_v, other_v)), read(cell_v, max(one_v, other_v))
    assert coarse.low <= fine.low
    assert fine.high <= coarse.high
    assert 0 <= coarse.low <= coarse.high <= 1


@given(st.floats(2.0, 3.45), st.floats(2.0, 3.45))
def test_a_higher_voltage_never_means_less_charge(one_v: float, other_v: float) -> None:
    lower, higher = read(min(one_v, other_v)), read(max(one_v, other_v))
    assert lower.low <= higher.low
    assert lower.high <= higher.high


@pytest.mark.parametrize(
    "cell_v, low, high",
    [
        (2.0, 0.0, 0.10),  # nothing between 10 and 95 % reaches down to it
        (3.0, 0.0, 0.20),
        (3.20, 0.0, 0.286),  # lowest curve (A) passes 3.20 V at 28.6 %
        (3.28, 0.341, 0.778),  # mean 3.25 V at 34.1 %, mean 3.31 V at 77.8 %
        (3.33, 0.737, 1.0),  # a rested full cell may be three quarters full
        (3.40, 0.95, 1.0),
        (3.45, 0.95, 1.0),
    ],
)
def test_what_a_reading_leaves_possible(cell_v: float, low: float, high: float) -> None:
    found = read(cell_v)
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.004)
    assert found.width == found.high - found.low


@pytest.mark.parametrize("cell_v", [-3.3, 0, 1.9, 3.451, 3.6, 4.1])
def test_what_no_rested_lfp_cell_reads_has_no_answer(cell_v: float) -> None:
    assert lfp_charge_state(cell_v) is None


def test_a_reading_that_may_be_within_the_last_volt_counts() -> None:
    assert read(3.46, 0.02) == ChargeStateRange(0.95, 1.0)
    assert read(1.99, 0.02).low == 0


@pytest.mark.parametrize("cell_v", [math.nan, math.inf])
def test_a_reading_is_a_number(cell_v: float) -> None:
    with pytest.raises(ValueError) as caught:
        lfp_charge_state(cell_v)
    assert str(caught.value) == f"a cell's voltage [V] is a number, got {cell_v}"


@pytest.mark.parametrize("uncertainty_v", [-0.001, math.nan, math.inf])
def test_an_uncertainty_is_not_below_zero(uncertainty_v: float) -> None:
    with pytest.raises(ValueError) as caught:
        lfp_charge_state(3.3, uncertainty_v)
    assert str(caught.value) == f"an uncertainty [V] is zero or more, got {uncertainty_v}"


def test_what_the_bands_rest_on() -> None:
    assert str(BAND_SOURCE) == "default of this project (DEFAULT)"
    assert str(RESTED_FULL_SOURCE) == "field practice, full LFP cell at rest (MEM)"


def test_one_cell_is_answered_without_the_heavy_parts() -> None:
    code = (
        "import sys; from interop.standards import ampacity, conductors, devices, estimates\n"
        "from interop.standards.cell_voltage import lfp_cell_voltage, lfp_charge_state\n"
        "lfp_cell_voltage(0.5); lfp_charge_state(3.3); print('numpy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
