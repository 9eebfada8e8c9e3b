"""Packs of which only so many may share a link, by hand; patterns that mean two addresses; choices that were refused.

The laws are held against full enumeration in :mod:`tests.choose.test_choice_exact`.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from interop.choose.members import components
from interop.choose.search import best
from interop.records.models import Record
from interop.site.load import load_site
from interop.wiring.crowding import Share, at_most
from interop.wiring.talks import RecordKey
from tests.choose import oracle_enumeration as enumeration
from tests.choose import oracle_model as om
from tests.choose.random_sites import random_case, write_case
from tests.choose.test_frames_and_search import BOX, choose, levels, record, site, slots

ONE = {"identity": "one for all"}
Tree = dict[str, Any]


def fixed(ohm: int, kind: str = "rs-485") -> Tree:
    return {"kind": kind, "termination": {"fitted": "always", "ohm": str(ohm), "ends": "required"}}


def load(folder: Path, tree: Tree) -> Record:
    return load_site(write_case({"records": [tree, BOX], "site": site(alike(1))}, folder)).devices["P1"].record


def alike(number: int, model: str = "a", first: int = 1) -> dict[str, str]:
    return {f"P{i}": model for i in range(first, first + number)}


def test_one_identity_for_all_takes_one_pack(tmp_path: Path) -> None:
    link, packs = choose(tmp_path, [record("a", chain=ONE)], site(alike(3)))
    assert (link.manager, link.members) == ("P1", ("P1",))
    assert slots(packs)["P2"] == slots(packs)["P3"] == ("unmanaged", None)
    assert levels(link)["energy not on a link"] == 2 * 5120


def test_each_record_with_one_identity_gives_one_pack_and_others_all(tmp_path: Path) -> None:
    """P1..P3 speak as one, Q as itself: one of the three and every Q, whoever manages."""
    records = [record("a", chain=ONE), record("b")]
    link, _ = choose(tmp_path, records, site(alike(3) | alike(2, "b", 4)))
    assert link.members == ("P1", "P4", "P5")


@pytest.mark.parametrize("kind, ohm, most", [
    ("can", 120, 2),        # three are 40 ohm; CAN needs 45 or more
    ("can", 150, 3),        # 50 ohm
    ("rs-485", 120, 5),     # six would be 20 ohm, which the bus bears; there are five packs
    ("rs-485", 60, 3),      # 20 ohm; four are 15
    ("rs-485", 30, 1),
    ("rs-232", 30, 5),      # no limit is known
])
def test_fixed_terminators_cap_the_link(tmp_path: Path, kind: str, ohm: int, most: int) -> None:
    link, _ = choose(tmp_path, [record("a", chain=fixed(ohm, kind))], site(alike(5)))
    assert len(link.members) == most


def test_fixed_terminators_of_some_packs_leave_the_others_on(tmp_path: Path) -> None:
    """Four with 60 ohm inside and two without: three of the four, those in front, and both others."""
    records = [record("a", chain=fixed(60)), record("b")]
    link, _ = choose(tmp_path, records, site(alike(4) | alike(2, "b", 5)))
    assert link.members == ("P1", "P2", "P3", "P5", "P6")


@pytest.mark.parametrize("beside, most", [(0.0, 2), (1 / 120, 1), (2 / 120, 0)])
def test_what_controllers_load_the_bus_with_is_taken_off(tmp_path: Path, beside: float, most: int) -> None:
    """CAN of 45 ohm or more bears two terminators of 120 ohm, those of controllers among them."""
    key = RecordKey(load(tmp_path, record("a", chain=fixed(120, "can"))))
    (limit,) = at_most([Share(key, (("chain",),))], "can", beside)
    assert limit.most([(key, 5)]) == most
    assert not limit.passed([key] * most)
    assert limit.passed([key] * (most + 1))


def test_a_record_limits_nothing_where_it_states_nothing(tmp_path: Path) -> None:
    key = RecordKey(load(tmp_path, record("a")))
    assert at_most([Share(key, (("chain",),))], "can") == ()
    assert at_most([Share(key, ())], None) == ()


TWICE = {"table": {"0": "off off off", "1": "off off on", "2": "off on off", "3": "on on off", "4": "on on off",
                   "5": "on off off"}}  # fmt: skip


def twice(gaps: str, most: int = 5) -> Tree:
    row = {"kind": "slide", "printed": "1..3", "parts": [{"use": "1..3", "sets": "address", "code": TWICE}]}
    rule = {"gaps": gaps, "allowed": f"0..{most}"}
    return record("a", rule=rule, switches={"DIAL": row})


def test_a_run_without_gaps_ends_before_a_pattern_with_two_meanings(tmp_path: Path) -> None:
    link, packs = choose(tmp_path, [twice("forbidden")], site(alike(5)))
    assert slots(packs) == {"P1": ("manager", 0), "P2": ("member", 1), "P3": ("member", 2),
                            "P4": ("unmanaged", None), "P5": ("unmanaged", None)}  # fmt: skip
    assert levels(link)["addresses that read as another"] == 0


def test_where_gaps_are_allowed_one_pack_may_have_such_a_pattern(tmp_path: Path) -> None:
    """Of 0, 1, 2, 3 or 4, 5: five packs. A sixth would share the pattern."""
    link, packs = choose(tmp_path / "five", [twice("allowed")], site(alike(5)))
    assert [slot for _, slot in slots(packs).values()] == [0, 1, 2, 3, 5]
    assert levels(link)["addresses that read as another"] == 1
    link, _ = choose(tmp_path / "six", [twice("allowed")], site(alike(6)))
    assert len(link.members) == 5


def test_a_pattern_that_may_mean_an_address_that_is_not_allowed_is_not_taken(tmp_path: Path) -> None:
    """Only 0 to 3 are allowed, and the pattern of 3 may mean 4."""
    link, _ = choose(tmp_path, [twice("allowed", 3)], site(alike(4)))
    assert link.members == ("P1", "P2", "P3")


@pytest.mark.parametrize("seed", range(7000, 7040))
def test_refusing_who_is_on_a_link_leaves_the_best_of_all_others(seed: int, tmp_path: Path) -> None:
    """Time after time the manager and packs found are refused on the first link; the enumeration knows every plan."""
    case = random_case(random.Random(seed), 2, 5, crowd=seed % 3 == 0)
    loaded = load_site(write_case(case, tmp_path))
    plant = om.read_plant(tmp_path)
    theirs = {links[0].id: enumeration._Component(plant, links, packs) for links, packs in om.components(plant)}
    for component in components(loaded):
        other = theirs[component.links[0].id]
        if other.solve() is None:
            assert best(component) is None
            continue
        left = dict(other.least[0])
        for _ in range(6):
            solution = best(component)
            known = min(left.values(), default=None)
            assert (solution is None) is (known is None)
            if solution is None or known is None:
                break
            assert solution.vector == other.vector(known)
            who = solution.manager(component.packs, 0), solution.members(component.packs, 0)
            assert left.pop(who) == known
            if not who[1]:
                break       # nobody is on it: there is nothing to refuse
            component.refuse(0, *who)
