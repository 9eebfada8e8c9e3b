"""Terminators shape the route: fixed ones stand at the ends, packs that can have none stand between.

Where they can be is where they are on: at the two ends of the whole bus, a controller on it being one of them, and a
plug only where a socket is free for it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.choose.plan import decide, planned_stage
from interop.documents.faces_of import faces_of
from interop.documents.package import plan_document
from interop.records.answers import Answer
from interop.rules.finding import RULES, findings
from interop.site.load import load_site
from interop.site.site import Site
from interop.wiring.managers import claims_manager

CATALOGS = Path(__file__).parents[2] / "catalogs"
TARN = next(CATALOGS.rglob("tarn-b.yaml"))
CHAIN = "termination: {fitted: by switch, ohm: 120, ends: not required}"


def planned(folder: Path, one: str, other: str) -> dict[str, Any]:
    """Packs P1..P2 with terminators fitted one way, Q1..Q2 with them fitted another; the ends must have them."""
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "own").mkdir()
    plain = TARN.read_text(encoding="utf-8")
    assert CHAIN in plain
    for name, fitted in (("dace-1", one), ("dace-2", other)):
        text = plain.replace("id: tarn-b\n", f"id: {name}\n")
        text = text.replace(CHAIN, f"termination: {{fitted: {fitted}, ohm: 120, ends: required}}")
        if fitted != "by switch":
            head, tail = text.split("  END:\n")
            text = head + tail[tail.index("\n\n") + 1 :]
        (folder / "own" / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "site.yaml").write_text(
        "interop: site/1\nname: Ends\ncatalogs: [own, cat]\n"
        "packs: {P1..P2: {model: dace-1, place: rack 1 slot 1.., new: yes}, "
        "Q1..Q2: {model: dace-2, place: rack 1 slot 3.., new: yes}}\n"
        "controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}\n"
        "links: {L: {packs: [P1..P2, Q1..Q2], manager: P1, reports_to: INV, cables: propose}}\n",
        encoding="utf-8",
    )
    return plan_document(load_site(folder / "site.yaml"))[0]


def row(plan: dict[str, Any]) -> list[str]:
    """The packs from one end of the chain to the other, by its cables."""
    pairs = [[end[0] for end in (c["from"], c["to"])] for c in plan["cables"].values()]
    chain = [pair for pair in pairs if "INV" not in pair]
    start = next(p for pair in chain for p in pair if sum(p in other for other in chain) == 1)
    order = [start]
    while chain:
        pair = next(p for p in chain if order[-1] in p)
        chain.remove(pair)
        order.append(pair[1] if pair[0] == order[-1] else pair[0])
    return order


def terminators(plan: dict[str, Any]) -> list[str]:
    return sorted(f["text"] for f in plan["findings"] if "terminator" in f["rule"])


@pytest.mark.parametrize("one, other, ends", [
    ("by switch", "by switch", {"P1", "Q2"}),
    ("by switch", "always", {"Q1", "Q2"}),
    ("always", "by switch", {"P1", "P2"}),
    ("by switch", "never", {"P1", "P2"}),
    ("always", "never", {"P1", "P2"}),
])
def test_the_ends_are_where_terminators_can_be(tmp_path: Path, one: str, other: str, ends: set[str]) -> None:
    plan = planned(tmp_path, one, other)
    order = row(plan)
    assert {order[0], order[-1]} == ends
    assert terminators(plan) == []
    assert plan["links"][0]["manager"] == "P1"


def test_where_nothing_helps_the_row_starts_at_the_manager_and_the_faults_are_told(tmp_path: Path) -> None:
    plan = planned(tmp_path, "always", "always")
    assert row(plan)[0] == "P1"
    assert terminators(plan) == [
        "Link L: P1, P2, Q1, Q2 have a fixed terminator each; 4 in parallel are 30 ohm, rs-485 needs 60 ohm or more"
    ]


# ---- packs and controllers of the catalogs with other terminators ----

Edit = Callable[[dict[str, Any]], None]
REQUIRED = {"fitted": "by switch", "ohm": "120", "ends": "required"}
SWITCH = {
    "kind": "slide", "printed": "1..1", "on_side": "up", "takes_effect": "at once",
    "parts": [{"use": "1", "sets": "terminator", "bus": "chain", "code": {"flag": "on"}}],
}  # fmt: skip


def derived(folder: Path, base: str, name: str, edit: Edit) -> None:
    """Write a record of the catalogs under another id, changed."""
    text = next(CATALOGS.rglob(f"{base}.yaml")).read_text(encoding="utf-8")
    record = yaml.load(text, yaml.BaseLoader)  # noqa: S506  (a safe loader that gives every value as text)
    record.update(id=name, name=name)
    if record.get("kind") != "controller":
        record.update(family=name, generation="1")
        record["with"] = [{"other": "any", "same_link": "yes", "same_busbar": "yes", "source": "manual"}]
    edit(record)
    (folder / "own").mkdir(exist_ok=True)
    (folder / "own" / f"{name}.yaml").write_text(yaml.safe_dump(record, sort_keys=False), encoding="utf-8")


def loaded(folder: Path, body: str) -> Site:
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "site.yaml").write_text(
        f"interop: site/1\nname: Ends\ncatalogs: [own, cat]\n{body}", encoding="utf-8"
    )
    return load_site(folder / "site.yaml")


def polled(
    folder: Path, weir: str, packs: int, extra: str = "cables: propose}}\n", most: int = 16, **bus: object
) -> Site:
    """Packs P1.. that the controller WEIR polls on their own bus; ``weir``: how its terminator is fitted, ``most``: the
    devices it allows there. ``bus`` changes the bus of the packs.
    """
    def pack(record: dict[str, Any]) -> None:
        record["buses"] = {"chain": {
            "kind": "rs-485", "rates_bps": ["9600"], "rate_set_by": "fixed", "dialect": "rill-485", "frame": "8N1",
            "isolated": "yes", "nodes": "16", "unit_loads": "1", "poller": "controller", "identity": "by address",
            "termination": dict(REQUIRED), **bus,
        }}  # fmt: skip
        for part in ("ports", "pins", "printed"):
            record[part].pop("REPORT")
        record.pop("printed")
        pins = {"4": "chain plus", "5": "chain minus", "3": "reference"}
        record["pins"]["CHAIN"] = {str(i): pins.get(str(i), "empty") for i in range(1, 9)}
        record["switches"] = {"MENU ADDRESS": record["switches"]["MENU ADDRESS"]}
        if record["buses"]["chain"]["termination"]["fitted"] == "by switch":
            record["switches"]["T"] = SWITCH
        record["addresses"] = {"chain": {"allowed": "1..15", "gaps": "allowed", "start": "1", "manager": "none"}}
        record["manager"] = {
            "made_by": "controller", "members_at_most": "15",
            "reports": {"charge_state": "own", "limits": "own", "current": "own"},
        }  # fmt: skip

    def controller(record: dict[str, Any]) -> None:
        ends = {"fitted": weir, "ohm": "120", "ends": "required"}
        record["buses"]["battery"].update(nodes=str(most), termination=ends)

    derived(folder, "rill-50", "bleak-5", pack)
    derived(folder, "weir-8", "weir-p", controller)
    return loaded(
        folder,
        f"packs: {{P1..P{packs}: {{model: bleak-5, place: rack 1 slot 1.., new: yes}}}}\n"
        "controllers: {WEIR: {model: weir-p, cable_lands_on: unit 1}}\n"
        f"links: {{L: {{packs: [P1..P{packs}], reports_to: WEIR, {extra}",
    )


def on(site: Site) -> dict[str, bool]:
    """Which chain terminators are on, by pack."""
    return {pack: value for (pack, bus), value in decide(site).terminators.items() if bus == "chain"}


def judged(site: Site, rule: str) -> list[str]:
    stage = planned_stage(decide(site))
    return [f"{f.level.value} {f.verdict} {','.join(f.about)}: {f.text}" for f in findings(stage, [RULES[rule]])]


def plugs(site: Site) -> dict[str, str]:
    """What the sheets put into sockets beside cables."""
    faces = faces_of(decide(site)).devices
    return {f"{name} {p.socket}": p.holds for name, face in faces.items() for p in face.ports if p.holds}


# ---- a controller on the packs' own bus ----


def test_a_polling_controller_is_an_end_of_the_row(tmp_path: Path) -> None:
    site = polled(tmp_path, "always", 3)
    assert on(site) == {"P1": False, "P2": False, "P3": True}
    for rule in ("terminator-missing", "terminator-extra", "terminator-not-at-an-end", "terminator-stale"):
        assert judged(site, rule) == [], rule


def test_a_polling_controller_that_can_have_no_terminator_leaves_one_missing(tmp_path: Path) -> None:
    site = polled(tmp_path, "never", 3)
    assert on(site) == {"P1": False, "P2": False, "P3": True}
    tail = "on the bus of P1..P3, WEIR (rs-485); 2 are needed, one at each end"
    assert judged(site, "terminator-missing") == [
        f"caution broken P1,P2,P3,WEIR: Link L: 1 terminator (P3) {tail}"
    ]


def test_a_terminator_set_beside_a_polling_controller_is_not_at_an_end(tmp_path: Path) -> None:
    site = polled(tmp_path, "never", 3, "cables: propose}}\nset: {P1: {T: 1}}\n")
    assert on(site) == {"P1": True, "P2": False, "P3": True}
    assert judged(site, "terminator-not-at-an-end") == [
        "caution broken P1: Link L: P1 has a terminator on in the middle; the ends are P3 and WEIR"
    ]


@pytest.mark.parametrize("weir, set_to, text", [
    ("always", "", None),
    ("never", "", "1 terminator (P1)"),
    ("always", "set: {P1: {T: 0}}\n", "1 terminator (WEIR)"),
    ("never", "set: {P1: {T: 0}}\n", "no terminator"),
])
def test_one_pack_and_its_controller_are_the_two_ends(
    tmp_path: Path, weir: str, set_to: str, text: str | None
) -> None:
    site = polled(tmp_path, weir, 1, f"cables: propose}}}}\n{set_to}")
    assert on(site) == {"P1": not set_to}
    tail = "on the bus of P1, WEIR (rs-485); 2 are needed, one at each end"
    expected = [] if text is None else [f"caution broken P1,WEIR: Link L: {text} {tail}"]
    assert judged(site, "terminator-missing") == expected


def test_a_long_cable_to_the_controller_counts_as_length_of_the_bus(tmp_path: Path) -> None:
    """By hand: 1200 m at 9600 bit/s are 11.52e6, above the 1e7 under which a missing terminator is only a note; 1000 m
    are 9.6e6, below it.
    """
    for number, (length, level) in enumerate([("1200 m", "caution"), ("1000 m", "note")]):
        folder = tmp_path / f"{number}"
        folder.mkdir()
        wire = f"W: {{from: P1 IN, to: WEIR BMS, made: {{3: 3, 4: 7, 5: 8}}, length: {length}}}"
        site = polled(folder, "always", 1, f"}}}}\ncables: {{{wire}}}\nset: {{P1: {{T: 0}}}}\n")
        assert [one.split(":")[0] for one in judged(site, "terminator-missing")] == [f"{level} broken P1,WEIR"]


@pytest.mark.parametrize("most, loads, text", [
    (1, "1", "2 devices hang on the bus of P1, WEIR; WEIR (weir-p) allows 1"),
    (2, "31.5", "the bus of P1, WEIR has 32.5 unit loads; rs-485 allows 32"),
    (2, "31", None),
])
def test_nodes_and_unit_loads_of_one_pack_and_its_controller(
    tmp_path: Path, most: int, loads: str, text: str | None
) -> None:
    site = polled(tmp_path, "always", 1, most=most, unit_loads=loads)
    assert judged(site, "too-many-nodes") == ([] if text is None else [f"stop broken P1,WEIR: Link L: {text}"])


def test_a_plug_at_the_last_pack_and_none_beside_the_controller(tmp_path: Path) -> None:
    site = polled(tmp_path, "always", 3, termination={**REQUIRED, "fitted": "by plug"})
    assert on(site) == {"P1": False, "P2": False, "P3": True}
    assert plugs(site) == {"P3 OUT": "terminator plug, 120 ohm"}


# ---- plugs ----


def rills(folder: Path, packs: int, edit: Edit) -> Site:
    derived(folder, "rill-50", "bleak-6", edit)
    return loaded(
        folder,
        f"packs: {{P1..P{packs}: {{model: bleak-6, place: rack 1 slot 1.., new: yes}}}}\n"
        "controllers: {WEIR: {model: weir-8, cable_lands_on: unit 1}}\n"
        f"links: {{L: {{packs: [P1..P{packs}], manager: P1, reports_to: WEIR, cables: propose}}}}\n",
    )


def test_a_plug_is_on_only_where_a_socket_is_free(tmp_path: Path) -> None:
    site = rills(tmp_path, 2, lambda record: record["ports"]["CHAIN"].update(sockets=["C"]))
    assert on(site) == {"P1": False, "P2": False}
    assert plugs(site) == {}
    assert plan_document(site)[0]["buses"]["L chain"]["terminators"] == []
    assert judged(site, "terminator-missing") == [
        "stop broken P1,P2: Link L: no terminator on the bus of P1, P2 (can); 2 are needed, one at each end"
    ]


def test_one_plug_in_one_of_several_free_sockets(tmp_path: Path) -> None:
    site = rills(tmp_path, 2, lambda record: record["ports"]["CHAIN"].update(sockets=["IN", "OUT", "AUX"]))
    assert on(site) == {"P1": True, "P2": True}
    assert sorted(name.split(" ")[0] for name in plugs(site)) == ["P1", "P2"]
    assert judged(site, "terminator-missing") == []


def test_a_report_plug_needs_a_socket_too(tmp_path: Path) -> None:
    def edit(record: dict[str, Any]) -> None:
        record["buses"]["report"]["termination"] = {"fitted": "by plug", "ohm": "120", "ends": "required"}

    site = rills(tmp_path, 2, edit)
    assert decide(site).terminators["P1", "report"] is False
    tail = "on the bus of P1, WEIR (rs-485); 2 are needed, one at each end"
    assert judged(site, "terminator-missing") == [f"caution broken P1,WEIR: Link L: 1 terminator (WEIR) {tail}"]


def empty_port(record: dict[str, Any]) -> None:
    """The pack with nothing in UP is the manager; UP and DOWN carry the chain."""
    chain = record["ports"].pop("CHAIN")
    pins = record["pins"].pop("CHAIN")
    for name, way in (("UP", "in"), ("DOWN", "out")):
        record["ports"][name] = {**chain, "sockets": [name], "direction": way, "inside": "alone"}
        record["pins"][name] = dict(pins)
    record["switches"].pop("MENU ADDRESS")
    record["addresses"] = {"chain": {"given": "by port order", "first": "manager"}}
    record["manager"].update(made_by="empty port", port="UP")


def test_no_plug_in_the_port_that_makes_the_manager_by_being_empty(tmp_path: Path) -> None:
    site = rills(tmp_path, 3, empty_port)
    assert on(site) == {"P1": False, "P2": False, "P3": True}
    assert plugs(site) == {"P3 DOWN": "terminator plug, 120 ohm"}
    assert judged(site, "terminator-missing") == [
        "stop broken P1,P2,P3: Link L: 1 terminator (P3) on the bus of P1..P3 (can); 2 are needed, one at each end"
    ]


def test_a_plug_in_that_port_unmakes_the_manager(tmp_path: Path) -> None:
    stage = planned_stage(decide(rills(tmp_path, 3, empty_port)))
    (link,) = stage.links
    assert claims_manager(stage, link, "P1") is Answer.HOLDS
    plugged = replace(stage, terminators={**stage.terminators, ("P1", "chain"): True})
    assert claims_manager(plugged, link, "P1") is Answer.BROKEN


# ---- a bus wants what any of its nodes requires ----


def mixed(folder: Path, near: str, far: str) -> Site:
    """P1 (manager) and Q1 on one bus, their records asking unlike things of its ends."""
    plain = TARN.read_text(encoding="utf-8")
    (folder / "own").mkdir()
    for name, asked in (("dace-1", near), ("dace-2", far)):
        text = plain.replace("id: tarn-b\n", f"id: {name}\n")
        text = text.replace(CHAIN, CHAIN.replace("not required", asked))
        (folder / "own" / f"{name}.yaml").write_text(text, encoding="utf-8")
    return loaded(
        folder,
        "packs: {P1: {model: dace-1, place: rack 1 slot 1, new: yes}, Q1: {model: dace-2, place: rack 1 slot 2, "
        "new: yes}}\ncontrollers: {INV: {model: mole-6, cable_lands_on: unit 1}}\n"
        "links: {L: {packs: [P1, Q1], manager: P1, reports_to: INV, cables: propose}}\n",
    )


@pytest.mark.parametrize("near, far, ends", [
    ("required", "not required", (True, True)),
    ("not required", "required", (True, True)),
    ("not required", "not required", (False, False)),
    ("required", "forbidden", (True, False)),
    ("required", "only in open loop", (True, False)),
    ("required", "not stated", (True, True)),
])
def test_a_bus_wants_what_any_of_its_nodes_requires(
    tmp_path: Path, near: str, far: str, ends: tuple[bool, bool]
) -> None:
    site = mixed(tmp_path, near, far)
    assert on(site) == dict(zip(("P1", "Q1"), ends, strict=True))
    missing = [one.split(": ")[2] for one in judged(site, "terminator-missing")]
    wanted = ["1 terminator (P1) on the bus of P1, Q1 (rs-485); 2 are needed, one at each end"]
    assert missing == (wanted if ends == (True, False) else [])
