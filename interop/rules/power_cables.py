"""Rules of the power subject about conductors and ratings: device against cable, device and cable against current,
conductors in parallel.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from interop.circuit.bank import POLES
from interop.circuit.carries import Carries, is_nec, pole_carries
from interop.circuit.feeds import Circuit, circuits
from interop.circuit.protection import (
    Need,
    OnCable,
    carries_need,
    one_lead_off,
    parallel_allowed,
    rating_enough,
    rating_within,
    trips_in_time,
)
from interop.circuit.ranges import Missing, Range, Verdict
from interop.records.answers import Answer
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.power_words import (
    Group,
    about,
    amps,
    at,
    by_code,
    facts,
    in_poles,
    of_guard,
    runs_told,
    todo,
    used,
    why,
)
from interop.rules.wording import figure, joined, named
from interop.site.site import Pole, Site
from interop.standards.clauses import nec_clause
from interop.standards.devices import IEC_SOURCE, least_device_a, next_standard_a
from interop.wiring.busbar import lowest
from interop.wiring.stage import Stage

__all__: list[str] = []

_IEC = f"{IEC_SOURCE.title}, 433.1 (from memory)"


def _by_pole(found: list[tuple[str, OnCable]]) -> list[tuple[tuple[str, ...], OnCable]]:
    """Poles whose conductors carry the same and get the same answer are told together."""
    groups: dict[tuple[object, ...], tuple[list[str], OnCable]] = {}
    for pole, on in found:
        amps_ = on.carries.amps
        key = (on.verdict.answer, on.carries.size.text, on.carries.basis, amps_.least, amps_.most)
        groups.setdefault(key, ([], on))[0].append(pole)
    return [(tuple(poles), on) for poles, on in groups.values()]


def _conductors(one: Circuit, poles: tuple[str, ...], carries: Carries, limit: Range) -> str:
    """Say what the conductors of some poles are and carry: ``the 95 mm2 (swift-95) in both poles carries 255 A``."""
    wired: Pole = getattr(one.run, poles[0])
    count = f"{wired.parallel} x " if wired.parallel > 1 else ""
    whose = "" if carries.basis is None or carries.by_table else f" ({carries.basis})"
    return f"the {count}{carries.size}{whose} {in_poles(poles)} carries {amps(limit)}"


def _source(site: Site, clause: str, carries: Carries, iec: str | None = None) -> str:
    """The clause, and the table of ampacities where it is the ground."""
    if not carries.by_table:
        return by_code(site, clause, iec)
    if is_nec(site.code) and site.code is not None:
        return f"{by_code(site, clause)}; {nec_clause(site.code, 'ampacity')}"
    return f"{by_code(site, clause, iec)}; ampacity of NEC table 310.16"


def _unknown_level(on: OnCable) -> Level | None:
    """A caution where only the heat of terminals that nobody stated is in question."""
    return Level.CAUTION if on.apart is Answer.HOLDS else None


# ---- device against cable ----

@rule("rating-above-cable", "power", broken=Level.STOP, unknown=Level.STOP, unknown_also=(Level.CAUTION,),
      meaning="The device of a run lets more current through than its conductors carry.",
      source="NEC 240.4 or IEC 60364-4-43 where the site names one, else common practice",
      explain="""A fuse or breaker protects a conductor only if it opens before the conductor is too hot. Without a
code its rating may not be above what the conductors carry; the NEC lets it be the next standard rating up to 800 A,
and sets limits of its own for small conductors. What a conductor carries follows from its size, insulation,
terminals, place and ambient. US sizes are looked up in the NEC's table; of metric or fine-stranded cable only its
own record counts, with its conditions: the nearest size of a table is never taken for it. Take a thicker cable, or
a device of a lower rating that still carries the current.""")
def _rating_above(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one = group[0]
        found = [(pole, on) for pole in POLES if (on := rating_within(one, pole)) is not None
                 and on.verdict.answer is not Answer.HOLDS]
        for poles, on in _by_pole(found):
            yield _above(stage.site, group, poles, on)


def _above(site: Site, group: Group, poles: tuple[str, ...], on: OnCable) -> Hit:
    one, guard, verdict = group[0], on.guard, on.verdict
    if guard is None or verdict.got is None or verdict.limit is None:
        raise ValueError("a rating is held against a limit")
    source = _source(site, "device on a conductor", on.carries, _IEC)
    carries = _conductors(one, poles, on.carries, on.carries.amps)
    allowed = "" if verdict.limit.most == on.carries.amps.most else f", which allows {amps(verdict.limit)}"
    head = f"{runs_told(group)}: {of_guard(guard)} is rated {amps(verdict.got)}, and {carries}{allowed}"
    if verdict.answer is Answer.BROKEN:
        return broken(about(group), head, "Take a thicker cable, or a device of a lower rating that still carries the "
                      "current.", got=amps(verdict.got), limit=amps(verdict.limit), facts=used(guard, "rating_a"),
                      at=at(group), source=source)
    return cannot_tell(about(group), f"{head}; whether it protects the cable cannot be told: {why(verdict.missing)}",
                       todo(verdict.missing), got=amps(verdict.got), limit=amps(verdict.limit),
                       facts=(*used(guard, "rating_a"), *facts(verdict.missing)), at=at(group), source=source,
                       level=_unknown_level(on))


@rule("opens-too-late", "power", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="Under IEC rules it is not shown that the device opens in time at 1.45 times what the cable carries.",
      source=_IEC,
      explain="""The IEC asks for two things: a rating not above what the conductors carry, and a current at which the
device surely opens within its conventional time that is not above 1.45 times that. Breakers mostly keep the second
by themselves; a fuse for general use opens at 1.6 times its rating, and must then be nine tenths of what the cable
carries or less. The factors are from memory, so this warns and never stops. Look up the curve of the device and
state it, or take a thicker cable.""")
def _late(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage) if stage.site.code == "IEC" else ():
        found = [(pole, on) for pole in POLES if (on := rating_within(group[0], pole)) is not None
                 and on.verdict.answer is not Answer.BROKEN]
        for poles, on in _by_pole(found):
            verdict = None if on.guard is None else trips_in_time(on.guard, on.carries)
            if on.guard is None or verdict is None or verdict.answer is Answer.HOLDS:
                continue
            if verdict.got is None or verdict.limit is None:
                raise ValueError("a current is held against a limit")
            yield cannot_tell(
                about(group), f"{runs_told(group)}: {of_guard(on.guard)} may open in time only at {amps(verdict.got)}, "
                f"and 1.45 times what the cable {in_poles(poles)} carries is {amps(verdict.limit)}",
                todo(verdict.missing, "Or take a thicker cable."), got=amps(verdict.got), limit=amps(verdict.limit),
                facts=facts(verdict.missing), at=at(group))


# ---- device and cable against current ----

@rule("rating-below-need", "power", broken=Level.STOP, unknown=Level.STOP, broken_also=(Level.CAUTION,),
      unknown_also=(Level.CAUTION,),
      meaning="A device carries less without end than its run may have to carry.",
      source="NEC 210.20(A) and 706 where the site names an edition of it, else common practice",
      explain="""A device carries four fifths of its rating without end, and all of it only where its maker says so: a
200 A breaker carries 160 A. What the run of an inverter needs is its rated power over its efficiency, and its idle
power, at its lowest voltage: two inverters of 6 kW and 0.93 draw 268.8 A at 48 V and need 336 A, the next standard
rating being 350 A; let them go down to 44 V and it is 293.3 A and 400 A. A device that is too small burns nothing,
but it opens when the load is highest, and the packs behind it are gone. In the run of a pack it is a caution that
says to what current the pack is limited. Take a larger device with a cable to match, or a higher low limit.""")
def _below(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        told: set[tuple[str, Answer]] = set()
        for need in rating_enough(group[0]):
            key = need.guard.record.id, need.verdict.answer
            if need.verdict.answer is not Answer.HOLDS and key not in told:
                told.add(key)
                yield _too_small(stage.site, group, need)


def _too_small(site: Site, group: Group, need: Need) -> Hit:
    one, verdict = group[0], need.verdict
    full = need.carries.most == need.guard.rating.most
    head = (f"{runs_told(group)}: {need.guard.record.id}, rated {amps(need.guard.rating)}"
            f"{'' if full else ' and not stated to carry all of it'}, carries {amps(need.carries)} without end; ")
    wanted = _wanted(one)
    more = {"got": amps(one.need), "limit": amps(need.carries), "at": at(group),
            "source": by_code(site, "continuous current", _IEC)}
    used_facts = used(need.guard, "rating_a", "full_rating")
    if verdict.answer is Answer.BROKEN and one.kind == "pack":
        return broken(about(group), f"{head}{wanted}: the pack is limited to {amps(need.carries)}",
                      "Reckon with that, or take a larger device with a cable to match.", facts=used_facts,
                      level=Level.CAUTION, **more)
    if verdict.answer is Answer.BROKEN:
        small = is_nec(site.code) or need.bare is Answer.BROKEN
        return broken(about(group), f"{head}{wanted}{_standard(one)}",
                      "Take a larger device with a cable to match, or a higher low limit.", facts=used_facts,
                      level=Level.STOP if small else Level.CAUTION, **more)
    missing = verdict.missing
    return cannot_tell(about(group), f"{head}{wanted}; whether that is enough cannot be told: {why(missing)}",
                       todo(missing), facts=(*used_facts, *facts(missing)),
                       level=Level.CAUTION if one.kind == "pack" else None, **more)


def _wanted(one: Circuit) -> str:
    """Say what the run may have to carry, and what makes it so high."""
    if one.kind == "pack":
        return f"the pack may carry {amps(one.need)}"
    units = one.drawing
    if not units:
        return f"the run may have to carry {amps(one.need)}, by the charge current"
    limits = {figure(volts, "V") for unit in units if (volts := lowest(unit.device.record.limits.lowest_v)) is not None}
    low = f" at the low limit of {joined(sorted(limits))}" if limits else ""
    draw = f"draw{'s' if len(units) == 1 else ''}{low}"
    return f"the run may have to carry {amps(one.need)}, which {named([unit.name for unit in units])} {draw}"


def _standard(one: Circuit) -> str:
    if one.need.most == inf:
        return ""
    least = least_device_a(one.need.most)
    rating = next_standard_a(least)
    return f". 125 % of it is {figure(round(least, 1), 'A')}" + (
        f", and the next standard rating {figure(rating, 'A')}" if rating is not None else "")


@rule("cable-overloaded", "power", broken=Level.STOP, unknown=Level.STOP, unknown_also=(Level.CAUTION,),
      meaning="The conductors of a run carry less without end than the run may have to carry.",
      source="NEC 210.19(A) and 706 where the site names an edition of it, else common practice",
      explain="""A conductor that carries more than it may ages its insulation until it fails, first where it is
bundled, enclosed or warm, and at the lug. The run of a pack may carry the pack's limit, as far as loads and
chargers can ask for it; that of an inverter its current at the lowest voltage; no more than its fuse or breaker
lets through. The NEC wants 125 % of a continuous current before factors, and the current itself in the hottest
ambient. What a metric or fine-stranded cable carries stands in its own record with its conditions, nowhere else.
Take a thicker cable, lay it freer, or lower the current for good.""")
def _overloaded(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one = group[0]
        found = [(pole, on) for pole in POLES if (on := carries_need(one, pole)) is not None
                 and on.verdict.answer is not Answer.HOLDS]
        for poles, on in _by_pole(found):
            verdict = on.verdict
            limit = on.carries.amps if verdict.limit is None else verdict.limit
            head = f"{runs_told(group)}: {_conductors(one, poles, on.carries, limit)}; {_load(one, verdict)}"
            more = {"got": None if verdict.got is None else amps(verdict.got), "limit": amps(limit), "at": at(group),
                    "source": _source(stage.site, "conductor for a continuous current", on.carries, _IEC)}
            if verdict.answer is Answer.BROKEN:
                yield broken(about(group), head, "Take a thicker cable, lay it freer, or lower the current for good.",
                             **more)
            else:
                missing = verdict.missing
                yield cannot_tell(about(group), f"{head}; whether that is enough cannot be told: {why(missing)}",
                                  todo(missing), facts=facts(missing), level=_unknown_level(on), **more)


def _load(one: Circuit, verdict: Verdict) -> str:
    """Say the current the conductors are held against: the need, 125 % of it, or what the device lets through."""
    wanted, got = _wanted(one), verdict.got
    if got is None or (got.least, got.most) == (one.need.least, one.need.most):
        return wanted
    if got.most > one.need.most:
        return f"{wanted}, and 125 % of it counts, {amps(got)}"
    return f"{wanted}, of which its device lets {amps(got)} through"


# ---- in parallel ----

@rule("parallel-conductors", "power", broken=Level.CAUTION, unknown=Level.CAUTION, broken_also=(Level.STOP,),
      meaning="Conductors in parallel are too thin for it, or with one lug loose the others carry too much.",
      source="NEC 310.10(G) where the site names an edition of it, else common practice",
      explain="""Conductors side by side share the current only if they are alike: same length, size, strands and
lugs, landed the same way. One loose lug, and the others carry it all without any device noticing. The NEC lets only
1/0 AWG and larger be joined in parallel. Check both lugs of every conductor with a torque wrench, and once more
with a thermometer under load. One thicker cable, or a device for each conductor, is better.""")
def _parallel(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one = group[0]
        thin = [pole for pole in POLES if parallel_allowed(one, pole) is Answer.BROKEN]
        for poles, carries in _sizes(one, thin):
            wired: Pole = getattr(one.run, poles[0])
            yield broken(about(group), f"{runs_told(group)}: {wired.parallel} conductors of {carries.size} in parallel "
                         f"{in_poles(poles)}; in parallel they are to be 1/0 AWG (53.5 mm2) or larger",
                         "Take one thicker conductor, or larger ones in parallel.", got=carries.size.text,
                         limit="1/0 AWG", at=at(group), source=by_code(stage.site, "parallel conductors"),
                         level=Level.STOP if is_nec(stage.site.code) else Level.CAUTION)
        off = [(pole, verdict) for pole in POLES if (verdict := one_lead_off(one, pole)) is not None
               and verdict.answer is not Answer.HOLDS]
        if off:
            yield _off(stage.site, group, off)


def _sizes(one: Circuit, poles: list[str]) -> list[tuple[tuple[str, ...], Carries]]:
    found: dict[tuple[str, int], tuple[list[str], Carries]] = {}
    for pole in poles:
        carries = pole_carries(one, pole)
        if carries is not None:
            found.setdefault((carries.size.text, getattr(one.run, pole).parallel), ([], carries))[0].append(pole)
    return [(tuple(names), carries) for names, carries in found.values()]


def _off(site: Site, group: Group, off: list[tuple[str, Verdict]]) -> Hit:
    one = group[0]
    worst = next((verdict for _, verdict in off if verdict.answer is Answer.BROKEN), off[0][1])
    poles = tuple(pole for pole, verdict in off if verdict.answer is worst.answer)
    rest = worst.limit if worst.limit is not None else Range(0.0, inf)
    head = (f"{runs_told(group)}: with one of the parallel conductors {in_poles(poles)} off the rest carries "
            f"{amps(rest)}; {_wanted(one)}")
    more = {"got": amps(one.need), "limit": amps(rest), "at": at(group),
            "source": by_code(site, "parallel conductors")}
    check = "Check both lugs of every conductor with a torque wrench."
    if worst.answer is Answer.BROKEN:
        return broken(about(group), head, check, **more)
    missing: tuple[Missing, ...] = worst.missing
    return cannot_tell(about(group), f"{head}; whether that is enough cannot be told: {why(missing)}",
                       f"{check} {todo(missing)}", facts=facts(missing), **more)


