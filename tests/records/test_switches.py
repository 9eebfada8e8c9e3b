"""Switch rows: the answers asserted for the exercises, every code, every cause and refusal with its exact text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from interop.records.catalog import parse_record
from interop.records.facts import Reading as Context
from interop.records.faults import InputFaults
from interop.records.leaves import Expected
from interop.records.models import Record, SwitchRow
from interop.records.switches import (
    Case,
    Pattern,
    Reading,
    cover_faults,
    domain,
    formula_differences,
    grid,
    part_switches,
    parts_in,
    pattern_texts,
    positions,
    read_pattern,
    readings,
    row_length,
    row_numbers,
    settings,
    value_key,
)

EXERCISES = Path(__file__).resolve().parents[1] / "exercises" / "records"
OWN = ("own",)


def exercise(number: str) -> Record:
    (path,) = EXERCISES.glob(f"ex{number}-*.yaml")
    return parse_record(path.read_bytes(), path.name).record


def slide(printed: str, *parts: dict[str, Any], **more: str) -> SwitchRow:
    return SwitchRow.model_validate({"kind": "slide", "printed": printed, "parts": list(parts), **more},
                                    context=Context(("manual",), OWN))


def single(kind: str, *parts: dict[str, Any], **more: str) -> SwitchRow:
    return SwitchRow.model_validate({"kind": kind, "parts": [{"use": "all", **part} for part in parts], **more})


def binary(use: str, order: str = "first is low", start: str = "0", **when: Any) -> dict[str, Any]:
    return {"use": use, "sets": "address", "code": {"binary": order, "from": start}, "when": when}


def bits(text: str) -> Pattern:
    return tuple(text.replace(",", "").split())


def set_to(row: SwitchRow, values: dict[str, str | int | bool], **case: Any) -> str:
    setting = settings(row, values, Case(**case))
    assert setting.causes == ()
    return " ".join(str(bit) for bit in setting.pattern)


def tables(found: tuple[Reading, ...]) -> list[dict[str, str | int | bool]]:
    return [reading.table for reading in found]


# ---- the answers asserted for the exercises (expected patterns typed by hand) ----

def test_exercise_1_member_5_and_manager_and_restart() -> None:
    record = exercise("01")
    row = record.switches["ADD"]
    assert set_to(row, {"address": 5}, role="member") == "on off on off"
    assert record.addresses["chain"].manager.of().only == 0
    assert set_to(row, {"address": 0}, role="manager") == "off off off off"
    assert row.takes_effect.only == "after restart"
    assert [(p.after, p.do) for p in record.procedures] == [("switch change", "restart the pack")]


def test_exercise_2_in_the_older_mode_the_last_two_stay_off() -> None:
    record = exercise("02")
    row = record.switches["ADD"]
    assert set_to(row, {"address": 5}, mode="older") == "on off on off off off"
    assert tables(readings(row, bits("on off on off on off"), Case(mode="older"), record.modes)) == []
    assert settings(row, {"address": 16}, Case(mode="older")).causes == ("address 16 cannot be set",)
    assert set_to(row, {"address": 16}, mode="own") == "off off off off on off"
    statement = record.with_[0]
    assert (statement.other, statement.in_mode, statement.manager) == ("family larch generation 1", "older", "this")
    assert statement.source == "trade"
    assert record.sources["trade"].says == "practice"


def test_exercise_3_address_on_a_member_count_on_the_manager() -> None:
    row = exercise("03").switches["SW"]
    assert set_to(row, {"address": 3, "role": "member"}, role="member") == "on on off off off off off off"
    assert set_to(row, {"count of members": 4, "role": "manager"}, role="manager") == "off off on off off off off on"
    # one pattern, read without knowing who it is: switch 8 says it
    assert read_pattern(row, bits("off off on off off, off off, on"), OWN) == (
        Reading(Case(role="manager"), (("count of members", 4), ("role", "manager"))),)
    wrong = settings(row, {"address": 3, "role": "manager"}, Case(role="manager"))
    assert wrong.causes == ("no value for count of members",)


def test_exercise_4_both_values_of_the_double_row_are_read() -> None:
    row = exercise("04").switches["ID"]
    assert tables(read_pattern(row, bits("on off on off"), OWN)) == [{"address": 3}, {"address": 4}]
    assert set_to(row, {"address": 3}) == set_to(row, {"address": 4}) == "on off on off"
    assert row.on_side.only == "down"


def test_exercise_5_the_group_is_read_from_the_manager_only() -> None:
    record = exercise("05")
    row = record.switches["DIP"]
    assert record.addresses["chain"].given == "by port order"
    assert set_to(row, {"rate chain": 9600, "group": 3}, role="manager") == "off off on off"
    # on a member 2-4 decide nothing: off without a wish
    assert set_to(row, {"rate chain": 115200}, role="member") == "on off off off"
    assert set_to(row, {"rate chain": 115200, "free 2..4": "off on on"}, role="member") == "on off on on"
    assert tables(readings(row, bits("on off on on"), Case(role="member"), OWN)) == [
        {"rate chain": 115200, "free 2..4": "off on on"}]


def test_exercise_6_the_same_switches_mean_something_else() -> None:
    older, record = exercise("05").switches["DIP"], exercise("06")
    row = record.switches["DIP"]
    pattern = bits("off on off off")
    assert tables(readings(older, pattern, Case(role="manager"), OWN)) == [{"rate chain": 9600, "group": 2}]
    assert tables(readings(row, pattern, Case(role="manager"), OWN)) == [
        {"rate chain": 9600, "terminator report": True, "free 3..4": "off off"}]
    assert row.mounted == "upside down"
    assert record.with_[0].manager == "newest"
    assert record.family == exercise("05").family


def test_exercise_7_address_5_at_a_chain_end_and_0_not_valid() -> None:
    record = exercise("07")
    row = record.switches["SW"]
    assert set_to(row, {"address": 5, "terminator chain": True}) == "on off on off off on"
    assert record.addresses["chain"].allowed.only == (1, 2, 3, 4, 5, 6, 7)
    all_off = read_pattern(row, bits("off off off off off off"), OWN)
    assert tables(all_off) == [{"address": 0, "terminator chain": False}]


def test_exercise_8_a_code_that_is_not_zero_makes_the_manager() -> None:
    row = exercise("08").switches["PROT"]
    assert set_to(row, {"dialect report": "moor-can"}, role="manager") == "off on off"
    assert set_to(row, {}, role="member") == "off off off"
    assert read_pattern(row, bits("off off off"), OWN) == (Reading(Case(role="member"), ()),)
    manager = Reading(Case(role="manager"), (("dialect report", "moor-can"),))
    assert read_pattern(row, bits("off on off"), OWN) == (manager,)
    assert read_pattern(row, bits("on on on"), OWN) == ()


def test_exercise_9_the_wheels_of_the_two_partners() -> None:
    hexed, wheel = exercise("09a").switches["ID"], exercise("09b").switches["ID"]
    assert set_to(hexed, {"address": 11}) == "B"
    assert set_to(wheel, {"address": 12}) == "2"


def test_exercise_12_both_joining_limits_are_kept() -> None:
    fact = exercise("12").limits.join_difference_v
    assert fact.state == "disputed"
    assert fact.wording("V") == "2 V (manual p. 22), 1.5 V (inv p. 4)"


@pytest.mark.parametrize("number, high, low, on_1_and_2", [
    ("10a", "4", "5", "empty"), ("10b", "5", "4", "empty"), ("10c", "4", "5", "supply 5 V")])
def test_exercise_10_where_the_wires_are(number: str, high: str, low: str, on_1_and_2: str) -> None:
    table = exercise(number).pins["BAT"]
    assert [table[pin].only for pin in (high, low, "6")] == [("battery high",), ("battery low",), ("reference",)]
    assert [table[pin].only for pin in ("1", "2")] == [(on_1_and_2,)] * 2


# ---- rows ----

def test_numbers_are_as_printed_and_a_wheel_is_one() -> None:
    assert row_numbers(slide("0..3", binary("0..3"))) == (0, 1, 2, 3)
    assert row_numbers(slide("8..5", binary("5..8"))) == (8, 7, 6, 5)
    assert row_length(single("rotary", {"sets": "group", "code": {"table": {"1": "0"}}})) == 1


def test_the_order_of_use_is_the_order_of_the_code_and_not_of_the_row() -> None:
    row = slide("1..4", binary("4..1"))
    assert part_switches(row, row.parts[0]) == (3, 2, 1, 0)
    assert set_to(row, {"address": 1}) == "off off off on"
    printed_backwards = slide("4..1", binary("1..4"))
    assert set_to(printed_backwards, {"address": 1}) == "off off off on"      # left to right as printed: 4 3 2 1


def test_a_part_that_names_a_switch_the_row_has_not() -> None:
    row = slide("1..4", binary("1..5"))
    with pytest.raises(Expected) as caught:
        part_switches(row, row.parts[0])
    assert caught.value.expected == "switches of this row: 1, 2, 3, 4"


def test_a_value_is_named_with_its_bus() -> None:
    row = exercise("07").switches["SW"]
    assert [value_key(part) for part in row.parts] == ["address", "terminator chain"]


# ---- patterns as typed ----

@pytest.mark.parametrize("text, expected", [
    ("0110", "off on on off"), ("xxxx", "x x x x"), ("1x00", "on x off off"), ("on off on off", "on off on off"),
    ("on 0 x off", "on off x off"), ("0 1 1 0", "off on on off"),
])
def test_a_pattern_as_typed(text: str, expected: str) -> None:
    assert pattern_texts(exercise("01").switches["ADD"], text) == bits(expected)


@pytest.mark.parametrize("text, got", [
    ("011", " (got 3)"), ("01100", " (got 5)"), ("on off on", " (got 3)"), ("", " (got 0)"), ("on", " (got 1)"),
    ("0120", ""), ("ON off on off", ""), ("up up up up", ""), ("0X10", ""), ("yes", ""),
])
def test_a_bad_pattern_is_refused_with_what_the_row_takes(text: str, got: str) -> None:
    with pytest.raises(Expected) as caught:
        pattern_texts(exercise("01").switches["ADD"], text)
    assert caught.value.expected == f"4 switches as 0, 1 or x, in the order printed{got}"


def test_a_row_of_one_switch() -> None:
    row = slide("1..1", {"use": "1", "sets": "terminator", "bus": "chain", "code": {"flag": "on"}})
    assert [pattern_texts(row, text) for text in ("on", "0", "x")] == [("on",), ("off",), ("x",)]
    assert tables(read_pattern(row, ("x",), OWN)) == [{"terminator chain": False}, {"terminator chain": True}]
    with pytest.raises(Expected, match=r"^1 switch as 0, 1 or x, in the order printed \(got 2\)$"):
        pattern_texts(row, "01")


def test_a_wheel_takes_only_what_it_shows() -> None:
    wheel, hexed = exercise("09b").switches["ID"], exercise("09a").switches["ID"]
    assert pattern_texts(wheel, "7") == ("7",)
    assert pattern_texts(hexed, "A") == ("A",)
    assert pattern_texts(hexed, "x") == ("x",)
    with pytest.raises(Expected) as caught:
        pattern_texts(wheel, "10")
    assert caught.value.expected == "one of the positions 0, 1, 2, 3, 4, 5, 6, 7, 8, 9"
    with pytest.raises(Expected) as caught:
        pattern_texts(hexed, "a")
    assert caught.value.expected == "one of the positions 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, A, B …"


# ---- codes ----

def test_first_is_low_and_last_is_low() -> None:
    assert set_to(slide("1..4", binary("1..4")), {"address": 3}) == "on on off off"
    assert set_to(slide("1..4", binary("1..4", "last is low")), {"address": 3}) == "off off on on"


def test_the_number_that_all_off_stands_for() -> None:
    row = slide("1..3", binary("1..3", start="1"))
    assert domain(row, row.parts[0]) == (1, 2, 3, 4, 5, 6, 7, 8)
    assert set_to(row, {"address": 1}) == "off off off"
    assert set_to(row, {"address": 8}) == "on on on"
    assert settings(row, {"address": 0}, Case()).causes == ("address 0 cannot be set",)
    assert settings(row, {"address": 9}, Case()).pattern == (None, None, None)


def test_a_value_of_another_type_is_not_a_number() -> None:
    row = slide("1..3", binary("1..3"))
    assert settings(row, {"address": True}, Case()).causes == ("address True cannot be set",)
    assert settings(row, {"address": "1"}, Case()).causes == ("address 1 cannot be set",)


def test_one_switch_of_n() -> None:
    code = {"one_of": ["a-can", "b-can", "c-can"]}
    row = slide("1..3", {"use": "1..3", "sets": "dialect", "bus": "report", "code": code})
    assert set_to(row, {"dialect report": "b-can"}) == "off on off"
    assert tables(read_pattern(row, bits("off off on"), OWN)) == [{"dialect report": "c-can"}]
    assert read_pattern(row, bits("on on off"), OWN) == ()
    assert read_pattern(row, bits("off off off"), OWN) == ()


def test_a_flag_that_acts_when_off() -> None:
    row = slide("1..1", {"use": "1", "sets": "terminator", "bus": "chain", "code": {"flag": "off"}})
    assert set_to(row, {"terminator chain": True}) == "off"
    role = slide("1..1", {"use": "1", "sets": "role", "code": {"flag": "on"}})
    assert set_to(role, {"role": "manager"}) == "on"
    assert tables(read_pattern(role, ("off",), OWN)) == [{"role": "member"}]


def test_the_number_shown_against_the_number_on_the_wire() -> None:
    menu = single("menu", {"sets": "address", "code": {"number": {"shown": "1..16", "wire_from": "0"}}})
    assert set_to(menu, {"address": 0}) == "1"
    assert set_to(menu, {"address": 15}) == "16"
    assert tables(read_pattern(menu, ("16",), OWN)) == [{"address": 15}]
    assert settings(menu, {"address": 16}, Case()).causes == ("address 16 cannot be set",)
    assert positions(menu)[:3] == ("1", "2", "3")


def test_a_hex_wheel_shows_letters() -> None:
    code = {"number": {"shown": "0..15", "wire_from": "1"}}
    row = single("hex", {"sets": "address", "code": code}, positions="0..15")
    assert set_to(row, {"address": 16}) == "F"
    assert tables(read_pattern(row, ("A",), OWN)) == [{"address": 11}]
    assert read_pattern(row, ("10",), OWN) == ()


def test_a_wheel_nobody_looked_at_can_stand_anywhere() -> None:
    row = single("rotary", {"sets": "group", "code": {"table": {"1": "0", "2": "1", "3": "2"}}}, positions="0..9")
    assert tables(read_pattern(row, ("x",), OWN)) == [{"group": 1}, {"group": 2}, {"group": 3}]
    assert read_pattern(row, ("7",), OWN) == ()


def test_a_wheel_that_decides_nothing_in_a_case() -> None:
    code = {"number": {"shown": "0..2", "wire_from": "1"}}
    row = single("rotary", {"sets": "group", "code": code, "when": {"role": "manager"}},
                 {"sets": "nothing", "when": {"role": "member"}}, positions="0..2")
    assert set_to(row, {}, role="member") == "0"
    assert set_to(row, {"free all": "2"}, role="member") == "2"
    assert read_pattern(row, ("1",), OWN) == (Reading(Case(role="manager"), (("group", 2),)),
                                              Reading(Case(role="member"), (("free all", "1"),)))


# ---- x ----

def test_every_reading_of_switches_nobody_looked_at() -> None:
    row = exercise("01").switches["ADD"]
    assert [table["address"] for table in tables(read_pattern(row, bits("on x off x"), OWN))] == [1, 9, 3, 11]
    assert len(read_pattern(row, bits("x x x x"), OWN)) == 16
    double = exercise("04").switches["ID"]
    assert {table["address"] for table in tables(read_pattern(double, bits("x x x x"), OWN))} == set(range(1, 9))


# ---- cases ----

def test_the_grid_spans_only_what_is_asked() -> None:
    assert grid(exercise("01").switches["ADD"], OWN) == (Case(),)
    assert grid(exercise("03").switches["SW"], OWN) == (Case(role="manager"), Case(role="member"))
    row = slide("1..1", binary("1", role="unmanaged", controller_bus="can", place="last"))
    assert len(grid(row, OWN)) == 3 * 4 * 4


def test_the_grid_holds_one_number_of_each_class() -> None:
    row = slide("1..2", binary("1..2", count="2..4"), binary("1..2", "last is low", count="5..255"))
    assert [case.count for case in grid(row, OWN)] == [0, 2, 5]
    assert [case.count for case in grid(row, OWN, Case(count=7))] == [7]
    assert [case.group for case in grid(slide("1..1", binary("1", group="0..99")), OWN)] == [0]


def test_a_count_outside_every_range_is_not_stated() -> None:
    row = slide("1..2", binary("1..2", count="2..4"), binary("1..2", "last is low", count="5..255"))
    assert set_to(row, {"address": 1}, count=3) == "on off"
    assert set_to(row, {"address": 1}, count=5) == "off on"
    assert settings(row, {"address": 1}, Case(count=1)).causes == ("not stated: switch 1, 2",)
    assert tables(readings(row, bits("on off"), Case(count=3), OWN)) == [{"address": 1}]
    assert tables(readings(row, bits("on off"), Case(count=200), OWN)) == [{"address": 2}]
    assert readings(row, bits("on off"), Case(count=1), OWN) == ()


def test_a_group_condition() -> None:
    row = slide("1..3", {"use": "1..2", "sets": "group", "code": {"binary": "first is low", "from": "0"}},
                {"use": "3", "sets": "terminator", "bus": "chain", "code": {"flag": "on"}, "when": {"group": "0"}},
                {"use": "3", "sets": "nothing", "keep": "off", "when": {"group": "1..99"}})
    assert set_to(row, {"group": 0, "terminator chain": True}, group=0) == "off off on"
    assert set_to(row, {"group": 2}, group=2) == "off on off"
    assert read_pattern(row, bits("off off on"), OWN) == (
        Reading(Case(group=0), (("group", 0), ("terminator chain", True))),)
    assert read_pattern(row, bits("on off off"), OWN) == (Reading(Case(group=1), (("group", 1),)),)
    assert read_pattern(row, bits("on off on"), OWN) == ()       # only group 0 may set its terminator


def test_the_place_and_the_bus_of_the_controller() -> None:
    row = slide("1..2", {"use": "1", "sets": "nothing", "keep": "on", "when": {"place": ["last", "only"]}},
                {"use": "1", "sets": "nothing", "keep": "off", "when": {"place": ["first", "middle"]}},
                {"use": "2", "sets": "nothing", "keep": "on", "when": {"controller_bus": "can"}},
                {"use": "2", "sets": "nothing", "keep": "off", "when": {"controller_bus": "rs-485"}})
    assert set_to(row, {}, place="only", controller_bus="rs-485") == "on off"
    assert set_to(row, {}, place="middle", controller_bus="can") == "off on"
    assert settings(row, {}, Case(place="first", controller_bus="none")).causes == ("not stated: switch 2",)
    assert len(read_pattern(row, bits("on on"), OWN)) == 2


def test_what_is_not_known_of_the_case_is_a_cause() -> None:
    row = exercise("03").switches["SW"]
    setting = settings(row, {"address": 3, "role": "member"}, Case())
    assert setting.pattern == (None, None, None, None, None, "off", "off", "off")
    assert setting.causes == ("switch 1..5: role not known",)
    both = slide("1..1", binary("1", mode="own", role="member", place="last"))
    assert settings(both, {"address": 0}, Case(role="member")).causes == ("switch 1: mode, place not known",)
    # the part is out of the question whatever else is unknown
    assert parts_in(both, Case(role="manager")) == ()


def test_a_missing_value_and_a_switch_without_a_part_are_causes() -> None:
    row = slide("1..3", binary("1"), {"use": "2", "sets": "group", "code": {"binary": "first is low", "from": "0"}})
    setting = settings(row, {"address": 1}, Case())
    assert setting.pattern == ("on", None, None)
    assert setting.causes == ("no value for group", "not stated: switch 3")
    assert not setting.complete
    assert read_pattern(row, bits("on off off"), OWN) == ()


def test_two_parts_that_set_one_thing_must_agree() -> None:
    row = slide("1..4", binary("1..2"), binary("3..4"))
    assert tables(read_pattern(row, bits("on off on off"), OWN)) == [{"address": 1}]
    assert read_pattern(row, bits("on off off on"), OWN) == ()


def test_an_unmanaged_pack_has_its_own_case_where_the_row_names_it() -> None:
    row = slide("1..1", {"use": "1", "sets": "nothing", "keep": "on", "when": {"role": ["manager", "member"]}},
                {"use": "1", "sets": "nothing", "keep": "off", "when": {"role": "unmanaged"}})
    assert set_to(row, {}, role="unmanaged") == "off"
    assert read_pattern(row, ("off",), OWN) == (Reading(Case(role="unmanaged"), ()),)
    plain = exercise("03").switches["SW"]
    assert set_to(plain, {"address": 2, "role": "member"}, role="unmanaged") == "off on off off off off off off"


def test_a_pattern_with_many_meanings_keeps_them_all() -> None:
    record = exercise("02")
    found = read_pattern(record.switches["ADD"], bits("on off on off off off"), record.modes)
    assert found == (Reading(Case(mode="own"), (("address", 5),)), Reading(Case(mode="older"), (("address", 5),)))


# ---- cover and formula ----

def test_a_double_cover_names_the_switch_and_the_case() -> None:
    row = slide("1..3", binary("1..2"), {"use": "2..3", "sets": "nothing", "keep": "off", "when": {"role": "member"}})
    assert cover_faults(row, OWN) == ((2, Case(role="member")),)


def test_a_formula_printed_beside_the_table_is_a_second_statement() -> None:
    code = {"formula": "first is low", "from": "1",
            "table": {"1": "off off", "2": "on off", "3": "on on", "4": "off on"}}
    row = slide("1..2", {"use": "1..2", "sets": "address", "code": code})
    assert formula_differences(row) == (("3", ("on", "on"), ("off", "on")), ("4", ("off", "on"), ("on", "on")))
    assert set_to(row, {"address": 3}) == "on on"                # the printed table is the code
    code["formula"] = "last is low"
    other = slide("1..2", {"use": "1..2", "sets": "address", "code": code})
    assert [key for key, _, _ in formula_differences(other)] == ["2", "3", "4"]


# ---- what a record may not say ----

def faults_with(row: str) -> list[str]:
    text = (EXERCISES / "ex01-four-switches.yaml").read_text(encoding="utf-8")
    before, _, rest = text.partition("switches:\n")
    after = rest[rest.index("addresses:"):]
    with pytest.raises(InputFaults) as caught:
        parse_record(f"{before}switches:\n  R:\n{row}\n{after}".encode(), "bad.yaml")
    return [f"{fault.path}: got {fault.got}; expected {fault.expected}" for fault in caught.value.faults]


P4 = "    kind: slide\n    printed: 1..4\n    parts:\n"
WHEEL = "    kind: rotary\n    positions: 0..3\n    parts:\n"


@pytest.mark.parametrize("row, expected", [
    (P4 + "      - {use: 1..4, sets: address}",
     "switches.R.parts.0: got no code; expected a code for address: binary, table, flag, one_of or number"),
    (P4 + "      - {use: 1..5, sets: nothing, keep: off}",
     'switches.R.parts.0.use: got "1..5"; expected switches of this row: 1, 2, 3, 4'),
    (P4 + "      - {use: 1..4, sets: nothing, code: {flag: on}}",
     'switches.R.parts.0.code: got a code; expected no code for "nothing" (use keep: on or off)'),
    (P4 + "      - {use: 1..4, sets: address, code: {binary: first is low, one_of: [1, 2, 3, 4]}}",
     "switches.R.parts.0.code: got binary and one_of; expected exactly one of binary, table, flag, one_of, number"),
    (P4 + "      - {use: 1..2, sets: terminator, bus: chain, code: {flag: on}}",
     "switches.R.parts.0.use: got 2 switches; expected one switch for a flag"),
    (P4 + "      - {use: 1, sets: group, code: {flag: on}}",
     "switches.R.parts.0.code.flag: got a flag for group; expected a table: a flag sets a role or a terminator"),
    (P4 + "      - {use: 1..3, sets: dialect, bus: report, code: {one_of: [a, b]}}",
     "switches.R.parts.0.code.one_of: got 2 values; expected 3 values, one a switch"),
    (P4 + "      - {use: 1..3, sets: dialect, bus: report, code: {binary: first is low}}",
     "switches.R.parts.0.code: got binary; expected a table for dialect: binary codes only numbers"),
    (P4 + "      - {use: 1..2, sets: address, code: {table: {one: off on}}}",
     'switches.R.parts.0.code.table.one: got "one"; expected a whole number, since the part sets address'),
    (P4 + "      - {use: 1..2, sets: address, code: {table: {1: off on on}}}",
     'switches.R.parts.0.code.table.1: got "off on on"; expected 2 words on or off'),
    (P4 + "      - {use: 1..2, sets: address, code: {binary: last is low, formula: first is low}}",
     ("switches.R.parts.0.code.formula: got a formula; "
      "expected a formula only beside a table of numbers on slide switches")),
    (P4 + "      - {use: 1..4, sets: rate, code: {table: {9600: off off off off}}}",
     'switches.R.parts.0: got sets rate without "bus"; expected the bus: chain, report'),
    (P4 + "      - {use: 1..4, sets: nothing, when: {mode: older}}",
     'switches.R.parts.0.when.mode: got "older"; expected a mode of this record: own'),
    (WHEEL + "      - {use: all, sets: address, code: {binary: first is low}}",
     "switches.R.parts.0.code: got binary; expected table or number for a rotary setting"),
    (WHEEL + '      - {use: all, sets: address, code: {table: {4: "4"}}}',
     'switches.R.parts.0.code.table.4: got "4"; expected one of the positions 0, 1, 2, 3'),
    (WHEEL.replace("positions", "printed") + "      - {use: all, sets: nothing}",
     "switches.R.printed: got numbers; expected none: a rotary setting is one switch"),
    (P4.replace("    printed: 1..4\n", "") + "      - {use: all, sets: nothing}",
     'switches.R: got a slide row without numbers; expected the field "printed", such as 1..4'),
    (P4 + ("      - {use: 1..4, sets: nothing}\n"
           "      - {use: 3, sets: terminator, bus: chain, code: {flag: on}, when: {place: last}}"),
     "switches.R.parts: got switch 3 covered twice; expected once in each case (here: place last)"),
])
def test_a_row_that_cannot_be_is_refused_with_its_place(row: str, expected: str) -> None:
    assert faults_with(row) == [expected]
