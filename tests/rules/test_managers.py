"""What makes a pack the manager, read from all of its rows: a role that a switch states is enough."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rules.site import changed, found, planned, texts, write

ROWS = """  ADD:
    kind: slide
    printed: 1..4
    on_side: up
    parts: [{use: 1..4, sets: address, code: {binary: first is low, from: 0}}]
"""
WITH_ROLE = ROWS.replace("from: 0}", "from: 0}, when: {role: member}") + """\
  COUNT:
    kind: menu
    parts:
      - {use: all, sets: count of members, code: {number: {shown: 1..9, wire_from: 1}}, when: {role: manager}}
      - {use: all, sets: nothing, keep: 1, when: {role: [member, unmanaged]}}
  ROLE: {kind: slide, printed: 1..1, on_side: up, parts: [{use: 1, sets: role, code: {flag: on}}]}
"""
RULE = "two-managers-on-a-link"


def _said(tmp_path: Path, first: str, second: str) -> list[str]:
    """What the rule says of two packs of one link with these rows as found."""
    spread = "      - {use: 1..4, sets: address, code: {binary: first is low, from: 0}, when: {role: manager}}\n"
    rows = WITH_ROLE.replace("    parts: [{use: 1..4", "    parts:\n      - {use: 1..4", 1).replace(
        "when: {role: member}}]\n", "when: {role: [member, unmanaged]}}\n" + spread, 1
    )
    record = changed("lk-pack", "own", (ROWS, rows), ("made_by: address", "made_by: flag"))
    site = write(
        tmp_path,
        "packs: {P1..P2: {model: own}}\nfound:\n"
        f"  P1: {{{first}}}\n  P2: {{{second}}}\n  links: {{rack: {{packs: P1..P2, manager: P1}}}}\n",
        own=record,
    )
    return texts(found(site, RULE))


MANAGER, MEMBER = "ADD: 0000, COUNT: 1, ROLE: 1", "ADD: 1000, COUNT: 1, ROLE: 0"
TWO = "stop broken P1,P2: Link rack: P1, P2 are each set to be the manager; one manager is allowed"


def _unsure(who: str) -> str:
    return (f"caution cannot-tell P1,{who}: Link rack: what is known of {who} does not show whether one of them is the "
            "manager beside P1")  # fmt: skip


def test_a_role_that_is_stated_is_enough_where_other_rows_fit_both(tmp_path: Path) -> None:
    assert _said(tmp_path, MANAGER, MEMBER) == []


def test_two_roles_that_are_stated_are_two_managers(tmp_path: Path) -> None:
    assert _said(tmp_path, MANAGER, "ADD: 1000, COUNT: 1, ROLE: 1") == [TWO]


@pytest.mark.parametrize(
    "rows",
    [
        "ADD: 1000, COUNT: 1, ROLE: x",  # the deciding switch was not looked at, the others fit both
        "ADD: 1000, COUNT: 3, ROLE: x",  # only a manager has a count of 3, yet the deciding switch decides
        "ADD: 1000, COUNT: 3",  # nor was it written down at all
        "ADD: 1000, COUNT: 3, ROLE: 0",  # set as a member with a count that only a manager has
    ],
)
def test_a_role_not_looked_at_or_contradicted_stays_a_question(tmp_path: Path, rows: str) -> None:
    assert _said(tmp_path, MANAGER, rows) == [_unsure("P2")]


def test_a_row_not_looked_at_does_not_shake_a_role_that_is_stated(tmp_path: Path) -> None:
    assert _said(tmp_path, MANAGER, "ADD: xxxx, COUNT: x, ROLE: 0") == []


def test_a_role_row_that_is_left_to_the_plan_is_not_judged(tmp_path: Path) -> None:
    record = changed("lk-pack", "own", (ROWS, WITH_ROLE), ("made_by: address", "made_by: flag"))
    site = write(
        tmp_path,
        "packs: {P1..P2: {model: own}}\nlinks: {rack: {packs: P1..P2, manager: P1}}\n"
        "set: {P1..P2: {COUNT: 3}}\n",
        own=record,
    )
    assert texts(planned(site, RULE)) == []
