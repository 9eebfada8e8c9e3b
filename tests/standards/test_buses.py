from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.standards.buses import (
    CAN_LENGTHS,
    BusLimits,
    ModbusClass,
    Span,
    UnknownBus,
    bus_limits,
    known_buses,
    longest_bus_m,
    longest_stub_m,
    may_lack_terminators,
    modbus_address_class,
    terminators_ohm,
)
from interop.standards.sources import Certainty

RATES = st.floats(1, 2e7)
OHMS = st.floats(0.1, 1e6)


def test_the_kinds_are_those_a_record_may_name() -> None:
    assert known_buses() == ("rs-485", "can", "rs-232", "other")
    with pytest.raises(UnknownBus, match="no bus kind is called 'i2c', known: rs-485, can, rs-232, other"):
        bus_limits("i2c")


@pytest.mark.parametrize("kind", known_buses())
def test_every_limit_names_its_source(kind: str) -> None:
    limits = bus_limits(kind)
    fields = set(BusLimits.__dataclass_fields__) - {"kind", "sources"}
    stated = {name for name in fields if getattr(limits, name) is not None}
    assert stated <= set(limits.sources)


def test_defaults_and_memory_are_marked() -> None:
    rs485, can = bus_limits("rs-485").sources, bus_limits("can").sources
    assert {name for name, one in rs485.items() if one.certainty is Certainty.DEFAULT} == {
        "load_caution_below_ohm", "load_stop_below_ohm", "unterminated_length_times_rate",
    }  # fmt: skip
    assert can["load_ohm"].certainty is Certainty.DEFAULT
    assert can["common_mode_v"].certainty is Certainty.MEM


@pytest.mark.parametrize(
    ("kind", "rate_bps", "metres"),
    [
        ("can", 600_000, 25),  # between rows: the faster row's length
        ("can", 250_001, 100),
        ("can", 10_000, 1000),  # below the table: its last length, never more
        ("can", 1_000_001, None),
        ("rs-485", 9600, 1200),
        ("rs-485", 83_333, 1200),
        ("rs-485", 100_000, 1000),
        ("rs-485", 10_000_000, 10),
        ("rs-485", 10_000_001, None),
        ("rs-232", 9600, 15),
        ("rs-232", 115_200, None),
        ("other", 9600, None),
    ],
)
def test_longest_bus(kind: str, rate_bps: float, metres: float | None) -> None:
    assert longest_bus_m(kind, rate_bps) == metres


@pytest.mark.parametrize(("rate_bps", "metres"), [(500_000, 5.5), (400_000, 5.5), (125_000, 22), (2e6, None)])
def test_longest_stub(rate_bps: float, metres: float | None) -> None:
    assert longest_stub_m("can", rate_bps) == metres
    assert longest_stub_m("rs-485", rate_bps) is None


@pytest.mark.parametrize("kind", known_buses())
@pytest.mark.parametrize("rate_bps", [0, -9600, math.inf, math.nan])
def test_a_rate_is_above_zero(kind: str, rate_bps: float) -> None:
    with pytest.raises(ValueError, match=r"a rate .* is above zero"):
        longest_bus_m(kind, rate_bps)
    with pytest.raises(ValueError, match=r"a rate .* is above zero"):
        longest_stub_m(kind, rate_bps)


@given(st.sampled_from(["rs-485", "can", "rs-232"]), RATES, RATES)
def test_a_faster_bus_is_never_longer(kind: str, one: float, other: float) -> None:
    slow, fast = sorted((one, other))
    at_fast = longest_bus_m(kind, fast)
    if at_fast is not None:
        at_slow = longest_bus_m(kind, slow)
        assert at_slow is not None
        assert at_slow >= at_fast


@given(st.floats(1, 1e6))
def test_a_can_bus_is_never_longer_than_the_next_faster_row(rate_bps: float) -> None:
    allowed = longest_bus_m("can", rate_bps)
    assert allowed is not None
    assert all(allowed <= row.bus_m for row in CAN_LENGTHS if row.rate_bps <= rate_bps)
    assert all(allowed >= row.bus_m for row in CAN_LENGTHS if row.rate_bps >= rate_bps)


@pytest.mark.parametrize(
    ("length_m", "rate_bps", "lack"),
    [(0, 9600, True), (1000, 9600, True), (1000, 10_000, False), (90, 115_200, False), (86, 115_200, True)],
)
def test_a_short_slow_bus_may_lack_terminators(length_m: float, rate_bps: float, *, lack: bool) -> None:
    assert may_lack_terminators(length_m, rate_bps) is lack


@pytest.mark.parametrize("length_m", [-1, math.inf, math.nan])
def test_a_length_is_zero_or_more(length_m: float) -> None:
    with pytest.raises(ValueError, match=r"a length .* is zero or more"):
        may_lack_terminators(length_m, 9600)


@pytest.mark.parametrize(
    ("each", "ohm"),
    [([120], 120), ([120, 120], 60), ([120] * 3, 40), ([120] * 6, 20), ([150, 150], 75), ([60, 120], 40)],
)
def test_terminators_in_parallel(each: list[float], ohm: float) -> None:
    assert terminators_ohm(each) == pytest.approx(ohm, rel=1e-15)


def test_two_right_terminators_do_not_fall_below_the_caution() -> None:
    caution = bus_limits("rs-485").load_caution_below_ohm
    assert caution is not None
    assert terminators_ohm([120, 120]) >= caution
    assert terminators_ohm([120] * 3) < caution


def test_six_terminators_do_not_fall_below_the_stop_and_seven_do() -> None:
    stop = bus_limits("rs-485").load_stop_below_ohm
    assert stop is not None
    assert terminators_ohm([120] * 6) >= stop
    assert terminators_ohm([120] * 7) < stop


def test_can_window_takes_two_terminators_and_refuses_one_and_three() -> None:
    window = bus_limits("can").load_ohm
    assert window is not None
    assert [terminators_ohm([120] * count) in window for count in (0, 1, 2, 3)] == [False, False, True, False]


def test_no_terminator_is_an_open_line() -> None:
    assert terminators_ohm([]) == math.inf


@pytest.mark.parametrize("each", [[0.0], [120, -120], [math.nan]])
def test_a_terminator_is_above_zero(each: list[float]) -> None:
    with pytest.raises(ValueError, match=r"a terminator .* is above zero"):
        terminators_ohm(each)


@given(st.lists(OHMS, min_size=1, max_size=8))
def test_laws_of_parallel_resistance(each: list[float]) -> None:
    total = terminators_ohm(each)
    assert total <= min(each) * (1 + 1e-12)
    assert total >= min(each) / len(each) * (1 - 1e-12)
    assert terminators_ohm(reversed(each)) == total
    assert terminators_ohm([*each, 120]) < total * (1 + 1e-12)
    split = len(each) // 2
    parts = [terminators_ohm(part) for part in (each[:split], each[split:]) if part]
    assert terminators_ohm(parts) == pytest.approx(total, rel=1e-12)


@given(OHMS, st.integers(1, 40))
def test_equal_terminators_divide(ohm: float, count: int) -> None:
    assert terminators_ohm([ohm] * count) == pytest.approx(ohm / count, rel=1e-12)


@given(st.integers(0, 255))
def test_every_byte_has_one_class(number: int) -> None:
    expected = ModbusClass.BROADCAST if number == 0 else ModbusClass.UNIT
    assert modbus_address_class(number) is (expected if number < 248 else ModbusClass.RESERVED)


@pytest.mark.parametrize("number", [-1, 256, 1000])
def test_more_than_a_byte_is_no_address(number: int) -> None:
    with pytest.raises(ValueError, match="a Modbus address is one byte"):
        modbus_address_class(number)


def test_a_span_holds_its_ends() -> None:
    assert [value in Span(-7, 12) for value in (-7.01, -7, 0, 12, 12.01)] == [False, True, True, True, False]
