"""The words of refusals for want of a cable, from the site to the printed page; and hostile text on that page."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

import interop
from interop.documents.package import Package, plan_site
from interop.documents.plaintext import visible
from interop.documents.refusal import refusal_page
from tests.choose.random_sites import write_case
from tests.choose.test_frames_and_search import BOX, site
from tests.choose.test_route import bridged, waking, wired
from tests.documents.example import finding, made
from tests.documents.reading import flat, texts, words
from tests.documents.test_same_bytes import HOSTILE

Tree = dict[str, Any]

SHUT = {"settings": False, "joining": False}
UNUSED = {str(pin): "unused" for pin in range(1, 9)}


def reporting(name: str) -> Tree:
    """A pack that reports on pins 4 and 5 of a plug of its own."""
    tree = wired(name)
    port = {"sockets": ["REPORT"], "plug": "rj45", "direction": "either", "inside": "alone", "reference": "isolated"}
    tree["ports"]["REPORT"] = port
    tree["pins"]["REPORT"] = UNUSED | {"4": "report high", "5": "report low"}
    return tree


def spoilt_box() -> Tree:
    """A controller in whose plug pin 4, a data wire, is one piece of copper with a supply on 6."""
    box = copy.deepcopy(BOX)
    port = {"sockets": ["BAT"], "plug": "rj45", "direction": "either", "inside": ["4-6"], "reference": "isolated"}
    pins = UNUSED | {"4": "battery high", "5": "battery low", "6": "supply 12 V"}
    return box | {"ports": {"BAT": port}, "pins": {"BAT": pins}}


def deaf(name: str) -> Tree:
    """A pack with a bus for the chain of which no plug has a pin."""
    tree = wired(name)
    tree["pins"]["LINK"] = dict(UNUSED)
    return tree


def refused(folder: Path, records: list[Tree], packs: dict[str, str], **more: Any) -> Package:
    """The plan of packs that must all be managed, the first one the manager, with cables left to the plan."""
    first, *rest = packs
    wishes = {"must": [f"keep {name} managed" for name in rest]}
    tree = site(packs, link={"manager": first, "cables": "propose"}, wishes=wishes)
    case = {"records": [*records, more.get("box", BOX)], "site": tree}
    return plan_site(interop.load_site(write_case(case, folder)))


# What is in the way, worked out by hand from the records; the smallest set of pins that leaves no cable.
BLOCKED = {
    # both have the wake line, so its wires are needed; B's wire a (pin 3) is one piece of copper with 12 V (pin 4)
    "two packs": (
        [waking("c"), bridged("b")], {"C": "c", "B": "b"}, {},
        ("no cable joins c and b: every pin of a needed wire ends on copper that carries something else: "
         "B L1 pin 3 (wake line a), B L1 pin 4 (supply 12 V)"),
    ),
    # A speaks with both, but behind A the two are neighbours in either order
    "one behind the other": (
        [wired("a"), waking("c"), bridged("b")], {"A": "a", "C": "c", "B": "b"}, {},
        ("no cable joins a and c and b: every pin of a needed wire ends on copper that carries something else: "
         "B L1 pin 3 (wake line a), B L1 pin 4 (supply 12 V)"),
    ),
    "manager and controller": (
        [reporting("a")], {"A": "a", "B": "a"}, {"box": spoilt_box()},
        ("no cable joins a and box: every pin of a needed wire ends on copper that carries something else: "
         "INV BAT pin 4 (data high), INV BAT pin 6 (supply 12 V)"),
    ),
    "no plug for the link": (
        [wired("a"), deaf("n")], {"A": "a", "N": "n"}, {},
        "no order of a and n has a cable for every two neighbours",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BLOCKED)
def test_what_leaves_no_cable_is_said_in_the_plan_and_on_the_page(tmp_path: Path, case: str) -> None:
    records, packs, more, said = BLOCKED[case]
    package = refused(tmp_path, records, packs, **more)
    plan = package.plan
    assert plan["cleared"] == SHUT
    assert plan["links"][0]["manager"] is None
    assert {one["role"] for one in plan["packs"].values()} == {"unmanaged"}
    assert [one["text"] for one in plan["reasons"] if one["text"].startswith("Link rack:")] == [f"Link rack: {said}."]
    (stop,) = [one for one in plan["findings"] if one["rule"] == "link-not-formed"]
    assert (stop["level"], stop["verdict"], stop["about"]) == ("stop", "broken", list(packs))
    assert stop["text"] == f"Link rack: no link can be formed of {', '.join(packs)}: {said}"
    assert sorted(package.files) == ["plan.json", "refusal.pdf"]
    (page,) = texts(package.files["refusal.pdf"], tmp_path)
    assert flat(stop["text"]) in flat(page)


# ---- hostile text ----

SHORT = {name: text for name, text in HOSTILE.items() if not name.startswith("long")}


def hostile(text: str) -> dict[str, Any]:
    """A refused plan with `text` in everything that somebody can write into a site file or a record."""
    facts = [{"record": f"record {text}", "path": "limits.charge_a", "state": "not-stated"}]
    stop = finding("a-rule", "stop", [f"R1{text}"], f"finding {text}", f"do {text}", facts=facts)
    asks = finding("another", "caution", [f"C1{text}"], f"caution {text}", f"sign {text}", must_accept=True)
    return made(cleared=SHUT, site={"name": f"name {text}"}, findings=[stop, asks])


@pytest.mark.parametrize("text", SHORT.values(), ids=SHORT.keys())
def test_hostile_text_stands_on_the_refusal_page_as_text(tmp_path: Path, text: str) -> None:
    (page,) = texts(refusal_page(hostile(text)), tmp_path, feet=False)
    read = flat(page)
    assert flat(visible(f"name {text}"))[:20] in read  # a long name of a site is shortened
    for written in (f"R1{text}", f"finding {text}", f"do {text}", f"record {text}",
                    f"C1{text}", f"caution {text}", f"sign {text}"):  # fmt: skip
        assert flat(visible(written)) in read, written
    assert "STOP-broken:R1" in read
    assert "CAUTION-broken:C1" in read


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_text_stays_on_one_page(tmp_path: Path, text: str) -> None:
    ((wide, high, listed),) = words(refusal_page(hostile(text)), tmp_path)
    assert len(listed) > 40
    for word in listed:
        assert word.left >= 20, word
        assert word.right <= wide - 20, word
        assert word.top >= 0, word
        assert word.bottom <= high, word


def test_hostile_names_of_a_real_refusal(tmp_path: Path) -> None:
    """From the site file on: what ids and the site's name may hold reaches the page as it was written."""
    tree = site({"A#1": "a", "N/(x)1": "n"}, link={"manager": "A#1", "cables": "propose"},
                wishes={"must": ["keep N/(x)1 managed"]})  # fmt: skip
    tree["name"] = "<script>alert(1)</script> #{1+1} \\ *x* $y$"
    case = {"records": [wired("a"), deaf("n"), BOX], "site": tree}
    package = interop.plan_site(interop.load_site(write_case(case, tmp_path)))
    (page,) = texts(package.files["refusal.pdf"], tmp_path)
    read = flat(page)
    assert flat(f"No plan issued: {tree['name']}") in read
    assert flat("no link can be formed of A#1, N/(x)1: no order of a and n has a cable") in read
