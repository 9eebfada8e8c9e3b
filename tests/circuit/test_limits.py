"""The power at which a port, a pack or the network says stop, whichever comes first."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.draws import Power
from interop.circuit.limits import Limit, Stop, first_limit
from interop.circuit.network import Network, NetworkError, State
from interop.circuit.solve import solve
from tests.circuit.networks import network, random_rows


def bank(emf_v: tuple[float, float] = (54.0, 54.0), ohm: tuple[float, float] = (0.005, 0.01)) -> Network:
    return Network.of(["p", "m"], [], [("A", "p", "m", emf_v[0], ohm[0]), ("B", "p", "m", emf_v[1], ohm[1])],
                      [("inverter", "p", "m")])


def told(limit: Limit) -> tuple[Stop, tuple[str, ...]]:
    return limit.stop, limit.names


def test_collapse_of_54_v_behind_5_mohm_is_at_146_kw_and_the_cut_off_comes_first() -> None:
    # By hand: 54^2 / (4 x 5 mohm) = 145.8 kW; at 44 V it gives 10 V over 5 mohm, 2 kA, 88 kW.
    one = Network.of(["p", "m"], [], [("A", "p", "m", 54.0, 0.005)], [("inverter", "p", "m")])
    collapse, cut = first_limit(one, [1.0]), first_limit(one, [1.0], low_v=44.0)
    assert told(collapse) == (Stop.COLLAPSE, ("inverter",))
    assert collapse.watts == pytest.approx(145_800, rel=1e-9)
    assert told(cut) == (Stop.CUT_OFF, ("inverter",))
    assert cut.watts == pytest.approx(88_000, rel=1e-9)
    assert cut.solution.port_v[0] == pytest.approx(44.0, abs=1e-6)


def test_a_pack_meets_its_limit_first() -> None:
    # A carries two thirds; at 100 A of A the total is 150 A and the bar stands at 53.5 V.
    limit = first_limit(bank(), [1.0], discharge_a=[100, 60], charge_a=50, low_v=44.0)
    assert told(limit) == (Stop.DISCHARGE, ("A",))
    assert limit.watts == pytest.approx(150 * 53.5, rel=1e-9)
    assert told(first_limit(bank(), [1.0], discharge_a=[200, 60], charge_a=50)) == (Stop.DISCHARGE, ("B",))


def test_charging_meets_a_charge_limit_or_a_high_voltage() -> None:
    limit = first_limit(bank(), [1.0], charging=True, discharge_a=100, charge_a=[50, 60], high_v=58.0)
    assert told(limit) == (Stop.CHARGE, ("A",))
    assert limit.watts == pytest.approx(75 * 54.25, rel=1e-9)
    high = first_limit(bank(), [1.0], charging=True, high_v=56.0)
    assert told(high) == (Stop.HIGH_VOLTAGE, ("inverter",))
    assert high.watts == pytest.approx(600 * 56.0, rel=1e-9)
    free = first_limit(bank(), [1.0], charging=True)
    assert told(free) == (Stop.NONE, ())
    assert free.watts == np.inf


def test_what_circulates_without_load_may_already_be_too_much() -> None:
    # 1.5 V over 15 mohm: 100 A out of B, into A
    limit = first_limit(bank((53.0, 54.5)), [1.0], discharge_a=120, charge_a=50)
    assert told(limit) == (Stop.CHARGE, ("A",))
    assert limit.watts == 0


def test_a_port_that_nothing_feeds_stands_at_zero() -> None:
    limit = first_limit(bank(), [1.0], states=[State.OPEN, State.OPEN])
    assert told(limit) == (Stop.NO_PATH, ("inverter",))
    assert limit.watts == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("share", [[0.5], [-1.0, 2.0], [0.5, 0.6]])
def test_shares_that_are_none_are_refused(share: list[float]) -> None:
    net = bank()
    two = Network.of(net.nodes, [], [("A", "p", "m", 54.0, 0.005)], [("one", "p", "m"), ("two", "p", "m")])
    with pytest.raises(NetworkError, match="not 0 or more and together 1"):
        first_limit(net if len(share) == 1 else two, share)


def test_a_limit_that_is_not_known_does_not_pass_as_none() -> None:
    for bad in (np.nan, 0.0, -5.0):
        with pytest.raises(NetworkError, match=r"^current limit is not above zero: B$"):
            first_limit(bank(), [1.0], discharge_a=[100, bad])
    with pytest.raises(NetworkError, match=r"^3 current limits for 2: A, B$"):
        first_limit(bank(), [1.0], charge_a=[1, 2, 3])
    with pytest.raises(NetworkError, match=r"^2 low voltages for 1: inverter$"):
        first_limit(bank(), [1.0], low_v=[44, 45])


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10**9))
def test_just_below_nothing_says_stop_and_just_above_something_does(seed: int) -> None:
    draw = random.Random(seed)
    net = network(random_rows(draw, 10))
    share = np.ones(len(net.ports)) / len(net.ports)
    limits = {"discharge_a": draw.choice([60.0, 200.0, np.inf]), "charge_a": 100.0, "low_v": draw.choice([46.0, 30.0])}
    found = first_limit(net, share, **limits)  # type: ignore[arg-type]

    def stops(watts: float) -> bool:
        solution = solve(net, [Power(watts * part) for part in share])
        return (not solution.outcome.holds or bool((solution.pack_a > limits["discharge_a"]).any())
                or bool((solution.pack_a < -100).any()) or bool((solution.port_v < limits["low_v"]).any()))

    assert stops(found.watts * (1 + 1e-6) + 1e-3)
    for part in (1 - 1e-6, 0.99, 0.5, 0.1, 0.0):
        assert found.watts == 0 or not stops(found.watts * part)
