"""Operating points, blocked packs, shorts and collapse against ngspice, on random banks of up to 200 packs."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from interop.circuit.draws import NOTHING, Power
from interop.circuit.faults import short
from interop.circuit.limits import Stop, first_limit
from interop.circuit.network import State
from interop.circuit.solve import Kind, solve
from tests.circuit import spice
from tests.circuit.networks import Rows, network, random_rows, random_states
from tests.circuit.spice import FOOT_V, Circuit

BANKS, BLOCKED, COLLAPSING = 60, 16, 8


def bank(seed: int) -> Rows:
    draw = random.Random(seed)
    return random_rows(draw, (4, 12, 40, 90, 200)[seed % 5], banks=1 + (seed % 3 == 2), load=draw.choice([0.3, 1.0]))


def close(ours: np.ndarray, theirs: list[float]) -> None:
    """|difference| <= 1e-6 x max(|current|, 1 A)."""
    told = np.array(theirs)
    assert np.abs(ours - told).max() <= 1e-6 * np.maximum(np.abs(told), 1.0).min() or (
        np.abs(ours - told) <= 1e-6 * np.maximum(np.abs(told), 1.0)).all()


def compare(circuit: Circuit) -> None:
    solution = solve(network(circuit.rows), circuit.rows.draws, circuit.states, drop_v=circuit.drop_v)
    assert solution.outcome.kind == Kind.FINE
    (read,) = spice.run([circuit])
    assert min(read.port_v.values()) > 2 * FOOT_V  # nothing stands on the foot
    close(solution.pack_a, list(read.pack_a.values()))
    assert solution.port_v == pytest.approx(list(read.port_v.values()), abs=1e-8)


@pytest.mark.parametrize("seed", range(BANKS))
def test_pack_currents(seed: int) -> None:
    compare(Circuit(bank(seed)))


def test_the_random_banks_are_worth_it() -> None:
    rows = [bank(seed) for seed in range(BANKS)]
    counts = [len(row.packs) for row in rows]
    assert BANKS >= 60
    assert max(counts) > 150
    assert sum(count > 60 for count in counts) >= 10
    cascaded = [sum("pack" in b and "pack" in a and a.split("+")[0] != b.split("+")[0] for _, a, b, _ in row.branches)
                for row in rows]
    assert sum(count > 0 for count in cascaded) >= 40
    assert sum(any(isinstance(what, Power) for what in row.draws) for row in rows) >= 45
    assert sum(len({name.split(".")[0] for name, *_ in row.packs}) == 2 for row in rows) >= 15


@pytest.mark.parametrize("seed", range(BLOCKED))
def test_blocked_packs(seed: int) -> None:
    """The simulator finds by itself which diodes conduct."""
    draw = random.Random(1000 + seed)
    rows = random_rows(draw, 16, load=0.5)
    states = [State.ON, *random_states(draw, len(rows.packs) - 1, 0.6)]
    rows.draws = [what if isinstance(what, Power) and what.watts > 0 else Power(500.0) for what in rows.draws]
    compare(Circuit(rows, states, 0.4))


@pytest.mark.parametrize("seed", range(COLLAPSING))
def test_power_of_collapse(seed: int) -> None:
    """The greatest power found by bisecting in the simulator, within 0.1 %."""
    rows = random_rows(random.Random(2000 + seed), 8)
    share = np.arange(1, len(rows.ports) + 1) / sum(range(1, len(rows.ports) + 1))
    rows.draws = [Power(1000.0 * float(part)) for part in share]
    good, bad = 1.0, 1e4  # kW: from 1 kW, which every bank of two packs carries, to 10 MW, which none does
    while bad - good > 2e-4 * good:
        middle = (good * bad) ** 0.5
        try:
            (read,) = spice.run([Circuit(rows, scale=middle)])
            held = min(read.port_v.values()) > FOOT_V
        except AssertionError:  # no operating point at all: beyond it
            held = False
        good, bad = (middle, bad) if held else (good, middle)
    found = first_limit(network(rows), share)
    assert found.stop == Stop.COLLAPSE
    assert found.watts == pytest.approx(1000 * good, rel=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_bolted_short(seed: int) -> None:
    """A short is a branch of one microhm in the simulator, and that much in ours."""
    draw = random.Random(3000 + seed)
    rows = random_rows(draw, 40)
    rows.draws = [NOTHING] * len(rows.ports)
    plus, minus = rows.ports[0][1], rows.ports[0][2]
    shorted = replace(rows, branches=[*rows.branches, ("short", plus, minus, 1e-9)])
    (read,) = spice.run([Circuit(shorted)])
    bolted = short(network(rows), plus, minus)
    assert bolted.pack_a == pytest.approx(list(read.pack_a.values()), rel=1e-4, abs=0.1)
    assert bolted.total_a == pytest.approx(read.port_v[rows.ports[0][0]] / 1e-9, rel=1e-4)
