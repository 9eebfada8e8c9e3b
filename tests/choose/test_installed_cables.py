"""What becomes of the cables that stand: each goes to one planned cable at most, stays under its own name, or is named
as taken out; and which of them belong to a link at all. Small invented sites, every answer worked out by hand.
"""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest
import yaml

from interop.documents.faces_of import faces_of
from interop.documents.notes import note_inputs
from interop.documents.package import plan_document
from interop.documents.sheets import sheet_inputs
from interop.site.load import load_site

ROOT = Path(__file__).parents[2]
Tree = dict[str, Any]


def shipped(kind: str, name: str, new: str, **changes: Any) -> Tree:
    """A shipped record under another name, with other ports, pins or lines; {port: {field: value}} under ``ports``."""
    text = (ROOT / "catalogs" / kind / f"{name}.yaml").read_text(encoding="utf-8")
    tree: Tree = yaml.load(text, yaml.BaseLoader)  # noqa: S506
    tree = copy.deepcopy(tree) | {"id": new, "name": new}
    for section, table in changes.items():
        for key, value in table.items():
            old = tree.setdefault(section, {}).get(key)
            tree[section][key] = {**old, **value} if isinstance(old, dict) and isinstance(value, dict) else value
    return tree


RELAY = {"does": "stop", "contact": "closed to act", "drive": "passive", "carried": "through every pack",
         "acts_on": "this pack", "wires": ["a", "b"]}  # fmt: skip
SPARE = {str(pin): "unused" for pin in range(3, 9)}
PLUG = {"plug": "rj45", "direction": "either", "reference": "isolated", "shell": "none"}


def stopping() -> list[Tree]:
    """A pack and a controller with a stop line on a plug of its own."""
    pack = shipped("packs", "tarn-a", "stopper", lines={"relay": RELAY},
                   ports={"AUX": {"sockets": ["AUX1", "AUX2"], "inside": "same pin joined", **PLUG}},
                   pins={"AUX": {"1": "relay a", "2": "relay b", **SPARE}})  # fmt: skip
    box = shipped("controllers", "mole-6", "button", lines={"relay": {**RELAY, "carried": "not carried"}},
                  ports={"DRY": {"sockets": ["DRY"], "inside": "alone", **PLUG}},
                  pins={"DRY": {"1": "relay a", "2": "relay b", **SPARE}})  # fmt: skip
    return [pack, box]


class Planned:
    """One site planned: plan.json, notes and sheets by id."""

    def __init__(self, folder: Path, body: str, records: list[Tree]) -> None:
        more = folder / "more"
        more.mkdir(parents=True)
        for number, record in enumerate(records):
            (more / f"{number}.yaml").write_text(yaml.safe_dump(record), encoding="utf-8")
        site = folder / "site.yaml"
        site.write_text(f"interop: site/1\nname: t\ncatalogs: [{ROOT / 'catalogs'}, more]\ndc_ground: minus\n{body}",
                        encoding="utf-8")  # fmt: skip
        self.plan, decisions, _ = plan_document(load_site(site), draft=True)
        faces = faces_of(decisions)
        self.notes = {one.id: one for one in note_inputs(self.plan, faces)}
        self.sheets = {one.id: one for one in sheet_inputs(self.plan, faces)}

    @property
    def work(self) -> dict[str, str]:
        return {name: cable["work"] for name, cable in self.plan["cables"].items()}

    def joined(self, name: str) -> str:
        return " ".join(a if a == b else f"{a}-{b}" for a, b in self.plan["cables"][name]["joined"])

    def ends(self, name: str) -> str:
        return " - ".join(f"{end[0]} {end[2]}" for end in (self.plan["cables"][name][side] for side in ("from", "to")))

    def texts(self, rule: str, stage: str = "findings") -> list[str]:
        return [one["text"] for one in self.plan[stage] if one["rule"] == rule]

    def stops(self, stage: str = "findings") -> list[str]:
        cabling = {"conductor", "link", "stop line"}
        from interop.rules.finding import RULES

        return sorted({one["rule"] for one in self.plan[stage]
                       if one["level"] == "stop" and RULES[one["rule"]].subject in cabling})  # fmt: skip


PACKS = ("packs: {A1..A3: {model: MODEL, place: rack 1 slot 1..}}\n"
         "controllers: {INV: {model: BOX, cable_lands_on: unit 1}}\n")  # fmt: skip
LINKS = "links: {bank: {packs: A1..A3, manager: A1, reports_to: INV, cables: propose}}\n"
W1 = "    W1: {from: A1 LINK2, to: A2 LINK1, made: straight, length: 0.3 m}\n"
W2 = "    W2: {from: A2 LINK2, to: A3 LINK1, made: straight, length: 0.3 m}\n"
W9 = "    W9: {from: A1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 3 m}\n"


def as_found(cables: str, model: str = "tarn-a", box: str = "mole-6", links: str = LINKS) -> str:
    found = (
        "found:\n  A1: {ADD: 0000}\n  A2: {ADD: 1000}\n  A3: {ADD: 0100}\n"
        f"  links: {{bank: {{packs: A1..A3, manager: A1, reports_to: INV}}}}\n  cables:\n{cables}"
    )
    return PACKS.replace("MODEL", model).replace("BOX", box) + found + links


# ---- each goes to one ----


def test_one_installed_cable_is_not_two_planned_ones(tmp_path: Path) -> None:
    """X2 is wanted where X1 stands, and X3 is new where X2 stood: X1, with the stop pair crossed, has no use left."""
    body = """packs: {B1..B2: {model: tarn-b, place: rack 1 slot 1..}, A3: {model: tarn-a, place: rack 1 slot 3}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
found:
  B1: {ADD: 000000, END: 0}
  B2: {ADD: 100000, END: 0}
  A3: {ADD: 0100}
  links: {bank: {packs: [B1..B2, A3], manager: B1, reports_to: INV}}
  cables:
    X1: {from: B1 LINK2, to: B2 LINK1, made: {7: 7, 8: 8, 3: 6, 6: 3}, length: 0.3 m}
    X2: {from: B2 LINK2, to: A3 LINK1, made: {7: 7, 8: 8}, length: 0.3 m}
    X9: {from: B1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 3 m}
links: {bank: {packs: [B1..B2, A3], manager: B1, reports_to: INV}}
cables:
  X2: {from: B1 LINK2, to: B2 LINK1, made: propose, length: 0.3 m}
  X3: {from: B2 LINK2, to: A3 LINK1, made: propose, length: 0.3 m}
  X9: {from: B1 REPORT, to: INV BAT, made: propose, length: 3 m}
"""
    done = Planned(tmp_path, body, [])
    assert done.work == {"X2": "move and alter", "X3": "make", "X9": "keep", "X1": "remove"}
    assert set(done.notes) == {"X1", "X2", "X3", "X9"}
    sockets = {one.socket: one.goes_in for one in done.sheets["B1"].sockets}
    assert sockets["LINK2"] == (
        "take out cable X1; then cable X2 (now in A3 LINK1), other end to B2 LINK1"
    )


def test_a_row_that_is_renumbered_asks_for_one_new_cable(tmp_path: Path) -> None:
    body = as_found(W1 + W2 + W9, links="""links: {bank: {packs: [A1, N1, A2..A3], manager: A1, reports_to: INV}}
cables:
  W1..W3: {chain: [A1, N1, A2..A3], from: LINK2, to: LINK1, made: straight}
  W9: {from: A1 REPORT, to: INV BAT, made: propose, length: 3 m}
""").replace("packs: {", "packs: {N1: {model: tarn-a, place: rack 1 slot 9, new: yes}, ", 1)
    assert Planned(tmp_path, body, []).work == {"W1": "move", "W2": "move", "W3": "make", "W9": "keep"}


def test_an_installed_cable_keeps_its_name_and_its_conductors(tmp_path: Path) -> None:
    """W2 is wanted elsewhere, at a pack that is left off; where it stands the row goes on, under its own name."""
    body = """packs:
  A1..A2: {model: tarn-a, place: rack 1 slot 1..}
  C3: {model: crag-300, place: rack 1 slot 3, new: yes}
  A4: {model: tarn-a, place: rack 1 slot 4}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
found:
  A1: {ADD: 0000}
  A2: {ADD: 1000}
  A4: {ADD: 0100}
  links: {bank: {packs: [A1..A2, A4], manager: A1, reports_to: INV}}
  cables:
    W1: {from: A1 LINK2, to: A2 LINK1, made: straight, length: 0.3 m}
    W2: {from: A2 LINK2, to: A4 LINK1, made: straight, length: 0.3 m}
    W9: {from: A1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 3 m}
links: {bank: {packs: [A1..A2, C3, A4], manager: A1, reports_to: INV, may_leave: [C3]}}
cables:
  W1: {from: A1 LINK2, to: A2 LINK1, made: propose, length: 0.3 m}
  W2: {from: A2 LINK2, to: C3 STACK A, made: propose, length: 0.3 m}
  W3: {from: C3 STACK B, to: A4 LINK1, made: propose, length: 0.3 m}
  W9: {from: A1 REPORT, to: INV BAT, made: propose, length: 3 m}
"""
    done = Planned(tmp_path, body, [])
    assert done.work == {"W1": "keep", "W2": "keep", "W9": "keep"}
    assert (done.ends("W2"), done.joined("W2")) == ("A2 LINK2 - A4 LINK1", "1 2 3 4 5 6 7 8")
    text = ("Cable W2 is not made: C3 is unmanaged: no data cable; the installed cable of this name stays in use "
            "otherwise.")  # fmt: skip
    assert {"about": ["W2"], "text": text} in done.plan["reasons"]


def test_a_cable_that_is_wanted_under_another_name_is_told_by_both(tmp_path: Path) -> None:
    body = as_found(W1 + W2 + W9, links="""links: {bank: {packs: A1..A3, manager: A1, reports_to: INV}}
cables:
  V1: {from: A1 LINK2, to: A2 LINK1, made: propose}
  W2: {from: A2 LINK2, to: A3 LINK1, made: propose}
  W9: {from: A1 REPORT, to: INV BAT, made: propose, length: 3 m}
""")
    done = Planned(tmp_path, body, [])
    assert done.work == {"V1": "keep", "W2": "keep", "W9": "keep"}
    assert [done.plan["cables"][name]["installed_as"] for name in ("V1", "W2")] == ["W1", None]
    assert done.notes["V1"].kind_words == "straight. It is labelled W1 today"
    assert "cable V1 (labelled W1 today), other end to A2 LINK1" in [s.goes_in for s in done.sheets["A1"].sockets]


# ---- which cables belong to a link ----


@pytest.mark.parametrize("stop_first", [True, False])
def test_a_stop_line_is_no_report_cable(tmp_path: Path, *, stop_first: bool) -> None:
    stop = "    K1: {from: A1 AUX2, to: INV DRY, made: straight, length: 3 m}\n"
    cables = (stop if stop_first else "") + W1 + W2 + W9 + ("" if stop_first else stop)
    done = Planned(tmp_path, as_found(cables, "stopper", "button"), stopping())
    assert done.work == {"W1": "keep", "W2": "keep", "W9": "keep", "K1": "keep"}
    assert (done.ends("K1"), done.joined("K1")) == ("A1 AUX2 - INV DRY", "1 2 3 4 5 6 7 8")
    assert {name: done.plan["cables"][name]["carries"] for name in done.work} == {
        "W1": "chain", "W2": "chain", "W9": "report", "K1": "line"}  # fmt: skip
    enter = "Enter in INV: tarn-can: menu 21, code 03."
    assert (done.notes["W9"].controller, done.notes["K1"].controller) == (enter, "")
    assert done.sheets["A1"].controller == (f"Cable W9: {enter}",)


def test_the_unit_that_takes_the_cable_of_a_link_says_nothing_of_a_stop_line(tmp_path: Path) -> None:
    stop = "    K1: {from: A1 AUX2, to: INV DRY, made: {1: 1, 2: 2}, length: 3 m}\n"
    body = as_found(stop + W1 + W2 + W9, "stopper", "button")
    done = Planned(tmp_path, body.replace("cable_lands_on", "units: 3, cable_lands_on", 1), stopping())
    assert {name: done.plan["cables"][name]["lands_on"] for name in ("W9", "K1")} == {"W9": "unit 1", "K1": None}
    assert done.notes["K1"].controller == ""
    assert "cable K1, other end to INV DRY, which of 3 units: see its manual" in [
        one.goes_in for one in done.sheets["A1"].sockets]  # fmt: skip


LOOPS = ("    K1: {from: A1 AUX2, to: A2 AUX1, made: {1: 1, 2: 2}}\n"
         "    K2: {from: A2 AUX2, to: A3 AUX1, made: {1: 1, 2: 2}}\n")  # fmt: skip
EXPLICIT = "links: {bank: {packs: A1..A3, manager: A1, reports_to: INV}}\ncables:\n"
WANTED = EXPLICIT + (LOOPS + W1 + W2 + W9).replace("    ", "  ")


@pytest.mark.parametrize("links", [LINKS, WANTED])
def test_a_stop_loop_of_its_own_stays_and_reaches_every_pack(tmp_path: Path, links: str) -> None:
    done = Planned(tmp_path, as_found(LOOPS + W1 + W2 + W9, "stopper", "button", links), stopping())
    assert done.work == {"W1": "keep", "W2": "keep", "W9": "keep", "K1": "keep", "K2": "keep"}
    assert (done.stops("found"), done.stops()) == ([], [])
    assert done.texts("stop-does-not-reach") == done.texts("stop-does-not-reach", "found") == []
    assert done.texts("broken-wire-no-stop") == [
        ("Link bank, cables K1, K2: the stop line of A1..A3 runs through them; a broken wire is not noticed, and a "
         "stop then reaches only part of them")]  # fmt: skip


def test_a_stop_loop_that_does_harm_is_altered(tmp_path: Path) -> None:
    crossed = LOOPS.replace("made: {1: 1, 2: 2}", "made: {1: 2, 2: 1}", 1)
    done = Planned(tmp_path, as_found(crossed + W1 + W2 + W9, "stopper", "button"), stopping())
    assert "stop-pair-crossed" in done.stops("found")
    assert (done.work["K1"], done.joined("K1"), done.plan["cables"]["K1"]["remove"]) == (
        "alter", "1 2", [["1", "2"], ["2", "1"]])  # fmt: skip
    assert done.stops() == []


# ---- a stop line on a port that carries data besides ----


def serviced() -> list[Tree]:
    """The pack and controller of :func:`stopping`, where the plug of the pack's stop line has a service bus as well."""
    pack, box = stopping()
    pack["buses"]["service"] = {"kind": "rs-232", "rates_bps": ["9600"], "dialect": "service", "poller": "nobody"}
    pack["pins"]["AUX"] |= {"5": "service transmit", "6": "service receive"}
    return [pack, box]


@pytest.mark.parametrize("links", [LINKS, WANTED])
def test_a_stop_loop_on_a_port_with_a_service_bus_stays(tmp_path: Path, links: str) -> None:
    done = Planned(tmp_path, as_found(LOOPS + W1 + W2 + W9, "stopper", "button", links), serviced())
    assert done.work == {"W1": "keep", "W2": "keep", "W9": "keep", "K1": "keep", "K2": "keep"}
    assert (done.stops("found"), done.stops()) == ([], [])
    assert done.texts("stop-does-not-reach") == []
    assert done.texts("reference-missing") == [
        "Link bank: no reference conductor is joined in W1, W2: LINK of stopper brings none out"]


def test_a_stop_loop_with_straight_leads_keeps_the_stop_and_loses_the_service_bus(tmp_path: Path) -> None:
    """Two packs that both speak on the service pins must not meet there."""
    straight = LOOPS.replace("{1: 1, 2: 2}", "straight")
    done = Planned(tmp_path, as_found(straight + W1 + W2 + W9, "stopper", "button"), serviced())
    assert "unlike-buses-joined" in done.stops("found")
    assert (done.work["K1"], done.joined("K1"), done.plan["cables"]["K1"]["cut"]) == (
        "alter", "1 2", ["3", "4", "5", "6", "7", "8"])  # fmt: skip
    assert done.stops() == []


def test_a_lead_that_may_be_a_stop_loop_is_not_taken_out_unseen(tmp_path: Path) -> None:
    unseen = LOOPS.replace("{1: 1, 2: 2}", "unknown", 1)
    done = Planned(tmp_path, as_found(unseen + W1 + W2 + W9, "stopper", "button"), serviced())
    assert done.texts("how-made-not-known") == [
        ("Link bank, cable K1: which pin joins which is not known, and the plan cannot choose it: nobody has looked "
         "which pin joins which, and its ports carry more than a line")]  # fmt: skip
    assert done.plan["cleared"]["settings"] is False


def test_a_stop_loop_listed_on_such_ports_is_made(tmp_path: Path) -> None:
    links = WANTED.replace("made: {1: 1, 2: 2}", "made: propose")
    done = Planned(tmp_path, as_found(W1 + W2 + W9, "stopper", "button", links), serviced())
    assert {name: (done.work[name], done.joined(name)) for name in ("K1", "K2")} == {
        "K1": ("make", "1 2"), "K2": ("make", "1 2")}  # fmt: skip
    assert done.stops() == []


def test_a_new_report_cable_leaves_the_socket_of_a_stop_loop(tmp_path: Path) -> None:
    """The report port of these packs has two sockets and the stop pair on 7 and 8: the loop stands in the first."""
    pack, box = stopping()
    del pack["ports"]["AUX"], pack["pins"]["AUX"]
    pack["ports"]["REPORT"] |= {"sockets": ["OUT1", "OUT2"], "inside": "same pin joined"}
    pack["pins"]["REPORT"] |= {"7": "relay a", "8": "relay b"}
    loop = "    K1: {from: A1 OUT1, to: A2 OUT1, made: {7: 7, 8: 8}}\n"
    done = Planned(tmp_path, as_found(loop + W1 + W2, "stopper", "button"), [pack, box])
    assert done.work == {"W1": "keep", "W2": "keep", "bank-to-INV": "make", "K1": "keep"}
    assert (done.ends("bank-to-INV"), done.joined("bank-to-INV")) == ("A1 OUT2 - INV BAT", "4 5 6")
    assert (done.stops("found"), done.stops()) == (["link-in-pieces"], [])


@pytest.mark.parametrize("end", ["manager AUX", "A1 AUX"])
def test_a_stop_line_whose_socket_nobody_wrote_down_is_looked_for(tmp_path: Path, end: str) -> None:
    stop = f"    K1: {{from: {end}, to: INV DRY, made: {{1: 1, 2: 2}}, length: 3 m}}\n"
    body = as_found(stop + W1 + W2 + W9, "stopper", "button")
    body = body.replace("  links: {bank: {packs: A1..A3, manager: A1, reports_to: INV}}\n", "")
    done = Planned(tmp_path, body, stopping())
    assert (done.work["K1"], done.ends("K1"), done.joined("K1")) == ("check", "A1 AUX1 - INV DRY", "1 2")
    assert done.notes["K1"].moves == ("End 1 belongs in A1 AUX1; look where it is now.", "End 2 stays in INV DRY.")


# ---- leads that join no pack ----

TWO = ("packs: {A1..A3: {model: tarn-a, place: rack 1 slot 1..}}\n"
       "controllers: {INV: {model: twin, cable_lands_on: unit 1}, INW: {model: twin, cable_lands_on: unit 1}}\n")
BESIDE = "    P1: {from: INV PAR1, to: INW PAR2, made: PINS, length: 1 m}\n"


def twins(pins: str, links: str = LINKS) -> str:
    """Three packs as ever, and two inverters that run in parallel; the link reports to one of them."""
    text = as_found(W1 + W2 + W9 + BESIDE, links=links).replace("PINS", pins)
    return TWO + text[text.index("found:"):]


def twin() -> Tree:
    return shipped("controllers", "mole-6", "twin",
                   buses={"par": {"kind": "can", "rates_bps": ["500000"], "dialect": "not stated", "poller": "nobody"}},
                   ports={"PAR": {"sockets": ["PAR1", "PAR2"], "inside": "same pin joined", **PLUG}},
                   pins={"PAR": {"1": "unused", "2": "unused", **SPARE, "4": "par high", "5": "par low"}})  # fmt: skip


@pytest.mark.parametrize("pins", ["straight", "{4: 4, 5: 5}", "unknown"])
def test_the_lead_between_two_inverters_is_left_alone(tmp_path: Path, pins: str) -> None:
    done = Planned(tmp_path, twins(pins), [twin()])
    assert done.work == {"W1": "keep", "W2": "keep", "W9": "keep"}
    assert done.texts("listed-cable-without-place") == [
        "Cable P1 (INV PAR1 to INW PAR2) joins no pack and stays as it is"]
    assert (done.stops("found"), done.stops()) == ([], [])
    alike = ("Cable P1: pins 1, 2, 3, 6, 7, 8 of twin are joined to the same pin of the next device, without stated "
             "function")
    assert (alike in done.texts("alike-pins-joined")) is (pins == "straight")


def test_a_lead_between_two_inverters_that_does_harm_goes(tmp_path: Path) -> None:
    done = Planned(tmp_path, twins("{4: 5, 5: 4}"), [twin()])
    assert done.stops("found") == ["pair-reversed"]
    assert (done.work["P1"], done.stops()) == ("remove", [])


def test_a_listed_lead_between_two_inverters_is_theirs_to_make(tmp_path: Path) -> None:
    listed = EXPLICIT + (W1 + W2 + W9 + BESIDE).replace("    ", "  ")
    done = Planned(tmp_path, twins("straight", listed), [twin()])
    assert done.texts("listed-cable-without-place") == [
        "Cable P1 (INV PAR1 to INW PAR2) is listed and has no place in the plan: no link of the plan runs over it"]
    assert done.stops() == []


# ---- plugs in the wrong place ----


def test_a_cable_in_a_wrong_port_is_moved(tmp_path: Path) -> None:
    body = as_found(W1 + W2.replace("A2 LINK2", "A2 REPORT") + W9)
    done = Planned(tmp_path, body, [])
    assert done.work == {"W1": "keep", "W2": "move", "W9": "keep"}
    assert done.plan["cables"]["W2"]["moved"] == [[["A2", "REPORT", "REPORT"], ["A2", "LINK", "LINK2"]]]
    assert [pack["role"] for pack in done.plan["packs"].values()] == ["manager", "member", "member"]


@pytest.mark.parametrize("far", ["A3 REPORT", "A3 LINK2"])
@pytest.mark.parametrize("second", ["first", "last"])
def test_a_second_lead_between_two_packs_does_not_hide_the_first(tmp_path: Path, second: str, far: str) -> None:
    wrong = f"    W5: {{from: A2 REPORT, to: {far}, made: straight}}\n"
    body = as_found(wrong + W1 + W2 + W9 if second == "first" else W1 + W2 + W9 + wrong)
    done = Planned(tmp_path, body, [])
    assert done.work == {"W1": "keep", "W2": "keep", "W9": "keep", "W5": "remove"}
    assert done.stops() == []


# ---- cables that nothing could be chosen for ----


@pytest.mark.parametrize("made", ["{4: 1, 5: 2, 2: 3}", "{1: 1, 2: 2}"])
def test_the_conductors_of_another_plug_do_not_block_the_choice(tmp_path: Path, made: str) -> None:
    """W2 stands with a plug of eight poles in a report port; its new end is a block of three: no pin of the old plug
    is one of the new, whatever its number.
    """
    body = """packs: {C1..C3: {model: crag-300, place: rack 1 slot 1..}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
found:
  C1: {DIAL: "1"}
  C2: {DIAL: "2"}
  C3: {DIAL: "3"}
  links: {bank: {packs: C1..C3, manager: C1, reports_to: INV}}
  cables:
    W1: {from: C2 STACK A, to: C1 STACK B, made: {1: 1, 3: 2, 2: 3}, length: 0.3 m}
    W2: {from: C2 REPORT, to: C3 STACK A, made: MADE, length: 0.3 m}
    W9: {from: INV BAT, to: C1 REPORT, made: {4: 4, 5: 5}, length: 3 m}
links: {bank: {packs: C1..C3, manager: C2, reports_to: INV}}
cables:
  W1: {from: C1 STACK A, to: C2 STACK A, made: propose, length: 0.3 m}
  W2: {from: C2 STACK B, to: C3 STACK A, made: propose, length: 0.3 m}
  W9: {from: manager REPORT, to: INV BAT, made: propose, length: 3 m}
"""
    done = Planned(tmp_path, body.replace("MADE", made), [])
    assert (done.joined("W1"), done.joined("W2"), done.joined("W9")) == ("1 2 3", "1 2 3", "4 5")
    assert done.plan["cables"]["W2"]["new_plugs"] == ["from"]
    assert done.notes["W2"].in_words == "1 to 1, 2 to 2, 3 to 3"


def test_the_cables_of_a_branched_link_are_chosen_one_by_one(tmp_path: Path) -> None:
    three = shipped("packs", "tarn-a", "three", ports={"LINK": {"sockets": ["LINK1", "LINK2", "LINK3"]}})
    chain = ("    W1: {from: A1 LINK2, to: A2 LINK1, made: straight}\n"
             "    W2: {from: A2 LINK2, to: A3 LINK1, made: {7: 8, 8: 7}}\n"
             "    W3: {from: A2 LINK3, to: A4 LINK1, made: straight}\n")  # fmt: skip
    wanted = "".join(f"{line[2:].split('made:')[0]}made: propose}}\n" for line in chain.splitlines())
    body = as_found(chain + W9, "three", links="links: {bank: {packs: A1..A4, manager: A1, reports_to: INV}}\ncables:\n"
                    + wanted + W9[2:])  # fmt: skip
    done = Planned(tmp_path, body.replace("A1..A3", "A1..A4"), [three])
    assert {name: done.joined(name) for name in ("W1", "W2", "W3")} == {
        "W1": "1 2 3 4 5 6 7 8", "W2": "7 8", "W3": "1 2 3 4 5 6 7 8"}  # fmt: skip
    assert done.texts("link-branched") == ["Link bank: more than two data cables of the link end on A2"]


def test_a_wanted_cable_that_belongs_nowhere_is_a_stop(tmp_path: Path) -> None:
    """K stands between two report ports that share nothing."""
    body = as_found(W1 + W2 + W9, links=EXPLICIT + (W1 + W2 + W9).replace("    ", "  ")
                    + "  K: {from: A2 REPORT, to: A3 REPORT, made: propose}\n")  # fmt: skip
    done = Planned(tmp_path, body, [])
    assert done.texts("listed-cable-without-place") == [
        "Cable K (A2 REPORT to A3 REPORT) is listed and has no place in the plan: no link of the plan runs over it"]
    assert "K" not in done.plan["cables"]
    assert done.plan["cleared"]["settings"] is False


def test_a_line_cable_that_nobody_looked_at_is_a_stop(tmp_path: Path) -> None:
    """An on-off line is needed by nothing, so nothing is chosen; what the cable joins, nobody knows."""
    records = stopping()
    for record in records:
        record["lines"]["relay"] = {**record["lines"]["relay"], "does": "on off"}
    stop = "    K1: {from: A1 AUX2, to: INV DRY, made: unknown, length: 3 m}\n"
    done = Planned(tmp_path, as_found(W1 + W2 + W9 + stop, "stopper", "button"), records)
    assert done.texts("how-made-not-known") == [
        ("Link bank, cable K1: which pin joins which is not known, and the plan cannot choose it: nobody has looked "
         "which pin joins which, and no line needs to be joined")]  # fmt: skip
    assert done.plan["cleared"]["settings"] is False


def test_a_cable_without_a_conductor_is_a_stop(tmp_path: Path) -> None:
    """The stop line of K is left out of it: nothing is joined at all."""
    links = WANTED.replace("made: {1: 1, 2: 2}", "made: {}", 1)
    done = Planned(tmp_path, as_found(LOOPS + W1 + W2 + W9, "stopper", "button", links), stopping())
    assert done.texts("needed-conductor-missing") == ["Link bank, cable K1: no conductor joins A1 AUX2 and A2 AUX1"]


# ---- shells ----


def test_a_shield_that_joins_cell_minus_is_taken_off(tmp_path: Path) -> None:
    """The two packs tie their shells to the cells: the shield would carry the load when one BMS opens."""
    tied = {"reference": "cell minus", "shell": "reference"}
    cell = shipped("packs", "tarn-a", "cell", ports={"LINK": tied, "REPORT": tied})
    shielded = W1.replace("straight", "{7: 7, 8: 8, shell: shell}")
    done = Planned(tmp_path, as_found(shielded + W2 + W9, "cell"), [cell])
    assert done.texts("data-ground-bypasses-the-bms", "found") == [
        ("Link bank, cable W1: the shell of A1 LINK2 (reference, tied to cell minus) meets the shell of A2 LINK1 "
         "(reference, tied to cell minus)")]  # fmt: skip
    assert done.plan["cables"]["W1"]["remove"] == [["shell", "shell"]]
    assert (done.work["W1"], done.joined("W1")) == ("alter", "7 8")
    assert set(done.stops()) <= {"common-mode-passed"}, "that neither port is isolated is no matter of conductors"
    assert [(c.here, c.there, c.do) for c in done.notes["W1"].conductors if c.do == "remove"] == [
        ("shell", "shell", "remove")]  # fmt: skip


def test_a_shield_on_shells_that_are_tied_to_nothing_may_stay(tmp_path: Path) -> None:
    done = Planned(tmp_path, as_found(W1.replace("straight", "{7: 7, 8: 8, shell: shell}") + W2 + W9), [])
    assert (done.work["W1"], done.joined("W1"), done.joined("W2")) == ("keep", "7 8 shell", "1 2 3 4 5 6 7 8")


def test_a_shield_on_a_shell_that_nobody_states_is_taken_off(tmp_path: Path) -> None:
    unsaid = shipped("packs", "tarn-a", "unsaid", ports={"LINK": {"shell": "not stated"}})
    shielded = W1.replace("straight", "{7: 7, 8: 8, shell: shell}")
    done = Planned(tmp_path, as_found(shielded + W2 + W9, "unsaid"), [unsaid])
    assert done.texts("unknown-pin-joined", "found") == [
        "Link bank, cable W1: the shell of A1 LINK2 (not stated) meets the shell of A2 LINK1 (not stated)"]
    assert done.plan["cables"]["W1"]["remove"] == [["shell", "shell"]]


# ---- references through a whole link ----


def grounded(**ties: str) -> list[Tree]:
    """Packs whose LINK port brings a reference out, tied as named, with an isolated REPORT port."""
    pins = {"LINK": {"3": "reference"}}
    return [shipped("packs", "tarn-a", name, ports={"LINK": {"reference": tie.replace("_", " ")}}, pins=pins)
            for name, tie in ties.items()]  # fmt: skip


def test_two_isolated_ports_of_one_pack_are_not_taken_to_be_apart(tmp_path: Path) -> None:
    """Cell minus of A2 on the link, busbar minus of INV on the report: one of the two references is left out."""
    records = [*grounded(iso="isolated", cell="cell_minus"),
               shipped("controllers", "mole-6", "tied", ports={"BAT": {"reference": "busbar minus"}})]
    body = """packs:
  A1: {model: iso, place: rack 1 slot 1, new: yes}
  A2: {model: cell, place: rack 1 slot 2, new: yes}
controllers: {INV: {model: tied, cable_lands_on: unit 1}}
links: {bank: {packs: A1..A2, manager: A1, reports_to: INV, cables: propose}}
"""
    done = Planned(tmp_path / "unsaid", body, records)
    assert (done.joined("bank-1"), done.joined("bank-to-INV")) == ("3 7 8", "4 5")
    assert any("if isolated ports of one device share their ground" in text for text in done.texts("reference-missing"))
    made = "cables:\n  W: {from: A1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}}\n"
    made += "  V: {from: A1 LINK2, to: A2 LINK1, made: {3: 3, 7: 7, 8: 8}}\n"
    named = body.replace(", cables: propose", "") + made
    assert Planned(tmp_path / "made", named, records).texts("data-ground-bypasses-the-bms") == [
        ("Link bank, cables V, W: pin 3 of A2 LINK1 (reference, tied to cell minus) meets pin 6 of INV BAT (reference, "
         "tied to busbar minus) if the isolated ports of A1 share one ground inside, which is not stated; load current "
         "could return through it")]  # fmt: skip
    records[0]["ports"]["LINK"]["isolated_from"] = ["REPORT"]
    apart = Planned(tmp_path / "said", body, records)
    assert (apart.joined("bank-1"), apart.joined("bank-to-INV")) == ("3 7 8", "4 5 6")


def test_the_references_of_chain_and_report_are_chosen_together(tmp_path: Path) -> None:
    """One port for both: with the reference on the chain, the report to a box on the busbar minus goes without."""
    both = {"3": "reference", "4": "report high", "5": "report low", "7": "chain minus", "8": "chain plus"}
    blank = dict.fromkeys(("1", "2", "6"), "unused")
    records = [*grounded(iso="isolated", cell="cell_minus"),
               shipped("controllers", "mole-6", "tied", ports={"BAT": {"reference": "busbar minus"}},
                       pins={"BAT": {"3": "reference", "6": "unused"}})]  # fmt: skip
    for record in records[:2]:
        record["pins"] = {"LINK": {**both, **blank}}
        del record["ports"]["REPORT"]
        record.pop("printed", None)
    body = """packs:
  A1: {model: iso, place: rack 1 slot 1, new: yes}
  A2: {model: cell, place: rack 1 slot 2, new: yes}
controllers: {INV: {model: tied, cable_lands_on: unit 1}}
links: {bank: {packs: A1..A2, manager: A1, reports_to: INV, cables: propose}}
"""
    done = Planned(tmp_path, body, records)
    assert (done.joined("bank-1"), done.joined("bank-to-INV"), done.stops()) == ("3 7 8", "4 5", [])


# ---- turned, and looked for ----


def test_cables_are_turned_where_the_manager_moves_in_a_row_numbered_by_ports(tmp_path: Path) -> None:
    """P3 becomes the manager, so its IN is empty: P3 OUT - P2 IN and P2 OUT - P1 IN, with the cables that stand."""
    record = ROOT / "tests/exercises/records/ex05-port-order.yaml"
    box = ROOT / "tests/exercises/sites/catalog/vole-can.yaml"
    records = [yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader) for path in (record, box)]  # noqa: S506
    body = """packs: {P1..P3: {model: ex05-port-order, place: rack A slot 1..}}
controllers: {INV: {model: vole-can, cable_lands_on: unit 1}}
found:
  links: {bank: {packs: P1..P3, manager: P1, reports_to: INV}}
  cables:
    W1..W2: {chain: P1..P3, from: OUT, to: IN, made: {3: 3, 7: 7, 8: 8}}
    W9: {from: P1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 3 m}
links: {bank: {packs: P1..P3, manager: P3, reports_to: INV, cables: propose}}
"""
    done = Planned(tmp_path, body, records)
    assert done.work == {"W2": "move", "W1": "move", "W9": "move"}
    assert (done.ends("W2"), done.ends("W1")) == ("P2 IN - P3 OUT", "P1 IN - P2 OUT")
    assert done.stops() == []


def test_a_plug_that_nobody_wrote_down_is_looked_for(tmp_path: Path) -> None:
    """Nobody says which pack was the manager: the plug of W9 is in one of two report ports."""
    body = """packs: {A1..A2: {model: tarn-a, place: rack 1 slot 1..}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
found:
  A1: {ADD: 0000}
  A2: {ADD: 1000}
  cables:
    W1: {from: A1 LINK2, to: A2 LINK1, made: straight, length: 0.3 m}
    W9: {from: manager REPORT, to: INV BAT, made: {5: 5, 6: 6, 4: 4}, length: 3 m}
links: {bank: {packs: A1..A2, manager: A2, reports_to: INV}}
cables:
  W1: {from: A1 LINK2, to: A2 LINK1, made: propose, length: 0.3 m}
  W9: {from: manager REPORT, to: INV BAT, made: propose, length: 3 m}
"""
    done = Planned(tmp_path, body, [])
    assert done.work == {"W1": "keep", "W9": "check"}
    assert done.notes["W9"].moves == ("End 1 belongs in A2 REPORT; look where it is now.", "End 2 stays in INV BAT.")
