"""The cables of a link: which stand in the plan, from which socket to which, with which conductors."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache

from interop.choose.conductors import ConductorChoice, choose_conductors
from interop.choose.installed import best_lead, ends_along
from interop.choose.making import Maker
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.naming import Naming, Planned, new_name, shown_face
from interop.choose.no_cable import NoCable
from interop.choose.route import Hop, bus_ports, propose_order, site_hops, sockets_along
from interop.choose.towards import Attachment, attachments, ends_first, listed, on_packs_bus
from interop.site.ends import end_at
from interop.site.site import Cable, Device, Site
from interop.unchanging import unchanging
from interop.wiring.contacts import CableSlot, Chain, Socket
from interop.wiring.paths import shape_of
from interop.wiring.stage import StageEnd
from interop.wiring.talks import RecordKey

__all__ = ["Blocked", "Planned", "Routed", "route_link", "with_installed"]


@unchanging
class Blocked:
    """Why a link has no cables: packs for which no order works, or the pins that leave no cable."""

    kinds: tuple[str, ...]
    no_cable: NoCable | None
    lone: str | None = None
    """The pack that would need a second socket for its two neighbours, and has one."""


@unchanging
class Routed:
    """The order of a link with its cables. ``path``: its chain runs from pack to pack without branch or ring."""

    order: tuple[str, ...]
    cables: tuple[Planned, ...]
    path: bool = True


def route_link(
    site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], taken: set[tuple[str, str]]
) -> Routed | Blocked:
    """Return the order and the cables of a chosen link as if all were to be made, or what leaves no cable.

    ``taken`` are (controller, socket) that other links use; those of this link are added.
    """
    naming = Naming(site, choice, packs, taken)
    chain = _chain(naming)
    if isinstance(chain, Blocked):
        return chain
    reports = _reports(naming, chain, {(e.device, e.socket) for c in chain.cables for e in (c.a, c.b)})
    return _made(naming, replace(chain, cables=(*chain.cables, *reports)), {})


def with_installed(
    site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], routed: Routed, installed: Mapping[str, Cable]
) -> Routed:
    """Return a routed link whose cables are the installed ones where there are any, by the id of the planned one: as
    they are made where that is possible. A cable that the plan adds takes the name and length of the installed one.
    """
    if not any(cable.id in installed for cable in routed.cables):
        return routed
    turned = tuple(_turned(cable, installed.get(cable.id)) for cable in routed.cables)
    made = _made(Naming(site, choice, packs, set()), replace(routed, cables=turned), installed)
    if isinstance(made, Blocked):
        return routed  # cannot be: what is installed may be altered
    return replace(made, cables=tuple(_named(cable, installed.get(cable.id)) for cable in made.cables))


def _turned(cable: Planned, lead: Cable | None) -> Planned:
    """A chain cable that the plan adds runs from end to end as the installed one is written."""
    if lead is None or cable.wanted is not None or cable.carries != "chain":
        return cable
    along = ends_along(lead, cable.a, cable.b) == (lead.a, lead.b)
    return cable if along else replace(cable, a=cable.b, b=cable.a)


def _named(cable: Planned, lead: Cable | None) -> Planned:
    if lead is None or cable.wanted is not None:
        return cable
    return replace(cable, id=lead.id, length_m=lead.length_m, at=lead.at)


def _made(naming: Naming, routed: Routed, installed: Mapping[str, Cable]) -> Routed | Blocked:
    """Choose the conductors of all cables: between packs that follow one another of all at once, others one by one."""
    maker = Maker(naming, installed)
    done: list[Planned] = []
    bare = [replace(c, joined=None, kind="straight", cut=(), choice=None) for c in routed.cables]
    for carries, run in itertools.groupby(bare, key=lambda c: c.carries):
        cables = tuple(run)
        for row in [cables] if carries == "chain" and routed.path else [(cable,) for cable in cables]:
            chosen = maker.row(row, carries)
            if isinstance(chosen, NoCable):
                ends = tuple(dict.fromkeys(naming.record(e.device).id for c in row for e in (c.a, c.b)))
                return Blocked(_kinds(naming) if carries == "chain" else ends, chosen)
            done += chosen
    return replace(routed, cables=tuple(done))


def _chain(naming: Naming) -> Routed | Blocked:
    choice, site = naming.choice, naming.site
    members = choice.members
    if len(members) < 2:
        return Routed(members, ())
    beside = tuple(on_packs_bus(site, choice))
    wanted = [cable for cable in site.cables if naming.may_hop(cable)]
    hops = None if choice.link.propose_cables else site_hops(choice.link, members, wanted, choice.manager, beside)
    if hops is None:
        proposed = _standing_row(naming, beside) or _proposed_hops(naming)
        if proposed is None:
            return Blocked(_kinds(naming), _probe(naming))
        hops = proposed
    row = tuple(dict.fromkeys(p for hop in hops for p in (hop.first, hop.second)))
    ports = {p: _chain_ports(naming, p) for p in row}
    kept, records = _kept_for_reports(naming, hops, ports), {p: naming.record(p) for p in row}
    ends = sockets_along(hops, records, ports, kept, directed=not _manager_anywhere(naming))
    made = [_planned(naming, hop, a, b, i) for i, (hop, (a, b)) in enumerate(zip(hops, ends, strict=True), 1)]
    cables = list(_told_apart(naming, made))
    naming.taken |= {(e.device, e.socket) for c in cables for e in (c.a, c.b) if e.device in beside and e.socket}
    lone = next((end.device for pair in ends for end in pair if end.socket is None and end.device not in beside), None)
    if lone is not None:
        return Blocked(_kinds(naming), None, lone)
    path = shape_of(row, [(hop.first, hop.second) for hop in hops]).kind == "path" and not set(members) - set(row)
    return Routed(tuple(p for p in row if p not in beside) if path else members, tuple(cables), path)


def _standing_row(naming: Naming, beside: Sequence[str]) -> tuple[Hop, ...] | None:
    """The installed row where a controller stands inside it and it reaches every pack; None otherwise.

    A row of packs alone would put the controller at an end: cables that serve would change, and so would the ends.
    """
    choice = naming.choice
    leads = [cable for cable in naming.site.found_cables or () if naming.may_hop(cable)]
    hops = site_hops(choice.link, choice.members, leads, choice.manager, beside) or ()
    pairs = [(hop.first, hop.second) for hop in hops]
    ends = [name for pair in pairs for name in pair]
    if set(choice.members) - set(ends) or not any(ends.count(one) > 1 for one in beside):
        return None
    if shape_of(tuple(dict.fromkeys(ends)), pairs).kind != "path":
        return None
    return tuple(replace(hop, cable=None, lead=hop.cable) for hop in hops)


def _chain_ports(naming: Naming, name: str) -> tuple[tuple[str, str], ...]:
    """The sockets a pack's chain cables may use: a port can carry the chain and yet be one that members leave alone, or
    one that makes the manager by being empty. Of a controller on the packs' own bus: those that no other cable takes.
    """
    record = naming.record(name)
    if naming.site.devices[name].kind != "pack":
        every = bus_ports(record, naming.report_buses(name), None)
        return tuple((port, socket) for port, socket in every if (name, socket) not in naming.taken)
    role = "manager" if name == naming.choice.manager else "members"
    empty = record.manager.port if role == "manager" and "empty port" in record.manager.made_by.values else None
    return tuple(
        (port, socket)
        for port, socket in bus_ports(record, naming.chain_buses(name), naming.mode(name))
        if record.ports[port].unused_by != role and port != empty
    )


def _kept_for_reports(
    naming: Naming, hops: Sequence[Hop], ports: Mapping[str, Sequence[tuple[str, str]]]
) -> dict[str, set[str]]:
    """Keep the sockets of the cables to the controllers free: a report port can carry the chain on other pins."""
    kept: dict[str, set[str]] = {}
    if naming.report is None:
        return kept
    pairs = [(hop.first, hop.second) for hop in hops]
    for one in _to_controllers(naming, pairs, tuple(dict.fromkeys(p for pair in pairs for p in pair))):
        if naming.site.devices[one.source].kind != "pack":
            continue
        taken = {
            end.socket
            for hop in hops
            if (cable := hop.cable or hop.lead) is not None
            for end in (cable.a, cable.b)
            if end.device == one.source and end.socket is not None
            and (hop.cable is not None or (end.port, end.socket) in ports.get(one.source, ()))
        }
        mine = kept.setdefault(one.source, set())
        end = _report_end(naming, one.source, one.cable, taken | mine)
        if end.socket is not None:
            mine.add(end.socket)
    return kept


def _to_controllers(
    naming: Naming, pairs: Sequence[tuple[str, str]], row: Sequence[str]
) -> tuple[Attachment, ...]:
    """The cables to the controllers that do not stand in a row of devices already; ``pairs``: its neighbours."""
    packs = set(naming.choice.members)
    ends = [name for pair in pairs for name in pair]

    def room(name: str) -> int:
        return len(bus_ports(naming.record(name), naming.report_buses(name), naming.mode(name))) - ends.count(name)

    order = [p for p in row if p in packs] or naming.choice.members
    return attachments(naming.towards, naming.choice, order, room, [p for p in dict.fromkeys(ends) if p not in packs])


def _kinds(naming: Naming) -> tuple[str, ...]:
    return tuple(dict.fromkeys(naming.record(p).id for p in naming.choice.members))


def _planned(naming: Naming, hop: Hop, a: StageEnd, b: StageEnd, number: int) -> Planned:
    cable = hop.cable
    carries = "chain" if {naming.site.devices[e.device].kind for e in (a, b)} == {"pack"} else "report"
    if cable is None:
        far = next((e.device for e in (a, b) if naming.site.devices[e.device].kind != "pack"), None)
        name = new_name(naming.site, f"{naming.choice.link.id}-" + (f"to-{far}" if far is not None else f"{number}"))
        return Planned(
            name, *_pack_first(naming, a, b), None, "straight", (), carries, None, naming.choice.link.at, None,
            hop.bridged,
        )
    if cable.a.device != a.device:
        a, b = b, a
    a, b = _pack_first(naming, a, b)
    return Planned(cable.id, a, b, None, "straight", (), carries, cable.length_m, cable.at, None, hop.bridged, cable)


def _told_apart(naming: Naming, cables: Sequence[Planned]) -> Iterator[Planned]:
    """The cables with names of their own: two can lead to one controller."""
    seen: Counter[str] = Counter()
    for cable in cables:
        seen[cable.id] += 1
        number = seen[cable.id]
        yield cable if number == 1 else replace(cable, id=new_name(naming.site, f"{cable.id}-{number}"))


def _pack_first(naming: Naming, a: StageEnd, b: StageEnd) -> tuple[StageEnd, StageEnd]:
    """The ends of a cable with a controller's last."""
    kinds = [naming.site.devices[end.device].kind for end in (a, b)]
    return (b, a) if kinds[0] != "pack" and kinds[1] == "pack" else (a, b)


def _proposed_hops(naming: Naming) -> tuple[Hop, ...] | None:
    choice, site = naming.choice, naming.site
    devices = [site.devices[p] for p in choice.members]
    pairs = {frozenset((c.a.device, c.b.device)) for c in site.found_cables or () if c.a.device and c.b.device}
    leads = {pair: best_lead(naming, *sorted(pair)) for pair in pairs if len(pair) == 2 and pair <= set(choice.members)}
    faults = _end_faults(naming)
    order = propose_order(
        devices,
        choice.manager,
        lambda a, b: _pair_has_cable(naming, a, b),
        frozenset(pair for pair, lead in leads.items() if lead is not None),
        faults,
        anywhere=_manager_anywhere(naming),
    )
    if order is None:
        return None
    order = _with_controllers(naming, order, faults)
    return tuple(Hop(a, b, None, (), leads.get(frozenset((a, b)))) for a, b in itertools.pairwise(order))


def _with_controllers(
    naming: Naming, order: tuple[str, ...], faults: Callable[[Sequence[str]], int]
) -> tuple[str, ...]:
    """The order, turned where a pack inside it has no socket left for the controller's cable that the site lists."""
    if faults(order) < len(order):
        return order
    attached = [p for p in dict.fromkeys(a.source for a in listed(naming.towards, naming.choice)) if p in order]
    turned = ends_first(order, attached, anywhere=_manager_anywhere(naming))
    able = [one for one in turned if all(_pair_has_cable(naming, a, b) for a, b in itertools.pairwise(one))]
    return min([order, *able], key=faults)


def _manager_anywhere(naming: Naming) -> bool:
    """Whether the manager may stand anywhere in the row: its switches make it the manager, no port and no place."""
    choice = naming.choice
    if choice.manager is None or choice.family is None:
        return True
    made_by = naming.record(choice.manager).manager.made_by.only
    return choice.family.numbered and made_by in ("address", "flag", "dialect code", "newest")


def _end_faults(naming: Naming) -> Callable[[Sequence[str]], int]:
    """What counts the terminators that an order leaves out of place: fixed inside the row, or missing at an end; and
    the packs inside the row that have one socket only.
    """
    beside = bool(on_packs_bus(naming.site, naming.choice))
    kept = Counter(a.source for a in listed(naming.towards, naming.choice) if beside)

    @cache
    def of(name: str) -> tuple[set[str | None], bool, int]:
        """Where the terminators of a pack are, whether its bus asks for them at the ends, and its sockets."""
        shared = [bus.termination for key in naming.chain_buses(name)
                  if (bus := naming.record(name).buses[key]).hop == "shared"]
        return ({t.fitted.only for t in shared}, any(t.ends.only == "required" for t in shared),
                len(_chain_ports(naming, name)) - kept[name])

    def faults(order: Sequence[str]) -> int:
        inner, ends = order[1:-1], {order[0], order[-1]}
        needed = any(of(name)[1] for name in order)
        missing = sum(of(name)[0] == {"never"} for name in ends) if needed else 0
        narrow = sum(of(name)[2] < 2 for name in inner) + sum(of(name)[2] < 1 for name in ends)
        return missing + sum("always" in of(name)[0] for name in inner) + narrow * len(order)

    return faults


def _pair_has_cable(naming: Naming, a: str, b: str) -> bool:
    kinds = naming.kind(a), naming.kind(b)
    if kinds not in naming.pairs:
        naming.pairs[kinds] = _pair_of(naming, a, b)
    return naming.pairs[kinds]


def _pair_of(naming: Naming, a: str, b: str) -> bool:
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
        ends.append(Socket(f"{pick}", port, socket, shown_face(key, port, socket, mode, buses, "chain", parity)))
    return isinstance(choose_conductors(Chain((CableSlot("probe", ends[0], ends[1]),))), ConductorChoice)


def _probe(naming: Naming) -> NoCable | None:
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


# ---- towards the controllers ----


def _reports(naming: Naming, row: Routed, used: set[tuple[str, str | None]]) -> tuple[Planned, ...]:
    """The cables to each controller that does not stand in the row of packs already."""
    choice, site = naming.choice, naming.site
    if naming.report is None:
        return ()
    found: list[Planned] = []
    for one in _to_controllers(naming, [(c.a.device, c.b.device) for c in row.cables], row.order):
        source, controller, cable = one.source, one.controller, one.cable
        taken = {s for d, s in used if d == source and s is not None}
        taken |= {s for d, s in naming.taken if d == source and site.devices[d].kind != "pack"}
        a = _report_end(naming, source, cable, taken)
        b = _report_end(naming, controller, cable, {s for d, s in naming.taken if d == controller})
        if a.socket is None or b.socket is None:
            continue  # no socket left: the rules say that no data cable reaches this controller
        used.add((source, a.socket))
        naming.taken.add((controller, b.socket))
        wanted = cable if cable in site.cables else None
        name = wanted.id if wanted is not None else new_name(site, f"{choice.link.id}-to-{controller}")
        at = wanted.at if wanted is not None else choice.link.at
        length = wanted.length_m if wanted is not None else None
        found.append(Planned(name, a, b, None, "straight", (), "report", length, at, wanted=wanted))
    return tuple(found)


def _report_end(naming: Naming, device: str, cable: Cable | None, taken: set[str]) -> StageEnd:
    """The end of a cable towards a controller: as written, else in a socket that is free today, else in any."""
    record = naming.record(device)
    held = {end.socket for other in naming.site.found_cables or () if cable is None or other.id != cable.id
            for end in (other.a, other.b) if end.device == device}  # fmt: skip
    every = bus_ports(record, naming.report_buses(device), naming.mode(device))
    candidates = sorted((c for c in every if c[1] not in taken), key=lambda c: c[1] in held)
    end = None
    for one, other in ((cable.a, cable.b), (cable.b, cable.a)) if cable is not None else ():
        if one.device == device or (one.device is None and other.device != device):
            end = one if one.port in record.ports else end_at(naming.site, device, one)
    if (
        end is not None
        and end.socket is not None
        and (end.port, end.socket) not in candidates
        and cable not in naming.site.cables
    ):
        end = None
    if end is not None and end.socket is not None:
        return naming.placed(device, end)
    if end is not None and end.port is not None and end.port in record.ports:
        sockets = sorted((s for s in record.ports[end.port].sockets if s not in taken), key=lambda s: s in held)
        return StageEnd(device, end.port, sockets[0] if sockets else None)
    return StageEnd(device, *candidates[0]) if candidates else StageEnd(device, None, None)
