"""Rule of the link subject on hubs, splitters and gateways between packs: read, and not yet judged."""

from __future__ import annotations

from collections.abc import Iterator

from interop.rules.finding import Hit, Level, cannot_tell, rule
from interop.rules.wording import named
from interop.wiring.stage import Stage

__all__: list[str] = []

BETWEEN = frozenset({"hub", "splitter", "gateway"})
"""Kinds of devices that join or pass on data between packs."""


@rule(
    "link-through-a-device",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    unknown_also=(Level.CAUTION,),
    meaning="Packs are joined through a hub, a splitter or a gateway, which this program does not judge yet.",
    source="common practice",
    explain="""A hub joins groups of packs, a splitter joins sockets, a gateway passes messages on in other words. Each
changes which packs are on one bus, how many nodes and terminators it has, and which addresses may be equal. The pins
and cables of such a device are read and its copper is followed, but routes through it are neither planned nor judged
as links: plan the part without it, and wire the rest by its maker's manual.""",
)
def _between(stage: Stage) -> Iterator[Hit]:
    touched: dict[str, list[str]] = {}
    others: dict[str, dict[str, None]] = {}
    for cable in stage.cables:
        for near, far in ((cable.a.device, cable.b.device), (cable.b.device, cable.a.device)):
            if near not in stage.packs and stage.device(near).kind in BETWEEN:
                touched.setdefault(near, []).append(cable.id)
                others.setdefault(near, {})[far] = None
    for name, cables in touched.items():
        if len(others[name]) < 2 or not any(one in stage.packs for one in others[name]):
            continue    # it hangs on one device and joins nothing
        device = stage.device(name)
        yield cannot_tell(
            (*others[name], name),
            f"{named(others[name])} are joined through {name} ({device.record.id}, a {device.kind}) by cables "
            f"{named(dict.fromkeys(cables))}; links through such a device are not judged",
            "Plan the part without it; wire the rest by its maker's manual.",
            level=Level.STOP if stage.name == "planned" else Level.CAUTION,
        )
