"""One switch row as a setting sheet shows it: where each slider lies, the same in words, and what it was."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from interop.documents.face import DeviceFace, FaceMismatch, RowFace
from interop.unchanging import unchanging

__all__ = ["RowInput", "row_input", "row_inputs"]

_HEX = tuple("0123456789ABCDEF")
_SIDE_WORDS = {"up": "up", "down": "down", "left": "to the left", "right": "to the right"}


@unchanging
class RowInput:
    """What the template draws. `set` and `was` go with `printed`, or hold one text for a rotary, hex or menu row.

    `was` is empty if nobody looked at any switch. `action` heads the row. `marks` stands under each switch: "move" if
    it was seen otherwise, "look" if others of its row were seen and it was not, "" if it stays.
    """

    name: str
    kind: str
    printed: tuple[str, ...]
    on_side: str
    upside_down: bool
    set: tuple[str, ...]
    was: tuple[str, ...]
    action: str
    marks: tuple[str, ...]
    words: str
    was_words: str
    how: tuple[str, ...]
    values: tuple[str, ...]


def _slide_words(printed: Iterable[str], setting: Iterable[str]) -> str:
    pairs = zip(printed, setting, strict=True)
    return ", ".join(f"{number} {state if state in ('on', 'off') else 'not looked at'}" for number, state in pairs)


def _words(face: RowFace, setting: tuple[str, ...]) -> str:
    if face.kind == "slide":
        return _slide_words(map(str, face.printed), setting)
    return f"shows {setting[0]}" if face.kind == "menu" else f"points to {setting[0]}"


def _unseen(state: str) -> bool:
    return state == "x"


def _action(setting: tuple[str, ...], was: tuple[str, ...], *, installed: bool) -> str:
    """What is to be done with a row. A switch that nobody saw is looked at; only one seen otherwise is changed."""
    if not was:
        return "look first, then set it" if installed else "set it"
    if was == setting:
        return "stays"
    known = [a != b for a, b in zip(setting, was, strict=True) if not _unseen(b)]
    return "change it" if any(known) else "look first, then set it"


def _marks(setting: tuple[str, ...], was: tuple[str, ...]) -> tuple[str, ...]:
    if not was:
        return ("",) * len(setting)
    return tuple("look" if _unseen(b) else "move" if a != b else "" for a, b in zip(setting, was, strict=True))


def _was_words(face: RowFace, setting: tuple[str, ...], was: tuple[str, ...], *, installed: bool) -> str:
    every = "set every switch as drawn." if face.kind == "slide" else "set it as drawn."
    if not was:
        return f"Nobody has looked how this row stands: look, then {every}" if installed else f"New pack: {every}"
    if was == setting:
        return "It should stand like this already: check it."
    words = f"Was: {_words(face, was)}."
    if face.kind == "slide" and any(map(_unseen, was)):
        unseen = (str(number) for number, state in zip(face.printed, was, strict=True) if _unseen(state))
        words += f" Nobody has looked at {', '.join(unseen)}: look, then set as drawn."
    return words


def _how(face: RowFace) -> tuple[str, ...]:
    lines = []
    if face.kind == "slide":
        lines.append(f"ON is {_SIDE_WORDS[face.on_side]}.")
        if face.on_side in ("left", "right") and len(face.printed) > 1:
            lines.append("The switches of this row lie one above the other.")
    if face.upside_down:
        lines.append("This row is mounted upside down: its own figures stand on their heads.")
    if face.takes_effect:
        lines.append(f"Takes effect: {face.takes_effect}.")
    return tuple(lines)


def _checked(device: str, face: RowFace, setting: Iterable[str]) -> tuple[str, ...]:
    """`setting` as seen, if it has the length of the row; a sheet must not be drawn from anything else."""
    states = tuple(setting)
    wanted = len(face.printed) if face.kind == "slide" else 1
    if len(states) != wanted:
        raise FaceMismatch(f"{device} row {face.name}: {len(states)} states for {wanted} switches")
    return states[::-1] if face.turned else states


def _set(device: str, face: RowFace, setting: Iterable[str]) -> tuple[str, ...]:
    states = _checked(device, face, setting)
    if face.kind == "slide" and not set(states) <= {"on", "off"}:
        raise FaceMismatch(f"{device} row {face.name}: a slide switch is set to {', '.join(states)}")
    marks = _values(face)
    if marks and states[0] not in marks:
        raise FaceMismatch(f"{device} row {face.name}: {states[0]} is not one of its marks {', '.join(marks)}")
    return states


def _values(face: RowFace) -> tuple[str, ...]:
    if face.kind == "hex" and not face.values:
        return _HEX
    return face.values if face.kind in ("rotary", "hex") else ()


def row_input(device: str, face: RowFace, entry: Mapping[str, Any], *, installed: bool) -> RowInput:
    """Row `face` of `device` with its plan entry (`set`, `was`); whether the device stands there already.

    Raises FaceMismatch if they do not fit.
    """
    setting = _set(device, face, entry["set"])
    was = () if entry["was"] is None else _checked(device, face, entry["was"])
    if all(map(_unseen, was)):
        was = ()
    return RowInput(
        name=face.name,
        kind=face.kind,
        printed=tuple(map(str, face.printed)),
        on_side=face.on_side,
        upside_down=face.upside_down,
        set=setting,
        was=was,
        action=_action(setting, was, installed=installed),
        marks=_marks(setting, was),
        words=_words(face, setting),
        was_words=_was_words(face, setting, was, installed=installed),
        how=_how(face),
        values=_values(face),
    )


def row_inputs(
    face: DeviceFace, switches: Mapping[str, Mapping[str, Any]], *, installed: bool
) -> tuple[RowInput, ...]:
    """Every row of the device `face` with the plan's `switches`, in the order of the face.

    Raises FaceMismatch if the plan sets a row that the face does not have, or leaves one of its rows out.
    """
    names = [row.name for row in face.rows]
    strange = sorted(set(switches) ^ set(names))
    if strange:
        raise FaceMismatch(f"{face.id}: switch row {strange[0]} is not in both the plan and the face")
    return tuple(row_input(face.id, row, switches[row.name], installed=installed) for row in face.rows)
