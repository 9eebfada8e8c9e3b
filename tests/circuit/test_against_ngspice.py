"""Operating points, blocked packs, chargers, one out, shorts, limits and collapse against ngspice, on random banks of
up to 200 packs.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from interop.circuit.draws import NOTHING, Charger, Power
from interop.circuit.faults import device_faults, short
from interop.circuit.limits import Stop, first_limit
from interop.circuit.network import State
from interop.circuit.one_out import one_out
from interop.circuit.solve import Kind, solve
from tests.circuit import spice
from tests.circuit.networks import Rows, network, random_rows, random_states
from tests.circuit.spice import FOOT_V, Circuit

BANKS, BLOCKED, CHARGED, COLLAPSING, SHORTED, OUT = 60, 24, 16, 16, 16, 20


def bank(seed: int) -> Rows:
    draw = random.Random(seed)
    return random_rows(draw, (4, 12, 40, 90, 200)[seed % 5], banks=1 + (seed % 3 == 2), load=draw.choice([0.3, 1.0]))


def close(ours: NDArray[np.float64], theirs: NDArray[np.float64] | list[float]) -> None:
    """|difference| <= 1e-6 x max(|current|, 1 A), figure by figure."""
    told = np.array(theirs, dtype=np.float64)
    assert len(told) == len(ours)
    worst = np.abs(ours - told) / np.maximum(np.abs(told), 1.0)
    assert worst.max(initial=0.0) <= 1e-6


def compare(circuit: Circuit) -> None:
    solution = solve(network(circuit.rows), circuit.rows.draws, circuit.states, drop_v=circuit.drop_v)
    assert solution.outcome.kind == Kind.FINE
    read = spice.run(circuit)
    assert min(read.port_v.values()) > 1.5 * FOOT_V  # nothing stands on the foot
    close(solution.pack_a, list(read.pack_a.values()))
    if circuit.wanted:
        close(solution.branch_a, list(read.branch_a.values()))
    assert solution.port_v == pytest.approx(list(read.port_v.values()), abs=1e-8)


@pytest.mark.parametrize("seed", range(BANKS))
def test_pack_and_branch_currents(seed: int) -> None:
    rows = bank(seed)
    compare(Circuit(rows, wanted=[row[0] for row in rows.branches]))


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
    assert sum(any(isinstance(what, Power) and what.watts < 0 for what in row.draws) for row in rows) >= 5
    assert sum(any(not isinstance(what, Power) for what in row.draws) for row in rows) >= 20
    assert sum(len({name.split(".")[0] for name, *_ in row.packs}) == 2 for row in rows) >= 15


def blocked(seed: int) -> Circuit:
    draw = random.Random(1000 + seed)
    rows = random_rows(draw, (16, 16, 60, 200)[seed % 4], load=draw.choice([0.1, 0.5]))
    states = [State.ON, *random_states(draw, len(rows.packs) - 1, 0.6)]
    return Circuit(rows, states, draw.choice([0.0, 0.4]))


@pytest.mark.parametrize("seed", range(BLOCKED))
def test_blocked_packs(seed: int) -> None:
    """The simulator finds by itself which diodes conduct, at loads and at charge."""
    circuit = blocked(seed)
    net = network(circuit.rows)
    if solve(net, circuit.rows.draws, circuit.states, drop_v=circuit.drop_v).outcome.kind != Kind.FINE:
        circuit.rows.draws = [Power(500.0)] * len(circuit.rows.draws)  # too few packs are left for the load
    compare(circuit)


def test_the_blocked_banks_are_worth_it() -> None:
    found = [blocked(seed) for seed in range(BLOCKED)]
    assert max(len(one.rows.packs) for one in found) > 100
    for state in State:
        assert sum((one.states or []).count(state) for one in found) > 100
    idle = 0
    for one in found:
        solution = solve(network(one.rows), one.rows.draws, one.states, drop_v=one.drop_v)
        one_way = np.isin(one.states or [], [State.CHARGE_BLOCKED, State.DISCHARGE_BLOCKED])
        idle += int((one_way & ~solution.conducts).sum())
    assert idle > 100, "diodes that do not conduct"


@pytest.mark.parametrize("seed", range(CHARGED))
def test_chargers(seed: int) -> None:
    """Each charger is put as we found it; the simulator's figures then show whether it may stand so."""
    draw = random.Random(4000 + seed)
    rows = random_rows(draw, (6, 40)[seed % 2], load=0.3)
    rows.draws = [Charger(draw.uniform(5, 60) * len(rows.packs), draw.uniform(51, 58)) if k % 2 == 0 else what
                  for k, what in enumerate(rows.draws)]
    states = random_states(draw, len(rows.packs), 0.4) if seed % 4 > 1 else None
    solution = solve(network(rows), rows.draws, states, drop_v=0.4)
    assert solution.outcome.kind == Kind.FINE
    resting = [k for k, what in enumerate(rows.draws)
               if isinstance(what, Charger) and abs(solution.port_a[k]) < 1e-8 and not solution.holding[k]]
    put = replace(rows, draws=[NOTHING if k in resting else what for k, what in enumerate(rows.draws)])
    read = spice.run(Circuit(put, states, 0.4, holding=set(np.flatnonzero(solution.holding).tolist())))
    close(solution.pack_a, list(read.pack_a.values()))
    for k, what in enumerate(rows.draws):
        if isinstance(what, Charger) and k in read.held_a:
            assert -what.amps - 1e-6 <= read.held_a[k] <= 1e-6
        elif isinstance(what, Charger):
            volts = read.port_v[rows.ports[k][0]]
            assert volts >= what.volts - 1e-8 if k in resting else volts <= what.volts + 1e-8


@pytest.mark.parametrize("seed", range(OUT))
def test_one_out(seed: int) -> None:
    """A pack out, a pack blocked and a device open: each case against a run of the simulator on what is left."""
    draw = random.Random(5000 + seed)
    rows = random_rows(draw, (6, 40, 200)[seed % 3], load=0.3)
    net, count = network(rows), len(rows.packs)
    states = [State.ON] * count
    cases = [(draw.randrange(count), state) for state in
             (State.OPEN, State.OPEN, State.CHARGE_BLOCKED, State.DISCHARGE_BLOCKED)]
    branches = [i for i, name in enumerate(net.branches) if "pack" in name]
    opened = draw.sample(branches, 2)
    out = one_out(net, rows.draws, cases, opened, discharge_a=100.0, charge_a=50.0, drop_v=0.4, worst=5)
    fed = 0
    for i in range(len(out)):
        case = out.case(i)
        if case.outcome.kind not in {Kind.FINE, Kind.SPLIT}:
            continue
        new, left = list(states), rows
        if out.is_pack[i]:
            new[out.element[i]] = case.state
        else:
            left = replace(rows, branches=[row for row in rows.branches if row[0] != case.name])
        read = spice.run(Circuit(left, new, 0.4))
        close(np.array([amps for _, amps, _ in case.worst]), [read.pack_a[name] for name, _, _ in case.worst])
        for name, volts in case.port_v:
            assert volts == pytest.approx(read.port_v[name], abs=1e-8)
        used = sorted(max(amps / 100, -amps / 50) for amps in read.pack_a.values())
        assert case.worst[0][2] == pytest.approx(used[-1], abs=1e-7)
        fed += 1
    assert fed >= 3


@pytest.mark.parametrize("seed", range(COLLAPSING))
def test_power_of_collapse(seed: int) -> None:
    """The greatest power found by bisecting in the simulator, within 0.1 %."""
    rows = random_rows(random.Random(2000 + seed), (8, 8, 40, 90)[seed % 4])
    share = np.arange(1, len(rows.ports) + 1) / sum(range(1, len(rows.ports) + 1))
    rows.draws = [Power(1000.0 * float(part)) for part in share]
    good, bad = 1.0, 1e5  # kW: from 1 kW, which every bank of two packs carries, to 100 MW, which none does
    while bad - good > 2e-4 * good:
        middle = (good * bad) ** 0.5
        try:
            read = spice.run(Circuit(rows, scale=middle))
            held = min(read.port_v.values()) > FOOT_V
        except AssertionError:  # no operating point at all: beyond it
            held = False
        good, bad = (middle, bad) if held else (good, middle)
    found = first_limit(network(rows), share)
    assert found.stop == Stop.COLLAPSE
    assert found.watts == pytest.approx(1000 * good, rel=1e-3)


@pytest.mark.parametrize("seed", range(COLLAPSING))
def test_power_at_which_a_pack_or_a_port_says_stop(seed: int) -> None:
    """At the power that we name the simulator has exactly that pack at its limit, or that port at its cut-off."""
    draw = random.Random(6000 + seed)
    rows = random_rows(draw, (8, 60)[seed % 2])
    share = np.ones(len(rows.ports)) / len(rows.ports)
    charging = seed % 4 == 3
    found = first_limit(network(rows), share, charging=charging, low_v=draw.choice([44.0, 50.0]),
                        discharge_a=draw.choice([150.0, np.inf]), charge_a=100.0)
    assert found.stop in {Stop.DISCHARGE, Stop.CHARGE, Stop.CUT_OFF}
    if found.watts == 0:
        return
    rows.draws = [Power(float(-part if charging else part) * found.watts) for part in share]
    read = spice.run(Circuit(rows))
    amps, lowest = np.array(list(read.pack_a.values())), min(read.port_v.values())
    if found.stop == Stop.CUT_OFF:
        assert read.port_v[found.names[0]] == pytest.approx(lowest)
        assert min(abs(lowest - limit) for limit in (44.0, 50.0)) < 1e-6
    else:
        limit = 150.0 if found.stop == Stop.DISCHARGE else -100.0
        assert read.pack_a[found.names[0]] == pytest.approx(limit, rel=1e-6)
        assert amps.min() >= -100 * (1 + 1e-6)


@pytest.mark.parametrize("seed", range(SHORTED))
def test_bolted_short_through_every_pack_and_through_devices(seed: int) -> None:
    """A short is a source of 0 V in the simulator; both sides of two devices, and the terminals of an inverter."""
    draw = random.Random(3000 + seed)
    rows = random_rows(draw, (12, 40, 150)[seed % 3])
    rows.draws = [NOTHING] * len(rows.ports)
    net = network(rows)
    (_, plus, minus), runs = rows.ports[0], [row for row in rows.branches if "+run" in row[0]]
    read = spice.run(Circuit(rows, shorts=[(plus, minus)]))
    bolted = short(net, plus, minus)
    close(bolted.pack_a, list(read.pack_a.values()))
    close(np.array([bolted.total_a]), read.short_a)
    asked = draw.sample(runs, 2)
    numbers = [net.branches.index(row[0]) for row in asked]
    found = device_faults(net, numbers, [net.nodes.index(minus)] * 2)
    for i, (device, one, other, _) in enumerate(asked):
        for node, through, total in ((one, found.first_a, found.first_total_a),
                                     (other, found.second_a, found.second_total_a)):
            read = spice.run(Circuit(rows, shorts=[(node, minus)], wanted=[device]))
            close(np.array([through[i], total[i]]), [abs(read.branch_a[device]), abs(read.short_a[0])])
