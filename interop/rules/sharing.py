"""Rules of sharing: does every pack, busbar and terminal keep its limit while the bank as a whole is within its own?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from interop.circuit.converters import Converter
from interop.circuit.overload import Carried, carried
from interop.circuit.picture import Picture, losses, pictures
from interop.records.answers import Answer
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import fact_missing, figure, joined, look_up, named
from interop.site.site import Device
from interop.wiring.busbar import lowest
from interop.wiring.stage import Stage

__all__: list[str] = []

_STATE = {"discharge": "at the highest load", "charge": "with every charger at full current"}
_UNEVEN = 1.5
_DROP = 0.03


def _amps(value: float) -> str:
    return figure(round(value, 1), "A")


@rule("pack-passes-its-limit", "sharing", broken=Level.STOP, unknown=Level.STOP,
      meaning="A pack carries more than it may although the bank as a whole is within its rating.",
      source="common practice",
      explain="""Packs on one busbar share current by resistance, not by rating: a pack with little resistance behind
short leads takes more than its part. The limits of the packs added up say nothing. Here every pack's current is
computed from the resistances of packs, leads, lugs and busbars; what nobody stated lies anywhere in a range that is
printed, and the answer has to hold over all of it. Put the load or the chargers lower, give the pack leads of the same
length and size as the others, or state the resistances that are known from a measurement.""")
def _packs(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        rows = [one for one in carried(picture) if one.element.kind == "pack"]
        for _, group in groupby(rows, key=lambda one: _alike(picture, one)):
            yield _pack_hit(picture, list(group))


def _alike(picture: Picture, one: Carried) -> tuple[object, ...]:
    """Packs of one record in one state are told together."""
    record = picture.bank.packs[one.element.at].record
    return record.id, one.way, one.answer.value, one.limit_a is None


def _pack_hit(picture: Picture, rows: Sequence[Carried]) -> Hit:
    first = max(rows, key=lambda one: one.amps)
    about = tuple(one.element.name for one in rows)
    record = picture.bank.packs[first.element.at].record
    path = f"limits.{first.way}_a"
    if first.limit_a is None:
        facts = (_limit_used(picture, first),)
        return cannot_tell(about, f"{named(about)} carr{'y' if len(about) > 1 else 'ies'} up to {_amps(first.amps)} "
                           f"{_STATE[first.way]}; whether {record.id} may is not stated.",
                           f"Look up the continuous {first.way} current of {record.id} and state {path}.", facts=facts)
    facts = (_limit_used(picture, first),)
    most = max(one.highest_a for one in rows)
    text = (f"{first.element.name} carries {_amps(first.amps)} {_STATE[first.way]}, and {_within(most)}; it may carry "
            f"{_amps(first.limit_a)}.")
    if len(rows) > 1:
        text += f" {named(about)} alike."
    make = broken if first.answer is Answer.BROKEN else cannot_tell
    todo = ("Lower the load or the chargers, make the leads of all packs alike, or measure and state the resistances "
            "that are assumed." if first.way == "discharge" else
            "Set the chargers lower, make the leads of all packs alike, or measure and state the resistances that are "
            "assumed.")
    return make(about, text, todo, got=_amps(first.amps), limit=_amps(first.limit_a), facts=facts)


def _within(most_a: float) -> str:
    if most_a == float("inf"):
        return "how much more within the tolerances of the resistances cannot be told"
    return f"up to {_amps(most_a)} within the tolerances of the resistances"


def _limit_used(picture: Picture, one: Carried) -> FactUsed:
    device = picture.bank.packs[one.element.at]
    return fact_used(device, f"limits.{one.way}_a", getattr(device.record.limits, f"{one.way}_a"))


@rule("busbar-overloaded", "power", broken=Level.STOP, unknown=Level.STOP,
      meaning="A busbar, or the terminals of a pack that others are cascaded through, carries more than it may.",
      source="record",
      explain="""Between two posts a busbar carries everything that stands on its far side; the terminals of a pack that
others are joined to carry the current of all of them. Which post a lead lands on decides how much. Spread the sources
and the loads along the busbar, feed it where most of the current leaves it, use a heavier one, or give each pack a
run of its own.""")
def _bars(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        found: dict[tuple[str, str, bool], list[Carried]] = {}
        for one in carried(picture):
            if one.element.kind == "branch" and one.limit_a is not None:
                branch = picture.bank.branches[one.element.at]
                endless = one.highest_a == float("inf")     # one answer for all that nothing bounds
                name = branch.owner if endless else branch.name.removeprefix(f"{branch.pole} ")
                if branch.what != "device":
                    found.setdefault((name, one.way, endless), []).append(one)
        for rows in found.values():
            yield _bar_hit(picture, rows)
        yield from _through_unknown(picture)


def _through_unknown(picture: Picture) -> Iterator[Hit]:
    """Packs that others are joined through, of which nobody states what their terminals may carry."""
    ends = {run.b for run in picture.bank.runs}
    for device in picture.bank.packs:
        fact = device.record.limits.through_terminals_a
        if device.id in ends and lowest(fact) is None:
            record, path = device.record.id, "limits.through_terminals_a"
            yield cannot_tell((device.id,), f"Others are joined through the terminals of {device.id}; whether they may "
                              f"carry that is not known: {fact_missing(record, path, fact)}.",
                              look_up(record, path, fact), facts=(fact_used(device, path, fact),))


def _bar_hit(picture: Picture, rows: Sequence[Carried]) -> Hit:
    """What one step of a busbar, or one pack's terminals, carries; both poles are told together."""
    one = max(rows, key=lambda row: (row.highest_a, row.amps))
    branch = picture.bank.branches[one.element.at]
    poles = " and ".join(dict.fromkeys(picture.bank.branches[row.element.at].pole for row in rows))
    bar = branch.what == "bar"
    what = (f"Busbar {branch.name.split(' busbar ')[-1]} ({poles}) carries" if bar else
            f"The terminals of {branch.owner} ({poles}), through which others are joined, carry")
    limit = one.limit_a or 0.0
    make = broken if any(row.answer is Answer.BROKEN for row in rows) else cannot_tell
    return make(_near(picture, branch.owner), f"{what} {_amps(one.amps)} {_STATE[one.way]}{_up_to(one)}; "
                f"{'it' if bar else 'they'} may carry {_amps(limit)}.",
                "Spread sources and loads along it, use a heavier one, or give packs runs of their own.",
                got=_amps(one.amps), limit=_amps(limit))


def _up_to(one: Carried) -> str:
    if one.highest_a - one.amps < 0.1:
        return ""
    return f", and {_within(one.highest_a)}"


def _near(picture: Picture, owner: str) -> tuple[str, ...]:
    """The devices whose runs end on a busbar, or the device itself."""
    if owner in picture.of_pack:
        return (owner,)
    return tuple(dict.fromkeys(end for run in picture.bank.runs if owner in (run.a, run.b)
                               for end in (run.a, run.b) if end in picture.stage.site.devices))


@rule("load-above-the-inverters", "power", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="The highest load of the site is more than its inverters are rated for together.",
      source="common practice",
      explain="""An inverter gives what it is rated for, and switches off above it. Where the site file asks for more,
everything is computed with what the inverters can give, so the packs, leads and devices are judged for that and not for
the load that was meant. Lower the load, or add an inverter and plan again: all currents change.""")
def _load_asked(stage: Stage) -> Iterator[Hit]:
    load = stage.site.load.highest_w
    drawing = [device for device in stage.site.devices.values() if device.record.kind in ("controller", "load")]
    given = [lowest(device.record.limits.power_w) for device in drawing]
    if stage.name != "planned" or load is None or not drawing:
        return
    silent = [device for device, watts in zip(drawing, given, strict=True) if watts is None]
    if silent:
        records = {device.record.id: device.record.limits.power_w for device in silent}
        missing = joined([fact_missing(record, "limits.power_w", fact) for record, fact in records.items()])
        yield cannot_tell(tuple(device.id for device in silent), f"Whether the highest load can be given is not known: "
                          f"{missing}.", " ".join(look_up(record, "limits.power_w", fact)
                                                  for record, fact in records.items()),
                          facts=tuple(FactUsed(record, "limits.power_w", fact.state)
                                      for record, fact in records.items()))
        return
    least, most = (load, load) if isinstance(load, (int, float)) else (load.low, load.high)
    rated = sum((watts or 0.0) * device.units for watts, device in zip(given, drawing, strict=True))
    if most <= rated:
        return
    about = tuple(device.id for device in drawing)
    got, limit = figure(most, "W"), figure(rated, "W")
    make = broken if least > rated else cannot_tell
    yield make(about, f"The highest load is {got}, and {named(about)} give{'' if len(about) > 1 else 's'} {limit} "
               "together; all is computed with that.", "Lower the load, or add inverters and plan again.", got=got,
               limit=limit)


@rule("load-not-carried", "power", broken=Level.STOP, unknown=Level.STOP,
      meaning="The highest load cannot be carried: an inverter meets its low limit, or the voltage collapses.",
      source="common practice",
      explain="""An inverter draws constant power: the lower the voltage, the higher the current, until it meets its low
limit and drops the load. Computed nearly empty, where it is hardest. Lower the highest load, shorten or thicken the
leads, add packs, or set the low limit of the inverter lower where its manual and the packs allow it.""")
def _load(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        solution = picture.at_load
        drawing = [one for one in picture.converters if one.draws]
        if solution is None:
            unknown = [one.spot.device for one in drawing if one.power_w is None]
            if unknown:
                yield _power_not_stated(picture, unknown)
            continue
        if not solution.outcome.holds:
            ports = solution.outcome.about or tuple(one.name for one in drawing)
            yield broken(tuple(dict.fromkeys(_device(picture, name) for name in ports)),
                         "The bank cannot deliver the highest load: the voltage collapses.",
                         "Lower the highest load, or shorten and thicken the leads.")
            continue
        for i, one in enumerate(picture.converters):
            if one.draws and one.lowest_v is None:
                yield _low_not_stated(one, float(solution.port_v[i]))
            elif one.draws and one.lowest_v is not None and float(solution.port_v[i]) < one.lowest_v:
                yield _low(one, float(solution.port_v[i]), one.lowest_v)


def _low(one: Converter, volts: float, limit_v: float) -> Hit:
    stands, limit = figure(round(volts, 1), "V"), figure(limit_v, "V")
    return broken((one.spot.device.id,), f"{one.name} stands at {stands} at the highest load when the bank is nearly "
                  f"empty; its low limit is {limit}.",
                  "Lower the highest load, shorten or thicken the leads, or add packs.", got=stands, limit=limit,
                  facts=(fact_used(one.spot.device, "limits.lowest_v", one.spot.device.record.limits.lowest_v),))


def _low_not_stated(one: Converter, volts: float) -> Hit:
    device = one.spot.device
    fact = device.record.limits.lowest_v
    stands = figure(round(volts, 1), "V")
    return cannot_tell((device.id,), f"{one.name} stands at {stands} at the highest load when the bank is nearly "
                       "empty; whether it still runs is not known: "
                       f"{fact_missing(device.record.id, 'limits.lowest_v', fact)}.",
                       look_up(device.record.id, "limits.lowest_v", fact),
                       facts=(fact_used(device, "limits.lowest_v", fact),))


def _power_not_stated(picture: Picture, devices: Sequence[Device]) -> Hit:
    """Everything that would be worked out of the load is not known: the packs are told too."""
    silent = tuple(dict.fromkeys(device.id for device in devices))
    records = list(dict.fromkeys(device.record.id for device in devices))
    first = devices[0]
    return cannot_tell((*silent, *picture.of_pack), f"What {named(silent)} may draw is not stated: nothing can be said "
                       "of the currents of the packs.", f"Look up the rated power of {named(records)} and state "
                       "limits.power_w.", facts=(fact_used(first, "limits.power_w", first.record.limits.power_w),))


def _device(picture: Picture, port: str) -> str:
    return next(one.spot.device.id for one in picture.converters if one.name == port)


@rule("voltage-drop-large", "power", broken=Level.CAUTION, unknown=Level.NOTE,
      meaning="Leads, lugs and devices between packs and inverter lose more than three hundredths of the voltage.",
      source="common practice",
      explain="""What is lost in leads is heat in lugs and a low limit that is met early. Three hundredths at the
highest load is what installers keep to (common practice); no code forbids more. A loss far above what length and size
of the leads explain is a loose lug: find it before power is closed. Lugs and devices that nobody measured lie in a
range; where only its bad end loses so much, the answer is that it cannot be told.""")
def _drop(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        for one, usual, most in losses(picture):
            if most <= _DROP:
                continue
            text = f"Between the packs and {one.name} {usual:.1%} of the voltage are lost at the highest load"
            if usual > _DROP:
                yield broken((one.spot.device.id,), f"{text}.", "Shorten or thicken the leads.", got=f"{usual:.1%}",
                             limit=f"{_DROP:.0%}")
            else:
                yield cannot_tell((one.spot.device.id,), f"{text}, and up to {most:.1%} if lugs and devices are as bad "
                                  "as they may be.", "Measure the volts lost across each lug and device under load.",
                                  got=f"{usual:.1%}", limit=f"{_DROP:.0%}")


@rule("equal-packs-share-unevenly", "sharing", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="Packs of one model carry very unlike currents, by their leads or their places on the busbar.",
      source="common practice",
      explain="""Equal packs ought to age alike. Where one carries half as much again as another, its leads are
shorter or it stands nearer to the post where the current leaves: it is cycled harder, fills and empties first, and
trips first. Make all leads of a rack the same length, and feed the rack diagonally: plus at one end, minus at the
other.""")
def _uneven(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        if picture.sharing_out is None:
            continue
        groups: dict[str, list[tuple[float, str]]] = {}
        for device, part in zip(picture.bank.packs, picture.sharing_out.pack_share, strict=True):
            groups.setdefault(device.record.id, []).append((float(part), device.id))
        for rows in groups.values():
            (least, weak), (most, strong) = min(rows), max(rows)
            if len(rows) > 1 and most > _UNEVEN * least:
                yield broken((strong, weak), f"{strong} takes {most:.1%} of the current and {weak}, of the same model, "
                             f"{least:.1%}.", "Make the leads alike, and feed the rack diagonally.",
                             got=f"{most / least:.2g} to 1", limit=f"{_UNEVEN:g} to 1")
