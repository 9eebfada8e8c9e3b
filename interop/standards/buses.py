"""Limits of the data buses: length for the rate, terminators, common mode, loads, Modbus addresses.

None always means that no published limit is known here, so whoever asks cannot tell; never unlimited.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

from interop.standards.sources import PROJECT_DEFAULT, Certainty, Source

__all__ = [
    "CAN_LENGTHS",
    "MODBUS_SERIAL",
    "BusLimits",
    "CanRow",
    "ModbusClass",
    "ModbusSerial",
    "Span",
    "UnknownBus",
    "bus_limits",
    "known_buses",
    "longest_bus_m",
    "longest_stub_m",
    "may_lack_terminators",
    "modbus_address_class",
    "terminators_ohm",
]


@dataclass(frozen=True, slots=True)
class Span:
    """A closed interval of allowed values, in the unit that the field's name says."""

    low: float
    high: float

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class BusLimits:
    """What a physical kind of bus asks for. None where nothing is published or the question does not arise.

    `sources` names the source of each field by the field's name; for CAN, `longest_m` and `longest_stub_m`
    are the columns of `CAN_LENGTHS`.
    """

    kind: str
    unit_loads: float | None = None
    terminator_ohm: float | None = None
    terminators: int | None = None
    common_mode_v: Span | None = None
    load_ohm: Span | None = None
    load_caution_below_ohm: float | None = None
    load_stop_below_ohm: float | None = None
    longest_m: float | None = None
    length_times_rate: float | None = None
    unterminated_length_times_rate: float | None = None
    fastest_bps: float | None = None
    reference_conductor: bool | None = None
    sources: Mapping[str, Source] = field(default_factory=dict, hash=False)


@dataclass(frozen=True, slots=True)
class CanRow:
    """One row of the CAN length table: rate [bit/s], bus length [m], longest stub [m]."""

    rate_bps: int
    bus_m: float
    stub_m: float


@dataclass(frozen=True, slots=True)
class ModbusSerial:
    """What Modbus over serial line asks for beyond RS-485; `source` holds for every value."""

    devices: int
    devices_less_if_polarised: int
    trunk_m_at_9600_awg26: float
    trunk_m_cat5: float
    terminator_ohm: float
    required_rates_bps: tuple[int, ...]
    source: Source


class ModbusClass(Enum):
    """What a number on the wire means as a Modbus address."""

    BROADCAST = "broadcast"
    UNIT = "unit"
    RESERVED = "reserved"


class UnknownBus(ValueError):
    """No bus kind has this name."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        super().__init__(f"no bus kind is called {kind!r}, known: {', '.join(known_buses())}")


def known_buses() -> tuple[str, ...]:
    """The bus kinds that records may name."""
    return tuple(_LIMITS)


def bus_limits(kind: str) -> BusLimits:
    """All limits of one bus kind (`rs-485`, `can`, `rs-232`, `other`). Raises `UnknownBus`."""
    try:
        return _LIMITS[kind]
    except KeyError:
        raise UnknownBus(kind) from None


def longest_bus_m(kind: str, rate_bps: float) -> float | None:
    """Longest bus [m] at a rate [bit/s], or None where no limit is published for that rate.

    RS-485: 1e8 / rate, at most 1200 m (TIA/EIA-485, V2). CAN: the length listed for the slowest listed rate
    that is not below this one, the safe side between rows (CiA, V2). RS-232: 15 m up to 20 kbit/s (V1).
    Raises `UnknownBus`, and `ValueError` for a rate that is not above zero.
    """
    limits = bus_limits(kind)
    _check_rate(rate_bps)
    if kind == "can":
        row = _can_row(rate_bps)
        return None if row is None else row.bus_m
    if limits.fastest_bps is not None and rate_bps > limits.fastest_bps:
        return None
    if limits.longest_m is None or limits.length_times_rate is None:
        return limits.longest_m
    return min(limits.longest_m, limits.length_times_rate / rate_bps)


def longest_stub_m(kind: str, rate_bps: float) -> float | None:
    """Longest single stub [m] at a rate [bit/s] for CAN (V1); None for the rest ("short" is all they say).

    Between rows as in `longest_bus_m`. Raises `UnknownBus`, and `ValueError` for a rate not above zero.
    """
    bus_limits(kind)
    _check_rate(rate_bps)
    row = _can_row(rate_bps) if kind == "can" else None
    return None if row is None else row.stub_m


def may_lack_terminators(length_m: float, rate_bps: float) -> bool:
    """Whether an RS-485 bus of a length [m] and rate [bit/s] is so short and slow that a note will do.

    Strictly below length x rate = 1e7, a default of this project. Raises `ValueError` for a length below zero
    or a rate that is not above zero.
    """
    _check_rate(rate_bps)
    if not 0 <= length_m < math.inf:
        raise ValueError(f"a length [m] is zero or more, got {length_m}")
    return length_m * rate_bps < _UNTERMINATED


def terminators_ohm(each_ohm: Iterable[float]) -> float:
    """Resistance [ohm] of terminators in parallel; infinite where there is none.

    Raises `ValueError` for a resistance that is not above zero. A terminator in series with a capacitor reads
    as open on a meter: leave it out.
    """
    listed = tuple(each_ohm)
    if any(not one > 0 for one in listed):
        raise ValueError(f"a terminator [ohm] is above zero, got {listed}")
    # The exact sum keeps the answer independent of order, so that two of 120 are 60 and not a hair less.
    conductance = math.fsum(1 / one for one in listed)
    return 1 / conductance if conductance else math.inf


def modbus_address_class(number: int) -> ModbusClass:
    """What an address means: 0 broadcast, 1-247 one unit, 248-255 reserved.

    Raises `ValueError` outside 0..255: the address is one byte. Modbus over serial line V1.02, 2.2 (PRIMARY).
    """
    if not 0 <= number <= 255:
        raise ValueError(f"a Modbus address is one byte, 0..255, got {number}")
    if number == 0:
        return ModbusClass.BROADCAST
    return ModbusClass.UNIT if number <= 247 else ModbusClass.RESERVED


def _check_rate(rate_bps: float) -> None:
    if not 0 < rate_bps < math.inf:
        raise ValueError(f"a rate [bit/s] is above zero, got {rate_bps}")


def _can_row(rate_bps: float) -> CanRow | None:
    """The slowest listed row that is at least as fast as the rate; None above the fastest."""
    return min((row for row in CAN_LENGTHS if row.rate_bps >= rate_bps), key=_rate_of, default=None)


def _rate_of(row: CanRow) -> int:
    return row.rate_bps


# --- RS-485 ---------------------------------------------------------------------------------------

_TIA_485 = Source("TIA/EIA-485", "", Certainty.V2)
_UNTERMINATED = 1e7

_RS_485 = BusLimits(
    kind="rs-485",
    unit_loads=32,
    terminator_ohm=120,
    terminators=2,
    common_mode_v=Span(-7, 12),
    load_caution_below_ohm=60,  # what two terminators of 120 ohm make
    load_stop_below_ohm=20,
    longest_m=1200,
    length_times_rate=1e8,
    unterminated_length_times_rate=_UNTERMINATED,
    fastest_bps=10_000_000,
    reference_conductor=True,
    sources=MappingProxyType(
        {
            "unit_loads": _TIA_485,
            "terminator_ohm": _TIA_485,
            "terminators": _TIA_485,
            "common_mode_v": Source("TIA/EIA-485", "", Certainty.V1),
            "load_caution_below_ohm": PROJECT_DEFAULT,
            "load_stop_below_ohm": PROJECT_DEFAULT,
            "longest_m": _TIA_485,
            "length_times_rate": _TIA_485,
            "unterminated_length_times_rate": PROJECT_DEFAULT,
            "fastest_bps": Source("TIA/EIA-485", "", Certainty.V1),
            "reference_conductor": _TIA_485,
        }
    ),
)

# --- CAN ------------------------------------------------------------------------------------------
# Lengths: V2. ISO 11898-2 allows 40 m at 1 Mbit/s; the shorter 25 m of CiA is kept. Stubs: V1, one copy has
# these five; copies that round to 1 (or 2), 5, 10, 20, 50 m exist.

_CIA_LENGTHS = Source("CiA recommendation for ISO 11898-2", "bus length by bit rate", Certainty.V2)
_CIA_STUBS = Source("CiA recommendation for ISO 11898-2", "stub length by bit rate", Certainty.V1)

CAN_LENGTHS: tuple[CanRow, ...] = (
    CanRow(1_000_000, 25, 1.5),
    CanRow(500_000, 100, 5.5),
    CanRow(250_000, 250, 11),
    CanRow(125_000, 500, 22),
    CanRow(50_000, 1000, 55),
)

_ISO_11898 = Source("ISO 11898-2", "", Certainty.V2)

_CAN = BusLimits(
    kind="can",
    terminator_ohm=120,
    terminators=2,
    common_mode_v=Span(-2, 7),
    load_ohm=Span(45, 70),  # two terminators read 60, one reads 120, three read 40
    fastest_bps=1_000_000,
    sources=MappingProxyType(
        {
            "terminator_ohm": _ISO_11898,
            "terminators": _ISO_11898,
            "common_mode_v": Source("ISO 11898-2", "", Certainty.MEM),
            "load_ohm": PROJECT_DEFAULT,
            "fastest_bps": _CIA_LENGTHS,
            "longest_m": _CIA_LENGTHS,
            "longest_stub_m": _CIA_STUBS,
        }
    ),
)

# --- RS-232 ---------------------------------------------------------------------------------------
# 15 m and 20 kbit/s belong together (one copy, V1); above 20 kbit/s the cable's capacitance decides, and no
# length is listed. The rest is from memory.

_TIA_232 = Source("TIA/EIA-232", "", Certainty.MEM)
_TIA_232_LENGTH = Source("TIA/EIA-232", "", Certainty.V1)

_RS_232 = BusLimits(
    kind="rs-232",
    terminators=0,
    longest_m=15,
    fastest_bps=20_000,
    reference_conductor=True,
    sources=MappingProxyType(
        {
            "terminators": _TIA_232,
            "longest_m": _TIA_232_LENGTH,
            "fastest_bps": _TIA_232_LENGTH,
            "reference_conductor": _TIA_232,
        }
    ),
)

_LIMITS: Mapping[str, BusLimits] = MappingProxyType(
    {limits.kind: limits for limits in (_RS_485, _CAN, _RS_232, BusLimits(kind="other"))}
)

# --- Modbus over serial line ----------------------------------------------------------------------
# It asks for 150 ohm (or 120 ohm in series with 1 nF) and 1000 m, where RS-485 has 120 ohm and 1200 m.

MODBUS_SERIAL = ModbusSerial(
    devices=32,
    devices_less_if_polarised=4,
    trunk_m_at_9600_awg26=1000,
    trunk_m_cat5=600,
    terminator_ohm=150,
    required_rates_bps=(9600, 19200),
    source=Source("Modbus over serial line V1.02", "2.2, 3.4, 3.6", Certainty.PRIMARY),
)
