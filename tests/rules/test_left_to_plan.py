"""What ``check`` leaves to the plan and says so; and links whose manager nobody wrote down."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.rules.judge import check_site
from interop.site.load import load_site

CATALOGS = Path(__file__).parents[2] / "catalogs"
BODY = """interop: site/1
name: Left
catalogs: [cat]
packs: {P1..P2: {model: tarn-a, place: rack 1 slot 1..}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
links: {L: {packs: [P1..P2], manager: P1, reports_to: INV}}
cables:
  A: {from: P1 LINK2, to: P2 LINK1, made: {7: 7, 8: 8}, length: 1 m}
  E: {from: P1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 1 m}
set: {P1: {ADD: 0000}, P2: {ADD: 1000}}
"""


def left(folder: Path, body: str) -> tuple[str, ...]:
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "site.yaml").write_text(body, encoding="utf-8")
    return check_site(load_site(folder / "site.yaml")).not_judged


@pytest.mark.parametrize("old, new, answer", [
    ("", "", ()),
    ("manager: P1", "manager: propose", ("link L",)),
    ("made: {7: 7, 8: 8}", "made: propose", ("conductors of cable A of link L",)),
    ("set: {P1: {ADD: 0000}, P2: {ADD: 1000}}", "", ("switches of P1, P2",)),
    ("P2: {ADD: 1000}", "P2: {ADD: 1x00}", ("switches of P2",)),
])
def test_check_names_what_it_leaves_to_the_plan(tmp_path: Path, old: str, new: str, answer: tuple[str, ...]) -> None:
    assert old in BODY
    assert left(tmp_path, BODY.replace(old, new) if old else BODY) == answer


def test_a_link_without_cables_is_not_judged_for_them(tmp_path: Path) -> None:
    bare = BODY.split("cables:", maxsplit=1)[0].replace("reports_to: INV", "reports_to: INV, cables: propose")
    assert left(tmp_path, bare + "set: {P1: {ADD: 0000}, P2: {ADD: 1000}}\n") == ("cables of link L",)


def test_a_found_link_whose_manager_nobody_wrote_down_is_judged(tmp_path: Path) -> None:
    """P1 stands at the manager's address by its switches, so who asks is known all the same."""
    found = """found:
  P1: {ADD: 0000}
  P2: {ADD: 1000}
  links: {old: {packs: [P1..P2], reports_to: INV}}
  cables:
    A: {from: P1 LINK2, to: P2 LINK1, made: {7: 7, 8: 8}, length: 1 m}
"""
    (tmp_path / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (tmp_path / "site.yaml").write_text(BODY + found, encoding="utf-8")
    judged = check_site(load_site(tmp_path / "site.yaml"))
    assert [f.rule for f in judged.found if f.rule in ("no-poller", "second-poller", "two-managers")] == []
