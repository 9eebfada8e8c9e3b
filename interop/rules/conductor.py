"""Rules of the conductor subject: what meets on the nets that data cables make."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from interop.records.answers import Answer
from interop.rules.conductor_nets import (
    NetGroup,
    cabled,
    net_groups,
    pairings,
    pin_facts,
    spot_text,
    tie_facts,
    where,
)
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import named
from interop.wiring.contacts import Cause, LineWire
from interop.wiring.grounds import may_meet
from interop.wiring.stage import Stage

__all__: list[str] = []

_CUT = "Leave this conductor out of the cable, or re-pin it."


def _hits(stage: Stage, causes: Collection[Cause], todo: str, answer: Answer = Answer.BROKEN) -> Iterator[Hit]:
    for group in net_groups(stage):
        if group.cause in causes and not group.alike:
            yield _hit(stage, group, todo, answer)


def _hit(stage: Stage, group: NetGroup, todo: str, answer: Answer, level: Level | None = None) -> Hit:
    facts = (*pin_facts(stage, group.faults), *tie_facts(stage, group.faults))
    return Hit(answer, group.about, f"{group.head()}: {pairings(stage, group.faults)}", todo, facts=facts, level=level)


@rule(
    "data-meets-stop-line",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A data wire is joined to a stop line.",
    source="record",
    explain="""Plugs of one shape carry data on one generation and a stop pair on another. Joined, the data
voltage can look like a stop, or the stop contact shorts the data pair: packs shut down at random, or a stop is
not heard. Cut these conductors in the cable between the two kinds.""",
)
def _data_stop(stage: Stage) -> Iterator[Hit]:
    yield from _hits(stage, {Cause.DATA_MEETS_STOP}, _CUT)


@rule(
    "data-meets-supply",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A data wire is joined to a pin that is fed.",
    source="record",
    explain="""Some ports feed 5 or 12 V on a pin. A data driver on the other end is not made for it: it is
damaged at once or after hours, often in both devices. Cut the conductor before the cable is plugged, with both
devices off.""",
)
def _data_supply(stage: Stage) -> Iterator[Hit]:
    yield from _hits(stage, {Cause.DATA_MEETS_SUPPLY}, _CUT)


@rule(
    "data-meets-reference",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A data wire is joined to a reference conductor.",
    source="record",
    explain="""A data wire on a reference is a short of the pair to ground: the whole bus is silent, not only
these two devices. The usual cause is a straight cable between plugs whose pins are numbered otherwise. Cut or
re-pin the conductor.""",
)
def _data_reference(stage: Stage) -> Iterator[Hit]:
    yield from _hits(stage, {Cause.DATA_MEETS_REFERENCE}, _CUT)


@rule(
    "pair-reversed",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="The two wires of a bus change places between two devices.",
    source="TIA/EIA-485 and ISO 11898-2: the two wires of a pair have a polarity",
    explain="""Plus on minus, or high on low: every bit arrives upside down and nothing is understood. Letters A
and B do not help, since makers use them both ways round. A straight cable does this where the pins of the two
plugs cross. Re-pin the cable so that like meets like.""",
)
def _reversed(stage: Stage) -> Iterator[Hit]:
    yield from _hits(stage, {Cause.REVERSED_PAIR}, "Re-pin the cable so that each wire meets the same wire.")


@rule(
    "unlike-buses-joined",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Wires of two buses are joined that are not one bus.",
    source="record",
    explain="""Two buses on one pair of wires disturb each other, even where both are of one kind: two managers
ask, two dialects answer. The usual causes are a cable in the report port instead of the link port, and a plug
that carries two buses. Move the plug, or cut the wires of the bus that the cable is not there for.""",
)
def _unlike(stage: Stage) -> Iterator[Hit]:
    yield from _hits(
        stage, {Cause.UNLIKE_BUSES}, "Move the plug, or cut the wires of the bus that the cable is not there for."
    )


@rule(
    "empty-pin-joined",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A pin that its maker wants empty is joined.",
    source="record",
    explain="""A maker who writes that a pin must stay empty uses it inside: for a test, a download, a supply.
Nobody outside knows what it does. Cut the conductor at that pin.""",
)
def _empty(stage: Stage) -> Iterator[Hit]:
    yield from _hits(stage, {Cause.EMPTY_JOINED}, "Cut the conductor at the pin that must stay empty.")


@rule(
    "unused-pin-joined",
    "conductor",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    broken_also=(Level.NOTE,),
    meaning="A conductor ends on a pin without function.",
    source="record",
    explain="""A pin without function does nothing, but a conductor on it carries what stands at its other end
into the device and onward to every further plug. Between two unused pins it is only a spare wire. Where
something live stands at the other end, cut it.""",
)
def _unused(stage: Stage) -> Iterator[Hit]:
    for group in net_groups(stage):
        if group.cause is Cause.UNUSED_JOINED and not group.alike:
            level = Level.NOTE if group.blank else Level.CAUTION
            yield _hit(stage, group, "Cut the conductor, unless it is only a spare wire.", Answer.BROKEN, level)


@rule(
    "alike-pins-joined",
    "conductor",
    broken=Level.NOTE,
    unknown=Level.NOTE,
    meaning="A lead joins pins without stated function between packs of one record, pin to the same pin.",
    source="common practice",
    explain="""Between two packs of one record a straight lead is what the maker supplies: what stands on such a
pin stands on the same pin of the other. Nothing is wrong as long as only packs of this record are joined; the
note says that these wires are there.""",
)
def _alike(stage: Stage) -> Iterator[Hit]:
    for group in net_groups(stage):
        if group.alike:
            pins = tuple(dict.fromkeys(f.first.spot.pin for f in group.faults))
            records = ", ".join(dict.fromkeys(stage.device(name).record.id for name in group.about))
            what = "pack" if any(name in stage.packs for name in group.about) else "device"
            yield broken(
                group.about,
                f"{group.head()}: pin{'s' if len(pins) > 1 else ''} {', '.join(sorted(pins))} of {records} "
                f"{'are' if len(pins) > 1 else 'is'} joined to the same pin of the next {what}, without stated "
                "function",
                f"Keep these leads between {what}s of this record only.",
                facts=pin_facts(stage, group.faults),
            )


@rule(
    "unknown-pin-joined",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A pin whose function nobody knows is joined to something.",
    source="record",
    explain="""A pin that is not stated, or that its maker calls unknown, may be a supply, a stop line or a
second bus. Not stated is never a pass: cut the conductor, or find out what the pin does from the maker, and
write it into the record.""",
)
def _unknown(stage: Stage) -> Iterator[Hit]:
    yield from _hits(
        stage,
        {Cause.UNKNOWN_JOINED, Cause.NOT_STATED_JOINED},
        "Cut this conductor, or look in the manual for the table of pins of the port.",
        Answer.CANNOT_TELL,
    )
    for one in cabled(stage):
        for i, socket in enumerate(one.ends):
            lost = [pair[i] for pair in one.joined if pair[i] not in socket.face.nodes]
            if lost:
                record = stage.device(socket.device).record
                yield cannot_tell(
                    tuple(end.device for end in one.ends),
                    f"{where(one.cable.link, [one.cable.id])}: a conductor ends on pin {', '.join(lost)} of "
                    f"{socket.device} {socket.name} ({record.id}), which is no pin of its plug",
                    "Look at the plug, and correct the pins of the cable or of the port.",
                    facts=(FactUsed(record.id, f"ports.{socket.port}.plug", record.ports[socket.port].plug.state),),
                )


@rule(
    "supply-joined",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A pin that is fed is joined to another supply, a reference or a line.",
    source="record",
    explain="""Two supplies on one conductor feed each other, a supply on a reference is a short, a supply on a
stop or enable line can hold it active or damage its contact. No supply pin is needed between packs or towards a
controller: cut it.""",
)
def _supply(stage: Stage) -> Iterator[Hit]:
    yield from _hits(
        stage,
        {Cause.SUPPLIES_JOINED, Cause.SUPPLY_MEETS_REFERENCE, Cause.LINE_MEETS_SUPPLY},
        "Cut the conductor of the supply pin.",
    )


@rule(
    "live-shell",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A data wire, a line or a supply is joined to the metal shell of a plug.",
    source="common practice",
    explain="""The shell of a plug is bare metal that hands, racks and other plugs touch, and in many devices it is
the case, which is earth. A supply on it feeds whatever touches it; a data wire or a line on it is shorted to earth or
picks up everything. Only the shield of a cable ends on a shell: take the conductor off it.""",
)
def _live_shell(stage: Stage) -> Iterator[Hit]:
    yield from _hits(stage, {Cause.LIVE_SHELL}, "Take the conductor off the shell.")


@rule(
    "line-misjoined",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    broken_also=(Level.NOTE,),
    meaning="A line is joined to a line for another use, to a data wire or to a reference, or both of its wires meet.",
    source="record",
    explain="""Stop, enable, wake and direction lines look alike on a drawing and act in opposite ways: an enable
line that meets a wake line starts packs that should stay off; one that meets a reference is held. Join a line
only to the same wire of the same line.""",
)
def _line(stage: Stage) -> Iterator[Hit]:
    wrong = {Cause.USES_DIFFER, Cause.DATA_MEETS_LINE, Cause.STOP_MEETS_REFERENCE, Cause.LINE_MEETS_REFERENCE}
    for group in net_groups(stage):
        faults = [f for f in group.faults if group.cause is Cause.BOTH_WIRES_OF_LINE and not _stop(f.first.contact)]
        if group.cause in wrong or faults:
            yield _hit(stage, group, _CUT, Answer.BROKEN)
        elif group.cause is Cause.LINE_NOT_NEEDED:
            yield _hit(
                stage, group, "Leave the conductor out, unless the manual asks for it.", Answer.BROKEN, Level.NOTE
            )


def _stop(contact: object) -> bool:
    return isinstance(contact, LineWire) and contact.use == "stop"


@rule(
    "data-ground-bypasses-the-bms",
    "conductor",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    unknown_also=(Level.STOP,),
    meaning="A reference conductor makes a path for load current around a BMS that opens the minus pole.",
    source="common practice",
    explain="""Where a BMS opens the minus pole, the reference of a port may be tied to the cells, on the far
side of the switch. When the BMS opens, the whole load current looks for its way back and finds the thin data
conductor: it burns, and takes the ports with it. One such reference may meet isolated ones only. Leave the
reference conductor out, or put an isolator into the link. Isolated ports of one device often share one isolated
ground inside: where two of them each bring such a reference, it passes from one to the other, unless the record says
which ports are isolated from each other.""",
)
def _ground(stage: Stage) -> Iterator[Hit]:
    yield from _hits(
        stage, {Cause.GROUND_BYPASSES}, "Leave the reference conductor out of this cable, or isolate the link."
    )
    for group in net_groups(stage):
        if group.cause is Cause.TIE_UNKNOWN:
            yield cannot_tell(
                group.about,
                f"{group.head()}: {pairings(stage, group.faults)}; load current could return through it",
                "Look in the manual for what the ground of the port is tied to, or measure it; until then leave the "
                "conductor out.",
                facts=tie_facts(stage, group.faults),
            )
    yield from _through_ports(stage)


def _through_ports(stage: Stage) -> Iterator[Hit]:
    """References of two ports that meet only if the isolated ports of a device between them share their ground."""
    for one in may_meet(stage):
        devices = tuple(dict.fromkeys(name for name, _ in one.through))
        ends = (one.fault.first, one.fault.second)
        culprits = {*devices, *(held.spot.device for held in ends)}
        cables = [c.id for c in one.cables if {c.a.device, c.b.device} & culprits]
        facts = dict.fromkeys((stage.device(name).record.id, port) for name, port in one.through)
        yield cannot_tell(
            tuple(dict.fromkeys((*(held.spot.device for held in ends), *devices))),
            f"{where(one.cables[0].link, cables)}: {spot_text(stage, ends[0])} meets {spot_text(stage, ends[1])} if "
            f"the isolated ports of {named(devices)} share one ground inside, which is not stated; load current could "
            "return through it",
            "Leave the reference conductor out of one of these cables, or state in the record which ports are "
            "isolated from each other.",
            facts=tuple(FactUsed(record, f"ports.{port}.isolated_from", "not-stated") for record, port in facts),
            level=Level.STOP,
        )


@rule(
    "data-ground-meets-earth",
    "conductor",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A reference that is tied to a minus of the bank is joined to a case, which is earth.",
    source="common practice",
    explain="""The case of a device is on protective earth. A data ground that is tied to the minus of the bank and
meets it through a shield bonds the bank to earth a second time: where minus is earthed, part of the load current
and the whole current of an earth fault flow through the thin shield; where plus is earthed, it is a short of the bank;
where nothing is, the bank is no longer floating, and an inverter that is not isolated is destroyed. Leave the shield
off at one end. Where nobody says what the reference is tied to, nobody can tell which of these it is.""",
)
def _earth(stage: Stage) -> Iterator[Hit]:
    todo = "Leave the shield off at one end."
    yield from _hits(stage, {Cause.GROUND_MEETS_EARTH}, todo)
    yield from _hits(stage, {Cause.EARTH_TIE_UNKNOWN}, todo, Answer.CANNOT_TELL)
