"""Worst case over tolerances: against all corners, against random draws, and the bound never below."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from interop.circuit.network import Network
from interop.circuit.sharing import Element, Limits, bank_limit, share
from interop.circuit.tolerance import (
    Box,
    Collapse,
    Worst,
    worst_bank_limit,
    worst_currents,
    worst_currents_at_power,
)
from tests.circuit.racks import by_hand, ladder, pair, renamed

Floats = NDArray[np.float64]
ASSUMED = (0.6, 2.0)    # power.md §1: -40/+100 %
STATED = (0.75, 1.25)   # power.md §1: +-25 %


def part_of_box(network: Network, free: int, seed: int) -> Box:
    """A box in which so many single resistances are free, of both kinds, the others fixed."""
    draw = np.random.default_rng(seed)
    count = len(network.packs) + len(network.branches)
    chosen = np.zeros(count, bool)
    chosen[draw.permutation(count)[:free]] = True
    low = np.where(chosen, draw.uniform(0.4, 0.9, count), 1.0)
    high = np.where(chosen, draw.uniform(1.1, 3.0, count), 1.0)
    packs = len(network.packs)
    return Box.around(network, (low[:packs], high[:packs]), (low[packs:], high[packs:]))


def corners_by_hand(network: Network, box: Box, port_a: Floats) -> tuple[Floats, Floats]:
    """Currents of all packs and branches (K, E) at every corner, one by one, and the pack currents' elements."""
    low = np.concatenate([box.pack_low_ohm, box.branch_low_ohm])
    high = np.concatenate([box.pack_high_ohm, box.branch_high_ohm])
    free = np.flatnonzero(high > low)
    rows = np.tile(low, (1 << len(free), 1))
    for k, chosen in enumerate(itertools.product((False, True), repeat=len(free))):
        rows[k, free] = np.where(chosen, high[free], low[free])
    packs = len(network.packs)
    return by_hand(network, rows[:, :packs], rows[:, packs:], port_a)


@settings(max_examples=25, deadline=None)
@given(count=st.integers(2, 6), seed=st.integers(0, 10**6), spread=st.floats(0, 0.4), crosswise=st.booleans(),
       free=st.integers(1, 12), load=st.floats(-300, 300))
def test_worst_case_is_the_worst_of_all_corners(count: int, seed: int, spread: float, crosswise: bool, free: int,
                                                load: float) -> None:
    bank = ladder(count, seed, spread_v=spread, crosswise=crosswise)
    box = part_of_box(bank, free, seed)
    packs, branches = corners_by_hand(bank, box, np.array([load]))
    every = [*(Element("pack", k, name) for k, name in enumerate(bank.packs)),
             *(Element("branch", k, name) for k, name in enumerate(bank.branches))]
    worst = worst_currents(bank, box, [load], every)
    amps = np.concatenate([packs, branches], axis=1)
    assert worst.proved.all()
    assert worst.high_a == pytest.approx(amps.max(axis=0), rel=1e-6, abs=1e-5)
    assert worst.low_a == pytest.approx(amps.min(axis=0), rel=1e-6, abs=1e-5)
    assert np.array_equal(worst.high_bound_a, worst.high_a)


@settings(max_examples=12, deadline=None)
@given(count=st.integers(2, 6), seed=st.integers(0, 10**6), spread=st.floats(0, 0.4), crosswise=st.booleans(),
       free=st.integers(4, 12), load=st.floats(-300, 300))
def test_search_and_bound_agree_with_all_corners(count: int, seed: int, spread: float, crosswise: bool, free: int,
                                                 load: float) -> None:
    bank = ladder(count, seed, spread_v=spread, crosswise=crosswise)
    box = part_of_box(bank, free, seed)
    packs, _ = corners_by_hand(bank, box, np.array([load]))
    worst = worst_currents(bank, box, [load], enumerated=0)
    scale = np.maximum(np.abs(packs).max(), 1.0)
    assert np.all(worst.high_bound_a >= packs.max(axis=0) - 1e-7 * scale)
    assert np.all(worst.low_bound_a <= packs.min(axis=0) + 1e-7 * scale)
    assert worst.high_a == pytest.approx(packs.max(axis=0), rel=1e-6, abs=1e-5)
    assert worst.low_a == pytest.approx(packs.min(axis=0), rel=1e-6, abs=1e-5)
    assert np.all(worst.high_bound_a - worst.high_a <= 0.05 * scale)


def random_draws(network: Network, box: Box, port_a: Floats, count: int) -> Floats:
    """Pack currents (K, P) of resistances drawn evenly and at corners, half each."""
    draw = np.random.default_rng(7)

    def values(low: Floats, high: Floats) -> Floats:
        where = draw.uniform(0, 1, (count, len(low)))
        where[: count // 2] = np.round(where[: count // 2])
        return low + where * (high - low)

    pack_ohm = values(box.pack_low_ohm, box.pack_high_ohm)
    return by_hand(network, pack_ohm, values(box.branch_low_ohm, box.branch_high_ohm), port_a)[0]


def test_never_below_ten_thousand_random_draws() -> None:
    for seed, crosswise in ((3, False), (4, True)):
        bank = ladder(7, seed, spread_v=0.1, crosswise=crosswise)
        box = Box.around(bank, ASSUMED, ASSUMED)
        worst = worst_currents(bank, box, [210.0])
        drawn = random_draws(bank, box, np.array([210.0]), 10_000)
        assert np.all(worst.high_a >= drawn.max(axis=0) - 1e-9)
        assert np.all(worst.low_a <= drawn.min(axis=0) + 1e-9)
        assert worst.high_a.max() > drawn.max()


def gaps(worst: Worst) -> tuple[float, float]:
    """How far the bounds lie beyond the corners, high and low, as a part of the largest current there is."""
    scale = max(float(np.abs(worst.high_a).max()), float(np.abs(worst.low_a).max()))
    return (float((worst.high_bound_a - worst.high_a).max() / scale),
            float((worst.low_a - worst.low_bound_a).max() / scale))


@pytest.mark.parametrize("count", [11, 14, 17, 20])
@pytest.mark.parametrize("crosswise", [False, True])
def test_racks_are_proved(count: int, crosswise: bool) -> None:
    bank = ladder(count, count, spread_v=0.02, crosswise=crosswise)
    box = Box.around(bank, STATED, ASSUMED)
    worst = worst_currents(bank, box, [40.0 * count])
    assert worst.proved.all()
    assert np.all(worst.high_bound_a >= worst.high_a)
    assert np.all(worst.low_bound_a <= worst.low_a)
    assert max(gaps(worst)) < 1e-6


def test_the_bound_stays_within_five_percent_where_directions_are_open() -> None:
    """0.4 V between packs at a light load: many packs may be charged or discharged, as the resistances fall."""
    bank = ladder(13, 2, spread_v=0.2)
    worst = worst_currents(bank, Box.around(bank, ASSUMED, ASSUMED), [130.0])
    assert ((worst.low_a < 0) & (worst.high_a > 0)).sum() >= 3
    assert max(gaps(worst)) < 0.05


def test_the_corner_returned_has_the_current_returned() -> None:
    bank = ladder(16, 9, spread_v=0.05)
    box = Box.around(bank, STATED, ASSUMED)
    worst = worst_currents(bank, box, [500.0])
    packs = len(bank.packs)
    for k in (0, 7, 15):
        at = worst.high_at[k]
        pack_ohm = np.where(at[:packs], box.pack_high_ohm, box.pack_low_ohm)
        branch_ohm = np.where(at[packs:], box.branch_high_ohm, box.branch_low_ohm)
        got = by_hand(bank, pack_ohm[None], branch_ohm[None], np.array([500.0]))[0][0, k]
        assert got == pytest.approx(worst.high_a[k], rel=1e-7)


def test_own_path_low_and_others_high_is_not_the_worst() -> None:
    """power.md §3: that recipe fell short in 60 of 60; here on a rack whose neighbours' segments matter."""
    bank = ladder(6, 4, crosswise=True)
    box = Box.around(bank, ASSUMED, ASSUMED)
    worst = worst_currents(bank, box, [300.0])
    for k in range(6):
        pack_ohm, branch_ohm = box.pack_high_ohm.copy(), box.branch_high_ohm.copy()
        pack_ohm[k] = box.pack_low_ohm[k]
        for name in (f"run+{k}", f"run-{k}"):
            branch_ohm[bank.branches.index(name)] = box.branch_low_ohm[bank.branches.index(name)]
        recipe = by_hand(bank, pack_ohm[None], branch_ohm[None], np.array([300.0]))[0][0, k]
        assert recipe < worst.high_a[k] * 0.999


def test_two_packs_by_hand() -> None:
    """20 mohm each, +-25 %: the first carries most at 15 against 25 mohm, 62.5 of 100 A."""
    worst = worst_currents(pair(), Box.around(pair(), STATED, STATED), [100.0])
    assert worst.high_a == pytest.approx([62.5, 62.5])
    assert worst.low_a == pytest.approx([37.5, 37.5])
    assert worst.high_at.tolist() == [[False, True], [True, False]]


def test_renaming_renames() -> None:
    bank = ladder(12, 6, spread_v=0.03)
    order = np.random.default_rng(1).permutation(12).tolist()
    other = renamed(bank, order)
    one = worst_currents(bank, Box.around(bank, STATED, ASSUMED), [400.0])
    two = worst_currents(other, Box.around(other, STATED, ASSUMED), [400.0])
    assert two.high_a == pytest.approx(one.high_a[order], rel=1e-6)
    assert two.low_bound_a == pytest.approx(one.low_bound_a[order], rel=1e-6)


def test_an_open_pack_and_what_leads_nowhere_carry_nothing() -> None:
    bank = ladder(4, 2)
    closed = np.array([True, True, True, False])
    worst = worst_currents(bank, Box.around(bank, STATED, STATED), [90.0], closed=closed)
    assert worst.high_a[3] == worst.low_a[3] == 0
    assert worst.high_a[:3].min() > 0


def test_constant_power_converges_each_corner_and_is_called_not_proved() -> None:
    """Two packs, 54 V, 10 mohm +-25 %, 5 kW: at both low (7.5 mohm) and unlike corners, solved by the quadratic."""
    bank = pair((54.0, 54.0), (0.01, 0.01))
    worst = worst_currents_at_power(bank, Box.around(bank, STATED, STATED), [5000.0])
    loop = 1 / (1 / 0.0075 + 1 / 0.0125)
    total = (54 - (54**2 - 4 * loop * 5000) ** 0.5) / (2 * loop)
    assert worst.high_a == pytest.approx([total * 0.625] * 2, rel=1e-9)
    assert not worst.proved.any()
    assert np.isnan(worst.high_bound_a).all()
    with pytest.raises(Collapse, match="cannot deliver 200000 W"):
        worst_currents_at_power(bank, Box.around(bank, STATED, STATED), [200_000.0])


def test_constant_power_on_three_ports_equals_constant_current_there() -> None:
    bank = ladder(4, 8, ports=3)
    exact = Box.around(bank, (1, 1), (1, 1))
    power = np.array([2000.0, -500.0, 3000.0])
    packs = worst_currents_at_power(bank, exact, power).high_a
    amps = np.array([40.0, -10.0, 60.0])
    for _ in range(30):  # plain fixed point, a method of its own
        got, branches = by_hand(bank, bank.pack_ohm[None], bank.branch_ohm[None], amps)
        volts = []
        for k, post in enumerate((0, 2, 2)):
            at = bank.branches.index(f"feed+{k}"), bank.branches.index(f"feed-{k}")
            pack = bank.pack_emf_v[post] - bank.pack_ohm[post] * got[0, post]
            runs = sum(bank.branch_ohm[bank.branches.index(f"run{pole}{post}")] * got[0, post] for pole in "+-")
            volts.append(pack - runs - sum(bank.branch_ohm[i] * abs(branches[0, i]) for i in at) * np.sign(amps[k]))
        amps = power / np.array(volts)
    assert packs == pytest.approx(got[0], rel=1e-9)


def test_search_at_power_finds_the_worst_of_all_corners() -> None:
    bank = ladder(5, 3, spread_v=0.05)
    box = Box.around(bank, STATED, ASSUMED)
    every, searched = (worst_currents_at_power(bank, box, [8000.0], enumerated=most) for most in (14, 0))
    assert searched.high_a == pytest.approx(every.high_a, rel=1e-6)
    assert searched.low_a == pytest.approx(every.low_a, rel=1e-6)


@settings(max_examples=15, deadline=None)
@given(count=st.integers(2, 4), seed=st.integers(0, 10**6), spread=st.floats(0, 0.2), crosswise=st.booleans())
def test_worst_bank_limit_is_the_least_over_all_corners(count: int, seed: int, spread: float, crosswise: bool) -> None:
    bank = ladder(count, seed, spread_v=spread, crosswise=crosswise)
    box = part_of_box(bank, 7, seed)
    draw = np.random.default_rng(seed)
    limits = Limits(draw.uniform(20, 80, count), draw.uniform(20, 120, count),
                    np.full(len(bank.branches), np.inf), draw.uniform(60, 400, len(bank.branches)))
    low = np.concatenate([box.pack_low_ohm, box.branch_low_ohm])
    high = np.concatenate([box.pack_high_ohm, box.branch_high_ohm])
    free = np.flatnonzero(high > low)
    least = [np.inf, np.inf]
    for chosen in itertools.product((False, True), repeat=len(free)):
        ohm = low.copy()
        ohm[free] = np.where(chosen, high[free], low[free])
        limit = bank_limit(share(bank.with_ohm(ohm[count:], ohm[:count])), limits)
        zero = 0.0 if limit.passed_at_zero else np.inf
        least = [min(least[0], -limit.low_a, zero), min(least[1], limit.high_a, zero)]
    worst = worst_bank_limit(bank, box, limits)
    assert (worst.charge_a, worst.discharge_a) == pytest.approx(least, rel=1e-6, abs=1e-6)
    assert worst.charge_proved
    searched = worst_bank_limit(bank, box, limits, enumerated=0)
    assert searched.discharge_sure_a <= least[1] * (1 + 1e-6)
    assert searched.charge_sure_a <= least[0] * (1 + 1e-6)
    assert (searched.charge_a, searched.discharge_a) == pytest.approx(least, rel=1e-5, abs=1e-5)


def test_worst_bank_limit_of_a_rack_is_sure_within_five_percent() -> None:
    bank = ladder(16, 5, spread_v=0.02)
    limits = Limits.of(bank, dict.fromkeys(bank.packs, (100.0, 100.0)))
    worst = worst_bank_limit(bank, Box.around(bank, STATED, ASSUMED), limits)
    nominal = bank_limit(share(bank), limits)
    assert worst.discharge_a < nominal.high_a
    assert worst.charge_a < -nominal.low_a
    assert worst.discharge_a * 0.95 <= worst.discharge_sure_a <= worst.discharge_a
    assert worst.charge_a * 0.95 <= worst.charge_sure_a <= worst.charge_a
    assert worst.discharge_first is not None


def test_a_bank_limit_that_may_be_passed_without_load_is_zero() -> None:
    """0.6 V over 2 x 20 mohm is 15 A; with both 25 % low 20 A, over a charge limit of 18 A."""
    bank = pair((52.6, 52.0))
    limits = Limits.of(bank, {"small": (50, 50), "large": (18, 50)})
    worst = worst_bank_limit(bank, Box.around(bank, STATED, STATED), limits)
    assert worst.charge_a == worst.discharge_a == 0
    assert worst.charge_first == Element("pack", 1, "large")


def test_equal_packs_too_cold_to_charge_may_still_be_discharged() -> None:
    bank = ladder(8, 3)
    limits = Limits.of(bank, dict.fromkeys(bank.packs, (0.0, 100.0)))
    worst = worst_bank_limit(bank, Box.around(bank, STATED, STATED), limits)
    assert worst.charge_a == pytest.approx(0, abs=1e-6)
    assert worst.discharge_a > 200
    assert worst.discharge_proved


def test_bad_boxes() -> None:
    bank = pair()
    with pytest.raises(ValueError, match="tolerance of packs: expected 0 < lowest <= highest"):
        Box.around(bank, (1.2, 1.0), (1, 1))
    with pytest.raises(ValueError, match="tolerance of packs"):
        Box.around(bank, (0.0, 1.0), (1, 1))
    with pytest.raises(ValueError, match="one pair per pack and per branch"):
        worst_currents(ladder(3, 0), Box.around(bank, STATED, STATED), [1.0])
