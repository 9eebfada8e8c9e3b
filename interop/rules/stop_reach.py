"""Rules of the stop line subject: how far a stop reaches, and what a broken conductor does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.models import Record
from interop.records.pins import line_use
from interop.rules.conductor_nets import where
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import waits_for_plan
from interop.rules.stop_line import LOOK, line_facts, sense_of
from interop.rules.wording import named
from interop.wiring.contacts import NOT_STATED, Held, LineWire
from interop.wiring.groups import Groups
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageCable, StagePack

__all__ = ["buttons"]


# ---- how far a stop reaches ----


def buttons(stage: Stage, packs: Sequence[str]) -> list[tuple[str, ...]]:
    """Return what each stop reaches of some packs, in their order; stops that are one button once; empty: no stop."""
    having = _having(stage, packs)
    return _buttons(stage, packs, having) if having else []


def _stop_lines(record: Record) -> list[str]:
    return [name for name in record.lines if line_use(record, name) == "stop"]


def _having(stage: Stage, packs: Sequence[str]) -> list[str]:
    """The packs at which a stop can be pressed."""
    return [name for name in packs if name in stage.packs and _alive(stage.packs[name])]


def _alive(pack: StagePack) -> list[str]:
    """The stop lines that surely act in the mode of a pack."""
    record, every = pack.record, set(pack.record.modes)
    in_mode = every if pack.mode is None else {pack.mode}
    return [name for name in _stop_lines(record) if in_mode <= set(record.lines[name].modes or every)]


def _joined_stops(stage: Stage) -> list[tuple[tuple[StageCable, ...], list[Held]]]:
    """Return the nets that hold stop wires of more than one device."""
    found = []
    for cables, net in stage.nets:
        held = [h for h in net.held if isinstance(h.contact, LineWire) and h.contact.use == "stop"]
        if len({h.spot.device for h in held}) > 1:
            found.append((cables, held))
    return found


@rule(
    "stop-does-not-reach",
    "stop line",
    broken=Level.CAUTION,
    unknown=Level.NOTE,
    meaning="After a stop some packs of the bank stay live.",
    source="common practice",
    explain="""In a mixed bank the stop button often reaches the new packs only. The others go on feeding the
busbar, the controller and whatever shorted in the first place. Packs that one link joins are counted together, on
whichever busbars they stand. Put the list beside the button, and give every pack that the stop does not reach its
own way to be switched off.""",
)
def _reach(stage: Stage) -> Iterator[Hit]:
    if not all(link.judged for link in stage.links):
        return
    for packs in _together(stage):
        having = _having(stage, packs)
        yield from _dead(stage, packs)
        if not having:
            continue
        if not stage.cables_known:
            yield cannot_tell(
                tuple(having),
                f"How far a stop at {named(having)} reaches is not known: nobody wrote down the data cables",
                "Write down the data cables as found.",
            )
            continue
        short = [reached for reached in _buttons(stage, packs, having) if len(reached) < len(packs)]
        if short:
            always = frozenset(short[0]).intersection(*short[1:])
            yield broken(
                tuple(name for name in packs if name not in always or name in having),
                _reach_words(packs, short, one_bank=stage.on_one_bank(packs)),
                "Write the list beside the button; switch these packs off by hand."
                if len(short) == 1
                else "Write at each button which packs it stops; switch the others off by hand.",
            )


def _dead(stage: Stage, packs: Sequence[str]) -> Iterator[Hit]:
    """Packs whose stop line does not act in the mode that they stand in, or perhaps not."""
    groups: dict[tuple[str, str | None], list[str]] = {}
    for name in packs:
        pack = stage.packs.get(name)
        if pack is not None and _stop_lines(pack.record) and not _alive(pack):
            groups.setdefault((pack.record.id, pack.mode), []).append(name)
    for (record, mode), names in groups.items():
        todo = "Switch these packs off by hand, and do not trust a button at them."
        if mode is None:
            yield cannot_tell(tuple(names), f"Whether the stop line of {named(names)} ({record}) acts is not known: it "
                              "does so in some modes only, and their mode is not known", todo)
        else:
            yield broken(tuple(names), f"The stop line of {named(names)} ({record}) does not act in mode {mode}: a "
                         "stop there stops nothing", todo)


def _buttons(stage: Stage, packs: Sequence[str], having: Sequence[str]) -> list[tuple[str, ...]]:
    """Return what each stop reaches of these packs, stops that are one button once."""
    groups, order = _reaches(stage), {name: i for i, name in enumerate(packs)}
    found = dict.fromkeys(groups[name] for name in having)
    return [tuple(sorted((n for n in one if n in order), key=order.__getitem__)) for one in found]


def _reach_words(packs: Sequence[str], short: Sequence[tuple[str, ...]], *, one_bank: bool) -> str:
    """Say of every button which packs it stops; of several, what stays live after each and after all of them."""
    several, single = ("the busbar", "the busbar") if one_bank else ("their busbars", "its busbar")
    reached = {name for one in short for name in one}
    never = [name for name in packs if name not in reached]
    stay = f"{named(never)} {f'stay live on {several}' if len(never) > 1 else f'stays live on {single}'}"
    if len(short) == 1:
        return f"A stop at {named(short[0])} reaches {'these packs' if len(short[0]) > 1 else 'this pack'} only; {stay}"
    alone = [one[0] for one in short if len(one) == 1]
    says = [f"at {named(one)} reaches these packs only" for one in short if len(one) > 1]
    if alone:
        says.append(f"at {'any one of ' if len(alone) > 1 else ''}{named(alone)} reaches that pack only")
    return f"A stop {', a stop '.join(says)}; all others stay live on {several}" + (
        f", and {stay} after any of them" if never else ""
    )


def _together(stage: Stage) -> Iterator[tuple[str, ...]]:
    """Yield the banks; those that a link joins as one: who presses the button of a link means all of it."""
    together = Groups[int]()
    together.add(range(len(stage.banks)))
    for link in stage.links:
        if not stage.on_one_bank(link.packs):
            held = [stage.banks_with.get(name, frozenset()) for name in link.packs]
            sure = [i for banks in held if len(banks) == 1 for i in banks]
            if not sure:
                continue
            for other in sure[1:]:
                together.join(sure[0], other)
    for group in together.groups():
        names = {name for i in group for name in stage.banks[i]}
        yield tuple(name for name in stage.site.devices if name in names)


@once
def _reaches(stage: Stage) -> dict[str, frozenset[str]]:
    """Return what one stop reaches, by the pack it is pressed at.

    A stop goes through wires to every pack they join, on through a pack only where its record says that it carries the
    line, and from each of those to the packs of its link where the record says that it acts on them. It goes no
    further: what stops by a message does not press its own wires.
    """
    alive = {name for name, pack in stage.packs.items() if _alive(pack)}
    nets = [{h.spot.device for h in held} & alive for _, held in _joined_stops(stage)]
    at: dict[str, list[set[str]]] = {}
    for net in nets:
        for name in net:
            at.setdefault(name, []).append(net)
    found: dict[str, frozenset[str]] = {}
    for start in alive:
        wired, ways = {start}, [start]
        while ways:
            name = ways.pop()
            if name != start and not _carries(stage.packs[name]):
                continue
            fresh = set().union(*at.get(name, [])) - wired
            wired |= fresh
            ways += sorted(fresh)
        found[start] = frozenset(wired).union(*(_stops_on_its_link(stage, name) for name in wired))
    return found


def _carries(pack: StagePack) -> bool:
    return all(pack.record.lines[name].carried.only == "through every pack" for name in _alive(pack))


def _stops_on_its_link(stage: Stage, name: str) -> list[str]:
    """The packs of its link that stop with a pack, by its record: its like, and those of its family that say the same.

    What a record says of all packs of a link is not said of a pack of another family, or of one without a stop.
    """
    pack, link = stage.packs[name], stage.link_of.get(name)
    if link is None or not _acts_on_all(pack):
        return []
    family = pack.record.family
    return [other for other in link.packs if other in stage.packs and (
        stage.packs[other].record is pack.record
        or (family is not None and stage.packs[other].record.family == family and _acts_on_all(stage.packs[other])))]


def _acts_on_all(pack: StagePack) -> bool:
    return any(pack.record.lines[name].acts_on.only == "all packs of the link" for name in _alive(pack))


# ---- broken wires ----


@rule(
    "broken-wire-no-stop",
    "stop line",
    broken=Level.NOTE,
    unknown=Level.NOTE,
    meaning="A stop line that acts when closed runs through cables: a broken wire is not noticed and nothing stops "
    "any more.",
    source="common practice",
    explain="""A contact that closes to stop needs whole wires at the moment it is pressed. A pulled plug or a
broken conductor gives no sign until then. Press the button once a year with the bank at rest and see every pack
on the list go off.""",
)
def _broken_wire(stage: Stage) -> Iterator[Hit]:
    groups: dict[tuple[str | None, bool], list[tuple[tuple[StageCable, ...], list[Held]]]] = {}
    for cables, held in _joined_stops(stage):
        senses = {sense_of(h) for h in held}
        link = next((c.link for c in cables if c.link is not None), None)
        if senses & {"closed to act", "voltage to act", NOT_STATED}:
            groups.setdefault((link, not senses & {"closed to act", "voltage to act"}), []).append((cables, held))
    for (link, unknown), found in groups.items():
        if _waiting(stage, link):
            continue
        about = tuple(dict.fromkeys(h.spot.device for _, held in found for h in held))
        cables_of = list(dict.fromkeys(c.id for cables, _ in found for c in cables))
        text = f"{where(link, cables_of)}: the stop line of {named(about)} runs through them"
        if unknown:
            yield cannot_tell(
                about,
                f"{text}; whether a broken wire is noticed is not stated",
                LOOK,
                facts=line_facts(stage, found[0][1], "contact"),
            )
        else:
            yield broken(
                about,
                f"{text}; a broken wire is not noticed, and a stop then reaches only part of them",
                "Test the stop button when the bank is put to work, and once a year.",
            )


def _waiting(stage: Stage, link: str | None) -> bool:
    """Return whether the cables of a link are left to the plan."""
    return any(one.id == link and waits_for_plan(stage, one) for one in stage.links)
