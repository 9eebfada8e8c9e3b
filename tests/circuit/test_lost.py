"""The load that any one pack may leave: surely kept wherever the resistances lie, and not far below what may pass."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from interop.choose.plan import decide, planned_stage
from interop.circuit.lost import losses_of
from interop.circuit.network import State
from interop.circuit.picture import LOW_STATE, Picture, pictures
from interop.circuit.solve import Solver
from interop.documents.canonical import canonical_json
from interop.documents.package import plan_document
from interop.site.load import load_site

ROOT = Path(__file__).parents[2]
SITES = ("examples/ferry-landing/site.yaml", "examples/tide-gauge/site.yaml",
         "tests/scenarios/one-out-overloads-the-rest.breaks.yaml")


@cache
def of(site: str) -> Picture:
    (picture,) = pictures(planned_stage(decide(load_site(ROOT / site))))
    return picture


def worst_part(picture: Picture, watts: float) -> float:
    """The largest part of a pack's limit with any one pack out, each case solved whole: with one pack and its run low
    and all others high, and at random corners.
    """
    assert picture.load_w is not None
    network, box, rng = picture.network_at(LOW_STATE), picture.box, np.random.default_rng(7)
    packs = np.arange(len(network.packs))
    draws = picture.draws([w / sum(picture.load_w) * watts for w in picture.load_w])
    corners = [(packs == k, np.array([b.owner == network.packs[k] for b in picture.bank.branches])) for k in packs]
    corners += [(rng.random(len(packs)) < 0.5, rng.random(len(network.branches)) < 0.5) for _ in range(6)]
    worst = 0.0
    for pack_low, branch_low in corners:
        at = network.with_ohm(np.where(branch_low, box.branch_low_ohm, box.branch_high_ohm),
                              np.where(pack_low, box.pack_low_ohm, box.pack_high_ohm))
        for out in packs:
            solution = Solver(at, [State.OPEN if i == out else State.ON for i in packs]).solve(draws)
            assert solution.outcome.holds
            worst = max(worst, float(np.nanmax(solution.pack_a / picture.limits.discharge_a)))
    return worst


@pytest.mark.parametrize("site", SITES)
def test_the_sure_load_keeps_every_limit_and_is_close(site: str) -> None:
    picture = of(site)
    losses = losses_of(picture)
    assert losses is not None
    assert losses.sure_w is not None
    assert losses.sure_w <= losses.safe_w
    assert 0.75 < worst_part(picture, losses.sure_w) <= 1.0


def test_the_load_at_the_usual_resistances_is_no_sure_one() -> None:
    """Why two numbers are told: at the load that the usual resistances allow, some in tolerance do not."""
    picture = of(SITES[0])
    losses = losses_of(picture)
    assert losses is not None
    assert worst_part(picture, losses.safe_w) > 1.1


def test_a_bank_whose_voltage_collapses_has_no_figures(tmp_path: Path) -> None:
    """A lead of a kilometre: no current is told where none settles, in words or in numbers, and the plan is written."""
    text = (ROOT / SITES[2]).read_text(encoding="utf-8").replace("length: 2 m", "length: 1000 m")
    (tmp_path / "site.yaml").write_text(text.replace("[records]", f"[{ROOT}/tests/scenarios/records]"),
                                        encoding="utf-8")
    plan = plan_document(load_site(tmp_path / "site.yaml"))[0]
    told = canonical_json(plan).decode()
    assert not re.search(r"\bnan\b|\binf\b", told, re.IGNORECASE)
    (found,) = [one for one in plan["findings"] if one["rule"] == "one-out-overloads-the-rest"]
    assert found["text"].startswith("If A1 is out at the highest load, the load cannot be carried. Then ")
    assert found["got"] is None
    assert {case["nearest"] for case in plan["power"]["banks"][0]["one_out"]["cases"]} == {None}
