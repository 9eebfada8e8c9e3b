"""Cable notes: pins, colours, what is kept and cut, and the readings of the meter."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interop.documents.conductors import conductor_inputs
from interop.documents.face import CableFace, FaceMismatch
from interop.documents.notes import cable_notes, note_inputs
from interop.documents.settle import NotCleared
from interop.standards.plugs import UnknownPlug
from tests.documents.example import made, small_faces, small_plan
from tests.documents.reading import flat, images, texts, words


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    read = texts(cable_notes(small_plan(), small_faces()), tmp_path_factory.mktemp("notes"))
    return [" ".join(page.replace("\u200b", "").split()) for page in read]


def test_a_page_for_each_cable_to_work_on_then_one_for_the_rest(pages: list[str]) -> None:
    assert len(pages) == 4
    for page, start in zip(
        pages, ("W1 ALTER this cable", "W3 MAKE this cable", "Cables that stay", "Cables to"), strict=True
    ):
        assert page.startswith(start)


@pytest.mark.parametrize(
    "page, said",
    [
        (0, "straight, 6 conductors cut at both ends, 0.5 m"),
        (0, "End 1: N1 LINK2"),
        (0, "End 2: R1 LINK1"),
        (0, "Contacts towards you, latch on the far side, cable hanging down."),
        (0, "1 - white/green white/orange 1-2 CUT, both ends"),
        (0, "2 - green orange 1-2 CUT, both ends"),
        (0, "3 - white/orange white/green 3-6 CUT, both ends"),
        (0, "4 - blue blue 4-5 CUT, both ends"),
        (0, "5 - white/blue white/blue 4-5 CUT, both ends"),
        (0, "6 - orange green 3-6 CUT, both ends"),
        (0, "7 7 white/brown white/brown 7-8 KEEP"),
        (0, "8 8 brown brown 7-8 KEEP"),
        (0, "Must beep, end 1 to end 2: 7 to 7, 8 to 8. Nothing else may beep"),
        (
            0,
            "If a plain straight cable is used instead: A straight cable joins a stop line to a 12 V supply.",
        ),
        (0, "Why: A plain straight cable would join the stop line of R1 to the supply of N1."),
        (1, "re-pinned: NOT a straight cable, 3 m"),
        (1, "End 2: INV BAT"),
        (1, "4 1 blue blue 4-5 KEEP"),
        (1, "6 6 orange green 3-6 KEEP"),
        (1, "Must beep, end 1 to end 2: 4 to 1, 5 to 2, 6 to 6."),
        (2, "W2 stays End 1: R1 LINK2 (plug rj45). End 2: R2 LINK1 (plug rj45). It is straight, 0.3 m."),
        (3, "W4: from C1 COM to C2 COM."),
    ],
)
def test_a_note_says(pages: list[str], page: int, said: str) -> None:
    # colours: TIA-568, T568A and T568B, two independent copies agree
    assert flat(said) in flat(pages[page]), pages[page]


def test_every_page_carries_the_fingerprint_and_what_must_be_settled(pages: list[str]) -> None:
    digits = small_plan()["fingerprint"]
    for page in pages:
        assert f"Plan {digits[:4]} {digits[4:8]} {digits[8:12]}" in page
    for page in pages[:3]:
        assert "Settle first: Measure or ask for the short-circuit current of C1 and C2." in page


def test_the_meter_table_beeps_where_conductors_are_kept_and_nowhere_else() -> None:
    notes = {note.id: note for note in note_inputs(small_plan(), small_faces())}
    assert notes["W3"].rows == ("1", "2", "3", "4", "5", "6", "7", "8", "shell")
    assert notes["W3"].columns == ("1", "2", "3", "4", "5", "6")
    beeps = [
        (row, column)
        for row, line in zip(notes["W3"].rows, notes["W3"].beeps, strict=True)
        for column, beep in zip(notes["W3"].columns, line, strict=True)
        if beep
    ]
    assert beeps == [("4", "1"), ("5", "2"), ("6", "6")]


def test_the_printed_table_has_one_beep_for_each_kept_conductor_in_its_row_and_column(tmp_path: Path) -> None:
    _w, _h, listed = words(cable_notes(small_plan(), small_faces()), tmp_path)[1]
    beeps = sorted((word for word in listed if word.text == "BEEP"), key=lambda word: word.y)
    heads = [
        word
        for word in listed
        if word.text.isdigit() and abs(word.y - (beeps[0].y - 4 * (beeps[1].y - beeps[0].y))) < 3
    ]
    columns = [min(heads, key=lambda head: abs(head.x - beep.x)).text for beep in beeps]
    rows = [
        min((w for w in listed if w.text.isdigit() and abs(w.y - beep.y) < 4), key=lambda w: w.x).text for beep in beeps
    ]
    assert list(zip(rows, columns, strict=True)) == [("4", "1"), ("5", "2"), ("6", "6")]


def test_a_beep_and_a_keep_are_white_on_black(tmp_path: Path) -> None:
    pdf = cable_notes(small_plan(), small_faces())
    picture = images(pdf, tmp_path)[1]
    marked = [word for word in words(pdf, tmp_path)[1][2] if word.text in ("BEEP", "KEEP")]
    assert len(marked) == 6
    for word in marked:
        assert picture[round(word.y), round(word.left - 2)] < 60


def test_colours_come_from_the_far_plug_if_only_that_has_a_scheme() -> None:
    entry = {"joined": [["1", "4"], ["2", "5"]], "cut": []}
    schemes, lines = conductor_inputs(entry, CableFace("terminal block 6", "rj45"))
    assert schemes == ("T568A", "T568B")
    assert [(line.here, line.there, line.colours[1], line.pair) for line in lines] == [
        ("1", "4", "blue", "4-5"),
        ("2", "5", "white/blue", "4-5"),
    ]


@pytest.mark.parametrize(
    "change, message",
    [
        ({"joined": [["9", "8"]]}, "cable W1: its from plug rj45 has no contact 9"),
        ({"joined": [["7", "8"], ["8", "8"]]}, "cable W1: contact 8 of its to plug has two conductors"),
        ({"joined": [["7", "7"], ["1", "8"]]}, "cable W1: contact 1 of its from plug has two conductors"),
    ],
)
def test_a_pin_map_that_cannot_be_is_refused(change: dict[str, Any], message: str) -> None:
    plan = small_plan()
    plan["cables"]["W1"] |= change
    with pytest.raises(FaceMismatch) as caught:
        cable_notes(plan, small_faces())
    assert str(caught.value) == message


def test_a_plug_nobody_knows_is_refused() -> None:
    faces = small_faces()
    faces = replace(faces, cables={**faces.cables, "W1": CableFace("rj99", "rj45")})
    with pytest.raises(UnknownPlug):
        cable_notes(small_plan(), faces)


def test_a_draft_is_marked_on_every_page_and_without_clearance_nothing_else_is_made(tmp_path: Path) -> None:
    plan = made(draft=True, cleared={"settings": False, "joining": False})
    assert all("DRAFT - NOT FOR INSTALLATION" in page for page in texts(cable_notes(plan, small_faces()), tmp_path))
    with pytest.raises(NotCleared):
        cable_notes(plan | {"draft": False}, small_faces())


def test_a_site_without_data_cables_says_so(tmp_path: Path) -> None:
    (page,) = texts(cable_notes(made(cables={}), small_faces()), tmp_path)
    assert "This plan has no data cables." in page
