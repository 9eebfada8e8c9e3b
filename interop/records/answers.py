"""Three answers, never two: holds, broken, cannot tell (strong Kleene logic in one place)."""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum
from typing import NoReturn

__all__ = ["Answer", "all_of", "any_of", "one_answer"]


class Answer(Enum):
    """What a check says. Has no truth value: ``if answer:`` is how unknown would turn into a pass."""

    HOLDS = "holds"
    BROKEN = "broken"
    CANNOT_TELL = "cannot tell"

    def __bool__(self) -> NoReturn:
        raise TypeError("an answer has three values; compare it with Answer.HOLDS by 'is'")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Answer):
            raise TypeError("an answer is not a plain value; compare it with Answer.HOLDS by 'is'")
        return self is other

    def __hash__(self) -> int:
        return hash(self.name)

    def __invert__(self) -> Answer:
        return {Answer.HOLDS: Answer.BROKEN, Answer.BROKEN: Answer.HOLDS}.get(self, self)

    def __and__(self, other: Answer) -> Answer:
        return all_of((self, other))

    def __or__(self, other: Answer) -> Answer:
        return any_of((self, other))


def all_of(answers: Iterable[Answer]) -> Answer:
    """Return broken if any is broken, else cannot tell if any cannot tell, else holds (also for none)."""
    seen = set(answers)
    if Answer.BROKEN in seen:
        return Answer.BROKEN
    return Answer.CANNOT_TELL if Answer.CANNOT_TELL in seen else Answer.HOLDS


def any_of(answers: Iterable[Answer]) -> Answer:
    """Return holds if any holds, else cannot tell if any cannot tell, else broken (also for none)."""
    seen = set(answers)
    if Answer.HOLDS in seen:
        return Answer.HOLDS
    return Answer.CANNOT_TELL if Answer.CANNOT_TELL in seen else Answer.BROKEN


def one_answer(answers: Iterable[Answer]) -> Answer:
    """Judge a disputed fact: one answer under every statement is the answer, else cannot tell (also for none)."""
    seen = set(answers)
    return seen.pop() if len(seen) == 1 else Answer.CANNOT_TELL
