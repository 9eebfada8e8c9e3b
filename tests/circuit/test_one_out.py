"""One out: every case equals a fresh solve; which cases split, go dark, collapse or fall below cut-off."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.cuts import Cuts
from interop.circuit.draws import Draw, Power
from interop.circuit.network import Network, NetworkError, State
from interop.circuit.one_out import OneOut, one_out
from interop.circuit.solve import Kind, Outcome, Solution, solve
from tests.circuit.networks import Rows, network, random_rows, random_states

SEEDS = st.integers(0, 10**9)
HELD = {Kind.FINE, Kind.SPLIT, Kind.BELOW_CUT_OFF, Kind.ISLAND}


def fresh(net: Network, draws: list[Draw], states: list[State], drop_v: float, out: OneOut, i: int) -> Solution:
    """Case ``i`` solved from nothing."""
    new, whole = list(states), np.ones(len(net.branches), bool)
    if out.is_pack[i]:
        new[out.element[i]] = State(int(out.state[i]))
    else:
        whole[out.element[i]] = False
    return solve(net, draws, new, drop_v=drop_v, whole=whole)


def same(out: OneOut, i: int, solution: Solution) -> None:
    """The case says what a fresh solution says of the same bank, figures within 1e-9 of their size or 1e-9 A and V."""
    here = out.port[i][out.port[i] >= 0]
    names = {out.network.ports[p] for p in here}
    if solution.outcome.kind not in HELD and names & set(solution.outcome.about):
        assert out.kind[i] == solution.outcome.kind
    else:
        assert out.kind[i] in HELD or solution.outcome.kind not in HELD
    if out.kind[i] == Kind.COLLAPSE:
        assert np.isnan(solution.port_v[here]).any()
        return
    packs = out.worst_pack[i][out.worst_pack[i] >= 0]
    expected = solution.pack_a[packs]
    assert out.worst_a[i][:len(packs)] == pytest.approx(expected, rel=1e-9, abs=1e-9, nan_ok=True)
    # without any current the voltage of blocked packs is free within their drops
    if not np.abs(expected).max(initial=0.0) <= 1e-6:
        assert out.port_v[i][:len(here)] == pytest.approx(solution.port_v[here], rel=1e-9, abs=1e-9, nan_ok=True)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(SEEDS)
def test_every_case_equals_a_fresh_solve(seed: int) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, draw.choice([3, 6, 25]), banks=draw.choice([1, 1, 2]), chargers=draw.random() < 0.3,
                       load=draw.choice([0.3, 0.8, 3]))
    net = network(rows)
    count = len(net.packs)
    states = random_states(draw, count) if draw.random() < 0.4 else [State.ON] * count
    cases = [(k, draw.choice(list(State))) for k in range(count)]
    branches = draw.sample(range(len(net.branches)), min(25, len(net.branches)))
    out = one_out(net, rows.draws, cases, branches, discharge_a=100.0, charge_a=50.0, cut_off_v=40.0, states=states,
                  drop_v=0.4, worst=4)
    assert len(out) == count + len(branches)
    for i in range(len(out)):
        same(out, i, fresh(net, rows.draws, states, 0.4, out, i))


@settings(max_examples=20, deadline=None, derandomize=True)
@given(SEEDS)
def test_worst_packs_are_those_with_the_greatest_part_of_their_limits(seed: int) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, 12, load=0.3)
    net = network(rows)
    discharge = np.array([draw.uniform(20, 200) for _ in net.packs])
    charge = np.array([draw.uniform(20, 200) for _ in net.packs])
    out = one_out(net, rows.draws, [(k, State.OPEN) for k in range(len(net.packs))], [], discharge_a=discharge,
                  charge_a=charge, worst=2)
    for i in range(len(out)):
        solution = fresh(net, rows.draws, [State.ON] * len(net.packs), 0.0, out, i)
        if not solution.outcome.holds:
            continue
        used = np.maximum(solution.pack_a / discharge, -solution.pack_a / charge)
        assert out.worst_part[i] == pytest.approx(np.sort(used)[::-1][:2], abs=1e-9)
        assert out.worst_pack[i][0] == used.argmax()


def test_most_cases_need_no_fresh_solve() -> None:
    rows = random_rows(random.Random(4), 25)
    net = network(rows)
    out = one_out(net, rows.draws, [(k, s) for k in range(len(net.packs)) for s in State], range(len(net.branches)),
                  discharge_a=100, charge_a=50, drop_v=0.4)
    assert out.fresh == 0
    assert len(out) == 4 * len(net.packs) + len(net.branches)


# ---- two packs on a bar, one inverter; A reaches the bar through a fuse, the inverter through a breaker ----


def small() -> Network:
    return Network.of(
        ["a", "bar", "m", "inv"], [("fuse", "a", "bar", 1e-3), ("breaker", "bar", "inv", 1e-3)],
        [("A", "a", "m", 52.0, 0.01), ("B", "bar", "m", 52.0, 0.02)], [("inverter", "inv", "m")])


def cases(load_w: float, cut_off_v: float = 45.0) -> OneOut:
    return one_out(small(), [Power(load_w)], [(0, State.OPEN), (1, State.OPEN), (1, State.CHARGE_BLOCKED),
                   (1, State.DISCHARGE_BLOCKED)], [0, 1], discharge_a=100, charge_a=50, cut_off_v=cut_off_v, drop_v=0.5)


def test_the_others_carry_the_load() -> None:
    out = cases(5000)
    names = [(case.name, case.state.name, str(case.outcome.kind)) for case in map(out.case, range(len(out)))]
    assert names == [("A", "OPEN", "fine"), ("B", "OPEN", "fine"), ("B", "CHARGE_BLOCKED", "fine"),
                     ("B", "DISCHARGE_BLOCKED", "fine"), ("fuse", "OPEN", "fine"), ("breaker", "OPEN", "no path")]
    # B alone: u2 - 52 u + 5000 x 21 mohm = 0
    volts = (52 + np.sqrt(52**2 - 4 * 5000 * 0.021)) / 2
    name, amps, part = out.case(0).worst[0]
    assert name == "B"
    assert [amps, part] == pytest.approx([5000 / volts, 5000 / volts / 100])
    assert dict(out.case(0).port_v) == pytest.approx({"inverter": volts})
    assert out.case(4).worst == out.case(0).worst  # the fuse and its pack are in series: one case
    assert out.case(3).worst[0][0] == "A"  # B may only be charged, and the bar stands below it


def test_a_dark_port_a_cut_off_and_a_collapse_are_named() -> None:
    assert cases(5000).case(5).outcome == Outcome(Kind.NO_PATH, ("inverter",))
    assert cases(5000, cut_off_v=49.9).case(0).outcome == Outcome(Kind.BELOW_CUT_OFF, ("inverter",))
    assert cases(35_000).case(0).outcome == Outcome(Kind.COLLAPSE, ("inverter",))  # B alone gives 52^2 / 84 mohm
    assert np.isnan(cases(35_000).worst_a[0]).all()


def test_a_link_with_packs_on_both_sides_splits() -> None:
    rows = Rows([("link", "a", "b", 1e-4), ("load", "b", "c", 1e-3)],
                [("A", "a", "m", 52.0, 0.01), ("B", "b", "n", 52.0, 0.01)], [("one", "b", "n")], [Power(1000.0)])
    out = one_out(network(rows), rows.draws, [], [0, 1], discharge_a=100, charge_a=100)
    assert [out.case(i).outcome for i in range(2)] == [Outcome(Kind.SPLIT), Outcome(Kind.FINE)]


def test_a_port_that_nothing_feeds_is_dark_in_every_case_of_its_bank() -> None:
    out = one_out(small(), [Power(1000)], [(0, State.ON), (1, State.CHARGE_BLOCKED), (0, State.OPEN)], [0, 1],
                  discharge_a=100, charge_a=50, cut_off_v=45.0, states=[State.OPEN, State.OPEN], drop_v=0.5)
    told = [(case.outcome.kind, case.outcome.about) for case in map(out.case, range(len(out)))]
    dark = (Kind.NO_PATH, ("inverter",))
    assert told == [(Kind.FINE, ()), (Kind.FINE, ()), dark, dark, dark]
    # A on again: u2 - 52 u + 1000 x 12 mohm = 0; B charge-blocked: u2 - 51.5 u + 1000 x 21 mohm = 0
    assert out.port_v[:2, 0] == pytest.approx([26 + np.sqrt(676 - 12), 25.75 + np.sqrt(25.75**2 - 21)], abs=1e-9)


def test_another_bank_is_not_touched_and_not_told() -> None:
    rows = random_rows(random.Random(8), 12, banks=3)
    net = network(rows)
    out = one_out(net, rows.draws, [(k, State.OPEN) for k in range(len(net.packs))], [], discharge_a=100, charge_a=50)
    for i in range(len(out)):
        case = out.case(i)
        named = [row[0] for row in case.worst] + [row[0] for row in case.port_v]
        assert {name.split(".")[0] for name in named} == {case.name.split(".")[0]}


def test_limits_and_draws_that_do_not_fit_are_refused() -> None:
    with pytest.raises(NetworkError, match=r"^current limit is not above zero: A, B$"):
        one_out(small(), [Power(1)], [], [], discharge_a=0, charge_a=50)
    with pytest.raises(NetworkError, match=r"^current limit is not above zero: B$"):
        one_out(small(), [Power(1)], [], [], discharge_a=[1, np.nan], charge_a=50)
    with pytest.raises(NetworkError, match=r"^0 draws for 1 ports: inverter$"):
        one_out(small(), [], [], [], discharge_a=1, charge_a=50)
    with pytest.raises(NetworkError, match=r"^number of a branch is not 0 to 1: -1, 2$"):
        one_out(small(), [Power(1)], [], [-1, 0, 2], discharge_a=1, charge_a=50)
    with pytest.raises(NetworkError, match=r"^number of a pack is not 0 to 1: 7$"):
        one_out(small(), [Power(1)], [(7, State.OPEN)], [], discharge_a=1, charge_a=50)


# ---- bridges and groups in series ----


@settings(max_examples=60, deadline=None, derandomize=True)
@given(SEEDS)
def test_bridges_are_what_parts_the_network(seed: int) -> None:
    draw = random.Random(seed)
    net = network(random_rows(draw, 5))
    closed = np.array([draw.random() < 0.7 for _ in net.packs])
    whole = np.array([draw.random() < 0.9 for _ in net.branches])
    cuts = Cuts(net, closed, whole)
    parts = net.factored(closed, whole).part.max()
    for element in range(len(net.branches) + len(net.packs)):
        branches, packs = whole.copy(), closed.copy()
        rows, at = (branches, element) if element < len(branches) else (packs, element - len(branches))
        conducts = rows[at]
        rows[at] = False
        more = net.factored(packs, branches).part
        assert cuts.bridge[element] == (conducts and more.max() > parts)
        if cuts.bridge[element]:
            before = net.factored(closed, whole).part
            parted = [p for p, (a, b) in enumerate(zip(net.port_plus, net.port_minus, strict=True))
                      if before[a] == before[b] and more[a] != more[b]]
            assert cuts.parted_ports(element) == parted


@settings(max_examples=60, deadline=None, derandomize=True)
@given(SEEDS)
def test_elements_of_one_group_carry_one_current(seed: int) -> None:
    rows = random_rows(random.Random(seed), 15)
    net = network(rows)
    cuts = Cuts(net, np.ones(len(net.packs), bool), np.ones(len(net.branches), bool))
    solution = solve(net, rows.draws)
    if not solution.outcome.holds:
        return
    amps = np.abs(np.concatenate([solution.branch_a, solution.pack_a]))
    for group in np.unique(cuts.group[cuts.group >= 0]):
        members = amps[cuts.group == group]
        assert np.ptp(members) <= 1e-7 * max(1.0, float(amps.max()))
    runs = [i for i, name in enumerate(net.branches) if name.startswith("0.pack0+run")]
    pack = len(net.branches)
    others = [row for row in rows.branches if not row[0].startswith("0.pack0")]
    if not any(node.startswith("0.pack0") for row in others for node in row[1:3]):  # no pack hangs on its terminals
        assert len(set(cuts.group[[*runs, pack]].tolist())) == 1
