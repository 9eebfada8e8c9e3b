"""What managers count against what is there: a daily schedule repeated for days, each pack with its own counting error.

A BMS integrates its own current with an error of gain and of offset and sets its count to full by its own rule; what
reaches the display is what the manager's rule makes of its members' counts (power.md §3). Counting changes no current
here: the controller's answer to a wrong display is not part of the course. Units: Ah, A, V, hours.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.course import Course, course
from interop.circuit.plant import Stage
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.course import Packs
    from interop.circuit.network import Network
    from interop.circuit.sharing import Limits

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["GAIN_ERROR", "OFFSET_ERROR_A", "Counting", "Drift", "Reports", "counted", "drift", "reported"]

GAIN_ERROR = 0.01
"""Assumed error of a pack's own current reading, as a part of it, either way: power.md §3, an assumption to print."""
OFFSET_ERROR_A = 0.05
"""Assumed error of a pack's own current reading without current [A], either way: as `GAIN_ERROR`."""


_GAINS = 17
"""So many gains over their range: what lies between two of them moves a count by less than a sixteenth of the range."""
TOLERANCE = 1e-5
"""Error of a charge state in one step: days of drift move far more than this."""


class Reports(Enum):
    """What a manager shows of its members' charge states; the mean may be weighted by capacity or not."""

    LOWEST = "lowest"
    MEAN = "mean"
    WEIGHTED_MEAN = "weighted mean"
    HIGHEST = "highest"
    OWN = "own"


@unchanging(eq=False)
class Counting:
    """How every pack counts, arrays (P,): errors as amounts, and the full rule.

    ``gain`` (a part of the current) and ``offset_a`` [A] lie anywhere between minus and plus these. A pack sets its
    count to full when it is charged, its terminals stand at ``full_v`` [V] or more and its current is at most
    ``tail_a`` [A]; infinite ``full_v``: never.
    """

    gain: Floats
    offset_a: Floats
    full_v: Floats
    tail_a: Floats

    @classmethod
    def of(cls, count: int, gain: ArrayLike, offset_a: ArrayLike, full_v: ArrayLike, tail_a: ArrayLike) -> Counting:
        """Return counting of ``count`` packs from figures for all or one per pack. Raises `ValueError` below zero."""
        given = (gain, offset_a, full_v, tail_a)
        rows = [np.broadcast_to(np.asarray(value, dtype=np.float64), (count,)).copy() for value in given]
        if any(np.any(row < 0) or np.any(np.isnan(row)) for row in rows):
            raise ValueError("errors and full rules are amounts, zero or more")
        return cls(*rows)


@unchanging(eq=False)
class Drift:
    """Times (T,) [h]; true charge states ``soc`` (T, P); the range of what each pack may count, ``counted_low`` to
    ``counted_high`` (T, P); the range of what the manager reports (T,); the true charge state, by capacity, of the
    managed packs and of the whole bank that is on (T,). ``course``: the currents beneath. ``resets``: (hours, pack)
    where a full rule began to hold.
    """

    course: Course
    hours: Floats
    soc: Floats
    counted_low: Floats
    counted_high: Floats
    reported_low: Floats
    reported_high: Floats
    managed: Floats
    bank: Floats
    resets: tuple[tuple[float, int], ...]

    def error_range(self, hours: float) -> tuple[float, float]:
        """Return how far the display may lie from the whole bank's true charge state at a time [h]: lowest, highest."""
        low, high, true = (float(np.interp(hours, self.hours, row))
                           for row in (self.reported_low, self.reported_high, self.bank))
        return low - true, high - true


def drift(network: Network, packs: Packs, day: Sequence[Stage], days: int, managed: Sequence[int], reports: Reports,
          counting: Counting, *, manager: int | None = None, counts: ArrayLike | None = None,
          split: ArrayLike | None = None, sense: int = 0, closed: Flags | None = None, limits: Limits | None = None,
          drop_v: float = 0.0, tolerance: float = TOLERANCE, told: Callable[[float], None] | None = None) -> Drift:
    """Return true, counted and reported charge states over ``days`` repeats of a day's stages.

    ``managed``: positions of the packs that the manager reads, itself included; ``manager``: its position, for reports
    of its own. ``counts`` (P,): what packs count at the start, their true charge state for None. The ranges hold every
    combination of errors within ``counting``, gains on a fine grid. Other parameters and errors as those of
    `interop.circuit.course.course`; `ValueError` for no managed pack, no day, or a manager that is not one of them.
    """
    if not managed or days < 1:
        raise ValueError("drift needs at least one managed pack and one day")
    if reports is Reports.OWN and manager not in managed:
        raise ValueError("the manager that reports its own charge state is not among the managed packs")

    played = course(network, packs, list(day) * days, split=split, sense=sense, closed=closed, limits=limits,
                    drop_v=drop_v, tolerance=tolerance, fine=False, told=told)
    full = (played.pack_a < 0) & (-played.pack_a <= counting.tail_a) & (played.pack_v >= counting.full_v)
    start = packs.soc if counts is None else np.asarray(counts, dtype=np.float64)
    # a count falls with the offset; in the gain it has its extreme anywhere, since it stops at full: so between as well
    steps = np.linspace(-1, 1, _GAINS)[:, None]
    gain = np.vstack([steps * counting.gain] * 2)
    offset_a = np.vstack([0 * steps - 1, 0 * steps + 1]) * counting.offset_a
    corners = counted(played, packs.capacity_ah, start, gain, offset_a, full)
    low, high = corners.min(axis=1), corners.max(axis=1)
    who = np.asarray(managed)
    held = packs.capacity_ah if closed is None else packs.capacity_ah * closed
    least, most = (reported(one, packs.capacity_ah, who, reports, manager) for one in (low, high))
    return Drift(played, played.hours, played.soc, low, high, least, most,
                 played.soc[:, who] @ (packs.capacity_ah[who] / packs.capacity_ah[who].sum()),
                 played.soc @ (held / held.sum()), _begun(played.hours, full))


def counted(played: Course, capacity_ah: Floats, start: Floats, gain: Floats, offset_a: Floats, full: Flags) -> Floats:
    """Return what packs count over a course with given errors: gain and offset [A] (P,) give (T, P), (K, P) (T, K, P).

    A pack reads (1 + gain) I + offset. The count is a charge state by rated capacity, stays within 0 to 1, and is 1
    wherever ``full`` (T, P) says that the pack's full rule holds.
    """
    faster, lost = 1 + gain, offset_a / capacity_ah
    out = np.empty((len(played.soc), *np.shape(gain)))
    now: Floats = np.where(full[0], 1.0, start + np.zeros(np.shape(gain)))
    out[0] = now
    due = np.asarray(full.any(axis=1))
    for k, (step, lasted) in enumerate(zip(np.diff(played.soc, axis=0), np.diff(played.hours), strict=True), start=1):
        now = np.minimum(np.maximum(now + step * faster - lost * lasted, 0.0), 1.0)
        if due[k]:
            now = np.where(full[k], 1.0, now)
        out[k] = now
    return out


def _begun(hours: Floats, full: Flags) -> tuple[tuple[float, int], ...]:
    """When each pack's full rule began to hold [h], and which pack, in order of time."""
    began = full.copy()
    began[1:] &= ~full[:-1]
    return tuple((float(hours[row]), int(pack)) for row, pack in np.argwhere(began))


def reported(counts: Floats, capacity_ah: Floats, managed: NDArray[np.int64], reports: Reports,
             manager: int | None = None) -> Floats:
    """Return what a manager shows (T,) of counts (T, P) of its members ``managed``. Raises `ValueError` without manager
    where it reports its own.
    """
    of = counts[:, managed]
    if reports is Reports.LOWEST:
        out = of.min(axis=1)
    elif reports is Reports.HIGHEST:
        out = of.max(axis=1)
    elif reports is Reports.MEAN:
        out = of.mean(axis=1)
    elif reports is Reports.WEIGHTED_MEAN:
        out = of @ (capacity_ah[managed] / capacity_ah[managed].sum())
    else:
        if manager is None:
            raise ValueError("which pack is the manager is not said")
        out = counts[:, manager]
    return np.asarray(out, dtype=np.float64)
