"""The gate as a truth table: what one finding does to the two clearances, two findings together, and drafts.

The table is typed from the definition. Settings are open when there is no stop of any subject, no cannot-tell at level
stop among cells, link, address, conductor and stop line, and no caution left that must be accepted. Joining: the same
over every subject.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.documents.contract import cleared
from interop.documents.findings import finding_json
from interop.documents.settle import NotCleared, refuse_uncleared, settle_words, shuts
from interop.rules.finding import RULES, Finding, Level
from interop.site.site import Accepted

OPEN, SHUT, SETTINGS_ONLY = (True, True), (False, False), (True, False)

OF_SETTINGS = ("cells", "link", "address", "conductor", "stop line")
OTHERS = ("power", "sharing", "settings", "site")

# level, verdict, must be accepted, accepted, subjects: settings and joining
TABLE = [
    ("stop", "broken", False, False, OF_SETTINGS, SHUT),
    ("stop", "broken", False, False, OTHERS, SHUT),
    ("stop", "cannot-tell", False, False, OF_SETTINGS, SHUT),
    ("stop", "cannot-tell", False, False, OTHERS, SETTINGS_ONLY),
    ("caution", "broken", True, False, OF_SETTINGS, SHUT),
    ("caution", "broken", True, False, OTHERS, SHUT),
    ("caution", "cannot-tell", True, False, OF_SETTINGS, SHUT),
    ("caution", "cannot-tell", True, False, OTHERS, SHUT),
    ("caution", "broken", True, True, OF_SETTINGS, OPEN),
    ("caution", "broken", True, True, OTHERS, OPEN),
    ("caution", "cannot-tell", True, True, OF_SETTINGS, OPEN),
    ("caution", "cannot-tell", True, True, OTHERS, OPEN),
    ("caution", "broken", False, False, OF_SETTINGS, OPEN),
    ("caution", "broken", False, False, OTHERS, OPEN),
    ("caution", "cannot-tell", False, False, OF_SETTINGS, OPEN),
    ("caution", "cannot-tell", False, False, OTHERS, OPEN),
    ("caution", "broken", False, True, OF_SETTINGS, OPEN),
    ("caution", "cannot-tell", False, True, OTHERS, OPEN),
    ("note", "broken", False, False, OF_SETTINGS, OPEN),
    ("note", "broken", False, False, OTHERS, OPEN),
    ("note", "cannot-tell", False, False, OF_SETTINGS, OPEN),
    ("note", "cannot-tell", False, False, OTHERS, OPEN),
    # only cautions can be accepted: a name under a stop opens nothing
    ("stop", "broken", False, True, OF_SETTINGS, SHUT),
    ("stop", "broken", False, True, OTHERS, SHUT),
    ("stop", "cannot-tell", False, True, OF_SETTINGS, SHUT),
    ("stop", "cannot-tell", False, True, OTHERS, SETTINGS_ONLY),
]

SIGNED = Accepted("a-rule", ("P1",), "both fused", "A. Example", "2031-05-02", (1, 1))


def one(level: str, verdict: str, must: bool, accepted: bool, subject: str) -> Finding:
    return Finding("a-rule", subject, Level(level), verdict, ("P1",), None, None, (), "what is so", "what to do",
                   "common practice", (), must, SIGNED if accepted else None)  # fmt: skip


CASES = [
    (one(level, verdict, must, accepted, subject), answer)
    for level, verdict, must, accepted, subjects, answer in TABLE
    for subject in subjects
]


def gates(*findings: Finding) -> tuple[bool, bool]:
    answer = cleared(findings)
    assert set(answer) == {"settings", "joining"}
    return answer["settings"], answer["joining"]


def name(value: Any) -> str:
    if isinstance(value, Finding):
        words = [value.subject, value.level.value, value.verdict]
        words += ["must be accepted"] * value.must_accept + ["accepted"] * (value.accepted is not None)
        return " ".join(words)
    return ""


@pytest.mark.parametrize("finding, answer", CASES, ids=name)
def test_one_finding(finding: Finding, answer: tuple[bool, bool]) -> None:
    assert gates(finding) == answer


def test_nothing_found_opens_both() -> None:
    assert gates() == OPEN


def test_two_findings_leave_open_what_both_leave_open() -> None:
    for (first, a), (second, b) in product(CASES, CASES):
        assert gates(first, second) == (a[0] and b[0], a[1] and b[1]), (name(first), name(second))


def test_joining_is_never_open_while_settings_are_shut() -> None:
    answers = [gates(first, second) for (first, _), (second, _) in product(CASES, CASES)]
    assert (False, True) not in answers
    assert set(answers) == {OPEN, SHUT, SETTINGS_ONLY}


def test_the_subjects_of_the_rules_are_those_of_the_table() -> None:
    """A rule of a subject that the table does not know must be entered in it."""
    used = {rule.subject for rule in RULES.values()}
    assert set(OF_SETTINGS) <= used <= {*OF_SETTINGS, *OTHERS}


def test_what_is_printed_as_still_to_settle_is_what_keeps_the_gate_shut() -> None:
    for finding, answer in CASES:
        plan = {"findings": [finding_json(finding)], "cleared": dict(zip(("settings", "joining"), answer, strict=True))}
        assert bool(shuts(plan)) == (answer != OPEN), name(finding)
        assert settle_words(plan, "P1") == (((), 0) if answer == OPEN else (("what to do",), 0))


@pytest.mark.parametrize("draft", [False, True])
@pytest.mark.parametrize("answer", [OPEN, SETTINGS_ONLY, SHUT])
def test_only_a_draft_is_issued_while_settings_are_shut(draft: bool, answer: tuple[bool, bool]) -> None:
    plan = {"cleared": dict(zip(("settings", "joining"), answer, strict=True)), "draft": draft}
    if answer == SHUT and not draft:
        with pytest.raises(NotCleared, match="settings are not cleared: only a draft or a refusal page can be issued"):
            refuse_uncleared(plan)
    else:
        refuse_uncleared(plan)
