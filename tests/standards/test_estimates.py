from __future__ import annotations

import math

import pytest

from interop.standards import estimates
from interop.standards.estimates import (
    ASSUMED_TOLERANCE,
    BOLTED_FACE,
    CABLE_INDUCTANCE_PER_M,
    CELL_OHMIC_TIMES_AH,
    COLD_FACTOR,
    DC_FACTOR,
    FUSE_200_TO_400_A,
    JOINT_TOLERANCE,
    LUG,
    OLD_PACK_FROM,
    OLD_PACK_HEALTH,
    OLD_PACK_RESISTANCE_FACTOR,
    PACK_PLUG_PAIR,
    SMALL_BREAKER_POLE,
    STATED_TOLERANCE,
    Estimate,
    Figure,
    pack_dc_ohm,
    pack_ohmic_ohm,
)
from interop.standards.sources import PROJECT_DEFAULT, Certainty

# As agreed for this project: range in microohm, mark.
RANGES = [
    (LUG, 20, 100, "MEM"), (BOLTED_FACE, 1.7, 7, "V1"), (PACK_PLUG_PAIR, 100, 500, "MEM"),
    (SMALL_BREAKER_POLE, 300, 1000, "MEM"), (FUSE_200_TO_400_A, 100, 300, "MEM"), (JOINT_TOLERANCE, 5, 500, "DEFAULT"),
]  # fmt: skip


@pytest.mark.parametrize("estimate, low, high, mark", RANGES)
def test_resistances_of_joints_and_devices(estimate: Estimate, low: float, high: float, mark: str) -> None:
    assert (estimate.low, estimate.high) == pytest.approx((low * 1e-6, high * 1e-6))
    assert estimate.nominal == pytest.approx(math.sqrt(low * high) * 1e-6)
    assert (estimate.unit, estimate.source.certainty.value) == ("ohm", mark)


def test_single_figures() -> None:
    figures = (CELL_OHMIC_TIMES_AH, DC_FACTOR, COLD_FACTOR, OLD_PACK_FROM, CABLE_INDUCTANCE_PER_M)
    assert [(one.value, one.unit, one.source.certainty.value) for one in figures] == [
        (0.040, "ohm Ah", "MEM"),
        (2, "", "MEM"),
        (2, "", "MEM"),
        (3, "years", "DEFAULT"),
        (1e-6, "H/m", "MEM"),
    ]


def test_tolerances() -> None:
    assert (STATED_TOLERANCE.low, STATED_TOLERANCE.high, STATED_TOLERANCE.source) == (0.75, 1.25, PROJECT_DEFAULT)
    assert (ASSUMED_TOLERANCE.low, ASSUMED_TOLERANCE.high, ASSUMED_TOLERANCE.source) == (0.60, 2.00, PROJECT_DEFAULT)


def test_old_packs() -> None:
    assert (OLD_PACK_HEALTH.low, OLD_PACK_HEALTH.high) == (0.80, 1.00)
    assert (OLD_PACK_RESISTANCE_FACTOR.low, OLD_PACK_RESISTANCE_FACTOR.high) == (1.0, 1.5)


def test_a_pack_with_nothing_stated() -> None:
    # 16 cells of 40 mohm / 100 = 0.4 mohm: 6.4 mohm, 3.84 to 12.8; over 30 s twice that (worked by hand)
    ohmic, dc = pack_ohmic_ohm(16, 100), pack_dc_ohm(16, 100)
    assert (ohmic.low, ohmic.nominal, ohmic.high) == pytest.approx((0.00384, 0.0064, 0.0128))
    assert (dc.low, dc.nominal, dc.high) == pytest.approx((0.00768, 0.0128, 0.0256))
    assert pack_ohmic_ohm(16, 280).nominal == pytest.approx(0.0064 * 100 / 280)
    assert [one.source.certainty for one in (ohmic, dc)] == [Certainty.MEM] * 2
    assert (ohmic.what, dc.what) == ("ohmic resistance of a pack", "resistance of a pack over 30 s and longer")


def test_a_stated_resistance() -> None:
    stated = STATED_TOLERANCE.around("resistance of pack R1", 0.010, "ohm", PROJECT_DEFAULT)
    assert (stated.low, stated.nominal, stated.high) == pytest.approx((0.0075, 0.010, 0.0125))


def test_every_estimate_holds_its_own_figure_and_has_a_name_of_its_own() -> None:
    listed = [getattr(estimates, name) for name in estimates.__all__]
    ranges = [one for one in listed if isinstance(one, Estimate)]
    names = [one.what for one in listed if isinstance(one, Estimate | Figure)]
    assert all(0 < one.low <= one.nominal <= one.high for one in ranges)
    assert len(ranges) == 8
    assert len(names) == len(set(names)) == 13


@pytest.mark.parametrize("in_series", [0, -16])
def test_a_pack_has_cells(in_series: int) -> None:
    with pytest.raises(ValueError) as caught:
        pack_ohmic_ohm(in_series, 100)
    assert str(caught.value) == f"cells in series are one or more, got {in_series}"


@pytest.mark.parametrize("bad", [0, -1, math.inf, math.nan])
def test_capacities_factors_and_resistances_are_above_zero(bad: float) -> None:
    with pytest.raises(ValueError) as caught:
        pack_dc_ohm(16, bad)
    assert str(caught.value) == f"a capacity [Ah] is above zero, got {bad}"
    with pytest.raises(ValueError) as caught:
        LUG.times(bad, "a lug")
    assert str(caught.value) == f"a factor is above zero, got {bad}"
    with pytest.raises(ValueError) as caught:
        STATED_TOLERANCE.around("a lug", bad, "ohm", PROJECT_DEFAULT)
    assert str(caught.value) == f"a lug [ohm] is above zero, got {bad}"
