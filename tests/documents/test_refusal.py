"""The refusal page."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.documents.manuals import usual_place
from interop.documents.refusal import refusal_page
from tests.documents.example import made
from tests.documents.reading import flat, texts

SHUT = {"settings": False, "joining": False}


def test_it_says_what_blocks_what_to_do_and_where_the_fact_is_printed(tmp_path: Path) -> None:
    (page,) = texts(refusal_page(made(cleared=SHUT)), tmp_path)
    for said in (
        "NOT CLEARED",
        "No setting sheet and no cable note is issued.",
        "As the site stands now, 1 thing is wrong: do not operate it",
        "STOP - cannot tell: C1, C2",
        "The fault current of C1 and C2 is not stated.",
        "Do: Measure or ask for the short-circuit current of C1 and C2.",
        "crag-300: electric.short_circuit_a is not stated. Usually printed in: table of technical data",
    ):
        assert flat(said) in flat(page)
    assert "Neither maker" not in page


def test_a_place_that_the_finding_gives_goes_before_ours(tmp_path: Path) -> None:
    plan = made(cleared=SHUT)
    plan["findings"][0]["facts"][0]["where"] = "page 7 of the binder"
    (page,) = texts(refusal_page(plan), tmp_path)
    assert "Usually printed in: page 7 of the binder." in " ".join(page.split())


@pytest.mark.parametrize("text", ["W" * 5000, "word " * 2000, "\u202e" * 900, "x"])
@pytest.mark.parametrize("draft", [False, True])
def test_it_is_one_page_whatever_the_findings_are(tmp_path: Path, text: str, draft: bool) -> None:
    plan = made(cleared=SHUT, draft=draft, site={"name": text})
    finding = plan["findings"][0]
    facts = [{"record": text, "path": "limits.charge_a", "state": "not-stated"}] * 9
    plan["findings"] = [finding | {"text": text, "todo": text, "about": [text], "facts": facts}] * 30
    plan["found"] = plan["found"] * 50
    pages = texts(refusal_page(plan), tmp_path)
    assert len(pages) == 1
    assert "more, in plan.json and in the report." in " ".join(pages[0].split())


@pytest.mark.parametrize(
    "path, place",
    [
        ("limits.join_difference_v", "chapter on connecting packs in parallel, a line of warning"),
        ("limits.charge_a", "table of technical data, near the end"),
        ("pins.LINK.4", "table of pins beside the picture of the socket, chapter on communication"),
        ("with[0].same_busbar", "list of compatible packs and inverters, often a paper of its own"),
        ("anything", "ask the maker"),
    ],
)
def test_usual_place(path: str, place: str) -> None:
    assert usual_place(path) == place
