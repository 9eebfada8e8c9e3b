"""Inverters and chargers that hear from nobody: who could, what was there before, and what other rules say already."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.choose.plan import decide, planned_stage
from interop.rules.finding import RULES, findings
from tests.rules.site import changed, found, planned, texts, write

PLAIN, LOST = "controller-hears-nobody", "controller-loses-its-packs"
HEAD = "packs: {P1: {model: lk-pack}}\ncontrollers: {INV: {model: lk-ctl}}\n"
OBEYS = "it obeys its own settings, not the packs"


@pytest.mark.parametrize("most, fires", [("0", False), ("1", True), ("not stated", True)])
def test_a_bus_that_follows_no_manager_hears_nobody_by_design(tmp_path: Path, most: str, fires: bool) -> None:
    record = changed("lk-ctl", "own", ("{managers_at_most: 1,", f"{{managers_at_most: {most},"))
    site = write(tmp_path, "packs: {P1: {model: lk-pack}}\ncontrollers: {INV: {model: own}}\n", own=record)
    text = f"caution broken INV: No link reports to INV (own): {OBEYS}"
    assert texts(planned(site, PLAIN)) == ([text] if fires else [])
    assert texts(found(site, PLAIN)) == []


def test_a_found_cable_to_a_pack_is_a_link_lost_too(tmp_path: Path) -> None:
    cable = "found: {cables: {W9: {from: P1 REPORT, to: INV BAT, made: straight, length: 2 m}}}\n"
    site = write(tmp_path, HEAD + cable)
    assert texts(planned(site, PLAIN)) == []
    (finding,) = planned(site, LOST)
    assert finding.must_accept
    assert finding.text == f"As found cable W9 led to it; no link of the plan reports to INV (lk-ctl): {OBEYS}"


def test_of_two_inverters_the_one_that_was_merged_away_is_named(tmp_path: Path) -> None:
    site = write(
        tmp_path,
        "packs: {P1..P2: {model: lk-pack}}\ncontrollers: {INV1..INV2: {model: lk-ctl}}\n"
        "found: {links: {a: {packs: P1, manager: P1, reports_to: INV1}, b: {packs: P2, manager: P2, "
        "reports_to: INV2}}}\nlinks: {all: {packs: P1..P2, manager: propose, reports_to: INV2, cables: propose}}\n",
    )
    stage = planned_stage(decide(site))
    assert [f.about for f in findings(stage, [RULES[LOST]])] == [("INV1",)]
    assert findings(stage, [RULES[PLAIN]]) == ()


def test_a_link_that_cannot_be_formed_is_not_told_twice(tmp_path: Path) -> None:
    site = write(
        tmp_path,
        "packs: {P1: {model: lk-pack}}\ncontrollers: {INV: {model: lk-ctl-foreign}}\n"
        "links: {all: {packs: P1, manager: propose, reports_to: INV, cables: propose}}\n",
    )
    stage = planned_stage(decide(site))
    assert [f.about for f in findings(stage, [RULES["link-not-formed"]])] == [("P1",)]
    assert findings(stage, [RULES[PLAIN], RULES[LOST]]) == ()
