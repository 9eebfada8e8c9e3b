from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.standards.plugs import (
    CROSSOVER_SOURCES,
    CROSSOVERS,
    Plug,
    UnknownPlug,
    UnknownPole,
    UnknownScheme,
    are_pair,
    colour,
    crossover_of,
    is_crossover,
    known_plugs,
    pair_of,
    plug,
    plug_families,
)
from interop.standards.sources import Certainty

PLUGS = st.sampled_from(known_plugs()).map(plug)


@pytest.mark.parametrize("name", known_plugs())
def test_every_known_name_finds_its_own_plug(name: str) -> None:
    found = plug(name)
    assert found.id == name
    assert len(set(found.poles)) == len(found.poles) > 0


@pytest.mark.parametrize(
    ("written", "id_"),
    [("RJ45", "rj45"), ("  Terminal   Block 4 ", "terminal block 4"), ("8P8C", "rj45"), ("6p4c", "rj11")],
)
def test_case_spaces_and_usual_other_names_do_not_matter(written: str, id_: str) -> None:
    assert plug(written).id == id_


@pytest.mark.parametrize(
    ("name", "poles"),
    [
        ("terminal block 3", ("1", "2", "3")),
        ("round 4", ("1", "2", "3", "4")),
        ("d-sub 9", ("1", "2", "3", "4", "5", "6", "7", "8", "9")),
        ("ring lug", ("1",)),
        ("rj11", ("2", "3", "4", "5")),
        ("rj12", ("1", "2", "3", "4", "5", "6")),
    ],
)
def test_poles(name: str, poles: tuple[str, ...]) -> None:
    assert plug(name).poles == poles


def test_an_unknown_plug_is_refused_with_the_nearest_names() -> None:
    with pytest.raises(UnknownPlug) as caught:
        plug("rj54")
    assert caught.value.near[0] == "rj45"
    assert str(caught.value).startswith("no plug is called 'rj54', nearest: rj45")


def test_a_name_near_nothing_lists_what_is_known() -> None:
    with pytest.raises(UnknownPlug) as caught:
        plug("??")
    assert caught.value.near == ()
    assert str(caught.value) == (
        "no plug is called '??', known: rj45, rj11, rj12, ring lug, terminal block 1..24, round 2..24, "
        "header 2..24, modular 4/6/8/10, d-sub 9/15/25"
    )


@pytest.mark.parametrize("name", ["terminal block 0", "terminal block 25", "d-sub 10", "terminal block", ""])
def test_a_pole_count_that_is_not_made_is_refused(name: str) -> None:
    with pytest.raises(UnknownPlug):
        plug(name)


def test_families_name_every_plug_that_is_not_named_alone() -> None:
    assert len(known_plugs()) == 4 + 24 + 23 + 23 + 4 + 3
    assert len(plug_families()) == 9


@given(one=PLUGS, data=st.data())
def test_pairs_are_symmetric_and_disjoint(one: Plug, data: st.DataObject) -> None:
    a, b = data.draw(st.sampled_from(one.poles)), data.draw(st.sampled_from(one.poles))
    assert are_pair(one, a, b) == are_pair(one, b, a)
    assert not are_pair(one, a, a)
    if are_pair(one, a, b):
        assert pair_of(one, a) == pair_of(one, b)
    assert sum(a in pair for pair in one.pairs) <= 1


@pytest.mark.parametrize("name", ["terminal block 8", "round 8", "modular 8", "d-sub 9", "ring lug"])
def test_a_plug_known_by_pole_count_alone_claims_no_pairs_and_no_colours(name: str) -> None:
    kind = plug(name)
    assert (kind.pairs, dict(kind.colours), kind.twisted) == ((), {}, False)
    assert pair_of(kind, "1") is None


@pytest.mark.parametrize("name", known_plugs())
def test_pairs_and_colours_name_their_source(name: str) -> None:
    kind = plug(name)
    assert (kind.pair_source is None) == (kind.pairs == ())
    assert (kind.colour_source is None) == (not kind.colours)
    assert all(set(colours) == set(kind.poles) for colours in kind.colours.values())
    assert {pole for pair in kind.pairs for pole in pair} <= set(kind.poles)


def test_only_rj45_is_taken_to_be_twisted() -> None:
    assert [name for name in known_plugs() if plug(name).twisted] == ["rj45"]


def test_an_unknown_pole_or_scheme_is_refused() -> None:
    rj45 = plug("rj45")
    with pytest.raises(UnknownPole, match="plug rj11 has no pole '1', its poles are 2, 3, 4, 5"):
        pair_of(plug("rj11"), "1")
    with pytest.raises(UnknownPole):
        are_pair(rj45, "1", "9")
    with pytest.raises(UnknownPole):
        colour(rj45, "shell", "T568B")
    with pytest.raises(UnknownScheme, match="plug rj45 has no colour scheme 'T568C', its schemes: T568A, T568B"):
        colour(rj45, "1", "T568C")
    with pytest.raises(UnknownScheme, match="its schemes: none"):
        colour(plug("round 4"), "1", "T568B")


def test_a_plug_cannot_be_changed() -> None:
    rj45 = plug("rj45")
    with pytest.raises(FrozenInstanceError):
        rj45.id = "x"  # type: ignore[misc]
    with pytest.raises(TypeError):
        rj45.colours["T568A"]["1"] = "pink"  # type: ignore[index]
    assert hash(rj45) == hash(plug("rj45"))


FAST = {"1": "3", "2": "6", "3": "1", "6": "2"}
STRAIGHT = {str(n): str(n) for n in range(1, 9)}


@pytest.mark.parametrize(
    ("lead", "name"),
    [
        (FAST, "crossover"),
        (FAST | {"4": "4", "5": "5", "7": "7", "8": "8"}, "crossover"),
        (FAST | {"8": "8"}, "crossover"),
        (FAST | {"4": "7", "5": "8", "7": "4", "8": "5"}, "gigabit crossover"),
        (FAST | {"4": "7"}, "gigabit crossover"),
        (FAST | {"4": "7", "5": "5"}, None),
        (STRAIGHT, None),
        ({"4": "4", "5": "5"}, None),
        ({"1": "3", "2": "6"}, None),
        ({"1": "8", "2": "7", "3": "6", "6": "3", "7": "2", "8": "1", "4": "5", "5": "4"}, None),
        ({}, None),
    ],
)
def test_crossover_leads_are_told_apart(lead: dict[str, str], name: str | None) -> None:
    assert crossover_of(lead) == name
    assert is_crossover(lead) is (name is not None)


@pytest.mark.parametrize("name", list(CROSSOVERS))
def test_turning_a_crossover_round_changes_nothing(name: str) -> None:
    full = CROSSOVERS[name]
    assert {far: near for near, far in full.items()} == dict(full)
    assert all(full[full[pole]] == pole for pole in full)
    assert CROSSOVER_SOURCES[name].certainty in {Certainty.V1, Certainty.V2}
