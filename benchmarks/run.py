"""Benchmarks: ratios measured in one run and growth exponents, asserted; absolute times are printed only.

    python benchmarks/run.py [start] [check] [growth] [oracle] [power]

Each part prints what it measured and its bound; the exit status is 1 when a bound is passed.
"""

from __future__ import annotations

import gc
import math
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parent
sys.path[:0] = [str(ROOT), str(HERE)]

SIZES = (1_000, 3_000, 10_000)
CHECK_IMPORTS = "import click, pydantic, yaml, networkx, rich.console, numpy"


def seconds(command: Sequence[str]) -> float:
    """Wall time [s] of a process that may answer no (status 0, 1 or 4)."""
    start = time.perf_counter()
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=False, env=env)  # compiled, as installed
    taken = time.perf_counter() - start
    if done.returncode not in (0, 1, 4):
        raise SystemExit(f"{' '.join(command)} exited {done.returncode}: {done.stderr.decode()}")
    return taken


def ratio(ours: Sequence[str], base: Sequence[str], runs: int = 9) -> tuple[float, float, float]:
    """Medians of alternated runs and their ratio; the first pair warms the caches."""
    seconds(ours), seconds(base)
    pairs = [(seconds(ours), seconds(base)) for _ in range(runs)]
    a, b = (statistics.median(column) for column in zip(*pairs, strict=True))
    return a, b, a / b


def bounded(name: str, got: float, bound: float, *, least: bool = False) -> bool:
    """Print one measured figure against its bound; return whether it holds."""
    holds = got >= bound if least else got <= bound
    print(f"  {'ok  ' if holds else 'FAIL'} {name}: {got:.2f} ({'at least' if least else 'at most'} {bound:g})")
    return holds


def start() -> bool:
    """``interop --help`` against importing click."""
    a, b, r = ratio([sys.executable, "-m", "interop", "--help"], [sys.executable, "-c", "import click"])
    print(f"start: --help {a * 1000:.0f} ms, import click {b * 1000:.0f} ms")
    return bounded("ratio", r, 1.6)


def check() -> bool:
    """``interop check`` on the demo, whole process, against importing what it is made of."""
    demo = str(ROOT / "examples" / "ferry-landing" / "site.yaml")
    a, b, r = ratio([sys.executable, "-m", "interop", "check", demo], [sys.executable, "-c", CHECK_IMPORTS])
    print(f"check: demo {a * 1000:.0f} ms, imports {b * 1000:.0f} ms")
    return bounded("ratio", r, 1.6)


def exponent(sizes: Sequence[int], times: Sequence[float]) -> float:
    """Slope of log time over log size, by least squares."""
    xs, ys = [math.log(s) for s in sizes], [math.log(t) for t in times]
    mx, my = statistics.fmean(xs), statistics.fmean(ys)
    return sum((x - mx) * (y - my) for x, y in zip(xs, ys, strict=True)) / sum((x - mx) ** 2 for x in xs)


def growth() -> bool:
    """Reading, and check and plan, over sites of 1,000, 3,000 and 10,000 packs; decisions equal link by link."""
    from sites import large_site

    from interop.documents.canonical import canonical_json
    from interop.documents.package import check_site, plan_document
    from interop.site.load import load_site

    load_and(load_site, large_site(64), plan_document)
    reading, working = [], []
    for size in SIZES:
        text = large_site(size)
        site, plan = None, {}
        reads, works = [], []
        for _ in range(5):
            gc.collect()    # each run starts from an empty heap, as a command does
            began = time.perf_counter()
            site = load_and(load_site, text, lambda read: read)
            reads.append(time.perf_counter() - began)
        for _ in range(3 if size < SIZES[-1] else 1):
            plan = {}
            gc.collect()
            began = time.perf_counter()
            check_site(site)
            plan, _, _ = plan_document(site)
            written = len(canonical_json(plan))
            works.append(time.perf_counter() - began)
        reading.append(min(reads)), working.append(min(works))
        print(f"growth: {size} packs: read {reading[-1]:.2f} s, check and plan {working[-1]:.2f} s")
        print(f"  plan.json {written / 1e6:.1f} MB")
    same = 0
    links = (SIZES[-1] + 15) // 16
    for i in range(links):
        alone = load_and(load_site, large_site(16, i), plan_document)[0]
        same += all(plan[part][name] == one for part in ("packs", "cables") for name, one in alone[part].items()) and (
            alone["links"] == plan["links"][i : i + 1]
        )
    return all(
        [
            bounded("exponent of reading", exponent(SIZES, reading), 1.15),
            bounded("exponent of check and plan", exponent(SIZES, working), 1.2),
            bounded(f"links of {links} whose decisions alone are those in the large site", same, links, least=True),
        ]
    )


def load_and(load: Callable[[Path], object], text: str, use: Callable[[object], object]):
    """Write a site file beside the benchmark records, read it and use it."""
    path = HERE / f".large-site-{os.getpid()}.yaml"
    path.write_text(text, encoding="utf-8")
    try:
        return use(load(path))
    finally:
        path.unlink()


def oracle() -> bool:
    """The whole choice against building and solving the same whole problem in CP-SAT, over the 200 sites of the
    tests.
    """
    try:
        from tests.choose.oracle_speed import measure
    except ImportError as missing:
        print(f"oracle: SKIPPED, {missing}")
        return True
    sites = measure()
    ours, theirs = sum(s.ours_s for s in sites), sum(s.theirs_s for s in sites)
    print(f"oracle: {len(sites)} sites of {min(s.packs for s in sites)} to {max(s.packs for s in sites)} packs")
    print(f"  ours {ours:.2f} s, CP-SAT {theirs:.2f} s")
    for s in sorted(sites, key=lambda s: -s.ours_s)[:3]:
        print(f"  our slowest: site {s.seed} of {s.packs} packs {s.ours_s:.2f} s, CP-SAT {s.theirs_s:.2f} s")
    wrong = [s for s in sites if s.wrong]
    for s in wrong:
        print(f"  site {s.seed}: {s.wrong}")
    return all(
        [
            bounded("sites without the same proved optimum", len(wrong), 0),
            bounded("times faster", theirs / ours, 20, least=True),
        ]
    )


def power() -> bool:
    """The power side: its own modules measure and bound it."""
    import circuit
    import course

    return all([circuit.solve_grows(), circuit.faults_grow(), circuit.one_out_grows(),
                circuit.one_out_against_ngspice(), course.week_of_drift(), course.worst_of_a_rack()])


PARTS = {"start": start, "check": check, "growth": growth, "oracle": oracle, "power": power}

if __name__ == "__main__":
    from interop.cli import for_one_command

    for_one_command()       # memory and threads as a command sets them
    wanted = sys.argv[1:] or list(PARTS)
    answers = [PARTS[name]() for name in wanted]
    sys.exit(0 if all(answers) else 1)
