"""What the records on one link ask of each other: who may share it, in which mode, who must be manager."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interop.records.models import Mixing, Record
from interop.unchanging import unchanging
from interop.wiring.talks import RecordKey, mixing_candidates, mixing_statement, same_busbar, same_link

__all__ = ["SpecialCable", "pair_excluded", "required_manager", "required_modes", "special_cables"]


@unchanging(eq=False)
class SpecialCable:
    """A cable that a record asks for beside another; ``sure``: whether the statement surely speaks of that other."""

    record: Record
    other: Record
    words: str
    source: str
    sure: bool


def special_cables(one: Record, other: Record) -> tuple[SpecialCable, ...]:
    """Return every special cable that one of two records asks for between them."""
    found = []
    for record, far in ((one, other), (other, one)) if one is not other else ((one, one),):
        for item, sure in mixing_candidates(record, far):
            if item.special_cable is not None:
                source = item.source or next(iter(record.sources))
                found.append(SpecialCable(record, far, item.special_cable, source, sure))
    return tuple(found)


def pair_excluded(one: Record, other: Record) -> bool:
    """Return whether two records may not share a link: one says no, or the busbar itself is forbidden."""
    return any(same_link(a, b) == "no" or same_busbar(a, b) == "no" for a, b in ((one, other), (other, one)))


def required_modes(record: Record, kinds: Iterable[RecordKey]) -> tuple[str, ...]:
    """Return the modes left to a record beside the other kinds on one link (its own statements ask for some)."""
    modes = tuple(record.modes)
    for key in kinds:
        item = mixing_statement(record, key.record) if key.record is not record else None
        if item is not None and item.in_mode is not None and item.same_link != "no":
            modes = tuple(m for m in modes if m == item.in_mode)
    return modes


def required_manager(kinds: Sequence[RecordKey]) -> frozenset[RecordKey]:
    """Return which kinds may be manager by what the records of the kinds say of each other."""
    left = set(kinds)
    for key in kinds:
        if key.record.manager.made_by.only == "newest":
            left &= set(_newest(key, kinds))
    for key in kinds:
        for item, others in _spoken_of(key, kinds):
            if item.manager == "this":
                left &= {key}
            elif item.manager == "other":
                left &= set(others)
            elif item.manager == "newest":
                left &= set(_newest(key, kinds))
    return frozenset(left)


def _spoken_of(key: RecordKey, kinds: Sequence[RecordKey]) -> Iterator[tuple[Mixing, list[RecordKey]]]:
    """What a record says of the other kinds, each statement with all kinds it speaks of."""
    for item in key.record.with_:
        others = [k for k in kinds if k != key and mixing_statement(key.record, k.record) is item]
        if others and item.same_link != "no":
            yield item, others


def _newest(key: RecordKey, kinds: Sequence[RecordKey]) -> list[RecordKey]:
    """Kinds of the family with the highest generation present; a family whose generations are not stated has none."""
    family = [k for k in kinds if k.record.family == key.record.family]
    known = [(k, g) for k in family if (g := k.record.generation.only) is not None]
    if len(known) != len(family):
        return []
    top = max(g for _, g in known)
    return [k for k, g in known if g == top]
