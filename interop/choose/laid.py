"""Every cable of a plan: those of the routes and those that belong to none, and the installed one that each of them is.

The installed cables are matched for all links together, so that none becomes two.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interop.choose.cables import Blocked, Planned, Routed, with_installed
from interop.choose.ends import left_off_end
from interop.choose.installed import match_installed
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.naming import Naming
from interop.choose.others import Lines, leads_between_others, line_cables, wanted_others
from interop.site.site import Cable, End, Site
from interop.unchanging import unchanging
from interop.wiring.stage import StageEnd, joined_pins

__all__ = ["CableAction", "Laid", "Removed", "actions", "dropped", "lay_cables", "removed"]


@unchanging
class Removed:
    """An installed cable that the plan takes away, or a wanted one that it does not make."""

    cable: Cable
    why: str


@unchanging
class CableAction:
    """What is to be done with a planned cable: keep, make or alter, and what it was."""

    action: str
    was: Cable | None


@unchanging(eq=False)
class Laid:
    """Every cable of a plan: routes, those that belong to none, and by id the installed one that each of them is."""

    site: Site
    routes: dict[str, Routed]
    others: tuple[Planned, ...]
    was: Mapping[str, Cable]

    @property
    def cables(self) -> tuple[Planned, ...]:
        """Every cable of the plan."""
        return (*(cable for route in self.routes.values() for cable in route.cables), *self.others)

    @property
    def managed(self) -> set[str]:
        """The packs that are on a route."""
        return {name for route in self.routes.values() for name in route.order}


def lay_cables(
    site: Site,
    links: Sequence[LinkChoice],
    packs: Mapping[str, PackChoice],
    routes: Mapping[str, Routed],
    blocked: Mapping[str, Blocked],
) -> Laid:
    """Match the installed cables with those of the plan, and choose the conductors of the routes with them."""
    choices = {choice.link.id: choice for choice in links}
    namings = {link: Naming(site, choices[link], packs, set()) for link in routes}
    lines = Lines(site, packs, {link: choices[link] for link in routes}, namings)
    others = wanted_others(lines, _left(lines, choices, routes, blocked))
    planned = [(cable, namings[link]) for link, route in routes.items() for cable in route.cables]
    on_link = {link: choices[link].link.packs for link in routes}
    matched = match_installed(site, [*planned, *((cable, None) for cable in others)], on_link)
    laid = {link: with_installed(site, choices[link], packs, route, matched) for link, route in routes.items()}
    names = {old.id: new.id for link in routes for old, new in zip(routes[link].cables, laid[link].cables, strict=True)}
    was = {names.get(name, name): lead for name, lead in matched.items()}
    leads = [lead for lead in site.found_cables or () if lead not in matched.values()]
    used = {(e.device, e.socket) for cable in Laid(site, laid, others, was).cables for e in (cable.a, cable.b)}
    stay = (*line_cables(lines, leads, used), *leads_between_others(lines, leads, used))
    was.update({cable.id: lead for cable in stay for lead in leads if cable.id == lead.id})
    return Laid(site, laid, (*others, *stay), was)


def _left(
    lines: Lines,
    choices: Mapping[str, LinkChoice],
    routes: Mapping[str, Routed],
    blocked: Mapping[str, Blocked],
) -> set[str]:
    """The wanted cables of no route: not those of a link that is refused for its cables, nor data cables at a pack left
    off its link.
    """
    in_routes = {c.id for route in routes.values() for c in route.cables}
    managed = {name for route in routes.values() for name in route.order}
    hindered = {name for link in blocked if link in choices for name in choices[link].link.packs}
    return {
        c.id
        for c in lines.site.cables
        if c.id not in in_routes
        and not {c.a.device, c.b.device} & hindered
        and (lines.carried(c) or not left_off_end(lines.site, c, managed))
    }


def _ends_of(a: End | StageEnd, b: End | StageEnd) -> frozenset[tuple[str | None, str | None]]:
    return frozenset(((a.device, a.socket), (b.device, b.socket)))


def actions(laid: Laid) -> dict[str, CableAction]:
    """Compare every cable of the plan with the installed one that it is."""
    found = {}
    for cable in laid.cables:
        was = laid.was.get(cable.id)
        if was is None:
            found[cable.id] = CableAction("make", None)
            continue
        same_ends = _ends_of(was.a, was.b) == _ends_of(cable.a, cable.b)
        before = joined_pins(laid.site, was, cable.a, cable.b)
        same = before is not None and cable.joined is not None and sorted(before) == sorted(cable.joined)
        found[cable.id] = CableAction("keep" if same and same_ends else "alter", was)
    return found


def removed(laid: Laid) -> Iterator[Removed]:
    """Every installed cable that becomes none of the plan: on unmanaged packs, or where no route has a use for it."""
    used = {lead.id for lead in laid.was.values()}
    for cable in laid.site.found_cables or ():
        if cable.id in used:
            continue
        off = _unmanaged_ends(laid.site, cable, laid.managed)
        why = f"{', '.join(off)} is unmanaged: no data cable" if off else "the route has no use for it"
        yield Removed(cable, why)


def dropped(laid: Laid) -> Iterator[Removed]:
    """Wanted cables that are not made, since a pack that the site wants on a link is left off it."""
    planned = {c.wanted.id for c in laid.cables if c.wanted is not None}
    for cable in laid.site.cables:
        if cable.id not in planned and left_off_end(laid.site, cable, laid.managed):
            off = _unmanaged_ends(laid.site, cable, laid.managed)
            yield Removed(cable, f"{', '.join(off)} is unmanaged: no data cable")


def _unmanaged_ends(site: Site, cable: Cable, managed: set[str]) -> list[str]:
    names = [e.device for e in (cable.a, cable.b) if e.device is not None and e.device not in managed]
    return [name for name in names if site.devices[name].kind == "pack"]
