"""One link as its cables are chosen: its packs' modes, the buses on every socket, and which sockets serve it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property, lru_cache

from interop.choose.conductors import CableChoice
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.route import bus_ports
from interop.records.models import Record
from interop.records.pins import port_poles
from interop.site.ends import end_at
from interop.site.site import Cable, End, Site
from interop.unchanging import unchanging
from interop.wiring.contacts import Face, Reference, Socket
from interop.wiring.faces import ground_of, port_of_socket, socket_face
from interop.wiring.stage import StageEnd
from interop.wiring.talks import RecordKey, Talk, alive_buses, chain_talks, controller_talks, report_talks

__all__ = ["Naming", "Planned", "new_name", "shown_face"]


@unchanging
class Planned:
    """A cable of the plan. ``choice`` None: nothing could be chosen, the pins are as the site states (or not known).

    ``wanted``: the cable of the site file that it is; None for one that the plan adds. ``why_not``: why no conductors
    could be chosen.
    """

    id: str
    a: StageEnd
    b: StageEnd
    joined: tuple[tuple[str, str], ...] | None
    kind: str
    cut: tuple[str, ...]
    carries: str
    length_m: float | None
    at: tuple[int, int]
    choice: CableChoice | None = None
    bridged: tuple[str, ...] = ()
    wanted: Cable | None = None
    why_not: str | None = None


class Naming:
    """One link with its packs' sockets and the identity of every bus on it.

    ``taken`` are (controller, socket) that other links use.
    """

    def __init__(
        self, site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], taken: set[tuple[str, str]]
    ) -> None:
        self.site = site
        self.taken = taken
        self.choice = choice
        self.packs = packs
        self.chain: Talk | None = choice.family.chain if choice.family is not None else None
        self.report: Talk | None = choice.family.report if choice.family is not None else None
        self.pairs: dict[object, bool] = {}

    def kind(self, device: str) -> tuple[int, str | None]:
        """Packs of one kind have equal cables."""
        return id(self.record(device)), self.mode(device)

    def record(self, device: str) -> Record:
        """The record of a device."""
        return self.site.devices[device].record

    def mode(self, device: str) -> str | None:
        """The mode of a pack; None where it has none in this plan."""
        pack = self.packs.get(device)
        return pack.mode if pack is not None else None

    def chain_buses(self, device: str) -> tuple[str, ...]:
        """The buses of a pack that the chain of this link is."""
        mode = self.mode(device)
        if self.chain is None or mode is None:
            return ()
        return chain_talks(self.record(device), mode).get(self.chain, ())

    def report_buses(self, device: str) -> tuple[str, ...]:
        """The buses of a device towards the controller."""
        if self.report is None:
            return ()
        if self.site.devices[device].kind != "pack":
            return controller_talks(self.record(device)).get(self.report, ())
        mode = self.mode(device)
        return report_talks(self.record(device), mode).get(self.report, ()) if mode is not None else ()

    def serves(self, end: End | StageEnd, carries: str) -> bool:
        """Whether an end stands in a socket of the bus of this link, or in none that is written. A device that does not
        talk on this link counts with every bus it has between packs, or towards a controller.
        """
        if end.device is None or end.port is None:
            return True
        record, mode = self.record(end.device), self.mode(end.device)
        buses = self.chain_buses(end.device) if carries == "chain" else self.report_buses(end.device)
        if not buses:
            used_by = ("all",) if carries == "chain" else ("all", "manager")
            buses = tuple(name for name, bus in alive_buses(record, mode).items() if bus.used_by in used_by)
        sockets = bus_ports(record, buses, mode)
        if not sockets:
            return True  # on which pins its bus is, nobody says
        return any(end.port in (port, socket) and end.socket in (None, socket) for port, socket in sockets)

    def may_hop(self, cable: Cable) -> bool:
        """Whether a cable may belong to this link: between packs with both ends in sockets of the chain, else with both
        in sockets of the bus towards a controller.
        """
        ends = [end_at(self.site, self.choice.manager, e) if e.device is None and self.choice.manager is not None
                and e.link in (None, self.choice.link.id) else e for e in (cable.a, cable.b)]  # fmt: skip
        packs = all(e.device is not None and self.site.devices[e.device].kind == "pack" for e in ends)
        return all(self.serves(end, "chain" if packs else "report") for end in ends)

    @cached_property
    def towards(self) -> Site:
        """The site with the cables that may lead to a controller: wanted ones with both ends in sockets of the bus,
        installed ones with one at least, those with both first.
        """
        serving = {c.id: sum(self.serves(e, "report") for e in (c.a, c.b)) for c in self.site.found_cables or ()}
        leads = sorted((c for c in self.site.found_cables or () if serving[c.id]), key=lambda c: -serving[c.id])
        wanted = tuple(cable for cable in self.site.cables if self.may_hop(cable))
        return replace(self.site, cables=wanted, found_cables=tuple(leads))

    def socket(self, end: StageEnd, carries: str, parity: int) -> Socket | None:
        """Return the socket at an end; ``parity`` keeps the other buses of neighbours apart."""
        if end.port is None or end.socket is None:
            return None
        alive = self.chain_buses(end.device) if carries == "chain" else self.report_buses(end.device)
        key = RecordKey(self.record(end.device))
        face = shown_face(key, end.port, end.socket, self.mode(end.device), alive, carries, parity)
        return Socket(end.device, end.port, end.socket, face)

    def poles(self, end: StageEnd) -> tuple[str, ...]:
        """The pins of the plug at an end."""
        return port_poles(self.record(end.device), end.port) if end.port is not None else ()

    def placed(self, device: str, end: End) -> StageEnd:
        """An end as written, at a device, with the port of its socket."""
        port = end.port or (port_of_socket(self.record(device), end.socket) if end.socket is not None else None)
        return StageEnd(device, port, end.socket)


@lru_cache(maxsize=65536)
def shown_face(
    key: RecordKey, port: str, socket: str, mode: str | None, alive: tuple[str, ...], carries: str, parity: int
) -> Face:
    """Equal sockets share one face, so that equal cables are studied once. No net passes a pin of an unlike bus, so
    two names in turn are enough to keep the other buses of a chain's devices apart.

    Isolated references of ports that may share their ground inside the device are one piece of copper here: the
    choice must be right either way.
    """
    face = socket_face(key.record, port, socket, mode, lambda bus: carries if bus in alive else f"own {parity} {bus}")
    ground = ground_of(key.record, port)
    if ground is None:
        return face
    copper = {face.nodes[pin] for pin in face.poles if Reference("isolated") in face.contacts[pin]}
    return replace(face, nodes={pin: f"ground {ground}" if n in copper else n for pin, n in face.nodes.items()})


def new_name(site: Site, name: str) -> str:
    """A name for a cable that nobody has written yet."""
    taken = {*site.devices, *(c.id for c in (*site.cables, *(site.found_cables or ())))}
    while name in taken:
        name += "n"
    return name
