"""One instant of a bank on a schedule, quickly: pack currents from pack voltages and from what hangs at the ports.

The network is reduced once to its packs and ports (dense, P x P); a pack that opens is taken out of that by a Schur
complement. Which blocked packs conduct in their free direction is a linear complementarity problem of a passive
network: packs are let in and out until all agree. Units are SI; currents positive out of a pack and into a port.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.sharing import linear_currents
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.network import Network

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["Collapse", "Plant", "Stage", "Unsettled", "reduced"]


_NONE = 1e-9
"""Less than this [A, V] in the blocked direction is rounding."""


class Unsettled(RuntimeError):
    """No agreement was found on which blocked packs conduct: a fault of the program, never a result."""


class Collapse(ValueError):
    """No current delivers the power."""


@unchanging
class Stage:
    """What hangs on the bank for some hours: a constant current or power, positive out of the bank.

    ``amp`` [A] or ``watt`` [W at the ports' DC terminals], both zero: rest. A charge (below zero) with ``hold_v`` [V]
    is held there at the sensed port once it reaches it, and ends for the rest of the stage when the held current falls
    to ``tail_a`` [A]. A load with ``cut_v`` [V] is cut off for the rest of the stage when the sensed port falls to it.
    """

    hours: float
    amp: float = 0.0
    watt: float = 0.0
    hold_v: float = np.inf
    tail_a: float = 0.0
    cut_v: float = -np.inf

    def __post_init__(self) -> None:
        if not (self.hours > 0 and np.isfinite(self.hours)):
            raise ValueError(f"a stage lasts longer than zero hours, got {self.hours}")
        if self.amp and self.watt:
            raise ValueError("a stage has a current or a power, not both")

    @property
    def way(self) -> int:
        """1 for a load, -1 for a charge, 0 for rest."""
        drawn = self.amp or self.watt
        return (drawn > 0) - (drawn < 0)


@unchanging(eq=False)
class _Reduced:
    """Pack currents = of_emf E + of_port J; terminals = volts_of_emf E + volts_of_port J; ports = of_port' E - sag J.

    ``fed`` (Q,): ports that some conducting pack reaches.
    """

    of_emf: Floats
    of_port: Floats
    sag: Floats
    volts_of_emf: Floats
    volts_of_port: Floats
    fed: Flags


def reduced(network: Network) -> tuple[Floats, Floats, Floats]:
    """Return how packs and ports act on pack currents and port voltages, all packs conducting.

    Pack currents [A] = first (P, P) x pack voltages + second (P, Q) x port currents; port voltages [V] = second
    transposed x pack voltages - third (Q, Q) x port currents: the network is reciprocal.
    """
    packs, ports = len(network.packs), len(network.ports)
    emf_v = np.concatenate([np.eye(packs), np.zeros((packs, ports))], axis=1)
    port_a = np.concatenate([np.zeros((ports, packs)), np.eye(ports)], axis=1)
    amps, _, volts = linear_currents(network, network.factored(), emf_v, port_a)
    of_emf = amps[:, :packs]
    return (of_emf + of_emf.T) / 2, amps[:, packs:], -volts[:, packs:]


class Plant:
    """The bank: ``parts`` (Q,) are the ports' shares, ``sense`` the port whose voltage a charger holds.

    ``unheld_v``: what the sensed port would have stood at, at the last instant, had the charger not held it [V].
    """

    def __init__(self, network: Network, parts: Floats, closed: Flags | None, sense: int, drop_v: float) -> None:
        self.parts, self.sense, self.drop_v = parts, sense, drop_v
        self.closed = np.ones(len(network.packs), bool) if closed is None else closed
        self.ohm = network.pack_ohm
        self.all = reduced(network)
        self._kept: dict[bytes, _Reduced] = {}
        self.unheld_v = np.nan
        self._last = self.closed
        self._unblocked = self._for(self.closed)

    def of_emf(self) -> Floats:
        """Return how the pack voltages acted on the currents at the last instant, (P, P)."""
        return self._for(self._last).of_emf

    def dark(self, demand: Stage, empty: Flags, full: Flags) -> bool:
        """Whether a port that draws or charges reaches no pack that can give or take anything."""
        if not demand.way:
            return False
        able = self.closed & ~(empty if demand.way > 0 else full)
        return bool(np.any((self.parts > 0) & ~self._for(able).fed))

    def instant(self, emf_v: Floats, demand: Stage, empty: Flags, full: Flags) -> tuple[Floats, Floats, Floats, Floats]:
        """Return pack currents and terminal voltages (P,), port currents and voltages (Q,).

        ``empty``: packs that block discharge; ``full``: those that block charge. Raises `Collapse`.
        """
        if not (empty.any() or full.any()):
            self._last = self.closed
            return self._linear(self._unblocked, emf_v, demand)
        try:
            return self._settled(self._last, emf_v, demand, empty, full)
        except Collapse:
            able = self.closed & ~(empty if demand.way >= 0 else full)
            return self._settled(able, emf_v, demand, empty, full)

    def _settled(self, start: Flags, emf_v: Floats, demand: Stage, empty: Flags,
                 full: Flags) -> tuple[Floats, Floats, Floats, Floats]:
        """Let blocked packs in and out until each carries its free direction or nothing."""
        fixed, never = self.closed & ~empty & ~full, ~self.closed | (empty & full)
        shifted = emf_v + self.drop_v * empty - self.drop_v * full
        mask = self._fed((start | fixed) & ~never, demand, empty, full)
        for turn in range(4 * len(mask) + 40):
            found = self._linear(self._for(mask), shifted, demand)
            amps, volts = found[0], found[1]
            out = mask & ((empty & (amps > _NONE)) | (full & (amps < -_NONE)))
            in_ = ~mask & ~never & ((empty & (volts > shifted + _NONE)) | (full & (volts < shifted - _NONE)))
            change = out | in_
            if not change.any():
                self._last = mask
                return found
            if turn >= 20:  # one at a time, the first always: Murty's rule ends for a passive network
                change = np.arange(len(mask)) == int(change.argmax())
            mask = self._fed(mask ^ change, demand, empty, full)
        raise Unsettled("which blocked packs conduct was not settled")

    def _fed(self, mask: Flags, demand: Stage, empty: Flags, full: Flags) -> Flags:
        """The mask, with every pack that can give (or take) let in where a port would otherwise have no source."""
        if not demand.way or np.all(self._for(mask).fed | (self.parts == 0)):
            return mask
        return mask | (self.closed & ~(empty if demand.way > 0 else full))

    def _linear(self, net: _Reduced, emf_v: Floats, demand: Stage) -> tuple[Floats, Floats, Floats, Floats]:
        rest_v = net.of_port.T @ emf_v
        port_a = self._drawn(demand, rest_v, net.sag)
        amps = net.of_emf @ emf_v + net.of_port @ port_a
        volts = net.volts_of_emf @ emf_v + net.volts_of_port @ port_a
        return amps, volts, port_a, rest_v - net.sag @ port_a

    def _for(self, mask: Flags) -> _Reduced:
        key = mask.tobytes()
        if key not in self._kept:
            self._kept[key] = self._reduce(mask)
        return self._kept[key]

    def _reduce(self, mask: Flags) -> _Reduced:
        """Open the packs outside the mask: their voltages become whatever makes their currents zero."""
        of_emf, of_port, sag = self.all
        out = np.flatnonzero(~mask)
        if len(out):
            inverse = np.linalg.pinv(of_emf[np.ix_(out, out)], rcond=1e-11, hermitian=True)
            into_emf, into_port = inverse @ of_emf[out], inverse @ of_port[out]
            sag = sag + of_port[out].T @ into_port
            of_port = of_port - of_emf[:, out] @ into_port
            of_emf = of_emf - of_emf[:, out] @ into_emf
            of_emf[out], of_emf[:, out], of_port[out] = 0.0, 0.0, 0.0
        volts_of_emf = np.eye(len(mask)) - self.ohm[:, None] * of_emf
        volts_of_port = -self.ohm[:, None] * of_port
        if len(out):
            volts_of_emf[out], volts_of_port[out] = -into_emf, -into_port
            volts_of_emf[:, out] = 0.0
        fed = np.abs(of_port).max(axis=0, initial=0.0) > 1e-9
        return _Reduced(of_emf, of_port, sag, volts_of_emf, volts_of_port, fed)

    def _drawn(self, demand: Stage, rest_v: Floats, sag: Floats) -> Floats:
        """Port currents [A] of what hangs there."""
        if not demand.way:
            return np.zeros(len(self.parts))
        port_a = self.parts * demand.amp if demand.amp else _power_a(self.parts * demand.watt, rest_v, sag)
        if demand.hold_v < math.inf and demand.way < 0:
            at = self.sense
            self.unheld_v = float(rest_v[at] - sag[at] @ port_a)
            if self.unheld_v > demand.hold_v:
                along = port_a / port_a.sum()
                port_a = along * min(float((rest_v[at] - demand.hold_v) / (sag[at] @ along)), 0.0)
        return port_a


def _power_a(port_w: Floats, rest_v: Floats, sag: Floats) -> Floats:
    """Return the port currents [A] that take powers [W], (Q,), at the upper root. Raises `Collapse` if none do."""
    if len(port_w) == 1:
        under = rest_v[0] ** 2 - 4 * sag[0, 0] * port_w[0]
        if under < 0 or rest_v[0] <= 0:
            raise Collapse
        return np.array([2 * port_w[0] / (rest_v[0] + np.sqrt(under))])
    port_a = np.zeros(len(port_w))
    for _ in range(100):
        volts = rest_v - sag @ port_a
        if np.any(volts <= 0):
            raise Collapse
        step = np.linalg.solve(np.diag(volts) - port_a[:, None] * sag, port_a * volts - port_w)
        port_a = port_a - step
        if np.all(np.abs(step) <= 1e-12 * np.maximum(np.abs(port_a), 1.0)):
            if np.any(np.linalg.eigvals(np.diag(volts) - port_a[:, None] * sag).real <= 0):
                raise Collapse
            return port_a
    raise Collapse
