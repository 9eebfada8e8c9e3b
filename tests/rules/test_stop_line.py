"""Rules of the stop line subject beyond their pairs of sites: through packs that lack the feature, lists, cut lines."""

from __future__ import annotations

from pathlib import Path

from tests.rules.sites import of, stages, texts


def test_a_stop_is_held_by_a_pack_two_cables_away(tmp_path: Path) -> None:
    """The pack between lacks the feature and only passes the pins on: both culprits are named, it is not."""
    body = (
        "packs:\n  S1: {model: lk-stop}\n  P1: {model: lk-pack}\n  B1: {model: lk-bridged}\n"
        "links: {rack: {packs: [S1, P1, B1], manager: S1}}\n"
        "cables:\n  W1: {from: S1 LINK2, to: P1 LINK1, made: straight, length: 1 m}\n"
        "  W2: {from: P1 LINK2, to: B1 LINK1, made: straight, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "stop-held")
    assert finding.about == ("S1", "B1")
    assert finding.text == (
        "Link rack, cables W1, W2: pin 3 of S1 LINK2 (stop a) and pin 6 of S1 LINK2 (stop b) are joined by the "
        "copper inside "
        "B1 (lk-bridged): stop line held for ever in S1 (lk-stop)"
    )


def test_every_pack_whose_stop_is_held_is_named_once(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1..S3: {model: lk-stop}\n  B1: {model: lk-bridged}\nlinks: "
        "{rack: {packs: [S1..S3, B1], manager: S1}}\n"
        "cables:\n  W1..W3: {chain: [S1..S3, B1], from: LINK2, to: LINK1, made: straight, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "stop-held")
    assert finding.about == ("S1", "S2", "S3", "B1")
    assert finding.text.endswith("stop line held for ever in S1..S3 (lk-stop)")


def test_a_single_crossing_holds_nothing_but_is_wrong(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1..S2: {model: lk-stop}\nlinks: {rack: {packs: S1..S2, manager: S1}}\n"
        "cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: {1: 1, 3: 6, 6: 3, 7: 7, 8: 8}, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    assert texts(wanted, "stop-held") == []
    assert [f.about for f in of(wanted, "stop-pair-crossed")] == [("S1", "S2")]


def test_the_list_of_packs_that_stay_live_names_the_whole_bank(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1..S3: {model: lk-stop}\n  P1..P5: {model: lk-pack}\n  Q1: {model: lk-pack}\n"
        "links: {rack: {packs: [S1..S3, P1..P5], manager: S1}}\n"
        "cables:\n  W1..W7: {chain: [S1..S3, P1..P5], from: LINK2, to: LINK1, made: straight, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    text = "A stop at S1..S3 reaches these packs only; P1..P5, Q1 stay live on the busbar"
    assert texts(wanted, "stop-does-not-reach") == [("caution", "broken", text)]


def test_a_bank_without_any_stop_line_gets_no_list(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, "packs:\n  P1..P3: {model: lk-pack}\nlinks: {none: P1..P3}\n")
    assert texts(wanted, "stop-does-not-reach") == []


def test_a_line_that_acts_when_open_cut_at_one_side_only(tmp_path: Path) -> None:
    """The pack in the middle has its loop carried on by the first cable, so only the last pack is left open."""
    body = (
        "packs:\n  S1..S3: {model: lk-stop-open}\nlinks: {rack: {packs: S1..S3, manager: S1}}\n"
        "cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: straight, length: 1 m}\n"
        '  W2: {from: S2 LINK2, to: S3 LINK1, made: "straight, cut 3, 6", length: 1 m}\n'
    )
    _, wanted = stages(tmp_path, body)
    text = "Link rack, cable W2: line stop of S3 (lk-stop-open), pins 3, 6, goes nowhere: cut line stops the pack"
    assert texts(wanted, "cut-line-stops") == [("stop", "broken", text)]


def test_a_line_that_acts_when_closed_may_be_cut(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1..S2: {model: lk-stop}\nlinks: {rack: {packs: S1..S2, manager: S1}}\n"
        'cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: "straight, cut 3, 6", length: 1 m}\n'
    )
    _, wanted = stages(tmp_path, body)
    assert texts(wanted, "cut-line-stops") == []
    assert texts(wanted, "broken-wire-no-stop") == []


def test_how_a_cut_line_acts_is_not_stated(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1..S2: {model: lk-stop-unsaid}\nlinks: {rack: {packs: S1..S2, manager: S1}}\n"
        'cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: "straight, cut 3, 6", length: 1 m}\n'
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "cut-line-stops")
    assert (finding.verdict, finding.level.value, finding.about) == ("cannot-tell", "stop", ("S1", "S2"))
    assert [(f.record, f.path, f.state) for f in finding.facts] == [
        ("lk-stop-unsaid", "lines.stop.contact", "not-stated")
    ]


def test_two_cables_alone_can_hold_a_stop(tmp_path: Path) -> None:
    """Both wires of S1 end on one pin of S2: no pack bridges them inside, the two cables do."""
    body = (
        "packs:\n  S1..S2: {model: lk-stop}\nlinks: {rack: {packs: S1..S2, manager: S1}}\n"
        "cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: {3: 3}, length: 1 m}\n"
        "  W2: {from: S1 LINK1, to: S2 LINK2, made: {6: 3}, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    text = (
        "Link rack, cables W1, W2: pin 3 of S1 LINK2 (stop a) and pin 6 of S1 LINK2 (stop b) are joined by these "
        "cables: "
        "stop line held for ever in S1 (lk-stop)"
    )
    assert texts(wanted, "stop-held") == [("stop", "broken", text)]
