"""Sharing at one instant and the bank limit there."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.network import Network, NetworkError
from interop.circuit.sharing import Element, Limits, bank_limit, share
from tests.circuit.racks import by_hand, ladder, pair, renamed, scaled

seeds = st.integers(0, 10**6)
banks = st.builds(
    lambda count, seed, spread, crosswise, ports: ladder(
        count, seed, spread_v=spread, crosswise=crosswise, ports=ports),
    st.integers(2, 8), seeds, st.floats(0, 0.5), st.booleans(), st.integers(1, 3))
few = settings(max_examples=40, deadline=None)


def test_millman_example_with_a_pack_that_is_charged() -> None:
    """28 V, 4 ohm with 7 V, 1 ohm on 2 ohm: 8 V, 5 A, -1 A (Lessons in Electric Circuits, vol. I, network theorems)."""
    sharing = share(pair((28, 7), (4, 1)))
    assert sharing.packs_at(4.0) == pytest.approx([5.0, -1.0], rel=1e-12)
    assert sharing.port_rest_v[0] - 4.0 * sharing.port_sag_ohm[0] == pytest.approx(8.0, rel=1e-12)


def test_millman_example_with_two_batteries() -> None:
    """100 V, 5 ohm with 95 V, 3 ohm on 80 ohm: 94.66 V, 1.069 A, 0.115 A (textbook problem)."""
    sharing = share(pair((100, 95), (5, 3)))
    total = sharing.port_rest_v[0] / (80 + sharing.port_sag_ohm[0])
    assert 80 * total == pytest.approx(94.66, abs=0.005)
    assert sharing.packs_at(float(total)) == pytest.approx([1.069, 0.115], abs=0.0005)


def test_equal_packs_of_which_one_branch_has_2_1_times_the_resistance_share_68_to_32() -> None:
    """power.md §11, derived."""
    sharing = share(pair(ohm=(0.010, 0.021)))
    assert sharing.pack_share * 100 == pytest.approx([68, 32], abs=0.5)
    assert sharing.pack_rest_a == pytest.approx([0, 0], abs=1e-12)


def test_a_rack_fed_at_one_end_shares_unevenly_and_crosswise_feeding_mends_it() -> None:
    parts = []
    for crosswise in (False, True):
        rack = ladder(8, 1, crosswise=crosswise)
        equal = rack.with_ohm(np.where([n.startswith("bar") for n in rack.branches], 2e-4, 1e-3), np.full(8, 0.01))
        parts.append(share(equal).pack_share)
    assert parts[0][0] / parts[0][-1] > 1.5
    assert list(parts[0]) == sorted(parts[0], reverse=True)
    assert parts[1] == pytest.approx(parts[1][::-1])
    assert parts[1].max() / parts[1].min() < 1.25


def test_limit_is_where_the_weaker_branch_is_full() -> None:
    net = pair(ohm=(0.01, 0.02))
    limit = bank_limit(share(net), Limits.of(net, {"small": (50, 100), "large": (100, 100)}))
    assert (limit.low_a, limit.high_a) == pytest.approx((-75.0, 150.0), rel=1e-12)
    assert limit.first_low == limit.first_high == (Element("pack", 0, "small"),)
    assert limit.zero_inside
    assert not limit.empty


def test_both_are_first_where_they_are_equal() -> None:
    net = pair()
    limit = bank_limit(share(net), Limits.of(net, {"small": (50, 100), "large": (100, 100)}))
    assert [one.name for one in limit.first_high] == ["small", "large"]
    assert [one.name for one in limit.first_low] == ["small"]


def test_zero_outside_the_interval_names_who_passes_at_no_load() -> None:
    """1.2 V apart over 50 mohm: 24 A circulates (reference values §8), the second may be charged at 20 A only."""
    net = pair((53.2, 52.0), (0.02, 0.03))
    limit = bank_limit(share(net), Limits.of(net, {"small": (50, 50), "large": (20, 50)}))
    assert not limit.zero_inside
    assert limit.passed_at_zero == (Element("pack", 1, "large"),)
    assert limit.low_a == pytest.approx(10.0)  # from where the load takes 4 A of the second's charge: 0.4 I = 4
    assert limit.high_a == pytest.approx((50 - 24) / 0.6)
    assert limit.first_low == (Element("pack", 1, "large"),)


def test_equal_packs_too_cold_to_charge_pass_nothing_at_rest() -> None:
    """What circulates between equal packs is rounding, also in a rack; the bank may be discharged and not charged."""
    bank = ladder(6, 3)
    limit = bank_limit(share(bank), Limits.of(bank, dict.fromkeys(bank.packs, (0.0, 100.0))))
    assert limit.zero_inside
    assert limit.low_a == pytest.approx(0, abs=1e-6)
    assert limit.low_a <= 0
    assert limit.high_a > 100


def test_no_current_at_all_keeps_limits_that_contradict() -> None:
    net = pair((53.2, 52.0), (0.02, 0.03))
    limit = bank_limit(share(net), Limits.of(net, {"small": (50, 20), "large": (5, 50)}))
    assert limit.empty
    assert {one.name for one in limit.passed_at_zero} == {"small", "large"}


def test_a_run_with_a_lower_limit_in_one_direction_is_first_there() -> None:
    net = ladder(3, 5)
    wide = dict.fromkeys(net.packs, (500.0, 500.0))
    limit = bank_limit(share(net), Limits.of(net, wide, {"feed+0": (120.0, 90.0)}))
    assert (limit.low_a, limit.high_a) == pytest.approx((-90.0, 120.0), rel=1e-9)
    assert limit.first_high == (Element("branch", net.branches.index("feed+0"), "feed+0"),)


def test_a_limit_that_nobody_stated_is_told_and_infinite_is_none() -> None:
    net = pair()
    limit = bank_limit(share(net), Limits.of(net, {"small": (np.inf, np.inf)}))
    assert limit.not_stated == (Element("pack", 1, "large"),)
    assert (limit.low_a, limit.high_a) == (-np.inf, np.inf)
    assert limit.first_low == limit.first_high == ()


def test_bad_input() -> None:
    net = ladder(2, 0, ports=2)
    with pytest.raises(ValueError, match="not shares that sum to 1"):
        share(net, [0.5, 0.6])
    with pytest.raises(ValueError, match="shape"):
        share(net, [1.0])
    with pytest.raises(NetworkError, match="no closed pack feeds the port: inverter0, inverter1"):
        share(net, closed=np.zeros(2, bool))
    with pytest.raises(NetworkError, match="not part of the network: B9"):
        Limits.of(net, {"B9": (1, 1)})
    with pytest.raises(ValueError, match="charge_a: a limit is below zero"):
        Limits.of(net, {"B0": (-1, 1)})


@few
@given(bank=banks, total=st.floats(-500, 500))
def test_superposition_equals_plain_nodal_equations(bank: Network, total: float) -> None:
    sharing = share(bank)
    port_a = np.full(len(bank.ports), total / len(bank.ports))
    packs, branches = by_hand(bank, bank.pack_ohm[None], bank.branch_ohm[None], port_a)
    assert sharing.packs_at(total) == pytest.approx(packs[0], rel=1e-7, abs=1e-7)
    assert sharing.branches_at(total) == pytest.approx(branches[0], rel=1e-7, abs=1e-6)
    assert sharing.packs_at(total).sum() == pytest.approx(total, abs=1e-7)
    assert sharing.pack_share.sum() == pytest.approx(1, abs=1e-9)
    assert sharing.pack_rest_a.sum() == pytest.approx(0, abs=1e-7)


@few
@given(bank=banks, seed=seeds)
def test_renaming_renames_and_doubling_halves_what_circulates(bank: Network, seed: int) -> None:
    order = np.random.default_rng(seed).permutation(len(bank.packs)).tolist()
    sharing, other, double = share(bank), share(renamed(bank, order)), share(scaled(bank, 2))
    assert other.pack_rest_a == pytest.approx(sharing.pack_rest_a[order], abs=1e-6)
    assert other.pack_share == pytest.approx(sharing.pack_share[order], abs=1e-9)
    assert double.pack_share == pytest.approx(sharing.pack_share, abs=1e-9)
    assert 2 * double.pack_rest_a == pytest.approx(sharing.pack_rest_a, abs=1e-6)


@few
@given(bank=banks, seed=seeds)
def test_limits_hold_inside_the_interval_and_break_just_outside(bank: Network, seed: int) -> None:
    draw = np.random.default_rng(seed)
    limits = Limits(draw.uniform(20, 80, len(bank.packs)), draw.uniform(20, 120, len(bank.packs)),
                    draw.uniform(40, 400, len(bank.branches)), draw.uniform(40, 400, len(bank.branches)))
    sharing = share(bank)
    limit = bank_limit(sharing, limits)

    def kept(total: float, slack: float) -> bool:
        packs, branches = sharing.packs_at(total), sharing.branches_at(total)
        return bool(np.all(packs <= limits.discharge_a + slack) and np.all(-packs <= limits.charge_a + slack)
                    and np.all(branches <= limits.forward_a + slack) and np.all(-branches <= limits.backward_a + slack))

    assert limit.zero_inside == kept(0.0, 0.0)
    if limit.empty:
        assert not any(kept(total, 0.0) for total in np.linspace(-500, 500, 201))
        return
    for total in np.linspace(limit.low_a, limit.high_a, 5):
        assert kept(float(total), 1e-6)
    assert not kept(limit.high_a + 0.01, 0.0)
    assert not kept(limit.low_a - 0.01, 0.0)
    assert limit.first_high
    assert limit.first_low


@few
@given(bank=banks)
def test_an_open_pack_carries_nothing_and_the_rest_carry_it(bank: Network) -> None:
    closed = np.ones(len(bank.packs), bool)
    closed[0] = False
    sharing = share(bank, closed=closed)
    assert sharing.pack_rest_a[0] == sharing.pack_share[0] == 0
    assert sharing.pack_share.sum() == pytest.approx(1, abs=1e-9)
