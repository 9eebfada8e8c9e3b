"""Same input, same bytes; and what a run leaves of an earlier plan's folder."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from tests.cli.sites import ROOT, run, tree

EXAMPLE = ROOT / "examples" / "ferry-landing"


def moved(folder: Path) -> Path:
    """The example with its catalogs, in a place of its own."""
    shutil.copytree(ROOT / "catalogs", folder / "catalogs")
    shutil.copytree(EXAMPLE, folder / "examples" / "ferry-landing")
    return folder / "examples" / "ferry-landing"


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes | None]:
    """The plan of the example as it stands, written from its own folder."""
    out = tmp_path_factory.mktemp("first") / "plan"
    done = run(EXAMPLE, "plan", "site.yaml", "--out", str(out), env={"PYTHONHASHSEED": "1"})
    assert done.returncode == 4, done.stderr
    return tree(out)


def test_the_plan_holds_every_document(first: dict[str, bytes | None]) -> None:
    assert {"cable-notes.pdf", "data-links.svg", "plan.json", "setting-sheets.pdf"} <= first.keys()
    assert "refusal.pdf" not in first
    assert all(data is None or len(data) > 500 for data in first.values())


def test_the_same_bytes_on_another_machine(first: dict[str, bytes | None], tmp_path: Path) -> None:
    """Another place, working folder, home, locale, time zone, hash seed, and not one font of the system."""
    home, fonts = tmp_path / "home", tmp_path / "fonts.conf"
    home.mkdir()
    fonts.write_text('<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig/>', encoding="utf-8")
    here = moved(tmp_path / "other place")
    env = {
        "HOME": str(home), "XDG_CACHE_HOME": str(home), "XDG_DATA_DIRS": str(home), "XDG_DATA_HOME": str(home),
        "FONTCONFIG_FILE": str(fonts), "FONTCONFIG_PATH": str(home), "LANG": "tr_TR.UTF-8", "LC_ALL": "C",
        "TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "4242", "COLUMNS": "40", "SOURCE_DATE_EPOCH": "1",
    }  # fmt: skip
    site = os.path.relpath(here / "site.yaml", home)
    done = run(home, "plan", site, "--out", "plan", env=env)
    assert done.returncode == 4, done.stderr
    assert tree(home / "plan") == first


def test_a_second_run_writes_the_same_over_the_first(first: dict[str, bytes | None], tmp_path: Path) -> None:
    here = moved(tmp_path)
    outputs = [run(here, "plan", "site.yaml", "--out", "plan", env={"PYTHONHASHSEED": seed}) for seed in ("7", "8")]
    assert outputs[0].stdout == outputs[1].stdout
    assert tree(here / "plan") == first
    checks = {run(here, "check", "site.yaml", "--json", env={"PYTHONHASHSEED": seed}).stdout for seed in ("7", "8")}
    assert len(checks) == 1


def test_the_date_is_printed_only_when_given(first: dict[str, bytes | None], tmp_path: Path) -> None:
    here = moved(tmp_path)
    assert run(here, "plan", "site.yaml", "--out", "plan", "--date", "2031-05-02").returncode == 4
    dated = json.loads((here / "plan" / "plan.json").read_bytes())
    blank = json.loads(first["plan.json"] or b"")
    assert (dated["date"], blank["date"]) == ("2031-05-02", None)
    assert dated["fingerprint"] == blank["fingerprint"]


def test_a_refusal_leaves_no_sheet_and_a_bad_file_leaves_everything(tmp_path: Path) -> None:
    here = moved(tmp_path)
    site = here / "site.yaml"
    good = site.read_text(encoding="utf-8")
    assert run(here, "plan", "site.yaml", "--out", "plan").returncode == 4
    before = tree(here / "plan")

    site.write_text(good.replace("R2: {ADD: 1000", "R2: {ADD: 10000"), encoding="utf-8")  # unusable
    assert run(here, "plan", "site.yaml", "--out", "plan").returncode == 2
    assert tree(here / "plan") == before
    assert sorted(path.name for path in here.iterdir() if path.name.startswith(".")) == []

    site.write_text(good.partition("accepted:")[0], encoding="utf-8")  # a caution that must be accepted is left
    done = run(here, "plan", "site.yaml", "--out", "plan")
    assert (done.returncode, done.stderr) == (1, "")
    left = tree(here / "plan")
    assert sorted(left) == ["plan.json", "refusal.pdf"]
    plan = json.loads(left["plan.json"] or b"")
    assert plan["cleared"] == {"settings": False, "joining": False}
    assert {one["rule"] for one in plan["findings"] if one["accepted"] is None} >= {"mixing-silent"}

    assert run(here, "plan", "site.yaml", "--out", "plan").returncode == 1  # the same refusal again
    assert tree(here / "plan") == left
    site.write_text(good, encoding="utf-8")
    assert run(here, "plan", "site.yaml", "--out", "plan").returncode == 4
    assert tree(here / "plan") == before
