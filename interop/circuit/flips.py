"""Which resistances decide an answer: moved alone from one end of its range to the other, does a pack pass its limit?

Groups: the packs of one record together, each pack alone, and all leads, lugs, devices and busbars together.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.draws import Current
from interop.circuit.picture import LOW_STATE, MOST_SEARCHED, REST_STATE
from interop.circuit.solve import solve
from interop.unchanging import unchanging
from interop.wiring.once import once

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.draws import Draw
    from interop.circuit.picture import Picture

    Floats = NDArray[np.float64]

__all__ = ["Flip", "flips"]


@unchanging
class Flip:
    """One group of resistances that decides whether a pack keeps its limit in one direction.

    ``what``: the record of the packs, one pack, or "leads"; ``low_a``, ``high_a``: the current of the pack [A] with the
    group at the low and at the high end of its ranges, all else at the resistances to work with.
    """

    what: str
    range_mohm: tuple[float, float] | None
    pack: str
    way: str
    low_a: float
    high_a: float
    limit_a: float


@once
def flips(picture: Picture) -> tuple[Flip, ...]:
    """Return every group and pack for which one end keeps the limit and the other does not; each pack's worst only."""
    found = []
    for way, draws, state in _ways(picture):
        limits = picture.limits.discharge_a if way == "discharge" else picture.limits.charge_a
        for what, span, ends in _groups(picture):
            amps = [_currents(picture, draws, state, *end) for end in ends]
            if amps[0] is None or amps[1] is None:
                continue
            for i, device in enumerate(picture.bank.packs):
                low, high = abs(float(amps[0][i])), abs(float(amps[1][i]))
                if not np.isnan(limits[i]) and (low > limits[i]) != (high > limits[i]):
                    found.append(Flip(what, span, device.id, way, low, high, float(limits[i])))
    return tuple(found)


def _ways(picture: Picture) -> Iterator[tuple[str, list[Draw], float]]:
    if picture.load_w is not None:
        yield "discharge", picture.draws(picture.load_w), LOW_STATE
    if picture.charge_plan is not None:
        yield "charge", [Current(-amps) for amps in picture.charge_plan], REST_STATE


def _groups(picture: Picture) -> Iterator[tuple[str, tuple[float, float] | None, list[tuple[Floats, Floats]]]]:
    """Each group with its range [mohm] and the resistances (branches, packs) at both of its ends."""
    bank, network = picture.bank, picture.bank.network
    sides = [np.array([getattr(o, side) for o in bank.pack_ohms]) for side in ("low", "high")]
    together = [(record, [d.record.id == record for d in bank.packs])
                for record in dict.fromkeys(d.record.id for d in bank.packs)]
    single = bank.packs if len(bank.packs) <= MOST_SEARCHED else ()
    alone = [(d.id, [other is d for other in bank.packs]) for d in single]
    for name, mine in (*together, *alone):
        ends = [np.where(mine, side, network.pack_ohm) for side in sides]
        span = next((1000 * o.low, 1000 * o.high) for o, here in zip(bank.pack_ohms, mine, strict=True) if here)
        yield name, span, [(network.branch_ohm, one) for one in ends]
    sides = [np.array([getattr(b.ohms, side) for b in bank.branches]) for side in ("low", "high")]
    yield "leads", None, [(one, network.pack_ohm) for one in sides]


def _currents(picture: Picture, draws: list[Draw], state: float, branches: Floats, packs: Floats) -> Floats | None:
    network = picture.network_at(state).with_ohm(branches, packs)
    solution = solve(network, draws)
    return solution.pack_a if solution.outcome.holds else None
