"""The law of unknown facts: forgetting any one deciding or permission fact of any record makes no finding vanish.

What was broken may become *cannot tell*, about the same devices or more; it may never pass in silence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from interop.records.facts import ABSENT, ByCase, ByCaseType, Fact, FactClass, FactType
from interop.records.models import Mixing, Record
from interop.rules.finding import RULES, findings
from interop.site.load import load_site
from interop.site.site import Site
from interop.wiring.stage import as_found, as_wanted
from tests.rules.scenarios import OVER_TIME, Pair, pairs

ROOT = Path(__file__).parent.parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*/site.yaml"))
PAIRS = [pair for pair in pairs() if pair.rule in RULES]

MIXING = frozenset({"mixing-forbidden", "mixing-silent", "mixing-not-approved", "firmware-below-minimum",
                    "record-demands-another-manager", "special-cable-asked"})
"""What makers say of mixing is one question: with a statement forgotten, its finding becomes that of silence."""
PINS = frozenset({"conductor", "stop line"})
"""What joined pins carry is one question: with a pin forgotten, its finding becomes that of a pin not stated."""

CURRENTS = frozenset({"load-not-carried", "pack-passes-its-limit", "busbar-overloaded", "one-out-overloads-the-rest",
                      "equal-packs-share-unevenly", "voltage-drop-large", "pack-passes-its-limit-later",
                      "ripple-passes-a-limit", "load-above-the-inverters"})
"""What everything carries is one question: with the load forgotten, its finding becomes that of the load."""

Found = set[tuple[str, str, frozenset[str]]]


def question_of(rule: str) -> str:
    """Rules that ask one thing: a finding may turn into that of another rule of the same question."""
    if rule in MIXING:
        return "mixing"
    if rule in CURRENTS:
        return "currents"
    return "pins" if rule in RULES and RULES[rule].subject in PINS else rule


def _judged(site: Site, rules: Iterable[str]) -> Found:
    chosen = [RULES[name] for name in sorted(rules)]
    return {(stage.name, question_of(f.rule), frozenset(f.about))
            for stage in (as_found(site), replace(as_wanted(site), over_time=bool(OVER_TIME & {*rules})))
            for f in findings(stage, chosen)}


def _estimable(metadata: Iterable[object]) -> bool:
    kinds = [m.inner if isinstance(m, ByCaseType) else m for m in metadata]
    return any(isinstance(m, FactType) and m.kind is FactClass.ESTIMABLE for m in kinds)


def forgettable(node: Any) -> Iterator[tuple[str, Any]]:
    """Every copy of a model with one deciding or permission fact forgotten, with the path of that fact."""
    if isinstance(node, Fact):
        if node.known:
            yield "", ABSENT
    elif isinstance(node, ByCase):
        for i, (case, fact) in enumerate(node.cases):
            if fact.known:
                yield case, ByCase((*node.cases[:i], (case, ABSENT), *node.cases[i + 1:]))
    elif isinstance(node, BaseModel):
        names = [n for n, field in type(node).model_fields.items() if not _estimable(field.metadata)]
        for path, name, less in _within([(name, getattr(node, name)) for name in names]):
            yield path, node.model_copy(update={name: less})
    elif isinstance(node, dict):
        for path, key, less in _within(list(node.items())):
            yield path, {**node, key: less}
    elif isinstance(node, list):
        yield from ((str(i), [*node[:i], *node[i + 1:]]) for i, item in enumerate(node) if isinstance(item, Mixing))


def _within(items: list[tuple[Any, Any]]) -> Iterator[tuple[str, Any, Any]]:
    for key, value in items:
        for path, less in forgettable(value):
            yield f"{key}.{path}".rstrip("."), key, less


@lru_cache(maxsize=1024)
def _copies(path: str, text: bytes, record_id: str) -> tuple[tuple[str, Record], ...]:
    return tuple(forgettable(_RECORDS[path, record_id]))


_RECORDS: dict[tuple[str, str], Record] = {}


def _forgetful(site: Site) -> Iterator[tuple[str, Site]]:
    loaded = {d.record.id: d.loaded for d in site.devices.values()}
    for name, one in sorted(loaded.items()):
        key = one.document.file
        _RECORDS.setdefault((key, name), one.record)
        for path, record in _copies(key, one.data, name):
            forgot = replace(one, record=record)
            devices = {i: replace(d, loaded=forgot) if d.record.id == name else d for i, d in site.devices.items()}
            yield f"{name}: {path}", replace(site, devices=devices)


def vanished(site: Site, rules: Iterable[str]) -> list[str]:
    """Every finding of some rules that a forgotten fact makes vanish: ``record: path -> stage, question, devices``."""
    before = _judged(site, rules)
    asked = {question for _, question, _ in before}
    again = [name for name in RULES if question_of(name) in asked]
    lost = []
    for path, less in _forgetful(site) if before else ():
        after = _judged(less, again)
        for stage, question, about in sorted(before, key=str):
            if not any(s == stage and q == question and about <= a for s, q, a in after):
                lost.append(f"{path} -> {stage}, {question}, {', '.join(sorted(about))}")
    return lost


CELLS_AND_ADDRESSES = tuple(name for name, rule in RULES.items() if rule.subject in ("cells", "address"))


@pytest.mark.parametrize("path", EXAMPLES, ids=[path.parent.name for path in EXAMPLES])
def test_no_finding_on_cells_or_addresses_vanishes_from_an_example(path: Path) -> None:
    assert vanished(load_site(path), CELLS_AND_ADDRESSES) == []


@pytest.mark.parametrize("pair", PAIRS, ids=[pair.name for pair in PAIRS])
def test_no_finding_vanishes_from_a_scenario(pair: Pair) -> None:
    """The rule of the scenario itself; of a scenario on cells or addresses every rule of both subjects."""
    mine = pair.rule in CELLS_AND_ADDRESSES
    assert vanished(load_site(pair.breaks), CELLS_AND_ADDRESSES if mine else [pair.rule]) == []


def test_the_walk_reaches_every_kind_of_fact() -> None:
    """Not vacuous: plain facts, facts by case, facts in maps and lists, and statements on mixing are all forgotten."""
    site = load_site(ROOT / "examples" / "ferry-landing" / "site.yaml")
    record = next(d.record for d in site.devices.values() if d.record.id == "tarn-b")
    paths = {path for path, _ in forgettable(record)}
    assert {"cells.chemistry", "limits.join_difference_v", "buses.chain.dialect.older", "addresses.chain.manager.own",
            "pins.LINK.7", "manager.made_by", "with_.0", "generation"} <= paths
    assert "electric.dc_mohm" not in paths
