"""The operating point: what every pack, branch and port carries with the given draws.

The packs that conduct make the network linear; it is factored once and reduced to its ports, where Newton finds the
upper root (:mod:`interop.circuit.ports`). Packs that are blocked in one direction are tried as conducting; those whose
current has the wrong sign stop, those whose voltage asks for current start, all at once while that helps, else the
first one alone (Murty 1974; Judice and Pires 1994: ends for constant currents), and never more than a bounded
number of times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.draws import Draw, Laws
from interop.circuit.network import Network, NetworkError, State, each, flags
from interop.circuit.ports import Met, meet
from interop.circuit.thevenin import Thevenin
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Kind", "Outcome", "Solution", "Solver", "Trial", "solve"]

_NEAR_A = 1e-9
"""A blocked pack's current [A] that may have the wrong sign."""
_WITHOUT_GAIN = 8
"""So often all wrong packs change together without there being fewer of them; afterwards one at a time."""
_SOURCE_OHM = 0.01
"""Behind it stands the source that a charger gets whose two sides no pack joins; its current is taken out again."""


class Kind(StrEnum):
    """What a solution, or a case of many, came to."""

    FINE = "fine"
    ISLAND = "island"
    SPLIT = "splits the network"
    BELOW_CUT_OFF = "below cut-off"
    COLLAPSE = "collapse"
    NO_PATH = "no path"
    UNSETTLED = "not settled"


@unchanging
class Outcome:
    """What it came to, and the ports (island: the packs) that it is about.

    fine; island: packs that are on and reach no port, the figures hold; collapse: the network cannot carry these
    powers at any voltage; no path: nothing feeds a port that draws; not settled: no consistent state was found.
    """

    kind: Kind
    about: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether every port is fed."""
        return self.kind in {Kind.FINE, Kind.ISLAND, Kind.SPLIT}


@unchanging(eq=False)
class Solution:
    """Voltages [V] and currents [A], parallel to the network's names.

    ``node_v``: against the first node of the same ``part``; ``pack_a``: positive out of the pack; ``branch_a``:
    positive from ``branch_a`` node to ``branch_b`` node; ``port_v``, ``port_a``: positive into what hangs there, NaN
    volts where nothing joins the port's two sides. ``conducts``: packs that carry current; ``holding``: chargers at
    their voltage. ``residual_a``: largest Kirchhoff violation at any node [A].

    In a bank that collapsed or did not settle every figure is NaN. A port without path has 0 A, the rest holds.
    """

    outcome: Outcome
    node_v: NDArray[np.float64]
    part: NDArray[np.int64]
    pack_a: NDArray[np.float64]
    branch_a: NDArray[np.float64]
    port_v: NDArray[np.float64]
    port_a: NDArray[np.float64]
    conducts: NDArray[np.bool_]
    holding: NDArray[np.bool_]
    residual_a: float


def solve(network: Network, draws: Sequence[Draw], states: Sequence[State] | None = None, *,
          drop_v: ArrayLike = 0.0, whole: NDArray[np.bool_] | None = None) -> Solution:
    """Solve the network for its operating point.

    ``draws``: one per port; ``states``: one per pack (None: all on); ``drop_v``: forward drop [V] of a blocked pack's
    diode, one for all or one per pack; ``whole``: branches that conduct (None: all). Raises `NetworkError` where a row
    has the wrong length. Collapse and ports without path are outcomes, not errors.
    """
    return Solver(network, states, drop_v=drop_v, whole=whole).solve(draws)


class Solver:
    """A network with its packs' states, ready to be solved for many draws; factorisations are kept."""

    def __init__(self, network: Network, states: Sequence[State] | None = None, *, drop_v: ArrayLike = 0.0,
                 whole: NDArray[np.bool_] | None = None) -> None:
        count = len(network.packs)
        state = np.zeros(count, int) if states is None else np.array([int(s) for s in states], dtype=int)
        if len(state) != count:
            raise NetworkError(f"{len(state)} states for {count} packs", network.packs)
        self.network = network
        self.states = (State.ON,) * count if states is None else tuple(State(int(s)) for s in states)
        self.whole = flags(whole, network.branches, "yes or no to conducting branches")
        drop = self.drop_v = each(drop_v, network.packs, "diode drops")
        if not ((drop >= 0) & np.isfinite(drop)).all():
            bad = ~((drop >= 0) & np.isfinite(drop))
            raise NetworkError("diode drop is not 0 V or more", _names(network.packs, bad))
        self.outward = state == State.CHARGE_BLOCKED
        self.inward = state == State.DISCHARGE_BLOCKED
        self.on = state == State.ON
        self.blocked = self.outward | self.inward
        self.emf_v = network.pack_emf_v - np.where(self.outward, drop, 0.0) + np.where(self.inward, drop, 0.0)
        self._kept: dict[bytes, Thevenin] = {}

    def solve(self, draws: Sequence[Draw]) -> Solution:
        """Return the operating point for ``draws``, one per port."""
        if len(draws) != len(self.network.ports):
            raise NetworkError(f"{len(draws)} draws for {len(self.network.ports)} ports", self.network.ports)
        trial, settled = self.settle(Laws.of(draws))
        return trial.solution(settled=settled)

    def settle(self, laws: Laws) -> tuple[Trial, bool]:
        """Return the state in which every blocked pack conducts rightly or not at all, and whether it was found."""
        conducts = self.on | self.blocked
        fewest, patience = len(conducts) + 1, _WITHOUT_GAIN
        for _ in range(60 + 3 * int(self.blocked.sum())):
            trial = Trial(self, laws, conducts)
            wrong = trial.wrong()
            count = int(wrong.sum())
            if not count:
                return trial, True
            fewest, patience = (count, _WITHOUT_GAIN) if count < fewest else (fewest, patience - 1)
            if patience <= 0:
                wrong &= np.cumsum(wrong) == 1
            conducts = conducts ^ wrong
        return Trial(self, laws, conducts), False

    def seen(self, conducts: NDArray[np.bool_], upheld_v: NDArray[np.float64]) -> Thevenin:
        """Return the network seen from its ports with these packs conducting.

        Each port of a finite ``upheld_v`` [V] gets a source of that voltage.
        """
        key = conducts.tobytes() + upheld_v.tobytes()
        if key not in self._kept:
            if len(self._kept) >= 8:
                self._kept.clear()
            ports = np.flatnonzero(np.isfinite(upheld_v))
            network, emf = self.network, self.emf_v
            if len(ports):
                network = _upheld(network, ports, upheld_v[ports])
                emf = np.append(emf, upheld_v[ports])
            closed = np.append(conducts, np.ones(len(ports), bool))
            self._kept[key] = Thevenin(network, emf, closed, self.whole)
        return self._kept[key]


def _upheld(network: Network, ports: NDArray[np.int64], volts: NDArray[np.float64]) -> Network:
    """The network with a source in excess at each of these ports, as packs after its own."""
    return replace(
        network,
        packs=network.packs + tuple(f"source at {network.ports[i]}" for i in ports),
        pack_plus=np.append(network.pack_plus, network.port_plus[ports]),
        pack_minus=np.append(network.pack_minus, network.port_minus[ports]),
        pack_emf_v=np.append(network.pack_emf_v, volts),
        pack_ohm=np.append(network.pack_ohm, np.full(len(ports), _SOURCE_OHM)))


class Trial:
    """The network solved with one guess of which blocked packs conduct: ``seen`` from its ports, where it ``met``."""

    def __init__(self, solver: Solver, laws: Laws, conducts: NDArray[np.bool_]) -> None:
        self.solver, self.conducts = solver, conducts
        self.seen = solver.seen(conducts, np.full(len(laws.limit_v), np.inf))
        self.upheld = self.seen.dead & laws.charging  # a charger can hold up what no pack does
        if self.upheld.any():
            self.seen = solver.seen(conducts, np.where(self.upheld, laws.limit_v, np.inf))
        self.rest_v = self.seen.rest_v[:len(conducts)]
        self.dead = self.seen.dead
        self.laws = replace(laws, shunt_s=np.where(self.upheld, 1 / _SOURCE_OHM, 0.0))
        self.met: Met = meet(self.seen.open_v, self.seen.z_ohm, self.laws.at(self.seen.lanes),
                             edge=bool(solver.blocked.any()))
        self.differ_v = self.seen.differences(self.met.amps)
        # where no pack conducts and no charger can hold the voltage, it runs away
        upheld_bank = (self.upheld[self.seen.lanes] & (self.seen.lanes >= 0)).any(axis=1)
        self.adrift = upheld_bank & ~self.met.held
        self.lost = self.laws.demanding & (self.dead | (self._of_banks(self.adrift)))

    def wrong(self) -> NDArray[np.bool_]:
        """Return the blocked packs that conduct the wrong way or should conduct and do not."""
        solver, network = self.solver, self.solver.network
        wrong = np.zeros_like(self.conducts)
        if not solver.blocked.any():
            return wrong
        part = self.seen.factored.part
        amps = (self.rest_v - (self.differ_v[network.pack_plus] - self.differ_v[network.pack_minus])) / network.pack_ohm
        forward = np.where(solver.outward, amps, -amps)
        apart = part[network.pack_plus] != part[network.pack_minus]
        drifting = np.append(self.adrift, False)[self.seen.bank[network.pack_plus]]
        sure = solver.blocked & ~apart & ~drifting
        wrong |= sure & np.where(self.conducts, forward < -_NEAR_A, forward > _NEAR_A)
        for bank in np.flatnonzero(self.adrift):
            self._first_to_conduct(drifting & (self.seen.bank[network.pack_plus] == bank), self.seen.lanes[bank], wrong)
        ends = {(int(part[network.port_plus[port]]), int(part[network.port_minus[port]]))
                for port in np.flatnonzero(self.lost & self.dead)}
        for plus, minus in sorted(ends):
            ports = np.flatnonzero(self.lost & (part[network.port_plus] == plus) & (part[network.port_minus] == minus))
            spans = (part[network.pack_plus] == plus) & (part[network.pack_minus] == minus)
            self._first_to_conduct(spans, ports, wrong)
        return wrong

    def _first_to_conduct(self, packs: NDArray[np.bool_], ports: NDArray[np.int64], wrong: NDArray[np.bool_]) -> None:
        """Mark the idle pack that the voltage reaches first while it runs away: it falls where more is drawn."""
        laws, idle = self.laws.at(ports), packs & ~self.conducts
        emf = self.solver.emf_v
        outward, inward = np.flatnonzero(idle & self.solver.outward), np.flatnonzero(idle & self.solver.inward)
        if len(outward) and laws.drawn(emf[first := outward[np.argmax(emf[outward])]]) > 0:
            wrong[first] = True
        if len(inward) and laws.drawn(emf[first := inward[np.argmin(emf[inward])]]) < 0:
            wrong[first] = True

    def solution(self, *, settled: bool) -> Solution:
        """Return the figures of this state."""
        gone = np.append(~self.met.held, False)[self.seen.bank] | (not settled)  # nodes of banks without a solution
        differ = np.where(gone, np.nan, self.differ_v)
        pack_a, branch_a, port_v, port_a, excess = self._currents(differ)
        if np.nanmax(np.abs(excess), initial=0.0) > _NEAR_A / 10:
            differ = differ + self.seen.factored.volts(np.nan_to_num(excess))  # one step of refinement
            pack_a, branch_a, port_v, port_a, excess = self._currents(differ)
        outcome, residual = self._outcome(settled=settled), float(np.nanmax(np.abs(excess), initial=0.0))
        return Solution(outcome, self.seen.level_v + differ, self.seen.factored.part, pack_a, branch_a, port_v, port_a,
                        self.conducts.copy(), self._holding(), residual)

    def _currents(self, differ: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """Currents of packs and branches, volts and currents of ports, and what each node gets in excess [A]."""
        solver, network = self.solver, self.solver.network
        over = self.rest_v - (differ[network.pack_plus] - differ[network.pack_minus])
        pack_a = np.where(self.conducts, over / network.pack_ohm, 0.0)
        drop = differ[network.branch_a] - differ[network.branch_b]
        branch_a = np.where(solver.whole, drop / network.branch_ohm, 0.0)
        port_v, port_a = self._ports(self.seen.across(differ, network.port_plus, network.port_minus))
        return pack_a, branch_a, port_v, port_a, _imbalance(network, pack_a, branch_a, port_a)

    def _lane_values(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values (banks, width) sorted to the ports; 0 where a port is in no bank."""
        out = np.zeros(len(self.dead))
        there = self.seen.lanes >= 0
        out[self.seen.lanes[there]] = values[there]
        return out

    def _ports(self, across: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        port_v = np.where(self.dead, np.nan, across)
        amps = self._lane_values(self.met.amps)
        amps = amps - self.laws.excess(np.nan_to_num(port_v))
        return port_v, np.where(~self.dead & np.isnan(port_v), np.nan, amps)

    def _holding(self) -> NDArray[np.bool_]:
        return self._lane_values(self.met.holding.astype(np.float64)) > 0

    def _outcome(self, *, settled: bool) -> Outcome:
        network, met = self.solver.network, self.met
        if self.lost.any():
            return Outcome(Kind.NO_PATH, _names(network.ports, self.lost))
        if not (settled and met.settled.all()):
            bad = ~met.settled | (not settled)
            return Outcome(Kind.UNSETTLED, _names(network.ports, self._of_banks(bad) & self.laws.demanding))
        if not met.held.all():
            return Outcome(Kind.COLLAPSE, _names(network.ports, self._of_banks(~met.held) & self.laws.demanding))
        lonely = self.conducts & (self.seen.bank[network.pack_plus] < 0)
        if lonely.any() and network.ports:
            return Outcome(Kind.ISLAND, _names(network.packs, lonely))
        return Outcome(Kind.FINE)

    def _of_banks(self, banks: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Ports of the banks marked (banks,)."""
        return self._lane_values(np.broadcast_to(banks[:, None], self.seen.lanes.shape).astype(np.float64)) > 0


def _names(names: tuple[str, ...], where: NDArray[np.bool_]) -> tuple[str, ...]:
    return tuple(names[i] for i in np.flatnonzero(where))


def _imbalance(network: Network, pack_a: NDArray[np.float64], branch_a: NDArray[np.float64],
               port_a: NDArray[np.float64]) -> NDArray[np.float64]:
    """Current [A] that each node gets in excess."""
    count = len(network.nodes)

    def into(nodes: NDArray[np.int64], amps: NDArray[np.float64]) -> NDArray[np.float64]:
        got: NDArray[np.float64] = np.bincount(nodes, amps, count)[:count].astype(np.float64)
        return got

    return (into(network.pack_plus, pack_a) - into(network.pack_minus, pack_a)
            + into(network.branch_b, branch_a) - into(network.branch_a, branch_a)
            + into(network.port_minus, port_a) - into(network.port_plus, port_a))
