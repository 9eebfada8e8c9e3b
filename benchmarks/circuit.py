"""Benchmarks of the network solver: growth, and one out against fresh solves and against the simulator.

    python benchmarks/circuit.py

A pack hangs on five nodes of each pole: terminal, lug, device, cable, post; the posts follow one another on a busbar.
Ratios and exponents are bounded; the times that are aimed at are printed beside those measured.
"""

from __future__ import annotations

import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

import numpy as np  # noqa: E402
from run import bounded, exponent  # noqa: E402
from scipy.sparse import csc_array  # noqa: E402
from scipy.sparse.linalg import spsolve  # noqa: E402

from interop.circuit.draws import Power  # noqa: E402
from interop.circuit.faults import device_faults  # noqa: E402
from interop.circuit.network import Network, State  # noqa: E402
from interop.circuit.one_out import one_out  # noqa: E402
from interop.circuit.solve import Kind, solve  # noqa: E402

__all__ = ["bank_network", "faults_grow", "one_out_against_ngspice", "one_out_grows", "solve_grows"]

WATTS_A_PACK = 600.0
OHMS = (50e-6, 300e-6, 2e-3, 40e-6)


def bank_rows(packs: int, inverters: int, busbars: int, seed: int = 1) -> tuple[list, list, list, list]:
    """Rows of nodes, branches, packs and ports."""
    draw = random.Random(seed)
    nodes, branches, sources, ports = [], [], [], []
    each = packs // busbars
    for bar in range(busbars):
        for pole in "+-":
            for k in range(each):
                run = [f"{pole}{bar}.{k}.{j}" for j in range(5)]
                nodes += run
                for j, ohm in enumerate(OHMS):
                    branches.append((f"run{pole}{bar}.{k}.{j}", run[j], run[j + 1], ohm * draw.uniform(0.8, 1.2)))
                if k:
                    branches.append((f"bar{pole}{bar}.{k}", f"{pole}{bar}.{k - 1}.4", run[4], draw.uniform(2e-6, 2e-5)))
        sources += [(f"pack{bar}.{k}", f"+{bar}.{k}.0", f"-{bar}.{k}.0", 53 + draw.gauss(0, 0.05),
                     draw.uniform(8e-3, 30e-3)) for k in range(each)]
        for i in range(inverters):
            at = (2 * i + 1) * each // (2 * inverters)
            ports.append((f"inverter{bar}.{i}", f"+{bar}.{at}.4", f"-{bar}.{at}.4"))
    return nodes, branches, sources, ports


def bank_network(packs: int, inverters: int = 8, busbars: int = 1) -> Network:
    return Network.of(*bank_rows(packs, inverters, busbars))


def loads(network: Network) -> list[Power]:
    return [Power(WATTS_A_PACK * len(network.packs) / len(network.ports))] * len(network.ports)


def devices(network: Network) -> list[int]:
    """The device of each pack in each pole."""
    return [i for i, name in enumerate(network.branches) if name.startswith("run") and name.endswith(".1")]


def timed(work: Callable[[], object], runs: int = 3) -> float:
    """Least wall time [s] of some runs; the first warms up."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def told(what: str, sizes: Sequence[int], times: Sequence[float], aim: str = "") -> None:
    figures = ", ".join(f"{size:,} in {taken:.3f} s" for size, taken in zip(sizes, times, strict=True))
    print(f"{what}: {figures}" + (f" (aim: {aim})" if aim else ""))


def plain_solve(network: Network) -> Callable[[], object]:
    """The yardstick: one solve of the node equations as the library does it, matrix given, constant currents."""
    a, b = np.append(network.branch_a, network.pack_plus), np.append(network.branch_b, network.pack_minus)
    siemens = 1 / np.append(network.branch_ohm, network.pack_ohm)
    count = len(network.nodes)
    values = np.concatenate([siemens, siemens, -siemens, -siemens])
    at = np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a])
    matrix = csc_array((values, at), shape=(count, count))[1:, 1:]
    injected = np.ones(count - 1)
    return lambda: spsolve(matrix, injected)


def solve_grows() -> bool:
    """The operating point with 8 inverters at constant power."""
    sizes, times = (1_000, 3_000, 10_000), []
    for size in sizes:
        network = bank_network(size)
        draws = loads(network)
        if solve(network, draws).outcome.kind != Kind.FINE:
            raise SystemExit("the bench bank does not carry its load")
        times.append(timed(lambda network=network, draws=draws: solve(network, draws), 5))
    told("solve, packs", sizes, times, "0.05 s at 1,000")
    plain = timed(plain_solve(bank_network(sizes[0])), 5)
    print(f"  one plain linear solve of 1,000 packs by the library: {plain:.3f} s")
    return all([bounded("solves at constant power, in plain linear solves", times[0] / plain, 6),
                bounded("growth exponent", exponent(sizes, times), 1.2)])


def faults_grow() -> bool:
    """Both sides of every pack's device in both poles, against the busbar's other pole beside it."""
    sizes, times = (1_000, 3_000, 10_000), []
    for size in sizes:
        network = bank_network(size)
        where = {name: i for i, name in enumerate(network.nodes)}
        asked = devices(network)
        back = [where[("-" if name[3] == "+" else "+") + name[4:].rsplit(".", 1)[0] + ".4"]
                for name in (network.branches[i] for i in asked)]
        times.append(timed(lambda network=network, asked=asked, back=back: device_faults(network, asked, back), 2))
    told("faults on both sides of all devices, packs", sizes, times)
    return bounded("growth exponent", exponent(sizes, times), 1.2)


def all_cases(network: Network) -> object:
    return one_out(network, loads(network), [(k, State.OPEN) for k in range(len(network.packs))], devices(network),
                   discharge_a=100.0, charge_a=50.0, cut_off_v=44.0)


def one_out_grows() -> bool:
    """Every pack and both devices of every pack, on one busbar and on many."""
    sizes, times = (1_000, 2_000, 4_000), []
    for size in sizes:
        network = bank_network(size)
        times.append(timed(lambda network=network: all_cases(network), 2 if size > 1_000 else 3))
    told("one out on one busbar, packs", sizes, times, "about 2 s at 1,000")
    network = bank_network(sizes[0])
    once = timed(lambda: solve(network, loads(network)), 5)
    bars, many = (10, 30, 100), []
    for count in bars:
        network = bank_network(100 * count, 2, count)
        many.append(timed(lambda network=network: all_cases(network), 3))
    told("one out on busbars of 100 packs, busbars", bars, many)
    return all([bounded("cases in the time of one fresh solve", 3 * sizes[0] * once / times[0], 30, least=True),
                bounded("growth exponent on one busbar", exponent(sizes, times), 2.1),
                bounded("growth exponent over busbars", exponent(bars, many), 1.2)])


def one_out_against_ngspice(cases: int = 20) -> bool:
    """Time of a case against a run of the simulator on the same network without that pack."""
    program = shutil.which("ngspice")
    if program is None:
        print("one out against ngspice: not installed, not measured")
        return True
    rows, network = bank_rows(1_000, 8, 1), bank_network(1_000)
    count = 3 * len(network.packs)
    ours = timed(lambda: all_cases(network), 3) / count
    theirs = []
    with tempfile.TemporaryDirectory() as folder:
        for case in range(cases):
            deck = Path(folder) / f"{case}.cir"
            deck.write_text(_netlist(rows, out=50 * case, watts=loads(network)[0].watts), encoding="utf-8")
            start = time.perf_counter()
            done = subprocess.run([program, "-b", str(deck)], capture_output=True, text=True, check=False)
            theirs.append(time.perf_counter() - start)
            if "v(port)" not in done.stdout:
                raise SystemExit(f"ngspice failed: {done.stderr[-300:]}")
    each = statistics.median(theirs)
    print(f"one out against ngspice: {ours * 1e3:.3f} ms a case of {count:,}, ngspice {each * 1e3:.0f} ms a case "
          f"(median of {cases}; extrapolated to all: {each * count:.0f} s)")
    return bounded("times faster for each case", each / ours, 200, least=True)


def _netlist(rows: tuple[list, list, list, list], out: int, watts: float) -> str:
    nodes, branches, packs, ports = rows
    number = {name: f"n{i}" for i, name in enumerate(nodes)}
    number[packs[(out + 1) % len(packs)][2]] = "0"
    lines = ["* bank", ".options reltol=1e-9 abstol=1e-9 vntol=1e-9"]
    lines += [f"R{i} {number[a]} {number[b]} {ohm!r}" for i, (_, a, b, ohm) in enumerate(branches)]
    for i, (_, plus, minus, volts, ohm) in enumerate(packs):
        if i != out:
            lines += [f"V{i} q{i} {number[minus]} {volts!r}", f"Rp{i} q{i} {number[plus]} {ohm!r}"]
    for i, (_, plus, minus) in enumerate(ports):
        across = f"V({number[plus]},{number[minus]})"
        lines.append(f"B{i} {number[plus]} {number[minus]} I={across} > 20 ? {watts}/{across} : {watts}*{across}/400")
    lines += [f".nodeset v({number[name]})=53" for name in nodes if name.startswith("+")]
    plus, minus = number[ports[0][1]], number[ports[0][2]]
    return "\n".join([*lines, ".control", "op", f"let port = v({plus})-v({minus})", "echo v(port) $&port", "quit 0",
                      ".endc", ".end", ""])


if __name__ == "__main__":
    sys.exit(not all([solve_grows(), faults_grow(), one_out_grows(), one_out_against_ngspice()]))
