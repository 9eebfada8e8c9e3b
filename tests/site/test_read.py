"""From a site file to the site: what a good file means (the bad ones are driven through the command)."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from interop.records.leaves import Span
from interop.site.load import load_site
from interop.site.site import End, Made, Site
from tests.cli.sites import ROOT, site

EXAMPLE = ROOT / "examples" / "ferry-landing" / "site.yaml"


@pytest.fixture(scope="module")
def example() -> Site:
    return load_site(EXAMPLE)


def read(folder: Path, text: str) -> Site:
    return load_site(site(folder, text))


def test_devices_come_in_the_order_of_the_file_with_their_places(example: Site) -> None:
    assert list(example.devices) == [*(f"R{n}" for n in range(1, 10)), "N1", "N2", "C1", "C2", "INV", "SUN"]
    assert example.devices["R3"].place == "rack L slot 3"
    assert example.devices["N2"].place == "rack M slot 2"
    assert [d.id for d in example.packs if d.new] == ["N1", "N2", "C1", "C2"]
    inverter = example.devices["INV"]
    assert (inverter.kind, inverter.units, inverter.lands_on, inverter.rank) == ("controller", 3, "unit 1", -1)
    assert example.devices["SUN"].record.kind == "charger"
    assert (example.ambient_c, example.dc_ground) == (Span(0, 35), "minus")


def test_ranks_go_rack_by_rack_slot_by_slot_and_no_place_comes_last(tmp_path: Path) -> None:
    found = read(tmp_path, """\
packs:
  A: {model: tarn-a}
  B1..B2: {model: tarn-a, place: rack 2 slot 9..}
  C: {model: tarn-a, place: rack 1 slot 3}
  D: {model: tarn-a, place: rack 2 slot 1}
  E: {model: tarn-a, place: floor}
  F: {model: tarn-a, place: rack 1 slot 12}
""")
    by_rank = sorted(found.packs, key=lambda device: device.rank)
    assert [device.id for device in by_rank] == ["D", "B1", "B2", "C", "F", "E", "A"]


def test_what_was_found(example: Site) -> None:
    seen = example.devices["R2"].found
    assert seen is not None
    assert (seen.patterns, seen.voltage_v, seen.mode) == ({"ADD": ("on", "off", "off", "off")}, 53.1, None)
    unseen = example.devices["R7"].found
    assert unseen is not None
    assert unseen.patterns == {"ADD": ("x", "x", "x", "x")}
    assert example.devices["N1"].found is None
    assert example.found_links is not None
    assert [(x.id, x.manager, len(x.packs)) for x in example.found_links] == [("old", "R1", 9)]


def test_nobody_wrote_links_down_is_not_there_are_none(tmp_path: Path) -> None:
    text = "packs: {A1: {model: tarn-a}}\n"
    assert read(tmp_path, text).found_links is None
    assert read(tmp_path, text).found_cables is None
    assert read(tmp_path, text + "found: {links: {}, cables: {}}\n").found_links == ()
    assert read(tmp_path, text + "found: {links: {}, cables: {}}\n").found_cables == ()


def test_links_and_wishes(example: Site) -> None:
    (link,) = example.links
    assert (link.id, link.manager, link.reports_to, link.propose_cables) == ("rack", "propose", ("INV",), False)
    assert link.packs == (*(f"R{n}" for n in range(1, 10)), "N1", "N2")
    assert example.none == {"C1", "C2"}
    assert [(w.must, w.what, len(w.about)) for w in example.wishes] == [
        (True, "unmanaged", 2), (False, "addresses", 9), (False, "fewest switches", 0)]
    assert {(a.rule, a.on) for a in example.accepted} >= {("mixing-silent", "2031-05-02")}


@pytest.mark.parametrize(
    ("wish", "what", "about", "link"),
    [("keep A1..A2 unmanaged", "unmanaged", ("A1", "A2"), None), ("keep A1, A2 managed", "managed", ("A1", "A2"), None),
     ("keep switches of A2", "switches", ("A2",), None), ("keep addresses of A1", "addresses", ("A1",), None),
     ("manager A2", "manager", ("A2",), None), ("manager A2 of rack", "manager", ("A2",), "rack"),
     ("not manager A1..A2", "not manager", ("A1", "A2"), None), ("physical order", "physical order", (), None)],
)  # fmt: skip
def test_the_words_of_wishes(tmp_path: Path, wish: str, what: str, about: tuple[str, ...], link: str | None) -> None:
    found = read(tmp_path, "packs: {A1..A2: {model: tarn-a}}\nlinks: {rack: {packs: A1..A2}}\n"
                           f"wishes: {{prefer: ['{wish}']}}\n")
    (one,) = found.wishes
    assert (one.must, one.what, one.about, one.link, one.text) == (False, what, about, link, wish)


def test_cables_of_a_chain_and_of_a_manager(example: Site) -> None:
    cables = {cable.id: cable for cable in example.cables}
    assert cables["W8"].a == End("R8", "LINK", "LINK2")
    assert cables["W8"].b == End("R9", "LINK", "LINK1")
    assert cables["W8"].length_m == 0.3
    assert (cables["W10"].a, cables["W10"].b) == (End("N2", None, None), End("R1", None, None))
    assert cables["W11"].a == End(None, "REPORT", None, "rack")
    assert cables["W11"].b == End("INV", "BAT", "BAT")
    assert cables["W9"].made == Made("propose")


@pytest.mark.parametrize(
    ("text", "made"),
    [("straight", Made("straight")), ("propose", Made("propose")), ("unknown", Made("unknown")),
     ('"straight, cut 1..3, 6"', Made("straight", (), ("1", "2", "3", "6"))),
     ("{7: 8, 8: 7}", Made("map", (("7", "8"), ("8", "7"))))],
)  # fmt: skip
def test_how_a_cable_is_made(tmp_path: Path, text: str, made: Made) -> None:
    found = read(tmp_path, "packs: {A1..A2: {model: tarn-a}}\n"
                           f"cables: {{W: {{from: A1 LINK2, to: A2 LINK1, made: {text}}}}}\n")
    assert found.cables[0].made == made


def test_runs_join_devices_and_busbars(example: Site) -> None:
    runs = [(run.id, run.a, run.b) for run in example.runs]
    assert runs[:2] == [("R1", "R1", "busbar left"), ("R2", "R2", "busbar left")]
    assert ("left", "busbar left", "busbar main") in runs
    assert runs.count(("INV", "INV", "busbar main")) == 3
    assert len(runs) == 11 + 1 + 2 + 3 + 1


def test_defaults_of_a_rack(tmp_path: Path) -> None:
    found = read(tmp_path, "racks: {rack L: {model: tarn-b}}\npacks: {A1..A2: {place: rack L slot 1..}, "
                           "B: {model: tarn-a, place: rack L slot 3}}\n")
    assert [device.record.id for device in found.packs] == ["tarn-b", "tarn-b", "tarn-a"]


def test_inputs_are_the_files_that_were_used_with_their_bytes(example: Site) -> None:
    names = [name for name, _ in example.inputs]
    assert names[0] == "site.yaml"
    assert names[1:] == sorted(names[1:])
    assert "../../catalogs/packs/tarn-b.yaml" in names
    assert "../../catalogs/devices/fuse-500.yaml" in names, "a protective device of a run"
    assert not any("rill-50" in name or "weir-8" in name for name in names)
    for name, data in example.inputs:
        path = EXAMPLE.parent / name
        assert hashlib.sha256(data).hexdigest() == hashlib.sha256(path.read_bytes()).hexdigest()


def test_places_lead_to_the_line(example: Site) -> None:
    lines = EXAMPLE.read_text(encoding="utf-8").splitlines()
    assert lines[example.devices["N1"].at[0] - 1].startswith("  N1..N2: {model: tarn-b")
    assert lines[example.wishes[0].at[0] - 1][example.wishes[0].at[1] - 1 :].startswith("keep C1..C2 unmanaged")


def test_a_rack_says_which_packs_are_new_and_a_pack_may_say_otherwise(tmp_path: Path) -> None:
    (tmp_path / "cat").symlink_to(Path(__file__).parents[2] / "catalogs", target_is_directory=True)
    (tmp_path / "site.yaml").write_text(
        "interop: site/1\nname: Racks\ncatalogs: [cat]\nracks: {rack X: {model: tarn-a, new: yes}}\n"
        "packs:\n  A1..A2: {place: rack X slot 1..}\n  A3: {place: rack X slot 3, new: no}\n"
        "  A4: {model: tarn-a, place: rack Y slot 1}\n",
        encoding="utf-8",
    )
    devices = load_site(tmp_path / "site.yaml").devices
    assert {name: d.new for name, d in devices.items()} == {"A1": True, "A2": True, "A3": False, "A4": False}


def test_a_run_may_be_written_from_its_busbar(tmp_path: Path) -> None:
    (tmp_path / "cat").symlink_to(Path(__file__).parents[2] / "catalogs", target_is_directory=True)
    head = (
        "interop: site/1\nname: Runs\ncatalogs: [cat]\npacks: {A1: {model: tarn-a}}\n"
        "controllers: {INV: {model: mole-6, units: 3, cable_lands_on: unit 1}}\nposts: {main: [1..6]}\nruns:\n"
    )
    runs = []
    for text in (
        ("  INV: {from: main 4..6, to: controller unit 1..3, cable: 70 mm2, length: 1.5 m}\n"
        "  A1: {from: main 1, to: pack, cable: 25 mm2, length: 1 m}\n"),
        ("  INV: {from: controller unit 1..3, to: main 4..6, cable: 70 mm2, length: 1.5 m}\n"
        "  A1: {from: pack, to: main 1, cable: 25 mm2, length: 1 m}\n"),
    ):
        (tmp_path / "site.yaml").write_text(head + text, encoding="utf-8")
        runs.append([(r.id, r.a, r.b) for r in load_site(tmp_path / "site.yaml").runs])
    assert runs[0] == runs[1]
    assert runs[0][-1] == ("A1", "A1", "busbar main")
