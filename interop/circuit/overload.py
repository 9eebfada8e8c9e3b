"""Does everything keep its limit at the highest load and at full charge, wherever the resistances lie?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.sharing import Element
from interop.records.answers import Answer
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.picture import Picture
    from interop.circuit.solve import Solution

__all__ = ["Carried", "carried"]


@unchanging
class Carried:
    """What one pack or branch carries in one direction ("discharge" at the highest load, "charge" at full charge).

    ``amps`` at the resistances to work with; ``highest_a``: no resistances in their ranges make it more, amounts [A];
    ``limit_a`` None: nobody stated it.
    """

    element: Element
    way: str
    amps: float
    highest_a: float
    limit_a: float | None
    answer: Answer


def carried(picture: Picture) -> Iterator[Carried]:
    """Yield what packs and limited branches carry, but for those that surely keep their limit.

    The bound is sound, so that nothing passes unseen; it is some hundredths to a third above the true worst case.
    """
    load, charge = picture.at_load, picture.at_charge
    if load is not None and load.outcome.holds:
        yield from _of_way(picture, "discharge", load, picture.most_at_load)
    if charge is not None and charge.outcome.holds:
        yield from _of_way(picture, "charge", charge, picture.surely_at_most(charge.port_a))


def _of_way(picture: Picture, way: str, solution: Solution,
            bound: tuple[NDArray[np.float64], NDArray[np.float64]] | None) -> Iterator[Carried]:
    network = picture.bank.network
    limits = picture.limits
    packs = limits.discharge_a if way == "discharge" else limits.charge_a
    rows = [(Element("pack", i, name), float(abs(solution.pack_a[i])), float(packs[i]),
             np.inf if bound is None else float(bound[0][i])) for i, name in enumerate(network.packs)]
    rows += [(Element("branch", i, name), float(abs(solution.branch_a[i])), float(limits.forward_a[i]),
              np.inf if bound is None else float(bound[1][i])) for i, name in enumerate(network.branches)
             if np.isfinite(limits.forward_a[i])]
    for element, amps, limit, most in rows:
        if not np.isfinite(limit):
            yield Carried(element, way, amps, np.inf, None, Answer.CANNOT_TELL)
        elif most > limit:
            yield Carried(element, way, amps, most, limit, Answer.BROKEN if amps > limit else Answer.CANNOT_TELL)
