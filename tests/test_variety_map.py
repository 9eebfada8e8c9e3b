"""Where each behaviour of real packs, inverters and installers is shown: a map from behaviour to tests that stand.

A place is ``path::test`` or the name of a pair of scenario files (both files stand, and the scenario test runs them).
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent
LAWS, ROWS, TABLES = "records/test_switch_laws.py", "records/test_switches.py", "published/test_truth_tables.py"
DONE, BENCH, RECORDS = (
    "exercises/test_exercises.py",
    "behaviour/test_behaviour.py",
    "exercises/test_exercise_records.py",
)
CONDUCTORS, CELLS, ADDRESS, LINK = (
    "choose/test_conductors.py",
    "rules/test_cells.py",
    "rules/test_address.py",
    "rules/test_link.py",
)

Places = tuple[str, ...]

WRITTEN: dict[str, Places] = {
    "generation, revision and firmware tell packs of one name apart": (
        "firmware-below-minimum",
        "record-does-not-describe",
        f"{CELLS}::test_versions_compare_number_by_number",
        f"{RECORDS}::test_exercise_2_only_the_new_generation_has_a_stop_line",
    ),
    "every way to get an address": (
        f"{ROWS}::test_a_hex_wheel_shows_letters",
        f"{ROWS}::test_the_number_shown_against_the_number_on_the_wire",
        f"{DONE}::test_5_the_group_stands_on_the_manager_only_and_the_route_numbers_the_members",
        f"{DONE}::test_8_code_2_makes_the_manager_and_all_off_is_a_member",
        "choose/test_ways_to_number.py::test_the_first_manages_and_the_rest_follow_it",
        "choose/test_ways_to_number.py::test_a_direction_pin_is_carried_from_out_to_in",
    ),
    "rows of switches as data, also hung the wrong way up": (
        f"{ROWS}::test_numbers_are_as_printed_and_a_wheel_is_one",
        f"{DONE}::test_6_the_newest_is_manager_and_its_row_is_drawn_as_it_is_seen",
    ),
    "one switch, several meanings by role or mode": (
        f"{LAWS}::test_every_switch_is_covered_exactly_once_in_every_case",
        f"{DONE}::test_3_an_address_on_members_and_a_count_on_the_manager",
    ),
    "a printed table is the code, misprints included": (
        f"{ROWS}::test_a_formula_printed_beside_the_table_is_a_second_statement",
        f"{TABLES}::test_the_encoder_sets_what_the_table_says",
        f"{DONE}::test_4_the_double_row_is_named_and_kept_free_while_another_fits",
    ),
    "sets of addresses, starts, gaps, values kept back": (
        "address-gap",
        "address-out-of-range",
        "address-reserved",
        "manager-address-wrong",
        f"{BENCH}::test_an_address_that_the_manager_never_asks_is_not_heard",
    ),
    "what makes a manager, and who asks": (
        "two-managers-on-a-link",
        "no-poller",
        "record-demands-another-manager",
        "wrong-port-or-direction--manager",
        f"{ADDRESS}::test_a_manager_by_flag_stands_where_its_record_says",
    ),
    "values that follow from the number of packs": ("count-stale", "rate-stale", "terminator-stale"),
    "procedures": (f"{DONE}::test_1_member_5_the_manager_and_the_restart",),
    "ports with direction, sockets joined or not, one hop only": (
        "wrong-port-or-direction",
        "port-used-twice",
        f"{DONE}::test_13_every_hop_is_a_bus_of_two_nodes",
    ),
    "pins by mode, mirrored, bridged, to stay empty, with a supply": (
        "empty-pin-joined",
        "data-meets-supply",
        f"{CONDUCTORS}::test_mirrored_pack_does_not_ground_the_stop_pair",
        "behaviour/test_metamorphic.py::test_pins_permuted_in_every_record_permute_the_conductors_alike",
    ),
    "buses with kind, rate, dialect, nodes and terminators": (
        "bus-kind-differs",
        "rate-differs",
        "dialect-differs",
        "frame-differs",
        "too-many-nodes",
        "terminator-missing",
        f"{LINK}::test_fixed_terminators_by_the_number_of_packs",
    ),
    "cables with a map of pins, one kind for one place only": (
        "needed-conductor-missing",
        f"{CONDUCTORS}::test_swapped_can_pins_are_repinned",
        f"{DONE}::test_2_the_new_one_speaks_older_at_address_5_and_one_of_the_new_is_manager",
    ),
    "lines that stop, wake or enable, and packs without them": (
        "stop-held",
        "stop-never-acts",
        "cut-line-stops",
        "loop-not-closed",
        "senses-differ",
        "levels-differ",
        "stop-does-not-reach",
    ),
    "what nobody knows is never a pass": (
        "rules/test_forgetting.py::test_no_finding_vanishes_from_a_scenario",
        "line-sense-not-stated",
        "how-made-not-known",
    ),
    "what makers say about each other": (
        "mixing-forbidden",
        "mixing-silent",
        "mixing-not-approved",
        f"{CELLS}::test_words_are_directed",
    ),
    "two limits for one thing": (
        f"{DONE}::test_12_the_stricter_limit_decides_and_both_statements_are_printed",
        "join-difference--disputed",
    ),
    "what a manager reports": (
        "controller-shows-part",
        "mean-not-weighted",
        "limits-of-absent-packs",
        f"{DONE}::test_14_the_controller_does_not_show_two_fifths_of_the_bank",
    ),
    "inverters, their sockets and units, and what stands between": (
        "link-through-a-device",
        "two-managers-to-one-controller",
        "wrong-unit",
        "rate-differs--socket",
        f"{RECORDS}::test_the_third_make_and_its_inverter_speak_over_rs_485_with_the_pair_on_other_pins",
    ),
    "sources and disputes": (
        f"{CELLS}::test_a_chemistry_in_dispute_cannot_be_told",
        f"{ADDRESS}::test_an_allowed_set_in_dispute",
        f"{DONE}::test_12_between_the_two_limits_the_stricter_answers",
    ),
}

EXERCISES: dict[int, Places] = {
    1: (f"{DONE}::test_1_member_5_the_manager_and_the_restart",),
    2: (
        f"{DONE}::test_2_the_new_one_speaks_older_at_address_5_and_one_of_the_new_is_manager",
        f"{DONE}::test_2_the_old_one_as_manager_is_refused",
    ),
    3: (f"{DONE}::test_3_an_address_on_members_and_a_count_on_the_manager",),
    4: (
        f"{DONE}::test_4_the_double_row_is_named_and_kept_free_while_another_fits",
        f"{DONE}::test_4_where_gaps_are_allowed_the_double_row_is_given_out_last",
    ),
    5: (f"{DONE}::test_5_the_group_stands_on_the_manager_only_and_the_route_numbers_the_members",),
    6: (
        f"{DONE}::test_6_the_newest_is_manager_and_its_row_is_drawn_as_it_is_seen",
        f"{DONE}::test_6_the_older_one_as_manager_is_refused",
    ),
    7: (f"{DONE}::test_7_address_5_at_a_chain_end_has_its_terminator_and_0_is_refused",),
    8: (f"{DONE}::test_8_code_2_makes_the_manager_and_all_off_is_a_member",),
    9: (
        f"{DONE}::test_9_exactly_the_pair_is_joined_and_the_reference_stays_out",
        f"{DONE}::test_9_a_straight_cable_holds_the_stop_for_ever",
    ),
    10: (
        f"{DONE}::test_10_straight_crossed_and_with_the_supply_cut",
        f"{DONE}::test_10_why_1_and_2_are_cut_towards_the_third",
    ),
    11: (f"{DONE}::test_11_the_link_holds_and_the_busbar_stops",),
    12: (f"{DONE}::test_12_the_stricter_limit_decides_and_both_statements_are_printed",),
    13: (f"{DONE}::test_13_every_hop_is_a_bus_of_two_nodes",),
    14: (f"{DONE}::test_14_the_controller_does_not_show_two_fifths_of_the_bank",),
}

GOES_WRONG: dict[str, Places] = {
    "two devices ask at once": ("second-poller", f"{BENCH}::test_a_second_manager_asks_at_the_same_time"),
    "the manager sits at a member's address": ("manager-address-wrong", "manager-address-wrong--second"),
    "an address given twice": ("address-clash", f"{BENCH}::test_two_packs_at_one_address_are_both_lost"),
    "a row taken backwards": ("pattern-reversed", f"{ADDRESS}::test_reversed_only_where_the_other_end_fits_exactly"),
    "nothing to set, so all take the same number": ("packs-without-switches",),
    "too many built-in terminators": (
        "terminators-in-too-many-packs",
        f"{LINK}::test_fixed_terminators_by_the_number_of_packs",
    ),
    "one identity on the bus for several packs": ("one-bus-identity", "terminator-missing"),
    "unlike bit rates": ("rate-differs", "rate-differs--socket"),
    "a plain lead where a crossed one is wanted": (
        "pair-reversed--controller",
        f"{BENCH}::test_a_straight_cable_where_wires_cross_leaves_the_controller_deaf",
    ),
    "limits of packs that are off still counted": ("limits-of-absent-packs",),
    "a plain mean of big and small": ("mean-not-weighted",),
    "a display that knows one part of the bank": ("controller-shows-part",),
    "equal packs that do not share equally": (
        "equal-packs-share-unevenly",
        "circuit/test_bank.py::test_a_rack_fed_at_one_end_shares_unevenly_and_the_diagonal_feed_mends_it",
    ),
    "a pack trips when capacitors fill": ("inrush-trips-packs", "inrush-trips-packs--not-stated"),
    "load current through a data cable's ground": (
        "data-ground-bypasses-the-bms",
        f"{CONDUCTORS}::test_cell_minus_two_packs_away_decides_one_reference",
    ),
    "the replacement is newer and must lead": (
        "record-demands-another-manager",
        f"{BENCH}::test_the_controller_hears_exactly_the_managed_packs_and_nothing_is_held",
    ),
}

@cache
def names_in(path: str) -> frozenset[str]:
    """Names of the test functions of a file, read without importing it."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return frozenset(
        node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    )


def stands(place: str) -> bool:
    if "::" in place:
        path, _, name = place.partition("::")
        return (ROOT / path).is_file() and name in names_in(path)
    pair = [ROOT / "scenarios" / f"{place}.{end}.yaml" for end in ("breaks", "holds")]
    return all(one.is_file() for one in pair) and {"test_breaks", "test_holds"} <= names_in("rules/test_scenarios.py")


ALL = [*WRITTEN.items(), *((f"exercise {n}", places) for n, places in EXERCISES.items()), *GOES_WRONG.items()]


@pytest.mark.parametrize("behaviour, places", ALL, ids=[name for name, _ in ALL])
def test_a_behaviour_is_shown_by_tests_that_stand(behaviour: str, places: Places) -> None:
    assert places, behaviour
    assert [place for place in places if not stands(place)] == []


def test_no_behaviour_is_left_out() -> None:
    assert len(WRITTEN) == 20
    assert list(EXERCISES) == list(range(1, 15))
    assert len(GOES_WRONG) == 16


def test_a_place_that_does_not_stand_is_found() -> None:
    assert not stands("no-such-rule")
    assert not stands(f"{DONE}::test_15_nothing")
    assert not stands("nowhere/test_nothing.py::test_nothing")
