from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.standards.conductors import (
    UnknownConductorKind,
    conductor_ohm_per_m,
    copper_ohm_per_m,
    known_conductor_kinds,
    listed_sizes,
)
from interop.standards.sizes import Size, parse_size

LISTED = [(kind, size) for kind in known_conductor_kinds() for size in listed_sizes(kind)]
TEMPERATURES = st.floats(-60, 250)


@pytest.mark.parametrize(
    "text, kind",
    [
        ("6 mm2", "class 5"),  # below the table
        ("60 mm2", "class 5"),
        ("150 mm2", "class 5"),
        ("70.1 mm2", "class 5"),
        ("67.43 mm2", "stranded"),  # the area of 2/0 AWG
        ("70 mm2", "stranded"),
        ("2/0 AWG", "class 5"),
        ("2/0 AWG", "class 5 coated"),
        ("5 AWG", "stranded"),
        ("16 AWG", "stranded"),
        ("133.1 kcmil", "stranded"),
        ("450 kcmil", "stranded"),
        ("750 kcmil", "stranded"),
    ],
)
def test_a_size_that_the_table_lacks_has_no_answer(text: str, kind: str) -> None:
    assert conductor_ohm_per_m(parse_size(text), 20, kind) is None


@pytest.mark.parametrize("text, kind", [("70.0 mm2", "class 5"), ("0 AWG", "stranded"), ("250 MCM", "stranded")])
def test_another_spelling_of_a_listed_size_is_that_size(text: str, kind: str) -> None:
    assert conductor_ohm_per_m(parse_size(text), 20, kind) is not None


@given(st.sampled_from(LISTED), TEMPERATURES)
def test_low_nominal_and_high_stand_in_order_at_every_temperature(listed: tuple[str, Size], celsius: float) -> None:
    kind, size = listed
    found = conductor_ohm_per_m(size, celsius, kind)
    assert found is not None
    assert 0 < found.low < found.nominal <= found.high
    assert found.low == copper_ohm_per_m(size, celsius)


@pytest.mark.parametrize("kind", known_conductor_kinds())
def test_a_larger_size_has_less_resistance(kind: str) -> None:
    found = [conductor_ohm_per_m(size, 20, kind) for size in listed_sizes(kind)]
    falling = [one.nominal for one in found if one is not None]
    assert falling == sorted(falling, reverse=True)
    assert len(set(falling)) == len(listed_sizes(kind))


@given(st.sampled_from(LISTED), TEMPERATURES, TEMPERATURES)
def test_a_warmer_conductor_has_more(listed: tuple[str, Size], one_c: float, other_c: float) -> None:
    kind, size = listed
    cold = conductor_ohm_per_m(size, min(one_c, other_c), kind)
    warm = conductor_ohm_per_m(size, max(one_c, other_c), kind)
    assert cold is not None
    assert warm is not None
    assert cold.nominal <= warm.nominal
    assert cold.low <= warm.low


def test_class_5_high_is_the_table_and_stranded_high_is_two_percent_above() -> None:
    fine = conductor_ohm_per_m(parse_size("70 mm2"), 20, "class 5")
    stranded = conductor_ohm_per_m(parse_size("2/0 AWG"), 20, "stranded")
    assert fine is not None
    assert stranded is not None
    assert fine.high == fine.nominal
    assert stranded.high / stranded.nominal == pytest.approx(1 / 0.98, rel=1e-12)


def test_copper_of_any_area_has_a_least_resistance() -> None:
    # 1.7241e-8 / 240e-6, worked by hand: 71.8 uohm/m, though no table here lists 240 mm2
    assert copper_ohm_per_m(parse_size("240 mm2"), 20) == pytest.approx(71.84e-6, abs=0.01e-6)
    assert conductor_ohm_per_m(parse_size("240 mm2"), 20, "class 5") is None


@pytest.mark.parametrize("celsius", [-60.1, 250.1, math.nan, math.inf, -math.inf])
def test_a_temperature_outside_the_straight_line_is_refused(celsius: float) -> None:
    text = f"a conductor's temperature [C] is from -60 to 250, got {celsius}"
    for text_of_size in ("70 mm2", "240 mm2"):
        with pytest.raises(ValueError) as caught:
            conductor_ohm_per_m(parse_size(text_of_size), celsius, "class 5")
        assert str(caught.value) == text
    with pytest.raises(ValueError):
        copper_ohm_per_m(parse_size("70 mm2"), celsius)


@pytest.mark.parametrize(
    "kind, text",
    [
        ("class5", "no kind of conductor is called 'class5', nearest: class 5"),
        ("", "no kind of conductor is called '', known: stranded, class 5, class 5 coated"),
        ("solid", "no kind of conductor is called 'solid', known: stranded, class 5, class 5 coated"),
    ],
)
def test_an_unknown_kind_names_the_nearest(kind: str, text: str) -> None:
    with pytest.raises(UnknownConductorKind) as caught:
        conductor_ohm_per_m(parse_size("70 mm2"), 20, kind)
    assert str(caught.value).startswith(text)
    assert caught.value.kind == kind
    with pytest.raises(UnknownConductorKind):
        listed_sizes(kind)
