"""Controllers on the packs' own bus: the site's own cable to one is kept at whatever pack it is, in the middle of the
row too; every controller gets a cable or the plan stops; a listed cable never goes unsaid.

By hand: five devices in a row have two ends; a terminator belongs at each end and nowhere else.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import interop.rules.judge  # noqa: F401  (enters every rule)
from interop.choose.plan import decide, planned_stage
from interop.rules.finding import RULES, findings
from interop.site.site import Site
from interop.wiring.stage import as_found
from tests.choose.test_terminator_ends import SWITCH, derived, loaded

TWO = {"sockets": ["BMS1", "BMS2"], "plug": "rj45", "direction": "either", "inside": "same pin joined",
       "reference": "isolated", "shell": "none", "lands_on": "unit 1"}  # fmt: skip


def site(folder: Path, body: str, *, fitted: str = "always", kind: str = "rs-485", inside: str | None = None) -> Site:
    """Packs of record dab, polled by controllers of record eyot on their own bus. ``inside``: eyot has two sockets."""
    wires = {"rs-485": ("chain minus", "chain plus"), "can": ("chain low", "chain high")}[kind]
    far = {"rs-485": ("battery plus", "battery minus"), "can": ("battery high", "battery low")}[kind]
    poller = "controller" if kind == "rs-485" else "nobody"
    common = {"kind": kind, "rates_bps": ["9600" if kind == "rs-485" else "250000"], "rate_set_by": "fixed",
              "dialect": "rill-485", "isolated": "yes", "nodes": "32", "poller": poller}  # fmt: skip

    def pack(record: dict[str, Any]) -> None:
        ends = {"fitted": "by switch", "ohm": "120", "ends": "required"}
        record["buses"] = {"chain": {**common, "identity": "by address", "termination": ends}}
        for part in ("ports", "pins"):
            record[part].pop("REPORT")
        record.pop("printed", None)
        record.pop("lines", None)
        record["pins"]["LINK"] = {str(i): "empty" for i in range(1, 9)} | {"3": "reference", "7": wires[0],
                                                                           "8": wires[1]}
        code = {"number": {"shown": "1..15", "wire_from": "1"}}
        record["switches"] = {"ID": {"kind": "hex", "positions": "0..15", "takes_effect": "at once",
                                     "parts": [{"use": "all", "sets": "address", "code": code}]}, "END": SWITCH}
        record["addresses"] = {"chain": {"allowed": "1..15", "gaps": "forbidden", "start": "1", "manager": "none"}}
        record["manager"] = {"made_by": "controller",
                             "reports": {"charge_state": "own", "limits": "own", "current": "own"}}

    def controller(record: dict[str, Any]) -> None:
        record["buses"]["battery"].update(common, termination={"fitted": fitted, "ohm": "120", "ends": "not required"})
        pins = {str(i): "empty" for i in range(1, 9)} | {"3": "reference", "7": far[0], "8": far[1]}
        record["pins"]["BMS"] = pins
        record.pop("printed", None)
        if inside is not None:
            record["ports"]["BMS"] = {**TWO, "inside": inside}

    derived(folder, "tarn-a", "dab", pack)
    derived(folder, "weir-8", "eyot", controller)
    return loaded(folder, body)


def packs(number: int) -> str:
    return f"packs: {{A1..A{number}: {{model: dab, place: rack 1 slot 1.., new: yes}}}}\n"


INV = "controllers: {INV: {model: eyot, cable_lands_on: unit 1}}\n"
BOTH = "controllers: {INV: {model: eyot}, INW: {model: eyot}}\n"
ROW = "W1..W2: {chain: A1..A3, from: LINK2, to: LINK1, made: propose, length: 1 m}"


def cables(plan: Site) -> dict[str, tuple[str, str]]:
    """Ends of every planned cable, by id."""
    found = {}
    for route in decide(plan).routes.values():
        for cable in route.cables:
            found[cable.id] = tuple(f"{e.device} {e.socket}" for e in (cable.a, cable.b))
    return found  # type: ignore[return-value]


def on(plan: Site) -> dict[str, bool]:
    return {pack: value for (pack, _), value in decide(plan).terminators.items()}


def link_findings(plan: Site, stage: str = "planned") -> list[str]:
    where = planned_stage(decide(plan)) if stage == "planned" else as_found(plan)
    rules = [r for r in RULES.values() if r.subject in ("link", "conductor", "address")]
    return [f"{f.level.value} {f.rule} {','.join(f.about)}: {f.text}" for f in findings(where, rules)
            if f.level.value != "note"]


@pytest.mark.parametrize("pack, socket, terminators", [
    ("A1", "LINK1", {"A1": False, "A2": False, "A3": True}),
    ("A3", "LINK2", {"A1": True, "A2": False, "A3": False}),
])
def test_the_sites_own_cable_to_the_controller_is_kept_at_either_end(
    tmp_path: Path, pack: str, socket: str, terminators: dict[str, bool]
) -> None:
    plan = site(tmp_path, f"{packs(3)}{INV}links: {{a: {{packs: A1..A3, manager: propose, reports_to: INV}}}}\n"
                f"cables:\n  {ROW}\n  W4: {{from: {pack} {socket}, to: INV BMS, made: propose, length: 1 m}}\n")
    assert cables(plan)["W4"] == (f"{pack} {socket}", "INV BMS")
    assert set(cables(plan)) == {"W1", "W2", "W4"}
    assert on(plan) == terminators
    assert link_findings(plan) == []


def test_a_proposed_row_leaves_a_socket_for_the_listed_cable(tmp_path: Path) -> None:
    """A2 has two sockets, one of them for the controller: it must stand at an end."""
    body = "links: {a: {packs: A1..A3, manager: propose, reports_to: INV, cables: propose}}\n"
    plan = site(tmp_path, f"{packs(3)}{INV}{body}"
                "cables:\n  W4: {from: A2 LINK1, to: INV BMS, made: propose, length: 1 m}\n")
    assert cables(plan)["W4"] == ("A2 LINK1", "INV BMS")
    ends = [{c.split()[0] for c in pair} for name, pair in cables(plan).items() if name != "W4"]
    assert sum("A2" in pair for pair in ends) == 1
    assert len(ends) == 2
    assert on(plan)["A2"] is False
    assert sorted(on(plan).values()) == [False, False, True]
    assert link_findings(plan) == []


@pytest.mark.parametrize("listed", [
    "cables:\n  " + ROW + "\n  W3: {from: A1 LINK1, to: INV BMS, made: propose, length: 1 m}\n"
    "  W4: {from: A3 LINK2, to: INW BMS, made: propose, length: 1 m}\n",
    "cables:\n  " + ROW + "\n  W4: {from: A3 LINK2, to: INW BMS, made: propose, length: 1 m}\n",
    "cables:\n  " + ROW + "\n",
    "",
])
def test_every_controller_on_a_can_bus_gets_a_cable(tmp_path: Path, listed: str) -> None:
    plan = site(tmp_path, f"{packs(3)}{BOTH}links: {{a: {{packs: A1..A3, manager: propose, reports_to: [INV, INW]}}}}\n"
                f"{listed}", kind="can")
    ends = {frozenset(end.split()[0] for end in pair) for pair in cables(plan).values()}
    assert ends == {frozenset(p) for p in (("A1", "A2"), ("A2", "A3"), ("A1", "INV"), ("A3", "INW"))}
    assert on(plan) == dict.fromkeys(("A1", "A2", "A3"), False)
    assert link_findings(plan) == []


def test_a_controller_that_no_socket_is_left_for_stops_the_plan(tmp_path: Path) -> None:
    three = BOTH.replace("}}", "}, INX: {model: eyot}}")
    link = "links: {a: {packs: A1..A3, reports_to: [INV, INW, INX]}}\n"
    plan = site(tmp_path, f"{packs(3)}{three}{link}", kind="can")
    assert "stop link-in-pieces INX: Link a: no data cable reaches INX" in link_findings(plan)


def test_controllers_one_behind_the_other(tmp_path: Path) -> None:
    plan = site(tmp_path, f"{packs(2)}{BOTH}links: {{a: {{packs: A1..A2, reports_to: [INV, INW]}}}}\n"
                "cables:\n  W1: {from: A1 LINK2, to: A2 LINK1, made: propose, length: 1 m}\n"
                "  W2: {from: A2 LINK2, to: INV BMS1, made: propose, length: 1 m}\n"
                "  W3: {from: INV BMS2, to: INW BMS1, made: propose, length: 1 m}\n",
                kind="can", fitted="never", inside="same pin joined")
    assert cables(plan)["W3"] == ("INV BMS2", "INW BMS1")
    assert set(cables(plan)) == {"W1", "W2", "W3"}
    assert on(plan) == {"A1": True, "A2": False}


MIDDLE = """cables:
  W1: {from: A1 LINK2, to: A2 LINK1, made: propose, length: 1 m}
  W2: {from: A3 LINK2, to: A4 LINK1, made: propose, length: 1 m}
  W3: {from: A2 LINK2, to: INV BMS1, made: propose, length: 1 m}
  W4: {from: A3 LINK1, to: INV BMS2, made: propose, length: 1 m}
"""
FOUR = "links: {a: {packs: A1..A4, manager: propose, reports_to: INV}}\n"


def test_a_controller_in_the_middle_of_its_packs_is_a_hop(tmp_path: Path) -> None:
    plan = site(tmp_path, f"{packs(4)}{INV}{FOUR}{MIDDLE}", fitted="never", inside="same pin joined")
    assert cables(plan) == {"W1": ("A1 LINK2", "A2 LINK1"), "W2": ("A3 LINK2", "A4 LINK1"),
                            "W3": ("A2 LINK2", "INV BMS1"), "W4": ("A3 LINK1", "INV BMS2")}
    assert decide(plan).routes["a"].order == ("A1", "A2", "A3", "A4")
    assert on(plan) == {"A1": True, "A2": False, "A3": False, "A4": True}
    assert link_findings(plan) == []


@pytest.mark.parametrize("inside, text", [
    ("alone", "stop link-in-pieces A3,A4: Link a: no data cable reaches A3, A4"),
    ("not stated", ("stop link-in-pieces INV,A1,A2,A3,A4: Link a: the row runs through INV (eyot), and whether the "
                    "sockets of its port BMS are joined inside is not known")),
])
def test_a_controller_whose_sockets_are_not_joined_is_none(tmp_path: Path, inside: str, text: str) -> None:
    plan = site(tmp_path, f"{packs(4)}{INV}{FOUR}{MIDDLE}", fitted="never", inside=inside)
    assert text in link_findings(plan)


FOUND = """found:
  A1: {ID: "1", END: 1}
  A2: {ID: "2", END: 0}
  A3: {ID: "3", END: 0}
  A4: {ID: "4", END: 1}
  links: {a: {packs: A1..A4, reports_to: INV}}
  cables:
    W1: {from: A1 LINK2, to: A2 LINK1, made: {7: 7, 8: 8, 3: 3}, length: 1 m}
    W2: {from: A3 LINK2, to: A4 LINK1, made: {7: 7, 8: 8, 3: 3}, length: 1 m}
    W3: {from: A2 LINK2, to: INV BMS1, made: {7: 8, 8: 7, 3: 3}, length: 1 m}
    W4: {from: A3 LINK1, to: INV BMS2, made: {7: 8, 8: 7, 3: 3}, length: 1 m}
"""


def found(folder: Path, change: tuple[str, str] = ("", "")) -> list[str]:
    body = FOUND.replace(*change) if change[0] else FOUND
    stands = packs(4).replace(", new: yes", "")
    plan = site(folder, f"{stands}{INV}{FOUR}{body}", fitted="never", inside="same pin joined")
    return link_findings(plan, "found")


def test_a_found_controller_in_the_middle_is_no_fault(tmp_path: Path) -> None:
    assert found(tmp_path) == []


def test_an_installed_row_with_a_controller_inside_stays(tmp_path: Path) -> None:
    """Nobody lists a cable: all four stay, each with its own name, and the ends of the row are A1 and A4."""
    stands = packs(4).replace(", new: yes", "")
    body = f"{stands}{INV}links: {{a: {{packs: A1..A4, manager: propose, reports_to: INV}}}}\n"
    found_ = FOUND if FOUND.startswith("found") else FOUND[FOUND.index("found") :]
    plan = site(tmp_path, body + found_, fitted="never", inside="same pin joined")
    assert cables(plan) == {"W1": ("A1 LINK2", "A2 LINK1"), "W3": ("A2 LINK2", "INV BMS1"),
                            "W4": ("A3 LINK1", "INV BMS2"), "W2": ("A3 LINK2", "A4 LINK1")}  # fmt: skip
    assert on(plan) == {"A1": True, "A2": False, "A3": False, "A4": True}
    assert [one for one in link_findings(plan) if one.startswith("stop")] == []


def test_a_ring_through_a_controller_is_one(tmp_path: Path) -> None:
    more = "\n    W5: {from: A4 LINK2, to: A1 LINK1, made: {7: 7, 8: 8, 3: 3}, length: 1 m}\n"
    text = "cables W1, W5, W2..W4 close a ring of A1..A4, INV; a link is a line with two ends"
    assert f"stop closed-ring A1,A2,A3,A4,INV: Link a: {text}" in found(tmp_path, ("\n    W2:", more + "    W2:"))


def test_what_the_controller_that_asks_does_not_reach(tmp_path: Path) -> None:
    gone = "    W3: {from: A2 LINK2, to: INV BMS1, made: {7: 8, 8: 7, 3: 3}, length: 1 m}\n"
    assert found(tmp_path, (gone, ""))[0] == "stop link-in-pieces A1,A2: Link a: no data cable reaches A1, A2"


def test_a_found_controller_that_no_cable_reaches_is_named(tmp_path: Path) -> None:
    rest = ("    W2: {from: A3 LINK2, to: A4 LINK1, made: {7: 7, 8: 8, 3: 3}, length: 1 m}\n"
            "    W3: {from: A2 LINK2, to: INV BMS1, made: {7: 8, 8: 7, 3: 3}, length: 1 m}\n"
            "    W4: {from: A3 LINK1, to: INV BMS2, made: {7: 8, 8: 7, 3: 3}, length: 1 m}\n")
    whole = "    W2..W3: {chain: A2..A4, from: LINK2, to: LINK1, made: {7: 7, 8: 8, 3: 3}, length: 1 m}\n"
    assert found(tmp_path, (rest, whole)) == ["stop link-in-pieces INV: Link a: no data cable reaches INV"]


def test_a_pack_left_off_beside_the_controller_is_bridged(tmp_path: Path) -> None:
    plan = site(tmp_path, f"{packs(4)}{INV}{FOUR}{MIDDLE}wishes: {{must: [keep A2 unmanaged]}}\n", fitted="never",
                inside="same pin joined")
    ends = {frozenset(end.split()[0] for end in pair) for pair in cables(plan).values()}
    assert ends == {frozenset(p) for p in (("A1", "INV"), ("INV", "A3"), ("A3", "A4"))}
    assert {d.cable.id for d in decide(plan).dropped} == {"W1", "W3"}
    assert on(plan) == {"A1": True, "A3": False, "A4": True}


def test_every_listed_cable_is_planned_or_said(tmp_path: Path) -> None:
    """A second cable to a controller closes a ring: both stand in the plan, and it stops."""
    link = "links: {a: {packs: A1..A3, manager: propose, reports_to: INV}}\n"
    plan = site(tmp_path, f"{packs(3)}{INV}{link}cables:\n  {ROW}\n"
                "  W3: {from: A1 LINK1, to: INV BMS1, made: propose, length: 1 m}\n"
                "  W4: {from: A3 LINK2, to: INV BMS2, made: propose, length: 1 m}\n", inside="same pin joined")
    assert set(cables(plan)) == {"W1", "W2", "W3", "W4"}
    assert any(one.startswith("stop closed-ring") for one in link_findings(plan))

