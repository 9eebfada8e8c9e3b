"""What a site file sets or wants is planned by, or the plan is refused for it; it is never dropped in silence."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from interop.documents.package import plan_document
from interop.site.load import load_site

CATALOGS = Path(__file__).parents[2] / "catalogs"
ROW = """interop: site/1
name: Words
catalogs: [cat]
packs: {P1..P3: {model: tarn-b, place: rack 1 slot 1.., new: yes}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
links: {L: {packs: [P1..P3], manager: P1, reports_to: INV, cables: propose}}
"""


POWER = ("power", "sharing")


def planned(folder: Path, body: str) -> dict[str, Any]:
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    site = folder / "site.yaml"
    site.write_text(body, encoding="utf-8")
    return plan_document(load_site(site))[0]


def rules(plan: dict[str, Any], level: str) -> list[str]:
    """The rules that speak at a level, those on power apart: these sites draw no run."""
    findings = [f for f in plan["findings"] if f["level"] == level and f["subject"] not in POWER]
    return sorted(f["rule"] for f in findings)


def test_a_set_address_is_kept_and_the_others_go_round_it(tmp_path: Path) -> None:
    """P2 is set to 2 (second switch alone, first is low), so P3 takes 1."""
    plan = planned(tmp_path, ROW + "set: {P2: {ADD: 010000}}\n")
    assert {n: next(iter(p["addresses"].values())) for n, p in plan["packs"].items()} == {"P1": 0, "P2": 2, "P3": 1}
    assert plan["packs"]["P2"]["switches"]["ADD"]["set"] == ["off", "on", "off", "off", "off", "off"]


def test_a_set_terminator_stays_and_is_judged(tmp_path: Path) -> None:
    plan = planned(tmp_path, ROW + "set: {P2: {END: 1}}\n")
    assert plan["packs"]["P2"]["switches"]["END"]["set"] == ["on"]
    (finding,) = [f for f in plan["findings"] if f["rule"] == "terminator-not-at-an-end"]
    assert finding["text"] == "Link L: P2 has a terminator on in the middle; the ends are P1 and P3"


def test_set_switches_that_leave_no_link_are_refused(tmp_path: Path) -> None:
    """P1 is named manager and set to a rate switch that no manager has, P2 and P3 both stand at 3."""
    plan = planned(tmp_path, ROW + "set: {P1: {ADD: 000001}, P2: {ADD: 110000}, P3: {ADD: 110000, END: 1}}\n")
    assert plan["cleared"] == {"settings": False, "joining": False}
    assert rules(plan, "stop") == ["link-not-formed"]
    assert plan["packs"]["P3"]["switches"] == {
        "ADD": {"set": ["on", "on", "off", "off", "off", "off"], "was": None},
        "END": {"set": ["on"], "was": None},
    }


@pytest.mark.parametrize("pattern", ["110000", "x1xxxx", "xxxx1x"])
def test_an_unmanaged_pack_stands_as_it_is_set(tmp_path: Path, pattern: str) -> None:
    plan = planned(tmp_path, ROW.split("links:", maxsplit=1)[0] + f"set: {{P2: {{ADD: {pattern}}}}}\n")
    wanted = ["on" if c == "1" else "off" for c in pattern]
    assert plan["packs"]["P2"]["switches"]["ADD"]["set"] == wanted


def test_a_wanted_cable_between_two_links_is_judged(tmp_path: Path) -> None:
    """C ties two chains of two managers together."""
    body = """interop: site/1
name: Two links
catalogs: [cat]
packs: {P1..P4: {model: tarn-a, place: rack 1 slot 1.., new: yes}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}, IN2: {model: mole-6, cable_lands_on: unit 1}}
links:
  L: {packs: [P1..P2], manager: P1, reports_to: INV}
  M: {packs: [P3..P4], manager: P3, reports_to: IN2}
cables:
  B: {from: P1 LINK2, to: P2 LINK1, made: {7: 7, 8: 8}, length: 1 m}
  C: {from: P2 LINK2, to: P3 LINK1, made: {7: 7, 8: 8}, length: 1 m}
  D: {from: P3 LINK2, to: P4 LINK1, made: {7: 7, 8: 8}, length: 1 m}
  E: {from: P1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 1 m}
  F: {from: P3 REPORT, to: IN2 BAT, made: {4: 4, 5: 5, 6: 6}, length: 1 m}
"""
    plan = planned(tmp_path, body)
    assert rules(plan, "stop") == ["listed-cable-without-place", "second-poller", "unlike-buses-joined"]
    without = "\n".join(line for line in body.splitlines() if not line.startswith("  C:"))
    (tmp_path / "b").mkdir()
    assert rules(planned(tmp_path / "b", without), "stop") == []


def test_a_wanted_cable_to_a_pack_left_off_is_said_not_to_be_made(tmp_path: Path) -> None:
    body = """interop: site/1
name: Left off
catalogs: [cat]
packs: {P1..P3: {model: tarn-a, place: rack 1 slot 1.., new: yes}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
links: {L: {packs: [P1..P3], manager: P1, reports_to: INV}}
wishes: {must: [keep P3 unmanaged]}
cables:
  A: {from: P1 LINK2, to: P2 LINK1, made: {7: 7, 8: 8}, length: 1 m}
  B: {from: P2 LINK2, to: P3 LINK1, made: {7: 7, 8: 8}, length: 1 m}
  E: {from: P1 REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 1 m}
"""
    plan = planned(tmp_path, body)
    assert sorted(plan["cables"]) == ["A", "E"]
    assert {"about": ["B"], "text": "Cable B is not made: P3 is unmanaged: no data cable."} in plan["reasons"]


RECORDS = Path(__file__).parents[1] / "scenarios" / "records"


def two_ways(folder: Path, first: str, second: str) -> str:
    """A pack that talks on pins 2 and 3, joined inside, in mode "tied" and on 7 and 8 in mode "free"; and its site."""
    plain = (RECORDS / "lk-pack.yaml").read_text(encoding="utf-8")
    text = plain.replace("id: lk-pack\nname: Teal 1", "id: two-ways\nname: Teal 2")
    buses = "buses:\n  chain:\n    {"
    text = text.replace(buses, f"modes: [{first}, {second}]\n{buses}modes: [free], ")
    chain = next(line for line in text.split("\n") if "modes: [free]" in line)
    tail = text.split(chain + "\n")[1].split("\n")[0]
    text = text.replace(chain + "\n" + tail, f"{chain}\n{tail}\n  tied:\n{chain.replace('[free]', '[tied]')}\n{tail}")
    text = text.replace("inside: same pin joined", "inside: [same pin joined, 2-3]", 1)
    text = text.replace("{1: reference, 2: unused, 3: unused,", "{1: reference, 2: tied minus, 3: tied plus,", 1)
    rule = next(line for line in text.split("\n") if line.startswith("  chain: {allowed"))
    text = text.replace(rule, rule + "\n" + rule.replace("chain:", "tied:"))
    (folder / "records").mkdir()
    (folder / "records" / "two-ways.yaml").write_text(text, encoding="utf-8")
    for name in ("lk-pack", "lk-ctl"):
        shutil.copy(RECORDS / f"{name}.yaml", folder / "records")
    return """interop: site/1
name: Two ways
catalogs: [records]
packs: {P1: {model: lk-pack}, P2: {model: two-ways}}
controllers: {INV: {model: lk-ctl, cable_lands_on: unit 1}}
links: {rack: {packs: P1..P2, manager: propose, reports_to: INV, cables: propose}}
"""


@pytest.mark.parametrize("modes", [("tied", "free"), ("free", "tied")])
def test_a_mode_without_a_cable_gives_way_to_one_with_a_cable(tmp_path: Path, modes: tuple[str, str]) -> None:
    """Only the mode is struck out, not the pack: the order of the modes in the record decides nothing."""
    plan = planned(tmp_path, two_ways(tmp_path, *modes))
    assert (plan["packs"]["P2"]["role"], plan["packs"]["P2"]["mode"]) == ("member", "free")
    assert plan["cables"]["rack-1"]["joined"] == [["1", "1"], ["7", "7"], ["8", "8"]]


def test_the_group_of_a_running_link_is_kept(tmp_path: Path) -> None:
    """Two links told apart by a wheel only; the site says it of one in words, of the other by how its wheels stand."""
    rill = next(CATALOGS.rglob("rill-50.yaml")).read_text(encoding="utf-8")
    wheel = (
        "  GRP:\n    kind: rotary\n    positions: 0..2\n"
        '    parts: [{use: all, sets: group, code: {table: {1: "0", 2: "1", 3: "2"}}}]\n'
    )
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "grou.yaml").write_text(
        rill.replace("id: rill-50\n", "id: grou\n").replace("\nswitches:\n", "\nswitches:\n" + wheel), encoding="utf-8"
    )
    body = """interop: site/1
name: Groups
catalogs: [own, cat]
packs: {P1..P4: {model: grou, place: rack 1 slot 1..}}
controllers: {WEIR: {model: weir-8, cable_lands_on: unit 1}, WEIR2: {model: weir-8, cable_lands_on: unit 1}}
found:
  P1: {GRP: "1", MENU ADDRESS: "1"}
  P2: {GRP: "1", MENU ADDRESS: "2"}
  P3: {GRP: "2", MENU ADDRESS: "1"}
  P4: {GRP: "2", MENU ADDRESS: "2"}
  links:
    L: {packs: [P1..P2], manager: P1, reports_to: WEIR, group: 2}
    M: {packs: [P3..P4], manager: P3, reports_to: WEIR2}
links:
  L: {packs: [P1..P2], manager: propose, reports_to: WEIR, cables: propose}
  M: {packs: [P3..P4], manager: propose, reports_to: WEIR2, cables: propose}
"""
    plan = planned(tmp_path, body)
    assert {n: p["switches"]["GRP"]["set"] for n, p in plan["packs"].items()} == {
        "P1": ["1"], "P2": ["1"], "P3": ["2"], "P4": ["2"],
    }  # fmt: skip
    assert [a["id"] for a in plan["assumptions"]] == []
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "own").symlink_to(tmp_path / "own", target_is_directory=True)
    new = planned(tmp_path / "b", body.split("found:\n", maxsplit=1)[0] + "links:\n" + body.split("\nlinks:\n")[1])
    assert [(a["id"], a["decides"]) for a in new["assumptions"]] == [("group L", ["row GRP"]), ("group M", ["row GRP"])]


def test_a_found_cable_written_from_the_manager_is_kept(tmp_path: Path) -> None:
    body = """interop: site/1
name: From the manager
catalogs: [cat]
packs: {A1..A2: {model: tarn-a, place: rack 1 slot 1..}}
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}
found:
  A1: {ADD: 0000}
  A2: {ADD: 1000}
  links: {b: {packs: A1..A2, manager: A1, reports_to: INV}}
  cables:
    D1: {from: A1 LINK2, to: A2 LINK1, made: straight, length: 0.3 m}
    D5: {from: manager REPORT, to: INV BAT, made: {4: 4, 5: 5, 6: 6}, length: 2 m}
links: {b: {packs: [A1..A2], manager: propose, reports_to: INV, cables: propose}}
"""
    assert {n: c["action"] for n, c in planned(tmp_path, body)["cables"].items()} == {"D1": "keep", "D5": "keep"}


def test_cables_that_nobody_listed_are_told(tmp_path: Path) -> None:
    body = ROW.replace(", cables: propose", "")
    plan = planned(tmp_path, body + "cables:\n  A1: {from: P1 LINK2, to: P2 LINK1, made: propose, length: 1 m}\n"
                                    "  A2: {from: P2 LINK2, to: P3 LINK1, made: propose, length: 1 m}\n")
    assert sorted(plan["cables"]) == ["A1", "A2", "L-to-INV"]
    assert [r for r in plan["reasons"] if "says nothing of cables" in r["text"]] == [
        {"about": ["L-to-INV"],
         "text": "Link L says nothing of cables L-to-INV; the plan makes them, since the link needs them."}
    ]
