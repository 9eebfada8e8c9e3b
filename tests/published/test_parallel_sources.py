"""Parallel sources from published worked examples (Millman's theorem), and figures worked out by hand."""

from __future__ import annotations

import pytest

from interop.circuit.draws import Draw
from interop.circuit.network import Network
from interop.circuit.solve import Kind, solve


def parallel(sources: list[tuple[float, float]], load_ohm: float | None) -> Network:
    """Sources (V, ohm) on one pair of nodes, with a resistor across or nothing."""
    packs = [(f"source {i}", "plus", "minus", volts, ohm) for i, (volts, ohm) in enumerate(sources)]
    load = [] if load_ohm is None else [("load", "plus", "minus", load_ohm)]
    return Network.of(["minus", "plus"], load, packs, [])


def test_lessons_in_electric_circuits_two_sources_and_a_load() -> None:
    # Lessons in Electric Circuits, vol. I DC, network theorems: 28 V behind 4 ohm, 7 V behind 1 ohm, 2 ohm between.
    solution = solve(parallel([(28, 4), (7, 1)], 2), [])
    assert solution.outcome.kind == Kind.FINE
    assert solution.node_v[1] == pytest.approx(8, abs=1e-12)
    assert solution.pack_a == pytest.approx([5, -1], abs=1e-12)
    assert solution.branch_a == pytest.approx([4], abs=1e-12)


def test_textbook_two_batteries_on_one_load() -> None:
    # Textbook problem: 100 V behind 5 ohm, 95 V behind 3 ohm, 80 ohm; printed to four digits.
    solution = solve(parallel([(100, 5), (95, 3)], 80), [])
    assert solution.node_v[1] == pytest.approx(94.66, abs=5e-3)
    assert solution.pack_a == pytest.approx([1.069, 0.115], abs=5e-4)


def test_two_packs_joined_without_load() -> None:
    # By hand: 1.2 V over 50 mohm is 24 A; 53.2 V less 24 A x 20 mohm is 52.72 V.
    draws: list[Draw] = []
    solution = solve(parallel([(53.2, 0.020), (52.0, 0.030)], None), draws)
    assert solution.pack_a == pytest.approx([24.0, -24.0], abs=1e-9)
    assert solution.node_v[1] == pytest.approx(52.72, abs=1e-9)
