"""Plug tables typed by hand from published lists, held against ours."""

from __future__ import annotations

import pytest

from interop.standards.plugs import CROSSOVERS, are_pair, colour, plug

# TIA-568, colours by pin. Two independent copies agree (V2).
T568B = {
    1: "white/orange", 2: "orange", 3: "white/green", 4: "blue",
    5: "white/blue", 6: "green", 7: "white/brown", 8: "brown",
}  # fmt: skip
T568A = {
    1: "white/green", 2: "green", 3: "white/orange", 4: "blue",
    5: "white/blue", 6: "orange", 7: "white/brown", 8: "brown",
}  # fmt: skip
TIA_568 = {"T568A": T568A, "T568B": T568B}
PIN_SCHEME = [(pin, scheme) for scheme in TIA_568 for pin in range(1, 9)]

# USOC, six positions, pairs from the middle outwards: 47 CFR 68.502 has T1 R1 on 4 3 and T2 R2 on 2 5 (V2),
# the third pair on 1 6 (V1). Colours of the old telephone cord (V1).
USOC_PAIRS = [(3, 4), (2, 5), (1, 6)]
USOC_COLOURS = {1: "white", 2: "black", 3: "red", 4: "green", 5: "yellow", 6: "blue"}


@pytest.mark.parametrize("pin, scheme", PIN_SCHEME)
def test_tia_568_colours(pin: int, scheme: str) -> None:
    assert colour(plug("rj45"), str(pin), scheme) == TIA_568[scheme][pin]


@pytest.mark.parametrize("a", range(1, 9))
@pytest.mark.parametrize("b", range(1, 9))
def test_tia_568_pairs(a: int, b: int) -> None:
    printed = {frozenset(pair) for pair in [(1, 2), (3, 6), (4, 5), (7, 8)]}
    assert are_pair(plug("rj45"), str(a), str(b)) is (frozenset((a, b)) in printed)


@pytest.mark.parametrize("scheme", ["T568A", "T568B"])
def test_the_two_conductors_of_a_pair_share_a_colour(scheme: str) -> None:
    # Common practice of every twisted-pair cable: one solid colour, one white with that colour.
    rj45 = plug("rj45")
    for a, b in rj45.pairs:
        names = {colour(rj45, a, scheme), colour(rj45, b, scheme)}
        solid = min(names, key=len)
        assert names == {solid, f"white/{solid}"}


def test_t568a_to_t568b_gives_the_crossover_lead() -> None:
    # A lead with one scheme at each end joins the poles whose conductors have one colour.
    lead = {str(a): str(b) for a in T568A for b in T568B if T568A[a] == T568B[b]}
    assert lead == CROSSOVERS["crossover"]


def test_gigabit_crossover_also_swaps_the_other_two_pairs() -> None:
    printed = {1: 3, 2: 6, 3: 1, 6: 2, 4: 7, 5: 8, 7: 4, 8: 5}
    assert CROSSOVERS["gigabit crossover"] == {str(a): str(b) for a, b in printed.items()}


@pytest.mark.parametrize("a, b", [(2, 3), (3, 4), (5, 6), (6, 7)])
def test_neighbours_that_are_split_pairs(a: int, b: int) -> None:
    assert not are_pair(plug("rj45"), str(a), str(b))


@pytest.mark.parametrize("name", ["rj11", "rj12"])
def test_usoc_pairs_and_colours(name: str) -> None:
    kind = plug(name)
    positions = {int(pole) for pole in kind.poles}
    for a in positions:
        assert colour(kind, str(a), "USOC") == USOC_COLOURS[a]
        for b in positions:
            printed = (a, b) in USOC_PAIRS or (b, a) in USOC_PAIRS
            assert are_pair(kind, str(a), str(b)) is printed
