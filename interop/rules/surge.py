"""Rules about seconds: the surge of an inverter, and a charger whose battery is gone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from interop.circuit.bank import run_name
from interop.circuit.converters import Converter
from interop.circuit.picture import MOST_SEARCHED, Picture, pictures
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import fact_missing, figure, joined, look_up, named
from interop.site.site import Device
from interop.wiring.busbar import highest, lowest
from interop.wiring.stage import Stage

if TYPE_CHECKING:
    from interop.circuit.surge import Surge

__all__: list[str] = []


@rule("surge-passes-the-peak", "sharing", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="For the seconds of an inverter's surge a pack gives more than its peak.",
      source="common practice",
      explain="""A motor that starts draws several times its power for a second or two. Packs share that by their ohmic
resistance: one of low resistance gives most of it, and its BMS opens if its peak is lower or shorter than the surge.
Every inverter is taken at its surge at once, nearly empty, with all packs on and with any one of them out. Start large
motors softly, or one after the other, or add packs of the strong kind.""")
def _surge(stage: Stage) -> Iterator[Hit]:
    if not stage.over_time:
        return
    from interop.circuit.surge import surge_of

    for picture in pictures(stage):
        if not 1 < len(picture.bank.packs) <= MOST_SEARCHED or not any(one.draws for one in picture.converters):
            continue
        rows = surge_of(picture)
        if rows is None:
            yield _surge_unknown(picture)
            continue
        groups: dict[str, list[Surge]] = {}
        for row in rows:
            if row.limit_a is None or row.one_out_a > row.limit_a:
                groups.setdefault(picture.bank.packs[picture.of_pack[row.pack]].record.id, []).append(row)
        for record, group in groups.items():
            yield _surge_hit(record, group)


def _surge_hit(record: str, group: list[Surge]) -> Hit:
    worst = max(group, key=lambda row: row.one_out_a)
    about = tuple(row.pack for row in group)
    amps = f"{figure(round(worst.amps, 1), 'A')}"
    if worst.one_out_a > worst.amps:
        amps += f", and {figure(round(worst.one_out_a, 1), 'A')} with {worst.out} out"
    text = f"For {worst.seconds:g} s of surge {worst.pack} ({record}) gives {amps}"
    if worst.limit_a is None:
        return cannot_tell(about, f"{text}; its peak for so long is not stated.",
                           f"Look up the peak current of {record} and state limits.discharge_peak_a.",
                           got=figure(round(worst.one_out_a, 1), "A"))
    return broken(about, f"{text}; for so long it may give {figure(worst.limit_a, 'A')}.",
                  "Start large motors softly or one after the other.", got=figure(round(worst.one_out_a, 1), "A"),
                  limit=figure(worst.limit_a, "A"))


def _surge_unknown(picture: Picture) -> Hit:
    silent = {one.spot.device.record.id: one.spot.device for one in picture.converters
              if one.draws and one.spot.device.record.converter.surge_w.only is None}
    about = (*dict.fromkeys(one.spot.device.id for one in picture.converters if one.draws), *picture.of_pack)
    if not silent:
        return broken(about, "The bank cannot deliver the surge of its inverters: the voltage collapses.",
                      "Start large motors softly or one after the other.")
    why = joined([fact_missing(name, "converter.surge_w", d.record.converter.surge_w) for name, d in silent.items()])
    return cannot_tell(about, f"What the packs give during a surge is not known: {why}.",
                       " ".join(look_up(name, "converter.surge_w", d.record.converter.surge_w)
                                for name, d in silent.items()),
                       facts=tuple(fact_used(d, "converter.surge_w", d.record.converter.surge_w)
                                   for d in silent.values()))


# ---- the battery is gone while something charges ----

@rule("load-dump", "sharing", broken=Level.STOP, unknown=Level.CAUTION, must_accept=True,
      meaning="When every pack refuses charge, a charger that obeys nobody may pass the voltage that devices bear.",
      source="common practice",
      explain="""A BMS that is full, cold or hot refuses charge without asking. A charger that no manager can stop then
feeds a busbar without a battery: how high its voltage goes for a moment is its own affair, and everything else on the
busbar has to bear it. Its record says how high (converter.without_battery_v); ask its maker where it does not. Let such
a charger be switched by a relay of the manager, or use one that obeys.""")
def _dump(stage: Stage) -> Iterator[Hit]:
    told = {name for link in stage.links for name in link.reports_to}
    for picture in pictures(stage):
        free = {one.spot.device.id: one for one in picture.converters
                if one.charge_a != 0 and one.spot.device.id not in told and one.spot.device.kind != "load"}
        for one in free.values():
            yield from _dump_of(picture, one)


def _dump_of(picture: Picture, one: Converter) -> Iterator[Hit]:
    device = one.spot.device
    fact = device.record.converter.without_battery_v
    volts = highest(fact)
    others: dict[str, Device] = {}
    for other in (*picture.bank.packs, *(spot.spot.device for spot in picture.converters)):
        if other.id != device.id:
            others.setdefault(other.record.id, other)
    bears = {name: lowest(other.record.limits.highest_v) for name, other in others.items()}
    about = tuple(dict.fromkeys((device.id, *(other.id for other in _all(picture)))))     # all of them have to bear it
    if volts is None:
        path = "converter.without_battery_v"
        yield cannot_tell(about, f"{device.id} obeys no manager; how high its voltage goes when every pack refuses "
                          f"charge is not known: {fact_missing(device.record.id, path, fact)}.",
                          look_up(device.record.id, path, fact), facts=(fact_used(device, path, fact),))
        return
    weak = [name for name, limit in bears.items() if limit is not None and volts > limit]
    silent = [name for name, limit in bears.items() if limit is None]
    text = f"{device.id} obeys no manager and reaches {figure(volts, 'V')} when every pack refuses charge"
    if weak:
        limit = min(limit for limit in bears.values() if limit is not None)
        yield broken(about, f"{text}; {named(weak)} bear{'s' if len(weak) == 1 else ''} {figure(limit, 'V')}.",
                     "Let the manager switch this charger, or use one that obeys.", got=figure(volts, "V"),
                     limit=figure(limit, "V"), facts=(fact_used(device, "converter.without_battery_v", fact),))
    elif silent:
        yield cannot_tell(about, f"{text}; what {named(silent)} bear{'s' if len(silent) == 1 else ''} is not "
                          "stated.", "Look up limits.highest_v of these records.", got=figure(volts, "V"),
                          facts=tuple(FactUsed(name, "limits.highest_v", others[name].record.limits.highest_v.state)
                                      for name in silent))


def _all(picture: Picture) -> Iterator[Device]:
    yield from picture.bank.packs
    yield from {one.spot.device.id: one.spot.device for one in picture.converters}.values()


# ---- ripple ----

@rule("ripple-passes-a-limit", "sharing", broken=Level.CAUTION, unknown=Level.NOTE,
      meaning="With the ripple of the inverters a pack, device or busbar carries more than its direct current says.",
      source="common practice",
      explain="""A single-phase inverter draws its power in pulses of twice the mains frequency. What its capacitors do
not keep away flows through the packs, shared by ohmic resistance: it heats leads and devices with its effective value
and can reach the short-circuit step of a BMS with its peak. Where the record of the inverter does not say how much
(converter.ripple), up to half of the direct current is taken, from memory, and the answer is that it cannot be told.
Leave room of a tenth or so on devices, or ask the maker.""")
def _ripple(stage: Stage) -> Iterator[Hit]:
    if not stage.over_time:
        return
    from interop.circuit.ripple import rippled

    for picture in pictures(stage):
        rows = [row for row in rippled(picture) if row.amps <= row.limit_a < row.most_a]
        for row in rows:
            sure = row.least_a > row.limit_a
            about = (row.name,) if row.is_pack else _near_branch(picture, row.name)
            amps = figure(round(row.most_a, 1), "A")
            text = (f"{picture.told(row.name)} carries {figure(round(row.amps, 1), 'A')} at the highest load, and "
                    f"{'' if sure else 'up to '}{amps} with the ripple of the inverters; it may carry "
                    f"{figure(round(row.limit_a, 1), 'A')}.")
            make = broken if sure else cannot_tell
            yield make(about, text, "Lower the highest load, or ask the maker of the inverter for its ripple.",
                       got=amps, limit=figure(round(row.limit_a, 1), "A"))
        for row in rippled(picture):
            if row.is_pack and row.trip_a is not None and row.peak_a > row.trip_a:
                peak = figure(round(row.peak_a), "A")
                yield cannot_tell((row.name,), f"With the ripple of the inverters up to {peak} flow in {row.name} for "
                                  f"a moment; its BMS opens at once at {figure(row.trip_a, 'A')}.",
                                  "Ask the maker of the inverter for its ripple.")


def _near_branch(picture: Picture, name: str) -> tuple[str, ...]:
    branch = picture.bank.branches[picture.bank.at[name]]
    ends = [end for run in picture.bank.runs if branch.owner in (run.a, run.b, run_name(run)) for end in (run.a, run.b)]
    return tuple(dict.fromkeys(end for end in ends if end in picture.stage.site.devices)) or tuple(picture.of_pack)[:1]
