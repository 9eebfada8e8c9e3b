"""The joined pins of a cable are told pin at one end with pin at the other, whichever end it is written from."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from interop.documents.package import plan_document
from interop.rules.judge import check_site
from interop.site.load import load_site

RECORDS = Path(__file__).parents[1] / "scenarios" / "records"
SITE = """interop: site/1
name: Far end
catalogs: [records]
packs: {P1..P2: {model: lk-pack, place: rack 1 slot 1..}}
controllers: {INV: {model: lk-low, cable_lands_on: unit 1}}
links: {rack: {packs: [P1..P2], manager: P1, reports_to: INV}}
cables:
  W1: {from: P1 LINK2, to: P2 LINK1, made: {1: 1, 7: 7, 8: 8}, length: 1 m}
  W2: {END, length: 1 m}
"""
FOUND = """found:
  links: {rack: {packs: [P1..P2], manager: P1, reports_to: INV}}
  cables: {W2: {END, length: 1 m}}
"""
RIGHT = ("from: P1 REPORT, to: INV BAT, made: {4: 1, 5: 2}", "from: INV BAT, to: P1 REPORT, made: {1: 4, 2: 5}")
WRONG = ("from: P1 REPORT, to: INV BAT, made: {1: 4, 2: 5}", "from: INV BAT, to: P1 REPORT, made: {4: 1, 5: 2}")


def written(folder: Path, ends: str, site: str = SITE) -> Any:
    """The controller has high on 1 and low on 2, where the pack has them on 4 and 5."""
    (folder / "records").mkdir(parents=True)
    shutil.copy(RECORDS / "lk-pack.yaml", folder / "records")
    record = (RECORDS / "lk-ctl.yaml").read_text(encoding="utf-8").replace("id: lk-ctl\n", "id: lk-low\n")
    pins = next(line for line in record.split("\n") if line.startswith("  BAT: {1: unused"))
    low = "  BAT: {1: battery high, 2: battery low, 3: unused, 4: unused, 5: unused, 6: unused, 7: unused, 8: unused}"
    off = "converter: {equalise_off: yes, compensation_off: yes}\nbuses:\n"
    record = record.replace(pins, low).replace("buses:\n", off, 1)
    (folder / "records" / "lk-low.yaml").write_text(record, encoding="utf-8")
    (folder / "site.yaml").write_text(site.replace("END", ends), encoding="utf-8")
    return load_site(folder / "site.yaml")


@pytest.mark.parametrize("ends, good", [(RIGHT, True), (WRONG, False)])
@pytest.mark.parametrize("side", [0, 1])
def test_a_map_written_from_either_end_is_the_same_cable(
    tmp_path: Path, ends: tuple[str, str], good: bool, side: int
) -> None:
    site = written(tmp_path / "a", ends[side])
    stops = {f.rule for f in check_site(site).planned if f.level.value == "stop" and f.subject != "power"}
    assert (stops == set()) is good
    plan = plan_document(site)[0]
    assert plan["cables"]["W2"]["joined"] == ([["4", "1"], ["5", "2"]] if good else [["1", "4"], ["2", "5"]])
    assert plan["cleared"]["settings"] is good


@pytest.mark.parametrize("side", [0, 1])
def test_an_installed_map_written_from_either_end_is_kept(tmp_path: Path, side: int) -> None:
    plan = plan_document(written(tmp_path / "a", RIGHT[side], SITE + FOUND))[0]
    assert plan["cables"]["W2"]["action"] == "keep"
