"""What the missing reference conductor asks of people, case by case: never to join what a cable note forbids."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from interop.choose.plan import decide, planned_stage
from interop.rules.finding import RULES, Finding, findings
from interop.site.load import load_site
from interop.wiring.stage import as_wanted
from tests.rules.sites import of, stages

CATALOGS = Path(__file__).parent.parent.parent / "catalogs"
NOTHING = "Nothing to join: keep the cable short and away from power cables."


def _one(tmp_path: Path, packs: str, made: str = "straight") -> Finding:
    body = (
        f"packs: {{{packs}}}\nlinks: {{rack: {{packs: P1..P2, manager: P1}}}}\n"
        f"cables:\n  W1: {{from: P1 LINK2, to: P2 LINK1, made: {made}, length: 1 m}}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "reference-missing")
    return finding


@pytest.mark.parametrize(
    ("packs", "why"),
    [
        ("P1..P2: {model: lk-no-reference}", "LINK of lk-no-reference brings none out"),
        ("P1: {model: lk-pack}, P2: {model: lk-no-reference}", "LINK of lk-no-reference brings none out"),
    ],
)
def test_where_an_end_brings_none_out_there_is_nothing_to_join(tmp_path: Path, packs: str, why: str) -> None:
    finding = _one(tmp_path, packs)
    assert finding.text == f"Link rack: no reference conductor is joined in W1: {why}"
    assert finding.todo == NOTHING


PAIR = "{7: 7, 8: 8}"


def test_a_written_cable_names_the_two_pins(tmp_path: Path) -> None:
    finding = _one(tmp_path, "P1..P2: {model: lk-pack}", PAIR)
    assert finding.text == "Link rack: no reference conductor is joined in W1: both ends bring it out"
    assert finding.todo == "Join pin 1 of P1 LINK2 with pin 1 of P2 LINK1, and write it into the site file."


def test_where_the_tie_is_not_known_it_stays_out(tmp_path: Path) -> None:
    finding = _one(tmp_path, "P1: {model: lk-tied-unknown}, P2: {model: lk-tied-unknown}", PAIR)
    assert finding.text.endswith("W1: what the reference of lk-tied-unknown is tied to is not known")
    assert finding.todo == "Leave it out until the maker has said what the reference of lk-tied-unknown is tied to."
    assert [(f.path, f.state) for f in finding.facts] == [("ports.LINK.reference", "stated")]


def test_where_it_would_bypass_a_bms_it_stays_out(tmp_path: Path) -> None:
    finding = _one(tmp_path, "P1: {model: lk-tied-cell}, P2: {model: lk-tied-busbar}", PAIR)
    assert finding.text.endswith("W1: joined, it would carry load current past a BMS")
    assert finding.todo == "Leave it out, or put an isolator into the link."


def test_the_whole_net_is_judged_not_the_two_ends(tmp_path: Path) -> None:
    """P2 is isolated and its reference already joined to P1's cells: joined to P3's busbar too, it is a bypass."""
    body = (
        "packs: {P1: {model: lk-tied-cell}, P2: {model: lk-pack}, P3: {model: lk-tied-busbar}}\n"
        "links: {rack: {packs: P1..P3, manager: P1}}\n"
        "cables:\n  W1: {from: P1 LINK2, to: P2 LINK1, made: {1: 1, 7: 7, 8: 8}, length: 1 m}\n"
        f"  W2: {{from: P2 LINK2, to: P3 LINK1, made: {PAIR}, length: 1 m}}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "reference-missing")
    assert finding.text == (
        "Link rack: no reference conductor is joined in W2: joined, it would carry load current past a BMS"
    )
    assert finding.todo == "Leave it out, or put an isolator into the link."


def test_unlike_cases_are_told_cable_by_cable(tmp_path: Path) -> None:
    body = (
        "packs: {P1: {model: lk-pack}, P2: {model: lk-pack}, P3: {model: lk-no-reference}}\n"
        "links: {rack: {packs: P1..P3, manager: P1}}\n"
        f"cables:\n  W1: {{from: P1 LINK2, to: P2 LINK1, made: {PAIR}, length: 1 m}}\n"
        "  W2: {from: P2 LINK2, to: P3 LINK1, made: straight, length: 1 m}\n"
    )
    _, wanted = stages(tmp_path, body)
    (finding,) = of(wanted, "reference-missing")
    assert finding.todo == (
        "W1: join pin 1 of P1 LINK2 with pin 1 of P2 LINK1, and write it into the site file. "
        "W2: nothing to join: keep the cable short and away from power cables."
    )


SITE = """interop: site/1
name: Test
catalogs: [cat]
packs: {C1: {model: crag-300, new: yes}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
links: {L: {packs: C1, manager: C1, reports_to: INV, cables: propose}}
"""


def test_what_the_plan_leaves_out_is_not_to_be_joined_beside_its_note(tmp_path: Path) -> None:
    """Pins 2 and 6: the plan makes a straight cable with cuts. Written into the site file, the conductor is planned."""
    shutil.copytree(CATALOGS, tmp_path / "cat")
    path = tmp_path / "site.yaml"
    path.write_text(SITE, encoding="utf-8")
    decisions = decide(load_site(path))
    (cable,) = decisions.routes["L"].cables
    assert cable.joined == (("4", "4"), ("5", "5"))
    (finding,) = findings(planned_stage(decisions), [RULES["reference-missing"]])
    assert finding.text == (
        "Link L: no reference conductor is joined in L-to-INV: both ends bring it out, on unlike pins, and a straight "
        "cable with cuts is chosen before a re-pinned one"
    )
    assert finding.todo == (
        "Make the cable as its note shows; to join the reference too, write the cable with pin 2 of C1 REPORT joined "
        "to pin 6 of INV BAT into the site file and plan again."
    )
    made = "cables: {W: {from: C1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 2: 6}, length: 1 m}}\n"
    path.write_text(SITE.replace(", cables: propose", "") + made, encoding="utf-8")
    decisions = decide(load_site(path))
    assert decisions.routes["L"].cables[0].joined == (("2", "6"), ("4", "4"), ("5", "5"))
    for stage in (planned_stage(decisions), as_wanted(load_site(path))):
        assert findings(stage, [RULES["reference-missing"]]) == ()
