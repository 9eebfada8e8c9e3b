"""The whole choice (members, manager, mode, rate, addresses) against full enumeration and against CP-SAT, on
random sites.

Both oracles read the YAML themselves and import nothing of ``interop``. The second part shows that the random
sites are worth
it: in how many of them each ingredient decides.
"""

from __future__ import annotations

import importlib.util
import multiprocessing
import os
import random
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interop.choose.members import components
from interop.choose.search import best
from interop.records.faults import InputFaults
from interop.site.load import load_site
from interop.site.site import Site
from tests.choose import oracle_enumeration as enumeration
from tests.choose import oracle_model as om
from tests.choose.oracle_enumeration import OFF, Decision
from tests.choose.random_sites import INGREDIENTS, Case, one_talk, random_case, without, write_case

SITES = 200
LEAST = 10
"""In fewer sites than this an ingredient may not decide."""
DECIDING = (
    "flag and count on the manager",
    "dialect code",
    "table with equal rows",
    "numbered by port order",
    "modes",
    "members at most",
    "gaps forbidden",
    "kept values",
    "pairs that exclude each other",
    "who must be manager",
    "competing links",
    "must keep addresses",
    "switches nobody looked at",
)
"""The mechanisms and conditions that the random sites must really vary; finer ones are in ``INGREDIENTS``."""

Choice = tuple[tuple[tuple[str, int], ...], dict[str, Decision]]
"""Levels with their names (wishes by their text), and the decisions."""


def ours(site: Site) -> Choice | None:
    """Our choice; None where a component cannot keep every condition. Vectors are summed over components,
    level by level."""
    wishes = [w for w in site.wishes if not w.must]
    early = [w for w in wishes if w.what in ("unmanaged", "managed")]
    late = [w for w in wishes if w.what not in ("unmanaged", "managed")]
    after = ["changed", "moved", "newest", "order"]
    total: dict[object, int] = dict.fromkeys(["off", *map(id, early), "energy", "twins", *map(id, late), *after], 0)
    decisions = {d.id: OFF for d in site.packs}
    for component in components(site):
        solution = best(component, assignments=10**9)  # beyond its limit nothing is proved
        if solution is None:
            return None
        names = ["off", *map(id, component.early), "energy", "twins", *map(id, component.late), *after]
        for name, value in zip(names, solution.vector, strict=True):
            total[name] += value
        for device, placed in zip(component.packs, solution.placed, strict=True):
            if placed.link is not None:
                link = component.links[placed.link].id
                decisions[device.id] = Decision(link, placed.role, placed.mode, placed.address)
    texts = {id(w): w.text for w in wishes}
    return tuple((str(texts.get(k, k) if isinstance(k, int) else k), v) for k, v in total.items()), decisions


def plainly(decisions: dict[str, Decision]) -> dict[str, tuple[str | None, str, int | None]]:
    """Without the mode, which no tie rule decides."""
    return {name: (d.link, d.role, d.address) for name, d in decisions.items()}


def small(seed: int) -> Case:
    return random_case(random.Random(seed), 2, 5)


def large(seed: int) -> Case:
    """Most sites of 4 to 6 packs of two records; every tenth of 10 to 25 packs and four of 60, of one record
    and one talk, without preferences (with them the solver does not finish)."""
    rng = random.Random(30_000 + seed)
    if seed % 50 == 7:
        return _plain(random_case(random.Random(40_000 + seed), 60, 60, models=1, links=1))
    return _plain(random_case(rng, 10, 25, models=1)) if seed % 10 == 3 else random_case(rng, 4, 6, models=2)


def _plain(case: Case) -> Case:
    for ingredient in ("other preferences", "prefer keep addresses"):
        case = without(case, ingredient) or case
    return one_talk(case)


def compare_small(seed: int) -> str:
    """Enumeration: the vector, the decisions after the tie rule, and our own mode worth as much. Empty text: equal."""
    with tempfile.TemporaryDirectory() as name:
        return against_enumeration(small(seed), Path(name))


def against_enumeration(case: Case, folder: Path) -> str:
    path = write_case(case, folder)
    mine, plant = ours(load_site(path)), om.read_plant(folder)
    theirs = enumeration.best_of(plant)
    if mine is None or theirs is None:
        return "" if mine is None and theirs is None else f"possible for one only: {mine} {theirs}"
    vector = tuple(v for _, v in mine[0])
    if vector != theirs.vector:
        return f"vector {vector} against {theirs.vector} in {om.level_names(plant)}"
    if plainly(mine[1]) != plainly(dict(theirs.decisions)):
        return f"decisions {mine[1]} against {theirs.decisions}"
    if enumeration.vector_of(plant, mine[1]) != vector:
        return f"decisions {mine[1]} are not worth {vector}"
    return ""


UNPROVED = "the solver did not finish"
UNPROVED_AT_MOST = 10
"""Of the 24 large sites; the solver's time decides, so this leaves room for a slow machine."""


def compare_large(seed: int) -> str:
    """CP-SAT: the vector, and that our decisions are among the best. A small site must be proved; of a large one the
    solver's giving up is told apart, for it says nothing about us.
    """
    from tests.choose.oracle_cpsat import prove

    try:
        return _against_cp_sat(seed, prove)
    except AssertionError as gave_up:
        if "not proved within" in str(gave_up) and seed % 10 in (3, 7):
            return UNPROVED
        raise


def _against_cp_sat(seed: int, prove: Callable[[om.Plant, dict[str, Decision] | None], Any]) -> str:
    with tempfile.TemporaryDirectory() as name:
        path = write_case(large(seed), Path(name))
        mine, plant = ours(load_site(path)), om.read_plant(Path(name))
        proof = prove(plant, mine[1] if mine is not None else None)
    if mine is None or proof is None:
        return "" if mine is None and proof is None else f"possible for one only: {mine} {proof}"
    vector = tuple(v for _, v in mine[0])
    if vector != proof.vector:
        return f"vector {vector} against {proof.vector} in {om.level_names(plant)}"
    return "" if proof.reached else f"decisions {mine[1]} are not among the best"


def decided_by(seed: int) -> list[str]:
    """The ingredients of a small site whose removal changes the optimum: its decisions, or its vector in the
    same levels."""
    found = []
    case = small(seed)
    with tempfile.TemporaryDirectory() as name:
        before = ours(load_site(write_case(case, Path(name))))
    for ingredient in DECIDING:
        bare = without(case, ingredient)
        if bare is not None and _differs(before, bare):
            found.append(ingredient)
    return found


def _differs(before: Choice | None, bare: Case) -> bool:
    with tempfile.TemporaryDirectory() as name:
        try:
            after = ours(load_site(write_case(bare, Path(name))))
        except InputFaults:
            return False
    if before is None or after is None:
        return before is not after
    same_levels = [k for k, _ in before[0]] == [k for k, _ in after[0]]
    return plainly(before[1]) != plainly(after[1]) or (same_levels and before[0] != after[0])


@pytest.fixture(scope="module")
def workers() -> Iterator[ProcessPoolExecutor]:
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield pool


def wrong(found: dict[int, str]) -> list[str]:
    return [f"site {seed}: {text}" for seed, text in found.items() if text]


def test_equal_to_full_enumeration(workers: ProcessPoolExecutor) -> None:
    found = dict(enumerate(workers.map(compare_small, range(SITES), chunksize=5)))
    assert wrong(found) == []


def test_every_ingredient_decides(workers: ProcessPoolExecutor, capsys: pytest.CaptureFixture[str]) -> None:
    assert set(DECIDING) <= set(INGREDIENTS)
    counts = dict.fromkeys(DECIDING, 0)
    for decided in workers.map(decided_by, range(SITES), chunksize=5):
        for name in decided:
            counts[name] += 1
    with capsys.disabled():
        print(f"\nin how many of {SITES} small sites the optimum changes without:")  # noqa: T201
        for name, count in sorted(counts.items(), key=lambda c: c[1]):
            print(f"  {count:4d}  {name}")  # noqa: T201
    assert {k: v for k, v in counts.items() if v < LEAST} == {}


def test_equal_to_cp_sat(capsys: pytest.CaptureFixture[str]) -> None:
    if importlib.util.find_spec("ortools") is None:
        if os.environ.get("INTEROP_ORACLES") == "required":
            pytest.fail("ortools is required (INTEROP_ORACLES=required) and not installed")
        pytest.skip("ortools is not installed: the choice is not proved by CP-SAT in this run")
    found = {seed: compare_large(seed) for seed in range(SITES)}
    unproved = [seed for seed, text in found.items() if text == UNPROVED]
    with capsys.disabled():
        print(f"\nCP-SAT: {SITES - len(unproved)} of {SITES} sites proved; given up on the large sites {unproved}")  # noqa: T201
    assert wrong({seed: text for seed, text in found.items() if text not in ("", UNPROVED)}) == []
    assert len(unproved) <= UNPROVED_AT_MOST


@settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(seed=st.integers(1000, 10**9))
def test_equal_to_full_enumeration_anywhere(seed: int, tmp_path_factory: pytest.TempPathFactory) -> None:
    case = random_case(random.Random(seed), 2, 4)
    assert against_enumeration(case, tmp_path_factory.mktemp("site")) == ""


def test_off_is_nobody() -> None:
    assert Decision(None, "unmanaged", None, None) == OFF
