"""Plug kinds as data: poles, pairs, conductor colours and crossover leads.

A pole is named by the text that a record uses for a pin (`"1"` to `"8"`). What a pole *carries* is never
here: it is a fact of a device, and one plug is used with many different pin functions.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from types import MappingProxyType

from interop.standards.sources import COMMON_PRACTICE, Certainty, Source

__all__ = [
    "CROSSOVERS",
    "CROSSOVER_SOURCES",
    "SHELL",
    "Plug",
    "UnknownPlug",
    "UnknownPole",
    "UnknownScheme",
    "are_pair",
    "colour",
    "crossover_of",
    "is_crossover",
    "known_plugs",
    "pair_of",
    "plug",
    "plug_families",
]

Pair = tuple[str, str]

SHELL = "shell"
"""Name of the contact that the metal body of a plug makes. It is a conductor, but none of the poles."""


@dataclass(frozen=True, slots=True)
class Plug:
    """One kind of plug.

    `pairs` lists the poles that a standard puts on one pair. `twisted` says whether the usual cable for the
    plug twists those pairs. `colours` maps a colour scheme to the colour name of every pole; a scheme is how
    a plug was made up, so a colour is never printed without its scheme.
    """

    id: str
    poles: tuple[str, ...]
    source: Source
    pairs: tuple[Pair, ...] = ()
    twisted: bool = False
    colours: Mapping[str, Mapping[str, str]] = field(default_factory=dict, hash=False)
    pair_source: Source | None = None
    colour_source: Source | None = None
    may_have_shell: bool = False
    note: str = ""


class UnknownPlug(ValueError):
    """No plug has this name. `near` holds the nearest known names, best first; it may be empty."""

    def __init__(self, name: str, near: tuple[str, ...]) -> None:
        self.name = name
        self.near = near
        hint = f", nearest: {', '.join(near)}" if near else f", known: {', '.join(plug_families())}"
        super().__init__(f"no plug is called {name!r}{hint}")


class UnknownPole(ValueError):
    """The plug has no pole of this name."""

    def __init__(self, plug_id: str, pole: str, poles: tuple[str, ...]) -> None:
        self.plug_id = plug_id
        self.pole = pole
        self.poles = poles
        super().__init__(f"plug {plug_id} has no pole {pole!r}, its poles are {', '.join(poles)}")


class UnknownScheme(ValueError):
    """The plug has no colour scheme of this name."""

    def __init__(self, plug_id: str, scheme: str, schemes: tuple[str, ...]) -> None:
        self.plug_id = plug_id
        self.scheme = scheme
        self.schemes = schemes
        known = ", ".join(schemes) if schemes else "none"
        super().__init__(f"plug {plug_id} has no colour scheme {scheme!r}, its schemes: {known}")


def plug(name: str) -> Plug:
    """The plug of this name or usual other name (`8p8c`), letter case and repeated spaces aside.

    Raises `UnknownPlug` with the nearest known names.
    """
    wanted = " ".join(name.casefold().split())
    wanted = _OTHER_NAMES.get(wanted, wanted)
    try:
        return _PLUGS[wanted]
    except KeyError:
        near = get_close_matches(wanted, [*_PLUGS, *_OTHER_NAMES], n=3, cutoff=0.6)
        raise UnknownPlug(name, tuple(near)) from None


def known_plugs() -> tuple[str, ...]:
    """The id of every known plug, families written out (`terminal block 1`, `terminal block 2` ...)."""
    return tuple(_PLUGS)


def plug_families() -> tuple[str, ...]:
    """The known plugs in few words: `terminal block 1..24` stands for twenty-four ids."""
    fixed = tuple(one.id for one in (*_MODULAR_JACKS, _RING_LUG))
    return fixed + tuple(f"{name} {_span(counts)}" for name, counts, _shell in _FAMILIES)


def pair_of(kind: Plug, pole: str) -> Pair | None:
    """The pair that the pole belongs to, or None where the plug has no pair on it. Raises `UnknownPole`."""
    _known_pole(kind, pole)
    return next((pair for pair in kind.pairs if pole in pair), None)


def are_pair(kind: Plug, a: str, b: str) -> bool:
    """Whether two poles are the two ends of one pair, in either order. Raises `UnknownPole`."""
    _known_pole(kind, b)
    pair = pair_of(kind, a)
    return pair is not None and a != b and b in pair


def colour(kind: Plug, pole: str, scheme: str) -> str:
    """The colour name of the conductor on a pole, such as `white/brown`.

    Raises `UnknownPole` and `UnknownScheme`.
    """
    _known_pole(kind, pole)
    try:
        return kind.colours[scheme][pole]
    except KeyError:
        raise UnknownScheme(kind.id, scheme, tuple(kind.colours)) from None


def crossover_of(pin_map: Mapping[str, str]) -> str | None:
    """Which crossover lead, if any, this map of poles (near plug to far plug, `rj45`) is.

    A lead counts when both crossed pairs 1-2 and 3-6 are there and every other conductor lies as in that
    crossover; conductors that are left out or cut change nothing. None where it is something else.
    """
    lead = pin_map.items()
    crossed = _CROSSED_PAIRS.items()
    return next((name for name, full in CROSSOVERS.items() if crossed <= lead <= full.items()), None)


def is_crossover(pin_map: Mapping[str, str]) -> bool:
    """Whether this map of poles is a crossover lead of either kind."""
    return crossover_of(pin_map) is not None


def _known_pole(kind: Plug, pole: str) -> None:
    if pole not in kind.poles:
        raise UnknownPole(kind.id, pole, kind.poles)


def _poles(first: int, last: int) -> tuple[str, ...]:
    return tuple(str(number) for number in range(first, last + 1))


def _colours(first: int, names: str) -> Mapping[str, str]:
    listed = names.split(", ")
    return MappingProxyType(dict(zip(_poles(first, first + len(listed) - 1), listed, strict=True)))


def _span(counts: tuple[int, ...]) -> str:
    whole = counts == tuple(range(counts[0], counts[-1] + 1))
    return f"{counts[0]}..{counts[-1]}" if whole else "/".join(map(str, counts))


def _family(name: str, counts: tuple[int, ...], *, shell: bool) -> tuple[Plug, ...]:
    return tuple(Plug(f"{name} {count}", _poles(1, count), COMMON_PRACTICE, may_have_shell=shell) for count in counts)


# --- T568A and T568B ------------------------------------------------------------------------------
# TIA-568: the pairs lie on the same poles in both schemes, the colours of pairs 2 and 3 change places. V2.

_TIA_568 = Source("TIA-568", "T568A and T568B", Certainty.V2)

_RJ45 = Plug(
    id="rj45",
    poles=_poles(1, 8),
    source=_TIA_568,
    pairs=(("1", "2"), ("3", "6"), ("4", "5"), ("7", "8")),
    twisted=True,
    colours=MappingProxyType(
        {
            "T568A": _colours(1, "white/green, green, white/orange, blue, white/blue, orange, white/brown, brown"),
            "T568B": _colours(1, "white/orange, orange, white/green, blue, white/blue, green, white/brown, brown"),
        }
    ),
    pair_source=_TIA_568,
    colour_source=_TIA_568,
    may_have_shell=True,
)

# --- Six-position plugs, numbered by position (USOC) ----------------------------------------------
# Pairs work outwards from the middle. 3-4 and 2-5: 47 CFR 68.502, two copies agree, V2; 1-6: one copy, V1.
# Colours of the flat telephone cord: one copy, V1. Contacts and numbering by position: MEM. That flat cord is
# untwisted is from memory too, and on the safe side: nothing may rely on its pairs being twisted.

_USOC_COLOURS = "white, black, red, green, yellow, blue"
_USOC_COLOUR_SOURCE = Source("USOC telephone cord, old colours", "", Certainty.V1)

_RJ11 = Plug(
    id="rj11",
    poles=_poles(2, 5),
    source=Source("six-position plug with four contacts (6P4C), by position", "", Certainty.MEM),
    pairs=(("3", "4"), ("2", "5")),
    colours=MappingProxyType({"USOC": _colours(2, "black, red, green, yellow")}),
    pair_source=Source("USOC, 47 CFR 68.502 (1986)", "RJ14", Certainty.V2),
    colour_source=_USOC_COLOUR_SOURCE,
    note="Poles are positions 2 to 5 of six. A manual that counts contacts 1 to 4 is one lower on each.",
)

_RJ12 = Plug(
    id="rj12",
    poles=_poles(1, 6),
    source=Source("six-position plug with six contacts (6P6C), by position", "", Certainty.MEM),
    pairs=(("3", "4"), ("2", "5"), ("1", "6")),
    colours=MappingProxyType({"USOC": _colours(1, _USOC_COLOURS)}),
    pair_source=Source("USOC", "RJ25", Certainty.V1),
    colour_source=_USOC_COLOUR_SOURCE,
)

_MODULAR_JACKS = (_RJ45, _RJ11, _RJ12)
_OTHER_NAMES = {"8p8c": "rj45", "6p4c": "rj11", "6p6c": "rj12"}

# --- Plugs that say nothing but how many poles they have ------------------------------------------

_RING_LUG = Plug("ring lug", ("1",), COMMON_PRACTICE)

# name, pole counts, whether there can be a metal body
_FAMILIES: tuple[tuple[str, tuple[int, ...], bool], ...] = (
    ("terminal block", tuple(range(1, 25)), False),
    ("round", tuple(range(2, 25)), True),
    ("header", tuple(range(2, 25)), False),
    ("modular", (4, 6, 8, 10), True),
    ("d-sub", (9, 15, 25), True),
)

_PLUGS = MappingProxyType(
    {
        one.id: one
        for one in (
            *_MODULAR_JACKS,
            _RING_LUG,
            *(made for name, counts, shell in _FAMILIES for made in _family(name, counts, shell=shell)),
        )
    }
)

# --- Crossover leads ------------------------------------------------------------------------------
# A to B swaps pairs 2 and 3 (V2, follows from the two colour tables); gigabit also swaps the other two (V1).

_CROSSED_PAIRS: Mapping[str, str] = MappingProxyType({"1": "3", "2": "6", "3": "1", "6": "2"})

CROSSOVERS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "crossover": MappingProxyType({**_CROSSED_PAIRS, "4": "4", "5": "5", "7": "7", "8": "8"}),
        "gigabit crossover": MappingProxyType({**_CROSSED_PAIRS, "4": "7", "5": "8", "7": "4", "8": "5"}),
    }
)
"""Full pole maps of the two crossover leads, near plug to far plug. They are their own reverse."""

CROSSOVER_SOURCES: Mapping[str, Source] = MappingProxyType(
    {
        "crossover": Source("TIA-568", "T568A at one end, T568B at the other", Certainty.V2),
        "gigabit crossover": Source("IEEE 802.3", "crossover of all four pairs", Certainty.V1),
    }
)
