"""How long courses over days and worst cases over tolerances take: for ``benchmarks/run.py``."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from interop.circuit.course import Packs, course
from interop.circuit.drift import Counting, Reports, drift
from interop.circuit.network import Network
from interop.circuit.plant import Stage
from interop.circuit.tolerance import Box, worst_currents
from interop.standards.cell_voltage import lfp_model_slope, lfp_model_voltage

INSTANTS = 20_000   # plain evaluations of the curve and the network that a week is measured against
DRIFT_RATIO = 8.0
WORST_GAP = 0.05


def rack(count: int) -> Network:
    """Unlike packs along two busbars fed at one end."""
    draw = np.random.default_rng(1)
    nodes, branches, packs = ["P", "M"], [], []
    for k in range(count):
        nodes += [f"p{k}", f"m{k}", f"t{k}"]
        branches += [(f"run{k}", f"t{k}", f"p{k}", draw.uniform(5e-4, 2e-3)),
                     (f"bar+{k}", f"p{k}", f"p{k - 1}" if k else "P", 1e-4),
                     (f"bar-{k}", f"m{k}", f"m{k - 1}" if k else "M", 1e-4)]
        packs.append((f"B{k}", f"t{k}", f"m{k}", 52.0 + draw.uniform(-0.02, 0.02), draw.uniform(5e-3, 3e-2)))
    return Network.of(nodes, branches, packs, [("inverter", "P", "M")])


def filled(count: int) -> Packs:
    draw = np.random.default_rng(2)
    capacity = np.where(np.arange(count) * 5 < count * 3, 100.0, 280.0)
    return Packs.of(capacity, draw.uniform(0.5, 0.6, count), lambda soc: 16 * lfp_model_voltage(soc),
                    lambda soc: 16 * lfp_model_slope(soc), low_soc=0.05, high_v=58.4)


def week_of_drift() -> bool:
    """Night load, solar charge held at its voltage until the tail, evening load; seven days, 20 packs, 12 managed."""
    network, packs = rack(20), filled(20)
    day = [Stage(6, watt=2000), Stage(3, watt=-5000, hold_v=56.4), Stage(5, watt=-15000, hold_v=56.4, tail_a=70),
           Stage(4, watt=4000), Stage(6, watt=2500)]
    counting = Counting.of(20, 0.01, 0.05, 55.2, 5.0)
    course(network, packs, [Stage(0.1, watt=2000)])  # loads the integrator
    began = time.perf_counter()
    found = drift(network, packs, day, 7, range(12), Reports.LOWEST, counting)
    taken = time.perf_counter() - began
    plain = instants(packs.soc)
    low, high = found.error_range(168)
    print(f"drift: 20 packs, 7 days: {taken:.2f} s, {len(found.hours)} rows, {len(found.resets)} resets, "
          f"display {100 * low:+.1f} to {100 * high:+.1f} % of charge beside the bank")
    print(f"  {INSTANTS} plain instants {plain:.2f} s, ratio {taken / plain:.2f} (at most {DRIFT_RATIO:g})")
    return taken <= DRIFT_RATIO * plain


def instants(soc: np.ndarray) -> float:
    """Seconds of so many voltages of the packs times a matrix of their size."""
    matrix = np.eye(len(soc))
    began = time.perf_counter()
    for _ in range(INSTANTS):
        matrix @ (16 * lfp_model_voltage(soc))
    return time.perf_counter() - began


def worst_of_a_rack() -> bool:
    """Both directions of 20 packs over 40 free values, with bounds."""
    network = rack(20)
    box = Box.around(network, (0.75, 1.25), (0.6, 2.0))
    began = time.perf_counter()
    found = worst_currents(network, box, [600.0])
    taken = time.perf_counter() - began
    gap = float(((found.high_bound_a - found.high_a) / found.high_a.max()).max())
    print(f"worst case: 20 packs: {taken:.2f} s, {found.proved.sum()} of {found.proved.size} proved, "
          f"bound at most {100 * gap:.2f} % above the best corner")
    return gap <= WORST_GAP


if __name__ == "__main__":
    sys.exit(not all([week_of_drift(), worst_of_a_rack()]))
