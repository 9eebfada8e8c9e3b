"""From a site to a network: what becomes of runs, posts, devices and lugs, and how a rack then shares."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from interop.circuit.bank import bank_network, undrawn
from interop.circuit.picture import Picture
from interop.site.load import load_site
from interop.wiring.stage import as_wanted
from tests.circuit.drawn import RECORDS, picture

# IEC 60228 class 5, plain: 35 mm2 has 0.554 ohm/km at 20 C, 70 mm2 0.272; 0.00393/K about 20 C (IEC 60028)
AT_40 = 1 + 0.00393 * 20
HEAD = "packs:\n  A1..A{n}: {{model: stilt-100}}\ncontrollers:\n  INV: {{model: brant-5}}\n"
RACK = HEAD + """\
posts: {{rack: {{posts: [1..{last}], model: bar-250}}, main: [1..3]}}
runs:
  A1..A{n}: {{from: pack, to: rack 1..{n}, cable: 35 mm2, length: 0.5 m, lug_uohm: 20..60}}
  feed: {{from: rack {last}, to: main 1, cable: 70 mm2, length: 1 m, lug_uohm: 20..60{feed}}}
  INV: {{from: controller unit 1, to: main 2, cable: 70 mm2, length: 2 m, lug_uohm: 20..60}}
"""


def rack(folder: Path, n: int, feed: str = "") -> Picture:
    return picture(folder, RACK.format(n=n, last=n + 1, feed=feed))


def test_a_run_is_cable_and_lugs_in_series(tmp_path: Path) -> None:
    bank = rack(tmp_path, 2).bank
    branches = {b.name: b for b in bank.branches}
    run = branches["plus A1 cable 1"]
    assert (run.a, run.b, run.what) == ("plus A1", "plus busbar rack 1", "cable")
    assert run.ohms.nominal == pytest.approx(0.554e-3 * 0.5 * AT_40 + 2 * 40e-6)
    # lowest: copper of that area at 20 C (IEC 60028) and good lugs
    assert run.ohms.low == pytest.approx(1.7241e-8 / 35e-6 * 0.5 + 2 * 20e-6)
    assert run.ohms.assumed is None
    assert branches["minus busbar rack 1-2"].ohms.nominal == pytest.approx(15e-6)
    assert [p.nominal for p in bank.pack_ohms] == pytest.approx([16e-3] * 2)
    assert [p.nominal for p in bank.ohmic] == pytest.approx([8e-3] * 2)


def test_conductors_side_by_side_share_and_lugs_too(tmp_path: Path) -> None:
    one = rack(tmp_path, 1).bank.branches[0].ohms.nominal
    text = RACK.format(n=1, last=2, feed="").replace("to: rack 1..1,", "to: rack 1..1, parallel: 2,")
    assert picture(tmp_path, text).bank.branches[0].ohms.nominal == pytest.approx(one / 2)


def test_devices_stand_where_the_site_says(tmp_path: Path) -> None:
    text = RACK.format(n=1, last=2, feed="").replace(
        "to: main 2, cable: 70 mm2, length: 2 m", "to: main 2, cable: 70 mm2, length: 2 m, plus: "
        "{device: fuse-400, distance_from_source: 0.5 m}").replace("catalogs: [records]", "")
    (tmp_path / "records").symlink_to(RECORDS, target_is_directory=True)
    (tmp_path / "site.yaml").write_text(
        f"interop: site/1\nname: t\ncatalogs: [records, {Path(__file__).parents[2] / 'catalogs'}]\n{text}", "utf-8")
    stage = as_wanted(load_site(tmp_path / "site.yaml"))
    bank = bank_network(stage, stage.banks[0])
    mine = [b for b in bank.branches if b.owner == "INV unit 1" and b.pole == "plus"]
    assert [b.what for b in mine] == ["cable", "device", "cable"]
    per_m = 0.272e-3 * AT_40
    # the source of an inverter's run is the busbar, at its far end
    assert [b.ohms.nominal for b in (mine[0], mine[2])] == pytest.approx(
        [1.5 * per_m + 80e-6, 0.5 * per_m + 80e-6])
    assert (mine[0].a, mine[-1].b) == ("plus INV unit 1", "plus busbar main 2")
    assert [spot.name for spot in bank.devices] == ["fuse-400 in the plus of INV unit 1"]
    assert "resistance of fuse-400 not stated" in (mine[1].ohms.assumed or "")


def test_a_rack_fed_at_one_end_shares_unevenly_and_the_diagonal_feed_mends_it(tmp_path: Path) -> None:
    """Common practice: the pack at the fed end takes most; fed diagonally, the ends take alike and the middle least."""
    thin = RACK.replace("35 mm2, length: 0.5 m", "35 mm2, length: 0.1 m")
    (tmp_path / "records").mkdir()
    for path in RECORDS.iterdir():
        text = path.read_text(encoding="utf-8")
        (tmp_path / "records" / path.name).write_text(
            text.replace("step_mohm: 0.01..0.02", "step_mohm: 0.2..0.3"), encoding="utf-8")
    one_end = picture(tmp_path, thin.format(n=8, last=9, feed="")).sharing_out
    diagonal = picture(tmp_path, thin.format(n=8, last=9, feed=", minus: {from: rack 1}")).sharing_out
    assert one_end is not None
    assert diagonal is not None
    shares = one_end.pack_share
    assert np.all(np.diff(shares) > 0), "the nearer to the feed, the more"
    mended = diagonal.pack_share
    assert mended == pytest.approx(mended[::-1], rel=1e-6), "both ends alike"
    assert mended.max() / mended.min() < 1.2
    assert shares.max() / shares.min() > 1.5
    assert shares.sum() == pytest.approx(1)
    assert mended.sum() == pytest.approx(1)


def test_what_is_missing_is_named(tmp_path: Path) -> None:
    text = RACK.format(n=2, last=3, feed="").replace("cable: 35 mm2, ", "").replace("to: main 2,", "to: main,")
    (tmp_path / "records").symlink_to(RECORDS, target_is_directory=True)
    (tmp_path / "site.yaml").write_text(f"interop: site/1\nname: t\ncatalogs: [records]\n{text}", "utf-8")
    stage = as_wanted(load_site(tmp_path / "site.yaml"))
    assert undrawn(stage, stage.banks[0]) == (
        ("A1", "cable of the plus is not said"), ("A1", "cable of the minus is not said"),
        ("A2", "cable of the plus is not said"), ("A2", "cable of the minus is not said"),
        ("INV unit 1", "post on busbar main of the plus is not said"),
        ("INV unit 1", "post on busbar main of the minus is not said"))
    with pytest.raises(ValueError, match="conductor or length is not stated"):
        bank_network(stage, stage.banks[0])
