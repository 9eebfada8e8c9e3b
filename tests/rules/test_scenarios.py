"""Every rule has a pair of sites: one breaks it, with the exact text; the other differs in one value and does not."""

from __future__ import annotations

import re

import pytest

from interop.rules.finding import RULES
from tests.rules.scenarios import FOLDER, Pair, differences, expected, of_file, pairs

PAIRS = pairs()
_IDS = [pair.name for pair in PAIRS]

PENDING = frozenset({"power"})
"""Subjects whose rules may still wait for their pairs of files; empty when they are written."""


def test_every_rule_has_a_pair() -> None:
    waiting = {name for name, rule in RULES.items() if rule.subject in PENDING}
    assert sorted(RULES.keys() - {pair.rule for pair in PAIRS} - waiting) == []


def test_no_pair_without_a_rule() -> None:
    assert sorted({pair.rule for pair in PAIRS} - RULES.keys()) == []


def test_no_subject_is_pending_in_vain() -> None:
    bare = {rule.subject for name, rule in RULES.items() if name not in {pair.rule for pair in PAIRS}}
    assert sorted(PENDING - bare) == []


def test_every_file_belongs_to_a_pair() -> None:
    named = {path for pair in PAIRS for path in (pair.breaks, pair.holds)}
    assert sorted(p.name for p in FOLDER.glob("*.yaml") if p not in named) == []
    assert sorted(p.name for p in named if not p.is_file()) == []


@pytest.mark.parametrize("pair", PAIRS, ids=_IDS)
def test_breaks(pair: Pair) -> None:
    """The rule finds what the file says, word for word, and nothing else."""
    wanted = expected(pair.breaks)
    assert wanted, "no line '# finding: …'"
    assert sorted(of_file(pair.breaks, pair.rule), key=str) == sorted(wanted, key=str)


@pytest.mark.parametrize("pair", PAIRS, ids=_IDS)
def test_holds(pair: Pair) -> None:
    """The neighbour does not get that finding: not this verdict at this level in this stage about these devices."""
    found = {(e.stage, e.level, e.verdict, e.about) for e in of_file(pair.holds, pair.rule)}
    assert found.isdisjoint((e.stage, e.level, e.verdict, e.about) for e in expected(pair.breaks))


@pytest.mark.parametrize("pair", PAIRS, ids=_IDS)
def test_the_pair_differs_in_one_value(pair: Pair) -> None:
    assert len(differences(pair.breaks, pair.holds)) == 1


@pytest.mark.parametrize("pair", PAIRS, ids=_IDS)
def test_a_file_says_what_it_shows(pair: Pair) -> None:
    for path in (pair.breaks, pair.holds):
        first = path.read_text(encoding="utf-8").splitlines()[0]
        assert re.match(r"# (?!finding:).{10,}", first), path.name


@pytest.mark.parametrize("name", sorted(RULES))
def test_a_rule_can_be_explained(name: str) -> None:
    rule = RULES[name]
    assert re.fullmatch(r"[a-z]+(-[a-z]+)+", name)
    assert rule.meaning.endswith(".")
    assert rule.source
    assert len(rule.explain.split()) >= 30
