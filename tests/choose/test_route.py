"""The order of packs on a link, on small invented sites with the answer worked out by hand, and against all orders.

Places are slots 1, 2, 3, …; the length of an order is the sum of the slots from each pack to the next.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import pairwise, permutations
from pathlib import Path
from typing import Any

import pytest

from interop.choose.plan import Decisions, decide
from interop.choose.route import propose_order
from interop.choose.words import blocked_words
from interop.site.load import load_site
from interop.site.site import Device
from tests.choose.random_sites import write_case
from tests.choose.test_frames_and_search import BOX, record, site

Tree = dict[str, Any]

PLAIN = {str(pin): "unused" for pin in range(1, 7)} | {"7": "chain minus", "8": "chain plus"}


def wired(name: str, generation: str = "1", pins: Tree | None = None, **more: Any) -> Tree:
    """A pack of `record` with a link plug of two sockets: data on 7 and 8, nothing on the rest."""
    inside = more.pop("inside", "same pin joined")
    lines = {"lines": more.pop("lines")} if "lines" in more else {}
    link = {"sockets": ["L1", "L2"], "plug": "rj45", "direction": "either", "inside": inside, "reference": "isolated"}
    one = record(name, generation, **more)
    return one | {"ports": {"LINK": link}, "pins": {"LINK": PLAIN | (pins or {})}} | lines


WAKE = {
    "contact": "closed to act", "drive": "passive", "level_v": "5", "carried": "through every pack",
    "acts_on": "this pack", "wires": ["a", "b"],
}  # fmt: skip


def waking(name: str, **more: Any) -> Tree:
    """A pack that wakes its neighbour, if that has the same line, over pins 3 and 6."""
    return wired(name, pins={"3": "wake a", "6": "wake b"}, lines={"wake": WAKE}, **more)


def bridged(name: str) -> Tree:
    """The same line, but inside the pack its pins are one piece of copper with a supply: not to be joined at all."""
    tree = waking(name, inside=["same pin joined", "3-4", "5-6"])
    tree["pins"]["LINK"] |= {"4": "supply 12 V", "5": "supply 12 V"}
    return tree


def planned(folder: Path, records: list[Tree], packs: dict[str, str], manager: str, **more: Any) -> Decisions:
    """Decide a site of packs in slots 1, 2, … with a named manager whose cables are left to the plan."""
    link = {"manager": manager, **({} if "cables" in more else {"cables": "propose"})}
    tree = site(packs, link=link, **more)
    return decide(load_site(write_case({"records": [*records, BOX], "site": tree}, folder)))


def order(decisions: Decisions) -> str:
    return " ".join(decisions.routes["rack"].order)


def joined(first: str, second: str) -> Tree:
    """An installed cable between two packs; sockets as they come."""
    return {"from": f"{first} L2", "to": f"{second} L1", "made": "straight"}


def found(manager: str, packs: dict[str, str], *pairs: tuple[str, str]) -> Tree:
    return {
        "links": {"rack": {"packs": list(packs), "manager": manager, "reports_to": "INV"}},
        "cables": {f"K{i}": joined(*pair) for i, pair in enumerate(pairs, 1)},
    }


# ---- blocks ----


def test_from_the_manager_on_its_own_kind_by_place(tmp_path: Path) -> None:
    """Slots as numbered. From A2 the others as 1, 3: as long as 3, 1, and it is the order of the places."""
    packs = {"A1": "a", "A2": "a", "A3": "a"}
    assert order(planned(tmp_path, [wired("a")], packs, "A2")) == "A2 A1 A3"


def test_the_managers_kind_comes_first_then_the_other_in_one_block(tmp_path: Path) -> None:
    """Slots B1 1, A1 2, B2 3, A2 4. After A1 A2 the block B: forwards 2 + 3 + 2, turned round 2 + 1 + 2."""
    packs = {"B1": "b", "A1": "a", "B2": "b", "A2": "a"}
    assert order(planned(tmp_path, [wired("a"), wired("b")], packs, "A1")) == "A1 A2 B2 B1"


def test_a_block_is_turned_only_where_that_is_shorter(tmp_path: Path) -> None:
    """Slots A1 1, B1 2, B2 3, B3 4: forwards 1 + 1 + 1, turned round 3 + 1 + 1."""
    packs = {"A1": "a", "B1": "b", "B2": "b", "B3": "b"}
    assert order(planned(tmp_path, [wired("a"), wired("b")], packs, "A1")) == "A1 B1 B2 B3"


def test_blocks_stand_in_the_order_that_is_shortest_by_place(tmp_path: Path) -> None:
    """Slots C1 1, C2 2, A1 3, B1 4, B2 5.

    C then B, both by place: 2 + 1 + 2 + 1 = 6. B then C turned: 1 + 1 + 3 + 1 = 6 as well, and no order is shorter;
    of equals the blocks by place come first.
    """
    packs = {"C1": "c", "C2": "c", "A1": "a", "B1": "b", "B2": "b"}
    records = [wired("a"), wired("b"), wired("c")]
    assert order(planned(tmp_path / "equal", records, packs, "A1")) == "A1 C1 C2 B1 B2"
    # C1 1, C2 2, C3 3, A1 4, B1 5: B then C turned is 1 + 2 + 1 + 1 = 5; C by place then B 3 + 1 + 1 + 2 = 7,
    # C turned then B 1 + 1 + 1 + 4 = 7, B then C by place 1 + 4 + 1 + 1 = 7
    packs = {"C1": "c", "C2": "c", "C3": "c", "A1": "a", "B1": "b"}
    assert order(planned(tmp_path / "near", records, packs, "A1")) == "A1 B1 C3 C2 C1"


def test_places_decide_and_not_the_order_of_the_file(tmp_path: Path) -> None:
    packs = {"B2": "b", "B1": "b", "A1": "a"}
    tree = site(packs, link={"manager": "A1", "cables": "propose"})
    for name, slot in {"A1": 1, "B1": 2, "B2": 3}.items():
        tree["packs"][name]["place"] = f"rack L slot {slot}"
    case = {"records": [wired("a"), wired("b"), BOX], "site": tree}
    assert order(decide(load_site(write_case(case, tmp_path)))) == "A1 B1 B2"


# ---- installed cables ----


def test_fewest_installed_cables_changed_goes_before_shortest(tmp_path: Path) -> None:
    """An installed cable A1-B3 holds the turned block (5 slots) against the shorter one (3)."""
    packs = {"A1": "a", "B1": "b", "B2": "b", "B3": "b"}
    records = [wired("a"), wired("b")]
    decisions = planned(tmp_path, records, packs, "A1", found=found("A1", packs, ("A1", "B3"), ("B3", "B2")))
    assert order(decisions) == "A1 B3 B2 B1"
    cables = decisions.routes["rack"].cables
    assert [(c.a.device, c.b.device, decisions.actions[c.id].action) for c in cables] == [
        ("A1", "B3", "alter"), ("B3", "B2", "keep"), ("B2", "B1", "make")]  # fmt: skip
    assert decisions.removed == ()


def test_an_installed_cable_can_choose_the_order_of_blocks(tmp_path: Path) -> None:
    """Slots A1 1, C1 2, C2 3, B1 4, B2 5: by place C then B (4 slots); A1-B1 stands, so B first, then C turned (7)."""
    packs = {"A1": "a", "C1": "c", "C2": "c", "B1": "b", "B2": "b"}
    records = [wired("a"), wired("b"), wired("c")]
    assert order(planned(tmp_path / "none", records, packs, "A1")) == "A1 C1 C2 B1 B2"
    stands = found("A1", packs, ("A1", "B1"))
    assert order(planned(tmp_path / "one", records, packs, "A1", found=stands)) == "A1 B1 B2 C2 C1"


def test_two_installed_cables_outweigh_one(tmp_path: Path) -> None:
    """A1-C1 asks for C first; A1-B1 and B2-C1 together ask for B first and C behind it, though that is 8 slots."""
    packs = {"A1": "a", "C1": "c", "C2": "c", "B1": "b", "B2": "b"}
    records = [wired("a"), wired("b"), wired("c")]
    stands = found("A1", packs, ("A1", "C1"), ("B1", "A1"), ("C1", "B2"))
    decisions = planned(tmp_path, records, packs, "A1", found=stands)
    assert order(decisions) == "A1 B1 B2 C1 C2"
    assert [removed.cable.id for removed in decisions.removed] == ["K1"]


def test_of_orders_that_change_equally_many_the_shortest(tmp_path: Path) -> None:
    """A1-C1 and C2-B2, or A1-B1 and B2-C2: two stay either way. C first is 1 + 1 + 2 + 1, B first 3 + 1 + 2 + 1."""
    packs = {"A1": "a", "C1": "c", "C2": "c", "B1": "b", "B2": "b"}
    records = [wired("a"), wired("b"), wired("c")]
    stands = found("A1", packs, ("A1", "C1"), ("B1", "A1"), ("B2", "C2"))
    assert order(planned(tmp_path, records, packs, "A1", found=stands)) == "A1 C1 C2 B2 B1"


# ---- pairs without a cable ----


def test_a_pair_without_a_cable_is_kept_apart_by_another_order(tmp_path: Path) -> None:
    """Slots A 1, B 2, C 3, D 4. B and C share a wake line that B cannot give: D stands between.

    A B D C is 1 + 2 + 1, A C D B 2 + 1 + 2. Without the clash A B C D, 3 slots.
    """
    packs = {"A": "a", "B": "b", "C": "c", "D": "d"}
    others = [wired("a"), waking("c"), wired("d")]
    assert order(planned(tmp_path / "clash", [*others, bridged("b")], packs, "A")) == "A B D C"
    assert order(planned(tmp_path / "plain", [*others, waking("b")], packs, "A")) == "A B C D"


def test_a_pair_without_a_cable_outweighs_installed_cables(tmp_path: Path) -> None:
    packs = {"A": "a", "B": "b", "C": "c", "D": "d"}
    records = [wired("a"), bridged("b"), waking("c"), wired("d")]
    decisions = planned(tmp_path, records, packs, "A", found=found("A", packs, ("B", "C"), ("A", "B"), ("C", "D")))
    assert order(decisions) == "A B D C"
    assert [removed.cable.id for removed in decisions.removed] == ["K1"]


# ---- the order that the site states ----


def test_a_stated_order_is_not_changed(tmp_path: Path) -> None:
    """Longer by place than A1 A2 B1 B2 and with a kind in two pieces, but written."""
    packs = {"A1": "a", "A2": "a", "B1": "b", "B2": "b"}
    chain = {"W1..W3": {"chain": ["A1", "B2", "A2", "B1"], "from": "L2", "to": "L1", "made": "propose"}}
    decisions = planned(tmp_path, [wired("a"), wired("b")], packs, "A1", cables=chain)
    assert order(decisions) == "A1 B2 A2 B1"
    assert [(c.id, c.a.socket, c.b.socket) for c in decisions.routes["rack"].cables] == [
        ("W1", "L2", "L1"), ("W2", "L2", "L1"), ("W3", "L2", "L1")]  # fmt: skip


def test_a_pack_left_off_a_stated_order_is_bridged(tmp_path: Path) -> None:
    """X may not stand on a link with the others: its neighbours are joined by a new cable, which says so."""
    packs = {"A1": "a", "X": "x", "A2": "a", "A3": "a"}
    no = [{"other": "family larch", "same_link": "no", "same_busbar": "yes"}]
    chain = {"W1..W3": {"chain": ["A1", "X", "A2", "A3"], "from": "L2", "to": "L1", "made": "propose"}}
    decisions = planned(tmp_path, [wired("a"), wired("x", family="fen", says=no)], packs, "A1", cables=chain)
    assert order(decisions) == "A1 A2 A3"
    cables = decisions.routes["rack"].cables
    assert [(c.a.device, c.b.device, c.bridged) for c in cables] == [("A1", "A2", ("X",)), ("A2", "A3", ())]
    assert [c.id for c in cables][1] == "W3"
    assert cables[0].id not in {"W1", "W2"}


def test_new_cables_go_from_the_last_socket_to_the_first(tmp_path: Path) -> None:
    decisions = planned(tmp_path, [wired("a")], {"A1": "a", "A2": "a", "A3": "a"}, "A1")
    assert [(c.id, c.a.socket, c.b.socket, c.joined) for c in decisions.routes["rack"].cables] == [
        ("rack-1", "L2", "L1", (("7", "7"), ("8", "8"))),
        ("rack-2", "L2", "L1", (("7", "7"), ("8", "8"))),
    ]


# ---- against every order ----


def every_order(members: list[Device], manager: str) -> Iterator[tuple[str, ...]]:
    """By the definition: all permutations in which each kind stands in one piece, by place or its reverse.

    The manager is the only pack of its kind in these sites, so that its own block has one order.
    """
    kinds = {d.id: d.record.id for d in members}
    ranks = {d.id: d.rank for d in members}
    for names in permutations(kinds):
        runs = [kinds[name] for name in names]
        pieces = [kind for i, kind in enumerate(runs) if i == 0 or runs[i - 1] != kind]
        if names[0] != manager or len(set(pieces)) != len(pieces):
            continue
        blocks = [[ranks[name] for name in names if kinds[name] == kind] for kind in pieces]
        if all(block in (sorted(block), sorted(block, reverse=True)) for block in blocks):
            yield names


def cost(names: tuple[str, ...], ranks: dict[str, int], installed: frozenset[frozenset[str]]) -> tuple[int, int]:
    pairs = list(pairwise(names))
    used = {frozenset(pair) for pair in pairs}
    return len(installed - used), sum(abs(ranks[a] - ranks[b]) for a, b in pairs)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> list[Device]:
    """Seven packs of four kinds in slots that mix them; Z alone of its kind."""
    packs = {"B1": "b", "Z": "z", "C1": "c", "B2": "b", "D1": "d", "C2": "c", "D2": "d"}
    records = [wired(kind) for kind in "bczd"]
    folder = tmp_path_factory.mktemp("bench")
    loaded = load_site(write_case({"records": [*records, BOX], "site": site(packs)}, folder))
    return list(loaded.packs)


def test_the_best_of_all_orders_on_two_hundred_random_links(bench: list[Device]) -> None:
    rng = random.Random(2)
    ranks = {d.id: d.rank for d in bench}
    kinds = {d.id: d.record.id for d in bench}
    answers = 0
    for _ in range(200):
        members = [d for d in bench if d.id == "Z" or rng.random() < 0.8]
        names = [d.id for d in members]
        pairs = [frozenset(rng.sample(names, 2)) for _ in range(rng.randrange(4)) if len(names) > 1]
        installed = frozenset(pairs)
        clash = {frozenset(rng.sample("bczd", 2)) for _ in range(rng.randrange(3))}

        def has_cable(a: str, b: str, clash: set[frozenset[str]] = clash) -> bool:
            return frozenset((kinds[a], kinds[b])) not in clash

        legal = [o for o in every_order(members, "Z") if all(has_cable(a, b) for a, b in pairwise(o))]
        found = propose_order(members, "Z", has_cable, installed)
        assert (found is None) == (not legal)
        if found is not None:
            answers += 1
            assert found in legal
            assert cost(found, ranks, installed) == min(cost(o, ranks, installed) for o in legal)
    assert 100 < answers < 200  # both a way and none are met


def test_seven_kinds_with_a_clash_between_neighbours_all_find_a_place(tmp_path: Path) -> None:
    """B (bridged) and C (waking) cannot be neighbours; every other pair can."""
    packs = {"M": "a", "B": "b", "C": "c", "D": "d", "E": "e", "F": "f", "G": "g"}
    records = [wired("a"), bridged("b"), waking("c"), *[wired(kind) for kind in "defg"]]
    made = planned(tmp_path, records, packs, "M")
    assert made.links[0].members == tuple(packs)
    # by place M1 B2 C3 D4 E5 F6 G7; apart by one swap at the least: B2 D4 C3 E5 costs 2 + 1 + 2 for 1 + 1 + 1
    assert order(made) == "M B D C E F G"


@pytest.mark.parametrize("seed", range(40))
def test_built_up_orders_equal_all_orders_tried(seed: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Four or five other kinds, some of two packs, some pairs without a cable, some cables installed."""
    from interop.choose import route

    rng = random.Random(seed)
    kinds = "abcdef"[: rng.choice((5, 6))]
    packs = {f"{kind.upper()}{i}": kind for kind in kinds for i in range(1, rng.choice((2, 3)))}
    names = list(packs)
    rng.shuffle(names)
    devices = load_site(write_case({"records": [*[wired(k) for k in kinds], BOX],
                                    "site": site({n: packs[n] for n in names})}, tmp_path)).packs
    bad = {(a, b) for a in names for b in names if rng.random() < 0.15}
    installed = frozenset(frozenset(pair) for pair in pairwise(names) if rng.random() < 0.3)
    tried = propose_order(devices, "A1", lambda a, b: (a, b) not in bad, installed)
    monkeypatch.setattr(route, "MOST_TRIED", 0)
    built = propose_order(devices, "A1", lambda a, b: (a, b) not in bad, installed)

    def cost(found: tuple[str, ...] | None) -> object:
        if found is None:
            return None
        rank = {d.id: d.rank for d in devices}
        used = {frozenset(pair) for pair in pairwise(found)}
        return len(installed - used), sum(abs(rank[a] - rank[b]) for a, b in pairwise(found))

    assert cost(built) == cost(tried)
    assert tried is None or set(built or ()) == set(names)


def test_a_pack_with_one_socket_stands_at_the_end(tmp_path: Path) -> None:
    one = wired("b")
    one["ports"]["LINK"]["sockets"] = ["L1"]
    made = planned(tmp_path, [wired("a"), one], {"M": "a", "S": "b", "A": "a"}, "M")
    assert order(made) == "M A S"


def test_two_packs_with_one_socket_each_stand_at_the_two_ends(tmp_path: Path) -> None:
    one = wired("b")
    one["ports"]["LINK"]["sockets"] = ["L1"]
    made = planned(tmp_path, [wired("a"), one], {"M": "a", "S1": "b", "S2": "b"}, "M")
    assert order(made) == "S1 M S2"


def test_three_packs_with_one_socket_each_cannot_all_be_reached(tmp_path: Path) -> None:
    """Two ends are all there are; a cable end in no socket is never planned."""
    one = wired("b")
    one["ports"]["LINK"]["sockets"] = ["L1"]
    made = planned(tmp_path, [wired("a"), one], {"M": "a", "S1": "b", "S2": "b", "S3": "b"}, "M")
    assert all(end.socket for route in made.routes.values() for c in route.cables for end in (c.a, c.b))
    assert {blocked_words(one) for each in made.struck.values() for one in each} == {
        "S2 has no free socket for one of its two neighbours on the chain of a and b"
    }
    assert order(made) == "S1 M S2"
    assert made.packs["S3"].role == "unmanaged"
