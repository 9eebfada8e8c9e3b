"""Chains and the bound over a box: nothing in the box lies beyond it, whatever the guess it starts from."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from interop.circuit.chains import Box, Chains
from interop.circuit.network import Network, NetworkError
from interop.circuit.relaxation import Relaxed
from interop.circuit.tolerance import worst_currents
from tests.circuit.racks import by_hand, ladder, pair

Floats = NDArray[np.float64]


def corners(bank: Network, box: Box, free: list[int], load: float) -> Floats:
    """Element currents (K, E) at every corner of chosen elements (packs, then branches), the rest at the low end."""
    low = np.concatenate([box.pack_low_ohm, box.branch_low_ohm])
    high = np.concatenate([box.pack_high_ohm, box.branch_high_ohm])
    rows = np.tile(low, (1 << len(free), 1))
    for k, chosen in enumerate(itertools.product((False, True), repeat=len(free))):
        rows[k, free] = np.where(chosen, high[free], low[free])
    count = len(bank.packs)
    return np.concatenate(by_hand(bank, rows[:, :count], rows[:, count:], np.array([load])), axis=1)


@settings(max_examples=25, deadline=None)
@given(count=st.integers(2, 4), seed=st.integers(0, 10**6), spread=st.floats(0, 0.4), crosswise=st.booleans(),
       load=st.floats(-40, 40), guess=st.floats(0, 1))
def test_no_corner_lies_beyond_the_bounds(count: int, seed: int, spread: float, crosswise: bool, load: float,
                                          guess: float) -> None:
    """From a guess that is anything between the middle of the box alone and all that there is."""
    bank = ladder(count, seed, spread_v=spread, crosswise=crosswise)
    packs = len(bank.packs)
    box = Box.around(bank, (0.6, 2.0), ([1.0] * len(bank.branches), [1.0] * len(bank.branches)))
    amps = corners(bank, box, list(range(packs)), load)
    chains = Chains.of(bank, box)
    of_chain = np.array([amps[:, int(np.flatnonzero(chains.chain == c)[0])] *
                         chains.sense[int(np.flatnonzero(chains.chain == c)[0])] for c in range(len(chains.first))])
    middle = chains.linear(np.sqrt(chains.low_ohm * chains.high_ohm))
    base = middle.of_emf @ chains.emf_v + middle.of_port @ np.array([load])
    low, high = of_chain.min(axis=1), of_chain.max(axis=1)
    relaxed = Relaxed(chains, np.array([load]), base + guess * (np.minimum(low, base) - base),
                      base + guess * (np.maximum(high, base) - base))
    slack = 1e-7 * relaxed.reach + 1e-9
    assert np.all(relaxed.low * relaxed.reach <= low + slack)
    assert np.all(relaxed.high * relaxed.reach >= high - slack)
    span = high - low + 1
    for chain in range(0, len(low), 2):
        # asked for less than there is, so that it splits as far as it may
        assert relaxed.highest(chain, 1.0, float(high[chain] - 0.1 * span[chain]))[0] >= high[chain] - slack
        assert relaxed.highest(chain, -1.0, float(-low[chain] - 0.1 * span[chain]))[0] >= -low[chain] - slack


def test_thirteen_free_values_are_all_tried() -> None:
    bank = ladder(8, 11, spread_v=0.1, crosswise=True)
    draw = np.random.default_rng(1)
    low, high = np.ones(8 + len(bank.branches)), np.ones(8 + len(bank.branches))
    free = [*range(8), *(8 + bank.branches.index(f"bar+{k}") for k in range(1, 6))]
    low[free], high[free] = draw.uniform(0.4, 0.9, 13), draw.uniform(1.2, 3, 13)
    box = Box.around(bank, (low[:8], high[:8]), (low[8:], high[8:]))
    assert len(Chains.of(bank, box).free) == 13
    amps = corners(bank, box, free, 200.0)[:, :8]
    worst = worst_currents(bank, box, [200.0])
    assert worst.high_a == pytest.approx(amps.max(axis=0), rel=1e-7)
    assert worst.low_a == pytest.approx(amps.min(axis=0), rel=1e-7)


def test_elements_that_always_carry_one_current_are_one_chain() -> None:
    """A pack with both runs, the last also with the last segments; both poles' segments of a rack fed at one end."""
    bank = ladder(3, 1)
    chains = Chains.of(bank, Box.around(bank, (0.5, 2), (0.5, 2)))

    def of(name: str) -> int:
        names = [*bank.packs, *bank.branches]
        return int(chains.chain[names.index(name)])

    assert len(chains.first) == 3 + 1 + 1
    assert of("B1") == of("run+1") == of("run-1")
    assert of("bar+1") == of("bar-1") != of("bar+2")
    assert of("bar+2") == of("bar-2") == of("B2")
    assert of("feed+0") == of("feed-0")
    names = [*bank.packs, *bank.branches]
    at = [names.index(name) for name in ("B1", "run+1", "run-1")]
    ohm = np.concatenate([bank.pack_ohm, bank.branch_ohm])[at].sum()
    assert chains.high_ohm[of("B1")] == pytest.approx(2 * ohm)
    cross = ladder(3, 1, crosswise=True)
    crossed = Chains.of(cross, Box.around(cross, (0.5, 2), (0.5, 2)))
    assert len(crossed.first) == 3 + 2 + 1  # the outer segments lie in series with the outer packs


def test_two_packs_joined_without_load_are_one_chain_of_opposite_voltages() -> None:
    """1.2 V over 2 x 20 mohm, 25 % low each: 40 A at most, 24 A at least."""
    packs = [("one", "p", "m", 53.2, 0.02), ("other", "p", "m", 52.0, 0.02)]
    bank = Network.of(["p", "m"], [], packs, [])
    worst = worst_currents(bank, Box.around(bank, (0.75, 1.25), (1, 1)), [])
    assert worst.high_a == pytest.approx([40, -24])
    assert worst.low_a == pytest.approx([24, -40])


def test_what_lies_on_no_loop_carries_nothing_and_a_dead_port_is_told() -> None:
    bank = ladder(3, 1)
    whole = np.array([name != "run+2" for name in bank.branches])
    box = Box.around(bank, (0.5, 2), (0.5, 2))
    assert worst_currents(bank, box, [50.0], whole=whole).high_a[2] == 0
    dead = np.array([name != "feed+0" for name in bank.branches])
    with pytest.raises(NetworkError, match="no closed pack feeds the port: inverter0"):
        worst_currents(bank, box, [50.0], whole=dead)


def test_nothing_flows_without_load_between_equal_packs() -> None:
    bank = pair()
    worst = worst_currents(bank, Box.around(bank, (0.5, 2), (1, 1)), [0.0], enumerated=0)
    assert worst.high_a == pytest.approx([0, 0], abs=1e-9)
    assert worst.high_bound_a == pytest.approx([0, 0], abs=1e-6)
