"""The quick bound: never below the worst corner, exact on a common busbar, and close on a rack."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.chains import Box
from interop.circuit.draws import Power
from interop.circuit.network import Network
from interop.circuit.quick import Bound, surely_at_most
from interop.circuit.sharing import linear_currents
from interop.circuit.solve import solve


def ladder(packs: int, ohm: list[float], bars: list[float], ports: int) -> Network:
    """Packs on the posts of one bar on each pole; ports on its last posts, by runs of their own."""
    nodes = [f"{pole}{i}" for pole in "+-" for i in range(packs)]
    nodes += [f"{pole}port{q}" for pole in "+-" for q in range(ports)]
    steps = itertools.cycle(bars)
    branches = [(f"bar{pole}{i}", f"{pole}{i}", f"{pole}{i + 1}", next(steps))
                for pole in "+-" for i in range(packs - 1)]
    branches += [(f"run{pole}{q}", f"{pole}{max(packs - 1 - q, 0)}", f"{pole}port{q}", next(steps))
                 for pole in "+-" for q in range(ports)]
    return Network.of(nodes, branches, [(f"P{i}", f"+{i}", f"-{i}", 52.0, r) for i, r in enumerate(ohm)],
                      [(f"Q{q}", f"+port{q}", f"-port{q}") for q in range(ports)])


def corner_currents(network: Network, box: Box, port_a: np.ndarray) -> np.ndarray:
    """Amounts of all currents at every corner, each solved afresh (corners, P + B)."""
    low = np.concatenate([box.pack_low_ohm, box.branch_low_ohm])
    high = np.concatenate([box.pack_high_ohm, box.branch_high_ohm])
    found = []
    count = len(network.packs)
    for pattern in itertools.product((False, True), repeat=len(low)):
        ohm = np.where(pattern, high, low)
        at = network.with_ohm(ohm[count:], ohm[:count])
        packs, branches, _ = linear_currents(at, at.factored(), at.pack_emf_v[:, None], port_a[:, None])
        found.append(np.abs(np.concatenate([packs[:, 0], branches[:, 0]])))
    return np.array(found)


values = st.floats(1e-3, 5e-2)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_no_corner_passes_it(data: st.DataObject) -> None:
    packs, ports = data.draw(st.integers(1, 3)), data.draw(st.integers(1, 2))
    network = ladder(packs, data.draw(st.lists(values, min_size=packs, max_size=packs)),
                     data.draw(st.lists(st.floats(1e-5, 1e-2), min_size=3, max_size=3)), ports)
    factors = [np.array(data.draw(st.lists(st.floats(*ends), min_size=n, max_size=n)))
               for ends in ((0.3, 1.0), (1.0, 3.0)) for n in (len(network.packs), len(network.branches))]
    box = Box.around(network, (factors[0], factors[2]), (factors[1], factors[3]))
    port_a = np.array(data.draw(st.lists(st.floats(-200, 200), min_size=ports, max_size=ports)))
    bound = surely_at_most(network, box, port_a)
    assert bound is not None
    worst = corner_currents(network, box, port_a).max(axis=0)
    assert np.all(np.concatenate(bound) >= worst * (1 - 1e-9) - 1e-6)


def test_exact_where_all_packs_and_the_port_meet_in_two_nodes() -> None:
    network = Network.of(["+", "-"], [], [(f"P{i}", "+", "-", 52.0, r) for i, r in enumerate((0.01, 0.02, 0.03))],
                         [("Q", "+", "-")])
    box = Box.around(network, (0.75, 1.25), (1, 1))
    bound = surely_at_most(network, box, [150.0])
    assert bound is not None
    # own path lowest, the others highest: 1/r over the sum of 1/r
    own = 1 / (0.75 * np.array([0.01, 0.02, 0.03]))
    others = [sum(1 / (1.25 * r) for r in (0.01, 0.02, 0.03) if r != mine) for mine in (0.01, 0.02, 0.03)]
    assert bound[0] == pytest.approx(150 * own / (own + others), rel=1e-12)


def test_close_on_a_rack_and_the_run_of_the_port_does_not_count() -> None:
    near = ladder(8, [0.016] * 8, [2e-5], 1)
    box = Box.around(near, (0.75, 1.25), (0.5, 2.0))
    bound = surely_at_most(near, box, [200.0])
    assert bound is not None
    share = 1 / 0.75 / (1 / 0.75 + 7 / 1.25) * 200
    assert share < bound[0].max() < 1.15 * share
    far = ladder(8, [0.016] * 8, [2e-5], 1)
    ohm = [0.1 if name.startswith("run") else r for name, r in zip(far.branches, far.branch_ohm, strict=True)]
    longer = far.with_ohm(ohm, far.pack_ohm)
    again = surely_at_most(longer, Box.around(longer, (0.75, 1.25), (0.5, 2.0)), [200.0])
    assert again is not None
    assert again[0] == pytest.approx(bound[0], rel=1e-9)


def test_no_answer_where_something_circulates() -> None:
    network = Network.of(["+", "-"], [], [("A", "+", "-", 52.0, 0.02), ("B", "+", "-", 52.4, 0.02)], [("Q", "+", "-")])
    assert surely_at_most(network, Box.around(network, (0.75, 1.25), (1, 1)), [10.0]) is None


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_no_corner_draws_more_at_constant_power(data: st.DataObject) -> None:
    # solved whole at every corner of pack and port resistances and at random points; the bound never solves anything
    packs, ports = data.draw(st.integers(1, 3)), data.draw(st.integers(1, 2))
    network = ladder(packs, data.draw(st.lists(values, min_size=packs, max_size=packs)),
                     data.draw(st.lists(st.floats(1e-5, 1e-2), min_size=3, max_size=3)), ports)
    box = Box.around(network, (0.5, 0.6), (2.0, 2.5))
    watts = data.draw(st.lists(st.floats(0, 12000), min_size=ports, max_size=ports))
    found = Bound.of(network, box)
    assert found is not None
    most = found.drawn_at_most(watts, float(network.pack_emf_v[0]))
    if np.isinf(most[0]):
        return
    packs_a, branches_a = found.at_most(most)
    rng = np.random.default_rng(1)
    for k in range(24):
        low = rng.random(len(network.packs) + len(network.branches)) < (0.0, 1.0, 0.5)[min(k, 2)]
        pack_ohm = np.where(low[:len(network.packs)], box.pack_low_ohm, box.pack_high_ohm)
        branch_ohm = np.where(low[len(network.packs):], box.branch_low_ohm, box.branch_high_ohm)
        solution = solve(network.with_ohm(branch_ohm, pack_ohm), [Power(w) for w in watts])
        assert solution.outcome.holds
        assert np.all(np.abs(solution.port_a) <= most * (1 + 1e-9))
        assert np.all(np.abs(solution.pack_a) <= packs_a * (1 + 1e-9) + 1e-6)
        assert np.all(np.abs(solution.branch_a) <= branches_a * (1 + 1e-9) + 1e-6)


def test_constant_power_draws_more_from_a_weaker_bank() -> None:
    # one pack, one way: E = 50, R = 0.05 at the highest; I (50 - 0.05 I) = 8000 has the smaller root 200 A
    network = Network.of(["+", "-"], [], [("P", "+", "-", 50.0, 0.025)], [("Q", "+", "-")])
    found = Bound.of(network, Box.around(network, (1, 2), (1, 1)))
    assert found is not None
    assert found.drawn_at_most([8000.0], 50.0) == pytest.approx([200.0], rel=1e-6)
    assert found.drawn_at_most([8000.0], 50.0)[0] >= 200.0
    assert solve(network, [Power(8000.0)]).port_a == pytest.approx([175.38], abs=0.01)   # what it draws as stated
    # most power that 50 V behind 0.05 ohm give is 50^2 / (4 * 0.05) = 12.5 kW: beyond it, no current holds
    assert np.isinf(found.drawn_at_most([12501.0], 50.0)).all()
