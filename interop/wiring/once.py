"""Results that are worked out once for a stage or a bank, and live as long as it does."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar, cast

__all__ = ["once"]

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")


def once(work: Callable[Concatenate[T, P], R]) -> Callable[Concatenate[T, P], R]:
    """Keep what ``work`` returns in its first argument, an object that never changes, by the other arguments.

    A table of a module would hold every stage for ever, since what is worked out of a stage refers to it; and one of a
    fixed size forgets on a site of many banks. The other arguments must be hashable.
    """
    name = f"_once {work.__module__}.{work.__qualname__}"

    @wraps(work)
    def looked_up(of: T, *args: P.args, **named: P.kwargs) -> R:
        table: dict[object, R] = vars(of).setdefault(name, {})
        key = args, tuple(sorted(named.items()))
        if key not in table:
            table[key] = work(of, *args, **named)
        return table[key]

    return cast("Callable[Concatenate[T, P], R]", looked_up)
