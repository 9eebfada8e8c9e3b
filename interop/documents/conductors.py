"""The conductors of one cable, pin by pin, checked: a note must not be drawn from a pin map that cannot be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from interop.documents.face import CableFace, FaceMismatch
from interop.standards.plugs import SHELL, Plug, UnknownPlug, pair_of, plug
from interop.standards.sources import COMMON_PRACTICE
from interop.unchanging import unchanging

__all__ = ["ConductorInput", "conductor_inputs", "contacts", "end_plugs", "pin_map"]


@unchanging
class ConductorInput:
    """One line of the table: pin at end 1, pin at end 2 ("" if cut), a colour by scheme, the pair, what to do.

    `do` is "keep", "cut", "is cut" (an installed cable has it cut already), "add" (an installed cable lacks it) or
    "remove" (an installed cable has it and must not; a pin is "" where the plug itself goes).
    """

    here: str
    there: str
    colours: tuple[str, ...]
    pair: str
    do: str


def end_plugs(face: CableFace) -> tuple[Plug, Plug]:
    """The plugs at `from` and `to`; one that no standard names has the pins of its record, in their order. A plug has a
    shell where it usually may, and where a conductor ends on one.

    Raises UnknownPlug if nobody says what pins it has.
    """
    ends = (face.plug_from, face.poles_from), (face.plug_to, face.poles_to)
    return _plug(*ends[0]), _plug(*ends[1])


def _plug(kind: str, poles: tuple[str, ...]) -> Plug:
    try:
        known = plug(kind)
    except UnknownPlug:
        if not poles:
            raise
        known = Plug(kind, tuple(pin for pin in poles if pin != SHELL), COMMON_PRACTICE)
    return replace(known, may_have_shell=True) if SHELL in poles else known


def contacts(kind: Plug) -> tuple[str, ...]:
    """Every contact of a plug, its metal shell last if it may have one."""
    return kind.poles + ((SHELL,) if kind.may_have_shell else ())


def _once(cable: str, end: str, pins: list[str], kind: Plug) -> None:
    for pin in pins:
        if pin not in contacts(kind):
            raise FaceMismatch(f"cable {cable}: its {end} plug {kind.id} has no contact {pin}")
        if pins.count(pin) > 1:
            raise FaceMismatch(f"cable {cable}: contact {pin} of its {end} plug has two conductors")


def pin_map(cable: str, entry: Mapping[str, Any], face: CableFace) -> dict[str, str]:
    """The kept conductors of the plan entry of `cable`: contact at `from` -> contact at `to`.

    Raises FaceMismatch if a plug has no such contact, a contact has two conductors, or one is kept and cut or removed.
    """
    if entry["joined"] or entry["cut"] or entry["remove"]:
        ends = end_plugs(face)
        for here, there in entry["remove"]:
            for pin, end, kind in ((here, "from", ends[0]), (there, "to", ends[1])):
                _once(cable, end, [pin] if pin is not None else [], kind)
            if [here, there] in entry["joined"] or (here == there and here in entry["cut"]):
                raise FaceMismatch(f"cable {cable}: its conductor {here} to {there} stays or is cut, and is removed")
        _once(cable, "from", [pair[0] for pair in entry["joined"]] + list(entry["cut"]), ends[0])
        _once(cable, "to", [pair[1] for pair in entry["joined"]] + list(entry["cut"]), ends[1])
    return dict(entry["joined"])


def _pair_words(kind: Plug, pin: str) -> str:
    pair = pair_of(kind, pin) if pin in kind.poles else None
    return "-".join(pair) if pair else "none"


def _colours(kind: Plug, pin: str) -> tuple[str, ...]:
    return tuple(names.get(pin, "shield") if pin else "-" for names in kind.colours.values())


def _do(face: CableFace, here: str, there: str) -> str:
    """What to do with one conductor; of a cable that nobody looked at, as with a new one."""
    if not there:
        return "is cut" if face.installed and here in face.was_cut else "cut"
    return "add" if face.was is not None and (here, there) not in face.was else "keep"


def conductor_inputs(entry: Mapping[str, Any], face: CableFace) -> tuple[tuple[str, ...], tuple[ConductorInput, ...]]:
    """The colour schemes and the conductors of a cable, kept, cut and removed, in the order of the contacts at end 1;
    at one contact what is removed comes first, and what hangs on end 2 only comes last.

    Colours and pairs are those of end 1, or of end 2 if only its plug has a colour scheme.
    """
    joined = dict(entry["joined"])
    ends = end_plugs(face)
    by_first = bool(ends[0].colours) or not ends[1].colours
    named = ends[0] if by_first else ends[1]
    found: list[tuple[str, str, str]] = []
    for pin in (*contacts(ends[0]), None):
        found += [(pin or "", there or "", "remove") for here, there in entry["remove"] if here == pin]
        if pin is not None and (pin in joined or pin in entry["cut"]):
            found.append((pin, joined.get(pin, ""), _do(face, pin, joined.get(pin, ""))))
    lines = []
    for here, there, do in found:
        known = here if by_first else there
        lines.append(ConductorInput(here, there, _colours(named, known), _pair_words(named, known), do))
    return tuple(named.colours), tuple(lines)
