"""Every example through the installed command, with the exit status written down beforehand; ten planted faults,
one by one.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from interop.rules.judge import check_site
from interop.site.load import load_site

ROOT = Path(__file__).parent.parent.parent
EXAMPLES = ROOT / "examples"


def _expected() -> list[tuple[str, str, int]]:
    lines = (EXAMPLES / "expected.txt").read_text(encoding="utf-8").splitlines()
    rows = [line.split() for line in lines if line and not line.startswith("#")]
    return [(command, site, int(status)) for command, site, status in rows]


@pytest.mark.parametrize(("command", "site", "status"), _expected(), ids=str)
def test_exit_status_is_the_one_written_down(command: str, site: str, status: int, tmp_path: Path) -> None:
    words = [sys.executable, "-m", "interop", command, f"examples/{site}/site.yaml"]
    if command == "plan":
        words += ["--out", str(tmp_path / "plan")]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr


def test_every_example_is_listed_and_says_what_it_shows() -> None:
    sites = sorted(path.parent.name for path in EXAMPLES.glob("*/site.yaml"))
    assert sorted({site for _, site, _ in _expected()}) == sites
    for site in sites:
        first = (EXAMPLES / site / "site.yaml").read_text(encoding="utf-8").splitlines()[0]
        assert first.startswith("# ")
        assert len(first) > 20


# number, rule, devices it must name, the text that plants it, the text that repairs it
TEN = [
    (1, "series-count-differs", {"F6", "R1"}, "F6:     {model: tarn-15,", "F6:     {model: tarn-a,"),
    (2, "wrong-unit", {"INV"}, "cable_lands_on: unit 2", "cable_lands_on: unit 1"),
    (3, "address-clash", {"R2", "R3"}, "R3: {ADD: 1000,", "R3: {ADD: 0100,"),
    (4, "address-reserved", {"R5"}, "R5: {ADD: 1111,", "R5: {ADD: 0010,"),
    (5, "join-difference", {"F6"}, "F6: {ADD: 1010, voltage_v: 50.2}", "F6: {ADD: 1010, voltage_v: 53.1}"),
    (6, "two-managers-to-one-controller", {"INV"}, "manager: N1, reports_to: INV}", "manager: N1}"),
    (7, "pair-reversed", {"F6"}, "made: {7: 8, 8: 7}", "made: {7: 7, 8: 8}"),
    (8, "empty-pin-joined", {"N2", "N3"}, "made: {1: 1, 7: 7, 8: 8}", "made: {7: 7, 8: 8}"),
    (
        9,
        "closed-ring",
        {"N1", "N2", "N3"},
        "X3:     {from: N3 LINK2, to: N1 LINK1,",
        "X3:     {from: N3 LINK2, to: R1 LINK1,",
    ),
    (10, "data-cable-on-unmanaged-pack", {"C1", "C2"}, "  X4:     {from: C1 STACK A, to: C2 STACK A,", "  #"),
]


def _named(text: str, folder: Path) -> list[tuple[str, frozenset[str]]]:
    path = folder / "site.yaml"
    path.write_text(text, encoding="utf-8")
    judged = check_site(load_site(path))
    return [(one.rule, frozenset(one.about)) for one in (*judged.found, *judged.planned) if one.verdict == "broken"]


@pytest.fixture
def ten_faults(tmp_path: Path) -> tuple[str, Path]:
    home = tmp_path / "examples" / "ten-faults"
    shutil.copytree(EXAMPLES / "ten-faults", home)
    shutil.copytree(ROOT / "catalogs", tmp_path / "catalogs")
    return (home / "site.yaml").read_text(encoding="utf-8"), home


def test_all_ten_faults_are_named(ten_faults: tuple[str, Path]) -> None:
    found = _named(*ten_faults)
    for number, rule, about, _, _ in TEN:
        assert any(name == rule and about <= devices for name, devices in found), (number, rule)


@pytest.mark.parametrize(("number", "rule", "about", "fault", "repair"), TEN, ids=[f"{one[0]} {one[1]}" for one in TEN])
def test_a_repaired_fault_is_gone_and_the_others_stay(
    ten_faults: tuple[str, Path], number: int, rule: str, about: set[str], fault: str, repair: str
) -> None:
    text, home = ten_faults
    assert text.count(fault) == 1
    found = _named(text.replace(fault, repair), home)
    assert not any(name == rule and about <= devices for name, devices in found)
    for other, rule_of, about_of, _, _ in TEN:
        if other != number and not (number == 1 and other == 5):
            assert any(name == rule_of and about_of <= devices for name, devices in found), (other, rule_of)
