"""What is proposed for runs without a device or cable: the smallest that every rule lets pass, and no smaller one."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.rules.finding import RULES, Level, findings
from interop.rules.proposals import Proposal, proposals, with_proposals
from interop.site.load import load_site
from interop.site.site import InRun
from interop.wiring.stage import Stage, as_wanted

ROOT = Path(__file__).parents[2]
FERRY = ROOT / "examples" / "ferry-landing" / "site.yaml"
POWER = [name for name, rule in RULES.items() if rule.subject == "power" and name != "power-not-judged"]


def stage(folder: Path, *blanks: tuple[str, str]) -> Stage:
    text = FERRY.read_text(encoding="utf-8").replace("../../catalogs", str(ROOT / "catalogs"))
    (folder / "catalogs").symlink_to(ROOT / "catalogs", target_is_directory=True)
    text = re.sub(r"catalogs: \[.*\]", "catalogs: [catalogs]", text)
    for old, new in blanks:
        assert old in text, old
        text = text.replace(old, new)
    (folder / "site.yaml").write_text(text, encoding="utf-8")
    return as_wanted(load_site(folder / "site.yaml"))


def test_nothing_is_proposed_for_a_site_that_says_all(tmp_path: Path) -> None:
    whole = stage(tmp_path)
    assert proposals(whole) == ()
    assert with_proposals(whole) is whole


def test_a_fuse_for_the_inverters(tmp_path: Path) -> None:
    """6 kW over 0.92 and 45 W idle at 46 V: 142.8 A, 125 % of that 178.4, the next standard rating 200 A. Of the shelf
    a breaker of 200 A would carry it and cannot break 55 kA; so the fuse of 250 A.
    """
    planned = stage(tmp_path, ("minus: {length: 2.1 m}, plus: {device: fuse-250, distance_from_source: 10 cm}",
                               "minus: {length: 2.1 m}"))
    (one,) = proposals(planned)
    assert one == Proposal(("INV unit 1", "INV unit 2", "INV unit 3"), ("plus",), "fuse-250", "at the source", None,
                           one.need_a, 200, "")
    assert one.need_a == pytest.approx((6000 / 0.92 + 45) / 46)
    assert all(run.plus.devices for run in with_proposals(planned).site.runs if run.id == "INV")


def test_a_cable_for_the_charger(tmp_path: Path) -> None:
    """60 A behind a fuse of 100 A: 25 mm2 in free air carries 135 A, at 35 degrees 129 A."""
    planned = stage(tmp_path, ("cable: lead-25, ", ""))
    (one,) = proposals(planned)
    assert (one.runs, one.device, one.cable, one.need_a) == (("SUN unit 1",), None, "lead-25", 60)


def test_with_what_is_proposed_no_rule_stops_more_than_before(tmp_path: Path) -> None:
    """Device and cable of every pack's run left out: with the proposals the bank is drawn, and only what the records
    leave open stops it.
    """
    planned = stage(tmp_path, ("cable: boxed-35, ", ""), (", plus: {device: fuse-125, distance_from_source: 5 cm}", ""))
    found = proposals(planned)
    assert [(one.cable, one.unmet) for one in found] == [("boxed-25", ""), ("boxed-25", "")]
    rules = [RULES[name] for name in POWER]
    stops = {one.rule for one in findings(with_proposals(planned), rules) if one.level is Level.STOP}
    (tmp_path / "whole").mkdir()
    full = stage(tmp_path / "whole")
    assert stops <= {one.rule for one in findings(full, rules) if one.level is Level.STOP} | {
        "device-cannot-break-the-fault", "pack-passes-its-limit"}


def test_a_smaller_one_does_not_pass(tmp_path: Path) -> None:
    """The next smaller device of the shelf in the same place is stopped by a rule."""
    planned = stage(tmp_path, ("minus: {length: 2.1 m}, plus: {device: fuse-250, distance_from_source: 10 cm}",
                               "minus: {length: 2.1 m}"))
    shelf = {one.record.id: one for one in planned.site.shelf("protective device")}
    for name in ("fuse-125", "breaker-200"):
        runs = [replace(run, plus=replace(run.plus, devices=(InRun(shelf[name], 0.1),))) if run.id == "INV" else run
                for run in planned.site.runs]
        tried = replace(planned, site=replace(planned.site, runs=tuple(runs)))
        bad = [one.rule for one in findings(tried, [RULES[n] for n in POWER]) if one.level is Level.STOP
               and "INV" in one.about]
        assert bad, name


def test_where_the_catalogs_hold_nothing_the_figures_are_told(tmp_path: Path) -> None:
    planned = stage(tmp_path, ("cable: lead-25, ", ""))
    bare = replace(planned, site=replace(planned.site, shelf=lambda *_kinds: ()))
    (one,) = proposals(bare)
    assert (one.device, one.cable, one.need_a, one.standard_a) == (None, None, 60, 80)
    assert one.unmet == "nothing in the catalogs passes every rule"


def test_nothing_polarised_is_proposed(tmp_path: Path) -> None:
    planned = stage(tmp_path, ("plus: {device: fuse-100, distance_from_source: 10 cm}", "parallel: 1"))
    shelf = planned.site.shelf("protective device")
    facts = [one.record.device for one in shelf]
    assert all(one is not None for one in facts)
    poled = tuple(replace(one, record=one.record.model_copy(update={"device": one.record.device.model_copy(
        update={"polarised": one.record.device.load_break})})) for one in shelf if one.record.device is not None)
    assert [one.device for one in proposals(planned)] == ["fuse-100"]
    swapped = replace(planned, site=replace(planned.site, shelf=lambda *kinds: poled if "protective device" in kinds
                                            else planned.site.shelf(*kinds)))
    chosen = [one.device for one in proposals(swapped)]
    assert all(name is None or name.startswith("fuse") for name in chosen)
