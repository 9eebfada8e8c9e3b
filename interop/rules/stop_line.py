"""Rules of the stop line subject: held, never acting, not reaching, cut, unlike at its two ends."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from interop.rules.conductor_nets import cabled, net_groups, pairings, spot_text, where
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import named
from interop.unchanging import unchanging
from interop.wiring.contacts import NOT_STATED, Cause, Held, LineWire, Net, Spot
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageCable

__all__ = ["LOOK", "line_facts", "sense_of"]

_HELD_WHEN_JOINED = ("closed to act", "no voltage to act")
_NEVER_WHEN_JOINED = ("open to act", "voltage to act")
LOOK = "Look in the manual under emergency stop or rapid shutdown."
"""Where a manual usually prints how a line acts (common practice)."""


@unchanging(eq=False)
class _Shorted:
    """Both wires of the stop line of one device on one net: the two pins, the net, its cables."""

    first: Held
    second: Held
    net: Net
    cables: tuple[StageCable, ...]


@once
def _shorted(stage: Stage) -> tuple[tuple[_Shorted, ...], tuple[_Shorted, ...]]:
    """Return the stop lines with both wires of one device on a net, and nets with unlike wires of several devices."""
    same, crossed = [], []
    for cables, net in stage.nets:
        owners: dict[str, dict[str, Held]] = {}
        for held in net.held:
            if isinstance(held.contact, LineWire) and held.contact.use == "stop":
                owners.setdefault(held.spot.device, {}).setdefault(f"{held.contact.line} {held.contact.wire}", held)
        both = [_two(table) for table in owners.values()]
        same += [_Shorted(*pair, net, cables) for pair in both if pair is not None]
        wires = {h.contact.wire: h for t in owners.values() for h in t.values() if isinstance(h.contact, LineWire)}
        if len(wires) > 1 and not any(pair is not None for pair in both):
            one, two = list(wires.values())[:2]
            crossed.append(_Shorted(one, two, net, cables))
    return tuple(same), tuple(crossed)


def _two(table: dict[str, Held]) -> tuple[Held, Held] | None:
    by_line: dict[str, list[Held]] = {}
    for held in table.values():
        if isinstance(held.contact, LineWire):
            by_line.setdefault(held.contact.line, []).append(held)
    return next(((pair[0], pair[1]) for pair in by_line.values() if len(pair) > 1), None)


def sense_of(held: Held) -> str:
    """Return how the line on a pin acts, or that it is not stated."""
    return held.contact.acts if isinstance(held.contact, LineWire) else NOT_STATED


def _bridges(stage: Stage, shorts: Sequence[_Shorted]) -> list[str]:
    """Return the devices whose own copper joins the wires: two of their joined pins are one piece inside."""
    nets = {id(short.net): short for short in shorts}
    mine = {c.id for short in nets.values() for c in short.cables}
    spots = {spot for short in nets.values() for spot in short.net.spots}
    pins: dict[tuple[str, str], set[str]] = {}
    for one in cabled(stage):
        if one.cable.id in mine:
            for i, socket in enumerate(one.ends):
                for pair in one.joined:
                    if Spot(socket.device, socket.name, pair[i]) in spots:
                        pins.setdefault((socket.device, socket.face.nodes[pair[i]]), set()).add(pair[i])
    owners = {short.first.spot.device for short in shorts}
    return list(dict.fromkeys(name for (name, _), group in pins.items() if len(group) > 1 and name not in owners))


def _short_hits(stage: Stage, acts: Collection[str], words: str, todo: str) -> Iterator[Hit]:
    groups: dict[tuple[str | None, str, tuple[str, ...]], list[_Shorted]] = {}
    for short in _shorted(stage)[0]:
        if sense_of(short.first) in acts or sense_of(short.first) == NOT_STATED:
            link = next((c.link for c in short.cables if c.link is not None), None)
            key = (link, stage.device(short.first.spot.device).record.id, (sense_of(short.first),))
            groups.setdefault(key, []).append(short)
    for (link, record_id, (sense,)), shorts in groups.items():
        owners = list(dict.fromkeys(s.first.spot.device for s in shorts))
        bridging = _bridges(stage, shorts)
        first = shorts[0]
        culprits = {*owners, *bridging}
        cables = [c.id for c in first.cables if {c.a.device, c.b.device} & culprits]
        inside = f"the copper inside {named(bridging)} ({stage.device(bridging[0]).record.id})" if bridging else ""
        by = f" by {inside or 'these cables'}"
        text = (
            f"{where(link, cables)}: {spot_text(stage, first.first)} and {spot_text(stage, first.second)} are "
            f"joined{by}: stop line {words} in {named(owners)} ({record_id})"
        )
        about = tuple(dict.fromkeys((*owners, *bridging)))
        if sense == NOT_STATED:
            yield cannot_tell(
                about,
                f"{text}, if its contact acts that way; how it acts is not stated",
                LOOK,
                facts=line_facts(stage, [first.first], "contact"),
            )
        else:
            yield broken(about, text, todo)


def line_facts(stage: Stage, held: Sequence[Held], field: str) -> tuple[FactUsed, ...]:
    """Name one field of the lines on these pins, with its state."""
    found: dict[FactUsed, None] = {}
    for one in held:
        if isinstance(one.contact, LineWire):
            record = stage.device(one.spot.device).record
            fact = getattr(record.lines[one.contact.line], field)
            found[FactUsed(record.id, f"lines.{one.contact.line}.{field}", fact.state)] = None
    return tuple(found)


@rule(
    "stop-held",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="The two wires of a stop line that acts when they are joined are one net: the stop is held for ever.",
    source="record",
    explain="""A stop line that acts when closed stops its pack as soon as its two wires touch, anywhere on the
link. A cable that passes them on into a pack whose sockets have those pins bridged inside closes the contact
for good: the pack never starts, and the fault is looked for in the wrong place, since it sits two packs away.
Cut the two conductors in the cable between the two kinds.""",
)
def _held(stage: Stage) -> Iterator[Hit]:
    yield from _short_hits(
        stage, _HELD_WHEN_JOINED, "held for ever", "Cut both stop conductors in the cable between these packs."
    )


@rule(
    "stop-never-acts",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="The two wires of a stop line that acts when open, or by voltage, are one net: the stop can never act.",
    source="record",
    explain="""A stop line that acts when its loop opens is defeated by anything that joins its two wires: the
button opens, the bridge stays, the packs run on. The same holds for a line that waits for a voltage between
wires that are shorted. Cut the two conductors in the cable that leads to the bridge.""",
)
def _never(stage: Stage) -> Iterator[Hit]:
    yield from _short_hits(
        stage, _NEVER_WHEN_JOINED, "can never act", "Cut both stop conductors in the cable between these packs."
    )


@rule(
    "stop-pair-crossed",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="The two wires of a stop line change places between two packs.",
    source="record",
    explain="""A driven stop line has a polarity; crossed, one pack drives against the other. Even a plain
contact must not be crossed twice on its way, or both wires end on one net. Re-pin the cable so that like meets
like.""",
)
def _crossed(stage: Stage) -> Iterator[Hit]:
    groups: dict[tuple[str | None, str, str], list[_Shorted]] = {}
    for short in _shorted(stage)[1]:
        link = next((c.link for c in short.cables if c.link is not None), None)
        records = (stage.device(h.spot.device).record.id for h in (short.first, short.second))
        groups.setdefault((link, *records), []).append(short)  # type: ignore[arg-type]
    for (link, _, _), shorts in groups.items():
        about = tuple(dict.fromkeys(h.spot.device for s in shorts for h in (s.first, s.second)))
        cables = [c.id for c in shorts[0].cables if c.a.device in about or c.b.device in about]
        yield broken(
            about,
            f"{where(link, cables)}: {spot_text(stage, shorts[0].first)} meets "
            f"{spot_text(stage, shorts[0].second)}; these are the two wires "
            "of the stop line",
            "Re-pin the cable so that each wire meets the same wire.",
        )


# ---- unlike ends ----


def _unlike(stage: Stage, cause: Cause, field: str, word: str) -> Iterator[Hit]:
    for group in net_groups(stage):
        if group.cause is cause:
            said = dict.fromkeys(
                f"{stage.device(h.spot.device).record.id} {getattr(h.contact, field)}"
                for f in group.faults
                for h in (f.first, f.second)
            )
            yield broken(
                group.about,
                f"{group.head()}: {pairings(stage, group.faults)}; their {word} differ: {', '.join(said)}",
                "Cut both conductors of this line in the cable.",
            )


@rule(
    "senses-differ",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Two lines that act in different ways are joined.",
    source="record",
    explain="""One pack stops when the contact closes, the other when it opens: joined, each state of the button
stops one of them. They can never both run. Cut the line between the two kinds and give each its own button
contact.""",
)
def _senses(stage: Stage) -> Iterator[Hit]:
    yield from _unlike(stage, Cause.SENSES_DIFFER, "acts", "senses")


@rule(
    "levels-differ",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Two lines that work at different levels are joined.",
    source="record",
    explain="""A line of 5 V does not move an input of 24 V, and 24 V on an input of 5 V destroys it. A dry
contact and a driven line do not go together either. Cut the line between the two kinds, or put a relay between
them.""",
)
def _levels(stage: Stage) -> Iterator[Hit]:
    yield from _unlike(stage, Cause.LEVELS_DIFFER, "level", "levels")


@rule(
    "line-sense-not-stated",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A line is joined of which nobody knows how it acts, or at which level.",
    source="record",
    explain="""Whether two stop lines may be joined depends on what makes each of them act and on its level.
Where that is not stated, joining them may hold one for ever or destroy an input. Cut the line between these
packs until the maker has said how it acts.""",
)
def _not_stated(stage: Stage) -> Iterator[Hit]:
    for group in net_groups(stage):
        if group.cause in (Cause.SENSE_NOT_STATED, Cause.LEVEL_NOT_STATED):
            field = "contact" if group.cause is Cause.SENSE_NOT_STATED else "level_v"
            word = "how this line acts" if field == "contact" else "the level of this line"
            facts = tuple(
                f
                for f in line_facts(stage, [h for x in group.faults for h in (x.first, x.second)], field)
                if f.state != "stated"
            )
            yield cannot_tell(
                group.about,
                f"{group.head()}: {pairings(stage, group.faults)}; {word} is not known",
                LOOK,
                facts=facts,
            )
