"""Drift between what packs count and what they hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from interop.circuit.course import Packs, course
from interop.circuit.drift import GAIN_ERROR, OFFSET_ERROR_A, Counting, Reports, counted, drift, reported
from interop.circuit.plant import Stage
from interop.standards.cell_voltage import lfp_model_slope, lfp_model_voltage
from tests.circuit.racks import ladder, pair

Floats = NDArray[np.float64]
NEVER = np.inf
DAY = [Stage(8, watt=1500), Stage(6, watt=-4000, hold_v=55.2, tail_a=8), Stage(10, watt=1200)]


def smooth(soc: Floats) -> Floats:
    return 16 * lfp_model_voltage(soc)


def smooth_slope(soc: Floats) -> Floats:
    return 16 * lfp_model_slope(soc)


def packs_of(capacity: list[float], soc: float | list[float]) -> Packs:
    return Packs.of(capacity, soc, smooth, smooth_slope, low_soc=0.05)


def test_defaults_are_those_of_the_statement() -> None:
    """power.md §3: +-1 %, +-50 mA, assumptions."""
    assert (GAIN_ERROR, OFFSET_ERROR_A) == (0.01, 0.05)


def test_an_offset_alone_at_rest_is_a_straight_line() -> None:
    """50 mA for a week is 8.4 Ah: 8.4 % of 100 Ah and 3 % of 280 Ah."""
    found = drift(pair(), packs_of([100, 280], 0.5), [Stage(24)], 7, [0, 1], Reports.LOWEST,
                  Counting.of(2, 0, 0.05, NEVER, 0))
    assert found.hours[-1] == pytest.approx(168)
    assert found.counted_high[-1] == pytest.approx([0.584, 0.53], abs=1e-9)
    assert found.counted_low[-1] == pytest.approx([0.416, 0.47], abs=1e-9)
    assert found.error_range(168) == pytest.approx((-0.084, 0.03), abs=1e-9)


def test_a_gain_alone_is_a_part_of_what_flowed() -> None:
    """95 A from two equal 100 Ah packs for half an hour is 23.75 Ah each: 0.2375 % of charge at 1 %."""
    found = drift(pair(), packs_of([100, 100], 0.9), [Stage(0.5, amp=95)], 1, [0, 1], Reports.MEAN,
                  Counting.of(2, 0.01, 0, NEVER, 0))
    assert found.soc[-1] == pytest.approx([0.6625, 0.6625], abs=1e-5)
    assert found.counted_low[-1] == pytest.approx([0.6625 - 0.002375] * 2, abs=1e-5)
    assert found.counted_high[-1] == pytest.approx([0.6625 + 0.002375] * 2, abs=1e-5)


def test_without_errors_the_count_is_the_truth_and_the_display_shows_its_part_only() -> None:
    bank = ladder(4, 3)
    found = drift(bank, packs_of([100, 100, 280, 280], 0.6), DAY, 2, [0, 1], Reports.WEIGHTED_MEAN,
                  Counting.of(4, 0, 0, NEVER, 0))
    assert found.counted_low == pytest.approx(found.soc, abs=1e-6)
    assert found.reported_high == pytest.approx(found.managed, abs=1e-6)
    assert found.bank == pytest.approx(found.soc @ np.array([100, 100, 280, 280]) / 760, abs=1e-12)
    assert np.abs(found.managed - found.bank).max() > 0.02


def test_a_full_rule_sets_the_count_to_full() -> None:
    counting = Counting.of(2, 0.01, 0.05, 54.8, 6.0)
    found = drift(pair(), packs_of([100, 100], 0.6), DAY, 3, [0, 1], Reports.LOWEST, counting)
    assert len(found.resets) >= 4
    for hours, pack in found.resets:
        row = int(np.searchsorted(found.hours, hours))
        assert found.counted_low[row, pack] == found.counted_high[row, pack] == 1
        assert found.course.pack_v[row, pack] >= 54.8
        assert -6.0 <= found.course.pack_a[row, pack] < 0
    without = drift(pair(), packs_of([100, 100], 0.6), DAY, 3, [0, 1], Reports.LOWEST,
                    Counting.of(2, 0.01, 0.05, NEVER, 0))
    assert np.ptp(found.error_range(72)) < np.ptp(without.error_range(72))


def test_what_a_manager_shows() -> None:
    counts = np.array([[0.5, 0.6, 0.9], [0.4, 0.7, 0.2]])
    capacity, who = np.array([100.0, 300.0, 50.0]), np.array([0, 1])
    shown = {rule: reported(counts, capacity, who, rule, 1).tolist() for rule in Reports}
    assert shown[Reports.LOWEST] == [0.5, 0.4]
    assert shown[Reports.HIGHEST] == [0.6, 0.7]
    assert shown[Reports.MEAN] == pytest.approx([0.55, 0.55])
    assert shown[Reports.WEIGHTED_MEAN] == pytest.approx([0.575, 0.625])
    assert shown[Reports.OWN] == [0.6, 0.7]
    with pytest.raises(ValueError, match="which pack is the manager"):
        reported(counts, capacity, who, Reports.OWN)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_every_error_within_lies_in_the_range(seed: int) -> None:
    draw = np.random.default_rng(seed)
    bank = ladder(3, seed)
    packs = packs_of([100, 200, 280], draw.uniform(0.4, 0.8, 3).tolist())
    counting = Counting.of(3, 0.02, 0.1, 54.8, 8.0)
    found = drift(bank, packs, DAY, 2, [0, 2], Reports.LOWEST, counting)
    full = np.zeros(found.soc.shape, bool)
    amps, volts = found.course.pack_a, found.course.pack_v
    full |= (amps < 0) & (-amps <= 8.0) & (volts >= 54.8)
    for _ in range(20):
        gain, offset = draw.uniform(-0.02, 0.02, 3), draw.uniform(-0.1, 0.1, 3)
        counts = counted(found.course, packs.capacity_ah, packs.soc, gain, offset, full)
        assert np.all(counts >= found.counted_low - 1e-3)
        assert np.all(counts <= found.counted_high + 1e-3)
        shown = reported(counts, packs.capacity_ah, np.array([0, 2]), Reports.LOWEST)
        assert np.all(shown <= found.reported_high + 1e-3)


def test_counting_stops_at_full_and_at_empty() -> None:
    played = course(pair(), packs_of([100, 100], 0.5), [Stage(0.9, amp=-100), Stage(0.9, amp=100)])
    none = np.zeros(played.soc.shape, bool)
    counts = counted(played, np.array([100.0, 100.0]), np.array([0.8, 0.5]), np.zeros(2), np.zeros(2), none)
    assert counts.max(axis=0) == pytest.approx([1.0, 0.95], abs=1e-6)
    assert counts[-1] == pytest.approx([0.55, 0.5], abs=1e-5)


def test_halving_the_tolerance_changes_nothing_by_a_thousandth() -> None:
    bank = ladder(6, 2)
    packs = packs_of([100, 100, 100, 280, 280, 280], [0.6, 0.55, 0.5, 0.6, 0.62, 0.58])
    counting = Counting.of(6, 0.01, 0.05, 54.8, 5.0)
    one, two = (drift(bank, packs, DAY, 5, [0, 1, 2], Reports.LOWEST, counting, tolerance=t) for t in (1e-5, 5e-6))
    assert one.soc[-1] == pytest.approx(two.soc[-1], abs=1e-3)
    assert one.reported_low[-1] == pytest.approx(two.reported_low[-1], abs=1e-3)
    assert one.error_range(120) == pytest.approx(two.error_range(120), abs=1e-3)


def test_bad_input() -> None:
    packs, counting = packs_of([100, 280], 0.5), Counting.of(2, 0, 0, NEVER, 0)
    with pytest.raises(ValueError, match="at least one managed pack"):
        drift(pair(), packs, DAY, 1, [], Reports.LOWEST, counting)
    with pytest.raises(ValueError, match="not among the managed packs"):
        drift(pair(), packs, DAY, 1, [0], Reports.OWN, counting, manager=1)
    with pytest.raises(ValueError, match="amounts, zero or more"):
        Counting.of(2, -0.01, 0, NEVER, 0)
