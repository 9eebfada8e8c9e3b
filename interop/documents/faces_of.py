"""Faces of a plan's devices and cables, filled from the records: how rows, sockets and plugs look."""

from __future__ import annotations

from itertools import product

from interop.choose.cables import Planned
from interop.choose.plan import Decisions, planned_stage, plug_socket
from interop.documents.face import CableFace, DeviceFace, Faces, PortFace, RowFace
from interop.documents.reasons import straight_gives, straight_words
from interop.documents.standing import removed_pins, standing
from interop.records.models import SwitchRow
from interop.records.pins import port_poles
from interop.records.switches import positions
from interop.site.site import Device
from interop.standards.plugs import SHELL
from interop.standards.sizes import Length, format_length
from interop.wiring.contacts import NotStated, Verdict, joining
from interop.wiring.stage import StageEnd

__all__ = ["faces_of"]


def faces_of(decisions: Decisions) -> Faces:
    """Return the faces of every device and cable of a plan."""
    site = decisions.site
    devices = {d.id: _device(decisions, d) for d in site.devices.values()}
    cables: dict[str, CableFace] = {}
    for cable in decisions.cables:
        length = _length_words(cable.length_m) if cable.length_m is not None else None
        stands = standing(decisions, cable)
        plugs = _plug(decisions, cable.a.device, cable.a.port), _plug(decisions, cable.b.device, cable.b.port)
        on_shell = [*(cable.joined or ()), *removed_pins(cable, stands)]
        cables[cable.id] = CableFace(
            *plugs,
            length,
            _if_straight(decisions, cable, plugs),
            stands is not None,
            stands.joined if stands is not None else None,
            stands.cut if stands is not None else (),
            (*_poles(decisions, cable.a), *([SHELL] if any(a == SHELL for a, _ in on_shell) else [])),
            (*_poles(decisions, cable.b), *([SHELL] if any(b == SHELL for _, b in on_shell) else [])),
            stands.old_plugs if stands is not None else ("", ""),
            (_letters(decisions, cable.a), _letters(decisions, cable.b)),
        )
    for removed in decisions.removed:
        a, b = removed.cable.a, removed.cable.b
        cables.setdefault(
            removed.cable.id, CableFace(_plug(decisions, a.device, a.port), _plug(decisions, b.device, b.port))
        )
    return Faces(devices, cables)


def _length_words(metres: float) -> str:
    """A length as written, in metres to the centimetre: a cable is not made finer. 6 ft are 1.83 m: both are said."""
    words = format_length(round(float(metres), 2) if metres >= 0.1 else float(metres))
    written = metres.text if isinstance(metres, Length) else ""
    return f"{written} ({words})" if written.endswith(("ft", "in")) else words


def _letters(decisions: Decisions, end: StageEnd) -> tuple[tuple[str, str], ...]:
    """What is printed beside the pins of a socket, by pin: makers use A and B either way round."""
    return tuple(decisions.site.devices[end.device].record.printed.get(end.port or "", {}).items())


def _if_straight(decisions: Decisions, cable: Planned, plugs: tuple[str, str]) -> str | None:
    """What a plain straight cable would do; None between plugs of two kinds, where there is none to be had."""
    if "not stated" not in plugs and plugs[0] != plugs[1]:
        return None
    return straight_words(cable) if cable.choice is not None else _stated_straight(decisions, cable)


def _plug(decisions: Decisions, device: str | None, port: str | None) -> str:
    if device is None or port is None:
        return "not stated"
    return decisions.site.devices[device].record.ports[port].plug.only or "not stated"


def _poles(decisions: Decisions, end: StageEnd) -> tuple[str, ...]:
    return port_poles(decisions.site.devices[end.device].record, end.port) if end.port is not None else ()


def _stated_straight(decisions: Decisions, cable: Planned) -> str | None:
    """What a plain straight cable would join in place of one that the site states and no choice was made for."""
    stage = planned_stage(decisions)
    ends = stage.socket(cable.a), stage.socket(cable.b)
    if ends[0] is None or ends[1] is None:
        return None
    causes: dict[str, list[str]] = {}
    for pin in cable.cut:
        pairs = product(*(sorted(end.face.contacts.get(pin, (NotStated(),)), key=repr) for end in ends if end))
        judged = (joining(one, other) for one, other in pairs)
        bad = next((one for one in judged if one.verdict is Verdict.FORBIDDEN), None)
        if bad is not None:
            causes.setdefault(bad.cause.value, []).append(pin)
    return straight_gives(causes)


def _device(decisions: Decisions, device: Device) -> DeviceFace:
    record = device.record
    rows = tuple(_row(name, row) for name, row in record.switches.items())
    ports = [
        PortFace(name, socket, port.plug.only, _with_ohms(decisions, device, _holds(decisions, device, socket)))
        for name, port in record.ports.items()
        for socket in port.sockets
    ]
    after = tuple(
        f"After {p.after}: {p.do}" if p.after else f"Before {p.before}: {p.do}"
        for p in record.procedures
        if p.after or p.before
    )
    return DeviceFace(
        device.id,
        record.name,
        device.place,
        device.rank if device.kind == "pack" else 10**6 + device.index,
        record.revision.only,
        rows,
        tuple(ports),
        _protection(device),
        after,
    )


_OPPOSITE = {"up": "down", "down": "up", "left": "right", "right": "left"}


def _row(name: str, row: SwitchRow) -> RowFace:
    """A row as seen: one mounted upside down is turned by half, so order and ON side are the other way round."""
    side = row.on_side.only or "up"  # not stated: the rule on-side-not-stated stops
    turned = row.mounted == "upside down"
    printed = tuple(row.printed or ())
    return RowFace(
        name,
        row.kind,  # type: ignore[arg-type]
        printed[::-1] if turned else printed,
        _OPPOSITE[side] if turned else side,  # type: ignore[arg-type]  # words of the record
        turned,
        turned,
        row.takes_effect.only,
        positions(row) if row.kind != "slide" else (),
    )


def _holds(decisions: Decisions, device: Device, socket: str) -> str | None:
    """A terminator plug where the plan asks for one: in the free socket of the bus."""
    for bus in device.record.buses:
        if decisions.terminators.get((device.id, bus)) and (
            device.record.buses[bus].termination.fitted.only == "by plug"
            and plug_socket(decisions.site, decisions.packs, decisions.cables, device.id, bus) == socket
        ):
            return "terminator plug"
    return None


def _with_ohms(decisions: Decisions, device: Device, holds: str | None) -> str | None:
    """A terminator plug with its resistance, where the record states it; not where two plugs of a device differ."""
    if holds != "terminator plug":
        return holds
    plugs = [
        bus.termination
        for name, bus in device.record.buses.items()
        if decisions.terminators.get((device.id, name)) and bus.termination.fitted.only == "by plug"
    ]
    ohms = {one.ohm.only for one in plugs}
    ohm = ohms.pop() if len(ohms) == 1 else None
    return f"{holds}, {ohm:g} ohm" if isinstance(ohm, int | float) else holds


def _protection(device: Device) -> tuple[str, ...]:
    built_in = device.record.electric.built_in_device
    if built_in is None or built_in.kind.only in (None, "none"):
        return ()
    rating = built_in.rating_a.only
    return (
        f"built-in {built_in.kind.only}"
        + (f", {rating:g} A" if isinstance(rating, float) else f", {rating} A" if rating is not None else ""),
    )
