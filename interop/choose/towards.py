"""The cables towards the controllers of a link: between which devices, as the site lists them, else proposed.

Where a controller hangs on the packs' own bus it may do so at any pack and in the middle of the row; where the manager
has a bus of its own for it, the cable comes from the manager.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from interop.choose.members import LinkChoice
from interop.site.site import Cable, End, Site
from interop.unchanging import unchanging
from interop.wiring.talks import controller_talks, has_report_bus

__all__ = ["Attachment", "attachments", "ends_first", "listed", "on_packs_bus", "reporter"]


@unchanging
class Attachment:
    """A controller and the pack (or other controller) its cable goes to; ``cable``: as listed or found, None: a new
    one.
    """

    controller: str
    source: str
    cable: Cable | None


def on_packs_bus(site: Site, choice: LinkChoice) -> dict[str, tuple[str, ...]]:
    """Return the controllers that hang on the packs' own bus, each with the buses it does so with."""
    family = choice.family
    if family is None or family.report is None:
        return {}
    if choice.manager is not None and has_report_bus(site.devices[choice.manager].record):
        return {}
    return {c: controller_talks(site.devices[c].record).get(family.report, ()) for c in choice.link.reports_to}


def reporter(choice: LinkChoice) -> str | None:
    """The pack that a controller's cable goes to where nothing else is listed: the manager, or the first pack where the
    controller polls every pack.
    """
    return choice.manager if choice.manager is not None else next(iter(choice.members), None)


def listed(site: Site, choice: LinkChoice) -> tuple[Attachment, ...]:
    """Return the cables towards the controllers that the site lists, where the plan can use them: on the packs' own bus
    from any of its packs, else from the manager; and from one controller of the link to another.
    """
    return tuple(dict.fromkeys(_attached(choice, site.cables, bool(on_packs_bus(site, choice)))))


def _attached(choice: LinkChoice, cables: Sequence[Cable], shared: bool) -> Iterator[Attachment]:
    sources = set(choice.members) if shared else {choice.manager}
    controllers = choice.link.reports_to
    for cable in cables:
        one, other = _device(choice, cable.a), _device(choice, cable.b)
        if one in controllers and other in controllers:
            near, far = sorted((str(one), str(other)), key=controllers.index)
            yield Attachment(far, near, cable)
            continue
        for near_, far_ in ((one, other), (other, one)):
            if near_ is not None and far_ in controllers and near_ in sources:
                yield Attachment(str(far_), near_, cable)


def _device(choice: LinkChoice, end: End) -> str | None:
    if end.device is not None:
        return end.device
    return choice.manager if end.link in (None, choice.link.id) else None


def attachments(
    site: Site, choice: LinkChoice, order: Sequence[str], room: Callable[[str], int], done: Sequence[str] = ()
) -> tuple[Attachment, ...]:
    """Return the cables towards every controller but those ``done``: listed, else found, else from a pack that has room
    for one, the ends of the row first. ``room``: sockets that a device has left for them.
    """
    shared = bool(on_packs_bus(site, choice))
    found = [a for a in listed(site, choice) if a.controller not in done]
    if not shared:
        first: dict[str, Attachment] = {}
        for one in found:
            first.setdefault(one.controller, one)
        found = list(first.values())
    stands = [a for a in _attached(choice, site.found_cables or (), shared) if a.cable is not None]
    for controller in choice.link.reports_to:
        if controller in done or any(a.controller == controller for a in found):
            continue
        mine = [a for a in stands if a.controller == controller]
        was = next((a for a in mine if not shared or room(a.source) > _used(found, a.source)), None)
        source = was.source if was is not None else _source(choice, order, room, found, shared=shared)
        if source is None:
            continue
        found.append(was or Attachment(controller, source, _any_found(site, choice, controller)))
    return tuple(found)


def _used(found: Sequence[Attachment], source: str) -> int:
    return sum(source in (a.source, a.controller) for a in found)


def _any_found(site: Site, choice: LinkChoice, controller: str) -> Cable | None:
    """An installed cable from any pack of the link to a controller: it can be altered."""
    packs = set(choice.link.packs)
    for cable in site.found_cables or ():
        ends = {cable.a.device, cable.b.device}
        if controller in ends and ends & packs:
            return cable
    return None


def _source(
    choice: LinkChoice, order: Sequence[str], room: Callable[[str], int], found: Sequence[Attachment], *, shared: bool
) -> str | None:
    """The pack for a cable that nobody listed: with room on the packs' own bus an end of the row, the manager first."""
    usual = reporter(choice)
    if not shared or not order:
        return usual
    ends = sorted(dict.fromkeys((order[0], order[-1])), key=lambda name: name != usual)
    able = [name for name in (*ends, *order) if room(name) > _used(found, name)]
    return next(iter(able), usual)


def ends_first(order: Sequence[str], attached: Sequence[str], *, anywhere: bool) -> Iterator[tuple[str, ...]]:
    """Yield an order of packs turned so that those with a controller's cable stand at its ends (at its last end only,
    where the first pack must stay the first).
    """
    for one in attached:
        rest = [p for p in order if p != one]
        if anywhere or one == order[0]:
            yield (one, *rest)
        if anywhere or one != order[0]:
            yield (*rest, one)
        for other in attached if anywhere else ():
            if other != one:
                yield (one, *(p for p in rest if p != other), other)
