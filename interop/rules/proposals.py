"""For a run without a device or a cable: the smallest ones of the catalogs that every rule lets pass.

What is proposed is put into the site and judged by the rules themselves, so that no check is written twice: first the
device, the smallest that carries what the run needs, then the thinnest conductor behind it. Once every run of a bank
has something, faults are judged too, and a device that cannot break them gives way to the next. Nothing polarised is
proposed, and nothing that the catalogs do not hold: then the figures are told that it must have.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice
from math import inf
from typing import TYPE_CHECKING

from interop.circuit.bank import POLES, conductor_of, run_name, runs_of
from interop.circuit.feeds import PROTECTING, Circuit, circuits
from interop.circuit.picture import MOST_SEARCHED
from interop.rules.finding import RULES, Level, findings
from interop.site.site import InRun
from interop.standards.devices import next_standard_a
from interop.standards.sizes import parse_size
from interop.unchanging import unchanging
from interop.wiring.busbar import lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from interop.records.catalog import LoadedRecord
    from interop.site.site import Pole, Run
    from interop.wiring.stage import Stage

__all__ = ["PLACES", "Proposal", "proposals", "with_proposals"]

_DEVICE_RULES = ("rating-below-need", "device-not-for-dc-voltage")
"""What a device has to pass whatever the conductor is; a polarised one is never tried."""
_CABLE_RULES = ("no-protective-device", "fed-from-the-other-end", "rating-above-cable", "cable-overloaded",
                "opens-too-late", "parallel-conductors", "lug-does-not-fit")
_WHOLE_RULES = ("device-cannot-break-the-fault", "smallest-fault-not-cleared", "voltage-drop-large", "load-not-carried")
_NEAR_M = 0.1
"""A proposed device is to be put this close to its source [m]."""
_CONTINUOUS = 1.25
_MOST_TRIES = 24
"""So many choices are judged with the whole bank before the smallest is told as it is."""


PLACES = ("at the source", "at the busbar", "at both ends")
"""Where a proposed device may stand in a run; of a converter's run the source is the busbar."""


@unchanging
class Proposal:
    """What some alike runs lack: the record of a device for some poles and its place, the record of a cable; None: not
    lacking, or nothing in the catalogs passes, see ``unmet``. ``need_a``: what the run must carry without end [A];
    ``standard_a``: the next standard rating above 125 % of that, which the conductor has to carry too.
    """

    runs: tuple[str, ...]
    poles: tuple[str, ...]
    device: str | None
    place: str | None
    cable: str | None
    need_a: float
    standard_a: int | None
    unmet: str


@unchanging(eq=False)
class _Choice:
    """A device with its place, and a cable; None: none."""

    device: LoadedRecord | None = None
    cable: LoadedRecord | None = None
    place: str = PLACES[0]


@unchanging(eq=False)
class _Lacking:
    """Alike runs with what they lack."""

    group: tuple[Circuit, ...]
    poles: tuple[str, ...]
    cable: bool

    @property
    def names(self) -> frozenset[str]:
        return frozenset(run_name(one.run) for one in self.group)


def proposals(stage: Stage) -> tuple[Proposal, ...]:
    """Return a proposal for every run of the planned stage that lacks a device or a conductor; alike runs once."""
    return _proposed(stage)[0]


def with_proposals(stage: Stage) -> Stage:
    """Return the stage with what is proposed in its place; the same stage where nothing is."""
    return _proposed(stage)[1]


@once
def _proposed(stage: Stage) -> tuple[tuple[Proposal, ...], Stage]:
    done: list[tuple[_Lacking, _Choice]] = []
    for bank in stage.banks:
        if len(bank) <= MOST_SEARCHED and any(_bare(run) or _no_cable(run) for run in runs_of(stage, bank)):
            done += _of_bank(_alone(stage, bank))
    if not done:
        return (), stage
    return tuple(_told(stage, one, choice) for one, choice in done), _with(stage, done)


def _alone(stage: Stage, bank: Sequence[str]) -> Stage:
    """The stage with one bank and all that is on no other: the rules judge every bank they are given, each time."""
    site, runs = stage.site, runs_of(stage, bank)
    here = {end for run in runs for end in (run.a, run.b)} | set(bank)
    gone = {end for run in site.runs for end in (run.a, run.b)} | set(stage.packs)
    devices = {name: device for name, device in site.devices.items() if name in here or name not in gone}
    packs = {name: pack for name, pack in stage.packs.items() if name in here}
    return replace(stage, site=replace(site, runs=runs, devices=devices), packs=packs, banks=(tuple(bank),))


def _of_bank(stage: Stage) -> list[tuple[_Lacking, _Choice]]:
    """What the runs of one bank lack, with what is proposed for them."""
    lacking = [one for group in circuits(stage) if (one := _lacks(stage, group)) is not None]
    devices = sorted((one for one in stage.site.shelf("protective device") if _fit(one)), key=_rating)
    cables = [one for one in stage.site.shelf("power cable") if _area(one) > 0]
    ranked = [_ranked(stage, one, devices, cables) for one in lacking]
    chosen = [next(choices, _Choice()) for choices in ranked]
    for i, one in enumerate(lacking):       # faults and drops need the whole bank: judged with everything in its place
        tries = [chosen[i], *islice(ranked[i], _MOST_TRIES)] if not _empty(chosen[i]) else []
        for choice in tries:
            chosen[i] = choice
            if _passes(_with(stage, zip(lacking, chosen, strict=True)), one, _WHOLE_RULES):
                break
        else:
            chosen[i] = tries[0] if tries else chosen[i]
    return list(zip(lacking, chosen, strict=True))


def _bare(run: Run) -> bool:
    return not run.plus.devices and not run.minus.devices


def _no_cable(run: Run) -> bool:
    return any(conductor_of(getattr(run, pole)) is None for pole in POLES)


def _empty(choice: _Choice) -> bool:
    return choice.device is None and choice.cable is None


def _lacks(stage: Stage, group: Sequence[Circuit]) -> _Lacking | None:
    one = group[0]
    cable, bare = _no_cable(one.run), _bare(one.run)
    poles: tuple[str, ...] = ()
    if bare:
        poles = {"minus": ("plus",), "plus": ("minus",)}.get(stage.site.dc_ground, ("plus", "minus"))
    found = _Lacking(tuple(group), poles, cable)
    needed = bare and not _passes(stage, found, ("no-protective-device", "fed-from-the-other-end"))
    return found if cable or needed else None


def _fit(one: LoadedRecord) -> bool:
    """Whether a device may be proposed at all: a fuse or a breaker that is surely not polarised, with a rating."""
    facts = one.record.device
    return (facts is not None and facts.kind.only in PROTECTING and facts.polarised.only is False
            and lowest(facts.rating_a) is not None)


def _rating(one: LoadedRecord) -> tuple[float, str]:
    return (lowest(one.record.device.rating_a) or 0.0 if one.record.device is not None else 0.0, one.record.id)


def _area(one: LoadedRecord) -> float:
    facts = one.record.conductor
    size = None if facts is None else facts.size.only
    return 0.0 if size is None else parse_size(size).area_mm2


def _ranked(stage: Stage, one: _Lacking, devices: Sequence[LoadedRecord],
            cables: Sequence[LoadedRecord]) -> Iterator[_Choice]:
    """Yield what passes: the smallest device first, and behind it the thinnest conductor.

    Without a caution if that can be, else without a stop.
    """
    laid = one.group[0].run.laid
    ordered = sorted(cables, key=lambda cable: (_area(cable), _laid(cable) != laid, cable.record.id))
    for bad in ((Level.STOP, Level.CAUTION), (Level.STOP,)):
        for choice in _choices(stage, one, devices, ordered):
            rules = _CABLE_RULES if choice.device is None else (*_DEVICE_RULES, *_CABLE_RULES)
            if _passes(_with(stage, [(one, choice)]), one, rules, bad):
                yield choice


def _choices(stage: Stage, one: _Lacking, devices: Sequence[LoadedRecord],
             cables: Sequence[LoadedRecord]) -> Iterator[_Choice]:
    """Yield what may be put in, smallest device first; without one where what is built into the pack may do."""
    wires: Sequence[LoadedRecord | None] = cables if one.cable else (None,)
    places = PLACES if one.group[0].kind == "pack" else PLACES[:1]
    if one.cable:
        yield from (_Choice(None, cable) for cable in wires)
    for device in devices if one.poles else ():
        if not _passes(_with(stage, [(one, _Choice(device))]), one, _DEVICE_RULES):
            continue
        yield from (_Choice(device, cable, place) for place in places for cable in wires)


def _laid(one: LoadedRecord) -> str | None:
    return None if one.record.conductor is None else one.record.conductor.laid.only


def _passes(stage: Stage, one: _Lacking, rules: Sequence[str], bad: Sequence[Level] = (Level.STOP,)) -> bool:
    """Whether no finding of some rules at some levels is about the runs, or the devices that they end on."""
    about = {name for circuit in one.group for name in circuit.about}
    at = {(stage.site.file, *circuit.run.at) for circuit in one.group}
    for found in findings(stage, [RULES[name] for name in rules]):
        here = at & set(found.at) or (about & set(found.about) and not _of_runs(found.at, stage))
        if found.level in bad and here:
            return False
    return True


def _of_runs(at: Sequence[tuple[str, int, int]], stage: Stage) -> bool:
    """Whether a finding names the place of some run."""
    return bool({(stage.site.file, *run.at) for run in stage.site.runs} & set(at))


def _with(stage: Stage, pairs: Iterable[tuple[_Lacking, _Choice]]) -> Stage:
    runs = {id(run): run for run in stage.site.runs}
    for one, choice in pairs:
        for circuit in one.group:
            runs[id(circuit.run)] = _filled(circuit.run, one, choice)
    return replace(stage, site=replace(stage.site, runs=tuple(runs.values())))


def _filled(run: Run, one: _Lacking, choice: _Choice) -> Run:
    poles: dict[str, Pole] = {}
    for pole in POLES:
        wired: Pole = getattr(run, pole)
        if choice.cable is not None and conductor_of(wired) is None:
            wired = replace(wired, cable=choice.cable)
        if choice.device is not None and pole in one.poles:
            far = max((wired.length_m or 0.0) - _NEAR_M, _NEAR_M)
            spots = {PLACES[0]: (_NEAR_M,), PLACES[1]: (far,), PLACES[2]: (_NEAR_M, far)}[choice.place]
            wired = replace(wired, devices=tuple(InRun(choice.device, metres) for metres in spots))
        poles[pole] = wired
    return replace(run, plus=poles["plus"], minus=poles["minus"])


def _told(stage: Stage, one: _Lacking, choice: _Choice) -> Proposal:
    device, cable = choice.device, choice.cable
    need = max(circuit.need.most for circuit in one.group)
    unmet = ""
    if need == inf:
        unmet = "what the run has to carry is not known: see the finding about it"
    elif device is None and cable is None:
        unmet = "nothing in the catalogs passes every rule"
    standard = None if need == inf else next_standard_a(_CONTINUOUS * need, fuse=True)
    order = [run_name(run) for run in stage.site.runs]
    return Proposal(tuple(sorted(one.names, key=order.index)), one.poles if device is not None else (),
                    None if device is None else device.record.id, None if device is None else choice.place,
                    None if cable is None else cable.record.id,
                    need, standard, unmet)


