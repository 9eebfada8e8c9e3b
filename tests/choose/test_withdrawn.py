"""Choices whose route is against a condition give way to the next best; worked by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.choose.plan import decide, planned_stage
from interop.rules.finding import RULES, findings
from interop.site.site import Site
from tests.choose.test_terminator_demands import hops
from tests.choose.test_terminator_ends import derived, loaded

INV = "controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}\n"


def told(plan: Site) -> list[str]:
    """Stops and cautions on links and addresses, word for word."""
    rules = [r for r in RULES.values() if r.subject in ("link", "address")]
    return [f"{f.level.value} {f.rule}: {f.text}" for f in findings(planned_stage(decide(plan)), rules)
            if f.level.value != "note"]


# ---- switches that a wish keeps, and terminators that follow the route ----


def ends(record: dict[str, Any]) -> None:
    record["buses"]["chain"]["termination"] = {"fitted": "by switch", "ohm": "120", "ends": "required"}


def kept(folder: Path, *, wish: str = "must: [keep switches of P1..P3]", packs: int = 4, extra: str = "") -> Site:
    """P1..P3 stand as they should, the terminators of P1 and P3 on; a new P4 would be the end in the place of P3."""
    derived(folder, "tarn-b", "loam", ends)
    made = "made: {7: 7, 8: 8, 3: 3, 6: 6}"
    new = ", P4: {model: loam, place: rack 1 slot 4, new: yes}" if packs == 4 else ""
    return loaded(folder, f"""packs: {{P1..P3: {{model: loam, place: rack 1 slot 1..}}{new}}}
{INV}found:
  P1: {{ADD: 000000, END: 1}}
  P2: {{ADD: 100000, END: 0}}
  P3: {{ADD: 010000, END: 1}}
  links: {{a: {{packs: P1..P3, manager: P1, reports_to: INV}}}}
  cables:
    W1..W2: {{chain: P1..P3, from: LINK2, to: LINK1, {made}, length: 0.3 m}}
    W4: {{from: P1 REPORT, to: INV BAT, made: {{4: 4, 5: 5, 6: 6}}, length: 3 m}}
links: {{a: {{packs: P1..P{packs}, manager: propose, reports_to: INV, cables: propose}}}}
wishes: {{{wish}}}
{extra}""")


def test_a_kept_terminator_keeps_a_new_pack_off(tmp_path: Path) -> None:
    decisions = decide(kept(tmp_path))
    assert {name: pack.role for name, pack in decisions.packs.items()} == {
        "P1": "manager", "P2": "member", "P3": "member", "P4": "unmanaged"}  # fmt: skip
    assert [decisions.patterns[name]["END"] for name in ("P1", "P2", "P3")] == [("on",), ("off",), ("on",)]
    assert decisions.links[0].proved


def test_why_the_new_pack_is_off_is_said(tmp_path: Path) -> None:
    assert told(kept(tmp_path))[0] == (
        "caution left-off-the-link: Link a: new pack P4 stays unmanaged, on the busbar only; beside P1..P3: the wish "
        "that must hold: keep switches of P1..P3"
    )


def test_without_the_wish_the_terminator_moves(tmp_path: Path) -> None:
    decisions = decide(kept(tmp_path, wish="must: [keep switches of P1..P2]"))
    assert decisions.links[0].members == ("P1", "P2", "P3", "P4")
    assert [decisions.patterns[f"P{i}"]["END"] for i in range(1, 5)] == [("on",), ("off",), ("off",), ("on",)]


def test_a_switch_that_the_site_sets_itself_is_not_withdrawn(tmp_path: Path) -> None:
    """What contradicts itself in the site file is told, and nobody is left off for it."""
    plan = kept(tmp_path, packs=3, extra="set: {P3: {END: 0}}\n")
    assert decide(plan).links[0].members == ("P1", "P2", "P3")
    assert ("stop kept-switches-move: The switches of P3 must stay as found, and row END would go from 1 to 0"
            in told(plan))


def test_a_wish_that_is_only_preferred_is_said_to_be_broken(tmp_path: Path) -> None:
    plan = kept(tmp_path, wish="prefer: [keep switches of P1..P3]")
    assert decide(plan).links[0].members == ("P1", "P2", "P3", "P4")
    (one,) = findings(planned_stage(decide(plan)), [RULES["kept-switches-move"]])
    assert (one.level.value, one.text) == (
        "note", "The switches of P3 should rather stay as found, and row END goes from 1 to 0"
    )


# ---- who can be the manager where the cables lie ----


def row(folder: Path, manager: str) -> Site:
    """The site states its row from P3 to P1; the pack whose port UP is empty is the manager."""
    derived(folder, "tarn-a", "brant", hops)
    return loaded(folder, f"packs: {{P1..P3: {{model: brant, place: rack 1 slot 1.., new: yes}}}}\n{INV}"
                  f"links: {{L: {{packs: P1..P3, manager: {manager}, reports_to: INV}}}}\n"
                  "cables:\n  W1: {from: P3 DOWN, to: P2 UP, made: propose}\n"
                  "  W2: {from: P2 DOWN, to: P1 UP, made: propose}\n"
                  "  W3: {from: manager REPORT, to: INV BAT, made: propose}\n")


def test_the_pack_whose_port_is_empty_manages(tmp_path: Path) -> None:
    plan = row(tmp_path, "propose")
    (link,) = decide(plan).links
    assert (link.manager, link.members, link.proved) == ("P3", ("P1", "P2", "P3"), True)
    assert told(plan) == []


def test_a_manager_that_the_site_names_is_left_and_judged(tmp_path: Path) -> None:
    plan = row(tmp_path, "P1")
    assert decide(plan).links[0].manager == "P1"
    assert told(plan)[0].split(":")[0] == "stop wrong-port-or-direction"


def numbered(given: str) -> Any:
    def edit(record: dict[str, Any]) -> None:
        record["switches"] = {"M": {"kind": "slide", "printed": "1", "on_side": "up", "takes_effect": "at once",
                                    "parts": [{"use": "1", "sets": "role", "code": {"flag": "on"}}]}}
        record["addresses"] = {"chain": {"given": given, "first": "manager", "allowed": "0..14", "manager": "0"}}
        record["manager"] = {**record["manager"], "made_by": "flag"}

    return edit


@pytest.mark.parametrize("places, manager", [("4, 3, 2, 1", "P4"), ("2, 1, 3, 4", "P2")])
def test_the_pack_that_the_numbers_begin_at_manages(tmp_path: Path, places: str, manager: str) -> None:
    """By port order: the row of the site begins with P4, or with P2, and the manager must be at an end of it."""
    derived(tmp_path, "tarn-a", "wrack", numbered("by port order"))
    chain = ", ".join(f"P{i}" for i in places.split(", "))
    plan = loaded(tmp_path, f"packs: {{P1..P4: {{model: wrack, place: rack 1 slot 1.., new: yes}}}}\n{INV}"
                  "links: {L: {packs: P1..P4, manager: propose, reports_to: INV}}\n"
                  f"cables:\n  W1..W3: {{chain: [{chain}], from: LINK2, to: LINK1, made: propose}}\n"
                  "  W4: {from: manager REPORT, to: INV BAT, made: propose}\n")
    (link,) = decide(plan).links
    assert link.manager in {chain[:2], chain[-2:]}
    assert link.manager == min(chain[:2], chain[-2:])     # of the two ends the first by place
    assert manager in {chain[:2], chain[-2:]}
    assert not [line for line in told(plan) if "numbering-order-wrong" in line]


@pytest.mark.parametrize("wish, manager", [("", "P1"), ("wishes: {prefer: [manager P3]}\n", "P1")])
def test_by_place_the_first_pack_manages_whatever_is_preferred(tmp_path: Path, wish: str, manager: str) -> None:
    derived(tmp_path, "tarn-a", "wrack", numbered("by place"))
    plan = loaded(tmp_path, f"packs: {{P1..P4: {{model: wrack, place: rack 1 slot 1.., new: yes}}}}\n{INV}"
                  f"links: {{L: {{packs: P1..P4, manager: propose, reports_to: INV, cables: propose}}}}\n{wish}")
    assert decide(plan).links[0].manager == manager
    assert not [line for line in told(plan) if "numbering-order-wrong" in line]
