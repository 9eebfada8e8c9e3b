"""The moment two groups are joined: current through the loop, decay, largest safe difference, inrush, precharge.

Source: power.md §7; circuit theory. Units: V, A, ohm, F, H, Ah, hours (decay), seconds (inrush).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.network import NetworkError
from interop.circuit.sharing import linear_currents
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.network import Network

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = [
    "PRECHARGE_BELOW_A", "PRECHARGE_CLOSE_V", "Decay", "Inrush", "Joined", "Pair", "Precharge", "SafeDifference",
    "decay", "inrush", "join", "join_pair", "largest_safe_difference", "largest_safe_differences", "precharge",
]  # fmt: skip

PRECHARGE_BELOW_A = 5.0
"""A precharge resistor keeps the current below this [A]: power.md §7."""
PRECHARGE_CLOSE_V = 3.0
"""The device is closed below this difference [V]: power.md §7."""
_SERIES = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""Preferred values E12 (IEC 60063, from memory)."""
_NO_LOOP = 1e-12
"""A source in series with a branch that drives less than this part of what it would alone: nothing closes its loop."""
_CONSTANTS = 5.0
"""Wait so many time constants: power.md §7."""


@unchanging
class Pair:
    """Two groups, each one voltage behind one resistance, joined through a loop.

    ``amp`` [A] out of the first group, ``bus_v`` [V] at the first group's terminals; with capacities: ``hours`` is the
    time constant of the decay, ``end_v`` the voltage both come to, ``moved_ah`` what flows over in all.
    """

    amp: float
    bus_v: float
    hours: float | None = None
    end_v: float | None = None
    moved_ah: float | None = None

    def amp_at(self, hours: float) -> float:
        """Return the current [A] some hours after joining. Raises `ValueError` where no capacity was given."""
        if self.hours is None:
            raise ValueError("no capacity was given: the decay is not known")
        return float(self.amp * np.exp(-hours / self.hours))


def join_pair(first_v: float, first_ohm: float, second_v: float, second_ohm: float, between_ohm: float = 0.0,
              ah_per_v: tuple[float, float] | None = None) -> Pair:
    """Return the joining current of two groups; ``ah_per_v``: capacity over slope of each [Ah/V], for the decay.

    Two capacitors through a resistance: current falls by exp(-t / (R C1 C2 / (C1 + C2))). Raises `ValueError` for a
    loop without resistance or a capacity that is not above zero.
    """
    loop = first_ohm + second_ohm + between_ohm
    if not (loop > 0 and min(first_ohm, second_ohm, between_ohm) >= 0):
        raise ValueError(f"the loop has a resistance above zero, got {loop} ohm")
    amp = (first_v - second_v) / loop
    if ah_per_v is None:
        return Pair(amp, first_v - amp * first_ohm)
    one, other = ah_per_v
    if min(one, other) <= 0:
        raise ValueError("a capacity per volt is not above zero")
    hours = loop * one * other / (one + other)
    return Pair(amp, first_v - amp * first_ohm, hours, (one * first_v + other * second_v) / (one + other), amp * hours)


@unchanging(eq=False)
class Joined:
    """Closing one device in a network without load.

    ``volts``: across the open device, its first node against its second; ``loop_ohm``: of the loop that closes;
    ``amp``: through the device just closed, from first node to second; ``pack_before_a``, ``pack_after_a`` (P,): pack
    currents; ``pack_per_v`` (P,): what each pack's current changes by per volt across the open device [A/V].
    """

    volts: float
    loop_ohm: float
    amp: float
    pack_before_a: Floats
    pack_after_a: Floats
    pack_per_v: Floats


def join(network: Network, device: int, closed: Flags | None = None, whole: Flags | None = None) -> Joined:
    """Return what closing branch ``device`` does, nothing hanging at the ports; the rest as ``whole`` says.

    The other pole must be joined already: raises `NetworkError` where closing completes no loop.
    """
    kept = np.ones(len(network.branches), bool) if whole is None else whole.copy()
    kept[device] = False
    before = network.factored(closed, kept)
    a, b = int(network.branch_a[device]), int(network.branch_b[device])
    if before.part[a] != before.part[b]:
        raise NetworkError("closing completes no loop: join the other pole first", (network.branches[device],))
    emf_v = network.pack_emf_v[:, None]
    port_a = np.zeros((len(network.ports), 1))
    packs, _, _ = linear_currents(network, before, emf_v, port_a, closed, kept)
    pushed = np.zeros((len(network.branches), 2))
    pushed[device, 1] = 1.0
    kept[device] = True
    after = network.factored(closed, kept)
    both = np.concatenate([emf_v, np.zeros_like(emf_v)], axis=1)
    closed_a, branches, _ = linear_currents(network, after, both, np.zeros((len(network.ports), 2)), closed, kept,
                                            branch_emf_v=pushed)
    loop_ohm = 1 / branches[device, 1]
    amp = float(branches[device, 0])
    return Joined(amp * loop_ohm, float(loop_ohm), amp, packs[:, 0], closed_a[:, 0], closed_a[:, 1])


@unchanging
class SafeDifference:
    """The largest safe voltage across the open device [V], with its first node higher and with it lower.

    ``first_higher_by``, ``first_lower_by``: the pack that sets each, or None where a joining limit does (or nothing).
    ``not_stated``: packs with a part in it whose limit nobody stated: they were not judged.
    """

    first_higher_v: float
    first_lower_v: float
    first_higher_by: str | None
    first_lower_by: str | None
    not_stated: tuple[str, ...]

    @property
    def volts(self) -> float:
        """The smaller of both [V]."""
        return min(self.first_higher_v, self.first_lower_v)


def largest_safe_difference(network: Network, device: int, charge_a: Floats, discharge_a: Floats,
                            joining_v: Mapping[str, float] | None = None, closed: Flags | None = None,
                            whole: Flags | None = None) -> SafeDifference:
    """Return the largest safe difference across branch ``device`` before it is closed.

    Lowest over packs of what its limit in that direction leaves above its present current, over its change per volt:
    for one pack the limit x the loop resistance. ``network``: resistances at the LOW end of their tolerance;
    ``charge_a``, ``discharge_a`` (P,) [A], the charge limit as the cold leaves it, not a number where not stated;
    ``joining_v``: highest difference [V] that each record allows, by whatever name; the result never passes one.
    Raises `NetworkError` as `join`.
    """
    joined = join(network, device, closed, whole)
    return _safe(network, joined.pack_before_a, joined.pack_per_v, charge_a, discharge_a, joining_v)


def largest_safe_differences(network: Network, devices: Sequence[int], charge_a: Floats, discharge_a: Floats,
                             joining_v: Mapping[str, float] | None = None) -> list[SafeDifference]:
    """Return `largest_safe_difference` for each of some branches, by one factorisation: all else closed each time.

    What opening a branch changes is what a source in series with it does, of the voltage that then stands across it.
    A branch without a pack on one of its sides completes no loop: only ``joining_v`` bounds its difference.
    """
    rows = np.asarray(devices, dtype=np.int64)
    factored = network.factored()
    cases = len(rows) + 1
    emf_v = np.zeros((len(network.packs), cases))
    emf_v[:, 0] = network.pack_emf_v
    pushed = np.zeros((len(network.branches), cases))
    pushed[rows, np.arange(1, cases)] = 1.0
    packs, branches, _ = linear_currents(network, factored, emf_v, np.zeros((len(network.ports), cases)),
                                         branch_emf_v=pushed)
    per_v = branches[rows, np.arange(1, cases)]
    dead = per_v * network.branch_ohm[rows] < _NO_LOOP      # no pack on the other side: nothing flows at any difference
    packs[:, 1:][:, dead] = 0.0
    before = packs[:, :1] - packs[:, 1:] * (branches[rows, 0] / np.where(dead, 1.0, per_v))
    return [_safe(network, before[:, k], packs[:, k + 1], charge_a, discharge_a, joining_v) for k in range(len(rows))]


def _safe(network: Network, before_a: Floats, per_v: Floats, charge_a: Floats, discharge_a: Floats,
          joining_v: Mapping[str, float] | None) -> SafeDifference:
    part = np.abs(per_v) > 1e-9 * np.abs(per_v).max(initial=0.0)
    ends = []
    for way in (1.0, -1.0):
        change = way * per_v
        room = np.where(change > 0, discharge_a - before_a, charge_a + before_a)
        volts = np.where(part, np.maximum(room, 0.0) / np.where(part, np.abs(change), 1.0), np.inf)
        volts = np.where(np.isnan(volts), np.inf, volts)
        at = int(volts.argmin()) if len(volts) else -1
        ends.append((float(volts[at]), network.packs[at]) if at >= 0 and np.isfinite(volts[at]) else (np.inf, None))
    most = min((joining_v or {}).values(), default=np.inf)
    capped = [(volts, by) if volts <= most else (most, None) for volts, by in ends]
    silent = np.flatnonzero(part & (np.isnan(charge_a) | np.isnan(discharge_a))).tolist()
    return SafeDifference(capped[0][0], capped[1][0], capped[0][1], capped[1][1],
                          tuple(network.packs[k] for k in silent))


@unchanging(eq=False)
class Decay:
    """Pack voltages without current (T, P) [V], pack currents (T, P) [A] at ``hours`` (T,), and time constants [h]."""

    hours: Floats
    emf_v: Floats
    pack_a: Floats
    constants_h: Floats


def decay(network: Network, ah_per_v: Sequence[float] | Floats, hours: Sequence[float] | Floats) -> Decay:
    """Return how currents between joined packs die away without load; each is a capacitor, ``ah_per_v`` (P,) [Ah/V].

    Exact by modes: C dE/dt = -Y E with Y symmetric, of rank P - 1 in one bank. Good while the slope of the voltage
    hardly changes; `interop.circuit.course.course` at rest follows the curve. Raises `ValueError` for no capacity.
    """
    size = np.asarray(ah_per_v, dtype=np.float64)
    if size.shape != (len(network.packs),) or not np.all(size > 0):
        raise ValueError("one capacity per volt above zero for every pack")
    from interop.circuit.plant import reduced

    of_emf = reduced(network)[0]
    root = np.sqrt(size)
    rates, modes = np.linalg.eigh(of_emf / root[:, None] / root)
    rates = np.maximum(rates, 0.0)
    at = np.asarray(hours, dtype=np.float64)
    shares = modes.T @ (root * network.pack_emf_v)
    emf_v = (np.exp(-at[:, None] * rates) * shares) @ modes.T / root
    constants = 1 / rates[rates > 1e-9 * rates.max(initial=0.0)]
    return Decay(at, emf_v, emf_v @ of_emf, np.sort(constants)[::-1])


@unchanging
class Inrush:
    """Current into an empty capacitance: ``peak_a`` [A] of the series circuit after ``seconds``, and the short estimate
    V / (R + sqrt(L/C)), which lies below the peak where the circuit rings.
    """

    peak_a: float
    seconds: float
    estimate_a: float


def inrush(volts: float, ohm: float, henry: float, farad: float) -> Inrush:
    """Return the exact peak of a voltage switched onto series R, L and an empty C (circuit theory, step response).

    Raises `ValueError` for a value that is not above zero; without inductance the peak is V / R at once.
    """
    if not (volts >= 0 and ohm > 0 and henry >= 0 and farad > 0):
        raise ValueError("inrush needs a resistance and a capacitance above zero")
    if henry == 0:
        return Inrush(volts / ohm, 0.0, volts / ohm)
    damping, swing2 = ohm / (2 * henry), 1 / (henry * farad)
    estimate = volts / (ohm + (henry / farad) ** 0.5)
    gap = swing2 - damping**2
    if abs(gap) < 1e-9 * swing2:
        seconds = 1 / damping
    elif gap > 0:
        seconds = float(np.arctan2(gap**0.5, damping)) / gap**0.5
    else:
        seconds = float(np.arctanh((-gap) ** 0.5 / damping)) / (-gap) ** 0.5
    # at the peak the current stands at V sqrt(C/L) exp(-damping t) in every case of damping
    return Inrush(volts * (farad / henry) ** 0.5 * float(np.exp(-damping * seconds)), seconds, estimate)


@unchanging
class Precharge:
    """A precharge resistor: ``ohm``, first current ``amp`` [A], ``joule`` in one pulse, ``seconds`` to wait, then
    ``left_v`` [V] still across the device; it is closed below ``close_below_v`` [V].
    """

    ohm: float
    amp: float
    joule: float
    seconds: float
    left_v: float
    close_below_v: float


def precharge(volts: float, farad: float, ohm: float | None = None) -> Precharge:
    """Return the precharge for a voltage and a capacitance; for None the smallest preferred resistor below 5 A.

    Pulse energy C V^2 / 2, wait 5 R C and longer where more than 3 V would be left (power.md §7). Raises `ValueError`
    for a resistor that lets 5 A or more through, or figures not above zero.
    """
    if not (volts > 0 and farad > 0):
        raise ValueError("precharge needs a voltage and a capacitance above zero")
    chosen = _preferred_above(volts / PRECHARGE_BELOW_A) if ohm is None else ohm
    if volts >= PRECHARGE_BELOW_A * chosen:
        got = f"{volts / chosen:.2f} A"
        raise ValueError(f"{chosen:g} ohm lets {got} through, expected less than {PRECHARGE_BELOW_A:g} A")
    constants = max(_CONSTANTS, float(np.log(volts / PRECHARGE_CLOSE_V)) * 1.01)
    return Precharge(chosen, volts / chosen, farad * volts**2 / 2, constants * chosen * farad,
                     volts * float(np.exp(-constants)), PRECHARGE_CLOSE_V)


def _preferred_above(ohm: float) -> float:
    decade = 10.0 ** np.floor(np.log10(ohm))
    values = [value * decade * step for step in (1, 10) for value in _SERIES]
    return float(next(round(value, 9) for value in values if value > ohm * (1 + 1e-9)))
