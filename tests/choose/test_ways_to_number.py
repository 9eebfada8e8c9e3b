"""Packs that have no switch for their number: a direction pin from pack to pack, and the place in a cabinet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.documents.package import plan_document
from interop.site.load import load_site

CATALOGS = Path(__file__).parents[2] / "catalogs"
RILL = next(CATALOGS.rglob("rill-50.yaml"))
CHAIN = "  CHAIN:  {sockets: [IN, OUT], plug: rj45, direction: either, inside: same pin joined, "
PINS = "  CHAIN:  {1: empty, 2: empty, 3: reference, 4: chain high, 5: chain low, 6: empty, 7: empty, 8: empty}\n"
RULE = "  chain: {allowed: 0..15, gaps: allowed, start: 0, manager: 0}\n"
WAYS = {
    "by direction pin": "lines:\n  dir: {does: direction, contact: voltage to act, level_v: 5, drive: driven, "
    "carried: not carried, acts_on: this pack, wires: [d]}\n",
    "by place": "",
}


FIRST = "first: manager, allowed: 0..15, manager: 0"


def record(given: str, first: str = FIRST) -> str:
    """The shipped pack without its address menu; with a direction pin its two sockets are two ports."""
    text = RILL.read_text(encoding="utf-8").replace("id: rill-50\n", "id: ways\n")
    menu = text.index("  MENU ADDRESS:")
    text = text[:menu] + text[text.index("  MENU RATE:", menu) :]
    assert RULE in text
    text = text.replace(RULE, f"  chain: {{given: {given}, {first}}}\n")
    text = text.replace("  made_by: address\n", "  made_by: place\n")
    text = text.replace("other: family rill", "other: record ways")
    if given == "by direction pin":
        assert CHAIN in text
        rest = text.split(CHAIN)[1].split("\n")[0]
        ports = "".join(
            f"  {name}:  {{sockets: [{name}], plug: rj45, direction: {way}, inside: alone, {rest}\n"
            for name, way in (("UP", "in"), ("DOWN", "out"))
        )
        text = text.replace(CHAIN + rest + "\n", ports)
        assert PINS in text
        pins = PINS.replace("6: empty", "6: dir d")
        text = text.replace(PINS, pins.replace("CHAIN:", "UP:") + pins.replace("CHAIN:", "DOWN:"))
    return text + WAYS[given]


def planned(folder: Path, given: str, first: str = FIRST, links: str = "") -> dict[str, Any]:
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "own").mkdir()
    (folder / "own" / "ways.yaml").write_text(record(given, first), encoding="utf-8")
    (folder / "site.yaml").write_text(
        "interop: site/1\nname: Ways\ncatalogs: [own, cat]\n"
        "packs: {P1..P4: {model: ways, place: rack 1 slot 1.., new: yes}}\n"
        "controllers: {WEIR: {model: weir-8, cable_lands_on: unit 1}}\n"
        + (links or "links: {L: {packs: [P1..P4], manager: propose, reports_to: WEIR, cables: propose}}\n"),
        encoding="utf-8",
    )
    return plan_document(load_site(folder / "site.yaml"))[0]


@pytest.mark.parametrize("given, numbers", [
    ("by direction pin", [0, 1, 2, 3]),
    ("by place", [None, None, None, None]),     # the slot of the cabinet says the number; nothing is set
])
def test_the_first_manages_and_the_rest_follow_it(tmp_path: Path, given: str, numbers: list[int | None]) -> None:
    plan = planned(tmp_path, given)
    assert plan["cleared"]["settings"]
    assert (plan["links"][0]["manager"], plan["links"][0]["members"]) == ("P1", ["P2", "P3", "P4"])
    assert [pack["address"] for pack in plan["packs"].values()] == numbers
    assert all("MENU ADDRESS" not in pack["switches"] for pack in plan["packs"].values())


def test_a_direction_pin_is_carried_from_out_to_in(tmp_path: Path) -> None:
    """Pin 6 goes on from pack to pack, always from the socket that leads away from the manager."""
    cables = planned(tmp_path, "by direction pin")["cables"]
    chain = [cables[f"L-{i}"] for i in (1, 2, 3)]
    assert [(c["from"][0], c["from"][2], c["to"][0], c["to"][2]) for c in chain] == [
        ("P1", "DOWN", "P2", "UP"), ("P2", "DOWN", "P3", "UP"), ("P3", "DOWN", "P4", "UP"),
    ]  # fmt: skip
    assert all(c["joined"] == [[p, p] for p in "3456"] for c in chain)


@pytest.mark.parametrize("first, numbers", [
    ("first: member, allowed: 1..14, manager: none", [None, 1, 2, 3]),
    ("first: member, allowed: 1..14, manager: 14", [14, 1, 2, 3]),
    ("allowed: 3..14, manager: 3", [3, 4, 5, 6]),        # the manager's number says that it is the first
    ("first: manager, allowed: 0..14, manager: 5", [None] * 4),     # the record contradicts itself
])
def test_the_numbers_are_those_of_the_record(tmp_path: Path, first: str, numbers: list[int | None]) -> None:
    plan = planned(tmp_path, "by direction pin", first)
    assert [pack["address"] for pack in plan["packs"].values()] == numbers
    stops = [one["rule"] for one in plan["findings"] if one["rule"] == "numbering-order-wrong"]
    assert stops == (["numbering-order-wrong"] if numbers == [None] * 4 else [])


def test_a_manager_inside_a_row_that_counts_from_it_is_stopped(tmp_path: Path) -> None:
    """The site states the order and the manager; the numbers would begin inside the row."""
    plan = planned(tmp_path, "by direction pin", links="links: {L: {packs: [P1..P4], manager: P1, reports_to: WEIR}}\n"
                   "cables:\n  W1..W3: {chain: [P2, P1, P3..P4], from: DOWN, to: UP, made: propose}\n")
    (one,) = [one for one in plan["findings"] if one["rule"] == "numbering-order-wrong"]
    assert (one["level"], one["verdict"], one["about"]) == ("stop", "broken", ["P2", "P1", "P3", "P4"])
    assert plan["cleared"]["settings"] is False
    assert {pack["address"] for pack in plan["packs"].values()} == {None}
