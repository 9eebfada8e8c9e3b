"""The bank limit over the course: the largest constant total current that no pack passes its limit under, to the end.

At the start packs share by resistance, later by capacity, at the knees it all falls on those that still hold something;
so the limit at the start says too much (power.md §3). Units: A positive out of the bank, V, hours.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.course import TOLERANCE, Course, course
from interop.circuit.plant import Stage
from interop.circuit.sharing import BankLimit, Element, bank_limit, share
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.course import Packs
    from interop.circuit.network import Network
    from interop.circuit.sharing import Limits

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["SCAN", "WITHIN", "CourseLimit", "bank_limit_over_course"]

SCAN = 8
WITHIN = 4e-4
"""The bracket is closed to this, and the result stays as much below it: so it is within 0.1 %, on the safe side."""


@unchanging
class CourseLimit:
    """The largest amount [A] of total current in one direction that keeps every pack's limits to the end of the course.

    ``amp``: that amount; zero where a limit is passed without load, infinite where nothing limits. ``first``: the pack
    that passes its limit first at just more than that, and ``hours`` when. ``start_amp``, ``start_first``: the same at
    the first instant, branches included. ``ended``: how the course at ``amp`` ends ("end": the port's voltage limit,
    "dark": no pack can go on, empty: neither). ``start``: the interval at the first instant, with what nobody stated.
    """

    amp: float
    first: Element | None
    hours: float | None
    start_amp: float
    start_first: tuple[Element, ...]
    ended: str
    start: BankLimit


def bank_limit_over_course(network: Network, packs: Packs, limits: Limits, end_v: float, way: int, *,
                           split: ArrayLike | None = None, sense: int = 0, closed: Flags | None = None,
                           drop_v: float = 0.0, tolerance: float = TOLERANCE, within: float = WITHIN,
                           scan: int = SCAN) -> CourseLimit:
    """Return the bank limit from the packs' charge states until the sensed port reaches ``end_v`` [V].

    ``way``: 1 for discharge down to the low limit, -1 for charge up to the high limit. Packs that empty or fill before
    that block as their stops say, and the rest carry on. Every smaller total was found to hold on a grid of ``scan``
    steps up to the limit at the start; the root between is closed to ``within``, on the safe side. A limit that is
    not a number is not judged: see ``start.not_stated``. Raises as `interop.circuit.course.course`.
    """
    if way not in {1, -1}:
        raise ValueError(f"way is 1 for discharge or -1 for charge, got {way}")
    now = network.with_emf(packs.volts(packs.soc))
    start = bank_limit(share(now, split, closed), limits)
    most, first = (start.high_a, start.first_high) if way > 0 else (-start.low_a, start.first_low)

    def played(amp: float) -> Course:
        hours = 1.1 * float(packs.capacity_ah.sum()) / amp
        return course(now, packs, [Stage(hours, amp=way * amp)], split=split, sense=sense, closed=closed, limits=limits,
                      drop_v=drop_v, end_v=end_v, tolerance=tolerance)

    if start.passed_at_zero or most <= 0:
        at_zero = start.passed_at_zero[0] if start.passed_at_zero else None
        return CourseLimit(0.0, at_zero, 0.0, max(most, 0.0) if start.zero_inside else 0.0, first, "", start)
    bounded = np.concatenate([limits.discharge_a, limits.charge_a])
    if not np.isfinite(bounded).any() and np.isinf(most):
        return CourseLimit(np.inf, None, None, np.inf, (), "", start)
    top = most if np.isfinite(most) else float(bounded[np.isfinite(bounded)].sum())
    low, high, over = _bracket(played, top, scan)
    while over is not None and high - low > within * high:
        middle = (low + high) / 2
        tried = played(middle)
        if tried.first_over is None:
            low = middle
        else:
            high, over = middle, tried
    event = None if over is None else over.first_over
    if event is None or event.pack is None:
        who, when = (first[0], 0.0) if first else (None, None)
        return CourseLimit(most, who, when, most, first, _ended(played(top)), start)
    who = Element("pack", event.pack, network.packs[event.pack])
    low *= 1 - within
    return CourseLimit(low, who, event.hours, most, first, _ended(played(low)) if low > 0 else "", start)


def _bracket(played: Callable[[float], Course], top: float, scan: int) -> tuple[float, float, Course | None]:
    """The last of a rising grid that holds, the first that does not, and its course; None: the whole grid holds."""
    low = 0.0
    for k in range(1, scan + 1):
        # at the limit of the first instant itself somebody stands exactly at his limit: a hair below it
        amp = top * k / scan * (1 - 1e-6)
        tried = played(amp)
        if tried.first_over is not None:
            return low, amp, tried
        low = amp
    return low, top, None


def _ended(played: Course) -> str:
    what = {event.what for event in played.events}
    return "dark" if "dark" in what else "end" if "end" in what else ""
