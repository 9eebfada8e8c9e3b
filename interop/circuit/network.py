"""The network of one bank: both poles as copper, packs as sources behind a resistance, ports where power is drawn.

Numbers only: what a node or a branch is at the site is said by whoever builds the network. All units are SI: V, A,
ohm, W. Currents are positive out of a pack and positive into whatever hangs at a port.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from enum import IntEnum
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["DENSE_BELOW", "Factored", "Network", "NetworkError", "State", "each", "flags", "numbers", "parts_of"]


DENSE_BELOW = 200
"""Below so many nodes a dense solve is quicker than loading a sparse one."""


class NetworkError(ValueError):
    """A network that no current can be computed for. ``about`` names its nodes, branches, packs or ports."""

    def __init__(self, text: str, about: Iterable[str]) -> None:
        self.about = tuple(about)
        super().__init__(f"{text}: {', '.join(self.about[:8])}")


class State(IntEnum):
    """What a pack's BMS lets through: all, outward only, inward only, nothing (power.md: the four states)."""

    ON = 0
    CHARGE_BLOCKED = 1
    DISCHARGE_BLOCKED = 2
    OPEN = 3


@unchanging(eq=False)
class Network:
    """Nodes, branches, packs and ports by position; arrays are parallel to the names.

    ``branch_*``: two nodes and a resistance [ohm]; ``pack_*``: terminal nodes, voltage without current [V] and
    resistance [ohm] between the terminals; ``port_*``: the two nodes that an inverter, charger or load hangs on.
    """

    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    branch_a: NDArray[np.int64]
    branch_b: NDArray[np.int64]
    branch_ohm: NDArray[np.float64]
    packs: tuple[str, ...]
    pack_plus: NDArray[np.int64]
    pack_minus: NDArray[np.int64]
    pack_emf_v: NDArray[np.float64]
    pack_ohm: NDArray[np.float64]
    ports: tuple[str, ...]
    port_plus: NDArray[np.int64]
    port_minus: NDArray[np.int64]

    def __post_init__(self) -> None:
        _positive("resistance is not above zero", self.branches, self.branch_ohm)
        _positive("resistance is not above zero", self.packs, self.pack_ohm)
        _none("voltage is not a number", self.packs, ~np.isfinite(self.pack_emf_v))
        ends = ((self.branches, self.branch_a, self.branch_b), (self.packs, self.pack_plus, self.pack_minus),
                (self.ports, self.port_plus, self.port_minus))
        for names, a, b in ends:
            _none("both ends on one node", names, np.asarray(a == b))

    @classmethod
    def of(cls, nodes: Sequence[str], branches: Sequence[tuple[str, str, str, float]],
           packs: Sequence[tuple[str, str, str, float, float]], ports: Sequence[tuple[str, str, str]]) -> Network:
        """Return the network of named rows. Raises `NetworkError` for a node that is not listed, a name that is given
        twice, and figures that are none.

        Rows: branches (name, node, node, ohm), packs (name, plus, minus, V, ohm), ports (name, plus, minus).
        """
        where = {name: i for i, name in enumerate(nodes)}
        asked = {str(node) for row in (*branches, *packs, *ports) for node in row[1:3]}
        strange = sorted(asked - where.keys())
        if strange:
            raise NetworkError("node is not part of the network", strange)
        for what, names in (("node", nodes), ("branch", [row[0] for row in branches]),
                            ("pack", [row[0] for row in packs]), ("port", [row[0] for row in ports])):
            if len(set(names)) < len(names):
                twice = [name for name, times in Counter(names).items() if times > 1]
                raise NetworkError(f"name of a {what} is given more than once", twice)

        def spots(rows: Sequence[Sequence[Any]], column: int) -> NDArray[np.int64]:
            return np.array([where[row[column]] for row in rows], dtype=np.int64)

        def figures(rows: Sequence[Sequence[Any]], column: int) -> NDArray[np.float64]:
            return np.array([row[column] for row in rows], dtype=np.float64)

        return cls(
            tuple(nodes),
            tuple(row[0] for row in branches), spots(branches, 1), spots(branches, 2), figures(branches, 3),
            tuple(row[0] for row in packs), spots(packs, 1), spots(packs, 2), figures(packs, 3), figures(packs, 4),
            tuple(row[0] for row in ports), spots(ports, 1), spots(ports, 2))

    def with_emf(self, emf_v: ArrayLike) -> Network:
        """Return the network with other voltages without current [V], one per pack."""
        return replace(self, pack_emf_v=np.asarray(emf_v, dtype=np.float64))

    def with_ohm(self, branch_ohm: ArrayLike, pack_ohm: ArrayLike) -> Network:
        """Return the network with other resistances [ohm] of all branches and all packs."""
        return replace(self, branch_ohm=np.asarray(branch_ohm, dtype=np.float64),
                       pack_ohm=np.asarray(pack_ohm, dtype=np.float64))

    def joined(self, a: NDArray[np.int64], b: NDArray[np.int64], ohm: float) -> Network:
        """Return the network with further branches of one resistance [ohm] between pairs of nodes, after its own."""
        return replace(
            self, branches=self.branches + tuple(f"joint {i}" for i in range(len(a))),
            branch_a=np.append(self.branch_a, a), branch_b=np.append(self.branch_b, b),
            branch_ohm=np.append(self.branch_ohm, np.full(len(a), ohm)))

    def factored(self, closed: NDArray[np.bool_] | None = None, whole: NDArray[np.bool_] | None = None) -> Factored:
        """Return the node equations, factored. ``closed``: packs, ``whole``: branches that conduct (else all)."""
        return Factored(self, closed, whole)


class Factored:
    """The factored node equations of a network: conductances of branches and of conducting packs.

    Every electrically separate part has one node at 0 V (``grounds``); ``part`` numbers the parts, node by node. ``lu``
    is the sparse factorisation, None where the network is small and dense.
    """

    def __init__(self, network: Network, closed: NDArray[np.bool_] | None, whole: NDArray[np.bool_] | None) -> None:
        self.network = network
        on = np.ones(len(network.packs), bool) if closed is None else closed
        kept = np.ones(len(network.branches), bool) if whole is None else whole
        a = np.concatenate([network.branch_a[kept], network.pack_plus[on]])
        b = np.concatenate([network.branch_b[kept], network.pack_minus[on]])
        siemens = 1 / np.concatenate([network.branch_ohm[kept], network.pack_ohm[on]])
        count = len(network.nodes)
        self.part = parts_of(count, a, b)
        self.grounds = np.unique(self.part, return_index=True)[1]
        free = np.ones(count, bool)
        free[self.grounds] = False
        self._free = np.flatnonzero(free)
        self._spot = np.full(count, -1)
        self._spot[self._free] = np.arange(len(self._free))
        self.lu = None if count < DENSE_BELOW or not len(self._free) else _sparse(self._spot, a, b, siemens)
        self._solve = self.lu.solve if self.lu is not None else _dense(self._spot, a, b, siemens)

    def place(self, nodes: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the rows of nodes in the factored equations, -1 for those at 0 V."""
        return self._spot[nodes]

    def volts(self, injected_a: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the node voltages [V] for currents injected at the nodes [A]; shape (nodes,) or (nodes, cases).

        What is injected into a part must sum to zero there; the grounded node of each part is at 0 V.
        """
        out = np.zeros_like(injected_a, dtype=np.float64)
        if len(self._free):
            out[self._free] = self._solve(injected_a[self._free])
        return out


def _positive(text: str, names: Sequence[str], ohm: NDArray[np.float64]) -> None:
    _none(text, names, ~((ohm > 0) & np.isfinite(ohm)))


def _none(text: str, names: Sequence[str], bad: NDArray[np.bool_]) -> None:
    if len(names) != len(bad):
        raise NetworkError(f"{len(bad)} figures for {len(names)} names", names)
    if bad.any():
        raise NetworkError(text, [names[i] for i in np.flatnonzero(bad).tolist()])


def each(values: ArrayLike, names: Sequence[str], what: str) -> NDArray[np.float64]:
    """Return one figure for each name, from one for all or one each. Raises `NetworkError` for another number."""
    given = np.asarray(values, dtype=np.float64)
    if given.shape not in {(), (len(names),)}:
        raise NetworkError(f"{given.size} {what} for {len(names)}", names)
    return np.broadcast_to(given, (len(names),))


def flags(given: NDArray[np.bool_] | None, names: Sequence[str], what: str) -> NDArray[np.bool_]:
    """Return one yes or no for each name, all yes for None. Raises `NetworkError` for another number."""
    out = np.ones(len(names), bool) if given is None else np.asarray(given, dtype=bool)
    if out.shape != (len(names),):
        raise NetworkError(f"{out.size} {what} for {len(names)}", names)
    return out


def numbers(given: Sequence[int], names: Sequence[str], what: str) -> NDArray[np.int64]:
    """Return positions among the names as an array. Raises `NetworkError` for one that no name has."""
    out = np.asarray(given, dtype=np.int64).reshape(-1)
    strange = out[(out < 0) | (out >= len(names))]
    if len(strange):
        raise NetworkError(f"number of a {what} is not 0 to {len(names) - 1}", [str(i) for i in strange])
    return out


def parts_of(count: int, a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the number of the connected part of each node (nodes,), parts counted by their first node.

    Not to be written to: one bank is solved many times over with the same joints, so the last few answers are kept.
    """
    return _parts_of(count, a.astype(np.int64).tobytes(), b.astype(np.int64).tobytes())


@lru_cache(maxsize=8)
def _parts_of(count: int, a: bytes, b: bytes) -> NDArray[np.int64]:
    one, other = np.frombuffer(a, np.int64), np.frombuffer(b, np.int64)
    if count < DENSE_BELOW:
        labels = joined_nodes(count, one, other)
    else:
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        joined = coo_array((np.ones(len(one), np.int8), (one, other)), shape=(count, count))
        labels = connected_components(joined, directed=False)[1].astype(np.int64)
    labels.setflags(write=False)
    return labels


def joined_nodes(count: int, a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number ``count`` nodes anew (nodes,), those that edges join as one, in the order of their first nodes.

    For small networks: without an import, and in a time that grows with nodes times joints.
    """
    label = np.arange(count)
    for one, other in zip(a.tolist(), b.tolist(), strict=True):
        low, high = sorted((label[one], label[other]))
        if low != high:
            label[label == high] = low
    return np.unique(label, return_inverse=True)[1].astype(np.int64)


def _dense(spot: NDArray[np.int64], a: NDArray[np.int64], b: NDArray[np.int64], siemens: NDArray[np.float64]) -> Any:
    size = int(spot.max(initial=-1)) + 1
    matrix = np.zeros((size, size))
    i, j = spot[a], spot[b]
    for end in (i, j):
        held = end >= 0
        np.add.at(matrix, (end[held], end[held]), siemens[held])
    held = (i >= 0) & (j >= 0)
    np.add.at(matrix, (i[held], j[held]), -siemens[held])
    np.add.at(matrix, (j[held], i[held]), -siemens[held])
    return lambda injected: np.linalg.solve(matrix, injected)


def _sparse(spot: NDArray[np.int64], a: NDArray[np.int64], b: NDArray[np.int64], siemens: NDArray[np.float64]) -> Any:
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    size = int(spot.max(initial=-1)) + 1
    i, j = spot[a], spot[b]
    both = (i >= 0) & (j >= 0)
    rows = np.concatenate([i[i >= 0], j[j >= 0], i[both], j[both]])
    columns = np.concatenate([i[i >= 0], j[j >= 0], j[both], i[both]])
    values = np.concatenate([siemens[i >= 0], siemens[j >= 0], -siemens[both], -siemens[both]])
    matrix = csc_array((values, (rows, columns)), shape=(size, size))
    # columns here have a handful of entries: single columns, not panels of them, halve the time (measured)
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}, diag_pivot_thresh=0.0,
                relax=1, panel_size=1)
