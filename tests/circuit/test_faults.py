"""Bolted shorts: worked figures, every device against a short of its own, and what feeds each end."""

from __future__ import annotations

import random
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.draws import Current
from interop.circuit.faults import device_faults, feeders, feeding_counts, short
from interop.circuit.inverse import pair_impedances
from interop.circuit.network import Network, NetworkError
from interop.circuit.solve import solve
from tests.circuit.networks import network, random_rows

SEEDS = st.integers(0, 10**9)


def four_packs() -> Network:
    """Four packs of 10 mohm at 58.4 V, each with its device at the pack (of next to no resistance)."""
    nodes = ["bar", "minus", *(f"pack {i}" for i in range(4))]
    devices = [(f"device {i}", f"pack {i}", "bar", 1e-10) for i in range(4)]
    return Network.of(nodes, devices, [(f"pack {i}", f"pack {i}", "minus", 58.4, 0.01) for i in range(4)], [])


def test_four_packs_give_23_ka_towards_the_inverter_and_17_ka_back_into_one_pack() -> None:
    # calc: 4 x 58.4 V / 10 mohm = 23.36 kA at the bar, 3 x 5.84 kA = 17.52 kA through the device of a shorted pack
    net = four_packs()
    assert short(net, "bar", "minus").total_a == pytest.approx(23_360, rel=1e-6)
    faults = device_faults(net, range(4), [1] * 4)
    assert faults.first_a == pytest.approx([17_520] * 4, rel=1e-6)
    assert faults.second_a == pytest.approx([5_840] * 4, rel=1e-6)
    assert faults.larger_a == pytest.approx([17_520] * 4, rel=1e-6)
    assert faults.second_total_a == pytest.approx([23_360] * 4, rel=1e-6)


def test_a_short_is_a_port_held_at_no_volts() -> None:
    rows = random_rows(random.Random(3), 10)
    net = network(rows)
    plus, minus = rows.ports[0][1:]
    bolted = short(net, plus, minus)
    solution = solve(net, [Current(bolted.total_a), *([Current(0)] * (len(net.ports) - 1))])
    # drawn as a constant current it is a state without voltage, which a solve for loads refuses
    assert solution.outcome.kind == "collapse"
    just_less = solve(net, [Current(bolted.total_a * 0.5), *([Current(0)] * (len(net.ports) - 1))])
    idle = solve(net, [Current(0)] * len(net.ports))
    assert bolted.pack_a == pytest.approx(2 * just_less.pack_a - idle.pack_a, rel=1e-9, abs=1e-6)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(SEEDS, st.booleans())
def test_each_device_as_if_shorted_by_itself(seed: int, sparse: bool) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, 30 if sparse else 6, banks=draw.choice([1, 2]))
    net = network(rows)
    whole = np.array([draw.random() < 0.97 for _ in net.branches])
    closed = np.array([draw.random() < 0.9 for _ in net.packs])
    devices = [i for i in range(len(net.branches)) if whole[i] and draw.random() < 0.4][:12]
    back = [draw.choice([i for i in range(len(net.nodes)) if i not in (net.branch_a[d], net.branch_b[d])])
            for d in devices]
    found = device_faults(net, devices, back, closed=closed, whole=whole)
    for i, (device, node) in enumerate(zip(devices, back, strict=True)):
        sides = ((net.branch_a, found.first_a, found.first_total_a),
                 (net.branch_b, found.second_a, found.second_total_a))
        for ends, through, total in sides:
            one = short(net, net.nodes[ends[device]], net.nodes[node], closed=closed, whole=whole)
            scale = max(1.0, abs(one.total_a))
            assert through[i] == pytest.approx(abs(one.branch_a[device]), abs=1e-7 * scale)
            assert total[i] == pytest.approx(abs(one.total_a), rel=1e-7, abs=1e-6)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(SEEDS)
def test_entries_of_the_inverse_against_whole_columns(seed: int) -> None:
    draw = random.Random(seed)
    net = network(random_rows(draw, 120))
    on, count = np.ones(len(net.packs), bool), len(net.nodes)
    a = np.array([draw.randrange(count) for _ in range(60)])
    b = np.array([draw.randrange(count) for _ in range(60)])
    factored = net.factored()
    unit = np.zeros((count, 60))
    unit[b, np.arange(60)] = 1.0
    expected = factored.volts(unit)[a, np.arange(60)]
    assert pair_impedances(net, on, None, a, b) == pytest.approx(expected, rel=1e-8, abs=1e-15)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(SEEDS)
def test_what_feeds_each_end(seed: int) -> None:
    draw = random.Random(seed)
    net = network(random_rows(draw, 8))
    closed = np.array([draw.random() < 0.8 for _ in net.packs])
    whole = np.array([draw.random() < 0.95 for _ in net.branches])
    counts = feeding_counts(net, closed=closed, whole=whole)
    for branch in range(len(net.branches)):
        first, second = feeders(net, branch, closed=closed, whole=whole)
        assert counts[branch].tolist() == ([len(first), len(second)] if whole[branch] else [0, 0])


def test_a_pack_run_is_fed_by_its_pack_and_by_all_the_others() -> None:
    net = four_packs()
    assert feeders(net, 0) == (("pack 0",), ("pack 1", "pack 2", "pack 3"))
    assert feeding_counts(net).tolist() == [[1, 3]] * 4


def test_two_cables_side_by_side_are_fed_from_both_ends_by_all() -> None:
    net = Network.of(["a", "b", "m"], [("one", "a", "b", 1e-3), ("two", "a", "b", 1e-3)],
                     [("A", "a", "m", 52.0, 0.01), ("B", "b", "m", 52.0, 0.01)], [])
    assert feeding_counts(net).tolist() == [[2, 2], [2, 2]]


def test_what_is_no_short_is_refused() -> None:
    net = four_packs()
    with pytest.raises(NetworkError, match=r"^node is not part of the network: nowhere$"):
        short(net, "bar", "nowhere")
    with pytest.raises(NetworkError, match=r"^both ends on one node: bar$"):
        short(net, "bar", "bar")
    with pytest.raises(NetworkError, match=r"^return node is the device's own: device 1$"):
        device_faults(net, [1], [0])
    with pytest.raises(NetworkError, match=re.escape("1 return nodes for 2 devices")):
        device_faults(net, [0, 1], [1])


def test_devices_that_are_open_or_are_none_are_refused() -> None:
    net = four_packs()
    with pytest.raises(NetworkError, match=r"^device does not conduct: device 2$"):
        device_faults(net, [1, 2], [1, 1], whole=np.array([True, True, False, True]))
    with pytest.raises(NetworkError, match=r"^number of a branch is not 0 to 3: 4$"):
        device_faults(net, [4], [1])
    with pytest.raises(NetworkError, match=r"^number of a node is not 0 to 5: -1$"):
        device_faults(net, [0], [-1])
    with pytest.raises(NetworkError, match=r"^1 yes or no to conducting packs for 4: "):
        short(net, "bar", "minus", closed=np.ones(1, bool))


def test_no_current_where_nothing_joins_the_nodes() -> None:
    net = Network.of(["p", "m", "q", "n"], [("x", "p", "y", 1e-3)] * 0, [("A", "p", "m", 52.0, 0.01),
                     ("B", "q", "n", 52.0, 0.01)], [])
    bolted = short(net, "p", "n")
    assert (bolted.total_a, bolted.pack_a.tolist()) == (0.0, [0.0, 0.0])
