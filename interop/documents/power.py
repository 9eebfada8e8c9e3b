"""The power side of a plan as data: what every pack carries, the bank limit and who sets it, what it rests on.

Currents [A] are positive out of a pack, to a tenth of an ampere: what lies below that is not known to anybody.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import inf
from typing import TYPE_CHECKING, Any

import numpy as np

from interop.choose.controller import charge_currents, controller_settings, course_ends
from interop.circuit.cascade import End, What
from interop.circuit.faulted import bank_faults
from interop.circuit.flips import flips
from interop.circuit.joined import CURVE_MINUTES, inrush_of, joining_curves, safe_joins
from interop.circuit.loop import loops
from interop.circuit.lost import charge_losses, charging_goes_on, follows_of, losses_of, sure_charge_a
from interop.circuit.overload import carried
from interop.circuit.picture import MOST_SEARCHED
from interop.records.answers import Answer
from interop.rules.stop_reach import buttons
from interop.wiring.busbar import lowest

if TYPE_CHECKING:
    from interop.circuit.endurance import Endurance
    from interop.circuit.lasting import Watched
    from interop.circuit.lost import Lost
    from interop.circuit.picture import Picture
    from interop.circuit.sharing import Element
    from interop.circuit.solve import Solution
    from interop.circuit.tolerance import WorstBankLimit
    from interop.rules.proposals import Proposal

__all__ = ["power_dict", "settings_dict"]

Json = Any
DAYS = 7
"""Days over which the display is followed."""
MOST_OUT = 12
"""So many single losses are listed, the worst first."""


def power_dict(pictures: Sequence[Picture], proposed: Sequence[Proposal] = (), *, searched: bool = False,
               days: int = DAYS, told: Callable[[str, float], None] | None = None) -> Json:
    """Return the power side in the shape of the contract; None where no bank is drawn and nothing is proposed.

    ``worst`` is a total that surely holds; ``searched``: the true worst case over all tolerances, and days of what the
    display shows, which takes seconds; ``told`` is then called with a manager and the part of them that is done.
    ``bank_limit_a`` is that of the only bank, null where there are several: then
    see ``banks``.
    """
    if not pictures and not proposed:
        return None
    banks = [_bank(one, searched=searched, days=days, told=told) for one in pictures]
    packs: dict[str, Json] = {}
    for one in pictures:
        packs |= _packs(one)
    return {"bank_limit_a": banks[0]["bank_limit_a"] if len(banks) == 1 else None, "packs": packs, "banks": banks,
            "proposals": [_proposal(one) for one in proposed]}


def _proposal(one: Proposal) -> Json:
    return {"runs": list(one.runs), "poles": list(one.poles), "device": one.device, "place": one.place,
            "cable": one.cable, "standard_a": one.standard_a,
            "need_a": None if one.need_a == inf else round(one.need_a, 1),
            "unmet": one.unmet}


def settings_dict(pictures: Sequence[Picture]) -> dict[str, dict[str, Json]]:
    """Return the electrical settings of every controller and charger in the shape of the contract.

    Where no pack sets a value, the converter itself is named.
    """
    return {name: {one.key: {"value": one.plain, "because": one.because, "set_by": list(one.set_by) or [name]}
                   for one in found}
            for picture in pictures for name, found in controller_settings(picture).items()}


def _amps(value: float | None) -> float | None:
    if value is None or not np.isfinite(value):
        return None
    return round(float(value), 1) + 0.0     # no minus zero


def _packs(picture: Picture) -> dict[str, Json]:
    out, into = picture.at_load, picture.at_charge
    return {device.id: {"charge_a": _amps(_of(into, i)), "discharge_a": _amps(_of(out, i)),
                        "charge_limit_a": _amps(float(picture.limits.charge_a[i])),
                        "discharge_limit_a": _amps(float(picture.limits.discharge_a[i])),
                        "share": None if picture.sharing_out is None
                        else round(float(picture.sharing_out.pack_share[i]), 4)}
            for i, device in enumerate(picture.bank.packs)}


def _of(solution: Solution | None, i: int) -> float | None:
    return None if solution is None else float(solution.pack_a[i])


def _bank(picture: Picture, *, searched: bool, days: int, told: Callable[[str, float], None] | None) -> Json:
    out, into = picture.limit_out, picture.limit_in
    return {
        "packs": [device.id for device in picture.bank.packs],
        "bank_limit_a": {
            "charge": _limit(picture, None if into is None else -into.low_a, () if into is None else into.first_low,
                             picture.worst_in if searched else None, "charge"),
            "discharge": _limit(picture, None if out is None else out.high_a, () if out is None else out.first_high,
                                picture.worst_out if searched else None, "discharge"),
        },
        "load_w": None if picture.load_w is None else round(sum(picture.load_w), 1),
        "load_a": _amps(_total(picture.at_load)),
        "charge_a": _amps(_total(picture.at_charge)),
        "devices": [_device(picture, spot.branch, spot.name) for spot in picture.bank.devices],
        "one_out": _one_out(picture),
        "one_out_charging": _one_out_charging(picture),
        "over_time": _over_time(picture, days if searched else 0, told),
        "joining": [{"pack": one.pack, "below_v": None if one.volts is None else round(one.volts - 0.005, 2),
                     "by": one.by, "not_stated": list(one.not_stated)} for one in safe_joins(picture)],
        "joining_curves": [{"pack": one.pack, "at_v": round(one.volts, 2), "minutes": list(CURVE_MINUTES),
                            "amps": [_amps(a) for a in one.amps]} for one in joining_curves(picture)],
        "inrush": _inrush(picture),
        "after_stop": _after_stop(picture),
        "faults": [{"device": one.name, "ka": round(one.amps / 1000, 1),
                    "breaks_ka": None if one.facts is None else lowest(one.facts.interrupts_ka)}
                   for one in bank_faults(picture)],
        "decided_together": sorted({one.element.name for one in carried(picture) if one.element.kind == "pack"
                                    and one.answer is Answer.CANNOT_TELL and one.limit_a is not None},
                                   key=list(picture.of_pack).index),
        "decided_by": [{"resistance": one.what, "range_mohm": None if one.range_mohm is None
                        else [round(value, 2) for value in one.range_mohm], "pack": one.pack, "way": one.way,
                        "amps": [_amps(one.low_a), _amps(one.high_a)], "limit_a": _amps(one.limit_a)}
                       for one in flips(picture)],
        "assumptions": [{"about": a.about, "fact": a.fact, "value": a.value,
                         "range": [a.low, a.high] if a.low else None} for a in picture.assumptions],
    }


def _over_time(picture: Picture, days: int, told: Callable[[str, float], None] | None) -> Json:
    """How the bank runs empty and full, how long it lasts, and over ``days`` what the display shows; None: not told."""
    from interop.circuit.lasting import emptied, filled, lasting, not_said, watched

    missing = not_said(picture)
    if len(picture.bank.packs) > MOST_SEARCHED:
        return {"not_told": [f"a bank of more than {MOST_SEARCHED} packs is not followed over time"]}
    if missing:
        return {"not_told": list(missing)}
    ends = course_ends(picture)
    lasts, full, out = lasting(picture, ends), filled(picture, ends, charge_currents(picture)), emptied(picture, ends)
    packs = picture.bank.packs
    return {
        "not_told": [],
        "ends": {"low_v": ends.low_v, "charge_v": ends.charge_v},
        "endurance": {"before": _endurance(lasts.before), "after": _endurance(lasts.after)},
        "highest_load": None if out is None else {"hours": round(out.hours, 1), "ended": out.ended},
        "end_of_charge": None if full is None else {
            "hours": round(full.hours, 1), "reached": full.reached,
            "packs": {d.id: {"charge_percent": round(100 * min(s, 1.0), 1), "v": round(v, 2)}
                      for d, s, v in zip(packs, full.soc, full.volts, strict=True)}},
        "display": [_display(one, days) for one in watched(picture, ends, days, told)] if days else None,
    }


def _after_stop(picture: Picture) -> Json:
    """What stays live after each stop: packs, the busbar, and the charge of the capacitors [J] until it is measured."""
    packs = list(picture.of_pack)
    inrush = inrush_of(picture)
    farad = None if inrush is None or inrush.millifarad is None else inrush.millifarad / 1000
    rows = []
    for reached in buttons(picture.stage, packs) or [()]:
        live = [name for name in packs if name not in reached]
        rows.append({"stops": list(reached), "live_packs": live, "busbar_live": bool(live)})
    return {"stops": rows, "capacitors_j": None if farad is None or inrush is None
            else round(farad * inrush.volts**2 / 2, 1)}


def _endurance(one: Endurance | None) -> Json:
    if one is None:
        return None
    return {"load_w": round(one.load_w), "usable_kwh": round(one.usable_kwh, 1), "hours": round(one.hours, 1),
            "ended": one.ended, "rests_on": list(one.rests_on)}


def _display(one: Watched, days: int) -> Json:
    """What a manager shows against the charge state of the whole bank, in percent of the whole, day by day."""
    rows = [one.drift.error_range(24.0 * day) for day in range(1, days + 1)]
    worst = min(low for low, _ in rows), max(high for _, high in rows)
    return {"manager": one.manager, "packs": list(one.packs), "rule": one.rule, "days": days,
            "error_percent": [round(100 * value, 1) + 0.0 for value in worst],
            "at_the_end_percent": [round(100 * value, 1) + 0.0 for value in rows[-1]]}


def _one_out(picture: Picture) -> Json:
    found = losses_of(picture)
    if found is None:
        return None
    rows = [{"out": row.name, "nearest": row.nearest, "amps": _amps(row.amps), "part": round(row.part, 3),
             **_follows(picture, row)} for row in found.rows[:MOST_OUT]]
    return {"safe_w": _floor_w(found.safe_w), "sure_w": None if found.sure_w is None else _floor_w(found.sure_w),
            "cases": rows,
            "steps_assumed": list(found.steps_assumed)}


_CHARGING_ENDS = {End.DARK: "nothing is charged any more", End.UNSETTLED: "not settled"}


def _one_out_charging(picture: Picture) -> Json:
    """The worst losses of a pack while all chargers give their planned currents, in open and in closed loop."""
    rows = charge_losses(picture)
    if not rows:
        return None
    few = len(picture.bank.packs) <= MOST_SEARCHED
    closed = {row.name: row for row in charge_losses(picture, closed=True)} if loops(picture) and few else {}
    sure = sure_charge_a(picture)
    return {"charged_a": picture.planned_charge_a, "sure_a": None if sure is None else int(sure),
            "cases": [{"out": row.name, "open_loop": _loss(picture, row, closed=False),
                       "closed_loop": _loss(picture, closed[row.name], closed=True) if row.name in closed else None}
                      for row in rows[:MOST_OUT]]}


def _loss(picture: Picture, row: Lost, *, closed: bool) -> Json:
    events, end = charging_goes_on(picture, row, closed=closed) if row.part > 1 else ((), None)
    return {"nearest": row.nearest, "amps": _amps(abs(row.amps)), "part": round(row.part, 3),
            "then": [[round(event.time_s, 1), event.name, str(event.what)] for event in events
                     if event.what is not What.DARK],
            "end": None if end is None else _CHARGING_ENDS.get(end, "charging goes on")}


def _floor_w(watts: float) -> int:
    return int(watts // 10) * 10


def _follows(picture: Picture, row: Lost) -> Json:
    events, end = follows_of(picture, row)
    return {"then": [[round(event.time_s, 1), event.name, str(event.what)] for event in events],
            "end": None if end is None else str(end)}


def _inrush(picture: Picture) -> Json:
    found = inrush_of(picture)
    if found is None:
        return None
    step = found.step
    return {"capacitance_mf": found.millifarad, "peak_a": None if found.peak_a is None else round(found.peak_a, -1),
            "trip_a": found.trip_a, "not_stated": list(found.not_stated),
            "precharge": None if step is None else {"ohm": step.ohm, "joule": round(step.joule, 1),
                                                    "seconds": round(step.seconds, 1),
                                                    "close_below_v": step.close_below_v}}


def _total(solution: Solution | None) -> float | None:
    return None if solution is None else float(np.nansum(solution.port_a))


def _limit(picture: Picture, start: float | None, first: Sequence[Element], worst: WorstBankLimit | None,
           way: str) -> Json:
    """One direction of the bank limit: at the start, over the course, at the worst over tolerances, who is first."""
    sure = picture.sure_a(way) if worst is None else getattr(worst, f"{way}_sure_a")
    leads = None if worst is None else getattr(worst, f"{way}_first")
    later = _course(picture, way)
    return {"start": _amps(start), "course": _amps(later), "worst": _amps(sure),
            "first": _who(picture, first[0]) if first else None,
            "first_at_worst": None if leads is None else _who(picture, leads)}


def _course(picture: Picture, way: str) -> float | None:
    """The bank limit over the course [A], at the resistances to work with; None: not told."""
    from interop.circuit.lasting import lasting

    if len(picture.bank.packs) < 2:
        return None
    found = lasting(picture, course_ends(picture))
    one = found.out if way == "discharge" else found.into
    return None if one is None else one.amp


def _who(picture: Picture, element: Element) -> str:
    """A pack by its id, a device, run or busbar as it is told."""
    return picture.told(element.name)


def _device(picture: Picture, branch: str, name: str) -> Mapping[str, Json]:
    at = picture.bank.at[branch]
    carries = float(picture.limits.forward_a[at])
    return {"device": name, "discharge_a": _amps(_in(picture.at_load, at)),
            "charge_a": _amps(_in(picture.at_charge, at)), "carries_a": _amps(carries)}


def _in(solution: Solution | None, at: int) -> float | None:
    return None if solution is None else abs(float(solution.branch_a[at]))
