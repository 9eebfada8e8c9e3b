"""Joining: current, decay, the largest safe difference, inrush and precharge."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.course import Packs, course
from interop.circuit.joining import (
    decay,
    inrush,
    join,
    join_pair,
    largest_safe_difference,
    largest_safe_differences,
    precharge,
)
from interop.circuit.network import Network, NetworkError
from interop.circuit.plant import Stage
from tests.circuit import oracle_transient
from tests.circuit.racks import ladder, pair


def two_groups(emf_v: tuple[float, float, float] = (53.2, 52.0, 52.0), joint_ohm: float = 1e-3) -> Network:
    """One pack, and two alike, on either side of an open device."""
    nodes = ["a", "b", "m"]
    packs = [("new", "a", "m", emf_v[0], 0.02), ("old1", "b", "m", emf_v[1], 0.06), ("old2", "b", "m", emf_v[2], 0.06)]
    return Network.of(nodes, [("device", "a", "b", joint_ohm)], packs, [])


def test_two_packs_joined() -> None:
    """53.2 V, 20 mohm joined to 52.0 V, 30 mohm: 24.0 A, 52.72 V (reference values §8, derived)."""
    joined = join_pair(53.2, 0.020, 52.0, 0.030)
    assert joined.amp == pytest.approx(24.0, rel=1e-12)
    assert joined.bus_v == pytest.approx(52.72, rel=1e-12)
    with pytest.raises(ValueError, match="no capacity was given"):
        joined.amp_at(1.0)


def test_decay_of_two_packs() -> None:
    """100 Ah over 2 V and 280 Ah over 2 V per unit: 50 and 140 Ah/V, 50 mohm: 0.05 x 36.84 = 1.842 h."""
    joined = join_pair(53.2, 0.020, 52.0, 0.030, ah_per_v=(50.0, 140.0))
    assert joined.hours == pytest.approx(0.05 * 50 * 140 / 190, rel=1e-12)
    assert joined.end_v == pytest.approx((50 * 53.2 + 140 * 52.0) / 190, rel=1e-12)
    assert joined.end_v is not None
    assert joined.hours is not None
    assert joined.moved_ah == pytest.approx(50 * (53.2 - joined.end_v), rel=1e-12)
    assert joined.amp_at(joined.hours) == pytest.approx(24 / np.e, rel=1e-12)


def test_joining_in_a_network_equals_the_two_groups() -> None:
    joined = join(two_groups(), 0)
    assert joined.volts == pytest.approx(1.2, rel=1e-9)
    assert joined.loop_ohm == pytest.approx(0.02 + 0.03 + 0.001, rel=1e-9)
    assert joined.amp == pytest.approx(1.2 / 0.051, rel=1e-9)
    assert joined.pack_after_a == pytest.approx([1.2 / 0.051, -0.6 / 0.051, -0.6 / 0.051], rel=1e-9)
    assert joined.pack_before_a == pytest.approx([0, 0, 0], abs=1e-9)
    assert joined.pack_per_v == pytest.approx([1 / 0.051, -0.5 / 0.051, -0.5 / 0.051], rel=1e-9)


def test_what_circulates_before_is_told_apart() -> None:
    joined = join(two_groups((53.2, 52.6, 52.0)), 0)
    assert joined.pack_before_a == pytest.approx([0, 5, -5], abs=1e-9)
    assert joined.volts == pytest.approx(53.2 - 52.3)
    change = joined.volts * joined.pack_per_v
    assert joined.pack_after_a - joined.pack_before_a == pytest.approx(change, abs=1e-9)


def test_one_pole_open_first() -> None:
    split = Network.of(["a", "b", "m", "n"], [("plus", "a", "b", 1e-3)],
                       [("new", "a", "m", 53.0, 0.02), ("old", "b", "n", 52.0, 0.02)], [])
    with pytest.raises(NetworkError, match="closing completes no loop: join the other pole first: plus"):
        join(split, 0)


def test_largest_safe_difference_is_limit_times_loop() -> None:
    """The new pack may be charged at 50 A, discharged at 100 A; the two old at 30 and 40 A each: 60 and 80 A."""
    safe = largest_safe_difference(two_groups(), 0, np.array([50.0, 30, 30]), np.array([100.0, 40, 40]))
    assert (safe.first_higher_v, safe.first_lower_v) == pytest.approx((60 * 0.051, 50 * 0.051))
    assert (safe.first_higher_by, safe.first_lower_by) == ("old1", "new")
    assert safe.volts == pytest.approx(50 * 0.051)
    assert safe.not_stated == ()


def test_a_pack_too_cold_to_charge_allows_no_difference_that_charges_it() -> None:
    safe = largest_safe_difference(two_groups(), 0, np.array([0.0, 30, 30]), np.array([100.0, 40, 40]))
    assert (safe.first_lower_v, safe.first_lower_by) == (0.0, "new")
    assert safe.volts == 0


def test_never_above_a_joining_limit_and_not_stated_is_told() -> None:
    safe = largest_safe_difference(two_groups(), 0, np.array([np.nan, 30, 30]), np.array([100.0, 40, 40]),
                                   {"new": 0.5, "old1": 1.0})
    assert safe.volts == safe.first_higher_v == safe.first_lower_v == 0.5
    assert safe.first_higher_by is None
    assert safe.not_stated == ("new",)


def test_common_practice_a_quarter_to_half_a_volt_stays_inside_ordinary_limits() -> None:
    """Common practice, order of magnitude: 0.25-0.5 V over two packs of 20 mohm is 6-13 A, a 100 Ah pack takes 50 A."""
    safe = largest_safe_difference(two_groups(), 0, np.array([50.0, 50, 50]), np.array([100.0, 100, 100]))
    assert safe.volts > 0.5


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), count=st.integers(2, 7), way=st.booleans())
def test_at_the_largest_safe_difference_the_first_is_exactly_at_its_limit(seed: int, count: int, way: bool) -> None:
    bank = ladder(count, seed, spread_v=0.01)
    draw = np.random.default_rng(seed)
    charge, discharge = draw.uniform(30, 90, count), draw.uniform(30, 150, count)
    device = bank.branches.index("run+0")
    safe = largest_safe_difference(bank, device, charge, discharge)
    volts = safe.first_higher_v if way else -safe.first_lower_v
    now = join(bank, device)
    emf_v = bank.pack_emf_v.copy()
    # run+0 leads from the pack's plus to the busbar: a higher pack 0 makes its first node higher
    emf_v[0] += volts - now.volts
    after = join(bank.with_emf(emf_v), device)
    assert after.volts == pytest.approx(volts, abs=1e-6)
    use = np.maximum(after.pack_after_a / discharge, -after.pack_after_a / charge)
    assert use.max() == pytest.approx(1, rel=1e-5)
    assert bank.packs[int(use.argmax())] == (safe.first_higher_by if way else safe.first_lower_by)


def test_inrush_worked() -> None:
    """20 mF, 5 uH, 10 mohm, 54 V: 2.3 kA (power.md §7); the short estimate gives 2.1 kA and so lies below the peak."""
    found = inrush(54, 0.010, 5e-6, 20e-3)
    assert round(found.peak_a, -2) == 2300
    assert found.peak_a == pytest.approx(2252.2, abs=0.1)
    assert found.estimate_a == pytest.approx(2092.1, abs=0.1)
    assert found.seconds == pytest.approx(np.arctan(3) / 3000, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(ohm=st.floats(1e-3, 1), henry=st.floats(1e-7, 1e-4), farad=st.floats(1e-4, 0.1))
def test_inrush_peak_is_where_the_step_response_is_flat(ohm: float, henry: float, farad: float) -> None:
    found = inrush(54, ohm, henry, farad)
    roots = np.roots([henry, ohm, 1 / farad]).astype(complex)
    if abs(roots[0] - roots[1]) < 1e-3 * abs(roots[0]):
        return
    times = found.seconds * np.array([0.99, 1.0, 1.01])
    amps = (54 / (henry * (roots[0] - roots[1])) * (np.exp(roots[0] * times) - np.exp(roots[1] * times))).real
    assert amps[1] == pytest.approx(found.peak_a, rel=1e-6)
    assert amps[1] >= amps[0]
    assert amps[1] >= amps[2]
    assert found.peak_a <= 54 / ohm * (1 + 1e-9)


def test_inrush_between_ringing_and_creeping() -> None:
    """At critical damping the peak is 2 V / (e R): circuit theory."""
    henry, farad = 1e-6, 1e-2
    ohm = 2 * (henry / farad) ** 0.5
    assert inrush(54, ohm, henry, farad).peak_a == pytest.approx(2 * 54 / (np.e * ohm), rel=1e-6)
    assert inrush(54, ohm, 0.0, farad).peak_a == pytest.approx(54 / ohm)
    with pytest.raises(ValueError, match="resistance and a capacitance above zero"):
        inrush(54, 0.0, henry, farad)


def test_precharge() -> None:
    """20 mF at 54 V: more than 10.8 ohm, so 12 ohm; 29.2 J; 5 x 12 x 0.02 = 1.2 s; 54 exp(-5) = 0.36 V left."""
    found = precharge(54.0, 20e-3)
    assert (found.ohm, found.amp) == (12.0, 4.5)
    assert found.joule == pytest.approx(29.16)
    assert found.seconds == pytest.approx(1.2)
    assert found.left_v == pytest.approx(0.3638, abs=1e-4)
    assert found.left_v < found.close_below_v == 3.0
    assert precharge(60.0, 20e-3).ohm == 15.0  # 12 ohm would let exactly 5 A through
    assert precharge(800.0, 1e-3).left_v < 3.0  # five time constants would leave 5.4 V
    with pytest.raises(ValueError, match=r"10 ohm lets 5\.40 A through, expected less than 5 A"):
        precharge(54.0, 20e-3, 10.0)


def test_decay_of_many_equals_decay_of_two() -> None:
    bank = pair((53.2, 52.0), (0.02, 0.03))
    hours = np.linspace(0, 6, 13)
    found = decay(bank, [50.0, 140.0], hours)
    expected = join_pair(53.2, 0.02, 52.0, 0.03, ah_per_v=(50, 140))
    assert found.pack_a[:, 0] == pytest.approx([expected.amp_at(t) for t in hours], rel=1e-9)
    assert found.constants_h == pytest.approx([expected.hours], rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), count=st.integers(2, 8))
def test_decay_keeps_charge_and_ends_level(seed: int, count: int) -> None:
    bank = ladder(count, seed, spread_v=0.4)
    size = np.random.default_rng(seed).uniform(20, 150, count)
    found = decay(bank, size, [0.0, 0.5, 1000.0])
    assert found.emf_v[0] == pytest.approx(bank.pack_emf_v, rel=1e-9)
    assert found.emf_v @ size == pytest.approx([bank.pack_emf_v @ size] * 3, rel=1e-9)
    assert np.ptp(found.emf_v[2]) < 1e-6
    assert found.pack_a.sum(axis=1) == pytest.approx([0, 0, 0], abs=1e-6)
    assert len(found.constants_h) == count - 1


@pytest.mark.parametrize("seed", range(6))
def test_joining_transient_equals_ngspice(seed: int) -> None:
    """Packs as capacitors, joined at rest: exact modes and the adaptive course, both against the simulator."""
    oracle_transient.needed()
    draw = np.random.default_rng(seed)
    count = int(draw.integers(2, 9))
    bank = ladder(count, seed, spread_v=0.3, crosswise=bool(seed % 2))
    size, slope = draw.uniform(20, 150, count), draw.uniform(1, 4, count)   # Ah/V, V
    names = bank.nodes
    rows = [(names[a], names[b], float(ohm)) for a, b, ohm in zip(
        bank.branch_a, bank.branch_b, bank.branch_ohm, strict=True) if not {"P0", "M0"} & {names[a], names[b]}]
    packs = [(names[plus], names[minus], float(volts), float(ohm), float(ah * 3600)) for plus, minus, volts, ohm, ah in
             zip(bank.pack_plus, bank.pack_minus, bank.pack_emf_v, bank.pack_ohm, size, strict=True)]
    hours = np.array([0.01, 0.05, 0.2, 0.5, 1.0, 2.0])
    theirs = oracle_transient.pack_currents(rows, packs, (hours * 3600).tolist())
    scale = np.abs(decay(bank, size, [0.0]).pack_a).max()
    assert np.abs(decay(bank, size, hours).pack_a - theirs).max() < 1e-3 * scale
    level = bank.pack_emf_v
    played = course(bank, Packs.of(size * slope, 0.5, lambda soc: level + slope * (soc - 0.5)), [Stage(2.0)])
    ours = np.array([played.at(float(t))[1] for t in hours])
    assert np.abs(ours - theirs).max() < 1e-3 * scale


@pytest.mark.parametrize("values", [(54.0, 0.010, 5e-6, 20e-3), (54.0, 0.05, 2e-6, 20e-3), (58.4, 0.03, 5e-6, 20e-3)])
def test_inrush_equals_ngspice(values: tuple[float, float, float, float]) -> None:
    oracle_transient.needed()
    volts, ohm, henry, farad = values
    found = inrush(*values)
    theirs = oracle_transient.inrush_peak(volts, ohm, henry, farad, 5 * found.seconds)
    assert found.peak_a == pytest.approx(theirs, rel=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_all_devices_at_once_as_each_alone(seed: int) -> None:
    """One factorisation for all runs gives what closing each run alone gives."""
    network = ladder(7, seed, spread_v=0.4, crosswise=bool(seed % 2))
    draw = np.random.default_rng(seed)
    charge, discharge = draw.uniform(20, 80, 7), draw.uniform(40, 150, 7)
    charge[seed] = np.nan
    rows = [network.branches.index(f"run+{k}") for k in range(7)]
    at_once = largest_safe_differences(network, rows, charge, discharge, {"heron": 3.0})
    for row, safe in zip(rows, at_once, strict=True):
        alone = largest_safe_difference(network, row, charge, discharge, {"heron": 3.0})
        assert (safe.first_higher_v, safe.first_lower_v) == pytest.approx((alone.first_higher_v, alone.first_lower_v),
                                                                        rel=1e-9)
        assert (safe.first_higher_by, safe.first_lower_by, safe.not_stated) == (
            alone.first_higher_by, alone.first_lower_by, alone.not_stated)


def test_a_run_without_a_pack_behind_it_is_bounded_by_the_records_alone() -> None:
    """A spur, and the only way from two packs to an inverter: nothing flows whatever the difference."""
    network = Network.of(["p", "m", "q"], [("spur", "p", "q", 1e-3)], [("A", "p", "m", 52.0, 0.01),
                                                                       ("B", "p", "m", 52.0, 0.01)], [])
    (bounded,) = largest_safe_differences(network, [0], np.full(2, 50.0), np.full(2, 50.0), {"heron": 1.5})
    assert (bounded.volts, bounded.first_higher_by, bounded.not_stated) == (1.5, None, ())
    (open_,) = largest_safe_differences(network, [0], np.full(2, 50.0), np.full(2, 50.0))
    assert open_.volts == np.inf
