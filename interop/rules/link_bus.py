"""Rules of the link subject: what hangs on one bus electrically, nodes and terminators."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.answers import Answer
from interop.records.leaves import Span
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.link_segments import Node, Segment, segments
from interop.rules.wording import named
from interop.standards.buses import bus_limits, may_lack_terminators, terminators_ohm
from interop.wiring.crowding import least_load_ohm
from interop.wiring.stage import Stage, StageLink

__all__: list[str] = []


# ---- nodes ----


@rule(
    "too-many-nodes",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="More devices hang on a bus than one of them allows, or than its drivers can feed.",
    source="record; TIA/EIA-485: 32 unit loads",
    explain="""Every device on a bus loads the driver of the one that speaks, and a maker who tested eight packs
promises eight. Beyond that the voltage on the wires falls and messages are lost, most of all from the far end.
Split the link, or leave packs off it.""",
)
def _nodes(stage: Stage) -> Iterator[Hit]:
    for seg in segments(stage):
        count = len(dict.fromkeys(n.device for n in seg.nodes))
        known = [(limit, n) for n in seg.nodes for limit in n.bus.nodes.values]
        over = [(limit, n) for limit, n in known if count > limit]
        sure = [n for _, n in over if all(count > limit for limit in n.bus.nodes.values)]
        loads = _unit_loads(seg)
        if sure:
            limit, node = min(((limit, n) for limit, n in over if n in sure), key=lambda pair: pair[0])
            yield broken(
                seg.about,
                f"Link {seg.link.id}: {count} devices hang on {seg.label}; {node.device} ({node.record.id}) allows "
                f"{limit}",
                "Split the link or leave packs off it.",
                got=f"{count} devices",
                limit=f"{limit} devices",
            )
        elif loads is not None and loads > 32:
            yield broken(
                seg.about,
                f"Link {seg.link.id}: {seg.label} has {loads:g} unit loads; rs-485 allows 32",
                "Split the link or leave packs off it.",
                got=f"{loads:g} unit loads",
                limit="32 unit loads",
            )
        elif _most_loads(seg) > 32:
            kinds = [n.fact("kind") for n in seg.nodes if n.bus.kind.only is None]
            facts = tuple(dict.fromkeys([*kinds, *(n.fact("unit_loads") for n in seg.nodes if _loads_open(n))]))
            yield cannot_tell(
                seg.about,
                f"Link {seg.link.id}: {seg.label} may have up to {_most_loads(seg):g} unit loads, a load that is "
                "not stated counted as 1; rs-485 allows 32",
                "Look in the manual for the unit load, or for the largest number of devices on the bus.",
                got=f"up to {_most_loads(seg):g} unit loads",
                limit="32 unit loads",
                facts=facts,
            )
        elif over or (count > 2 and any(n.bus.nodes.only is None for n in seg.nodes)):
            facts = tuple(dict.fromkeys(n.fact("nodes") for n in seg.nodes if n.bus.nodes.only is None))
            records = ", ".join(dict.fromkeys(f.record for f in facts))
            yield cannot_tell(
                seg.about,
                f"Link {seg.link.id}: {count} devices hang on {seg.label}; how many {records} allows is not known",
                "Look in the manual for the largest number of packs on one link.",
                got=f"{count} devices",
                facts=facts,
            )


def _unit_loads(seg: Segment) -> float | None:
    """Sum of stated unit loads, low end of ranges; None where it is no RS-485 bus."""
    if seg.kind != "rs-485":
        return None
    return sum(min((_span(v).low for v in n.bus.unit_loads.values), default=0.0) for n in seg.nodes)


def _most_loads(seg: Segment) -> float:
    """Sum of unit loads, high end of ranges and disputes, 1 where not stated (TIA/EIA-485: the unit that a plain
    driver feeds 32 of); 0 where it is known to be no RS-485 bus.
    """
    if seg.kind not in ("rs-485", None):
        return 0.0
    return sum(max((_span(v).high for v in n.bus.unit_loads.values), default=1.0) for n in seg.nodes)


def _loads_open(node: Node) -> bool:
    return node.bus.unit_loads.only is None or isinstance(node.bus.unit_loads.only, Span)


def _span(value: float | Span) -> Span:
    return value if isinstance(value, Span) else Span(float(value), float(value))


# ---- terminators ----


def _level(stage: Stage, seg: Segment) -> Level:
    """Level of an answer that is not known: what nobody wrote down about the found stage is a note."""
    if stage.name == "found":
        return Level.NOTE
    return Level.STOP if seg.kind == "can" else Level.CAUTION


def _unknown_hit(stage: Stage, seg: Segment, nodes: Sequence[Node], question: str) -> Hit:
    devices = tuple(dict.fromkeys(n.device for n in nodes))
    facts = tuple(dict.fromkeys(n.fact("fitted") for n in nodes if n.bus.termination.fitted.only is None))
    what = "is not stated" if facts else "nobody wrote down"
    state = f"whether a terminator is on in {named(devices)} {what}"
    return cannot_tell(
        seg.about,
        f"Link {seg.link.id}: {question} on {seg.label} is not known; {state}",
        "Read the terminator switch or plug; a manual prints it under communication or last pack of the row.",
        facts=facts,
        level=_level(stage, seg),
    )


@rule(
    "terminator-missing",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    broken_also=(Level.STOP, Level.NOTE),
    unknown_also=(Level.STOP, Level.NOTE),
    must_accept=True,
    meaning="A bus that needs a terminator at each end has fewer than two.",
    source="ISO 11898-2: 120 ohm at both ends; TIA/EIA-485: 120 ohm at the two ends; record",
    explain="""At an end without a terminator the signal is thrown back and meets the next bit. A CAN bus does
not work at all without a load of about 60 ohm, however short it is; a short and slow RS-485 bus forgives it
(length times rate under 1e7 is only a note). Fit or switch on one terminator at each end, then read 60 ohm
between the two wires with every device off.""",
)
def _missing(stage: Stage) -> Iterator[Hit]:
    for seg in segments(stage):
        most = len(seg.sure) + len(seg.maybe)
        wishes = seg.wishes
        if seg.kind not in ("can", "rs-485", None) or wishes <= {"not required", "forbidden"} or len(seg.sure) > 1:
            continue
        if seg.kind is None or (seg.kind == "rs-485" and "required" not in wishes):
            facts = tuple(dict.fromkeys(n.fact("ends") for n in seg.nodes if n.bus.termination.ends.only is None))
            disputed = "required" in seg.told
            yield cannot_tell(
                seg.about,
                f"Link {seg.link.id}: {_count(seg)} on {seg.label}; whether its ends need them is not known",
                "Look in the manual for the last pack of the row.",
                facts=facts,
                level=Level.CAUTION if disputed else Level.NOTE,
            )
        elif most > 1:
            yield _unknown_hit(stage, seg, seg.maybe, "whether both ends have a terminator")
        else:
            yield broken(
                seg.about,
                f"Link {seg.link.id}: {_count(seg)} on {seg.label} ({seg.kind}); 2 are needed, one at each end",
                "Fit or switch on one terminator at each end."
                if seg.at_odds is not Answer.BROKEN
                else "Settle first what the records ask of the ends.",
                got=f"{most} terminators",
                limit="2 terminators",
                level=_missing_level(seg),
            )


def _count(seg: Segment) -> str:
    if not seg.sure:
        return "no terminator"
    return f"{len(seg.sure)} terminator{'s' if len(seg.sure) > 1 else ''} ({named(n.device for n in seg.sure)})"


def _missing_level(seg: Segment) -> Level:
    if seg.kind == "can":
        return Level.STOP
    if seg.length_m is None or seg.talk is None:
        return Level.CAUTION
    return Level.NOTE if may_lack_terminators(seg.length_m, seg.talk.rate_bps) else Level.CAUTION


def _load(nodes: Sequence[Node]) -> float | None:
    """Ohms of these terminators in parallel; None where one is not known."""
    values = [n.ohm for n in nodes]
    return None if any(v is None for v in values) else terminators_ohm(v for v in values if v is not None)


def _too_low(seg: Segment, nodes: Sequence[Node]) -> tuple[Level, str, float | None] | None:
    """Return level, limit and load [ohm] where terminators are too many; the load is None where an ohm is not known."""
    load = _load(nodes)
    limits = bus_limits(seg.kind or "other")
    least = least_load_ohm(seg.kind or "other")
    if seg.kind == "can" and limits.load_ohm is not None and least is not None:
        low = len(nodes) > 2 if load is None else load < least
        return (Level.STOP, f"can needs {limits.load_ohm.low:g} to {limits.load_ohm.high:g} ohm", load) if low else None
    if seg.kind is None:
        return (Level.CAUTION, "which kind of bus it is, is not known", None) if len(nodes) > 2 else None
    caution, stop = limits.load_caution_below_ohm, least
    if caution is None or stop is None:
        return None
    if load is None:
        return (Level.CAUTION, f"{seg.kind} needs {caution:g} ohm or more", None) if len(nodes) > 2 else None
    if load < stop:
        return Level.STOP, f"{seg.kind} fails below {stop:g} ohm", load
    return (Level.CAUTION, f"{seg.kind} needs {caution:g} ohm or more", load) if load < caution else None


@rule(
    "terminators-in-too-many-packs",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    broken_also=(Level.CAUTION,),
    unknown_also=(Level.STOP, Level.NOTE),
    must_accept=True,
    meaning="Terminators that are fixed inside load a bus more than its drivers can feed.",
    source="ISO 11898-2: about 60 ohm; TIA/EIA-485: two of 120 ohm; the limits of the load are defaults of this "
    "project",
    explain="""Where the maker fits a terminator inside every pack, each further pack halves what is left of the
signal: ten of 120 ohm are 12 ohm, and a chain dies somewhere beyond nine. Open the link to fewer packs, ask the
maker for packs or a jumper without terminator, or split the chain with a repeater or a second link.""",
)
def _too_many(stage: Stage) -> Iterator[Hit]:
    for seg in segments(stage):
        fixed = [n for n in seg.nodes if n.fixed]
        unknown = [n for n in seg.nodes if n.fixed is None]
        low = _too_low(seg, fixed)
        if low is not None:
            yield _loaded(seg, fixed, low, "have a fixed terminator each", "Put fewer of these packs on one bus.")
        elif unknown and len({n.device for n in (*fixed, *unknown)}) > 2 and seg.kind != "rs-232":
            yield _unknown_hit(stage, seg, unknown, "how many terminators are fixed inside")


def _loaded(seg: Segment, nodes: Sequence[Node], low: tuple[Level, str, float | None], words: str, todo: str) -> Hit:
    level, limit, load = low
    devices = tuple(dict.fromkeys(n.device for n in nodes))
    got = f"{load:.3g} ohm" if load is not None else "a load that is not known"
    text = f"Link {seg.link.id}: {named(devices)} {words}; {len(nodes)} in parallel are {got}, {limit}"
    if load is None:
        fields = ("ohm", "kind") if seg.kind is None else ("ohm",)
        facts = tuple(f for f in dict.fromkeys(n.fact(field) for n in nodes for field in fields) if f.state != "stated")
        return cannot_tell(devices, text, "Measure a terminator with the device off.", facts=facts, level=level)
    return broken(devices, text, todo, got=got, limit=limit, level=level)


@rule(
    "terminator-extra",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    broken_also=(Level.STOP,),
    unknown_also=(Level.STOP, Level.NOTE),
    meaning="More terminators are switched on or plugged in than a bus may have, or one where the record forbids it.",
    source="ISO 11898-2: about 60 ohm; TIA/EIA-485: two of 120 ohm; record; the limits of the load are defaults of "
    "this project",
    explain="""Each terminator beyond two takes away signal. They are left on where a pack used to be the last of
the row and a new one was added behind it. Switch off every terminator but the two at the ends, and read about
60 ohm between the two wires with every device off.""",
)
def _extra(stage: Stage) -> Iterator[Hit]:
    for seg in segments(stage):
        forbidding = [n for n in seg.nodes if _forbids(n, seg.link)]
        settable = [n for n in (*seg.sure, *seg.maybe) if not n.fixed]
        if forbidding and seg.sure and seg.at_odds is not Answer.BROKEN:
            yield broken(
                seg.about,
                f"Link {seg.link.id}: {_count(seg)} on {seg.label}; {forbidding[0].device} ({forbidding[0].record.id}) "
                "forbids terminators",
                _take_away(seg.sure),
            )
        elif seg.sure and _open_only(seg) and seg.kind == "rs-485":
            facts = tuple(dict.fromkeys(n.fact("ends") for n in seg.nodes))
            disputed = "forbidden" in seg.told
            yield cannot_tell(
                seg.about,
                f"Link {seg.link.id}: {_count(seg)} on {seg.label}; whether its ends may have one is not known",
                "Look in the manual for the last pack of the row.",
                facts=facts,
                level=Level.CAUTION if disputed else Level.NOTE,
            )
        if not settable or _too_low(seg, [n for n in seg.nodes if n.fixed]) is not None:
            continue
        low = _too_low(seg, seg.sure)
        if low is not None:
            yield _loaded(seg, seg.sure, low, "have a terminator on", "Switch off all but the two at the ends.")
        elif seg.maybe and _too_low(seg, (*seg.sure, *seg.maybe)) is not None:
            yield _unknown_hit(stage, seg, seg.maybe, "how many terminators are on")


def _open_only(seg: Segment) -> bool:
    """Whether no record surely says that the ends may have terminators, and one leaves open that they may not."""
    stated = seg.wishes & {"required", "not required"}
    may_not = any(not seg.said(n) or "forbidden" in seg.said(n) for n in seg.nodes)
    return not stated and may_not and not seg.told >= {"required", "forbidden"}


def _take_away(nodes: Sequence[Node]) -> str:
    """What to do about terminators where none may be on."""
    if all(n.fixed for n in nodes):
        return f"Put no {named(dict.fromkeys(n.record.id for n in nodes))}, which has one fixed inside, on this bus."
    return "Switch off or pull every terminator of this bus; what the site file sets goes before the plan."


@rule(
    "terminators-asked-unlike",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    unknown_also=(Level.NOTE,),
    must_accept=True,
    meaning="What one record requires of the ends of a bus another record, or another source of it, forbids.",
    source="record",
    explain="""A bus has terminators at its ends or it has none: two makers who ask for the opposite cannot both be
obeyed on one pair of wires. The same where one manual requires what another source of the same record forbids. The
plan follows the one who requires them, since an open end is the commoner fault; whether the other device bears it
nobody has said. Ask both makers, keep the packs on links of their own, or accept it with name and date and read the
load of the bus with every device off before anything runs.""",
)
def _asked_unlike(stage: Stage) -> Iterator[Hit]:
    for seg in segments(stage):
        if seg.at_odds is Answer.HOLDS or seg.kind not in ("can", "rs-485", None):
            continue
        head = f"Link {seg.link.id}: for the ends of {seg.label}, "
        if seg.at_odds is Answer.BROKEN:
            told = [_who(seg, word) for word in ("required", "forbidden")]
            yield broken(
                seg.about,
                f"{head}{told[0]} requires terminators and {told[1]} forbids them",
                "Ask the makers which holds for this bus, or put these packs on links of their own.",
                got="required and forbidden",
            )
            continue
        open_ = [n for n in seg.nodes if len(seg.said(n)) != 1]
        facts = tuple(dict.fromkeys(n.fact("ends") for n in open_))
        disputed = seg.told >= {"required", "forbidden"}
        records = named(dict.fromkeys(f.record for f in facts))
        yield cannot_tell(
            seg.about,
            f"{head}{_says(seg)}; {records} "
            + ("says now this, now that" if disputed else "does not say what it asks"),
            "Ask the maker, or look in a later manual, under communication or last pack of the row.",
            facts=facts,
            level=Level.CAUTION if disputed else Level.NOTE,
        )


def _who(seg: Segment, word: str) -> str:
    """The first device of a bus whose record surely says a word, with the record."""
    node = next(n for n in seg.nodes if seg.said(n) == {word})
    return f"{node.device} ({node.record.id})"


def _says(seg: Segment) -> str:
    """What the sources on a bus say of terminators: required, forbidden."""
    by_word: dict[str, dict[str, None]] = {}
    for node in seg.nodes:
        for word in sorted(seg.said(node) & {"required", "forbidden"}, reverse=True):
            by_word.setdefault(word, {})[node.record.id] = None
    verbs = {"required": "requires", "forbidden": "forbids"}
    return " and ".join(f"{named(records)} {verbs[word]} terminators" for word, records in by_word.items())


def _forbids(node: Node, link: StageLink) -> bool:
    asked = node.bus.termination.ends.only
    return asked == "forbidden" or (asked == "only in open loop" and bool(link.reports_to))


@rule(
    "terminator-not-at-an-end",
    "link",
    broken=Level.CAUTION,
    unknown=Level.NOTE,
    unknown_also=(Level.STOP, Level.CAUTION),
    meaning="A terminator is on in a pack that stands in the middle of the link.",
    source="TIA/EIA-485 and ISO 11898-2: terminators at the two ends only",
    explain="""A terminator in the middle leaves the end behind it open: the signal is thrown back from there
although the meter reads 60 ohm. This happens when a pack is added behind the one that used to be last. Move the
terminator to the pack at the end.""",
)
def _middle(stage: Stage) -> Iterator[Hit]:
    for seg in segments(stage):
        if not seg.ends or seg.kind not in ("can", "rs-485", None):
            continue
        inside = [n for n in seg.sure if n.device not in seg.ends and not (n.fixed and len(seg.sure) > 2)]
        if inside:
            devices = tuple(dict.fromkeys(n.device for n in inside))
            yield broken(
                devices,
                f"Link {seg.link.id}: {named(devices)} {'has' if len(devices) == 1 else 'have'} a terminator on in "
                f"the middle; "
                f"the ends are {' and '.join(dict.fromkeys(seg.ends))}",
                "Move the terminator to the end.",
            )
        else:
            unknown = [n for n in seg.maybe if n.device not in seg.ends]
            if unknown:
                yield _unknown_hit(stage, seg, unknown, "whether terminators stand only at the ends")
