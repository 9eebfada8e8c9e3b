"""Results kept with what they were worked out of: once for each set of arguments, and no longer than it lives."""

from __future__ import annotations

import gc
import weakref
from dataclasses import dataclass, replace

import pytest

from interop.wiring.once import once


@dataclass(frozen=True, eq=False)
class Bank:
    packs: int


CALLS: list[tuple[int, object]] = []


@once
def scaled(bank: Bank, by: int = 1, *, less: int = 0) -> tuple[Bank, int]:
    """Holds the bank itself, as what is worked out of a stage does."""
    CALLS.append((bank.packs, by))
    return bank, bank.packs * by - less


def test_once_for_each_bank_and_each_set_of_arguments() -> None:
    CALLS.clear()
    one, other = Bank(3), Bank(3)
    assert scaled(one) is scaled(one)
    assert [scaled(one)[1], scaled(one, 2)[1], scaled(one, 2)[1], scaled(one, less=1)[1], scaled(other)[1]] == [
        3, 6, 6, 2, 3]
    assert CALLS == [(3, 1), (3, 2), (3, 1), (3, 1)]


def test_a_changed_copy_is_worked_out_anew() -> None:
    bank = Bank(3)
    assert scaled(bank)[1] == 3
    assert scaled(replace(bank, packs=4))[1] == 4


def test_what_is_kept_dies_with_its_bank() -> None:
    bank = Bank(5)
    scaled(bank)
    seen = weakref.ref(bank)
    del bank
    gc.collect()
    assert seen() is None


def test_a_failure_is_not_kept() -> None:
    tried = []

    @once
    def fails(bank: Bank) -> int:
        tried.append(bank.packs)
        raise ValueError(bank.packs)

    bank = Bank(1)
    for _ in range(2):
        with pytest.raises(ValueError, match="1"):
            fails(bank)
    assert tried == [1, 1]
