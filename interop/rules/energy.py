"""Rule of the settings subject about how much energy stands in one place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import inf
from typing import Any

from interop.circuit.carries import is_nec
from interop.circuit.ranges import Missing, Range, exactly, known, total, within
from interop.records.answers import Answer
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.power_words import facts, todo, why
from interop.rules.wording import figure, of_record
from interop.site.site import Device
from interop.standards.storage import MOST_IN_ONE_PLACE_KWH, MOST_IN_ONE_UNIT_KWH, STORAGE_ENERGY_SOURCE
from interop.wiring.stage import Stage

__all__: list[str] = []

_SOURCE = f"{STORAGE_ENERGY_SOURCE.title}, {STORAGE_ENERGY_SOURCE.clause}"
_PLACES = {"utility": "a utility space", "storage": "a storage space", "garage": "an attached garage",
           "detached": "a detached building", "outside": "a place outside"}


def _kwh(device: Device) -> Range:
    """The energy of a pack [kWh]: capacity times nominal voltage, all of it and not only what is used."""
    cells = device.record.cells
    if cells is None:
        return Range(0.0, inf, (Missing("cells", device.record),))
    capacity = known(device.record, "cells.capacity_ah", cells.capacity_ah)
    nominal = known(device.record, "cells.nominal_v", cells.nominal_v)
    return Range(capacity.least * nominal.least / 1000, capacity.most * nominal.most / 1000,
                 (*capacity.missing, *nominal.missing))


def _told(value: Range) -> str:
    low, high = (figure(round(end, 1)) if end < inf else "" for end in (value.least, value.most))
    if value.most == inf:
        return f"{low} kWh or more"
    return f"{low} kWh" if low == high else f"{low} to {high} kWh"


@rule("energy-in-one-place", "settings", broken=Level.CAUTION, unknown=Level.CAUTION, must_accept=True,
      broken_also=(Level.NOTE,), unknown_also=(Level.NOTE,),
      meaning="So much energy stands in one place that an authority has to be asked; or how much, for an inspector.",
      source=_SOURCE,
      explain="""Stored energy feeds a fire. In dwellings of one and two families in the USA a unit of more than 20
kWh, more than 40 kWh in a utility or storage space, or more than 80 kWh in an attached garage, a detached building
or outside falls under the rules for larger plants, and an authority decides. Whether this site is such a dwelling
nobody can read from its file: it is a caution to be accepted with what the authority says. Where no code of the USA
holds, the totals before and after are told for the inspector.""")
def _energy(stage: Stage) -> Iterator[Hit]:
    packs = [stage.device(name) for name in stage.packs]
    if stage.name != "planned" or not packs:
        return
    after, before = (total(map(_kwh, some)) for some in (packs, [p for p in packs if not p.new]))
    ids = tuple(p.id for p in packs)
    totals = f"{_told(before)} before and {_told(after)} after"
    used: dict[str, Any] = {"got": _told(after), "facts": facts(after.missing)}
    if not is_nec(stage.site.code):
        if after.missing:
            yield cannot_tell(ids, f"Energy that stands here: {totals}; it cannot be told closer: {why(after.missing)}",
                              todo(after.missing), level=Level.NOTE, source="common practice", **used)
        else:
            yield broken(ids, f"Energy that stands here: {totals}", "Tell the inspector.", level=Level.NOTE,
                         source="common practice", **used)
        return
    yield from _units(packs)
    yield from _place(stage.site.storage_place, ids, after, totals)


def _units(packs: Sequence[Device]) -> Iterator[Hit]:
    for record in dict.fromkeys(p.record.id for p in packs):
        held = [p for p in packs if p.record.id == record]
        verdict = within(_kwh(held[0]), exactly(MOST_IN_ONE_UNIT_KWH))
        if verdict.answer is Answer.HOLDS or verdict.got is None:
            continue
        more: dict[str, Any] = {"got": _told(verdict.got), "limit": f"{MOST_IN_ONE_UNIT_KWH:g} kWh",
                                "facts": facts(verdict.missing)}
        text = (f"{of_record(held)}: a unit of {_told(verdict.got)}; in a dwelling one may have "
                f"{MOST_IN_ONE_UNIT_KWH:g} kWh")
        if verdict.answer is Answer.BROKEN:
            yield broken([p.id for p in held], text, "Ask the authority, and accept it with what it says.", **more)
        else:
            yield cannot_tell([p.id for p in held], f"{text}; what it has cannot be told: {why(verdict.missing)}",
                              todo(verdict.missing), **more)


def _place(place: str | None, ids: Sequence[str], after: Range, totals: str) -> Iterator[Hit]:
    head = f"Energy that stands here: {totals}"
    more: dict[str, Any] = {"got": _told(after), "facts": facts(after.missing)}
    limit = MOST_IN_ONE_PLACE_KWH.get(place or "")
    if place is None:
        yield cannot_tell(ids, f"{head}; how much may stand in one place of a dwelling depends on the place, which the "
                          "site file does not tell", "Write storage_place into the site file.", **more)
    elif limit is None:
        yield cannot_tell(ids, f"{head}; how much may stand in such a place of a dwelling is not told",
                          "Ask the authority, and accept it with what it says.", **more)
    else:
        verdict = within(after, exactly(limit))
        text = f"{head}; in {_PLACES[str(place)]} of a dwelling {limit:g} kWh may stand"
        if verdict.answer is Answer.BROKEN:
            yield broken(ids, text, "Ask the authority, and accept it with what it says.", limit=f"{limit:g} kWh",
                         **more)
        elif verdict.answer is Answer.CANNOT_TELL:
            yield cannot_tell(ids, f"{text}; what stands here cannot be told closer: {why(after.missing)}",
                              todo(after.missing), limit=f"{limit:g} kWh", **more)
