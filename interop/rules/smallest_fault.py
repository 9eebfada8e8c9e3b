"""Rules about faults that are too small: a device that opens too late, and one that opens before the right one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.circuit.picture import pictures
from interop.circuit.selective import Both, opened_by_one_short
from interop.circuit.smallest import Smallest, smallest_faults
from interop.records.answers import Answer
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import figure, joined, named
from interop.wiring.stage import Stage

__all__: list[str] = []


@rule("smallest-fault-not-cleared", "power", broken=Level.STOP, unknown=Level.CAUTION, must_accept=True,
      meaning="A device does not open before its conductors burn when a short is fed by the weakest source alone.",
      source="IEC 60364-4-43, I2t = k2 S2 (from memory)",
      explain="""The largest short decides what a device can break; the smallest decides whether it opens at all. A
short at the far end of a run, fed by the one pack that is farthest away, with every lug and cell as bad as it may
be, has to open the device before the heat in the conductor reaches what its insulation bears: current squared times
seconds at most k squared S squared, with k 115 for PVC, 143 for XLPE, 141 for rubber. A shorter or thicker run, or
a device with a lower rating, opens sooner. Without the time-current curve of the device, or without the insulation
of the conductor, nobody can tell: state device.curve from its data sheet.""")
def _smallest(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        groups: dict[tuple[object, ...], list[Smallest]] = {}
        for one in smallest_faults(picture):
            if one.answer is not Answer.HOLDS:
                record = one.spot.device.loaded.record.id
                key = (record, one.answer.value, one.seconds is None, one.silent)
                groups.setdefault(key, []).append(one)
        for rows in groups.values():
            yield _told(rows)


def _told(rows: Sequence[Smallest]) -> Hit:
    worst = min(rows, key=lambda row: row.amps)
    record = worst.spot.device.loaded.record.id
    runs = [row.spot.run for row in rows]
    about = tuple(dict.fromkeys(run.a if not run.a.startswith("busbar ") else run.id for run in runs))
    at = tuple(dict.fromkeys(run.at for run in runs))
    facts = (FactUsed(record, "device.curve", worst.spot.device.loaded.record.device.curve.state),) if (
        worst.spot.device.loaded.record.device is not None) else ()
    text = (f"A short at the far end of {named(about)} draws {_ka(worst.amps)} through {worst.spot.name} when "
            f"{worst.fed_by} alone feeds it")
    unknown = [] if worst.seconds is not None else [f"{record} does not state device.curve"]
    if worst.withstands_a2s is None:
        unknown.append(f"{worst.silent} is not stated")
    if unknown:
        return cannot_tell(about, f"{text}; whether it opens in time is not known: {joined(unknown)}.",
                           "State the time-current curve of the device and the insulation of the cable.",
                           got=_ka(worst.amps), facts=facts, at=at)
    opens = "does not open" if worst.seconds == float("inf") else f"opens after {worst.seconds or 0:g} s"
    lives = (worst.withstands_a2s or 0) / worst.amps**2
    make = broken if worst.answer is Answer.BROKEN else cannot_tell
    return make(about, f"{text}; it {opens}, and the conductor bears it for {lives:.2g} s.",
                "Use a device with a lower rating, or a shorter or thicker run.", got=_ka(worst.amps), facts=facts,
                at=at)


@rule("one-short-takes-the-bank", "power", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="A short in one run may open a device that other packs or converters hang on as well.",
      source="IEC 60269, fuses of one kind at 1.6 times the rating (from memory)",
      explain="""A short in the run of one pack or one inverter should take out that run and nothing else: its own
device has to open before one between busbars, through which the rest of the bank lives. Of two fuses of one kind
the smaller surely opens alone where the larger has 1.6 times its rating; where they carry unlike parts of the short,
each is counted in ratings of its own. A breaker beside a fuse, or two breakers, cannot be told apart without both
curves from their makers. Take a larger device between the busbars, with a conductor to match, or a smaller one in
the run.""")
def _takes_all(stage: Stage) -> Iterator[Hit]:
    for picture in pictures(stage):
        groups: dict[tuple[object, ...], list[Both]] = {}
        for one in opened_by_one_short(picture):
            key = (one.near.device.loaded.record.id, one.far.branch, one.answer)
            groups.setdefault(key, []).append(one)
        for rows in groups.values():
            yield _both_told(rows)


def _both_told(rows: Sequence[Both]) -> Hit:
    worst = max(rows, key=lambda row: row.far_a / max(row.near_a, 1e-9))
    circuits = [circuit for row in rows for circuit in row.group]
    about = tuple(dict.fromkeys((*(name for circuit in circuits for name in circuit.about), worst.far.run.id)))
    at = tuple(dict.fromkeys((*(circuit.run.at for circuit in circuits), worst.far.run.at)))
    text = (f"A short in the run of {named([circuit.name for circuit in circuits])} draws {_ka(worst.near_a)} through "
            f"{worst.near.name} and {_ka(worst.far_a)} through {worst.far.name}")
    records = [spot.device.loaded.record for spot in (worst.near, worst.far)]
    facts = tuple(FactUsed(record.id, f"device.{part}", getattr(record.device, part).state)
                  for record in records if record.device is not None for part in ("kind", "rating_a"))
    todo = "Use a device of a higher rating between the busbars, with a conductor to match, or a lower one in the run."
    if worst.near_times is None or worst.far_times is None:
        return cannot_tell(about, f"{text}; which opens first cannot be told, since they are not both fuses of a "
                           f"stated rating.", "Ask the makers whether the first opens alone, or use fuses in both "
                           "places.", got=_ka(worst.far_a), facts=facts, at=at)
    ratings = f"{worst.near_times:.1f} and {worst.far_times:.1f} times their ratings"
    if worst.answer is Answer.BROKEN:
        return broken(about, f"{text}, {ratings}: the second opens too.", todo, got=_ka(worst.far_a), facts=facts,
                      at=at)
    return cannot_tell(about, f"{text}, {ratings}; that the second stays whole is not sure below a ratio of 1.6.", todo,
                       got=_ka(worst.far_a), facts=facts, at=at)


def _ka(amps: float) -> str:
    return figure(round(amps / 1000, 2), "kA")
