"""A bank over hours: laws of the limits, the energy by hand, and what a display drifts to."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from interop.choose.controller import course_ends
from interop.choose.plan import decide, planned_stage
from interop.circuit.course import course
from interop.circuit.joined import joining_curves
from interop.circuit.joining import join
from interop.circuit.lasting import Ends, _packs, _sense, emptied, filled, lasting, not_said, watched
from interop.circuit.picture import Picture, pictures
from interop.circuit.plant import Stage as Spell
from interop.circuit.surge import surge_of
from interop.site.load import load_site

ROOT = Path(__file__).parents[2]
FERRY, TIDE = "examples/ferry-landing/site.yaml", "examples/tide-gauge/site.yaml"


@cache
def of(site: str) -> Picture:
    (picture,) = pictures(planned_stage(decide(load_site(ROOT / site))))
    return picture


def test_the_settings_say_where_a_course_ends() -> None:
    """Lowest recommended charge voltage 56.0 V less 0.5 %, down to a tenth: 55.7; the inverter's own low limit 46 V."""
    assert course_ends(of(FERRY)) == Ends(46.0, 55.7)


@pytest.mark.parametrize(("way", "soc", "end_v"), [(1, 0.95, 46.0), (-1, 0.10, 55.7)])
def test_at_the_limit_nobody_passes_and_a_little_above_somebody_does(way: int, soc: float, end_v: float) -> None:
    picture = of(TIDE)
    found = lasting(picture, Ends(46.0, 55.7))
    limit = found.out if way > 0 else found.into
    split = picture.split_out if way > 0 else picture.split_in
    packs = _packs(picture, soc)
    assert limit is not None
    assert packs is not None
    assert limit.amp < limit.start_amp

    def over(amp: float) -> bool:
        played = course(picture.bank.network, packs, [Spell(40, amp=way * amp)], split=split,
                        sense=_sense(picture, draws=way > 0), limits=picture.limits, end_v=end_v)
        return played.first_over is not None

    assert not over(limit.amp)
    assert over(limit.amp * 1.025)


def test_the_energy_by_hand() -> None:
    """Every pack from 95 % to the low limit, at about 3.25 V a cell: hours are energy over power, and none is lost."""
    picture = of(FERRY)
    after = lasting(picture, course_ends(picture)).after
    assert after is not None
    load_w = 1800 / 0.93 + 3 * 45
    assert after.load_w == pytest.approx(load_w, rel=1e-3)
    assert after.hours * load_w / 1000 == pytest.approx(after.usable_kwh, rel=1e-6)
    ah = 9 * 100 + 2 * 100 + 2 * 300
    assert after.usable_kwh == pytest.approx(ah * 0.95 * 16 * 3.25 / 1000, rel=0.08)
    assert after.usable_kwh < after.stored_kwh


def test_the_new_packs_carry_their_part() -> None:
    """Nine of seventeen hundredweights of charge were there before: so was that part of the hours."""
    found = lasting(of(FERRY), course_ends(of(FERRY)))
    assert found.before is not None
    assert found.after is not None
    assert found.after.hours / found.before.hours == pytest.approx(17 / 9, rel=0.02)


def test_charge_ends_when_all_are_full() -> None:
    """From 10 % at 300 A: a little more than 90 % of 1,700 Ah over 300 A, and the packs at the charge voltage."""
    found = filled(of(FERRY), course_ends(of(FERRY)), of(FERRY).charge_plan)
    assert found is not None
    assert found.reached
    assert found.short == ()
    assert found.over is None
    assert found.hours == pytest.approx(0.9 * 1700 / 300, rel=0.03)
    assert all(55.5 < v <= 55.7 for v in found.volts)


def test_without_the_tail_some_pack_is_left_short() -> None:
    """A charge voltage below the knee of the curve leaves every pack of the bank at the plateau: told, never hidden."""
    found = filled(of(FERRY), Ends(46.0, 53.2), of(FERRY).charge_plan)
    assert found is not None
    assert found.short == tuple(d.id for d in of(FERRY).bank.packs)


def test_the_highest_load_ends_at_the_low_limit() -> None:
    found = emptied(of(FERRY), course_ends(of(FERRY)))
    assert found is not None
    assert found.ended == "cut off"
    assert found.over is None
    assert found.hours == pytest.approx(1700 * 0.95 * 51.5 / (17500 / 0.93 + 135), rel=0.08)


def test_what_the_manager_shows_drifts_by_its_errors() -> None:
    """Before the first charge a count may be off by 1 % of what flowed and 50 mA an hour; a full pack sets it right."""
    (one,) = watched(of(FERRY), course_ends(of(FERRY)), 2)
    assert (one.manager, one.rule) == ("N1", "lowest")
    low, high = one.drift.error_range(12.0)
    flowed = 12 * (1800 / 0.93 + 135) / 52 / 1700
    assert high - low == pytest.approx(2 * (0.01 * flowed + 12 * 0.05 / 100), rel=0.35)
    assert one.drift.resets
    after = one.drift.error_range(24.0)
    assert after[1] - after[0] < 0.002


def test_what_is_not_said_is_named() -> None:
    silent = of("tests/scenarios/pack-passes-its-limit-later--not-stated.breaks.yaml")
    assert not_said(silent) == ("stilt-280f cells.full_v",)
    assert filled(silent, Ends(46, 55), silent.charge_plan) is None
    assert emptied(silent, Ends(46, 55)) is None
    assert lasting(silent, Ends(46, 55)).out is None


def test_a_surge_on_two_equal_packs() -> None:
    """12 kW for 2 s by 93 %, 40 W idle: each gives half; with one out the other gives all, more at less volts."""
    rows = surge_of(of("tests/scenarios/surge-passes-the-peak.breaks.yaml"))
    assert rows is not None
    watts = 12000 / 0.93 + 40
    for row in rows:
        assert 2 * row.amps * 43 < watts < 2 * row.amps * 46
        assert row.one_out_a > 2 * row.amps
        assert (row.limit_a, row.seconds) == (180, 2)
    assert [row.out for row in rows] == ["A2", "A1"]
    assert np.isclose(rows[0].amps, rows[1].amps, rtol=0.05)


def test_the_curve_of_joining_begins_at_the_difference_over_its_loop() -> None:
    """And dies away: by half within the hour or so that 300 Ah and 4 milliohm give on the plateau."""
    picture = of(FERRY)
    for curve in joining_curves(picture):
        row = picture.bank.of_run[curve.pack, "plus"][0]
        joined = join(picture.bank.network.with_emf(picture.emf_v(0.5)), row)
        assert curve.amps[0] == pytest.approx(curve.volts / joined.loop_ohm, rel=1e-6)
        assert list(curve.amps) == sorted(curve.amps, reverse=True)
        assert 0 < curve.amps[-1] < curve.amps[0] / 2
    assert [curve.pack for curve in joining_curves(picture)] == ["N1", "C1"]


def test_months_are_followed_to_the_end_and_told_step_by_step() -> None:
    """After 75 days the tail of a charge once fell between two numbers of hours, and the course found no end."""
    parts: list[tuple[str, float]] = []
    (row,) = watched(of(FERRY), course_ends(of(FERRY)), 100, lambda name, part: parts.append((name, part)))
    assert row.drift.hours[-1] == pytest.approx(2400.0, abs=1e-6)
    assert {name for name, _ in parts} == {"N1"}
    assert [part for _, part in parts] == sorted(part for _, part in parts)
    assert parts[-1][1] == 1.0
    # the same day after day: what the last day shows is within a point of the tenth's
    assert row.drift.error_range(2400.0) == pytest.approx(row.drift.error_range(240.0), abs=0.02)
