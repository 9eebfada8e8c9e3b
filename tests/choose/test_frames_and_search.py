"""Small choices worked by hand: who must be manager, caps, exclusion, gaps, wishes, the runner-up, renaming."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import pytest

from interop.choose.frames import MOST_KINDS
from interop.choose.members import LinkChoice, PackChoice, TooWide, choose_links, components
from interop.choose.search import Unfinished, best
from interop.documents.reasons import unproved_text
from interop.site.load import load_site
from tests.choose.random_sites import random_case, renamed, write_case

Tree = dict[str, Any]
Slots = dict[str, tuple[str, int | None]]


def record(name: str, generation: str = "1", **more: Any) -> Tree:
    """A pack with a wheel 0..9 as address; 100 Ah x 51.2 V = 5120 Wh. ``rule`` and ``manager`` are updated
    from ``more``."""
    rule = {"allowed": "0..9", "gaps": "forbidden", "start": "0", "manager": "0"} | more.get("rule", {})
    return {
        "interop": "record/1",
        "id": name,
        "name": name,
        "family": more.get("family", "larch"),
        "generation": generation,
        "sources": {"manual": {"title": "invented", "says": "stated"}},
        "cells": {"chemistry": "lfp", "in_series": "16", "capacity_ah": "100"},
        "modes": list(more.get("dialects", {"own": "d1"})),
        "buses": {
            "chain": {
                "kind": "rs-485",
                "rates_bps": ["9600"],
                "dialect": more.get("dialects", {"own": "d1"}),
                "poller": "manager",
            }
            | more.get("chain", {}),
            "report": {
                "kind": "can",
                "rates_bps": ["500000"],
                "dialect": "r1",
                "used_by": "manager",
                "poller": "nobody",
            },
        },
        "switches": {
            "DIAL": {
                "kind": "rotary",
                "positions": "0..9",
                "parts": [{"use": "all", "sets": "address", "code": {"table": {str(a): str(a) for a in range(10)}}}],
            }
        }
        | more.get("switches", {}),
        "addresses": {"chain": {k: v for k, v in rule.items() if v is not None}},
        "manager": {"made_by": "address"} | more.get("manager", {}),
        "with": more.get("says", []),
    }


BOX = {
    "interop": "record/1",
    "kind": "controller",
    "id": "box",
    "name": "Box",
    "sources": {"manual": {"title": "invented", "says": "stated"}},
    "buses": {"battery": {"kind": "can", "rates_bps": ["500000"], "dialect": "r1", "poller": "nobody"}},
    "follows": {"managers_at_most": "2"},
}


def site(packs: dict[str, str], **more: Any) -> Tree:
    """Packs in places 1, 2, … on one link to one controller."""
    entries: Tree = {p: {"model": m, "place": f"rack L slot {i + 1}"} for i, (p, m) in enumerate(packs.items())}
    return {
        "interop": "site/1",
        "name": "By hand",
        "catalogs": ["records"],
        "packs": entries,
        "controllers": {"INV": {"model": "box"}},
        "links": {"rack": {"packs": list(packs), "manager": "propose", "reports_to": "INV"} | more.pop("link", {})},
        **more,
    }


def choose(folder: Path, records: list[Tree], tree: Tree) -> tuple[LinkChoice, dict[str, PackChoice]]:
    links, packs = choose_links(load_site(write_case({"records": [*records, BOX], "site": tree}, folder)))
    return links[0], packs


def slots(packs: dict[str, PackChoice]) -> Slots:
    return {p: (c.role, c.address) for p, c in packs.items()}


def levels(link: LinkChoice) -> dict[str, int]:
    return dict(zip(link.levels, link.vector, strict=True))


def test_alike_packs_stand_in_the_order_of_their_places(tmp_path: Path) -> None:
    link, packs = choose(tmp_path, [record("a")], site({"A": "a", "B": "a", "C": "a"}))
    assert slots(packs) == {"A": ("manager", 0), "B": ("member", 1), "C": ("member", 2)}
    assert {k: v for k, v in levels(link).items() if v} == {"switches moved": 3}  # nobody looked at the three wheels


def test_the_newest_generation_of_the_component_manages(tmp_path: Path) -> None:
    link, packs = choose(tmp_path, [record("a"), record("b", "2")], site({"A": "a", "B": "a", "C": "b"}))
    # C from place 2 to address 0, A and B one step each: 4 + 1 + 1
    assert slots(packs) == {"A": ("member", 1), "B": ("member", 2), "C": ("manager", 0)}
    assert levels(link)["order by place"] == 6
    # the next best: A manages, one manager not of the newest generation
    assert link.runner_up is not None
    assert (link.runner_up.manager, link.runner_up.lost_at) == ("A", "manager not of the newest generation")
    assert (link.runner_up.ours, link.runner_up.theirs) == (0, 1)


@pytest.mark.parametrize("who, manager", [("this", "A"), ("other", "B"), ("newest", "B")])
def test_a_record_says_who_manages(tmp_path: Path, who: str, manager: str) -> None:
    says = [{"other": "family larch", "same_link": "yes", "manager": who}]
    link, _ = choose(tmp_path, [record("a", says=says), record("b", "2")], site({"A": "a", "B": "b"}))
    assert link.manager == manager


def test_the_other_may_be_any_of_the_kinds_that_one_statement_speaks_of(tmp_path: Path) -> None:
    says = [{"other": "family fen", "same_link": "yes", "manager": "other"}]
    records = [record("a", says=says), record("b", family="fen"), record("c", "2", family="fen")]
    link, _ = choose(tmp_path, records, site({"A": "a", "B": "b", "C": "c"}))
    assert (link.manager, link.members) == ("C", ("A", "B", "C"))


def test_newest_without_a_stated_generation_leaves_no_manager(tmp_path: Path) -> None:
    says = [{"other": "family larch", "same_link": "yes", "manager": "newest"}]
    bare = record("b", "2")
    del bare["generation"]
    link, _ = choose(tmp_path, [record("a", says=says), bare], site({"A": "a", "B": "b"}))
    assert len(link.members) == 1


def test_one_record_alone_forbids_the_link(tmp_path: Path) -> None:
    says = [{"other": "record b", "same_link": "no"}]
    link, packs = choose(tmp_path, [record("a", says=says), record("b")], site({"A": "a", "B": "b", "C": "b"}))
    assert (link.members, link.left_off) == (("B", "C"), ("A",))
    assert slots(packs)["A"] == ("unmanaged", None)
    assert levels(link)["energy not on a link"] == 5120  # 100 Ah x 16 x 3.2 V


@pytest.mark.parametrize("cap, count", [(0, 1), (1, 2), (2, 3), (3, 4), (4, 4)])
def test_members_at_most(tmp_path: Path, cap: int, count: int) -> None:
    link, _ = choose(tmp_path, [record("a", manager={"members_at_most": str(cap)})], site(dict.fromkeys("ABCD", "a")))
    assert link.count == count


@pytest.mark.parametrize("nodes", [1, 2, 4])
def test_nodes_count_the_manager(tmp_path: Path, nodes: int) -> None:
    link, _ = choose(tmp_path, [record("a", chain={"nodes": str(nodes)})], site(dict.fromkeys("ABCD", "a")))
    assert link.count == nodes


def test_a_kept_value_ends_a_run_and_is_passed_over_where_gaps_are_allowed(tmp_path: Path) -> None:
    kept = {"kept_for": {"2": "the maker"}}
    link, _ = choose(tmp_path / "run", [record("a", rule=kept)], site(dict.fromkeys("ABCD", "a")))
    assert link.count == 2
    _, packs = choose(
        tmp_path / "gaps", [record("a", rule=kept | {"gaps": "allowed"})], site(dict.fromkeys("ABCD", "a"))
    )
    assert [c.address for c in packs.values()] == [0, 1, 3, 4]


def test_a_value_kept_by_one_make_is_kept_on_the_whole_link(tmp_path: Path) -> None:
    one, other = (
        record("a", rule={"gaps": "allowed", "kept_for": {"1": "the maker"}}),
        record("b", rule={"gaps": "allowed"}),
    )
    _, packs = choose(tmp_path, [one, other], site({"A": "a", "B": "b", "C": "b"}))
    assert [c.address for c in packs.values()] == [0, 2, 3]


def test_members_stand_where_the_manager_asks(tmp_path: Path) -> None:
    one, other = record("a", "2", rule={"gaps": "allowed", "allowed": "0..2"}), record("b", rule={"gaps": "allowed"})
    link, packs = choose(
        tmp_path, [one, other], site({"A": "a", "B": "b", "C": "b", "D": "b"}, wishes={"must": ["manager A"]})
    )
    assert [packs[p].address for p in "ABC"] == [0, 1, 2]
    assert link.left_off == ("D",)


def test_gaps_not_stated_are_forbidden(tmp_path: Path) -> None:
    found = {"A": {"DIAL": "0"}, "B": {"DIAL": "7"}}
    for gaps, address in ((None, 1), ("forbidden", 1), ("allowed", 7)):
        _, packs = choose(
            tmp_path / str(gaps), [record("a", rule={"gaps": gaps})], site({"A": "a", "B": "a"}, found=found)
        )
        assert packs["B"].address == address


def test_two_stated_starts_leave_no_run(tmp_path: Path) -> None:
    link, _ = choose(
        tmp_path, [record("a"), record("b", rule={"start": "1", "manager": "1"})], site({"A": "a", "B": "b"})
    )
    assert len(link.members) == 1


def test_a_kind_that_is_not_there_shapes_nothing(tmp_path: Path) -> None:
    # b would begin at 4; a alone begins at 0, whatever addresses it was found at
    one = record("a", rule={"start": None, "manager": "4"}, manager={"members_at_most": "1"})
    other = record("b", rule={"start": "4", "manager": "4"}, manager={"made_by": "never"})
    other["cells"]["capacity_ah"] = "50"
    found = {"A": {"DIAL": "4"}, "B": {"DIAL": "5"}}
    link, packs = choose(tmp_path, [one, other], site({"A": "a", "B": "a", "C": "b"}, found=found))
    # with a alone the run 0, 1 misses the manager's 4; with b on the link it is 4, 5, of which one pack is b
    assert link.members == ("A", "C")
    assert slots(packs) == {"A": ("manager", 4), "B": ("unmanaged", None), "C": ("member", 5)}


def test_must_keep_switches(tmp_path: Path) -> None:
    tree = site({"A": "a", "B": "a"}, found={"A": {"DIAL": "1"}, "B": {"DIAL": "5"}})
    assert choose(tmp_path / "free", [record("a")], tree)[0].count == 2
    link, packs = choose(tmp_path / "must", [record("a")], tree | {"wishes": {"must": ["keep switches of B"]}})
    assert (link.members, packs["B"].role) == (("A",), "unmanaged")


def test_preferences_in_the_order_listed(tmp_path: Path) -> None:
    tree = site({"A": "a", "B": "a"}, found={"A": {"DIAL": "1"}, "B": {"DIAL": "0"}})
    for first, manager in (("manager A", "A"), ("keep addresses of A", "B")):
        wishes = {"prefer": [first, *(w for w in ("manager A", "keep addresses of A") if w != first)]}
        link, _ = choose(tmp_path / manager, [record("a")], tree | {"wishes": wishes})
        assert link.manager == manager
        assert levels(link)[f"preference: {first}"] == 0
        assert levels(link)[f"preference: {wishes['prefer'][1]}"] == 1


def test_membership_stands_before_energy_and_all_else_after(tmp_path: Path) -> None:
    prefer = {"prefer": ["keep addresses of B", "keep A unmanaged"]}
    link, packs = choose(
        tmp_path, [record("a")], site({"A": "a", "B": "a", "C": "a"}, found={"B": {"DIAL": "5"}}, wishes=prefer)
    )
    assert packs["A"].role == "unmanaged"
    assert (packs["B"].role, packs["C"].role) == ("manager", "member")  # B's kept address would cost C
    assert link.levels[1:5] == (
        "preference: keep A unmanaged",
        "energy not on a link",
        "addresses that read as another",
        "preference: keep addresses of B",
    )
    assert link.vector[1:5] == (0, 5120, 0, 1)


def test_installed_packs_stay_unless_they_may_leave(tmp_path: Path) -> None:
    big = record("b")
    big["cells"]["capacity_ah"] = "300"
    says = [{"other": "record b", "same_link": "no"}]
    tree = site({"A": "a", "B": "b"}, found={"links": {"old": {"packs": ["A"], "manager": "A", "reports_to": "INV"}}})
    tree["packs"]["B"]["new"] = "yes"
    link, _ = choose(tmp_path / "stay", [record("a", says=says), big], tree)
    assert link.members == ("A",)
    tree["links"]["rack"]["may_leave"] = ["A"]
    link, _ = choose(tmp_path / "leave", [record("a", says=says), big], tree)
    assert link.members == ("B",)


def test_a_pack_alone_keeps_its_rate_switch(tmp_path: Path) -> None:
    rate = {
        "RATE": {
            "kind": "slide",
            "printed": "1",
            "parts": [{"use": "1", "sets": "rate", "bus": "chain", "code": {"table": {"9600": "off", "19200": "on"}}}],
        }
    }
    one = record("a", chain={"rates_bps": ["9600", "19200"], "rate_set_by": "switch"}, switches=rate)
    link, _ = choose(tmp_path, [one], site({"A": "a"}, found={"A": {"DIAL": "0", "RATE": "1"}}))
    assert (link.manager, levels(link)["switches moved"]) == ("A", 0)


def test_a_manager_made_by_a_flag_keeps_the_address_its_record_states(tmp_path: Path) -> None:
    row = {
        "SW": {
            "kind": "slide",
            "printed": "1..4",
            "parts": [
                {
                    "use": "1..3",
                    "sets": "address",
                    "code": {"binary": "first is low", "from": "0"},
                    "when": {"role": "member"},
                },
                {
                    "use": "1..3",
                    "sets": "count of members",
                    "code": {"binary": "first is low", "from": "0"},
                    "when": {"role": "manager"},
                },
                {"use": "4", "sets": "role", "code": {"flag": "on"}},
            ],
        }
    }
    one = record("a", rule={"allowed": "0..7"}, manager={"made_by": "flag"})
    one["switches"] = row
    tree = site(
        {"A": "a", "B": "a"},
        found={"A": {"SW": "1000"}, "B": {"SW": "1001"}},
        wishes={"must": ["keep addresses of A..B"]},
    )
    tree["wishes"]["must"] = ["keep addresses of A, B"]
    link, packs = choose(tmp_path, [one], tree)
    assert slots(packs) == {"A": ("member", 1), "B": ("manager", 0)}
    assert levels(link)["switches moved"] == 0


def test_the_manager_of_one_link_is_not_that_of_another(tmp_path: Path) -> None:
    tree = site({"A": "a"}, wishes={"prefer": ["manager A of south"]})
    tree["links"]["south"] = dict(tree["links"]["rack"])
    _, packs = choose(tmp_path, [record("a")], tree)
    assert packs["A"].link == "south"


def test_two_starts_of_the_place_rank_where_gaps_are_allowed(tmp_path: Path) -> None:
    """The manager's own address is one slot, not two: the pack in place 3 takes address 3 when place 2 stays off."""
    tree = site(dict.fromkeys("ABCD", "a"), wishes={"must": ["keep C unmanaged"]})
    link, packs = choose(tmp_path, [record("a", rule={"gaps": "allowed"})], tree)
    assert [packs[p].address for p in "ABD"] == [0, 1, 3]
    assert levels(link)["order by place"] == 0


# ---- names and order decide nothing ---------------------------------------------------------------------------------


def test_renaming_renames_the_answer(tmp_path: Path) -> None:
    for seed in range(12):
        case = random_case(random.Random(seed), 2, 5)
        names = list(case["site"]["packs"])
        other = dict(zip(names, [f"Z{9 - i}" for i in range(len(names))], strict=True))
        _, packs = choose_links(load_site(write_case(case, tmp_path / f"a{seed}")))
        _, swapped = choose_links(load_site(write_case(renamed(case, other), tmp_path / f"b{seed}")))
        assert {other[p]: (c.role, c.link, c.mode, c.address) for p, c in packs.items()} == {
            p: (c.role, c.link, c.mode, c.address) for p, c in swapped.items()
        }


def test_the_order_in_the_file_changes_nothing_where_places_differ(tmp_path: Path) -> None:
    for seed in range(12):
        rng = random.Random(seed)
        case = random_case(rng, 2, 5)
        for i, entry in enumerate(case["site"]["packs"].values()):
            entry["place"] = f"rack L slot {i + 1}"
        _, packs = choose_links(load_site(write_case(case, tmp_path / f"a{seed}")))
        entries = list(case["site"]["packs"].items())
        rng.shuffle(entries)
        case["site"]["packs"] = dict(entries)
        for link in case["site"]["links"].values():
            rng.shuffle(link["packs"])
        _, again = choose_links(load_site(write_case(case, tmp_path / f"b{seed}")))
        assert {p: (c.role, c.link, c.address) for p, c in packs.items()} == {
            p: (c.role, c.link, c.address) for p, c in again.items()
        }


def test_more_kinds_than_are_looked_through_are_planned_and_not_called_proved(tmp_path: Path) -> None:
    """Ten kinds of one pack each: the plan is what they all allow, and says that it is not proved."""
    records = [record(f"k{i}", "2" if i == 4 else "1") for i in range(MOST_KINDS + 2)]
    link, packs = choose(tmp_path, records, site({f"P{i}": f"k{i}" for i in range(MOST_KINDS + 2)}))
    assert (link.manager, len(link.members), link.proved) == ("P4", 10, False)
    assert link.solution is not None
    assert link.solution.bound == (0, 0)
    assert sorted(c.address for c in packs.values() if c.address is not None) == list(range(10))
    assert unproved_text(link) == (
        "The plan for link rack is not proved best: there were too many ways to look through. "
        "A better one may exist, at a later level."
    )


def test_a_gap_to_the_bound_is_told(tmp_path: Path) -> None:
    """Eleven packs for ten numbers: one stays off, and the bound of what was passed over unseen is nothing lost."""
    kinds = MOST_KINDS + 3
    link, _ = choose(tmp_path, [record(f"k{i}") for i in range(kinds)], site({f"P{i}": f"k{i}" for i in range(kinds)}))
    assert (len(link.members), link.proved) == (10, False)
    assert 'A better one may exist, at "energy not on a link" (5120; nothing lies below 0).' in unproved_text(link)


def test_one_kind_fewer_is_proved(tmp_path: Path) -> None:
    link, _ = choose(tmp_path, [record(f"k{i}") for i in range(MOST_KINDS)],
                     site({f"P{i}": f"k{i}" for i in range(MOST_KINDS)}))
    assert (len(link.members), link.proved) == (MOST_KINDS, True)


def test_kinds_of_two_dialects_beyond_the_limit_leave_the_smaller_group_off(tmp_path: Path) -> None:
    kinds = [record(f"a{i}") for i in range(8)] + [record(f"b{i}", dialects={"own": "d2"}) for i in range(8)]
    names = {f"A{i}": f"a{i}" for i in range(8)} | {f"B{i}": f"b{i}" for i in range(7)}
    link, _ = choose(tmp_path, kinds, site(names))
    assert (link.members, link.proved) == (tuple(f"A{i}" for i in range(8)), False)


def test_a_search_that_stops_early_keeps_its_best_and_says_its_bound(tmp_path: Path) -> None:
    tree = site({f"P{i}": "a" if i % 2 else "b" for i in range(8)})
    tree["links"]["other"] = dict(tree["links"]["rack"])
    read = load_site(write_case({"records": [record("a"), record("b", "2"), BOX], "site": tree}, tmp_path))
    (component,) = components(read)
    with pytest.raises(Unfinished):
        best(component, assignments=0)
    early = best(component, assignments=1)
    proved = best(component)
    assert early is not None
    assert proved is not None
    assert early.bound is not None
    assert early.bound <= proved.vector
    assert proved.bound is None
    assert (proved.vector, proved.slots) <= (early.vector, early.slots)


def test_links_that_compete_in_too_many_ways_with_nothing_possible_are_refused(tmp_path: Path) -> None:
    """Ten kinds that all must be managed while a record keeps every number but two."""
    records = [record(f"k{i}", rule={"allowed": "0..1"}) for i in range(10)]
    names = {f"P{i}": f"k{i}" for i in range(10)}
    with pytest.raises(TooWide, match="10 kinds of packs for link rack: too many ways to look through"):
        choose(tmp_path, records, site(names, wishes={"must": ["keep P0..P9 managed"]}))
