"""Three answers: the tables of strong Kleene logic, typed by hand."""

from __future__ import annotations

import itertools

import pytest

from interop.records.answers import Answer, all_of, any_of, one_answer

H, B, U = Answer.HOLDS, Answer.BROKEN, Answer.CANNOT_TELL

# Kleene, Introduction to Metamathematics (1952), section 64, the strong tables; true is "holds", from memory.
AND = {(H, H): H, (H, B): B, (H, U): U, (B, H): B, (B, B): B, (B, U): B, (U, H): U, (U, B): B, (U, U): U}
OR = {(H, H): H, (H, B): H, (H, U): H, (B, H): H, (B, B): B, (B, U): U, (U, H): H, (U, B): U, (U, U): U}
NOT = {H: B, B: H, U: U}


def test_the_tables_are_complete() -> None:
    pairs = set(itertools.product(Answer, repeat=2))
    assert set(AND) == set(OR) == pairs
    assert set(NOT) == set(Answer)


@pytest.mark.parametrize(("one", "other"), AND)
def test_and_or(one: Answer, other: Answer) -> None:
    assert (one & other) is AND[one, other]
    assert (one | other) is OR[one, other]
    assert all_of([one, other]) is AND[one, other]
    assert any_of(iter([one, other])) is OR[one, other]


@pytest.mark.parametrize("one", Answer)
def test_not(one: Answer) -> None:
    assert (~one) is NOT[one]
    assert (~~one) is one


def test_three_at_once_are_two_at_a_time() -> None:
    for a, b, c in itertools.product(Answer, repeat=3):
        assert all_of([a, b, c]) is AND[AND[a, b], c]
        assert any_of([a, b, c]) is OR[OR[a, b], c]
        assert (~(a & b)) is OR[NOT[a], NOT[b]]


def test_of_nothing() -> None:
    assert all_of([]) is H
    assert any_of([]) is B
    assert one_answer([]) is U, "nobody states it"


@pytest.mark.parametrize(
    ("answers", "answer"),
    [([H], H), ([B], B), ([U], U), ([H, H], H), ([B, B, B], B), ([H, B], U), ([H, U], U), ([B, U], U), ([H, B, U], U)],
)
def test_a_dispute_has_one_answer_only_where_all_statements_give_it(answers: list[Answer], answer: Answer) -> None:
    assert one_answer(answers) is answer


@pytest.mark.parametrize("one", Answer)
def test_an_answer_is_never_taken_for_yes(one: Answer) -> None:
    with pytest.raises(TypeError, match="three values"):
        bool(one)
    with pytest.raises(TypeError):
        assert one
    with pytest.raises(TypeError):
        _ = not one
    for plain in (True, "holds", one.value, 1, None):
        with pytest.raises(TypeError, match="not a plain value"):
            _ = one == plain
        with pytest.raises(TypeError, match="not a plain value"):
            _ = one != plain


def test_answers_stand_in_sets_and_tables() -> None:
    assert len({H, B, U, H}) == 3
    assert Answer("cannot tell") is U
    assert {H: 1}[H] == 1
    assert H == Answer.HOLDS
    assert H != B
