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
     ("Link L: no link can be formed of P1, P2: one of these, or several together, leave no way: tarn-b allows no gap "
     "between the numbers on bus chain, some of which are not for members; the wish that must hold: "
     "not manager P1..P2")),
    (("packs: {P1..P2: {model: tarn-b, new: yes}}\n"
     "links: {L: {packs: [P1..P2], manager: propose, reports_to: [INV, WEIR], cables: propose}}\n"),
     ("Link L: no link can be formed of P1, P2: the controllers take nothing in common: INV (mole-6) takes can dialect "
     "crag-can at 500000 bit/s or can dialect tarn-can at 500000 bit/s; WEIR (weir-8) takes rs-485 dialect rill-485 "
     "at 9600 bit/s")),
])
def test_what_is_in_the_way_is_named(tmp_path: Path, body: str, text: str) -> None:
    assert told(tmp_path, body) == text


def test_seventeen_packs_run_against_numbers_and_members(tmp_path: Path) -> None:
    text = told(tmp_path, "packs: {P1..P17: {model: tarn-b, new: yes}}\n"
                          "links: {L: {packs: [P1..P17], manager: propose, reports_to: INV, cables: propose}}\n")
    assert text.startswith("Link L: new packs P16, P17 stay unmanaged, on the busbar only; beside P1..P15: one of ")
    assert "tarn-b has 15 numbers to give on bus chain, and the link has 17 packs" in text
    assert "a tarn-b as manager takes 14 members at most, and the link has 17 packs" in text
