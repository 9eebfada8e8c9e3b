"""From a site file to sheets, notes and plan.json: what they say of one thing agrees."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.documents.drawing import link_drawing
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


def planned(folder: Path, text: str, *records: str) -> Planned:
    """Plan a site; further records stand beside it."""
    path, more = folder / "site.yaml", folder / "more"
    more.mkdir(exist_ok=True)
    for number, record in enumerate(records):
        (more / f"more-{number}.yaml").write_text(record, "utf-8")
    path.write_text(f"interop: site/1\nname: t\ncatalogs: [{ROOT / 'catalogs'}{', more' if records else ''}]\n"
                    f"dc_ground: minus\n{text}", "utf-8")  # fmt: skip
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


# ---- conductors found that must go ----

RILLS = """\
packs: {S1..S2: {model: rill-50, place: rack 1 slot 1..}}
controllers: {WEIR: {model: weir-8, cable_lands_on: unit 1}}
found:
  S1: {MENU ADDRESS: "1", MENU RATE: 9.6 k}
  S2: {MENU ADDRESS: "2"}
  links: {b: {packs: [S1..S2], manager: S1, reports_to: WEIR}}
  cables:
    D1: {from: S1 OUT, to: S2 IN, made: CHAIN, length: 0.3 m}
    D5: {from: WEIR BMS, to: S1 485, made: REPORT, length: 6 ft}
links: {b: {packs: [S1..S2], manager: propose, reports_to: WEIR, cables: propose}}
"""
TARNS = """\
packs: {A1..A2: {model: tarn-a, place: rack 1 slot 1..}}
controllers: {INV: {model: mole-6}}
found:
  A1: {ADD: 0000}
  A2: {ADD: 1000}
  links: {b: {packs: [A1..A2], manager: A1, reports_to: INV}}
  cables:
    D1: {from: A2 LINK1, to: A1 LINK2, made: CHAIN, length: 0.3 m}
    D5: {from: INV BAT, to: A1 REPORT, made: REPORT, length: 2 m}
links: {b: {packs: [A1..A2], manager: propose, reports_to: INV, cables: propose}}
"""
RILL_CHAIN, RILL_REPORT = "{3: 3, 4: 4, 5: 5}", "{8: 1, 7: 2, 3: 3}"
# What must be joined, by the records: rill-50 CHAIN 3, 4, 5 straight; rill-50 REPORT minus 1, plus 2, reference 3 to
# weir-8 BMS 8, 7, 3; tarn-a LINK 7, 8 straight. All else that is found must go. Pins at S1 485 and at A2 LINK1 first.
WRONG = [
    (RILLS, RILL_CHAIN, "{8: 1, 7: 2, 3: 3, 4: 4, 5: 5, 6: 6}", "D5", ["4 4", "5 5", "6 6"], []),
    (RILLS, RILL_CHAIN, "straight", "D5", ["1 1", "2 2", "4 4", "5 5", "6 6", "7 7", "8 8"], ["1 8", "2 7"]),
    (RILLS, RILL_CHAIN, "{8: 1, 7: 2, 3: 3, 1: 4}", "D5", ["4 1"], []),
    (RILLS, "{4: 5, 5: 4, 3: 3}", RILL_REPORT, "D1", ["4 5", "5 4"], ["4 4", "5 5"]),
    (RILLS, "{3: 3, 4: 4, 5: 5, 1: 1}", RILL_REPORT, "D1", [], []),
    (TARNS, "{7: 7, 8: 8, 1: 3, 3: 6}", "{4: 4, 5: 5, 6: 6}", "D1", ["1 3", "3 6"], []),
    (TARNS, "{7: 8, 8: 7}", "{4: 4, 5: 5, 6: 6}", "D1", ["7 8", "8 7"], ["7 7", "8 8"]),
    (TARNS, "{7: 7, 8: 8}", "{4: 4, 5: 5, 6: 6, 1: 3}", "D5", ["3 1"], []),
    (TARNS, "straight", "{4: 4, 5: 5, 6: 6}", "D1", [], []),
]


@pytest.mark.parametrize(("body", "chain", "report", "name", "gone", "added"), WRONG)
def test_every_conductor_found_that_is_not_wanted_is_removed_by_both_its_pins(
    body: str, chain: str, report: str, name: str, gone: list[str], added: list[str], tmp_path: Path
) -> None:
    text = body.replace("made: CHAIN", f"made: {chain}").replace("made: REPORT", f"made: {report}")
    done = planned(tmp_path, text)
    entry, note = done.cable(name), done.notes[name]
    assert [f"{a} {b}" for a, b in entry["remove"]] == gone
    assert [f"{one.here} {one.there}" for one in note.conductors if one.do == "remove"] == gone
    assert [f"{one.here} {one.there}" for one in note.conductors if one.do == "add"] == added
    for end, pins in ((0, [pair.split()[0] for pair in gone]), (1, [pair.split()[1] for pair in gone])):
        marked = {pin for pin, state in note.ends[end].contacts if state in ("remove", "exchange")}
        assert marked == set(pins)
        kept = {pair[end] for pair in entry["joined"]}
        assert {pin for pin, state in note.ends[end].contacts if state == "exchange"} == set(pins) & kept
    count = f"; {len(gone)} conductor{'s' if len(gone) > 1 else ''} to remove"
    assert (count in note.kind_words) == bool(gone)
    joined = [tuple(pair) for pair in entry["joined"]]
    beeps = [(r, c) for r, line in zip(note.rows, note.beeps, strict=True)
             for c, beep in zip(note.columns, line, strict=True) if beep]  # fmt: skip
    assert beeps == sorted(joined, key=lambda pair: note.rows.index(pair[0]))
    boxes = link_drawing(done.plan, done.faces)
    assert all(pair.replace(" ", " to ") in boxes for pair in gone)


def test_what_a_straight_cable_has_too_many_at_like_pins_stays_worded_cut(tmp_path: Path) -> None:
    text = TARNS.replace("made: CHAIN", "made: {1: 1, 2: 4, 7: 7, 8: 8}").replace("made: REPORT", "made: straight")
    done = planned(tmp_path, text)
    entry, note = done.cable("D1"), done.notes["D1"]
    assert (entry["cut"], entry["remove"]) == (["1"], [["2", "4"]])
    assert [(one.here, one.there, one.do) for one in note.conductors] == [
        ("1", "", "cut"), ("2", "4", "remove"), ("7", "7", "keep"), ("8", "8", "keep")]  # fmt: skip


def test_the_printed_note_has_a_row_for_what_goes_and_its_foot(tmp_path: Path) -> None:
    text = RILLS.replace("made: CHAIN", "made: straight").replace("made: REPORT", "made: straight")
    (tmp_path / "site.yaml").write_text(f"interop: site/1\nname: t\ncatalogs: [{ROOT / 'catalogs'}]\n{text}", "utf-8")
    package = plan_site(load_site(tmp_path / "site.yaml"), draft=True)
    pages = [" ".join(page.split()) for page in texts(package.files["cable-notes.pdf"], tmp_path)]
    (page,) = [page for page in pages if "D5 ALTER" in page]
    assert "re-pinned: NOT a straight cable; 7 conductors to remove, 6 ft (1.83 m)." in page
    assert "4 4 blue blue 4-5 REMOVE, both ends" in page
    assert "1 8 white/green white/orange 1-2 JOIN: not there now" in page
    assert page.count("REMOVE, both ends") == 7
    assert "Crossed out: cut or remove. White cross on black: the conductor there now goes, another one comes." in page
    assert "D5 page 1 of 1" in page
    assert "Printed beside the pins: end 1: 1 B, 2 A; end 2: 7 A, 8 B. Join by number, never by letter." in page


# ---- a plug that does not fit ----


def _tarn_12() -> str:
    """Tarn B with another plug for its report, as a third generation that must be manager beside the first."""
    text = (ROOT / "catalogs" / "packs" / "tarn-b.yaml").read_text("utf-8")
    for old, new in (
        ("id: tarn-b", "id: tarn-12"),
        ("REPORT: {sockets: [REPORT], plug: rj45,", "REPORT: {sockets: [REPORT], plug: rj12,"),
        (
            "{1: supply 12 V, 2: unused, 3: unused, 4: report high, 5: report low, 6: reference, 7: unused, 8: unused}",
            "{1: unused, 2: report high, 3: report low, 4: reference, 5: unused, 6: unused}",
        ),
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


PLUG = MOVE.replace("tarn-b", "tarn-12").replace("ENDS", "from: P1 REPORT, to: INV BAT")


@pytest.mark.parametrize(
    "made, remove, more",
    [("{4: 4, 5: 5, 6: 6}", [], ""), ("{4: 4, 5: 5, 6: 6, 3: 1}", [[None, "1"]], "; 1 conductor to remove")],
)
def test_a_plug_that_does_not_fit_its_new_socket_is_replaced_and_every_conductor_joined_anew(
    made: str, remove: list[list[str | None]], more: str, tmp_path: Path
) -> None:
    done = planned(tmp_path, PLUG.replace("MADE", made), _tarn_12())
    entry, note = done.cable("W4"), done.notes["W4"]
    assert (entry["work"], entry["new_plugs"], entry["remove"]) == ("move and alter", ["from"], remove)
    assert entry["joined"] == [["2", "4"], ["3", "5"], ["4", "6"]]
    added = [("2", "4", "add"), ("3", "5", "add"), ("4", "6", "add")]
    gone = [("", b, "remove") for _, b in remove]
    assert [(one.here, one.there, one.do) for one in note.conductors] == added + gone
    assert dict(note.ends[1].contacts)["1"] == ("remove" if remove else "empty")
    assert note.kind_words == (f"re-pinned: NOT a straight cable{more}, 1 m. Plug that does not fit: rj45 of end 1. "
                               "Put on another and join every conductor anew, or make a new cable")  # fmt: skip
    assert note.moves[0] == "Take end 1 out of P1 REPORT (rack 1); with a new plug rj12 it goes to N1 REPORT (rack 2)."
    assert note.if_straight == ""
    old = {one.socket: one.goes_in for one in done.sheets["P1"].sockets}
    assert old["REPORT"] == "take out cable W4: with a new plug this end goes to N1 REPORT; then leave empty"


def test_no_word_of_a_straight_cable_where_the_plugs_are_of_two_kinds(tmp_path: Path) -> None:
    body = ("packs: {N1: {model: MODEL, new: yes}}\n" + CONTROLLER
            + "links: {L: {packs: N1, manager: N1, reports_to: INV, cables: propose}}\n")  # fmt: skip
    unlike = planned(tmp_path, body.replace("MODEL", "tarn-12"), _tarn_12()).notes["L-to-INV"]
    assert {end.plug for end in unlike.ends} == {"rj12", "rj45"}
    assert unlike.if_straight == ""
    alike = planned(tmp_path, body.replace("MODEL", "tarn-b"), _tarn_12()).notes["L-to-INV"]
    assert alike.if_straight.startswith("A plain straight cable gives: ")


# ---- where a plug is, and what becomes of a socket ----


def test_a_cable_of_which_only_the_sockets_are_unknown_is_checked_and_not_moved(tmp_path: Path) -> None:
    text = TARNS.replace("from: A2 LINK1, to: A1 LINK2", "from: A2 LINK, to: A1 LINK")
    done = planned(tmp_path, text.replace("made: CHAIN", "made: {7: 7, 8: 8}").replace("made: REPORT", "made: unknown"))
    assert (done.cable("D1")["action"], done.cable("D1")["work"]) == ("alter", "check")
    assert done.notes["D1"].work == "check"
    assert all(one.endswith("; look where it is now.") for one in done.notes["D1"].moves)
    done = planned(tmp_path, text.replace("made: CHAIN", "made: {7: 7}").replace("made: REPORT", "made: unknown"))
    assert done.cable("D1")["work"] == "check and alter"
    assert done.notes["D5"].kind_words.endswith(
        "How it is made now is not known: meter it first, and remove every conductor that is not listed")  # fmt: skip


def test_a_controller_has_no_sheet_to_look_at(tmp_path: Path) -> None:
    found = ("found:\n  links: {L: {packs: P1, manager: P1, reports_to: INV}}\n"
             "  cables: {W4: {from: P1 REPORT, to: INV BAT, made: straight}}\n")  # fmt: skip
    done = planned(tmp_path, "packs: {P1: {model: tarn-a}}\n" + CONTROLLER + found + "links: {none: P1}\n")
    assert done.notes["W4"].sockets == ("The socket of P1 as on its setting sheet. No setting sheet for INV: only "
                                        "cables that these notes name go in there.")  # fmt: skip


def test_a_terminator_plug_is_named_with_its_ohms(tmp_path: Path) -> None:
    done = planned(tmp_path, "packs: {S1..S2: {model: rill-50, new: yes}}\ncontrollers: {WEIR: {model: weir-8}}\n"
                   "links: {b: {packs: S1..S2, manager: S1, reports_to: WEIR, cables: propose}}\n")  # fmt: skip
    plugs = [(name, one.goes_in) for name, sheet in done.sheets.items() for one in sheet.sockets
             if "terminator" in one.goes_in]  # fmt: skip
    assert plugs == [("S1", "terminator plug, 120 ohm"), ("S2", "terminator plug, 120 ohm")]


def test_how_far_a_stop_reaches_stands_first_on_the_sheets_with_the_button(tmp_path: Path) -> None:
    plan, decisions, _ = plan_document(load_site(ROOT / "examples" / "ferry-landing" / "site.yaml"))
    sheets = {one.id: one for one in sheet_inputs(plan, faces_of(decisions))}
    text = "A stop at N1, N2 reaches these packs only; R1..R9, C1, C2 stay live on the busbar"
    assert sorted(name for name, one in sheets.items() if one.remarks[0].text == text) == sorted(plan["packs"])
    assert {"N1", "N2"} <= set(plan["packs"])


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
