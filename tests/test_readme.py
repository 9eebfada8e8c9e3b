"""The README's two commands: there, in one line each, read by .ci/run from their one home."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
START = README[README.index("\n## Start\n") : README.index("\n## Cautions\n")]


def test_start_holds_the_only_two_commands_each_in_one_line() -> None:
    blocks = re.findall(r"^```sh\n(.*?)^```$", START, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 2
    assert README.count("```") == 4
    assert [block.count("\n") for block in blocks] == [1, 1]
    assert "/interop plan examples/" in blocks[0]
    assert blocks[1].rstrip().endswith("/pytest")


@pytest.mark.parametrize("number", [1, 2])
def test_ci_reads_the_commands_out_of_the_readme(number: int) -> None:
    done = subprocess.run(
        [ROOT / ".ci" / "readme-command", str(number)], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout == re.findall(r"^```sh\n(.*?)^```$", START, re.MULTILINE | re.DOTALL)[number - 1]


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_links_between_pages_lead_somewhere(page: str) -> None:
    targets = re.findall(r"(?<!!)\[[^\]]*\]\(([^)#:]+)\)", (ROOT / page).read_text(encoding="utf-8"))
    assert [target for target in targets if not (ROOT / target).exists()] == []


def test_the_exit_statuses_are_those_of_the_program() -> None:
    from interop.cli.status import Status

    rows = re.findall(r"^\| (\d+) \| ", README, re.MULTILINE)
    assert [int(row) for row in rows] == [int(status) for status in Status]


def test_the_layers_are_those_that_are_tested() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `interop/(\w+)/` \|", text, re.MULTILINE)
    source = (ROOT / "tests" / "test_layers.py").read_text(encoding="utf-8")
    listed = re.search(r"LAYERS: Final = \((.*?)\)", source, re.DOTALL)
    assert listed is not None
    assert rows == re.findall(r'"(\w+)"', listed[1])
