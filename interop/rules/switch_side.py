"""Which side of a switch row is on: without it a sheet would have to guess how to draw the row."""

from __future__ import annotations

from collections.abc import Iterator

from interop.rules.finding import Hit, Level, cannot_tell, fact_used, rule
from interop.rules.wording import look_up, of_record
from interop.wiring.stage import Stage, StagePack

__all__: list[str] = []


@rule(
    "on-side-not-stated",
    "address",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Nobody states which side of a switch row is on.",
    source="record",
    explain="Packs exist on which a slide switch is on when it is up, down, left or right, and rows that are mounted "
    "upside down (common practice). A pattern of on and off without that side is no setting: half of the people who "
    "read it set every switch the wrong way round, so that addresses clash or a second manager appears. Look at the "
    "row (ON is usually moulded beside it), write on_side into the record, and plan again.",
)
def on_side_not_stated(stage: Stage) -> Iterator[Hit]:
    """Name every row that is to be set although its on side is not known beyond dispute."""
    if stage.name != "planned":
        return
    groups: dict[tuple[str, str], list[StagePack]] = {}
    for pack in stage.packs.values():
        for name, row in pack.record.switches.items():
            if row.kind == "slide" and row.on_side.only is None and name in pack.patterns:
                groups.setdefault((pack.record.id, name), []).append(pack)
    for (record, name), packs in groups.items():
        first = packs[0]
        fact = first.record.switches[name].on_side
        yield cannot_tell(
            [p.id for p in packs],
            f"Row {name} of {of_record([p.device for p in packs])}: which side is on is {_state(fact.state)}",
            look_up(record, f"switches.{name}.on_side", fact),
            facts=(fact_used(first.device, f"switches.{name}.on_side", fact),),
        )


def _state(state: str) -> str:
    return "in dispute" if state == "disputed" else "not stated"
