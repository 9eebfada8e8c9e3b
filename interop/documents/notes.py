"""Cable notes: one page tied to each cable that is made or altered, a few lines for the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from interop.documents.canonical import grouped
from interop.documents.conductors import ConductorInput, conductor_inputs, contacts, pin_map
from interop.documents.face import CableFace, Faces
from interop.documents.lettering import fit
from interop.documents.plaintext import shortened, visible
from interop.documents.press import pdf
from interop.documents.settle import refuse_uncleared, settle_words
from interop.documents.sockets import end_words
from interop.standards.cautions import cautions_for
from interop.standards.plugs import plug

__all__ = ["EndInput", "NoteInput", "cable_notes", "note_inputs"]

_HINTS = {
    "rj": "Contacts towards you, latch on the far side, cable hanging down.",
    "modular": "Contacts towards you, latch on the far side, cable hanging down.",
    "terminal": "In the order of their numbers; find each number on the device.",
}
_SCHEMATIC = "In the order of their numbers, not in their true places; find each number on the plug."


@dataclass(frozen=True)
class EndInput:
    """One end of a cable: where it goes, its plug, how to hold it, each contact with "keep", "cut" or "empty"."""

    goes_to: str
    place: str
    plug: str
    latch: bool
    hint: str
    contacts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class NoteInput:
    """Everything one note says. `beeps` has, for each contact of end 1 (rows) and end 2 (columns), the reading."""

    id: str
    foot_id: str
    id_size: float
    action: str
    kind_words: str
    ends: tuple[EndInput, EndInput]
    schemes: tuple[str, ...]
    conductors: tuple[ConductorInput, ...]
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    beeps: tuple[tuple[bool, ...], ...]
    in_words: str
    reasons: tuple[str, ...]
    if_straight: str
    settle: tuple[str, ...]
    settle_more: int


def _hint(kind: str) -> str:
    return next((hint for start, hint in _HINTS.items() if kind.startswith(start)), _SCHEMATIC)


def _end(faces: Faces, end: Sequence[Any], kind: str, states: Mapping[str, str]) -> EndInput:
    hint = _hint(plug(kind).id)
    listed = tuple((pin, states.get(pin, "empty")) for pin in contacts(kind))
    place = faces.device(end[0]).place or ""
    return EndInput(end_words(end), place, kind, hint.startswith("Contacts"), hint, listed)


def _kind_words(entry: Mapping[str, Any], face: CableFace) -> str:
    cut = len(entry["cut"])
    words = "straight" if entry["kind"] == "straight" else "re-pinned: NOT a straight cable"
    if cut:
        words += f", {cut} conductor{'s' if cut > 1 else ''} cut at both ends"
    return words + (f", {face.length}" if face.length else "")


def _in_words(joined: Mapping[str, str]) -> str:
    """What must beep, in words; everything else must not."""
    if not joined:
        return "nothing"
    return ", ".join(f"{here} to {there}" for here, there in joined.items())


def _note(plan: Mapping[str, Any], cable: str, face: CableFace, faces: Faces) -> NoteInput:
    entry = plan["cables"][cable]
    joined = pin_map(cable, entry, face)
    here = dict.fromkeys(joined, "keep") | dict.fromkeys(entry["cut"], "cut")
    there = dict.fromkeys(joined.values(), "keep") | dict.fromkeys(entry["cut"], "cut")
    rows, columns = contacts(face.plug_from), contacts(face.plug_to)
    schemes, conductors = conductor_inputs(entry, face)
    settle, settle_more = settle_words(plan, cable)
    return NoteInput(
        id=cable,
        foot_id=shortened(cable, 70, 9, "bold"),
        id_size=fit(visible(cable), 220, 54, 12),
        action=entry["action"],
        kind_words=_kind_words(entry, face),
        ends=(
            _end(faces, entry["from"], face.plug_from, here),
            _end(faces, entry["to"], face.plug_to, there),
        ),
        schemes=schemes,
        conductors=conductors,
        rows=rows,
        columns=columns,
        beeps=tuple(tuple(joined.get(row) == column for column in columns) for row in rows),
        in_words=_in_words(joined),
        reasons=tuple(reason["text"] for reason in plan["reasons"] if cable in reason["about"]),
        if_straight=face.if_straight or "",
        settle=settle,
        settle_more=settle_more,
    )


def note_inputs(plan: Mapping[str, Any], faces: Faces) -> tuple[NoteInput, ...]:
    """One NoteInput per cable of `plan` (plan.json contract), in the plan's order.

    Raises FaceMismatch if plan and faces do not fit, standards.plugs.UnknownPlug for a plug nobody knows.
    """
    return tuple(_note(plan, cable, faces.cable(cable), faces) for cable in plan["cables"])


def cable_notes(plan: Mapping[str, Any], faces: Faces) -> bytes:
    """The cable notes as one PDF: cables to make or alter, then those that stay, then those to take out.

    Raises as `note_inputs`, and settle.NotCleared if no note may be issued for this plan.
    """
    refuse_uncleared(plan)
    notes = [asdict(note) for note in note_inputs(plan, faces)]
    data = {
        "title": f"Cable notes: {plan['site']['name']}",
        "foot": shortened(f"Cable notes: {plan['site']['name']}", 195, 9),
        "fingerprint": grouped(plan["fingerprint"]),
        "draft": plan["draft"],
        "date": plan["date"],
        "joining": plan["cleared"]["joining"],
        "cautions": [caution.text for caution in cautions_for("note")],
        "work": [note for note in notes if note["action"] in ("make", "alter")],
        "stay": [note for note in notes if note["action"] == "keep"],
        "out": [note for note in notes if note["action"] == "remove"],
    }
    return pdf("note.typ", data)
