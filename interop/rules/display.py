"""Rules of the settings subject about what a controller shows: how much of the bank its one figure speaks for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interop.rules.finding import FactUsed, Hit, Level, broken, fact_used, rule
from interop.rules.wording import joined, named, of_record
from interop.site.site import Device
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


@dataclass(frozen=True)
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
    from interop.choose.cells import energy_wh

    energy = {d.id: energy_wh(d.record) for d in packs}
    missing = [d for d in packs if energy[d.id] is None]
    if missing:
        return f"which share of the bank that is cannot be told, the capacity of {of_record(missing)} is not known"
    whole = sum(e or 0 for e in energy.values())
    part = sum(energy[d.id] or 0 for d in unseen)
    return f"{round(100 * part / whole)} % of the bank's usable energy ({part} of {whole} Wh)"


def _reporting(stage: Stage, controller: str) -> list[StageLink]:
    return [link for link in stage.links if link.judged and controller in link.reports_to and link.packs
            and (link.manager is not None or link.polled_by_controller)]


@rule("controller-shows-part", "settings", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="A controller shows the charge state of some packs of the bank only.",
      source="record",
      explain="""A manager knows its own packs and nothing else. A pack on the busbar without a data link, or on a
link that reports elsewhere, fills and empties unseen: the display can say empty while half of the energy is still
there, or full while that half is not. Whether the figure is the lowest, a mean or the manager's own is in its record.
Do not let charge-state limits of the controller decide what all packs have to carry: set limits by voltage, and
measure the current of the whole bank in its common minus (common practice).""")
def _shows_part(stage: Stage) -> Iterator[Hit]:
    for controller in dict.fromkeys(c for link in stage.links for c in link.reports_to):
        shown = [(link, _shown(stage, link)) for link in _reporting(stage, controller)]
        seen = {name for _, one in shown for name in one.seen}
        banks = [bank for bank in stage.banks if seen & set(bank)]
        packs = [stage.device(name) for bank in banks for name in bank]
        unseen = [d for d in packs if d.id not in seen]
        if unseen:
            are = "is" if len(unseen) == 1 else "are"
            words = joined([one.words for _, one in shown])
            yield broken((controller, *(d.id for d in unseen)),
                         f"{controller} shows {words}; {of_record(unseen)} {are} not in it: {_share(packs, unseen)}",
                         "Set limits by voltage, not by charge state, and measure the current of the whole bank apart; "
                         f"tell everyone that {named([d.id for d in unseen])} {are} not on the display.",
                         facts=tuple(f for _, one in shown for f in one.facts))
