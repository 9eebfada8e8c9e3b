"""One bank in numbers: bank limit, load, chargers, what they rest on; the currents that size a run."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from interop.circuit.overload import carried
from interop.circuit.picture import Picture
from interop.records.answers import Answer
from tests.circuit.drawn import picture

STAR = """\
load: {{highest_w: {load}}}
packs:
  A1..A{n}: {{model: {pack}}}
controllers:
  INV: {{model: {inverter}, units: {units}}}
posts: {{bar: [1..{n}], out: [1..{units}]}}
runs:
  A1..A{n}: {{from: pack, to: bar 1..{n}, cable: 70 mm2, length: 1 m, lug_uohm: 20..60}}
  tie: {{from: bar {n}, to: out 1, cable: 120 mm2, length: 0.2 m, lug_uohm: 20..60}}
  INV: {{from: controller unit 1..{units}, to: out 1..{units}, cable: 70 mm2, length: 2 m, lug_uohm: 20..60}}
"""


def star(folder: Path, n: int = 3, load: int = 4000, pack: str = "stilt-100", inverter: str = "brant-5",
         units: int = 1) -> Picture:
    return picture(folder, STAR.format(n=n, load=load, pack=pack, inverter=inverter, units=units))


def test_the_load_is_drawn_through_its_efficiency(tmp_path: Path) -> None:
    one = star(tmp_path)
    assert list(one.load_w or ()) == [4000]
    assert one.at_load is not None
    drawn = float(one.at_load.port_a[0] * one.at_load.port_v[0])
    assert drawn == pytest.approx(4000 / 0.93 + 40, rel=1e-9)
    assert float(one.at_load.pack_a.sum()) == pytest.approx(float(one.at_load.port_a[0]), rel=1e-6)


def test_a_load_above_the_inverters_is_not_given_to_them(tmp_path: Path) -> None:
    assert star(tmp_path, load=20000, units=2).load_w == (5000.0, 5000.0)


def test_current_at_rated_power_and_lowest_voltage(tmp_path: Path) -> None:
    """power.md §11 (DERIVED): two 6 kW inverters at 0.93: 268.8 A at a 48 V low limit, 293.3 A at 44 V."""
    one = star(tmp_path).converters[0]
    six = replace(one, power_w=6000, idle_w=(0, 0, 0), lowest_v=48)
    assert 2 * (six.highest_a() or 0) == pytest.approx(268.8, abs=0.05)
    assert 2 * (replace(six, lowest_v=44).highest_a() or 0) == pytest.approx(293.3, abs=0.05)


def test_limit_of_equal_packs_is_set_by_the_nearest(tmp_path: Path) -> None:
    one = star(tmp_path)
    assert one.limit_out is not None
    assert one.sharing_out is not None
    assert one.limit_out.high_a == pytest.approx(100 / one.sharing_out.pack_share.max(), rel=1e-9)
    assert [e.name for e in one.limit_out.first_high] == ["A3"]
    assert 290 < one.limit_out.high_a < 300


def test_worst_over_tolerances_never_above_the_sure_bound_nor_below_the_start(tmp_path: Path) -> None:
    one = star(tmp_path)
    assert one.worst_out is not None
    assert one.limit_out is not None
    sure = one.sure_a("discharge")
    assert sure is not None
    assert sure <= one.worst_out.discharge_a * (1 + 1e-6)
    assert one.worst_out.discharge_sure_a <= one.worst_out.discharge_a * (1 + 1e-6)
    assert one.worst_out.discharge_a < one.limit_out.high_a


def test_charge_current_is_set_so_that_nothing_passes_its_limit(tmp_path: Path) -> None:
    one = star(tmp_path, inverter="brant-9", units=2)     # 2 x 90 A into three packs of 50 A
    assert one.sure_charge_a is not None
    assert one.charge_plan is not None
    assert one.charge_plan == (np.floor(90 * one.sure_charge_a.amps / 180),) * 2
    assert 50 < sum(one.charge_plan) < 150
    assert one.at_charge is not None
    assert float(-one.at_charge.pack_a.min()) < 50
    assert list(carried(one)) == [], "at the planned current everything keeps its limit, over all tolerances"


def test_full_current_where_it_does_no_harm(tmp_path: Path) -> None:
    assert star(tmp_path).charge_plan == (15.0,)


def test_a_limit_that_nobody_stated_is_told_and_never_passed(tmp_path: Path) -> None:
    one = star(tmp_path, pack="stilt-x")
    assert one.limit_out is not None
    assert {e.name for e in one.limit_out.not_stated} == {"A1", "A2", "A3"}
    told = [row for row in carried(one) if row.way == "discharge"]
    assert [row.answer for row in told] == [Answer.CANNOT_TELL] * 3
    assert [row.limit_a for row in told] == [None] * 3
