from __future__ import annotations

import pytest

from interop.standards.sources import COMMON_PRACTICE, PROJECT_DEFAULT, Certainty, Source


@pytest.mark.parametrize(
    ("source", "text"),
    [
        (Source("TIA-568", "T568B", Certainty.V2), "TIA-568, T568B (V2)"),
        (Source("TIA/EIA-485", "", Certainty.MEM), "TIA/EIA-485 (MEM)"),
        (Source("ASTM B258", "4", Certainty.CALC), "ASTM B258, 4 (V1+calc)"),
        (COMMON_PRACTICE, "common practice (PRACTICE)"),
        (PROJECT_DEFAULT, "default of this project (DEFAULT)"),
    ],
)
def test_a_source_prints_title_clause_and_mark(source: Source, text: str) -> None:
    assert str(source) == text


@pytest.mark.parametrize("certainty", list(Certainty))
def test_every_certainty_says_what_it_means(certainty: Certainty) -> None:
    assert len(certainty.meaning) > 10


def test_only_a_value_from_memory_may_not_stop_alone() -> None:
    assert [one for one in Certainty if not one.may_stop] == [Certainty.MEM]


def test_sources_with_equal_fields_are_one_source() -> None:
    assert len({Source("a", "b", Certainty.V1), Source("a", "b", Certainty.V1)}) == 1
