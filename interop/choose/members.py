"""Which packs are managed, by which manager, in which mode, at which address: proved best, with the runner-up.

Links that compete for packs form a component; components are chosen one by one, since nothing joins them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import networkx as nx

from interop.choose.cells import SlotState, slot_state
from interop.choose.component import Component, component_of, level_names
from interop.choose.frames import Family
from interop.choose.search import MOST_ASSIGNMENTS, Restriction, Solution, Unfinished, best, least
from interop.records.switches import Case, readings
from interop.site.site import Device, Link, Site
from interop.unchanging import unchanging

__all__ = [
    "LinkChoice",
    "PackChoice",
    "RunnerUp",
    "TooWide",
    "choose_components",
    "choose_links",
    "components",
    "finish_links",
]


@unchanging
class RunnerUp:
    """The best plan with another manager or other members, and the first level at which it loses."""

    manager: str | None
    members: tuple[str, ...]
    lost_at: str
    ours: int
    theirs: int
    proved: bool


@unchanging
class PackChoice:
    """What is chosen for one pack."""

    id: str
    role: str
    link: str | None
    mode: str | None
    address: int | None
    state: SlotState | None


@unchanging
class LinkChoice:
    """What is chosen for one link. ``family`` None: no pack can be managed on it."""

    link: Link
    family: Family | None
    count: int
    manager: str | None
    members: tuple[str, ...]
    left_off: tuple[str, ...]
    runner_up: RunnerUp | None
    vector: tuple[int, ...]
    levels: tuple[str, ...]
    solution: Solution | None = None

    @property
    def proved(self) -> bool:
        """Whether the choice is proved best (else the search stopped at its limit, or passed families over)."""
        return self.solution is None or self.solution.bound is None


class TooWide(Exception):
    """Links compete for packs in more ways than can be looked through, and none of those looked at was possible."""

    def __init__(self, links: Sequence[str], kinds: int) -> None:
        self.links = tuple(links)
        self.kinds = kinds
        link = "link" if len(self.links) == 1 else "links"
        super().__init__(f"{kinds} kinds of packs for {link} {', '.join(links)}: too many ways to look through, and "
                         "none of those looked at works out; name fewer packs for each link, or its manager")


def _found_roles(site: Site) -> dict[str, tuple[str, frozenset[str]]] | None:
    """Role and controllers of every pack that stood on a found link; None when nobody wrote the links down."""
    if site.found_links is None:
        return None
    roles: dict[str, tuple[str, frozenset[str]]] = {}
    for link in site.found_links:
        for pack in link.packs:
            roles[pack] = ("manager" if pack == link.manager else "member", frozenset(link.reports_to))
    return roles


def components(site: Site) -> tuple[Component, ...]:
    """Return the components of a site: links joined by packs that stand in several of them."""
    graph: nx.Graph = nx.Graph()
    first: dict[str, int] = {}
    for i, link in enumerate(site.links):
        graph.add_node(i)
        for pack in link.packs:
            graph.add_edge(i, first.setdefault(pack, i))
    roles = _found_roles(site)
    groups = sorted(sorted(group) for group in nx.connected_components(graph))
    return tuple(
        component_of([_with_group(site, site.links[i]) for i in group], site.devices, site.wishes, roles)
        for group in groups
    )


def _with_group(site: Site, link: Link) -> Link:
    """Return a link with the group that its packs stand in as found, where the site states none and it is known."""
    if link.group is not None:
        return link
    packs = set(link.packs)
    stated = {one.group for one in site.found_links or () if packs & set(one.packs)}
    if not stated or stated == {None}:
        stated = {g for name in link.packs for g in _found_groups(site, site.devices[name])}
    group = stated.pop() if len(stated) == 1 else None
    return replace(link, group=group) if group is not None else link


def _found_groups(site: Site, device: Device) -> frozenset[int]:
    """Return the groups that the found switches of a pack mean: of managers only, where the managers are known."""
    managers = {link.manager for link in site.found_links or ()} - {None}
    if device.found is None or (managers and device.id not in managers):
        return frozenset()
    found: set[int] = set()
    for name, pattern in device.found.patterns.items():
        row = device.record.switches[name]
        if any(part.sets == "group" for part in row.parts):
            meant = readings(row, pattern, Case(), device.record.modes)
            found |= {int(value) for one in meant for key, value in one.values if key == "group"}
    return frozenset(found)


def choose_components(component: Component) -> tuple[tuple[LinkChoice, ...], dict[str, PackChoice]]:
    """Choose every link of a component; without runners-up (see :func:`finish_links`). Raises :class:`TooWide`."""
    solution, complete = None, not component.wide
    try:
        solution = best(component)
    except Unfinished:
        complete = False
    if solution is None and not complete:
        raise TooWide([link.id for link in component.links], len({id(d.record) for d in component.packs}))
    links = tuple(_link_choice(component, solution, i, link) for i, link in enumerate(component.links))
    return links, dict(_pack_choices(component, solution)) if solution is not None else {}


def finish_links(component: Component, links: Sequence[LinkChoice]) -> tuple[LinkChoice, ...]:
    """Return the choices with the runner-up of each link."""
    found = []
    for i, choice in enumerate(links):
        runner = _runner_up(component, choice.solution, i) if choice.solution is not None and choice.family else None
        found.append(replace(choice, runner_up=runner))
    return tuple(found)


def choose_links(site: Site) -> tuple[tuple[LinkChoice, ...], dict[str, PackChoice]]:
    """Choose every link of a site with its runner-up. Packs on no wanted link are unmanaged.

    Raises :class:`TooWide` where the search comes to its limits with nothing found.
    """
    links: list[LinkChoice] = []
    packs: dict[str, PackChoice] = {d.id: PackChoice(d.id, "unmanaged", None, None, None, None) for d in site.packs}
    for component in components(site):
        found, chosen = choose_components(component)
        links += finish_links(component, found)
        packs.update(chosen)
    order = {link.id: i for i, link in enumerate(site.links)}
    return tuple(sorted(links, key=lambda c: order[c.link.id])), packs


def _link_choice(component: Component, solution: Solution | None, index: int, link: Link) -> LinkChoice:
    names = level_names(component)
    chosen = solution.chosen[index] if solution is not None else None
    if solution is None or chosen is None:
        return LinkChoice(link, None, 0, None, (), link.packs, None, (), names)
    members = solution.members(component.packs, index)
    manager = solution.manager(component.packs, index)
    on_some = {d.id for d, p in zip(component.packs, solution.placed, strict=True) if p.link is not None}
    left = tuple(p for p in link.packs if p not in on_some)
    return LinkChoice(link, chosen[0], chosen[1], manager, members, left, None, solution.vector, names, solution)


def _pack_choices(component: Component, solution: Solution) -> Iterator[tuple[str, PackChoice]]:
    for device, placed in zip(component.packs, solution.placed, strict=True):
        chosen = solution.chosen[placed.link] if placed.link is not None else None
        if placed.link is None or chosen is None or placed.mode is None:
            yield device.id, PackChoice(device.id, "unmanaged", None, None, None, None)
            continue
        family, count = chosen
        state = slot_state(family, device.record, placed.mode, placed.address, count, placed.role)
        yield (
            device.id,
            PackChoice(device.id, placed.role, component.links[placed.link].id, placed.mode, placed.address, state),
        )


def _runner_up(component: Component, solution: Solution, index: int) -> RunnerUp | None:
    """Search again with another manager, then with each pack's membership turned; keep the best."""
    found: Solution | None = None
    proved = solution.bound is None
    last = component.assigned + MOST_ASSIGNMENTS
    for restriction in _others(component, solution, index):
        if found is not None and (low := least(component, restriction)) > found.vector[: len(low)]:
            continue
        try:
            cutoff = found.vector if found is not None else None
            other = best(component, restriction, cutoff, max(last - component.assigned, 0))
        except Unfinished:
            proved = False
            continue
        if other is None:
            continue
        proved = proved and other.bound is None
        if found is None or (other.vector, other.slots) < (found.vector, found.slots):
            found = other
    if found is None:
        return None
    names = level_names(component)
    at = next((k for k, (a, b) in enumerate(zip(solution.vector, found.vector, strict=True)) if a != b), None)
    lost = names[at] if at is not None else "place"
    ours, theirs = (solution.vector[at], found.vector[at]) if at is not None else (0, 0)
    manager, members = found.manager(component.packs, index), found.members(component.packs, index)
    return RunnerUp(manager, members, lost, ours, theirs, proved)


def _others(component: Component, solution: Solution, index: int) -> Iterator[Restriction]:
    candidates: Sequence[Device] = component.candidates[index]
    manager = solution.manager(component.packs, index)
    members = set(solution.members(component.packs, index))
    rows: Mapping[str, int] = component.row
    if manager is not None:
        yield Restriction(not_manager=((rows[manager], index),))
    for device in candidates:
        row = rows[device.id]
        if device.id not in members:
            yield Restriction(on=((row, index),))
        elif device.id != manager or len(members) == 1:
            yield Restriction(off=((row, index),))
