"""Rules of the power subject about what happens when something fails: faults, one out, inrush, joining."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import floor

from interop.circuit.cascade import End, What
from interop.circuit.faulted import Fault, bank_faults, can_break, highest_v
from interop.circuit.joined import inrush_of
from interop.circuit.loop import loops
from interop.circuit.lost import (
    Losses,
    Lost,
    charge_losses,
    charging_goes_on,
    follows_of,
    losses_of,
    sure_charge_a,
)
from interop.circuit.picture import MOST_SEARCHED, Picture, pictures
from interop.records.facts import ABSENT
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import figure, named
from interop.wiring.busbar import lowest
from interop.wiring.stage import Stage

__all__: list[str] = []


def _ka(amps: float) -> str:
    return figure(round(amps / 1000, 1), "kA")


@rule("device-cannot-break-the-fault", "power", broken=Level.STOP, unknown=Level.STOP,
      broken_also=(Level.CAUTION,),
      meaning="A protective device cannot break the short-circuit current that can flow through it.",
      source="common practice",
      explain="""A fuse or breaker opens what it is rated to interrupt and no more: beyond that it burns, and the fault
goes on. What can flow is worked out from the whole bank: a short on one side of a device is fed by what stands on the
other, and the larger of both counts, at the highest charge voltage, the lowest resistances and with no arc to help. A
device inside a pack breaks its own pack's fault one way and that of all the others the other way. Resistances that
nobody stated lie in a range: where only its low end is too much, the answer is that it cannot be told. Use devices
with a higher interrupting rating for direct current at this voltage, or have the makers state what theirs can break;
the typical figures of a kind of device are never taken for a rating. A fuse in the same run that can break the fault
opens first and stands in for the other device: then this is a caution.""")
def _faults(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        silent = [d for d in picture.bank.packs if highest_v(d) is None]
        if silent:
            about = tuple(d.id for d in silent)
            yield cannot_tell(about, "What a short circuit can draw is not known: the highest voltage of "
                              f"{named(about)} is not stated.",
                              "State cells.charge_highest_v or cells.full_v of these packs.",
                              facts=tuple(FactUsed(d.record.id, "cells.full_v", ABSENT.state) for d in silent[:1]))
        groups: dict[tuple[object, ...], list[tuple[Fault, Hit]]] = {}
        for fault in bank_faults(picture):
            hit = _fault_hit(fault)
            if hit is not None:
                key = (fault.record, fault.pack, hit.answer.value, hit.limit)
                groups.setdefault(key, []).append((fault, hit))
        for rows in groups.values():
            yield _told_once(rows)


def _told_once(rows: Sequence[tuple[Fault, Hit]]) -> Hit:
    """Devices of one record with one answer are told together, by the one that has to break most."""
    worst = max(rows, key=lambda row: row[0].amps)
    if len(rows) == 1:
        return worst[1]
    from dataclasses import replace

    about = tuple(dict.fromkeys(fault.about for fault, _ in rows))
    return replace(worst[1], about=about, text=f"{worst[1].text} {named(about)} alike.")


def _fault_hit(fault: Fault) -> Hit | None:
    facts = fault.facts
    rating = ABSENT if facts is None else facts.interrupts_ka
    limit = lowest(rating)
    if facts is not None and facts.kind.only in ("none", "switch"):
        return None     # nothing that breaks a fault: another rule asks whether something must
    path = f"{fault.path}.interrupts_ka"
    used = (FactUsed(fault.record, path, rating.state),)
    text = f"Up to {_ka(fault.amps)} can flow through {fault.name} ({fault.record})"
    if fault.backup is not None and not can_break(fault):
        told = "what it can break is not stated" if limit is None else f"it can break {_ka(limit * 1000)}"
        return broken((fault.about,), f"{text}; {told}, and {fault.backup} has to open first.",
                      "Ask its maker whether that fuse may stand in for it; never put another kind in its place.",
                      got=_ka(fault.amps), facts=used, level=Level.CAUTION)
    if limit is None:
        return cannot_tell((fault.about,), f"{text}; what it can break is not stated.",
                           f"Look up the interrupting rating for direct current of {fault.record} and state {path}.",
                           got=_ka(fault.amps), facts=used)
    if can_break(fault):
        return None
    if fault.least_a > limit * 1000:
        return broken((fault.about,), f"{text}; it can break {_ka(limit * 1000)}.",
                      "Use a device with a higher interrupting rating for direct current.", got=_ka(fault.amps),
                      limit=_ka(limit * 1000), facts=used)
    return cannot_tell((fault.about,), f"{text}, at least {_ka(fault.least_a)}; it can break {_ka(limit * 1000)}.",
                       "Use a device with a higher interrupting rating for direct current, or state the ohmic "
                       "resistances of the packs.", got=_ka(fault.amps), limit=_ka(limit * 1000), facts=used)


@rule("one-out-overloads-the-rest", "sharing", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="With one pack or device out at the highest load, another passes its limit: trip may follow trip.",
      source="common practice",
      explain="""Sooner or later one pack is off: its BMS has opened, its fuse has gone, somebody is servicing it. The
inverter draws the same power, and the others share what it carried, by resistance again. If that is more than one of
them may carry it opens too, and so on until the load is dark. Every single loss is computed at the highest load, nearly
empty, and played to its end with the trip steps of the records; where a record states none, the continuous limit and
ten seconds are taken. The safe load that is told is one at which no pack passes its limit whichever one is
out, wherever the resistances lie in their tolerances (worked out for up to 24 packs): keep below it, or accept that
one loss can take the bank.""")
def _one_out(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        found = losses_of(picture)
        if found is None:
            continue
        bad = [row for row in found.rows if row.bad]
        asked = sum(picture.load_w or ())
        if not bad and len(picture.bank.packs) <= MOST_SEARCHED and (found.sure_w is None or found.sure_w < asked):
            yield cannot_tell(tuple(d.id for d in picture.bank.packs),
                              f"Whether every pack keeps its limit with any one out at the highest load of "
                              f"{_kw(asked)} cannot be told within the tolerances of the resistances. {_safe(found)}",
                              "Keep the load below that, or measure and state the resistances that are assumed.")
        if not bad:
            continue
        first = bad[0]
        pack = next((row for row in bad if row.is_pack), None)
        others = tuple(picture.of_pack) if found.sure_w is None else ()     # of them it cannot be told
        about = tuple(dict.fromkeys((*(row.name for row in bad if row.is_pack), *_about(first), *others)))
        text = f"{_lost_words(first)}{_ending(picture, first)}"
        if pack is not None and pack is not first:
            text += f" {_lost_words(pack)}{_ending(picture, pack)}"
        yield broken(about, f"{text} {_safe(found)}",
                     "Keep the load below that, add packs, or lower the highest load.",
                     got=None if first.nearest is None else figure(round(first.amps, 1), "A"), limit=_limit_of(first),
                     facts=_steps_used(found))


def _about(row: Lost) -> tuple[str, ...]:
    return (row.nearest,) if row.nearest is not None else ()


def _lost_words(row: Lost) -> str:
    if row.nearest is None or row.part <= 1:
        return f"If {row.name} is out at the highest load, the load cannot be carried."
    return (f"If {row.name} is out at the highest load, {row.nearest} carries {figure(round(row.amps, 1), 'A')}, "
            f"{row.part:.0%} of its limit.")


def _limit_of(row: Lost) -> str | None:
    return figure(round(row.amps / row.part, 1), "A") if row.part > 0 else None


def _ending(picture: Picture, row: Lost) -> str:
    """What trips next, and how it ends."""
    follows, end = follows_of(picture, row)
    trips = [event for event in follows if event.what in (What.DISCHARGE, What.CHARGE, What.DEVICE)]
    if end is None or (end is End.CARRIED and not trips):
        return ""
    next_ones = f" Then {named([event.name for event in trips[:4]])}" if trips else ""
    more = f" and {len(trips) - 4} more" if len(trips) > 4 else ""
    opens = f"{next_ones}{more} open{'s' if len(trips) == 1 else ''}" if trips else ""
    ends = {End.CARRIED: "the load is still carried", End.CUT_OFF: "an inverter stops at its low limit",
            End.DARK: "the load is dark", End.UNSETTLED: "how it ends cannot be told"}[end]
    when = f" after {max(e.time_s for e in follows):.0f} s" if follows and follows[-1].time_s >= 1 else ""
    return f"{opens}{', and ' if opens else ' Then '}{ends}{when}."


def _safe(found: Losses) -> str:
    text = "The largest load that any one pack may leave is"
    if found.sure_w is None:
        return f"{text} {_kw(found.safe_w)}, and less where resistances differ from those to work with."
    if _kw(found.sure_w) == _kw(found.safe_w):
        return f"{text} {_kw(found.safe_w)}."
    return f"{text} {_kw(found.sure_w)}, or {_kw(found.safe_w)} at the resistances to work with."


def _kw(watts: float) -> str:
    return f"{floor(watts / 100) / 10:.1f} kW"


def _steps_used(found: Losses) -> tuple[FactUsed, ...]:
    return tuple(FactUsed(record, "electric.trips.discharge", "assumed") for record in found.steps_assumed)


@rule("one-out-overcharges-the-rest", "sharing", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="With one pack out while every charger gives its planned current, another passes its charge limit.",
      source="common practice",
      explain="""When the BMS of one pack opens or refuses charge, the chargers go on giving what they gave, and the
packs that are left share it. In closed loop the manager lowers its order when a member of its own is gone, and knows
nothing of an unmanaged one; in open loop nobody lowers anything. Keep the charge current so low that any one pack may
be gone, or accept that its neighbour opens as well.""")
def _one_out_charging(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        rows = charge_losses(picture)
        bad = [row for row in rows if row.part > 1]
        sure = sure_charge_a(picture) if rows else None
        if bad:
            first = bad[0]
            others = tuple(picture.of_pack) if sure is None else ()     # of them it cannot be told
            about = tuple(dict.fromkeys((*(row.name for row in bad), *_about(first), *others)))
            yield broken(about, f"{_taken(first, picture.planned_charge_a)}{_charging_ends(picture, first)} "
                         f"{_safe_charge(picture, first, sure)}{_in_closed_loop(picture)}",
                         "Set the charge currents lower in proportion, or accept that a second pack opens too.",
                         got=figure(round(abs(first.amps), 1), "A"), limit=_limit_of(first))
        elif rows and len(picture.bank.packs) <= MOST_SEARCHED and (sure is None or sure < picture.planned_charge_a):
            yield cannot_tell(tuple(picture.of_pack), f"Whether every pack keeps its limit with any one out while "
                              f"{picture.planned_charge_a:g} A are charged cannot be told within the tolerances of the "
                              f"resistances. {_safe_charge(picture, rows[0], sure)}",
                              "Set the charge currents lower in proportion, or measure and state the resistances that "
                              "are assumed.")
        elif not rows and any(one.charge_a != 0 for one in picture.converters) and len(picture.bank.packs) > 1:
            yield cannot_tell(tuple(picture.of_pack), "What the loss of a pack does while the others charge is not "
                              "known: charge currents or charge limits are not stated.", "See the findings about them.")


def _taken(row: Lost, charged_a: float) -> str:
    return (f"If {row.name} is out while {charged_a:g} A are charged, {row.nearest} takes "
            f"{figure(round(abs(row.amps), 1), 'A')}, {row.part:.0%} of its limit.")


def _safe_charge(picture: Picture, first: Lost, sure: float | None) -> str:
    usual = floor(picture.planned_charge_a / first.part)
    text = "any one pack may be gone"
    if picture.bound is None:
        return "No charge current is sure: current passes between the packs, which differ in their voltage."
    if sure is None:
        return f"Up to {usual} A {text}, and less where resistances differ from those to work with."
    if floor(sure) >= usual:
        return f"Up to {usual} A {text}."
    return f"Up to {floor(sure)} A {text}, or {usual} A at the resistances to work with."


def _charging_ends(picture: Picture, row: Lost) -> str:
    """What trips next in open loop, and how it ends."""
    events, end = charging_goes_on(picture, row, closed=False)
    trips = [event for event in events if event.what in (What.DISCHARGE, What.CHARGE)]
    if not trips:
        return ""
    more = f" and {len(trips) - 4} more" if len(trips) > 4 else ""
    ends = {End.DARK: "nothing is charged any more", End.UNSETTLED: "how it ends cannot be told"}.get(
        end, "charging goes on")
    return (f" In open loop {named([event.name for event in trips[:4]])}{more} open{'s' if len(trips) == 1 else ''} "
            f"then, and {ends} after {max(event.time_s for event in events):.0f} s.")


def _in_closed_loop(picture: Picture) -> str:
    """What a manager's orders save; nothing where no manager orders what is charged."""
    if not loops(picture) or len(picture.bank.packs) > MOST_SEARCHED:
        return ""
    worst = charge_losses(picture, closed=True)[0]
    if worst.part <= 1:
        return " In closed loop no pack passes its limit then, at the resistances to work with."
    return (f" In closed loop, too, {worst.nearest} takes {figure(round(abs(worst.amps), 1), 'A')}, "
            f"{worst.part:.0%} of its limit, if {worst.name} is out.")


@rule("inrush-trips-packs", "power", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="Closing power onto empty inverters may open the packs, or weld the contact that closes.",
      source="common practice",
      explain="""The capacitors of an empty inverter are a short circuit for a few thousandths of a second. What flows
then is set by the resistance and inductance of the way; above the short-circuit step of the BMS the packs open at
once, and a contact that closes onto it can weld. A precharge resistor fills the capacitors first: its value, its
energy and the time to wait are told. Where the capacitance of a converter or the step of a pack is not stated,
precharge is a step of the day all the same.""")
def _inrush(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        found = inrush_of(picture)
        if found is None or found.needs_precharge is False or found.millifarad == 0:
            continue
        about = tuple(dict.fromkeys(one.spot.device.id for one in picture.converters))
        if found.peak_a is None or found.step is None:
            yield cannot_tell(about, "What flows into the empty capacitors when power is closed is not known: "
                              f"{named(found.not_stated)} do not state it.",
                              "Look up electric.input_capacitance_mf; until then precharge through a resistor.")
            continue
        step = found.step
        todo = (f"Precharge through {figure(step.ohm, 'ohm')} ({figure(round(step.joule), 'J')} in one pulse), wait "
                f"{figure(round(step.seconds, 1), 's')}, and close below {figure(step.close_below_v, 'V')} across it.")
        text = f"Closing power onto {named(about)} draws up to {_ka(found.peak_a)} for a moment"
        if found.trip_a is None:
            yield cannot_tell(about, f"{text}; at which current the packs open at once is not stated.", todo,
                              got=_ka(found.peak_a))
        else:
            yield broken(about, f"{text}; the packs open at {_ka(found.trip_a)} together.", todo,
                         got=_ka(found.peak_a), limit=_ka(found.trip_a))
