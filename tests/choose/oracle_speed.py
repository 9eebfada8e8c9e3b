"""The whole choice, ours against building and solving the same whole problem in CP-SAT, for ``benchmarks/run.py``."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from interop.site.load import load_site
from tests.choose import oracle_model
from tests.choose.oracle_cpsat import prove
from tests.choose.random_sites import write_case
from tests.choose.test_choice_exact import SITES, large, ours

__all__ = ["measure"]


def measure() -> tuple[float, float, int]:
    """Return our time [s], the solver's time with building its model [s], and the number of sites.

    The solver is given our decisions as a hint, which favours it.
    """
    mine = theirs = 0.0
    ours(load_site(Path(__file__).parent.parent.parent / "examples" / "ferry-landing" / "site.yaml"))
    for seed in range(SITES):
        with tempfile.TemporaryDirectory() as name:
            site = load_site(write_case(large(seed), Path(name)))
            plant = oracle_model.read_plant(Path(name))
        began = time.perf_counter()
        choice = ours(site)
        middle = time.perf_counter()
        prove(plant, choice[1] if choice is not None else None)
        mine += middle - began
        theirs += time.perf_counter() - middle
    return mine, theirs, SITES
