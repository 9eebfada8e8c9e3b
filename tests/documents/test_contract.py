"""plan.json as a contract: keys, types and what may be null, for the plans of all examples and of all exercises.

The schema is typed by hand from the description of the contract. It may grow, so that further keys are allowed; a key
that does not apply is null and never absent, so that all are required.
"""

from __future__ import annotations

import copy
import hashlib
import json
import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import jsonschema
import pytest

import interop
from tests.behaviour.bench import ROOT, SITES

Plan = dict[str, Any]
Schema = dict[str, Any]

TEXT: Schema = {"type": "string", "minLength": 1}
FLAG: Schema = {"type": "boolean"}
WHOLE: Schema = {"type": "integer"}
NULL: Schema = {"type": "null"}


def nullable(one: Schema) -> Schema:
    return {"anyOf": [one, NULL]}


def items(one: Schema, **more: Any) -> Schema:
    return {"type": "array", "items": one, **more}


def keys(**properties: Schema) -> Schema:
    """An object with all of these keys; others may stand beside them."""
    return {"type": "object", "properties": properties, "required": list(properties)}


def by_id(one: Schema) -> Schema:
    return {"type": "object", "additionalProperties": one, "propertyNames": {"minLength": 1}}


def words(*allowed: str) -> Schema:
    return {"enum": list(allowed)}


FINDING = keys(
    rule=TEXT,
    level=words("stop", "caution", "note"),
    verdict=words("broken", "cannot-tell"),
    about=items(TEXT, uniqueItems=True),
    got=nullable(TEXT),
    limit=nullable(TEXT),
    facts=items(keys(record=TEXT, path=TEXT, state={"enum": ["stated", "disputed", "not-stated", "assumed"]})),
    text=TEXT,
    todo={"type": "string"},
    source=TEXT,
    at=items(keys(file=TEXT, line={"type": "integer", "minimum": 1}, column={"type": "integer", "minimum": 1})),
    accepted=nullable(keys(why=TEXT, by=TEXT, on={"type": "string", "pattern": r"^\d{4}-\d\d-\d\d$"})),
)
RUNNER_UP = keys(manager=nullable(TEXT), members=items(TEXT, uniqueItems=True), lost_at=TEXT, text=TEXT)
LINK = keys(
    id=TEXT,
    poller=nullable(TEXT),
    manager=nullable(TEXT),
    members=items(TEXT, uniqueItems=True),
    reports_to=items(TEXT, uniqueItems=True),
    buses=items(TEXT, uniqueItems=True),
    proved=FLAG,
    runner_up=nullable(RUNNER_UP),
)
BUS = keys(
    kind=words("rs-485", "can", "rs-232", "other"),
    dialect=TEXT,
    rate_bps=nullable({"type": "integer", "minimum": 1}),
    nodes=items({"type": "array", "prefixItems": [TEXT, TEXT], "minItems": 2, "maxItems": 2}, minItems=1),
    terminators=items(keys(device=TEXT, by=words("fitted", "switch", "plug"))),
)
ROW = keys(set=items(TEXT, minItems=1), was=nullable(items(TEXT, minItems=1)))
PACK = keys(
    role=words("manager", "member", "unmanaged"),
    link=nullable(TEXT),
    mode=nullable(TEXT),
    mode_set_by=nullable(TEXT),
    address=nullable(WHOLE),
    address_also=items(WHOLE, uniqueItems=True),
    addresses=by_id(WHOLE),
    switches=by_id(ROW),
)
END: Schema = {"type": "array", "prefixItems": [TEXT, TEXT, nullable(TEXT)], "minItems": 3, "maxItems": 3}
CABLE = keys(
    carries=nullable(words("chain", "report", "line")),
    action=words("keep", "make", "alter", "remove"),
    kind=words("straight", "repinned"),
    special=items(TEXT),
    joined=items({"type": "array", "items": TEXT, "minItems": 2, "maxItems": 2}),
    cut=items(TEXT, uniqueItems=True),
    remove=items({"type": "array", "items": nullable(TEXT), "minItems": 2, "maxItems": 2}, uniqueItems=True),
    new_plugs=items(words("from", "to"), uniqueItems=True),
)
CABLE["properties"] |= {"from": END, "to": END}
CABLE["required"] += ["from", "to"]

PLAN = keys(
    format={"const": "interop-plan"},
    version={"const": 1},
    cleared=keys(settings=FLAG, joining=FLAG),
    draft=FLAG,
    date=nullable({"type": "string", "pattern": r"^\d{4}-\d\d-\d\d$"}),
    fingerprint={"type": "string", "pattern": r"^[0-9a-f]{64}$"},
    inputs=items(keys(path=TEXT, sha256={"type": "string", "pattern": r"^[0-9a-f]{64}$"}), minItems=1),
    site=keys(name=TEXT),
    devices=by_id(
        keys(
            kind=TEXT,
            record=TEXT,
            units={"type": "integer", "minimum": 1},
            place=nullable(TEXT),
            installed=FLAG,
        )
    ),
    findings=items(FINDING),
    found=items(FINDING),
    links=items(LINK),
    buses=by_id(BUS),
    packs=by_id(PACK),
    cables=by_id(CABLE),
    power=nullable(keys(bank_limit_a={"type": "object"}, packs={"type": "object"})),
    settings=by_id(by_id(keys(value={}, because=TEXT, set_by=items(TEXT, minItems=1)))),
    assumptions=items(keys(id=TEXT, fact=TEXT, value=TEXT, range=items(TEXT), decides=items(TEXT, minItems=1))),
    reasons=items(keys(about=items(TEXT), text=TEXT)),
)
VALID = jsonschema.Draft202012Validator(PLAN)


@cache
def _plan(name: str) -> Plan:
    site = interop.load_site(SITES[name])
    return json.loads(json.dumps(interop.plan_document(site)[0]))  # type: ignore[no-any-return]


@pytest.fixture(params=sorted(SITES))
def plan(request: pytest.FixtureRequest) -> Plan:
    return copy.deepcopy(_plan(request.param))


def faults(plan: Plan) -> list[str]:
    return [f"{'.'.join(map(str, one.absolute_path))}: {one.message}" for one in VALID.iter_errors(plan)]


def findings_of(plan: Plan) -> list[Plan]:
    return [*plan["findings"], *plan["found"]]


# ---- the shape ----


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(PLAN)


def test_keys_types_and_nulls(plan: Plan) -> None:
    assert faults(plan) == []


def _required(schema: Schema, at: tuple[str | int, ...], value: Any) -> Iterator[tuple[str | int, ...]]:
    """Every key of a plan that the schema asks for, by its place in one plan."""
    for option in schema.get("anyOf", [schema]):
        if isinstance(value, dict) and option.get("type") == "object":
            for key in option.get("required", ()):
                yield (*at, key)
                yield from _required(option["properties"][key], (*at, key), value[key])
            if isinstance(option.get("additionalProperties"), dict):
                for key, entry in value.items():
                    yield from _required(option["additionalProperties"], (*at, key), entry)
        elif isinstance(value, list) and isinstance(option.get("items"), dict):
            for number, entry in enumerate(value[:1]):
                yield from _required(option["items"], (*at, number), entry)


def test_a_key_left_out_or_of_another_type_is_noticed() -> None:
    """Not vacuous: each key of one plan, left out or turned into something else, makes the schema complain."""
    whole = copy.deepcopy(_plan("lock-house"))
    places = list(_required(PLAN, (), whole))
    assert len(places) > 150
    for place in places:
        where: Any = whole
        for key in place[:-1]:
            where = where[key]
        before = where.pop(place[-1])
        assert not VALID.is_valid(whole), f"{place} left out"
        if place[0] != "settings" or place[-1] != "value":  # a setting may be of any type
            where[place[-1]] = 1.5
            assert not VALID.is_valid(whole), f"{place} of another type"
        where[place[-1]] = before
    assert VALID.is_valid(whole)


# ---- what the parts say of each other ----


def test_every_name_is_that_of_a_device_or_cable(plan: Plan, request: pytest.FixtureRequest) -> None:
    devices, packs = set(plan["devices"]), set(plan["packs"])
    assert packs == {name for name, one in plan["devices"].items() if one["kind"] == "pack"}
    assert len({link["id"] for link in plan["links"]}) == len(plan["links"])
    for link in plan["links"]:
        on = {*link["members"], *([link["manager"]] if link["manager"] is not None else [])}
        assert on <= packs
        assert link["manager"] not in link["members"]
        assert set(link["reports_to"]) <= devices - packs
        assert link["poller"] is None or link["poller"] in on | set(link["reports_to"])
        assert set(link["buses"]) <= set(plan["buses"])
        assert {name for name, one in plan["packs"].items() if one["link"] == link["id"]} == on
    for bus in plan["buses"].values():
        assert {device for device, _ in bus["nodes"]} <= devices
        assert {one["device"] for one in bus["terminators"]} <= {device for device, _ in bus["nodes"]}
    for cable in plan["cables"].values():
        assert {cable["from"][0], cable["to"][0]} <= devices
    for one in findings_of(plan):
        assert set(one["about"]) <= devices or one["rule"] == "acceptance-without-finding"
    wanted = {cable.id for cable in interop.load_site(SITES[request.node.callspec.params["plan"]]).cables}
    for reason in plan["reasons"]:
        assert set(reason["about"]) <= devices | set(plan["cables"]) | wanted
    assert set(plan["settings"]) <= devices - packs


def test_roles_and_addresses_agree(plan: Plan) -> None:
    managers = {link["manager"] for link in plan["links"]} - {None}
    for name, pack in plan["packs"].items():
        assert (pack["role"] == "manager") == (name in managers)
        if pack["role"] == "unmanaged":
            assert (pack["link"], pack["mode"], pack["address"], pack["addresses"]) == (None, None, None, {})
        else:
            assert pack["link"] is not None
            assert pack["mode"] is not None
        for bus, address in pack["addresses"].items():
            assert address == pack["address"]
            assert name in {device for device, _ in plan["buses"][bus]["nodes"]}


def test_a_row_holds_on_and_off_or_one_word(plan: Plan) -> None:
    """Slides are lists of on and off, as found also x for a switch nobody looked at; a wheel or menu is one text."""
    for name, pack in plan["packs"].items():
        record = record_of(plan, name)
        assert set(pack["switches"]) == set(record["switches"]), name
        for row, entry in pack["switches"].items():
            if record["switches"][row]["kind"] == "slide":
                assert set(entry["set"]) <= {"on", "off"}, (name, row)
                assert set(entry["was"] or ()) <= {"on", "off", "x"}, (name, row)
                assert len(entry["was"] or entry["set"]) == len(entry["set"])
            else:
                assert len(entry["set"]) == 1, (name, row)
                assert entry["was"] is None or len(entry["was"]) == 1


@cache
def _records() -> dict[str, Plan]:
    """Every record as plain YAML, read without the program."""
    from tests.behaviour.model import read_records

    home, ten_faults = ROOT / "tests" / "exercises", ROOT / "examples" / "ten-faults" / "records"
    return read_records([ROOT / "catalogs", home / "records", home / "sites" / "catalog", ten_faults])


def record_of(plan: Plan, device: str) -> Plan:
    return {"switches": {}} | _records()[plan["devices"][device]["record"]]


def test_pins_of_a_cable(plan: Plan) -> None:
    """No pin twice, none both joined and cut; a straight cable joins like numbers, a re-pinned one has nothing cut."""
    for name, cable in plan["cables"].items():
        here, there = [a for a, _ in cable["joined"]], [b for _, b in cable["joined"]]
        assert len(set(here)) == len(here), name
        assert len(set(there)) == len(there), name
        assert not set(cable["cut"]) & set(here), name
        if cable["kind"] == "straight":
            assert here == there, name
        else:
            assert cable["cut"] == [], name
            assert here != there, name
        if cable["action"] == "remove":
            assert (cable["joined"], cable["cut"]) == ([], [])
        if cable["action"] in ("keep", "make", "remove"):
            assert (cable["remove"], cable["new_plugs"]) == ([], [])
        assert not [pair for pair in cable["remove"] if pair in cable["joined"]], name
        assert not [a for a, b in cable["remove"] if a == b and a in cable["cut"]], name


def test_acceptances_only_under_cautions(plan: Plan) -> None:
    assert {one["level"] for one in findings_of(plan) if one["accepted"] is not None} <= {"caution"}


def test_findings_stand_gravest_first(plan: Plan) -> None:
    order = ["stop", "caution", "note"]
    for stage in ("findings", "found"):
        levels = [order.index(one["level"]) for one in plan[stage]]
        assert levels == sorted(levels)


def test_inputs_are_named_from_the_site_file_with_their_digests(plan: Plan, request: pytest.FixtureRequest) -> None:
    home = SITES[request.node.callspec.params["plan"]].parent
    for number, one in enumerate(plan["inputs"]):
        assert "\\" not in one["path"]
        assert not one["path"].startswith("/")
        assert hashlib.sha256((home / one["path"]).read_bytes()).hexdigest() == one["sha256"]
        assert (number == 0) == (one["path"] == SITES[request.node.callspec.params["plan"]].name)
    used = {one["record"] for one in plan["devices"].values()}
    texts = [(home / one["path"]).read_text(encoding="utf-8") for one in plan["inputs"][1:]]
    assert used <= {word for text in texts for word in re.findall(r"^id: *(\S+)", text, re.MULTILINE)}


def _wordless(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _wordless(item) for key, item in value.items() if key != "text"}
    return [_wordless(item) for item in value] if isinstance(value, list) else value


def test_the_fingerprint_by_its_definition(plan: Plan) -> None:
    """SHA-256 of the JSON with sorted keys and no spaces, in UTF-8, without fingerprint, date and every text."""
    decided = _wordless({key: value for key, value in plan.items() if key not in ("fingerprint", "date")})
    made = json.dumps(decided, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode("utf-8")
    assert plan["fingerprint"] == hashlib.sha256(made).hexdigest()


def test_date_and_draft_stand_where_they_were_given() -> None:
    site = interop.load_site(SITES["lock-house"])
    plan = interop.plan_document(site, draft=True, date="2031-05-02")[0]
    assert (plan["draft"], plan["date"]) == (True, "2031-05-02")
    assert plan["cleared"] == _plan("lock-house")["cleared"]
    assert faults(json.loads(json.dumps(plan))) == []
    assert (_plan("lock-house")["draft"], _plan("lock-house")["date"]) == (False, None)
