"""Rules of the stop line subject about loops: a line that must be closed for its packs to run, all the way round.

Two ways to be closed: copper that joins the two wires of the line, or a plug or button that somebody puts into a free
socket. The first is on the drawing, the second is not: somebody has to name it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

from interop.records.models import Line
from interop.records.pins import line_use
from interop.rules.conductor_nets import Cabled, cabled, where
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import waits_for_plan
from interop.rules.stop_line import LOOK, line_facts
from interop.rules.wording import joined, named
from interop.unchanging import unchanging
from interop.wiring.contacts import NOT_STATED, Face, Held, LineWire, Socket, Spot
from interop.wiring.groups import Groups
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageEnd, StagePack

__all__: list[str] = []

_PLACES = {"any pack": "at any of these packs", "last pack": "at the last pack", "manager": "at the manager"}
"""Where a record says that something is attached to its line, in the words of a text."""


def _left_open(use: str | None, acts: str) -> str:
    """Say what happens to a pack whose line is left open: stops, runs, or is not known."""
    if use not in ("stop", "enable"):
        return "runs"
    if acts == NOT_STATED:
        return "not known"
    opens = acts in ("open to act", "no voltage to act")
    return "stops" if opens == (use == "stop") else "runs"


def _wire_of(contact: LineWire) -> tuple[str, str]:
    return contact.use, contact.wire


# ---- loops ----


@once
def _loops(stage: Stage) -> tuple[dict[tuple[str, str], frozenset[tuple[str, str]]], frozenset[tuple[str, str]]]:
    """Return, for every line (device, line) on a cable, the lines that cables join to it, and the lines whose own
    wires are joined by copper somewhere.
    """
    together = Groups[tuple[str, str]]()
    closed: set[tuple[str, str]] = set()
    for _, net in stage.nets:
        wires: dict[tuple[str, str], set[str]] = {}
        by_use: dict[str, tuple[str, str]] = {}
        for held in net.held:
            if isinstance(held.contact, LineWire):
                line = (held.spot.device, held.contact.line)
                wires.setdefault(line, set()).add(held.contact.wire)
                together.join(by_use.setdefault(held.contact.use, line), line)
        closed |= {line for line, found in wires.items() if len(found) > 1}
    joined_to = {line: frozenset(group) for group in together.groups() for line in group}
    return joined_to, frozenset(line for done in closed for line in joined_to[done])


# ---- ends that a cable leaves open ----


@rule(
    "cut-line-stops",
    "stop line",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A line whose opening stops the pack is left open by a cable that does not carry it on.",
    source="record",
    explain="""A stop line that acts when open, or an enable line that must be closed to run, needs its loop all
the way. A cable that leaves the conductors out, towards a pack that does not have them, opens the loop at that end,
however many packs share it on the other side: cut line stops the pack. Carry the line on, or close the loop with the
plug that the maker supplies for the end of the row, and name it on the cable note.""",
)
def _cut(stage: Stage) -> Iterator[Hit]:
    joined_to, closed = _loops(stage)
    groups: dict[tuple[str | None, str, str, str], list[tuple[Cabled, Socket, Held]]] = {}
    for one in cabled(stage):
        for socket, held in _ends_left_open(one):
            contact = held.contact
            if not isinstance(contact, LineWire) or (socket.device, contact.line) in closed:
                continue
            state = _left_open(contact.use, contact.acts)
            if state != "runs":
                key = (one.cable.link, state, stage.device(socket.device).record.id, contact.line)
                groups.setdefault(key, []).append((one, socket, held))
    for (link, state, record_id, line), found in groups.items():
        owners = list(dict.fromkeys(s.device for _, s, _ in found))
        shared = {name for owner in owners for name, _ in joined_to.get((owner, line), ())}
        others = [name for name in stage.site.devices if name in shared and name not in owners]
        cables = list(dict.fromkeys(c.cable.id for c, _, _ in found))
        pins = dict.fromkeys(f"{h.spot.pin}" for _, _, h in found)
        text = (
            f"{where(link, cables)}: line {line} of {named(owners)} ({record_id}), "
            f"pin{'s' if len(pins) > 1 else ''} {', '.join(pins)}, goes nowhere"
        )
        also = f", and {named(others)} on the same loop" if others else ""
        if state == "stops":
            yield broken(
                (*owners, *others),
                f"{text}: cut line stops the pack{also}",
                "Carry the line on, or close its loop with a loop plug.",
            )
        else:
            yield cannot_tell(
                (*owners, *others),
                f"{text}; whether a cut line stops the pack{also} is not stated",
                LOOK,
                facts=line_facts(stage, [found[0][2]], "contact"),
            )


def _ends_left_open(one: Cabled) -> Iterator[tuple[Socket, Held]]:
    """Yield every pin of a line at an end of a cable whose wire the cable does not bring to the same wire there."""
    for i, pin, contact in _left_between(one.one.face, one.other.face, one.joined):
        socket = one.ends[i]
        yield socket, Held(Spot(socket.device, socket.name, pin), contact)


@lru_cache(maxsize=4096)
def _left_between(one: Face, other: Face, pairs: tuple[tuple[str, str], ...]) -> tuple[tuple[int, str, LineWire], ...]:
    """The pins of lines that a cable leaves open, with the end (0 or 1): the same for all cables between such faces."""
    found: list[tuple[int, str, LineWire]] = []
    for i, (face, far) in enumerate(((one, other), (other, one))):
        carried = {
            _wire_of(here)
            for pair in pairs
            for here in _lines_of_node(face, pair[i])
            for there in _lines_of_node(far, pair[1 - i])
            if _wire_of(here) == _wire_of(there)
        }
        found += [
            (i, pin, contact)
            for pin in face.poles
            for contact in sorted(face.contacts[pin], key=repr)
            if isinstance(contact, LineWire) and _wire_of(contact) not in carried
        ]
    return tuple(found)


def _lines_of_node(face: Face, pin: str) -> list[LineWire]:
    """The line wires on the piece of copper that a pin ends on."""
    node = face.nodes.get(pin)
    alike = [p for p in face.poles if node is not None and face.nodes[p] == node]
    return [c for p in alike for c in face.contacts[p] if isinstance(c, LineWire)]


# ---- loops that no cable leaves open, and nothing closes ----


@unchanging
class _Open:
    """A loop that nothing on the drawing closes: its lines, what follows, whether it waits for voltage, whether any
    socket is known to show it, and the free sockets that do.
    """

    lines: tuple[tuple[str, str], ...]
    state: str
    fed: bool
    shown: bool
    free: tuple[str, ...]

    @property
    def packs(self) -> tuple[str, ...]:
        """The devices of the loop."""
        return tuple(dict.fromkeys(device for device, _ in self.lines))

    @property
    def needs(self) -> str:
        """What the packs need in order to run."""
        return "it is fed with voltage" if self.fed else "its loop is closed"


@rule(
    "loop-not-closed",
    "stop line",
    broken=Level.CAUTION,
    unknown=Level.STOP,
    broken_also=(Level.STOP,),
    must_accept=True,
    meaning="Packs run only while the loop of a line is closed, and nothing in the plan closes it.",
    source="record",
    explain="""A stop line that acts when open, or an enable line that must be closed to run, ends in a free socket
at the end of the row. Left empty, no pack of the row starts; with the wrong plug in it, no stop ever acts. The maker
supplies a loop plug, or the stop button itself closes the loop, and the record says at which pack it is attached. A
drawing of cables does not show it: accept this caution with the name of the plug and its socket as the reason, and it
is printed. Where no socket is left for it, the packs cannot run: a stop. Where the record does not say how the line
acts or where something is attached to it, it cannot be told.""",
)
def _not_closed(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned":
        return
    groups: dict[tuple[object, ...], list[_Open]] = {}
    for loop in _open_loops(stage):
        kinds = tuple(dict.fromkeys((stage.device(name).record.id, line) for name, line in loop.lines))
        alike = None if len(loop.packs) == 1 else loop.lines
        groups.setdefault((kinds, loop.state, loop.shown, bool(loop.free), alike), []).append(loop)
    for loops in groups.values():
        yield _open_hit(stage, loops)


def _open_loops(stage: Stage) -> Iterator[_Open]:
    """Yield the loops of packs that are neither closed by copper nor left open by a cable (that is told apart)."""
    joined_to, closed = _loops(stage)
    cut = {(h.spot.device, h.contact.line) for one in cabled(stage) for _, h in _ends_left_open(one)
           if isinstance(h.contact, LineWire)}  # fmt: skip
    seen: set[tuple[str, str]] = set()
    for pack in stage.packs.values():
        link = stage.link_of.get(pack.id)
        for name, line in pack.record.lines.items():
            key = (pack.id, name)
            state = _left_open(line_use(pack.record, name), line.contact.only or NOT_STATED)
            if key in seen or state == "runs" or not _alive(pack, line) or (link and waits_for_plan(stage, link)):
                continue
            lines = [key, *sorted(joined_to.get(key, frozenset()) - {key}, key=lambda k: stage.device(k[0]).index)]
            seen.update(lines)
            if closed.isdisjoint(lines) and cut.isdisjoint(lines) and not _closed_inside(stage, pack, name):
                shown = any(True for one in lines for _ in _sockets(stage, *one))
                fed = line.contact.only in ("voltage to act", "no voltage to act")
                yield _Open(tuple(lines), state, fed, shown, tuple(_free(stage, lines)))


def _alive(pack: StagePack, line: Line) -> bool:
    return line.modes is None or pack.mode is None or pack.mode in line.modes


def _sockets(stage: Stage, device: str, line: str) -> Iterator[tuple[Socket, dict[str, set[str]]]]:
    """Yield the sockets of a device that show every wire of a line, with the pieces of copper of each wire."""
    record = stage.device(device).record
    for port, item in record.ports.items():
        for name in item.sockets:
            socket = stage.socket(StageEnd(device, port, name))
            nodes: dict[str, set[str]] = {}
            for pin in socket.face.poles if socket is not None else ():
                for contact in socket.face.contacts[pin] if socket is not None else ():
                    if isinstance(contact, LineWire) and contact.line == line and socket is not None:
                        nodes.setdefault(contact.wire, set()).add(socket.face.nodes[pin])
            if socket is not None and set(nodes) >= set(record.lines[line].wires):
                yield socket, nodes


def _closed_inside(stage: Stage, pack: StagePack, line: str) -> bool:
    """Whether the pack's own copper joins the wires of its line."""
    return any(
        len(nodes) > 1 and bool(set.intersection(*nodes.values())) for _, nodes in _sockets(stage, pack.id, line)
    )


def _free(stage: Stage, lines: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Name the sockets without a cable that show the line."""
    for device, line in lines:
        used = {(e.device, e.socket) for c in stage.cables_at.get(device, ()) for e in (c.a, c.b)}
        for socket, _ in _sockets(stage, device, line):
            if (device, socket.name) not in used:
                yield f"{device} {socket.name}"


def _open_hit(stage: Stage, loops: Sequence[_Open]) -> Hit:
    """Say of loops that read alike what they need, and what is known of where it is attached."""
    first = loops[0]
    packs = list(dict.fromkeys(name for loop in loops for name in loop.packs))
    devices = [(stage.device(name), line) for loop in loops for name, line in loop.lines]
    lines = {(device.record.id, line): device.record.lines[line] for device, line in devices}
    what = joined([f"{'Line' if i == 0 else 'line'} {name} of {r}" for i, (r, name) in enumerate(lines)])
    whom = f"{named(packs)} {'run' if len(packs) > 1 else 'runs'} only while {first.needs}"
    free = [socket for loop in loops for socket in loop.free]
    if first.state == "not known":
        facts = _unknown(lines, "contact")
        return cannot_tell(packs, f"{what}: whether {whom} is not stated", LOOK, facts=facts)
    if not first.shown:
        pins = tuple(dict.fromkeys(FactUsed(record, "pins", "not-stated") for record, _ in lines))
        return cannot_tell(packs, f"{what}: {whom}; on which pins it stands is not stated", LOOK, facts=pins)
    if not free:
        return broken(
            packs,
            f"{what}: {whom}, and no socket is free for it",
            "Leave a socket of this line free for its loop plug or button.",
            level=Level.STOP,
        )
    sockets = f"free {'are' if len(free) > 1 else 'is'} {joined(free)}"
    facts = _unknown(lines, "attach")
    if facts:
        return cannot_tell(
            packs,
            f"{what}: {whom}; at which pack its plug or button is attached is not stated ({sockets})",
            "Look in the manual under emergency stop for the plug of the last pack, and write into the record where it "
            "is attached.",
            facts=facts,
        )
    places = dict.fromkeys(_PLACES[line.attach.only or ""] for line in lines.values())
    return broken(
        packs,
        f"{what}: {whom}; nothing in the plan does that, it is to be attached {joined(list(places))} ({sockets})",
        "Put the maker's loop plug or stop button there, and accept this with the name of the plug and its socket as "
        "the reason.",
    )


def _unknown(lines: Mapping[tuple[str, str], Line], field: str) -> tuple[FactUsed, ...]:
    """Name one field of these lines where it is not known."""
    facts = {key: getattr(line, field) for key, line in lines.items()}
    return tuple(FactUsed(r, f"lines.{name}.{field}", f.state) for (r, name), f in facts.items() if f.only is None)
