"""Cable notes: pins, colours, what is kept and cut, and the readings of the meter."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interop.documents.conductors import conductor_inputs
from interop.documents.face import CableFace, FaceMismatch
from interop.documents.notes import NoteInput, cable_notes, note_inputs
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
    entry = {"joined": [["1", "4"], ["2", "5"]], "cut": [], "remove": [[None, "1"]]}
    schemes, lines = conductor_inputs(entry, CableFace("terminal block 6", "rj45"))
    assert schemes == ("T568A", "T568B")
    assert [(line.here, line.there, line.colours[1], line.pair) for line in lines] == [
        ("1", "4", "blue", "4-5"),
        ("2", "5", "white/blue", "4-5"),
        ("", "1", "white/orange", "1-2"),
    ]
    entry = {"joined": [], "cut": [], "remove": [[None, "1"], ["2", None]]}  # no colour where the pin is not known
    assert [(line.here, line.there, line.colours, line.pair) for line in conductor_inputs(
        entry, CableFace("rj45", "rj45"))[1]] == [
        ("2", "", ("green", "orange"), "1-2"), ("", "1", ("-", "-"), "none")]  # fmt: skip


@pytest.mark.parametrize(
    "change, message",
    [
        ({"joined": [["9", "8"]]}, "cable W1: its from plug rj45 has no contact 9"),
        ({"remove": [["9", "8"]]}, "cable W1: its from plug rj45 has no contact 9"),
        ({"remove": [["7", "7"]]}, "cable W1: its conductor 7 to 7 stays or is cut, and is removed"),
        ({"remove": [["1", "1"]]}, "cable W1: its conductor 1 to 1 stays or is cut, and is removed"),
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


# --- cables that stand there already -------------------------------------------------------------------------------


def one_note(entry: dict[str, Any], **face: Any) -> NoteInput:
    """Note W1 of the small plan with its entry changed, and a face of an installed cable."""
    plan = small_plan()
    plan["cables"]["W1"] |= entry
    faces = small_faces()
    cables = {**faces.cables, "W1": replace(faces.cables["W1"], installed=True, **face)}
    return next(note for note in note_inputs(plan, replace(faces, cables=cables)) if note.id == "W1")


def straight(*pins: int) -> tuple[tuple[str, str], ...]:
    return tuple((str(pin), str(pin)) for pin in pins)


MOVED = {"work": "move", "moved": [[["R2", "LINK", "LINK2"], ["N1", "LINK", "LINK2"]]]}


def test_a_cable_that_only_moves_says_from_where_to_where_and_has_nothing_cut() -> None:
    note = one_note(MOVED | {"joined": [["7", "7"], ["8", "8"]], "cut": []}, was=straight(7, 8))
    assert note.work == "move"
    assert note.kind_words == "straight, only conductors 7, 8, 0.5 m. No conductor changes"
    assert note.moves == (
        "Move the plug of end 1 from R2 LINK2 (rack L slot 3) to N1 LINK2 (rack L slot 1).",
        "End 2 stays in R1 LINK1.",
    )
    assert [(one.here, one.do) for one in note.conductors] == [("7", "keep"), ("8", "keep")]
    assert {state for end in note.ends for _pin, state in end.contacts} == {"keep", "empty"}


def test_the_printed_note_of_a_moved_cable(tmp_path: Path) -> None:
    plan = small_plan()
    plan["cables"]["W1"] |= MOVED | {"cut": []}
    faces = small_faces()
    face = replace(faces.cables["W1"], installed=True, was=straight(7, 8))
    page = " ".join(texts(cable_notes(plan, replace(faces, cables={**faces.cables, "W1": face})), tmp_path)[0].split())
    assert "MOVE this cable" in page
    assert "Move the plug of end 1 from R2 LINK2 (rack L slot 3) to N1 LINK2 (rack L slot 1)." in page
    assert "CUT" not in page


def test_a_cable_that_moves_and_changes_says_both() -> None:
    entry = MOVED | {"work": "move and alter", "cut": ["1", "2"]}
    note = one_note(entry, was=straight(1, 2, 7, 8), was_cut=())
    assert (note.work, len(note.moves)) == ("move and alter", 2)
    assert [(one.here, one.do) for one in note.conductors] == [
        ("1", "cut"), ("2", "cut"), ("7", "keep"), ("8", "keep")]  # fmt: skip


def test_what_is_cut_already_is_checked_and_what_is_missing_is_joined() -> None:
    note = one_note({"work": "alter", "cut": ["1", "2"]}, was=straight(2, 7), was_cut=("1",))
    assert [(one.here, one.do) for one in note.conductors] == [
        ("1", "is cut"), ("2", "cut"), ("7", "keep"), ("8", "add")]  # fmt: skip
    assert note.kind_words.endswith(", 0.5 m. It lacks 1 of its conductors: new plugs, or a new cable")


def test_a_cable_of_unknown_make_is_metered_first() -> None:
    note = one_note({"work": "alter"}, was=None)
    assert note.kind_words.endswith(
        "0.5 m. How it is made now is not known: meter it first, and remove every conductor that is not listed"
    )


def test_a_plug_whose_socket_nobody_wrote_down_is_looked_for() -> None:
    note = one_note(MOVED | {"moved": [[["N1", "LINK", None], ["N1", "LINK", "LINK2"]]]}, was=straight(7, 8))
    assert note.moves[0] == "End 1 belongs in N1 LINK2; look where it is now."


def test_the_note_of_a_report_cable_says_which_unit_and_what_to_enter(tmp_path: Path) -> None:
    plan = small_plan()
    plan["devices"]["INV"]["units"] = 3
    plan["cables"]["W3"]["lands_on"] = "unit 1"
    plan["settings"] = {"INV": {"dialect": {"value": "tarn-can: menu 21, code 03", "because": "", "set_by": ["N1"]}}}
    notes = {note.id: note for note in note_inputs(plan, small_faces())}
    assert notes["W3"].ends[1].goes_to == "INV BAT, unit 1 of 3"
    words = "Plug into INV BAT, unit 1 of 3; into no other unit. Enter in INV: tarn-can: menu 21, code 03."
    assert {name: note.controller for name, note in notes.items()} == {"W1": "", "W2": "", "W3": words, "W4": ""}
    assert flat(words) in flat(texts(cable_notes(plan, small_faces()), tmp_path)[1])


def test_a_plug_that_no_standard_names_has_the_pins_of_its_record() -> None:
    faces = small_faces()
    face = CableFace("not stated", "rj45", poles_from=tuple("12345678"))
    faces = replace(faces, cables={**faces.cables, "W1": face})
    note = next(one for one in note_inputs(small_plan(), faces) if one.id == "W1")
    assert note.rows == tuple("12345678")
    assert note.ends[0].hint.startswith("In the order of their numbers, not in their true places")


def test_a_cable_to_take_out_needs_no_known_plug() -> None:
    faces = small_faces()
    cables = {**faces.cables, "W4": CableFace("not stated", "not stated")}
    note = next(n for n in note_inputs(small_plan(), replace(faces, cables=cables)) if n.id == "W4")
    assert (note.work, note.rows, note.conductors) == ("remove", (), ())
