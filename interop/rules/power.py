"""The power side is not computed yet: until it is, joining is never cleared and every document says so."""

from __future__ import annotations

from collections.abc import Iterator

from interop.circuit.bank import undrawn
from interop.circuit.picture import MOST_SEARCHED
from interop.rules.finding import Hit, Level, cannot_tell, rule
from interop.rules.wording import joined
from interop.wiring.stage import Stage

__all__ = ["power_not_judged"]


def _not_judged(stage: Stage, bank: tuple[str, ...]) -> str:
    later = [] if stage.over_time and len(bank) <= MOST_SEARCHED else ["how the bank runs empty and full", "surges"]
    return joined([*later, "the order of work", "the readings of the day"])


@rule(
    "power-not-judged",
    "power",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Currents, fuses, cables and joining voltages of the bank are not computed, or not all of them.",
    source="common practice",
    explain="Unlike packs on one busbar share current by resistance and later by capacity, never by rating; and one "
    "pack alone can burn a cable that is too thin or has no fuse, or be charged with a voltage that its cells do not "
    "bear. Until the currents, the faults, the protective devices, the voltages and the joining readings of this bank "
    "are computed, nobody may close power on the word of this plan. Settings, addresses and data cables are judged "
    "apart and may be prepared. Have the power side worked out and checked by somebody licensed to do it before "
    "power is closed.",
)
def power_not_judged(stage: Stage) -> Iterator[Hit]:
    """Say for each planned bank, of one pack too, that its power side is not judged."""
    if stage.name != "planned":
        return
    for bank in stage.banks:
        if len(bank) > 1 and not undrawn(stage, bank):
            yield cannot_tell(
                bank,
                "Power is judged in part: currents, faults, protection and settings are computed, but not "
                f"{_not_judged(stage, bank)}.",
                "Have currents, protective devices, cables and the joining voltages checked before any pack is joined.")
        elif len(bank) > 1:
            yield cannot_tell(
                bank,
                "Power is not judged: sharing of current, faults, protection and joining of this bank are not "
                "computed.",
                "Have currents, protective devices, cables and the joining voltages checked before any pack is joined.")
        else:
            yield cannot_tell(
                bank,
                "Power is not judged: currents, faults, protection, cables and voltages of this pack and of what it "
                "feeds are not computed.",
                "Have currents, protective devices, cables and the controller's voltages checked before the pack is "
                "joined to anything.")
