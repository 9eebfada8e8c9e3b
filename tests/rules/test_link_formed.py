"""What is in the way of a link, named: each site is legal and its link cannot be formed, or not of all its packs."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.documents.package import plan_document
from interop.site.load import load_site

CATALOGS = Path(__file__).parents[2] / "catalogs"
HEAD = """interop: site/1
name: In the way
catalogs: [cat]
controllers: {INV: {model: mole-6, cable_lands_on: unit 1}, WEIR: {model: weir-8, cable_lands_on: unit 1}}
"""


def told(folder: Path, body: str) -> str:
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "site.yaml").write_text(HEAD + body, encoding="utf-8")
    findings = plan_document(load_site(folder / "site.yaml"))[0]["findings"]
    (text,) = [f["text"] for f in findings if f["rule"] in ("link-not-formed", "left-off-the-link")]
    return str(text)


@pytest.mark.parametrize("body, text", [
    (("packs: {P1: {model: tarn-a, new: yes}, P2: {model: tarn-b, new: yes}}\n"
     "links: {L: {packs: [P1..P2], manager: P1, reports_to: INV, cables: propose}}\n"),
     ("Link L: new pack P2 stays unmanaged, on the busbar only; beside P1: the site names a tarn-a as manager, and the "
     "records ask for tarn-b")),
    (("packs: {P1..P2: {model: crag-300, new: yes}}\n"
     "links: {L: {packs: [P1..P2], manager: propose, reports_to: WEIR, cables: propose}}\n"),
     ("Link L: no link can be formed of P1, P2: crag-300 reports can dialect crag-can at 500000 bit/s "
     "or can dialect crag-stack at 250000 bit/s; WEIR (weir-8) "
     "takes rs-485 dialect rill-485 at 9600 bit/s")),
    (("packs: {P1..P2: {model: rill-50, new: yes}}\n"
     "links: {L: {packs: [P1..P2], manager: propose, cables: propose}}\n"),
     ("Link L: no link can be formed of P1, P2: a switch of rill-50 sets the rate towards a controller, and the link "
     "reports to none")),
    (("packs: {P1..P2: {model: tarn-b, new: yes}}\nwishes: {must: [not manager P1..P2]}\n"
     "links: {L: {packs: [P1..P2], manager: propose, reports_to: INV, cables: propose}}\n"),
     "Link L: no link can be formed of P1, P2: the wish that must hold: not manager P1..P2"),
    (("packs: {P1..P2: {model: tarn-b, new: yes}}\n"
     "links: {L: {packs: [P1..P2], manager: propose, reports_to: [INV, WEIR], cables: propose}}\n"),
     ("Link L: no link can be formed of P1, P2: the controllers take nothing in common: INV (mole-6) takes can dialect "
     "crag-can at 500000 bit/s or can dialect tarn-can at 500000 bit/s; WEIR (weir-8) takes rs-485 dialect rill-485 "
     "at 9600 bit/s")),
])
def test_what_is_in_the_way_is_named(tmp_path: Path, body: str, text: str) -> None:
    assert told(tmp_path, body) == text


def changed(folder: Path, *changes: tuple[str, str], packs: int = 3, controller: tuple[str, str] | None = None) -> str:
    """What is in the way of packs of a record that differs from tarn-a."""
    own = folder / "own"
    own.mkdir()
    for name, source, edits in (("own", "packs/tarn-a", changes),
                                ("box", "controllers/mole-6", [controller] if controller is not None else [])):
        text = (CATALOGS / f"{source}.yaml").read_text(encoding="utf-8")
        for old, new in (("id: tarn-a" if name == "own" else "id: mole-6", f"id: {name}"), *edits):
            assert old in text
            text = text.replace(old, new)
        (own / f"{name}.yaml").write_text(text, encoding="utf-8")
    body = (f"packs: {{P1..P{packs}: {{model: own, new: yes}}}}\n"
            f"links: {{L: {{packs: [P1..P{packs}], manager: propose, reports_to: BOX, cables: propose}}}}\n")
    site = HEAD.replace("catalogs: [cat]", "catalogs: [cat, own]").replace("WEIR:", "BOX: {model: box}, WEIR:")
    (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
    (folder / "site.yaml").write_text(site + body, encoding="utf-8")
    findings = plan_document(load_site(folder / "site.yaml"))[0]["findings"]
    (one,) = [f for f in findings if f["rule"] in ("link-not-formed", "left-off-the-link")]
    return f"{one['text']} / {one['todo']}"


RULE = "allowed: 0..14, gaps: forbidden, start: 0, manager: 0"
MEND, OFF = "Mend what is in the way, or take the link out of the site file.", (
    "Mend what is in the way, or write the link without these packs.")


@pytest.mark.parametrize("rule, text", [
    ("gaps: forbidden, start: 0, manager: 0",
     ("Link L: new packs P2, P3 stay unmanaged, on the busbar only; beside P1: own does not state "
     f"addresses.chain.allowed / {OFF} Look up addresses.chain.allowed of own; a manual usually prints it beside the "
     "table of the address switches.")),
    ("allowed: 0..14, gaps: forbidden, start: 3, manager: 0",
     ("Link L: no link can be formed of P1..P3: own numbers its packs from 3 on without a gap, and its manager stands "
     f"at 0 / {MEND}")),
    ("allowed: 0..14, gaps: forbidden, start: 0, manager: {manual p. 3: 0, bench: 1}",
     ("Link L: no link can be formed of P1..P3: the sources of own differ on addresses.chain.manager: 0 (manual p. 3), "
     f"1 (bench) / {MEND} Settle addresses.chain.manager of own with its maker: its sources differ.")),
    ("allowed: 0..1, gaps: forbidden, start: 0, manager: 0",
     ("Link L: new pack P3 stays unmanaged, on the busbar only; beside P1, P2: own has 2 numbers to give on bus chain, "
     f"and the link has 3 packs / {OFF}")),
    ("allowed: 0..14, gaps: forbidden, start: 0, manager: 0, kept_for: {2: a tool}",
     ("Link L: new pack P3 stays unmanaged, on the busbar only; beside P1, P2: own numbers its packs from 0 on without "
     f"a gap, and 2 is kept for something else (a tool) / {OFF}")),
])
def test_the_fact_in_the_way_of_the_numbers_is_named(tmp_path: Path, rule: str, text: str) -> None:
    assert changed(tmp_path, (f"{RULE}, kept_for: {{15: reserved by the maker}}", rule)) == text


def test_a_count_that_the_switches_cannot_give_is_named(tmp_path: Path) -> None:
    """Not the gap: the manager's table ends at two members."""
    row = "      - {use: 1..4, sets: address, code: {binary: first is low, from: 0}}\n"
    parts = ("      - {use: 1..4, sets: address, code: {binary: first is low, from: 0}, when: {role: member}}\n"
             "      - {use: 1..4, sets: count of members, when: {role: manager}, code: {table: "
             "{1: on off off off, 2: off on off off}}}\n")
    text = changed(tmp_path, (row, parts), ("made_by: address", "made_by: place"), packs=4)
    assert text == ("Link L: new pack P4 stays unmanaged, on the busbar only; beside P1..P3: row ADD of own gives the "
                    f"count of members as 1, 2, and the link needs 3 / {OFF}")


def test_a_controller_that_states_no_rate_is_told_so(tmp_path: Path) -> None:
    text = changed(tmp_path, controller=("    rates_bps: [500000]\n", ""))
    assert "BOX (box) takes in no known way (buses.battery.rates_bps not stated)" in text


def test_seventeen_packs_run_against_numbers_and_members(tmp_path: Path) -> None:
    text = told(tmp_path, "packs: {P1..P17: {model: tarn-b, new: yes}}\n"
                          "links: {L: {packs: [P1..P17], manager: propose, reports_to: INV, cables: propose}}\n")
    assert text.startswith("Link L: new packs P16, P17 stay unmanaged, on the busbar only; beside P1..P15: one of ")
    assert "tarn-b has 15 numbers to give on bus chain, and the link has 17 packs" in text
    assert "a tarn-b as manager takes 14 members at most, and the link has 17 packs" in text
