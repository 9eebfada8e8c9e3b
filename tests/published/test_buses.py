"""Bus limits typed by hand from published lists, held against ours."""

from __future__ import annotations

import pytest

from interop.standards.buses import (
    MODBUS_SERIAL,
    ModbusClass,
    Span,
    bus_limits,
    longest_bus_m,
    longest_stub_m,
    modbus_address_class,
    terminators_ohm,
)

# CiA recommendation for ISO 11898-2: rate [kbit/s], bus [m] (V2), stub [m] (V1).
CIA_LENGTHS = [(1000, 25, 1.5), (500, 100, 5.5), (250, 250, 11), (125, 500, 22), (50, 1000, 55)]

# Modbus over serial line V1.02, 2.2 (PRIMARY): first, last, meaning.
MODBUS_2_2 = [(0, 0, "broadcast"), (1, 247, "unit"), (248, 255, "reserved")]

# TIA/EIA-485: length [m] by rate [bit/s] from length x rate <= 1e8 and <= 1200 m (V2).
TIA_485_LENGTHS = [(9_600, 1200), (19_200, 1200), (100_000, 1000), (115_200, 868.06), (1_000_000, 100)]


@pytest.mark.parametrize("kbps, bus_m, stub_m", CIA_LENGTHS)
def test_cia_lengths(kbps: int, bus_m: float, stub_m: float) -> None:
    assert longest_bus_m("can", kbps * 1000) == bus_m
    assert longest_stub_m("can", kbps * 1000) == stub_m


@pytest.mark.parametrize("rate_bps, metres", TIA_485_LENGTHS)
def test_tia_485_lengths(rate_bps: int, metres: float) -> None:
    assert longest_bus_m("rs-485", rate_bps) == pytest.approx(metres, abs=0.01)


@pytest.mark.parametrize("first, last, meaning", MODBUS_2_2)
def test_modbus_address_ranges(first: int, last: int, meaning: str) -> None:
    assert {modbus_address_class(number) for number in range(first, last + 1)} == {ModbusClass(meaning)}


def test_tia_485_values() -> None:
    limits = bus_limits("rs-485")
    assert (limits.unit_loads, limits.terminator_ohm, limits.terminators) == (32, 120, 2)
    assert limits.common_mode_v == Span(-7, 12)
    assert limits.reference_conductor is True


def test_tia_485_test_load() -> None:
    # A driver is tested on 54 ohm (V1), which stands for two terminators and 32 unit loads of 12 kohm. Worked by
    # hand: 12000 / 32 = 375, and 375 x 60 / 435 = 51.72 ohm, within 5 % of the printed figure.
    assert terminators_ohm([12_000] * 32 + [120, 120]) == pytest.approx(51.72, abs=0.01)
    assert terminators_ohm([12_000] * 32 + [120, 120]) == pytest.approx(54, rel=0.05)


def test_iso_11898_values() -> None:
    limits = bus_limits("can")
    assert (limits.terminator_ohm, limits.terminators) == (120, 2)
    assert limits.common_mode_v == Span(-2, 7)  # from memory
    assert [terminators_ohm([120] * count) for count in (1, 2, 3)] == pytest.approx([120, 60, 40])


def test_modbus_asks_for_less_than_rs_485_allows() -> None:
    # Modbus over serial line V1.02, 3.4 and 3.6 (PRIMARY)
    assert (MODBUS_SERIAL.devices, MODBUS_SERIAL.devices_less_if_polarised) == (32, 4)
    assert (MODBUS_SERIAL.trunk_m_at_9600_awg26, MODBUS_SERIAL.trunk_m_cat5) == (1000, 600)
    assert MODBUS_SERIAL.terminator_ohm == 150
    assert MODBUS_SERIAL.required_rates_bps == (9600, 19200)
