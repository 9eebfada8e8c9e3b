"""Which elements of a network stand or fall together: bridges, and groups in series that carry one current.

Every element outside a spanning forest gets a random number of 63 bits, every element of the forest the exclusive or
of those that close a loop over it. Nothing closes a loop over a bridge, so its number is 0; two elements whose joint
removal parts the network have the same number, because the same loops pass both (Pritchard and Thurimella 2011,
"Fast computation of small cuts via cycle space sampling"; wrong with a probability of about pairs / 2**63).
Ports close loops too where groups are concerned, because they press current in; where bridges are, they do not.
Opening one element of a group takes the current from all of them: one case instead of many.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.network import Network

__all__ = ["Cuts", "Forest"]


def _scattered(count: int) -> NDArray[np.int64]:
    """Return numbers (count,) that look random and are always the same: the output step of SplitMix64 over 1, 2, 3 and
    so on. numpy's generators cost a fiftieth of a second to import.
    """
    z = np.arange(1, count + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return (z ^ (z >> np.uint64(31))).view(np.int64)



class Forest:
    """A spanning forest of the edges ``there`` between nodes.

    ``order``: nodes, parents before children; ``up``: each node's parent, ``by``: the edge to it, -1 at roots;
    ``root``: the root of each node's tree.
    """

    def __init__(self, count: int, a: NDArray[np.int64], b: NDArray[np.int64], there: NDArray[np.bool_]) -> None:
        edges = np.flatnonzero(there)
        ends = np.concatenate([a[edges], b[edges]])
        by_node = np.argsort(ends, kind="stable")
        begins = np.searchsorted(ends[by_node], np.arange(count + 1)).tolist()
        far = np.concatenate([b[edges], a[edges]])[by_node].tolist()
        name = np.concatenate([edges, edges])[by_node].tolist()
        self.up, self.by, self.root = [-1] * count, [-1] * count, [-1] * count
        self.order: list[int] = []
        for root in range(count):
            if self.root[root] < 0:
                self._grow(root, begins, far, name)

    def _grow(self, root: int, begins: list[int], far: list[int], name: list[int]) -> None:
        up, by, roots, order = self.up, self.by, self.root, self.order
        roots[root] = root
        at = len(order)
        order.append(root)
        while at < len(order):
            node = order[at]
            at += 1
            for spot in range(begins[node], begins[node + 1]):
                other = far[spot]
                if roots[other] < 0:
                    roots[other], up[other], by[other] = root, node, name[spot]
                    order.append(other)

    def gathered(self, values: list[int], *, parity: bool) -> list[int]:
        """Return for each node the exclusive or (``parity``), or the sum, of its own value and all below it."""
        out = list(values)
        up = self.up
        for node in reversed(self.order):
            if up[node] >= 0:
                if parity:
                    out[up[node]] ^= out[node]
                else:
                    out[up[node]] += out[node]
        return out

    def child(self, edges: int) -> NDArray[np.int64]:
        """Return the lower node of each of ``edges`` edges, -1 for those outside the forest."""
        out = np.full(edges, -1)
        by = np.array(self.by, dtype=np.int64)
        out[by[by >= 0]] = np.flatnonzero(by >= 0)
        return out

    def labels(self, a: NDArray[np.int64], b: NDArray[np.int64], there: NDArray[np.bool_],
               more: tuple[NDArray[np.int64], NDArray[np.int64]] | None = None) -> NDArray[np.int64]:
        """Return the number of each edge: its own outside the forest, that of the loops over it within.

        ``more``: ends of further edges that close loops and need no number.
        """
        child = self.child(len(a))
        extra = 0 if more is None else len(more[0])
        random = _scattered(len(a) + extra)
        loose = np.flatnonzero(there & (child < 0))
        at_node = np.zeros(len(self.up), np.int64)
        for ends in (a, b):
            np.bitwise_xor.at(at_node, ends[loose], random[loose])
        for ends in more or ():
            np.bitwise_xor.at(at_node, ends, random[len(a):])
        over = np.array(self.gathered(at_node.tolist(), parity=True), dtype=np.int64)
        label = random[:len(a)]
        label[child >= 0] = over[child[child >= 0]]
        return label

    def bridges(self, a: NDArray[np.int64], b: NDArray[np.int64], there: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return the edges whose removal parts a tree's nodes."""
        bridge: NDArray[np.bool_] = there & (self.labels(a, b, there) == 0)
        return bridge

    def across(self, a: NDArray[np.int64], b: NDArray[np.int64]) -> list[int]:
        """Return for each node bits of the pairs with one end at or below it and the other elsewhere in its tree."""
        bits = [0] * len(self.up)
        for pair, (one, other) in enumerate(zip(a.tolist(), b.tolist(), strict=True)):
            if self.root[one] == self.root[other]:
                bits[one] ^= 1 << pair
                bits[other] ^= 1 << pair
        return self.gathered(bits, parity=True)


class Cuts:
    """The elements of a network, branches first and then packs, shape (elements,).

    ``there``: it conducts; ``bridge``: its removal parts the network; ``group``: number of the group that it stands in
    series with, -1 for bridges and what does not conduct; ``splits``: bridges with packs or ports on either side.
    """

    def __init__(self, network: Network, closed: NDArray[np.bool_], whole: NDArray[np.bool_]) -> None:
        a = np.concatenate([network.branch_a, network.pack_plus])
        b = np.concatenate([network.branch_b, network.pack_minus])
        self.there = np.concatenate([whole, closed])
        forest = self._forest = Forest(len(network.nodes), a, b, self.there)
        self._child = forest.child(len(a))
        self.bridge = forest.bridges(a, b, self.there)
        label = forest.labels(a, b, self.there, (network.port_plus, network.port_minus))
        self.group = np.where(self.there & ~self.bridge, np.unique(label, return_inverse=True)[1], -1)
        self.splits = self.bridge & self._between_things(network, closed)
        idle = np.flatnonzero(~closed)
        self._ports = forest.across(network.port_plus, network.port_minus)
        self._idle = forest.across(network.pack_plus[idle], network.pack_minus[idle])

    def _between_things(self, network: Network, closed: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Forest edges with another conducting pack's terminal or a port on either side."""
        ends = np.concatenate([network.pack_plus[closed], network.pack_minus[closed],
                               network.port_plus, network.port_minus])
        things = self._forest.gathered(np.bincount(ends, minlength=len(network.nodes)).tolist(), parity=False)
        below, child = np.array(things, dtype=np.int64), self._child
        own = np.arange(len(child)) >= len(network.branches)  # a pack's own terminals
        inside, total = below[child], below[np.array(self._forest.root, dtype=np.int64)[child]]
        between: NDArray[np.bool_] = (child >= 0) & (inside > own) & (total - inside > own)
        return between

    def parted_ports(self, bridge: int) -> list[int]:
        """Return the ports whose two sides the removal of this bridge parts; those parted before are not among them."""
        bits = self._ports[int(self._child[bridge])]
        return [port for port in range(bits.bit_length()) if bits >> port & 1]

    def idle_across(self, bridge: int) -> int:
        """Return how many packs that do not conduct span the two sides of this bridge."""
        return self._idle[int(self._child[bridge])].bit_count()

    def largest(self, ohm: NDArray[np.float64]) -> NDArray[np.int64]:
        """Return for each group the element of the greatest resistance [ohm]; shape (numbers of groups,), -1 unused."""
        out = np.full(int(self.group.max(initial=-1)) + 1, -1)
        order = np.argsort(ohm, kind="stable")
        order = order[self.group[order] >= 0]
        out[self.group[order]] = order
        return out
