"""``interop plan --draft`` through the installed command: every page marked, and the exit status left alone."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.cli.sites import ROOT, run, tree

MARK = "DRAFT - NOT FOR INSTALLATION"
REFUSED, ISSUED = "ten-faults", "lock-house"
SHEETS = {"cable-notes.pdf", "data-links.svg", "setting-sheets.pdf"}


@dataclass(frozen=True)
class Run:
    """One run of the command: exit status, standard output, the files of the folder."""

    status: int
    out: str
    files: dict[str, bytes]

    @property
    def plan(self) -> dict[str, Any]:
        return json.loads(self.files["plan.json"])  # type: ignore[no-any-return]

    def pages(self, name: str) -> list[str]:
        return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(self.files[name])).pages]


def planned(folder: Path, site: str, *more: str) -> Run:
    shutil.copytree(ROOT / "catalogs", folder / "catalogs")
    shutil.copytree(ROOT / "examples" / site, folder / "examples" / site)
    done = run(folder, "plan", f"examples/{site}/site.yaml", "--out", "plan", *more)
    assert done.stderr == ""
    files = {name: data for name, data in tree(folder / "plan").items() if data is not None}
    return Run(done.returncode, done.stdout, files)


@pytest.fixture(scope="module", params=[REFUSED, ISSUED])
def both(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Run, Run]:
    """The name of an example with its plan and its draft."""
    name = request.param
    folders = [tmp_path_factory.mktemp(name) for _ in range(2)]
    return name, planned(folders[0], name), planned(folders[1], name, "--draft")


def test_the_status_is_that_of_the_plan(both: tuple[str, Run, Run]) -> None:
    name, plain, draft = both
    assert plain.status == draft.status == {REFUSED: 1, ISSUED: 4}[name]


def test_a_draft_issues_everything(both: tuple[str, Run, Run]) -> None:
    """A refused site gets its sheets and notes only as a draft, and keeps the page that refuses."""
    name, plain, draft = both
    refusal = {"refusal.pdf"} if name == REFUSED else set()
    assert set(plain.files) == {"plan.json"} | (refusal or SHEETS)
    assert set(draft.files) == {"plan.json"} | SHEETS | refusal
    for one in (plain, draft):
        assert one.plan["files"] == sorted(set(one.files) - {"plan.json"})


def test_every_page_of_every_document_is_marked_in_a_draft_and_none_else(both: tuple[str, Run, Run]) -> None:
    _, plain, draft = both
    for name in sorted(draft.files):
        if name.endswith(".pdf"):
            marked = draft.pages(name)
            assert marked
            assert [number for number, text in enumerate(marked, 1) if MARK not in text] == [], name
    assert draft.files["data-links.svg"].decode("utf-8").count(MARK) == 1
    for name, data in plain.files.items():
        unmarked = plain.pages(name) if name.endswith(".pdf") else [data.decode("utf-8")]
        assert not any(MARK in text for text in unmarked), name


def test_there_is_a_page_for_every_pack_and_a_note_for_every_cable_to_make(both: tuple[str, Run, Run]) -> None:
    """Not vacuous: the marked pages are those of the whole plan."""
    _, _, draft = both
    plan = draft.plan
    assert len(draft.pages("setting-sheets.pdf")) >= len(plan["packs"])
    made = [cable for cable in plan["cables"].values() if cable["action"] in ("make", "alter")]
    assert len(draft.pages("cable-notes.pdf")) >= len(made) > 0


def test_the_plan_says_that_it_is_a_draft_and_decides_the_same(both: tuple[str, Run, Run]) -> None:
    _, plain, draft = both
    assert (plain.plan["draft"], draft.plan["draft"]) == (False, True)
    own = {"draft", "files", "fingerprint"}
    assert {k: v for k, v in plain.plan.items() if k not in own} == {
        k: v for k, v in draft.plan.items() if k not in own}  # fmt: skip
    assert plain.plan["fingerprint"] != draft.plan["fingerprint"]


def test_a_draft_clears_no_joining(both: tuple[str, Run, Run]) -> None:
    """Each pack's sheet, and each page of the notes, says that nothing may be joined, draft or not."""
    _, _, draft = both
    assert draft.plan["cleared"]["joining"] is False
    words = "JOINING NOT CLEARED: do not connect"
    assert sum(words in text for text in draft.pages("setting-sheets.pdf")) == len(draft.plan["packs"])
    assert all(words in text for text in draft.pages("cable-notes.pdf"))


def test_a_plan_takes_the_place_of_its_draft(tmp_path: Path) -> None:
    """What was only a draft does not outlive the refusal."""
    assert planned(tmp_path, REFUSED, "--draft").status == 1
    assert run(tmp_path, "plan", f"examples/{REFUSED}/site.yaml", "--out", "plan").returncode == 1
    assert sorted(tree(tmp_path / "plan")) == ["plan.json", "refusal.pdf"]
    assert json.loads((tmp_path / "plan" / "plan.json").read_bytes())["draft"] is False
