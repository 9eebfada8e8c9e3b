"""Cables of a plan that belong to no route: wanted ones judged as written, and stop lines on plugs of their own.

A cable that joins two ports by a line alone is no hop of a chain and nothing that a route has a use for. It stays: the
plan must not take a stop apart.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from interop.choose.conductors import ConductorChoice, choose_conductors
from interop.choose.making import alike_blank, as_written, known_pins, with_choice
from interop.choose.members import PackChoice
from interop.choose.naming import Planned
from interop.records.pins import port_poles
from interop.site.site import Cable, End, Site
from interop.wiring.contacts import CableSlot, Cause, Chain, Face, Socket, Unused, net_faults
from interop.wiring.faces import socket_face
from interop.wiring.purposes import LINE, line_only
from interop.wiring.stage import StageEnd, stage_end

__all__ = ["is_line", "line_cables", "wanted_others"]


def _face(site: Site, packs: Mapping[str, PackChoice], end: StageEnd) -> Face | None:
    """What the socket at an end shows; each bus by its own name, since no bus is asked for here."""
    record = site.devices[end.device].record
    if end.port is None or end.port not in record.ports:
        return None
    mode = packs[end.device].mode if end.device in packs else None
    socket = end.socket or record.ports[end.port].sockets[0]
    return socket_face(record, end.port, socket, mode, lambda bus: f"{end.device} {bus}")


def is_line(site: Site, packs: Mapping[str, PackChoice], a: End | StageEnd, b: End | StageEnd) -> bool:
    """Whether a cable between two ends joins them by a line alone."""
    if a.device is None or b.device is None:
        return False
    one, other = (_face(site, packs, StageEnd(str(end.device), end.port, end.socket)) for end in (a, b))
    return one is not None and other is not None and line_only(one, other)


def wanted_others(
    site: Site, packs: Mapping[str, PackChoice], left: Collection[str], managers: Mapping[str, str | None]
) -> tuple[Planned, ...]:
    """Return the wanted cables of these ids as the site writes them; a line alone is chosen where it is left to the
    plan. ``managers``: the manager of each link.
    """
    found = []
    for cable in site.cables:
        a, b = stage_end(site, cable.a, managers), stage_end(site, cable.b, managers)
        if cable.id not in left or a is None or b is None:
            continue
        line = is_line(site, packs, a, b)
        planned = Planned(cable.id, a, b, None, "straight", (), LINE if line else "", cable.length_m, cable.at,
                          wanted=cable)  # fmt: skip
        pins = known_pins(site, cable, a, b)
        if pins is not None or not line:
            found.append(_written(site, planned, pins))
        else:
            chosen = _chosen(site, packs, planned)
            found.append(chosen or replace(planned, why_not="no line of its two ends may be joined"))
    return tuple(found)


def _written(site: Site, cable: Planned, pins: Sequence[tuple[str, str]] | None) -> Planned:
    if pins is None:
        return replace(cable, why_not="its two ports belong to no link together, and share no line")
    ends = [port_poles(site.devices[e.device].record, e.port) if e.port else () for e in (cable.a, cable.b)]
    return as_written(cable, tuple(pins), (ends[0], ends[1]))


def line_cables(
    site: Site, packs: Mapping[str, PackChoice], leads: Sequence[Cable], used: Collection[tuple[str, str | None]]
) -> Iterator[Planned]:
    """Yield the installed cables that carry a line alone and stay: as they are, or altered where they do harm. One
    that only does harm goes; one that nobody has looked at stays, and is judged for that.

    ``used``: sockets that the other cables of the plan need.
    """
    for lead in leads:
        a, b = stage_end(site, lead.a, {}), stage_end(site, lead.b, {})
        if a is None or b is None or {(a.device, a.socket), (b.device, b.socket)} & set(used):
            continue
        if not is_line(site, packs, a, b):
            continue
        planned = Planned(lead.id, a, b, None, "straight", (), LINE, lead.length_m, lead.at)
        pins = known_pins(site, lead, a, b)
        chosen = _kept(site, packs, planned, pins) if pins is not None else None
        chosen = chosen or _chosen(site, packs, planned)
        if chosen is not None:
            yield chosen
        elif pins is None:
            yield replace(planned, why_not="nobody has looked which pin joins which, and no line needs to be joined")


def _slot(site: Site, packs: Mapping[str, PackChoice], cable: Planned) -> CableSlot | None:
    faces = _face(site, packs, cable.a), _face(site, packs, cable.b)
    if faces[0] is None or faces[1] is None:
        return None
    named = zip((cable.a, cable.b), faces, strict=True)
    ends = [Socket(e.device, e.port or "", e.socket or "", face) for e, face in named if face is not None]
    return CableSlot(cable.id, ends[0], ends[1], carries=frozenset(), no_references=True)


def _kept(
    site: Site, packs: Mapping[str, PackChoice], cable: Planned, pins: Sequence[tuple[str, str]]
) -> Planned | None:
    """The cable as it is made; None where what it joins must not be joined. A line that nothing needs and a spare wire
    between unused pins do no harm.
    """
    slot = _slot(site, packs, cable)
    if slot is None or any(p not in slot.a.face.nodes or q not in slot.b.face.nodes for p, q in pins):
        return None
    records = [site.devices[end.device].record for end in (cable.a, cable.b)]
    told = [pair for pair in pins if not alike_blank(slot.a, slot.b, records[0], records[1], pair)]
    for fault in net_faults(Chain((slot,)), [told]):
        spare = isinstance(fault.first.contact, Unused) and isinstance(fault.second.contact, Unused)
        if fault.cause is not Cause.LINE_NOT_NEEDED and not spare:
            return None
    return _written(site, cable, pins)


def _chosen(site: Site, packs: Mapping[str, PackChoice], cable: Planned) -> Planned | None:
    """Choose the conductors of a cable that carries a line alone; None where no line is to be joined."""
    slot = _slot(site, packs, cable)
    found = choose_conductors(Chain((slot,))) if slot is not None else None
    if not isinstance(found, ConductorChoice) or not found.cables[0].joined:
        return None
    return with_choice(cable, found.cables[0])
