"""Terminators of the site as found: a bus wants what any of its nodes requires, and a controller on it is an end."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.site.site import Site
from tests.rules.site import changed, found, texts, write

ENDS = "ohm: 120, ends: required}, poller: manager"
POLLED = (
    (ENDS, "ohm: 120, ends: required}, poller: controller"),
    ("manager: 0}", "manager: none}"),
)


def mixed(folder: Path, asked: str, switch: str) -> Site:
    """P1 (ends required) and P2, whose record asks something else, on one link; the switch of P2 as given."""
    other = changed("lk-end", "lk-other", (ENDS, ENDS.replace("required", asked)))
    return write(
        folder,
        "packs:\n  P1: {model: lk-end}\n  P2: {model: lk-other}\n"
        f"found:\n  P1: {{ADD: 0000, END: 1}}\n  P2: {{ADD: 1000, END: {switch}}}\n"
        "  links: {rack: {packs: P1..P2, manager: P1}}\n"
        "  cables: {W1: {from: P1 LINK2, to: P2 LINK1, made: straight, length: 1 m}}\n",
        **{"lk-other": other},
    )


@pytest.mark.parametrize("asked, switch, stale", [
    ("not required", "0", True), ("not required", "1", False), ("required", "0", True),
    ("forbidden", "0", False), ("not required", "x", True),
])
def test_the_end_of_a_bus_is_set_as_any_of_its_nodes_requires(
    tmp_path: Path, asked: str, switch: str, stale: bool
) -> None:
    head = "Terminator of bus chain of P2 (lk-other), at an end of link rack, is set"
    told = texts(found(mixed(tmp_path, asked, switch), "terminator-stale"))
    if switch == "x":
        unseen = "off or on; there it must be on: not every switch was looked at, so whether it fits cannot be told"
        assert told == [f"caution cannot-tell P2: {head} {unseen}"]
    else:
        assert told == ([f"caution broken P2: {head} off; there it must be on"] if stale else [])


def test_with_the_wish_of_the_other_forgotten_it_cannot_be_told(tmp_path: Path) -> None:
    plain, quiet = (ENDS, ENDS.replace("required", "not required")), (ENDS, ENDS.replace("required", "not stated"))
    site = write(
        tmp_path,
        "packs:\n  P1: {model: lk-open}\n  P2: {model: lk-other}\n"
        "found:\n  P1: {ADD: 0000, END: 1}\n  P2: {ADD: 1000, END: 0}\n"
        "  links: {rack: {packs: P1..P2, manager: P1}}\n"
        "  cables: {W1: {from: P1 LINK2, to: P2 LINK1, made: straight, length: 1 m}}\n",
        **{"lk-open": changed("lk-end", "lk-open", quiet), "lk-other": changed("lk-end", "lk-other", plain)},
    )
    (text,) = [one for one in texts(found(site, "terminator-stale")) if " P2: " in one]
    assert text == (
        "caution cannot-tell P2: Terminator of bus chain of P2 (lk-other), at an end of link rack, is set off: whether "
        "lk-open needs a terminator at each end is not known"
    )


def polled(folder: Path, made_by: str, fitted: str, packs: str, ends: str) -> Site:
    """Packs that CTL polls over their own bus, its cable in P1; the terminators as found."""
    pack = changed("lk-end", "lk-polled", *POLLED, ("made_by: address", f"made_by: {made_by}"))
    controller = changed(
        "lk-ctl", "lk-poller",
        ("{kind: can, rates_bps: [500000], dialect: teal-can, frame: 11 bit, nodes: 2,",
         "{kind: rs-485, rates_bps: [9600], dialect: teal-1, frame: 8N1, nodes: 16, unit_loads: 1,"),
        ("fitted: always", f"fitted: {fitted}"), ("poller: nobody", "poller: controller"),
        ("4: battery high, 5: battery low", "4: battery plus, 5: battery minus"),
    )  # fmt: skip
    last = int(packs[-1])
    rows = "".join(f"  P{i + 1}: {{ADD: {i + 1:04b}, END: {bit}}}\n" for i, bit in enumerate(ends))
    chain = f"    W1..W{last - 1}: {{chain: P1..P{last}, from: LINK2, to: LINK1, made: straight}}\n" if last > 1 else ""
    return write(
        folder,
        f"packs:\n  {packs}: {{model: lk-polled}}\ncontrollers: {{CTL: {{model: lk-poller}}}}\n"
        f"found:\n{rows}  links: {{rack: {{packs: {packs}, reports_to: CTL}}}}\n  cables:\n{chain}"
        "    W9: {from: P1 LINK1, to: CTL BAT, made: {7: 5, 8: 4}}\n",
        **{"lk-polled": pack, "lk-poller": controller},
    )


@pytest.mark.parametrize("made_by", ["controller", "not stated"])
def test_the_pack_beside_a_polling_controller_is_in_the_middle(tmp_path: Path, made_by: str) -> None:
    """Where it is not known that the controller polls, the worse side holds."""
    site = polled(tmp_path, made_by, "never", "P1..P3", "101")
    assert texts(found(site, "terminator-not-at-an-end")) == [
        "caution broken P1: Link rack: P1 has a terminator on in the middle; the ends are P3 and CTL"
    ]
    head = "Terminator of bus chain of P1 (lk-polled), in the middle of link rack"
    assert f"caution broken P1: {head}, is set on; there it must be off" in texts(found(site, "terminator-stale"))


@pytest.mark.parametrize("made_by", ["controller", "not stated"])
def test_one_pack_and_the_controller_that_polls_it_are_judged_as_a_bus(tmp_path: Path, made_by: str) -> None:
    site = polled(tmp_path, made_by, "always", "P1", "0")
    text = "Link rack: 1 terminator (CTL) on the bus of P1, CTL (rs-485); 2 are needed, one at each end"
    assert texts(found(site, "terminator-missing")) == [f"caution broken P1,CTL: {text}"]


def test_a_missing_terminator_at_level_caution_must_be_accepted(tmp_path: Path) -> None:
    (one,) = found(polled(tmp_path, "controller", "always", "P1", "0"), "terminator-missing")
    assert (one.level.value, one.must_accept) == ("caution", True)
