"""Sites written in a test: the records of the scenarios, and more records where a test needs its own."""

from __future__ import annotations

from pathlib import Path

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.rules.finding import RULES, Finding, findings
from interop.site.load import load_site
from interop.site.site import Site
from interop.wiring.stage import as_found, as_wanted
from tests.rules.scenarios import FOLDER

__all__ = ["changed", "found", "planned", "texts", "write"]


def write(folder: Path, text: str, **records: str) -> Site:
    """Load a site whose catalogs are the records of the scenarios, of the exercises, and those given by name."""
    own = folder / "own"
    own.mkdir(exist_ok=True)
    for name, body in records.items():
        (own / f"{name}.yaml").write_text(body, encoding="utf-8")
    exercises = FOLDER.parent / "exercises" / "records"
    catalogs = ", ".join(f'"{path}"' for path in (FOLDER / "records", exercises, own))
    (folder / "site.yaml").write_text(f"interop: site/1\nname: Test\ncatalogs: [{catalogs}]\n{text}",
                                      encoding="utf-8")
    return load_site(folder / "site.yaml")


def changed(record: str, name: str, *pairs: tuple[str, str]) -> str:
    """A record of the scenarios under another id, with exact replacements."""
    text = (FOLDER / "records" / f"{record}.yaml").read_text(encoding="utf-8")
    for old, new in ((f"id: {record}\n", f"id: {name}\n"), *pairs):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def found(site: Site, rule: str) -> tuple[Finding, ...]:
    return findings(as_found(site), [RULES[rule]])


def planned(site: Site, rule: str) -> tuple[Finding, ...]:
    return findings(as_wanted(site), [RULES[rule]])


def texts(items: tuple[Finding, ...]) -> list[str]:
    return [f"{f.level.value} {f.verdict} {','.join(f.about)}: {f.text}" for f in items]


