"""Conductor resistances typed by hand from published tables, held against ours and against copper of that area."""

from __future__ import annotations

import math

import pytest

from interop.standards.conductors import ConductorOhm, conductor_ohm_per_m, copper_ohm_per_m, listed_sizes
from interop.standards.sizes import parse_size
from interop.standards.sources import Certainty

# NEC chapter 9 table 8, stranded, uncoated copper, direct current, 75 C: ohm/kft (V2).
NEC_9_TABLE_8 = [
    ("14 AWG", 3.14), ("12 AWG", 1.98), ("10 AWG", 1.24), ("8 AWG", 0.778), ("6 AWG", 0.491), ("4 AWG", 0.308),
    ("3 AWG", 0.245), ("2 AWG", 0.194), ("1 AWG", 0.154), ("1/0 AWG", 0.122), ("2/0 AWG", 0.0967),
    ("3/0 AWG", 0.0766), ("4/0 AWG", 0.0608), ("250 kcmil", 0.0515), ("300 kcmil", 0.0429), ("350 kcmil", 0.0367),
    ("400 kcmil", 0.0321), ("500 kcmil", 0.0258),
]  # fmt: skip
FEET_IN_A_METRE = 3.280839895

# IEC 60228 class 5, 20 C, maximum ohm/km: mm2, plain, coated (V2).
IEC_60228_CLASS_5 = [
    (10, 1.91, 1.95), (16, 1.21, 1.24), (25, 0.780, 0.795), (35, 0.554, 0.565), (50, 0.386, 0.393),
    (70, 0.272, 0.277), (95, 0.206, 0.210), (120, 0.161, 0.164),
]  # fmt: skip

# IEC 60228 class 2 at 50 mm2, maximum ohm/km: the one size where class 5 is below it (from memory).
CLASS_2_AT_50_MM2 = 0.387


def ohm(text: str, temperature_c: float, kind: str) -> ConductorOhm:
    found = conductor_ohm_per_m(parse_size(text), temperature_c, kind)
    assert found is not None
    return found


@pytest.mark.parametrize("text, ohm_per_kft", NEC_9_TABLE_8)
def test_nec_chapter_9_table_8(text: str, ohm_per_kft: float) -> None:
    assert ohm(text, 75, "stranded").nominal * 1000 / FEET_IN_A_METRE == pytest.approx(ohm_per_kft, rel=1e-9)


def test_nec_chapter_9_table_8_ends_where_ours_ends() -> None:
    assert [size.text for size in listed_sizes("stranded")] == [text for text, _ in NEC_9_TABLE_8]


@pytest.mark.parametrize("mm2, plain, coated", IEC_60228_CLASS_5)
def test_iec_60228_class_5(mm2: int, plain: float, coated: float) -> None:
    assert ohm(f"{mm2} mm2", 20, "class 5").nominal * 1000 == pytest.approx(plain, rel=1e-12)
    assert ohm(f"{mm2} mm2", 20, "class 5 coated").nominal * 1000 == pytest.approx(coated, rel=1e-12)


@pytest.mark.parametrize("kind", ["class 5", "class 5 coated"])
def test_iec_60228_class_5_ends_where_ours_ends(kind: str) -> None:
    assert [size.text for size in listed_sizes(kind)] == [f"{mm2} mm2" for mm2, _, _ in IEC_60228_CLASS_5]


@pytest.mark.parametrize("text", [text for text, _ in NEC_9_TABLE_8])
def test_stranded_copper_is_1_5_to_3_percent_above_copper_of_its_area(text: str) -> None:
    # 1.7241e-8 ohm m at 20 C over the circular mils of table 8, one of which is 5.067075e-10 m2
    circular_mils = parse_size(text).circular_mils
    copper = 1.7241e-8 / (circular_mils * 5.067075e-10)
    assert ohm(text, 20, "stranded").low == pytest.approx(copper, rel=1e-5)
    assert 1.015 < ohm(text, 20, "stranded").nominal / copper < 1.03


@pytest.mark.parametrize("mm2, plain, coated", IEC_60228_CLASS_5)
def test_class_5_is_10_to_14_percent_above_copper_of_its_area(mm2: int, plain: float, coated: float) -> None:
    copper_ohm_per_km = 17.241 / mm2
    found = ohm(f"{mm2} mm2", 20, "class 5")
    assert found.low * 1000 == pytest.approx(copper_ohm_per_km, rel=1e-12)
    assert 1.10 < found.nominal / found.low < 1.14
    assert 1.01 < coated / plain < 1.03


def test_class_5_at_50_mm2_really_is_below_class_2() -> None:
    plain, coated = ohm("50 mm2", 20, "class 5"), ohm("50 mm2", 20, "class 5 coated")
    assert plain.nominal * 1000 < CLASS_2_AT_50_MM2 < coated.nominal * 1000


def test_iacs_copper() -> None:
    # IEC 60028: one metre of 1 mm2 is 1/58 ohm at 20 C; 0.00393 more of it by each kelvin
    assert copper_ohm_per_m(parse_size("1 mm2"), 20) == pytest.approx(1 / 58, rel=3e-5)
    assert copper_ohm_per_m(parse_size("1 mm2"), 70) == pytest.approx(1.1965 / 58, rel=3e-5)


@pytest.mark.parametrize("text", ["14 AWG", "2/0 AWG", "500 kcmil"])
def test_table_8_at_20_c_is_0_8224_of_itself(text: str) -> None:
    # Computed from R2 = R1 [1 + 0.00323 (T2 - 75)]: 1 - 0.00323 x 55 = 0.82235
    ratio = ohm(text, 20, "stranded").nominal / ohm(text, 75, "stranded").nominal
    assert ratio == pytest.approx(0.82235, abs=1e-9)
    # the same rule seen from 20 C: 1 / (1 + 0.00393 x 55) = 0.8223
    assert ratio == pytest.approx(1 / (1 + 0.00393 * 55), rel=2e-4)


def test_class_5_follows_copper_and_not_the_printed_factors() -> None:
    # The standard's printed factors follow 0.004/K, which gives 1.200 at 70 C.
    ratio = ohm("70 mm2", 70, "class 5").nominal / ohm("70 mm2", 20, "class 5").nominal
    assert ratio == pytest.approx(1.1965, rel=1e-12)


def test_what_each_figure_rests_on() -> None:
    stranded, fine = ohm("2/0 AWG", 20, "stranded").sources, ohm("70 mm2", 20, "class 5").sources
    assert [str(stranded[name]) for name in ("low", "nominal", "high")] == [
        "IEC 60028, 100 % IACS (V2)",
        "NEC, chapter 9 table 8, stranded uncoated (V2)",
        "ASTM B8, area at least 98 % of nominal (MEM)",
    ]
    assert str(fine["high"]) == str(fine["nominal"]) == "IEC 60228, class 5, plain, maximum (V2)"
    assert not stranded["high"].certainty.may_stop
    assert fine["low"].certainty is Certainty.V2


def test_one_metre_of_lead_as_worked_by_hand() -> None:
    # 2/0 at 75 C: 0.0967 ohm / 304.8 m = 317.3 uohm/m; 70 mm2 class 5 at 20 C: 272 uohm/m. 150 A over 2 x 1.8 m of
    # the latter is 0.147 V.
    assert ohm("2/0 AWG", 75, "stranded").nominal == pytest.approx(317.26e-6, abs=0.01e-6)
    assert math.isclose(150 * 3.6 * ohm("70 mm2", 20, "class 5").nominal, 0.14688, rel_tol=1e-9)
