"""The answers of the example sites, worked out by hand from the records in catalogs/ and typed as literals.

Switch patterns are written as the records print them, first switch first, 1 for on.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import interop
from tests.documents.reading import texts

EXAMPLES = Path(__file__).parent.parent.parent / "examples"

Plan = dict[str, Any]
Rows = dict[str, dict[str, str]]

STRAIGHT = [[str(pin), str(pin)] for pin in range(1, 9)]
"""All eight contacts of a plug, each to its own number."""


@cache
def plan(name: str) -> Plan:
    return interop.plan_document(interop.load_site(EXAMPLES / name / "site.yaml"))[0]  # type: ignore[no-any-return]


def rows(name: str, key: str = "set") -> Rows:
    """Every row of every pack: slides as figures, anything else as its one word; nothing where nobody looked."""
    figure = {"on": "1", "off": "0"}
    return {
        pack: {row: "".join(figure.get(w, w) for w in value[key] or ()) for row, value in one["switches"].items()}
        for pack, one in plan(name)["packs"].items()
    }


def addresses(name: str) -> dict[str, int | None]:
    return {pack: one["address"] for pack, one in plan(name)["packs"].items()}


def moved(name: str) -> dict[str, tuple[str, str]]:
    """The rows that the plan moves on packs whose switches somebody looked at: as found, as planned."""
    before, after = rows(name, "was"), rows(name)
    return {
        f"{pack} {row}": (was, after[pack][row])
        for pack, found in before.items()
        for row, was in found.items()
        if was and "x" not in was and was != after[pack][row]
    }


def cable(name: str, key: str) -> tuple[str, str, list[list[str]], list[str]]:
    one = plan(name)["cables"][key]
    return one["action"], one["kind"], one["joined"], one["cut"]


def ends(name: str, key: str) -> tuple[str, str]:
    one = plan(name)["cables"][key]
    return " ".join(one["from"]), " ".join(one["to"])


def cut_because(name: str, key: str) -> dict[str, str]:
    """Why each pin of a cable is cut, out of the plan's reasons."""
    found: dict[str, str] = {}
    for reason in plan(name)["reasons"]:
        said = re.fullmatch(r"Cut pins? ([\d., ]+): (.+)\.", reason["text"])
        if reason["about"] == [key] and said:
            for part in said[1].split(", "):
                first, _, last = part.partition("..")
                found |= {str(pin): said[2] for pin in range(int(first), int(last or first) + 1)}
    return found


def said(name: str, rule: str, stage: str = "findings") -> list[Plan]:
    return [one for one in plan(name)[stage] if one["rule"] == rule]


# ---- ferry-landing: eleven packs of two generations on one link, two floor packs on the busbar only ----
#
# Who is manager. tarn-b says of tarn-a "same link, in mode older, manager: this": so one of N1, N2 is, in mode older.
# tarn-a and tarn-b make a pack the manager at 0 and forbid gaps: the eleven stand at 0 .. 10.
# "keep addresses of R1..R9" comes first: R2 1, R3 2, R4 3 can be kept, R1 (found at 0, the manager's) cannot, of
# R5..R9 nobody knows. Then fewest switches moved: R1 from 0000 needs one switch for 4 (0010) or 8 (0001), more for
# every other free number; R5..R9 cost the same wherever they go. Then order by place (rack L 1..9, rack M 1, 2, as
# 0 .. 10, so N1 is 9 and N2 10): R1 at 4 costs 16, at 8 it costs 64; the rest in a row, R5..R9 at 5 .. 9 and N2 at
# 10, costs 5 x 1 + 0; N1 at 0 costs 81, together 102. With N2 as manager and N1 at 10: 100 + 1 + 16 + 5 = 122.

FERRY = {
    "N1": 0, "R2": 1, "R3": 2, "R4": 3, "R1": 4, "R5": 5, "R6": 6, "R7": 7, "R8": 8, "R9": 9, "N2": 10,
    "C1": None, "C2": None,
}  # fmt: skip

# Address as binary number, first switch low. In mode older the newer packs have it on 1..4 as well; 5 stays off, 6 is
# the rate of the report on the manager (500 kbit/s, the only one of the controller: off) and off on a member. END is a
# terminator that nobody requires: off. DIAL of the floor packs decides nothing and nobody looked: the first number
# that its maker does not strike out ("0 and 9 are printed as do not use").
FERRY_ROWS: Rows = {
    "N1": {"ADD": "000000", "END": "0"},
    "R2": {"ADD": "1000"},
    "R3": {"ADD": "0100"},
    "R4": {"ADD": "1100"},
    "R1": {"ADD": "0010"},
    "R5": {"ADD": "1010"},
    "R6": {"ADD": "0110"},
    "R7": {"ADD": "1110"},
    "R8": {"ADD": "0001"},
    "R9": {"ADD": "1001"},
    "N2": {"ADD": "010100", "END": "0"},
    "C1": {"DIAL": "1"},
    "C2": {"DIAL": "1"},
}


def test_ferry_the_newer_generation_manages_and_the_floor_packs_stay_silent() -> None:
    (link,) = plan("ferry-landing")["links"]
    assert (link["id"], link["manager"], link["poller"], link["proved"]) == ("rack", "N1", "N1", True)
    assert link["members"] == ["N2", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8", "R9"]
    assert link["reports_to"] == ["INV"]
    assert {p: (one["role"], one["mode"]) for p, one in plan("ferry-landing")["packs"].items()} == {
        "N1": ("manager", "older"), "N2": ("member", "older"),
        **{f"R{i}": ("member", "own") for i in range(1, 10)},
        "C1": ("unmanaged", None), "C2": ("unmanaged", None),
    }  # fmt: skip
    chain = plan("ferry-landing")["buses"]["rack chain"]
    assert (chain["dialect"], chain["rate_bps"], chain["terminators"]) == ("tarn-1", 9600, [])


def test_ferry_the_runner_up_loses_by_place() -> None:
    runner = plan("ferry-landing")["links"][0]["runner_up"]
    assert (runner["manager"], set(runner["members"])) == ("N2", {"N1", *(f"R{i}" for i in range(1, 10))})
    assert (runner["lost_at"], runner["proved"]) == ("order by place", True)
    assert runner["text"].endswith('it loses at "order by place" (122 against 102).')


def test_ferry_every_switch_of_every_pack() -> None:
    assert addresses("ferry-landing") == FERRY
    assert rows("ferry-landing") == FERRY_ROWS
    assert moved("ferry-landing") == {"R1 ADD": ("0000", "0010")}


def test_ferry_the_first_four_switches_mean_the_same_in_both_generations() -> None:
    """N2 in mode older at 10 shows what an older pack at 10 would: 0101; the last two are off."""
    tens = [bits["ADD"] for pack, bits in rows("ferry-landing").items() if addresses("ferry-landing")[pack] == 10]
    assert [(bits[:4], bits[4:]) for bits in tens] == [("0101", "00")]


def test_ferry_between_the_generations_only_the_data_pair_stays() -> None:
    """tarn-b has data on 7 and 8 and its stop line on 3 and 6; tarn-a has data on 7 and 8 and nothing on 3 and 6."""
    assert ends("ferry-landing", "W10") == ("N2 LINK LINK2", "R1 LINK LINK1")
    assert cable("ferry-landing", "W10") == (
        "make", "straight", [["7", "7"], ["8", "8"]], ["1", "2", "3", "4", "5", "6"])  # fmt: skip
    why = cut_because("ferry-landing", "W10")
    assert sorted(why) == ["1", "2", "3", "4", "5", "6"]
    assert "stop line a" in why["3"]
    assert "stop line b" in why["6"]
    assert {pin for pin, words in why.items() if "stop line" in words} == {"3", "6"}
    assert "must-be-empty pin joined" in why["1"] == why["2"]
    assert "unknown pin joined" in why["4"] == why["5"]


def test_ferry_two_of_the_newer_keep_their_stop_line() -> None:
    assert cable("ferry-landing", "W9") == (
        "make", "straight", [["3", "3"], ["6", "6"], ["7", "7"], ["8", "8"]], ["1", "2", "4", "5"])  # fmt: skip


def test_ferry_the_other_cables() -> None:
    """The leads of the older packs stay as they are; the one to the controller moves to the new manager.

    REPORT of tarn-b and BAT of mole-6 both have 4 high, 5 low, 6 reference. The lead was found with these three
    conductors only, so that none is left to cut.
    """
    cables = plan("ferry-landing")["cables"]
    assert set(cables) == {f"W{i}" for i in range(1, 12)}
    for i in range(1, 9):
        assert ends("ferry-landing", f"W{i}") == (f"R{i} LINK LINK2", f"R{i + 1} LINK LINK1")
        assert cable("ferry-landing", f"W{i}") == ("keep", "straight", STRAIGHT, [])
    assert ends("ferry-landing", "W11") == ("N1 REPORT REPORT", "INV BAT BAT")
    assert cable("ferry-landing", "W11") == (
        "alter", "straight", [["4", "4"], ["5", "5"], ["6", "6"]], [])  # fmt: skip


def test_ferry_the_missing_reference_is_reported_not_overlooked() -> None:
    """Neither generation brings a reference out on its LINK plug (isolated, no pin of that name)."""
    (one,) = said("ferry-landing", "reference-missing")
    assert (one["level"], one["verdict"]) == ("caution", "broken")
    assert set(one["about"]) == {"N1", "N2", *(f"R{i}" for i in range(1, 10))}
    assert one["text"] == (
        "Link rack: no reference conductor is joined in W9: LINK of tarn-b brings none out; W10: LINK of tarn-b and "
        "LINK of tarn-a bring none out; W1..W8: LINK of tarn-a brings none out"
    )
    assert [set(f["about"]) for f in said("ferry-landing", "reference-missing", "found")] == [
        {f"R{i}" for i in range(1, 10)}]  # fmt: skip


def test_ferry_a_stop_does_not_reach_the_older_generation() -> None:
    (one,) = said("ferry-landing", "stop-does-not-reach")
    assert one["text"] == "A stop at N1, N2 reaches these packs only; R1..R9, C1, C2 stay live on the busbar"


def test_ferry_the_controller_shows_a_part() -> None:
    """R1..R9: 100 Ah x 51.2 V x 0.9 = 4608 Wh each; N: 4864; C: 300 x 51.2 x 0.9 = 13824. 27648 of 78848 = 35 %."""
    (one,) = said("ferry-landing", "controller-shows-part")
    assert one["text"].endswith("35 % of the bank's usable energy (27648 of 78848 Wh)")
    assert plan("ferry-landing")["settings"]["INV"]["dialect"]["value"] == "tarn-can: menu 21, code 03"


def test_ferry_the_printed_note_names_the_brown_pair(tmp_path: Path) -> None:
    """Pins 7 and 8 are white/brown and brown in T568A and in T568B (ANSI/TIA-568); all others are printed as cut."""
    package = interop.plan_site(interop.load_site(EXAMPLES / "ferry-landing" / "site.yaml"))
    pages = texts(package.files["cable-notes.pdf"], tmp_path)
    (page,) = [" ".join(page.split()) for page in pages if page.startswith("W10")]
    for line in ("7 7 white/brown white/brown 7-8 KEEP", "8 8 brown brown 7-8 KEEP"):
        assert line in page
    assert page.count("KEEP") == 2
    assert page.count("CUT, both ends") == 6
    assert "Must beep, end 1 to end 2: 7 to 7, 8 to 8. Nothing else may beep" in page


# ---- lock-house: an installed bank, the failed fourth pack replaced by the next generation ----
#
# B4 (tarn-b) must be manager beside tarn-a, at 0. Five packs, 0 .. 4 without a gap. "keep addresses of A1..A3": A2 at 1
# and A3 at 2 stay; A1 was found at 0, the manager's. Fewest switches moved: A5 stays at 4 (0010) and A1 goes to 3
# (1100), 2 switches; the other way round, A1 at 4 and A5 at 3, would be 1 + 3.


def test_lock_house_the_replacement_becomes_manager() -> None:
    (link,) = plan("lock-house")["links"]
    assert (link["manager"], link["poller"], link["proved"]) == ("B4", "B4", True)
    assert plan("lock-house")["packs"]["B4"]["mode"] == "older"
    assert addresses("lock-house") == {"B4": 0, "A2": 1, "A3": 2, "A1": 3, "A5": 4}


def test_lock_house_as_found_and_what_changes() -> None:
    assert rows("lock-house", "was") == {
        "A1": {"ADD": "0000"}, "A2": {"ADD": "1000"}, "A3": {"ADD": "0100"}, "A5": {"ADD": "0010"},
        "B4": {"ADD": "", "END": ""},
    }  # fmt: skip
    assert rows("lock-house") == {
        "A1": {"ADD": "1100"}, "A2": {"ADD": "1000"}, "A3": {"ADD": "0100"}, "A5": {"ADD": "0010"},
        "B4": {"ADD": "000000", "END": "0"},
    }  # fmt: skip
    assert moved("lock-house") == {"A1 ADD": ("0000", "1100")}
    (one,) = said("lock-house", "setting-differs")
    assert one["text"] == "Row ADD of A1 (tarn-a) was found at 0000; the plan sets 1100: switch 1 on and 2 on"


def test_lock_house_the_gap_that_the_failed_pack_left_is_found_and_gone() -> None:
    (one,) = said("lock-house", "address-gap", "found")
    assert (one["level"], one["verdict"]) == ("stop", "broken")
    assert one["text"].startswith("Link bank: no pack of A1..A3, A5 (tarn-a) stands at address 3;")
    assert said("lock-house", "address-gap") == []


def test_lock_house_what_becomes_of_each_cable() -> None:
    """From B4 (slot 4) the older packs follow in a block. Both ways keep D1, D2 and D4; backwards is shorter by place.

    5, 3, 2, 1 is 1 + 2 + 1 + 1 slots; 1, 2, 3, 5 is 3 + 1 + 1 + 2. Only the lead to the new manager is made, on the
    socket of A5 that D4 leaves free, and the controller's lead (three conductors, as found) moves from A1 to B4.
    """
    cables = plan("lock-house")["cables"]
    assert plan("lock-house")["links"][0]["members"] == ["A5", "A3", "A2", "A1"]
    assert {name: one["action"] for name, one in cables.items()} == {
        "D1": "keep", "D2": "keep", "D4": "keep", "D5": "alter", "bank-1": "make"}  # fmt: skip
    for name in ("D1", "D2", "D4"):
        assert cable("lock-house", name) == ("keep", "straight", STRAIGHT, [])
    assert ends("lock-house", "D1") == ("A1 LINK LINK2", "A2 LINK LINK1")
    assert ends("lock-house", "D4") == ("A3 LINK LINK2", "A5 LINK LINK1")
    assert ends("lock-house", "bank-1") == ("B4 LINK LINK2", "A5 LINK LINK2")
    assert cable("lock-house", "bank-1") == (
        "make", "straight", [["7", "7"], ["8", "8"]], ["1", "2", "3", "4", "5", "6"])  # fmt: skip
    assert ends("lock-house", "D5") == ("B4 REPORT REPORT", "INV BAT BAT")
    assert cable("lock-house", "D5") == (
        "alter", "straight", [["4", "4"], ["5", "5"], ["6", "6"]], [])  # fmt: skip


# ---- tide-gauge: two dialects on one busbar, two links ----
#
# rill-50 prints 1 above the wire: menu 1..4 is 0..3, the manager at 0. crag-300: dial 1..8, the manager at 1.


def test_tide_gauge_two_links_each_with_its_own_dialects() -> None:
    small, big = plan("tide-gauge")["links"]
    assert (small["id"], small["manager"], small["members"], small["reports_to"]) == (
        "small", "S1", ["S2", "S3", "S4"], ["WEIR"])  # fmt: skip
    assert (big["id"], big["manager"], big["members"], big["reports_to"]) == ("big", "G1", ["G2", "G3"], ["MOLE"])
    assert (small["poller"], big["poller"]) == (None, None)  # on both chains nobody asks
    buses = plan("tide-gauge")["buses"]
    assert {name: (bus["kind"], bus["dialect"], bus["rate_bps"]) for name, bus in buses.items()} == {
        "small chain": ("can", "rill-link", 250000),
        "small report": ("rs-485", "rill-485", 9600),
        "big chain": ("can", "crag-stack", 250000),
        "big report": ("can", "crag-can", 500000),
    }


def test_tide_gauge_no_bus_and_no_cable_joins_the_two() -> None:
    sides = [{"S1", "S2", "S3", "S4", "WEIR"}, {"G1", "G2", "G3", "MOLE"}]
    for bus in plan("tide-gauge")["buses"].values():
        assert any({device for device, _ in bus["nodes"]} <= side for side in sides)
    for one in plan("tide-gauge")["cables"].values():
        assert any({one["from"][0], one["to"][0]} <= side for side in sides)


def test_tide_gauge_menus_and_dials() -> None:
    assert addresses("tide-gauge") == {"S1": 0, "S2": 1, "S3": 2, "S4": 3, "G1": 1, "G2": 2, "G3": 3}
    assert rows("tide-gauge") == {
        **{f"S{i}": {"MENU ADDRESS": str(i), "MENU RATE": "9.6 k"} for i in range(1, 5)},
        **{f"G{i}": {"DIAL": str(i)} for i in range(1, 4)},
    }
    assert moved("tide-gauge") == {}


def test_tide_gauge_terminators_stand_at_the_ends() -> None:
    """Both chains ask for plugs at their ends; on CAN to MOLE both sides are fitted; WEIR is fitted, rill-50 never."""
    buses = plan("tide-gauge")["buses"]
    assert {name: [(one["device"], one["by"]) for one in bus["terminators"]] for name, bus in buses.items()} == {
        "small chain": [("S1", "plug"), ("S4", "plug")],
        "big chain": [("G1", "plug"), ("G3", "plug")],
        "small report": [("WEIR", "fitted")],
        "big report": [("G1", "fitted"), ("MOLE", "fitted")],
    }


def test_tide_gauge_the_cable_to_the_weir_is_crossed_by_name() -> None:
    """S1: minus on 1 and 7, plus on 2 and 8, reference on 3 and 6. WEIR: plus on 7, minus on 8, reference on 3.

    Straight pins give no data: 7 and 8 would meet reversed. Minus 1 to 8, plus 2 to 7, on the pair 1-2 of S1.
    """
    assert cable("tide-gauge", "small-to-WEIR") == ("make", "repinned", [["1", "8"], ["2", "7"], ["3", "3"]], [])
    assert cable("tide-gauge", "big-to-MOLE") == (
        "make", "straight", [["4", "4"], ["5", "5"]], ["1", "2", "3", "6", "7", "8"])  # fmt: skip
    for i in range(1, 4):
        assert cable("tide-gauge", f"small-{i}") == (
            "make", "straight", [["3", "3"], ["4", "4"], ["5", "5"]], ["1", "2", "6", "7", "8"])  # fmt: skip


@pytest.mark.parametrize(("name", "stops"), [
    ("ferry-landing", {"device-polarised", "pack-passes-its-limit", "power-not-judged"}),
    ("lock-house", {"device-polarised", "power-not-judged"}),
    ("tide-gauge", {"pack-passes-its-limit", "power-not-judged"}),
])  # fmt: skip
def test_settings_are_issued_and_joining_is_not(name: str, stops: set[str]) -> None:
    """Nothing is broken; what cannot be told keeps joining shut: whether tarn-a's breaker is polarised."""
    assert plan(name)["cleared"] == {"settings": True, "joining": False}
    found = [one for one in plan(name)["findings"] if one["level"] == "stop"]
    assert {one["rule"] for one in found} == stops
    assert {one["verdict"] for one in found} == {"cannot-tell"}


def test_the_demo_with_its_largest_pack_out() -> None:
    """Who is overloaded, by how much, what trips next, and which load is safe; by power.md §5.

    By hand: packs at the end of their leads in parallel, the ways to the inverters common: with C1 out C2 carries its
    part of 395 A, its conductance over the sum of the others, 105 A of 100 A.
    """
    bank = plan("ferry-landing")["power"]["banks"][0]
    (row,) = [one for one in bank["one_out"]["cases"] if one["out"] == "C1"]
    assert (row["nearest"], row["amps"], row["part"]) == ("C2", 105.0, 1.05)
    assert row["then"] == [[10.0, "C2", "opens on discharge current"]]
    assert row["end"] == "load carried"
    assert (bank["one_out"]["safe_w"], bank["one_out"]["sure_w"]) == (16_640, 11_700)   # the second: test_lost.py
    (found,) = [one for one in plan("ferry-landing")["findings"] if one["rule"] == "one-out-overloads-the-rest"]
    assert found["about"] == ["C1", "C2"]
    assert found["text"] == (
        "If fuse-500 in the plus of left is out at the highest load, C2 carries 197.9 A, 198% of its limit. "
        "Then C1, C2 open, and the load is dark after 10 s. "
        "If C1 is out at the highest load, C2 carries 105 A, 105% of its limit. "
        "Then C2 opens, and the load is still carried after 10 s. "
        "The largest load that any one pack may leave is 11.7 kW, or 16.6 kW at the resistances to work with.")
