"""Rule of the power subject: the lead of a pack is fed from the busbar too."""

from __future__ import annotations

from collections.abc import Iterator

from interop.circuit.feeds import circuits
from interop.circuit.protection import ENCLOSED_LEAD_M, SHORT_LEAD_M, FedBack, fed_back, lead_borne
from interop.records.answers import Answer
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.power_words import Group, about, amps, at, facts, runs_told, todo, why
from interop.rules.wording import figure
from interop.wiring.stage import Stage

__all__: list[str] = []


@rule("fed-from-the-other-end", "power", broken=Level.STOP, unknown=Level.STOP, broken_also=(Level.CAUTION,),
      unknown_also=(Level.CAUTION,),
      meaning="The lead of a pack is fed by all other packs from the busbar, where nothing protects it.",
      source="common practice (lengths from memory)",
      explain="""A lead between a pack and the busbar has a source at both of its ends. The device at the pack stops
what the pack gives; a short on the lead is fed by all other packs together from the busbar, and their devices let pass
their whole ratings without opening. The lead is safe where those ratings together are no more than it carries, which
two or three small packs may keep, or where a device stands at its busbar end, within 0.2 m. Inside one enclosure, with
leads up to 1.5 m that nothing can chafe, it is borne and told as a caution. Put the fuse of each pack at the busbar,
behind the breaker that is built into the pack, or use thicker leads.""")
def _fed_back(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        found = fed_back(group[0])
        if found is not None:
            yield _hit(group, found)


def _hit(group: Group, found: FedBack) -> Hit:
    one, runs = group[0], runs_told(group)
    borne = found.metres is not None and lead_borne(one, found.metres)
    level = Level.CAUTION if borne else Level.STOP
    lead = "a lead of unstated length" if found.metres is None else figure(round(found.metres, 2), "m")
    fed = "a short-circuit current" if found.fed.least == float("inf") else amps(found.fed)
    text = (f"{runs}: from the busbar {fed} can flow into {lead} that carries {amps(found.carries)}, and no device at "
            "the busbar protects it")
    where = (f"Put the device within {figure(SHORT_LEAD_M, 'm')} of the busbar, or keep the lead inside one enclosure "
             f"and under {figure(ENCLOSED_LEAD_M, 'm')}.")
    if found.answer is Answer.BROKEN:
        return broken(about(group), text, where, got=None if found.fed.least == float("inf") else amps(found.fed),
                      limit=amps(found.carries), at=at(group), level=level)
    missing = found.missing
    because = why(missing) if missing else "the place of the device is not stated"
    return cannot_tell(about(group), f"{runs}: whether the lead is protected from the busbar cannot be told: {because}",
                       todo(missing, where), at=at(group), facts=facts(missing), level=level)
