"""Banks for tests of sharing, tolerances and courses, and a solver that shares no code with the program."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from interop.circuit.network import Network

__all__ = ["by_hand", "ladder", "pair", "renamed", "scaled"]

Floats = NDArray[np.float64]


def pair(emf_v: tuple[float, float] = (52.0, 52.0), ohm: tuple[float, float] = (0.02, 0.02)) -> Network:
    """Two packs on two posts, nothing between."""
    packs = [("small", "p", "m", emf_v[0], ohm[0]), ("large", "p", "m", emf_v[1], ohm[1])]
    return Network.of(["p", "m"], [], packs, [("inverter", "p", "m")])


def ladder(count: int, seed: int, *, spread_v: float = 0.0, crosswise: bool = False, ports: int = 1) -> Network:
    """A rack: packs on runs along two busbars, fed at one end or crosswise; resistances as field practice has them."""
    draw = np.random.default_rng(seed)
    branches: list[tuple[str, str, str, float]] = []
    packs = []
    for k in range(count):
        branches += [(f"run+{k}", f"t{k}", f"p{k}", draw.uniform(0.5e-3, 2e-3)),
                     (f"run-{k}", f"u{k}", f"m{k}", draw.uniform(0.5e-3, 2e-3))]
        packs.append((f"B{k}", f"t{k}", f"u{k}", 52 + spread_v * draw.uniform(-1, 1), draw.uniform(5e-3, 20e-3)))
        if k:
            branches += [(f"bar+{k}", f"p{k - 1}", f"p{k}", draw.uniform(2e-5, 2e-4)),
                         (f"bar-{k}", f"m{k - 1}", f"m{k}", draw.uniform(2e-5, 2e-4))]
    branches.append(("feed+0", "p0", "P0", 1e-3))
    branches.append(("feed-0", f"m{count - 1 if crosswise else 0}", "M0", 1e-3))
    for k in range(1, ports):
        branches += [(f"feed+{k}", f"p{count // 2}", f"P{k}", 1e-3), (f"feed-{k}", f"m{count // 2}", f"M{k}", 1e-3)]
    nodes = sorted({end for row in branches for end in row[1:3]})
    return Network.of(nodes, branches, packs, [(f"inverter{k}", f"P{k}", f"M{k}") for k in range(ports)])


def renamed(network: Network, order: list[int]) -> Network:
    """The same network with its packs in another order and all under other names."""
    packs = [(f"other-{network.packs[k]}", f"n{network.pack_plus[k]}", f"n{network.pack_minus[k]}",
              float(network.pack_emf_v[k]), float(network.pack_ohm[k])) for k in order]
    branches = [(f"other-{name}", f"n{a}", f"n{b}", float(ohm)) for name, a, b, ohm in zip(
        network.branches, network.branch_a, network.branch_b, network.branch_ohm, strict=True)][::-1]
    ports = [(f"other-{name}", f"n{a}", f"n{b}") for name, a, b in zip(
        network.ports, network.port_plus, network.port_minus, strict=True)]
    return Network.of([f"n{k}" for k in reversed(range(len(network.nodes)))], branches, packs, ports)


def scaled(network: Network, factor: float) -> Network:
    return network.with_ohm(network.branch_ohm * factor, network.pack_ohm * factor)


def by_hand(network: Network, pack_ohm: Floats, branch_ohm: Floats, port_a: Floats) -> tuple[Floats, Floats]:
    """Pack currents (K, P) and branch currents (K, B) of K sets of resistances: plain nodal equations, one node at 0 V.

    Good for one connected bank.
    """
    count = len(network.nodes)
    a = np.concatenate([network.branch_a, network.pack_plus])
    b = np.concatenate([network.branch_b, network.pack_minus])
    siemens = 1 / np.concatenate([branch_ohm, pack_ohm], axis=1)
    matrix = np.zeros((len(siemens), count, count))
    right = np.zeros((len(siemens), count))
    for k, (one, other) in enumerate(zip(a, b, strict=True)):
        matrix[:, one, one] += siemens[:, k]
        matrix[:, other, other] += siemens[:, k]
        matrix[:, one, other] -= siemens[:, k]
        matrix[:, other, one] -= siemens[:, k]
    for k, (plus, minus) in enumerate(zip(network.pack_plus, network.pack_minus, strict=True)):
        right[:, plus] += network.pack_emf_v[k] / pack_ohm[:, k]
        right[:, minus] -= network.pack_emf_v[k] / pack_ohm[:, k]
    for amp, plus, minus in zip(port_a, network.port_plus, network.port_minus, strict=True):
        right[:, plus] -= amp
        right[:, minus] += amp
    volts = np.zeros((len(siemens), count))
    volts[:, 1:] = np.linalg.solve(matrix[:, 1:, 1:], right[:, 1:, None])[:, :, 0]
    packs = (network.pack_emf_v - volts[:, network.pack_plus] + volts[:, network.pack_minus]) / pack_ohm
    return packs, (volts[:, network.branch_a] - volts[:, network.branch_b]) / branch_ohm
