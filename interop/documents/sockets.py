"""What goes into each socket of a device, from the plan's cables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from interop.documents.face import DeviceFace, FaceMismatch, PortFace

__all__ = ["SocketInput", "cable_ends", "end_words", "socket_inputs"]

_LEAVE = "leave empty"


@dataclass(frozen=True)
class SocketInput:
    """One line of the table: the socket, what goes in ("leave empty" if nothing), and whether that is nothing."""

    socket: str
    goes_in: str
    empty: bool


def end_words(end: Sequence[str | None]) -> str:
    """[DEVICE, PORT, SOCKET or null] of a plan in words; the port only where it says more than the socket."""
    device, port, socket = end
    return f"{device} {socket or port}"


def cable_ends(plan: Mapping[str, Any]) -> dict[str, list[tuple[str, str, Sequence[Any], Sequence[Any]]]]:
    """By device: (cable, action, this end, other end) of every cable that lands on it, in the plan's order."""
    ends: dict[str, list[tuple[str, str, Sequence[Any], Sequence[Any]]]] = {}
    for cable, entry in plan["cables"].items():
        for here, there in ((entry["from"], entry["to"]), (entry["to"], entry["from"])):
            ends.setdefault(here[0], []).append((cable, entry["action"], here, there))
    return ends


def _lands(face: PortFace, end: Sequence[str | None]) -> bool:
    _device, port, socket = end
    return port == face.port and (socket or port) == (face.socket or face.port)


def _content(face: PortFace, ends: Sequence[tuple[str, str, Sequence[Any], Sequence[Any]]]) -> SocketInput:
    label = face.socket or face.port
    here = [end for end in ends if _lands(face, end[2])]
    stays = [f"cable {cable}, other end to {end_words(there)}" for cable, act, _, there in here if act != "remove"]
    goes = [f"take out cable {cable}" for cable, action, _, _ in here if action == "remove"]
    if face.holds:
        stays.append(face.holds)
    return SocketInput(label, "; ".join([*(stays or [_LEAVE]), *goes]), empty=not stays)


def socket_inputs(
    face: DeviceFace, ends: Sequence[tuple[str, str, Sequence[Any], Sequence[Any]]]
) -> tuple[SocketInput, ...]:
    """Every socket of `face` and what goes in, given that device's `cable_ends`.

    Raises FaceMismatch if a cable lands on a socket that the face does not have.
    """
    for cable, _action, here, _there in ends:
        if not any(_lands(port, here) for port in face.ports):
            raise FaceMismatch(f"cable {cable} ends at {end_words(here)}, a socket that the face does not have")
    return tuple(_content(port, ends) for port in face.ports)
