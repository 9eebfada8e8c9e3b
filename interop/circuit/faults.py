"""Bolted shorts: what flows in total, and through each device when either of its sides is shorted.

All packs are on and the BMS is neither limiter nor breaker; nothing is deducted for arc or joint. The caller chooses
the highest voltages and the lowest resistances (`Network.with_emf`, `Network.with_ohm`) and adds what chargers and
inverters give.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.cuts import Forest
from interop.circuit.inverse import pair_impedances
from interop.circuit.network import Network, NetworkError, flags, numbers
from interop.circuit.thevenin import Thevenin
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["DeviceFaults", "Short", "device_faults", "feeders", "feeding_counts", "short"]


@unchanging(eq=False)
class Short:
    """A short: ``total_a`` through it [A] from plus to minus, and the currents of all packs and branches meanwhile [A].

    ``pack_a`` (packs,) positive out of the pack; ``branch_a`` (branches,) positive from its first node to its second.
    """

    total_a: float
    pack_a: NDArray[np.float64]
    branch_a: NDArray[np.float64]


@unchanging(eq=False)
class DeviceFaults:
    """Shorts on the two sides of each device, shape (devices,): current through the device [A], magnitudes.

    ``first_a``: short at the branch's first node, ``second_a``: at its second; ``larger_a``: the larger of both;
    ``first_total_a``, ``second_total_a``: through the short itself.
    """

    first_a: NDArray[np.float64]
    second_a: NDArray[np.float64]
    first_total_a: NDArray[np.float64]
    second_total_a: NDArray[np.float64]

    @property
    def larger_a(self) -> NDArray[np.float64]:
        """The larger current through each device [A]."""
        return np.maximum(self.first_a, self.second_a)


def short(network: Network, plus: str, minus: str, *, closed: NDArray[np.bool_] | None = None,
          whole: NDArray[np.bool_] | None = None) -> Short:
    """Short two named nodes, without load. ``closed``: packs that are on, ``whole``: branches that conduct (None: all).

    Where nothing joins the two nodes no current flows in the short. Raises `NetworkError` for a node that is not there
    or is given twice.
    """
    strange = [name for name in (plus, minus) if name not in network.nodes]
    if strange:
        raise NetworkError("node is not part of the network", strange)
    if plus == minus:
        raise NetworkError("both ends on one node", [plus])
    at = [network.nodes.index(name) for name in (plus, minus)]
    # a port where the short is: its reach is what the short's current does to every node
    shorted = replace(network, ports=("short",), port_plus=np.array(at[:1]), port_minus=np.array(at[1:]))
    on, kept = _all(network, closed, whole)
    seen = Thevenin(shorted, network.pack_emf_v, on, kept)
    total = 0.0 if seen.dead[0] else float(seen.open_v[0, 0] / seen.z_ohm[0, 0, 0])
    differ = seen.differences(np.array([[total]]) if not seen.dead[0] else np.zeros((0, 0)))
    over = seen.rest_v - (differ[network.pack_plus] - differ[network.pack_minus])
    drop = differ[network.branch_a] - differ[network.branch_b]
    return Short(total, np.where(on, over / network.pack_ohm, 0.0), np.where(kept, drop / network.branch_ohm, 0.0))


def device_faults(network: Network, devices: Sequence[int], returns: Sequence[int], *,
                  closed: NDArray[np.bool_] | None = None, whole: NDArray[np.bool_] | None = None) -> DeviceFaults:
    """Short each side of each device to its return node, one short at a time, without load.

    ``devices``: numbers of branches that conduct; ``returns``: a node number of the other pole for each. All shorts
    come from one factorisation and the few entries of the inverse that they touch. Raises `NetworkError` for rows of
    unlike length, for a device that is open and for a return node that is one of the device's own.
    """
    branch, back = numbers(devices, network.branches, "branch"), numbers(returns, network.nodes, "node")
    if len(branch) != len(back):
        raise NetworkError(f"{len(back)} return nodes for {len(branch)} devices", network.branches)
    a, b = network.branch_a[branch], network.branch_b[branch]
    own = (a == back) | (b == back)
    if own.any():
        raise NetworkError("return node is the device's own", [network.branches[i] for i in branch[own]])
    on, kept = _all(network, closed, whole)
    if not kept[branch].all():
        raise NetworkError("device does not conduct", [network.branches[i] for i in branch[~kept[branch]]])
    bare = replace(network, ports=(), port_plus=np.zeros(0, np.int64), port_minus=np.zeros(0, np.int64))
    seen = Thevenin(bare, network.pack_emf_v, on, kept)
    pairs = [(a, a), (b, b), (back, back), (a, b), (a, back), (b, back)]
    z = pair_impedances(bare, on, kept, np.concatenate([p for p, _ in pairs]), np.concatenate([q for _, q in pairs]))
    aa, bb, rr, ab, ar, br = z.reshape(len(pairs), len(branch))
    ohm = network.branch_ohm[branch]
    joined = seen.factored.part[a] == seen.factored.part[back]

    def through(node: NDArray[np.int64], near: NDArray[np.float64], to_back: NDArray[np.float64],
                across: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Through the device and through the short; ``across``: rise over the device per ampere into the pair."""
        loop = np.where(joined, near + rr - 2 * to_back, 1.0)
        total = np.where(joined, seen.across(seen.base_v, node, back) / loop, 0.0)
        return np.abs((seen.base_v[a] - seen.base_v[b] - across * total) / ohm), np.abs(total)

    first, first_total = through(a, aa, ar, (aa - ar) - (ab - br))
    second, second_total = through(b, bb, br, (ab - ar) - (bb - br))
    return DeviceFaults(first, second, first_total, second_total)


def _all(network: Network, closed: NDArray[np.bool_] | None, whole: NDArray[np.bool_] | None,
         ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    return (flags(closed, network.packs, "yes or no to conducting packs"),
            flags(whole, network.branches, "yes or no to conducting branches"))


def feeding_counts(network: Network, *, closed: NDArray[np.bool_] | None = None, whole: NDArray[np.bool_] | None = None,
                   ) -> NDArray[np.int64]:
    """Return how many packs can feed each end of each branch through the copper of its own pole, shape (branches, 2).

    A short at a branch is fed from its first end by the packs of column 0, from its second by those of column 1; a
    branch that the copper goes round is fed from each end by all of them. Branches that do not conduct: zeros.
    """
    return _Copper(network, *_all(network, closed, whole)).counts


def feeders(network: Network, branch: int, *, closed: NDArray[np.bool_] | None = None,
            whole: NDArray[np.bool_] | None = None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the packs that can feed one branch from its first and from its second end."""
    on, kept = _all(network, closed, whole)
    numbers([branch], network.branches, "branch")
    kept = kept & (np.arange(len(kept)) != branch)
    root = np.array(Forest(len(network.nodes), network.branch_a, network.branch_b, kept).root, dtype=np.int64)

    def there(node: int) -> tuple[str, ...]:
        at = on & ((root[network.pack_plus] == root[node]) | (root[network.pack_minus] == root[node]))
        return tuple(network.packs[i] for i in np.flatnonzero(at))

    return there(int(network.branch_a[branch])), there(int(network.branch_b[branch]))


class _Copper:
    """The copper alone as a forest, and the packs' terminals on it."""

    def __init__(self, network: Network, closed: NDArray[np.bool_], whole: NDArray[np.bool_]) -> None:
        count = len(network.nodes)
        forest = Forest(count, network.branch_a, network.branch_b, whole)
        ends = np.concatenate([network.pack_plus[closed], network.pack_minus[closed]])
        below = np.array(forest.gathered(np.bincount(ends, minlength=count).tolist(), parity=False), dtype=np.int64)
        total = below[np.array(forest.root, dtype=np.int64)]
        child = forest.child(len(network.branches))
        bridge = forest.bridges(network.branch_a, network.branch_b, whole)
        self.counts = np.where(whole[:, None], np.column_stack([total[network.branch_a]] * 2), 0)
        cut = np.flatnonzero(bridge)
        inside = below[child[cut]]
        outside = total[child[cut]] - inside
        first_inside = network.branch_a[cut] == child[cut]
        self.counts[cut, 0] = np.where(first_inside, inside, outside)
        self.counts[cut, 1] = np.where(first_inside, outside, inside)
