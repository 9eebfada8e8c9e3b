"""The settings of inverters and chargers: value, reason, and who sets it."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.choose.controller import Setting, controller_settings
from tests.circuit.drawn import picture

SITE = """\
packs:
  A1..A2: {{model: stilt-100}}
  L1: {{model: {other}}}
controllers:
  INV: {{model: {inverter}, units: {units}}}
posts: {{bar: [1..6]}}
runs:
  A1..A2: {{from: pack, to: bar 1..2, cable: 70 mm2, length: 1 m, lug_uohm: 20..60}}
  L1: {{from: pack, to: bar 3, cable: 70 mm2, length: 1 m, lug_uohm: 20..60}}
  INV: {{from: controller unit 1..{units}, to: bar 4..{last}, cable: 70 mm2, length: 2 m, lug_uohm: 20..60}}
"""


def settings(folder: Path, other: str = "stilt-l", inverter: str = "brant-5", units: int = 1) -> dict[str, Setting]:
    text = SITE.format(other=other, inverter=inverter, units=units, last=3 + units)
    return {one.key: one for one in controller_settings(picture(folder, text))["INV"]}


def test_charge_voltage_is_the_lowest_recommended_less_the_tolerance(tmp_path: Path) -> None:
    charge = settings(tmp_path)["charge_v"]
    # 56.0 V of stilt-l, less half a hundredth: 55.72, rounded down to a tenth
    assert (charge.plain, charge.set_by) == (55.7, ("L1",))
    assert charge.because == "lowest recommended charge voltage of the bank, 56 V, less 0.5% tolerance (not stated)"
    assert settings(tmp_path, other="stilt-100")["charge_v"].plain == 56.5
    assert settings(tmp_path, other="stilt-100")["charge_v"].set_by == ("A1", "A2", "L1")


def test_voltages_by_the_cell_are_proposals_from_memory(tmp_path: Path) -> None:
    found = settings(tmp_path)
    assert [found[key].plain for key in ("float_v", "recharge_v", "reconnect_v")] == [54.0, 52.8, 51.2]
    assert all("from memory" in found[key].because for key in ("float_v", "recharge_v", "reconnect_v"))


def test_low_limit_where_no_bms_states_its_own(tmp_path: Path) -> None:
    low = settings(tmp_path)["low_cut_v"]
    assert (low.plain, low.set_by) == (48.0, ("A1", "A2", "L1"))
    assert low.because == "3 V a cell (from memory): where a BMS opens is not stated"


def test_low_limit_above_the_bms_that_opens_first(tmp_path: Path) -> None:
    records = Path(__file__).parents[1] / "scenarios" / "records"
    (tmp_path / "records").mkdir()
    for path in records.iterdir():
        text = path.read_text(encoding="utf-8")
        for name, volts in (("stilt-100", 46), ("stilt-l", 47.2)):
            if f"id: {name}\n" in text:
                text = text.replace("limits: {charge_a", f"limits: {{lowest_v: {volts}, charge_a")
        (tmp_path / "records" / path.name).write_text(text, encoding="utf-8")
    low = settings(tmp_path)["low_cut_v"]
    assert (low.plain, low.set_by) == (47.7, ("L1",))
    assert low.because == "0.5 V above the 47.2 V at which the BMS of stilt-l opens"


@pytest.mark.parametrize(("inverter", "units", "amps"), [("brant-5", 1, 15.0), ("brant-9", 1, 90.0)])
def test_full_charge_current_where_no_pack_minds(tmp_path: Path, inverter: str, units: int, amps: float) -> None:
    one = settings(tmp_path, inverter=inverter, units=units)["charge_a"]
    assert one.plain == amps
    assert one.because.startswith("its full current")


def test_charge_current_lower_where_a_pack_would_pass_its_limit(tmp_path: Path) -> None:
    one = settings(tmp_path, inverter="brant-9", units=2)["charge_a"]
    assert isinstance(one.plain, float)
    assert 50 < one.plain < 75
    assert one.set_by in {("A1",), ("A2",), ("L1",)}
    assert "no pack passes its limit wherever the resistances lie" in one.because


def test_nothing_is_set_on_a_fact_that_is_not_stated(tmp_path: Path) -> None:
    one = settings(tmp_path, inverter="brant-x")
    assert (one["equalise"].plain, one["compensation"].plain) == ("off", "off")
    assert "whether brant-x can switch it off is not stated" in one["equalise"].because
    lead = settings(tmp_path, inverter="brant-l")["equalise"]
    assert (lead.plain, lead.because) == (None, "brant-l cannot switch it off: unfit for LFP")
