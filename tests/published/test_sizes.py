"""Conductor areas from published tables and definitions, held against the gauge formula."""

from __future__ import annotations

import math

import pytest

from interop.standards.sizes import awg_diameter_mm, parse_length_m, parse_size

# NEC chapter 9 table 8, area in circular mils (V2).
NEC_9_TABLE_8 = [
    ("14 AWG", 4110), ("12 AWG", 6530), ("10 AWG", 10380), ("8 AWG", 16510), ("6 AWG", 26240), ("4 AWG", 41740),
    ("3 AWG", 52620), ("2 AWG", 66360), ("1 AWG", 83690), ("1/0 AWG", 105600), ("2/0 AWG", 133100),
    ("3/0 AWG", 167800), ("4/0 AWG", 211600), ("250 kcmil", 250000), ("300 kcmil", 300000),
    ("350 kcmil", 350000), ("400 kcmil", 400000), ("500 kcmil", 500000),
]  # fmt: skip


@pytest.mark.parametrize("text, circular_mils", NEC_9_TABLE_8)
def test_nec_chapter_9_table_8_circular_mils(text: str, circular_mils: float) -> None:
    assert parse_size(text).circular_mils == pytest.approx(circular_mils, rel=1e-3)


def test_the_two_gauges_that_define_the_scale() -> None:
    # ASTM B258: 4/0 is 0.4600 in, 36 is 0.0050 in, 38 equal steps between them.
    assert awg_diameter_mm(-3) == pytest.approx(0.46 * 25.4, rel=1e-12)
    assert awg_diameter_mm(36) == pytest.approx(0.005 * 25.4, rel=1e-12)
    ratios = [awg_diameter_mm(n) / awg_diameter_mm(n + 1) for n in range(-3, 36)]
    assert ratios == pytest.approx([92 ** (1 / 39)] * 39, rel=1e-12)


def test_area_is_that_of_a_circle_of_the_diameter() -> None:
    # The stated diameters of 4/0 and 36 are exact, so their areas need no table.
    assert parse_size("4/0 AWG").area_mm2 == pytest.approx(math.pi * (11.684 / 2) ** 2, rel=1e-12)
    assert parse_size("36 AWG").area_mm2 == pytest.approx(math.pi * (0.127 / 2) ** 2, rel=1e-12)


@pytest.mark.parametrize(
    "text, area_mm2",
    # Usual conversions of the trade, rounded as printed (common practice)
    [
        ("10 AWG", 5.26),
        ("8 AWG", 8.37),
        ("2 AWG", 33.6),
        ("2/0 AWG", 67.4),
        ("4/0 AWG", 107.2),
        ("250 kcmil", 126.7),
    ],
)
def test_usual_metric_areas(text: str, area_mm2: float) -> None:
    assert parse_size(text).area_mm2 == pytest.approx(area_mm2, rel=1e-3)


def test_foot_and_inch_are_exact() -> None:
    # International yard and pound agreement: 1 ft = 0.3048 m, 1 in = 0.0254 m
    assert (parse_length_m("1 ft"), parse_length_m("1 in")) == (0.3048, 0.0254)
