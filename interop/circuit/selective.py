"""Whether a short in the run of one pack or converter opens the device of that run, and not one that many hang on.

power.md §6: the device of the pack before the device of the bank. Two fuses of one kind are selective where the larger
has 1.6 times the rating of the smaller (IEC 60269, fuses for general use, from memory), which holds where both carry
the same current. Where they carry unlike ones, what counts is how many times its rating each carries: at currents that
melt a fuse within moments the time falls with the square of that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interop.circuit.bank import POLES, run_name
from interop.circuit.faults import short
from interop.circuit.feeds import PROTECTING, circuits
from interop.circuit.picture import REST_STATE
from interop.records.answers import Answer
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from interop.circuit.bank import DeviceSpot
    from interop.circuit.faults import Short
    from interop.circuit.feeds import Circuit
    from interop.circuit.picture import Picture

__all__ = ["Both", "opened_by_one_short"]

SELECTIVE = 1.6
"""So many times its rating more must the nearer fuse carry than the farther one."""


@unchanging(eq=False)
class Both:
    """A short at the far end of alike runs, the device of the first of them that opens first, and a device of a tie.

    ``near_a``, ``far_a``: the currents through both [A]; ``near_times``, ``far_times``: in ratings; None: a rating is
    not stated, or one of the two is no fuse.
    """

    group: tuple[Circuit, ...]
    near: DeviceSpot
    far: DeviceSpot
    near_a: float
    far_a: float
    near_times: float | None
    far_times: float | None
    answer: Answer


@once
def opened_by_one_short(picture: Picture) -> tuple[Both, ...]:
    """Return what a short behind each run's own devices does to the devices of ties, but for those that surely hold."""
    bank = picture.bank
    spots = [spot for spot in bank.devices if (facts := spot.device.loaded.record.device) is not None
             and facts.kind.only in PROTECTING]
    here = {id(run) for run in bank.runs}
    groups = [group for group in circuits(picture.stage) if id(group[0].run) in here]
    ties = {id(group[0].run) for group in groups if group[0].kind == "tie"}
    far = [spot for spot in spots if id(spot.run) in ties]
    if not far:
        return ()
    return tuple(_found(picture, groups, spots, far))


def _found(picture: Picture, groups: Sequence[tuple[Circuit, ...]], spots: Sequence[DeviceSpot],
           far: Sequence[DeviceSpot]) -> Iterator[Both]:
    bank = picture.bank
    for group in groups:
        run = group[0].run
        near = [spot for spot in spots if spot.run is run]
        if group[0].kind == "tie" or not near:
            continue
        ends = [bank.branches[bank.of_run[run_name(run), pole][0]].a for pole in POLES]
        fault = short(picture.network_at(REST_STATE), *ends)
        first = max(near, key=lambda spot: _times(spot, _amps(picture, fault, spot)) or 0.0)
        near_a = _amps(picture, fault, first)
        for spot in far:
            far_a = _amps(picture, fault, spot)
            one = _judged(group, (first, near_a), (spot, far_a))
            if one.answer is not Answer.HOLDS:
                yield one


def _amps(picture: Picture, fault: Short, spot: DeviceSpot) -> float:
    return abs(float(fault.branch_a[picture.bank.at[spot.branch]]))


def _times(spot: DeviceSpot, amps: float, *, most: bool = False) -> float | None:
    """A current in ratings of a fuse, at the most or at the least; None: no fuse, or no rating is stated."""
    facts = spot.device.loaded.record.device
    if facts is None or facts.kind.only != "fuse":
        return None
    rating = lowest(facts.rating_a) if most else highest(facts.rating_a)
    return None if not rating else amps / rating


def _judged(group: tuple[Circuit, ...], near: tuple[DeviceSpot, float], far: tuple[DeviceSpot, float]) -> Both:
    near_times, far_times = _times(*near), _times(*far, most=True)
    carries = far[1] > _NOTHING * near[1]
    if not carries:
        answer = Answer.HOLDS
    elif near_times is None or far_times is None:
        answer = Answer.CANNOT_TELL
    elif near_times >= SELECTIVE * far_times:
        answer = Answer.HOLDS
    else:
        answer = Answer.BROKEN if far_times >= near_times else Answer.CANNOT_TELL
    return Both(group, near[0], far[0], near[1], far[1], near_times, far_times, answer)


_NOTHING = 1e-6
"""A device with less of the current than this is not on the way of the short."""
