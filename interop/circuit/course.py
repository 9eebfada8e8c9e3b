"""Currents over time: packs that empty and fill while a schedule of loads and chargers hangs on the bank.

Each pack is a voltage without current that depends on its charge state, behind its own resistance; the network is
solved at every instant. Charge states follow d(soc)/dt = -I / capacity, integrated with adaptive steps
(scipy's `solve_ivp`, LSODA, which turns implicit where the knees of the voltage make it stiff); everything that changes
the course (a pack empty or full, a limit passed, the low cut-off, the end of absorption) is located in time, never
met by a step by chance. Source: power.md §3 and §4. Units: V, A, W, Ah, hours; charge states 0 to 1; currents positive
out of a pack and into a load.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from interop.circuit.network import State
from interop.circuit.plant import Collapse, Plant, Stage
from interop.circuit.sharing import ROUNDING_A, split_of
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.network import Network
    from interop.circuit.sharing import Limits

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Curve = Callable[[Floats], Floats]

__all__ = ["RECOVER", "TOLERANCE", "AtStop", "Course", "CourseError", "Event", "Packs", "Stage", "course"]

TOLERANCE = 1e-7
"""Relative and absolute error of a charge state in one step."""
RECOVER = 0.05
"""A blocked pack conducts again when its charge state is this far from its stop: from memory, an assumption."""
AtStop = Literal["block", "go on", "end"]

_FIRED = 1e-9
_EPSILON = float(np.finfo(np.float64).eps)
_STATES = {(False, False): State.ON, (True, False): State.DISCHARGE_BLOCKED, (False, True): State.CHARGE_BLOCKED,
           (True, True): State.OPEN}
"""By what is blocked: discharge, charge."""
_STEPS = 24


class CourseError(RuntimeError):
    """The integrator gave up, or changes of state chased one another without time passing."""


@unchanging(eq=False)
class Packs:
    """What the packs of a network hold, arrays (P,) in its order.

    ``volts``: charge states (P,) to voltages without current [V] (P,); ``slope``: to volts per unit of charge state,
    or None. ``low_soc``, ``high_soc``: charge states at which a pack is empty or full; ``low_v``, ``high_v``: terminal
    voltages [V] at which it is. Raises `ValueError` for shapes or figures that no pack has.
    """

    capacity_ah: Floats
    soc: Floats
    volts: Curve
    slope: Curve | None
    low_soc: Floats
    high_soc: Floats
    low_v: Floats
    high_v: Floats

    def __post_init__(self) -> None:
        size = self.capacity_ah.shape
        for name in ("soc", "low_soc", "high_soc", "low_v", "high_v"):
            if getattr(self, name).shape != size:
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, expected {size}")
        if not np.all((self.capacity_ah > 0) & np.isfinite(self.capacity_ah)):
            raise ValueError("a capacity is not above zero")
        if not np.all((self.soc >= 0) & (self.soc <= 1)):
            raise ValueError("a charge state is a fraction from 0 to 1")
        if not np.all(self.low_soc < self.high_soc) or not np.all(self.low_v < self.high_v):
            raise ValueError("a low stop is not below its high stop")

    @classmethod
    def of(cls, capacity_ah: ArrayLike, soc: ArrayLike, volts: Curve, slope: Curve | None = None, *,
           low_soc: ArrayLike = 0.0, high_soc: ArrayLike = 1.0, low_v: ArrayLike = -np.inf,
           high_v: ArrayLike = np.inf) -> Packs:
        """Return packs of capacities [Ah] and charge states; stops one for all or one per pack."""
        capacity = np.atleast_1d(np.asarray(capacity_ah, dtype=np.float64))

        def each(value: ArrayLike) -> Floats:
            return np.broadcast_to(np.asarray(value, dtype=np.float64), capacity.shape).copy()

        return cls(capacity, each(soc), volts, slope, each(low_soc), each(high_soc), each(low_v), each(high_v))


@unchanging
class Event:
    """What happened when [h]: "empty", "full", "on again", "over discharge limit", "over charge limit", "held",
    "tail", "cut off", "end", "dark" (nothing can carry the load or take the charge), "collapse"; pack by position, or
    None for the bank.
    """

    hours: float
    what: str
    pack: int | None = None


@unchanging(eq=False)
class Course:
    """Times (T,) [h], charge states (T, P), pack currents (T, P) [A] and terminal voltages (T, P) [V], port currents
    (T, Q) [A] and voltages (T, Q) [V]; two rows of one time where something changed. ``state`` (P,): the packs' last.
    """

    hours: Floats
    soc: Floats
    pack_a: Floats
    pack_v: Floats
    port_a: Floats
    port_v: Floats
    events: tuple[Event, ...]
    state: tuple[State, ...]

    @property
    def first_over(self) -> Event | None:
        """The first passing of a pack's current limit; None if none was passed."""
        return next((event for event in self.events if event.what.startswith("over")), None)

    @property
    def first_stop(self) -> Event | None:
        """The first pack that was empty or full; None if none was."""
        return next((event for event in self.events if event.what in {"empty", "full"}), None)

    def at(self, hours: float) -> tuple[Floats, Floats]:
        """Return charge states (P,) and pack currents (P,) [A] at a time [h], straight between the rows."""
        columns = (self.soc, self.pack_a)
        soc, amps = (np.array([np.interp(hours, self.hours, c) for c in column.T]) for column in columns)
        return soc, amps

    def first(self, what: str) -> Event | None:
        """Return the first event of a kind."""
        return next((event for event in self.events if event.what == what), None)


def course(network: Network, packs: Packs, stages: Sequence[Stage], *, split: ArrayLike | None = None, sense: int = 0,
           closed: Flags | None = None, limits: Limits | None = None, at_stop: AtStop = "block",
           recover: float = RECOVER, drop_v: float = 0.0, tolerance: float = TOLERANCE, end_v: float | None = None,
           fine: bool = True, told: Callable[[float], None] | None = None) -> Course:
    """Return the course of a schedule.

    ``split`` (Q,): the ports' shares of the current or power; ``sense``: the port whose voltage holds, cuts and ends;
    ``closed`` (P,): packs that take part; ``limits``: passings are reported, branches are not looked at here.
    ``at_stop``: an empty pack blocks its discharge and a full one its charge until it is ``recover`` away ("block"),
    stops are reported only ("go on"), or the first one ends the course ("end"). ``drop_v`` [V]: what a blocked pack's
    other direction costs. ``end_v`` [V]: the course ends when the sensed port reaches it, downwards under load, upwards
    under charge. ``fine``: two more rows within each step. ``told`` is called with the part of the
    stages that is done, after each. Raises `NetworkError`, `ValueError` for impossible input and
    `CourseError`, or `interop.circuit.plant.Unsettled`, if it fails.
    """
    if packs.capacity_ah.shape != (len(network.packs),):
        raise ValueError(f"{len(packs.capacity_ah)} capacities for {len(network.packs)} packs")
    if not 0 <= sense < max(len(network.ports), 1):
        raise ValueError(f"no port number {sense}")
    if any(stage.way for stage in stages) or split is not None:
        parts = split_of(network, split)
    else:
        parts = np.full(len(network.ports), 1 / max(len(network.ports), 1))
    run = _Run(Plant(network, parts, closed, sense, drop_v), packs, limits, at_stop, recover, tolerance, end_v, fine)
    for done, stage in enumerate(stages, start=1):
        if not run.stage(stage):
            break
        if told is not None:
            told(done / len(stages))
    return run.result()


class _Run:
    """The state of one course while it is integrated."""

    def __init__(self, plant: Plant, packs: Packs, limits: Limits | None, at_stop: AtStop, recover: float,
                 tolerance: float, end_v: float | None, fine: bool) -> None:
        self.plant, self.packs, self.limits = plant, packs, limits
        self.at_stop, self.recover, self.tolerance, self.end_v = at_stop, recover, tolerance, end_v
        self.fine, self.count = fine, len(packs.capacity_ah)
        self.on = plant.closed
        self.empty, self.full = np.zeros(self.count, bool), np.zeros(self.count, bool)
        self.stopped_at = packs.soc.copy()
        self.told: set[tuple[str, int]] = set()
        self.hours, self.soc = 0.0, packs.soc.copy()
        self.began = self.within = 0.0
        self.demand = Stage(1.0)
        self.rows: list[tuple[float, Floats, Floats, Floats, Floats, Floats]] = []
        self.events: list[Event] = []

    # ---- one instant ----

    def instant(self, soc: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Pack currents and voltages, port currents and voltages."""
        emf_v = self.packs.volts(np.minimum(np.maximum(soc, 0.0), 1.0))
        return self.plant.instant(emf_v, self.demand, self.empty, self.full)

    def watched(self, soc: Floats) -> list[tuple[str, Floats]]:
        """Everything that changes the course where it falls to zero: (what, values per pack or one for the bank)."""
        amps, volts, port_a, port_v = self.instant(soc)
        packs, far = self.packs, np.inf
        low = np.minimum(soc - packs.low_soc, volts - packs.low_v)
        high = np.minimum(packs.high_soc - soc, packs.high_v - volts)
        if self.at_stop == "go on":
            low = np.where([("empty", k) in self.told for k in range(self.count)], far, low)
            high = np.where([("full", k) in self.told for k in range(self.count)], far, high)
        out = [("empty", np.where(self.on & ~self.empty, low, far)),
               ("full", np.where(self.on & ~self.full, high, far))]
        if self.empty.any() or self.full.any():
            back = np.where(self.empty, self.stopped_at + self.recover - soc, far)
            out.append(("on again", np.minimum(back, np.where(self.full, soc - self.stopped_at + self.recover, far))))
        if self.limits is not None:
            room = (("over discharge limit", self.limits.discharge_a - amps),
                    ("over charge limit", self.limits.charge_a + amps))
            out += [(what, self._untold(what, left + ROUNDING_A)) for what, left in room]
        return out + self._watched_ports(port_a, port_v)

    def _untold(self, what: str, values: Floats) -> Floats:
        """Those not reported yet; a limit that is not stated is none to pass here."""
        told = np.array([(what, k) in self.told for k in range(self.count)], bool)
        return np.where(told | np.isnan(values) | ~self.on, np.inf, values)

    def _watched_ports(self, port_a: Floats, port_v: Floats) -> list[tuple[str, Floats]]:
        way, sense = self.demand.way, self.plant.sense
        out = []
        if way > 0 and np.isfinite(self.demand.cut_v):
            out.append(("cut off", port_v[sense : sense + 1] - self.demand.cut_v))
        if way < 0 and np.isfinite(self.demand.hold_v):
            held = ("held", -1) in self.told
            if not held:
                out.append(("held", np.array([self.demand.hold_v - self.plant.unheld_v])))
            elif self.demand.tail_a:
                out.append(("tail", -port_a.sum(keepdims=True) - self.demand.tail_a))
        if way and self.end_v is not None:
            out.append(("end", way * (port_v[sense : sense + 1] - self.end_v)))
        return out

    # ---- changes ----

    def settle(self, fired: float = _FIRED) -> bool:
        """Carry out every change that is due now, within ``fired``; return whether the course goes on."""
        for _ in range(6 * self.count + 20):
            if not self._feasible():
                continue
            due = [(what, int(k)) for what, values in self.watched(self.soc) for k in np.flatnonzero(values <= fired)]
            if not due:
                return True
            for what, k in due:
                if not self._change(what, k):
                    return False
        raise CourseError(f"changes of state chase one another at {self.hours:.6f} h")

    def _feasible(self) -> bool:
        """Whether the demand can be met now; where it cannot it is told and dropped for the rest of the stage."""
        try:
            dark = self.plant.dark(self.demand, self.empty, self.full)
            if not dark:
                self.instant(self.soc)
                return True
        except Collapse:
            dark = False
        self.events.append(Event(self.hours, "dark" if dark else "collapse"))
        self.demand = Stage(self.demand.hours)
        return False

    def _change(self, what: str, k: int) -> bool:
        bank = what in {"cut off", "held", "tail", "end"}
        self.told.add((what, -1 if bank else k))
        self.events.append(Event(self.hours, what, None if bank else k))
        if what in {"cut off", "tail"}:
            self.demand = Stage(self.demand.hours)
        elif what in {"empty", "full"}:
            if self.at_stop == "block":
                (self.empty if what == "empty" else self.full)[k] = True
                self.stopped_at[k] = self.soc[k]
            return self.at_stop != "end"
        elif what == "on again":
            self.empty[k] = self.full[k] = False
        return what != "end"

    # ---- time ----

    def stage(self, stage: Stage) -> bool:
        """Integrate one stage; return whether the course goes on."""
        self.demand = stage
        self.told = {(what, k) for what, k in self.told if what in {"empty", "full"} and self.at_stop == "go on"}
        self.began, self.within = self.hours, 0.0
        fired = _FIRED
        for _ in range(2000):
            self._row()
            goes_on = self.settle(fired)
            self._row()
            if not goes_on:
                return False
            if self.within >= stage.hours * (1 - 1e-12):
                self.hours = self.began + stage.hours
                return True
            before = self.within
            self._integrate(stage.hours, stage.hours / _STEPS)
            # a change that is steep in time may be met no closer than the next number: it is due then
            stuck = self.within <= before * (1 + 4 * _EPSILON)
            fired = max(_FIRED, 2 * self._nearest()) if stuck else _FIRED
        raise CourseError(f"no end of changes of state by {self.hours:.6f} h")

    def _row(self) -> None:
        try:
            self.rows.append((self.hours, self.soc.copy(), *self.instant(self.soc)))
        except Collapse:
            return

    def _integrate(self, end: float, longest: float) -> None:
        """Go on to the ``end`` of the stage or to the next change, whichever comes first; time counts from its begin.

        After months the hours of the whole course are too coarse a number for a current that falls within milliseconds.
        """
        from scipy.integrate import solve_ivp

        def rate(_hours: float, soc: Floats) -> Floats:
            return -self._amps(soc) / self.packs.capacity_ah

        def margin(_hours: float, soc: Floats) -> float:
            try:
                return min(float(values.min()) for _, values in self.watched(soc))
            except Collapse:
                return -1.0

        margin.terminal = True  # type: ignore[attr-defined]
        margin.direction = -1  # type: ignore[attr-defined]
        done: Any = solve_ivp(rate, (self.within, end), self.soc, method="LSODA", events=margin, rtol=self.tolerance,
                              atol=self.tolerance, max_step=longest, jac=self._jacobian(), dense_output=True)
        if done.status < 0:
            raise CourseError(f"the integrator gave up at {self.hours:.6f} h: {done.message}")
        spans = np.diff(done.t)
        for begin, span in zip(done.t[:-1], spans, strict=True):
            for part in (1 / 3, 2 / 3, 1.0) if self.fine else (1.0,):
                self._at(float(begin + part * span))
                self.soc = np.asarray(done.sol(self.within), dtype=np.float64)
                if self.within < done.t[-1]:
                    self._row()
        self._at(float(done.t[-1]))
        self.soc = np.asarray(done.y[:, -1], dtype=np.float64)

    def _at(self, within: float) -> None:
        self.within, self.hours = within, self.began + within

    def _nearest(self) -> float:
        """How far off the nearest change is, in its own unit."""
        return min((float(values.min()) for _, values in self.watched(self.soc)), default=np.inf)

    def _amps(self, soc: Floats) -> Floats:
        try:
            return self.instant(soc)[0]
        except Collapse:  # a trial step beyond the collapse, which is located as a change
            return np.zeros(self.count)

    def _jacobian(self) -> Callable[[float, Floats], Floats] | None:
        slope = self.packs.slope
        if slope is None:
            return None

        def jacobian(_hours: float, soc: Floats) -> Floats:
            steep = slope(np.clip(soc, 0.0, 1.0))
            out: Floats = -self.plant.of_emf() * steep / self.packs.capacity_ah[:, None]
            return out

        return jacobian

    def result(self) -> Course:
        columns = [np.array(column, dtype=np.float64) for column in zip(*self.rows, strict=True)]
        states = tuple(
            _STATES[a, b] if on else State.OPEN
            for on, a, b in zip(self.on.tolist(), self.empty.tolist(), self.full.tolist(), strict=True))
        hours, soc, pack_a, pack_v, port_a, port_v = columns
        return Course(hours, soc, pack_a, pack_v, port_a, port_v, tuple(self.events), states)
