"""How a bank fares over hours and days: its limit to the end of the course, how long it carries the load before and
after the extension, where each pack stands at the end of charge, and how far the display drifts from what is there.

power.md §2 to §4. Only for LFP packs whose cells, capacity and end voltages are all stated: else what is missing is
named and nothing is told. Units: V, A, W, Ah, kWh, hours; charge states 0 to 1.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from interop.circuit.course import CourseError, Packs, course
from interop.circuit.course_limit import CourseLimit, bank_limit_over_course
from interop.circuit.drift import GAIN_ERROR, OFFSET_ERROR_A, Counting, Drift, Reports, drift
from interop.circuit.endurance import Endurance, endurance
from interop.circuit.picture import MOST_SEARCHED, REST_STATE
from interop.circuit.pieces import capacity_ah
from interop.circuit.plant import Stage as Spell
from interop.circuit.plant import Unsettled
from interop.circuit.sharing import Element
from interop.standards.cell_voltage import VALID_FROM, VALID_TO, lfp_model_slope, lfp_model_voltage
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from interop.circuit.course import Course
    from interop.circuit.network import Network
    from interop.circuit.picture import Picture
    from interop.site.site import Device

    Floats = NDArray[np.float64]

__all__ = ["Emptied", "Ends", "Filled", "Lasting", "Watched", "emptied", "filled", "lasting", "not_said",
           "watched"]



SPELLS = (("load", 12.0), ("charge", 8.0), ("rest", 4.0))
"""A day for the drift: the usual load, then charge, then rest [h]; this project's default, printed as an assumption."""
_COARSE, _STEP = 1e-4, 0.01
"""Error of a charge state in one step while a limit is looked for, and by how much it is lowered until it holds."""
_TAIL_C = 0.05
"""The charge ends when the whole current falls below this part of the whole capacity an hour; common practice."""
_NO_STOP = 1.02
"""A BMS stops by voltage, not by a count: the current falls by itself as the cells reach the charger's voltage."""
_KNEE, _FULL_CELL_V = 0.99, 3.60
"""From 99 % a cell under charge rises straight to 3.60 V at 100 %, as both parameter sets do; at rest it falls back."""
_FULL_C = 0.10
"""A pack counts itself full at its balancing voltage with less current than this part of its capacity an hour; an
assumption of this project."""


@unchanging
class Ends:
    """Where the courses end: lowest voltage at an inverter [V] and charge voltage at a charger [V]; None: not known."""

    low_v: float | None
    charge_v: float | None


@unchanging
class Lasting:
    """The bank limit over the course in both directions and the endurance; None where it cannot be told.

    ``before``: without the new packs; None also where nothing stood there before, or everything did.
    """

    out: CourseLimit | None
    into: CourseLimit | None
    before: Endurance | None
    after: Endurance | None


@unchanging
class Filled:
    """The end of charge: hours, each pack's charge state [0 to 1] and terminal voltage [V] then; ``short``: packs more
    than 5 % below full; ``reached``: whether it ends at all; ``over``: the first pack beyond its limit and the hour.
    """

    hours: float
    soc: tuple[float, ...]
    volts: tuple[float, ...]
    short: tuple[str, ...]
    reached: bool
    over: tuple[str, float] | None


@unchanging
class Emptied:
    """The highest load carried from 95 % until it ends: hours, how it ends ("cut off", "dark", "collapse", "": it lasts
    longer than was followed), and the first pack beyond its limit with the hour; None: nobody.
    """

    hours: float
    ended: str
    over: tuple[str, float] | None


@unchanging(eq=False)
class Watched:
    """What one manager shows over days: ``packs`` it reads, its rule, and the drift."""

    manager: str
    packs: tuple[str, ...]
    rule: str
    drift: Drift


def not_said(picture: Picture) -> tuple[str, ...]:
    """Return what keeps the course from being told: ``crag-300 cells.capacity_ah``; empty: it can be told."""
    missing: dict[str, None] = {}
    for device in picture.bank.packs:
        cells = device.record.cells
        if cells is None:
            missing[f"{device.record.id} cells"] = None
            continue
        if cells.chemistry.only != "lfp":
            missing[f"{device.record.id} cells.chemistry as lfp"] = None
        for name, known in (("in_series", cells.in_series.only), ("empty_v", _empty_v(device)),
                            ("full_v", lowest(cells.full_v))):
            if known is None:
                missing[f"{device.record.id} cells.{name}"] = None
        if capacity_ah(device) is None:
            missing[f"{device.record.id} cells.capacity_ah"] = None
    return tuple(missing)


def _packs(picture: Picture, soc: float) -> Packs | None:
    """What the packs hold, all at one charge state; None where something is not said."""
    if not_said(picture) or not 0 < len(picture.bank.packs) <= MOST_SEARCHED:
        return None
    series = np.array([d.record.cells.in_series.only or 0 for d in picture.bank.packs if d.record.cells], dtype=float)
    sizes = [capacity_ah(d) for d in picture.bank.packs]
    count = len(series)
    return Packs(
        np.array([(size[0] + size[1]) / 2 for size in sizes if size]), np.full(count, soc),
        lambda s: series * _cell_v(s), lambda s: series * _cell_slope(s), np.zeros(count), np.full(count, _NO_STOP),
        np.array([_empty_v(d) or 0.0 for d in picture.bank.packs]),
        np.array([lowest(d.record.cells.full_v) or 0.0 for d in picture.bank.packs if d.record.cells]))


def _played(network: Network, packs: Packs, spells: Sequence[Spell], **how: Any) -> Course | None:
    """A course; None where no end of it is found, which is then as unknown as a fact that is not stated."""
    try:
        return course(network, packs, spells, **how)
    except (CourseError, Unsettled):
        return None


def _cell_v(soc: Floats) -> Floats:
    """Voltage of a cell [V] behind its resistance, also where a charger holds it up."""
    knee_v = float(lfp_model_voltage(_KNEE))
    rise = np.maximum(soc - _KNEE, 0.0) * (_FULL_CELL_V - knee_v) / (1 - _KNEE)
    return lfp_model_voltage(np.minimum(soc, _KNEE)) + rise


def _cell_slope(soc: Floats) -> Floats:
    """Slope of it [V per unit of charge state]."""
    steep = (_FULL_CELL_V - float(lfp_model_voltage(_KNEE))) / (1 - _KNEE)
    return np.where(soc > _KNEE, steep, lfp_model_slope(np.minimum(soc, _KNEE)))


def _empty_v(device: Device) -> float | None:
    """The terminal voltage [V] at which the BMS of a pack blocks: as stated, else where its maker calls it empty."""
    stated = highest(device.record.limits.lowest_v)
    return stated if stated is not None or device.record.cells is None else highest(device.record.cells.empty_v)


def _sense(picture: Picture, *, draws: bool) -> int:
    """The port whose voltage decides: the largest inverter, or the largest charger."""
    sizes = [(one.power_w or 0.0) * one.draws if draws else one.charge_a or 0.0 for one in picture.converters]
    return int(np.argmax(sizes)) if sizes else 0


@once
def lasting(picture: Picture, ends: Ends) -> Lasting:
    """Return limits over the course from 95 % down and from 10 % up, and how long the usual load is carried.

    The usual load of the site, else the highest; all packs at 95 % at the start. Resistances to work with; the limits
    lie one or two hundredths on the safe side.
    """
    full, empty = _packs(picture, VALID_TO), _packs(picture, VALID_FROM)
    out = into = before = after = None
    if full is not None and ends.low_v is not None and picture.split_out is not None:
        out = _limit(picture, full, ends.low_v, 1)
    if empty is not None and ends.charge_v is not None and picture.split_in is not None:
        into = _limit(picture, empty, ends.charge_v, -1)
    load_w = _usual_w(picture)
    if full is not None and load_w and ends.low_v is not None:
        old = np.array([not d.new for d in picture.bank.packs])
        after = _endurance(picture, full, load_w, ends.low_v, None)
        if old.any() and not old.all():
            before = _endurance(picture, full, load_w, ends.low_v, old)
    return Lasting(out, into, before, after)


def _limit(picture: Picture, packs: Packs, end_v: float, way: int) -> CourseLimit | None:
    """The limit in one direction: found with coarse steps of the integrator, then held against fine ones.

    Near the end of a course a charge state that is off by a hundred-thousandth moves a current by an ampere, so what
    the coarse steps find is only where to look.
    """
    network = picture.bank.network
    split = picture.split_out if way > 0 else picture.split_in
    sense = _sense(picture, draws=way > 0)
    try:
        found = bank_limit_over_course(network, packs, picture.limits, end_v, way, split=split, sense=sense,
                                       tolerance=_COARSE, within=_STEP / 2, scan=4)
    except (CourseError, Unsettled):
        return None
    amp, over = found.amp, None
    while 0 < amp < np.inf:
        hours = 1.1 * float(packs.capacity_ah.sum()) / amp
        played = _played(network.with_emf(packs.volts(packs.soc)), packs, [Spell(hours, amp=way * amp * (1 - 1e-6))],
                         split=split, sense=sense, limits=picture.limits, end_v=end_v)
        if played is None:
            return None
        if played.first_over is None:
            break
        over, amp = played.first_over, amp * (1 - _STEP)
    if over is None or over.pack is None:
        return found
    return replace(found, amp=amp, first=Element("pack", over.pack, network.packs[over.pack]), hours=over.hours)


def _usual_w(picture: Picture) -> float | None:
    """The usual load of the site at the outlets [W], at its higher end; else the highest load."""
    usual = picture.stage.site.load.usual_w
    if usual is not None:
        return float(usual) if isinstance(usual, (int, float)) else usual.high
    return None if picture.load_w is None else sum(picture.load_w)


def _endurance(picture: Picture, packs: Packs, load_w: float, low_v: float,
               closed: NDArray[np.bool_] | None) -> Endurance | None:
    drawing = [one for one in picture.converters if one.draws]
    rated = picture.rated_w
    if not rated:
        return None
    efficiency = sum((one.power_w or 0.0) * one.efficiency[1] for one in drawing) / rated
    try:
        return endurance(picture.bank.network, packs, load_w, efficiency, sum(one.idle_w[1] for one in drawing), low_v,
                         split=picture.split_out, sense=_sense(picture, draws=True), closed=closed,
                         rests_on=("every pack at 95 % of its charge at the start",))
    except (CourseError, Unsettled):
        return None


@once
def filled(picture: Picture, ends: Ends, amps: tuple[float, ...] | None) -> Filled | None:
    """Return how the packs stand when charge ends: the currents [A] of all ports from 10 %, held at the charge voltage
    down to the tail of the settings; None where it cannot be told.
    """
    packs = _packs(picture, VALID_FROM)
    if packs is None or amps is None or not sum(amps) or ends.charge_v is None:
        return None
    total = float(sum(amps))
    tail = _TAIL_C * float(packs.capacity_ah.sum())
    longest = 1.5 * float(packs.capacity_ah.sum()) / total + 4
    played = _played(picture.bank.network, packs,
                     [Spell(longest, amp=-total, hold_v=ends.charge_v, tail_a=tail)],
                     split=np.array(amps) / total, sense=_sense(picture, draws=False), limits=picture.limits)
    if played is None:
        return None
    end = next((event for event in played.events if event.what in ("charged", "tail", "end")), None)
    hours = longest if end is None else end.hours
    row = min(int(np.searchsorted(played.hours, hours)), len(played.hours) - 1)
    soc, volts = played.soc[row], played.pack_v[row]
    short = tuple(d.id for d, s in zip(picture.bank.packs, soc, strict=True) if s < 0.95)
    return Filled(hours, tuple(map(float, soc)), tuple(map(float, volts)), short, end is not None,
                  _first_over(picture, played))


def _first_over(picture: Picture, played: Course) -> tuple[str, float] | None:
    event = played.first_over
    return None if event is None or event.pack is None else (picture.bank.packs[event.pack].id, event.hours)


@once
def emptied(picture: Picture, ends: Ends) -> Emptied | None:
    """Return how the highest load empties the bank; None where it cannot be told, or nothing draws."""
    packs = _packs(picture, VALID_TO)
    if packs is None or ends.low_v is None or picture.load_w is None or picture.split_out is None:
        return None
    watts = sum(one.dc_w(w) for one, w in zip(picture.converters, picture.load_w, strict=True) if one.draws)
    if not watts:
        return None
    longest = 1.2 * float(packs.capacity_ah.sum()) * float(picture.emf_v(REST_STATE).max(initial=0.0)) / watts
    played = _played(picture.bank.network, packs, [Spell(longest, watt=watts, cut_v=ends.low_v)],
                     split=picture.split_out, sense=_sense(picture, draws=True), limits=picture.limits)
    if played is None:
        return None
    end = next((event for event in played.events if event.what in ("cut off", "dark", "collapse")), None)
    return Emptied(longest if end is None else end.hours, "" if end is None else end.what, _first_over(picture, played))


def watched(picture: Picture, ends: Ends, days: int,
            told: Callable[[str, float], None] | None = None) -> tuple[Watched, ...]:
    """Return what each manager of the bank shows over some days against what is there.

    A day as `SPELLS`; every pack counts with the assumed errors and sets itself full at the balancing voltage with
    little current. A manager whose rule is not stated, or sums, or whose days find no end, is
    left out. ``told`` is called with a manager and the part of its days that is done.
    """
    packs = _packs(picture, VALID_TO)
    load_w, amps = _usual_w(picture), picture.charge_plan
    if packs is None or not load_w or amps is None or not sum(amps) or ends.charge_v is None or ends.low_v is None:
        return ()
    day = _day(picture, packs, load_w, float(sum(amps)), ends)
    found = []
    for link in picture.stage.links:
        rule = None if link.manager is None else picture.stage.device(link.manager).record.manager.reports.charge_state
        who = [picture.of_pack[name] for name in link.packs if name in picture.of_pack]
        if link.manager is None or rule is None or rule.only in (None, "sum") or link.manager not in picture.of_pack:
            continue
        full_v = np.array([_full_v(d, ends.charge_v) for d in picture.bank.packs])
        counting = Counting.of(len(picture.bank.packs), GAIN_ERROR, OFFSET_ERROR_A, full_v, _FULL_C * packs.capacity_ah)
        try:
            shown = drift(picture.bank.network, packs, day, days, who, Reports(rule.only), counting,
                          manager=picture.of_pack[link.manager], split=picture.split_out,
                          sense=_sense(picture, draws=True), told=partial(told, link.manager) if told else None)
        except (CourseError, Unsettled):
            continue
        found.append(Watched(link.manager, tuple(link.packs), str(rule.only), shown))
    return tuple(found)


def _full_v(device: Device, charge_v: float) -> float:
    """The voltage at which a pack may set its count to full: where it balances, at most a hair under the charge."""
    balance = None if device.record.cells is None else highest(device.record.cells.balance_v)
    return min(balance if balance is not None else charge_v, charge_v - 0.1)


def _day(picture: Picture, packs: Packs, load_w: float, charge_a: float, ends: Ends) -> Sequence[Spell]:
    drawing = [one for one in picture.converters if one.draws]
    rated = picture.rated_w
    watts = sum(one.dc_w(load_w * (one.power_w or 0.0) / rated) for one in drawing) if rated else load_w
    tail = _TAIL_C * float(packs.capacity_ah.sum())
    return [Spell(hours, watt=watts, cut_v=ends.low_v or -np.inf) if what == "load" else
            Spell(hours, amp=-charge_a, hold_v=ends.charge_v or np.inf, tail_a=tail) if what == "charge" else
            Spell(hours) for what, hours in SPELLS]
