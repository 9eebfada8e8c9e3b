"""The whole decision for one site, and the stage it makes: managers, modes, addresses, switches, routes,
conductors, terminators.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace

from interop.choose.cables import Blocked, Planned, Routed, route_link
from interop.choose.ends import plug_socket, terminators
from interop.choose.laid import CableAction, Removed, actions, dropped, lay_cables, removed
from interop.choose.members import LinkChoice, PackChoice, choose_components, components, finish_links
from interop.choose.stand import patterns_of, place_of
from interop.choose.withdrawn import withdrawn
from interop.choose.words import blocked_words
from interop.records.switches import Pattern
from interop.site.ends import with_found_ends
from interop.site.site import Site
from interop.unchanging import unchanging
from interop.wiring.purposes import LINE
from interop.wiring.stage import Stage, StageCable, StageLink, banks_of, purpose, stage_pack
from interop.wiring.talks import RecordKey

__all__ = ["MOST_STRIKES", "CableAction", "Decisions", "Removed", "decide", "planned_stage", "plug_socket"]

MOST_STRIKES = 200
"""Most plans of one component that are struck out for their cables before its link is given up."""


@unchanging(eq=False)
class Decisions:
    """Everything decided. ``patterns``: by pack and row, complete. ``blocked``: links for which no cable exists.
    ``others``: cables that belong to no route; of these the plan shows those that carry a line alone.
    """

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
    others: tuple[Planned, ...] = ()

    @property
    def cables(self) -> tuple[Planned, ...]:
        """Every cable that the plan shows, those of the routes first."""
        lines = (cable for cable in self.others if cable.carries == LINE)
        return (*(cable for route in self.routes.values() for cable in route.cables), *lines)


def decide(site: Site) -> Decisions:
    """Decide everything for a site. Kinds in modes that no cable can join, and packs under a manager whose route is
    against a condition, are struck out and the next best is taken.

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
                wrong = [
                    (i, choice)
                    for i, choice in enumerate(choices)
                    if isinstance(route := found.get(choice.link.id), Routed) and withdrawn(site, choice, chosen, route)
                ]
                for i, choice in wrong:
                    component.refuse(i, choice.manager, choice.members)
                if not wrong:
                    break
                continue
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
    laid = lay_cables(site, ordered, packs, routes, blocked)
    routes = laid.routes
    on_at = dict(terminators(site, ordered, packs, routes, laid.cables))
    ends: dict[str, dict[str, bool]] = {}
    for (pack, bus), on in on_at.items():
        ends.setdefault(pack, {})[bus] = on
    places = {d.id: place_of(d.id, routes, packs) for d in site.packs}
    patterns = {d.id: patterns_of(d, packs[d.id], places[d.id], ends.get(d.id, {})) for d in site.packs}
    return Decisions(
        site,
        ordered,
        packs,
        routes,
        blocked,
        patterns,
        on_at,
        tuple(removed(laid)),
        tuple(dropped(laid)),
        actions(laid),
        {k: tuple(v) for k, v in struck.items()},
        laid.others,
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
            place_of(device.id, decisions.routes, decisions.packs),
        )
    cables = tuple(_stage_cable(cable, link) for link, route in decisions.routes.items() for cable in route.cables)
    stage = Stage(
        "planned",
        site,
        packs,
        tuple(links),
        (),
        banks_of(site, packs),
        True,
        True,
        decisions.terminators,
        {link: blocked_words(each[0]) for link, each in decisions.struck.items()}
        | {link: blocked_words(one) for link, one in decisions.blocked.items()},
        frozenset(cable.id for cable in decisions.others if cable.carries != LINE),
        True,
    )
    others = tuple(_other_cable(stage, cable) for cable in decisions.others)
    return replace(stage, cables=(*cables, *others))


def _stage_cable(cable: Planned, link: str | None) -> StageCable:
    carries = cable.carries or None
    ends = cable.a, cable.b
    return StageCable(cable.id, *ends, cable.joined, cable.length_m, cable.at, link, carries, cable.why_not)


def _other_cable(stage: Stage, cable: Planned) -> StageCable:
    """A cable that belongs to no route: of a line that the packs of one link share, the link is told."""
    link = purpose(stage, stage.link_of, cable.a, cable.b)[0] if cable.carries == LINE else None
    return _stage_cable(cable, link)
