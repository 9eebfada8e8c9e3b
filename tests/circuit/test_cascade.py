"""Trip follows trip, played by hand: times, order, progress that is kept or lost, and the three ends."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interop.circuit.cascade import ASSUMED_S, End, Play, Protection, What, play, steps_or_limit
from interop.circuit.draws import Charger, Current, Power
from interop.circuit.network import Network, NetworkError, State
from interop.circuit.solve import solve
from tests.circuit.networks import network, random_rows

NEVER = Protection()


def bank(count: int, ohm: float = 0.01, ports: int = 1, emf_v: float = 52.0) -> Network:
    """Equal packs on one bar, each through a fuse of next to no resistance."""
    names = "ABCDEFGH"[:count]
    return Network.of(["p", "m", *names], [(f"fuse {n}", n, "p", 1e-9) for n in names],
                      [(n, n, "m", emf_v, ohm) for n in names], [(f"inverter {i}", "p", "m") for i in range(ports)])


def told(played: Play) -> list[tuple[object, str, str]]:
    return [(pytest.approx(event.time_s), str(event.what), event.name) for event in played.events]


def discharge(*steps: tuple[float, float]) -> Protection:
    return Protection(discharge=steps)


def test_nothing_happens_below_every_step() -> None:
    played = play(bank(3), [Current(150)], [discharge((60, 10))] * 3)
    assert (played.end, played.events, played.time_s) == (End.CARRIED, (), 0.0)
    assert played.solution.pack_a == pytest.approx([50, 50, 50])


def test_one_after_the_other_to_the_dark() -> None:
    # 150 A on three packs: A opens at 50 A after 20 s; then 75 A each, B after 10 s; then 150 A, C after 1 s.
    steps = [discharge((45, 20)), discharge((70, 10)), discharge((100, 1))]
    played = play(bank(3), [Current(150)], steps)
    assert told(played) == [(20, "opens on discharge current", "A"), (30, "opens on discharge current", "B"),
                            (31, "opens on discharge current", "C"), (31, "is fed no more", "inverter 0")]
    assert [event.amps for event in played.events] == pytest.approx([50, 75, 150, 0], abs=1e-6)
    assert played.end == End.DARK
    assert played.states == (State.OPEN,) * 3


def test_the_shortest_time_at_the_present_current_is_first() -> None:
    played = play(bank(2), [Current(160)], [discharge((70, 30)), discharge((70, 60), (75, 5))])
    assert told(played)[0] == (5, "opens on discharge current", "B")
    assert told(played)[1] == (30, "opens on discharge current", "A")  # it had run 5 s at 80 A, and goes on at 160 A


def test_progress_is_a_part_of_the_whole_and_goes_on_at_another_current() -> None:
    # A: 10 s of 40 s at 50 A is a quarter; at 75 A it opens within 8 s: 6 s more.
    protections = [discharge((50, 40), (75, 8)), discharge((50, 10)), NEVER]
    assert told(play(bank(3), [Current(150)], protections)) == [
        (10, "opens on discharge current", "B"), (16, "opens on discharge current", "A")]


def test_progress_is_lost_below_the_lowest_step() -> None:
    # At 10 s the load of inverter 1 falls away (its fuse), A returns below 60 A; C's fuse then raises it again at 20 s.
    net = Network.of(["p", "m", "q"], [("fuse", "p", "q", 1e-9)],
                     [("A", "p", "m", 52.0, 0.01), ("B", "p", "m", 52.0, 0.01), ("C", "p", "m", 52.0, 0.01)],
                     [("one", "p", "m"), ("two", "q", "m")])
    protections = [discharge((60, 15)), NEVER, Protection(discharge=((50, 20),))]
    played = play(net, [Current(150), Current(60)], protections, {0: ((55, 10),)})
    assert told(played) == [(10, "device opens", "fuse"), (10, "is fed no more", "two"),
                            (20, "opens on discharge current", "C"),  # 70 A, then 50 A: never below its step
                            (35, "opens on discharge current", "A")]  # 75 A: its first 10 s at 70 A are forgotten
    assert played.end == End.DARK


def test_packs_that_are_due_together_open_together() -> None:
    played = play(bank(3), [Current(150)], [discharge((45, 5))] * 3)
    assert [event.name for event in played.events] == ["A", "B", "C", "inverter 0"]
    assert {event.time_s for event in played.events} == {5.0}


def test_a_device_is_quicker_than_its_pack() -> None:
    played = play(bank(2), [Current(200)], [discharge((90, 10)), discharge((300, 1))], {0: ((95, 2),)})
    assert told(played) == [(2, "device opens", "fuse A")]
    assert played.whole.tolist() == [False, True]
    assert played.solution.pack_a == pytest.approx([0, 200], abs=1e-6)


def test_constant_power_raises_the_current_of_those_that_stay() -> None:
    played = play(bank(2), [Power(5000)], [discharge((40, 10)), NEVER])
    assert played.events[0].amps == pytest.approx(solve(bank(2), [Power(5000)]).pack_a[0])
    volts = (52 + np.sqrt(52**2 - 4 * 50)) / 2  # B alone
    assert played.solution.pack_a[1] == pytest.approx(5000 / volts, rel=1e-6)
    assert played.end == End.CARRIED


def test_low_cut_off_ends_it_and_the_packs_are_saved() -> None:
    # B alone would stand at 49 V: above collapse, below a cut-off of 50 V
    played = play(bank(2, ohm=0.02), [Current(150)], [discharge((70, 10)), discharge((150, 1))], cut_off_v=50.0)
    assert told(played) == [(10, "opens on discharge current", "A"), (10, "stops at its low cut-off", "inverter 0")]
    assert played.end == End.CUT_OFF
    assert played.solution.pack_a == pytest.approx([0, 0], abs=1e-9)


def test_of_two_inverters_the_one_furthest_below_stops_first_and_may_save_the_other() -> None:
    played = play(bank(1, ports=2, ohm=0.02), [Current(60), Current(60)], [NEVER], cut_off_v=[49.7, 50.0])
    assert told(played) == [(0, "stops at its low cut-off", "inverter 1")]
    assert played.solution.port_a == pytest.approx([60, 0])


def test_a_collapse_is_a_cut_off_where_there_is_one_and_the_dark_where_there_is_none() -> None:
    net = bank(2)
    steps = [discharge((900, 1)), NEVER]
    assert play(net, [Power(90_000)], steps, cut_off_v=30.0).end == End.CUT_OFF
    dark = play(net, [Power(90_000)], steps)
    assert (dark.end, told(dark)[-1]) == (End.DARK, (1, "is fed no more", "inverter 0"))
    assert np.isnan(dark.events[-1].amps)


def test_charging_blocks_one_pack_after_the_other_until_the_charger_holds_its_voltage() -> None:
    after = [Protection(charge=((40, 10),), after_charge=State.CHARGE_BLOCKED),
             Protection(charge=((70, 5),), after_charge=State.CHARGE_BLOCKED)]
    played = play(bank(2, ports=2), [Charger(100, 56), Current(10)], after)
    assert told(played) == [(10, "opens on charge current", "A"), (15, "opens on charge current", "B")]
    assert played.states == (State.CHARGE_BLOCKED,) * 2
    assert played.solution.port_v[0] == pytest.approx(56)
    assert played.solution.port_a == pytest.approx([-10, 10])  # the charger carries the load
    assert played.end == End.CARRIED


def test_blocked_both_ways_is_open() -> None:
    protection = Protection(discharge=((50, 1),), after_discharge=State.DISCHARGE_BLOCKED)
    played = play(bank(1), [Current(60)], [protection], states=[State.CHARGE_BLOCKED])
    assert played.states == (State.OPEN,)


def test_no_steps_are_the_continuous_limit_for_ten_seconds_and_that_is_said() -> None:
    assert ASSUMED_S == 10
    assert steps_or_limit((), 80.0) == (((80.0, 10.0),), True)
    assert steps_or_limit(((120.0, 3.0),), 80.0) == (((120.0, 3.0),), False)


def test_rows_and_steps_that_do_not_fit_are_refused() -> None:
    with pytest.raises(NetworkError, match=r"^1 protections for 2 packs: A, B$"):
        play(bank(2), [Current(1)], [NEVER])
    with pytest.raises(NetworkError, match=r"^number of a branch is not 0 to 0: 3$"):
        play(bank(1), [Current(1)], [NEVER], {3: ((5, 1),)})
    with pytest.raises(NetworkError, match=r"^2 cut-offs for 1: inverter 0$"):
        play(bank(1), [Current(1)], [NEVER], cut_off_v=[44, 44])
    with pytest.raises(ValueError, match=r"^charge: steps \(\(0, 1\),\): expected currents above 0 A"):
        Protection(charge=((0, 1),))
    with pytest.raises(ValueError, match=r"^fuse A: steps \(\(5, -1\),\)"):
        play(bank(1), [Current(1)], [NEVER], {0: ((5, -1),)})


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**9))
def test_it_ends_in_order_and_stays_ended(seed: int) -> None:
    draw = random.Random(seed)
    rows = random_rows(draw, 8, load=1.0)
    net = network(rows)
    packs = [Protection(((draw.uniform(20, 80), draw.uniform(1, 30)), (draw.uniform(80, 200), draw.uniform(0, 1))),
                        ((draw.uniform(20, 60), draw.uniform(1, 30)),),
                        draw.choice([State.OPEN, State.DISCHARGE_BLOCKED]),
                        draw.choice([State.OPEN, State.CHARGE_BLOCKED])) for _ in net.packs]
    devices = {i: ((draw.uniform(50, 300), draw.uniform(1, 20)),) for i in range(len(net.branches)) if i % 7 == 0}
    played = play(net, rows.draws, packs, devices, cut_off_v=44.0, drop_v=0.4)
    times = [event.time_s for event in played.events]
    assert times == sorted(times)
    again = play(net, played.draws, packs, devices, cut_off_v=44.0, drop_v=0.4, states=played.states,
                 whole=played.whole)
    assert again.events == ()
    stopped = {event.name for event in played.events if event.what in {What.CUT_OFF, What.DARK}}
    assert (played.end == End.CARRIED) == (not stopped)
