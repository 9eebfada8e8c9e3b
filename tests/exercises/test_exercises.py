"""The fourteen exercises through the whole pipeline: site file, records, decisions, findings, plan.json, sheets.

Every expected answer was worked out by hand from the description of the exercise, before the program ran.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from interop.choose.plan import Decisions
from interop.documents.faces_of import faces_of
from interop.documents.package import check_site, plan_document
from interop.documents.sheets import SheetInput, sheet_inputs
from interop.records.switches import Case, readings
from interop.rules.finding import Finding
from interop.site.load import load_site
from interop.site.site import Site

SITES = Path(__file__).parent / "sites"
RECORDS = Path(__file__).parent / "records"

Plan = dict[str, Any]


def site(name: str) -> Site:
    (path,) = SITES.glob(f"{name}*.yaml")
    return load_site(path)


@cache
def _decided(name: str) -> tuple[Plan, Decisions]:
    plan, decisions, _ = plan_document(site(name))
    return plan, decisions


def planned(name: str) -> Plan:
    return _decided(name)[0]


def sheets(name: str) -> dict[str, SheetInput]:
    plan, decisions = _decided(name)
    return {sheet.id: sheet for sheet in sheet_inputs(plan, faces_of(decisions))}


def row(name: str, pack: str) -> str:
    """The one switch row of a pack as the plan sets it."""
    ((_, entry),) = planned(name)["packs"][pack]["switches"].items()
    return " ".join(entry["set"])


def said(findings: list[Plan], rule: str) -> list[Plan]:
    return [one for one in findings if one["rule"] == rule]


def reasons(name: str, about: str) -> str:
    return " ".join(one["text"] for one in planned(name)["reasons"] if about in one["about"])


def cable(name: str, key: str) -> tuple[str, list[tuple[str, str]], list[str]]:
    one = planned(name)["cables"][key]
    return one["kind"], [tuple(p) for p in one["joined"]], one["cut"]


def checked(name: str) -> tuple[Finding, ...]:
    return check_site(site(name)).planned


@pytest.mark.parametrize("number", range(1, 15))
def test_every_exercise_has_a_site(number: int) -> None:
    assert list(SITES.glob(f"ex{number:02}*.yaml"))


# ---- 1, 2: four switches, and the next generation beside them ----


def test_1_member_5_the_manager_and_the_restart() -> None:
    pack = {address: name for name, one in planned("ex01")["packs"].items() for address in [one["address"]]}
    assert pack[5] == "P6"
    assert row("ex01", pack[5]) == "on off on off"
    assert planned("ex01")["links"][0]["manager"] == pack[0] == "P1"
    assert row("ex01", "P1") == "off off off off"
    assert planned("ex01")["cleared"] == {"settings": True, "joining": False}
    for sheet in sheets("ex01").values():
        assert sheet.after == ("After switch change: restart the pack",)
        assert "Takes effect: after restart." in sheet.rows[0].how
    assert sheets("ex01")["P6"].rows[0].words == "1 on, 2 off, 3 on, 4 off"


def test_2_the_new_one_speaks_older_at_address_5_and_one_of_the_new_is_manager() -> None:
    packs = planned("ex02-older-mode")["packs"]
    assert (packs["N2"]["mode"], packs["N2"]["address"], packs["N2"]["role"]) == ("older", 5, "member")
    assert row("ex02-older-mode", "N2") == "on off on off off off"
    assert planned("ex02-older-mode")["links"][0]["manager"] == "N1"
    assert (packs["N1"]["mode"], row("ex02-older-mode", "N1")) == ("older", "off off off off off off")
    assert "Larch 2 must be manager (common practice)" in reasons("ex02-older-mode", "N1")
    assert cable("ex02-older-mode", "bank-1") == (
        "straight",
        [("3", "3"), ("6", "6"), ("7", "7"), ("8", "8")],
        ["1", "2", "4", "5"],
    )  # two of the new: stop line too
    assert cable("ex02-older-mode", "bank-2")[1:] == ([("7", "7"), ("8", "8")], ["1", "2", "3", "4", "5", "6"])
    (reach,) = said(planned("ex02-older-mode")["findings"], "stop-does-not-reach")
    assert reach["text"] == "A stop at N1, N2 reaches these packs only; O1..O4 stay live on the busbar"


def test_2_the_old_one_as_manager_is_refused() -> None:
    plan = planned("ex02-older-manager")
    assert plan["cleared"]["settings"] is False
    assert plan["links"][0]["manager"] is None
    assert reasons("ex02-older-manager", "O1").startswith(
        "The site names O1 as manager of link bank; by what the records say of each other, only N1 "
        "(ex02-six-switches) may be manager among N1, O1..O3."
    )
    (stop,) = [f for f in checked("ex02-older-manager") if f.rule == "record-demands-another-manager"]
    assert (stop.level.value, stop.verdict, stop.about) == ("stop", "broken", ("O1", "N1"))
    assert stop.text == (
        "Link bank: N1 (ex02-six-switches) must be the manager beside ex01-four-switches; the manager is O1 "
        "(ex01-four-switches)"
    )


# ---- 3, 4: counts and tables ----


def test_3_an_address_on_members_and_a_count_on_the_manager() -> None:
    assert planned("ex03")["packs"]["P4"]["address"] == 3
    assert row("ex03", "P4") == "on on off off off off off off"
    assert planned("ex03")["links"][0]["manager"] == "P1"
    assert len(planned("ex03")["links"][0]["members"]) == 4
    assert row("ex03", "P1") == "off off on off off off off on"


def test_4_the_double_row_is_named_and_kept_free_while_another_fits() -> None:
    free = planned("ex04-free-rows")
    assert {name: one["address"] for name, one in free["packs"].items()} == {"P1": 1, "P2": 2}
    assert free["cleared"]["settings"] is True
    assert said(free["findings"], "pattern-ambiguous") == []
    full = planned("ex04-double-row")
    assert {name: one["address"] for name, one in full["packs"].items()} == {"P1": 1, "P2": 2, "P3": None, "P4": None}
    (off,) = said(full["findings"], "installed-pack-left-off")
    assert off["about"] == ["P3", "P4"]
    assert off["text"] == (
        "Link bank: installed packs P3, P4 stay unmanaged, on the busbar only; beside P1, P2: row ID of "
        "ex04-printed-table prints one pattern for the addresses 3, 4"
    )
    assert full["cleared"]["settings"] is False


@pytest.mark.parametrize("packs, given", [(5, {1, 2, 5, 6, 7}), (6, {1, 2, 5, 6, 7, 8}), (7, {1, 2, 3, 5, 6, 7, 8})])
def test_4_where_gaps_are_allowed_the_double_row_is_given_out_last(packs: int, given: set[int], tmp_path: Path) -> None:
    plan = altered(
        tmp_path,
        "ex04-double-row",
        "ex04-printed-table",
        lambda record, made: (
            record["addresses"]["chain"].update(gaps="allowed", manager="1"),
            made.update(packs={f"P1..P{packs}": {"model": "ex04-printed-table"}}),
            made["links"]["bank"].update(packs=[f"P1..P{packs}"]),
            made.pop("wishes"),
        ),
    )
    assert {one["address"] for one in plan["packs"].values()} == given
    ambiguous = [one["about"] for one in said(plan["findings"], "pattern-ambiguous")]
    assert len(ambiguous) == (0 if packs < 7 else 1)


def altered(folder: Path, name: str, record: str, change: Callable[[Plan, Plan], object]) -> Plan:
    """The plan of a site whose record and site file are altered."""
    made = yaml.load((SITES / f"{name}.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)  # noqa: S506
    raw = yaml.load((RECORDS / f"{record}.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)  # noqa: S506
    change(raw, made)
    (folder / "records").mkdir()
    (folder / "records" / "one.yaml").write_text(
        yaml.safe_dump(raw, sort_keys=False, default_style='"'), encoding="utf-8"
    )
    made["catalogs"] = ["records", str(SITES / "catalog")]
    path = folder / "site.yaml"
    path.write_text(yaml.safe_dump(made, sort_keys=False, default_style='"'), encoding="utf-8")
    return plan_document(load_site(path))[0]


# ---- 5, 6: port order, and the row on its head ----


def test_5_the_group_stands_on_the_manager_only_and_the_route_numbers_the_members() -> None:
    plan = planned("ex05")
    assert row("ex05", "P1") == "off off on off"  # group 3 counted from 1: 2 in binary, first is low
    assert (row("ex05", "P2"), row("ex05", "P3")) == ("off off off off", "off off off off")
    assert [(name, one["role"], one["address"]) for name, one in plan["packs"].items()] == [
        ("P1", "manager", 0),
        ("P2", "member", 1),
        ("P3", "member", 2),
    ]
    ends = [(one["from"][2], one["to"][2]) for name, one in plan["cables"].items() if name != "bank-to-INV"]
    assert ends == [("OUT", "IN"), ("OUT", "IN")]
    assert plan["cables"]["bank-1"]["from"] == ["P1", "OUT", "OUT"]  # the empty IN makes the manager


def test_6_the_newest_is_manager_and_its_row_is_drawn_as_it_is_seen() -> None:
    assert planned("ex06-upside-down")["links"][0]["manager"] == "N1"
    assert row("ex06-upside-down", "N1") == "off on off off"  # 1 rate, 2 terminator of the report
    drawn = sheets("ex06-upside-down")["N1"].rows[0]
    # the label stands on its head: from the left 4, 3, 2, 1 are seen, and ON, up on the label, is down
    assert (drawn.printed, drawn.set, drawn.on_side, drawn.upside_down) == (
        ("4", "3", "2", "1"),
        ("off", "off", "on", "off"),
        "down",
        True,
    )
    assert drawn.words == "4 off, 3 off, 2 on, 1 off"
    assert drawn.how[:2] == ("ON is down.", "This row is mounted upside down: its own figures stand on their heads.")
    upright = sheets("ex06-upside-down")["O1"].rows[0]
    assert (upright.printed, upright.on_side, upright.upside_down) == (("1", "2", "3", "4"), "up", False)


def test_6_the_older_one_as_manager_is_refused() -> None:
    assert planned("ex06-older-manager")["cleared"]["settings"] is False
    assert "only N1 (ex06-upside-down) may be manager among O1, O2, N1." in reasons("ex06-older-manager", "O1")
    (stop,) = [f for f in checked("ex06-older-manager") if f.rule == "record-demands-another-manager"]
    assert (stop.level.value, stop.about) == ("stop", ("O1", "N1"))


# ---- 7, 8: terminator and dialect ----


def test_7_address_5_at_a_chain_end_has_its_terminator_and_0_is_refused() -> None:
    assert planned("ex07-terminator")["packs"]["P5"]["address"] == 5
    assert row("ex07-terminator", "P5") == "on off on off off on"
    assert [row("ex07-terminator", f"P{i}").split()[5] for i in range(1, 6)] == ["on", "off", "off", "off", "on"]
    (stop,) = [f for f in checked("ex07-zero") if f.rule == "address-reserved"]
    assert (stop.level.value, stop.verdict, stop.about) == ("stop", "broken", ("P2",))
    assert (
        stop.text
        == "Link bank: P2 (ex07-terminator-switch) is set to address 0; ex07-terminator-switch keeps back 0 (not valid)"
    )


def test_8_code_2_makes_the_manager_and_all_off_is_a_member() -> None:
    assert planned("ex08")["links"][0]["manager"] == "P1"
    assert planned("ex08")["buses"]["bank report"]["dialect"] == "moor-can"
    assert row("ex08", "P1") == "off on off"
    assert (row("ex08", "P2"), row("ex08", "P3")) == ("off off off", "off off off")
    switches = site("ex08").devices["P2"].record.switches["PROT"]
    assert {reading.case.role for reading in readings(switches, ("off", "off", "off"), Case(), ("own",))} == {"member"}


# ---- 9, 10: what may be joined ----


def test_9_exactly_the_pair_is_joined_and_the_reference_stays_out() -> None:
    assert cable("ex09-mirrored", "bank-1") == ("straight", [("7", "7"), ("8", "8")], ["1", "2", "3", "4", "5", "6"])
    assert planned("ex09-mirrored")["cleared"]["settings"] is True
    (reference,) = said(planned("ex09-mirrored")["findings"], "reference-missing")
    assert (reference["level"], reference["about"]) == ("caution", ["G1", "V1"])
    assert (
        reference["text"]
        == "Link bank: no reference conductor is joined in bank-1: LINK of ex09b-stop-pair brings none out"
    )


def test_9_a_straight_cable_holds_the_stop_for_ever() -> None:
    found = planned("ex09-straight-found")["found"]
    (held,) = said(found, "stop-held")
    assert (held["level"], held["verdict"], held["about"]) == ("stop", "broken", ["G1", "V1"])
    assert "stop line held for ever in G1 (ex09b-stop-pair)" in held["text"]
    assert "V1 (ex09a-mirrored-pins)" in held["text"]
    assert planned("ex09-straight-found")["cables"]["W1"]["action"] == "alter"  # the plan mends it
    assert said(planned("ex09-straight-found")["findings"], "stop-held") == []


def test_9_the_same_cable_wanted_is_refused(tmp_path: Path) -> None:
    text = (
        (SITES / "ex09-mirrored.yaml")
        .read_text(encoding="utf-8")
        .replace("cables: propose}", "}\ncables:\n  W1: {from: G1 LINK1, to: V1 UP, made: straight}")
        .replace("[../records, catalog]", f"[{RECORDS}, {SITES / 'catalog'}]")
        .replace("manager: propose", "manager: G1")
    )
    path = tmp_path / "site.yaml"
    path.write_text(text, encoding="utf-8")
    (held,) = [f for f in check_site(load_site(path)).planned if f.rule == "stop-held"]
    assert (held.level.value, held.about) == ("stop", ("G1", "V1"))
    plan = plan_document(load_site(path))[0]
    assert plan["cleared"]["settings"] is False


@pytest.mark.parametrize(
    "name, expected",
    [
        ("ex10a", ("straight", [("4", "4"), ("5", "5"), ("6", "6")], ["1", "2", "3", "7", "8"])),
        ("ex10b", ("repinned", [("4", "5"), ("5", "4"), ("6", "6")], [])),
        ("ex10c", ("straight", [("4", "4"), ("5", "5"), ("6", "6")], ["1", "2", "3", "7", "8"])),
    ],
)
def test_10_straight_crossed_and_with_the_supply_cut(
    name: str, expected: tuple[str, list[tuple[str, str]], list[str]]
) -> None:
    assert cable(name, "bank-to-INV") == expected
    assert planned(name)["cables"]["bank-to-INV"]["from"] == ["P1", "REPORT", "REPORT"]
    assert planned(name)["cables"]["bank-1"]["from"] == ["P1", "LINK", "LINK2"]
    assert planned(name)["cleared"]["settings"] is True


def test_10_why_1_and_2_are_cut_towards_the_third() -> None:
    assert "supply" in reasons("ex10c", "bank-to-INV")
    assert "supply" not in reasons("ex10a", "bank-to-INV")


# ---- 11, 12: the busbar ----


def test_11_the_link_holds_and_the_busbar_stops() -> None:
    plan = planned("ex11")
    assert [(one["manager"], one["members"]) for one in plan["links"]] == [("A1", ["B1"])]
    assert cable("ex11", "bank-1")[1] == [("3", "3"), ("7", "7"), ("8", "8")]
    stops = [one for one in plan["findings"] if one["level"] == "stop" and one["verdict"] == "broken"]
    assert {one["subject"] for one in stops} == {"cells"}
    (series,) = said(plan["findings"], "series-count-differs")
    assert series["about"] == ["A1", "B1"]
    assert (
        "15 cells (manual) in A1 (ex11a-fifteen-cells) and 16 cells (manual) in B1 (ex11b-sixteen-cells)"
        in series["text"]
    )
    assert plan["cleared"] == {"settings": False, "joining": False}


def test_12_the_stricter_limit_decides_and_both_statements_are_printed() -> None:
    (join,) = said(planned("ex12")["findings"], "join-difference")
    assert join["text"] == (
        "No voltage of P1, P2 (ex12-two-join-limits) is written down; at joining they may differ by 1.5 V "
        "(ex12-two-join-limits states 2 V (manual p. 22), 1.5 V (inv p. 4))"
    )


@pytest.mark.parametrize("volts, level", [(1.4, "note"), (1.6, "caution"), (2.1, "caution")])
def test_12_between_the_two_limits_the_stricter_answers(volts: float, level: str, tmp_path: Path) -> None:
    text = (SITES / "ex12-joining.yaml").read_text(encoding="utf-8")
    text = text.replace("[../records, catalog]", f"[{RECORDS}, {SITES / 'catalog'}]")
    path = tmp_path / "site.yaml"
    path.write_text(f"{text}found:\n  P1: {{voltage_v: 52}}\n  P2: {{voltage_v: {52 + volts:.1f}}}\n", encoding="utf-8")
    (join,) = said(plan_document(load_site(path))[0]["findings"], "join-difference")
    assert (join["level"], join["limit"]) == (level, "1.5 V")
    assert "2 V (manual p. 22), 1.5 V (inv p. 4)" in join["text"]


# ---- 13, 14: one hop, and what the controller does not see ----


def test_13_every_hop_is_a_bus_of_two_nodes() -> None:
    plan = planned("ex13")
    chains = {name: bus["nodes"] for name, bus in plan["buses"].items() if "chain" in name}
    assert chains == {"bank chain 1": [["P1", "down"], ["P2", "up"]], "bank chain 2": [["P2", "down"], ["P3", "up"]]}
    assert len(chains) == len(plan["packs"]) - 1
    assert [one["address"] for one in plan["packs"].values()] == [1, 2, 3]
    assert plan["packs"]["P2"]["addresses"] == {"bank chain 1": 2, "bank chain 2": 2}
    assert plan["cleared"]["settings"] is True


def test_14_the_controller_does_not_show_two_fifths_of_the_bank() -> None:
    plan = planned("ex14")
    assert plan["packs"]["B1"]["role"] == "unmanaged"
    (part,) = said(plan["findings"], "controller-shows-part")
    assert (part["level"], part["subject"], part["about"]) == ("caution", "settings", ["INV", "B1"])
    # 100 Ah, 51.2 V, 0.9 usable: 4608 Wh a pack; the fourth has twice that: 9216 of 13824 + 9216
    assert part["text"] == (
        "INV shows the lowest charge state of P1..P3 (ex14a-reports-lowest) and the sum of their currents; "
        "B1 (ex14b-unmanaged-double) is not in it: 40 % of the bank's usable energy (9216 of 23040 Wh)"
    )
    assert any("INV shows the lowest charge state" in remark.text for remark in sheets("ex14")["B1"].remarks)
