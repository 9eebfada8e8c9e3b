"""From a site file to sheets, notes and plan.json: what they say of one thing agrees."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.documents.face import Faces
from interop.documents.faces_of import faces_of
from interop.documents.notes import NoteInput, note_inputs
from interop.documents.package import plan_document, plan_site
from interop.documents.sheets import SheetInput, sheet_inputs
from interop.site.load import load_site
from tests.documents.reading import texts

ROOT = Path(__file__).resolve().parents[2]
CONTROLLER = "controllers: {INV: {model: mole-6, units: 3, cable_lands_on: unit 1}}\n"
ONE_LINK = "links: {L: {packs: P1, manager: P1, reports_to: INV}}\n"


class Planned:
    """One site planned: plan.json, sheets and notes by id."""

    def __init__(self, path: Path) -> None:
        self.plan, decisions, _ = plan_document(load_site(path), draft=True)
        self.faces: Faces = faces_of(decisions)
        self.sheets: dict[str, SheetInput] = {one.id: one for one in sheet_inputs(self.plan, self.faces)}
        self.notes: dict[str, NoteInput] = {one.id: one for one in note_inputs(self.plan, self.faces)}

    def cable(self, name: str) -> dict[str, Any]:
        return self.plan["cables"][name]  # type: ignore[no-any-return]


def planned(folder: Path, text: str) -> Planned:
    path = folder / "site.yaml"
    path.write_text(f"interop: site/1\nname: t\ncatalogs: [{ROOT / 'catalogs'}]\ndc_ground: minus\n{text}", "utf-8")
    return Planned(path)


def test_a_switch_that_nobody_looked_at_is_looked_at_and_not_moved(tmp_path: Path) -> None:
    done = planned(tmp_path, "packs: {P1: {model: tarn-a}}\nfound: {P1: {ADD: 1x00}}\n")
    (row,) = done.sheets["P1"].rows
    assert (row.action, row.marks) == ("look first, then set it", ("", "look", "", ""))


# ---- a cable that the site writes with its cuts ----


@pytest.mark.parametrize(
    "made, kind, joined, cut",
    [
        ('"straight, cut 1..3"', "straight", ["4", "5", "6", "7", "8"], ["1", "2", "3"]),
        ('"straight, cut 1..3, 7, 8"', "straight", ["4", "5", "6"], ["1", "2", "3", "7", "8"]),
        ("straight", "straight", list("12345678"), []),
    ],
)
def test_the_cuts_that_the_site_writes_are_in_the_note_and_in_the_plan(
    made: str, kind: str, joined: list[str], cut: list[str], tmp_path: Path
) -> None:
    done = planned(tmp_path, "packs: {P1: {model: tarn-b, new: yes}}\n" + CONTROLLER + ONE_LINK
                   + f"cables: {{W4: {{from: P1 REPORT, to: INV BAT, made: {made}, length: 1 m}}}}\n")  # fmt: skip
    entry, note = done.cable("W4"), done.notes["W4"]
    assert (entry["kind"], [a for a, _ in entry["joined"]], entry["cut"]) == (kind, joined, cut)
    assert [one.here for one in note.conductors if one.do == "cut"] == cut
    assert [one.here for one in note.conductors if one.do == "keep"] == joined
    assert note.kind_words == (f"straight, {len(cut)} conductors cut at both ends, 1 m" if cut else "straight, 1 m")
    assert bool(note.if_straight) == bool(cut)
    if cut:
        assert note.if_straight.startswith("A plain straight cable gives: must-be-empty pin joined on pins 1, 2;")


@pytest.mark.parametrize("ends", ["from: INV BAT, to: P1 REPORT", "from: INV BAT, to: manager REPORT"])
def test_a_map_written_from_the_far_end_is_turned_with_its_ends(ends: str, tmp_path: Path) -> None:
    done = planned(tmp_path, "packs: {P1: {model: tarn-b, new: yes}}\n" + CONTROLLER + ONE_LINK
                   + f"cables: {{W4: {{{ends}, made: {{4: 5, 5: 4, 6: 3}}, length: 1 m}}}}\n")  # fmt: skip
    entry = done.cable("W4")
    assert (entry["from"][0], entry["to"][0], entry["kind"]) == ("P1", "INV", "repinned")
    assert entry["joined"] == [["3", "6"], ["4", "5"], ["5", "4"]]


# ---- a cable that stands elsewhere ----

MOVE = """\
packs: {P1: {model: tarn-a, place: rack 1}, N1: {model: tarn-b, new: yes, place: rack 2}}
""" + CONTROLLER + """\
found:
  P1: {ADD: 0000}
  links: {L: {packs: P1, manager: P1, reports_to: INV}}
  cables: {W4: {ENDS, made: MADE, length: 1 m}}
links: {L: {packs: [P1, N1], manager: N1, reports_to: INV, cables: propose}}
cables: {W4: {from: manager REPORT, to: INV BAT, made: propose, length: 1 m}}
"""  # fmt: skip


@pytest.mark.parametrize("ends", ["from: P1 REPORT, to: INV BAT", "from: INV BAT, to: P1 REPORT",
                                  "from: manager REPORT, to: INV BAT"])  # fmt: skip
@pytest.mark.parametrize(
    "made, work, cut, do",
    [
        ("{4: 4, 5: 5, 6: 6}", "move", [], {"4": "keep", "5": "keep", "6": "keep"}),
        ("straight", "move and alter", list("12378"),
         {**dict.fromkeys("12378", "cut"), **dict.fromkeys("456", "keep")}),
        ('"straight, cut 1, 2"', "move and alter", list("12378"),
         {**dict.fromkeys("12", "is cut"), **dict.fromkeys("378", "cut"), **dict.fromkeys("456", "keep")}),
        ("{4: 4, 6: 6}", "move and alter", [], {"4": "keep", "5": "add", "6": "keep"}),
        ("unknown", "move and alter", list("12378"),
         {**dict.fromkeys("12378", "cut"), **dict.fromkeys("456", "keep")}),
    ],
)  # fmt: skip
def test_a_cable_found_elsewhere_moves_and_loses_only_conductors_that_it_has(
    ends: str, made: str, work: str, cut: list[str], do: dict[str, str], tmp_path: Path
) -> None:
    done = planned(tmp_path, MOVE.replace("ENDS", ends).replace("MADE", made))
    entry, note = done.cable("W4"), done.notes["W4"]
    assert (entry["action"], entry["work"], entry["cut"]) == ("alter", work, cut)
    assert entry["moved"] == [[["P1", "REPORT", "REPORT"], ["N1", "REPORT", "REPORT"]]]
    assert note.work == work
    assert note.moves == ("Move the plug of end 1 from P1 REPORT (rack 1) to N1 REPORT (rack 2).",
                          "End 2 stays in INV BAT, unit 1 of 3.")  # fmt: skip
    assert {one.here: one.do for one in note.conductors} == do
    old = {one.socket: one.goes_in for one in done.sheets["P1"].sockets}
    assert old["REPORT"] == "take out cable W4: this plug goes to N1 REPORT; then leave empty"
    new = {one.socket: one.goes_in for one in done.sheets["N1"].sockets}
    assert new["REPORT"] == "cable W4 (now in P1 REPORT), other end to INV BAT, unit 1 of 3"
    for reason in done.plan["reasons"]:
        if reason["about"] == ["W4"] and reason["text"].startswith("Cut "):
            assert cut, reason


def test_a_cable_of_the_managers_is_taken_out_at_the_manager_as_found(tmp_path: Path) -> None:
    found = ("found:\n  links: {L: {packs: P1, manager: P1, reports_to: INV}}\n"
             "  cables: {W4: {from: manager REPORT, to: INV BAT, made: straight}}\n")  # fmt: skip
    done = planned(tmp_path, "packs: {P1: {model: tarn-a}}\n" + CONTROLLER + found + "links: {none: P1}\n")
    assert done.cable("W4")["from"] == ["P1", "REPORT", "REPORT"]
    sockets = {one.socket: one.goes_in for one in done.sheets["P1"].sockets}
    assert sockets["REPORT"] == "take out cable W4; then leave empty"


def test_a_cable_out_of_sockets_that_nobody_wrote_down(tmp_path: Path) -> None:
    done = planned(tmp_path, "packs: {P1: {model: tarn-a}, C1: {model: crag-300}}\nfound:\n  cables: {W5: {from: P1, "
                   "to: C1, made: straight}}\nlinks: {none: [P1, C1]}\n")  # fmt: skip
    assert done.notes["W5"].work == "remove"
    for pack in ("P1", "C1"):
        last = done.sheets[pack].sockets[-1]
        assert (last.socket, last.goes_in) == ("not written: look", "take out cable W5")


# ---- the controller ----


@pytest.mark.parametrize(
    "units, lands, said",
    [
        ("units: 3, cable_lands_on: unit 1", "unit 1", "Plug into INV BAT, unit 1 of 3; into no other unit. "),
        ("units: 3", "unit 1", "Plug into INV BAT, unit 1 of 3; into no other unit. "),
        ("cable_lands_on: unit 1", None, ""),
    ],
)
def test_the_unit_and_what_to_enter_stand_in_the_plan_on_the_sheet_and_on_the_note(
    units: str, lands: str | None, said: str, tmp_path: Path
) -> None:
    done = planned(tmp_path, "packs: {P1: {model: tarn-a, new: yes}}\ncontrollers: {INV: {model: mole-6, "
                   f"{units}}}}}\n" + ONE_LINK.replace("INV}", "INV, cables: propose}"))  # fmt: skip
    value = done.plan["settings"]["INV"]["dialect"]["value"]
    assert value == "tarn-can: menu 21, code 03"
    assert done.cable("L-to-INV")["lands_on"] == lands
    words = f"{said}Enter in INV: {value}."
    assert done.notes["L-to-INV"].controller == words
    assert done.sheets["P1"].controller == (f"Cable L-to-INV: {words}",)


@pytest.mark.parametrize("name", ["ferry-landing", "lock-house", "tide-gauge"])
def test_the_examples_have_one_page_a_pack_and_no_cut_that_the_plan_has_not(name: str, tmp_path: Path) -> None:
    package = plan_site(load_site(ROOT / "examples" / name / "site.yaml"))
    assert len(texts(package.files["setting-sheets.pdf"], tmp_path)) == len(package.plan["packs"])
    for note in note_inputs(package.plan, faces_of(package.decisions)):
        cut = [one.here for one in note.conductors if one.do in ("cut", "is cut")]
        assert cut == package.plan["cables"][note.id]["cut"], note.id
