"""What goes into each socket of a device, from the plan's cables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from interop.documents.entries import entry_words
from interop.documents.face import DeviceFace, FaceMismatch, PortFace
from interop.unchanging import unchanging
from interop.wiring.purposes import LINE

__all__ = ["CableEnd", "SocketInput", "cable_ends", "controller_lines", "controller_words", "end_words", "far_words",
           "removed_words", "socket_inputs", "stands_elsewhere"]

_LEAVE = "leave empty"


@unchanging
class SocketInput:
    """One line of the table: the socket, what goes in ("leave empty" if nothing), and whether that is nothing."""

    socket: str
    goes_in: str
    empty: bool


@unchanging
class CableEnd:
    """One end of a cable at a device, in the words of a sheet. ``stays``: it is there when the work is done."""

    cable: str
    end: tuple[str | None, str | None, str | None]
    words: str
    stays: bool


def end_words(end: Sequence[str | None]) -> str:
    """[DEVICE, PORT, SOCKET] of a plan in words; the port only where it says more than the socket."""
    device, port, socket = end
    return f"{device or 'the manager'} {socket or port or '(socket not written)'}"


def stands_elsewhere(old: Sequence[str | None], new: Sequence[str | None]) -> bool:
    """Whether a plug that moves is known to stand elsewhere: its socket, or at least another device."""
    return old[2] is not None or old[0] not in (None, new[0])


def _unit_words(plan: Mapping[str, Any], entry: Mapping[str, Any], end: Sequence[str | None]) -> str:
    """Which unit of a set of controllers takes the plug: "unit 1 of 3"; "" where there is one unit."""
    device = plan["devices"].get(end[0] or "")
    if device is None or device["kind"] == "pack" or device["units"] < 2 or entry["action"] == "remove":
        return ""
    lands = entry["lands_on"]
    return f"{lands} of {device['units']}" if lands else f"which of {device['units']} units: see its manual"


def far_words(plan: Mapping[str, Any], entry: Mapping[str, Any], end: Sequence[str | None]) -> str:
    """An end of a cable in words, with the unit where that matters."""
    unit = _unit_words(plan, entry, end)
    return end_words(end) + (f", {unit}" if unit else "")


def removed_words(pairs: Sequence[Sequence[str | None]]) -> str:
    """Conductors that must go, always with the pin at each end; "-" where the plug itself goes."""
    return ", ".join(f"{here or '-'} to {there or '-'}" for here, there in pairs)


def _here(plan: Mapping[str, Any], cable: str, entry: Mapping[str, Any], side: str) -> CableEnd:
    here, there = entry[side], entry["to" if side == "from" else "from"]
    if entry["action"] == "remove":
        return CableEnd(cable, tuple(here), f"take out cable {cable}", stays=False)
    was = next((old for old, new in entry["moved"] if new == here), None)
    now = f" (now in {end_words(was)})" if was is not None and stands_elsewhere(was, here) else ""
    label = f" (labelled {entry['installed_as']} today)" if entry["installed_as"] is not None else ""
    special = "".join(f"; {words}" for words in entry["special"])
    words = f"cable {cable}{label}{now}, other end to {far_words(plan, entry, there)}{special}"
    return CableEnd(cable, tuple(here), words, stays=True)


def cable_ends(plan: Mapping[str, Any]) -> dict[str, list[CableEnd]]:
    """By device: every end of a cable that lands on it, or is there now and goes elsewhere, in the plan's order."""
    ends: dict[str, list[CableEnd]] = {}
    for cable, entry in plan["cables"].items():
        found = [_here(plan, cable, entry, side) for side in ("from", "to")]
        for old, new in entry["moved"]:
            if stands_elsewhere(old, new):
                side = "from" if new == entry["from"] else "to"
                what = "with a new plug this end" if side in entry["new_plugs"] else "this plug"
                words = f"take out cable {cable}: {what} goes to {end_words(new)}"
                found.append(CableEnd(cable, tuple(old), words, stays=False))
        for one in found:
            if one.end[0] is not None:
                ends.setdefault(one.end[0], []).append(one)
    return ends


def controller_words(plan: Mapping[str, Any], entry: Mapping[str, Any]) -> tuple[str, ...]:
    """What else to do at the controller where a cable ends: into which of its units the plug goes, what to enter there.

    Empty for a cable between packs, and for one that is taken out. Nothing is entered for a stop line.
    """
    if entry["action"] == "remove":
        return ()
    lines = []
    for end in (entry["from"], entry["to"]):
        device = plan["devices"].get(end[0] or "")
        if device is None or device["kind"] == "pack":
            continue
        if device["units"] > 1 and (entry["lands_on"] is not None or entry["carries"] != LINE):
            lines.append(f"Plug into {far_words(plan, entry, end)}; into no other unit.")
        entry_line = entry_words(end[0], plan["settings"].get(end[0], {}))
        if entry_line is not None and entry["carries"] != LINE:
            lines.append(entry_line)
    return tuple(lines)


def controller_lines(plan: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """By pack: what to do at the controllers that its cables go to, cable by cable."""
    found: dict[str, tuple[str, ...]] = {}
    for cable, entry in plan["cables"].items():
        words = controller_words(plan, entry)
        for end in (entry["from"][0], entry["to"][0]) if words else ():
            found[end] = (*found.get(end, ()), f"Cable {cable}: {' '.join(words)}")
    return found


def _lands(face: PortFace, end: Sequence[str | None]) -> bool:
    _device, port, socket = end
    return port == face.port and (socket or port) == (face.socket or face.port)


def _content(face: PortFace, ends: Sequence[CableEnd]) -> SocketInput:
    label = face.socket or face.port
    here = [end for end in ends if _lands(face, end.end)]
    stays = [end.words for end in here if end.stays]
    goes = [end.words for end in here if not end.stays]
    if face.holds:
        stays.append(face.holds)
    last = [f"then {words}" if goes and i == 0 else words for i, words in enumerate(stays or [_LEAVE])]
    return SocketInput(label, "; ".join([*goes, *last]), empty=not stays)


def socket_inputs(face: DeviceFace, ends: Sequence[CableEnd]) -> tuple[SocketInput, ...]:
    """Every socket of `face` and what goes in, given that device's `cable_ends`; last what goes out of a socket that
    nobody wrote down.

    Raises FaceMismatch if a cable lands on a socket that the face does not have.
    """
    lost = []
    for one in ends:
        if any(_lands(port, one.end) for port in face.ports):
            continue
        if one.stays or one.end[2] is not None:
            raise FaceMismatch(f"cable {one.cable} ends at {end_words(one.end)}, a socket that the face does not have")
        lost.append(SocketInput("not written: look", one.words, empty=False))
    return (*(_content(port, ends) for port in face.ports), *lost)
