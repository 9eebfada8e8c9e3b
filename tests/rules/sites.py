"""Small sites written as text, over the records of the scenarios, and what the rules say of them."""

from __future__ import annotations

from pathlib import Path

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.rules.finding import RULES, Finding, findings
from interop.site.load import load_site
from interop.wiring.stage import Stage, as_found, as_wanted

__all__ = ["RECORDS", "of", "stages", "texts"]

RECORDS = Path(__file__).parent.parent / "scenarios" / "records"
EXERCISES = Path(__file__).parent.parent / "exercises" / "records"


def stages(folder: Path, body: str, **records: str) -> tuple[Stage, Stage]:
    """The found and the wanted stage of a site with this body; more records by name."""
    (folder / "records").mkdir()
    for path in (*RECORDS.glob("lk-*.yaml"), *EXERCISES.glob("*.yaml")):
        (folder / "records" / path.name).write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    for name, text in records.items():
        (folder / "records" / f"own-{name}.yaml").write_text(text, encoding="utf-8")
    path = folder / "site.yaml"
    path.write_text(f"interop: site/1\nname: Test\ncatalogs: [records]\n{body}", encoding="utf-8")
    site = load_site(path)
    return as_found(site), as_wanted(site)


def of(stage: Stage, rule: str) -> tuple[Finding, ...]:
    """The findings of one rule."""
    return findings(stage, [RULES[rule]])


def texts(stage: Stage, rule: str) -> list[tuple[str, str, str]]:
    """Level, verdict and text of the findings of one rule."""
    return [(f.level.value, f.verdict, f.text) for f in of(stage, rule)]
