"""Rules of the settings subject about charging: what a manager may order, what a controller may do by itself, cold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isnan

from interop.choose.controller import charge_currents
from interop.circuit.converters import Converter
from interop.circuit.picture import Picture, Sure, pictures
from interop.records.answers import Answer
from interop.records.facts import Fact
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import fact_missing, figure, joined, look_up, named
from interop.site.site import Device
from interop.wiring.busbar import highest, lowest
from interop.wiring.stage import Stage, busbars_of

__all__: list[str] = []


def _charging(stage: Stage) -> Iterator[tuple[Device, tuple[str, ...]]]:
    """Every device that charges a bank, with the packs of the bank; each once."""
    site = stage.site
    if stage.name != "planned":
        return
    drawn = {run.a for run in site.runs}
    where = busbars_of(site)
    by_busbar = {where[name]: bank for bank in reversed(stage.banks) for name in bank if name in where}
    for device in site.devices.values():
        if device.kind == "pack" or device.record.kind not in ("controller", "charger"):
            continue
        if len(stage.banks) == 1:
            yield device, stage.banks[0]
        elif device.id in drawn and where.get(device.id) in by_busbar:
            yield device, by_busbar[where[device.id]]


@rule("equalise-cannot-be-off", "settings", broken=Level.STOP, unknown=Level.STOP,
      meaning="An inverter or charger cannot switch off equalising or temperature compensation.",
      source="common practice",
      explain="""Equalising holds a lead battery above its charge voltage for hours, and temperature compensation
raises the charge voltage when it is cold. LFP cells want neither: both drive them past their highest voltage, and the
packs open one after the other under full current. A converter that cannot leave them off is unfit for LFP packs.
Where its record does not say, look into the battery chapter of its manual for both words, state what it says, and set
both off on the day.""")
def _equalise(stage: Stage) -> Iterator[Hit]:
    for device, bank in _charging(stage):
        if all(_another_chemistry(stage.device(name)) for name in bank):
            continue
        facts = device.record.converter
        for what, path, fact in (("equalising", "converter.equalise_off", facts.equalise_off),
                                 ("temperature compensation", "converter.compensation_off", facts.compensation_off)):
            yield from _off(device, what, path, fact)


def _another_chemistry(pack: Device) -> bool:
    """Whether a pack surely has other cells than LFP."""
    chemistry = None if pack.record.cells is None else pack.record.cells.chemistry
    return chemistry is not None and chemistry.known and all(value != "lfp" for value in chemistry.values)


def _off(device: Device, what: str, path: str, fact: Fact[bool]) -> Iterator[Hit]:
    record, used = device.record.id, (fact_used(device, path, fact),)
    answer = fact.judge(lambda can: Answer.HOLDS if can else Answer.BROKEN) if fact.known else Answer.CANNOT_TELL
    if answer is Answer.BROKEN:
        yield broken((device.id,), f"{device.id} ({record}) cannot switch off {what}: it is unfit for LFP packs.",
                     "Use another converter, or keep it off this busbar.", facts=used)
    elif answer is Answer.CANNOT_TELL:
        yield cannot_tell((device.id,), f"Whether {device.id} can switch off {what} is not known: "
                          f"{fact_missing(record, path, fact)}", look_up(record, path, fact), facts=used)


@rule("charge-current-to-be-set", "settings", broken=Level.CAUTION, unknown=Level.STOP, broken_also=(Level.STOP,),
      meaning="With every charger at full current some pack would pass its limit: they must be set lower.",
      source="common practice",
      explain="""All chargers can run at full at once: sun, generator and inverter do not know of each other. The
charge current that each may give is worked out so that no pack passes its limit wherever the resistances lie, and
stands among the settings of the plan. Set it in every one of them before power is closed, and read it back. Where a
charger does not state what it gives, or a pack what it takes, no safe current can be named. A charger that cannot be
set lower is unfit for this bank.""")
def _charge_current(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        planned, sure = charge_currents(picture), picture.sure_charge_a
        charging = [one for one in picture.converters if one.charge_a != 0]
        if not charging:
            continue
        about = tuple(dict.fromkeys(one.spot.device.id for one in charging))
        if planned is None or sure is None:
            yield _charge_unknown(picture, charging)
        elif planned != picture.charge_plan:
            yield broken(about, f"Set the charge current lower: {_each(picture, planned)}. At "
                         f"{picture.planned_charge_a:g} A together a pack passes its limit before it is full.",
                         "Enter these currents before power is closed, and read them back.",
                         got=figure(picture.planned_charge_a, "A"), limit=figure(sum(planned), "A"))
        elif sure.amps >= picture.chargers_a:
            continue
        elif sum(planned) >= picture.chargers_a:
            yield _not_settable(picture, charging, sure)
        else:
            yield broken(about, f"Set the charge current lower: {_each(picture, planned)}. At full, "
                         f"{picture.chargers_a:g} A together, {sure.first} may pass its limit.",
                         "Enter these currents before power is closed, and read them back.",
                         got=figure(picture.chargers_a, "A"), limit=figure(round(sure.amps), "A"))


def _each(picture: Picture, amps: Sequence[float]) -> str:
    return ", ".join(f"{one.name} {a:g} A" for one, a in zip(picture.converters, amps, strict=True) if one.charge_a)


def _not_settable(picture: Picture, charging: Sequence[Converter], sure: Sure) -> Hit:
    """The current must be lower and some charger cannot be set, or does not state whether it can."""
    path = "converter.current_settable"
    about = tuple(dict.fromkeys(one.spot.device.id for one in charging))
    stuck = {one.spot.device.record.id: one.spot.device.record.converter.current_settable
             for one in charging if not one.settable}
    facts = tuple(FactUsed(record, path, fact.state) for record, fact in stuck.items())
    got, limit = figure(picture.chargers_a, "A"), figure(round(sure.amps), "A")
    text = f"At full, {got} together, {sure.first} may pass its limit above {limit}; "
    no = [record for record, fact in stuck.items() if fact.known and all(word is False for word in fact.values)]
    if no:
        return broken(about, f"{text}the charge current of {named(no)} cannot be set lower.",
                      "Use chargers that can be set, or packs that take more.", got=got, limit=limit, facts=facts,
                      level=Level.STOP)
    why = joined([fact_missing(record, path, fact) for record, fact in stuck.items()])
    return cannot_tell(about, f"{text}whether it can be set lower is not known: {why}.",
                       " ".join(look_up(record, path, fact) for record, fact in stuck.items()), got=got, limit=limit,
                       facts=facts)


def _charge_unknown(picture: Picture, charging: Sequence[Converter]) -> Hit:
    """Why no safe charge current can be named; the packs are told too, for nothing is known of what they get."""
    about = (*dict.fromkeys(one.spot.device.id for one in charging), *picture.of_pack)
    silent = [one.spot.device for one in charging if one.charge_a is None]
    silent += [d for d, amps in zip(picture.bank.packs, picture.limits.charge_a, strict=True) if isnan(amps)]
    facts = {d.record.id: d.record.limits.charge_a for d in silent}
    text = "Which charge current is safe is not known: "
    if not facts:
        return cannot_tell(about, f"{text}the packs differ in their voltage, so that current passes between them.",
                           "State the chemistry and the count of cells of every pack.")
    why = joined([fact_missing(record, "limits.charge_a", fact) for record, fact in facts.items()])
    return cannot_tell(about, f"{text}{why}.",
                       " ".join(look_up(record, "limits.charge_a", fact) for record, fact in facts.items()),
                       facts=tuple(FactUsed(record, "limits.charge_a", fact.state) for record, fact in facts.items()))


# ---- earth ----

@rule("inverter-not-isolated", "settings", broken=Level.STOP, unknown=Level.CAUTION, broken_also=(Level.CAUTION,),
      meaning="An inverter does not isolate its battery side from the mains side.",
      source="common practice",
      explain="""Without isolation between its two sides an inverter puts both poles of the bank at mains voltage to
earth. A pole that is bonded to earth then carries the mains fault, and whoever touches a terminal touches the mains.
No pole may be bonded, every data link to an earthed device has to be isolated, and everybody who works at the bank must
know it. Look up whether the inverter isolates; where nobody says, treat both poles as live.""")
def _not_isolated(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned":
        return
    live = "both poles of the bank may be at mains voltage to earth"
    for device in stage.site.devices.values():
        fact = device.record.converter.isolated
        if device.record.kind != "controller" or fact.only is True:
            continue
        facts, who = (fact_used(device, "converter.isolated", fact),), f"{device.id} ({device.record.id})"
        if fact.only is None:
            yield cannot_tell((device.id,), f"Whether {who} isolates the battery side is not known: "
                              f"{fact_missing(device.record.id, 'converter.isolated', fact)}; {live}.",
                              look_up(device.record.id, "converter.isolated", fact), facts=facts)
        elif stage.site.dc_ground == "floating":
            yield broken((device.id,), f"{who} does not isolate the battery side: {live}.",
                         "Tell everybody who works at the bank, and bond no pole to earth.", facts=facts,
                         level=Level.CAUTION)
        else:
            yield broken((device.id,), f"{who} does not isolate the battery side, and the site file says of the earth: "
                         f"dc_ground {stage.site.dc_ground}; {live}.",
                         "Bond no pole to earth, or use an inverter that isolates.", facts=facts)


# ---- what a manager may order ----

def _unmanaged(stage: Stage, bank: Sequence[str]) -> list[Device]:
    return [stage.device(name) for name in bank if stage.packs[name].role == "unmanaged"]


@rule("orders-exceed-unmanaged", "settings", broken=Level.STOP, unknown=Level.STOP,
      meaning="A manager may order a charge voltage that a pack without a data link does not bear.",
      source="common practice",
      explain="""In closed loop the controller charges to the voltage that the manager orders, and the manager knows
only its own packs. Where the controller takes the lower of that order and its own setting, the setting protects the
others. Where it ignores its own setting, or its record does not say, the highest order of the manager counts: no pack
on the busbar may be harmed by it. The way out is open loop: no data cable to the controller, its own settings as
printed.""")
def _orders(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        manager = stage.site.devices.get(link.manager or "")
        bank = next((b for b in stage.banks if link.manager in b), ())
        others = _unmanaged(stage, bank) if stage.name == "planned" and link.judged else []
        if manager is None or not others:
            continue
        for controller in map(stage.device, link.reports_to):
            yield from _orders_of(manager, controller, others)


def _orders_of(manager: Device, controller: Device, others: Sequence[Device]) -> Iterator[Hit]:
    local = controller.record.follows.local_limits
    holds = local.judge(lambda word: Answer.HOLDS if word == "lower of both" else Answer.BROKEN) if local.known else (
        Answer.CANNOT_TELL)
    if holds is Answer.HOLDS:
        return
    order = _highest_order(manager)
    for record, group in _by_record(others).items():
        cells = group[0].record.cells
        bears = None if cells is None else lowest(cells.charge_highest_v) or lowest(cells.charge_v)
        if order is not None and bears is not None and order <= bears:
            continue
        about = (controller.id, *(d.id for d in group))
        facts = (fact_used(controller, "follows.local_limits", local),)
        text = (f"{manager.id} may order {'a voltage that is not stated' if order is None else figure(order, 'V')}; "
                f"{record} bears {'what is not stated' if bears is None else figure(bears, 'V')}, and "
                f"{named([d.id for d in group])} {'have' if len(group) > 1 else 'has'} no say in it")
        if holds is Answer.BROKEN and order is not None and bears is not None:
            yield broken(about, f"{text}: {controller.id} ignores its own limits in closed loop.",
                         "Run the controller in open loop with its own settings.", got=figure(order, "V"),
                         limit=figure(bears, "V"), facts=facts)
        else:
            named_path = controller.record.id, "follows.local_limits"
            yield cannot_tell(about, f"{text}; whether {controller.id} keeps its own limits in closed loop is not "
                              f"known: {fact_missing(*named_path, local)}", look_up(*named_path, local), facts=facts)


def _highest_order(manager: Device) -> float | None:
    cells = manager.record.cells
    if cells is None:
        return None
    found = [v for v in (highest(cells.charge_highest_v), highest(cells.charge_v)) if v is not None]
    return max(found) if found else None


def _by_record(devices: Sequence[Device]) -> dict[str, list[Device]]:
    found: dict[str, list[Device]] = {}
    for device in devices:
        found.setdefault(device.record.id, []).append(device)
    return found


# ---- cold ----

@rule("charged-when-too-cold", "settings", broken=Level.STOP, unknown=Level.STOP, broken_also=(Level.CAUTION,),
      unknown_also=(Level.CAUTION,),
      meaning="A pack without a data link may be charged when it is colder than it may be.",
      source="record",
      explain="""Charging LFP cells below their lowest temperature plates lithium on the cells: they are harmed for
good, and nobody sees it. A managed pack can tell the controller; an unmanaged one must look after itself. If its BMS
blocks the charge it is safe; if it opens, the pack is gone while it is cold, and the others carry all; if it does
nothing, or nobody says, it must not stand where it can be so cold. Warm the place, or use a pack whose BMS blocks the
charge.""")
def _cold(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned":
        return
    for bank in stage.banks:
        for group in _by_record(_unmanaged(stage, bank)).values():
            yield from _cold_of([d for d in group if _may_be_cold(d) is not Answer.HOLDS])


def _may_be_cold(device: Device) -> Answer:
    """Whether a pack stays warm enough to be charged in its place."""
    ambient = device.ambient_c
    coldest = None if ambient is None else ambient if isinstance(ambient, (int, float)) else ambient.low
    least = lowest(device.record.limits.charge_c)
    if coldest is None or least is None:
        return Answer.CANNOT_TELL
    return Answer.HOLDS if coldest >= least else Answer.BROKEN


def _cold_of(group: Sequence[Device]) -> Iterator[Hit]:
    if not group:
        return
    first = group[0]
    when_cold = first.record.electric.bms.when_cold
    if when_cold.only == "blocks charge":
        return
    about = tuple(d.id for d in group)
    limit = first.record.limits.charge_c
    facts = (fact_used(first, "limits.charge_c", limit), fact_used(first, "electric.bms.when_cold", when_cold))
    may = "can be colder than it may be charged" if _may_be_cold(first) is Answer.BROKEN else _cold_unknown(first)
    text = f"{named(about)} ({first.record.id}) {may}"
    if when_cold.only == "opens" and _may_be_cold(first) is Answer.BROKEN:
        yield broken(about, f"{text}: its BMS opens then, and the other packs carry everything.",
                     "Warm the place, or plan for these packs to be gone when it is cold.", level=Level.CAUTION,
                     facts=facts)
    elif when_cold.only == "nothing" and _may_be_cold(first) is Answer.BROKEN:
        yield broken(about, f"{text}, and its BMS does nothing about it.",
                     "Warm the place, or use packs whose BMS blocks the charge.", facts=facts)
    else:
        level = Level.CAUTION if when_cold.only == "opens" else None     # the cells themselves are then safe
        yield cannot_tell(about, f"{text}; what its BMS does then: "
                          f"{when_cold.only or fact_missing(first.record.id, 'electric.bms.when_cold', when_cold)}",
                          _cold_todo(first), facts=facts, level=level)


def _cold_unknown(device: Device) -> str:
    if device.ambient_c is None:
        return "may stand where it is too cold to be charged: the site states no ambient"
    return ("may be too cold to be charged: "
            f"{fact_missing(device.record.id, 'limits.charge_c', device.record.limits.charge_c)}")


def _cold_todo(device: Device) -> str:
    todo = []
    if device.ambient_c is None:
        todo.append("State ambient_c of the site or of the rack.")
    if not device.record.limits.charge_c.known:
        todo.append(look_up(device.record.id, "limits.charge_c", device.record.limits.charge_c))
    when_cold = device.record.electric.bms.when_cold
    if not when_cold.known:
        todo.append(look_up(device.record.id, "electric.bms.when_cold", when_cold))
    return " ".join(todo) or "Warm the place, or use packs whose BMS blocks the charge."

