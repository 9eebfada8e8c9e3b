"""One out: each pack opened or blocked, each branch opened, and the network solved again at the same draws.

The network with everything closed is factored once and reduced to its ports and the element that goes
(:mod:`interop.circuit.opened`); Newton meets the ports of all cases of a bank in one batch, because a rank-one
update alone is not exact with constant power. Elements in series are one case. What the batch cannot say (a pack that
was blocked before would change its mind, a charger alone would hold up a bank) is solved afresh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.cuts import Cuts
from interop.circuit.draws import Draw, Laws
from interop.circuit.network import Network, NetworkError, State, each, numbers
from interop.circuit.opened import Changed, Changes
from interop.circuit.solve import Kind, Outcome, Solution, Solver, solve
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["OneOut", "Out", "one_out"]

_NEAR_A = 1e-9


@unchanging
class Out:
    """One case in words: what was taken out, what came of it, and the packs that come nearest to their limits.

    ``worst``: (pack, current [A], part of its limit in that direction), worst first; ``port_v``: volts of the ports of
    the same bank [V].
    """

    name: str
    state: State
    outcome: Outcome
    worst: tuple[tuple[str, float, float], ...]
    port_v: tuple[tuple[str, float], ...]


@dataclass(eq=False)
class OneOut:
    """All cases: the packs asked for, in their states, and then the branches.

    ``element``: number of the pack or branch (cases,); ``state``: of the pack, OPEN for branches; ``kind``: a `Kind`
    each. ``worst_pack``, ``worst_a`` [A], ``worst_part``: (cases, worst), the packs with the greatest part of their
    limits, -1 and NaN where there are fewer. ``port``: (cases, width), the ports of the case's own bank, -1 for none,
    with ``port_v`` [V], ``port_lost`` (draws and is not fed) and ``port_low`` (below its cut-off); a port that nothing
    fed before belongs to the banks of both its sides. Other banks are not touched by a case. ``fresh``: how many
    cases were solved afresh.
    """

    network: Network
    element: NDArray[np.int64]
    is_pack: NDArray[np.bool_]
    state: NDArray[np.int64]
    kind: NDArray[np.object_]
    worst_pack: NDArray[np.int64]
    worst_a: NDArray[np.float64]
    worst_part: NDArray[np.float64]
    port: NDArray[np.int64]
    port_v: NDArray[np.float64]
    port_lost: NDArray[np.bool_]
    port_low: NDArray[np.bool_]
    fresh: int = 0

    def __len__(self) -> int:
        return len(self.element)

    def case(self, i: int) -> Out:
        """Return case ``i`` with names; where the voltage collapses no pack has a current."""
        names, ports = self.network.packs if self.is_pack[i] else self.network.branches, self.network.ports
        kind, there = self.kind[i], self.port[i] >= 0
        about = {Kind.FINE: ~there, Kind.SPLIT: ~there, Kind.NO_PATH: self.port_lost[i],
                 Kind.BELOW_CUT_OFF: self.port_low[i]}.get(kind, there)
        worst = zip(self.worst_pack[i].tolist(), self.worst_a[i].tolist(), self.worst_part[i].tolist(), strict=True)
        volts = zip(self.port[i].tolist(), self.port_v[i].tolist(), strict=True)
        return Out(
            names[self.element[i]], State(int(self.state[i])),
            Outcome(kind, tuple(ports[p] for p in self.port[i][about & there])),
            tuple((self.network.packs[p], amps, part) for p, amps, part in worst if p >= 0 and not np.isnan(amps)),
            tuple((ports[p], volt) for p, volt in volts if p >= 0))


def one_out(network: Network, draws: Sequence[Draw], packs: Sequence[tuple[int, State]], branches: Sequence[int], *,
            discharge_a: ArrayLike, charge_a: ArrayLike, cut_off_v: ArrayLike = np.nan,
            states: Sequence[State] | None = None, drop_v: ArrayLike = 0.0, whole: NDArray[np.bool_] | None = None,
            worst: int = 3) -> OneOut:
    """Solve for each case of ``packs`` (number, state that it falls into) and of ``branches`` (numbers, opened).

    ``discharge_a``, ``charge_a``: limits of the packs [A], above zero, infinite where none is stated; ``cut_off_v``: of
    the ports [V], NaN for none, judged where a port draws; ``worst``: how many packs a case keeps; ``states``,
    ``drop_v`` and ``whole`` are those before anything goes, as in `solve`. Raises `NetworkError` for a limit that is
    not above zero, a row of a wrong length or a number that no pack or branch has.
    """
    solver = Solver(network, states, drop_v=drop_v, whole=whole)
    if len(draws) != len(network.ports):
        raise NetworkError(f"{len(draws)} draws for {len(network.ports)} ports", network.ports)
    out, into = (each(limit, network.packs, "current limits") for limit in (discharge_a, charge_a))
    bad = [name for name, most, least in zip(network.packs, out, into, strict=True) if not (most > 0 and least > 0)]
    if bad:
        raise NetworkError("current limit is not above zero", bad)
    numbers([pack for pack, _ in packs], network.packs, "pack")
    numbers(branches, network.branches, "branch")
    cut = each(cut_off_v, network.ports, "cut-offs")
    return _Cases(solver, draws, packs, branches, _Limits(out, into, cut, min(worst, len(network.packs)))).run()


@unchanging(eq=False)
class _Limits:
    discharge_a: NDArray[np.float64]
    charge_a: NDArray[np.float64]
    cut_off_v: NDArray[np.float64]
    worst: int


class _Cases:
    """The cases, the state that they start from, and what is known of each so far."""

    def __init__(self, solver: Solver, draws: Sequence[Draw], packs: Sequence[tuple[int, State]],
                 branches: Sequence[int], limits: _Limits) -> None:
        self.solver, self.draws, self.limits = solver, draws, limits
        network = solver.network
        self.trial, self.settled = solver.settle(Laws.of(draws))
        self.changes = Changes(self.trial)
        self.dead = self._dead_ports()
        count = len(packs) + len(branches)
        width = max(self.trial.seen.lanes.shape[1] + max(map(len, self.dead.values()), default=0), 1)
        worst, ports = (count, limits.worst), (count, width)
        self.out = OneOut(
            network, np.array([*(pack for pack, _ in packs), *branches], dtype=np.int64), np.arange(count) < len(packs),
            np.array([*(int(state) for _, state in packs), *([int(State.OPEN)] * len(branches))], dtype=np.int64),
            np.full(count, Kind.UNSETTLED, dtype=object),
            np.full(worst, -1), np.full(worst, np.nan), np.full(worst, np.nan),
            np.full(ports, -1), np.full(ports, np.nan), np.zeros(ports, bool), np.zeros(ports, bool))
        self.of_case = self.out.element + np.where(self.out.is_pack, len(network.branches), 0)
        self.afresh = np.zeros(count, bool)

    def _dead_ports(self) -> dict[int, list[int]]:
        """By part: the ports that draw with one side there and nothing that joins it to the other."""
        out: dict[int, list[int]] = {}
        network, part = self.solver.network, self.trial.seen.factored.part
        for port in np.flatnonzero(self.trial.seen.dead & self.trial.laws.demanding).tolist():
            for side in {int(part[network.port_plus[port]]), int(part[network.port_minus[port]])}:
                out.setdefault(side, []).append(port)
        return out

    def run(self) -> OneOut:
        out, solver = self.out, self.solver
        cuts = Cuts(self.changes.network, self.trial.conducts, solver.whole)
        alone = bool(self.trial.upheld.any() or self.trial.lost.any()) or not self.settled
        was_on = np.append(np.ones(len(self.changes.network.branches), bool), solver.on)[self.of_case]
        to_open, to_on = out.state == State.OPEN, out.state == State.ON
        self.afresh[:] = alone | (~was_on & ~to_open)
        same = ~self.afresh & (to_on | (to_open & ~cuts.there[self.of_case]))
        back = self._block(np.flatnonzero(~self.afresh & ~to_open & ~to_on))
        opened = np.concatenate([np.flatnonzero(~self.afresh & to_open & ~same), back])
        bridge = cuts.bridge[self.of_case[opened]]
        self._open(opened[~bridge], cuts)
        self._open_bridges(opened[bridge], cuts, same)
        if same.any():
            before = self.trial.solution(settled=self.settled)
            for case in np.flatnonzero(same).tolist():
                self._tell(case, before)
        splits = np.isin(np.arange(len(out)), opened) & cuts.splits[self.of_case] & (out.kind == Kind.FINE)
        out.kind[splits] = Kind.SPLIT
        for case in np.flatnonzero(self.afresh).tolist():
            self._solve_afresh(case)
        out.fresh = int(self.afresh.sum())
        return out

    def _open(self, cases: NDArray[np.int64], cuts: Cuts) -> None:
        """Open one element of every group in series, and give its result to all cases of that group.

        Voltages inside a group depend on where it is opened, so that an idle pack there may want to conduct: where
        idle packs are, each element is opened itself.
        """
        instead = cuts.largest(self.changes.ohm)[cuts.group[self.of_case[cases]]]
        if (self.solver.blocked & ~self.trial.conducts).any():
            instead = self.of_case[cases]
        elements, group_of = np.unique(instead, return_inverse=True)
        order = np.argsort(group_of, kind="stable")
        begins = np.searchsorted(group_of[order], np.arange(len(elements) + 1))
        for changed in self.changes.opened(elements):
            counts = begins[changed.chosen + 1] - begins[changed.chosen]
            row = np.repeat(np.arange(len(counts)), counts)
            place = begins[changed.chosen][row] + np.arange(len(row)) - (np.cumsum(counts) - counts)[row]
            self._put(cases[order[place]], row, changed)

    def _block(self, cases: NDArray[np.int64]) -> NDArray[np.int64]:
        """Let packs conduct one way through their diode; returned are the cases in which they do not conduct at all."""
        packs, outward = self.out.element[cases], self.out.state[cases] == State.CHARGE_BLOCKED
        back = [np.zeros(0, np.int64)]
        for changed in self.changes.shifted(packs, np.where(outward, -1.0, 1.0) * self.solver.drop_v[packs]):
            chosen, row = changed.chosen, np.arange(len(changed.chosen))
            own = changed.pack_a[row, np.searchsorted(self.changes.packs(changed.part), packs[chosen])]
            fits = np.where(outward[chosen], own, -own) >= -_NEAR_A
            sure = changed.met.held & ~changed.unsure
            self.afresh[cases[chosen[~sure]]] = True
            back.append(cases[chosen[sure & ~fits]])
            stay = np.flatnonzero(sure & fits)
            self._put(cases[chosen[stay]], stay, changed)
        return np.concatenate(back)

    def _open_bridges(self, cases: NDArray[np.int64], cuts: Cuts, same: NDArray[np.bool_]) -> None:
        """A bridge carries what the ports beyond it draw: without them nothing flows in it, opened or not."""
        charging = self.trial.laws.charging
        for case in cases.tolist():
            element = int(self.of_case[case])
            lost = cuts.parted_ports(element)
            if charging[lost].any() or (lost and self.solver.blocked.any()) or cuts.idle_across(element) > 1:
                self.afresh[case] = True  # two idle packs, or one and a port, may close a loop of their own
            elif not lost:
                same[case] = True
            else:
                part = int(self.changes.part[self.changes.a[element]])
                gone = np.isin(self.changes.lane(part), lost)
                self._put(np.array([case]), np.zeros(1, np.int64), self.changes.without_ports(part, gone), gone)

    def _put(self, cases: NDArray[np.int64], row: NDArray[np.int64], changed: Changed,
             gone: NDArray[np.bool_] | None = None) -> None:
        """Note the result in ``row`` of a change for each case."""
        met, lane = changed.met, self.changes.lane(changed.part)
        self.afresh[cases[(changed.unsure | ~met.settled)[row]]] = True
        volts = np.where(met.held[:, None], met.volts, np.nan)
        lost = np.zeros(volts.shape, bool)
        if gone is not None:
            volts, lost = np.where(gone, np.nan, volts), np.broadcast_to(
                gone & (self.trial.laws.demanding[lane] & (lane >= 0)), volts.shape)
        amps = np.where(met.held[:, None], changed.pack_a, np.nan)
        self._note(cases, row, changed.part, lane, amps, volts, lost)

    def _note(self, cases: NDArray[np.int64], row: NDArray[np.int64], part: int, lane: NDArray[np.int64],
              amps: NDArray[np.float64], volts: NDArray[np.float64], lost: NDArray[np.bool_]) -> None:
        out, limits, laws = self.out, self.limits, self.trial.laws
        packs, width = self.changes.packs(part), volts.shape[1]
        draws = laws.demanding[lane] & (laws.power_w[lane] + laws.current_a[lane] > 0) & (lane >= 0) & ~lost
        low = draws & (volts < limits.cut_off_v[lane]) if len(lane) else np.zeros(volts.shape, bool)
        collapsed = np.isnan(amps).any(axis=1) | (np.isnan(volts) & draws).any(axis=1)
        kind = np.full(len(amps), Kind.FINE, dtype=object)
        kind[low.any(axis=1)] = Kind.BELOW_CUT_OFF
        kind[lost.any(axis=1)] = Kind.NO_PATH
        kind[collapsed] = Kind.COLLAPSE
        out.kind[cases] = kind[row]
        out.port[cases, :width] = np.where(lane >= 0, lane, -1)
        out.port_v[cases, :width] = np.where(lane >= 0, volts, np.nan)[row]
        out.port_lost[cases, :width], out.port_low[cases, :width] = lost[row], low[row]
        keep = min(limits.worst, len(packs))
        used = np.maximum(amps / limits.discharge_a[packs], -amps / limits.charge_a[packs])
        if keep:
            top = np.argpartition(-used, keep - 1, axis=1)[:, :keep] if keep < len(packs) else np.broadcast_to(
                np.arange(keep), (len(used), keep))
            parts = np.take_along_axis(used, top, axis=1)
            top = np.take_along_axis(top, np.lexsort((top, -parts), axis=1), axis=1)
            out.worst_pack[cases, :keep] = packs[top][row]
            out.worst_a[cases, :keep] = np.take_along_axis(amps, top, axis=1)[row]
            out.worst_part[cases, :keep] = np.take_along_axis(used, top, axis=1)[row]

    def _tell(self, case: int, solution: Solution) -> None:
        """Note a whole solution."""
        part = int(self.changes.part[self.changes.a[self.of_case[case]]])
        lane = np.append(self.changes.lane(part), np.array(self.dead.get(part, ()), dtype=np.int64))
        volts = np.where(lane >= 0, solution.port_v[lane], np.nan) if len(lane) else np.zeros(0)
        about = solution.outcome.about if solution.outcome.kind == Kind.NO_PATH else ()
        lost = np.array([port >= 0 and self.solver.network.ports[port] in about for port in lane], dtype=bool)
        self._note(np.array([case]), np.zeros(1, np.int64), part, lane,
                   solution.pack_a[self.changes.packs(part)][None, :], volts[None, :], lost[None, :])
        if solution.outcome.kind == Kind.UNSETTLED:
            self.out.kind[case] = Kind.UNSETTLED
        elif lost.any():
            self.out.kind[case] = Kind.NO_PATH

    def _solve_afresh(self, case: int) -> None:
        solver, element = self.solver, int(self.out.element[case])
        states, whole = list(solver.states), solver.whole
        if self.out.is_pack[case]:
            states[element] = State(int(self.out.state[case]))
        else:
            whole = whole & (np.arange(len(whole)) != element)
        self._tell(case, solve(solver.network, self.draws, states, drop_v=solver.drop_v, whole=whole))
