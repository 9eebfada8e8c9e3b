"""Words that findings share."""

from __future__ import annotations

import pytest

from interop.records.facts import ABSENT, Fact, Statement
from interop.rules.wording import fact_missing, figure, joined, look_up, named, shown_pattern


@pytest.mark.parametrize(
    "ids, text",
    [
        ("R1 R2 R3 R4", "R1..R4"),
        ("R1 R2", "R1, R2"),
        ("R9 R10 R11 N1", "R9..R11, N1"),
        ("R1 R3 R4 R5", "R1, R3..R5"),
        ("R3 R2 R1", "R3, R2, R1"),
        ("R08 R09 R10", "R08..R10"),
        ("R9 R010 R11", "R9, R010, R11"),
        ("A1 B2 C3", "A1, B2, C3"),
        ("left right", "left, right"),
        ("", ""),
    ],
)
def test_ids_fold_into_ranges(ids: str, text: str) -> None:
    assert named(ids.split()) == text


def test_words_are_joined() -> None:
    assert [joined(w) for w in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]


def test_figures_carry_no_noise_and_their_unit() -> None:
    assert [figure(55.6 - 55.2, "V"), figure(16.0), figure(250000, "bit/s")] == ["0.4 V", "16", "250000 bit/s"]


def test_patterns_print_as_the_site_file_writes_them() -> None:
    assert shown_pattern(("off", "on", "x")) == "01x"
    assert shown_pattern(("7",)) == "7"


def test_the_advice_differs_by_what_is_missing() -> None:
    looked = Fact[str]((), looked=True)
    disputed = Fact((Statement("lfp", "manual", "p. 2"), Statement("nmc", "sheet")))
    assert look_up("tarn", "cells.chemistry", ABSENT) == (
        "Look up cells.chemistry of tarn; a manual usually prints it in the table of technical data, or on the type "
        "plate.")
    assert look_up("tarn", "cells.chemistry", looked) == (
        "Ask the maker for cells.chemistry of tarn: its sources do not state it.")
    assert look_up("tarn", "cells.chemistry", disputed) == (
        "Settle cells.chemistry of tarn with its maker: its sources differ.")
    assert fact_missing("tarn", "cells.chemistry", disputed) == (
        "the sources of tarn differ on cells.chemistry: lfp (manual p. 2), nmc (sheet)")
