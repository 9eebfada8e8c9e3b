"""A quick bound on what packs and branches may carry over a box of resistances: sound, and close on a common busbar.

For packs whose voltages without current are equal nothing circulates, and currents come from the ports alone. Let
element k have its lowest resistance r and everything else its highest (its current falls as its own resistance rises:
it is an ideal voltage behind a resistance). The voltage across k is the sum over ports q of Z_kq I_q. No node lies
outside the two that a current is fed into (maximum principle), so |Z_kq| <= Z_qq, and by reciprocity <= Z_kk. Both are
driving-point resistances, which only grow when any resistance grows (Rayleigh). So

    |I_k| <= sum_q min(Z_kk, Z_qq) |I_q| / r    with Z taken where k is lowest and all others are highest,

and no resistances in the box pass it. Exact where all packs and ports meet in two nodes. What a port's own run adds
to Z_qq is left out: a current source in series with a resistance is that source.

A port of constant power draws the more the lower its voltage, and that falls as resistances rise: its current is bound
first. With the same two bounds, voltage at port q >= E - sum_r R_qr I_r, where R_qr holds min(Z_qq, Z_rr) and what both
their own ways share, everything at its highest. The smallest I with I_q = P_q / (E - sum_r R_qr I_r) is passed by no
resistances in the box: raise all powers together from nothing; to pass it, some I_q must first equal it while no other
has, and then its power is all of P_q.

Source of the three theorems: textbooks on electrical networks, from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.chains import Chains
from interop.circuit.network import joined_nodes
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.chains import Box
    from interop.circuit.network import Network

    Floats = NDArray[np.float64]
    Spots = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["Bound", "surely_at_most"]

_ALIKE_V = 1e-9
_STEPS = 2000
_SAME = 1e-12


@unchanging(eq=False)
class Bound:
    """The bound of one network and box, made once for any port currents. ``ends``: where each port's current enters the
    chains that it does not carry alone, two rows (Q,). ``per_a`` (C, Q): amounts in chains [A] for
    one ampere at each port; ``alone`` (C, Q): what a port's own way carries of it, whatever the resistances;
    ``ports_ohm`` (Q, Q): how far one ampere at a port lowers the voltage of each port at most [ohm].
    """

    packs: int
    chains: Chains
    ends: tuple[Spots, Spots]
    per_a: Floats
    alone: Floats
    ports_ohm: Floats

    @classmethod
    def of(cls, network: Network, box: Box) -> Bound | None:
        """Return it; None where packs differ in their voltage without current, so that something circulates, or where a
        port is not joined to the packs. Raises `ValueError` for a box of another size.
        """
        emf = network.pack_emf_v
        if len(emf) and np.ptp(emf) > _ALIKE_V * np.abs(emf).max():
            return None
        part = network.factored().part
        if np.any(part[network.port_plus] != part[network.port_minus]):
            return None
        chains = Chains.of(network, box)
        alone = np.zeros((len(chains.first), len(chains.port_plus)))
        plus, minus = (np.array([_seen(chains, int(node), alone[:, q]) for q, node in enumerate(side)], int)
                       for side in (chains.port_plus, chains.port_minus))
        return cls._of(len(network.packs), chains, (plus, minus), alone, np.ones(len(chains.first), bool))

    @classmethod
    def _of(cls, packs: int, chains: Chains, ends: tuple[Spots, Spots], alone: Floats, on: Flags) -> Bound:
        siemens = np.where(on, 1 / chains.high_ohm, 0.0)
        impedance = _impedance(chains, siemens)
        own = _across(impedance, chains.first, chains.second)                     # (C,) Z_kk, everything at its highest
        ports = _across(impedance, *ends)                                         # (Q,) Z_qq
        between = _between(impedance, (chains.first, chains.second), ends)        # (C, Q) Z_kq
        more = np.where(on, 1 / chains.low_ohm - siemens, 0.0)                # conductance that k gains at its lowest
        own_low = own / (1 + more * own)
        ports_low = ports[None, :] - between**2 * (more / (1 + more * own))[:, None]
        per_a = np.where(on[:, None], np.minimum(own_low[:, None], ports_low) / chains.low_ohm[:, None], 0.0)
        ports_ohm = np.minimum(ports[:, None], ports) + alone.T @ (chains.high_ohm[:, None] * alone)
        return cls(packs, chains, ends, per_a, alone, ports_ohm)

    def without(self, pack: int) -> Bound | None:
        """Return the bound with one pack open, and all that carries only its current; None where that parts the rest.

        Two chains that now carry one current stay two: what is said of each is still never passed.
        """
        chains = self.chains
        on = np.arange(len(chains.first)) != chains.chain[pack]
        node = joined_nodes(chains.nodes, chains.first, chains.second)
        left = joined_nodes(chains.nodes, chains.first[on], chains.second[on])
        if left.max(initial=-1) != node.max(initial=-1):
            return None
        return self._of(self.packs, chains, self.ends, self.alone, on)

    def at_most(self, port_a: ArrayLike) -> tuple[Floats, Floats]:
        """Return amounts [A] that no pack (P,) and no branch (B,) passes in either direction, over the whole box.

        ``port_a`` (Q,): constant port currents [A].
        """
        amps = np.abs(np.asarray(port_a, dtype=np.float64))
        alone = self.alone @ amps
        most = np.where(alone > 0, alone, self.per_a @ amps)
        chain = self.chains.chain
        carried = np.where(chain >= 0, most[chain], 0.0) if len(most) else np.zeros(len(chain))
        return carried[: self.packs], carried[self.packs:]

    def drawn_at_most(self, power_w: ArrayLike, emf_v: float) -> Floats:
        """Return currents [A] (Q,) that ports of constant power [W] (Q,), 0 or more, never pass, over the whole box.

        ``emf_v``: voltage without current of every pack [V]. All are infinite where the voltage may collapse.
        """
        power = np.asarray(power_w, dtype=np.float64)
        amps = np.zeros(len(power))
        for _ in range(_STEPS):
            volts = emf_v - self.ports_ohm @ amps
            if np.any(volts <= 0):
                break
            more = power / volts
            if np.all(more - amps <= _SAME * more):
                return more * (1 + 2 * _SAME * _STEPS)
            amps = more
        return np.full(len(power), np.inf)


def surely_at_most(network: Network, box: Box, port_a: ArrayLike) -> tuple[Floats, Floats] | None:
    """Return `Bound.at_most` of one network at once; None and errors as `Bound.of`."""
    bound = Bound.of(network, box)
    return None if bound is None else bound.at_most(port_a)


def _seen(chains: Chains, node: int, alone: Floats) -> int:
    """Where a port's current enters the rest: past the one chain that its node hangs on, if that is all there is.

    What it passes carries just the port's current: its part of it, 1, is entered in ``alone`` (C,).
    """
    came = -1
    while True:
        here = [k for k in np.flatnonzero((chains.first == node) | (chains.second == node)).tolist() if k != came]
        if len(here) != 1 or chains.emf_v[here[0]] != 0:
            return node
        came = here[0]
        alone[came] += 1.0
        node = int(chains.second[came] if chains.first[came] == node else chains.first[came])


def _impedance(chains: Chains, siemens: Floats) -> Floats:
    """Voltage of every node for 1 A into every node (N, N) at conductances (C,), one node of each part at 0 V."""
    keep = np.ones(chains.nodes, bool)
    keep[chains.grounds()] = False
    used = np.zeros(chains.nodes, bool)
    used[chains.first] = used[chains.second] = True
    keep &= used
    across = chains.incidence()[:, keep]
    out = np.zeros((chains.nodes, chains.nodes))
    out[np.ix_(keep, keep)] = np.linalg.inv(across.T @ (siemens[:, None] * across))
    return out


def _across(impedance: Floats, a: Spots, b: Spots) -> Floats:
    return impedance[a, a] + impedance[b, b] - 2 * impedance[a, b]


def _between(impedance: Floats, chains: tuple[Spots, Spots], ports: tuple[Spots, Spots]) -> Floats:
    (a, b), (p, m) = chains, ports
    return (impedance[np.ix_(a, p)] - impedance[np.ix_(a, m)] - impedance[np.ix_(b, p)] + impedance[np.ix_(b, m)])
