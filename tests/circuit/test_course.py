"""Currents over time, and the bank limit over the course."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from interop.circuit.course import Course, Packs, course
from interop.circuit.course_limit import bank_limit_over_course
from interop.circuit.draws import Power
from interop.circuit.network import Network, State
from interop.circuit.plant import Plant, Stage
from interop.circuit.sharing import Limits
from interop.circuit.solve import solve
from interop.standards.cell_voltage import lfp_model_slope, lfp_model_voltage
from tests.circuit.racks import ladder, pair, renamed

Floats = NDArray[np.float64]

# Open-circuit voltage of the BPX LFP example cell (Faraday Institution), 25 C, tabulated from the open parameter set.
STATES = [0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 0.98, 0.99, 1]
CELL_V = [
    2.0, 2.9482, 3.1365, 3.1882, 3.2039, 3.2296, 3.2541, 3.2674, 3.275, 3.2781,
    3.2864, 3.3057, 3.3136, 3.3181, 3.3205, 3.3218, 3.3227, 3.3235, 3.334, 3.6486,
]


def sixteen_cells(soc: Floats) -> Floats:
    """Straight between the tabulated points, as printed."""
    return 16 * np.interp(soc, STATES, CELL_V)


def smooth(soc: Floats) -> Floats:
    return 16 * lfp_model_voltage(soc)


def smooth_slope(soc: Floats) -> Floats:
    return 16 * lfp_model_slope(soc)


def flat(soc: Floats) -> Floats:
    return 50.0 + 0.0 * soc


def moved_ah(played: Course) -> float:
    """Integral of all port currents over time, by the trapezium of the rows."""
    return float(np.trapezoid(played.port_a.sum(axis=1), played.hours))


def test_100_ah_beside_280_ah() -> None:
    """power.md §3: 20 mohm each, 150 A from 95 %: 75/75 A at once, 49/101 after 71 min, 1/149 after 106 min."""
    played = course(pair(), Packs.of([100, 280], 0.95, sixteen_cells), [Stage(2.0, amp=150)])
    assert played.at(0)[1] == pytest.approx([75, 75], rel=1e-9)
    assert played.at(71 / 60)[1].round() == pytest.approx([49, 101])
    assert played.at(106 / 60)[1].round() == pytest.approx([1, 149])
    assert played.first_stop is None


def test_halving_the_tolerance_changes_nothing_by_a_thousandth() -> None:
    bank = ladder(5, 3, spread_v=0.0)
    packs = Packs.of([100, 100, 280, 280, 50], [0.9, 0.8, 0.95, 0.9, 0.85], smooth, smooth_slope, low_soc=0.05)
    stages = [Stage(3, watt=6000), Stage(1), Stage(4, amp=-120, hold_v=56.0, tail_a=10)]
    coarse, fine = (course(bank, packs, stages, tolerance=tolerance) for tolerance in (1e-7, 5e-8))
    for hours in np.linspace(0, 8, 33):
        for one, other in zip(coarse.at(float(hours)), fine.at(float(hours)), strict=True):
            assert one == pytest.approx(other, rel=1e-3, abs=1e-3 * np.abs(other).max())
    assert [event.what for event in coarse.events] == [event.what for event in fine.events]
    assert [event.hours for event in coarse.events] == pytest.approx([event.hours for event in fine.events], rel=1e-3)


@settings(max_examples=12, deadline=None)
@given(count=st.integers(2, 6), seed=st.integers(0, 10**6), amp=st.floats(-150, 150))
def test_charge_moved_is_the_integral_of_the_current(count: int, seed: int, amp: float) -> None:
    draw = np.random.default_rng(seed)
    capacity = draw.uniform(50, 300, count)
    packs = Packs.of(capacity, draw.uniform(0.3, 0.7, count), smooth, smooth_slope, low_soc=0.05)
    played = course(ladder(count, seed), packs, [Stage(0.5, amp=amp), Stage(0.3)])
    gone = (played.soc[0] - played.soc) @ capacity
    expected = amp * np.minimum(played.hours, 0.5)
    if played.first("dark") is None:
        assert gone == pytest.approx(expected, abs=1e-4 * capacity.sum())
    assert np.abs(played.pack_a.sum(axis=1) - played.port_a.sum(axis=1)).max() < 1e-6


def test_energy_at_the_port_is_power_times_hours_and_losses_are_positive() -> None:
    bank = ladder(4, 1)
    packs = Packs.of([100, 100, 280, 280], 0.8, smooth, smooth_slope)
    played = course(bank, packs, [Stage(2.0, watt=5000)])
    power = (played.port_a * played.port_v).sum(axis=1)
    assert power[:-1] == pytest.approx(5000, rel=1e-9)
    chemical = np.trapezoid((played.pack_a * smooth(played.soc)).sum(axis=1), played.hours)
    assert 10_000 < chemical < 10_400
    assert played.pack_v + played.pack_a * bank.pack_ohm == pytest.approx(smooth(played.soc), rel=1e-9)


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_renaming_renames_and_two_of_everything_halves_the_current(seed: int) -> None:
    bank = ladder(4, seed)
    order = [2, 0, 3, 1]
    capacity, soc = np.array([100.0, 280, 50, 200]), np.array([0.9, 0.7, 0.8, 0.85])
    one = course(bank, Packs.of(capacity, soc, smooth, smooth_slope), [Stage(1.0, amp=150)])
    other = course(renamed(bank, order), Packs.of(capacity[order], soc[order], smooth, smooth_slope),
                   [Stage(1.0, amp=150)])
    assert other.soc[-1] == pytest.approx(one.soc[-1][order], abs=1e-5)
    half = bank.with_ohm(bank.branch_ohm / 2, bank.pack_ohm / 2)
    double = course(half, Packs.of(2 * capacity, soc, smooth, smooth_slope), [Stage(1.0, amp=300)])
    assert double.soc[-1] == pytest.approx(one.soc[-1], abs=1e-5)


def test_an_empty_pack_blocks_and_the_other_carries_all() -> None:
    """Flat voltage, equal resistances: 30 A each; 50 Ah from 80 % to 20 % last exactly one hour."""
    played = course(pair((50, 50)), Packs.of([50, 400], 0.8, flat, low_soc=0.2), [Stage(2.0, amp=60)])
    assert [(event.what, event.pack) for event in played.events] == [("empty", 0)]
    assert played.events[0].hours == pytest.approx(1.0, rel=1e-6)
    assert played.at(0.999)[1] == pytest.approx([30, 30])
    assert played.at(1.5)[1] == pytest.approx([0, 60], abs=1e-9)
    assert played.state == (State.DISCHARGE_BLOCKED, State.ON)
    assert played.soc[-1] == pytest.approx([0.2, 0.8 - 90 / 400], abs=1e-6)


def test_a_full_pack_blocks_charge_and_conducts_again_when_it_has_come_down() -> None:
    """30 A each: 50 Ah from 80 % full after 20 min; then 30 A out of it, 5 % of 50 Ah away after 5 min: on again."""
    played = course(pair((50, 50)), Packs.of([50, 400], 0.8, flat), [Stage(0.5, amp=-60), Stage(0.5, amp=60)])
    assert [(event.what, event.pack) for event in played.events] == [("full", 0), ("on again", 0)]
    assert played.events[0].hours == pytest.approx(1 / 3, rel=1e-6)
    assert played.events[1].hours == pytest.approx(0.5 + 0.05 * 50 / 30, rel=1e-6)
    assert played.at(0.45)[1] == pytest.approx([0, -60], abs=1e-9)


def test_the_free_direction_of_a_blocked_pack_costs_a_diode_drop() -> None:
    """0.4 V over two packs of 20 mohm: (0.4 - drop) / 40 mohm into the empty one."""
    bank = pair((50.0, 50.4))
    empty = np.array([True, False])
    for drop, amp in ((0.0, 10.0), (0.1, 7.5), (0.5, 0.0)):
        plant = Plant(bank, np.array([1.0]), None, 0, drop)
        amps, volts, _, _ = plant.instant(bank.pack_emf_v, Stage(1.0), empty, ~empty & False)
        assert amps == pytest.approx([-amp, amp], abs=1e-9)
        assert volts[0] == pytest.approx(50.4 - 0.02 * amp)


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 10**6), count=st.integers(2, 8), amp=st.floats(-200, 200))
@example(seed=483, count=4, amp=-1.0)  # letting packs out one by one left the charger without any
@example(seed=227, count=2, amp=-1.0)
def test_blocked_packs_settle_where_all_agree(seed: int, count: int, amp: float) -> None:
    """On two posts all terminals stand at one voltage; blocked packs carry their free direction, or nothing."""
    draw = np.random.default_rng(seed)
    emf_v, ohm = draw.uniform(49, 53, count), draw.uniform(5e-3, 4e-2, count)
    rows = [(f"B{k}", "p", "m", float(emf_v[k]), float(ohm[k])) for k in range(count)]
    bank = Network.of(["p", "m"], [], rows, [("inverter", "p", "m")])
    empty, full = draw.random(count) < 0.4, draw.random(count) < 0.4
    plant, drop = Plant(bank, np.array([1.0]), None, 0, 0.3), 0.3
    demand = Stage(1.0, amp=amp)
    if plant.dark(demand, empty, full):
        assert not np.any(~empty) if amp > 0 else not np.any(~full)
        return
    amps, volts, port_a, port_v = plant.instant(emf_v, demand, empty, full)
    assert amps.sum() == pytest.approx(amp, abs=1e-7)
    assert port_a.sum() == pytest.approx(amp)
    assert volts == pytest.approx(np.full(count, port_v[0]), abs=1e-8)
    assert np.all(amps[empty] <= 1e-9)
    assert np.all(amps[full] >= -1e-9)
    behind = emf_v + drop * (empty & ~full) - drop * (full & ~empty)
    flowing = np.abs(amps) > 1e-9
    assert amps[flowing] == pytest.approx(((behind - port_v[0]) / ohm)[flowing], abs=1e-6)
    wants = (behind - port_v[0]) / ohm
    still = ~flowing
    assert np.all(wants[still & empty & ~full] >= -1e-6)
    assert np.all(wants[still & full & ~empty] <= 1e-6)


@pytest.mark.parametrize("seed", range(40))
def test_an_instant_equals_the_full_solution(seed: int) -> None:
    """Several ports at constant power and packs in all states: against the solver of the whole network."""
    draw = np.random.default_rng(seed)
    count, ports = int(draw.integers(2, 9)), int(draw.integers(1, 4))
    bank = ladder(count, seed, spread_v=0.5, ports=ports, crosswise=bool(seed % 2))
    empty = draw.random(count) < 0.3
    full = (draw.random(count) < 0.3) & ~empty
    parts, watt = draw.dirichlet(np.ones(ports)), float(draw.uniform(-4000, 6000) * count)
    plant = Plant(bank, parts, None, 0, 0.4)
    states = [State.DISCHARGE_BLOCKED if out else State.CHARGE_BLOCKED if into else State.ON
              for out, into in zip(empty, full, strict=True)]
    theirs = solve(bank, [Power(float(part * watt)) for part in parts], states, drop_v=0.4)
    if plant.dark(Stage(1.0, watt=watt), empty, full):
        assert not theirs.outcome.holds
        return
    amps, _, port_a, port_v = plant.instant(bank.pack_emf_v, Stage(1.0, watt=watt), empty, full)
    assert theirs.outcome.holds
    assert amps == pytest.approx(theirs.pack_a, abs=1e-6)
    assert port_a == pytest.approx(theirs.port_a, abs=1e-6)
    assert port_v == pytest.approx(theirs.port_v, abs=1e-6)


def test_charging_holds_the_voltage_at_the_terminals_and_ends_at_the_tail() -> None:
    bank = ladder(3, 2)
    packs = Packs.of([100, 100, 280], 0.5, smooth, smooth_slope)
    played = course(bank, packs, [Stage(12.0, amp=-100, hold_v=55.2, tail_a=20)])
    held, tail = played.first("held"), played.first("tail")
    assert held is not None
    assert tail is not None
    assert 0 < held.hours < tail.hours < 12
    before = played.hours < held.hours * (1 - 1e-9)
    between = (played.hours > held.hours * (1 + 1e-9)) & (played.hours < tail.hours * (1 - 1e-9))
    assert played.port_a[before] == pytest.approx(-100)
    assert np.all(played.port_v[before] < 55.2)
    assert played.port_v[between] == pytest.approx(55.2, rel=1e-9)
    assert np.all(np.diff(played.port_a[between, 0]) > 0)
    assert played.port_a[played.hours > tail.hours] == pytest.approx(0)
    assert played.port_a[between][-1, 0] == pytest.approx(-20, abs=2)


def test_a_charger_does_not_discharge_a_bank_above_its_voltage() -> None:
    played = course(pair((50, 50)), Packs.of([100, 100], 0.5, flat), [Stage(1.0, amp=-50, hold_v=49.0)])
    assert played.soc[-1] == pytest.approx([0.5, 0.5])
    assert np.all(played.port_a == 0)


def test_low_cut_off_drops_the_load_for_the_rest_of_the_stage() -> None:
    packs = Packs.of([100, 100], 0.3, smooth, smooth_slope)
    played = course(pair(), packs, [Stage(3.0, watt=4000, cut_v=48.0), Stage(0.1, watt=100)])
    cut = played.first("cut off")
    assert cut is not None
    row = int(np.searchsorted(played.hours, cut.hours))
    assert played.port_v[row, 0] == pytest.approx(48.0, abs=1e-6)
    assert np.all(played.port_a[(played.hours > cut.hours) & (played.hours < 3.0)] == 0)
    assert played.port_a[-1, 0] > 0


def test_dark_when_every_pack_is_empty_and_collapse_when_no_current_delivers_the_power() -> None:
    dark = course(pair((50, 50)), Packs.of([50, 50], 0.5, flat, low_soc=0.2), [Stage(2.0, amp=30)])
    assert [event.what for event in dark.events] == ["empty", "empty", "dark"]
    assert dark.events[-1].hours == pytest.approx(1.0, rel=1e-6)
    assert dark.port_a[-1, 0] == 0
    # 50 V behind 10 mohm delivers 62.5 kW at most: circuit theory
    none = course(pair((50, 50)), Packs.of([50, 50], 0.5, flat), [Stage(0.1, watt=62_600)])
    assert [event.what for event in none.events] == ["collapse"]
    some = course(pair((50, 50)), Packs.of([500, 500], 0.5, flat), [Stage(0.1, watt=62_400)])
    assert some.events == ()


def test_stops_by_terminal_voltage() -> None:
    """45 V flat behind 20 mohm at 50 A stands at 44 V: below a low stop of 44.5 V at once."""
    packs = Packs.of([50, 50], 0.5, lambda soc: 45 + 0 * soc, low_v=[44.5, 40])
    low = course(pair((45, 45)), packs, [Stage(0.1, amp=100)])
    assert [(event.what, event.pack, event.hours) for event in low.events] == [("empty", 0, 0.0)]
    high = course(pair(), Packs.of([50, 50], 0.9, smooth, smooth_slope, high_v=[55.0, 60]), [Stage(0.2, amp=-50)])
    full = high.first("full")
    assert full is not None
    assert full.pack == 0
    row = int(np.searchsorted(high.hours, full.hours))
    assert high.pack_v[row, 0] == pytest.approx(55.0, abs=1e-6)


def test_stops_may_be_reported_only_or_end_the_course() -> None:
    packs = Packs.of([50, 400], 0.8, flat, low_soc=0.2)
    on = course(pair((50, 50)), packs, [Stage(1.2, amp=60)], at_stop="go on")
    assert [event.what for event in on.events] == ["empty"]
    assert on.pack_a[-1] == pytest.approx([30, 30])
    end = course(pair((50, 50)), packs, [Stage(1.2, amp=60)], at_stop="end")
    assert end.hours[-1] == pytest.approx(1.0, rel=1e-6)


def test_who_is_first_over_a_limit_and_when() -> None:
    packs = Packs.of([100, 280], 0.95, sixteen_cells)
    limits = Limits.of(pair(), {"small": (50, 100), "large": (140, 120)})
    played = course(pair(), packs, [Stage(2.0, amp=150)], limits=limits)
    over = played.first_over
    assert over is not None
    assert (over.what, over.pack) == ("over discharge limit", 1)
    assert played.at(over.hours)[1][1] == pytest.approx(120, abs=1e-3)
    assert np.all(played.pack_a[played.hours < over.hours, 1] < 120)


def test_packs_too_cold_to_charge_pass_nothing_while_they_rest_or_discharge() -> None:
    bank = ladder(4, 2)
    packs = Packs.of([100] * 4, 0.8, smooth, smooth_slope, low_soc=0.05)
    cold = Limits.of(bank, dict.fromkeys(bank.packs, (0.0, 100.0)))
    stages = [Stage(0.5), Stage(0.5, amp=100)]
    assert course(bank, packs, stages, limits=cold).first("over discharge limit") is None
    assert course(bank, packs, stages[:1], limits=cold).events == ()
    found = bank_limit_over_course(bank, packs, cold, 48.0, -1)
    assert found.amp == pytest.approx(0, abs=1e-6)
    assert found.start.zero_inside


def test_bad_input() -> None:
    packs = Packs.of([100, 280], 0.95, flat)
    with pytest.raises(ValueError, match="2 capacities for 3 packs"):
        course(ladder(3, 0), packs, [Stage(1)])
    with pytest.raises(ValueError, match="a charge state is a fraction"):
        Packs.of([100], 95, flat)
    with pytest.raises(ValueError, match="a capacity is not above zero"):
        Packs.of([0.0], 0.5, flat)
    with pytest.raises(ValueError, match="a low stop is not below its high stop"):
        Packs.of([100], 0.5, flat, low_soc=0.9, high_soc=0.9)
    with pytest.raises(ValueError, match="current or a power, not both"):
        Stage(1, amp=1, watt=1)
    with pytest.raises(ValueError, match="longer than zero hours"):
        Stage(0)
    with pytest.raises(ValueError, match="no port number 3"):
        course(pair(), packs, [Stage(1)], sense=3)


# ---- the bank limit over the course ----

def limits_of(small: float, large: float) -> Limits:
    return Limits.of(pair(), {"small": (50, small), "large": (140, large)})


def test_over_the_course_the_last_pack_carries_it_all() -> None:
    """At once 75/75: 200 A by the small pack; to the end the large pack alone: its 150 A is the bank's limit."""
    packs = Packs.of([100, 280], 0.95, sixteen_cells, low_soc=0.05)
    found = bank_limit_over_course(pair(), packs, limits_of(100, 150), 44.0, 1)
    assert found.start_amp == pytest.approx(200)
    assert [one.name for one in found.start_first] == ["small"]
    assert found.amp == pytest.approx(150, rel=1e-3)
    assert found.amp <= 150
    assert found.first is not None
    assert found.first.name == "large"
    assert found.hours is not None
    assert found.hours > 1.2


def test_the_limit_holds_and_a_thousandth_more_does_not() -> None:
    bank = ladder(4, 7)
    packs = Packs.of([100, 100, 280, 280], 0.9, smooth, smooth_slope, low_soc=0.05)
    limits = Limits.of(bank, {"B0": (90, 150), "B1": (90, 150), "B2": (60, 90), "B3": (60, 90)})
    for way, end_v in ((1, 48.0), (-1, 56.0)):
        found = bank_limit_over_course(bank, packs, limits, end_v, way)
        assert 0 < found.amp < found.start_amp

        def over(amp: float, way: int = way, end_v: float = end_v) -> bool:
            played = course(bank, packs, [Stage(800 / amp, amp=way * amp)], limits=limits, end_v=end_v)
            return played.first_over is not None

        assert not over(found.amp)
        assert over(found.amp * 1.001)
        assert not any(over(found.amp * part) for part in (0.3, 0.6, 0.9))
        half = bank_limit_over_course(bank, packs, limits, end_v, way, tolerance=5e-8)
        assert half.amp == pytest.approx(found.amp, rel=1e-3)


def test_where_the_start_decides_the_course_says_the_same() -> None:
    packs = Packs.of([100, 280], 0.95, sixteen_cells, low_soc=0.05)
    found = bank_limit_over_course(pair(), packs, limits_of(60, 500), 44.0, 1)
    assert found.amp == found.start_amp == pytest.approx(120)
    assert (found.hours, found.first) == (0.0, found.start_first[0])


def test_no_limit_and_a_limit_passed_without_load() -> None:
    packs = Packs.of([100, 280], [0.95, 0.2], smooth, smooth_slope)
    none = bank_limit_over_course(pair(), packs, Limits.of(pair(), {}), 44.0, 1)
    assert none.amp == np.inf
    assert [one.name for one in none.start.not_stated] == ["small", "large"]
    tight = Limits.of(pair(), {"small": (50, 5), "large": (140, 100)})
    passed = bank_limit_over_course(pair(), packs, tight, 44.0, 1)
    assert passed.amp == 0
    assert passed.first is not None
    assert passed.first.name == "small"
    with pytest.raises(ValueError, match="way is 1 for discharge or -1 for charge, got 0"):
        bank_limit_over_course(pair(), packs, tight, 44.0, 0)
