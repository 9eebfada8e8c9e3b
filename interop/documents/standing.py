"""A planned cable as it stands today: where its plugs are, which conductors it has, and so what is to be done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interop.choose.cables import Planned
from interop.choose.plan import Decisions
from interop.site.site import End, Site
from interop.wiring.stage import StageEnd, joined_pins

__all__ = ["Standing", "cut_pins", "found_end", "lands_on", "standing", "work"]

Pins = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Standing:
    """An installed cable, turned so that its ends go with ``from`` and ``to`` of the plan.

    ``joined``: its conductors now (None: nobody knows). ``cut``: pins of conductors that it has and that are cut
    already. ``moved``: for each plug that moves, the socket where it is and the socket where it goes.
    """

    joined: Pins | None
    cut: tuple[str, ...]
    moved: tuple[tuple[StageEnd, StageEnd], ...]


def standing(decisions: Decisions, cable: Planned) -> Standing | None:
    """Return how a planned cable stands today; None if it is to be made."""
    was = decisions.actions[cable.id].was
    if was is None:
        return None
    site = decisions.site
    ends = _end(site, was.a), _end(site, was.b)
    turned = _fit(ends[1], cable.a) + _fit(ends[0], cable.b) > _fit(ends[0], cable.a) + _fit(ends[1], cable.b)
    here, there = ends[::-1] if turned else ends
    joined = joined_pins(site, was, here or cable.a, there or cable.b)
    if not all(_same_plug(site, old, new) for old, new in ((here, cable.a), (there, cable.b))):
        joined = None  # its pins are not those of the new socket
    moved = ((old, new) for old, new in ((here, cable.a), (there, cable.b)) if old is not None and old != new)
    return Standing(joined, was.made.cut, tuple(moved))


def work(action: str, stands: Standing | None, joined: Iterable[tuple[str, str]]) -> str:
    """Say what is to be done: make, keep, remove, move (no conductor changes), alter, or move and alter."""
    if stands is None or action in ("make", "keep", "remove"):
        return action
    same = stands.joined is not None and sorted(stands.joined) == sorted(joined)
    if not stands.moved:
        return "alter"
    return "move" if same else "move and alter"


def cut_pins(cable: Planned, stands: Standing | None) -> tuple[str, ...]:
    """The conductors of a straight cable that exist and are cut at both ends: none that an installed one has not."""
    if cable.kind != "straight":
        return ()
    if stands is None or stands.joined is None:
        return cable.cut
    have = {pin for pin, _ in stands.joined} | set(stands.cut)
    return tuple(pin for pin in cable.cut if pin in have)


def lands_on(site: Site, cable: Planned) -> str | None:
    """Which unit of a set of controllers takes a cable: the one that the record names, else the one that the site
    names; None where there is one unit, or nobody says. The rule wrong-unit judges whether the two agree.
    """
    for end in (cable.a, cable.b):
        device = site.devices[end.device]
        if device.kind == "pack" or device.units < 2:
            continue
        port = device.record.ports.get(end.port or "")
        facts = (device.record.follows.cable_lands_on, *((port.lands_on,) if port is not None else ()))
        named = {value for fact in facts for value in fact.values}
        return named.pop() if len(named) == 1 else device.lands_on
    return None


def found_end(site: Site, end: End) -> End:
    """An end as found, with its device where the site calls it the manager's, and its socket where there is but one."""
    name = end.device
    if name is None:
        name = next((link.manager for link in site.found_links or () if end.link in (None, link.id)), None)
    if name is None or name == "propose":
        return end
    ports, port, socket = site.devices[name].record.ports, end.port, end.socket
    if port is not None and port not in ports:
        port, socket = next(((one, port) for one in ports if port in ports[one].sockets), (None, None))
    if port is not None and socket is None and len(ports[port].sockets) == 1:
        socket = ports[port].sockets[0]
    return End(name, port, socket, end.link)


def _end(site: Site, end: End) -> StageEnd | None:
    whole = found_end(site, end)
    return StageEnd(whole.device, whole.port, whole.socket) if whole.device is not None else None


def _fit(old: StageEnd | None, new: StageEnd) -> int:
    if old is None or old.device != new.device:
        return 0
    return 2 if old.socket == new.socket else 1


def _same_plug(site: Site, old: StageEnd | None, new: StageEnd) -> bool:
    if old is None or old.port is None or new.port is None:
        return True
    before = site.devices[old.device].record.ports[old.port].plug
    after = site.devices[new.device].record.ports[new.port].plug
    return before.values == after.values
