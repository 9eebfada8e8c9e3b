"""Choices that their route shows to be against a condition: they are withdrawn, and the next best is taken."""

from __future__ import annotations

from collections.abc import Mapping

from interop.choose.cables import Routed
from interop.choose.ends import terminators
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.stand import patterns_of, place_of
from interop.site.site import Site
from interop.wiring.kept import found_row, moves
from interop.wiring.numbering import BY_ORDER, Doubt, by_order
from interop.wiring.talks import chain_address_rule, chain_talks

__all__ = ["withdrawn"]


def withdrawn(site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], routed: Routed) -> bool:
    """Whether these packs under this manager cannot be: a switch that a wish keeps would move, or the manager stands
    where it is none. A manager that the site names is not taken away: the rules say what is wrong with it.
    """
    if _kept_switch_moves(site, choice, packs, routed):
        return True
    named = choice.link.manager not in (None, "propose")
    if choice.manager is None or named or len(choice.members) < 2:
        return False
    return _port_filled(site, choice.manager, routed) or _not_the_first(site, choice, packs, routed)


def _kept_switch_moves(site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], routed: Routed) -> bool:
    """What hangs on the route, as terminators do, is known only now. What the site sets itself is not meant."""
    about = {name for wish in site.wishes if wish.must and wish.what == "switches" for name in wish.about}
    mine = [name for name in choice.members if name in about]
    if not mine:
        return False
    routes = {choice.link.id: routed}
    on_at = dict(terminators(site, [choice], packs, routes, routed.cables))
    for name in mine:
        device = site.devices[name]
        ends = {bus: on for (pack, bus), on in on_at.items() if pack == name}
        planned = patterns_of(device, packs[name], place_of(name, routes, packs), ends)
        for row, pattern in planned.items():
            stated = device.set_patterns.get(row, ("x",) * len(pattern))
            if any(stated[i] == "x" for i in moves(found_row(device, row, len(pattern)), pattern)):
                return True
    return False


def _port_filled(site: Site, manager: str, routed: Routed) -> bool:
    """Whether a cable ends in the port whose emptiness makes the manager."""
    rule = site.devices[manager].record.manager
    ends = (end for cable in routed.cables for end in (cable.a, cable.b) if end.device == manager)
    return rule.made_by.only == "empty port" and rule.port is not None and any(end.port == rule.port for end in ends)


def _not_the_first(site: Site, choice: LinkChoice, packs: Mapping[str, PackChoice], routed: Routed) -> bool:
    """Whether the numbers begin at the manager, and it stands inside the row of cables or behind a pack by place."""
    manager, family = str(choice.manager), choice.family
    record, mode = site.devices[manager].record, packs[manager].mode
    if family is None or family.chain is None or mode is None:
        return False
    rule = chain_address_rule(record, chain_talks(record, mode).get(family.chain, ()))
    if rule is None:
        return False
    if rule.given in BY_ORDER and routed.path:
        bus = family.report.kind if family.report is not None else "none"
        return Doubt.INSIDE in by_order(rule, routed.order, manager, manager, mode, bus).doubts
    if rule.given == "by place" and rule.first == "manager":
        devices = [site.devices[name] for name in choice.members]
        placed = all(device.place is not None for device in devices)
        return placed and min(devices, key=lambda device: device.rank).id != manager
    return False
