"""Entries of the inverse of the node equations: voltages at one node per ampere at another, without all columns.

Takahashi, Fagan and Chen 1973: with A = L D L' the entries of the inverse where L has entries follow from the last
column back to the first. Columns whose ancestors in the elimination tree are done are worked out together, so that the
work grows with the entries of L and the loop only with the height of the tree.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from interop.circuit.network import DENSE_BELOW, Factored, Network, parts_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["pair_impedances"]

_LINK_OHM = 1e12
"""Joins a pair that is asked for: below rounding beside any copper, yet the pair becomes an entry of L."""


def pair_impedances(network: Network, closed: NDArray[np.bool_], whole: NDArray[np.bool_] | None,
                    a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return for each pair of nodes the voltage [V] at ``a`` per ampere at ``b`` (and the reverse), shape (pairs,).

    Against the grounded node of their part (`Factored`); pairs of different parts get 0.
    """
    if len(network.nodes) < DENSE_BELOW:
        return _by_columns(network.factored(closed, whole), a, b)
    kept = np.ones(len(network.branches), bool) if whole is None else whole
    part = parts_of(len(network.nodes), np.append(network.branch_a[kept], network.pack_plus[closed]),
                    np.append(network.branch_b[kept], network.pack_minus[closed]))
    together = part[a] == part[b]
    apart = together & (a != b)
    linked = network.joined(a[apart], b[apart], _LINK_OHM)
    factored = linked.factored(closed, np.append(kept, np.ones(int(apart.sum()), bool)))
    lu = factored.lu
    if lu is None or not np.array_equal(lu.perm_r, lu.perm_c):
        return _by_columns(factored, a, b)
    return _Selected(lu).at(np.where(together, factored.place(a), -1), factored.place(b))


def _by_columns(factored: Factored, a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.float64]:
    """All columns that the pairs touch: for small networks."""
    nodes, column = np.unique(b, return_inverse=True)
    out = np.zeros(len(a))
    for begin in range(0, len(nodes), 1000):
        some = nodes[begin:begin + 1000]
        unit = np.zeros((len(factored.part), len(some)))
        unit[some, np.arange(len(some))] = 1.0
        solved = factored.volts(unit)
        mine = (column >= begin) & (column < begin + 1000)
        out[mine] = solved[a[mine], column[mine] - begin]
    return np.where(factored.part[a] == factored.part[b], out, 0.0)


class _Selected:
    """The inverse on the pattern of L: its diagonal, and below it column by column."""

    def __init__(self, lu: Any) -> None:
        self.perm = np.asarray(lu.perm_c, dtype=np.int64)
        lower = lu.L.tocsc()
        lower.sort_indices()
        self.size = lower.shape[0]
        column = np.repeat(np.arange(self.size), np.diff(lower.indptr)).astype(np.int64)
        row = lower.indices.astype(np.int64)
        below = (row > column) & (lower.data != 0)
        self.column, self.row, self.factor = column[below], row[below], lower.data[below]
        self.keys = self.column * self.size + self.row
        self.diagonal = 1 / lu.U.diagonal()
        self.value = np.zeros(len(self.row))
        self._fill()

    def _fill(self) -> None:
        first = np.searchsorted(self.column, np.arange(self.size + 1))
        counts = np.diff(first)
        depth = self._depths(first, counts)
        entries = np.argsort(depth[self.column], kind="stable")  # entries by the depth of their column
        # each entry (i, j) needs the inverse at (i, k) for all k of its column
        many = counts[self.column[entries]]
        begins = np.cumsum(many) - many
        owner = np.repeat(np.arange(len(entries)), many)
        other = first[self.column[entries]][owner] + np.arange(len(owner)) - begins[owner]
        i, k = self.row[entries][owner], self.row[other]
        spot = np.searchsorted(self.keys, np.minimum(i, k) * self.size + np.maximum(i, k))
        same = i == k
        spot = np.where(same, i, np.minimum(spot, max(len(self.keys) - 1, 0)))
        factor = self.factor[other]
        edges = np.searchsorted(depth[self.column[entries]], np.arange(1, int(depth.max(initial=0)) + 2))
        for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if low == high:
                continue
            some = entries[low:high]
            part = slice(int(begins[low]), int(begins[high - 1] + many[high - 1]))
            known = np.where(same[part], self.diagonal[spot[part] * same[part]], self.value[spot[part] * ~same[part]])
            sums = np.add.reduceat(known * factor[part], begins[low:high] - begins[low])
            self.value[some] = -sums
            np.add.at(self.diagonal, self.column[some], self.factor[some] * sums)

    def _depths(self, first: NDArray[np.int64], counts: NDArray[np.int64]) -> NDArray[np.int64]:
        """Height above each column in the elimination tree; its parent is the first row below the diagonal."""
        parent = np.full(self.size, -1)
        has = counts > 0
        parent[has] = self.row[first[:-1][has]]
        depth = [0] * self.size
        for column, above in reversed(list(enumerate(parent.tolist()))):
            if above >= 0:
                depth[column] = depth[above] + 1
        return np.array(depth, dtype=np.int64)

    def at(self, a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.float64]:
        """The inverse at pairs of places; -1 stands for a grounded node and gives 0."""
        there = (a >= 0) & (b >= 0)
        i, k = self.perm[np.where(there, a, 0)], self.perm[np.where(there, b, 0)]
        key = np.minimum(i, k) * self.size + np.maximum(i, k)
        spot = np.minimum(np.searchsorted(self.keys, key), len(self.keys) - 1)
        same, found = i == k, np.where(i == k, self.diagonal[i], self.value[spot])
        if (there & ~same & (self.keys[spot] != key)).any():
            raise RuntimeError("an asked pair is no entry of L, although it was joined")
        return np.where(there, found, 0.0)
