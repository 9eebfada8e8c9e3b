"""Scenario files read with a few lines of their own: what a file says must be found, and where two files differ.

``tests/scenarios/<rule>.breaks.yaml`` and ``<rule>.holds.yaml`` are one pair; ``<rule>--<word>`` names another pair.
A line of the first kind of file says what must be found:

    # finding: <stage> <level> <verdict> <ids, comma separated>: <exact text>
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import yaml

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.choose.plan import decide, planned_stage
from interop.rules.finding import RULES, Finding, findings
from interop.site.load import load_site
from interop.site.site import Site
from interop.wiring.stage import Stage, as_found, as_wanted

__all__ = ["FOLDER", "OVER_TIME", "Expected", "Pair", "differences", "expected", "pairs", "stage_findings"]

FOLDER = Path(__file__).parent.parent / "scenarios"

PLANNED = "# judged: the stage of the plan"
"""A line of a file whose planned stage is to come from the plan, for rules about what the plan leaves out."""

OVER_TIME = frozenset({"pack-passes-its-limit-later", "pack-never-fills", "surge-passes-the-peak",
                       "ripple-passes-a-limit"})
"""Rules that follow a bank over hours, which `check` does not."""

_LINE = re.compile(r"# finding: (?P<stage>found|planned) (?P<level>stop|caution|note) "
                   "(?P<verdict>broken|cannot-tell) "
                   r"(?P<ids>.+?): (?P<text>.+)")


@dataclass(frozen=True)
class Expected:
    """One finding that a file says must be found."""

    stage: str
    level: str
    verdict: str
    about: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class Pair:
    """A scenario: the file that breaks a rule, and its neighbour that differs in one value and does not."""

    name: str
    breaks: Path
    holds: Path

    @property
    def rule(self) -> str:
        return self.name.split("--")[0]


def pairs() -> list[Pair]:
    names = sorted({p.name.split(".")[0] for p in FOLDER.glob("*.yaml")})
    return [Pair(name, FOLDER / f"{name}.breaks.yaml", FOLDER / f"{name}.holds.yaml") for name in names]


def expected(path: Path) -> list[Expected]:
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("# finding:"):
            match = _LINE.fullmatch(line)
            assert match is not None, f"{path.name}: {line}"
            ids = tuple(one.strip() for one in match["ids"].split(","))
            found.append(Expected(match["stage"], match["level"], match["verdict"], ids, match["text"]))
    return found


def stage_findings(site: Site, rule: str | None = None) -> dict[str, tuple[Finding, ...]]:
    """The findings of one rule (all for None) in both stages, without a plan."""
    return _findings_of((as_found(site), as_wanted(site)), rule)


def planned_findings(site: Site, rule: str) -> dict[str, tuple[Finding, ...]]:
    """The findings of one rule in the found stage and in the stage that the plan makes."""
    return _findings_of((as_found(site), planned_stage(decide(site))), rule)


def _findings_of(stages: tuple[Stage, Stage], rule: str | None) -> dict[str, tuple[Finding, ...]]:
    rules = None if rule is None else [RULES[rule]]
    return {stage.name: findings(replace(stage, over_time=rule in OVER_TIME), rules) for stage in stages}


def of_file(path: Path, rule: str) -> list[Expected]:
    """What one rule finds in a file, in the shape of the lines."""
    judge = planned_findings if f"\n{PLANNED}\n" in path.read_text(encoding="utf-8") else stage_findings
    return [Expected(name, f.level.value, f.verdict, f.about, f.text)
            for name, found in judge(load_site(path), rule).items() for f in found]


def _leaves(node: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], str]]:
    if isinstance(node, dict):
        for key, value in node.items():
            yield from _leaves(value, (*path, str(key)))
    elif isinstance(node, list):
        for i, value in enumerate(node):
            yield from _leaves(value, (*path, str(i)))
    else:
        yield path, str(node)


def differences(one: Path, other: Path) -> list[tuple[str, ...]]:
    """The paths of all values that differ between two YAML files, comments apart."""
    a, b = (dict(_leaves(yaml.load(p.read_text(encoding="utf-8"), yaml.BaseLoader))) for p in (one, other))  # noqa: S506
    return sorted(path for path in {*a, *b} if a.get(path) != b.get(path))
