"""What is joined to what, through whichever pairs: groups of things.

networkx has this too, and to import it takes a third as long as a whole `check`; so the ways that every command goes
use this, and networkx serves where a plan is searched and drawn.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from heapq import heappop, heappush
from typing import Generic, TypeVar

__all__ = ["Groups", "Near", "distances", "near_of"]

T = TypeVar("T", bound=Hashable)
Near = dict[T, list[tuple[T, float]]]
"""For each thing what it is joined to directly, and how far that is."""


class Groups(Generic[T]):
    """Things in the order in which they came, and which of them are joined."""

    def __init__(self, pairs: Iterable[tuple[T, T]] = ()) -> None:
        self._up: dict[T, T] = {}
        self._size: dict[T, int] = {}
        for one, other in pairs:
            self.join(one, other)

    def add(self, things: Iterable[T]) -> None:
        """Add things that are joined to nothing yet."""
        for thing in things:
            if thing not in self._up:
                self._up[thing] = thing
                self._size[thing] = 1

    def join(self, one: T, other: T) -> None:
        """Join two things, adding them where they are new."""
        self.add((one, other))
        a, b = self.root(one), self.root(other)
        if a != b:
            if self._size[a] < self._size[b]:
                a, b = b, a
            self._up[b] = a
            self._size[a] += self._size[b]

    def root(self, thing: T) -> T:
        """Return the thing that stands for the group. Raises KeyError for one that never came."""
        up = self._up
        while up[thing] != thing:
            up[thing] = up[up[thing]]
            thing = up[thing]
        return thing

    def __contains__(self, thing: object) -> bool:
        return thing in self._up

    def groups(self) -> list[list[T]]:
        """Return all groups, by their first things, each in order."""
        found: dict[T, list[T]] = {}
        for thing in self._up:
            found.setdefault(self.root(thing), []).append(thing)
        return list(found.values())


def near_of(pairs: Iterable[tuple[T, T, float]]) -> Near[T]:
    """Return the neighbours of every thing of some pairs with lengths above zero."""
    near: Near[T] = {}
    for one, other, length in pairs:
        near.setdefault(one, []).append((other, length))
        near.setdefault(other, []).append((one, length))
    return near


def distances(near: Near[T], start: T) -> dict[T, float]:
    """Return the shortest way from one thing to each that it is joined to, itself at zero (Dijkstra)."""
    found: dict[T, float] = {}
    waiting: list[tuple[float, int, T]] = [(0.0, 0, start)]
    came = 0
    while waiting:
        length, _, here = heappop(waiting)
        if here in found:
            continue
        found[here] = length
        for other, more in near.get(here, ()):
            if other not in found:
                came += 1
                heappush(waiting, (length + more, came, other))
    return found
