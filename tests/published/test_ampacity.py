"""Ampacities and ambient factors typed by hand from published tables, held against ours."""

from __future__ import annotations

import pytest

from interop.standards.ampacity import (
    AMBIENT_SOURCE,
    PARALLEL_SOURCE,
    SMALL_CONDUCTOR_SOURCE,
    TERMINAL_SOURCE,
    ambient_factor,
    conductor_ampacity,
    may_run_in_parallel,
    small_conductor_device_a,
    table_ampacity_a,
    table_source,
    terminal_column_c,
)
from interop.standards.sizes import parse_size

# NEC table 310.16, copper, 30 C: A at 60, 75, 90 C (V2 to 1 AWG, V1 from 1/0).
NEC_310_16 = [
    ("14 AWG", 15, 20, 25), ("12 AWG", 20, 25, 30), ("10 AWG", 30, 35, 40), ("8 AWG", 40, 50, 55),
    ("6 AWG", 55, 65, 75), ("4 AWG", 70, 85, 95), ("3 AWG", 85, 100, 115), ("2 AWG", 95, 115, 130),
    ("1 AWG", 110, 130, 145), ("1/0 AWG", 125, 150, 170), ("2/0 AWG", 145, 175, 195), ("3/0 AWG", 165, 200, 225),
    ("4/0 AWG", 195, 230, 260), ("250 kcmil", 215, 255, 290), ("300 kcmil", 240, 285, 320),
    ("350 kcmil", 260, 310, 350), ("400 kcmil", 280, 335, 380), ("500 kcmil", 320, 380, 430),
]  # fmt: skip

# NEC ambient factors of table 310.16, 30 C base: band [C], factor of 60, 75, 90 C; None where it prints a
# dash. The bands 36-40 and 46-50 were read; the other rows are from memory.
NEC_AMBIENT_30_C = [
    (-20, 10, 1.29, 1.20, 1.15), (11, 15, 1.22, 1.15, 1.12), (16, 20, 1.15, 1.11, 1.08), (21, 25, 1.08, 1.05, 1.04),
    (26, 30, 1.00, 1.00, 1.00), (31, 35, 0.91, 0.94, 0.96), (36, 40, 0.82, 0.88, 0.91), (41, 45, 0.71, 0.82, 0.87),
    (46, 50, 0.58, 0.75, 0.82), (51, 55, 0.41, 0.67, 0.76), (56, 60, None, 0.58, 0.71), (61, 65, None, 0.47, 0.65),
    (66, 70, None, 0.33, 0.58), (71, 75, None, None, 0.50), (76, 80, None, None, 0.41), (81, 85, None, None, 0.29),
]  # fmt: skip


@pytest.mark.parametrize("text, at_60, at_75, at_90", NEC_310_16)
def test_nec_table_310_16(text: str, at_60: int, at_75: int, at_90: int) -> None:
    size = parse_size(text)
    assert [table_ampacity_a(size, column) for column in (60, 75, 90)] == [at_60, at_75, at_90]


def test_nec_table_310_16_is_sure_to_1_awg_only() -> None:
    marks = [source.certainty.value for text, *_ in NEC_310_16 if (source := table_source(parse_size(text)))]
    assert marks == ["V2"] * 9 + ["V1"] * 9


@pytest.mark.parametrize("first, last, at_60, at_75, at_90", NEC_AMBIENT_30_C)
def test_nec_ambient_factors(first: int, last: int, at_60: float | None, at_75: float | None, at_90: float) -> None:
    printed = [0.0 if factor is None else factor for factor in (at_60, at_75, at_90)]
    for ambient_c in (first, (first + last) / 2, last):
        assert [ambient_factor(ambient_c, column) for column in (60, 75, 90)] == printed


def test_nec_terminals_without_a_mark() -> None:
    # 110.14(C): 60 C up to 100 A or 1 AWG, 75 C above
    columns = [terminal_column_c(parse_size(text), a) for text, a in
               [("4 AWG", 70), ("2/0 AWG", 100), ("1 AWG", 110), ("1/0 AWG", 110), ("4/0 AWG", 225)]]  # fmt: skip
    assert columns == [60, 60, 60, 75, 75]


def test_nec_small_conductors() -> None:
    # 240.4(D): 15, 20 and 30 A on 14, 12 and 10 AWG, below what the table gives at 75 and 90 C
    assert [small_conductor_device_a(parse_size(text)) for text in ("14 AWG", "12 AWG", "10 AWG")] == [15, 20, 30]


def test_nec_parallel_conductors() -> None:
    # 310.10(G): from 1/0 AWG
    allowed = [text for text, *_ in NEC_310_16 if may_run_in_parallel(parse_size(text))]
    assert allowed == [text for text, *_ in NEC_310_16[9:]]
    assert allowed[0] == "1/0 AWG"


def test_derated_then_capped_as_worked_by_hand() -> None:
    # 4/0 of 90 C insulation at 40 C: 260 x 0.91 = 236.6 A, above the 230 A of 75 C terminals.
    warm = conductor_ampacity(parse_size("4/0 AWG"), insulation_c=90, terminal_c=75, ambient_c=40)
    assert warm is not None
    assert (warm.a, warm.terminal_a, warm.capped_by_terminals) == (230, 230, True)
    assert warm.derated_a == pytest.approx(236.6)
    # At 50 C: 260 x 0.82 = 213.2 A.
    hot = conductor_ampacity(parse_size("4/0 AWG"), insulation_c=90, terminal_c=75, ambient_c=50)
    assert hot is not None
    assert hot.a == pytest.approx(213.2)
    assert not hot.capped_by_terminals


def test_what_the_rules_rest_on() -> None:
    assert [str(one) for one in (AMBIENT_SOURCE, TERMINAL_SOURCE, SMALL_CONDUCTOR_SOURCE, PARALLEL_SOURCE)] == [
        "NEC, ambient factors of table 310.16, 30 C base (V1+calc)",
        "NEC, 110.14(C) (V2)",
        "NEC, 240.4(D) (V2)",
        "NEC, 310.10(G) (V2)",
    ]
