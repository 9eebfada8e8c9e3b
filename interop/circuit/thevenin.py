"""A linear network seen from its ports: voltages without draw and impedances, from one factorisation.

A *bank* is a separate part of the network that has ports. What is injected in one part is not felt in another, so
the k-th ports of all banks are worked out in one column: the columns are as many as the fullest bank has ports.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.network import Factored, Network, parts_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Thevenin", "columns", "lanes", "sources"]


class Thevenin:
    """A network whose packs of ``closed`` conduct at ``emf_v`` [V], seen from its ports.

    ``lanes``: (banks, width) positions of ports, -1 where a bank has fewer; ``open_v``: (banks, width) [V] without
    draw; ``z_ohm``: (banks, width, width); ``dead``: ports whose two sides lie in different parts; ``reach``:
    (nodes, width) volts per ampere drawn at the lane of the node's bank, with the sign of a rise.

    Voltages are kept as a ``level_v`` that all nodes of one copper net share, and what a node differs from it
    (``base_v`` without draw): a drop of microvolts then is not the difference of two figures of 50 V. ``rest_v`` is
    what the levels leave of each pack's voltage.
    """

    def __init__(self, network: Network, emf_v: NDArray[np.float64], closed: NDArray[np.bool_],
                 whole: NDArray[np.bool_] | None = None) -> None:
        self.network = network
        self.factored: Factored = network.factored(closed, whole)
        part = self.factored.part
        level = _levels(network, emf_v, closed, whole)
        self.level_v = level - level[self.factored.grounds][part]
        self.rest_v = emf_v - (self.level_v[network.pack_plus] - self.level_v[network.pack_minus])
        self.dead = part[network.port_plus] != part[network.port_minus]
        alive = np.flatnonzero(~self.dead)
        self.lanes, parts = lanes(alive, part[network.port_plus[alive]])
        self.bank_of = np.full(int(part.max(initial=-1)) + 1, -1)
        self.bank_of[parts] = np.arange(len(parts))
        self.bank = self.bank_of[part]  # bank of each node, -1 where the part has no port
        injected = np.column_stack([
            sources(network, self.rest_v, closed),
            columns(network.port_plus, network.port_minus, self.lanes, len(part))])
        solved = self.factored.volts(injected)
        self.base_v, self.reach = solved[:, 0], solved[:, 1:]
        plus, minus = network.port_plus[self.lanes], network.port_minus[self.lanes]
        there = self.lanes >= 0
        self.open_v = np.where(there, self.across(self.base_v, plus, minus), 0.0)
        z = np.where(there[:, :, None] & there[:, None, :], self.reach[plus] - self.reach[minus], 0.0)
        self.z_ohm = (z + z.transpose(0, 2, 1)) / 2

    def across(self, differ_v: NDArray[np.float64], plus: NDArray[np.int64], minus: NDArray[np.int64],
               ) -> NDArray[np.float64]:
        """Return the voltages [V] between nodes that differ by ``differ_v`` (nodes,) from their levels."""
        volts: NDArray[np.float64] = (self.level_v[plus] - self.level_v[minus]) + (differ_v[plus] - differ_v[minus])
        return volts

    def differences(self, amps: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the nodes differ from their levels [V] with ``amps`` (banks, width) drawn [A]."""
        if not amps.size:
            return self.base_v.copy()
        padded = np.vstack([amps, np.zeros(amps.shape[1])])  # the last row serves parts without a port
        drop: NDArray[np.float64] = np.einsum("nk,nk->n", self.reach, padded[self.bank])
        return self.base_v - drop


def _levels(network: Network, emf_v: NDArray[np.float64], closed: NDArray[np.bool_], whole: NDArray[np.bool_] | None,
            ) -> NDArray[np.float64]:
    """One voltage [V] for each copper net, so that packs between two nets have nearly the difference of the two."""
    kept = slice(None) if whole is None else whole
    net = parts_of(len(network.nodes), network.branch_a[kept], network.branch_b[kept])
    level = np.zeros(int(net.max(initial=-1)) + 1)
    pairs = np.column_stack([net[network.pack_minus[closed]], net[network.pack_plus[closed]]])
    pairs, first = np.unique(pairs, axis=0, return_index=True)
    emf = emf_v[closed][first]
    towards: dict[int, list[tuple[int, float]]] = {}
    for (minus, plus), volts in zip(pairs.tolist(), emf.tolist(), strict=True):
        towards.setdefault(minus, []).append((plus, volts))
        towards.setdefault(plus, []).append((minus, -volts))
    seen: set[int] = set()
    for root in towards:
        queue = [] if root in seen else [root]
        seen.add(root)
        for at in queue:
            for other, volts in towards[at]:
                if other not in seen:
                    seen.add(other)
                    level[other] = level[at] + volts
                    queue.append(other)
    return level[net]


def sources(network: Network, emf_v: NDArray[np.float64], closed: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return the currents [A] that the conducting packs would press into their short-circuited terminals, by node."""
    amps = np.where(closed, emf_v / network.pack_ohm, 0.0)
    count = len(network.nodes)
    out: NDArray[np.float64] = np.bincount(network.pack_plus, amps, count)[:count].astype(np.float64)
    return out - np.bincount(network.pack_minus, amps, count)[:count]


def lanes(items: NDArray[np.int64], part: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sort items by part into rows: (parts, width) with -1 for none, and the number of the part of each row."""
    parts, row = np.unique(part, return_inverse=True)
    order = np.argsort(row, kind="stable")
    first = np.searchsorted(row[order], np.arange(len(parts)))
    place = np.empty(len(items), np.int64)
    place[order] = np.arange(len(items)) - first[row[order]]
    out = np.full((len(parts), int(place.max(initial=-1)) + 1), -1)
    out[row, place] = items
    return out, parts


def columns(plus: NDArray[np.int64], minus: NDArray[np.int64], rows: NDArray[np.int64], count: int,
            ) -> NDArray[np.float64]:
    """Return unit currents: column k injects 1 A at plus and -1 A at minus of the k-th item of every row."""
    out = np.zeros((count, rows.shape[1]))
    row, k = np.nonzero(rows >= 0)
    items = rows[row, k]
    np.add.at(out, (plus[items], k), 1.0)
    np.add.at(out, (minus[items], k), -1.0)
    return out
