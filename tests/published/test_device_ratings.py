"""Device ratings and the rules that choose them, typed by hand from published lists and worked examples."""

from __future__ import annotations

import pytest

from interop.standards.ampacity import table_ampacity_a
from interop.standards.devices import (
    CONVENTIONAL_TRIPPING,
    EXTRA_FUSE_RATINGS_A,
    LARGE_BANK_INTERRUPTING,
    STANDARD_RATINGS_A,
    TYPICAL_INTERRUPTING,
    continuous_capacity_a,
    device_limit_a,
    iec_overload,
    least_device_a,
    next_standard_a,
    standard_at_most_a,
    withstand_i2t_a2s,
)
from interop.standards.sizes import parse_size

# NEC 240.6(A) (V2), as one reads it aloud
NEC_240_6_A = (
    "15 20 25 30 35 40 45 50 60 70 80 90 100 110 125 150 175 200 225 250 300 350 400 450 500 600 700 800 "
    "1000 1200 1600 2000 2500 3000 4000 5000 6000"
)
NEC_240_6_A_FUSES = "1 3 6 10"


def test_nec_240_6_a() -> None:
    assert " ".join(map(str, STANDARD_RATINGS_A)) == NEC_240_6_A
    assert " ".join(map(str, EXTRA_FUSE_RATINGS_A)) == NEC_240_6_A_FUSES


def test_nec_240_4_b_worked_example() -> None:
    # 2 AWG at 75 C: 115 A takes a 125 A device, 110 A where the next size up is not allowed (V1).
    ampacity_a = table_ampacity_a(parse_size("2 AWG"), 75)
    assert ampacity_a == 115
    assert device_limit_a(ampacity_a) == 125
    assert standard_at_most_a(device_limit_a(ampacity_a)) == 125
    assert standard_at_most_a(device_limit_a(ampacity_a, next_size_up=False)) == 110


@pytest.mark.parametrize(
    "ampacity_a, limit_a",
    # 240.4(B): the next size up ends at 800 A; 240.4(C): above, the ampacity itself (V2)
    [(200, 200), (230, 250), (701, 800), (800, 800), (801, 801), (900, 900), (1000, 1000)],
)
def test_nec_240_4_b_and_c(ampacity_a: float, limit_a: float) -> None:
    assert device_limit_a(ampacity_a) == limit_a


@pytest.mark.parametrize(
    "low_v, current_a, least_a, device_a",
    # Two 6 kW inverters at 93 %: 12,000 W / 0.93 over the lowest voltage, x 1.25, next standard rating (worked by hand)
    [(48, 268.8, 336, 350), (44, 293.3, 367, 400)],
)
def test_inverters_at_their_lowest_voltage(low_v: float, current_a: float, least_a: float, device_a: int) -> None:
    current = 12_000 / 0.93 / low_v
    assert current == pytest.approx(current_a, abs=0.05)
    assert least_device_a(current) == pytest.approx(least_a, abs=0.5)
    assert next_standard_a(least_device_a(current)) == device_a


def test_nec_210_20_a_continuous() -> None:
    # A 200 A device not listed at 100 % carries 160 A continuously (V1).
    assert continuous_capacity_a(200) == 160
    assert continuous_capacity_a(200, hundred_percent_rated=True) == 200
    assert next_standard_a(least_device_a(160)) == 200


def test_iec_rule() -> None:
    # Ib <= In <= Iz and I2 <= 1.45 Iz (from memory). A gG fuse melts at 1.6 In, so 200 A needs 220.7 A of cable.
    melts = CONVENTIONAL_TRIPPING["fuse gG, 16 A and more"].times_rating * 200
    short, enough = iec_overload(160, 200, 220, melts), iec_overload(160, 200, 221, melts)
    assert (short.carries_load, short.within_conductor, short.trips_in_time) == (True, True, False)
    assert (enough.carries_load, enough.within_conductor, enough.trips_in_time) == (True, True, True)


def test_breakers_of_both_iec_standards_pass_where_their_rating_does() -> None:
    for kind, factor in [("breaker to IEC 60898", 1.45), ("breaker to IEC 60947-2", 1.30)]:
        assert CONVENTIONAL_TRIPPING[kind].times_rating == factor
        assert iec_overload(100, 125, 125, factor * 125).trips_in_time is True


@pytest.mark.parametrize(
    "text, insulation, a2s",
    # k = 115 PVC, 143 XLPE (from memory): k2 S2 worked by hand
    [("70 mm2", "pvc", 64_802_500), ("70 mm2", "xlpe", 100_200_100), ("25 mm2", "pvc", 8_265_625)],
)
def test_iec_60364_4_43_withstand(text: str, insulation: str, a2s: float) -> None:
    assert withstand_i2t_a2s(parse_size(text), insulation) == pytest.approx(a2s, rel=1e-12)


def test_typical_interrupting_capacities_are_from_memory() -> None:
    listed = {kind: (one.low_ka, one.high_ka, one.usual_v) for kind, one in TYPICAL_INTERRUPTING.items()}
    assert listed == {
        "small moulded breaker": (5, 10, ()),
        "large frame breaker": (10, 50, ()),
        "bolt-down strip or terminal fuse": (2, 6, (32, 58)),
        "class T fuse": (200, 200, ()),
    }
    assert not any(one.source.certainty.may_stop for one in TYPICAL_INTERRUPTING.values())
    assert [kind for kind, one in TYPICAL_INTERRUPTING.items() if one.alternating] == ["class T fuse"]


def test_four_packs_pass_what_is_asked_of_a_large_bank() -> None:
    # 58.4 V behind 10 mohm is 5.84 kA; four such packs give 23.4 kA (worked by hand), above 20 kA at 125 V (V1).
    one_ka = 58.4 / 0.010 / 1000
    assert one_ka == pytest.approx(5.84)
    asked = LARGE_BANK_INTERRUPTING
    assert (asked.above_ah, asked.above_ka, asked.interrupting_ka, asked.at_v) == (500, 10, 20, 125)
    assert one_ka < asked.interrupting_ka < 4 * one_ka
