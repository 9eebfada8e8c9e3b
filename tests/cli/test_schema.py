"""The exported JSON Schema: every file of ours passes it as loaders of YAML 1.1 and 1.2 see it, planted faults do not.

JSON Schema judges JSON, so what a loader made is turned into JSON first: keys become text, a date becomes text.
"""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from interop.records.catalog import parse_record
from interop.records.faults import InputFaults
from interop.records.nodes import read_document
from interop.site.read import bind_site
from tests.cli.sites import ROOT, run

RECORDS = sorted([*(ROOT / "catalogs").rglob("*.yaml"), *(ROOT / "tests/exercises/records").glob("*.yaml")])
SITES = [path for path in sorted((ROOT / "examples").rglob("*.yaml")) if b"interop: site/1" in path.read_bytes()]


class Core12(yaml.SafeLoader):
    """The core schema of YAML 1.2 (specification 1.2.2, section 10.3.2), typed from it."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012  # as its base class has it

    def whole(self, node: yaml.ScalarNode) -> int:
        text = str(self.construct_scalar(node))
        return int(text, 0) if text[:2] in ("0o", "0x") else int(text, 10)


for tag, shape, first in (
    ("null", r"~|null|Null|NULL|", ["~", "n", "N", ""]),
    ("bool", r"true|True|TRUE|false|False|FALSE", list("tTfF")),
    ("int", r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+", list("-+0123456789")),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?|[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)",
     list("-+.0123456789")),
):  # fmt: skip
    Core12.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(rf"^(?:{shape})$"), first)
Core12.add_constructor("tag:yaml.org,2002:int", Core12.whole)

LOADERS = {"1.1": yaml.SafeLoader, "1.2": Core12}


def as_json(text: str, version: str) -> Any:
    return json.loads(json.dumps(yaml.load(text, LOADERS[version]), default=str))  # noqa: S506  # both are safe


@cache
def schema(kind: str) -> Any:
    done = run(ROOT, "schema", kind)
    assert (done.returncode, done.stderr) == (0, "")
    return json.loads(done.stdout)


def faults(kind: str, text: str, version: str) -> list[str]:
    judge = jsonschema.Draft202012Validator(schema(kind))
    return [error.message for error in judge.iter_errors(as_json(text, version))]


def test_the_two_loaders_differ_as_the_two_versions_of_yaml_do() -> None:
    """Specification 1.1, types int and bool; specification 1.2.2, section 10.3.2."""
    text = "{a: 0110, b: on, c: 12:30, d: 1e3}"
    assert as_json(text, "1.1") == {"a": 72, "b": True, "c": 750, "d": "1e3"}
    assert as_json(text, "1.2") == {"a": 110, "b": "on", "c": "12:30", "d": 1000.0}


@pytest.mark.parametrize("kind", ["site", "record"])
def test_the_schema_is_one_and_says_what_each_field_wants(kind: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(kind))
    outputs = {run(ROOT, "schema", kind, env={"PYTHONHASHSEED": seed, "LC_ALL": "C"}).stdout for seed in "12"}
    assert len(outputs) == 1
    models = (schema(kind), *schema(kind)["$defs"].values())
    fields = [(name, field) for model in models
              for name, field in model["properties"].items()]
    plain = [name for name, field in fields
             if "description" not in field and not field.keys() & {"$ref", "additionalProperties", "items"}]
    # groups of fields, whose own fields are described, and parts judged with the whole site at hand
    assert set(plain) <= {"made", "chain", "packs", "reports_to", "may_leave", "about", "none", "posts",
                          "built_in_device", "code", "electric", "cells", "modes", "sockets", "table", "one_of",
                          "links", "cables", "load", "plus", "minus", "number", "device", "cable", "conductor",
                          "busbar", "distance_from_source"}


def test_there_is_something_to_judge() -> None:
    assert len(RECORDS) >= 25
    assert SITES


@pytest.mark.parametrize("version", LOADERS)
@pytest.mark.parametrize("path", [*RECORDS, *SITES], ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_file_of_ours_passes(path: Path, version: str) -> None:
    assert faults("site" if path in SITES else "record", path.read_text(encoding="utf-8"), version) == []


RECORD = (ROOT / "catalogs/packs/tarn-b.yaml").read_text(encoding="utf-8")
RECORD_FAULTS = {
    "a list for a map": ("limits:\n", "limits: [1]\nLIMITS:\n"),
    "a word for a number": ("capacity_ah: 100", "capacity_ah: lots"),
    "a map for a number": ("in_series: 16", "in_series: [16]"),
    "a fraction for a whole number": ("in_series: 16", "in_series: 16.5"),
    "beyond the range": ("in_series: 16", "in_series: 4900"),
    "a negative current": ("charge_a: 50", "charge_a: -50"),
    "an unknown field": ("capacity_ah: 100", "capacity_mah: 100"),
    "a missing title": ('{title: "Tarn B manual, 4th printing", says: stated}', "{says: stated}"),
    "no sources": ("sources:  ", "source:  "),
    "an unknown word": ("opens: minus", "opens: negative"),
    "a word for yes or no": ("isolated: yes", "isolated: mostly"),
    "a number for yes or no": ("isolated: yes", "isolated: 1"),
    "a list for yes or no": ("isolated: yes", "isolated: [yes]"),
    "no wires": ("wires: [a, b]", "wires: []"),
    "a word for a list": ("modes: [own, older] ", "modes: own "),
    "an empty map for a number": ("charge_a: 50", "charge_a: {}"),
    "a peak without its time": ("charge_peak_a: 75 for 30 s", "charge_peak_a: 75"),
    "a range of words": ("dc_mohm: {bench: 9..13}", "dc_mohm: {bench: low..high}"),
    "an unknown kind of row": ("kind: slide", "kind: sliding"),
    "another format": ("interop: record/1", "interop: record/2"),
    "an empty value": ("name: Tarn B", "name:"),
}  # fmt: skip

SITE = (ROOT / "examples/ferry-landing/site.yaml").read_text(encoding="utf-8")
SITE_FAULTS = {
    "a list of packs": ("packs:\n", "packs: [A1]\nPACKS:\n"),
    "no catalogs": ("catalogs: [../../catalogs]", "catalogs: []"),
    "a word for a device": ("{model: brook-charger}", "brook-charger"),
    "a word for a number of units": ("units: 3", "units: three"),
    "no unit at all": ("units: 3", "units: 0"),
    "an empty value": ("cable_lands_on: unit 1", "cable_lands_on: "),
    "an empty section": ("load: {usual_w: 1800, highest_w: 17500, must_stay_on_w: 600}", "load:"),
    "an unknown wish section": ("prefer: [", "wish: ["),
    "a map for a length": ("length: 1.8 m", "length: {m: 1.8}"),
    "a number for a length": ("length: 1.8 m", "length: 1.8"),
    "a map for switches": ("ADD: 0000", "ADD: {1: on}"),
    "a link without packs": ("{packs: [R1..R9, N1..N2], manager", "{manager"),
    "an unknown ground": ("dc_ground: minus", "dc_ground: earth"),
    "a load below nothing": ("usual_w: 1800", "usual_w: -1800"),
    "another format": ("interop: site/1", "interop: record/1"),
    "a day for a date": ("on: 2031-05-02", "on: Friday"),
    "an acceptance by nobody": ('by: "A. Example", ', ""),
    "a map of cables": ("cables:\n  W1", "cables: none\nCABLES:\n  W1"),
}  # fmt: skip


@pytest.mark.parametrize("version", LOADERS)
@pytest.mark.parametrize("name", RECORD_FAULTS)
def test_planted_faults_of_a_record_fail(name: str, version: str) -> None:
    good, bad = RECORD_FAULTS[name]
    assert good in RECORD
    text = RECORD.replace(good, bad, 1)
    assert faults("record", text, version) != []
    with pytest.raises(InputFaults):  # the editor is never stricter than the reader
        parse_record(text.encode(), "bad.yaml")


@pytest.mark.parametrize("version", LOADERS)
@pytest.mark.parametrize("name", SITE_FAULTS)
def test_planted_faults_of_a_site_fail(name: str, version: str) -> None:
    good, bad = SITE_FAULTS[name]
    assert good in SITE
    text = SITE.replace(good, bad, 1)
    assert faults("site", text, version) != []
    if name not in {"a day for a date", "a map for switches"}:  # these are judged with the whole site at hand
        assert bind_site(read_document(text.encode(), "bad.yaml")).faults != ()
