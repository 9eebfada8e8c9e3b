"""Rule of the conductor subject about plugs: a cable can be made only for a plug that is known."""

from __future__ import annotations

from collections.abc import Iterator

from interop.rules.finding import FactUsed, Hit, Level, cannot_tell, rule
from interop.rules.wording import named
from interop.wiring.stage import Stage

__all__: list[str] = []


@rule(
    "plug-not-stated",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    unknown_also=(Level.NOTE,),
    meaning="A data cable ends at a port whose kind of plug is not known.",
    source="common practice",
    explain="""Pin numbers mean nothing without the plug: an eight-pole socket may be a modular jack or a row of
screws, counted from either end. A note that says which conductors stay, for a plug that nobody looked at, would be a
guess at a live bank. Look at the socket and write its kind into the record; the cable is planned then.""",
)
def _plug(stage: Stage) -> Iterator[Hit]:
    groups: dict[tuple[str, str], dict[str, list[str]]] = {}
    for cable in stage.cables:
        for end in (cable.a, cable.b):
            record = stage.device(end.device).record
            if end.port is not None and record.ports[end.port].plug.only is None:
                found = groups.setdefault((record.id, end.port), {"devices": [], "cables": []})
                found["devices"].append(end.device)
                found["cables"].append(cable.id)
    for (record_id, port), found in groups.items():
        devices = tuple(dict.fromkeys(found["devices"]))
        fact = stage.device(devices[0]).record.ports[port].plug
        cables = list(dict.fromkeys(found["cables"]))
        yield cannot_tell(
            devices,
            f"Cable{'s' if len(cables) > 1 else ''} {named(cables)}: which plug {port} of {named(devices)} "
            f"({record_id}) takes {'is disputed' if fact.state == 'disputed' else 'is not stated'}",
            f"Look at the socket and state ports.{port}.plug in the record.",
            facts=(FactUsed(record_id, f"ports.{port}.plug", fact.state),),
            level=Level.STOP if stage.name == "planned" else Level.NOTE,
        )
