"""Planned banks are switched on: who asks, answers and is heard, which lines are held, what one pulled plug changes.

The model (`model.py`) reads plan.json, the records and hand-typed truth tables, and shares no code with the program.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from pathlib import Path

import pytest

from tests.behaviour.bench import SITES, Plan, bank_of, complaints, managed, plan_of, promised

FAULTY = {"ten-faults"}  # a site that is full of faults on purpose: no plan of it is meant to run
NO_LINK = {"ex02-older-manager", "ex06-older-manager"}  # refused: no link can be formed with the manager they name
# refused for what is on its busbar, or for a pack that a set switch keeps off the link; the data link runs all the same
ELSEWHERE = {"ex11-series", "ex07-zero", "ex04-double-row"}
RUN = [name for name in SITES if name not in {*FAULTY, *NO_LINK}]


def test_the_model_uses_nothing_of_the_program() -> None:
    text = Path(__file__).with_name("model.py").read_text(encoding="utf-8")
    assert "import interop" not in text
    assert "from interop" not in text


def test_enough_sites_run() -> None:
    assert len(RUN) >= 18
    assert {"ferry-landing", "lock-house", "tide-gauge"} <= set(RUN)


@pytest.mark.parametrize("name", RUN)
def test_the_controller_hears_exactly_the_managed_packs_and_nothing_is_held(name: str) -> None:
    plan = plan_of(name)
    assert plan["cleared"]["settings"] is (name not in ELSEWHERE)
    assert complaints(plan) == []
    heard = bank_of(plan).run().received
    assert heard == promised(plan)
    assert sorted(pack for packs in heard.values() for pack in packs) == sorted(managed(plan))


def test_what_two_packs_with_one_pattern_would_do() -> None:
    """The plan of exercise 1 with the sheet of P2 used for P3 too."""
    plan = deepcopy(plan_of("ex01-four-switches"))
    plan["packs"]["P3"]["switches"] = plan["packs"]["P2"]["switches"]
    everyone = {f"P{i + 1}": i for i in range(6)}
    assert complaints(plan) == [
        "P2 and P3 both speak at 1",
        f"INV receives {{'P1': 0}}, not {everyone}",
        "P3 is member at [1], not member at 2",
    ]


def beyond(plan: Plan, cable: str, start: str) -> set[str]:
    """Packs that no cable but this one ties to a pack."""
    near: dict[str, set[str]] = {}
    for name, one in plan["cables"].items():
        a, b = one["from"][0], one["to"][0]
        if name != cable and one["action"] != "remove" and {a, b} <= set(plan["packs"]):
            near.setdefault(a, set()).add(b)
            near.setdefault(b, set()).add(a)
    seen, waiting = {start}, [start]
    while waiting:
        for other in near.get(waiting.pop(), set()) - seen:
            seen.add(other)
            waiting.append(other)
    return set(plan["packs"]) - seen


def after_the_cut(plan: Plan, cable: str) -> dict[str, dict[str, int]]:
    """What every controller still receives by the topology of the plan."""
    one = plan["cables"][cable]
    ends = {one["from"][0], one["to"][0]}
    left = promised(plan)
    for link in plan["links"]:
        for controller in link["reports_to"]:
            lost = (
                set(plan["packs"])
                if controller in ends and link["manager"] in ends
                else beyond(plan, cable, link["manager"])
            )
            mine = {link["manager"], *link["members"]}
            left[controller] = {p: a for p, a in left[controller].items() if p not in lost & mine}
    return left


@pytest.mark.parametrize("name", RUN)
def test_pulling_one_plug_loses_the_packs_beyond_it_and_nothing_else(name: str) -> None:
    plan = plan_of(name)
    bank = bank_of(plan)
    standing = [cable for cable, one in plan["cables"].items() if one["action"] != "remove"]
    lost = 0
    for cable in standing:
        outcome = bank.run([cable])
        expected = after_the_cut(plan, cable)
        assert outcome.received == expected, cable
        assert outcome.faults == [], cable
        lost += expected != promised(plan)
    assert lost == len(standing)  # every cable of a plan is needed by somebody


# ---- faults on purpose: the bench must notice each of them ----

# Switches that decide nothing for who is heard, typed by hand: group and free switches of exercises 5 and 6.
FREE = {("ex05-group", pack, n) for pack in ("P1", "P2", "P3") for n in (2, 3, 4)}
FREE |= {("ex06-upside-down", pack, n) for pack in ("O1", "O2") for n in (2, 3, 4)} | {
    ("ex06-upside-down", "N1", n) for n in (3, 4)
}
FLIPPED = [
    "ex01-four-switches",
    "ex02-older-mode",
    "ex03-count",
    "ex05-group",
    "ex06-upside-down",
    "ex07-terminator",
    "ex08-dialect-code",
    "ex10b-crossed",
    "ex12-joining",
    "ex14-lowest",
    "lock-house",
    "ferry-landing",
]


@pytest.mark.parametrize("name", FLIPPED)
def test_one_switch_moved_is_noticed_unless_it_decides_nothing(name: str) -> None:
    plan = plan_of(name)
    tried = 0
    for pack in managed(plan):
        for row, entry in plan["packs"][pack]["switches"].items():
            for i, stands in enumerate(entry["set"]):
                spoilt = plan_of(name)
                spoilt["packs"][pack]["switches"][row]["set"][i] = {"on": "off", "off": "on"}[stands]
                assert bool(complaints(spoilt)) is ((name, pack, i + 1) not in FREE), (pack, row, i + 1)
                tried += 1
    assert tried >= 8


@pytest.mark.parametrize(
    "name, pack",
    [
        ("ex01-four-switches", "P4"),
        ("ex03-count", "P2"),
        ("ex08-dialect-code", "P3"),
        ("ex10a-straight", "P2"),
        ("ex02-older-mode", "N2"),
    ],
)
def test_a_second_manager_asks_at_the_same_time(name: str, pack: str) -> None:
    plan = plan_of(name)
    manager = plan["links"][0]["manager"]
    plan["packs"][pack]["switches"] = plan["packs"][manager]["switches"]
    assert f"{' and '.join(sorted([manager, pack]))} ask at once" in complaints(plan)
    assert bank_of(plan).run().received["INV"].keys() <= {manager}


def test_two_members_with_each_others_switches() -> None:
    plan = plan_of("ex01-four-switches")
    one, other = plan["packs"]["P3"], plan["packs"]["P5"]
    one["switches"], other["switches"] = other["switches"], one["switches"]
    assert "P3 is member at [4], not member at 2" in complaints(plan)


def test_two_packs_at_one_address_are_both_lost() -> None:
    plan = plan_of("ex01-four-switches")
    plan["packs"]["P6"]["switches"] = plan["packs"]["P2"]["switches"]
    assert "P2 and P6 both speak at 1" in complaints(plan)


def joined(name: str, cable: str, change: Callable[[list[list[str]]], list[list[str]]]) -> list[str]:
    plan = plan_of(name)
    plan["cables"][cable]["joined"] = change(plan["cables"][cable]["joined"])
    return complaints(plan)


def test_a_straight_cable_between_mirrored_pins_and_a_stop_pair_holds_the_stop() -> None:
    said = joined("ex09-mirrored", "bank-1", lambda _: [[str(p), str(p)] for p in range(1, 9)])
    assert "G1: line stop is held" in said


def test_the_stop_pair_joined_to_a_generation_without_it_is_noticed() -> None:
    said = joined("lock-house", "bank-1", lambda pins: [*pins, ["3", "3"], ["6", "6"]])
    assert any(one.startswith("line stop leads to a blank pin of ") for one in said)


def test_a_pair_reversed_leaves_the_packs_beyond_it_silent() -> None:
    plan = plan_of("ex01-four-switches")
    plan["cables"]["bank-3"]["joined"] = [["7", "8"], ["8", "7"]]
    assert "data rs-485 minus meets data rs-485 plus (P1, P2, P3, P4, P5, P6)" in complaints(plan)


@pytest.mark.parametrize(
    "name, cable, pin",
    [
        ("ex01-four-switches", "bank-2", "7"),
        ("ex10b-crossed", "bank-to-INV", "4"),
        ("ex13-one-hop", "bank-2", "1"),
        ("tide-gauge", "small-to-WEIR", "1"),
    ],
)
def test_a_wire_left_out_is_missed(name: str, cable: str, pin: str) -> None:
    assert joined(name, cable, lambda pins: pins) == []
    assert any("receives" in one for one in joined(name, cable, lambda pins: [p for p in pins if p[0] != pin]))


def test_five_volts_on_the_packs_own_link_is_noticed() -> None:
    said = joined("ex10c-cut", "bank-to-INV", lambda pins: [*pins, ["1", "1"]])
    assert "data rs-485 plus meets supply supply 5 V (INV, P1, P2)" in said


def test_a_straight_cable_where_wires_cross_leaves_the_controller_deaf() -> None:
    said = joined("ex10b-crossed", "bank-to-INV", lambda _: [["4", "4"], ["5", "5"]])
    assert "data can high meets data can low (INV, P1)" in said


def test_another_dialect_chosen_on_the_controller_hears_nobody() -> None:
    plan = plan_of("ex01-four-switches")
    plan["settings"]["INV"]["dialect"]["value"] = "sorrel-can: 2"
    assert bank_of(plan).run().received == {"INV": {}}


def test_a_manager_set_to_one_member_too_few_is_noticed() -> None:
    plan = plan_of("ex03-count")
    plan["packs"]["P1"]["switches"]["SW"]["set"] = ["on", "on", "off", "off", "off", "off", "off", "on"]
    assert "P1 is set to 3 members and hears 4" in complaints(plan)


def test_an_address_that_the_manager_never_asks_is_not_heard() -> None:
    plan = plan_of("ex09-mirrored")
    plan["packs"]["V1"] |= {"switches": {"ID": {"set": ["1"], "was": None}}, "address": 1}
    assert bank_of(plan).run().received == {"INV": {"G1": 10}}
