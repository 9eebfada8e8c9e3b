"""Cables of a plan that belong to no route: wanted ones judged as written, stop lines that no chain carries, and leads
between devices that are no packs.

A cable that joins two ports by a line alone is no hop of a chain and nothing that a route has a use for. It stays: the
plan must not take a stop apart. So does a lead between two inverters: that they run in parallel is not for the plan.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from interop.choose.conductors import ConductorChoice, choose_conductors
from interop.choose.making import alike_blank, as_written, known_pins, with_choice
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.naming import Naming, Planned
from interop.choose.route import bus_ports
from interop.records.pins import port_poles
from interop.site.site import Cable, Site
from interop.wiring.contacts import CableSlot, Cause, Chain, Face, Socket, Unused, net_faults
from interop.wiring.faces import socket_face
from interop.wiring.purposes import LINE, joins_line, line_only, may_line
from interop.wiring.stage import StageEnd, stage_end

__all__ = ["Lines", "leads_between_others", "line_cables", "wanted_others"]

Spot = tuple[str | None, str | None]
"""A device and a socket of it, as far as they are written."""


class Lines:
    """Which cables carry a line alone. ``namings``: the links of the plan; a cable between sockets of the bus of one of
    them is no such cable, whatever it joins.
    """

    def __init__(
        self, site: Site, packs: Mapping[str, PackChoice], choices: Mapping[str, LinkChoice],
        namings: Mapping[str, Naming],
    ) -> None:  # fmt: skip
        self.site = site
        self.packs = packs
        self.managers = {link: choice.manager for link, choice in choices.items()}
        self._namings = tuple(namings.values())

    def face(self, end: StageEnd, same: Mapping[str, str] = MappingProxyType({})) -> Face | None:
        """What the socket at an end shows; each bus by a name of its own, or by the one that ``same`` has for that."""
        record = self.site.devices[end.device].record
        if end.port is None or end.port not in record.ports:
            return None
        mode = self.packs[end.device].mode if end.device in self.packs else None
        socket = end.socket or record.ports[end.port].sockets[0]
        return socket_face(
            record, end.port, socket, mode, lambda bus: same.get(f"{end.device} {bus}", f"{end.device} {bus}"))

    def ends(self, cable: Cable) -> tuple[StageEnd, StageEnd] | None:
        """The ends of a cable; None where nobody knows the device at one. One that stands at a manager whom nobody
        names is looked for at the manager of the plan, where that has one.
        """
        managers = self.managers
        if len(managers) == 1:
            managers = {**managers, "": next(iter(managers.values()))}
        a, b = (stage_end(self.site, end, managers) for end in (cable.a, cable.b))
        return (a, b) if a is not None and b is not None else None

    def in_socket(self, end: StageEnd, taken: set[Spot]) -> StageEnd | None:
        """An end in a socket: the one that is written, else the first of its port that is free, which is then taken.
        None where none is left.
        """
        if end.socket is not None:
            return end
        sockets = self.site.devices[end.device].record.ports[end.port or ""].sockets
        free = next((one for one in sockets if (end.device, one) not in taken), None)
        taken.add((end.device, free))
        return StageEnd(end.device, end.port, free) if free is not None else None

    def carried(self, cable: Cable) -> bool:
        """Whether a cable carries a line alone, as far as anybody can tell: by its ports, or by what it joins. One of
        which nobody says what it joins counts where its ports have a line in common.
        """
        ends = self.ends(cable)
        faces = [self.face(end) for end in ends or ()]
        if ends is None or None in faces or ends[0].device == ends[1].device:
            return False
        one, other = (face for face in faces if face is not None)
        if line_only(one, other):
            return True
        if not may_line(one, other) or any(naming.may_hop(cable) for naming in self._namings):
            return False
        pins = known_pins(self.site, cable, *ends)
        return pins is None or joins_line(one, other, pins)

    def on_link(self, end: StageEnd) -> bool:
        """Whether a controller's socket has the bus of a link of the plan."""
        record = self.site.devices[end.device].record
        return any(
            (end.port, end.socket) in bus_ports(record, naming.report_buses(end.device), None)
            for naming in self._namings if end.device in naming.choice.link.reports_to
        )

    def surely(self, cable: Cable) -> bool:
        """Whether the ports of a cable that carries a line leave it nothing else."""
        faces = [self.face(end) for end in self.ends(cable) or ()]
        return len(faces) == 2 and faces[0] is not None and faces[1] is not None and line_only(faces[0], faces[1])


def wanted_others(lines: Lines, left: Collection[str]) -> tuple[Planned, ...]:
    """Return the wanted cables of these ids as the site writes them; a line alone is chosen where it is left to the
    plan.
    """
    found = []
    taken: set[Spot] = {(end.device, end.socket) for cable in lines.site.cables for end in lines.ends(cable) or ()}
    for cable in lines.site.cables:
        ends = lines.ends(cable)
        if cable.id not in left or ends is None:
            continue
        line = lines.carried(cable)
        a, b = (lines.in_socket(end, taken) or end for end in ends) if line else ends
        planned = Planned(cable.id, a, b, None, "straight", (), LINE if line else "", cable.length_m, cable.at,
                          wanted=cable)  # fmt: skip
        pins = known_pins(lines.site, cable, a, b)
        if pins is not None or not line:
            found.append(_written(lines.site, planned, pins))
        else:
            chosen = _chosen(lines, planned)
            found.append(chosen or replace(planned, why_not="no line of its two ends may be joined"))
    return tuple(found)


def _written(site: Site, cable: Planned, pins: Sequence[tuple[str, str]] | None) -> Planned:
    if pins is None:
        return replace(cable, why_not="its two ports belong to no link together, and share no line")
    ends = [port_poles(site.devices[e.device].record, e.port) if e.port else () for e in (cable.a, cable.b)]
    return as_written(cable, tuple(pins), (ends[0], ends[1]))


def line_cables(lines: Lines, leads: Sequence[Cable], used: Collection[tuple[str, str | None]]) -> Iterator[Planned]:
    """Yield the installed cables that carry a line alone and stay: as they are, or altered where they do harm. One
    that only does harm goes; one that nobody has looked at stays, and is judged for that.

    ``used``: sockets that the other cables of the plan need.
    """
    taken: set[Spot] = {*used, *((end.device, end.socket) for lead in leads for end in (lead.a, lead.b))}
    for lead in leads:
        ends = lines.ends(lead)
        if ends is None or {(e.device, e.socket) for e in ends} & set(used) or not lines.carried(lead):
            continue
        a, b = (lines.in_socket(end, taken) for end in ends)
        if a is None or b is None:
            continue
        planned = Planned(lead.id, a, b, None, "straight", (), LINE, lead.length_m, lead.at)
        pins = known_pins(lines.site, lead, a, b)
        chosen = _kept(lines, planned, pins) if pins is not None else None
        if chosen is None and (pins is not None or lines.surely(lead)):
            chosen = _chosen(lines, planned)
        if chosen is not None:
            yield chosen
        elif pins is None:
            why = "no line needs to be joined" if lines.surely(lead) else "its ports carry more than a line"
            yield replace(planned, why_not=f"nobody has looked which pin joins which, and {why}")


def leads_between_others(
    lines: Lines, leads: Sequence[Cable], used: Collection[tuple[str, str | None]]
) -> Iterator[Planned]:
    """Yield the installed cables that join no pack, on ports of no link, as they are: not those that surely do harm or
    are in the way. ``used``: as for :func:`line_cables`.
    """
    for lead in leads:
        ends = lines.ends(lead)
        if ends is None or {(e.device, e.socket) for e in ends} & set(used) or lines.carried(lead):
            continue
        if any(lines.site.devices[end.device].kind == "pack" or lines.on_link(end) for end in ends):
            continue
        pins = known_pins(lines.site, lead, *ends)
        planned = Planned(lead.id, *ends, None, "straight", (), "", lead.length_m, lead.at)
        if pins is None or not _harms(lines, planned, pins):
            yield _written(lines.site, planned, pins)


def _harms(lines: Lines, cable: Planned, pins: Sequence[tuple[str, str]]) -> bool:
    """Whether a cable between devices that are on no link surely does harm. Buses of one kind count as one."""
    kinds = {f"{end.device} {name}": str(bus.kind.only or name) for end in (cable.a, cable.b)
             for name, bus in lines.site.devices[end.device].record.buses.items()}  # fmt: skip
    slot = _slot(lines, cable, kinds)
    known = slot is not None and all(p in slot.a.face.nodes and q in slot.b.face.nodes for p, q in pins)
    faults = net_faults(Chain((slot,)), [pins]) if slot is not None and known else ()
    return any(not one.cause.cannot_tell and one.cause is not Cause.UNUSED_JOINED for one in faults)


def _slot(lines: Lines, cable: Planned, same: Mapping[str, str] | None = None) -> CableSlot | None:
    """A cable as it is judged by itself; ``same``: other names for buses, by the name that the face gives them."""
    faces = lines.face(cable.a, same or {}), lines.face(cable.b, same or {})
    if faces[0] is None or faces[1] is None:
        return None
    named = zip((cable.a, cable.b), faces, strict=True)
    ends = [Socket(e.device, e.port or "", e.socket or "", face) for e, face in named if face is not None]
    return CableSlot(cable.id, ends[0], ends[1], carries=frozenset(), no_references=True)


def _kept(lines: Lines, cable: Planned, pins: Sequence[tuple[str, str]]) -> Planned | None:
    """The cable as it is made; None where what it joins must not be joined. A line that nothing needs and a spare wire
    between unused pins do no harm.
    """
    slot = _slot(lines, cable)
    if slot is None or any(p not in slot.a.face.nodes or q not in slot.b.face.nodes for p, q in pins):
        return None
    records = [lines.site.devices[end.device].record for end in (cable.a, cable.b)]
    told = [pair for pair in pins if not alike_blank(slot.a, slot.b, records[0], records[1], pair)]
    for fault in net_faults(Chain((slot,)), [told]):
        spare = isinstance(fault.first.contact, Unused) and isinstance(fault.second.contact, Unused)
        if fault.cause is not Cause.LINE_NOT_NEEDED and not spare:
            return None
    return _written(lines.site, cable, pins)


def _chosen(lines: Lines, cable: Planned) -> Planned | None:
    """Choose the conductors of a cable that carries a line alone; None where no line is to be joined."""
    slot = _slot(lines, cable)
    found = choose_conductors(Chain((slot,))) if slot is not None else None
    if not isinstance(found, ConductorChoice) or not found.cables[0].joined:
        return None
    return with_choice(cable, found.cables[0])
