"""Cable notes: one page tied to each cable that is made or altered, a few lines for the others."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Literal

from interop.documents.canonical import grouped
from interop.documents.conductors import ConductorInput, conductor_inputs, contacts, end_plugs, pin_map
from interop.documents.face import CableFace, Faces
from interop.documents.lettering import fit
from interop.documents.plaintext import shortened, visible
from interop.documents.press import pdf
from interop.documents.settle import refuse_uncleared, settle_words
from interop.documents.sockets import controller_words, end_words, far_words, stands_elsewhere
from interop.rules.wording import named
from interop.standards.cautions import cautions_for
from interop.unchanging import unchanging

__all__ = ["EndInput", "NoteInput", "cable_notes", "note_inputs"]

_HINTS = {
    "rj": "Contacts towards you, latch on the far side, cable hanging down.",
    "modular": "Contacts towards you, latch on the far side, cable hanging down.",
    "terminal": "In the order of their numbers; find each number on the device.",
}
_SCHEMATIC = "In the order of their numbers, not in their true places; find each number on the plug."


@unchanging
class EndInput:
    """One end of a cable: where it goes, its plug, how to hold it, and each contact with what is done there: "keep",
    "cut", "remove", "exchange" (a conductor goes and another one comes) or "empty".
    """

    goes_to: str
    place: str
    plug: str
    latch: bool
    hint: str
    contacts: tuple[tuple[str, str], ...]


@unchanging
class NoteInput:
    """Everything one note says. `beeps` has, for each contact of end 1 (rows) and end 2 (columns), the reading.

    `work` is what to do with the cable, `moves` which plug goes where, `controller` what else to do there,
    `special` the cable that a record asks for in its place, `sockets` what becomes of the sockets of a cable that is
    taken out, `letters` what is printed beside the pins in use.
    """

    id: str
    foot_id: str
    id_size: float
    action: str
    work: str
    kind_words: str
    moves: tuple[str, ...]
    controller: str
    special: str
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
    sockets: str
    letters: str = ""


def _hint(kind: str) -> str:
    return next((hint for start, hint in _HINTS.items() if kind.startswith(start)), _SCHEMATIC)


def _end(
    plan: Mapping[str, Any], faces: Faces, cable: str, side: Literal["from", "to"], states: Mapping[str, str]
) -> EndInput:
    entry, face = plan["cables"][cable], faces.cable(cable)
    end, kind = entry[side], face.plug_from if side == "from" else face.plug_to
    place = (faces.device(end[0]).place or "") if end[0] is not None else ""
    if entry["action"] == "remove":
        return EndInput(far_words(plan, entry, end), place, kind, False, "", ())
    known = end_plugs(face)[0 if side == "from" else 1]
    hint = _hint(known.id)
    listed = tuple((pin, states.get(pin, "empty")) for pin in contacts(known))
    return EndInput(far_words(plan, entry, end), place, kind, hint.startswith("Contacts"), hint, listed)


def _kind_words(entry: Mapping[str, Any], face: CableFace) -> str:
    cut = len(entry["cut"])
    words = "straight" if entry["kind"] == "straight" else "re-pinned: NOT a straight cable"
    if entry["kind"] == "straight" and _lacks(entry, face):
        words += f", only conductors {', '.join(here for here, _ in entry['joined'])}"
    if cut:
        words += f", {cut} conductor{'s' if cut > 1 else ''} cut at both ends"
    if entry["remove"]:
        words += f"; {len(entry['remove'])} conductor{'s' if len(entry['remove']) > 1 else ''} to remove"
    label = f". It is labelled {entry['installed_as']} today" if entry["installed_as"] is not None else ""
    return words + (f", {face.length}" if face.length else "") + label + _changes(entry, face)


def _lacks(entry: Mapping[str, Any], face: CableFace) -> bool:
    """Whether a straight cable has fewer conductors than its plugs have poles in common."""
    if not entry["joined"]:
        return False
    ends = end_plugs(face)
    return not set(ends[0].poles) & set(ends[1].poles) <= {here for here, _ in entry["joined"]} | set(entry["cut"])


def _changes(entry: Mapping[str, Any], face: CableFace) -> str:
    """What an installed cable that is altered or moved must become, against what it is."""
    if not face.installed or entry["action"] != "alter":
        return ""
    if face.was is None:
        return ". How it is made now is not known: meter it first, and remove every conductor that is not listed"
    if entry["new_plugs"]:
        old = [f"{plug} of end {number}" for number, plug in enumerate(face.old_plugs, 1) if plug]
        head = "Plugs that do not fit" if len(old) > 1 else "Plug that does not fit"
        return f". {head}: {named(old)}. Put on another and join every conductor anew, or make a new cable"
    if "alter" not in entry["work"]:
        return ". No conductor changes"
    added = [pair for pair in entry["joined"] if tuple(pair) not in face.was]
    return f". It lacks {len(added)} of its conductors: new plugs, or a new cable" if added else ""


def _moves(plan: Mapping[str, Any], faces: Faces, cable: str) -> tuple[str, ...]:
    """Which plug goes from which socket to which, and which stays."""
    entry = plan["cables"][cable]
    moved = entry["moved"]
    lines = []
    for number, side in enumerate(("from", "to"), 1):
        new = entry[side]
        old = next((old for old, goal in moved if goal == new), None)
        if old is None:
            lines.append(f"End {number} stays in {far_words(plan, entry, new)}.")
        elif not stands_elsewhere(old, new):
            lines.append(f"End {number} belongs in {far_words(plan, entry, new)}; look where it is now.")
        elif side in entry["new_plugs"]:
            kind = faces.cable(cable).plug_from if side == "from" else faces.cable(cable).plug_to
            lines.append(f"Take end {number} out of {_placed(faces, old, end_words(old))}; with a new plug {kind} it "
                         f"goes to {_placed(faces, new, far_words(plan, entry, new))}.")
        else:
            lines.append(f"Move the plug of end {number} from {_placed(faces, old, end_words(old))} "
                         f"to {_placed(faces, new, far_words(plan, entry, new))}.")
    return tuple(lines) if moved else ()


def _placed(faces: Faces, end: Sequence[Any], words: str) -> str:
    place = faces.device(end[0]).place if end[0] is not None else None
    return f"{words} ({place})" if place else words


def _in_words(joined: Mapping[str, str]) -> str:
    """What must beep, in words; everything else must not."""
    if not joined:
        return "nothing"
    return ", ".join(f"{here} to {there}" for here, there in joined.items())


def _states(joined: Iterable[str], cut: Iterable[str], removed: Iterable[str | None]) -> dict[str, str]:
    """What happens at the contacts of one plug that have a conductor or had one."""
    found = dict.fromkeys(joined, "keep") | dict.fromkeys(cut, "cut")
    gone = {pin for pin in removed if pin is not None}
    return found | {pin: "exchange" if found.get(pin) == "keep" else "remove" for pin in gone}


def _letters(joined: Mapping[str, str], face: CableFace) -> str:
    """The letters printed beside the pins that a conductor ends on; "" where there are none."""
    told = []
    for number, (used, letters) in enumerate(zip((set(joined), set(joined.values())), face.letters, strict=True), 1):
        words = [f"{pin} {letter}" for pin, letter in letters if pin in used]
        told += [f"end {number}: {', '.join(words)}"] if words else []
    if not told:
        return ""
    return f"Printed beside the pins: {'; '.join(told)}. Join by number, never by letter."


def _out_words(plan: Mapping[str, Any], entry: Mapping[str, Any]) -> str:
    """What becomes of the sockets of a cable that is taken out; only packs have setting sheets."""
    ends = dict.fromkeys(end[0] for end in (entry["from"], entry["to"]) if end[0] is not None)
    bare = [end for end in ends if end not in plan["packs"]]
    if not bare:
        return "Both sockets as on the setting sheets."
    packs = [end for end in ends if end in plan["packs"]]
    first = f"The socket of {packs[0]} as on its setting sheet. " if packs else ""
    return f"{first}No setting sheet for {named(bare)}: only cables that these notes name go in there."


def _note(plan: Mapping[str, Any], cable: str, face: CableFace, faces: Faces) -> NoteInput:
    entry = plan["cables"][cable]
    joined = pin_map(cable, entry, face)
    here = _states(joined, entry["cut"], [pair[0] for pair in entry["remove"]])
    there = _states(joined.values(), entry["cut"], [pair[1] for pair in entry["remove"]])
    goes = entry["action"] == "remove"  # whatever its plugs are: nobody looked, and nobody need know
    rows, columns = ((), ()) if goes else tuple(map(contacts, end_plugs(face)))
    schemes, conductors = ((), ()) if goes else conductor_inputs(entry, face)
    settle, settle_more = settle_words(plan, cable)
    return NoteInput(
        id=cable,
        foot_id=shortened(cable, 70, 9, "bold"),
        id_size=fit(visible(cable), 220, 54, 12),
        action=entry["action"],
        work=entry["work"],
        kind_words=_kind_words(entry, face),
        moves=_moves(plan, faces, cable),
        controller=" ".join(controller_words(plan, entry)),
        special="".join(f"{words}. " for words in entry["special"]).strip(),
        ends=(
            _end(plan, faces, cable, "from", here),
            _end(plan, faces, cable, "to", there),
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
        sockets=_out_words(plan, entry) if goes else "",
        letters=_letters(joined, face),
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
