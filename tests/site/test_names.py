"""Names of a site: the nearest one is named, and no two things have one id or one slot."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from interop.records.faults import InputFaults
from interop.site.load import load_site
from tests.cli.sites import site

RULES = ("mixing-silent", "power-not-judged")
PACKS = "packs: {A1..A3: {model: tarn-a}}\ncontrollers: {INV: {model: mole-6, units: 3, cable_lands_on: unit 1}}\n"


def refused(folder: Path, text: str, catalogs: Sequence[str] = (), rules: Sequence[str] | None = RULES) -> list[str]:
    path = site(folder, text, catalogs=catalogs)
    with pytest.raises(InputFaults) as bad:
        load_site(path, rules=None if rules is None else lambda: rules)
    return [str(fault) for fault in bad.value.faults]


@pytest.mark.parametrize(("text", "end"), [
    ("links: {L: {packs: A1..A3, reports_to: IVN}}", "nearest known name: INV"),
    ("cables: {W: {from: A1 LINK1, to: IVN BAT}}", "nearest known name: INV"),
    ("cables: {W: {chain: [A1, IVN]}}", "nearest known name: INV"),
    ("found: {IVN: {}}", "nearest known name: INV"),
    ("posts: {bar: [1..9]}\nruns: {IVN: {from: controller unit 1..3, to: bar 1..3}}", "nearest known name: INV"),
    ("accepted: [{rule: mixing-silnt, about: A1, why: a, by: b, on: 2031-05-02}]",
     'got "mixing-silnt"; expected a rule (interop explain lists them all); nearest known name: mixing-silent'),
    ("accepted: [{rule: mixing-silent, about: IVN, why: a, by: b, on: 2031-05-02}]", "nearest known name: INV"),
    ("cables: {W: {from: A1 LINK3, to: A2 LINK1}}",
     "A1 (tarn-a): LINK, REPORT, LINK1, LINK2; nearest known name: LINK1 or LINK2"),
    ("cables: {W: {from: A1 RPORT, to: A2 LINK1}}", "nearest known name: REPORT"),
])  # fmt: skip
def test_the_nearest_name(tmp_path: Path, text: str, end: str) -> None:
    (line,) = refused(tmp_path, PACKS + text + "\n")
    assert line.endswith(end)


def test_the_rule_of_an_acceptance_is_looked_up_where_rules_are_known(tmp_path: Path) -> None:
    text = PACKS + "accepted: [{rule: mixing-silnt, about: A1, why: a, by: b, on: 2031-05-02}]\n"
    assert [one.rule for one in load_site(site(tmp_path, text)).accepted] == ["mixing-silnt"]
    asked: list[int] = []

    def rules() -> Sequence[str]:
        asked.append(1)
        return RULES

    load_site(site(tmp_path, PACKS), rules=rules)
    assert asked == [], "nothing is accepted: the rules need not be imported"
    load_site(site(tmp_path, text.replace("silnt", "silent")), rules=rules)
    assert asked == [1]


def test_a_catalog_folder_that_is_near(tmp_path: Path) -> None:
    (tmp_path / "shared" / "records").mkdir(parents=True)
    (tmp_path / "shelf").mkdir()
    lines = refused(tmp_path, "packs: {A1: {model: a}}\n",
                    ["shlef", "shared/recrods", "shared/recrods/", "../nowhere at all", "no/where"])
    end = "no such folder; expected a folder of records, as seen from the folder of the site file"
    assert lines == [
        f'site.yaml:3:12: catalogs.0: got "shlef", {end}; nearest known name: shelf',
        f'site.yaml:3:19: catalogs.1: got "shared/recrods", {end}; nearest known name: shared/records',
        f'site.yaml:3:35: catalogs.2: got "shared/recrods/", {end}; nearest known name: shared/records',
        f'site.yaml:3:52: catalogs.3: got "../nowhere at all", {end}',
        f'site.yaml:3:71: catalogs.4: got "no/where", {end}']


def test_a_far_pin_twice_has_its_own_place(tmp_path: Path) -> None:
    made = "cables:\n  W:\n    from: A1 LINK1\n    to: A2 LINK1\n    made:\n      7: 7\n      8: 8\n      6: 7\n"
    assert refused(tmp_path, PACKS + made) == [
        ('site.yaml:13:10: cables.W.made.6: got pin "7" of the far plug a second time; expected each pin of the far '
         "plug once (pin 7 goes to it)")]


def test_a_port_that_the_manager_does_not_have(tmp_path: Path) -> None:
    """It was an internal fault: nobody looked it up."""
    text = (PACKS + "links: {L: {packs: A1..A3, manager: M, reports_to: INV}}\n"
            "cables: {W: {from: manager REPRT, to: INV}}\n")
    for manager, owner in (("A2", "A2 (tarn-a)"), ("propose", "a pack that may be the manager")):
        assert refused(tmp_path, text.replace("M,", f"{manager},")) == [
            (f'site.yaml:7:20: cables.W.from: got "REPRT"; expected a port or socket of {owner}: LINK, REPORT, LINK1, '
             "LINK2; nearest known name: REPORT")]
    load_site(site(tmp_path, text.replace("M,", "A2,").replace("REPRT", "REPORT")))


def test_a_port_is_told_once_for_all_packs_of_a_record(tmp_path: Path) -> None:
    text = ("packs: {A1..A3: {model: tarn-a}, B1..B3: {model: tarn-b}}\n"
            "cables: {W1..W5: {chain: [A1..A3, B1..B3], from: LNK2}}\n")
    assert [line.partition("expected ")[2].partition(":")[0] for line in refused(tmp_path, text)] == [
        "a port or socket of A1 (tarn-a)", "a port or socket of B1 (tarn-b)"]


def test_a_cable_named_as_a_device(tmp_path: Path) -> None:
    text = (PACKS + "cables: {A2: {from: A1 LINK1, to: A2 LINK1}}\n"
            "found: {cables: {W1: {from: A1, to: A2}, INV: {from: A2, to: A3}}}\n")
    assert refused(tmp_path, text) == [
        'site.yaml:6:10: cables.A2: got id "A2" a second time; expected each id once (first on line 4)',
        'site.yaml:7:42: found.cables.INV: got id "INV" a second time; expected each id once (first on line 5)']
    both = "cables: {W: {from: A1 LINK1, to: A2 LINK1}}\nfound: {cables: {W: {from: A1, to: A2}}}\n"
    load_site(site(tmp_path, PACKS + both))  # the cable that stands is the one that is wanted


def test_two_packs_in_one_slot(tmp_path: Path) -> None:
    text = ("packs:\n  A1..A2: {model: tarn-a, place: rack L slot 1..}\n  B: {model: tarn-ab, place: rack  L slot 2}\n"
            "  C: {model: tarn-b, place: rack M slot 2}\n  D1..D2: {model: tarn-b, place: rack L slot 4}\n")
    slot = "expected one pack in each slot"
    assert refused(tmp_path, text) == [
        ('site.yaml:6:14: packs.B.model: got model "tarn-ab"; expected the id of a record in the catalogs; nearest '
         "known name: tarn-b"),
        f'site.yaml:6:30: packs.B.place: got "rack  L slot 2" for B; {slot} (A2 on line 5 is in it)',
        f'site.yaml:8:34: packs.D1..D2.place: got "rack L slot 4" for D2; {slot} (D1 on line 8 is in it)']
    several = "packs: {A1..A2: {model: tarn-a, place: floor left}, B1..B2: {model: tarn-a, place: shelf 2}}\n"
    load_site(site(tmp_path, several))


def test_a_key_that_cannot_be_expanded_hides_its_own_names_only(tmp_path: Path) -> None:
    text = "packs: {R1..N3: {model: tarn-a}, A1: {model: tarn-a}}\nlinks: {L: {packs: [R2, N9, X1, A2]}}\n"
    assert [line.split()[3] for line in refused(tmp_path, text)] == ['"R1..N3";', '"X1";', '"A2";']


def test_units_that_could_not_be_read_are_not_counted(tmp_path: Path) -> None:
    text = (PACKS.replace("units: 3", "units: x")
            + "posts: {b: [1..9]}\nruns: {INV: {from: controller unit 1..3, to: b 11..13}}\n")
    assert [line.split(" ", 1)[1].partition(";")[0] for line in refused(tmp_path, text)] == [
        'controllers.INV.units: got "x"', *(f'runs.INV.to: got post "{n}" of b' for n in (11, 12, 13))]


@pytest.mark.parametrize("section", ["", "found: "])
def test_a_cable_from_the_manager_to_itself_has_both_ends_on_one_pack(tmp_path: Path, section: str) -> None:
    """Of a manager whom the plan is to name nobody can tell yet."""
    here = "found:\n  " if section else ""
    gap = "\n  " if section else "\n"
    text = (PACKS + f"{here}links: {{L: {{packs: A1..A3, manager: A2, reports_to: INV}}}}"
            f"{gap}cables: {{W: {{from: manager REPORT, to: A2 LINK1}}}}\n")  # fmt: skip
    (line,) = refused(tmp_path, text)
    assert line.split(" ", 1)[1] == f'{section.replace(": ", ".")}cables.W: got both ends on "A2"; expected two devices'
    load_site(site(tmp_path / "open", text.replace("manager: A2", "manager: propose").replace(here, "")
                   .replace(gap, "\n")))  # fmt: skip


def test_pins_that_a_plug_does_not_have_are_told_at_both_ends(tmp_path: Path) -> None:
    """Each once an entry, in a map at its own line and column, in cuts at the text; the shell may stand anywhere."""
    (tmp_path / "cat").symlink_to(Path(__file__).parents[2] / "catalogs", target_is_directory=True)
    (tmp_path / "site.yaml").write_text(
        "interop: site/1\nname: Pins\ncatalogs: [cat]\npacks: {P1..P2: {model: tarn-b}}\n"
        "controllers: {INV: {model: mole-6, cable_lands_on: unit 1}}\n"
        "links: {L: {packs: [P1..P2], manager: propose, reports_to: INV}}\ncables:\n"
        '  A: {from: P1 LINK2, to: P2 LINK1, made: "straight, cut 1..6, 9", length: 1 m}\n'
        "  E: {from: manager REPORT, to: INV BAT, made: {why: 4, 5: 11, shell: shell}, length: 1 m}\n",
        encoding="utf-8",
    )
    with pytest.raises(InputFaults) as raised:
        load_site(tmp_path / "site.yaml")
    plug = "expected a pin of its plug (1, 2, 3, 4, 5, 6, 7, 8, shell)"
    assert str(raised.value).split("\n") == [
        f'site.yaml:8:43: cables.A.made: got pin "9" of P1 LINK2; {plug}',
        f'site.yaml:9:49: cables.E.made.why: got pin "why" of the manager REPORT; {plug}',
        f'site.yaml:9:60: cables.E.made.5: got pin "11" of INV BAT; {plug}',
    ]
