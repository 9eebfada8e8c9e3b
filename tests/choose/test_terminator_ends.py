"""Terminators shape the route: fixed ones stand at the ends, packs that can have none stand between."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.documents.package import plan_document
from interop.site.load import load_site

CATALOGS = Path(__file__).parents[2] / "catalogs"
TARN = next(CATALOGS.rglob("tarn-b.yaml"))
CHAIN = "termination: {fitted: by switch, ohm: 120, ends: not required}"


def planned(folder: Path, one: str, other: str) -> dict[str, Any]:
    """Packs P1..P2 with terminators fitted one way, Q1..Q2 with them fitted another; the ends must have them."""
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "own").mkdir()
    plain = TARN.read_text(encoding="utf-8")
    assert CHAIN in plain
    for name, fitted in (("dace-1", one), ("dace-2", other)):
        text = plain.replace("id: tarn-b\n", f"id: {name}\n")
        text = text.replace(CHAIN, f"termination: {{fitted: {fitted}, ohm: 120, ends: required}}")
        if fitted != "by switch":
            head, tail = text.split("  END:\n")
            text = head + tail[tail.index("\n\n") + 1 :]
        (folder / "own" / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "site.yaml").write_text(
        "interop: site/1\nname: Ends\ncatalogs: [own, cat]\n"
        "packs: {P1..P2: {model: dace-1, place: rack 1 slot 1.., new: yes}, "
        "Q1..Q2: {model: dace-2, place: rack 1 slot 3.., new: yes}}\n"
        "controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}\n"
        "links: {L: {packs: [P1..P2, Q1..Q2], manager: P1, reports_to: INV, cables: propose}}\n",
        encoding="utf-8",
    )
    return plan_document(load_site(folder / "site.yaml"))[0]


def row(plan: dict[str, Any]) -> list[str]:
    """The packs from one end of the chain to the other, by its cables."""
    pairs = [[end[0] for end in (c["from"], c["to"])] for c in plan["cables"].values()]
    chain = [pair for pair in pairs if "INV" not in pair]
    start = next(p for pair in chain for p in pair if sum(p in other for other in chain) == 1)
    order = [start]
    while chain:
        pair = next(p for p in chain if order[-1] in p)
        chain.remove(pair)
        order.append(pair[1] if pair[0] == order[-1] else pair[0])
    return order


def terminators(plan: dict[str, Any]) -> list[str]:
    return sorted(f["text"] for f in plan["findings"] if "terminator" in f["rule"])


@pytest.mark.parametrize("one, other, ends", [
    ("by switch", "by switch", {"P1", "Q2"}),
    ("by switch", "always", {"Q1", "Q2"}),
    ("always", "by switch", {"P1", "P2"}),
    ("by switch", "never", {"P1", "P2"}),
    ("always", "never", {"P1", "P2"}),
])
def test_the_ends_are_where_terminators_can_be(tmp_path: Path, one: str, other: str, ends: set[str]) -> None:
    plan = planned(tmp_path, one, other)
    order = row(plan)
    assert {order[0], order[-1]} == ends
    assert terminators(plan) == []
    assert plan["links"][0]["manager"] == "P1"


def test_where_nothing_helps_the_row_starts_at_the_manager_and_the_faults_are_told(tmp_path: Path) -> None:
    plan = planned(tmp_path, "always", "always")
    assert row(plan)[0] == "P1"
    assert terminators(plan) == [
        "Link L: P1, P2, Q1, Q2 have a fixed terminator each; 4 in parallel are 30 ohm, rs-485 needs 60 ohm or more"
    ]
