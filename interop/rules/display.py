"""Rules of the settings subject about what a controller is told: of whom its figures speak, what they are worth."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from interop.records.answers import Answer, all_of
from interop.records.facts import ABSENT, Fact
from interop.records.leaves import Span
from interop.records.models import Record
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import joined, named, of_record
from interop.site.site import Device
from interop.unchanging import unchanging
from interop.wiring.busbar import same_value
from interop.wiring.stage import Stage, StageLink

__all__: list[str] = []

_CHARGE = {
    "lowest": "the lowest charge state of",
    "mean": "the plain mean charge state of",
    "weighted mean": "the mean charge state, weighted by capacity, of",
    "highest": "the highest charge state of",
    "sum": "the summed charge of",
    "own": "the charge state of",
}
_CURRENT = {"sum of members": "the sum of their currents", "own": "the current of {manager} alone"}


@unchanging
class _Shown:
    """What one manager puts on a display: in words, the packs its charge state speaks for, the facts it rests on."""

    words: str
    seen: tuple[str, ...]
    facts: tuple[FactUsed, ...]


def _shown(stage: Stage, link: StageLink) -> _Shown:
    """Return what the display has of a link: by its manager's word; every pack where the controller asks each."""
    packs = [stage.device(p) for p in link.packs]
    if link.manager is None:
        return _Shown(f"each of {of_record(packs)}", link.packs, ())
    device = stage.device(link.manager)
    reports = device.record.manager.reports
    charge, current = reports.charge_state, reports.current
    facts = (
        fact_used(device, "manager.reports.charge_state", charge),
        fact_used(device, "manager.reports.current", current),
    )
    alone = charge.only == "own"
    whom = of_record([device]) if alone else of_record(packs)
    words = f"{_CHARGE.get(charge.only or '', 'a charge state (which one is not known) of')} {whom}"
    flow = _CURRENT.get(current.only or "", "a current (whose is not known)").format(manager=link.manager)
    return _Shown(f"{words} and {flow}", (link.manager,) if alone else link.packs, facts)


def _share(packs: Sequence[Device], unseen: Sequence[Device]) -> str:
    """Say which share of the bank's usable energy is not seen; where a capacity is not known, say of whom."""
    from interop.wiring.energy import energy_wh

    energy = {d.id: energy_wh(d.record) for d in packs}
    missing = [d for d in packs if energy[d.id] is None]
    if missing:
        return f"which share of the bank that is cannot be told, the capacity of {of_record(missing)} is not known"
    whole = sum(e or 0 for e in energy.values())
    part = sum(energy[d.id] or 0 for d in unseen)
    return f"{round(100 * part / whole)} % of the bank's usable energy ({part} of {whole} Wh)"


def _reporting(stage: Stage, controller: str) -> list[StageLink]:
    return [
        link
        for link in stage.links
        if link.judged
        and controller in link.reports_to
        and link.packs
        and (link.manager is not None or link.polled_by_controller)
    ]


@rule(
    "controller-shows-part",
    "settings",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    meaning="A controller shows the charge state of some packs of the bank only.",
    source="record",
    explain="""A manager knows its own packs and nothing else. A pack on the busbar without a data link, or on a
link that reports elsewhere, fills and empties unseen: the display can say empty while half of the energy is still
there, or full while that half is not. Whether the figure is the lowest, a mean or the manager's own is in its record.
Do not let charge-state limits of the controller decide what all packs have to carry: set limits by voltage, and
measure the current of the whole bank in its common minus (common practice).""",
)
def _shows_part(stage: Stage) -> Iterator[Hit]:
    for controller in dict.fromkeys(c for link in stage.links for c in link.reports_to):
        shown = [(link, _shown(stage, link)) for link in _reporting(stage, controller)]
        seen = {name for _, one in shown for name in one.seen}
        banks = [bank for bank in stage.banks if seen & set(bank)]
        packs = [stage.device(name) for name in dict.fromkeys(name for bank in banks for name in bank)]
        unseen = [d for d in packs if d.id not in seen]
        if unseen:
            are = "is" if len(unseen) == 1 else "are"
            words = joined([one.words for _, one in shown])
            yield broken(
                (controller, *(d.id for d in unseen)),
                f"{controller} shows {words}; {of_record(unseen)} {are} not in it: {_share(packs, unseen)}",
                "Set limits by voltage, not by charge state, and measure the current of the whole bank apart; "
                f"tell everyone that {named([d.id for d in unseen])} {are} not on the display.",
                facts=tuple(f for _, one in shown for f in one.facts),
            )


# ---- what the reported figures are worth ----


def _several(stage: Stage) -> Iterator[tuple[StageLink, Device]]:
    """Links of several packs whose manager is known and reports to a controller."""
    for link in stage.links:
        if link.judged and link.manager is not None and link.reports_to and len(link.packs) > 1:
            yield link, stage.device(link.manager)


@rule(
    "mean-not-weighted",
    "settings",
    broken=Level.CAUTION,
    unknown=Level.NOTE,
    meaning="The manager reports the plain mean charge state of packs of unlike capacity.",
    source="record",
    explain="""A plain mean counts a small pack as much as a big one. With 100 Ah at half and 300 Ah full it says three
quarters where seven eighths are left, and the other way round it promises energy that is not there. Limits by charge
state then act too early or too late. Set limits by voltage, or take a manager that weights by capacity.""",
)
def _mean(stage: Stage) -> Iterator[Hit]:
    for link, device in _several(stage):
        charge = device.record.manager.reports.charge_state
        plain = charge.judge(lambda said: Answer.BROKEN if said == "mean" else Answer.HOLDS)
        groups: dict[str, list[Device]] = {}
        for name in link.packs:
            groups.setdefault(stage.device(name).record.id, []).append(stage.device(name))
        kinds = [group[0].record for group in groups.values()]
        alike = all_of(same_value(_capacity(a), _capacity(b)) for a, b in itertools.combinations(kinds, 2))
        if Answer.HOLDS in (plain, alike):
            continue
        sizes = joined([f"{_capacity(g[0].record).wording()} in {of_record(g)}" for g in groups.values()])
        make = broken if plain is alike is Answer.BROKEN else cannot_tell
        says = "reports the plain mean charge state of" if charge.only == "mean" else "reports in a way not known on"
        yield make(
            (device.id, *(p for p in link.packs if p != device.id)),
            f"Link {link.id}: {of_record([device])} {says} packs whose capacities are {sizes} Ah",
            "Set limits by voltage, not by charge state.",
            facts=(fact_used(device, "manager.reports.charge_state", charge),),
        )


def _capacity(record: Record) -> Fact[float | Span]:
    return record.cells.capacity_ah if record.cells is not None else ABSENT


@rule(
    "limits-of-absent-packs",
    "settings",
    broken=Level.CAUTION,
    unknown=Level.NOTE,
    meaning="The manager adds the limits of packs that are off to what it reports.",
    source="record",
    explain="""A manager that goes on counting a pack that has switched itself off allows the controller the current of
all, and the packs that are left carry it. The next one trips, the rest carry still more, and all go one after the
other. Set the controller's own current limit to what the bank can carry with its biggest pack missing, and look after
every trip which packs are still on.""",
)
def _limits(stage: Stage) -> Iterator[Hit]:
    for link, device in _several(stage):
        limits = device.record.manager.reports.limits
        answer = limits.judge(lambda said: Answer.BROKEN if said == "sum of all" else Answer.HOLDS)
        if answer is Answer.HOLDS:
            continue
        adds = "reports the sum of the limits of all"
        does = adds if answer is Answer.BROKEN else "does not say whose limits it adds up on"
        make = broken if answer is Answer.BROKEN else cannot_tell
        yield make(
            (device.id, *(p for p in link.packs if p != device.id)),
            f"Link {link.id}: {of_record([device])} {does} {len(link.packs)} packs"
            + (", also of those that are off" if answer is Answer.BROKEN else ""),
            "Set the controller's own current limit to what the bank carries with its biggest pack off.",
            facts=(fact_used(device, "manager.reports.limits", limits),),
        )
