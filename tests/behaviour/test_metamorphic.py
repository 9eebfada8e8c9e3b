"""What must not matter does not: other pin numbers, names or order of fields give the same answer, altered alike.

They fail a planner that knows 7 and 8, sorts by id, or leans on the order in which somebody wrote a record.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from interop.documents.package import plan_document
from interop.site.load import load_site
from tests.behaviour.bench import SITES, plan_of
from tests.behaviour.rewrite import PAIRS, Files, pair_permutation, permuted, read, renamed, shuffled

Plan = dict[str, Any]
SOUND = [name for name in SITES if name != "ten-faults"]
# The report plug of these packs carries its pair twice: the lowest pins decide, so what is joined is compared.
TWICE = {"tide-gauge"}


def planned(files: Files, folder: Path) -> Plan:
    return plan_document(load_site(files.write(folder)))[0]


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Plan]:
    """The plan of a site whose ranges are spread and that is otherwise as it stands."""

    @cache
    def make(name: str) -> Plan:
        return planned(read(SITES[name]), tmp_path_factory.mktemp(name))

    return make


def without(plan: Plan, *more: str) -> Plan:
    """A plan without what hangs on the bytes of the files."""
    return {key: value for key, value in plan.items() if key not in ("inputs", "fingerprint", *more)}


def bare(raw: Any) -> Any:
    """Without texts and positions, which name pins, fold runs of ids, or hang on the lines of the file."""
    if isinstance(raw, dict):
        return {
            key: bare(value)
            for key, value in raw.items()
            if key not in ("text", "todo", "got", "limit", "at", "because")
        }
    return [bare(one) for one in raw] if isinstance(raw, list) else raw


@pytest.mark.parametrize("name", SOUND)
def test_ranges_spread_by_hand_are_the_same_site(name: str, plain: Callable[[str], Plan]) -> None:
    assert bare(without(plain(name))) == bare(without(plan_of(name)))


def said(finding: Any, pins: Mapping[str, str]) -> Any:
    """A finding without texts; devices in any order, since the pins a net stands on decide which is named first."""
    facts = sorted(
        re.sub(r"(?<=pins\.)(.+)\.(\d)$", lambda m: f"{m[1]}.{pins.get(m[2], m[2])}", f["path"])
        for f in finding["facts"]
    )
    return {**bare(finding), "about": sorted(finding["about"]), "facts": facts}


def functions(files: Files, plan: Plan) -> dict[str, set[tuple[str, str]]]:
    """What every cable joins, by what the pins are for."""

    def use(end: list[str], pin: str) -> str:
        record = files.records[plan["devices"][end[0]]["record"]]
        return str(record["pins"][end[1]].get(pin))

    return {
        name: {(use(one["from"], a), use(one["to"], b)) for a, b in one["joined"]}
        for name, one in plan["cables"].items()
    }


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", SOUND)
def test_pins_permuted_in_every_record_permute_the_conductors_alike(
    name: str, seed: int, tmp_path: Path, plain: Callable[[str], Plan]
) -> None:
    files = read(SITES[name])
    pins = pair_permutation(random.Random(seed))
    assert sorted(map(sorted, ((pins[a], pins[b]) for a, b in PAIRS))) == sorted(map(sorted, PAIRS))
    assert pins["7"] != "7" or pins["4"] != "4"
    other = permuted(files, pins)
    before, after = plain(name), planned(other, tmp_path)
    skip = ("cables", "reasons", "findings", "found")
    assert without(after, *skip) == without(before, *skip)
    assert [bare(one) for one in after["reasons"]] == [bare(one) for one in before["reasons"]]
    for stage in ("findings", "found"):
        assert sorted(str(said(one, {})) for one in after[stage]) == sorted(
            str(said(one, pins)) for one in before[stage]
        )
    if name in TWICE:
        assert functions(other, after) == functions(files, before)
        return
    for cable, one in before["cables"].items():
        eight = {
            end[0]: files.records[before["devices"][end[0]]["record"]]["ports"][end[1]]["plug"] == "rj45"
            for end in (one["from"], one["to"])
        }
        turn = pins if all(eight.values()) else {}
        new = after["cables"][cable]
        assert {k: v for k, v in new.items() if k not in ("joined", "cut")} == {
            k: v for k, v in one.items() if k not in ("joined", "cut")
        }
        assert sorted(new["joined"]) == sorted([turn.get(a, a), turn.get(b, b)] for a, b in one["joined"])
        assert sorted(new["cut"]) == sorted(turn.get(p, p) for p in one["cut"])


@pytest.mark.parametrize("name", SOUND)
def test_other_names_rename_the_answer_and_nothing_else(
    name: str, tmp_path: Path, plain: Callable[[str], Plan]
) -> None:
    files = read(SITES[name])
    plans = []
    for seed in (1, 2):
        other, names = renamed(files, random.Random(seed))
        plan = planned(other, tmp_path / str(seed))
        assert not set(plan["packs"]) & set(files.site["packs"])
        plans.append(names.back(plan))
    one, two = map(without, plans)
    assert one == two  # word for word, texts included
    first = bare(without(plain(name)))
    assert bare(one) == first
    assert list(one["packs"]) == list(first["packs"])  # the order of the file stays


@pytest.mark.parametrize("name", SOUND)
def test_the_order_of_fields_in_a_record_changes_only_the_hashes(
    name: str, tmp_path: Path, plain: Callable[[str], Plan]
) -> None:
    files = read(SITES[name])
    other = shuffled(files, random.Random(7))
    assert any(list(other.records[key]) != list(record) for key, record in files.records.items())
    before, after = plain(name), planned(other, tmp_path)
    assert without(after) == without(before)
    assert [one["path"] for one in after["inputs"]] == [one["path"] for one in before["inputs"]]
    assert after["inputs"] != before["inputs"]
    assert after["fingerprint"] != before["fingerprint"]
