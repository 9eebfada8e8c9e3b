"""What ``explain`` says is so: every level a finding can have, every rule a finding can name, plain paragraphs."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from interop.choose.plan import decide, planned_stage
from interop.records.answers import Answer
from interop.rules.finding import RULES, Finding, Level
from interop.rules.judge import EXPLAINED, check_site, judge
from interop.site.load import load_site
from interop.wiring.stage import as_found
from tests.rules.scenarios import FOLDER

EXAMPLES = sorted((Path(__file__).parent.parent.parent / "examples").glob("*/site.yaml"))
SITES = [*sorted(FOLDER.glob("*.yaml")), *EXAMPLES]


@cache
def _all_findings() -> tuple[Finding, ...]:
    return tuple(_findings())


def _findings() -> Iterator[Finding]:
    for path in SITES:
        site = load_site(path)
        for judged in (check_site(site), judge(as_found(site), planned_stage(decide(site)))):
            yield from (*judged.found, *judged.planned)


def test_no_finding_has_a_level_that_its_rule_does_not_tell() -> None:
    told = {
        (name, verdict, level)
        for name, rule in EXPLAINED.items()
        for answer, verdict in ((Answer.BROKEN, "broken"), (Answer.CANNOT_TELL, "cannot-tell"))
        for level in rule.levels(answer)
    }
    assert {(f.rule, f.verdict, f.level) for f in _all_findings()} - told == set()


def test_the_sites_show_rules_at_more_than_one_level() -> None:
    """Not vacuous: a good part of the second levels that rules declare is seen."""
    seen = {(f.rule, f.level) for f in _all_findings()}
    also = {(name, level) for name, rule in RULES.items() for level in (*rule.broken_also, *rule.unknown_also)}
    assert len(also & seen) >= 8


def test_every_rule_that_a_finding_names_can_be_explained() -> None:
    assert {f.rule for f in _all_findings()} - EXPLAINED.keys() == set()
    assert EXPLAINED.keys() - RULES.keys() == {"acceptance-without-finding"}


@pytest.mark.parametrize("name", EXPLAINED)
def test_an_explanation_is_one_paragraph(name: str) -> None:
    assert EXPLAINED[name].explain == " ".join(EXPLAINED[name].explain.split())
    assert EXPLAINED[name].meaning.endswith(".")


def _explain(rule: str) -> str:
    command = [sys.executable, "-m", "interop", "explain", rule]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def test_explain_tells_both_levels_of_both_answers() -> None:
    lines = _explain("terminators-in-too-many-packs").splitlines()
    assert lines[0] == "terminators-in-too-many-packs"
    assert lines[3:5] == [
        "Level: broken: stop (in some cases caution); cannot tell: caution (in some cases stop or note); a",
        "caution must be accepted in the site file",
    ]
    assert "⟨" not in "".join(lines)
    assert max(map(len, lines)) <= 100


def test_explain_knows_the_rule_about_acceptances() -> None:
    told = " ".join(_explain("acceptance-without-finding").split())
    assert "Subject: site Level: broken: caution; cannot tell: caution Source: common practice" in told
    assert "A stop cannot be accepted, whoever signs" in told


def test_explain_says_which_cautions_must_be_accepted() -> None:
    told = " ".join(_explain("loop-not-closed").split())
    assert (
        "Level: broken: caution (in some cases stop); cannot tell: stop; a caution must be accepted in the site file"
        in told
    )


def test_levels_come_the_usual_first_and_once() -> None:
    rule = RULES["terminator-missing"]
    assert rule.levels(Answer.BROKEN) == (Level.CAUTION, Level.STOP, Level.NOTE)
