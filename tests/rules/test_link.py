"""Rules of the link subject beyond their pairs of sites: ranges folded, several causes at once, what is left alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rules.sites import of, stages, texts

THREE = "packs:\n  P1..P3: {model: lk-pack}\ncontrollers:\n  INV: {model: lk-ctl}\n"
LINK = "links: {rack: {packs: P1..P3, manager: P1, reports_to: INV}}\n"
LINK_RULES = (
    "two-managers-on-a-link", "no-poller", "second-poller", "link-in-pieces", "terminator-missing", "terminator-extra",
    "too-long-for-the-rate", "reference-missing", "wrong-port-or-direction", "dialect-differs", "rate-differs",
)  # fmt: skip


def chain(count: int, more: str = "") -> str:
    """A site of equal packs on one link with straight cables."""
    return (
        f"packs:\n  P1..P{count}: {{model: lk-fixed}}\nlinks: {{rack: {{packs: P1..P{count}, manager: P1}}}}\n"
        f"cables:\n  W1..W{count - 1}: "
        f"{{chain: P1..P{count}, from: LINK2, to: LINK1, made: straight, length: 0.5 m}}\n{more}"
    )


@pytest.mark.parametrize("rule", LINK_RULES)
def test_what_nobody_wrote_down_and_what_is_left_to_the_plan_is_not_judged(tmp_path: Path, rule: str) -> None:
    body = THREE + "links: {rack: {packs: P1..P3, manager: propose, reports_to: INV, cables: propose}}\n"
    found, wanted = stages(tmp_path, body)
    assert texts(found, rule) == []
    assert texts(wanted, rule) == []


@pytest.mark.parametrize(
    "count, level, load",
    # parallel resistance by hand: 120 / n
    [(3, "caution", "40"), (6, "caution", "20"), (7, "stop", "17.1"), (9, "stop", "13.3"), (12, "stop", "10")],
)
def test_fixed_terminators_by_the_number_of_packs(tmp_path: Path, count: int, level: str, load: str) -> None:
    _, wanted = stages(tmp_path, chain(count))
    limit = "fails below 20 ohm" if level == "stop" else "needs 60 ohm or more"
    text = f"Link rack: P1..P{count} have a fixed terminator each; {count} in parallel are {load} ohm, rs-485 {limit}"
    assert texts(wanted, "terminators-in-too-many-packs") == [(level, "broken", text)]


def test_two_fixed_terminators_are_what_a_bus_needs(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, chain(2))
    assert texts(wanted, "terminators-in-too-many-packs") == []


def test_a_chain_of_many_packs_gives_one_finding_a_cause(tmp_path: Path) -> None:
    _, wanted = stages(tmp_path, chain(200))
    for rule in ("terminators-in-too-many-packs", "too-many-nodes", "alike-pins-joined", "members-at-most"):
        assert len(of(wanted, rule)) == 1, rule
    (nodes,) = of(wanted, "too-many-nodes")
    assert (nodes.got, nodes.limit) == ("200 devices", "16 devices")
    assert nodes.text == "Link rack: 200 devices hang on the bus of P1..P200; P1 (lk-fixed) allows 16"


def test_unit_loads_are_added_where_the_records_allow_more(tmp_path: Path) -> None:
    # 66 packs of half a unit load are 33; TIA/EIA-485 allows 32
    _, wanted = stages(tmp_path, chain(66))
    for node in (tmp_path / "records" / "lk-fixed.yaml",):
        node.write_text(node.read_text().replace("nodes: 16", "nodes: 100"))
    from interop.site.load import load_site
    from interop.wiring.stage import as_wanted

    wanted = as_wanted(load_site(tmp_path / "site.yaml"))
    assert texts(wanted, "too-many-nodes") == [
        ("stop", "broken", "Link rack: the bus of P1..P66 has 33 unit loads; rs-485 allows 32")
    ]


def test_an_unseen_switch_is_only_a_question_where_a_manager_stands(tmp_path: Path) -> None:
    body = THREE + (
        "found:\n  P1: {ADD: 0000}\n  P2: {ADD: 1xxx}\n  P3: {ADD: xxxx}\n"
        "  links: {rack: {packs: P1..P3, manager: P1, reports_to: INV}}\n"
    )
    found, _ = stages(tmp_path, body)
    (finding,) = of(found, "two-managers-on-a-link")
    # P2 has its first switch on, so it cannot stand at 0
    assert finding.about == ("P1", "P3")
    assert finding.verdict == "cannot-tell"


def test_three_set_as_manager_are_all_named(tmp_path: Path) -> None:
    body = THREE + "found:\n  P1..P3: {ADD: 0000}\n  links: {rack: {packs: P1..P3, manager: P1}}\n"
    found, _ = stages(tmp_path, body)
    text = "Link rack: P1..P3 are each set to be the manager; one manager is allowed"
    assert texts(found, "two-managers-on-a-link") == [("stop", "broken", text)]


def test_length_is_summed_over_the_chain_and_a_missing_one_is_a_note(tmp_path: Path) -> None:
    # TIA/EIA-485: at 9600 bit/s the cap of 1200 m holds
    body = THREE + LINK + "cables:\n  W1..W2: {chain: P1..P3, from: LINK2, to: LINK1, made: straight, length: 601 m}\n"
    _, wanted = stages(tmp_path, body)
    assert texts(wanted, "too-long-for-the-rate") == [
        ("caution", "broken", "Link rack: cables W1, W2 are 1202 m long; rs-485 at 9600 bit/s allows 1200 m")
    ]


def test_a_missing_length_is_a_note(tmp_path: Path) -> None:
    body = THREE + LINK + "cables:\n  W1..W2: {chain: P1..P3, from: LINK2, to: LINK1, made: straight}\n"
    _, wanted = stages(tmp_path, body)
    text = (
        "Link rack: whether cables W1, W2 are too long for rs-485 at 9600 bit/s is not known; "
        "the length of W1, W2 is not written"
    )
    assert texts(wanted, "too-long-for-the-rate") == [("note", "cannot-tell", text)]


def test_one_pack_out_of_reach_is_named_with_the_manager(tmp_path: Path) -> None:
    body = THREE + LINK + "cables:\n  W1: {from: P1 LINK2, to: P2 LINK1, made: straight, length: 1 m}\n"
    _, wanted = stages(tmp_path, body)
    assert [f.text for f in of(wanted, "link-in-pieces")] == [
        "Link rack: no data cable reaches P3 from manager P1",
        "Link rack: no data cable reaches INV from manager P1",
    ]


def test_two_can_terminators_of_sixty_ohm_and_no_third(tmp_path: Path) -> None:
    body = (
        "packs:\n  P1..P3: {model: lk-can}\nlinks: {rack: {packs: P1..P3, manager: P1}}\n"
        "cables:\n  W1..W2: {chain: P1..P3, from: LINK2, to: LINK1, made: straight, length: 1 m}\n"
        "set:\n  P1: {END: 1}\n  P2: {END: 0}\n  P3: {END: 1}\n"
    )
    _, wanted = stages(tmp_path, body)
    for rule in ("terminator-missing", "terminator-extra", "terminators-in-too-many-packs", "terminator-not-at-an-end"):
        assert texts(wanted, rule) == [], rule


def test_a_terminator_nobody_looked_at_cannot_be_told_on_can(tmp_path: Path) -> None:
    body = (
        "packs:\n  P1..P2: {model: lk-can}\nlinks: {rack: {packs: P1..P2, manager: P1}}\n"
        "cables:\n  W1: {from: P1 LINK2, to: P2 LINK1, made: straight, length: 1 m}\nset:\n  P1: {END: 1}\n  P2: "
        "{END: x}\n"
    )
    _, wanted = stages(tmp_path, body)
    text = (
        "Link rack: whether both ends have a terminator on the bus of P1, P2 is not known; "
        "whether a terminator is on in P2 nobody wrote down"
    )
    assert texts(wanted, "terminator-missing") == [("stop", "cannot-tell", text)]


def test_one_hop_links_are_no_ring_of_terminators_and_hold(tmp_path: Path) -> None:
    body = (
        "packs:\n  P1..P3: {model: ex13-one-hop}\nlinks: {rack: {packs: P1..P3, manager: P1}}\n"
        "cables:\n  W1..W2: {chain: P1..P3, from: DOWN, to: UP, made: {1: 1, 2: 2, 3: 3}, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    for rule in (*LINK_RULES, "too-many-nodes", "terminators-in-too-many-packs", "needed-conductor-missing"):
        assert texts(wanted, rule) == [], rule


def test_up_to_up_shares_the_bus_but_joins_two_inputs(tmp_path: Path) -> None:
    body = (
        "packs:\n  P1..P2: {model: ex13-one-hop}\nlinks: {rack: {packs: P1..P2, manager: P1}}\n"
        "cables:\n  W1: {from: P1 UP, to: P2 UP, made: straight, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    assert [f.text for f in of(wanted, "wrong-port-or-direction")] == [
        "Cable W1 joins P1 UP (ex13-one-hop) to P2 UP (ex13-one-hop); both are inputs",
        "Cable W1 is in port UP of manager P1 (ex13-one-hop); only the pack with this port empty becomes the manager",
    ]


def test_an_unknown_generation_cannot_tell_who_must_be_manager(tmp_path: Path) -> None:
    body = (
        "packs:\n  P1: {model: lk-pack}\n  P2: {model: lk-demands}\nlinks: {rack: {packs: P1..P2, manager: P1}}\n"
        "cables:\n  W1: {from: P1 LINK2, to: P2 LINK1, made: straight, length: 1 m}\n"
    )
    stages(tmp_path, body)
    record = tmp_path / "records" / "lk-pack.yaml"
    record.write_text(record.read_text().replace("generation: 1", "generation: not stated"))
    from interop.site.load import load_site
    from interop.wiring.stage import as_wanted

    (finding,) = of(as_wanted(load_site(tmp_path / "site.yaml")), "record-demands-another-manager")
    assert (finding.verdict, finding.level.value, set(finding.about)) == ("cannot-tell", "stop", {"P1", "P2"})
    assert finding.text == (
        "Link rack: which generation lk-pack is, is not known, so who must be the manager cannot be told; the "
        "manager is P1"
    )
    assert [(f.record, f.path, f.state) for f in finding.facts] == [("lk-pack", "generation", "not-stated")]
