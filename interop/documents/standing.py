"""A planned cable as it stands today: where its plugs are, which conductors it has, and so what is to be done."""

from __future__ import annotations

from collections.abc import Iterable

from interop.choose.cables import Planned
from interop.choose.installed import plug_fits
from interop.choose.plan import Decisions
from interop.site.site import End, Site
from interop.unchanging import unchanging
from interop.wiring.purposes import LINE
from interop.wiring.stage import StageEnd, joined_pins

__all__ = ["Standing", "cut_pins", "lands_on", "removed_pins", "standing", "work"]

Pins = tuple[tuple[str, str], ...]
HalfPins = tuple[tuple[str | None, str | None], ...]


@unchanging
class Standing:
    """An installed cable, turned so that its ends go with ``from`` and ``to`` of the plan.

    ``joined``: its conductors now (None: nobody knows). ``cut``: pins of conductors that it has and that are cut
    already. ``moved``: for each plug that moves, the socket where it is and the socket where it goes; the former
    without socket where nobody wrote it down, and without device where nobody wrote that down. ``old_plugs``: for each
    end the kind of plug that it has where that does not fit the new socket, else ""; then no conductor is
    joined any more, and ``loose`` has those it had, None at an end whose plug goes.
    """

    joined: Pins | None
    cut: tuple[str, ...]
    moved: tuple[tuple[End | StageEnd, StageEnd], ...]
    old_plugs: tuple[str, str] = ("", "")
    loose: HalfPins = ()


def standing(decisions: Decisions, cable: Planned) -> Standing | None:
    """Return how a planned cable stands today; None if it is to be made."""
    was = decisions.actions[cable.id].was
    if was is None:
        return None
    site = decisions.site
    ends = _end(was.a), _end(was.b)
    turned = _fit(ends[1], cable.a) + _fit(ends[0], cable.b) > _fit(ends[0], cable.a) + _fit(ends[1], cable.b)
    here, there = ends[::-1] if turned else ends
    pairs = ((here, cable.a), (there, cable.b))
    lost = End(None, next((end.port for end in (was.a, was.b) if end.device is None), None), None)
    joined = joined_pins(site, was, here or cable.a, there or cable.b)
    moved = tuple((old or lost, new) for old, new in pairs if old != new)
    if not all(plug_fits(site, old, new) is not None for old, new in pairs):
        return Standing(None, was.made.cut, moved)  # nobody knows whether its pins are those of the new socket
    gone = ["" if plug_fits(site, old, new) else _plug_of(site, old) or "" for old, new in pairs]
    if not any(gone):
        return Standing(joined, was.made.cut, moved)
    loose = tuple((None if gone[0] else a, None if gone[1] else b) for a, b in joined or ())
    return Standing((), (), moved, (gone[0], gone[1]), loose)


def work(action: str, stands: Standing | None, joined: Iterable[tuple[str, str]]) -> str:
    """Say what is to be done: make, keep, remove, move (no conductor changes), alter, or move and alter; check in the
    place of move where all that may move are plugs whose socket nobody wrote down.
    """
    if stands is None or action in ("make", "keep", "remove"):
        return action
    same = stands.joined is not None and sorted(stands.joined) == sorted(joined)
    if not stands.moved:
        return "alter"
    known = any(old.socket or old.device not in (None, new.device) for old, new in stands.moved)
    where = "move" if known else "check"
    return where if same else f"{where} and alter"


def cut_pins(cable: Planned, stands: Standing | None) -> tuple[str, ...]:
    """The conductors of a straight cable that exist and are cut at both ends: none that an installed one has not."""
    if cable.kind != "straight":
        return ()
    if stands is None or stands.joined is None:
        return cable.cut
    have = {a for a, b in stands.joined if a == b} | set(stands.cut)
    return tuple(pin for pin in cable.cut if pin in have)


def removed_pins(cable: Planned, stands: Standing | None) -> HalfPins:
    """The conductors of an installed cable that must go: (pin at ``from``, pin at ``to``), None where the plug goes.

    All that it has, is not to have, and :func:`cut_pins` does not name. A wire left in the other plug after its own
    plug went may stay in a contact that is joined anew.
    """
    if stands is None or cable.joined is None:
        return ()
    cut, wanted = set(cut_pins(cable, stands)), set(cable.joined)
    wrong = [(a, b) for a, b in stands.joined or () if (a, b) not in wanted and not (a == b and a in cut)]
    used = {a for a, _ in wanted}, {b for _, b in wanted}
    left = [(a, b) for a, b in stands.loose if any(
        pin is not None and pin not in there for pin, there in zip((a, b), used, strict=True))]  # fmt: skip
    return (*wrong, *left)


def lands_on(site: Site, cable: Planned) -> str | None:
    """Which unit of a set of controllers takes a cable: the one that the record names, else the one that the site
    names; None where there is one unit, or nobody says. The rule wrong-unit judges whether the two agree. Which unit
    takes the cable of a link says nothing of one that carries a line alone.
    """
    for end in (cable.a, cable.b):
        device = site.devices[end.device]
        if device.kind == "pack" or device.units < 2:
            continue
        port = device.record.ports.get(end.port or "")
        line = cable.carries == LINE
        facts = (*(() if line else (device.record.follows.cable_lands_on,)), *((port.lands_on,) if port else ()))
        named = {value for fact in facts for value in fact.values}
        return named.pop() if len(named) == 1 else None if line else device.lands_on
    return None


def _end(end: End) -> StageEnd | None:
    return StageEnd(end.device, end.port, end.socket) if end.device is not None else None


def _fit(old: StageEnd | None, new: StageEnd) -> int:
    if old is None or old.device != new.device:
        return 0
    return 2 if old.socket == new.socket else 1


def _plug_of(site: Site, end: StageEnd | None) -> str | None:
    return site.devices[end.device].record.ports[end.port].plug.only if end is not None and end.port else None
