"""The cables of a link: which stand in the plan, from which socket to which, with which conductors."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from interop.choose.conductors import CableChoice, ConductorChoice, choose_conductors
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.no_cable import NoCable
from interop.choose.route import Hop, bus_ports, propose_order, site_hops, sockets_along
from interop.records.models import Record
from interop.records.pins import port_poles
from interop.site.site import Cable, Device, Site
from interop.wiring.contacts import CableSlot, Chain, Face, NotStated, Socket, is_blank
from interop.wiring.faces import port_of_socket, socket_face
from interop.wiring.paths import shape_of
from interop.wiring.stage import StageEnd, joined_pins
from interop.wiring.talks import RecordKey, Talk, chain_talks, controller_talks, report_talks

__all__ = ["Blocked", "Planned", "Routed", "alike_blank", "route_link"]


@dataclass(frozen=True)
class Planned:
    """A cable of the plan. ``choice`` None: nothing could be chosen, the pins are as the site states (or not known)."""

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


@dataclass(frozen=True)
class Blocked:
    """Why a link has no cables: packs for which no order works, or the pins that leave no cable."""

    kinds: tuple[str, ...]
    no_cable: NoCable | None
    lone: str | None = None
    """The pack that would need a second socket for its two neighbours, and has one."""


@dataclass(frozen=True)
class Routed:
    """The order of a link with its cables."""

    order: tuple[str, ...]
    cables: tuple[Planned, ...]


def route_link(
    site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], taken: set[tuple[str, str]]
) -> Routed | Blocked:
    """Return the order and the cables of a chosen link, or what leaves no cable.

    ``taken`` are (controller, socket) that other links use; those of this link are added.
    """
    naming = _Naming(site, choice, packs, taken)
    chain = _chain(naming)
    if isinstance(chain, Blocked):
        return chain
    reports = _reports(naming, {(e.device, e.socket) for c in chain.cables for e in (c.a, c.b)})
    if isinstance(reports, Blocked):
        return reports
    return Routed(chain.order, (*chain.cables, *reports))


class _Naming:
    """One link with its packs' sockets and the identity of every bus on it."""

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
        return id(self.record(device)), self.mode(device)

    def record(self, device: str) -> Record:
        return self.site.devices[device].record

    def mode(self, device: str) -> str | None:
        pack = self.packs.get(device)
        return pack.mode if pack is not None else None

    def chain_buses(self, device: str) -> tuple[str, ...]:
        mode = self.mode(device)
        if self.chain is None or mode is None:
            return ()
        return chain_talks(self.record(device), mode).get(self.chain, ())

    def report_buses(self, device: str) -> tuple[str, ...]:
        if self.report is None:
            return ()
        if self.site.devices[device].kind != "pack":
            return controller_talks(self.record(device)).get(self.report, ())
        mode = self.mode(device)
        return report_talks(self.record(device), mode).get(self.report, ()) if mode is not None else ()

    def socket(self, end: StageEnd, carries: str, parity: int) -> Socket | None:
        """Return the socket at an end; ``parity`` keeps the other buses of neighbours apart."""
        if end.port is None or end.socket is None:
            return None
        alive = self.chain_buses(end.device) if carries == "chain" else self.report_buses(end.device)
        face = _face(
            RecordKey(self.record(end.device)), end.port, end.socket, self.mode(end.device), alive, carries, parity
        )
        return Socket(end.device, end.port, end.socket, face)


@lru_cache(maxsize=65536)
def _face(
    key: RecordKey, port: str, socket: str, mode: str | None, alive: tuple[str, ...], carries: str, parity: int
) -> Face:
    """Equal sockets share one face, so that equal cables are studied once. No net passes a pin of an unlike bus, so
    two names in turn are enough to keep the other buses of a chain's devices apart.
    """
    return socket_face(key.record, port, socket, mode, lambda bus: carries if bus in alive else f"own {parity} {bus}")


def _chain(naming: _Naming) -> Routed | Blocked:
    choice, site = naming.choice, naming.site
    members = choice.members
    if len(members) < 2:
        return Routed(members, ())
    hops = None if choice.link.propose_cables else site_hops(choice.link, members, site.cables, choice.manager)
    if hops is None:
        proposed = _proposed_hops(naming)
        if proposed is None:
            return Blocked(_kinds(naming), _probe(naming))
        hops = proposed
    order = tuple(dict.fromkeys(p for hop in hops for p in (hop.first, hop.second)))
    ports = {p: _chain_ports(naming, p) for p in order}
    ends = sockets_along(hops, {p: naming.record(p) for p in order}, ports, _kept_for_reports(naming, hops))
    cables = [_planned(naming, hop, a, b, i) for i, (hop, (a, b)) in enumerate(zip(hops, ends, strict=True), 1)]
    lone = next((end.device for pair in ends for end in pair if end.socket is None), None)
    if lone is not None:
        return Blocked(_kinds(naming), None, lone)
    if shape_of(members, [(hop.first, hop.second) for hop in hops]).kind != "path":
        return Routed(members, _as_stated(site, cables, {c.id: c for c in site.cables}))
    chosen = _conductors(naming, cables, "chain")
    return Blocked(_kinds(naming), chosen) if isinstance(chosen, NoCable) else Routed(order, chosen)


def _chain_ports(naming: _Naming, name: str) -> tuple[tuple[str, str], ...]:
    """The sockets a pack's chain cables may use: a port can carry the chain and yet be one that members leave alone."""
    record = naming.record(name)
    role = "manager" if name == naming.choice.manager else "members"
    return tuple(
        (port, socket)
        for port, socket in bus_ports(record, naming.chain_buses(name), naming.mode(name))
        if record.ports[port].unused_by != role
    )


def _kept_for_reports(naming: _Naming, hops: Sequence[Hop]) -> dict[str, set[str]]:
    """Keep the sockets of the cables to the controllers free: a report port can carry the chain on other pins."""
    source = _reporter(naming.choice)
    if source is None or naming.report is None:
        return {}
    taken = {
        end.socket
        for hop in hops
        if hop.cable is not None
        for end in (hop.cable.a, hop.cable.b)
        if end.device == source and end.socket is not None
    }
    kept: set[str] = set()
    for controller in naming.choice.link.reports_to:
        end = _report_end(naming, source, _report_cable(naming, source, controller), taken | kept)
        if end.socket is not None:
            kept.add(end.socket)
    return {source: kept}


def _reporter(choice: LinkChoice) -> str | None:
    """The pack that the controllers' cables go to: the manager, or the first pack where the controller polls every
    pack.
    """
    return choice.manager if choice.manager is not None else next(iter(choice.members), None)


def _kinds(naming: _Naming) -> tuple[str, ...]:
    return tuple(dict.fromkeys(naming.record(p).id for p in naming.choice.members))


def _planned(naming: _Naming, hop: Hop, a: StageEnd, b: StageEnd, number: int) -> Planned:
    cable = hop.cable
    if cable is None:
        name = _new_name(naming.site, f"{naming.choice.link.id}-{number}")
        return Planned(name, a, b, None, "straight", (), "chain", None, naming.choice.link.at, None, hop.bridged)
    if cable.a.device != a.device:
        a, b = b, a
    return Planned(cable.id, a, b, None, "straight", (), "chain", cable.length_m, cable.at, None, hop.bridged)


def _new_name(site: Site, name: str) -> str:
    taken = {*site.devices, *(c.id for c in (*site.cables, *(site.found_cables or ())))}
    while name in taken:
        name += "n"
    return name


def _proposed_hops(naming: _Naming) -> tuple[Hop, ...] | None:
    choice, site = naming.choice, naming.site
    devices = [site.devices[p] for p in choice.members]
    installed = frozenset(
        frozenset((c.a.device, c.b.device))
        for c in site.found_cables or ()
        if c.a.device is not None and c.b.device is not None
    )
    order = propose_order(
        devices,
        choice.manager,
        lambda a, b: _pair_has_cable(naming, a, b),
        installed,
        lambda tried: _end_faults(naming, tried),
        anywhere=_manager_anywhere(naming),
    )
    if order is None:
        return None
    written = {frozenset((c.a.device, c.b.device)): c for c in (site.found_cables or ())}
    return tuple(Hop(a, b, written.get(frozenset((a, b)))) for a, b in itertools.pairwise(order))


def _manager_anywhere(naming: _Naming) -> bool:
    """Whether the manager may stand anywhere in the row: its switches make it the manager, no port and no place."""
    choice = naming.choice
    if choice.manager is None or choice.family is None:
        return True
    made_by = naming.record(choice.manager).manager.made_by.only
    return choice.family.numbered and made_by in ("address", "flag", "dialect code", "newest")


def _end_faults(naming: _Naming, order: Sequence[str]) -> int:
    """Count the terminators that an order leaves out of place: fixed inside the row, or missing at an end; and the
    packs inside the row that have one socket only.
    """
    fitted: dict[str, set[str | None]] = {}
    needed = False
    for name in order:
        buses = [naming.record(name).buses[bus] for bus in naming.chain_buses(name)]
        shared = [bus.termination for bus in buses if bus.hop == "shared"]
        fitted[name] = {t.fitted.only for t in shared}
        needed = needed or any(t.ends.only == "required" for t in shared)
    inner, ends = order[1:-1], {order[0], order[-1]}
    missing = sum(fitted[name] == {"never"} for name in ends) if needed else 0
    narrow = sum(len(_chain_ports(naming, name)) < 2 for name in inner)
    return missing + sum("always" in fitted[name] for name in inner) + narrow * len(order)


def _pair_has_cable(naming: _Naming, a: str, b: str) -> bool:
    kinds = naming.kind(a), naming.kind(b)
    if kinds not in naming.pairs:
        naming.pairs[kinds] = _pair_of(naming, a, b)
    return naming.pairs[kinds]


def _pair_of(naming: _Naming, a: str, b: str) -> bool:
    return _pair(
        RecordKey(naming.record(a)),
        naming.mode(a),
        naming.chain_buses(a),
        RecordKey(naming.record(b)),
        naming.mode(b),
        naming.chain_buses(b),
    )


@cache
def _pair(
    one: RecordKey,
    mode_a: str | None,
    buses_a: tuple[str, ...],
    other: RecordKey,
    mode_b: str | None,
    buses_b: tuple[str, ...],
) -> bool:
    """Whether a cable exists from the out side of one kind of pack to the in side of another."""
    ends = []
    for parity, (key, mode, buses, pick) in enumerate(((one, mode_a, buses_a, -1), (other, mode_b, buses_b, 0))):
        ports = bus_ports(key.record, buses, mode)
        if not ports:
            return False
        port, socket = ports[pick]
        ends.append(Socket(f"{pick}", port, socket, _face(key, port, socket, mode, buses, "chain", parity)))
    return isinstance(choose_conductors(Chain((CableSlot("probe", ends[0], ends[1]),))), ConductorChoice)


def _probe(naming: _Naming) -> NoCable | None:
    """The first two kinds that no cable joins, for the refusal."""
    members = [naming.site.devices[p] for p in naming.choice.members]
    firsts: dict[int, Device] = {}
    for device in members:
        firsts.setdefault(id(device.record), device)
    kinds = list(firsts.values())
    for a in kinds:
        for b in kinds:
            if a is not b and not _pair_has_cable(naming, a.id, b.id):
                ports = {d.id: bus_ports(d.record, naming.chain_buses(d.id), naming.mode(d.id)) for d in (a, b)}
                if ports[a.id] and ports[b.id]:
                    one = naming.socket(StageEnd(a.id, *ports[a.id][-1]), "chain", 0)
                    other = naming.socket(StageEnd(b.id, *ports[b.id][0]), "chain", 1)
                    if one is not None and other is not None:
                        found = choose_conductors(Chain((CableSlot("probe", one, other),)))
                        return found if isinstance(found, NoCable) else None
    return None


def alike_blank(one: Socket, other: Socket, record_a: Record, record_b: Record, pair: tuple[str, str]) -> bool:
    """Whether a conductor joins nothing but the same blank pin of two packs of one record (the maker's own lead)."""
    if record_a is not record_b or pair[0] != pair[1]:
        return False
    return all(
        is_blank(c)
        for socket, pin in ((one, pair[0]), (other, pair[1]))
        for c in socket.face.contacts.get(pin, (NotStated(),))
    )


def _conductors(naming: _Naming, cables: Sequence[Planned], carries: str) -> tuple[Planned, ...] | NoCable:
    """Choose the conductors of cables that follow one another (one chain).

    What the site wants made stays as written, its faults are for the rules; an installed cable that it leaves to
    the plan stays as it is where that is possible and is altered where not.
    """
    wanted = {c.id: c for c in naming.site.cables}
    installed = {
        c.id: c for c in naming.site.found_cables or () if c.id not in wanted or wanted[c.id].made.kind == "propose"
    }
    soft = {c.id for c in cables if c.id in installed}
    while True:
        slots, kept = _slots(naming, cables, carries, wanted, {i: installed[i] for i in soft})
        if slots is None:
            return _as_stated(naming.site, cables, wanted)
        found = choose_conductors(_oriented(slots))
        if isinstance(found, ConductorChoice):
            break
        failing = {core.cable for core in found.cores}
        if failing & soft:
            soft -= failing
        elif soft:
            soft = set()
        else:
            made = {slot.id for slot in slots if slot.fixed is not None}
            return _as_stated(naming.site, cables, wanted) if failing & made else found
    by_id = {c.id: c for c in found.cables}
    return tuple(_with_choice(cable, by_id[cable.id], kept[cable.id], _turned(slots, cable.id)) for cable in cables)


Pins = tuple[tuple[str, str], ...]


def _slots(
    naming: _Naming,
    cables: Sequence[Planned],
    carries: str,
    wanted: Mapping[str, Cable],
    installed: Mapping[str, Cable],
) -> tuple[list[CableSlot] | None, dict[str, Pins]]:
    """Return the cable places with what is made already, and the blank pins a made cable joins alike (left out of
    the choice).
    """
    slots: list[CableSlot] = []
    kept: dict[str, Pins] = {}
    parities: dict[str, int] = {}
    for cable in cables:
        one, other = (
            naming.socket(end, carries, _parity(parities, end, far))
            for end, far in ((cable.a, cable.b), (cable.b, cable.a))
        )
        if one is None or other is None:
            return None, {}
        fixed = _stated(naming.site, installed.get(cable.id) or wanted.get(cable.id), cable)
        blank: Pins = ()
        if any(p not in one.face.nodes or q not in other.face.nodes for p, q in fixed or ()):
            return None, {}     # pins of a plug that nobody stated whole: nothing is chosen about it
        if fixed is not None:
            records = naming.record(cable.a.device), naming.record(cable.b.device)
            blank = tuple(p for p in fixed if alike_blank(one, other, *records, p))
            fixed = tuple(p for p in fixed if p not in blank)
        slots.append(CableSlot(cable.id, one, other, fixed, carries=frozenset({carries})))
        kept[cable.id] = blank
    return slots, kept


def _parity(parities: dict[str, int], end: StageEnd, far: StageEnd) -> int:
    """Neighbours along a chain have unlike parity."""
    if end.device not in parities:
        parities[end.device] = 1 - parities[far.device] if far.device in parities else 0
    return parities[end.device]


def _as_stated(site: Site, cables: Sequence[Planned], written: Mapping[str, Cable]) -> tuple[Planned, ...]:
    """Keep every made cable as the site states it (the rules say what is wrong); others straight with nothing known."""
    return tuple(_stated_whole(site, c, _stated(site, written.get(c.id), c)) for c in cables)


def _stated_whole(site: Site, cable: Planned, joined: tuple[tuple[str, str], ...] | None) -> Planned:
    """A cable with the pins that the site states: re-pinned if any goes to another pin, else with the rest cut."""
    if joined is None:
        return cable
    if any(one != other for one, other in joined):
        return replace(cable, joined=tuple(sorted(joined, key=lambda p: (len(p[0]), p[0]))), kind="repinned")
    poles = [port_poles(site.devices[end.device].record, end.port) if end.port else () for end in (cable.a, cable.b)]
    kept = {pin for pin, _ in joined}
    return replace(cable, joined=joined, cut=tuple(p for p in poles[0] if p in poles[1] and p not in kept))


def _oriented(slots: Sequence[CableSlot]) -> Chain:
    """Turn cables so that each goes on from the device where the one before ended."""
    turned: list[CableSlot] = []
    for i, slot in enumerate(slots):
        if i == 0:
            first_next = slots[1] if len(slots) > 1 else None
            away = first_next is not None and slot.a.device in (first_next.a.device, first_next.b.device)
            turned.append(_turn(slot) if away else slot)
        else:
            turned.append(slot if slot.a.device == turned[-1].b.device else _turn(slot))
    return Chain(tuple(turned))


def _turn(slot: CableSlot) -> CableSlot:
    fixed = tuple((b, a) for a, b in slot.fixed) if slot.fixed is not None else None
    return replace(slot, a=slot.b, b=slot.a, fixed=fixed)


def _turned(slots: Sequence[CableSlot], name: str) -> bool:
    chain = _oriented(slots).cables
    return next(s.a.device for s in slots if s.id == name) != next(s.a.device for s in chain if s.id == name)


def _with_choice(cable: Planned, choice: CableChoice, blank: Sequence[tuple[str, str]], turned: bool) -> Planned:
    joined = tuple((b, a) for a, b in choice.joined) if turned else choice.joined
    pins = (*joined, *blank)
    order = sorted(pins, key=lambda p: (len(p[0]), p[0]))
    cut = tuple(p for p in choice.cut if p not in {a for a, _ in blank})
    return replace(cable, joined=tuple(order), kind=choice.kind, cut=cut, choice=choice)


def _stated(site: Site, cable: Cable | None, planned: Planned) -> tuple[tuple[str, str], ...] | None:
    """The joined pins of a cable that the site states as made, pin at ``a`` of the plan with pin at ``b``."""
    if cable is None or cable.made.kind in ("propose", "unknown"):
        return None
    return joined_pins(site, cable, planned.a, planned.b)


# ---- towards the controllers ----


def _reports(naming: _Naming, used: set[tuple[str, str | None]]) -> tuple[Planned, ...] | Blocked:
    """The cables from the manager to each controller (from the first pack where the controller polls every pack)."""
    choice, site = naming.choice, naming.site
    source = _reporter(choice)
    if source is None or naming.report is None:
        return ()
    found: list[Planned] = []
    for controller in choice.link.reports_to:
        cable = _report_cable(naming, source, controller)
        taken = {s for d, s in used if d == source and s is not None}
        a = _report_end(naming, source, cable, taken)
        b = _report_end(naming, controller, cable, {s for d, s in naming.taken if d == controller})
        if a.socket is None or b.socket is None:
            continue  # no socket left: the rules say that no data cable reaches this controller
        used.add((source, a.socket))
        naming.taken.add((controller, b.socket))
        name = cable.id if cable is not None else _new_name(site, f"{choice.link.id}-to-{controller}")
        at = cable.at if cable is not None else choice.link.at
        planned = Planned(name, a, b, None, "straight", (), "report", cable.length_m if cable is not None else None, at)
        chosen = _conductors(naming, (planned,), "report")
        if isinstance(chosen, NoCable):
            return Blocked((naming.record(source).id, naming.record(controller).id), chosen)
        found += chosen
    return tuple(found)


def _report_cable(naming: _Naming, manager: str, controller: str) -> Cable | None:
    """The wanted cable towards a controller: from the manager by name or by role, on this link."""
    for cable in naming.site.cables:
        for near, far in ((cable.a, cable.b), (cable.b, cable.a)):
            if far.device != controller:
                continue
            if near.device is None and near.link in (None, naming.choice.link.id):
                return cable
            if near.device == manager:
                return cable
    for cable in naming.site.found_cables or ():
        ends = {cable.a.device, cable.b.device}
        if controller in ends and ends & set(naming.choice.link.packs):
            return cable
    return None


def _report_end(naming: _Naming, device: str, cable: Cable | None, taken: set[str]) -> StageEnd:
    record = naming.record(device)
    candidates = [c for c in bus_ports(record, naming.report_buses(device), naming.mode(device)) if c[1] not in taken]
    end = None
    for one, other in ((cable.a, cable.b), (cable.b, cable.a)) if cable is not None else ():
        if one.device == device or (one.device is None and other.device != device):
            end = one
    if (
        end is not None
        and end.socket is not None
        and (end.port, end.socket) not in candidates
        and cable not in naming.site.cables
    ):
        end = None
    if end is not None and end.socket is not None:
        return StageEnd(device, end.port or port_of_socket(record, end.socket), end.socket)
    if end is not None and end.port is not None and end.port in record.ports:
        sockets = [s for s in record.ports[end.port].sockets if s not in taken]
        return StageEnd(device, end.port, sockets[0] if sockets else None)
    return StageEnd(device, *candidates[0]) if candidates else StageEnd(device, None, None)
