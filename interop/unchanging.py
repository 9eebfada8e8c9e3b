"""Data classes of values that never change, at a fifth of what making a frozen one costs.

A command makes some two hundred of them before it reads its first line. `dataclasses` writes out and compiles five or
six methods for each frozen class, which took a fifth of a whole `interop check`; here only ``__init__`` is, and the
others are shared. That nobody assigns to a field is held by mypy (PEP 681: `typing.dataclass_transform`), not at run
time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from operator import attrgetter
from typing import Any, TypeVar, dataclass_transform, overload

__all__ = ["unchanging"]

T = TypeVar("T")


@overload
def unchanging(cls: type[T]) -> type[T]: ...
@overload
def unchanging(*, eq: bool = True) -> Callable[[type[T]], type[T]]: ...
@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def unchanging(cls: type[T] | None = None, *, eq: bool = True) -> type[T] | Callable[[type[T]], type[T]]:
    """Make a data class as ``dataclass(frozen=True, eq=eq)`` does; `dataclasses.fields`, ``replace`` and the like work.

    ``eq=False``: equal is what is the same object. A method that the class itself defines stays.
    """
    def made(one: type[T]) -> type[T]:
        own = set(vars(one))
        done: Any = dataclass(repr=False, eq=False)(one)
        parts = fields(done)
        told = [part.name for part in parts if part.repr]

        def repr_of(self: Any) -> str:
            values = ", ".join(f"{name}={getattr(self, name)!r}" for name in told)
            return f"{type(self).__qualname__}({values})"

        shared: dict[str, Callable[..., Any]] = {"__repr__": repr_of}
        if eq:
            compared = _parts([part.name for part in parts if part.compare])
            hashed = _parts([part.name for part in parts if (part.compare if part.hash is None else part.hash)])

            def equal(self: Any, other: object) -> bool:
                return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

            def hash_of(self: Any) -> int:
                return hash(hashed(self))

            shared |= {"__eq__": equal, "__hash__": hash_of}
        for name, method in shared.items():
            if name not in own:
                setattr(done, name, method)
        return one

    return made if cls is None else made(cls)


def _parts(names: list[str]) -> Callable[[Any], Any]:
    return attrgetter(*names) if names else lambda _: ()

