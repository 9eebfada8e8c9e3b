"""Data classes of values: as those of the standard library, by laws over both."""

from __future__ import annotations

import copy
import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interop.unchanging import unchanging


@unchanging
class Ours:
    a: int
    b: tuple[int, ...] = ()
    c: dict[str, int] = dataclasses.field(default_factory=dict, hash=False)
    d: int = dataclasses.field(default=0, compare=False)


@dataclasses.dataclass(frozen=True)
class Theirs:
    a: int
    b: tuple[int, ...] = ()
    c: dict[str, int] = dataclasses.field(default_factory=dict, hash=False)
    d: int = dataclasses.field(default=0, compare=False)


@unchanging(eq=False)
class Same:
    a: int


@unchanging
class Nothing:
    pass


@unchanging
class Own:
    a: int

    def __hash__(self) -> int:
        return 7

    def __repr__(self) -> str:
        return "own"


Parts = tuple[int, tuple[int, ...], dict[str, int], int]
parts = st.tuples(st.integers(0, 1), st.lists(st.integers(0, 1), max_size=1).map(tuple),
                  st.dictionaries(st.sampled_from("xy"), st.integers(0, 1), max_size=1), st.integers(0, 1))


@given(parts, parts)
def test_equal_and_hashed_as_the_standard_ones(one: Parts, other: Parts) -> None:
    assert (Ours(*one) == Ours(*other)) == (Theirs(*one) == Theirs(*other))
    if Ours(*one) == Ours(*other):
        assert hash(Ours(*one)) == hash(Ours(*other))
    assert repr(Ours(*one)) == repr(Theirs(*one)).replace("Theirs", "Ours")
    assert dataclasses.replace(Ours(*one), a=5) == Ours(5, *one[1:])
    assert copy.deepcopy(Ours(*one)) == copy.copy(Ours(*one)) == Ours(*one)


def test_of_another_class_is_never_equal() -> None:
    others: list[object] = [Theirs(1), Nothing(), 1]
    assert Ours(1) not in others
    assert Nothing() == Nothing()


def test_the_same_object_where_equality_is_not_asked_for() -> None:
    assert Same(1) != Same(1)
    assert len({Same(1), Same(1)}) == 2


def test_a_method_of_the_class_stays() -> None:
    assert (hash(Own(1)), repr(Own(1)), Own(1) == Own(1)) == (7, "own", True)


def test_a_missing_part_is_refused() -> None:
    with pytest.raises(TypeError, match="missing 1 required positional argument: 'a'"):
        Ours()  # type: ignore[call-arg]
