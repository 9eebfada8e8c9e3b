"""Rules about how the bank fares over hours: nobody passes his limit on the way, and every pack fills.

They take a part of a second for each bank, so that only `plan` and `power` judge them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.circuit.picture import MOST_SEARCHED, Picture, pictures
from interop.records.facts import ABSENT
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import fact_missing, figure, joined, look_up, named
from interop.site.site import Device
from interop.wiring.busbar import highest
from interop.wiring.stage import Stage

__all__: list[str] = []

_SHORT = 0.05
_HAIR_V = 0.05


def _followed(stage: Stage) -> Iterator[Picture]:
    """Every bank that is followed over time."""
    if stage.over_time:
        yield from (one for one in pictures(stage) if 1 < len(one.bank.packs) <= MOST_SEARCHED)


@rule("pack-passes-its-limit-later", "sharing", broken=Level.STOP, unknown=Level.STOP,
      meaning="A pack keeps its limit at the start and passes it while the bank runs empty or full.",
      source="common practice",
      explain="""At first packs share by resistance, after an hour or so by capacity, and at the knees of the curve
everything falls on those that still hold something. So a bank that is within its limits when it is joined may not be an
hour later. The bank is followed at the highest load from 95 % until an inverter stops, and with the planned charge
currents from 10 % until the charge ends, at the resistances to work with. Lower the load or the charge current, or keep
packs of very unlike size on busbars of their own. `interop power` tells the limit over the course.""")
def _later(stage: Stage) -> Iterator[Hit]:
    for picture in _followed(stage):
        from interop.choose.controller import charge_currents, course_ends
        from interop.circuit.lasting import emptied, filled, not_said

        packs = tuple(picture.of_pack)
        missing = not_said(picture)
        if missing:
            yield cannot_tell(packs, "Whether a pack passes its limit while the bank runs empty or full cannot be "
                              f"told: {joined(missing)} {'is' if len(missing) == 1 else 'are'} not stated.",
                              "Look these facts up and state them.")
            continue
        ends = course_ends(picture)
        out, into = emptied(picture, ends), filled(picture, ends, charge_currents(picture))
        for over, what in ((None if out is None else out.over, "of the highest load"),
                           (None if into is None else into.over, "of charge")):
            if over is not None:
                yield broken((over[0],), f"{over[0]} passes its limit after {over[1]:.1f} h {what}, when others are "
                             f"{'empty' if what == 'of the highest load' else 'full'} or nearly so.",
                             "Lower the load." if what == "of the highest load" else "Set the chargers lower.",
                             got=f"{over[1]:.1f} h")
        unknown = [what for what, one in (("the highest load", out), ("the charge", into)) if one is None]
        if unknown and _should(picture):
            yield cannot_tell(packs, f"How the bank runs under {joined(unknown)} cannot be told: load, charge currents "
                              "or end voltages are not known.", "See the findings about load and settings.")


def _should(picture: Picture) -> bool:
    """Whether something draws and something charges, so that both courses ought to be known."""
    return any(one.draws for one in picture.converters) and any(one.charge_a != 0 for one in picture.converters)


@rule("pack-never-fills", "settings", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="When the charge ends, some pack is not full, or is below the voltage at which it balances its cells.",
      source="common practice",
      explain="""The charge ends when the whole current has become small at the charge voltage. A pack behind long
leads, or one that needs a higher voltage than the bank may have, is then not full; one that never comes to its
balancing voltage drifts apart inside: its weakest cell ends every charge and every discharge. Raise the charge
voltage within the window of all packs, hold it longer, or charge such a pack alone once a month.""")
def _fills(stage: Stage) -> Iterator[Hit]:
    for picture in _followed(stage):
        from interop.choose.controller import charge_currents, course_ends
        from interop.circuit.lasting import filled

        ends = course_ends(picture)
        found = filled(picture, ends, charge_currents(picture))
        if found is None or ends.charge_v is None:
            if any(one.charge_a != 0 for one in picture.converters):
                yield cannot_tell(tuple(picture.of_pack), "How full each pack is when the charge ends cannot be told: "
                                  "charge currents, the charge voltage or the cells are not known.",
                                  "See the findings about charge and cells.")
            continue
        at = figure(ends.charge_v, "V")
        if found.short:
            rows = [f"{name} at {found.soc[picture.of_pack[name]]:.0%}" for name in found.short]
            yield broken(found.short, f"When the charge ends at {at}, not full: {joined(rows)}.",
                         "Hold the charge voltage longer, or make the leads of these packs shorter.",
                         limit=f"{1 - _SHORT:.0%}")
        yield from _balance(picture, found.volts, at)


def _balance(picture: Picture, volts: Sequence[float], at: str) -> Iterator[Hit]:
    groups: dict[str, list[tuple[str, float]]] = {}
    silent: dict[str, list[Device]] = {}
    for device, v in zip(picture.bank.packs, volts, strict=True):
        fact = ABSENT if device.record.cells is None else device.record.cells.balance_v
        balance_v = highest(fact)
        if balance_v is None:
            silent.setdefault(device.record.id, []).append(device)
        elif v < balance_v - _HAIR_V:
            groups.setdefault(device.record.id, []).append((device.id, balance_v))
    for record, group in silent.items():
        fact = ABSENT if group[0].record.cells is None else group[0].record.cells.balance_v
        who = tuple(d.id for d in group)
        yield cannot_tell(who, f"Whether {named(who)} ever {'comes' if len(who) == 1 else 'come'} to the voltage for "
                          f"balancing cells is not known: {fact_missing(record, 'cells.balance_v', fact)}.",
                          look_up(record, "cells.balance_v", fact),
                          facts=(FactUsed(record, "cells.balance_v", fact.state),))
    for record, rows in groups.items():
        about = tuple(name for name, _ in rows)
        comes = "never comes" if len(about) == 1 else "never come"
        they = "it balances" if len(about) == 1 else "they balance"
        yield broken(about, f"{named(about)} ({record}) {comes} to {figure(rows[0][1], 'V')}, where {they} cells: the "
                     f"charge ends at {at}.", "Raise the charge voltage within the window of all packs, or charge them "
                     "alone once a month.", limit=figure(rows[0][1], "V"))
