"""What documents must know besides plan.json: how devices and cables look. Filled from records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from interop.unchanging import unchanging

__all__ = ["CableFace", "DeviceFace", "FaceMismatch", "Faces", "PortFace", "RowFace"]


class FaceMismatch(ValueError):
    """A plan and the faces given with it do not describe the same devices."""


@unchanging
class RowFace:
    """One switch row as it is seen with the device's label the right way up.

    `printed` are the switch numbers from left to right (from top to bottom if `on_side` is left or right), and
    `on_side` is the side to which a slider goes to be on: both as seen, also when `upside_down` says that the
    row's own figures stand on their heads there. `turned` says that the plan lists the switches the other way
    round: in the order printed, which is from right to left as seen. `values` are the marks of a rotary or hex
    switch, clockwise.
    """

    name: str
    kind: Literal["slide", "rotary", "hex", "menu"]
    printed: tuple[int, ...] = ()
    on_side: Literal["up", "down", "left", "right"] = "up"
    upside_down: bool = False
    turned: bool = False
    takes_effect: str | None = None
    values: tuple[str, ...] = ()


@unchanging
class PortFace:
    """One socket. What goes in comes from the plan's cables; `holds` names anything else, as a terminator plug."""

    port: str
    socket: str | None = None
    plug: str | None = None
    holds: str | None = None


@unchanging
class DeviceFace:
    """One device. `order` is its place in the walk along the racks; `after_change` are procedures to do then."""

    id: str
    record_name: str
    place: str | None = None
    order: int = 0
    revision: str | None = None
    rows: tuple[RowFace, ...] = ()
    ports: tuple[PortFace, ...] = ()
    protection: tuple[str, ...] = ()
    after_change: tuple[str, ...] = ()


@unchanging
class CableFace:
    """One cable: the plug kinds (`standards.plugs`) at its `from` and `to` end, its length as written. `poles_from` and
    `poles_to` are the pins of a plug that is none of those kinds, the shell among them where a conductor ends on it.

    `if_straight` says what happens when a plain straight cable is used in its place. `installed`: it stands there
    already; then `was` are its conductors now, contact at `from` with contact at `to` (None: nobody knows how it is
    made), and `was_cut` those of its conductors that are cut already. `old_plugs` are the plugs it has at `from` and
    `to` where they are to be replaced, else "". `letters`: what is printed beside the pins at each end, by pin.
    """

    plug_from: str
    plug_to: str
    length: str | None = None
    if_straight: str | None = None
    installed: bool = False
    was: tuple[tuple[str, str], ...] | None = None
    was_cut: tuple[str, ...] = ()
    poles_from: tuple[str, ...] = ()
    poles_to: tuple[str, ...] = ()
    old_plugs: tuple[str, str] = ("", "")
    letters: tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]] = ((), ())


@unchanging
class Faces:
    """All faces of one site, devices and cables by id."""

    devices: Mapping[str, DeviceFace]
    cables: Mapping[str, CableFace] = field(default_factory=dict)

    def device(self, device: str) -> DeviceFace:
        """The face of `device`. Raises FaceMismatch if there is none."""
        if device not in self.devices:
            raise FaceMismatch(f"{device}: the plan has this device, but its face is not given")
        return self.devices[device]

    def cable(self, cable: str) -> CableFace:
        """The face of `cable`. Raises FaceMismatch if there is none."""
        if cable not in self.cables:
            raise FaceMismatch(f"{cable}: the plan has this cable, but its face is not given")
        return self.cables[cable]
