"""The conductors of one cable, pin by pin, checked: a note must not be drawn from a pin map that cannot be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from interop.documents.face import CableFace, FaceMismatch
from interop.standards.plugs import SHELL, Plug, pair_of, plug

__all__ = ["ConductorInput", "conductor_inputs", "contacts", "pin_map"]


@dataclass(frozen=True)
class ConductorInput:
    """One line of the table: pin at end 1, pin at end 2 ("" if cut), a colour by scheme, the pair, what to do."""

    here: str
    there: str
    colours: tuple[str, ...]
    pair: str
    keep: bool


def contacts(kind: str) -> tuple[str, ...]:
    """Every contact of the plug `kind`, its metal shell last if it may have one. Raises UnknownPlug."""
    known = plug(kind)
    return known.poles + ((SHELL,) if known.may_have_shell else ())


def _once(cable: str, end: str, pins: list[str], kind: str) -> None:
    for pin in pins:
        if pin not in contacts(kind):
            raise FaceMismatch(f"cable {cable}: its {end} plug {kind} has no contact {pin}")
        if pins.count(pin) > 1:
            raise FaceMismatch(f"cable {cable}: contact {pin} of its {end} plug has two conductors")


def pin_map(cable: str, entry: Mapping[str, Any], face: CableFace) -> dict[str, str]:
    """The kept conductors of the plan entry of `cable`: contact at `from` -> contact at `to`.

    Raises FaceMismatch if a plug has no such contact, a contact has two conductors, or one is kept and cut.
    """
    _once(cable, "from", [pair[0] for pair in entry["joined"]] + list(entry["cut"]), face.plug_from)
    _once(cable, "to", [pair[1] for pair in entry["joined"]] + list(entry["cut"]), face.plug_to)
    return dict(entry["joined"])


def _pair_words(kind: Plug, pin: str) -> str:
    pair = pair_of(kind, pin) if pin in kind.poles else None
    return "-".join(pair) if pair else "none"


def _colours(kind: Plug, pin: str) -> tuple[str, ...]:
    return tuple(names.get(pin, "shield") for names in kind.colours.values())


def conductor_inputs(entry: Mapping[str, Any], face: CableFace) -> tuple[tuple[str, ...], tuple[ConductorInput, ...]]:
    """The colour schemes and the conductors of a cable, kept and cut, in the order of the contacts at end 1.

    Colours and pairs are those of end 1, or of end 2 if only its plug has a colour scheme.
    """
    joined = dict(entry["joined"])
    ends = plug(face.plug_from), plug(face.plug_to)
    by_first = bool(ends[0].colours) or not ends[1].colours
    named = ends[0] if by_first else ends[1]
    lines = []
    for pin in contacts(face.plug_from):
        if pin in joined or pin in entry["cut"]:
            there = joined.get(pin, "")
            known = pin if by_first else there
            lines.append(ConductorInput(pin, there, _colours(named, known), _pair_words(named, known), pin in joined))
    return tuple(named.colours), tuple(lines)
