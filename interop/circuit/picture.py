"""One bank in numbers: how it shares, its limits, what the load asks of it. Built once, read by rules and tables.

All of it is computed from the site and the records; what is not stated and may not be assumed is listed, and whatever
rests on it is then not there (None), never a pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.bank import POLES, Bank, bank_network, banks_drawn, run_name
from interop.circuit.chains import Box
from interop.circuit.converters import Converter, converters, shares_of_load
from interop.circuit.draws import Current, Draw, Power
from interop.circuit.pieces import Ohms
from interop.circuit.quick import Bound
from interop.circuit.sharing import BankLimit, Limits, Sharing, bank_limit, share
from interop.circuit.solve import Solution, solve
from interop.standards.cell_voltage import lfp_cell_voltage
from interop.standards.devices import continuous_capacity_a
from interop.unchanging import unchanging
from interop.wiring.busbar import lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from interop.circuit.network import Network
    from interop.circuit.tolerance import WorstBankLimit
    from interop.site.site import Device
    from interop.wiring.stage import Stage

__all__ = ["LOW_STATE", "MOST_SEARCHED", "REST_STATE", "Assumption", "Picture", "Sure", "bank_picture", "losses",
           "pictures"]

REST_STATE = 0.5
"""Charge state at which the limits at the start are told; on the plateau it changes next to nothing."""
LOW_STATE = 0.1
"""Charge state at which the load is heaviest for the bank: the curves of the cells end there."""


MOST_SEARCHED = 24
"""What takes minutes for more packs is not done for larger banks: the search through all tolerances (they get a sure
bound), following the bank over hours, moving each pack's resistance alone, proposals.
"""


@unchanging
class Assumption:
    """Something taken for granted: whose, which fact, the value used with its unit, and how far it may lie."""

    about: str
    fact: str
    value: str
    low: str
    high: str


@unchanging
class Sure:
    """A total current [A] that surely holds, and the pack or branch that is first beyond it."""

    amps: float
    first: str
    is_pack: bool


@unchanging(eq=False)
class Picture:
    """One bank with everything computed of it. Currents [A] are positive out of a pack."""

    stage: Stage
    bank: Bank
    converters: tuple[Converter, ...]

    # ---- voltages ----

    @once
    def emf_v(self, state: float) -> NDArray[np.float64]:
        """Voltage of every pack without current [V] at one charge state, from the cells; other chemistries: nominal.

        Not to be written to: it is kept.
        """
        volts = np.array([_emf(device, state) for device in self.bank.packs])
        volts.setflags(write=False)
        return volts

    @once
    def network_at(self, state: float) -> Network:
        """The network with the resistances to work with, every pack at one charge state."""
        return self.bank.network.with_emf(self.emf_v(state))

    @cached_property
    def limits(self) -> Limits:
        """What packs, devices, busbars and the terminals of cascaded packs may carry (not a number: not stated)."""
        packs = {d.id: (_or_nan(lowest(d.record.limits.charge_a)), _or_nan(lowest(d.record.limits.discharge_a)))
                 for d in self.bank.packs}
        return Limits.of(self.bank.network, packs, dict(self._branch_limits()))

    def _branch_limits(self) -> Iterator[tuple[str, tuple[float, float]]]:
        for spot in self.bank.devices:
            device = spot.device.loaded.record.device
            rating = None if device is None else lowest(device.rating_a)
            if device is not None and rating is not None:
                carries = continuous_capacity_a(rating, hundred_percent_rated=device.full_rating.only is True)
                yield spot.branch, (carries, carries)
        for branch in self.bank.branches:
            if branch.what == "bar":
                bar = self.stage.site.busbars[branch.owner[7:]].loaded
                facts = None if bar is None else bar.record.busbar
                rating = None if facts is None else lowest(facts.rating_a)
                if rating is not None:
                    yield branch.name, (rating, rating)
        for run in self.bank.runs:     # packs cascaded onto this one: its own run carries them all
            through = [r for r in self.bank.runs if r.b == run.a]
            if through and run.a in self.stage.site.devices:
                limit = lowest(self.stage.site.devices[run.a].record.limits.through_terminals_a)
                for pole in POLES if limit is not None else ():
                    for at in self.bank.of_run[run_name(run), pole][:1]:
                        yield self.bank.branches[at].name, (limit or 0.0, limit or 0.0)

    def surely_at_most(self, port_a: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """Amounts [A] that no pack and no branch passes at these port currents, over all tolerances; None: unknown."""
        return None if self.bound is None else self.bound.at_most(port_a)

    @cached_property
    def bound(self) -> Bound | None:
        """What no pack and no branch passes, over all tolerances; None: packs differ in voltage without current."""
        return Bound.of(self.network_at(REST_STATE), self.box)

    @cached_property
    def most_at_load(self) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """Amounts [A] that no pack and no branch passes at the highest load, over all tolerances; None: unknown.

        Inverters draw the more the lower their voltage, so it is not enough to take the currents of `at_load`.
        """
        if self.bound is None or self.load_w is None:
            return None
        return self.at_most_under(self.bound, self.load_w)

    def at_most_under(self, bound: Bound, load_w: Sequence[float],
                      ) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """Amounts [A] that no pack and no branch passes by a bound of this bank, nearly empty, for powers at the
        outlets of its ports [W]: infinite where the voltage may collapse; None: packs differ in their voltage then.
        """
        emf = self.emf_v(LOW_STATE)
        if len(set(emf.tolist())) > 1:
            return None
        watts = [draw.watts if isinstance(draw, Power) else 0.0 for draw in self.draws(load_w)]
        drawn = bound.drawn_at_most(watts, float(emf[0]))
        if not np.all(np.isfinite(drawn)):
            return np.full(len(self.bank.packs), np.inf), np.full(len(self.bank.branches), np.inf)
        return bound.at_most(drawn)

    # ---- sharing and the bank limit ----

    @cached_property
    def split_out(self) -> NDArray[np.float64] | None:
        """How a load is split over the ports: by rated power; None without a port that draws and states it."""
        power = [one.power_w if one.draws else 0.0 for one in self.converters]
        if None in power or not sum(p or 0.0 for p in power):
            return None
        return _parts(power)

    @cached_property
    def split_in(self) -> NDArray[np.float64] | None:
        """How charge current is split over the ports: every charger at full; None where one does not state it."""
        amps = [one.charge_a for one in self.converters]
        if None in amps or not sum(a or 0.0 for a in amps):
            return None
        return _parts(amps)

    def _share(self, split: NDArray[np.float64] | None) -> Sharing | None:
        if split is None:
            return None
        return share(self.network_at(REST_STATE), split)

    @cached_property
    def sharing_out(self) -> Sharing | None:
        """How the bank shares a load at the start."""
        return self._share(self.split_out)

    @cached_property
    def sharing_in(self) -> Sharing | None:
        """How the bank shares charge current at the start."""
        return self._share(self.split_in)

    @cached_property
    def limit_out(self) -> BankLimit | None:
        """The bank limit in discharge (``high_a``) at the start."""
        return None if self.sharing_out is None else bank_limit(self.sharing_out, self.limits)

    @cached_property
    def limit_in(self) -> BankLimit | None:
        """The bank limit in charge (-``low_a``) at the start."""
        return None if self.sharing_in is None else bank_limit(self.sharing_in, self.limits)

    @cached_property
    def box(self) -> Box:
        """How far every resistance may lie."""
        return Box(*_ends(self.bank.pack_ohms), *_ends([b.ohms for b in self.bank.branches]))

    def _worst(self, split: NDArray[np.float64] | None) -> WorstBankLimit | None:
        if split is None:
            return None
        from interop.circuit.tolerance import worst_bank_limit

        return worst_bank_limit(self.network_at(REST_STATE), self.box, self.limits, split)

    @cached_property
    def worst_out(self) -> WorstBankLimit | None:
        """The bank limit in discharge at its worst over the tolerances; None: not searched, see ``sure_a``."""
        return self._worst(self.split_out) if len(self.bank.packs) <= MOST_SEARCHED else None

    @cached_property
    def worst_in(self) -> WorstBankLimit | None:
        """The bank limit in charge at its worst over the tolerances; None: not searched, see ``sure_a``."""
        return self._worst(self.split_in) if len(self.bank.packs) <= MOST_SEARCHED else None

    def sure_a(self, way: str) -> float | None:
        """Total [A] in "discharge" or "charge" below which surely nothing passes a limit, by the quick bound."""
        split = self.split_out if way == "discharge" else self.split_in
        bound = None if split is None else self.surely_at_most(split)
        if bound is None:
            return None
        packs = self.limits.discharge_a if way == "discharge" else self.limits.charge_a
        with np.errstate(divide="ignore", invalid="ignore"):
            most = np.concatenate([packs / bound[0], self.limits.forward_a / bound[1]])
        return float(np.nanmin(most, initial=np.inf))

    @cached_property
    def sure_charge_a(self) -> Sure | None:
        """Total charge current [A] below which nothing passes a limit wherever the resistances lie, and who is first.

        None where a charger, or the limit of a pack, is not stated.
        """
        if self.split_in is None or np.any(np.isnan(self.limits.charge_a)):
            return None
        quick = self.sure_a("charge")
        if quick is not None and quick >= self.chargers_a:
            return Sure(quick, "", is_pack=False)
        first = self.limit_in.first_low if self.limit_in is not None else ()
        if quick is None or not first:
            return None
        return Sure(quick, self.told(first[0].name), first[0].kind == "pack")

    def told(self, name: str) -> str:
        """How a pack, or a branch by its own name, is told to a reader."""
        spot = next((spot for spot in self.bank.devices if spot.branch == name), None)
        if spot is not None:
            return spot.name
        branch = self.bank.branches[self.bank.at[name]] if name in self.bank.at else None
        return name if branch is None else branch.owner if branch.what == "bar" else f"run {branch.owner}"

    @property
    def chargers_a(self) -> float:
        """What all chargers together give at full [A], as far as it is stated."""
        return sum(one.charge_a or 0.0 for one in self.converters)

    @property
    def rated_w(self) -> float:
        """Rated power of all that draws together [W], as far as it is stated."""
        return sum(one.power_w or 0.0 for one in self.converters if one.draws)

    @property
    def planned_charge_a(self) -> float:
        """What all chargers together give by the plan [A]; 0 where it is not known."""
        return sum(self.charge_plan or ())

    @cached_property
    def charge_plan(self) -> tuple[float, ...] | None:
        """What each port may give [A]: its full current, or less where that must be set and every charger lets it be.

        Whole amperes, so that nothing passes a limit wherever the resistances lie. None where one is not stated.
        """
        full = [one.charge_a for one in self.converters]
        if any(amps is None for amps in full) or not sum(amps or 0.0 for amps in full):
            return None
        sure = self.sure_charge_a
        settable = all(one.settable for one in self.converters if one.charge_a)
        if sure is None or sure.amps >= self.chargers_a or not settable:
            return tuple(amps or 0.0 for amps in full)
        part = sure.amps / self.chargers_a
        return tuple(float(np.floor((amps or 0.0) * part)) for amps in full)

    # ---- the stated load and the chargers ----

    @cached_property
    def load_w(self) -> tuple[float, ...] | None:
        """Power at the outlets of each port [W] at the highest load."""
        return shares_of_load(self.converters, self.stage.site.load)

    @cached_property
    def at_load(self) -> Solution | None:
        """The bank at its highest load, nearly empty."""
        if self.load_w is None:
            return None
        return solve(self.network_at(LOW_STATE), self.draws(self.load_w))

    def draws(self, load_w: Sequence[float]) -> list[Draw]:
        """What hangs at the ports for powers at their outlets [W]."""
        return [Power(one.dc_w(watts)) if one.draws else Current(0.0)
                for one, watts in zip(self.converters, load_w, strict=True)]

    @cached_property
    def at_load_worst(self) -> Solution | None:
        """The same with every lead, lug, device and busbar at its highest resistance."""
        if self.load_w is None:
            return None
        network = self.network_at(LOW_STATE)
        return solve(network.with_ohm(self.box.branch_high_ohm, network.pack_ohm), self.draws(self.load_w))

    @cached_property
    def at_charge(self) -> Solution | None:
        """The bank with every charger at the current that the plan gives it."""
        if self.charge_plan is None:
            return None
        return solve(self.network_at(REST_STATE), [Current(-amps) for amps in self.charge_plan])

    # ---- what it rests on ----

    @cached_property
    def assumptions(self) -> tuple[Assumption, ...]:
        """Every resistance, efficiency and idle power that nobody stated, alike ones told once."""
        found: dict[tuple[str, str], Assumption] = {}
        for device, ohms in zip(self.bank.packs, self.bank.pack_ohms, strict=True):
            _assume(found, device.record.id, ohms)
        for branch in self.bank.branches:
            _assume(found, branch.owner, branch.ohms)
        for one in self.converters:
            for fact, words in one.assumed:
                key = (one.spot.device.record.id, fact)
                found.setdefault(key, Assumption(key[0], fact, words, "", ""))
        return tuple(found.values())

    @cached_property
    def of_pack(self) -> Mapping[str, int]:
        """The position of each pack."""
        return {device.id: i for i, device in enumerate(self.bank.packs)}


@once
def pictures(stage: Stage) -> tuple[Picture, ...]:
    """Return the picture of every bank of the planned stage that is drawn whole, worked out once for a stage.

    The runs of a site file are those wanted: of the stage as found nothing is known.
    """
    if stage.name != "planned":
        return ()
    return tuple(bank_picture(stage, bank) for bank in banks_drawn(stage))


def bank_picture(stage: Stage, packs: Sequence[str]) -> Picture:
    """Return the picture of a bank of which nothing is undrawn (`interop.circuit.bank.undrawn`)."""
    bank = bank_network(stage, packs)
    return Picture(stage, bank, converters(bank))


def losses(picture: Picture) -> Iterator[tuple[Converter, float, float]]:
    """Yield each converter that draws with the share of the voltage lost on the way to it at the highest load: at the
    resistances to work with, and with all leads, lugs and devices at their highest (infinite: it collapses).
    """
    usual, worst = picture.at_load, picture.at_load_worst
    if usual is None or worst is None or not usual.outcome.holds:
        return
    lost = [_lost(picture, one) if one.outcome.holds else None for one in (usual, worst)]
    for i, one in enumerate(picture.converters):
        if one.draws and lost[0] is not None:
            yield one, float(lost[0][i]), float("inf") if lost[1] is None else float(lost[1][i])


def _lost(picture: Picture, solution: Solution) -> NDArray[np.float64]:
    network = picture.bank.network
    packs = (solution.node_v[network.pack_plus] - solution.node_v[network.pack_minus]).mean()
    lost: NDArray[np.float64] = (packs - solution.port_v) / packs
    return lost


def _emf(device: Device, state: float) -> float:
    cells = device.record.cells
    series = None if cells is None else cells.in_series.only
    if cells is not None and series is not None and cells.chemistry.only == "lfp":
        cell = lfp_cell_voltage(state)
        if cell is not None:
            return float(series * cell.nominal)
    nominal = None if cells is None else lowest(cells.nominal_v)
    return nominal if nominal is not None else 3.2 * (series or 16)


def _parts(values: Sequence[float | None]) -> NDArray[np.float64]:
    given = np.array(values, dtype=np.float64)
    parts: NDArray[np.float64] = given / given.sum()
    return parts


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value


def _ends(ohms: Sequence[Ohms]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return np.array([o.low for o in ohms]), np.array([o.high for o in ohms])


def _assume(found: dict[tuple[str, str], Assumption], about: str, ohms: Ohms) -> None:
    if ohms.assumed is not None:
        low, value, high = (f"{x * 1000:.3g} mohm" for x in (ohms.low, ohms.nominal, ohms.high))
        found.setdefault((about, ohms.assumed), Assumption(about, ohms.assumed, value, low, high))
