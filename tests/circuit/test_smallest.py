"""The smallest fault: the way of least resistance against the whole network solved with one pack alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from interop.choose.plan import decide, planned_stage
from interop.circuit.bank import run_name
from interop.circuit.faulted import bank_faults, highest_v
from interop.circuit.faults import short
from interop.circuit.picture import LOW_STATE, Picture, pictures
from interop.circuit.smallest import opens_after_s, smallest_faults
from interop.records.leaves import TimedCurrent
from interop.site.load import load_site

ROOT = Path(__file__).parents[2]


def of(site: str) -> Picture:
    (picture,) = pictures(planned_stage(decide(load_site(ROOT / site))))
    return picture


def test_a_curve_says_the_longest_time() -> None:
    """A device opens no later than at the largest listed current below; under the least of them, perhaps never."""
    curve = (TimedCurrent(500, 100), TimedCurrent(1250, 1), TimedCurrent(2500, 0.05))
    assert [opens_after_s(curve, amps) for amps in (499, 500, 1249, 1250, 9000)] == [np.inf, 100, 100, 1, 0.05]


@pytest.mark.parametrize("site", [
    "examples/ferry-landing/site.yaml", "examples/tide-gauge/site.yaml",
    "tests/scenarios/smallest-fault-not-cleared.breaks.yaml",
])  # fmt: skip
def test_one_pack_alone_solved_whole(site: str) -> None:
    """No pack alone gives less at the far end of the run, and the named one gives just that: nothing else is closed."""
    picture = of(site)
    bank = picture.bank
    network = bank.network.with_emf(picture.emf_v(LOW_STATE))
    network = network.with_ohm([b.ohms.high for b in bank.branches], [o.high for o in bank.ohmic])
    found = smallest_faults(picture)
    assert found
    for one in found:
        rows = {pole: bank.of_run[run_name(one.spot.run), pole] for pole in ("plus", "minus")}
        at = bank.at[one.spot.branch]
        least = {}
        for k, name in enumerate(network.packs):
            alone = np.arange(len(network.packs)) == k
            sides = [short(network, getattr(bank.branches[rows["plus"][end]], side),
                           getattr(bank.branches[rows["minus"][end]], side), closed=alone)
                     for end, side in ((0, "a"), (-1, "b"))]
            through = [abs(float(s.branch_a[at])) for s in sides]
            if max(through) > 1:        # the end that the device stands before
                least[name] = min(amps for amps in through if amps > 1)
        assert min(least.values()) == pytest.approx(one.amps, rel=1e-6)
        assert least[one.fed_by] == pytest.approx(one.amps, rel=1e-6)


def test_the_thin_run_by_hand() -> None:
    """6 m of 16 mm2 to the inverter: k2 S2 over the square of the current is 1.8 s, and the breaker takes 300 s."""
    (one,) = smallest_faults(of("tests/scenarios/smallest-fault-not-cleared.breaks.yaml"))
    assert one.withstands_a2s == pytest.approx((143 * 16) ** 2)
    assert one.seconds == 300
    assert one.amps == pytest.approx(1690, abs=5)
    assert (143 * 16) ** 2 / one.amps**2 == pytest.approx(1.83, abs=0.01)


def test_a_pack_drives_its_own_fault_through_its_built_in_device() -> None:
    """Of two packs the other drives less through its leads than the pack itself without any: 58.4 V / 7 mohm."""
    picture = of("tests/scenarios/pack-passes-its-limit--tolerance.breaks.yaml")
    built_in = [fault for fault in bank_faults(picture) if fault.pack]
    assert [fault.amps for fault in built_in] == pytest.approx(
        [(highest_v(d) or 0.0) / o.low for d, o in zip(picture.bank.packs, picture.bank.ohmic, strict=True)])
    assert len(built_in) == 2
