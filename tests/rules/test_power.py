"""Until the power side is computed nothing is cleared for joining; a pack that is not drawn is judged everywhere."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.choose.plan import decide, planned_stage
from interop.documents.contract import cleared
from interop.rules.finding import findings
from interop.site.load import load_site
from interop.site.site import Site
from interop.wiring.stage import as_found, as_wanted
from tests.rules.scenarios import pairs
from tests.rules.site import found, planned, texts, write

EXAMPLES = sorted((Path(__file__).parent.parent.parent / "examples").glob("*/site.yaml"))
HOLDS = sorted({pair.holds for pair in pairs()})
BUSBARS = "posts: {left: [1..9], right: [1..9]}\n"


def _cleared(site: Site) -> dict[str, bool]:
    return cleared(findings(planned_stage(decide(site))))


# ---- joining is never cleared ----


@pytest.mark.parametrize("path", [*EXAMPLES, *HOLDS], ids=lambda path: f"{path.parent.name} {path.stem}")
def test_no_site_of_any_size_is_cleared_for_joining(path: Path) -> None:
    """Sites in which nothing else is wrong among them: every neighbour of every scenario."""
    site = load_site(path)
    assert not _cleared(site)["joining"]
    judged = {name for f in planned(site, "power-not-judged") for name in f.about}
    assert judged == {d.id for d in site.packs}


def test_one_pack_alone_is_not_cleared_for_joining(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1: {model: wren-1}}\n")
    text = (
        "stop cannot-tell A1: Power is not judged: currents, faults, protection, cables and voltages of this pack and "
        "of what it feeds are not computed."
    )
    assert texts(planned(site, "power-not-judged")) == [text]
    assert _cleared(site) == {"settings": True, "joining": False}


def test_two_packs_on_busbars_of_their_own_are_not_cleared_for_joining(tmp_path: Path) -> None:
    runs = "runs: {A1: {from: pack, to: left 1}, A2: {from: pack, to: right 1}}\n"
    site = write(tmp_path, f"packs: {{A1..A2: {{model: wren-1}}}}\n{BUSBARS}{runs}")
    assert [f.about for f in planned(site, "power-not-judged")] == [("A1",), ("A2",)]
    assert _cleared(site) == {"settings": True, "joining": False}


# ---- a pack that is not drawn ----


def _half_drawn(tmp_path: Path, model: str, *, new: str = "no", runs: str = "A1: {from: pack, to: left 1}") -> Site:
    packs = f"packs: {{A1: {{model: wren-1}}, A2: {{model: wren-1}}, B1: {{model: {model}, new: {new}}}}}\n"
    return write(tmp_path, f"{packs}{BUSBARS}runs: {{{runs}, A2: {{from: pack, to: right 1}}}}\n")


def test_a_pack_that_is_not_drawn_stands_on_every_bank(tmp_path: Path) -> None:
    site = _half_drawn(tmp_path, "wren-2-fifteen")
    assert as_wanted(site).banks == (("A1", "B1"), ("A2", "B1"))
    assert [(f.level.value, f.verdict, f.about) for f in planned(site, "series-count-differs")] == [
        ("stop", "broken", ("A1", "B1")),
        ("stop", "broken", ("A2", "B1")),
    ]
    assert not _cleared(site)["settings"]


def test_a_pack_that_is_not_drawn_is_a_stop_by_itself(tmp_path: Path) -> None:
    """Of a pack that fits everywhere too: the plan must say where it ends."""
    site = _half_drawn(tmp_path, "wren-2")
    text = (
        "B1: No power run of B1 (wren-2) is written, though others are: it may end on any busbar, so every bank is "
        "judged with it"
    )
    assert texts(planned(site, "bank-not-drawn")) == [f"stop cannot-tell {text}"]
    assert texts(found(site, "bank-not-drawn")) == [f"caution cannot-tell {text}"]
    assert _cleared(site) == {"settings": False, "joining": False}


def test_a_new_pack_that_is_not_drawn_is_not_in_the_banks_as_found(tmp_path: Path) -> None:
    site = _half_drawn(tmp_path, "wren-2-fifteen", new="yes")
    assert as_found(site).banks == (("A1",), ("A2",))
    assert found(site, "bank-not-drawn") == ()
    assert [f.level.value for f in planned(site, "bank-not-drawn")] == ["stop"]


def test_a_run_of_a_controller_alone_draws_no_pack(tmp_path: Path) -> None:
    """Then all packs share one bank, as without any run: the strict reading, told as a note."""
    site = write(
        tmp_path,
        "packs: {A1: {model: wren-1}, B1: {model: wren-2-fifteen}}\ncontrollers: {INV: {model: lk-ctl}}\n"
        f"{BUSBARS}runs: {{INV: {{from: controller unit 1, to: left 1}}}}\n",
    )
    assert as_wanted(site).banks == (("A1", "B1"),)
    assert [f.level.value for f in planned(site, "bank-not-drawn")] == ["note"]
    assert [f.about for f in planned(site, "series-count-differs")] == [("A1", "B1")]


def test_the_display_counts_a_pack_on_several_banks_once(tmp_path: Path) -> None:
    site = write(
        tmp_path,
        "packs: {P1..P2: {model: lk-pack}, Q1: {model: lk-pack}}\ncontrollers: {INV: {model: lk-ctl}}\n"
        f"links: {{rack: {{packs: P1..P2, manager: P1, reports_to: INV}}, none: [Q1]}}\n{BUSBARS}"
        "runs: {P1: {from: pack, to: left 1}, P2: {from: pack, to: right 1}}\n",
    )
    (finding,) = planned(site, "controller-shows-part")
    assert finding.about == ("INV", "Q1")
    assert finding.text.endswith("33 % of the bank's usable energy (4608 of 13824 Wh)")


# ---- one link over two busbars ----


def _linked(tmp_path: Path, reports: str, controller_at: str = "left 3") -> Site:
    return write(
        tmp_path,
        "packs: {P1..P2: {model: lk-pack}}\ncontrollers: {INV: {model: lk-ctl}}\n"
        f"links: {{rack: {{packs: P1..P2, manager: P1{reports}}}}}\n{BUSBARS}"
        f"runs: {{P1: {{from: pack, to: left 1}}, P2: {{from: pack, to: right 1}}, "
        f"INV: {{from: controller unit 1, to: {controller_at}}}}}\n",
    )


def test_a_link_over_two_busbars_that_nobody_follows_is_a_caution(tmp_path: Path) -> None:
    assert texts(planned(_linked(tmp_path, ""), "link-over-busbars")) == [
        "caution broken P1,P2: Link rack: P1 and P2 end on different busbars"
    ]


def test_a_controller_on_another_busbar_than_its_packs_is_a_stop(tmp_path: Path) -> None:
    site = write(
        tmp_path,
        "packs: {P1: {model: lk-pack}}\ncontrollers: {INV: {model: lk-ctl}}\n"
        f"links: {{rack: {{packs: P1, manager: P1, reports_to: INV}}}}\n{BUSBARS}"
        "runs: {P1: {from: pack, to: left 1}, INV: {from: controller unit 1, to: right 1}}\n",
    )
    text = (
        "stop broken P1,INV: Link rack: P1 and INV end on different busbars, and INV is told of all of them as of one "
        "bank"
    )
    assert texts(planned(site, "link-over-busbars")) == [text]


def test_a_run_between_the_busbars_makes_them_one(tmp_path: Path) -> None:
    site = _linked(tmp_path, ", reports_to: INV")
    assert [f.level.value for f in planned(site, "link-over-busbars")] == ["stop"]
    text = (tmp_path / "site.yaml").read_text(encoding="utf-8")
    (tmp_path / "site.yaml").write_text(text.replace("runs: {", "runs: {tie: {from: left 9, to: right 9}, "), "utf-8")
    joined = load_site(tmp_path / "site.yaml")
    assert planned(joined, "link-over-busbars") == ()
    assert as_wanted(joined).banks == (("P1", "P2"),)
