"""Which resistance decides an answer: one range moved alone, by hand for two packs on a common busbar."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.circuit.flips import flips
from interop.circuit.picture import Picture, pictures
from interop.site.load import load_site
from interop.wiring.stage import as_wanted

RECORDS = Path(__file__).parents[1] / "scenarios" / "records"
SITE = """\
interop: site/1
name: Net loft
catalogs: [records]
load: {{highest_w: {watts}}}
packs:
  A1..A2: {{model: stilt-100}}
controllers:
  INV: {{model: brant-5, units: 2}}
posts: {{bar: {{model: bar-250}}}}
runs:
  A1: {{from: pack, to: bar, cable: 35 mm2, length: 1 m, lug_uohm: {lug}}}
  A2: {{from: pack, to: bar, cable: 35 mm2, length: 1 m, lug_uohm: 20..60}}
  INV: {{from: controller unit 1..2, to: bar, cable: 70 mm2, length: 2 m, lug_uohm: 20..60}}
"""


def picture(folder: Path, watts: int, lug: str) -> Picture:
    (folder / "records").symlink_to(RECORDS, target_is_directory=True)
    (folder / "site.yaml").write_text(SITE.format(watts=watts, lug=lug), encoding="utf-8")
    (one,) = pictures(as_wanted(load_site(folder / "site.yaml")))
    return one


def test_a_bad_lug_shifts_the_load_to_the_other_pack(tmp_path: Path) -> None:
    """Four lugs of up to 3 milliohm on the run of A1: then A2 has the lower resistance and takes over 100 A."""
    found = [one for one in flips(picture(tmp_path, 8200, "20..3000")) if one.way == "discharge"]
    leads = [one for one in found if one.what == "leads"]
    assert [(one.pack, one.limit_a) for one in leads] == [("A2", 100.0)]
    (one,) = leads
    assert one.low_a < 100 < one.high_a
    # by hand: pack 16, both leads about 1.1, lugs 4 x 0.04 or 4 x 3 milliohm; total about 187 A
    total = (8200 / 0.93 + 80) / 47.6
    assert one.high_a == pytest.approx(total * 29.2 / (29.2 + 17.3), rel=0.04)


def test_its_own_resistance_decides(tmp_path: Path) -> None:
    """14 to 18 milliohm in one pack alone moves it by a sixteenth of its current or so."""
    found = [one for one in flips(picture(tmp_path, 8600, "20..60")) if one.what in ("A1", "A2")]
    assert {(one.what, one.pack) for one in found} >= {("A1", "A1"), ("A2", "A2")}
    for one in found:
        if one.what == one.pack:
            assert one.low_a > one.limit_a > one.high_a
            assert one.range_mohm == pytest.approx((14.0, 18.0))
            assert one.low_a / one.high_a == pytest.approx(1.13, abs=0.03)


def test_nothing_decides_far_from_the_limit(tmp_path: Path) -> None:
    assert flips(picture(tmp_path, 2000, "20..60")) == ()
