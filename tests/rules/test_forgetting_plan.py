"""The law of unknown facts on what a plan leads to: with any one deciding fact forgotten, no finding of the planned
stage vanishes, and no gate that was shut opens.

The decisions are held and judged again with the record that forgot; a site whose gate is shut is also decided again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.choose.plan import Decisions, decide, planned_stage
from interop.documents.contract import cleared
from interop.records.facts import ABSENT
from interop.records.models import Record
from interop.rules.finding import Finding, Level, findings
from interop.site.load import load_site
from interop.site.site import Site
from interop.wiring.stage import as_found
from tests.rules.test_forgetting import EXAMPLES, forgettable, question_of

Found = set[tuple[str, frozenset[str]]]

BY_A_STOP = frozenset({"reference-missing"})
"""Cautions on a bus that is there. Where a forgotten fact leaves no bus, a stop on the same devices stands instead."""


def asked(items: tuple[Finding, ...]) -> Found:
    return {(question_of(one.rule), frozenset(one.about)) for one in items}


def lost(before: tuple[Finding, ...], after: tuple[Finding, ...]) -> list[str]:
    """The questions that were answered badly and are asked no more, of these devices or of more."""
    asks = asked(after)
    stops = [frozenset(one.about) for one in after if one.level is Level.STOP and one not in before]
    return [
        f"{name}, {', '.join(sorted(about))}"
        for name, about in sorted(asked(before), key=str)
        if not any(name == other and about <= more for other, more in asks)
        and not (name in BY_A_STOP and any(about <= stop for stop in stops))
    ]


def forgetful(site: Site) -> Iterator[tuple[str, Site]]:
    """The site with each deciding or permission fact of each of its records forgotten, one at a time."""
    loaded = {d.record.id: d.loaded for d in site.devices.values()}
    for name, one in sorted(loaded.items()):
        for path, record in forgettable(one.record):
            assert isinstance(record, Record)
            forgot = replace(one, record=record)
            devices = {i: replace(d, loaded=forgot) if d.record.id == name else d for i, d in site.devices.items()}
            yield f"{name}: {path}", replace(site, devices=devices)


@cache
def decided(path: Path) -> Decisions:
    return decide(load_site(path))


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.parent.name for path in EXAMPLES])
def test_no_finding_of_any_rule_vanishes_from_the_plan_as_it_was_made(path: Path) -> None:
    decisions = decided(path)
    before = findings(planned_stage(decisions))
    assert len(before) > 5
    steps = [
        (said, lost(before, findings(planned_stage(replace(decisions, site=less)))))
        for said, less in forgetful(decisions.site)
    ]
    assert len(steps) > 100
    assert [(said, gone) for said, gone in steps if gone] == []


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.parent.name for path in EXAMPLES])
def test_no_finding_of_any_rule_vanishes_from_the_site_as_found(path: Path) -> None:
    site = decided(path).site
    before = findings(as_found(site))
    steps = [(said, lost(before, findings(as_found(less)))) for said, less in forgetful(site)]
    assert [(said, gone) for said, gone in steps if gone] == []


def test_forgetting_never_opens_a_gate() -> None:
    """Of the site with ten faults another plan may be made from less; it is cleared no more than the first."""
    (path,) = [one for one in EXAMPLES if one.parent.name == "ten-faults"]
    shut = {"settings": False, "joining": False}
    assert cleared(findings(planned_stage(decided(path)))) == shut
    for said, less in forgetful(decided(path).site):
        assert cleared(findings(planned_stage(decide(less)))) == shut, said


def test_a_forgotten_fact_can_shut_the_gate() -> None:
    """Not vacuous: without its number of cells the newer pack may not be joined to the others."""
    (path,) = [one for one in EXAMPLES if one.parent.name == "lock-house"]
    decisions = decided(path)
    assert cleared(findings(planned_stage(decisions)))["settings"] is True
    record = decisions.site.devices["B4"].record
    assert record.cells is not None
    blank = record.model_copy(update={"cells": record.cells.model_copy(update={"in_series": ABSENT})})
    device = decisions.site.devices["B4"]
    less = replace(device, loaded=replace(device.loaded, record=blank))
    site = replace(decisions.site, devices={**decisions.site.devices, "B4": less})
    assert cleared(findings(planned_stage(replace(decisions, site=site))))["settings"] is False
