"""Is a run protected, by what, where, and does the device fit the cable, the current and the voltage?

Predicates over one run of the planned stage (`interop.circuit.feeds.Circuit`), without any circuit solved. Each answers
holds, broken or cannot tell, with the figures and with what is not known as objects.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import inf
from typing import TYPE_CHECKING, Any

from interop.circuit.bank import POLES
from interop.circuit.carries import Carries, is_nec, pole_carries
from interop.circuit.feeds import Circuit, Guard, Side, charge_of, kind_of, protects
from interop.circuit.ranges import Missing, Range, Verdict, exactly, known, total, within
from interop.records.answers import Answer, all_of, any_of
from interop.records.facts import ABSENT, Fact
from interop.standards.ampacity import may_run_in_parallel, small_conductor_device_a
from interop.standards.devices import CONVENTIONAL_TRIPPING, device_limit_a, least_device_a
from interop.standards.sizes import Size, SizeError, parse_size
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from interop.records.models import Record
    from interop.site.site import Device, Pole

__all__ = [
    "CONVENTIONAL_S",
    "ENCLOSED_LEAD_M",
    "SHORT_LEAD_M",
    "FedBack",
    "Lead",
    "Need",
    "OnCable",
    "bank_highest_v",
    "bare_leads",
    "cable_fits",
    "can_be_opened",
    "carried_by",
    "carries_both",
    "carries_need",
    "device_needed",
    "fed_a",
    "fed_back",
    "for_voltage",
    "in_each_pole",
    "in_live_pole",
    "lead_borne",
    "lugs_fit",
    "one_lead_off",
    "opened_under_load",
    "parallel_allowed",
    "rating_enough",
    "rating_within",
    "trips_in_time",
]

SHORT_LEAD_M, ENCLOSED_LEAD_M = 0.2, 1.5
"""Unprotected conductor that nobody minds, and that is borne in an enclosure or conduit [m] (from memory)."""

CONVENTIONAL_S = 3600.0
"""Time in which a device must open at 1.45 times what the cable carries [s]: one hour, the shortest of IEC 60364-4-43's
conventional times (from memory)."""

_TRIPPING = {
    "fuse": max(one.times_rating for name, one in CONVENTIONAL_TRIPPING.items() if name.startswith("fuse")),
    "breaker": max(one.times_rating for name, one in CONVENTIONAL_TRIPPING.items() if name.startswith("breaker")),
}


# ---- is there a device ----

def device_needed(one: Circuit) -> Verdict:
    """Whether a run has a device that protects it, or needs none.

    A pack run needs one, since nothing else bounds what its pack can give. Another run needs none where everything
    that can feed it together is not above what each of its conductors carries.
    """
    there = any_of(protects(guard) for guard in one.guards)
    missing = tuple(guard.lacking("kind") for guard in one.guards if protects(guard) is Answer.CANNOT_TELL)
    if there is Answer.HOLDS or one.kind == "pack":
        return Verdict(there, missing=missing)
    sides = (one.source,) if one.kind == "converter" else (one.a_side, one.b_side)
    fed = fed_a(one, sides)
    needs = [within(fed, carries.amps) for pole in POLES if (carries := pole_carries(one, pole)) is not None]
    answer = all_of(verdict.answer for verdict in needs) if len(needs) == len(POLES) else Answer.CANNOT_TELL
    if answer is Answer.HOLDS:
        return Verdict(answer)
    worst = next((v for v in needs if v.answer is answer), None)
    causes = () if worst is None else worst.missing
    if there is Answer.CANNOT_TELL:
        return Verdict(Answer.CANNOT_TELL, fed, None if worst is None else worst.limit, (*missing, *causes))
    return Verdict(answer, fed, None if worst is None else worst.limit, causes)


def fed_a(one: Circuit, sides: Sequence[Side]) -> Range:
    """The most that can flow into a run without end [A]: of each side all packs through their devices, and chargers.

    A pack without a device gives its short-circuit current, which no cable carries.
    """
    found = exactly(0.0)
    for side in sides:
        packs = total(_passes(one, pack) for pack in side.packs)
        chargers = total(charge_of(unit.device) for unit in side.units if unit.device is not one.own)
        found = found.at_least(packs + chargers)
    if one.loose:
        missing = tuple(Missing(f"the run of {device.id}") for device in one.loose)
        return Range(found.least, inf, (*found.missing, *missing))
    return found


def _passes(one: Circuit, pack: Device) -> Range:
    """What a pack can give without end: the rating of the device that protects its run, the lowest of several."""
    run = next((run for run in one.net.runs if run.a == pack.id), None)
    built = pack.record.electric.built_in_device
    guards = [Guard(pack.record, built, "electric.built_in_device", None, True, 0.0)]
    for pole in POLES if run is not None else ():
        wired: Pole = getattr(run, pole)
        guards += [Guard(held.loaded.record, held.loaded.record.device, "device", pole, False, None)
                   for held in wired.devices]
    found = exactly(inf)
    for guard in guards:
        answer = protects(guard)
        if answer is Answer.HOLDS:
            found = found.at_most(guard.rating)
        elif answer is Answer.CANNOT_TELL and found.least == inf:
            found = Range(0.0, inf, (guard.lacking("kind"),))
    return found


# ---- in which pole ----

def in_live_pole(one: Circuit, live: str) -> Answer | None:
    """Whether a device stands in the pole that is not grounded; None where there is no device at all."""
    held = [guard for guard in one.guards if protects(guard) is not Answer.BROKEN]
    if not held:
        return None
    return any_of(all_of((protects(guard), guard.stands_in(live))) for guard in held)


def in_each_pole(one: Circuit) -> Answer | None:
    """Whether a device stands in each pole; None where there is none at all."""
    found = [answer for pole in POLES if (answer := in_live_pole(one, pole)) is not None]
    return all_of(found) if found else None


# ---- how near ----

@unchanging
class Lead:
    """Conductor between the source and the first device of a pole [m]; None: not stated."""

    pole: str
    metres: float | None


def bare_leads(one: Circuit) -> Iterator[Lead]:
    """Yield the unprotected lead of each pole that has a device; none behind a device built into the pack."""
    if any(guard.built_in and protects(guard) is Answer.HOLDS for guard in one.guards):
        return
    for pole in POLES:
        far = [guard.distance_m for guard in one.guards
               if not guard.built_in and guard.pole == pole and protects(guard) is not Answer.BROKEN]
        stated = [metres for metres in far if metres is not None]
        if far and (stated or None in far):
            yield Lead(pole, min(stated) if stated else None)


def lead_borne(one: Circuit, metres: float) -> bool:
    """Whether so much unprotected lead [m] is borne: up to 0.2 m anywhere, up to 1.5 m inside one enclosure, or in
    conduit that surely passes no wall.
    """
    if metres <= SHORT_LEAD_M:
        return True
    inside = one.run.laid == "enclosed" or (one.run.laid == "conduit" and one.run.through_wall is False)
    return metres <= ENCLOSED_LEAD_M and inside and one.run.through_wall is not True


@unchanging(eq=False)
class FedBack:
    """The lead of a pack between the busbar and the first device as seen from there [m]; None: not stated.

    ``fed``: what can flow into it from the busbar without end [A]; ``carries``: its conductors [A].
    """

    answer: Answer
    metres: float | None
    fed: Range
    carries: Range
    missing: tuple[Missing, ...]


def fed_back(one: Circuit) -> FedBack | None:
    """Return how the lead of a pack is protected from the busbar; None where it surely is, or is no lead of a pack.

    It is by a device at its busbar end, or where the devices of all other packs together let through no more than it
    carries (power.md §6).
    """
    carries = [held.amps for pole in POLES if (held := pole_carries(one, pole)) is not None]
    if one.kind != "pack" or len(carries) < len(POLES):
        return None
    fed = fed_a(one, (one.b_side,))
    verdicts = [within(fed, amps) for amps in carries]
    answer = all_of(verdict.answer for verdict in verdicts)
    left = _from_the_far_end(one)
    if answer is Answer.HOLDS or (left is not None and left <= SHORT_LEAD_M):
        return None
    if left is None:
        answer = Answer.CANNOT_TELL
    worst = min(carries, key=lambda amps: amps.most)
    missing = tuple({m.key: m for verdict in verdicts for m in verdict.missing}.values())
    return FedBack(answer, left, fed, worst, missing)


def _from_the_far_end(one: Circuit) -> float | None:
    """Metres of lead between the busbar and the nearest device; the whole lead where there is none; None: not known."""
    lengths = [wired.length_m for wired in (one.run.plus, one.run.minus)]
    if None in lengths:
        return None
    whole = max(length for length in lengths if length is not None)
    left = []
    for guard in one.guards:
        if not guard.built_in and protects(guard) is not Answer.BROKEN:
            wired: Pole = one.run.minus if guard.pole == "minus" else one.run.plus
            if guard.distance_m is None or wired.length_m is None:
                return None
            left.append(max(wired.length_m - guard.distance_m, 0.0))
    return min(left, default=whole)


# ---- direction and voltage ----

def carries_both(guard: Guard) -> Verdict:
    """Whether a device may carry current in both directions: it is not polarised."""
    if kind_of(guard, "none") is Answer.HOLDS:
        return Verdict(Answer.HOLDS)
    if guard.facts is None:
        return Verdict(Answer.CANNOT_TELL, missing=(guard.lacking("polarised"),))
    answer = guard.facts.polarised.judge(lambda yes: Answer.BROKEN if yes else Answer.HOLDS)
    return Verdict(answer, missing=(guard.lacking("polarised"),) if answer is Answer.CANNOT_TELL else ())


def bank_highest_v(side: Side) -> Range:
    """The highest voltage that can stand on a bank [V]: charge and full voltage of packs, what converters bear."""
    found = [known(p.record, f"cells.{name}", fact) for p in side.packs for name, fact in _pack_volts(p.record)]
    found += [known(d.record, "limits.highest_v", d.record.limits.highest_v)
              for d in {unit.device.id: unit.device for unit in side.units}.values() if d.record.kind != "load"]
    least = max((one.least for one in found), default=0.0)
    missing = tuple({m.key: m for one in found for m in one.missing}.values())
    return Range(least, max((one.most for one in found), default=inf), missing)


def _pack_volts(record: Record) -> Iterator[tuple[str, Fact[Any]]]:
    for name in ("full_v", "charge_highest_v"):
        yield name, getattr(record.cells, name, ABSENT)


def for_voltage(one: Circuit, guard: Guard) -> Verdict:
    """Whether a device is rated for the highest voltage of the bank."""
    if kind_of(guard, "none") is Answer.HOLDS:
        return Verdict(Answer.HOLDS)
    volts = bank_highest_v(one.bank)
    if guard.facts is None:
        return Verdict(Answer.CANNOT_TELL, volts, None, (guard.lacking("dc_v"),))
    return within(volts, known(guard.record, f"{guard.path}.dc_v", guard.facts.dc_v))


# ---- rating against cable and current ----

@unchanging(eq=False)
class OnCable:
    """A device, or the current of a run, held against the conductors of a pole.

    ``apart``: the answer if terminals that nobody stated bore any heat. ``guard``: the device of the lowest rating in
    series, None where there is none.
    """

    verdict: Verdict
    apart: Answer
    carries: Carries
    guard: Guard | None


def _guarding(one: Circuit) -> tuple[Guard, Range, bool] | None:
    """The device of the lowest rating in series, that rating, and whether it surely protects."""
    sure = [guard for guard in one.guards if protects(guard) is Answer.HOLDS]
    held = sure or [guard for guard in one.guards if protects(guard) is Answer.CANNOT_TELL]
    if not held:
        return None
    rating = exactly(inf)
    for guard in held:
        rating = rating.at_most(guard.rating)
    return min(held, key=lambda guard: guard.rating.most), rating, bool(sure)


def _largest(one: Circuit, guard: Guard, carries: Carries, amps: Range) -> Range:
    """The largest rating that a device on conductors may have [A], by the code of the site."""
    if not is_nec(one.site.code):
        return amps
    fuse = guard.kind == "fuse"
    small = _small(carries.size)
    least, most = (device_limit_a(value, fuse=fuse) if value < inf else inf for value in (amps.least, amps.most))
    return Range(min(least, small.least), min(most, small.most), (*amps.missing, *small.missing))


def _small(size: Size) -> Range:
    """The largest device on a small conductor (NEC 240.4(D)); metric ones below 8 AWG are not in it."""
    limit = small_conductor_device_a(size)
    if limit is not None:
        return exactly(limit)
    return exactly(inf) if size.area_mm2 >= parse_size("8 AWG").area_mm2 else Range(0.0, inf)


def rating_within(one: Circuit, pole: str) -> OnCable | None:
    """Whether the device of a run protects the conductors of a pole; None without a device or a conductor."""
    found = _guarding(one)
    if found is None:
        return None
    guard, rating, sure = found
    carries = pole_carries(one, pole, rating.least if rating.told else None)
    if carries is None:
        return None
    verdict = within(rating, _largest(one, guard, carries, carries.amps))
    apart = within(rating, _largest(one, guard, carries, carries.apart)).answer
    if not sure:
        kinds = tuple(g.lacking("kind") for g in one.guards if protects(g) is Answer.CANNOT_TELL)
        verdict = Verdict(Answer.CANNOT_TELL, verdict.got, verdict.limit, (*kinds, *verdict.missing))
        apart = Answer.CANNOT_TELL
    return OnCable(verdict, apart, carries, guard)


def trips_in_time(guard: Guard, carries: Carries) -> Verdict:
    """Whether a device opens in time at 1.45 times what the conductors carry (IEC 60364-4-43, from memory).

    By its curve, or where none is stated by the worst standard of its kind: it then holds, or cannot be told.
    """
    limit = carries.amps.times(1.45)
    steps = [step for curve in guard.facts.curve.values for step in curve] if guard.facts is not None else []
    if any(step.amps <= limit.least and step.seconds <= CONVENTIONAL_S for step in steps):
        return Verdict(Answer.HOLDS, guard.rating, limit)
    got = guard.rating.times(_TRIPPING.get(guard.kind or "", max(_TRIPPING.values())))
    answer = Answer.HOLDS if got.most <= limit.least else Answer.CANNOT_TELL
    return Verdict(answer, got, limit, (guard.lacking("curve"),))


@unchanging(eq=False)
class Need:
    """A device held against the continuous current of its run: it carries so much of its rating without end.

    ``bare``: the answer if it carried its whole rating.
    """

    guard: Guard
    verdict: Verdict
    bare: Answer
    carries: Range


def carried_by(guard: Guard) -> Range:
    """What a device carries without end [A]: all of its rating where it is stated to, else four fifths."""
    full = guard.facts is not None and guard.facts.full_rating.only is True
    return guard.rating if full else guard.rating.times(1 / least_device_a(1.0))


def rating_enough(one: Circuit) -> Iterator[Need]:
    """Yield each device in a run with whether it carries the continuous current of the run."""
    for guard in one.guards:
        if guard.built_in or kind_of(guard, "none") is Answer.HOLDS:
            continue
        carries = carried_by(guard)
        yield Need(guard, within(one.need, carries), within(one.need, guard.rating).answer, carries)


def carries_need(one: Circuit, pole: str) -> OnCable | None:
    """Whether the conductors of a pole carry the continuous current of a run; None without a conductor.

    By the NEC 125 % of it before factors, and itself in the ambient. Else what its device lets through at most.
    """
    found = _guarding(one)
    rating = found[1] if found is not None and found[2] else exactly(inf)
    carries = pole_carries(one, pole, rating.least if rating.told and rating.least < inf else None)
    if carries is None:
        return None
    guard = found[0] if found is not None else None
    if is_nec(one.site.code):
        parts = [within(one.need.times(least_device_a(1.0)), carries.continuous), within(one.need, carries.amps)]
        answer = all_of(part.answer for part in parts)
        return OnCable(next(part for part in parts if part.answer is answer), answer, carries, guard)
    need = one.need.at_most(rating)
    return OnCable(within(need, carries.amps), within(need, carries.apart).answer, carries, guard)


def parallel_allowed(one: Circuit, pole: str) -> Answer:
    """Whether the conductors of a pole may lie in parallel: one always may, more from 1/0 AWG on (310.10(G))."""
    wired: Pole = getattr(one.run, pole)
    if wired.parallel == 1:
        return Answer.HOLDS
    carries = pole_carries(one, pole)
    if carries is None:
        return Answer.CANNOT_TELL
    return Answer.HOLDS if may_run_in_parallel(carries.size) else Answer.BROKEN


def one_lead_off(one: Circuit, pole: str) -> Verdict | None:
    """Whether the rest carries the current with one of several parallel conductors off; None with one conductor."""
    wired: Pole = getattr(one.run, pole)
    carries = pole_carries(one, pole)
    if wired.parallel == 1 or carries is None:
        return None
    return within(one.need, carries.amps.times((wired.parallel - 1) / wired.parallel))


# ---- opening it ----

def can_be_opened(one: Circuit) -> Answer:
    """Whether a pack's run can be opened by hand: by a breaker or switch anywhere, or a fuse in the run."""
    return any_of(kind_of(guard, "breaker", "switch") if guard.built_in else kind_of(guard, "breaker", "switch", "fuse")
                  for guard in one.guards)


def opened_under_load(one: Circuit) -> tuple[Answer, tuple[Guard, ...]] | None:
    """Whether some device of a run may be opened under load, and the devices; None where nothing can be opened."""
    held = [guard for guard in one.guards if kind_of(guard, "none") is not Answer.HOLDS
            and not (guard.built_in and kind_of(guard, "breaker", "switch") is Answer.BROKEN)]
    if not held:
        return None
    answers = [guard.facts.load_break.judge(lambda yes: Answer.HOLDS if yes else Answer.BROKEN)
               if guard.facts is not None else Answer.CANNOT_TELL for guard in held]
    return any_of(answers), tuple(held)


# ---- lugs ----

def cable_fits(size: Size, record: Record) -> Verdict:
    """Whether a conductor is not larger than the terminals of a device take; areas in mm2."""
    fact = record.terminals.largest_cable
    answer = fact.judge(lambda text: _fits(size, text))
    missing = (Missing("terminals.largest_cable", record, fact),) if answer is Answer.CANNOT_TELL else ()
    return Verdict(answer, exactly(size.area_mm2), None, missing)


def _fits(size: Size, text: str) -> Answer:
    try:
        most = parse_size(text)
    except SizeError:
        return Answer.CANNOT_TELL
    return Answer.HOLDS if size.area_mm2 <= most.area_mm2 else Answer.BROKEN


def lugs_fit(count: int, record: Record) -> Verdict:
    """Whether so many lugs may lie on one stud: one always may."""
    if count <= 1:
        return Verdict(Answer.HOLDS, exactly(float(count)))
    return within(exactly(float(count)), known(record, "terminals.lugs_on_one_stud", record.terminals.lugs_on_one_stud))
