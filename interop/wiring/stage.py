"""A stage of the site: as found, or as planned. Rules judge a stage; they do not know where it came from.

Everything that a stage does not know is None (nobody looked, or left to the plan): rules answer "cannot tell" or,
for what a site leaves to the plan, do not judge it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property

from interop.records.models import Record
from interop.records.pins import port_poles
from interop.records.switches import Case, Pattern, readings
from interop.site.ends import end_at
from interop.site.site import Cable, Device, End, Link, Site
from interop.unchanging import unchanging
from interop.wiring.contacts import Face, Net, NodeFault, Socket, Spot, build_nets, node_faults
from interop.wiring.faces import socket_face
from interop.wiring.groups import Groups
from interop.wiring.purposes import LINE, buses_on, has_blank, joins_line, line_only
from interop.wiring.talks import RecordKey, Talk, chain_talks, controller_talks, report_talks

__all__ = [
    "Stage",
    "StageCable",
    "StageEnd",
    "StageLink",
    "StagePack",
    "as_found",
    "as_wanted",
    "banks_of",
    "busbars_of",
    "joined_pins",
    "purpose",
    "stage_end",
    "stage_pack",
    "with_purposes",
]


@unchanging(eq=False)
class StagePack:
    """One pack in a stage. ``role``: manager, member, unmanaged, or None (not known). ``patterns``: by row, ``x``
    for a switch nobody looked at. ``addresses``: every address its switches can mean (None: cannot be read).
    """

    device: Device
    role: str | None
    link: str | None
    mode: str | None
    patterns: Mapping[str, Pattern]
    addresses: frozenset[int] | None
    place: str | None = None

    @property
    def id(self) -> str:
        """The pack's id."""
        return self.device.id

    @property
    def record(self) -> Record:
        """The pack's record."""
        return self.device.record


@unchanging
class StageEnd:
    """One end of a cable: device, port, socket (None where not known or left to the plan)."""

    device: str
    port: str | None
    socket: str | None


@unchanging(eq=False)
class StageCable:
    """A data cable. ``joined``: pairs of pins (None: how it is made is not known). ``carries``: chain, report, line
    (a stop line or the like alone), or None.

    ``why_not``: in a plan, why no conductors could be chosen for it.
    """

    id: str
    a: StageEnd
    b: StageEnd
    joined: tuple[tuple[str, str], ...] | None
    length_m: float | None
    at: tuple[int, int]
    link: str | None = None
    carries: str | None = None
    why_not: str | None = None


@unchanging(eq=False)
class StageLink:
    """A data link. ``manager`` None: not known or none. ``chain``/``report``: the talks used, None where not known.

    ``judged``: False where the site leaves manager and members to the plan.
    """

    id: str
    packs: tuple[str, ...]
    manager: str | None
    reports_to: tuple[str, ...]
    group: int | None
    chain: Talk | None
    report: Talk | None
    polled_by_controller: bool
    judged: bool
    at: tuple[int, int]


@unchanging(eq=False)
class Stage:
    """Found or planned: packs, links, cables and banks, with the site they belong to.

    ``decided``: the planned stage comes from a plan, so that nothing of it is left to one.
    """

    name: str
    site: Site
    packs: Mapping[str, StagePack]
    links: tuple[StageLink, ...]
    cables: tuple[StageCable, ...]
    banks: tuple[tuple[str, ...], ...]
    cables_known: bool = True
    links_known: bool = True
    terminators: Mapping[tuple[str, str], bool | None] = field(default_factory=dict)
    hindered: Mapping[str, str] = field(default_factory=dict)
    unplaced: frozenset[str] = frozenset()
    """Cables that the site lists and the plan has no place for: no sheet and no note shows them."""
    decided: bool = False
    over_time: bool = False
    """Judge also how the bank runs empty and full, which takes seconds."""

    @cached_property
    def link_of(self) -> dict[str, StageLink]:
        """The link of each pack that is on one (the first where it stands in two)."""
        found: dict[str, StageLink] = {}
        for link in self.links:
            for pack in link.packs:
                found.setdefault(pack, link)
        return found

    @cached_property
    def banks_with(self) -> dict[str, frozenset[int]]:
        """The banks that hold each pack, by their place in ``banks``: several where it is not drawn."""
        found: dict[str, set[int]] = {}
        for i, bank in enumerate(self.banks):
            for name in bank:
                found.setdefault(name, set()).add(i)
        return {name: frozenset(numbers) for name, numbers in found.items()}

    def on_one_bank(self, names: Iterable[str]) -> bool:
        """Return whether some bank holds all these packs (packs that are not drawn stand in every bank; what is not
        there in this stage stands in none and is passed over).
        """
        held = [self.banks_with[name] for name in names if name in self.banks_with]
        return not held or bool(frozenset.intersection(*held))

    @cached_property
    def cables_at(self) -> dict[str, tuple[StageCable, ...]]:
        """The cables of each device."""
        found: dict[str, list[StageCable]] = {}
        for cable in self.cables:
            for end in dict.fromkeys((cable.a.device, cable.b.device)):
                found.setdefault(end, []).append(cable)
        return {name: tuple(cables) for name, cables in found.items()}

    @cached_property
    def cables_of(self) -> dict[tuple[str | None, str | None], tuple[StageCable, ...]]:
        """The cables by link and what they carry (chain, report)."""
        found: dict[tuple[str | None, str | None], list[StageCable]] = {}
        for cable in self.cables:
            found.setdefault((cable.link, cable.carries), []).append(cable)
        return {key: tuple(cables) for key, cables in found.items()}

    @cached_property
    def made_kinds(self) -> dict[str, str]:
        """How the site file says each cable of the stage is made: straight, map, propose or unknown."""
        written = self.site.found_cables if self.name == "found" else self.site.cables
        return {cable.id: cable.made.kind for cable in written or ()}

    def device(self, name: str) -> Device:
        """Return a device by id."""
        return self.site.devices[name]

    def bus_identity(self, device: str, bus: str) -> str:
        """Return the identity of a device's bus on its link: ``chain ID``, ``report ID``, else one of its own (of a
        pack) or that of its kind.
        """
        record = self.device(device).record
        pack = self.packs.get(device)
        if pack is None:
            return self._controller_identity(device, bus)
        link = self.link_of.get(device)
        if link is None:
            return f"{device} {bus}"
        if record.buses[bus].used_by == "all":
            used = (
                chain_talks(record, pack.mode).get(link.chain)
                if link.chain is not None and pack.mode is not None
                else None
            )
            return f"chain {link.id}" if used is None or bus in used else f"{device} {bus}"
        if device != link.manager and link.manager is not None:
            return f"{device} {bus}"
        used = (
            report_talks(record, pack.mode).get(link.report)
            if link.report is not None and pack.mode is not None
            else None
        )
        return f"report {link.id}" if used is None or bus in used else f"{device} {bus}"

    def _controller_identity(self, device: str, bus: str) -> str:
        """Buses of controllers that are on no link are told apart by kind alone: whether two of them understand each
        other, as units in parallel must, is for their makers.
        """
        record = self.device(device).record
        for link in self.links:
            if device not in link.reports_to:
                continue
            if link.report is None or bus in controller_talks(record).get(link.report, ()):
                return f"chain {link.id}" if self._shared(link) else f"report {link.id}"
        return f"beside {record.buses[bus].kind.only or bus}"

    def _shared(self, link: StageLink) -> bool:
        """Whether the controller sits on the packs' own bus: the manager has no other bus that reports."""
        if link.polled_by_controller:
            return True
        if link.manager is None:
            return False
        record = self.device(link.manager).record
        return not any(bus.used_by == "manager" for bus in record.buses.values())

    def socket(self, end: StageEnd) -> Socket | None:
        """Return the socket at a cable's end; None where the plan has not named it."""
        if end.port is None:
            return None
        record = self.device(end.device).record
        name = end.socket or record.ports[end.port].sockets[0]
        pack = self.packs.get(end.device)
        mode = pack.mode if pack is not None else None
        buses = tuple((bus, self.bus_identity(end.device, bus)) for bus in record.buses)
        key = (RecordKey(record), end.port, name, mode, buses)
        face = self._faces.get(key)
        if face is None:
            face = self._faces[key] = socket_face(record, end.port, name, mode, dict(buses).__getitem__)
        return Socket(end.device, end.port, name, face)

    def faces_of(self, device: str) -> Iterator[Face]:
        """Yield what each socket of a device shows."""
        for port, item in self.device(device).record.ports.items():
            for name in item.sockets:
                socket = self.socket(StageEnd(device, port, name))
                if socket is not None:
                    yield socket.face

    @cached_property
    def _faces(self) -> dict[tuple[object, ...], Face]:
        """Faces by record, socket, mode and identity of the buses: packs of one link share them."""
        return {}

    @cached_property
    def nets(self) -> tuple[tuple[tuple[StageCable, ...], Net], ...]:
        """Every net that a conductor of a cable ends on, with the cables that end on it."""
        return tuple(found for cables in self._clusters() for found in self._cluster_nets(cables))

    @cached_property
    def net_faults(self) -> tuple[tuple[tuple[StageCable, ...], NodeFault], ...]:
        """What is wrong with every net that cables make, with the cables of the net (those of one link go together)."""
        return tuple((cables, fault) for cables, net in self.nets for fault in node_faults(net.held))

    def _clusters(self) -> list[list[StageCable]]:
        """Cables that share devices, so that a net stays inside one cluster."""
        joined = Groups((cable.a.device, cable.b.device) for cable in self.cables)
        clusters: dict[str, list[StageCable]] = {}
        for cable in self.cables:
            clusters.setdefault(joined.root(cable.a.device), []).append(cable)
        return list(clusters.values())

    def _cluster_nets(self, cables: Sequence[StageCable]) -> Iterable[tuple[tuple[StageCable, ...], Net]]:
        sockets: dict[tuple[str, str], Socket] = {}
        joins: list[tuple[Spot, Spot]] = []
        by_spot: dict[Spot, list[StageCable]] = {}
        for cable in cables:
            one, other = self.socket(cable.a), self.socket(cable.b)
            if one is None or other is None or cable.joined is None:
                continue
            for socket in (one, other):
                sockets.setdefault((socket.device, socket.name), socket)
            for a, b in cable.joined:
                if a in one.face.poles and b in other.face.poles:
                    spots = Spot(one.device, one.name, a), Spot(other.device, other.name, b)
                    joins.append(spots)
                    for spot in spots:
                        by_spot.setdefault(spot, []).append(cable)
        for net in build_nets(sockets.values(), joins):
            if net.joined:
                mine = tuple(dict.fromkeys(c for spot in net.spots for c in by_spot.get(spot, ())))
                yield mine, net


# ---- the stage as found ----


def joined_pins(site: Site, cable: Cable, a: StageEnd, b: StageEnd) -> tuple[tuple[str, str], ...] | None:
    """Return the joined pins of a cable, pin at ``a`` with pin at ``b``, whichever end it is written from: all common
    pins of a straight one, less those cut; None: not known.
    """
    made = cable.made
    if made.kind == "map":
        near = (cable.a.device == a.device) + (cable.b.device == b.device)
        far = (cable.a.device == b.device) + (cable.b.device == a.device)
        return made.joined if near >= far else tuple((y, x) for x, y in made.joined)
    if made.kind != "straight" or a.port is None or b.port is None:
        return None
    ours = port_poles(site.devices[a.device].record, a.port)
    theirs = set(port_poles(site.devices[b.device].record, b.port))
    return tuple((p, p) for p in ours if p in theirs and p not in made.cut)


def _addresses(device: Device, patterns: Mapping[str, Pattern], known: Case) -> frozenset[int] | None:
    rows = [(n, r) for n, r in device.record.switches.items() if any(p.sets == "address" for p in r.parts)]
    if not rows:
        return None
    meant: set[int] = set()
    for name, row in rows:
        pattern = patterns.get(name)
        if pattern is None:
            return None
        meant |= {
            int(v)
            for reading in readings(row, pattern, known, device.record.modes)
            for key, v in reading.values
            if key.split(" ")[0] == "address"
        }
    return frozenset(meant)


def stage_pack(
    device: Device,
    role: str | None,
    link: str | None,
    patterns: Mapping[str, Pattern],
    mode: str | None,
    place: str | None = None,
) -> StagePack:
    """Return a pack of a stage with what its switches can mean in its role and mode."""
    modes = device.record.modes
    mode = mode if mode is not None else (modes[0] if len(modes) == 1 else None)
    return StagePack(
        device, role, link, mode, patterns, _addresses(device, patterns, Case(role=role, mode=mode)), place
    )


def _common_talk(tables: Sequence[Iterable[Talk]]) -> Talk | None:
    """The one talk all have in common, None where there is none or more than one."""
    if not tables:
        return None
    common = set(tables[0]).intersection(*tables[1:])
    return next(iter(common)) if len(common) == 1 else None


def _chain_talks(record: Record, *, numbered: bool) -> set[Talk]:
    """How a pack can talk with packs in any mode; ``numbered``: on buses on which it has a number, which one for
    service alone has not.
    """
    return {talk for mode in record.modes for talk, names in chain_talks(record, mode).items()
            if not numbered or any(name in record.addresses for name in names)}  # fmt: skip


def _stage_link(site: Site, link: Link, judged: bool) -> StageLink:
    devices = [site.devices[p] for p in link.packs]
    chain = _common_talk([_chain_talks(d.record, numbered=False) for d in devices])
    chain = chain or _common_talk([_chain_talks(d.record, numbered=True) for d in devices])
    manager = None if link.manager in (None, "propose") else link.manager
    report = None
    if manager is not None and link.reports_to:
        record = site.devices[manager].record
        own = {t for m in record.modes for t in report_talks(record, m)}
        report = _common_talk([own, *(controller_talks(site.devices[c].record) for c in link.reports_to)])
    polled = bool(devices) and all(d.record.manager.made_by.only == "controller" for d in devices)
    return StageLink(link.id, link.packs, manager, link.reports_to, link.group, chain, report, polled, judged, link.at)


def stage_end(site: Site, end: End, managers: Mapping[str, str | None]) -> StageEnd | None:
    """Return an end as it stands in a stage with these managers of links; None where nobody knows its device."""
    if end.device is not None:
        return StageEnd(end.device, end.port, end.socket)
    device = managers.get(end.link or "")
    if device is None:
        return None
    placed = end_at(site, device, end)
    return StageEnd(device, placed.port, placed.socket)


def _stage_cables(site: Site, cables: Iterable[Cable], links: Sequence[StageLink]) -> tuple[StageCable, ...]:
    managers = {link.id: link.manager for link in links}
    found = []
    for cable in cables:
        a, b = stage_end(site, cable.a, managers), stage_end(site, cable.b, managers)
        if a is not None and b is not None:
            found.append(StageCable(cable.id, a, b, joined_pins(site, cable, a, b), cable.length_m, cable.at))
    return tuple(found)


def purpose(
    stage: Stage, link_of: Mapping[str, StageLink], a: StageEnd, b: StageEnd,
    joined: Sequence[tuple[str, str]] | None = None,
) -> tuple[str | None, str | None]:  # fmt: skip
    """Return the link that a cable belongs to, and what it carries for it: chain, report, line or None.

    Chain and report only where both ports have a bus for it, or where that is not known: an end without port, or a
    record that does not say on which pins its bus is. That rate and dialect fit is for the rules. ``joined``: its
    conductors, pin at ``a`` with pin at ``b``, where they are known.
    """
    one, other = link_of.get(a.device), link_of.get(b.device)
    if one is not None and one is other:
        return one.id, _carried(stage, one, (a, b), "chain", joined or ())
    for link, far in ((one, b), (other, a)):
        if link is not None and stage.device(far.device).kind != "pack":
            return link.id, _carried(stage, link, (a, b), "report", joined or ())
    sockets = stage.socket(a), stage.socket(b)
    if sockets[0] is not None and sockets[1] is not None and line_only(sockets[0].face, sockets[1].face):
        return None, LINE
    return None, None


def _carried(
    stage: Stage, link: StageLink, ends: tuple[StageEnd, StageEnd], what: str, joined: Sequence[tuple[str, str]]
) -> str | None:
    """What a cable between two packs, or from a pack to another device, carries."""
    one, other = stage.socket(ends[0]), stage.socket(ends[1])
    if one is None or other is None or buses_on(one.face) & buses_on(other.face):
        return what
    if line_only(one.face, other.face) or joins_line(one.face, other.face, joined):
        return LINE
    return what if all(_serves(stage, link, socket, what) for socket in (one, other)) else None


def _serves(stage: Stage, link: StageLink, socket: Socket, what: str) -> bool:
    """Whether a port has a bus of a link; or pins that nobody states, and no other port is known to have one."""
    mine = _buses_for(stage, link, socket.device, what)
    if mine & buses_on(socket.face):
        return True
    shown = {bus for face in stage.faces_of(socket.device) for bus in buses_on(face)}
    return bool(mine) and not mine & shown and has_blank(socket.face)


def _buses_for(stage: Stage, link: StageLink, device: str, what: str) -> set[str]:
    """The buses of a device that may be the one between packs, or the one towards the controller."""
    record = stage.device(device).record
    every = device not in stage.packs or (what == "report" and link.manager is None)
    used_by = "all" if what == "chain" else "manager"
    return {stage.bus_identity(device, name) for name, bus in record.buses.items() if every or bus.used_by == used_by}


def with_purposes(stage: Stage) -> Stage:
    """Return a stage whose cables say which link they belong to, and what they carry for it."""
    cables = []
    for cable in stage.cables:
        link, carries = purpose(stage, stage.link_of, cable.a, cable.b, cable.joined)
        cables.append(replace(cable, link=link, carries=carries))
    return replace(stage, cables=tuple(cables))


def busbars_of(site: Site) -> dict[str, int]:
    """Return a number for the busbar of each device that a power run ends on: equal where runs join them."""
    numbered = enumerate(Groups((run.a, run.b) for run in site.runs).groups())
    return {name: number for number, group in numbered for name in group if name in site.devices}


def banks_of(site: Site, packs: Iterable[str]) -> tuple[tuple[str, ...], ...]:
    """Return the banks: packs that end on one busbar, through power runs, in the given order.

    Without runs of packs all packs are one bank. A pack without a run, where others have one, may end on any busbar:
    it stands in every bank, so that each is judged with it.
    """
    names = list(packs)
    where = busbars_of(site) if site.runs else {}
    numbers = dict.fromkeys(where[name] for name in names if name in where)
    if not numbers:
        return (tuple(names),) if names else ()
    banks: dict[int, list[str]] = {number: [] for number in numbers}
    for name in names:
        for number in (where[name],) if name in where else numbers:
            banks[number].append(name)
    return tuple(tuple(bank) for bank in banks.values())


def as_found(site: Site) -> Stage:
    """Return the site as it stands: installed packs only, what somebody saw of them, and nothing assumed beside it."""
    installed = [d for d in site.packs if not d.new]
    links = tuple(_stage_link(site, link, judged=True) for link in site.found_links or ())
    roles: dict[str, tuple[str | None, str | None]] = {}
    for link in links:
        for pack in link.packs:
            role = None if link.manager is None else ("manager" if pack == link.manager else "member")
            roles.setdefault(pack, (role, link.id))
    packs = {}
    for device in installed:
        role, link_id = roles.get(device.id, ("unmanaged" if site.found_links is not None else None, None))
        found = device.found
        packs[device.id] = stage_pack(
            device, role, link_id, found.patterns if found else {}, found.mode if found else None
        )
    return with_purposes(Stage(
        "found",
        site,
        packs,
        links,
        _stage_cables(site, site.found_cables or (), links),
        banks_of(site, packs),
        site.found_cables is not None,
        site.found_links is not None,
    ))


def as_wanted(site: Site) -> Stage:
    """Return the site as wanted, without a plan: what the site leaves to the plan is not judged."""
    links = tuple(_stage_link(site, link, judged=link.manager != "propose") for link in site.links)
    packs = {}
    link_of = {p: link for link in reversed(links) for p in link.packs}
    for device in site.packs:
        link = link_of.get(device.id)
        role = None if link is None or link.manager is None else ("manager" if device.id == link.manager else "member")
        if link is None:
            role = "unmanaged"
        patterns = dict(device.set_patterns)
        packs[device.id] = stage_pack(device, role, link.id if link else None, patterns, None)
    cables = _stage_cables(site, site.cables, links)
    return with_purposes(Stage("planned", site, packs, links, cables, banks_of(site, packs)))
