"""What if one pack or one device is out at the highest load: who is nearest to its limit, who trips next, how it ends.

power.md §5. Trip steps that nobody stated are taken at the continuous limit after 10 s, and that is said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.cascade import End, Event, Protection, play, steps_or_limit
from interop.circuit.draws import Current, Draw
from interop.circuit.loop import charging
from interop.circuit.network import State
from interop.circuit.one_out import OneOut, Out, one_out
from interop.circuit.picture import LOW_STATE, MOST_SEARCHED, REST_STATE
from interop.circuit.solve import Kind
from interop.unchanging import unchanging
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from interop.circuit.picture import Picture
    from interop.records.facts import Fact
    from interop.records.leaves import TimedCurrent

__all__ = ["Losses", "Lost", "charge_losses", "charging_goes_on", "follows_of", "losses_of",
           "sure_charge_a"]

_EXACT = 0.002


@unchanging
class Lost:
    """One thing out: its name, whether a pack, what came of it, the pack nearest to its limit with its current [A] and
    the part of the limit. ``gone``: its name in the network. What then follows: `follows_of`.
    """

    name: str
    is_pack: bool
    kind: Kind
    nearest: str | None
    amps: float
    part: float
    gone: str

    @property
    def bad(self) -> bool:
        """Whether something passes its limit, or the load is not carried."""
        return self.part > 1 or self.kind not in (Kind.FINE, Kind.ISLAND)


@unchanging
class Losses:
    """Every single loss at the highest load, worst first. ``safe_w``: the largest load [W] at which no pack passes its
    limit whichever one pack is out, split over the inverters as the highest load is, at the resistances to work with.
    ``sure_w``: a load at which surely none does wherever the resistances lie; None: not known.
    """

    rows: tuple[Lost, ...]
    safe_w: float
    sure_w: float | None
    steps_assumed: tuple[str, ...]


@once
def losses_of(picture: Picture) -> Losses | None:
    """Return what every single loss does at the highest load; None where load or some pack's limit is not stated."""
    limits = picture.limits
    if picture.load_w is None or np.any(np.isnan(limits.discharge_a)) or not sum(picture.load_w):
        return None
    found = _out(picture, picture.load_w)
    rows = sorted((_row(picture, found, i) for i in range(len(found))), key=_gravest)
    safe = _safe_w(picture, picture.load_w)
    return Losses(tuple(rows), safe, _sure_w(picture, picture.load_w, safe), _assumed(picture))


@once
def charge_losses(picture: Picture, *, closed: bool = False) -> tuple[Lost, ...]:
    """Return what the loss of each pack does with every charger at its planned current, worst first.

    In open loop the chargers go on giving the same current into fewer packs; ``closed``: a manager orders less where it
    knows of the loss (`interop.circuit.loop`). Empty where currents or limits are not known.
    """
    amps, limits = picture.charge_plan, picture.limits
    if amps is None or not sum(amps) or np.any(np.isnan(limits.charge_a)) or len(picture.bank.packs) < 2:
        return ()
    network = picture.network_at(REST_STATE)
    packs = range(len(network.packs))

    def solved(draws: Sequence[Draw], which: Sequence[int]) -> list[Out]:
        done = one_out(network, draws, [(i, State.OPEN) for i in which], [],
                       discharge_a=_positive(limits.discharge_a), charge_a=_positive(limits.charge_a), worst=1)
        return [done.case(i) for i in range(len(done))]

    if closed:
        found = [one for i in packs for one in solved(charging(picture, _without(picture, i)) or (), [i])]
    else:
        found = solved([Current(-a) for a in amps], packs)
    rows = []
    for out in found:
        nearest, at, part = out.worst[0] if out.worst else (None, 0.0, 0.0)
        rows.append(Lost(out.name, True, out.outcome.kind, nearest, float(at), float(part), out.name))
    return tuple(sorted(rows, key=_gravest))


def _without(picture: Picture, pack: int) -> list[State]:
    return [State.OPEN if i == pack else State.ON for i in range(len(picture.bank.packs))]


@once
def sure_charge_a(picture: Picture) -> float | None:
    """The charge current [A] of all chargers together, in the parts of the plan, at which surely no pack passes its
    limit whichever one is out, wherever the resistances lie; None: not known.
    """
    bound, plan, packs = picture.bound, picture.charge_plan, len(picture.bank.packs)
    if bound is None or plan is None or packs > MOST_SEARCHED:
        return None
    limits = _positive(picture.limits.charge_a)
    parts = [float(np.max(one.at_most(plan)[0] / limits)) for pack in range(packs)
             if (one := bound.without(pack)) is not None]
    return sum(plan) / max(parts) if parts and max(parts) > 0 else None


@once
def charging_goes_on(picture: Picture, row: Lost, *, closed: bool) -> tuple[tuple[Event, ...], End]:
    """Return what follows the loss of a pack while all are charged, in open or in closed loop, and how it ends."""
    network = picture.network_at(REST_STATE)
    states = _without(picture, picture.of_pack[row.gone])
    packs = [Protection(charge=_steps(d.record.electric.trips.charge, float(picture.limits.charge_a[i]))[0])
             for i, d in enumerate(picture.bank.packs)]
    played = play(network, [Current(-a) for a in picture.charge_plan or ()], packs, states=states,
                  ordered=(lambda now: charging(picture, now) or []) if closed else None)
    return played.events, played.end


def _gravest(row: Lost) -> tuple[bool, float]:
    return row.kind in (Kind.FINE, Kind.ISLAND), -row.part


def _out(picture: Picture, load_w: Sequence[float], *, packs_only: bool = False) -> OneOut:
    network = picture.network_at(LOW_STATE)
    limits = picture.limits
    ends = {one.spot.device.id for one in picture.converters}   # their own run carries only them: nobody else is loaded
    devices = [] if packs_only else [picture.bank.at[spot.branch] for spot in picture.bank.devices
                                     if spot.run.a not in ends]
    return one_out(network, picture.draws(load_w), [(i, State.OPEN) for i in range(len(network.packs))], devices,
                   discharge_a=_positive(limits.discharge_a), charge_a=_positive(limits.charge_a),
                   cut_off_v=_cut_off(picture), worst=1)


def _positive(amps: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(np.isnan(amps) | (amps <= 0), np.inf, amps)


def _cut_off(picture: Picture) -> NDArray[np.float64]:
    return np.array([np.nan if one.lowest_v is None else one.lowest_v for one in picture.converters])


def _row(picture: Picture, found: OneOut, i: int) -> Lost:
    out = found.case(i)
    is_pack = bool(found.is_pack[i])
    name = out.name if is_pack else next(spot.name for spot in picture.bank.devices if spot.branch == out.name)
    nearest, amps, part = out.worst[0] if out.worst else (None, 0.0, 0.0)
    return Lost(name, is_pack, out.outcome.kind, nearest, float(amps), float(part), out.name)


@once
def follows_of(picture: Picture, row: Lost) -> tuple[tuple[Event, ...], End | None]:
    """Return what follows a loss at the highest load, played to its end, and how it ends; nothing of a harmless one."""
    if not row.bad or picture.load_w is None:
        return (), None
    load_w, gone, is_pack = picture.load_w, row.gone, row.is_pack
    network = picture.network_at(LOW_STATE)
    states = [State.OPEN if is_pack and name == gone else State.ON for name in network.packs]
    whole = np.array([is_pack or name != gone for name in network.branches])
    packs = [Protection(discharge=_steps(d.record.electric.trips.discharge, float(picture.limits.discharge_a[i]))[0])
             for i, d in enumerate(picture.bank.packs)]
    played = play(network, picture.draws(load_w), packs, cut_off_v=_cut_off(picture), states=states,
                  whole=whole)
    return played.events, played.end


def _steps(fact: Fact[tuple[TimedCurrent, ...]], limit_a: float) -> tuple[tuple[tuple[float, float], ...], bool]:
    stated = tuple((step.amps, step.seconds) for step in fact.only) if fact.only is not None else ()
    return steps_or_limit(stated, limit_a)


def _assumed(picture: Picture) -> tuple[str, ...]:
    """Records whose trip steps are not stated."""
    return tuple(dict.fromkeys(d.record.id for d in picture.bank.packs
                               if not d.record.electric.trips.discharge.known))


def _sure_w(picture: Picture, load_w: Sequence[float], safe_w: float) -> float | None:
    """The load [W], to 1 % and on the safe side, at which the quick bound of every single loss keeps every limit."""
    bound = picture.bound
    packs = len(picture.bank.packs)
    if bound is None or packs > MOST_SEARCHED or picture.at_most_under(bound, load_w) is None:
        return None
    left = [one for pack in range(packs) if (one := bound.without(pack)) is not None]
    limits = _positive(picture.limits.discharge_a)
    shape = np.array(load_w) / sum(load_w)

    def keeps(watts: float) -> bool:
        most = (picture.at_most_under(one, [*(shape * watts)]) for one in left)
        return all(one is not None and not np.any((one[0] > limits) | np.isinf(one[0])) for one in most)

    low, high = 0.0, safe_w
    if keeps(high):
        return high
    if (asked := sum(load_w)) < safe_w:
        low, high = (asked, high) if keeps(asked) else (low, asked)
    while high - low > 0.01 * safe_w:
        at = (low + high) / 2
        low, high = (at, high) if keeps(at) else (low, at)
    return low


def _safe_w(picture: Picture, load_w: Sequence[float]) -> float:
    """The largest load [W], to 0.2 % of the rated power and on the safe side; the parts grow with the load.

    They grow nearly in proportion, so that the next try is where a straight line from zero says.
    """
    rated = picture.rated_w
    shape = np.array(load_w) / sum(load_w)

    def part(watts: float) -> float:
        found = _out(picture, [float(w) for w in shape * watts], packs_only=True)
        fine = np.isin(found.kind, [Kind.FINE, Kind.ISLAND])
        return float(np.nanmax(found.worst_part, initial=0.0)) if np.all(fine) else np.inf

    low, high, at, tried = 0.0, rated, rated, part(rated)
    if tried <= 1:
        return rated
    while high - low > _EXACT * rated:
        guess = at / tried * (1 - _EXACT / 4) if np.isfinite(tried) else (low + high) / 2
        at = guess if low + _EXACT * rated / 8 < guess < high else (low + high) / 2
        tried = part(at)
        low, high = (at, high) if tried <= 1 else (low, at)
        if tried <= 1 and tried > 1 - _EXACT:
            break
    return low
