from __future__ import annotations

import re
from typing import get_args

import pytest

from interop.standards.cautions import CAUTIONS, LONGEST_TEXT, Caution, Where, cautions_for
from interop.standards.sources import Certainty

BY_ID = {one.id: one for one in CAUTIONS}


def test_ids_are_plain_and_unique() -> None:
    assert len(BY_ID) == len(CAUTIONS)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", one.id) for one in CAUTIONS)


@pytest.mark.parametrize("one", CAUTIONS, ids=lambda one: one.id)
def test_each_is_short_whole_and_printable(one: Caution) -> None:
    assert len(one.text) <= LONGEST_TEXT == 140
    assert one.text.endswith(".")
    assert one.text.isascii()
    assert one.text.isprintable()
    assert one.where <= set(get_args(Where))
    assert one.where


@pytest.mark.parametrize("one", CAUTIONS, ids=lambda one: one.id)
def test_none_promises_that_anything_is_safe(one: Caution) -> None:
    promise = r"\bsafe(ly|ty)?\b|harmless|no danger|can be touched|may be touched"
    assert not re.search(promise, one.text, re.IGNORECASE)


@pytest.mark.parametrize("where", get_args(Where))
def test_every_document_defers_and_shows_one_plan(where: Where) -> None:
    ids = [one.id for one in cautions_for(where)]
    assert {"defer", "one-plan", "data-cables-out-first"} <= set(ids)
    assert ids == [one.id for one in CAUTIONS if one.id in ids]


def test_the_sheet_on_a_pack_carries_every_hazard() -> None:
    assert {
        "isolate-first", "live-terminals", "arc-and-burn", "guard-live-parts", "insulated-tools", "eye-protection",
        "no-jewellery", "voltage-difference",
    } <= {one.id for one in cautions_for("sheet")}  # fmt: skip


def test_the_threshold_of_guarding_is_sourced() -> None:
    guard = BY_ID["guard-live-parts"]
    assert "50 V or more" in guard.text
    assert str(guard.source) == "OSHA, 29 CFR 1910.303(g)(2)(i) (V1)"


def test_what_has_no_clause_is_called_common_practice() -> None:
    for one in CAUTIONS:
        assert (one.source.certainty is Certainty.PRACTICE) == (one.source.title == "common practice")
        assert one.source.clause or one.source.certainty is Certainty.PRACTICE
