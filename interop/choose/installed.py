"""Which installed cable becomes which cable of a plan: each goes to at most one, and what goes to none is named."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from interop.choose.naming import Naming, Planned
from interop.site.site import Cable, End, Site
from interop.wiring.stage import StageEnd

__all__ = ["best_lead", "ends_along", "match_installed", "plug_fits", "same_sockets"]

Score = tuple[int, ...]


def match_installed(
    site: Site, planned: Sequence[tuple[Planned, Naming | None]], reports_to: Mapping[str, Sequence[str]]
) -> dict[str, Cable]:
    """Return the installed cable that each planned one is, by the id of the planned one.

    First those of one id, then those in exactly the same sockets. What the plan adds by itself may also be a cable
    between the same two devices, or, towards a controller, one that comes from another pack of the link or from a
    manager that nobody names; one of its plugs at least must be in a socket of the bus. Best first: most plugs that
    stay, then most in sockets of the bus, then the order of the file. ``reports_to``: the packs of each link.
    """
    free = list(site.found_cables or ())
    matched: dict[str, Cable] = {}

    def take(cable: Planned, lead: Cable | None) -> None:
        if lead is not None:
            matched[cable.id] = lead
            free.remove(lead)

    for cable, _ in planned:
        take(cable, next((c for c in free if cable.wanted is not None and c.id == cable.id), None))
    for cable, _ in planned:
        if cable.id not in matched:
            take(cable, next((c for c in free if same_sockets(c, cable)), None))
    ways = [
        (score, i, k)
        for i, (cable, naming) in enumerate(planned)
        if cable.wanted is None and cable.id not in matched and naming is not None
        for k, lead in enumerate(free)
        if (score := _score(naming, cable, lead, reports_to.get(naming.choice.link.id, ()))) is not None
    ]
    leads = list(free)
    for _, i, k in sorted(ways):
        if planned[i][0].id not in matched and leads[k] in free:
            take(planned[i][0], leads[k])
    return matched


def _score(naming: Naming, cable: Planned, lead: Cable, packs: Sequence[str]) -> Score | None:
    """How badly an installed cable fits, lowest best; None where it is no candidate."""
    serving = sum(naming.serves(end, cable.carries) for end in (lead.a, lead.b))
    if not serving:
        return None
    ways = [_fit(((one, cable.a), (other, cable.b)), cable.carries, packs)
            for one, other in ((lead.a, lead.b), (lead.b, lead.a))]  # fmt: skip
    fits = [way for way in ways if way is not None]
    return (*min(fits), -serving) if fits else None


def _fit(pairs: Iterable[tuple[End, StageEnd]], carries: str, packs: Sequence[str]) -> Score | None:
    other_device = moved = 0
    for old, new in pairs:
        if old.device != new.device:
            comes = carries == "report" and new.device in packs and (old.device is None or old.device in packs)
            if not comes:
                return None
            other_device += 1
        moved += (old.device, old.socket) != (new.device, new.socket)
    return other_device, moved


def ends_along(lead: Cable, a: StageEnd, b: StageEnd) -> tuple[End, End]:
    """Return the ends of an installed cable in the order of the ends it is to have."""
    near = (lead.a.device == a.device) + (lead.b.device == b.device)
    far = (lead.a.device == b.device) + (lead.b.device == a.device)
    return (lead.a, lead.b) if near >= far else (lead.b, lead.a)


def same_sockets(lead: Cable, cable: Planned) -> bool:
    """Whether an installed cable stands in exactly the sockets of a planned one."""
    ends = {(end.device, end.socket) for end in (lead.a, lead.b)}
    return all(socket is not None for _, socket in ends) and ends == {(e.device, e.socket) for e in (cable.a, cable.b)}


def best_lead(naming: Naming, one: str, other: str) -> Cable | None:
    """Return the installed cable between two packs whose sockets a new chain keeps: with both plugs in sockets of the
    chain, else with one, else none.
    """
    leads = [c for c in naming.site.found_cables or () if {c.a.device, c.b.device} == {one, other}]
    serving = {c.id: sum(naming.serves(end, "chain") for end in (c.a, c.b)) for c in leads}
    return max((c for c in leads if serving[c.id]), key=lambda c: serving[c.id], default=None)


def plug_fits(site: Site, old: End | StageEnd | None, new: StageEnd) -> bool | None:
    """Whether the plug at an end fits its new socket; None where nobody knows the kind of one of them."""
    if old is None or old.device is None or old.port is None or new.port is None:
        return True
    if (old.device, old.port) == (new.device, new.port):
        return True
    before, after = (site.devices[e.device].record.ports[e.port].plug.only for e in (old, new) if e.device and e.port)
    return before == after if before is not None and after is not None else None
