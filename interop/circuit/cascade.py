"""Trip follows trip: packs and devices open by their steps, the network is solved again, to the end.

A step (A, s) means: from this current on it opens after so many seconds. The time at a current is the shortest of the
steps reached. Progress towards opening is kept as a part of the whole: at a current that opens after t seconds it grows
by 1 / t each second, goes on from where it was when the current changes to another step, and falls to nothing as
soon as the current is below the lowest step. Loads keep their power; a port below its cut-off stops at once. Of several
ports below their cut-off the one furthest below stops first, and the others are judged again without it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from interop.circuit.draws import NOTHING, Charger, Draw
from interop.circuit.network import Network, NetworkError, State, each, flags, numbers
from interop.circuit.solve import Kind, Solution, solve
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["ASSUMED_S", "End", "Event", "Play", "Protection", "Steps", "What", "play", "steps_or_limit"]

Steps: TypeAlias = tuple[tuple[float, float], ...]
"""(current [A], time [s]) pairs in one direction."""

ASSUMED_S = 10.0
"""Seconds above the continuous limit until a pack without stated steps opens: an assumption, to be said openly."""


_NEAR = 1e-9
"""A current counts as having reached a step, and a time as due, when so close to it: rounding saves nobody."""


class What(StrEnum):
    """What happened."""

    DISCHARGE = "opens on discharge current"
    CHARGE = "opens on charge current"
    DEVICE = "device opens"
    CUT_OFF = "stops at its low cut-off"
    DARK = "is fed no more"


class End(StrEnum):
    """How it ends: every load carried; some stopped by their low cut-off; some dark; or not to be said."""

    CARRIED = "load carried"
    CUT_OFF = "low cut-off"
    DARK = "dark"
    UNSETTLED = "not settled"


@unchanging
class Protection:
    """Steps of a pack's BMS in each direction, and the state that the pack is in after each.

    No steps in a direction: it never opens there. `steps_or_limit` gives the assumed ones.
    """

    discharge: Steps = ()
    charge: Steps = ()
    after_discharge: State = State.OPEN
    after_charge: State = State.OPEN

    def __post_init__(self) -> None:
        _check("discharge", self.discharge)
        _check("charge", self.charge)


@unchanging
class Event:
    """At ``time_s`` [s] something happened to the pack, device or port ``name``, at a current [A] or voltage [V].

    ``amps``: through the pack or device, or drawn by the port, before it; NaN for a port whose network collapsed.
    """

    time_s: float
    what: What
    name: str
    amps: float


@unchanging(eq=False)
class Play:
    """The events in order, how it ended, and the network then: states, branches left, draws left, solution."""

    end: End
    events: tuple[Event, ...]
    states: tuple[State, ...]
    whole: NDArray[np.bool_]
    draws: tuple[Draw, ...]
    solution: Solution

    @property
    def time_s(self) -> float:
        """Seconds until the last event, 0 without any."""
        return self.events[-1].time_s if self.events else 0.0


def steps_or_limit(steps: Steps, limit_a: float) -> tuple[Steps, bool]:
    """Return the stated steps, or else the continuous limit [A] with `ASSUMED_S`; and whether that was assumed."""
    return (steps, False) if steps else (((limit_a, ASSUMED_S),), True)


def play(network: Network, draws: Sequence[Draw], packs: Sequence[Protection],
         devices: Mapping[int, Steps] | None = None, *, cut_off_v: ArrayLike = np.nan,
         states: Sequence[State] | None = None, drop_v: ArrayLike = 0.0,
         whole: NDArray[np.bool_] | None = None,
         ordered: Callable[[Sequence[State]], Sequence[Draw]] | None = None) -> Play:
    """Play from a state (one pack or device already out, say) to the end.

    ``packs``: one `Protection` per pack; ``devices``: steps by number of branch, in both directions; ``cut_off_v``: [V]
    per port, NaN for none; ``ordered``: in closed loop, the draws of all ports by the states of the packs, instead of
    ``draws``; a port that has stopped stays so. The rest as in `solve`. Ends always: each round opens or stops
    something or is the last.
    Raises `NetworkError` for a row of a wrong length or a number that no branch has, ``ValueError`` for steps without a
    current above zero.
    """
    if len(packs) != len(network.packs):
        raise NetworkError(f"{len(packs)} protections for {len(network.packs)} packs", network.packs)
    steps = dict(devices or {})
    numbers(list(steps), network.branches, "branch")
    for branch, pairs in steps.items():
        _check(network.branches[branch], pairs)
    cut = each(cut_off_v, network.ports, "cut-offs")
    first = tuple(states) if states is not None else (State.ON,) * len(network.packs)
    kept = flags(whole, network.branches, "yes or no to conducting branches").copy()
    return _Player(network, list(draws), list(packs), steps, cut, list(first), drop_v, kept, ordered).run()


def _check(whose: str, steps: Steps) -> None:
    if any(not (amps > 0 and seconds >= 0) for amps, seconds in steps):
        raise ValueError(f"{whose}: steps {steps}: expected currents above 0 A and times of 0 s or more")


def _seconds(steps: Steps, amps: float) -> float:
    """Time [s] until it opens at a current [A]: the shortest of the steps reached; infinite below all of them."""
    return min((seconds for at, seconds in steps if amps >= at * (1 - _NEAR)), default=np.inf)


_Key: TypeAlias = tuple[What, int]


class _Player:
    def __init__(self, network: Network, draws: list[Draw], packs: list[Protection], devices: dict[int, Steps],
                 cut_off_v: NDArray[np.float64], states: list[State], drop_v: ArrayLike,
                 whole: NDArray[np.bool_], ordered: Callable[[Sequence[State]], Sequence[Draw]] | None) -> None:
        self.network, self.draws, self.packs, self.devices = network, draws, packs, devices
        self.cut_off_v, self.states, self.drop_v, self.whole = cut_off_v, states, drop_v, whole
        self.ordered = ordered
        self.stopped: set[int] = set()
        self.time_s = 0.0
        self.events: list[Event] = []
        self.progress: dict[_Key, float] = {}
        self.end = End.CARRIED

    def run(self) -> Play:
        while True:
            solution = self._solved()
            if self.end == End.UNSETTLED or not self._step(solution):
                return Play(self.end, tuple(self.events), tuple(self.states), self.whole, tuple(self.draws), solution)

    def _solved(self) -> Solution:
        """Solve, and stop the ports that cannot go on, until those left can."""
        if self.ordered is not None:
            self.draws = [NOTHING if port in self.stopped else draw
                          for port, draw in enumerate(self.ordered(self.states))]
        while True:
            solution = solve(self.network, self.draws, self.states, drop_v=self.drop_v, whole=self.whole)
            kind = solution.outcome.kind
            if kind == Kind.UNSETTLED:
                self.end = End.UNSETTLED
                return solution
            lost = solution.outcome.about if kind in {Kind.NO_PATH, Kind.COLLAPSE} else ()
            about = [self.network.ports.index(name) for name in lost]
            if kind == Kind.NO_PATH:
                for port in about:
                    self._stop(port, What.DARK, 0.0)
            elif kind == Kind.COLLAPSE:  # the voltage falls through every cut-off that there is
                for port in about:
                    self._stop(port, What.DARK if np.isnan(self.cut_off_v[port]) else What.CUT_OFF, np.nan)
            elif (low := self._lowest(solution)) is not None:
                self._stop(low, What.CUT_OFF, float(solution.port_a[low]))
            else:
                return solution

    def _lowest(self, solution: Solution) -> int | None:
        """The port furthest below its cut-off, of those that draw."""
        drawing = np.array([not isinstance(draw, Charger) for draw in self.draws], dtype=bool) & (solution.port_a > 0)
        short = np.where(drawing, self.cut_off_v - solution.port_v, np.nan)
        short = np.where(np.isnan(short), -np.inf, short)
        return int(short.argmax()) if len(short) and short.max() > 0 else None

    def _stop(self, port: int, what: What, amps: float) -> None:
        self.events.append(Event(self.time_s, what, self.network.ports[port], amps))
        self.draws[port] = NOTHING
        self.stopped.add(port)
        if what == What.DARK or self.end == End.CARRIED:
            self.end = End.DARK if what == What.DARK else End.CUT_OFF

    def _step(self, solution: Solution) -> bool:
        """Go on to the next opening, and open all that are due then; False where nothing opens any more."""
        running: dict[_Key, tuple[float, float]] = {}  # time at this current, current
        for key, steps, amps in self._relays(solution):
            seconds = _seconds(steps, amps)
            if np.isfinite(seconds):
                running[key] = (seconds, amps)
        self.progress = {key: self.progress.get(key, 0.0) for key in running}
        if not running:
            return False
        left = {key: (1 - self.progress[key]) * seconds for key, (seconds, _) in running.items()}
        wait = min(left.values())
        self.time_s += wait
        for key, (seconds, amps) in running.items():
            if left[key] <= wait * (1 + _NEAR):
                self._open(key, amps)
                del self.progress[key]
            else:
                self.progress[key] += wait / seconds
        return True

    def _relays(self, solution: Solution) -> list[tuple[_Key, Steps, float]]:
        """What watches a current: packs outward, packs inward, devices that are whole."""
        rows: list[tuple[_Key, Steps, float]] = []
        for pack, amps in enumerate(solution.pack_a.tolist()):
            rows += [((What.DISCHARGE, pack), self.packs[pack].discharge, amps),
                     ((What.CHARGE, pack), self.packs[pack].charge, -amps)]
        rows += [((What.DEVICE, branch), steps, abs(float(solution.branch_a[branch])))
                 for branch, steps in sorted(self.devices.items()) if self.whole[branch]]
        return rows

    def _open(self, key: _Key, amps: float) -> None:
        what, number = key
        if what == What.DEVICE:
            self.whole[number] = False
            name = self.network.branches[number]
        else:
            protection = self.packs[number]
            after = protection.after_discharge if what == What.DISCHARGE else protection.after_charge
            self.states[number] = _both(self.states[number], after)
            name = self.network.packs[number]
        self.events.append(Event(self.time_s, what, name, amps))


def _both(before: State, after: State) -> State:
    """The state of a pack that was in one and is put into another besides."""
    if before in {State.ON, after}:
        return after
    return before if after == State.ON else State.OPEN
