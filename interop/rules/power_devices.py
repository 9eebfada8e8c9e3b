"""Rules of the power subject about protective devices: is there one, in which pole, how near, fit for direction and
voltage, and can the run be opened.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.circuit.bank import undrawn
from interop.circuit.carries import is_nec
from interop.circuit.feeds import Circuit, Guard, circuits, kind_of, protects
from interop.circuit.protection import (
    ENCLOSED_LEAD_M,
    SHORT_LEAD_M,
    Lead,
    bare_leads,
    can_be_opened,
    carries_both,
    device_needed,
    for_voltage,
    in_each_pole,
    in_live_pole,
    lead_borne,
    opened_under_load,
)
from interop.circuit.ranges import Missing, Verdict
from interop.records.answers import Answer
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
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
    volts,
    why,
)
from interop.rules.wording import figure, joined, named
from interop.standards.sizes import Length
from interop.wiring.groups import Groups
from interop.wiring.stage import Stage

__all__: list[str] = []

_OTHER = {"plus": "minus", "minus": "plus"}


# ---- is it described ----

@rule("run-not-described", "power", broken=Level.STOP, unknown=Level.STOP,
      meaning="The site file does not say enough of a power run to compute anything of its bank.",
      source="common practice",
      explain="""Currents, faults and voltages follow from every conductor between packs and inverters: its length,
its size, and the post that it lands on. Nothing of that is ever taken for granted: two leads that differ by half a
metre can share two to one. Where one run of a bank is not described, nothing of that bank is computed, and nobody
may close its power. Measure each lead, read its size off the jacket, and write both with the post into the site
file; of a set of inverters each unit has a run of its own.""")
def _described(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned":
        return
    for bank in stage.banks:
        lacks: dict[str, list[str]] = {}
        for name, words in undrawn(stage, bank):
            lacks.setdefault(name, []).append(words)
        alike: dict[str, list[str]] = {}
        for name, found in lacks.items():
            alike.setdefault(joined(_both_poles(found)), []).append(name)
        ends = _named_runs(stage, bank)
        for words, names in alike.items():
            devices = tuple(dict.fromkeys(d for name in names for d in ends.get(name, (name,))))
            many = len(names) > 1
            yield cannot_tell(
                devices if all(name in stage.site.devices for name in devices) and devices else bank,
                f"{'Runs' if many else 'Run'} {named(names)}: {words}; nothing of this bank can be computed",
                "Measure it and write it into the site file.", at=_spots(stage, names))


    yield from _unfed(stage)


def _unfed(stage: Stage) -> Iterator[Hit]:
    """Inverters, chargers and loads that no run joins to a pack, where runs are drawn at all."""
    joints = Groups((run.a, run.b) for run in stage.site.runs)
    fed = {joints.root(name) for name in stage.packs if name in joints}
    lacks: dict[str, list[str]] = {}
    for device in stage.site.devices.values():
        if fed and device.record.kind in ("controller", "charger", "load"):
            if device.id not in joints:
                lacks.setdefault("no run of it is drawn", []).append(device.id)
            elif joints.root(device.id) not in fed:
                lacks.setdefault("no run leads from its busbar to any pack", []).append(device.id)
    for words, names in lacks.items():
        them = "them" if len(names) > 1 else "it"
        yield cannot_tell(tuple(names), f"{named(names)}: {words}; what passes through {them} is counted nowhere",
                          "Write the run into the site file, or take the device out of it.")


def _both_poles(words: Sequence[str]) -> list[str]:
    """Tell what both poles lack once."""
    twin = {one: one.replace("of the plus", "of the minus") for one in words if "of the plus" in one}
    both = {minus for plus, minus in twin.items() if minus in words}
    return [one.replace("of the plus", "of both poles") if twin.get(one) in both else one
            for one in words if one not in both]


def _named_runs(stage: Stage, bank: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The devices that each run is about, by how the run is told."""
    return {one.name: one.about for group in circuits(stage) for one in group
            if set(bank) & {pack.id for pack in one.bank.packs}}


def _spots(stage: Stage, names: Sequence[str]) -> tuple[tuple[int, int], ...]:
    """Where the runs, or the devices without one, stand in the site file."""
    runs = {one.name: one.run.at for group in circuits(stage) for one in group}
    found = [runs[name] if name in runs else stage.site.devices[name].at for name in names
             if name in runs or name in stage.site.devices]
    return tuple(dict.fromkeys(found))


# ---- is there a device ----

@rule("no-protective-device", "power", broken=Level.STOP, unknown=Level.STOP,
      meaning="A run has no fuse or breaker that protects it.",
      source="NEC 240.4 where the site names an edition of it, else common practice",
      explain="""A short on a lead without a fuse or breaker ends when the lead has burnt: a pack can drive thousands
of amperes. Every pack needs a device, built in or in its run; a run from the busbar needs one at the busbar, unless
all that can feed it together is less than its conductors carry. A switch protects nothing, and a BMS is no fuse:
its transistors fail closed. Put a fuse or breaker that is rated for the current, the DC voltage and the short-
circuit current as near to the source as it goes.""")
def _none_there(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one, runs = group[0], runs_told(group)
        verdict = device_needed(one)
        if verdict.answer is Answer.HOLDS:
            continue
        source = by_code(stage.site, "device on a conductor")
        more = {"at": at(group), "source": source, "facts": facts(verdict.missing)}
        pack, them = one.kind == "pack", "them" if len(group) > 1 else "it"
        where = "built into the pack or in the run" if pack else "in the run"
        fed = "" if verdict.got is None else f"; {_fed(verdict)}"
        if verdict.answer is Answer.BROKEN:
            yield broken(about(group), f"{runs}: no fuse or breaker protects {them}, {where}{fed}",
                         "Put a fuse or breaker as near to the source as it goes.", got=_got(verdict),
                         limit=_limit(verdict), **more)
        else:
            yield cannot_tell(about(group), f"{runs}: whether a fuse or breaker protects {them}, {where}"
                              f"{'' if pack else ', or none is needed,'} cannot be told{fed}: "
                              f"{why(verdict.missing) or 'the site file does not tell its conductor'}",
                              todo(verdict.missing, "Or put a fuse or breaker into the run."), **more)


def _fed(verdict: Verdict) -> str:
    if verdict.got is None or verdict.limit is None:
        return "what can feed it is not bounded"
    fed = "a short-circuit current" if verdict.got.least == float("inf") else amps(verdict.got)
    return f"{fed} can feed it, and its conductors carry {amps(verdict.limit)}"


def _got(verdict: Verdict) -> str | None:
    return None if verdict.got is None or verdict.got.least == float("inf") else amps(verdict.got)


def _limit(verdict: Verdict) -> str | None:
    return None if verdict.limit is None else amps(verdict.limit)


# ---- in which pole ----

@rule("device-in-wrong-pole", "power", broken=Level.STOP, unknown=Level.STOP, unknown_also=(Level.CAUTION,),
      meaning="The only device of a run stands in the grounded pole, where it does not interrupt a fault to earth.",
      source="NEC 240.15(A) where the site names an edition of it, else common practice",
      explain="""Where one pole of the bank is bonded to earth, a fault from the other pole to any earthed metal flows
through earth and past everything in the bonded pole. A device in that pole alone then sees nothing, and the lead
burns. The device belongs in the pole that is not grounded. Where nobody knows which pole is grounded, only a device
in each pole is surely right: find the bond, and write dc_ground into the site file.""")
def _pole(stage: Stage) -> Iterator[Hit]:
    ground = stage.site.dc_ground
    if ground == "floating":
        return
    for group in circuits(stage):
        one, runs = group[0], runs_told(group)
        answer = in_each_pole(one) if ground == "unknown" else in_live_pole(one, _OTHER[ground])
        if answer is None or answer is Answer.HOLDS:
            continue
        more = {"at": at(group), "source": by_code(stage.site, "device in each ungrounded conductor")}
        if ground == "unknown":
            yield cannot_tell(about(group), f"{runs}: {_devices(one)}; which pole is grounded is not known, "
                              "so whether that is the right one cannot be told",
                              "Find where the bank is bonded to earth, and write dc_ground into the site file.",
                              level=Level.CAUTION, **more)
        elif answer is Answer.BROKEN:
            yield broken(about(group), f"{runs}: {_devices(one)} only, and the {ground} is grounded: a fault "
                         "to earth flows past it", f"Put a device into the {_OTHER[ground]}.", **more)
        else:
            causes = _unsure(one)
            yield cannot_tell(about(group), f"{runs}: the {ground} is grounded, and whether a fuse or breaker "
                              f"stands in the {_OTHER[ground]} cannot be told: {why(causes)}",
                              todo(causes, f"Or put a device into the {_OTHER[ground]}."), facts=facts(causes), **more)


def _unsure(one: Circuit) -> list[Missing]:
    """What is not known of the kind and the pole of the devices that protect, or may."""
    held = [guard for guard in one.guards if protects(guard) is not Answer.BROKEN]
    kinds = [guard.lacking("kind") for guard in held if protects(guard) is Answer.CANNOT_TELL]
    return [*kinds, *(guard.lacking("poles") for guard in held if guard.pole is None)]


def _devices(one: Circuit) -> str:
    """Say which devices protect, or may, and in which pole each stands."""
    held = [guard for guard in one.guards if protects(guard) is not Answer.BROKEN]
    told = dict.fromkeys(of_guard(guard) if not guard.built_in else f"{of_guard(guard)} {_pole_of(guard)}"
                         for guard in held)
    return joined(list(told))


def _pole_of(guard: Guard) -> str:
    if guard.pole is None:
        return "in a pole that is not stated"
    return in_poles(("plus", "minus") if guard.pole == "both" else (guard.pole,))


@rule("one-pole-only", "power", broken=Level.CAUTION, unknown=Level.CAUTION, broken_also=(Level.STOP,),
      unknown_also=(Level.STOP,),
      meaning="A floating bank has a device in one pole of a run only.",
      source="NEC 240.15(A) where the site names an edition of it, else common practice",
      explain="""On a bank that is not bonded to earth a first fault to earth changes nothing and is not noticed. With
a second one in the other pole, current flows between the two faults, and it may miss the one device there is. A
device in each pole interrupts it wherever they lie, and the NEC wants one in each ungrounded conductor. With one
only, watch the insulation, and find a first fault before the second comes.""")
def _one_pole(stage: Stage) -> Iterator[Hit]:
    if stage.site.dc_ground != "floating":
        return
    level = Level.STOP if is_nec(stage.site.code) else Level.CAUTION
    for group in circuits(stage):
        one, runs = group[0], runs_told(group)
        answer = in_each_pole(one)
        if answer is None or answer is Answer.HOLDS:
            continue
        more = {"at": at(group), "source": by_code(stage.site, "device in each ungrounded conductor"), "level": level}
        if answer is Answer.BROKEN:
            yield broken(about(group), f"{runs}: {_devices(one)} only, and no pole is grounded",
                         "Put a device into each pole.", **more)
        else:
            causes = _unsure(one)
            yield cannot_tell(about(group), f"{runs}: {_devices(one)}, and no pole is grounded; whether there "
                              f"is one in each pole cannot be told: {why(causes)}",
                              todo(causes, "Or put a device into each pole."), facts=facts(causes), **more)


# ---- how near ----

_SHORT, _ENCLOSED = figure(SHORT_LEAD_M, "m"), figure(ENCLOSED_LEAD_M, "m")


def _leads(stage: Stage) -> Iterator[tuple[Group, Lead, bool]]:
    """Yield every unprotected lead that has a length, and whether that is borne."""
    for group in circuits(stage):
        for lead in bare_leads(group[0]):
            if lead.metres is None or lead.metres > 0:
                yield group, lead, lead.metres is not None and lead_borne(group[0], lead.metres)


def _metres(metres: float) -> str:
    written = metres.text if isinstance(metres, Length) else ""
    return f"{figure(metres, 'm')} ({written})" if written.endswith(("ft", "in")) else figure(metres, "m")


@rule("device-not-near", "power", broken=Level.CAUTION, unknown=Level.CAUTION, broken_also=(Level.NOTE,),
      meaning="Some conductor before the device is not protected by it, though little or well guarded.",
      source="common practice (lengths from memory)",
      explain="""Between the source and its first fuse or breaker nothing protects the conductor: a short there is fed
by the whole source until the copper is gone. Up to 0.2 m nobody minds; up to 1.5 m is borne where the conductor
lies inside one enclosure or in conduit, so that nothing can touch it. Longer ones are told by device-far-from-
source. The lengths are field practice from memory. Put the device nearer, and guard what is left with a second
insulation.""")
def _near(stage: Stage) -> Iterator[Hit]:
    for group, lead, borne in _leads(stage):
        runs = runs_told(group)
        if borne and lead.metres is not None:
            short = lead.metres <= SHORT_LEAD_M
            yield broken(about(group), f"{runs}: {_metres(lead.metres)} of the {lead.pole} before the device "
                         f"{'is' if short else 'lies ' + _laid(group[0]) + ' and is'} not protected",
                         "Keep it as short as it is, and guard it with a second insulation." if short else
                         "Put the device nearer if it goes, and guard the lead with a second insulation.",
                         got=figure(lead.metres, "m"), limit=_SHORT, at=at(group),
                         level=Level.NOTE if short else Level.CAUTION)


def _laid(one: Circuit) -> str:
    return {"enclosed": "inside an enclosure", "conduit": "in conduit", "free air": "in free air"}.get(
        one.run.laid or "", "as nobody says")


@rule("device-far-from-source", "power", broken=Level.CAUTION, unknown=Level.CAUTION, must_accept=True,
      meaning="A long or unguarded conductor before the device is not protected by anything, or nobody says how long.",
      source="common practice (lengths from memory)",
      explain="""Between the source and its first fuse or breaker nothing protects the conductor. More than 0.2 m in
the open, more than 1.5 m anywhere, or any piece through a wall is where leads chafe and burn. It is a caution that
somebody must sign for and not a stop, only because the lengths are field practice from memory and no clause that
was read; treat it as a stop. Move the device to the source, or add one there. Where the distance is not stated,
measure it and write distance_from_source.""")
def _far(stage: Stage) -> Iterator[Hit]:
    for group, lead, borne in _leads(stage):
        if borne:
            continue
        one, runs = group[0], runs_told(group)
        if lead.metres is None:
            yield cannot_tell(about(group), f"{runs}: how far the device in the {lead.pole} stands from the "
                              "source is not stated, so how much of the lead is not protected cannot be told",
                              "Measure it and write distance_from_source.", limit=_SHORT, at=at(group))
            continue
        yield broken(about(group), f"{runs}: {_metres(lead.metres)} of the {lead.pole} before the device is not "
                     f"protected; it lies {_laid(one)}{_wall(one)}. This would be a stop if its limits of {_SHORT}, "
                     f"and {_ENCLOSED} in an enclosure, were not from memory",
                     "Move the device to the source, or add one there.", got=figure(lead.metres, "m"),
                     limit=_SHORT if one.run.laid in (None, "free air") else _ENCLOSED, at=at(group))


def _wall(one: Circuit) -> str:
    if one.run.through_wall is None:
        return ", and nobody says whether it goes through a wall" if one.run.laid == "conduit" else ""
    return ", and the run goes through a wall" if one.run.through_wall else ""


# ---- direction and voltage ----

@rule("device-polarised", "power", broken=Level.STOP, unknown=Level.STOP,
      meaning="A polarised device stands in a run that carries current in both directions.",
      source="common practice",
      explain="""A polarised breaker blows its arc out with magnets that work for one direction of current. With the
current reversed it drives the arc into itself: it does not interrupt, and burns. The runs of packs and inverters
and between busbars carry charge one way and load the other, and a fault comes from either end. Only devices that
are stated to be not polarised belong there. Where the record does not say, look for a plus and a minus, or line and
load, printed on the device: then it is polarised.""")
def _polarised(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one, runs = group[0], runs_told(group)
        for guards, verdict in _by_verdict([(g, carries_both(g)) for g in one.guards] if one.both_ways else []):
            names = joined(list(dict.fromkeys(of_guard(guard) for guard in guards)))
            more = {"at": at(group), "facts": _all_used(guards, "polarised")}
            if verdict.answer is Answer.BROKEN:
                yield broken(about(group), f"{runs}: {names} is polarised, and the run carries current in "
                             "both directions", "Take a device that is not polarised.", **more)
            else:
                yield cannot_tell(about(group), f"{runs}: the run carries current in both directions, and "
                                  f"whether {names} may is not known: {why(verdict.missing)}",
                                  todo(verdict.missing), **more)


def _by_verdict(found: Sequence[tuple[Guard, Verdict]]) -> Iterator[tuple[list[Guard], Verdict]]:
    """Devices of one record that fail alike are told together."""
    groups: dict[tuple[str, bool, Answer], tuple[list[Guard], Verdict]] = {}
    for guard, verdict in found:
        if verdict.answer is not Answer.HOLDS:
            groups.setdefault((guard.record.id, guard.built_in, verdict.answer), ([], verdict))[0].append(guard)
    yield from groups.values()


def _all_used(guards: Sequence[Guard], *names: str) -> tuple[FactUsed, ...]:
    return tuple(dict.fromkeys(fact for guard in guards for fact in used(guard, *names)))


@rule("device-not-for-dc-voltage", "power", broken=Level.STOP, unknown=Level.STOP,
      meaning="A device is not rated for the highest DC voltage that its bank can reach.",
      source="NEC 706 where the site names an edition of it, else common practice",
      explain="""A fuse or breaker interrupts up to a stated DC voltage; above it the arc goes on burning inside. An
AC rating says nothing about DC, where no zero crossing puts the arc out, and many bolt-down fuses end at 32 or 58
V. What counts is the highest voltage that can stand on the bank: the full and the highest charge voltage of every
pack, and what inverters and chargers may go up to. Take a device with a stated DC voltage not below it.""")
def _voltage(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one, runs = group[0], runs_told(group)
        for guards, verdict in _by_verdict([(guard, for_voltage(one, guard)) for guard in one.guards]):
            names = joined(list(dict.fromkeys(of_guard(guard) for guard in guards)))
            more = {"at": at(group), "source": by_code(stage.site, "device for DC"),
                    "facts": (*_all_used(guards, "dc_v"), *facts(verdict.missing))}
            got, limit = verdict.got, verdict.limit
            bank = "" if got is None else f"the bank can stand at {volts(got)}"
            may = "" if limit is None else f"{names} is rated for {volts(limit)} DC"
            if verdict.answer is Answer.BROKEN:
                yield broken(about(group), f"{runs}: {bank}, and {may}",
                             "Take a device for that DC voltage.", got=volts(got) if got else None,
                             limit=volts(limit) if limit else None, **more)
            else:
                yield cannot_tell(about(group), f"{runs}: whether {names} is made for the DC voltage of the "
                                  f"bank cannot be told: {why(verdict.missing)}", todo(verdict.missing), **more)


# ---- opening it ----

@rule("no-isolation", "power", broken=Level.CAUTION, unknown=Level.CAUTION,
      broken_also=(Level.STOP,), unknown_also=(Level.STOP,),
      meaning="Nothing opens the run of a pack by hand.",
      source="NEC 706.15 where the site names an edition of it, else common practice",
      explain="""Somebody will have to take this pack off the busbar one day, perhaps in a hurry. Without a breaker, a
switch or a fuse that can be drawn in its run the only way is a spanner on a live stud. A fuse inside the pack is no
means of isolation, nor is the BMS. Put a breaker or a switch into the run; where somebody signs for doing without,
all other packs must be off before a lug is opened.""")
def _isolation(stage: Stage) -> Iterator[Hit]:
    level = Level.STOP if is_nec(stage.site.code) else Level.CAUTION
    for group in circuits(stage):
        one, runs = group[0], runs_told(group)
        answer, them = can_be_opened(one), "them" if len(group) > 1 else "it"
        if one.kind != "pack" or answer is Answer.HOLDS:
            continue
        more = {"at": at(group), "source": by_code(stage.site, "means of isolation"), "level": level}
        if answer is Answer.BROKEN:
            yield broken(about(group), f"{runs}: nothing opens {them} by hand but a spanner on a live stud",
                         "Put a breaker, a switch or a fuse that can be drawn into the run.", **more)
        else:
            causes = [guard.lacking("kind") for guard in one.guards
                      if kind_of(guard, "breaker", "switch", "fuse") is Answer.CANNOT_TELL]
            yield cannot_tell(about(group), f"{runs}: whether anything opens {them} by hand cannot be told: "
                              f"{why(causes)}", todo(causes, "Or put a breaker or a switch into the run."),
                              facts=facts(causes), **more)


@rule("opens-without-current-only", "power", broken=Level.NOTE, unknown=Level.NOTE,
      meaning="A run can be opened or closed only while no current flows in it, or nobody says that it may otherwise.",
      source="record",
      explain="""A fuse link that is drawn, or a switch without load-break duty that is opened under load, draws an
arc between the contacts that burns whoever holds it. Such a run is opened and closed only at 0 A: the inverters and
chargers off and the other end open first, in every order of work. Measure the current with a clamp before a hand
goes near it. Where the record does not say whether it may be opened under load, it may not.""")
def _without_current(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        found, runs = opened_under_load(group[0]), runs_told(group)
        if found is None or found[0] is Answer.HOLDS:
            continue
        answer, guards = found
        names = joined(list(dict.fromkeys(of_guard(guard) for guard in guards)))
        more = {"at": at(group), "facts": _all_used(guards, "load_break")}
        if answer is Answer.BROKEN:
            yield broken(about(group), f"{runs}: {names} is opened and closed at 0 A only",
                         "Switch the inverters and chargers off, and measure 0 A, before it is touched.", **more)
        else:
            causes = [guard.lacking("load_break") for guard in guards]
            yield cannot_tell(about(group), f"{runs}: whether {names} may be opened under load is not known, "
                              "so it is opened and closed at 0 A only", todo(causes), **more)


