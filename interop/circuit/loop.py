"""Closed loop: what a manager orders its controllers to charge, with some packs gone.

A manager knows the packs of its own link only. A controller that takes the lower of the order and of its own setting
gives no more than planned; one that ignores its own setting gives what is ordered, up to its full current. Where the
record does not state what the manager adds up, or the manager itself is gone, nothing lowers the planned current.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interop.circuit.draws import Current, Draw
from interop.circuit.network import State
from interop.unchanging import unchanging
from interop.wiring.busbar import lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Sequence

    from interop.circuit.picture import Picture
    from interop.site.site import Device

__all__ = ["Loop", "charging", "loops"]


@unchanging(eq=False)
class Loop:
    """A manager with the packs of its link, and the ports that it orders, by their positions in the bank.

    ``obeys_own`` (one per port): the controller keeps its own setting as well.
    """

    manager: Device
    packs: tuple[int, ...]
    ports: tuple[int, ...]
    obeys_own: tuple[bool, ...]


@once
def loops(picture: Picture) -> tuple[Loop, ...]:
    """Return the closed loops of a bank in which something charges, in the order of the links."""
    found = []
    for link in picture.stage.links:
        manager = link.manager
        if manager is None or manager not in picture.of_pack or not link.judged:
            continue
        ports = [(i, one.spot.device.record.follows.local_limits.only == "lower of both")
                 for i, one in enumerate(picture.converters)
                 if one.spot.device.id in link.reports_to and one.charge_a]
        packs = tuple(picture.of_pack[name] for name in link.packs if name in picture.of_pack)
        if ports:
            found.append(Loop(picture.bank.packs[picture.of_pack[manager]], packs,
                              tuple(i for i, _ in ports), tuple(own for _, own in ports)))
    return tuple(found)


def charging(picture: Picture, states: Sequence[State]) -> list[Draw] | None:
    """Return what every port charges in closed loop with packs in these states; None: the plan is not known."""
    plan = picture.charge_plan
    if plan is None:
        return None
    amps = list(plan)
    for loop in loops(picture):
        order = _order(picture, loop, states)
        if order is None:
            continue
        most = [amps[i] if own else picture.converters[i].charge_a or 0.0
                for i, own in zip(loop.ports, loop.obeys_own, strict=True)]
        part = min(1.0, order / sum(most)) if sum(most) else 0.0
        for i, full in zip(loop.ports, most, strict=True):
            amps[i] = full * part
    return [Current(-one) for one in amps]


def _order(picture: Picture, loop: Loop, states: Sequence[State]) -> float | None:
    """The charge current [A] that a manager orders; None: not known, or nobody orders any more."""
    takes = (State.ON, State.DISCHARGE_BLOCKED)
    if states[picture.of_pack[loop.manager.id]] not in takes:
        return None
    limits = [lowest(picture.bank.packs[i].record.limits.charge_a) for i in loop.packs]
    if any(limit is None for limit in limits):
        return None
    given = [limit or 0.0 for limit in limits]
    on = [limit for limit, i in zip(given, loop.packs, strict=True) if states[i] in takes]
    rule = loop.manager.record.manager.reports.limits.only
    return {"sum of members answering": sum(on), "sum of all": sum(given), "count times lowest": len(on) * min(on),
            "own": lowest(loop.manager.record.limits.charge_a), "lowest": min(on)}.get(rule or "")
