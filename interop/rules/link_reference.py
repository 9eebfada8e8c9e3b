"""Rule of the link subject: the reference conductor of every data cable, and why one is left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.rules.finding import FactUsed, Hit, Level, broken, rule
from interop.rules.link_facts import made_kinds
from interop.rules.wording import joined, named
from interop.unchanging import unchanging
from interop.wiring.contacts import Cause, Held, Reference, Socket, Spot, node_faults
from interop.wiring.grounds import held_with
from interop.wiring.once import once
from interop.wiring.purposes import LINE, buses_on
from interop.wiring.stage import Stage, StageCable

__all__: list[str] = []

_SHORT = "Nothing to join: keep the cable short and away from power cables."


@unchanging
class _Without:
    """Why a cable joins no reference conductor, what to do, and the facts that are not known."""

    why: str
    todo: str
    facts: tuple[FactUsed, ...] = ()


@rule(
    "reference-missing",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    meaning="No reference conductor joins the two ends of a data cable.",
    source="TIA/EIA-485: a third conductor besides the pair; Modbus over serial line V1.02, 3.3.2",
    explain="""A pair alone lets the two ends drift apart in voltage; beyond the range of the driver (-7 to +12 V
for RS-485) messages are lost or the driver is damaged. A third conductor holds them together. It is left out on
purpose where it would carry load current past a BMS, or where nobody says what the reference is tied to; and where it
stands on unlike pins, since a plain straight cable with cuts is chosen before a re-pinned one. Where an end brings
none out there is nothing to join: keep the cable short and away from power cables. Never add a conductor that the
note of the cable does not show: write the cable with it into the site file and plan again.""",
)
def _reference(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        reasons: dict[_Without, list[str]] = {}
        devices: dict[str, None] = {}
        for cable in stage.cables:
            without = _without(stage, cable) if cable.link == link.id else None
            if without is not None:
                reasons.setdefault(without, []).append(cable.id)
                devices.update(dict.fromkeys((cable.a.device, cable.b.device)))
        if reasons:
            why = "; ".join(f"{named(ids)}: {one.why}" for one, ids in reasons.items())
            yield broken(
                tuple(devices),
                f"Link {link.id}: no reference conductor is joined in {why}",
                _todo(reasons),
                facts=tuple(dict.fromkeys(fact for one in reasons for fact in one.facts)),
            )


def _todo(reasons: dict[_Without, list[str]]) -> str:
    """Say what to do, cable by cable where it is not the same for all."""
    todos: dict[str, list[str]] = {}
    for one, ids in reasons.items():
        todos.setdefault(one.todo, []).extend(ids)
    if len(todos) == 1:
        return next(iter(todos))
    return " ".join(f"{named(ids)}: {todo[0].lower()}{todo[1:]}" for todo, ids in todos.items())


def _without(stage: Stage, cable: StageCable) -> _Without | None:
    """Return why a cable joins no reference; None where it does, is not known, carries a line alone, or leads to a
    socket without a bus.

    Whether the two ends share a bus is not asked: where that is not known, the reference is missing all the same.
    """
    one, other = stage.socket(cable.a), stage.socket(cable.b)
    if cable.carries == LINE or cable.joined is None or one is None or other is None:
        return None
    if not (buses_on(one.face) and buses_on(other.face)):
        return None
    if any(_is_reference(one, a) and _is_reference(other, b) for a, b in cable.joined):
        return None
    pins = [[p for p in s.face.pins if _is_reference(s, p)] for s in (one, other)]
    lacking = [s for s, found in zip((one, other), pins, strict=True) if not found]
    if lacking:
        ends = dict.fromkeys(f"{s.port} of {stage.device(s.device).record.id}" for s in lacking)
        return _Without(f"{' and '.join(ends)} {'bring' if len(ends) > 1 else 'brings'} none out", _SHORT)
    return _left_out(stage, cable, (one, other), (pins[0][0], pins[1][0]))


def _is_reference(socket: Socket, pin: str) -> bool:
    return any(isinstance(c, Reference) for c in socket.face.contacts.get(pin, ()))


def _left_out(stage: Stage, cable: StageCable, ends: tuple[Socket, Socket], pins: tuple[str, str]) -> _Without:
    """Judge what joining the two references would bring together, on the whole nets that they stand on."""
    held = [one for socket, pin in zip(ends, pins, strict=True) for one in _on_net(stage, socket, pin)]
    faults = [f for f in node_faults(held) if f.cause is not Cause.UNUSED_JOINED]  # a spare wire hinders nothing
    unknown = [f for f in faults if f.cause is Cause.TIE_UNKNOWN] or [
        f for f in faults if "unknown" in (_tie(f.first), _tie(f.second))
    ]
    if unknown or any(_tie(h) == "unknown" for h in held):
        return _tie_unknown(stage, held)
    if any(f.cause is Cause.GROUND_BYPASSES for f in faults):
        return _Without(
            "joined, it would carry load current past a BMS", "Leave it out, or put an isolator into the link."
        )
    if any(f.cause is Cause.GROUND_BYPASSES for f in node_faults((*held, *held_with(stage, held)))):
        return _Without(
            "joined, it could carry load current past a BMS, if isolated ports of one device share their ground",
            "Leave it out, or state in the record which ports are isolated from each other.",
        )
    if faults:
        return _Without(
            "its pin stands on a net with something else", "Leave it out until what is found about that net is mended."
        )
    return _could_be(stage, cable, ends, pins)


def _could_be(stage: Stage, cable: StageCable, ends: tuple[Socket, Socket], pins: tuple[str, str]) -> _Without:
    """Both ends bring it out and may be joined: say on which pins, and that the cable's note decides until then."""
    one, other = (f"pin {pin} of {s.device} {s.name}" for s, pin in zip(ends, pins, strict=True))
    if made_kinds(stage).get(cable.id) in ("straight", "map"):
        return _Without("both ends bring it out", f"Join {one} with {other}, and write it into the site file.")
    why = ", on unlike pins, and a straight cable with cuts is chosen before a re-pinned one"
    return _Without(
        f"both ends bring it out{why if pins[0] != pins[1] else ''}",
        f"Make the cable as its note shows; to join the reference too, write the cable with {one} joined to {other} "
        "into the site file and plan again.",
    )


def _tie(held: Held) -> str | None:
    return held.contact.tie if isinstance(held.contact, Reference) else None


def _tie_unknown(stage: Stage, held: Sequence[Held]) -> _Without:
    records: dict[str, None] = {}
    facts: dict[FactUsed, None] = {}
    for one in held:
        if _tie(one) == "unknown":
            record = stage.device(one.spot.device).record
            port = next(p for p, item in record.ports.items() if one.spot.socket in item.sockets)
            records[record.id] = None
            facts[FactUsed(record.id, f"ports.{port}.reference", record.ports[port].reference.state)] = None
    names = joined(list(records))
    return _Without(
        f"what the reference of {names} is tied to is not known",
        f"Leave it out until the maker has said what the reference of {names} is tied to.",
        tuple(facts),
    )


@once
def _nets(stage: Stage) -> dict[Spot, tuple[Held, ...]]:
    return {spot: net.held for _, net in stage.nets for spot in net.spots}


def _on_net(stage: Stage, socket: Socket, pin: str) -> tuple[Held, ...]:
    """Everything on the net of a pin; where no cable is on it, what is on its own piece of copper in this socket."""
    spot = Spot(socket.device, socket.name, pin)
    if spot in _nets(stage):
        return _nets(stage)[spot]
    face = socket.face
    alike = [p for p in face.poles if face.nodes[p] == face.nodes[pin]]
    return tuple(
        Held(Spot(socket.device, socket.name, p), c) for p in alike for c in sorted(face.contacts[p], key=repr)
    )
