"""Rules of the conductor subject beyond their pairs of sites: nets through packs, alike leads, several causes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rules.sites import of, stages, texts


def run(packs: str, names: str, cables: str) -> str:
    """A site with one link over named packs, the first of them manager."""
    first = names.split(".", maxsplit=1)[0].split(",", maxsplit=1)[0]
    return f"packs:\n{packs}links: {{rack: {{packs: [{names}], manager: {first}}}}}\ncables:\n{cables}"


def test_a_stop_line_meets_data_two_packs_away(tmp_path: Path) -> None:
    """Pins bridged inside the pack in the middle carry the stop pair of one cable on to the data pins of the next."""
    body = run(
        "  S1: {model: ex09b-stop-pair}\n  B1..B2: {model: ex09a-mirrored-pins}\n",
        "S1, B1..B2",
        "  W1: {from: S1 LINK2, to: B1 UP, made: {3: 3}, length: 1 m}\n"
        "  W2: {from: B1 DOWN, to: B2 UP, made: {6: 7}, length: 1 m}\n",
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "data-meets-stop-line")
    assert finding.text == (
        "Link rack, cables W1, W2: pin 3 of S1 LINK2 (stop a) meets pin 7 of B2 UP (minus of bus chain of link rack)"
    )
    assert finding.about == ("S1", "B2")
    assert [f.text for f in of(wanted, "data-meets-reference")] != []


def test_alike_leads_are_one_note_but_a_must_be_empty_pin_stays_a_stop(tmp_path: Path) -> None:
    packs = "  P1..P9: {model: lk-empty}\n"
    cables = "  W1..W8: {chain: P1..P9, from: LINK2, to: LINK1, made: straight, length: 1 m}\n"
    _, wanted = stages(tmp_path, run(packs, "P1..P9", cables))
    text = (
        "Link rack, cables W1..W8: pins 3, 4, 5, 6 of lk-empty are joined to the same pin of the next pack, "
        "without stated function"
    )
    assert texts(wanted, "alike-pins-joined") == [("note", "broken", text)]
    empty = (
        "Link rack, cables W1..W8: pin 2 of P1 LINK2 (must stay empty) meets pin 2 of P2..P9 LINK1 (must stay empty)"
    )
    assert texts(wanted, "empty-pin-joined") == [("stop", "broken", empty)]
    assert texts(wanted, "unused-pin-joined") == []


def test_a_must_be_empty_pin_on_another_pin_of_its_own_record_is_a_stop(tmp_path: Path) -> None:
    cables = "  W1: {from: P1 LINK2, to: P2 LINK1, made: {7: 7, 8: 8, 2: 3}, length: 1 m}\n"
    _, wanted = stages(tmp_path, run("  P1..P2: {model: lk-empty}\n", "P1..P2", cables))
    text = "Link rack, cable W1: pin 2 of P1 LINK2 (must stay empty) meets pin 3 of P2 LINK1 (unused)"
    assert texts(wanted, "empty-pin-joined") == [("stop", "broken", text)]


def test_the_run_of_unlike_packs_folds_both_sides(tmp_path: Path) -> None:
    packs = "  P1..P4: {model: lk-pack}\n  Q1..Q4: {model: lk-empty}\n"
    cables = "  W1..W7: {chain: [P1..P4, Q1..Q4], from: LINK2, to: LINK1, made: straight, length: 1 m}\n"
    _, wanted = stages(tmp_path, run(packs, "P1..P4, Q1..Q4", cables))
    (finding,) = of(wanted, "empty-pin-joined")
    assert finding.text.startswith("Link rack, cables ")
    assert "pin 2 of Q1 LINK1 (must stay empty)" in finding.text
    assert "P1..P4" in finding.text


def test_a_reversed_pair_and_the_conductors_it_lacks(tmp_path: Path) -> None:
    cables = "  W1: {from: P1 LINK2, to: P2 LINK1, made: {7: 8, 8: 7}, length: 1 m}\n"
    _, wanted = stages(tmp_path, run("  P1..P2: {model: lk-pack}\n", "P1..P2", cables))
    text = (
        "Link rack, cable W1: pin 7 of P1 LINK2 (minus of bus chain of link rack) meets "
        "pin 8 of P2 LINK1 (plus of bus chain of link rack); "
        "pin 8 of P1 LINK2 (plus of bus chain of link rack) meets pin 7 of P2 LINK1 (minus of bus chain of link rack)"
    )
    assert texts(wanted, "pair-reversed") == [("stop", "broken", text)]
    assert sorted(f.text for f in of(wanted, "needed-conductor-missing")) == [
        f"Link rack, cable W1: {wire} of bus chain of link rack (pin {pin} of P1 LINK2, pin {pin} of P2 LINK1) does "
        f"not go through"
        for wire, pin in (("minus", 7), ("plus", 8))
    ]


@pytest.mark.parametrize(
    "controller, rule", [("ex10b-high-5-low-4", "pair-reversed"), ("ex10c-supply-on-1-2", "data-meets-supply")]
)
def test_exercise_ten_with_a_straight_cable(tmp_path: Path, controller: str, rule: str) -> None:
    body = (
        f"packs: {{P1: {{model: ex10p-report-and-chain}}}}\ncontrollers: {{INV: {{model: {controller}}}}}\n"
        "links: {rack: {packs: P1, manager: P1, reports_to: INV}}\n"
        "cables: {W1: {from: P1 REPORT, to: INV BAT, made: straight, length: 1 m}}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, rule)
    assert set(finding.about) == {"P1", "INV"}
    assert finding.level.value == "stop"


def test_one_pin_of_a_wire_is_enough(tmp_path: Path) -> None:
    """The mirrored pack has each wire on two pins: one conductor for each wire will do."""
    packs = "  P1..P2: {model: ex09a-mirrored-pins}\n"
    cables = "  W1: {from: P1 DOWN, to: P2 UP, made: {7: 7, 8: 8}, length: 1 m}\n"
    _, wanted = stages(tmp_path, run(packs, "P1..P2", cables))
    assert texts(wanted, "needed-conductor-missing") == []


@pytest.mark.parametrize(
    "made, level", [("{1: 3, 2: 6, 3: 1, 6: 2, 7: 7, 8: 8}", "note"), ("{1: 3, 2: 6, 3: 1, 6: 2}", "caution")]
)
def test_a_crossover_lead_harms_only_where_the_bus_is_lost(tmp_path: Path, made: str, level: str) -> None:
    cables = f"  W1: {{from: P1 LINK2, to: P2 LINK1, made: {made}, length: 1 m}}\n"
    _, wanted = stages(tmp_path, run("  P1..P2: {model: lk-pack}\n", "P1..P2", cables))
    assert [f.level.value for f in of(wanted, "crossover-lead")] == [level]


def test_an_installed_cable_of_unknown_make_is_a_caution_as_found(tmp_path: Path) -> None:
    body = (
        "packs:\n  P1..P2: {model: lk-pack}\nfound:\n  links: {rack: {packs: P1..P2, manager: P1}}\n"
        "  cables: {W1: {from: P1 LINK2, to: P2 LINK1, made: unknown}}\n"
    )
    found, _ = stages(tmp_path, body)
    text = "Link rack, cable W1: which pin joins which is not known"
    assert texts(found, "how-made-not-known") == [("caution", "cannot-tell", text)]


def test_isolated_references_may_meet_one_that_is_tied_to_the_cells(tmp_path: Path) -> None:
    packs = "  P1: {model: lk-pack}\n  P2: {model: lk-tied-cell}\n"
    cables = "  W1: {from: P1 LINK2, to: P2 LINK1, made: {1: 1, 7: 7, 8: 8}, length: 1 m}\n"
    _, wanted = stages(tmp_path, run(packs, "P1..P2", cables))
    assert texts(wanted, "data-ground-bypasses-the-bms") == []
    assert texts(wanted, "reference-missing") == []


def test_two_tied_to_cells_bypass_through_an_isolated_one_between(tmp_path: Path) -> None:
    packs = "  P1: {model: lk-tied-cell}\n  P2: {model: lk-pack}\n  P3: {model: lk-tied-cell}\n"
    cables = "  W1..W2: {chain: P1..P3, from: LINK2, to: LINK1, made: {1: 1, 7: 7, 8: 8}, length: 1 m}\n"
    _, wanted = stages(tmp_path, run(packs, "P1..P3", cables))
    (finding,) = of(wanted, "data-ground-bypasses-the-bms")
    assert finding.about == ("P1", "P3")
    assert finding.text == (
        "Link rack, cables W1, W2: pin 1 of P1 LINK2 (reference, tied to cell minus) meets "
        "pin 1 of P3 LINK1 (reference, tied to cell minus)"
    )
