"""Facts: stated, disputed, a range, not stated, absent; by mode and by source; never taken for a plain value."""

from __future__ import annotations

from typing import Any

import pytest

from interop.records.answers import Answer
from interop.records.facts import ABSENT, ByCase, Fact, FactClass, Statement
from interop.records.faults import InputFaults
from interop.records.leaves import Span, TimedCurrent
from interop.records.models import Bus, Cells, Limits, Record
from interop.records.power import Electric
from tests.records.small import record, record_text, told


def only(section: str, text: str, extra: str = "") -> Record:
    return record(f"{section}: {text}\n{extra}")


def fact(text: str) -> Fact[Any]:
    return only("limits", f"{{join_difference_v: {text}}}").limits.join_difference_v


@pytest.mark.parametrize(
    ("text", "state", "values", "said"),
    [
        ("2", "stated", (2.0,), "2 V (manual)"),
        ("1.5e1", "stated", (15.0,), "15 V (manual)"),
        ("1..1.5", "stated", (Span(1, 1.5),), "1..1.5 V (manual)"),
        ("not stated", "not-stated", (), "not stated"),
        ("{bench: 2}", "stated", (2.0,), "2 V (bench)"),
        ("{manual p. 31: 2.0, bench: 1.5}", "disputed", (2.0, 1.5), "2 V (manual p. 31), 1.5 V (bench)"),
        ("{manual p. 3: 2, manual p. 9: 2.0}", "stated", (2.0,), "2 V (manual p. 3), 2 V (manual p. 9)"),
        ("{manual p. 31: 2.0, bench: 1..2}", "disputed", (2.0, Span(1, 2)), "2 V (manual p. 31), 1..2 V (bench)"),
        ("{manual: not stated, bench: 2}", "stated", (2.0,), "2 V (bench)"),
        ("{manual: not stated, bench: not stated}", "not-stated", (), "not stated"),
    ],
)
def test_a_fact_as_written(text: str, state: str, values: tuple[Any, ...], said: str) -> None:
    read = fact(text)
    assert (read.state, read.values, read.wording("V")) == (state, values, said)
    assert read.known is bool(values)
    assert read.only == (values[0] if len(values) == 1 else None)


def test_nobody_looked_is_not_nobody_says() -> None:
    absent = only("limits", "{charge_a: 5}").limits.join_difference_v
    assert (absent.state, absent.looked, absent.known) == ("absent", False, False)
    assert fact("not stated").looked
    assert absent != fact("not stated")
    assert absent == ABSENT


def over_one(value: float | Span) -> Answer:
    low, high = (value.low, value.high) if isinstance(value, Span) else (value, value)
    return Answer.HOLDS if low > 1 else Answer.BROKEN if high <= 1 else Answer.CANNOT_TELL


@pytest.mark.parametrize(
    ("text", "answer"),
    [("2", Answer.HOLDS), ("1", Answer.BROKEN), ("not stated", Answer.CANNOT_TELL), ("0.5..2", Answer.CANNOT_TELL),
     ("{manual: 2, bench: 3}", Answer.HOLDS), ("{manual: 2, bench: 1}", Answer.CANNOT_TELL),
     ("{manual: 0.5, bench: 1}", Answer.BROKEN), ("{manual: 2, bench: 0.5..2}", Answer.CANNOT_TELL)],
)  # fmt: skip
def test_a_fact_is_judged_under_each_statement(text: str, answer: Answer) -> None:
    assert fact(text).judge(over_one) is answer


def test_an_absent_fact_is_never_a_pass() -> None:
    assert ABSENT.judge(lambda _: Answer.HOLDS) is Answer.CANNOT_TELL


FACTS: list[Any] = [ABSENT, Fact((Statement(True, "manual"),)), Fact((Statement(0.0, "manual"),)), ByCase()]


@pytest.mark.parametrize("one", FACTS)
def test_a_fact_is_never_taken_for_a_value(one: Any) -> None:
    with pytest.raises(TypeError, match="no truth value"):
        bool(one)
    with pytest.raises(TypeError):
        _ = one or 5
    for plain in (True, False, 0, 0.0, None, "not stated", ()):
        with pytest.raises(TypeError, match="not a plain value"):
            _ = one == plain
        with pytest.raises(TypeError, match="not a plain value"):
            _ = one != plain
        with pytest.raises(TypeError):
            _ = one < plain
        with pytest.raises(TypeError):
            _ = plain in [one, one]
    with pytest.raises(TypeError):
        float(one)
    assert one == one  # noqa: PLR0124  # with its own kind it may be compared
    assert len({one, one}) == 1


def test_yes_is_a_word_and_so_is_no() -> None:
    read = record("buses: {a: {kind: can, isolated: no}, b: {kind: can, isolated: yes}}")
    assert [bus.isolated.only for bus in read.buses.values()] == [False, True]
    assert read.buses["a"].isolated.wording() == "no (manual)"


# ---- by mode and by source ----

BUS = "modes: [own, older]\nbuses: {{chain: {{kind: rs-485, dialect: {}}}}}"


def dialect(text: str) -> ByCase[tuple[str, ...]]:
    return record(BUS.format(text)).buses["chain"].dialect


def test_one_for_all_cases() -> None:
    for text in ("tarn-1", "[tarn-1]", "{bench: tarn-1}"):
        assert dialect(text).of("own").only == ("tarn-1",)
        assert dialect(text).of("older", "manager").only == ("tarn-1",)
    assert dialect("[a, b]").of(None).only == ("a", "b")


def test_by_mode() -> None:
    read = dialect("{own: tarn-2, older: {manual p. 4: tarn-1, bench: tarn-0}}")
    assert read.of("own").only == ("tarn-2",)
    assert (read.of("older").state, read.of("older").values) == ("disputed", (("tarn-1",), ("tarn-0",)))
    assert read.of("own").wording() == "tarn-2 (manual)"
    assert read.of("member").state == "absent"
    assert [case for case, _ in read] == ["own", "older"]


def test_the_first_case_asked_for_that_stands_is_taken() -> None:
    read = dialect("{manager: a, own: b}")
    assert read.of("own", "manager").only == ("b",)
    assert read.of("manager", "own").only == ("a",)
    assert read.of(None, "member").state == "absent"


DIALECT = ("a dialect: a letter or digit first and last, between them letters, digits, space and . + - _ / ( ) # "
           "(no two points together), at most 64 characters")


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("{own: a, oldr: b}", [('buses.chain.dialect.oldr: got "oldr"; expected a mode of this record, '
                                'a role or a kind '
                               "of bus; nearest known name: older")]),
        ("{own: {manul p. 4: a}, older: {bench: [a, 'b!']}}",
         [('buses.chain.dialect.own.manul p. 4: got "manul p. 4"; expected a source of this record, '
           'then a place in it: '
          "manual, bench; nearest known name: manual"),
          f'buses.chain.dialect.older.bench.1: got "b!"; expected {DIALECT}']),
        ("[a!, b, {}]", [f'buses.chain.dialect.0: got "a!"; expected {DIALECT}',
                         f"buses.chain.dialect.2: got an empty map; expected {DIALECT}"]),
        ("{}", [f"buses.chain.dialect: got an empty map; expected {DIALECT}, or statements by source"]),
        ("[]", [f"buses.chain.dialect: got an empty list; expected a list of {DIALECT}"]),
    ],
)  # fmt: skip
def test_faults_under_a_fact_have_their_own_place(text: str, faults: list[str]) -> None:
    assert told(record_text(BUS.format(text))) == faults


def test_a_mode_may_not_be_named_as_a_source() -> None:
    assert told(record_text("modes: [own, bench]")) == [
        'modes.1: got "bench"; expected a mode named unlike any source, role or bus kind']


# ---- classes ----


def fact_class(model: type[Any], field: str) -> FactClass:
    (kind,) = [one.kind for one in model.model_fields[field].metadata if hasattr(one, "kind")]
    assert isinstance(kind, FactClass)
    return kind


def test_classes_stand_with_the_fields() -> None:
    for model, fields in ((Cells, Cells.model_fields), (Limits, Limits.model_fields)):
        assert {fact_class(model, field) for field in fields} == {FactClass.DECIDING}
    for field in ("dc_mohm", "ohmic_mohm", "short_circuit_a", "input_capacitance_mf"):
        assert fact_class(Electric, field) is FactClass.ESTIMABLE
    assert fact_class(Bus, "unit_loads") is FactClass.ESTIMABLE
    assert fact_class(Bus, "rates_bps") is FactClass.DECIDING


def test_a_peak_has_its_time() -> None:
    read = only("limits", "{charge_peak_a: 75 for 30 s}").limits.charge_peak_a
    assert read.only == TimedCurrent(75, 30)
    for bad in ("75", "75 for 30", "75 A for 30 s", "-75 for 30 s", "75 for 0 s"):
        with pytest.raises(InputFaults):
            only("limits", f"{{charge_peak_a: {bad}}}")
