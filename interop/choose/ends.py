"""Where the terminators of a plan are on: at the two ends of every bus that asks for them, by switch or by plug."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interop.choose.cables import Planned, Routed
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.route import bus_ports
from interop.choose.towards import on_packs_bus
from interop.records.models import Bus
from interop.records.switches import Case, Pattern, part_switches, readings
from interop.site.site import Cable, Device, Site
from interop.wiring.talks import chain_talks, report_talks

__all__ = ["left_off_end", "plug_socket", "terminators"]


def terminators(
    site: Site,
    links: Sequence[LinkChoice],
    packs: Mapping[str, PackChoice],
    routes: Mapping[str, Routed],
    cables: Sequence[Planned],
) -> Iterator[tuple[tuple[str, str], bool]]:
    """Say for every bus with a terminator that can be set or plugged whether it is on: at the two ends, where any
    node of the bus asks for it. A plug is on only where a socket is free for it. ``cables``: all of the plan.
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
                    stated = _by_pattern(site.devices[name], site.devices[name].set_patterns, bus, pack)
                    on = _ends_on(site, choice, packs, route, name, bus) if stated is None else stated
                    yield (name, bus), on and _fits(site, packs, cables, name, bus)
            for bus in (
                report_talks(record, pack.mode).get(pack.state.report, ()) if pack.state.report is not None else ()
            ):
                if (
                    name == choice.manager
                    and record.buses[bus].used_by == "manager"
                    and record.buses[bus].termination.fitted.only in ("by switch", "by plug")
                ):
                    on = record.buses[bus].termination.ends.only not in ("forbidden", "only in open loop")
                    yield (name, bus), on and _fits(site, packs, cables, name, bus)


def _chain_buses(site: Site, packs: Mapping[str, PackChoice], name: str) -> tuple[str, ...]:
    pack = packs[name]
    if pack.state is None or pack.mode is None or pack.state.chain is None:
        return ()
    return chain_talks(site.devices[name].record, pack.mode).get(pack.state.chain, ())


def _fits(site: Site, packs: Mapping[str, PackChoice], cables: Sequence[Planned], name: str, bus: str) -> bool:
    """Whether a terminator that is to be on can be: one that is a plug needs a socket."""
    if site.devices[name].record.buses[bus].termination.fitted.only != "by plug":
        return True
    return plug_socket(site, packs, cables, name, bus) is not None


def plug_socket(
    site: Site, packs: Mapping[str, PackChoice], cables: Sequence[Planned], name: str, bus: str
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
    used = set(_used_sockets(site, cables, name))
    return next(
        (
            socket
            for port, socket in bus_ports(record, (bus,), pack.mode)
            if socket not in used and port != empty_makes and record.ports[port].unused_by != role
        ),
        None,
    )


def _used_sockets(site: Site, cables: Sequence[Planned], name: str) -> Iterator[str]:
    """Every socket of a device that a cable of the plan ends in, or may end in where only its port is known."""
    for one in (end for cable in cables for end in (cable.a, cable.b) if end.device == name):
        if one.socket is not None:
            yield one.socket
        elif one.port is not None and one.port in site.devices[name].record.ports:
            yield from site.devices[name].record.ports[one.port].sockets


def _by_pattern(
    device: Device, patterns: Mapping[str, Pattern], bus: str, choice: PackChoice
) -> bool | None:
    """Return how the switches of a device put a terminator; None where they do not say."""
    for name, pattern in patterns.items():
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
    own = _said(choice, record.buses[bus])
    if own == {"forbidden"}:
        return False
    sharing = on_packs_bus(site, choice)
    row = [c for c in route.cables if c.carries == "chain" or _joins(c, sharing)]
    if record.buses[bus].hop == "one":
        mine = {s for _, s in bus_ports(record, (bus,), packs[name].mode)}
        hops = [c for c in row if any(e.device == name and e.socket in mine for e in (c.a, c.b))]
        others = {e.device for c in hops for e in (c.a, c.b)}
        if not hops:    # nothing is plugged in there: it stays as it stands
            found = site.devices[name].found
            return bool(found is not None and _by_pattern(site.devices[name], found.patterns, bus, packs[name]))
        at_end = True
    else:
        others = {*route.order, *sharing}
        at_end = sum(name in (c.a.device, c.b.device) for c in row) == 1
    said = [
        _said(choice, site.devices[other].record.buses[b])
        for other in others - {name}
        for b in (sharing[other] if other in sharing else _chain_buses(site, packs, other))
    ]
    return at_end and ("required" in own.union(*said) or not own)


def _said(choice: LinkChoice, bus: Bus) -> frozenset[str]:
    """What the sources of a record say of terminators at the ends of a bus of this link; empty: nothing is stated."""
    loop = "forbidden" if choice.link.reports_to else "required"
    return frozenset(loop if one == "only in open loop" else str(one) for one in bus.termination.ends.values)


def _joins(cable: Planned, controllers: Mapping[str, tuple[str, ...]]) -> bool:
    return cable.carries == "report" and bool({cable.a.device, cable.b.device} & set(controllers))


def left_off_end(site: Site, cable: Cable, managed: set[str]) -> bool:
    """Whether a cable ends at a pack that the site wants on a link and the plan leaves off every link."""
    wanted = {p for link in site.links for p in link.packs}
    return any(e.device in wanted and e.device not in managed for e in (cable.a, cable.b))
