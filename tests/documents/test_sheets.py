"""Setting sheets: what they say, and that every slider is drawn where the plan puts it."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from interop.documents.face import DeviceFace, FaceMismatch, Faces, PortFace, RowFace
from interop.documents.settle import NotCleared, fact_words
from interop.documents.sheets import setting_sheets, sheet_inputs
from interop.documents.switches import row_input
from tests.documents.example import finding, made, many, small_faces, small_plan
from tests.documents.reading import Word, flat, images, texts, words

Row = tuple[str, list[str]]  # the side that is on, the setting in the order printed
SCALE = 2  # pixels a point in the pictures that are read


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    pages = texts(setting_sheets(small_plan(), small_faces()), tmp_path_factory.mktemp("small"))
    return dict(zip(("N1", "R1", "R2", "C1", "C2"), map(one_line, pages), strict=True))


def one_line(text: str) -> str:
    return " ".join(text.replace("\u200b", "").split())


def test_one_page_a_pack_in_walking_order(small: dict[str, str]) -> None:
    for pack, text in small.items():
        assert f"{pack} page 1 of 1 Setting sheets: Ferry landing workshop" in text


@pytest.mark.parametrize(
    "pack, said",
    [
        ("N1", "MANAGER - reports to INV"),
        ("N1", "rack L slot 1"),
        ("N1", "Address: 0"),
        ("N1", "Mode: older"),
        ("N1", "Model: Tarn B, revision B3 and later"),
        ("N1", "Address on rack report: 5"),
        ("N1", "As it stands now: do not operate. R1 and N1 both act as manager."),
        ("N1", "Row ADD: change it"),
        ("N1", "Takes effect: after restart."),
        ("N1", "After a change: restart the pack."),
        ("N1", "LINK1 leave empty"),
        ("N1", "LINK2 cable W1, other end to R1 LINK1"),
        ("N1", "REPORT cable W3, other end to INV BAT"),
        ("N1", "Protective device: breaker 125 A built in, plus; fuse 160 A in the plus cable"),
        ("N1", "(accepted by A. Example on 2031-05-02: both buttons are side by side)"),
        ("R1", "MEMBER - answers N1"),
        ("R1", "1 on, 2 off, 3 on, 4 off"),
        ("R1", "Was: 1 off, 2 off, 3 on, 4 off."),
        ("R1", "ON is down."),
        ("R2", "8 off, 7 on, 6 on, 5 off, 4 off, 3 on, 2 off, 1 on"),
        ("R2", "Row ID: stays"),
        ("R2", "It should stand like this already: check it."),
        ("R2", "This row is mounted upside down: its own figures stand on their heads."),
        ("R2", "LINK2 terminator plug"),
        ("C1", "UNMANAGED - no data cable"),
        ("C1", "points to 3"),
        ("C1", "Was: points to 7."),
        ("C1", "shows 12"),
        ("C1", "Nobody has looked how this row stands"),
        ("C1", "COM take out cable W4; then leave empty"),
        ("C1", "STOP The fault current of C1 and C2 is not stated."),
        ("C1", "CAUTION Neither maker says whether these packs may share a busbar."),
        ("C2", "Was: 1 not looked at, 2 off, 3 on."),
        ("C2", "points to B"),
    ],
)
def test_a_sheet_says(small: dict[str, str], pack: str, said: str) -> None:
    assert flat(said) in flat(small[pack]), small[pack]


def test_every_sheet_carries_what_must_be_settled_the_fingerprint_and_the_cautions(
    small: dict[str, str],
) -> None:
    digits = small_plan()["fingerprint"]
    for text in small.values():
        assert "JOINING NOT CLEARED: do not connect its power terminals." in text
        assert "Settle first: Measure or ask for the short-circuit current of C1 and C2." in text
        assert f"Plan {digits[:4]} {digits[4:8]} {digits[8:12]}" in text
        assert "Local codes" in text
        assert "Done by" in text
        assert "Revision" in text
        assert "DRAFT" not in text


def test_a_finding_about_others_stays_off_the_sheet(small: dict[str, str]) -> None:
    assert "A stop pressed at R1" not in small["R2"]
    assert "mixing" not in small["N1"]
    assert "Neither maker" not in small["N1"]


def test_no_banner_once_joining_is_cleared(tmp_path: Path) -> None:
    plan = made(cleared={"settings": True, "joining": True}, findings=[])
    assert not any("JOINING" in page for page in texts(setting_sheets(plan, small_faces()), tmp_path))


def test_a_draft_is_marked_on_every_page_also_on_second_pages(tmp_path: Path) -> None:
    plan = made(draft=True, cleared={"settings": False, "joining": False})
    plan["findings"] *= 12
    pages = texts(setting_sheets(plan, small_faces()), tmp_path)
    assert len(pages) > 5
    for page in pages:
        assert "DRAFT - NOT FOR INSTALLATION" in page
    assert "page 2 of" in one_line(" ".join(pages))


def test_no_sheet_while_settings_are_not_cleared() -> None:
    plan = made(cleared={"settings": False, "joining": False})
    with pytest.raises(NotCleared):
        setting_sheets(plan, small_faces())


def test_what_must_be_settled_is_counted_when_there_is_too_much(tmp_path: Path) -> None:
    plan = made()
    stop = plan["findings"][0]
    plan["findings"] += [stop | {"todo": f"Do thing {i}."} for i in range(6)] + [stop]  # the same thing to do: once
    assert sheet_inputs(plan, small_faces())[0].settle_more == 3


def test_an_unaccepted_caution_that_must_be_accepted_keeps_joining_shut() -> None:
    plan = made()
    plan["findings"] = [plan["findings"][1] | {"must_accept": True}]
    settle = sheet_inputs(plan, small_faces())[0].settle
    assert settle == ("Fuse both and watch the first full charge.",)


def test_the_date_is_printed_only_if_the_plan_has_one(tmp_path: Path) -> None:
    plan = made(date="2031-05-02")
    digits = plan["fingerprint"]
    for page in texts(setting_sheets(plan, small_faces()), tmp_path):
        assert f"Plan {digits[:4]} {digits[4:8]} {digits[8:12]} of 2031-05-02" in one_line(page)
    assert not any("2031-05-02" in page for page in texts(setting_sheets(made(findings=[]), small_faces()), tmp_path))


# --- faces that do not fit the plan -----------------------------------------------------------------------------


def changed(pack: str, **fields: Any) -> Faces:
    faces = small_faces()
    return replace(faces, devices={**faces.devices, pack: replace(faces.devices[pack], **fields)})


@pytest.mark.parametrize(
    "fields, message",
    [
        ({"rows": ()}, "R1: switch row SET is not in both the plan and the face"),
        ({"rows": (RowFace("SET", "slide", (1, 2, 3)),)}, "R1 row SET: 4 states for 3 switches"),
        ({"rows": (RowFace("SET", "menu"),)}, "R1 row SET: 4 states for 1 switches"),
        ({"ports": ()}, "cable W1 ends at R1 LINK1, a socket that the face does not have"),
        (
            {"ports": (PortFace("LINK", "LINK1"),)},
            "cable W2 ends at R1 LINK2, a socket that the face does not have",
        ),
    ],
)
def test_a_face_that_does_not_fit_is_refused(fields: dict[str, Any], message: str) -> None:
    with pytest.raises(FaceMismatch) as caught:
        setting_sheets(small_plan(), changed("R1", **fields))
    assert str(caught.value) == message


def test_a_slide_switch_is_never_set_to_anything_but_on_or_off() -> None:
    plan = small_plan()
    plan["packs"]["R1"]["switches"]["SET"]["set"][0] = "either"
    with pytest.raises(FaceMismatch, match="a slide switch is set to either"):
        setting_sheets(plan, small_faces())


def test_a_wheel_is_never_set_to_a_mark_that_it_does_not_have() -> None:
    plan = small_plan()
    plan["packs"]["C2"]["switches"]["HEX"]["set"] = ["G"]
    with pytest.raises(FaceMismatch, match="C2 row HEX: G is not one of its marks"):
        setting_sheets(plan, small_faces())


def test_a_pack_without_a_face_is_refused() -> None:
    with pytest.raises(FaceMismatch, match="R1: the plan has this device, but its face is not given"):
        setting_sheets(small_plan(), Faces({"N1": small_faces().devices["N1"]}))


# --- the sliders, read from the picture ---------------------------------------------------------------------------


def nearest(listed: list[Word], text: str, to: Word) -> Word:
    return min((one for one in listed if one.text == text), key=lambda one: abs(one.x - to.x) + abs(one.y - to.y))


def dark(picture: NDArray[np.uint8], x: float, y: float) -> bool:
    spot = picture[round((y - 2) * SCALE) : round((y + 2) * SCALE), round((x - 2) * SCALE) : round((x + 2) * SCALE)]
    assert spot.mean() < 40 or spot.mean() > 215, "the spot is neither black nor white"
    return bool(spot.mean() < 40)


def read_row(picture: NDArray[np.uint8], listed: list[Word], on: Word, printed: tuple[int, ...]) -> Row:
    """The setting of one row: between ON and OFF beside each figure, the dark spot tells where the slider lies."""
    off = nearest(listed, "OFF", on)
    states, along = [], []
    for number in printed:
        figure = figure_of(listed, str(number), on, off)
        spots = [(figure.x, on.y + part * (off.y - on.y)) for part in (0.34, 0.66)]
        if sideways(on, off):
            spots = [(on.x + part * (off.x - on.x), figure.y) for part in (0.34, 0.66)]
        at_on, at_off = (dark(picture, *spot) for spot in spots)
        assert at_on != at_off
        states.append("on" if at_on else "off")
        along.append(figure.y if sideways(on, off) else figure.x)
    assert along == sorted(along), "the figures do not stand in the order printed"
    return side_of(on, off), states


def side_of(on: Word, off: Word) -> str:
    """Where ON stands as seen from OFF."""
    if sideways(on, off):
        return "left" if on.x < off.x else "right"
    return "up" if on.y < off.y else "down"


def sideways(on: Word, off: Word) -> bool:
    return abs(off.x - on.x) > abs(off.y - on.y)


def figure_of(listed: list[Word], number: str, on: Word, off: Word) -> Word:
    """The figure of one switch: left of a row that moves sideways, else beyond OFF as seen from ON."""
    large = [one for one in listed if one.text == number and one.bottom - one.top > 12]
    if sideways(on, off):
        found = [one for one in large if abs(one.y - on.y) < 60 and 0 < min(on.x, off.x) - one.x < 40]
    else:
        away = 1 if off.y > on.y else -1
        found = [one for one in large if 5 < (one.y - off.y) * away < 25 and abs(one.x - on.x) < 130]
    return min(found, key=lambda one: abs(one.x - on.x) + abs(one.y - on.y))


def large_ons(listed: list[Word]) -> list[Word]:
    """ON over the new settings; the old ones are drawn under half as large."""
    return [one for one in listed if one.text == "ON" and one.bottom - one.top > 11]


def read_rows(pdf: bytes, folder: Path, printed: list[list[tuple[int, ...]]]) -> list[list[Row]]:
    pictures = images(pdf, folder, 72 * SCALE)
    pages = words(pdf, folder)
    read = []
    for picture, (_w, _h, listed), rows in zip(pictures, pages, printed, strict=True):
        ons = sorted(large_ons(listed), key=lambda one: one.y)
        read.append([read_row(picture, listed, on, row) for on, row in zip(ons, rows, strict=True)])
    return read


def test_every_slider_lies_where_the_plan_puts_it(tmp_path: Path) -> None:
    plan = small_plan()
    rows: list[list[tuple[int, ...]]] = [
        [(1, 2, 3, 4, 5, 6), (1,)],
        [(1, 2, 3, 4)],
        [(8, 7, 6, 5, 4, 3, 2, 1)],
        [],
        [(1, 2, 3)],
    ]
    got = read_rows(setting_sheets(plan, small_faces()), tmp_path, rows)
    switches = {pack: entry["switches"] for pack, entry in plan["packs"].items()}
    assert got == [
        [("up", switches["N1"]["ADD"]["set"]), ("right", switches["N1"]["END"]["set"])],
        [("down", switches["R1"]["SET"]["set"])],
        [("down", switches["R2"]["ID"]["set"])],
        [],
        [("left", switches["C2"]["SIDE"]["set"])],
    ]


def test_all_patterns_on_all_four_sides_upright_and_on_their_heads(tmp_path: Path) -> None:
    cases = list(product(("up", "down", "left", "right"), (False, True), product(("on", "off"), repeat=2)))
    plan, _ = many(len(cases))
    devices: dict[str, DeviceFace] = {}
    for (pack, entry), (side, turned, pattern) in zip(plan["packs"].items(), cases, strict=True):
        entry["switches"] = {"SET": {"set": list(pattern), "was": None}}
        row = RowFace("SET", "slide", (1, 2), side, upside_down=turned)  # type: ignore[arg-type]
        devices[pack] = DeviceFace(pack, "Tarn A", None, len(devices), None, (row,))
    got = read_rows(setting_sheets(plan, Faces(devices)), tmp_path, [[(1, 2)]] * len(cases))
    assert got == [[(side, list(pattern))] for side, _turned, pattern in cases]


def test_forty_packs_give_forty_sheets(tmp_path: Path) -> None:
    pages = words(setting_sheets(*many(40)), tmp_path)
    assert len(pages) == 40


def test_a_row_of_sixteen_switches_stays_on_the_page(tmp_path: Path) -> None:
    plan, faces = many(1)
    plan["packs"]["P1"]["switches"] = {"SET": {"set": ["on", "off"] * 8, "was": ["off"] * 16}}
    row = RowFace("SET", "slide", tuple(range(1, 17)))
    faces = Faces({"P1": replace(faces.devices["P1"], rows=(row,))})
    ((wide, _high, listed),) = words(setting_sheets(plan, faces), tmp_path)
    assert max(word.right for word in listed) < wide - 40


@pytest.mark.parametrize("mark", list("0123456789"))
def test_the_wheel_points_to_its_mark_and_to_no_other(mark: str, tmp_path: Path) -> None:
    plan = small_plan()
    plan["packs"]["C1"]["switches"]["GROUP"] = {"set": [mark], "was": [mark]}
    pdf = setting_sheets(plan, small_faces())
    picture = images(pdf, tmp_path, 72 * SCALE)[3]
    on_wheel = [one for one in words(pdf, tmp_path)[3][2] if len(one.text) == 1 and one.text.isdigit() and wheel(one)]
    assert len(on_wheel) == 10
    black = [one.text for one in on_wheel if dark_edge(picture, one)]
    assert black == [mark]
    x, y = (sum(getattr(one, axis) for one in on_wheel) / 10 for axis in ("x", "y"))
    picked = next(one for one in on_wheel if one.text == mark)
    assert dark(picture, x + 0.36 * (picked.x - x), y + 0.36 * (picked.y - y)), "no pointer towards the mark"
    by_text = {one.text: one for one in on_wheel}
    assert by_text["0"].y < y - 30
    assert by_text["2"].x > x + 30


def dark_edge(picture: NDArray[np.uint8], one: Word) -> bool:
    """Whether the ground beside a mark is black."""
    x, y = round((one.left - 1.5) * SCALE), round(one.y * SCALE)
    return bool(picture[y, x] < 60)


def wheel(one: Word) -> bool:
    """Whether a word stands where the first row of a sheet has its large wheel."""
    return one.right < 150 and one.bottom < 350


def test_notes_and_the_power_stop_are_left_to_plan_json(small: dict[str, str]) -> None:
    assert "R2 keeps the address it had" not in flat(small["R2"])


def test_how_far_a_stop_reaches_is_shown_whatever_else_there_is() -> None:
    """Accepted or not, and although more cautions and stops than a page holds stand before it in the plan."""
    plan = small_plan()
    plan["findings"] = [finding(f"rule-{i}", "stop", ["R1"], f"Stop number {i}.", "") for i in range(7)]
    accepted = {"why": "w", "by": "b", "on": "2031-05-02"}
    plan["findings"].append(finding("stop-does-not-reach", "caution", ["R1"], "It ends here.", "", accepted=accepted))
    sheet = next(one for one in sheet_inputs(plan, small_faces()) if one.id == "R1")
    assert [one.text for one in sheet.remarks][:2] == ["It ends here.", "Stop number 0."]


def test_more_remarks_than_a_page_holds_are_counted() -> None:
    plan = small_plan()
    plan["findings"] += [finding(f"rule-{i}", "caution", ["R1"], f"Caution number {i}.", "") for i in range(7)]
    sheet = next(one for one in sheet_inputs(plan, small_faces()) if one.id == "R1")
    assert len(sheet.remarks) == 6
    assert sheet.remarks_more == 3


# --- switches that nobody looked at --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "installed, was, action, marks, words",
    [
        (True, "x010", "look first, then set it", ("look", "", "", ""),
         "Was: 1 not looked at, 2 off, 3 on, 4 off. Nobody has looked at 1: look, then set as drawn."),
        (True, "x11x", "change it", ("look", "move", "", "look"),
         "Was: 1 not looked at, 2 on, 3 on, 4 not looked at. Nobody has looked at 1, 4: look, then set as drawn."),
        (True, "xxxx", "look first, then set it", ("", "", "", ""),
         "Nobody has looked how this row stands: look, then set every switch as drawn."),
        (True, None, "look first, then set it", ("", "", "", ""),
         "Nobody has looked how this row stands: look, then set every switch as drawn."),
        (True, "1010", "stays", ("", "", "", ""), "It should stand like this already: check it."),
        (True, "0010", "change it", ("move", "", "", ""), "Was: 1 off, 2 off, 3 on, 4 off."),
        (False, None, "set it", ("", "", "", ""), "New pack: set every switch as drawn."),
    ],
)  # fmt: skip
def test_only_a_switch_that_was_seen_otherwise_is_moved(
    installed: bool, was: str | None, action: str, marks: tuple[str, ...], words: str
) -> None:
    names = {"1": "on", "0": "off", "x": "x"}
    face = RowFace("SET", "slide", (1, 2, 3, 4))
    entry = {"set": ["on", "off", "on", "off"], "was": None if was is None else [names[c] for c in was]}
    row = row_input("R1", face, entry, installed=installed)
    assert (row.action, row.marks, row.was_words) == (action, marks, words)


def test_no_sheet_orders_a_move_for_a_switch_that_nobody_looked_at(small: dict[str, str]) -> None:
    assert "Row SIDE: look first, then set it" in small["C2"]
    assert "on look" in small["C2"]
    assert "move" not in small["C2"]


def test_a_menu_value_is_no_switch(small: dict[str, str]) -> None:
    assert "Row Menu 4: look first, then set it" in small["C1"]
    assert flat("Nobody has looked how this row stands: look, then set it as drawn.") in flat(small["C1"])
    assert "every switch" not in small["C1"]


# --- cables that move, and controllers of several units ------------------------------------------------------------


def with_controller(**changes: Any) -> dict[str, Any]:
    """The small plan with three units of the controller, W3 found at R1, and what to enter in the controller."""
    plan = small_plan()
    plan["devices"]["INV"]["units"] = 3
    plan["settings"] = {"INV": {"dialect": {"value": "tarn-can: menu 21, code 03", "because": "", "set_by": ["N1"]}}}
    plan["cables"]["W3"] |= {"action": "alter", "work": "move", "lands_on": "unit 1",
                             "moved": [[["R1", "LINK", "LINK1"], ["N1", "REPORT", None]]]} | changes  # fmt: skip
    return plan


def test_the_sheet_that_a_plug_leaves_says_take_out_and_the_other_where_it_is_now() -> None:
    sheets = {sheet.id: sheet for sheet in sheet_inputs(with_controller(), small_faces())}
    assert [(one.socket, one.goes_in, one.empty) for one in sheets["R1"].sockets] == [
        ("LINK1", "take out cable W3: this plug goes to N1 REPORT; then cable W1, other end to N1 LINK2", False),
        ("LINK2", "cable W2, other end to R2 LINK1", False),
    ]
    assert sheets["N1"].sockets[2].goes_in == "cable W3 (now in R1 LINK1), other end to INV BAT, unit 1 of 3"


def test_the_managers_sheet_says_which_unit_takes_the_cable_and_what_to_enter(tmp_path: Path) -> None:
    plan = with_controller()
    sheets = {sheet.id: sheet for sheet in sheet_inputs(plan, small_faces())}
    line = "Cable W3: Plug into INV BAT, unit 1 of 3; into no other unit. Enter in INV: tarn-can: menu 21, code 03."
    assert {name: sheet.controller for name, sheet in sheets.items()} == {
        "N1": (line,), "R1": (), "R2": (), "C1": (), "C2": ()}  # fmt: skip
    assert flat(line) in flat(texts(setting_sheets(plan, small_faces()), tmp_path)[0])


def test_a_unit_that_nobody_states_is_not_guessed() -> None:
    sheet = sheet_inputs(with_controller(lands_on=None), small_faces())[0]
    assert sheet.controller[0].startswith("Cable W3: Plug into INV BAT, which of 3 units: see its manual;")


def test_one_unit_needs_no_number() -> None:
    sheet = sheet_inputs(small_plan(), small_faces())[0]
    assert sheet.controller == ()
    assert sheet.sockets[2].goes_in == "cable W3, other end to INV BAT"


def test_a_cable_in_a_socket_that_nobody_wrote_down_is_still_taken_out() -> None:
    plan = small_plan()
    plan["cables"]["W4"] |= {"from": ["R1", None, None]}
    sheet = next(one for one in sheet_inputs(plan, small_faces()) if one.id == "R1")
    assert (sheet.sockets[-1].socket, sheet.sockets[-1].goes_in) == ("not written: look", "take out cable W4")


# --- what is said on paper -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path, words",
    [
        ("limits.all_packs_on_busbar", "all packs on busbar"),
        ("limits.join_difference_v", "join difference [V]"),
        ("pins.LINK.4", "pin 4 of LINK"),
        ("pins.LINK", "pins of LINK"),
        ("buses.chain.rates_bps", "rates [bit/s] of bus chain"),
        ("buses.chain.termination.ends", "termination ends of bus chain"),
        ("switches.ADD.on_side", "on side of row ADD"),
        ("manager.reports.charge_state", "manager reports charge state"),
        ("follows.cable_lands_on", "follows cable lands on"),
    ],
)
def test_facts_are_named_in_words(path: str, words: str) -> None:
    assert fact_words(path) == words


def test_a_sheet_has_no_path_of_a_record_and_does_not_send_the_reader_to_a_file(tmp_path: Path) -> None:
    plan = made()
    path = "limits.all_packs_on_busbar"
    plan["findings"] = [
        finding(f"rule-{i}", "caution", ["R1"], f"tarn-a does not state {path} ({i}). " * 6, f"Look up {path}.",
                facts=[{"record": "tarn-a", "path": path, "state": "absent"}])
        for i in range(9)
    ]  # fmt: skip
    page = texts(setting_sheets(plan, small_faces()), tmp_path)[1]
    assert "all_packs" not in page
    assert "Look up all packs on busbar." in one_line(page)
    assert "plan.json" not in page
    assert "do not fit here: get the list from whoever made this plan before you start." in one_line(page)
    assert "page 1 of 1" in one_line(page)
