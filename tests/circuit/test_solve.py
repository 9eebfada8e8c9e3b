"""The operating point: hand-worked figures, laws on random networks, blocked packs, chargers, and what is refused."""

from __future__ import annotations

import math
import random
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from interop.circuit.draws import NOTHING, Charger, Current, Draw, Laws, Power, dc_power
from interop.circuit.network import Network, NetworkError, State
from interop.circuit.ports import _newton
from interop.circuit.solve import Kind, Outcome, Solution, Solver, solve
from tests.circuit.networks import Rows, network, random_rows, random_states

SEEDS = st.integers(0, 10**9)
LAWS = settings(max_examples=60, deadline=None, derandomize=True)


def one_pack(emf_v: float = 52.0, ohm: float = 0.01) -> Network:
    return Network.of(["p", "m"], [], [("pack", "p", "m", emf_v, ohm)], [("inverter", "p", "m")])


def two_packs(emf_v: tuple[float, float] = (52.0, 53.0), ports: int = 2) -> Network:
    packs = [("A", "p", "m", emf_v[0], 0.01), ("B", "p", "m", emf_v[1], 0.01)]
    return Network.of(["p", "m"], [], packs, [(f"port {i}", "p", "m") for i in range(ports)])


def imbalance(net: Network, solution: Solution) -> float:
    """The largest Kirchhoff violation [A], added up node by node."""
    into = dict.fromkeys(range(len(net.nodes)), 0.0)
    for a, b, amps in zip(net.branch_a, net.branch_b, solution.branch_a, strict=True):
        into[int(a)] -= amps
        into[int(b)] += amps
    for a, b, amps in zip(net.pack_plus, net.pack_minus, solution.pack_a, strict=True):
        into[int(a)] += amps
        into[int(b)] -= amps
    for a, b, amps in zip(net.port_plus, net.port_minus, solution.port_a, strict=True):
        into[int(a)] -= amps
        into[int(b)] += amps
    return max(abs(amps) for amps in into.values())


# ---- figures by hand ----


def test_constant_power_takes_the_upper_root() -> None:
    # 52 V behind 10 mohm at 10 kW: u2 - 52 u + 100 = 0 has the roots 50 V and 2 V.
    solution = solve(one_pack(), [Power(10_000)])
    assert solution.outcome == Outcome(Kind.FINE)
    assert solution.port_v == pytest.approx([50.0], abs=1e-12)
    assert solution.pack_a == pytest.approx([200.0], abs=1e-9)


def test_power_at_which_one_pack_collapses_is_a_quarter_of_emf_squared_over_resistance() -> None:
    most = 52.0**2 / (4 * 0.01)
    under, over = solve(one_pack(), [Power(most * (1 - 1e-9))]), solve(one_pack(), [Power(most * (1 + 1e-9))])
    assert under.outcome.kind == Kind.FINE
    assert under.port_v == pytest.approx([26.0], abs=2e-3)
    assert over.outcome == Outcome(Kind.COLLAPSE, ("inverter",))
    assert np.isnan(over.port_v).all()
    assert np.isnan(over.pack_a).all()


@pytest.mark.parametrize("start_a, found", [(0.0, True), (5100.0, False)])
def test_the_lower_root_is_refused_even_where_newton_is_led_to_it(start_a: float, found: bool) -> None:
    # 52 V behind 10 mohm at 10 kW: 200 A at 50 V, and 5,000 A at 2 V, which no bank settles at
    laws = Laws.of([Power(10_000)]).at(np.array([[0]]))
    amps, volts, held = _newton(np.array([[52.0]]), np.array([[[0.01]]]), laws, np.zeros((1, 1), np.int64),
                                np.array([[start_a]]))
    assert amps[0, 0] == pytest.approx(200 if found else 5000, rel=1e-9)
    assert volts[0, 0] == pytest.approx(50 if found else 2, rel=1e-9)
    assert held[0] == found


def test_charging_power() -> None:
    # -5,200 W into 52 V behind 10 mohm: u2 - 52 u - 52 = 0.
    solution = solve(one_pack(), [Power(-5200)])
    assert solution.port_v == pytest.approx([(52 + math.sqrt(52**2 + 4 * 52)) / 2], abs=1e-12)


def test_dc_power_is_ac_over_efficiency_and_idle() -> None:
    assert dc_power(6000, 0.93, 50) == pytest.approx(6000 / 0.93 + 50)
    for bad in ((6000, 0.0, 0), (6000, 1.01, 0), (-1, 0.9, 0), (1, 0.9, -5)):
        with pytest.raises(ValueError, match="expected"):
            dc_power(*bad)


@pytest.mark.parametrize("amps, volts, expected", [
    (50, 53, (-50, 52.5, False)),  # full current leaves the terminals below the charge voltage
    (500, 53, (-100, 53, True)),  # 1 V over 10 mohm
    (500, 51, (0, 52, False)),  # the bank stands above it: it never draws
])
def test_charger_is_constant_current_and_then_constant_voltage(
        amps: float, volts: float, expected: tuple[float, float, bool]) -> None:
    solution = solve(one_pack(), [Charger(amps, volts)])
    assert (solution.port_a[0], solution.port_v[0]) == pytest.approx(expected[:2], abs=1e-9)
    assert solution.holding[0] == expected[2]


def test_two_chargers_of_one_voltage_at_the_same_terminals_share_alike() -> None:
    solution = solve(two_packs(), [Charger(500, 53.5), Charger(500, 53.5)])
    assert solution.port_a == pytest.approx([-100, -100], rel=1e-5)
    assert solution.port_a.sum() == pytest.approx(-200, abs=1e-9)


def test_the_charger_of_the_lower_voltage_stops_first() -> None:
    solution = solve(two_packs(), [Charger(120, 54.0), Charger(120, 53.2)])
    assert solution.port_a == pytest.approx([-120, -20], abs=1e-9)
    assert solution.holding.tolist() == [False, True]


STATES = list(State)
ON, OUT, IN, OPEN = STATES


@pytest.mark.parametrize("states, draws, pack_a, volts", [
    # all on: 1 V over 20 mohm circulates
    ([ON, ON], [NOTHING, NOTHING], [-50, 50], 52.5),
    # the lower pack may not be charged: nothing circulates, and the higher one alone carries the load
    ([OUT, ON], [Current(30), NOTHING], [0, 30], 52.7),
    # with more load the lower one helps, behind its diode of 0.5 V: 51.5 - 0.01 a = 53 - 0.01 b, a + b = 200
    ([OUT, ON], [Current(200), NOTHING], [25, 175], 51.25),
    # the higher may not be discharged
    ([ON, IN], [Current(30), NOTHING], [30, 0], 51.7),
    # and is charged behind its diode once the lower one stands high enough: 52 + 0.01 a = 53.5 + 0.01 b
    ([ON, IN], [Charger(250, 60), NOTHING], [-200, -50], 54.0),
    ([OPEN, ON], [Current(10), NOTHING], [0, 10], 52.9),
    # every pack refuses charge: the charger carries the load at its own voltage
    ([OUT, OUT], [Charger(100, 56), Current(40)], [0, 0], 56.0),
    # and below the packs' voltage it rests
    ([OUT, OUT], [Charger(100, 50), Current(40)], [0, 40], 52.1),
])
def test_blocked_packs(states: list[State], draws: list[Draw], pack_a: list[float], volts: float) -> None:
    solution = solve(two_packs(), draws, states, drop_v=0.5)
    assert solution.outcome.kind == Kind.FINE
    assert solution.pack_a == pytest.approx(pack_a, abs=1e-9)
    assert solution.port_v[0] == pytest.approx(volts, abs=1e-9)


def test_a_charger_whose_bank_refuses_charge_carries_the_load_alone_or_not_at_all() -> None:
    """Both packs refuse charge: what feeds power in needs someone who takes it, or the voltage runs away."""
    states, net = [OUT, OUT], two_packs(ports=3)
    resting = Charger(100, 50)
    # 1,000 W in, 10 A out: at 100 V they balance, the charger rests
    balance = solve(net, [resting, Power(-1000), Current(10)], states)
    assert balance.outcome.kind == Kind.FINE
    assert balance.port_v == pytest.approx([100.0] * 3, rel=1e-9)
    assert balance.port_a == pytest.approx([0, -10, 10], abs=1e-7)
    starved: tuple[list[Draw], ...] = (
        [resting, Power(-1000), NOTHING], [resting, Power(-1000), Power(400)], [resting, Current(-5), NOTHING])
    for fed in starved:
        ports = tuple(f"port {i}" for i in (1, 2) if fed[i] != NOTHING)
        assert solve(net, fed, states).outcome == Outcome(Kind.NO_PATH, ports)
    # a pack that takes charge stops it: 53 V + 10 mohm x 5 A
    taken = solve(net, [resting, Current(-5), NOTHING], [OUT, IN])
    assert taken.port_v[0] == pytest.approx(53.05, abs=1e-9)


# ---- what is refused, and how ----


def test_nothing_feeds_a_port() -> None:
    assert solve(one_pack(), [Power(100)], [OPEN]).outcome == Outcome(Kind.NO_PATH, ("inverter",))
    assert solve(one_pack(), [Power(100)], [IN]).outcome == Outcome(Kind.NO_PATH, ("inverter",))
    assert solve(one_pack(), [Current(-10)], [OUT]).outcome == Outcome(Kind.NO_PATH, ("inverter",))
    solution = solve(two_packs(), [Charger(10, 56), Current(40)], [OPEN, IN])  # more is drawn than the charger gives
    assert solution.outcome == Outcome(Kind.NO_PATH, ("port 1",))


def test_a_port_cut_off_leaves_the_rest_as_it_was() -> None:
    rows = Rows([("run", "p", "q", 1e-3)], [("pack", "p", "m", 52.0, 0.01)], [("near", "p", "m"), ("far", "q", "m")],
                [Power(1000), Power(2000)])
    net = network(rows)
    solution = solve(net, rows.draws, whole=np.array([False]))
    assert solution.outcome == Outcome(Kind.NO_PATH, ("far",))
    assert solution.port_a[1] == 0
    assert math.isnan(solution.port_v[1])
    assert solution.port_a[0] == pytest.approx(solve(net, [Power(1000), NOTHING]).port_a[0], abs=1e-9)


def test_a_bank_that_collapses_leaves_another_bank_alone() -> None:
    packs = [("A", "p", "m", 52.0, 0.01), ("B", "q", "n", 52.0, 0.01)]
    net = Network.of(["p", "m", "q", "n"], [], packs, [("one", "p", "m"), ("other", "q", "n")])
    solution = solve(net, [Power(1e6), Power(10_000)])
    assert solution.outcome == Outcome(Kind.COLLAPSE, ("one",))
    assert math.isnan(solution.pack_a[0])
    assert solution.pack_a[1] == pytest.approx(200, abs=1e-9)


def test_packs_that_reach_no_port_are_an_island() -> None:
    net = Network.of(["p", "m", "q", "n"], [], [("A", "p", "m", 52.0, 0.01), ("B", "q", "n", 52.0, 0.01)],
                     [("one", "p", "m")])
    assert solve(net, [Power(100)]).outcome == Outcome(Kind.ISLAND, ("B",))


def test_rows_of_the_wrong_length_are_refused() -> None:
    with pytest.raises(NetworkError, match=r"^2 draws for 1 ports: inverter$"):
        solve(one_pack(), [NOTHING, NOTHING])
    with pytest.raises(NetworkError, match=r"^2 states for 1 packs: pack$"):
        solve(one_pack(), [NOTHING], [ON, ON])
    with pytest.raises(NetworkError, match=r"^diode drop is not 0 V or more: pack$"):
        solve(one_pack(), [NOTHING], drop_v=-0.5)
    for bad in (lambda: Power(math.nan), lambda: Current(math.inf), lambda: Charger(-1, 50), lambda: Charger(1, 0)):
        with pytest.raises(ValueError, match="expected"):
            bad()


@pytest.mark.parametrize("ohm", [0.0, -1e-3, math.nan, math.inf])
def test_a_resistance_that_is_none_names_its_branch_or_pack(ohm: float) -> None:
    for run, pack, name in ((ohm, 0.01, "run A"), (1e-3, ohm, "A")):
        with pytest.raises(NetworkError, match=rf"^resistance is not above zero: {name}$"):
            Network.of(["p", "q", "m"], [("run A", "q", "p", run)], [("A", "q", "m", 52.0, pack)], [])
    with pytest.raises(NetworkError, match=r"^resistance is not above zero: pack$"):
        one_pack().with_ohm([], [ohm])


def test_nodes_names_and_voltages_that_do_not_fit_are_named() -> None:
    def built(**other: object) -> Network:
        given = {"nodes": ["p", "q", "m"], "branches": [("run", "q", "p", 1e-3)],
                 "packs": [("A", "q", "m", 52.0, 0.01)], "ports": [("load", "p", "m")]} | other
        return Network.of(**given)  # type: ignore[arg-type]

    assert built().packs == ("A",)
    for other, told in (
            ({"nodes": ["p", "m"]}, "node is not part of the network: q"),
            ({"nodes": ["p", "q", "q", "m"]}, "name of a node is given more than once: q"),
            ({"packs": [("A", "q", "m", 52.0, 0.01)] * 2}, "name of a pack is given more than once: A"),
            ({"ports": [("load", "p", "m")] * 2}, "name of a port is given more than once: load"),
            ({"branches": [("run", "q", "p", 1e-3)] * 2}, "name of a branch is given more than once: run"),
            ({"branches": [("run", "q", "q", 1e-3)]}, "both ends on one node: run"),
            ({"packs": [("A", "q", "m", math.nan, 0.01)]}, "voltage is not a number: A")):
        with pytest.raises(NetworkError, match=rf"^{told}$"):
            built(**other)


def test_rows_of_states_of_branches_and_of_drops_that_do_not_fit_are_refused() -> None:
    net = two_packs(ports=1)
    with pytest.raises(NetworkError, match=r"^3 diode drops for 2: A, B$"):
        solve(net, [NOTHING], drop_v=[0, 0, 0])
    with pytest.raises(NetworkError, match=r"^diode drop is not 0 V or more: B$"):
        solve(net, [NOTHING], drop_v=[0, math.nan])
    with pytest.raises(NetworkError, match=r"^1 yes or no to conducting branches for 0: $"):
        solve(net, [NOTHING], whole=np.ones(1, bool))
    with pytest.raises(ValueError, match="expected 0 or more"):
        dc_power(100, 0.9, math.nan)


def test_a_small_bank_is_solved_without_loading_the_sparse_library() -> None:
    text = ("import sys; from interop.circuit.network import Network; from interop.circuit.solve import solve; "
            "from interop.circuit.draws import Power; "
            "n = Network.of(['p', 'm'], [], [('A', 'p', 'm', 52.0, 0.01)], [('x', 'p', 'm')]); "
            "print(solve(n, [Power(1e4)]).port_v[0], any(name.startswith('scipy') for name in sys.modules))")
    done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    volts, loaded = done.stdout.split()
    assert float(volts) == pytest.approx(50.0)
    assert loaded == "False"


# ---- laws ----


@LAWS
@given(SEEDS)
def test_kirchhoff_power_and_energy(seed: int) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, draw.choice([4, 30, 60]), banks=draw.choice([1, 2]), chargers=draw.random() < 0.5)
    net = network(rows)
    states = random_states(draw, len(net.packs)) if draw.random() < 0.5 else [ON] * len(net.packs)
    solution = solve(net, rows.draws, states, drop_v=0.4)
    assume(solution.outcome.holds)
    largest = max(1.0, float(np.abs(solution.branch_a).max()))
    assert imbalance(net, solution) <= 1e-9 * largest
    assert solution.residual_a == pytest.approx(imbalance(net, solution), abs=1e-12 * largest)
    for what, volts, amps in zip(rows.draws, solution.port_v, solution.port_a, strict=True):
        if isinstance(what, Power):
            assert volts * amps == pytest.approx(what.watts, rel=1e-9)
        elif isinstance(what, Current):
            assert amps == what.amps
        else:
            assert -what.amps - 1e-6 <= amps <= 1e-6
            assert amps == pytest.approx(-what.amps, abs=1e-6) or volts >= what.volts - 1e-8
            assert abs(amps) <= 1e-6 or volts <= what.volts + 1e-8
    # sources = ports + copper + packs' resistances + diodes
    blocked = np.isin(states, [OUT, IN])
    source = net.pack_emf_v @ solution.pack_a
    lost = solution.branch_a**2 @ net.branch_ohm + solution.pack_a**2 @ net.pack_ohm
    diodes = 0.4 * np.abs(solution.pack_a[blocked]).sum()
    drawn = solution.port_a @ np.nan_to_num(solution.port_v)
    assert source == pytest.approx(drawn + lost + diodes, abs=float(1e-8 * (abs(source) + abs(drawn) + 1)))
    outward, inward = (np.array([s == which for s in states]) for which in (OUT, IN))
    assert (solution.pack_a[outward] >= -1e-8).all()
    assert (solution.pack_a[inward] <= 1e-8).all()
    assert (solution.pack_a[[s == OPEN for s in states]] == 0).all()


@LAWS
@given(SEEDS)
def test_a_blocked_pack_that_carries_nothing_could_carry_nothing(seed: int) -> None:
    """Where the terminals stand, the diode would not open."""
    draw = random.Random(seed)
    rows = random_rows(draw, 30, chargers=True)
    net = network(rows)
    states = random_states(draw, len(net.packs), 0.7)
    solution = solve(net, rows.draws, states, drop_v=0.3)
    assume(solution.outcome.kind == Kind.FINE)
    for k, state in enumerate(states):
        plus, minus = int(net.pack_plus[k]), int(net.pack_minus[k])
        if solution.part[plus] != solution.part[minus]:
            continue
        over = net.pack_emf_v[k] - (solution.node_v[plus] - solution.node_v[minus])
        if state == OUT:
            assert over - 0.3 == pytest.approx(solution.pack_a[k] * net.pack_ohm[k], abs=1e-8) or over - 0.3 <= 1e-9
        elif state == IN:
            assert over + 0.3 == pytest.approx(solution.pack_a[k] * net.pack_ohm[k], abs=1e-8) or over + 0.3 >= -1e-9


@LAWS
@given(SEEDS)
def test_doubling_every_resistance_halves_what_circulates_and_doubles_every_drop(seed: int) -> None:
    rows = random_rows(random.Random(seed), 20)
    net = network(rows)
    currents = [Current(10.0 * (k + 1)) for k in range(len(net.ports))]
    double = net.with_ohm(2 * net.branch_ohm, 2 * net.pack_ohm)
    flat = net.with_emf(np.full(len(net.packs), 52.0))
    one, two = solve(flat, currents), solve(flat.with_ohm(double.branch_ohm, double.pack_ohm), currents)
    assert two.pack_a == pytest.approx(one.pack_a, abs=1e-9)
    assert 52.0 - two.port_v == pytest.approx(2 * (52.0 - one.port_v), abs=1e-9)
    idle = [NOTHING] * len(net.ports)
    assert 2 * solve(double, idle).pack_a == pytest.approx(solve(net, idle).pack_a, abs=1e-9)


@LAWS
@given(SEEDS)
def test_renaming_and_reordering_renames_the_answer(seed: int) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, 30, chargers=True)
    first = solve(network(rows), rows.draws)
    shuffled = Rows(draw.sample(rows.branches, len(rows.branches)), draw.sample(rows.packs, len(rows.packs)))
    order = draw.sample(range(len(rows.ports)), len(rows.ports))
    shuffled.ports, shuffled.draws = [rows.ports[i] for i in order], [rows.draws[i] for i in order]
    shuffled.branches = [(name, f"x{b}", f"x{a}", ohm) for name, a, b, ohm in shuffled.branches]
    shuffled.packs = [(name, f"x{a}", f"x{b}", volts, ohm) for name, a, b, volts, ohm in shuffled.packs]
    shuffled.ports = [(name, f"x{a}", f"x{b}") for name, a, b in shuffled.ports]
    net = network(shuffled)
    second = solve(net, shuffled.draws)
    assert second.outcome.kind == first.outcome.kind
    assume(first.outcome.holds)
    before = dict(zip(network(rows).packs, first.pack_a, strict=True))
    assert second.pack_a == pytest.approx([before[name] for name in net.packs], abs=1e-8)
    around = dict(zip(network(rows).branches, first.branch_a, strict=True))
    assert -second.branch_a == pytest.approx([around[name] for name in net.branches], abs=1e-7)


@LAWS
@given(SEEDS)
def test_an_identical_pack_beside_another_is_one_of_half_the_resistance(seed: int) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, 20)
    k = draw.randrange(len(rows.packs))
    name, plus, minus, volts, ohm = rows.packs[k]
    twin = replace(rows, packs=[*rows.packs, ("twin", plus, minus, volts, ohm)])
    half = replace(rows, packs=[*rows.packs[:k], (name, plus, minus, volts, ohm / 2), *rows.packs[k + 1:]])
    with_twin, with_half = solve(network(twin), rows.draws), solve(network(half), rows.draws)
    assume(with_half.outcome.holds)
    assert with_twin.pack_a[k] == pytest.approx(with_twin.pack_a[-1], abs=1e-9)
    assert with_twin.pack_a[k] == pytest.approx(with_half.pack_a[k] / 2, abs=1e-9)
    assert with_twin.port_v == pytest.approx(with_half.port_v, abs=1e-9)


@LAWS
@given(SEEDS)
def test_superposition_of_currents_and_voltages(seed: int) -> None:
    rows = random_rows(random.Random(seed), 30)
    net = network(rows)
    one = [Current(7.0 * (k + 1)) for k in range(len(net.ports))]
    two = [Current(-3.0 + k) for k in range(len(net.ports))]
    both = [Current(a.amps + b.amps) for a, b in zip(one, two, strict=True)]
    idle = solve(net, [NOTHING] * len(net.ports)).pack_a
    sums = solve(net, one).pack_a + solve(net, two).pack_a - idle
    assert solve(net, both).pack_a == pytest.approx(sums, abs=1e-8)
    parts = [np.where(np.arange(len(net.packs)) % 2 == half, net.pack_emf_v, 0.0) for half in (0, 1)]
    assert idle == pytest.approx(
        sum(solve(net.with_emf(emf), [NOTHING] * len(net.ports)).pack_a for emf in parts), abs=1e-8)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(SEEDS)
def test_the_root_is_the_one_that_rises_from_no_load(seed: int) -> None:
    """Powers raised in steps from zero, each from the state before by plain Newton, reach the same state."""
    draw = random.Random(seed)
    rows = random_rows(draw, 8, load=draw.choice([0.5, 2, 5]))
    rows.draws = [what if isinstance(what, Power) else NOTHING for what in rows.draws]
    net = network(rows)
    solution = solve(net, rows.draws)
    wanted = np.array([what.watts if isinstance(what, Power) else 0.0 for what in rows.draws])
    seen = Solver(net)
    idle = seen.solve([NOTHING] * len(wanted)).port_v
    unit = np.eye(len(wanted))
    z = np.column_stack([idle - seen.solve([Current(a) for a in row]).port_v for row in unit])
    volts = idle.copy()
    for part in np.linspace(0, 1, 501)[1:]:
        for _ in range(30):
            miss = volts - idle + z @ (part * wanted / volts)
            step = np.linalg.solve(unit - z * (part * wanted / volts**2), miss)
            volts -= step
            if np.abs(step).max() < 1e-13 * 50:
                break
        fallen = np.linalg.eigvals(unit - z * (part * wanted / volts**2)).real.min() <= 0 or (volts <= 0).any()
        if fallen:
            assert part > 0.997 or solution.outcome.kind == Kind.COLLAPSE
            return
    assert solution.outcome.kind == Kind.FINE
    assert solution.port_v == pytest.approx(volts, abs=1e-8)


def test_dense_and_sparse_say_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = random_rows(random.Random(5), 12)
    net = network(rows)
    assert len(net.nodes) < 200
    dense = solve(net, rows.draws)
    monkeypatch.setattr("interop.circuit.network.DENSE_BELOW", 0)
    sparse = solve(net, rows.draws)
    assert sparse.pack_a == pytest.approx(dense.pack_a, abs=1e-10)
    assert sparse.branch_a == pytest.approx(dense.branch_a, abs=1e-8)
