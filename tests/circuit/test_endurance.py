"""Hours at a load, before and after an extension."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from interop.circuit.course import Packs
from interop.circuit.endurance import compared, endurance
from interop.circuit.network import Network
from interop.standards.cell_voltage import lfp_model_slope, lfp_model_voltage

Floats = NDArray[np.float64]


def bank(count: int, ohm: float = 0.02) -> Network:
    return Network.of(["p", "m"], [], [(f"B{k}", "p", "m", 51.2, ohm) for k in range(count)], [("inverter", "p", "m")])


def flat(soc: Floats) -> Floats:
    return 51.2 + 0.0 * soc


def test_flat_voltage_without_resistance_is_energy_over_power() -> None:
    """6 x 100 Ah at 51.2 V from full to 10 %: 27.65 kWh; 2 kW at 0.93 and 50 W idle is 2,200.5 W: 12.56 h."""
    found = endurance(bank(6, 1e-9), Packs.of([100] * 6, 1.0, flat, low_soc=0.1), 2000, 0.93, 50, 44.0)
    assert found.stored_kwh == pytest.approx(6 * 0.9 * 5.12, rel=1e-9)
    assert found.load_w == pytest.approx(2000 / 0.93 + 50)
    assert found.hours == pytest.approx(found.stored_kwh * 1000 / found.load_w, rel=1e-6)
    assert found.usable_kwh == pytest.approx(found.stored_kwh, rel=1e-6)
    assert found.first_hours == pytest.approx(found.hours, rel=1e-6)
    assert found.ended == "dark"


def test_resistance_and_cut_off_cost_usable_energy() -> None:
    packs = Packs.of([100, 280], 0.95, lambda soc: 16 * lfp_model_voltage(soc), lambda soc: 16 * lfp_model_slope(soc),
                     low_soc=[0.25, 0.05])
    found = endurance(bank(2), packs, 4000, 0.93, 50, 49.5, rests_on=("resistances assumed",))
    assert found.ended == "cut off"
    assert found.usable_kwh < found.stored_kwh * 0.97
    assert found.first_hours < found.hours
    assert found.first == "B0"
    assert found.usable_kwh == pytest.approx(found.load_w * found.hours / 1000)
    assert found.rests_on[0] == "resistances assumed"
    assert found.rests_on[1] == "a constant load of 4000 W AC at efficiency 0.93 with 50 W idle"
    assert found.rests_on[2] == "a low cut-off of 49.5 V at the inverter's terminals"


def test_an_extension_to_one_and_a_half_times_the_energy_lasts_half_as_long_again() -> None:
    """Common practice: from 6 x 5.12 to 45 kWh lasts about half as long again."""
    def curve(soc: Floats) -> Floats:
        return 16 * lfp_model_voltage(soc)

    before = endurance(bank(6), Packs.of([100] * 6, 0.95, curve, low_soc=0.1), 3000, 0.93, 50, 47.0)
    after = endurance(bank(7), Packs.of([100] * 6 + [280], 0.95, curve, low_soc=0.1), 3000, 0.93, 50, 47.0)
    assert compared(before, after).times == pytest.approx(1.47, abs=0.05)
    assert after.stored_kwh / before.stored_kwh == pytest.approx(880 / 600, rel=1e-9)
    assert before.stored_kwh == pytest.approx(30.72 * 0.85, rel=0.03)


def test_bad_input() -> None:
    packs = Packs.of([100] * 2, 0.9, flat)
    with pytest.raises(ValueError, match="a load above zero and an efficiency"):
        endurance(bank(2), packs, 2000, 1.2, 0, 44)
    with pytest.raises(ValueError, match="a load above zero"):
        endurance(bank(2), packs, 0, 0.9, 0, 44)
    one, two = (endurance(bank(2), packs, watt, 0.9, 0, 44) for watt in (2000, 3000))
    with pytest.raises(ValueError, match="at 2222 W and at 3333 W is not comparable"):
        compared(one, two)
