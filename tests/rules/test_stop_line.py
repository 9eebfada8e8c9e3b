"""Rules of the stop line subject beyond their pairs of sites: through packs that lack the feature, lists, cut lines."""

from __future__ import annotations

from pathlib import Path

from interop.site.load import load_site
from interop.wiring.stage import as_wanted
from tests.rules.sites import RECORDS, of, stages, texts


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


def test_every_button_gets_its_list(tmp_path: Path) -> None:
    """Two stop lines that no wire joins: each button leaves the packs of the other live."""
    body = (
        "packs:\n  S1..S2: {model: lk-stop}\n  T1..T2: {model: lk-stop}\n  P1: {model: lk-pack}\n"
        "links:\n  left: {packs: S1..S2, manager: S1}\n  right: {packs: T1..T2, manager: T1}\n"
        "cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: straight, length: 1 m}\n"
        "  W2: {from: T1 LINK2, to: T2 LINK1, made: straight, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "stop-does-not-reach")
    assert finding.about == ("S1", "S2", "T1", "T2", "P1")
    assert finding.text == (
        "A stop at S1, S2 reaches these packs only, a stop at T1, T2 reaches these packs only; all others stay live on "
        "the busbar, and P1 stays live on the busbar after any of them"
    )


def test_buttons_that_stop_their_own_pack_only_are_told_together(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, "packs:\n  S1..S3: {model: lk-stop}\nlinks: {none: S1..S3}\n")
    text = "A stop at any one of S1..S3 reaches that pack only; all others stay live on the busbar"
    assert texts(wanted, "stop-does-not-reach") == [("caution", "broken", text)]


def test_packs_that_no_link_joins_on_busbars_of_their_own_have_lists_of_their_own(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1: {model: lk-stop}\n  P1: {model: lk-pack}\nlinks: {none: [S1, P1]}\n"
        "posts: {left: [1], right: [1]}\nruns: {S1: {from: pack, to: left 1}, P1: {from: pack, to: right 1}}\n"
    )
    _, wanted = stages(tmp_path, body)
    assert texts(wanted, "stop-does-not-reach") == []


def test_a_bank_without_any_stop_line_gets_no_list(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, "packs:\n  P1..P3: {model: lk-pack}\nlinks: {none: P1..P3}\n")
    assert texts(wanted, "stop-does-not-reach") == []


def test_a_line_that_acts_when_open_cut_at_one_side_only(tmp_path: Path) -> None:
    """The first cable joins the loops of two packs, the second ends it for both: all three packs stop."""
    body = (
        "packs:\n  S1..S3: {model: lk-stop-open}\nlinks: {rack: {packs: S1..S3, manager: S1}}\n"
        "cables:\n  W1: {from: S1 LINK2, to: S2 LINK1, made: straight, length: 1 m}\n"
        '  W2: {from: S2 LINK2, to: S3 LINK1, made: "straight, cut 3, 6", length: 1 m}\n'
    )
    _, wanted = stages(tmp_path, body)
    text = (
        "Link rack, cable W2: line stop of S2, S3 (lk-stop-open), pins 3, 6, goes nowhere: cut line stops the pack, "
        "and S1 on the same loop"
    )
    assert texts(wanted, "cut-line-stops") == [("stop", "broken", text)]
    assert texts(wanted, "loop-not-closed") == []


def test_one_pack_with_a_cut_line_alone(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1: {model: lk-stop-open}\n  P1: {model: lk-pack}\nlinks: {rack: {packs: [S1, P1], manager: S1}}\n"
        'cables:\n  W1: {from: S1 LINK2, to: P1 LINK1, made: "straight, cut 3, 6", length: 1 m}\n'
    )
    _, wanted = stages(tmp_path, body)
    text = "Link rack, cable W1: line stop of S1 (lk-stop-open), pins 3, 6, goes nowhere: cut line stops the pack"
    assert texts(wanted, "cut-line-stops") == [("stop", "broken", text)]


def _enable(**more: str) -> str:
    """A pack that runs only while its enable line is closed."""
    stop = (RECORDS / "lk-stop.yaml").read_text(encoding="utf-8")
    fields = {"contact": "closed to act", "attach": "any pack", **more}
    line = ", ".join(f"{key}: {value}" for key, value in fields.items())
    was = "stop: {contact: closed to act, drive: passive, level_v: 5, carried: through every pack, acts_on: this pack, "
    assert stop.count(was) == 1
    text = stop.replace(was, f"enable: {{{line}, level_v: 5, ")
    text = text.replace("stop a", "enable a").replace("stop b", "enable b")
    return text.replace("id: lk-stop\n", "id: lk-enable\n")


ROW = (
    "packs:\n  E1..E2: {model: lk-enable}\n  E3: {model: lk-enable}\nlinks: {rack: {packs: E1..E2, manager: E1}}\n"
    "cables:\n  W1: {from: E1 LINK2, to: E2 LINK1, made: straight, length: 1 m}\n"
)


def test_an_enable_line_must_be_closed_in_a_row_and_in_a_pack_alone(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, ROW, enable=_enable())
    only = "only while its loop is closed; nothing in the plan does that, it is to be attached at any of these packs"
    row = f"Line enable of lk-enable: E1, E2 run {only} (free are E1 LINK1 and E2 LINK2)"
    alone = f"Line enable of lk-enable: E3 runs {only} (free are E3 LINK1 and E3 LINK2)"
    assert texts(wanted, "loop-not-closed") == [("caution", "broken", row), ("caution", "broken", alone)]
    assert [f.must_accept for f in of(wanted, "loop-not-closed")] == [True, True]


def test_copper_that_joins_the_two_wires_closes_the_loop_for_all(tmp_path: Path) -> None:
    """The second cable brings both wires of E1 and E2 to one net; E3 alone stays open, until its own copper does it."""
    body = ROW + "  W2: {from: E1 LINK1, to: E2 LINK2, made: {3: 6}, length: 1 m}\n"
    _, wanted = stages(tmp_path, body, enable=_enable())
    assert [f.about for f in of(wanted, "loop-not-closed")] == [("E3",)]
    inside = _enable().replace("inside: same pin joined", "inside: [same pin joined, 3-6]")
    (tmp_path / "records" / "own-enable.yaml").write_text(inside, encoding="utf-8")
    assert texts(as_wanted(load_site(tmp_path / "site.yaml")), "loop-not-closed") == []


def test_a_line_that_waits_for_voltage_is_fed_not_closed(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, ROW, enable=_enable(contact="voltage to act"))
    assert [text.split(";")[0] for _, _, text in texts(wanted, "loop-not-closed")] == [
        "Line enable of lk-enable: E1, E2 run only while it is fed with voltage",
        "Line enable of lk-enable: E3 runs only while it is fed with voltage",
    ]


def test_a_row_without_a_free_socket_can_never_run(tmp_path: Path) -> None:
    one = _enable().replace("sockets: [LINK1, LINK2]", "sockets: [LINK1]")
    body = ROW.replace("LINK2", "LINK1")
    _, wanted = stages(tmp_path, body, enable=one)
    text = "Line enable of lk-enable: E1, E2 run only while its loop is closed, and no socket is free for it"
    assert texts(wanted, "loop-not-closed")[0] == ("stop", "broken", text)


def test_how_a_line_acts_is_not_stated_and_nothing_closes_it(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, "packs:\n  S1..S2: {model: lk-stop-unsaid}\nlinks: {none: S1..S2}\n")
    (finding,) = of(wanted, "loop-not-closed")
    assert (finding.level.value, finding.verdict, finding.about) == ("stop", "cannot-tell", ("S1", "S2"))
    assert finding.text == "Line stop of lk-stop-unsaid: whether S1, S2 run only while its loop is closed is not stated"
    assert [(f.record, f.path, f.state) for f in finding.facts] == [
        ("lk-stop-unsaid", "lines.stop.contact", "not-stated")
    ]


def test_a_loop_waits_for_the_cables_that_the_site_leaves_to_the_plan(tmp_path: Path) -> None:
    body = (
        "packs:\n  S1..S2: {model: lk-stop-open}\nlinks: {rack: {packs: S1..S2, manager: S1, cables: propose}}\n"
    )
    _, wanted = stages(tmp_path, body)
    assert texts(wanted, "loop-not-closed") == []


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
