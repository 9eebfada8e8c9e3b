"""The public functions of the package, each used once on the demo site as the package's own text shows them."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import interop
from tests.cli.sites import run, tree

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "examples" / "ferry-landing" / "site.yaml"


def test_these_names_and_no_others() -> None:
    """A name that is added must be used below."""
    assert sorted(interop.__all__) == [
        "InputFaults", "__version__", "check_site", "load_site", "plan_document", "plan_site"]  # fmt: skip
    assert all(hasattr(interop, name) for name in interop.__all__)
    with pytest.raises(AttributeError, match="module 'interop' has no attribute 'plan_sit'"):
        _ = interop.plan_sit


def test_the_version_is_the_one_that_the_command_prints() -> None:
    printed = run(ROOT, "--version").stdout
    assert interop.__version__ in printed.split()


@pytest.mark.parametrize("path", [DEMO, str(DEMO)], ids=["a path", "a text"])
def test_load_site(path: Path | str) -> None:
    site = interop.load_site(path)
    assert site.name == "Ferry landing workshop"
    assert [one.id for one in site.packs] == [*(f"R{i}" for i in range(1, 10)), "N1", "N2", "C1", "C2"]
    assert [(link.id, link.manager, link.reports_to) for link in site.links] == [("rack", "propose", ("INV",))]
    assert [name for name, _ in site.inputs][:1] == ["site.yaml"]


def test_input_faults_are_raised_once_with_all_of_them(tmp_path: Path) -> None:
    text = DEMO.read_text(encoding="utf-8").replace("../../catalogs", str(ROOT / "catalogs"))
    spoilt = text.replace("R2: {ADD: 1000,", "R2: {ADD: 10000,").replace("model: crag-300", "model: crag-30")
    (tmp_path / "site.yaml").write_text(spoilt, encoding="utf-8")
    with pytest.raises(interop.InputFaults) as raised:
        interop.load_site(tmp_path / "site.yaml")
    first, second = raised.value.faults
    assert (first.file, first.line, first.column, first.path) == ("site.yaml", 14, 19, "packs.C1..C2.model")
    assert (first.got, first.nearest) == ('model "crag-30"', "crag-300")
    assert (second.file, second.line, second.path) == ("site.yaml", 21, "found.R2.ADD")
    assert str(raised.value) == f"{first}\n{second}"
    assert str(first).startswith('site.yaml:14:19: packs.C1..C2.model: got model "crag-30"; expected ')


def test_check_site() -> None:
    judged = interop.check_site(interop.load_site(DEMO))
    assert {one.level.value for one in judged.found} == {"caution", "note"}
    stops = [one for one in judged.planned if one.level.value == "stop"]
    assert [(stop.rule, stop.verdict) for stop in stops] == [
        ("device-polarised", "cannot-tell"), ("pack-passes-its-limit", "cannot-tell"),
        ("power-not-judged", "cannot-tell")]
    assert any("rack" in one for one in judged.not_judged)


def test_check_site_says_what_the_command_prints() -> None:
    judged = interop.check_site(interop.load_site(DEMO))
    printed = json.loads(run(ROOT, "check", str(DEMO), "--json").stdout)
    assert [one.text for one in judged.planned] == [one["text"] for one in printed["findings"]]
    assert [one.text for one in judged.found] == [one["text"] for one in printed["found"]]
    assert list(judged.not_judged) == printed["not_judged"]


def test_plan_document() -> None:
    plan, decisions, judged = interop.plan_document(interop.load_site(DEMO), draft=True, date="2031-05-02")
    assert (plan["format"], plan["draft"], plan["date"]) == ("interop-plan", True, "2031-05-02")
    assert plan["cleared"] == {"settings": True, "joining": False}
    assert plan["links"][0]["manager"] == "N1" == decisions.links[0].manager
    assert decisions.patterns["N2"]["ADD"] == ("off", "on", "off", "on", "off", "off")
    assert [one["text"] for one in plan["findings"]] == [one.text for one in judged.planned]
    assert [one["text"] for one in plan["found"]] == [one.text for one in judged.found]


def test_plan_site_makes_the_files_that_the_command_writes(tmp_path: Path) -> None:
    """Byte for byte: the command adds nothing and leaves nothing out."""
    package = interop.plan_site(interop.load_site(DEMO))
    assert run(tmp_path, "plan", str(DEMO), "--out", "plan").returncode == 4
    assert dict(package.files) == tree(tmp_path / "plan")
    assert sorted(package.files) == ["cable-notes.pdf", "data-links.svg", "plan.json", "setting-sheets.pdf"]
    assert json.loads(package.files["plan.json"]) == json.loads(json.dumps(package.plan))
    assert package.decisions.links[0].manager == "N1"
    assert package.judged.not_judged == ()


def test_plan_site_of_a_refusal_and_its_draft() -> None:
    site = interop.load_site(ROOT / "examples" / "ten-faults" / "site.yaml")
    assert sorted(interop.plan_site(site).files) == ["plan.json", "refusal.pdf"]
    draft = interop.plan_site(site, draft=True, date="2031-05-02")
    assert sorted(draft.files) == [
        "cable-notes.pdf", "data-links.svg", "plan.json", "refusal.pdf", "setting-sheets.pdf"]  # fmt: skip
    assert draft.plan["cleared"] == {"settings": False, "joining": False}


def test_nothing_heavy_is_loaded_before_it_is_used() -> None:
    heavy = "networkx", "pydantic", "yaml", "numpy", "scipy", "typst", "pygraphviz"
    code = f"import interop, sys; print([name for name in {heavy!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
