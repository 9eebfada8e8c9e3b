"""A solved network with one element changed, for many elements at once, from the factorisation there is.

Every element is a source E behind a resistance; a branch has no source. Opening it, conductance g, across which
the network with it shows z, is the same as drawing at its ends g (E - u + Z i) / (1 - g z): what it would give at
the port currents i, over what of a unit current does not pass through itself (Woodbury). The ports then see u
lowered by that draw and Z raised by one rank. A source changed by dE presses g dE more and changes no impedance.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.ports import Met, meet
from interop.circuit.thevenin import columns, lanes
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.solve import Trial

__all__ = ["Changed", "Changes"]

_NEAR_A = 1e-9
_ROOM, _LEAST = 250_000, 8
"""Figures in one block of columns: 2 MB, which a processor's cache holds (a third of the time of 32 MB, measured);
and the least number of columns."""
_TOGETHER, _MOST = 30_000, 4_000_000
"""Figures of one bank that are worked out together, so that small banks take few steps and the columns of large ones
stay in the cache; and the most that is kept of all banks meanwhile: 32 MB."""


@unchanging(eq=False)
class Changed:
    """Results for the elements at positions ``chosen``, all of one part.

    ``met``: (elements, width) at the ports of the part's bank; ``pack_a``: (elements, packs of the part) [A];
    ``unsure``: a pack blocked before would change between conducting and not: to be solved afresh.
    """

    chosen: NDArray[np.int64]
    part: int
    met: Met
    pack_a: NDArray[np.float64]
    unsure: NDArray[np.bool_]


class Changes:
    """The state before (``trial``), and what becomes of it. Elements are numbered branches first, then packs."""

    def __init__(self, trial: Trial) -> None:
        network = trial.solver.network
        self.trial, self.network, self.seen = trial, network, trial.seen
        self.laws = trial.laws.at(trial.seen.lanes)
        self.part = trial.seen.factored.part
        self._edge = bool(trial.solver.blocked.any())
        self.a = np.concatenate([network.branch_a, network.pack_plus])
        self.b = np.concatenate([network.branch_b, network.pack_minus])
        self.emf_v = np.concatenate([np.zeros(len(network.branches)), trial.rest_v])
        self.ohm = np.concatenate([network.branch_ohm, network.pack_ohm])
        of_pack = self.part[network.pack_plus]
        order = np.argsort(of_pack, kind="stable")
        pieces = np.split(order, np.flatnonzero(np.diff(of_pack[order])) + 1) if len(order) else []
        self._packs = {int(of_pack[some[0]]): some for some in pieces}

    def packs(self, part: int) -> NDArray[np.int64]:
        """Return the packs whose positive terminal lies in a part."""
        return self._packs.get(part, np.zeros(0, np.int64))

    def bank(self, part: int) -> int:
        """Return the row of a part's ports, -1 where it has none."""
        return int(self.seen.bank_of[part])

    def lane(self, part: int) -> NDArray[np.int64]:
        """Return the ports of a part, -1 for places without one."""
        bank = self.bank(part)
        return self.seen.lanes[bank] if bank >= 0 else np.zeros(0, np.int64)

    def opened(self, elements: NDArray[np.int64]) -> Iterator[Changed]:
        """Open each of these elements, none of them a bridge."""
        for chosen, part, rise in self._rises(elements):
            e = elements[chosen]
            a, b = self.a[e], self.b[e]
            siemens = 1 / self.ohm[e]
            gain = siemens / (1 - siemens * rise.own)
            gives = self.emf_v[e] - (self.seen.base_v[a] - self.seen.base_v[b])
            towards = rise.ports
            open_v, z = self._ports(part)
            met = self._meet(part, open_v - towards * (gain * gives)[:, None],
                             z + towards[:, :, None] * (gain[:, None] * towards)[:, None, :])
            drawn = gain * (gives + (towards * met.amps).sum(axis=1))
            amps, unsure = self._pack_amps(part, met.amps, rise, -drawn)
            own = np.flatnonzero(e >= len(self.network.branches))  # what it gives is what is drawn at its ends
            amps[own, np.searchsorted(self.packs(part), e[own] - len(self.network.branches))] = 0.0
            yield Changed(chosen, part, met, amps, unsure)

    def shifted(self, packs: NDArray[np.int64], shift_v: NDArray[np.float64]) -> Iterator[Changed]:
        """Change the voltage of each of these packs by ``shift_v`` [V]."""
        for chosen, part, rise in self._rises(packs + len(self.network.branches)):
            pressed = shift_v[chosen] / self.network.pack_ohm[packs[chosen]]
            towards = rise.ports
            open_v, z = self._ports(part)
            met = self._meet(part, open_v + towards * pressed[:, None], np.broadcast_to(z, (len(chosen), *z.shape)))
            amps, unsure = self._pack_amps(part, met.amps, rise, pressed)
            amps[np.arange(len(chosen)), np.searchsorted(self.packs(part), packs[chosen])] += pressed
            yield Changed(chosen, part, met, amps, unsure)

    def without_ports(self, part: int, gone: NDArray[np.bool_]) -> Changed:
        """Take the draws of some ports of a part away; ``gone``: (width,)."""
        bank = self.bank(part)
        met = meet(self.seen.open_v[[bank]], self.seen.z_ohm[[bank]], self.laws.rows(np.array([bank])).without(gone))
        amps, unsure = self._pack_amps(part, met.amps, None, np.zeros(1))
        return Changed(np.zeros(1, np.int64), part, met, amps, unsure)

    def _ports(self, part: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        bank = self.bank(part)
        return (self.seen.open_v[bank], self.seen.z_ohm[bank]) if bank >= 0 else (np.zeros(0), np.zeros((0, 0)))

    def _meet(self, part: int, open_v: NDArray[np.float64], z: NDArray[np.float64]) -> Met:
        bank, count = self.bank(part), len(open_v)
        if bank >= 0:
            return meet(open_v, z, self.laws.rows(np.full(count, bank)), edge=self._edge)
        nothing, yes = np.zeros((count, 0)), np.ones(count, bool)
        return Met(nothing, nothing, yes, yes, np.ones(count), nothing.astype(np.int64))

    def _rises(self, elements: NDArray[np.int64]) -> Iterator[tuple[NDArray[np.int64], int, _Rise]]:
        """Rises per ampere through each element: positions, their part, the rises. Many positions come together."""
        rows, parts = lanes(np.arange(len(elements)), self.part[self.a[elements]])
        stride = max(_LEAST, _ROOM // max(len(self.part), 1))
        kept: dict[int, list[tuple[NDArray[np.int64], _Rise]]] = {}
        figures: dict[int, int] = {}
        for begin in range(0, rows.shape[1], stride):
            some = rows[:, begin:begin + stride]
            solved = self.seen.factored.volts(columns(self.a[elements], self.b[elements], some, len(self.part)))
            for part, row in zip(parts.tolist(), some, strict=True):
                there = np.flatnonzero(row >= 0)
                if len(there):
                    rise = self._rise(solved, there, elements[row[there]], part)
                    kept.setdefault(part, []).append((row[there], rise))
                    figures[part] = figures.get(part, 0) + rise.packs.size
                    if figures[part] >= _TOGETHER:
                        figures[part] = 0
                        yield _together(kept.pop(part), part)
            if sum(figures.values()) >= _MOST:
                yield from (_together(some_of, part) for part, some_of in kept.items())
                kept, figures = {}, {}
        yield from (_together(some_of, part) for part, some_of in kept.items())

    def _rise(self, solved: NDArray[np.float64], there: NDArray[np.int64], elements: NDArray[np.int64], part: int,
              ) -> _Rise:
        """What of the columns ``there`` is wanted: at the elements' ends, the ports and the packs of their part."""
        network, lane, packs = self.network, self.lane(part), self.packs(part)

        def across(plus: NDArray[np.int64], minus: NDArray[np.int64]) -> NDArray[np.float64]:
            rise = solved[plus] - solved[minus]
            out: NDArray[np.float64] = rise.T if len(there) == solved.shape[1] else rise[:, there].T
            return out

        return _Rise(solved[self.a[elements], there] - solved[self.b[elements], there],
                     np.where(lane >= 0, across(network.port_plus[lane], network.port_minus[lane]), 0.0),
                     across(network.pack_plus[packs], network.pack_minus[packs]))

    def _pack_amps(self, part: int, port_a: NDArray[np.float64], rise: _Rise | None, pressed: NDArray[np.float64],
                   ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Currents of the part's packs (cases, packs) with ``pressed`` [A] through the element of each case."""
        network, solver, packs = self.network, self.trial.solver, self.packs(part)
        plus, minus = network.pack_plus[packs], network.pack_minus[packs]
        base, reach = self.seen.base_v, self.seen.reach
        volts = np.broadcast_to(base[plus] - base[minus], (len(port_a), len(packs)))
        if rise is not None:
            volts = volts + rise.packs * pressed[:, None]
        volts = volts - port_a @ (reach[plus] - reach[minus])[:, :port_a.shape[1]].T
        would = (self.trial.rest_v[packs] - volts) / network.pack_ohm[packs]
        conducts = self.trial.conducts[packs]
        unsure = np.zeros(len(port_a), bool)
        if solver.blocked[packs].any():
            forward = np.where(solver.outward[packs], would, -would)
            turns = np.where(conducts, forward < -_NEAR_A, forward > _NEAR_A)
            unsure = np.asarray((turns & solver.blocked[packs]).any(axis=1))
        return np.where(conducts, would, 0.0), unsure


@unchanging(eq=False)
class _Rise:
    """Rises [V/A] per ampere through each element: over itself (elements,), at the ports (elements, width) and at the
    packs (elements, packs) of its part.
    """

    own: NDArray[np.float64]
    ports: NDArray[np.float64]
    packs: NDArray[np.float64]


def _together(kept: list[tuple[NDArray[np.int64], _Rise]], part: int) -> tuple[NDArray[np.int64], int, _Rise]:
    if len(kept) == 1:
        return kept[0][0], part, kept[0][1]
    rises = [rise for _, rise in kept]
    return np.concatenate([chosen for chosen, _ in kept]), part, _Rise(
        np.concatenate([rise.own for rise in rises]), np.concatenate([rise.ports for rise in rises]),
        np.concatenate([rise.packs for rise in rises]))
