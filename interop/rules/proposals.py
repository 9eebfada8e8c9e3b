"""For a run without a device or a cable: the smallest ones of the catalogs that every rule lets pass.

What is proposed is put into the site and judged by the rules themselves, so that no check is written twice: first the
device, the smallest that carries what the run needs, then the thinnest conductor behind it. Once every run of a bank
has something, faults are judged too, and a device that cannot break them gives way to the next. Nothing polarised is
proposed, and nothing that the catalogs do not hold: then the figures are told that it must have.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf
from typing import TYPE_CHECKING

from interop.circuit.bank import POLES, conductor_of, run_name
from interop.circuit.feeds import Circuit, circuits
from interop.rules.finding import RULES, Level, findings
from interop.site.site import InRun
from interop.standards.devices import next_standard_a
from interop.standards.sizes import parse_size
from interop.wiring.busbar import lowest

if TYPE_CHECKING:
    from interop.records.catalog import LoadedRecord
    from interop.site.site import Pole, Run
    from interop.wiring.stage import Stage

__all__ = ["Proposal", "proposals", "with_proposals"]

_DEVICE_RULES = ("rating-below-need", "device-not-for-dc-voltage")
"""What a device has to pass whatever the conductor is; a polarised one is never tried."""
_CABLE_RULES = ("no-protective-device", "rating-above-cable", "cable-overloaded", "opens-too-late",
                "parallel-conductors", "lug-does-not-fit")
_WHOLE_RULES = ("device-cannot-break-the-fault", "smallest-fault-not-cleared", "voltage-drop-large", "load-not-carried")
_NEAR_M = 0.1
"""A proposed device is to be put this close to its source [m]."""
_CONTINUOUS = 1.25


@dataclass(frozen=True)
class Proposal:
    """What some alike runs lack: the record of a device for some poles, the record of a cable; None: not lacking, or
    nothing in the catalogs passes, see ``unmet``. ``need_a``: what the run must carry without end [A]; ``standard_a``:
    the next standard rating above 125 % of that, which the conductor has to carry too.
    """

    runs: tuple[str, ...]
    poles: tuple[str, ...]
    device: str | None
    cable: str | None
    need_a: float
    standard_a: int | None
    unmet: str


@dataclass(frozen=True, eq=False)
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


@lru_cache(maxsize=8)
def _proposed(stage: Stage) -> tuple[tuple[Proposal, ...], Stage]:
    lacking = [one for group in circuits(stage) if (one := _lacks(stage, group)) is not None]
    if not lacking:
        return (), stage
    devices = sorted((one for one in stage.site.shelf("protective device") if _fit(one)), key=_rating)
    cables = sorted((one for one in stage.site.shelf("power cable") if _area(one) > 0), key=_area)
    chosen = [_first(stage, one, devices, cables, ()) for one in lacking]
    whole = _with(stage, zip(lacking, chosen, strict=True))
    for i, one in enumerate(lacking):       # faults and drops need the whole bank: judged with everything in its place
        passed: list[LoadedRecord] = []
        while (device := chosen[i][0]) is not None and not _passes(whole, one, _WHOLE_RULES):
            passed.append(device)
            other = _first(stage, one, devices, cables, passed)
            if other[0] is None:
                break
            chosen[i] = other
            whole = _with(stage, zip(lacking, chosen, strict=True))
    return tuple(_told(stage, one, *pair) for one, pair in zip(lacking, chosen, strict=True)), whole


def _lacks(stage: Stage, group: Sequence[Circuit]) -> _Lacking | None:
    one = group[0]
    cable = any(conductor_of(getattr(one.run, pole)) is None for pole in POLES)
    bare = not one.run.plus.devices and not one.run.minus.devices
    poles: tuple[str, ...] = ()
    if bare:
        poles = {"minus": ("plus",), "plus": ("minus",)}.get(stage.site.dc_ground, ("plus", "minus"))
    found = _Lacking(tuple(group), poles, cable)
    return found if cable or (bare and not _passes(stage, found, ("no-protective-device",))) else None


def _fit(one: LoadedRecord) -> bool:
    """Whether a device may be proposed at all: a fuse or a breaker that is surely not polarised, with a rating."""
    facts = one.record.device
    return (facts is not None and facts.kind.only in ("fuse", "breaker") and facts.polarised.only is False
            and lowest(facts.rating_a) is not None)


def _rating(one: LoadedRecord) -> tuple[float, str]:
    return (lowest(one.record.device.rating_a) or 0.0 if one.record.device is not None else 0.0, one.record.id)


def _area(one: LoadedRecord) -> float:
    facts = one.record.conductor
    size = None if facts is None else facts.size.only
    return 0.0 if size is None else parse_size(size).area_mm2


def _first(stage: Stage, one: _Lacking, devices: Sequence[LoadedRecord], cables: Sequence[LoadedRecord],
           but: Sequence[LoadedRecord]) -> tuple[LoadedRecord | None, LoadedRecord | None]:
    """The smallest device, and behind it the thinnest conductor, that pass; None where none does.

    Without a caution if that can be, else without a stop.
    """
    for bad in ((Level.STOP, Level.CAUTION), (Level.STOP,)):
        found = _first_without(bad, stage, one, devices, cables, but)
        if found != (None, None):
            return found
    return None, None


def _first_without(bad: Sequence[Level], stage: Stage, one: _Lacking, devices: Sequence[LoadedRecord],
                   cables: Sequence[LoadedRecord],
                   but: Sequence[LoadedRecord]) -> tuple[LoadedRecord | None, LoadedRecord | None]:
    options: list[LoadedRecord | None] = [None]       # what is built into the pack may do
    if one.poles:
        options += [d for d in devices if d not in but]
    for device in options[1:] if but else options:
        if device is not None and not _passes(_with(stage, [(one, (device, None))]), one, _DEVICE_RULES, bad):
            continue
        if not one.cable:
            if _passes(_with(stage, [(one, (device, None))]), one, _CABLE_RULES, bad):
                return device, None
            continue
        for cable in cables:
            if _passes(_with(stage, [(one, (device, cable))]), one, _CABLE_RULES, bad):
                return device, cable
    return None, None


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


def _with(stage: Stage, pairs: Iterable[tuple[_Lacking, tuple[LoadedRecord | None, LoadedRecord | None]]]) -> Stage:
    runs = {id(run): run for run in stage.site.runs}
    for one, (device, cable) in pairs:
        for circuit in one.group:
            runs[id(circuit.run)] = _filled(circuit.run, one, device, cable)
    return replace(stage, site=replace(stage.site, runs=tuple(runs.values())))


def _filled(run: Run, one: _Lacking, device: LoadedRecord | None, cable: LoadedRecord | None) -> Run:
    poles: dict[str, Pole] = {}
    for pole in POLES:
        wired: Pole = getattr(run, pole)
        if cable is not None and conductor_of(wired) is None:
            wired = replace(wired, cable=cable)
        if device is not None and pole in one.poles:
            wired = replace(wired, devices=(InRun(device, _NEAR_M),))
        poles[pole] = wired
    return replace(run, plus=poles["plus"], minus=poles["minus"])


def _told(stage: Stage, one: _Lacking, device: LoadedRecord | None, cable: LoadedRecord | None) -> Proposal:
    need = max(circuit.need.most for circuit in one.group)
    unmet = ""
    if need == inf:
        unmet = "what the run has to carry is not known: see the finding about it"
    elif device is None and cable is None:
        unmet = "nothing in the catalogs passes every rule"
    standard = None if need == inf else next_standard_a(_CONTINUOUS * need, fuse=True)
    order = [run_name(run) for run in stage.site.runs]
    return Proposal(tuple(sorted(one.names, key=order.index)), one.poles if device is not None else (),
                    None if device is None else device.record.id, None if cable is None else cable.record.id,
                    need, standard, unmet)


