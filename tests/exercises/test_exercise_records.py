"""The records of the fourteen exercises and of the shipped catalog: what each must state, and the thing it shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.records.catalog import Catalog, parse_record
from interop.records.facts import Fact
from interop.records.leaves import Span
from interop.records.models import Record

ROOT = Path(__file__).resolve().parents[2]
EXERCISES = sorted((ROOT / "tests" / "exercises" / "records").glob("*.yaml"))
SHIPPED = sorted((ROOT / "catalogs").rglob("*.yaml"))
NAMES = [path.stem for path in (*SHIPPED, *EXERCISES)]
PATHS = {path.stem: path for path in (*SHIPPED, *EXERCISES)}


def load(name: str) -> Record:
    return parse_record(PATHS[name].read_bytes(), f"{name}.yaml").record


RECORDS = {name: load(name) for name in NAMES}


def exercise(number: str) -> Record:
    (name,) = [name for name in NAMES if name.startswith(f"ex{number}-")]
    return RECORDS[name]


def pins(record: Record, port: str) -> dict[str, str]:
    table = record.pins[port]
    return {pin: " / ".join(fact.only) if fact.only is not None else "not stated" for pin, fact in table.items()}


def test_all_fourteen_exercises_are_written() -> None:
    numbers = {int(path.stem[2:4]) for path in EXERCISES}
    assert numbers == set(range(1, 15))


def test_both_folders_are_one_catalog_without_a_double_id() -> None:
    catalog = Catalog([(ROOT / "catalogs", "catalogs"), (EXERCISES[0].parent, "exercises")])
    assert catalog.ids == tuple(sorted(NAMES))


@pytest.mark.parametrize("name", NAMES)
def test_a_record_is_named_as_its_file_and_begins_by_saying_what_it_shows(name: str) -> None:
    assert RECORDS[name].id == name
    first = PATHS[name].read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith(f"# Exercise {int(name[2:4])}" if name.startswith("ex") else "# ")
    assert len(first) > 30


def link_facts(record: Record) -> dict[str, Fact[Any]]:
    """Every fact that a data link is planned by."""
    found: dict[str, Fact[Any]] = {}
    for name, bus in record.buses.items():
        dialect = {f"{name} dialect {case}": fact for case, fact in bus.dialect}
        found |= {f"{name} kind": bus.kind, f"{name} rates": bus.rates_bps, f"{name} rate set by": bus.rate_set_by,
                  f"{name} frame": bus.frame, f"{name} isolated": bus.isolated, f"{name} nodes": bus.nodes,
                  f"{name} terminator": bus.termination.fitted, f"{name} ends": bus.termination.ends,
                  f"{name} poller": bus.poller, **dialect}
    for name, line in record.lines.items():
        found |= {f"{name} contact": line.contact, f"{name} carried": line.carried, f"{name} acts on": line.acts_on}
    for name, port in record.ports.items():
        found |= {f"{name} plug": port.plug, f"{name} direction": port.direction, f"{name} inside": port.inside,
                  f"{name} reference": port.reference, f"{name} shell": port.shell}
        found |= {f"{name} pin {pin}": fact for pin, fact in record.pins[name].items()}
    for name, rule in record.addresses.items():
        manager = {f"{name} manager {case}": fact for case, fact in rule.manager}
        found |= {f"{name} allowed": rule.allowed, f"{name} gaps": rule.gaps, **manager}
    for name, row in record.switches.items():
        found[f"{name} takes effect"] = row.takes_effect
        if row.kind == "slide":
            found[f"{name} on side"] = row.on_side
    if record.kind == "pack":
        found |= {"manager made by": record.manager.made_by, "members": record.manager.members_at_most}
    return found


LEFT_OUT = {"tarn-a": {"LINK pin 4", "LINK pin 5"}}           # shown on purpose: nothing is stated of these two pins


@pytest.mark.parametrize("name", NAMES)
def test_no_fact_that_a_link_is_planned_by_is_missing(name: str) -> None:
    missing = {key for key, fact in link_facts(RECORDS[name]).items() if not fact.known}
    assert missing == LEFT_OUT.get(name, set())


@pytest.mark.parametrize("name", [name for name in NAMES if RECORDS[name].kind == "pack"])
def test_no_fact_that_a_busbar_is_planned_by_is_missing(name: str) -> None:
    cells, limits = RECORDS[name].cells, RECORDS[name].limits
    assert cells is not None
    facts: list[Fact[Any]] = [cells.chemistry, cells.in_series, cells.capacity_ah, cells.full_v, cells.charge_v,
                              cells.empty_v, limits.charge_a, limits.discharge_a, limits.join_difference_v]
    assert all(fact.known for fact in facts)


def one(fact: Fact[float | Span]) -> float:
    assert isinstance(fact.only, float)
    return fact.only


@pytest.mark.parametrize("name", [name for name in NAMES if RECORDS[name].kind == "pack"])
def test_voltages_are_in_order_and_fit_the_cells(name: str) -> None:
    cells = RECORDS[name].cells
    assert cells is not None
    count = cells.in_series.only
    assert count is not None
    charge = max(v for v in cells.charge_v.values if isinstance(v, float))
    ladder = [one(cells.empty_v), one(cells.nominal_v), one(cells.balance_v), one(cells.finish_v), charge,
              one(cells.charge_highest_v), one(cells.full_v)]
    assert ladder == sorted(ladder)
    # LFP: 3.2 V nominal and at most 3.65 V a cell (common practice)
    assert one(cells.nominal_v) == pytest.approx(3.2 * count)
    assert one(cells.full_v) <= 3.65 * count + 1e-9


# ---- the one thing that each exercise shows, beside its switches ----

def test_exercise_2_only_the_new_generation_has_a_stop_line() -> None:
    old, new = exercise("01"), exercise("02")
    assert old.family == new.family
    assert (old.generation.only, new.generation.only) == (1, 2)
    assert not old.lines
    assert list(new.lines) == ["stop"]
    assert new.buses["chain"].dialect.of("older").only == old.buses["chain"].dialect.of().only
    stop_pins = {pin: use for pin, use in pins(new, "LINK").items() if use.startswith("stop")}
    assert stop_pins == {"3": "stop a", "6": "stop b"}


def test_exercise_9_mirrored_pins_beside_a_stop_pair() -> None:
    mirrored, stop = exercise("09a"), exercise("09b")
    assert mirrored.ports["LINK"].inside.only == ("same pin joined", "1-8", "2-7", "3-6")
    table = pins(mirrored, "LINK")
    assert [table[pin] for pin in "1836"] == ["chain plus", "chain plus", "reference", "reference"]
    assert [table[pin] for pin in "27"] == ["chain minus", "chain minus"]
    other = pins(stop, "LINK")
    assert [other[pin] for pin in "8736"] == ["chain plus", "chain minus", "stop a", "stop b"]
    assert stop.lines["stop"].contact.only == "closed to act"
    assert mirrored.buses["chain"].dialect.of().only == stop.buses["chain"].dialect.of().only


def test_exercise_10_a_pack_with_its_chain_where_one_controller_has_5_v() -> None:
    pack, supply = pins(exercise("10p"), "REPORT"), pins(exercise("10c"), "BAT")
    assert [pack[pin] for pin in "1245"] == ["chain plus", "chain minus", "report high", "report low"]
    assert [supply[pin] for pin in "12"] == ["supply 5 V", "supply 5 V"]
    dialects = {exercise(n).buses["battery"].dialect.of().only for n in ("10a", "10b", "10c")}
    assert dialects == {exercise("10p").buses["report"].dialect.of().only}


def test_exercise_11_the_link_fits_and_the_cells_do_not() -> None:
    fifteen, sixteen = exercise("11a"), exercise("11b")
    assert fifteen.cells is not None
    assert sixteen.cells is not None
    assert (fifteen.cells.in_series.only, sixteen.cells.in_series.only) == (15, 16)
    assert fifteen.buses == sixteen.buses
    assert fifteen.pins == sixteen.pins
    assert fifteen.switches == sixteen.switches


def test_exercise_13_each_link_is_one_hop() -> None:
    record = exercise("13")
    assert [(name, bus.hop, bus.sockets) for name, bus in record.buses.items() if bus.kind.only == "rs-485"] == [
        ("up", "one", ["UP"]), ("down", "one", ["DOWN"])]
    assert not record.switches


def test_exercise_14_the_unmanaged_pack_is_twice_the_size_and_has_no_port() -> None:
    reports, alone = exercise("14a"), exercise("14b")
    assert reports.cells is not None
    assert alone.cells is not None
    assert reports.manager.reports.charge_state.only == "lowest"
    assert one(alone.cells.capacity_ah) == 2 * one(reports.cells.capacity_ah)
    assert (alone.ports, alone.buses, alone.manager.made_by.only) == ({}, {}, "never")


# ---- the shipped catalog ----

def test_the_inverter_accepts_both_generations_and_the_other_make() -> None:
    accepted = RECORDS["mole-6"].buses["battery"]
    assert accepted.dialect.of().only == ("tarn-can", "crag-can")
    assert list(accepted.codes) == ["tarn-can", "crag-can"]
    for name in ("tarn-a", "tarn-b", "crag-300"):
        spoken = RECORDS[name].buses["report"].dialect.of().only
        assert spoken is not None
        assert spoken[0] in accepted.codes
        rates = RECORDS[name].buses["report"].rates_bps.only
        assert rates is not None
        assert 500000 in rates


def test_the_older_generation_brings_no_reference_out_on_its_link() -> None:
    assert pins(RECORDS["tarn-a"], "LINK") == {
        "1": "unused", "2": "unused", "3": "unused", "4": "not stated", "5": "not stated", "6": "unused",
        "7": "chain minus", "8": "chain plus"}


def test_another_make_says_nothing_about_this_family() -> None:
    assert [statement.other for statement in RECORDS["crag-300"].with_] == ["family crag"]
    assert RECORDS["crag-300"].buses["stack"].kind.only == "can"


def test_the_third_make_and_its_inverter_speak_over_rs_485_with_the_pair_on_other_pins() -> None:
    pack, inverter = RECORDS["rill-50"], RECORDS["weir-8"]
    assert pack.buses["report"].dialect.of().only == inverter.buses["battery"].dialect.of().only == ("rill-485",)
    assert pack.buses["report"].poller.only == inverter.buses["battery"].poller.only == "controller"
    assert pack.buses["chain"].poller.only == "nobody"
    assert [pins(pack, "REPORT")[pin] for pin in "78"] == ["report minus", "report plus"]
    assert [pins(inverter, "BMS")[pin] for pin in "78"] == ["battery plus", "battery minus"]


@pytest.mark.parametrize("name, rating", [("fuse-400", 400), ("breaker-200", 200), ("breaker-250", 250)])
def test_protective_devices_are_not_polarised_and_rated_for_direct_current(name: str, rating: int) -> None:
    device = RECORDS[name].device
    assert device is not None
    assert one(device.rating_a) == rating
    assert one(device.dc_v) >= 60
    assert device.interrupts_ka.known
    assert device.polarised.only is False
