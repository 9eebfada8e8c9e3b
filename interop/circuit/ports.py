"""The few equations that remain of a network at its ports: u = u0 - Z i with each port's own law, many cases at once.

Why the root that is returned is the upper one: with Y = inverse of Z the solutions are the stationary points of
L(u) = (u - u0)' Y (u - u0) / 2 + sum P ln u. On the set where Y - diag(P / u2) is positive definite, P taken where it
is drawn, L is strictly convex and the set itself is convex, so that it holds at most one solution; the state
without load belongs to it. Every solution is therefore tested for that definiteness, and refused without it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.draws import Laws
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Met", "meet"]

_FOLLOW, _HOLD, _REST = 0, 1, 2
"""A port follows its law; a charger holds its voltage; a charger rests because the bank stands above it."""

_STEPS = 60
_TURNS = 40
_ALL_AT_ONCE = 12
"""So many times all ports in a wrong mode change together, afterwards the first one alone (Murty's rule)."""
_TIE_OHM = 1e-12
"""Damps the step, never the result, so that two chargers holding one voltage at the same terminals share alike."""
_NEAR = 1e-9
"""Volts and amperes by which a mode may be passed."""
_AWAY = 1e3
"""So many times the voltage without draw is no operating point: Newton then ends in rounding, not in a balance."""
_BALANCE = 1e-12
"""Above rounding: so much must be left of the part that falls where a source was given in excess."""
_FINEST, _COARSE = 2.0**-32, 2.0**-12
"""Parts of the powers to which the edge of a collapse is sought."""


@unchanging(eq=False)
class Met:
    """Solution at the ports: ``amps`` drawn [A] and ``volts`` [V], shape (cases, ports).

    ``held``: the upper root was found and tested. Where it is False there is none (``settled``) and the figures, if
    wanted, are those at the greatest part of the powers that the network still carries, ``part``. ``settled`` is False
    where the modes of the chargers were not found.
    """

    amps: NDArray[np.float64]
    volts: NDArray[np.float64]
    held: NDArray[np.bool_]
    settled: NDArray[np.bool_]
    part: NDArray[np.float64]
    mode: NDArray[np.int64]

    @property
    def holding(self) -> NDArray[np.bool_]:
        """Where a charger holds its voltage."""
        there: NDArray[np.bool_] = self.mode == _HOLD
        return there

    def rows(self, where: NDArray[np.bool_]) -> Met:
        """Return the solutions of some cases."""
        return Met(self.amps[where], self.volts[where], self.held[where], self.settled[where], self.part[where],
                   self.mode[where])


def meet(open_v: NDArray[np.float64], z_ohm: NDArray[np.float64], laws: Laws, *, edge: bool = True) -> Met:
    """Solve u = open_v - z_ohm i with every port's law, each case for itself.

    ``open_v``: (cases, ports) [V] without any draw; ``z_ohm``: (cases, ports, ports), symmetric, positive
    semidefinite; ``laws``: arrays of shape (cases, ports); ``edge``: whether the figures at the edge of a collapse are
    wanted, which take many solutions more.
    """
    first = _first_modes(laws)
    start = np.where(first == _FOLLOW, laws.current_a, 0.0)
    met = _turned(open_v, z_ohm, laws, first, start)
    lost = ~(met.held & met.settled)
    # Without power fed in, where no port raises another by drawing, Newton falls from the state without powers onto the
    # upper root and cannot pass it (the equations are convex and inverse-positive there): if it fails, there is none.
    certain = ((z_ohm >= 0).all(axis=(1, 2)) & (laws.power_w >= 0).all(axis=1) & ~laws.charging.any(axis=1))
    for rows, finest in ((np.flatnonzero(lost & ~certain), _FINEST), (np.flatnonzero(lost & certain & edge), _COARSE)):
        if len(rows):  # elsewhere the powers are raised step by step before a collapse is believed
            _put(met, rows, _raised(open_v[rows], z_ohm[rows], laws.rows(rows), finest))
    return met


def _first_modes(laws: Laws) -> NDArray[np.int64]:
    """All follow; where only chargers hold a bank up, that of the highest voltage holds and the others rest."""
    upheld = laws.shunt_s > 0
    mode = np.where(upheld, _REST, _FOLLOW)
    highest = np.argmax(np.where(upheld, laws.limit_v, -np.inf), axis=1) if mode.size else np.zeros(0, int)
    rows = np.flatnonzero(upheld.any(axis=1))
    mode[rows, highest[rows]] = _HOLD
    return mode


def _wrong(met: Met, laws: Laws) -> NDArray[np.bool_]:
    wrong: NDArray[np.bool_] = (_next(met, laws) != met.mode) & laws.charging
    return wrong


def _next(met: Met, laws: Laws) -> NDArray[np.int64]:
    """The mode that each charger's volts and amperes ask for."""
    own_a = met.amps - laws.excess(met.volts)
    above, below = met.volts > laws.limit_v + _NEAR, met.volts < laws.limit_v - _NEAR
    held = np.where(own_a < laws.current_a - _NEAR, _FOLLOW, np.where(own_a > _NEAR, _REST, _HOLD))
    followed, rested = np.where(above, _HOLD, _FOLLOW), np.where(below, _HOLD, _REST)
    return np.where(met.mode == _FOLLOW, followed, np.where(met.mode == _REST, rested, held))


def _put(met: Met, rows: NDArray[np.int64], part: Met) -> None:
    for name in ("amps", "volts", "held", "settled", "part", "mode"):
        getattr(met, name)[rows] = getattr(part, name)


def _turned(open_v: NDArray[np.float64], z: NDArray[np.float64], laws: Laws, mode: NDArray[np.int64],
            start_a: NDArray[np.float64]) -> Met:
    """Newton, and the chargers' modes changed until they fit what it finds; a row that it loses stays lost."""
    amps, volts, held = _newton(open_v, z, laws, mode, start_a)
    met = Met(amps, volts, held, np.ones(len(open_v), bool), held.astype(np.float64), mode.copy())
    if not laws.charging.any():
        return met
    for turn in range(_TURNS):
        wrong = _wrong(met, laws) & met.held[:, None]
        rows = np.flatnonzero(wrong.any(axis=1))
        if not len(rows):
            return met
        if turn >= _ALL_AT_ONCE:
            wrong &= np.cumsum(wrong, axis=1) == 1
        met.mode[rows] = np.where(wrong, _next(met, laws), met.mode)[rows]
        start = np.where(met.mode[rows] == _FOLLOW, laws.current_a[rows], 0.0)
        met.amps[rows], met.volts[rows], met.held[rows] = _newton(open_v[rows], z[rows], laws.rows(rows),
                                                                  met.mode[rows], start)
        met.part[rows] = met.held[rows]
    met.settled[:] = ~(_wrong(met, laws) & met.held[:, None]).any(axis=1)
    met.held[:] &= met.settled
    return met


def _raised(open_v: NDArray[np.float64], z: NDArray[np.float64], laws: Laws, finest: float) -> Met:
    """Raise the powers from zero as far as the network carries them, every step from the state before it."""
    mode = _first_modes(laws)
    met = _turned(open_v, z, laws.scaled(np.zeros(len(open_v))), mode, np.where(mode == _FOLLOW, laws.current_a, 0.0))
    met.part[:] = 0.0
    stride = np.where(met.held, 0.5, 0.0)
    while (going := (stride >= finest) & (met.part < 1)).any():
        rows = np.flatnonzero(going)
        tried = np.minimum(met.part[rows] + stride[rows], 1.0)
        found = _turned(open_v[rows], z[rows], laws.rows(rows).scaled(tried), met.mode[rows], met.amps[rows])
        found.part[:] = tried
        met.settled[rows] = found.settled
        _put(met, rows[found.held], found.rows(found.held))
        stride[rows[~found.held]] /= 2
    met.held[:] &= met.part == 1
    return met


def _law(volts: NDArray[np.float64], laws: Laws, mode: NDArray[np.int64],
         ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Currents [A] that the laws ask for at these volts, and their slopes [S]."""
    powered = laws.power_w != 0
    safe = np.where(powered, volts, 1.0)
    drawn = np.where(powered, laws.power_w / safe, 0.0)
    resting = np.where(mode == _REST, 0.0, laws.current_a)
    return drawn + resting + laws.excess(volts), -drawn / safe - laws.shunt_s


def _newton(open_v: NDArray[np.float64], z: NDArray[np.float64], laws: Laws, mode: NDArray[np.int64],
            start_a: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Newton on the currents; amps, volts and where the upper root was reached and tested."""
    amps = start_a.copy()
    hold = mode == _HOLD
    held_v = np.where(hold, np.where(np.isfinite(laws.limit_v), laws.limit_v, 0.0), 0.0)
    powered = laws.power_w != 0
    unit = np.eye(open_v.shape[1])
    going = np.ones(len(open_v), bool)
    done = np.zeros(len(open_v), bool)
    for _ in range(_STEPS):
        rows = np.flatnonzero(going)
        if not len(rows):
            break
        zr, hr = z[rows], hold[rows]
        volts = open_v[rows] - _times(zr, amps[rows])
        lost = (powered[rows] & ~(volts > 0)).any(axis=1) | _away(open_v[rows], volts, laws.rows(rows))
        volts = np.where(lost[:, None], 1.0, volts)
        drawn, slope = _law(volts, laws.rows(rows), mode[rows])
        miss = np.where(hr, volts - held_v[rows], drawn - amps[rows])
        slopes = unit + slope[:, :, None] * zr
        slopes = np.where(hr[:, :, None], zr + _TIE_OHM * unit, slopes)
        step, regular = _solved(slopes, miss)
        amps[rows] += step
        size = np.abs(amps[rows]).max(axis=1, initial=1.0)
        done[rows] = regular & ~lost & (np.abs(step).max(axis=1, initial=0.0) <= 1e-12 * size)
        going[rows] = regular & ~lost & ~done[rows]
    volts = open_v - _times(z, amps)
    done |= going & _close(open_v, amps, volts, laws, mode)  # at the very edge Newton creeps: the residual decides
    positive = (volts > 0) | ~(powered | (laws.current_a > 0))
    return amps, volts, done & positive.all(axis=1) & ~_away(open_v, volts, laws) & _definite(z, volts, laws, hold)


def _away(open_v: NDArray[np.float64], volts: NDArray[np.float64], laws: Laws) -> NDArray[np.bool_]:
    """Where only chargers can hold a voltage and it ran away, since nothing takes what is pressed in."""
    most = _AWAY * np.abs(open_v).max(axis=1, initial=1.0)
    away: NDArray[np.bool_] = (laws.shunt_s > 0).any(axis=1) & (np.abs(volts).max(axis=1, initial=0.0) > most)
    return away


def _close(open_v: NDArray[np.float64], amps: NDArray[np.float64], volts: NDArray[np.float64], laws: Laws,
           mode: NDArray[np.int64]) -> NDArray[np.bool_]:
    with np.errstate(all="ignore"):
        drawn, slope = _law(volts, laws, mode)
        miss = np.where(mode == _HOLD, 0.0, (drawn - amps) / np.where(slope < 0, -slope, 1.0))
    near: NDArray[np.bool_] = (np.abs(miss) <= 1e-13 * np.abs(open_v).max(axis=1, initial=1.0)[:, None]).all(axis=1)
    return near


def _times(z: NDArray[np.float64], amps: NDArray[np.float64]) -> NDArray[np.float64]:
    product: NDArray[np.float64] = (z @ amps[:, :, None])[:, :, 0]
    return product


def _solved(matrices: NDArray[np.float64], right: NDArray[np.float64],
            ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Solve each small system; a singular one gives zeros and False."""
    regular = np.ones(len(matrices), bool)
    try:
        found = np.asarray(np.linalg.solve(matrices, right[:, :, None])[:, :, 0], dtype=np.float64)
        return found, regular
    except np.linalg.LinAlgError:
        out = np.zeros_like(right)
        for row, matrix in enumerate(matrices):
            try:
                out[row] = np.linalg.solve(matrix, right[row])
            except np.linalg.LinAlgError:
                regular[row] = False
        return out, regular


def _definite(z: NDArray[np.float64], volts: NDArray[np.float64], laws: Laws, hold: NDArray[np.bool_],
              ) -> NDArray[np.bool_]:
    """Whether unit - sqrt(D) Z sqrt(D) is positive definite, D what falls with the voltage, held ports taken out.

    Where a source was given in excess, taking its current out again leaves nothing definite by itself: there the powers
    that are fed in count too, because only they fall as the voltage rises.
    """
    upheld = np.asarray((laws.shunt_s > 0).any(axis=1))
    power = np.where(upheld[:, None], laws.power_w, np.maximum(laws.power_w, 0.0))
    with np.errstate(all="ignore"):
        falling = np.where(hold, 0.0, power / volts**2 + laws.shunt_s)
    falling = np.where(np.isfinite(falling), falling, 0.0)
    if hold.any():
        z = _held_out(z, hold)
    most: NDArray[np.float64] = (np.abs(z) * np.abs(falling)[:, None, :]).sum(axis=2).max(axis=1, initial=0.0)
    sure: NDArray[np.bool_] = np.less(most, 1.0)
    doubtful = np.flatnonzero(~sure & ~upheld)
    if len(doubtful):
        root = np.sqrt(falling[doubtful])
        inner = np.eye(z.shape[1]) - root[:, :, None] * z[doubtful] * root[:, None, :]
        sure[doubtful] = np.linalg.eigvalsh((inner + inner.transpose(0, 2, 1)) / 2)[:, 0] > 0
    for row in np.flatnonzero(upheld).tolist():  # unit - Z D has the same signs
        sure[row] = np.linalg.eigvals(np.eye(z.shape[1]) - z[row] * falling[row]).real.min() > _BALANCE
    return sure


def _held_out(z: NDArray[np.float64], hold: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Impedances [ohm] seen by the other ports while the ports of ``hold`` keep their voltage."""
    unit = np.eye(z.shape[1])
    both = hold[:, :, None] & hold[:, None, :]
    inner = np.where(both, z + _TIE_OHM * unit, unit)
    towards = np.where(hold[:, :, None], z, 0.0)
    out: NDArray[np.float64] = z - towards.transpose(0, 2, 1) @ np.linalg.solve(inner, towards)
    return out
