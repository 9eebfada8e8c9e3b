"""The whole choice, ours against building and solving the same whole problem in CP-SAT, for ``benchmarks/run.py``."""

from __future__ import annotations

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from interop.site.load import load_site
from tests.choose import oracle_model
from tests.choose.oracle_cpsat import Unproved, prove
from tests.choose.random_sites import write_case
from tests.choose.test_choice_exact import SITES, large, ours

__all__ = ["Timed", "measure"]


@dataclass(frozen=True)
class Timed:
    """One site: packs, our time and the solver's with building its model [s], what is wrong (empty: nothing)."""

    seed: int
    packs: int
    ours_s: float
    theirs_s: float
    wrong: str


def measure() -> list[Timed]:
    """Return every site of the tests. Reading its files counts for neither.

    The solver is given no hint of our answer; the optima are compared level by level.
    """
    ours(load_site(Path(__file__).parent.parent.parent / "examples" / "ferry-landing" / "site.yaml"))  # imports
    return [_one(seed) for seed in range(SITES)]


def _one(seed: int) -> Timed:
    with tempfile.TemporaryDirectory() as name:
        site = load_site(write_case(large(seed), Path(name)))
        plant = oracle_model.read_plant(Path(name))
    began = time.perf_counter()
    choice = ours(site)
    middle = time.perf_counter()
    wrong = ""
    try:
        proof = prove(plant)
    except Unproved as gave_up:
        wrong = str(gave_up)
    else:
        vectors = (
            None if choice is None else tuple(v for _, v in choice[0]),
            None if proof is None else proof.vector,
        )
        if vectors[0] != vectors[1]:
            wrong = f"ours {vectors[0]} against {vectors[1]} in {oracle_model.level_names(plant)}"
    return Timed(seed, len(plant.packs), middle - began, time.perf_counter() - middle, wrong)
