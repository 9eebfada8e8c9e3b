"""Power runs as written: both poles, posts, conductors, devices, cascades; and every way to write them wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.records.faults import InputFaults
from interop.site.load import load_site
from interop.site.site import Run, Site

CATALOGS = Path(__file__).parents[2] / "catalogs"
BAR = """\
interop: record/1
kind: busbar
id: bar-400
name: Bar 400
sources: {sheet: {title: "Bar 400, data sheet", says: stated}}
busbar: {rating_a: 400, step_mohm: 0.01..0.02, withstands_ka: 30, posts: 12}
"""
FLEX = """\
interop: record/1
kind: power cable
id: flex-35
name: Flex 35
sources: {sheet: {title: "Flex 35, data sheet", says: stated}}
conductor:
  {size: 35 mm2, strands: class 5, insulation: rubber, insulation_c: 90, ampacity_a: 150, ambient_c: 30, laid: free air}
"""
HEAD = """\
interop: site/1
name: Runs
catalogs: [cat, own]
packs: {A1..A4: {model: tarn-a}}
controllers: {INV: {model: mole-6, units: 2, cable_lands_on: unit 1}}
posts: {main: {posts: [1..9], model: bar-400}, side: [1..3]}
runs:
"""


def read(folder: Path, runs: str, head: str = HEAD) -> Site:
    if not (folder / "own").exists():
        (folder / "cat").symlink_to(CATALOGS, target_is_directory=True)
        (folder / "own").mkdir()
        (folder / "own" / "bar-400.yaml").write_text(BAR, encoding="utf-8")
        (folder / "own" / "flex-35.yaml").write_text(FLEX, encoding="utf-8")
    (folder / "site.yaml").write_text(head + runs, encoding="utf-8")
    return load_site(folder / "site.yaml")


def faults(folder: Path, runs: str, head: str = HEAD) -> list[str]:
    with pytest.raises(InputFaults) as caught:
        read(folder, runs, head)
    return [str(fault).split(": ", 1)[1] for fault in caught.value.faults]


def by_id(site: Site, name: str) -> Run:
    (run,) = [run for run in site.runs if run.id == name and run.unit in (None, 1)]
    return run


def test_both_poles_differ_only_where_one_says_so(tmp_path: Path) -> None:
    site = read(tmp_path, "  A1: {from: pack, to: main 3, cable: 25 mm2, length: 60 cm, parallel: 2, laid: enclosed, "
                          "plus: {device: [breaker-200, fuse-400], distance_from_source: [5 cm, 30 cm]}, "
                          "minus: {to: main 7, length: 2 ft, cable: flex-35, parallel: 1}}\n")
    run = by_id(site, "A1")
    assert (run.a, run.b, run.unit, run.laid, run.through_wall) == ("A1", "busbar main", None, "enclosed", None)
    assert (run.plus.a_post, run.plus.b_post, run.minus.b_post) == (None, "3", "7")
    assert (run.plus.size, run.plus.length_m, run.plus.parallel) == ("25 mm2", 0.6, 2)
    assert [(d.loaded.record.id, d.distance_m) for d in run.plus.devices] == [("breaker-200", 0.05), ("fuse-400", 0.3)]
    assert run.minus.size is None
    assert run.minus.cable is not None
    assert run.minus.cable.record.conductor is not None
    assert run.minus.cable.record.conductor.size.only == "35 mm2"
    assert run.minus.length_m == pytest.approx(0.6096)
    assert (run.minus.parallel, len(run.minus.devices)) == (1, 0)
    assert site.busbars["main"].posts == tuple("123456789")
    assert site.busbars["main"].loaded is not None
    assert site.busbars["side"].loaded is None


def test_a_device_for_both_poles_is_in_both(tmp_path: Path) -> None:
    run = by_id(read(tmp_path, "  A1: {from: pack, to: main 1, device: breaker-200}\n"), "A1")
    assert [len(pole.devices) for pole in (run.plus, run.minus)] == [1, 1]
    assert run.plus.devices[0].distance_m is None


def test_packs_cascaded_through_the_terminals_of_the_next(tmp_path: Path) -> None:
    site = read(tmp_path, "  A1: {from: pack, to: main 1}\n  A2..A4: {from: pack, to: pack A1..A3, cable: 25 mm2}\n")
    assert [(run.a, run.b, run.plus.b_post) for run in site.runs] == [
        ("A1", "busbar main", "1"), ("A2", "A1", None), ("A3", "A2", None), ("A4", "A3", None)]


def test_a_rack_fed_diagonally(tmp_path: Path) -> None:
    run = by_id(read(tmp_path, "  side: {from: side 3, to: main 1, minus: {from: side 1}}\n"), "side")
    assert (run.plus.a_post, run.plus.b_post) == ("3", "1")
    assert (run.minus.a_post, run.minus.b_post) == ("1", "1")


def test_each_unit_of_a_controller_has_its_run(tmp_path: Path) -> None:
    site = read(tmp_path, "  INV: {from: main 4..5, to: controller unit 1..2, minus: {from: main 8..9}}\n")
    assert [(run.id, run.unit, run.b, run.plus.b_post, run.minus.b_post) for run in site.runs] == [
        ("INV", 1, "busbar main", "4", "8"), ("INV", 2, "busbar main", "5", "9")]


def test_load_code_place_and_what_is_known_of_a_pack(tmp_path: Path) -> None:
    head = HEAD.replace("packs: {A1..A4: {model: tarn-a}}", "code: NEC 2023\nstorage_place: garage\nambient_c: 5..30\n"
                        "load: {usual_w: 800, highest_w: 3000..4000}\nracks: {rack W: {ambient_c: -5..40}}\n"
                        "packs: {A1..A4: {model: tarn-a, place: rack W slot 1.., age_years: 4, found_capacity_ah: 92}}")
    site = read(tmp_path, "  A1: {from: pack, to: main 1}\n", head)
    pack = site.devices["A2"]
    assert (pack.age_years, pack.found_capacity_ah, str(pack.ambient_c)) == (4, 92, "-5..40")
    assert (site.code, site.storage_place, str(site.devices["INV"].ambient_c)) == ("NEC 2023", "garage", "5..30")
    assert (site.load.usual_w, str(site.load.highest_w), site.load.must_stay_on_w) == (800, "3000..4000", None)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("A1: {from: pack, to: main 10}",
         'runs.A1.to: got post "10" of main; expected a post of this busbar: 1, 2, 3, 4, 5, 6, 7, 8, 9'),
        ("A1: {from: pack, to: main 1, minus: {to: mian 2}}",
         ('runs.A1.minus.to: got "mian"; expected a busbar of this site with its post: main, side; nearest known name: '
         "main")),
        ("A1: {from: pack, to: main 1, minus: {to: side 2}}",
         ("runs.A1.minus: got minus on busbar side; expected a post of busbar main: both poles of a run join the same "
         "two things")),
        ("A1: {from: pack, to: main 1, minus: {from: main 2}}",
         'runs.A1.minus.from: got "main 2"; expected nothing: at this end both poles begin at the device'),
        ("A1: {from: pack, to: main 1, cable: thick}",
         'runs.A1.cable: got model "thick"; expected the id of a record in the catalogs'),
        ("A1: {from: pack, to: main 1, cable: 25}",
         'runs.A1.cable: got "25"; expected a conductor size with its unit, such as 70 mm2, 2/0 AWG or 250 kcmil'),
        ("A1: {from: pack, to: main 1, cable: bar-400}",
         'runs.A1.cable: got "bar-400", a record of kind busbar; expected a record of kind power cable'),
        ("A1: {from: pack, to: main 1, device: tarn-a}",
         'runs.A1.device: got "tarn-a", a record of kind pack; expected a record of kind protective device'),
        ("A1: {from: pack, to: main 1, device: [breaker-200, fuse-400], distance_from_source: 5 cm}",
         "runs.A1.distance_from_source: got 1 distances for 2 devices; expected one distance for each device"),
        ("A1: {from: pack, to: main 1, length: 1 m, device: breaker-200, distance_from_source: 2 m}",
         "runs.A1.distance_from_source: got 2 m; expected at most the length of the run, 1 m"),
        (("A1: {from: pack, to: main 1, length: 1 m, device: [breaker-200, fuse-400], "
         "distance_from_source: [0.9 m, 0.1 m]}"),
         ("runs.A1.distance_from_source: got 0.9 m, 0.1 m; expected the devices in their order from the source on")),
        ("A1: {from: pack, to: main 1, device: breaker-200, distance_from_source: [x, -1 m]}",
         'runs.A1.distance_from_source.0: got "x"; expected a length with its unit, such as 1.8 m or 6 ft'),
        ("A1: {from: pack, to: pack A1}", "runs.A1: got both ends on A1; expected a busbar, or another pack"),
        ("A1: {from: pack, to: pack A7}",
         'runs.A1.to: got "A7"; expected a pack of this site: A1, A2, A3, A4'),
        ("A1..A2: {from: pack, to: main 1..2}\n  A2..A3: {from: pack, to: main 3..4}",
         ("runs.A2..A3: got a second run of A2; expected one run of each device (first on line 8); conductors side by "
         "side are parallel: 2")),
        ("A1: {from: pack, to: main 1, parallel: 0}",
         'runs.A1.parallel: got "0"; expected a whole number from 1 to 8'),
        ("A1: {from: pack, to: main 1, laid: buried}",
         'runs.A1.laid: got "buried"; expected one of: free air, enclosed, conduit'),
    ],
)
def test_each_fault_is_told_where_it_stands(tmp_path: Path, text: str, told: str) -> None:
    assert told in faults(tmp_path, f"  {text}\n")


def test_a_busbar_of_a_wrong_model_or_field(tmp_path: Path) -> None:
    head = HEAD.replace("model: bar-400", "model: fuse-400, bolts: 3")
    assert faults(tmp_path, "  A1: {from: pack, to: main 1}\n", head) == [
        'posts.main.model: got "fuse-400", a record of kind protective device; expected a record of kind busbar',
        'posts.main.bolts: got field "bolts"; expected posts or model',
    ]


def test_a_busbar_that_lists_no_posts_has_none_to_be_named(tmp_path: Path) -> None:
    """Else such a post would be a place of its own, joined to nothing."""
    head = HEAD.replace("{posts: [1..9], model: bar-400}", "{model: bar-400}")
    assert faults(tmp_path, "  A1: {from: pack, to: main 4}\n", head) == [
        'runs.A1.to: got post "4" of main; expected "main" alone, which lists no posts, or a list of posts there']
    head = HEAD.replace("[1..9]", "[]")
    assert faults(tmp_path, "  A1: {from: pack, to: main 4}\n", head) == [
        "posts.main.posts: got an empty list; expected a list of posts, such as [1..8], or a map of posts and model"]


def test_no_load_is_above_the_highest(tmp_path: Path) -> None:
    load = "\nload: {usual_w: 5000, highest_w: 3000..4000, must_stay_on_w: 100..4001}\nposts:"
    told = faults(tmp_path, "  A1: {from: pack, to: main 1}\n", HEAD.replace("\nposts:", load))
    assert told == ["load.usual_w: got 5000 W; expected at most the highest load, 4000 W",
                    "load.must_stay_on_w: got 4001 W; expected at most the highest load, 4000 W"]
