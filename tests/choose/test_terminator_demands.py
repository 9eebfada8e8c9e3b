"""What records ask of the ends of a bus, against each other and in dispute; buses of one hop without a cable."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.choose.plan import decide, planned_stage
from interop.documents.package import plan_document
from interop.rules.finding import RULES, findings
from interop.site.site import Site
from interop.wiring.stage import as_found
from tests.choose.test_terminator_ends import Edit, derived, loaded, on


def asking(fitted: str, ends: object) -> Edit:
    """Two generations of one kind of pack: the ends of the chain as given."""

    def edit(record: dict[str, Any]) -> None:
        record["buses"]["chain"]["termination"] = {"fitted": fitted, "ohm": "120", "ends": ends}
        record.update(family="smew")
        record["sources"]["inv"] = {"title": "List of an inverter", "says": "stated"}
        if fitted != "by switch":
            record["switches"].pop("END", None)

    return edit


def site(folder: Path, one: Edit, other: Edit, packs: str = "", extra: str = "") -> Site:
    derived(folder, "tarn-b", "smew-1", one)
    derived(folder, "tarn-b", "smew-2", other)
    packs = packs or "A1..A2: {model: smew-1, place: rack 1 slot 2.., new: yes}, B1..B2: {model: smew-2, new: yes}"
    return loaded(folder, f"packs: {{{packs}}}\ncontrollers: {{INV: {{model: mole-6, cable_lands_on: unit 1}}}}\n"
                  f"links: {{L: {{packs: [A1..A2, B1..B2], manager: B1, reports_to: INV, cables: propose}}}}\n{extra}")


def terminator_findings(plan: Site, found: bool = False) -> dict[str, list[str]]:
    stage = as_found(plan) if found else planned_stage(decide(plan))
    told: dict[str, list[str]] = {}
    for one in findings(stage, [r for name, r in RULES.items() if "terminator" in name]):
        told.setdefault(one.rule, []).append(f"{one.level.value} {one.verdict} {one.todo}")
    return told


def test_two_makers_who_ask_for_the_opposite_must_be_accepted(tmp_path: Path) -> None:
    plan = site(tmp_path, asking("never", "forbidden"), asking("by switch", "required"))
    assert on(plan) == {"B1": True, "B2": True}
    ask = "Ask the makers which holds for this bus, or put these packs on links of their own."
    assert terminator_findings(plan) == {"terminators-asked-unlike": [f"caution broken {ask}"]}
    assert plan_document(plan)[0]["cleared"]["settings"] is False


def test_accepted_the_sheets_follow_the_one_who_requires_them(tmp_path: Path) -> None:
    who = 'about: [A1, A2, B1, B2], why: "asked both", by: "A. Example", on: 2031-05-02'
    extra = f"accepted: [{{rule: terminators-asked-unlike, {who}}}]\n"
    plan = site(tmp_path, asking("never", "forbidden"), asking("by switch", "required"), extra=extra)
    document = plan_document(plan)[0]
    (one,) = [f for f in document["findings"] if f["rule"] == "terminators-asked-unlike"]
    assert one["accepted"]["by"] == "A. Example"
    assert [document["packs"][name]["switches"]["END"]["set"] for name in ("B1", "B2")] == [["on"], ["on"]]


@pytest.mark.parametrize("said, on_at_ends, told", [
    ({"manual p. 1": "required", "inv p. 2": "forbidden"}, True, {"terminators-asked-unlike": "caution cannot-tell"}),
    ({"manual p. 1": "required", "inv p. 2": "not required"}, True, {}),
    ({"manual p. 1": "not required", "inv p. 2": "forbidden"}, False, {"terminator-missing": "note cannot-tell"}),
    ("not stated", True, {"terminator-extra": "note cannot-tell"}),
])
def test_a_disputed_demand_is_more_than_a_note(
    tmp_path: Path, said: Mapping[str, str] | str, on_at_ends: bool, told: dict[str, str]
) -> None:
    """What fits every statement needs no word; what breaks one must be accepted."""
    plan = site(tmp_path, asking("by switch", said), asking("by switch", said))
    order = decide(plan).routes["L"].order
    assert {name for name, value in on(plan).items() if value} == ({order[0], order[-1]} if on_at_ends else set())
    assert {rule: " ".join(one[0].split(" ")[:2]) for rule, one in terminator_findings(plan).items()} == told


def test_a_disputed_ban_of_what_is_found_on_is_a_caution(tmp_path: Path) -> None:
    said = {"manual p. 1": "not required", "inv p. 2": "forbidden"}
    packs = "A1..A2: {model: smew-1}, B1..B2: {model: smew-2}"
    stands = ("found: {A1: {END: 0}, A2: {END: 1}, B1: {END: 1}, B2: {END: 0}, "
              "links: {L: {packs: [B1, B2, A1, A2], manager: B1}}, "
              "cables: {W1..W3: {chain: [B1, B2, A1, A2], from: LINK2, to: LINK1, made: straight}}}\n")
    plan = site(tmp_path, asking("by switch", said), asking("by switch", said), packs, stands)
    assert terminator_findings(plan, found=True)["terminator-extra"] == [
        "caution cannot-tell Look in the manual for the last pack of the row."
    ]


def test_no_text_orders_the_opposite_of_the_contradiction(tmp_path: Path) -> None:
    """As found, the ends stand off: what one maker wants on and the other off, no finding orders either way."""
    packs = "A1..A2: {model: smew-1}, B1..B2: {model: smew-2}"
    stands = ("found: {B1: {END: 0}, B2: {END: 0}, links: {L: {packs: [B1, A1, A2, B2], manager: B1}}, "
              "cables: {W1..W3: {chain: [B1, A1, A2, B2], from: LINK2, to: LINK1, made: straight}}}\n")
    plan = site(tmp_path, asking("never", "forbidden"), asking("by switch", "required"), packs, stands)
    told = terminator_findings(plan, found=True)
    assert set(told) == {"terminators-asked-unlike", "terminator-missing"}
    assert told["terminator-missing"] == ["caution broken Settle first what the records ask of the ends."]


def test_terminators_fixed_inside_are_not_to_be_switched_off(tmp_path: Path) -> None:
    plan = site(tmp_path, asking("never", "forbidden"), asking("always", "not required"))
    assert terminator_findings(plan)["terminator-extra"] == [
        "caution broken Put no smew-2, which has one fixed inside, on this bus."
    ]


# ---- buses of one hop ----


def hops(record: dict[str, Any]) -> None:
    """A pack with one bus to the pack before it and one to the pack behind it, each with a terminator switch."""
    chain = record["buses"].pop("chain")
    chain["termination"] = {"fitted": "by switch", "ohm": "120", "ends": "required"}
    chain["nodes"] = "2"
    for name, way in (("up", "in"), ("down", "out")):
        socket = name.upper()
        record["buses"][name] = deepcopy({**chain, "hop": "one", "sockets": [socket]})
        record["ports"][socket] = {"sockets": [socket], "plug": "rj45", "direction": way, "inside": "alone",
                                   "reference": "isolated", "shell": "none"}
        record["pins"][socket] = {str(i): "empty" for i in range(1, 9)} | {
            "3": "reference", "7": f"{name} minus", "8": f"{name} plus"}
        record["switches"][f"T{name[0].upper()}"] = {
            "kind": "slide", "printed": "1..1", "on_side": "up", "takes_effect": "at once",
            "parts": [{"use": "1", "sets": "terminator", "bus": name, "code": {"flag": "on"}}]}
    for part in ("ports", "pins", "printed"):
        record.get(part, {}).pop("LINK", None)
    for row in ("ADD", "END"):
        record["switches"].pop(row, None)
    record.pop("lines", None)
    rule = {"given": "by port order", "first": "manager", "allowed": "1..16", "gaps": "forbidden", "start": "1",
            "manager": "1"}
    record["addresses"] = {"up": rule, "down": dict(rule)}
    record["manager"] = {"made_by": "empty port", "port": "UP", "members_at_most": "15",
                         "reports": record["manager"]["reports"], "if_lost": record["manager"]["if_lost"]}


def daisies(folder: Path, packs: int, found: str = "") -> Site:
    derived(folder, "tarn-a", "brant", hops)
    new = "" if found else ", new: yes"
    return loaded(folder, f"packs: {{P1..P{packs}: {{model: brant, place: rack 1 slot 1..{new}}}}}\n"
                  f"controllers: {{INV: {{model: mole-6, cable_lands_on: unit 1}}}}\n{found}"
                  f"links: {{L: {{packs: P1..P{packs}, manager: propose, reports_to: INV, cables: propose}}}}\n")


@pytest.mark.parametrize("packs, on_at", [
    (1, set()),
    (2, {("P1", "down"), ("P2", "up")}),
    (3, {("P1", "down"), ("P2", "up"), ("P2", "down"), ("P3", "up")}),
])
def test_a_bus_of_one_hop_ends_where_a_cable_is(tmp_path: Path, packs: int, on_at: set[tuple[str, str]]) -> None:
    plan = daisies(tmp_path, packs)
    assert {key for key, value in decide(plan).terminators.items() if value} == on_at
    assert terminator_findings(plan) == {}


def test_a_lone_found_pack_gets_no_caution_about_ends(tmp_path: Path) -> None:
    """The switches of sockets that nothing is plugged into stay as they stand."""
    stands = ("found: {P1: {TU: 1, TD: 0}, links: {L: {packs: [P1], reports_to: INV}}, cables: {W: {from: P1 REPORT, "
              "to: INV BAT, made: {4: 4, 5: 5, 6: 6}}}}\n")
    plan = daisies(tmp_path, 1, stands)
    assert terminator_findings(plan, found=True) == {}
    assert terminator_findings(plan) == {}
    assert decide(plan).patterns["P1"] == {"TU": ("on",), "TD": ("off",)}
