"""Addresses and switch rows: what the pairs of scenario files do not show."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.rules.finding import RULES, findings
from interop.wiring.meanings import standings
from interop.wiring.stage import as_found
from tests.rules.site import changed, found, planned, texts, write


def rack(model: str, *patterns: str, more: str = "", row: str = "SW", manager: str = "A1") -> str:
    """A link of packs A1.. of one record, found with these patterns (an empty one: nobody looked)."""
    seen = "".join(f"  A{i}: {{{row}: {p}}}\n" for i, p in enumerate(patterns, 1) if p)
    last = f"A{len(patterns)}"
    return (f"packs:\n  A1..{last}: {{model: {model}}}\n{more}found:\n{seen}  links:\n    old: "
            f"{{packs: A1..{last}, manager: {manager}}}\n")


# ---- addresses ----

def test_three_packs_on_the_two_values_of_a_misprinted_table_clash(tmp_path: Path) -> None:
    """Two equal rows of the table (3 and 4): three packs at that pattern cannot all have an address of their own."""
    site = write(tmp_path, rack("ex04-printed-table", "0001", "1010", "1010", "1010", row="ID"))
    assert texts(found(site, "address-clash")) == [
        ("stop broken A2,A3,A4: Link old: A2..A4 (ex04-printed-table) share the addresses 3, 4; 2 addresses take 2 "
        "packs")]


def test_two_packs_on_them_may_clash(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex04-printed-table", "0001", "1010", "1010", row="ID"))
    finding, = found(site, "address-clash")
    assert texts((finding,)) == [
        ("stop cannot-tell A2,A3: Link old: the addresses of A2, A3 (ex04-printed-table) cannot be told, two of them "
         "may be the same; one pattern, or a record, leaves several addresses open")]
    assert finding.todo == "Ask the maker which address the pattern means, or use another one."


def test_packs_that_nobody_looked_at_are_one_caution(tmp_path: Path) -> None:
    site = write(tmp_path, rack("heron", "000000", "100000", "", "", ""))
    assert texts(found(site, "address-clash")) == [
        ("caution cannot-tell A3,A4,A5,A1,A2: Link old: the addresses of A3..A5 (heron) cannot be told, two of them "
         "may be the same, or one of them that of one of A1, A2; not every switch was looked at")]


def test_what_a_planned_stage_does_not_give_is_left_to_the_plan(tmp_path: Path) -> None:
    site = write(tmp_path, "packs:\n  A1..A3: {model: heron, new: yes}\nlinks:\n  rack: {packs: A1..A3, manager: "
                 "propose}\n")
    mine = [rule for rule in RULES.values() if rule.subject == "address"]
    assert [f.rule for stage in (as_found(site),) for f in findings(stage, mine)] == []
    assert [text for rule in mine for text in texts(planned(site, rule.name))] == []


def test_the_same_address_on_two_links_is_no_clash(tmp_path: Path) -> None:
    site = write(tmp_path, "packs:\n  A1..A4: {model: heron}\nfound:\n  A1..A4: {SW: 000000}\n  links:\n    one: "
                 "{packs: A1, manager: A1}\n    two: {packs: A2, manager: A2}\n")
    assert found(site, "address-clash") == ()


def test_a_manager_by_flag_stands_where_its_record_says(tmp_path: Path) -> None:
    """egret: no switch of the manager says its address; the record gives it 0, and the members 1 to 15."""
    site = write(tmp_path, rack("egret", "01000001", "10000000", "01000000"))
    stage = as_found(site)
    assert {s.pack.id: (sorted(s.values), s.switched) for s in standings(stage, stage.links[0])} == {
        "A1": ([0], False), "A2": ([1], True), "A3": ([2], True)}
    mine = [rule for rule in RULES.values() if rule.subject == "address"]
    assert findings(stage, mine) == ()


def test_a_member_at_zero_beside_a_manager_by_flag(tmp_path: Path) -> None:
    site = write(tmp_path, rack("egret", "10000001", "00000000"))
    assert texts(found(site, "address-clash")) == [("stop broken A1,A2: Link old: A1, A2 (egret) share address 0; "
                                                   "each address takes one pack")]
    assert texts(found(site, "address-out-of-range")) == [
        "stop broken A2: Link old: A2 (egret) is set to address 0; egret allows 1..15 (manual)"]


def test_an_allowed_set_that_nobody_states_cannot_be_told(tmp_path: Path) -> None:
    other = changed("heron", "other", ("allowed: 0..24, ", ""))
    finding, = found(write(tmp_path, rack("other", "000000", "100110"), other=other), "address-out-of-range")
    assert texts((finding,)) == [
        ("stop cannot-tell A2: Link old: whether the addresses of A2 (other) are allowed cannot be told: other does "
         "not state addresses.chain.allowed")]
    assert finding.todo == ("Look up addresses.chain.allowed of other; a manual usually prints it beside the table "
                            "of the address switches.")
    assert [(f.record, f.path, f.state) for f in finding.facts] == [("other", "addresses.chain.allowed", "absent")]


def test_an_allowed_set_in_dispute(tmp_path: Path) -> None:
    other = changed("heron", "other", ("allowed: 0..24", "allowed: {manual: 0..24, list p. 2: 0..4}"),
                    ('sources: {manual: {title: "Heron manual", says: stated}}',
                     'sources: {manual: {title: "M", says: stated}, list: {title: "L", says: stated}}'))
    site = write(tmp_path, rack("other", "000000", "101000", "100110"), other=other)
    assert texts(found(site, "address-out-of-range")) == [
        "stop cannot-tell A2: Link old: A2 (other) is set to address 5; other allows 0..24 (manual) or 0..4 (list)",
        "stop broken A3: Link old: A3 (other) is set to address 25; other allows 0..24 (manual) or 0..4 (list)"]


@pytest.mark.parametrize(
    "change, patterns, expected",
    [
        (("gaps: forbidden", "gaps: allowed"), ("000000", "010000"), []),
        (("gaps: forbidden, ", ""), ("000000", "010000"),
         [("caution cannot-tell A1,A2: Link old: no pack of A1, A2 (other) is known to stand at address 1; whether "
           "that is a gap cannot be told, what other says of gaps and of the first address is not known")]),
        (("start: 0, ", ""), ("000000", "010000"),
         [("caution cannot-tell A1,A2: Link old: no pack of A1, A2 (other) is known to stand at address 1; whether "
           "that is a gap cannot be told, what other says of gaps and of the first address is not known")]),
        (("start: 0, ", ""), ("000000", "100000"), []),
        (("start: 0", "start: 0"), ("000000", "110000", "x00000"),
         [("stop broken A1,A2,A3: Link old: no pack of A1..A3 (other) stands at address 2; other wants the addresses "
           "0..3 without a gap")]),
        (("start: 0", "start: 0"), ("000000", "010000", "xx0000"),
         [("caution cannot-tell A1,A2,A3: Link old: no pack of A1..A3 (other) is known to stand at address 1; "
           "whether that is a gap cannot be told, not every address is known")]),
    ],
)
def test_gaps(tmp_path: Path, change: tuple[str, str], patterns: tuple[str, ...], expected: list[str]) -> None:
    site = write(tmp_path, rack("other", *patterns), other=changed("heron", "other", change))
    assert texts(found(site, "address-gap")) == expected


def test_a_manager_whose_address_nobody_states(tmp_path: Path) -> None:
    other = changed("heron", "other", (", manager: 0", ""))
    site = write(tmp_path, rack("other", "000000", "100000"), other=other)
    assert texts(found(site, "manager-address-wrong")) == [
        ("stop cannot-tell A1: Link old: A1 (other) is set to address 0; whether that makes it the manager cannot be "
         "told: other does not state addresses.chain.manager"),
        ("stop cannot-tell A1,A2: Link old: A2 (other) is set to address 1; whether that makes a second manager "
         "beside A1 cannot be told: other does not state addresses.chain.manager")]


def test_packs_without_any_address_rule_cannot_be_told_apart(tmp_path: Path) -> None:
    text = changed("heron-order", "other", (("addresses:\n  chain: {given: by port order, first: manager, allowed: "
                                            "0..15}\n"), ""))
    assert texts(found(write(tmp_path, rack("other", "", ""), other=text), "packs-without-switches")) == [
        "stop cannot-tell A1,A2: Link old: how A1, A2 (other) get their addresses is not stated"]


def test_one_identity_of_two_records_may_be_the_same(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1: {model: heron-one}, B1: {model: other}}\nfound: "
                 "{links: {old: {packs: [A1, B1], manager: A1}}}\n", other=changed("heron-one", "other"))
    assert texts(found(site, "one-bus-identity")) == [
        ("stop cannot-tell A1,B1: Link old: whether A1 (heron-one) and B1 (other) speak with identities of their own "
         "cannot be told: they are of several records, which may share an identity")]


# ---- switch rows ----

def test_a_pattern_outside_a_printed_table(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex04-printed-table", "0001", "1111", row="ID"))
    assert texts(found(site, "pattern-unreadable")) == [
        "stop broken A2: Row ID of A2 (ex04-printed-table) stands at 1111: ex04-printed-table gives that no meaning"]


def test_a_dialect_code_on_a_member_makes_a_second_manager(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex08-dialect-code", "100", "100", row="PROT"))
    assert texts(found(site, "role-switch-wrong")) == [
        ("stop broken A2: Row PROT of A2 (ex08-dialect-code) stands at 100, which ex08-dialect-code reads as a "
         "manager's; A2 must be a member")]


def test_no_dialect_code_on_the_manager_makes_none(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex08-dialect-code", "000", "000", row="PROT"))
    assert texts(found(site, "role-switch-wrong")) == [
        ("stop broken A1: Row PROT of A1 (ex08-dialect-code) stands at 000, which ex08-dialect-code reads as a "
         "member's; A1 is the manager")]


def test_a_flag_that_nobody_looked_at(tmp_path: Path) -> None:
    site = write(tmp_path, rack("egret", "10000001", "1000000x"))
    assert texts(found(site, "role-switch-wrong")) == [
        ("caution cannot-tell A2: Row SW of A2 (egret) stands at 1000000x: whether that is a member's cannot be "
         "told, not every switch was looked at")]


def test_reversed_only_where_the_other_end_fits_exactly(tmp_path: Path) -> None:
    """0001 reads 8; from the other end 1. With 1 taken, or with a hole beside it, nothing is said."""
    assert [f.got for f in found(write(tmp_path, rack("ex01-four-switches", "0000", "0001", row="ADD")),
                                 "pattern-reversed")] == [
        "address 8"]
    assert found(write(tmp_path, rack("ex01-four-switches", "0000", "1000", "0001", row="ADD")),
                 "pattern-reversed") == ()
    assert found(write(tmp_path, rack("ex01-four-switches", "0000", "0001", "1100", row="ADD")),
                 "pattern-reversed") == ()


def test_reversed_where_two_packs_stand_at_one_address(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex01-four-switches", *(["0000", "1000", "0100", "1100", "0010", "1010", "0110",
                                                         "1110", "1000"]), row="ADD"))
    assert [(f.about, f.limit) for f in found(site, "pattern-reversed")] == [(("A2",), "address 8"), (("A9",),
                                                                                                      "address 8")]


def test_every_moved_switch_is_named(tmp_path: Path) -> None:
    site = write(tmp_path, "packs:\n  A1: {model: ex12-two-join-limits}\nfound:\n  A1: {ADD: 1100}\nlinks:\n  rack: "
                 "{packs: A1, manager: A1}\nset:\n  A1: {ADD: 0000}\n")
    assert texts(planned(site, "setting-differs")) == [
        ("note broken A1: Row ADD of A1 (ex12-two-join-limits) was found at 1100; the plan sets 0000: switch 0 off "
        "and 1 off")]


def test_a_new_pack_has_nothing_to_differ_from(tmp_path: Path) -> None:
    site = write(tmp_path, "packs:\n  A1: {model: heron, new: yes}\nlinks:\n  rack: {packs: A1, manager: A1}\nset:\n "
                 " A1: {SW: 000000}\n")
    assert planned(site, "setting-differs") == ()


def test_chain_rates_that_switches_set(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex05-port-order", "0000", "1000", "0000", row="DIP"))
    assert texts(found(site, "rate-stale")) == [
        ("stop broken A1,A2,A3: Link old has no rate of its own: A1, A3 (ex05-port-order) 9600 bit/s and A2 "
         "(ex05-port-order) 115200 bit/s")]
    assert found(write(tmp_path, rack("ex05-port-order", "1000", "1000", row="DIP")), "rate-stale") == ()


def test_a_rate_switch_that_nobody_looked_at(tmp_path: Path) -> None:
    site = write(tmp_path, rack("ex05-port-order", "0000", "x000", row="DIP"))
    assert texts(found(site, "rate-stale")) == [
        ("caution cannot-tell A1,A2: Whether the packs of link old speak at one rate cannot be told: A1 "
         "(ex05-port-order) 9600 bit/s and A2 (ex05-port-order) 9600 or 115200 bit/s")]


def _cabled(*terminators: str, cables: str) -> str:
    return rack("heron", *(f"{p}{t}" for p, t in zip(("00000", "10000", "01000"), terminators, strict=True))) + cables


CHAIN = "  cables:\n    W1..W2: {chain: A1..A3, from: LINK2, to: LINK1, made: straight}\n"


def test_terminators_by_place(tmp_path: Path) -> None:
    assert found(write(tmp_path, _cabled("1", "0", "1", cables=CHAIN)), "terminator-stale") == ()
    assert [f.about for f in found(write(tmp_path, _cabled("0", "1", "0", cables=CHAIN)), "terminator-stale")] == [
        ("A1",), ("A2",), ("A3",)]


def test_terminators_without_written_cables_cannot_be_told(tmp_path: Path) -> None:
    assert texts(found(write(tmp_path, _cabled("1", "0", "1", cables="")), "terminator-stale")) == [
        ("caution cannot-tell A1,A2,A3: Whether the terminators of A1..A3 (heron) fit their places on link old "
         "cannot be told: no data cables are written")]


def test_whether_ends_need_a_terminator_is_never_assumed(tmp_path: Path) -> None:
    other = changed("heron", "other", ("termination: {fitted: by switch, ohm: 120, ends: required}",
                                       "termination: {fitted: by switch, ohm: 120}"))
    site = write(tmp_path, _cabled("1", "0", "0", cables=CHAIN).replace("heron", "other"), other=other)
    assert texts(found(site, "terminator-stale")) == [
        ("caution cannot-tell A1: Terminator of bus chain of A1 (other), at an end of link old, is set on: other "
         "does not state buses.chain.termination.ends"),
        ("caution cannot-tell A3: Terminator of bus chain of A3 (other), at an end of link old, is set off: other "
         "does not state buses.chain.termination.ends")]


def test_a_controller_of_another_rate_whose_dialect_is_unknown(tmp_path: Path) -> None:
    other = changed("reed", "other", (", dialect: [egret-can, heron-can]", ""))
    more = "controllers:\n  INV: {model: other}\n"
    text = rack("egret", "10000011", "10000000", more=more).replace("manager: A1}", "manager: A1, reports_to: INV}")
    assert texts(found(write(tmp_path, text, other=other), "rate-stale")) == [
        "stop broken A1,INV: A1 (egret) sets bus report to 250000 bit/s; INV (other) has 500000 bit/s"]


def test_renaming_the_packs_renames_the_findings(tmp_path: Path) -> None:
    """Metamorphic: ids decide nothing but themselves."""
    text = rack("heron", "000000", "010000", "010000", "111110", "0000x0")
    renamed = text.replace("A", "Q")
    mine = [rule for rule in RULES.values() if rule.subject == "address"]
    before = [f.text for f in findings(as_found(write(tmp_path, text)), mine)]
    after = [f.text for f in findings(as_found(write(tmp_path, renamed)), mine)]
    assert before
    assert [t.replace("A", "Q").replace("Qddress", "Address") for t in before] == after
