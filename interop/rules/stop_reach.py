"""Rules of the stop line subject: how far a stop reaches, and what a cut or broken conductor does."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from interop.records.models import Record
from interop.records.pins import line_use
from interop.rules.conductor_nets import Cabled, cabled, where
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import waits_for_plan
from interop.rules.stop_line import LOOK, line_facts, sense_of
from interop.rules.wording import named
from interop.wiring.contacts import NOT_STATED, Held, LineWire, Socket, Spot
from interop.wiring.stage import Stage, StageCable, StageLink

__all__: list[str] = []


# ---- how far a stop reaches ----


def _stop_lines(record: Record) -> list[str]:
    return [name for name in record.lines if line_use(record, name) == "stop"]


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
busbar, the controller and whatever shorted in the first place. Put the list beside the button, and give every
pack that the stop does not reach its own way to be switched off.""",
)
def _reach(stage: Stage) -> Iterator[Hit]:
    if not all(link.judged for link in stage.links):
        return
    for bank in stage.banks:
        having = [name for name in bank if name in stage.packs and _stop_lines(stage.packs[name].record)]
        if not having:
            continue
        if not stage.cables_known:
            yield cannot_tell(
                tuple(having),
                f"How far a stop at {named(having)} reaches is not known: nobody wrote down the data cables",
                "Write down the data cables as found.",
            )
            continue
        groups = _reaches(stage)
        packs = [name for name in bank if name in stage.packs]
        reach = max(dict.fromkeys(groups[name] for name in having), key=lambda one: sum(n in one for n in packs))
        reached = [name for name in packs if name in reach]
        live = [name for name in packs if name not in reach]
        if live:
            yield broken(
                tuple(live),
                f"A stop at {named(reached)} reaches {'these packs' if len(reached) > 1 else 'this pack'} only; "
                f"{named(live)} "
                f"{'stay' if len(live) > 1 else 'stays'} live on the busbar",
                "Write the list beside the button; switch these packs off by hand.",
            )


@lru_cache(maxsize=2)
def _reaches(stage: Stage) -> dict[str, frozenset[str]]:
    """Return what one stop reaches, by the pack it is pressed at.

    A stop goes through wires to every pack they join, and from each of those to the packs of its link where the
    record says that it acts on them. It goes no further: what stops by a message does not press its own wires.
    """
    import networkx as nx

    graph: nx.Graph = nx.Graph()
    graph.add_nodes_from(name for name, spot in stage.packs.items() if _stop_lines(spot.record))
    for _, held in _joined_stops(stage):
        devices = list(dict.fromkeys(h.spot.device for h in held))
        graph.add_edges_from((devices[0], other) for other in devices[1:])
    found: dict[str, frozenset[str]] = {}
    for wired in nx.connected_components(graph):
        links = {link.id: link for name in wired if (link := _stops_its_link(stage, name)) is not None}
        reach = frozenset(wired).union(*(link.packs for link in links.values()))
        found.update(dict.fromkeys(wired, reach))
    return found


def _stops_its_link(stage: Stage, name: str) -> StageLink | None:
    """Return the link whose packs all stop with this one, by its record."""
    if name not in stage.packs:
        return None
    record = stage.packs[name].record
    every = any(record.lines[n].acts_on.only == "all packs of the link" for n in _stop_lines(record))
    return stage.link_of.get(name) if every else None


# ---- cut conductors ----


def _runs_by(contact: LineWire) -> str:
    """Say what happens to the pack when the line is left open: stops, runs, or is not known."""
    if contact.use not in ("stop", "enable"):
        return "runs"
    if contact.acts == NOT_STATED:
        return "not known"
    opens = contact.acts in ("open to act", "no voltage to act")
    return "stops" if opens == (contact.use == "stop") else "runs"


@rule(
    "cut-line-stops",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A line whose opening stops the pack is left open by a cable that does not carry it on.",
    source="record",
    explain="""A stop line that acts when open, or an enable line that must be closed to run, needs its loop all
the way. A cable that leaves the conductors out, towards a pack that does not have them, opens the loop: cut
line stops the pack. Carry the line on, or close the loop with the plug that the maker supplies for the end of
the row, and name it on the cable note.""",
)
def _cut(stage: Stage) -> Iterator[Hit]:
    carried = _carried_spots(stage)
    groups: dict[tuple[str | None, str, str, str], list[tuple[Cabled, Socket, Held]]] = {}
    for one in cabled(stage):
        for socket in (one.one, one.other):
            for pin in socket.face.poles:
                for contact in socket.face.contacts[pin]:
                    if not isinstance(contact, LineWire) or (socket.device, socket.name, pin) in carried:
                        continue
                    state = _runs_by(contact)
                    if state != "runs":
                        held = Held(Spot(socket.device, socket.name, pin), contact)
                        key = (one.cable.link, state, stage.device(socket.device).record.id, contact.line)
                        groups.setdefault(key, []).append((one, socket, held))
    for (link, state, record_id, line), found in groups.items():
        owners = list(dict.fromkeys(s.device for _, s, _ in found))
        cables = list(dict.fromkeys(c.cable.id for c, _, _ in found))
        pins = dict.fromkeys(f"{h.spot.pin}" for _, _, h in found)
        text = (
            f"{where(link, cables)}: line {line} of {named(owners)} ({record_id}), "
            f"pin{'s' if len(pins) > 1 else ''} {', '.join(pins)}, goes nowhere"
        )
        if state == "stops":
            yield broken(
                tuple(owners),
                f"{text}: cut line stops the pack",
                "Carry the line on, or close its loop with a loop plug.",
            )
        else:
            yield cannot_tell(
                tuple(owners),
                f"{text}; whether a cut line stops the pack is not stated",
                LOOK,
                facts=line_facts(stage, [found[0][2]], "contact"),
            )


def _carried_spots(stage: Stage) -> set[tuple[str, str, str]]:
    """Return the pins of lines whose net holds the same wire of another device."""
    found = set()
    for _, net in stage.nets:
        wires: dict[tuple[str, str], set[str]] = {}
        lines = [h for h in net.held if isinstance(h.contact, LineWire)]
        for held in lines:
            if isinstance(held.contact, LineWire):
                wires.setdefault((held.contact.use, held.contact.wire), set()).add(held.spot.device)
        found |= {
            (h.spot.device, h.spot.socket, h.spot.pin)
            for h in lines
            if isinstance(h.contact, LineWire) and len(wires[h.contact.use, h.contact.wire]) > 1
        }
    return found


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
