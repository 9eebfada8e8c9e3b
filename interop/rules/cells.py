"""Rules of the cells subject: may these packs share a busbar at all? Judged bank by bank, records against records."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

from interop.records.answers import Answer
from interop.records.facts import ABSENT, Fact
from interop.records.models import Record
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import fact_missing, figure, joined, look_up, named, of_record
from interop.site.site import Device
from interop.wiring.busbar import ChargeWindow, charge_window, join_limit, lowest, same_value
from interop.wiring.stage import Stage

__all__ = ["Group", "groups", "pairs"]

Group = tuple[Device, ...]
"""Packs of one bank that share a record; rules judge records, so that a bank of ten thousand packs stays quick."""

_NARROW_V = 0.4
"""Narrowest charge window [V] without a caution (the project's statement on settings; from practice)."""


def groups(stage: Stage, bank: Sequence[str]) -> tuple[Group, ...]:
    """Return the packs of a bank by record, in the order of the bank."""
    found: dict[str, list[Device]] = {}
    for name in bank:
        device = stage.device(name)
        found.setdefault(device.record.id, []).append(device)
    return tuple(tuple(devices) for devices in found.values())


def pairs(stage: Stage) -> Iterator[tuple[Group, Group]]:
    """Yield every pair of records that share a busbar, with the packs of both."""
    for bank in stage.banks:
        yield from itertools.combinations(groups(stage, bank), 2)


def _ids(*held: Group) -> tuple[str, ...]:
    return tuple(device.id for group in held for device in group)


def _record(group: Group) -> Record:
    return group[0].record


# ---- cells ----

def _cell_fact(record: Record, name: str) -> Fact[Any]:
    return getattr(record.cells, name, ABSENT)


def _unlike(stage: Stage, name: str, words: str, unit: str) -> Iterator[Hit]:
    """Compare one fact of the cells over every pair of records of a bank."""
    path = f"cells.{name}"
    for one, other in pairs(stage):
        facts = [_cell_fact(_record(g), name) for g in (one, other)]
        answer = same_value(*facts)
        if answer is Answer.HOLDS:
            continue
        used = tuple(fact_used(g[0], path, f) for g, f in zip((one, other), facts, strict=True))
        if answer is Answer.BROKEN:
            got = " and ".join(f"{f.wording(unit)} in {of_record(g)}" for g, f in zip((one, other), facts,
                                                                                      strict=True))
            yield broken(_ids(one, other), f"One busbar, unlike {words}: {got}; all packs on it must have the same",
                         "Take the packs of one record off this busbar; nothing makes them fit.",
                         got=got, limit="one value",
                         facts=used)
            continue
        unsure = [(_record(g), f) for g, f in zip((one, other), facts, strict=True) if f.only is None]
        why = joined([fact_missing(r.id, path, f) for r, f in unsure])
        yield cannot_tell(_ids(one, other), f"Whether {of_record(one)} and {of_record(other)} have the same {words} "
                          f"cannot be told: {why}", " ".join(look_up(r.id, path, f) for r, f in unsure), facts=used)


@rule("chemistry-differs", "cells", broken=Level.STOP, unknown=Level.STOP,
      meaning="Packs of unlike cell chemistry share a busbar.",
      source="common practice",
      explain="""Packs on one busbar are held at one voltage. Cells of unlike chemistry are full, empty and harmed at
unlike voltages, and their voltage falls along unlike curves: one kind is overcharged, or carries nearly the whole
current, while the other rests. No setting of the controller puts this right. Give each chemistry its own busbar and
its own controller.""")
def _chemistry(stage: Stage) -> Iterator[Hit]:
    yield from _unlike(stage, "chemistry", "chemistry", "")


@rule("series-count-differs", "cells", broken=Level.STOP, unknown=Level.STOP,
      meaning="Packs with unlike numbers of cells in series share a busbar.",
      source="common practice",
      explain="""The busbar sets one voltage; a pack with fewer cells in series puts more of it on each cell. Fifteen
cells charged with a voltage meant for sixteen stand at 3.79 V instead of 3.55 V each, far above what they may have.
The data link may work as if nothing were wrong. Packs with another number of cells in series need a busbar of their
own.""")
def _series(stage: Stage) -> Iterator[Hit]:
    yield from _unlike(stage, "in_series", "number of cells in series", "cells")


# ---- charge window ----

_WORDS = {"cells.charge_v": "recommended charge voltage", "cells.charge_highest_v": "highest charge voltage",
          "cells.finish_v": "voltage to finish charge", "cells.balance_v": "voltage to balance"}


def _windows(stage: Stage) -> Iterator[tuple[tuple[Group, ...], ChargeWindow]]:
    for bank in stage.banks:
        held = groups(stage, bank)
        yield held, charge_window(_record(g) for g in held)


def _window_facts(held: Sequence[Group], window: ChargeWindow) -> tuple[FactUsed, ...]:
    used = [(b.record, b.path) for b in (window.top, window.bottom) if b is not None]
    first = {_record(g).id: g[0] for g in held}
    return tuple(dict.fromkeys(fact_used(first[r.id], path, _cell_fact(r, path.split(".")[1]))
                               for r, path in (*used, *window.missing)))


def _window_hit(held: Sequence[Group], window: ChargeWindow, least_v: float, words: str) -> Hit:
    """Say what the window is, by whose facts, and what is wrong with it."""
    top, bottom = window.top, window.bottom
    if top is None or bottom is None:
        raise ValueError("a window with one end has no width to speak of")
    by_record = {_record(g).id: g for g in held}
    says = [f"{figure(b.volts)} V, from the {_WORDS[b.path]} of {of_record(by_record[b.record.id])}, "
            + _cell_fact(b.record, b.path.split(".")[1]).wording("V") for b in (top, bottom)]
    return broken(_ids(*held), f"Charge window at the pack terminals: top {says[0]}; bottom {says[1]}: {words}",
                  "Take one of the two off this busbar, or ask its maker for other charge voltages.",
                  got=figure(window.width_v or 0.0, "V"), limit=figure(least_v, "V"),
                  facts=_window_facts(held, window))


def _window_unknown(held: Sequence[Group], window: ChargeWindow) -> Hit:
    missing = [(r, p, _cell_fact(r, p.split(".")[1])) for r, p in window.missing]
    return cannot_tell(_ids(*held), f"The charge window of {of_record([d for g in held for d in g])} cannot be told: "
                       + joined([fact_missing(r.id, p, f) for r, p, f in missing]),
                       " ".join(look_up(r.id, p, f) for r, p, f in missing), facts=_window_facts(held, window))


@rule("no-common-charge-window", "cells", broken=Level.STOP, unknown=Level.STOP,
      meaning="No charge voltage fills every pack of the bank without passing what another is meant for.",
      source="common practice",
      explain="""All packs of a bank see one charge voltage. It may not pass the lowest recommended charge voltage of
any pack, and must reach the voltage that every pack needs to finish its charge and to balance its cells. Where the
first lies below the second, one pack is overcharged or another never fills, drifts, and trips. Take one of the two
off this busbar, or have its maker state other voltages. A figure with two sources counts with the strict one; both
are printed.""")
def _window(stage: Stage) -> Iterator[Hit]:
    for held, window in _windows(stage):
        answer = window.at_least(0.0)
        if answer is Answer.BROKEN:
            yield _window_hit(held, window, 0.0, "there is no charge voltage for all of them")
        elif answer is Answer.CANNOT_TELL:
            yield _window_unknown(held, window)


@rule("charge-window-narrow", "cells", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="The common charge window is narrower than 0.4 V.",
      source="common practice",
      explain="""A charger misses its set voltage by half a percent or so, about 0.3 V at 56 V, and cables take some
of what is left. In a window narrower than 0.4 V a charger that reads high overcharges one pack and one that reads low
never fills another. Measure the charge voltage at the packs with a good meter and trim the setting to the middle of
the window.""")
def _narrow(stage: Stage) -> Iterator[Hit]:
    for held, window in _windows(stage):
        answer = window.at_least(_NARROW_V)
        if answer is Answer.BROKEN and window.at_least(0.0) is not Answer.BROKEN:
            wide = f"{figure(window.width_v or 0.0, 'V')} wide, less than {figure(_NARROW_V, 'V')}"
            yield _window_hit(held, window, _NARROW_V, wide)
        elif answer is Answer.CANNOT_TELL:
            yield _window_unknown(held, window)


# ---- packs in parallel ----

_KINDS = (("same_model_on_busbar", "packs of its own model"), ("all_packs_on_busbar", "packs of every model"))


@rule("parallel-limit-passed", "cells", broken=Level.STOP, unknown=Level.CAUTION,
      broken_also=(Level.CAUTION,),
      meaning="More packs stand on one busbar than a record allows.",
      source="record",
      explain="""Makers limit how many of their packs may stand in parallel: the fault current that one pack must bear
from all others, the share of current, and the rating of built-in devices all grow with the number. Some mean packs of
their own model, some every pack on the busbar; passing a limit of a stated kind is a stop. A printed number of
unstated kind is taken for every kind, and passing it is a caution. How many members one manager can have is judged
with the data link.""")
def _parallel(stage: Stage) -> Iterator[Hit]:
    for bank in stage.banks:
        for group in groups(stage, bank):
            for (name, words), count in zip(_KINDS, (len(group), len(bank)), strict=True):
                if count > 1:
                    yield from _parallel_hits(bank if name == "all_packs_on_busbar" else _ids(group), group, name,
                                              words, count)


def _parallel_hits(about: Sequence[str], group: Group, name: str, words: str, count: int) -> Iterator[Hit]:
    record, level = _record(group), Level.STOP
    fact: Fact[Any] = getattr(record.limits, name)
    if not fact.known and record.limits.packs_on_busbar.known:
        if name == "same_model_on_busbar" and not record.limits.all_packs_on_busbar.known:
            return                         # one number for both kinds: the larger count speaks
        fact, name, level = record.limits.packs_on_busbar, "packs_on_busbar", Level.CAUTION
    limit, used = lowest(fact), (fact_used(group[0], f"limits.{name}", fact),)
    if limit is None:
        path = f"limits.{name}"
        yield cannot_tell(about, f"{of_record(group)}: {record.id} does not state how many {words} may share a "
                          f"busbar; here are {count}",
                          look_up(record.id, path, fact), got=f"{count} packs", facts=used)
    elif count > limit:
        kind = "" if level is Level.STOP else " (a number whose kind is not stated, taken for every kind)"
        yield broken(about, f"{of_record(group)}: {record.id} allows {fact.wording('packs')} on one busbar{kind}; "
                     f"here are {count} {words}",
                     f"Take {figure(count - limit)} of them off this busbar, or ask the maker.",
                     got=f"{count} packs",
                     limit=f"{figure(limit)} packs", facts=used, level=level)


# ---- joining ----

@rule("join-difference", "cells", broken=Level.CAUTION, unknown=Level.CAUTION,
      broken_also=(Level.NOTE,),
      meaning="The packs of a bank stood at voltages too far apart to be joined.",
      source="record",
      explain="""When packs at unlike voltages are joined, current flows from the higher to the lower that only their
resistances limit: a hundred amperes and more for one volt. It trips a BMS, welds contacts, or blows a fuse. The
strictest limit of any pack in the bank counts, and of two sources the stricter, both printed. Bring the packs
together first: charge the lower one alone, or draw the higher one down, let them rest, and measure again just before
joining.""")
def _joining(stage: Stage) -> Iterator[Hit]:
    for bank in stage.banks:
        held = groups(stage, bank)
        if len(bank) > 1:
            yield from _join_hits(held)


def _join_hits(held: Sequence[Group]) -> Iterator[Hit]:
    devices = [d for g in held for d in g]
    limit = join_limit([_record(g) for g in held])
    facts = tuple(fact_used(g[0], "limits.join_difference_v", _record(g).limits.join_difference_v) for g in held)
    volts = {d.id: d.found.voltage_v for d in devices if d.found is not None and d.found.voltage_v is not None}
    away = _too_far(volts, limit.limit_v)
    words = _join_words(held, limit.limit_v)
    if away:
        low, high = away[0], away[-1]
        others = [d.id for d in devices if d.id in away[1:-1]]
        also = f" ({named(others)} too far above {low} as well)" if others else ""
        yield broken(away, f"{low} was found at {figure(volts[low])} V and {high} at {figure(volts[high])} V, "
                     f"{figure(volts[high] - volts[low])} V apart{also}; {words}",
                     f"Charge {low} alone, or draw {high} down, until they are within {figure(limit.limit_v or 0.0)} "
                     f"V; measure again just before joining.", got=f"{figure(volts[high] - volts[low])} V",
                     limit=f"{figure(limit.limit_v or 0.0)} V", facts=facts)
    unmeasured = [d for d in devices if d.id not in volts]
    if limit.missing:
        yield cannot_tell(_ids(*held), f"Whether {of_record(devices)} may be joined cannot be told: "
                          + joined([fact_missing(r.id, "limits.join_difference_v",
                                                 r.limits.join_difference_v) for r in limit.missing]),
                          " ".join(look_up(r.id, "limits.join_difference_v",
                                           r.limits.join_difference_v) for r in limit.missing),
                          facts=facts)
    if unmeasured:
        yield cannot_tell([d.id for d in unmeasured], f"No voltage of {of_record(unmeasured)} is written down; "
                          f"{words}",
                          "Measure every pack at rest, just before joining.", facts=facts)
    elif not away and not limit.missing and any(f.state == "disputed" for f in facts):
        yield broken(_ids(*held), f"{of_record(devices)} stood close enough together; {words}",
                     "Keep to the stricter figure on the day.", facts=facts, level=Level.NOTE,
                     limit=f"{figure(limit.limit_v or 0.0)} V")


def _too_far(volts: dict[str, float], limit: float | None) -> tuple[str, ...]:
    """Return the lowest pack and every pack too far above it, the highest last; empty where all are close enough."""
    if limit is None or len(volts) < 2:
        return ()
    low, *rest = sorted(volts, key=volts.__getitem__)
    far = [name for name in rest if round(volts[name] - volts[low], 6) > limit]
    return (low, *far) if far else ()


def _join_words(held: Sequence[Group], limit: float | None) -> str:
    """Say the strict limit, and every statement of a disputed one beside it."""
    if limit is None:
        return "no record states how far apart packs may be when they are joined"
    strict = joined([f"{_record(g).id} states {_record(g).limits.join_difference_v.wording('V')}" for g in held
                     if lowest(_record(g).limits.join_difference_v) == limit])
    return f"at joining they may differ by {figure(limit)} V ({strict})"


# ---- what is not drawn ----

@rule("bank-not-drawn", "cells", broken=Level.NOTE, unknown=Level.STOP, unknown_also=(Level.CAUTION,),
      meaning="The site file does not say which packs share a busbar.",
      source="common practice",
      explain="""Packs share a busbar where power runs join them. Without any run of a pack in the site file all packs
are taken to share one, which is the strict reading: a note. Where some packs have a run and others none, nobody can
tell which busbar the others end on. Every bank is then judged as if they stood on it, and the plan is a stop until
they are drawn: what is forgotten in a drawing is forgotten again when the fuses and cables are chosen by it. Of the
site as found it is a caution. Write a run for every pack.""")
def _not_drawn(stage: Stage) -> Iterator[Hit]:
    names = list(stage.packs)
    drawn = {end for run in stage.site.runs for end in (run.a, run.b)}
    bare = [n for n in names if n not in drawn]
    if len(bare) == len(names) and len(names) > 1:
        yield broken(names, f"No power runs are written: {named(names)} are taken to share one busbar",
                     "Write the power run of every pack.")
    elif bare and len(bare) < len(names):
        they, them = ("they", "them") if len(bare) > 1 else ("it", "it")
        yield cannot_tell(bare, f"No power run of {of_record([stage.device(n) for n in bare])} is written, though "
                          f"others are: {they} may end on any busbar, so every bank is judged with {them}",
                          "Write the power run of every pack.",
                          level=Level.STOP if stage.name == "planned" else Level.CAUTION)
