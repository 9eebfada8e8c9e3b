"""The network as chains: elements that always carry one current count as one resistance with one tolerance.

Two elements do so when every loop through one goes through the other, wherever they lie: a pack and its run, or the two
poles' segments of a rack fed at one end. Only the sum of their resistances matters then, so for worst cases over a box
all of a chain are at their low ends together or at their high ends together: exact. A chain runs from its first node
to its second, with an electromotive force that drives current that way. Units are SI.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.network import NetworkError, joined_nodes
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.network import Network

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Spots = NDArray[np.int64]

__all__ = ["Box", "Chains", "Linear"]


@unchanging(eq=False)
class Box:
    """How far each resistance may lie: lowest and highest [ohm] of packs (P,) and branches (B,).

    Raises `ValueError` for a lowest value that is not above zero or above the highest.
    """

    pack_low_ohm: Floats
    pack_high_ohm: Floats
    branch_low_ohm: Floats
    branch_high_ohm: Floats

    def __post_init__(self) -> None:
        for what, low, high in (("packs", self.pack_low_ohm, self.pack_high_ohm),
                                ("branches", self.branch_low_ohm, self.branch_high_ohm)):
            if low.shape != high.shape or not np.all((low > 0) & (low <= high) & np.isfinite(high)):
                raise ValueError(f"tolerance of {what}: expected 0 < lowest <= highest, one pair each")

    @classmethod
    def around(cls, network: Network, packs: tuple[ArrayLike, ArrayLike], branches: tuple[ArrayLike, ArrayLike]) -> Box:
        """Return the box of factors (lowest, highest) on the network's own resistances, each one or one per element."""

        def times(ohm: Floats, factor: ArrayLike) -> Floats:
            return ohm * np.asarray(factor, dtype=np.float64)

        return cls(times(network.pack_ohm, packs[0]), times(network.pack_ohm, packs[1]),
                   times(network.branch_ohm, branches[0]), times(network.branch_ohm, branches[1]))


@unchanging(eq=False)
class Chains:
    """Chains (C,) between nodes, with ``emf_v``, ``low_ohm``, ``high_ohm``; elements are packs, then branches (E,).

    ``chain`` and ``sense`` (E,): which chain an element is part of (-1: it does not conduct) and whether its own
    positive direction runs along (+1) or against (-1) the chain.
    """

    nodes: int
    first: Spots
    second: Spots
    emf_v: Floats
    low_ohm: Floats
    high_ohm: Floats
    port_plus: Spots
    port_minus: Spots
    chain: Spots
    sense: Floats

    @classmethod
    def of(cls, network: Network, box: Box, closed: Flags | None = None, whole: Flags | None = None) -> Chains:
        """Return the chains of a network whose packs ``closed`` (P,) and branches ``whole`` (B,) conduct.

        Raises `ValueError` where the box is of another size than the network.
        """
        if (len(box.pack_low_ohm), len(box.branch_low_ohm)) != (len(network.packs), len(network.branches)):
            raise ValueError("tolerance: expected one pair per pack and per branch of the network")
        on = np.ones(len(network.packs), bool) if closed is None else closed
        kept = np.ones(len(network.branches), bool) if whole is None else whole
        first = np.concatenate([network.pack_minus, network.branch_a])
        second = np.concatenate([network.pack_plus, network.branch_b])
        emf_v = np.concatenate([network.pack_emf_v, np.zeros(len(network.branches))])
        low = np.concatenate([box.pack_low_ohm, box.branch_low_ohm])
        high = np.concatenate([box.pack_high_ohm, box.branch_high_ohm])
        held = np.flatnonzero(np.concatenate([on, kept]))
        a, b = np.concatenate([first[held], network.port_plus]), np.concatenate([second[held], network.port_minus])
        loops = _loops(len(network.nodes), a, b)
        dead = [name for name, row in zip(network.ports, loops[len(held) :], strict=True) if not row.any()]
        if dead:
            raise NetworkError("no closed pack feeds the port", dead)
        leads, group, along = _grouped(loops[: len(held)])
        rest = np.ones(len(held), bool)
        rest[leads] = False
        contracted = np.flatnonzero(rest)
        node = joined_nodes(len(network.nodes), a[contracted], b[contracted])
        chain, sense = np.full(len(first), -1), np.zeros(len(first))
        chain[held], sense[held] = group, along
        count, used = len(leads), chain >= 0

        def total(values: Floats) -> Floats:
            return np.bincount(chain[used], values[used], minlength=count).astype(np.float64)

        return cls(int(node.max(initial=-1)) + 1, node[a[leads]], node[b[leads]], total(emf_v * sense), total(low),
                   total(high), node[network.port_plus], node[network.port_minus], chain, sense)

    @property
    def free(self) -> Spots:
        """Which chains have a resistance that may vary."""
        return np.flatnonzero(self.high_ohm > self.low_ohm)

    def incidence(self) -> Floats:
        """Return (C, nodes): what a chain's drop is of the node voltages, +1 at its first node, -1 at its second."""
        rows = np.arange(len(self.first))
        matrix = np.zeros((len(rows), self.nodes))
        np.add.at(matrix, (rows, self.first), 1.0)
        np.add.at(matrix, (rows, self.second), -1.0)
        return matrix

    def linear(self, ohm: Floats) -> Linear:
        """Return the currents at given resistances (C,) as linear functions of what drives them."""
        grounds = self.grounds()
        keep = np.ones(self.nodes, bool)
        keep[grounds] = False
        across = self.incidence()[:, keep]
        siemens = 1 / ohm
        matrix = across.T @ (siemens[:, None] * across)
        drawn = np.zeros((self.nodes, len(self.port_plus)))
        np.add.at(drawn, (self.port_plus, np.arange(drawn.shape[1])), -1.0)
        np.add.at(drawn, (self.port_minus, np.arange(drawn.shape[1])), 1.0)
        drawn = drawn[keep]
        driven = across.T * siemens
        solved = np.linalg.solve(matrix, np.concatenate([driven, drawn], axis=1)) if len(matrix) else np.zeros(
            (0, driven.shape[1] + drawn.shape[1]))
        of_emf, of_port = solved[:, : len(ohm)], solved[:, len(ohm) :]
        return Linear(np.diag(siemens) - siemens[:, None] * (across @ of_emf), siemens[:, None] * (across @ of_port),
                      drawn.T @ of_port)

    def grounds(self) -> Spots:
        """Return one node of each connected part, to be at 0 V."""
        return np.unique(joined_nodes(self.nodes, self.first, self.second), return_index=True)[1].astype(np.int64)


@unchanging(eq=False)
class Linear:
    """Chain currents = ``of_emf`` (C, C) x electromotive forces + ``of_port`` (C, Q) x port currents.

    A port's voltage = ``of_port`` transposed x electromotive forces - ``sag_ohm`` (Q, Q) x port currents: the network
    is reciprocal, so the same numbers serve both ways.
    """

    of_emf: Floats
    of_port: Floats
    sag_ohm: Floats


def _loops(nodes: int, first: Spots, second: Spots) -> NDArray[np.int8]:
    """Return for every edge (E, loops), which loop of a basis runs along (1) or against it (-1).

    The basis: each edge outside a spanning forest closes one loop through the forest.
    """
    at: list[list[int]] = [[] for _ in range(nodes)]
    for edge, ends in enumerate(zip(first.tolist(), second.tolist(), strict=True)):
        for node in ends:
            at[node].append(edge)
    seen, up, depth = np.zeros(nodes, bool), np.full(nodes, -1), np.zeros(nodes, int)
    in_tree = np.zeros(len(first), bool)
    for root in range(nodes):
        if seen[root]:
            continue
        seen[root], queue = True, [root]
        for node in queue:
            for edge in at[node]:
                other = int(first[edge] + second[edge]) - node
                if not seen[other]:
                    seen[other], up[other], depth[other], in_tree[edge] = True, edge, depth[node] + 1, True
                    queue.append(other)
    rest = np.flatnonzero(~in_tree)
    loops = np.zeros((len(first), len(rest)), np.int8)
    for k, edge in enumerate(rest.tolist()):
        loops[edge, k] = 1
        back, front = int(second[edge]), int(first[edge])
        while back != front:
            # from the far end the loop climbs along its way, from the near end against it
            climbs = depth[back] >= depth[front]
            node = back if climbs else front
            step = int(up[node])
            upwards = first[step] == node
            loops[step, k] = 1 if upwards == climbs else -1
            node = int(second[step] if upwards else first[step])
            back, front = (node, front) if climbs else (back, node)
    return loops


def _grouped(loops: NDArray[np.int8]) -> tuple[Spots, Spots, Floats]:
    """Return one leading edge of each group on the same loops, every edge's group (-1: on none) and sense in it."""
    leads: list[int] = []
    seen: dict[bytes, int] = {}
    group, along = np.full(len(loops), -1), np.zeros(len(loops))
    for edge, row in enumerate(loops):
        hit = np.flatnonzero(row)
        if len(hit):
            sign = row[hit[0]]
            key = (row * sign).tobytes()
            if key not in seen:
                seen[key] = len(leads)
                leads.append(edge)
            group[edge] = seen[key]
            along[edge] = sign * loops[leads[seen[key]], hit[0]]
    return np.array(leads, dtype=np.int64), group.astype(np.int64), along
