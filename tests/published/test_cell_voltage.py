"""LFP open-circuit voltage: the two published curves typed by hand, and the library that one of them comes from."""

from __future__ import annotations

import importlib
import importlib.util
import os
from typing import Any

import pytest

from interop.standards.cell_voltage import (
    RESTED_FULL_HIGHEST_V,
    RESTED_FULL_SOURCE,
    RESTED_FULL_V,
    SOURCE_A,
    SOURCE_B,
    lfp_cell_voltage,
    lfp_charge_state,
    lfp_closed_form_a,
    lfp_model_voltage,
)

# Rested LFP cell at 25 C: charge state [%], parameter set A (Prada2013) [V], parameter set B (BPX example) [V].
LFP_OCV = [
    (0, 2.0, 2.0), (2, 2.46, 2.9482), (5, 2.7853, 3.1365), (10, 2.9781, 3.1882), (15, 3.108, 3.2039),
    (20, 3.1685, 3.2296), (25, 3.1857, 3.2541), (30, 3.2058, 3.2674), (40, 3.2525, 3.275), (50, 3.266, 3.2781),
    (60, 3.2688, 3.2864), (70, 3.274, 3.3057), (75, 3.2926, 3.3136), (80, 3.3097, 3.3181), (85, 3.3132, 3.3205),
    (90, 3.3142, 3.3218), (95, 3.3164, 3.3227), (98, 3.3502, 3.3235), (99, 3.415, 3.334), (100, 3.6, 3.6486),
]  # fmt: skip
USED = [row for row in LFP_OCV if 10 <= row[0] <= 95]


@pytest.mark.parametrize("percent, a_v, b_v", USED)
def test_both_curves_and_their_mean(percent: int, a_v: float, b_v: float) -> None:
    found = lfp_cell_voltage(percent / 100)
    assert found is not None
    assert found.nominal == pytest.approx((a_v + b_v) / 2, abs=1e-9)
    assert found.low <= min(a_v, b_v) < max(a_v, b_v) <= found.high
    assert [float(lfp_model_voltage(percent / 100, curve)) for curve in ("a", "b")] == pytest.approx([a_v, b_v])


@pytest.mark.parametrize("percent, a_v, b_v", [row for row in LFP_OCV if not 10 <= row[0] <= 95])
def test_the_ends_of_the_curves_are_not_used(percent: int, a_v: float, b_v: float) -> None:
    assert lfp_cell_voltage(percent / 100) is None


@pytest.mark.parametrize("percent, a_v, b_v", LFP_OCV)
def test_the_closed_form_gives_curve_a_as_printed(percent: int, a_v: float, b_v: float) -> None:
    assert lfp_closed_form_a(percent / 100) == pytest.approx(a_v, abs=0.6e-4)


def test_what_is_known_of_the_plateau() -> None:
    # 1.0 to 1.7 mV per cell and % from 30 to 70 %: curve B and curve A over the whole stretch
    rise_mv = [float(lfp_model_voltage(0.7, curve) - lfp_model_voltage(0.3, curve)) * 1000 for curve in ("b", "a")]
    assert [mv / 40 for mv in rise_mv] == pytest.approx([1.0, 1.7], abs=0.05)
    # the sets differ by 60 mV at 20 to 30 %, 350 mV at 5 %
    apart_mv = [1000 * (b - a) for percent, a, b in LFP_OCV if percent in {5, 20, 25, 30}]
    assert apart_mv == pytest.approx([351, 61, 68, 62], abs=0.5)


def test_half_a_volt_on_sixteen_cells_can_be_a_third_of_the_charge() -> None:
    # 0.5 V on 16 cells: 31 mV a cell, read to the nearest; voltage says little on the plateau
    reading = lfp_charge_state(3.28, 0.5 / 16 / 2)
    assert reading is not None
    assert reading.width > 0.30


def test_a_rested_full_cell() -> None:
    assert (RESTED_FULL_V, RESTED_FULL_HIGHEST_V) == (3.33, 3.45)
    assert not RESTED_FULL_SOURCE.certainty.may_stop
    assert [one.certainty.value for one in (SOURCE_A, SOURCE_B)] == ["PRIMARY", "V1"]


@pytest.fixture
def pybamm(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The library of battery models, asked to report nothing to anybody."""
    monkeypatch.setenv("PYBAMM_DISABLE_TELEMETRY", "true")
    if importlib.util.find_spec("pybamm") is None:
        if os.environ.get("INTEROP_ORACLES") == "required":
            pytest.fail("pybamm is required (INTEROP_ORACLES=required) and not installed")
        pytest.skip("pybamm is not installed: curve A is not held against its own library in this run")
    return importlib.import_module("pybamm")


def test_the_closed_form_against_the_library(pybamm: Any) -> None:
    """The library finds the ends of the charge state itself and has its own electrode curves.

    This holds our arithmetic, not the truth of any real cell.
    """
    values = pybamm.ParameterValues("Prada2013")
    x_empty, x_full, y_full, y_empty = pybamm.lithium_ion.get_min_max_stoichiometries(values)
    positive, negative = values["Positive electrode OCP [V]"], values["Negative electrode OCP [V]"]

    def theirs(s: float) -> float:
        x, y = x_empty + s * (x_full - x_empty), y_empty - s * (y_empty - y_full)
        return float(values.evaluate(positive(pybamm.Scalar(y)) - negative(pybamm.Scalar(x))))

    charge_states = [percent / 100 for percent in range(10, 96)]
    ours = [lfp_closed_form_a(s) for s in charge_states]
    assert ours == pytest.approx([theirs(s) for s in charge_states], abs=1e-5)
