"""The whole decision for one site, and the stage it makes: managers, modes, addresses, switches, routes,
conductors, terminators.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from interop.choose.cables import Blocked, Planned, Routed, route_link
from interop.choose.cells import SlotState, standing, switch_values
from interop.choose.members import LinkChoice, PackChoice, choose_components, components, finish_links
from interop.choose.route import bus_ports
from interop.choose.words import blocked_words
from interop.records.switches import Case, Pattern, part_switches, positions, readings, row_length, settings
from interop.site.ends import with_found_ends
from interop.site.site import Cable, Device, Site
from interop.wiring.stage import Stage, StageCable, StageEnd, StageLink, banks_of, joined_pins, stage_pack
from interop.wiring.talks import RecordKey, chain_talks, controller_talks, report_talks

__all__ = ["MOST_STRIKES", "CableAction", "Decisions", "Removed", "decide", "planned_stage", "plug_socket"]

MOST_STRIKES = 200
"""Most plans of one component that are struck out for want of a cable before its link is given up."""


@dataclass(frozen=True)
class Removed:
    """An installed cable that the plan takes away, or a wanted one that it does not make."""

    cable: Cable
    why: str


@dataclass(frozen=True)
class CableAction:
    """What is to be done with a planned cable: keep, make or alter, and what it was."""

    action: str
    was: Cable | None


@dataclass(frozen=True, eq=False)
class Decisions:
    """Everything decided. ``patterns``: by pack and row, complete. ``blocked``: links for which no cable exists."""

    site: Site
    links: tuple[LinkChoice, ...]
    packs: Mapping[str, PackChoice]
    routes: Mapping[str, Routed]
    blocked: Mapping[str, Blocked]
    patterns: Mapping[str, Mapping[str, Pattern]]
    terminators: Mapping[tuple[str, str], bool]
    removed: tuple[Removed, ...]
    dropped: tuple[Removed, ...]
    actions: Mapping[str, CableAction]
    struck: Mapping[str, tuple[Blocked, ...]] = field(default_factory=dict)


def decide(site: Site) -> Decisions:
    """Decide everything for a site. Kinds in modes that no cable can join are struck out and the next best is taken.

    Raises :class:`interop.choose.members.TooWide` where the search comes to its limits with nothing found.
    """
    site = with_found_ends(site)
    links: list[LinkChoice] = []
    packs: dict[str, PackChoice] = {d.id: PackChoice(d.id, "unmanaged", None, None, None, None) for d in site.packs}
    routes: dict[str, Routed] = {}
    blocked: dict[str, Blocked] = {}
    struck: dict[str, list[Blocked]] = {}
    taken = {
        (end.device, end.socket)
        for cable in site.cables
        for end in (cable.a, cable.b)
        if end.device is not None and end.socket is not None and site.devices[end.device].kind != "pack"
    }
    for component in components(site):
        for _ in range(MOST_STRIKES):
            choices, chosen = choose_components(component)
            now = set(taken)
            found = {c.link.id: route_link(site, c, chosen, now) for c in choices if c.family is not None}
            bad = {k: r for k, r in found.items() if isinstance(r, Blocked)}
            if not bad:
                break
            for i, choice in enumerate(choices):
                if choice.link.id in bad and choice.family is not None:
                    sockets = choice.count if bad[choice.link.id].lone is not None else None
                    component.strike(i, choice.family, *_modes_used(site, choice, chosen), sockets)
                    struck.setdefault(choice.link.id, []).append(bad[choice.link.id])
        taken = now
        links += finish_links(component, choices)
        packs.update(chosen)
        routes.update({k: r for k, r in found.items() if isinstance(r, Routed)})
        blocked.update(bad)
        blocked.update({k: r[-1] for k, r in struck.items() if k in {c.link.id for c in choices} and k not in routes})
    order = {link.id: i for i, link in enumerate(site.links)}
    ordered = tuple(sorted(links, key=lambda c: order[c.link.id]))
    terminators = dict(_terminators(site, ordered, packs, routes))
    ends: dict[str, dict[str, bool]] = {}
    for (pack, bus), on in terminators.items():
        ends.setdefault(pack, {})[bus] = on
    patterns = {d.id: _patterns(d, packs[d.id], _place(d.id, routes, packs), ends.get(d.id, {})) for d in site.packs}
    return Decisions(
        site,
        ordered,
        packs,
        routes,
        blocked,
        patterns,
        terminators,
        tuple(_removed(site, routes)),
        tuple(_dropped(site, routes)),
        _actions(site, routes),
        {k: tuple(v) for k, v in struck.items()},
    )


def _modes_used(
    site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice]
) -> tuple[dict[RecordKey, frozenset[str]], str | None]:
    """Return the modes of the members of each kind, and the mode of the manager."""
    used: dict[RecordKey, frozenset[str]] = {}
    for name in choice.members:
        mode = packs[name].mode
        if name != choice.manager and mode is not None:
            key = RecordKey(site.devices[name].record)
            used[key] = used.get(key, frozenset()) | {mode}
    return used, packs[choice.manager].mode if choice.manager is not None else None


# ---- ends and switches ----


def _terminators(
    site: Site, links: Sequence[LinkChoice], packs: Mapping[str, PackChoice], routes: Mapping[str, Routed]
) -> Iterator[tuple[tuple[str, str], bool]]:
    """Say for every bus with a terminator that can be set or plugged whether it is on: at the two ends, where any
    node of the bus asks for it. A plug is on only where a socket is free for it.
    """
    for choice in links:
        route = routes.get(choice.link.id)
        if route is None:
            continue
        for name in route.order:
            pack = packs[name]
            if pack.state is None or pack.mode is None:
                continue
            record = site.devices[name].record
            for bus in _chain_buses(site, packs, name):
                if record.buses[bus].termination.fitted.only in ("by switch", "by plug"):
                    stated = _set_terminator(site.devices[name], bus, pack)
                    on = _ends_on(site, choice, packs, route, name, bus) if stated is None else stated
                    yield (name, bus), on and _fits(site, packs, routes, name, bus)
            for bus in (
                report_talks(record, pack.mode).get(pack.state.report, ()) if pack.state.report is not None else ()
            ):
                if (
                    name == choice.manager
                    and record.buses[bus].used_by == "manager"
                    and record.buses[bus].termination.fitted.only in ("by switch", "by plug")
                ):
                    on = record.buses[bus].termination.ends.only not in ("forbidden", "only in open loop")
                    yield (name, bus), on and _fits(site, packs, routes, name, bus)


def _chain_buses(site: Site, packs: Mapping[str, PackChoice], name: str) -> tuple[str, ...]:
    pack = packs[name]
    if pack.state is None or pack.mode is None or pack.state.chain is None:
        return ()
    return chain_talks(site.devices[name].record, pack.mode).get(pack.state.chain, ())


def _fits(
    site: Site, packs: Mapping[str, PackChoice], routes: Mapping[str, Routed], name: str, bus: str
) -> bool:
    """Whether a terminator that is to be on can be: one that is a plug needs a socket."""
    if site.devices[name].record.buses[bus].termination.fitted.only != "by plug":
        return True
    return plug_socket(site, packs, routes, name, bus) is not None


def plug_socket(
    site: Site, packs: Mapping[str, PackChoice], routes: Mapping[str, Routed], name: str, bus: str
) -> str | None:
    """Return the socket of a pack that a terminator plug of a bus goes in: the first that no cable needs; None where
    there is none. A port that makes the manager by being empty stays empty.
    """
    pack = packs[name]
    record = site.devices[name].record
    empty_makes = record.manager.port
    if empty_makes is None and "empty port" in record.manager.made_by.values:
        return None
    role = "manager" if pack.role == "manager" else "members"
    used = set(_used_sockets(site, routes, name))
    return next(
        (
            socket
            for port, socket in bus_ports(record, (bus,), pack.mode)
            if socket not in used and port != empty_makes and record.ports[port].unused_by != role
        ),
        None,
    )


def _used_sockets(site: Site, routes: Mapping[str, Routed], name: str) -> Iterator[str]:
    """Every socket of a device that a cable of the plan ends in, or may end in where only its port is known."""
    planned = {c.id for r in routes.values() for c in r.cables}
    managed = {p for r in routes.values() for p in r.order}
    others = [c for c in site.cables if c.id not in planned and not _left_off_end(site, c, managed)]
    ends = [(c.a, c.b) for r in routes.values() for c in r.cables] + [(c.a, c.b) for c in others]
    for one in (end for pair in ends for end in pair if end.device == name):
        if one.socket is not None:
            yield one.socket
        elif one.port is not None and one.port in site.devices[name].record.ports:
            yield from site.devices[name].record.ports[one.port].sockets


def _set_terminator(device: Device, bus: str, choice: PackChoice) -> bool | None:
    """Return how the site file sets a terminator switch; None where it leaves it to the plan."""
    for name, pattern in device.set_patterns.items():
        row = device.record.switches[name]
        parts = [p for p in row.parts if p.sets in ("terminator", f"terminator {bus}")]
        if not parts or any(pattern[i] == "x" for p in parts for i in part_switches(row, p)):
            continue
        case = Case(choice.role, choice.mode, choice.state.controller_bus if choice.state is not None else "none")
        known = tuple("off" if bit == "x" else bit for bit in pattern)
        for reading in readings(row, known, case, device.record.modes):
            for what, value in reading.values:
                if what in ("terminator", f"terminator {bus}"):
                    return bool(value)
    return None


def _ends_on(
    site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], route: Routed, name: str, bus: str
) -> bool:
    """Whether a terminator of a chain bus is to be on: at an end, where this pack or another node of the bus asks."""
    record = site.devices[name].record
    open_loop = {"only in open loop": "forbidden" if choice.link.reports_to else "required"}
    asked = record.buses[bus].termination.ends.only
    asked = open_loop.get(str(asked), asked)
    if asked == "forbidden":
        return False
    sharing = _sharing(site, choice)
    row = [c for c in route.cables if c.carries == "chain" or _joins(c, sharing)]
    if record.buses[bus].hop == "one":
        mine = {s for _, s in bus_ports(record, (bus,), packs[name].mode)}
        hops = [c for c in row if any(e.device == name and e.socket in mine for e in (c.a, c.b))]
        others = {e.device for c in hops for e in (c.a, c.b)}
        at_end = len(route.order) > 1
    else:
        others = {*route.order, *sharing}
        at_end = sum(name in (c.a.device, c.b.device) for c in row) == 1
    wishes = {
        open_loop.get(str(one), one)
        for other in others - {name}
        for one in (
            site.devices[other].record.buses[b].termination.ends.only
            for b in (sharing[other] if other in sharing else _chain_buses(site, packs, other))
        )
    }
    return at_end and (asked != "not required" or "required" in wishes)


def _sharing(site: Site, choice: LinkChoice) -> dict[str, tuple[str, ...]]:
    """The controllers that hang on the packs' own bus, each with the buses it does so with."""
    family = choice.family
    if family is None or family.report is None:
        return {}
    if choice.manager is not None:
        buses = site.devices[choice.manager].record.buses.values()
        if any(bus.used_by == "manager" for bus in buses):
            return {}
    return {c: controller_talks(site.devices[c].record).get(family.report, ()) for c in choice.link.reports_to}


def _joins(cable: Planned, controllers: Mapping[str, tuple[str, ...]]) -> bool:
    return cable.carries == "report" and bool({cable.a.device, cable.b.device} & set(controllers))


def _place(name: str, routes: Mapping[str, Routed], packs: Mapping[str, PackChoice]) -> str | None:
    link = packs[name].link
    route = routes.get(link) if link is not None else None
    if route is None or name not in route.order:
        return None
    if len(route.order) == 1:
        return "only"
    return {0: "first", len(route.order) - 1: "last"}.get(route.order.index(name), "middle")


def _patterns(device: Device, choice: PackChoice, place: str | None, ends: Mapping[str, bool]) -> dict[str, Pattern]:
    """Return every row complete: as decided, else as found, else off."""
    if choice.state is None:
        return {name: _keep(device, name) for name in device.record.switches}
    found = _standing_at(device, choice.state, place, ends)
    return {name: _filled(device, name, bits) for name, bits in found.items()}


def _standing_at(
    device: Device, state: SlotState, place: str | None, ends: Mapping[str, bool]
) -> dict[str, tuple[str | None, ...]]:
    record = device.record
    base = standing(record, state)
    values = switch_values(record, replace(state, place=place))
    values.update({f"terminator {bus}": on for bus, on in ends.items()})
    for bus in record.buses:
        values.setdefault(f"terminator {bus}", False)
    group = values["group"]
    case = Case(state.role, state.mode, state.controller_bus, place, int(group), state.count)
    rows = {name: settings(row, values, case).pattern for name, row in record.switches.items()}
    before = dict(base.patterns) if base is not None else {}
    return {
        name: tuple(b if b is not None else o for b, o in zip(bits, before.get(name, bits), strict=True))
        for name, bits in rows.items()
    }


def _keep(device: Device, name: str) -> Pattern:
    """A row that decides nothing: explicit parts for unmanaged packs, else as found, else off."""
    row = device.record.switches[name]
    if any("unmanaged" in (p.when.role or ()) for p in row.parts):
        bits = settings(row, {"role": "unmanaged"}, Case("unmanaged", device.record.modes[0], "none")).pattern
        return _filled(device, name, bits)
    return _filled(device, name, (None,) * row_length(row))


def _filled(device: Device, name: str, bits: Sequence[str | None]) -> Pattern:
    """Return a row complete: as the site file sets it, else as decided, else as found, else at rest."""
    row = device.record.switches[name]
    open_row = ("x",) * len(bits)
    stated = device.set_patterns.get(name, open_row)
    found = device.found.patterns.get(name, open_row) if device.found is not None else open_row
    rest = "off" if row.kind == "slide" else _rest_position(device, name)
    return tuple(
        next(one for one in (wanted, bit or "x", was, rest) if one != "x")
        for wanted, bit, was in zip(stated, bits, found, strict=True)
    )


def _rest_position(device: Device, name: str) -> str:
    """The first position of a wheel or menu that means anything, where nobody looked and nothing is decided."""
    row = device.record.switches[name]
    shown = positions(row)
    legal = (p for p in shown if readings(row, (p,), Case(), device.record.modes))
    return next(legal, shown[0] if shown else "as delivered")


# ---- cables: what becomes of each ----


def _ends_of(a: object, b: object) -> frozenset[tuple[object, object]]:
    return frozenset(
        (
            (getattr(a, "device", None), getattr(a, "socket", None)),
            (getattr(b, "device", None), getattr(b, "socket", None)),
        )
    )


def _actions(site: Site, routes: Mapping[str, Routed]) -> dict[str, CableAction]:
    """Compare every planned cable with the installed one of the same id, or between the same sockets."""
    installed = site.found_cables or ()
    by_id = {c.id: c for c in installed}
    by_ends = {_ends_of(c.a, c.b): c for c in installed}
    actions = {}
    for route in routes.values():
        for cable in route.cables:
            was = by_id.get(cable.id) or by_ends.get(_ends_of(cable.a, cable.b))
            if was is None:
                actions[cable.id] = CableAction("make", None)
                continue
            same_ends = _ends_of(was.a, was.b) == _ends_of(cable.a, cable.b)
            before = joined_pins(site, was, cable.a, cable.b)
            same = before is not None and cable.joined is not None and sorted(before) == sorted(cable.joined)
            actions[cable.id] = CableAction("keep" if same and same_ends else "alter", was)
    return actions


def _removed(site: Site, routes: Mapping[str, Routed]) -> Iterator[Removed]:
    """Installed cables that the plan has no use for: on unmanaged packs, or between packs no longer neighbours."""
    planned = {c.id for r in routes.values() for c in r.cables}
    ends = {_ends_of(c.a, c.b) for r in routes.values() for c in r.cables}
    managed = {p for r in routes.values() for p in r.order}
    for cable in site.found_cables or ():
        if cable.id in planned or _ends_of(cable.a, cable.b) in ends:
            continue
        off = _unmanaged_ends(site, cable, managed)
        why = f"{', '.join(off)} is unmanaged: no data cable" if off else "the route has no use for it"
        yield Removed(cable, why)


def _dropped(site: Site, routes: Mapping[str, Routed]) -> Iterator[Removed]:
    """Wanted cables that are not made, since a pack that the site wants on a link is left off it."""
    planned = {c.id for r in routes.values() for c in r.cables}
    managed = {p for r in routes.values() for p in r.order}
    for cable in site.cables:
        if cable.id not in planned and _left_off_end(site, cable, managed):
            yield Removed(cable, f"{', '.join(_unmanaged_ends(site, cable, managed))} is unmanaged: no data cable")


def _unmanaged_ends(site: Site, cable: Cable, managed: set[str]) -> list[str]:
    names = [e.device for e in (cable.a, cable.b) if e.device is not None and e.device not in managed]
    return [name for name in names if site.devices[name].kind == "pack"]


def _left_off_end(site: Site, cable: Cable, managed: set[str]) -> bool:
    """Whether a cable ends at a pack that the site wants on a link and the plan leaves off every link."""
    wanted = {p for link in site.links for p in link.packs}
    return any(e.device in wanted and e.device not in managed for e in (cable.a, cable.b))


# ---- the stage ----


def planned_stage(decisions: Decisions) -> Stage:
    """Return the stage that the decisions make; the rules judge it like any other."""
    site = decisions.site
    links = []
    for choice in decisions.links:
        family = choice.family
        if family is None or choice.link.id not in decisions.routes:
            continue
        links.append(
            StageLink(
                choice.link.id,
                decisions.routes[choice.link.id].order,
                choice.manager,
                choice.link.reports_to,
                choice.link.group,
                family.chain,
                family.report,
                family.manager is None,
                True,
                choice.link.at,
            )
        )
    packs = {}
    for device in site.packs:
        choice_of = decisions.packs[device.id]
        packs[device.id] = stage_pack(
            device,
            choice_of.role,
            choice_of.link,
            decisions.patterns[device.id],
            choice_of.mode,
            _place(device.id, decisions.routes, decisions.packs),
        )
    cables = tuple(_stage_cable(cable, link) for link, route in decisions.routes.items() for cable in route.cables)
    return Stage(
        "planned",
        site,
        packs,
        tuple(links),
        (*cables, *_others(decisions)),
        banks_of(site, packs),
        True,
        True,
        decisions.terminators,
        {link: blocked_words(each[0]) for link, each in decisions.struck.items()}
        | {link: blocked_words(one) for link, one in decisions.blocked.items()},
    )


def _stage_cable(cable: Planned, link: str) -> StageCable:
    return StageCable(cable.id, cable.a, cable.b, cable.joined, cable.length_m, cable.at, link, cable.carries)


def _others(decisions: Decisions) -> Iterator[StageCable]:
    """Wanted cables that belong to no route of the plan, judged as written; not those that end at a pack left off its
    link.
    """
    planned = {c.id for r in decisions.routes.values() for c in r.cables}
    managed = {p for r in decisions.routes.values() for p in r.order}
    for cable in decisions.site.cables:
        a, b = cable.a, cable.b
        if cable.id in planned or a.device is None or b.device is None:
            continue
        if _left_off_end(decisions.site, cable, managed) or _blocked(decisions, cable):
            continue
        ends = StageEnd(a.device, a.port, a.socket), StageEnd(b.device, b.port, b.socket)
        yield StageCable(cable.id, *ends, joined_pins(decisions.site, cable, *ends), cable.length_m, cable.at)


def _blocked(decisions: Decisions, cable: Cable) -> bool:
    """Whether a cable belongs to a link that has no route, which is refused for that."""
    names = {cable.a.device, cable.b.device}
    return any(names & set(c.link.packs) for c in decisions.links if c.link.id in decisions.blocked)
