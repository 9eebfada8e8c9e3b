"""May these packs share a busbar: what the pairs of scenario files do not show."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.records.answers import Answer
from interop.records.facts import ABSENT, Fact, Statement
from interop.records.leaves import Span
from interop.records.models import Cells, Record
from interop.wiring.busbar import charge_window, highest, lowest, maker_words, same_value, version_at_least
from tests.rules.site import changed, found, planned, texts, write

WREN = "packs: {A1: {model: wren-1}, B1: {model: other}}\n"


def _record(**cells: Any) -> Record:
    return Record.model_construct(interop="record/1", id="tarn", name="Tarn", sources={},
    cells=Cells.model_construct(**cells))


def _fact(*values: float | Span) -> Fact[float | Span]:
    return Fact(tuple(Statement(v, "manual") for v in values))


# ---- figures ----

def test_the_strict_end_counts() -> None:
    fact = _fact(56.8, Span(55.9, 57.0))
    assert (lowest(fact), highest(fact)) == (55.9, 57.0)
    assert (lowest(ABSENT), highest(ABSENT)) == (None, None)


def test_two_facts_are_the_same_under_every_statement_or_it_cannot_be_told() -> None:
    one, other, both = _fact(16.0), _fact(15.0), _fact(16.0, 15.0)
    assert same_value(one, _fact(16.0)) is Answer.HOLDS
    assert same_value(one, other) is Answer.BROKEN
    assert same_value(one, both) is Answer.CANNOT_TELL
    assert same_value(_fact(16.0, 14.0), other) is Answer.BROKEN
    assert same_value(ABSENT, one) is Answer.CANNOT_TELL


# ---- charge window (power.md, settings of the controller: lowest recommended to highest needed) ----

def test_window_of_two_records_by_hand() -> None:
    a = _record(charge_v=_fact(56.8), finish_v=_fact(55.2), balance_v=_fact(54.4))
    b = _record(charge_v=_fact(56.0, 56.4), finish_v=_fact(54.0), balance_v=_fact(Span(55.0, 55.5)))
    window = charge_window([a, b])
    assert window.top is not None
    assert window.bottom is not None
    assert (window.top.volts, window.bottom.volts, window.width_v) == (56.0, 55.5, 0.5)
    assert window.at_least(0.5) is Answer.HOLDS
    assert window.at_least(0.51) is Answer.BROKEN


def test_a_highest_charge_voltage_bounds_a_window_whose_top_is_not_stated() -> None:
    a = _record(charge_v=_fact(56.8), finish_v=_fact(55.2), balance_v=_fact(55.2))
    low = _record(charge_highest_v=_fact(55.0), finish_v=_fact(54.0), balance_v=_fact(54.0))
    high = _record(charge_highest_v=_fact(57.6), finish_v=_fact(54.0), balance_v=_fact(54.0))
    assert charge_window([a, low]).at_least(0.0) is Answer.BROKEN
    assert charge_window([a, high]).at_least(0.0) is Answer.CANNOT_TELL


volts = st.integers(5000, 6000).map(lambda cents: cents / 100)


@given(st.lists(st.tuples(volts, volts, volts), min_size=1, max_size=5))
def test_window_law(figures: list[tuple[float, float, float]]) -> None:
    """A charge voltage that suits every pack by itself exists exactly when the window is not empty."""
    window = charge_window([_record(charge_v=_fact(c), finish_v=_fact(f), balance_v=_fact(b)) for c, f, b in figures])
    suits = [v for c, _, _ in figures for v in [c] if all(f <= v and b <= v <= c2 for c2, f, b in figures)]
    assert (window.at_least(0.0) is Answer.HOLDS) == bool(suits)


@given(st.lists(st.tuples(volts, volts, volts), min_size=2, max_size=5), st.integers(0, 2))
def test_forgetting_a_figure_never_widens_the_window_to_a_pass(figures: list[tuple[float, float, float]],
                                                               which: int) -> None:
    names = ("charge_v", "finish_v", "balance_v")
    records = [_record(**{n: _fact(v) for n, v in zip(names, three, strict=True)}) for three in figures]
    forgot = _record(**{n: _fact(v) for n, v in zip(names, figures[0], strict=True) if n != names[which]})
    assert charge_window([forgot, *records[1:]]).at_least(0.4) is not Answer.HOLDS


# ---- rules ----

def test_one_record_by_itself_is_never_of_unlike_chemistry(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1..A3: {model: wren-2-unsaid}}\n")
    assert planned(site, "chemistry-differs") == ()


def test_packs_on_busbars_of_their_own_are_not_compared(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1: {model: wren-1}, B1: {model: wren-2-nmc}}\nposts: {one: [1], two: [1]}\n"
                 "runs: {A1: {from: pack, to: one 1}, B1: {from: pack, to: two 1}}\n")
    assert planned(site, "chemistry-differs") == ()


def test_ten_thousand_packs_of_two_records_make_one_finding(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1..A9999: {model: wren-1}, B1: {model: wren-2-nmc}}\n")
    assert [(len(f.about), f.text) for f in planned(site, "chemistry-differs")] == [
        (10000, ("One busbar, unlike chemistry: lfp (manual) in A1..A9999 (wren-1) and nmc (manual) in B1 "
                 "(wren-2-nmc); all packs on it must have the same"))]


def test_a_chemistry_in_dispute_cannot_be_told(tmp_path: Path) -> None:
    other = changed("wren-2", "other", ("chemistry: lfp", "chemistry: {manual: lfp, sheet p. 1: nmc}"))
    site = write(tmp_path, WREN, other=other)
    assert texts(planned(site, "chemistry-differs")) == [
        ("stop cannot-tell A1,B1: Whether A1 (wren-1) and B1 (other) have the same chemistry cannot be told: the "
         "sources of other differ on cells.chemistry: lfp (manual), nmc (sheet p. 1)")]
    assert [f.state for f in planned(site, "chemistry-differs")[0].facts] == ["stated", "disputed"]


def test_a_window_that_cannot_be_told_is_a_stop_and_a_caution(tmp_path: Path) -> None:
    site = write(tmp_path, WREN, other=changed("wren-2", "other", (", balance_v: 55.2", "")))
    text = "The charge window of A1 (wren-1) and B1 (other) cannot be told: other does not state cells.balance_v"
    assert texts(planned(site, "no-common-charge-window")) == [f"stop cannot-tell A1,B1: {text}"]
    assert texts(planned(site, "charge-window-narrow")) == [f"caution cannot-tell A1,B1: {text}"]


@pytest.mark.parametrize(
    "limits, expected",
    [
        ("all_packs_on_busbar: 3", [("caution cannot-tell A1,A2: A1, A2 (other): other does not state how many packs "
                                     "of its own model may share a busbar; here are 2"),
                                    ("stop broken A1,A2,B1,B2: A1, A2 (other): other allows 3 packs (manual) on one "
                                     "busbar; here are 4 packs of every model")]),
        ("same_model_on_busbar: {manual: 3, sheet: 1}, all_packs_on_busbar: 8",
         [("stop broken A1,A2: A1, A2 (other): other allows 3 packs (manual), 1 packs (sheet) on one busbar; here "
           "are 2 packs of its own model")]),
        ("same_model_on_busbar: 2, packs_on_busbar: 3",
         [("caution broken A1,A2,B1,B2: A1, A2 (other): other allows 3 packs (manual) on one busbar (a number whose "
           "kind is not stated, taken for every kind); here are 4 packs of every model")]),
        ("packs_on_busbar: 4", []),
    ],
)
def test_parallel_limits_by_kind(tmp_path: Path, limits: str, expected: list[str]) -> None:
    other = changed("wren-2", "other", ("same_model_on_busbar: 4, all_packs_on_busbar: 6", limits))
    site = write(tmp_path, "packs: {A1..A2: {model: other}, B1..B2: {model: wren-1}}\n", other=other)
    assert texts(planned(site, "parallel-limit-passed")) == expected


def test_joining_names_the_lowest_and_the_highest_and_the_stricter_of_two_makers(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1..A3: {model: wren-1}, B1: {model: wren-2-joins}}\n"
                 "found: {A1: {voltage_v: 53.0}, A2: {voltage_v: 54.5}, A3: {voltage_v: 54.3}, B1: {voltage_v: "
                 "53.0}}\n")
    finding, = found(site, "join-difference")
    assert texts((finding,)) == [
        ("caution broken A1,A3,A2: A1 was found at 53 V and A2 at 54.5 V, 1.5 V apart (A3 too far above A1 as well); "
         "at joining they may differ by 1.2 V (wren-2-joins states 2 V (manual p. 31), 1.2 V (sheet p. 2))")]
    assert (finding.got, finding.limit) == ("1.5 V", "1.2 V")
    assert finding.todo == ("Charge A1 alone, or draw A2 down, until they are within 1.2 V; measure again just before "
                            "joining.")


def test_a_pack_that_nobody_measured_and_a_limit_that_nobody_states(tmp_path: Path) -> None:
    other = changed("wren-2", "other", ("join_difference_v: 1.5, ", ""))
    site = write(tmp_path, WREN + "found: {A1: {voltage_v: 53.0}}\n", other=other)
    assert texts(found(site, "join-difference")) == [
        ("caution cannot-tell A1,B1: Whether A1 (wren-1) and B1 (other) may be joined cannot be told: other does not "
         "state limits.join_difference_v"),
        ("caution cannot-tell B1: No voltage of B1 (other) is written down; at joining they may differ by 1.5 V "
         "(wren-1 states 1.5 V (manual))")]


def test_exactly_the_limit_may_be_joined(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1..A2: {model: wren-1}}\nfound: {A1: {voltage_v: 52.1}, A2: {voltage_v: "
                 "53.6}}\n")
    assert found(site, "join-difference") == ()


def test_without_runs_all_packs_are_taken_to_share_one_busbar(tmp_path: Path) -> None:
    assert texts(planned(write(tmp_path, "packs: {A1..A4: {model: wren-1}}\n"), "bank-not-drawn")) == [
        "note broken A1,A2,A3,A4: No power runs are written: A1..A4 are taken to share one busbar"]
    assert planned(write(tmp_path, "packs: {A1: {model: wren-1}}\n"), "bank-not-drawn") == ()


# ---- the makers' words ----

def _mixing(tmp_path: Path, first: str, second: str, more: str = "") -> list[str]:
    words = "with: [{other: family wren, same_link: yes, same_busbar: yes}]"
    one = changed("wren-1", "one", (words, f"with: {first}"))
    other = changed("wren-2", "other", (words, f"with: {second}"), *([("family: wren\n", more)] if more else []))
    site = write(tmp_path, "packs: {A1: {model: one}, B1: {model: other}}\n", one=one, other=other)
    rules = ("mixing-forbidden", "mixing-silent", "mixing-not-approved")
    return [text for rule in rules for text in texts(planned(site, rule))]


YES = "[{other: any, same_link: yes, same_busbar: yes}]"
NO = "[{other: any, same_link: no, same_busbar: no}]"
BUSBAR_NO = "[{other: any, same_link: yes, same_busbar: no}]"


def test_in_one_family_the_newer_record_is_enough(tmp_path: Path) -> None:
    assert _mixing(tmp_path, "[]", YES) == []
    assert _mixing(tmp_path, YES, "[]") == [
        "caution broken A1,B1: A1 (one) with B1 (other) on one busbar: other says nothing of one"]


def test_of_two_makers_both_must_speak(tmp_path: Path) -> None:
    assert _mixing(tmp_path, "[]", YES, "family: crag\n") == [
        "caution broken A1,B1: A1 (one) with B1 (other) on one busbar: one says nothing of other"]
    assert _mixing(tmp_path, YES, YES, "family: crag\n") == []
    assert _mixing(tmp_path, "[]", "[]", "family: crag\n") == [
        ("caution broken A1,B1: A1 (one) with B1 (other) on one busbar: one says nothing of other and other says "
        "nothing of one")]


def test_forbidden_by_either_is_a_stop_and_silence_is_not_added(tmp_path: Path) -> None:
    assert _mixing(tmp_path, NO, "[]") == [
        "stop broken A1,B1: A1 (one) with B1 (other) on one busbar: one forbids other (manual)"]
    assert _mixing(tmp_path, YES, BUSBAR_NO, "family: crag\n") == [
        "stop broken A1,B1: A1 (one) with B1 (other) on one busbar: other forbids one (manual)"]


def test_one_link_forbidden_matters_only_on_one_link(tmp_path: Path) -> None:
    link_no = "[{other: any, same_link: no, same_busbar: yes, source: sheet p. 7}]"
    assert _mixing(tmp_path, YES, link_no) == []
    words = "with: [{other: family wren, same_link: yes, same_busbar: yes}]"
    site = write(tmp_path, "packs: {A1: {model: wren-1}, B1: {model: linked}}\nlinks: {rack: {packs: [A1, B1], "
                 "manager: A1}}\n",
                 linked=changed("wren-2", "linked", (words, f"with: {link_no}")))
    assert texts(planned(site, "mixing-forbidden")) == [
        ("stop broken A1,B1: A1 (wren-1) with B1 (linked) on one busbar and on link rack: linked forbids wren-1 "
        "(sheet p. 7)")]


def test_a_word_on_a_generation_that_is_not_known_cannot_be_told(tmp_path: Path) -> None:
    words = "with: [{other: family wren, same_link: yes, same_busbar: yes}]"
    some = f"with: [{{other: family wren generation 1, same_link: no, same_busbar: no}}, {YES[1:-1]}]"
    one = changed("wren-1", "one", ("generation: 1\n", ""))
    site = write(tmp_path, "packs: {A1: {model: one}, B1: {model: other}}\n", one=one,
                 other=changed("wren-2", "other", (words, some)))
    assert texts(planned(site, "mixing-forbidden")) == [
        ("stop cannot-tell A1,B1: A1 (one) with B1 (other) on one busbar: other forbids some of its family wren, and "
         "the generation of one is not known")]


def test_words_are_directed(tmp_path: Path) -> None:
    site = write(tmp_path, "packs: {A1: {model: wren-1}, B1: {model: wren-2-forbids}}\n")
    old, new = (site.devices[name].record for name in ("A1", "B1"))
    assert maker_words(old, new, linked=False).allowed is Answer.HOLDS
    assert maker_words(new, old, linked=False).allowed is Answer.BROKEN


@pytest.mark.parametrize(
    "have, least, answer",
    [
        ("2.9", "2.10", Answer.BROKEN),
        ("2.10", "2.10", Answer.HOLDS),
        ("V2.10.1", "2.10", Answer.HOLDS),
        ("2", "2.0", Answer.HOLDS),
        ("3", "2.10", Answer.HOLDS),
        ("as delivered", "2.10", Answer.CANNOT_TELL),
        (None, "2.10", Answer.CANNOT_TELL),
        ("2.10", "the newest", Answer.CANNOT_TELL),
    ],
)
def test_versions_compare_number_by_number(have: str | None, least: str, answer: Answer) -> None:
    assert version_at_least(have, least) is answer


def test_firmware_is_asked_of_the_packs_of_the_record_that_says_so(tmp_path: Path) -> None:
    site = write(tmp_path, 'packs: {A1: {model: wren-1}, B1..B2: {model: wren-2-firm, firmware: "1.0"}, '
                 'B3: {model: wren-2-firm, firmware: "2.11"}, B4: {model: wren-2-firm}}\n')
    assert texts(planned(site, "firmware-below-minimum")) == [
        ("stop broken B1,B2,A1: Firmware of B1, B2 (wren-2-firm) is 1.0; beside A1 (wren-1) the record asks for at "
        "least 2.10"),
        ("caution cannot-tell B4,A1: Firmware of B4 (wren-2-firm) is not known; beside A1 (wren-1) the record asks "
        "for at least 2.10")]
