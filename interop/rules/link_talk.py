"""Rules of the link subject: what all on one bus must have alike (kind, dialect, rate, frame)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from interop.records.facts import Fact
from interop.records.models import Bus, Record
from interop.records.switches import Case, readings
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import Kind, chain_buses, judged_links, kinds_of, report_cables
from interop.rules.wording import named
from interop.unchanging import unchanging
from interop.wiring.faces import wire_pins
from interop.wiring.stage import Stage, StageLink
from interop.wiring.talks import RecordKey, alive_buses

__all__: list[str] = []

_TODO = "Look in the manual under communication, and in the list of batteries of the controller."


@unchanging
class _Side:
    """What one kind of device can do in one aspect on its buses: values (None: one is not known), with the facts."""

    packs: tuple[str, ...]
    record: Record
    values: frozenset[str] | None
    facts: tuple[FactUsed, ...]


Ask = Callable[[Bus, str | None], Fact[Any]]


def _kind_of(bus: Bus, mode: str | None) -> Fact[Any]:  # noqa: ARG001
    return bus.kind


def _dialect_of(bus: Bus, mode: str | None) -> Fact[Any]:
    return bus.dialect.of(mode)


def _rate_of(bus: Bus, mode: str | None) -> Fact[Any]:  # noqa: ARG001
    return bus.rates_bps


def _frame_of(bus: Bus, mode: str | None) -> Fact[Any]:  # noqa: ARG001
    return bus.frame


def _texts(value: object) -> frozenset[str]:
    return frozenset(map(str, value)) if isinstance(value, tuple) else frozenset({str(value)})


def _side(
    packs: tuple[str, ...], record: Record, buses: dict[str, Bus], modes: Sequence[str | None], field: str, ask: Ask
) -> _Side:
    """Gather one aspect over buses and modes; a fact that is missing or disputed makes the whole side unknown."""
    values: set[str] = set()
    facts: dict[FactUsed, None] = {}
    unknown = not buses
    for name, bus in buses.items():
        for mode in modes:
            fact = ask(bus, mode)
            facts[FactUsed(record.id, f"buses.{name}.{field}", fact.state)] = None
            if fact.only is None:
                unknown = True
            else:
                values |= _texts(fact.only)
    return _Side(packs, record, None if unknown else frozenset(values), tuple(facts))


# ---- the two ends of every bus of a link ----


def _chain_sides(stage: Stage, link: StageLink, field: str, ask: Ask) -> list[_Side]:
    sides = []
    for kind in kinds_of(stage, link):
        modes = list(kind.modes)
        buses = chain_buses(kind.record, kind.mode)
        if field == "rates_bps":
            sides += _rate_sides(stage, kind, buses, "member")
        else:
            sides.append(_side(kind.packs, kind.record, buses, modes, field, ask))
    return sides


def _rate_sides(stage: Stage, kind: Kind, buses: dict[str, Bus], role: str) -> list[_Side]:
    """Rates by what the switches of each pack say, where they set one and somebody read them."""
    groups: dict[tuple[str, ...] | None, list[str]] = {}
    for name in kind.packs:
        groups.setdefault(_rates_read(stage, name, buses, role), []).append(name)
    sides = []
    for read, names in groups.items():
        plain = _side(tuple(names), kind.record, buses, list(kind.modes), "rates_bps", _rate_of)
        if read is None or plain.values is None:
            sides.append(plain)
        else:
            known = frozenset(read) & plain.values if len(read) == 1 else None
            sides.append(_Side(plain.packs, plain.record, known, plain.facts))
    return sides


def _rates_read(stage: Stage, name: str, buses: dict[str, Bus], role: str) -> tuple[str, ...] | None:
    """Every rate that the switches can mean; None where no switch sets one, or nobody wrote them down."""
    pack = stage.packs[name]
    rates: set[str] = set()
    for row_name, row in pack.record.switches.items():
        pattern = pack.patterns.get(row_name)
        if pattern is None or not any(part.sets == "rate" and part.bus in buses for part in row.parts):
            continue
        for reading in readings(row, pattern, Case(role=role, mode=pack.mode), pack.record.modes):
            rates |= {
                str(v) for key, v in reading.values if key.split(" ")[0] == "rate" and key.split(" ")[-1] in buses
            }
    return tuple(sorted(rates)) or None


def _report_sides(stage: Stage, link: StageLink, field: str, ask: Ask) -> list[list[_Side]]:
    """For every controller that the manager reports to: the two sides of that bus."""
    if link.manager is None or link.manager not in stage.packs:
        return []
    pack = stage.packs[link.manager]
    buses = _report_buses(pack.record, pack.mode)
    modes = (pack.mode,) if pack.mode is not None else tuple(pack.record.modes)
    pairs = []
    for name in link.reports_to:
        ours, theirs = _on_cable(stage, link, name, buses)
        if not ours or not theirs:
            continue
        controller = stage.device(name).record
        one = (
            _rate_sides(stage, Kind(pack.record, pack.mode, (pack.id,)), ours, "manager")
            if field == "rates_bps"
            else [_side((pack.id,), pack.record, ours, modes, field, ask)]
        )
        pairs.append([*one, _side((name,), controller, theirs, [None], field, ask)])
    return pairs


def _report_buses(record: Record, mode: str | None) -> dict[str, Bus]:
    alive = alive_buses(record, mode)
    own = {name: bus for name, bus in alive.items() if bus.used_by == "manager"}
    return own or {name: bus for name, bus in alive.items() if bus.poller.only != "manager"}


def _on_cable(
    stage: Stage, link: StageLink, controller: str, buses: dict[str, Bus]
) -> tuple[dict[str, Bus], dict[str, Bus]]:
    """Keep the buses that the ports carry where the cable's ports are named, else every bus."""
    theirs = dict(stage.device(controller).record.buses)
    for cable in report_cables(stage, link):
        for ours_end, their_end in ((cable.a, cable.b), (cable.b, cable.a)):
            if ours_end.device != link.manager or their_end.device != controller:
                continue
            pack = stage.packs[ours_end.device]
            buses = _carried(pack.record, ours_end.port, pack.mode, buses)
            theirs = _carried(stage.device(controller).record, their_end.port, None, theirs)
    return buses, theirs


def _carried(record: Record, port: str | None, mode: str | None, buses: dict[str, Bus]) -> dict[str, Bus]:
    if port is None:
        return buses
    return {n: b for n, b in buses.items() if wire_pins(record, port, n, mode)} or buses


def _differ(stage: Stage, field: str, ask: Ask, word: str, unit: str = "") -> Iterator[Hit]:
    for link in judged_links(stage):
        groups = [_chain_sides(stage, link, field, ask)] if len(link.packs) > 1 else []
        for sides in (*groups, *_report_sides(stage, link, field, ask)):
            yield from _judged(link, sides, word, unit)


def _judged(link: StageLink, sides: Sequence[_Side], word: str, unit: str) -> Iterator[Hit]:
    if len(sides) < 2:
        return
    known = [s for s in sides if s.values is not None]
    for i, one in enumerate(known):
        for other in known[:i]:
            if not (one.values or frozenset()) & (other.values or frozenset()):
                yield broken(
                    (*other.packs, *one.packs),
                    f"Link {link.id}: {_say(other, unit)}, {_say(one, unit)}; no {word} in common",
                    f"Set or choose one {word} for all; if a record offers none, these packs cannot share the link.",
                )
                return
    for one in sides:
        if one.values is None:
            rest = [name for s in sides if s is not one for name in s.packs]
            missing = tuple(f for f in one.facts if f.state != "stated")
            state = "disputed" if any(f.state == "disputed" for f in missing) else "not known"
            yield cannot_tell(
                (*one.packs, *rest),
                f"Link {link.id}: the {word} of {named(one.packs)} ({one.record.id}) is {state}, so it "
                f"cannot be compared with {named(rest)}",
                _TODO,
                facts=missing,
            )
            return


def _say(side: _Side, unit: str) -> str:
    values = sorted(side.values or (), key=lambda text: (len(text), text))
    verb = "has" if len(side.packs) == 1 else "have"
    return f"{named(side.packs)} ({side.record.id}) {verb} {' or '.join(values)}{unit}"


@rule(
    "bus-kind-differs",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Devices on one link have no kind of bus in common.",
    source="record",
    explain="""RS-485, CAN and RS-232 use other voltages and other numbers of drivers on the wire. Joined,
neither side reads the other, and a driver can be damaged. Only a gateway between the two, or a mode of the pack
that uses the other kind, makes them talk.""",
)
def _bus_kind(stage: Stage) -> Iterator[Hit]:
    yield from _differ(stage, "kind", _kind_of, "kind of bus")


@rule(
    "dialect-differs",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Devices on one link have no dialect in common.",
    source="record",
    explain="""The dialect is the named protocol with its version. Two packs that speak unlike dialects hear each
other as noise: the manager counts fewer packs than there are, or none. Choose a mode that both have, or leave
one kind off the link.""",
)
def _dialect(stage: Stage) -> Iterator[Hit]:
    yield from _differ(stage, "dialect", _dialect_of, "dialect")


@rule(
    "rate-differs",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="Devices on one link have no bit rate in common, or are set to different ones.",
    source="ISO 11898-1; Modbus over serial line V1.02, 2.5: every device on a bus has the same rate",
    explain="""Every device on a bus must use one rate. On CAN a device at another rate answers each message with
an error and can silence the whole bus (250 against 500 kbit/s is the usual case); on RS-485 it hears noise. Set
the same rate on all, or use the socket of the controller that has the rate of the manager.""",
)
def _rate(stage: Stage) -> Iterator[Hit]:
    yield from _differ(stage, "rates_bps", _rate_of, "rate", " bit/s")


@rule(
    "frame-differs",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="Devices on one link use different frames (parity and stop bits, or the length of the CAN identifier).",
    source="Modbus over serial line V1.02, 2.5.1; ISO 11898-1",
    explain="""The frame says how one character or message is built: data bits, parity, stop bits, or an
identifier of 11 or 29 bits. Where it differs, every message is an error to the other side although dialect and
rate agree. Set the same frame on both.""",
)
def _frame(stage: Stage) -> Iterator[Hit]:
    yield from _differ(stage, "frame", _frame_of, "frame")


@rule(
    "cannot-join",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A pack that is wanted on a link stays off it because a fact about its bus is missing.",
    source="record",
    explain="""The plan joins only packs whose kind of bus, dialect and rate are known beyond dispute. This pack
may well fit, but nothing in its record says so. Find the missing fact in the manual, or ask the maker, and plan
again; until then the pack is unmanaged.""",
)
def _cannot_join(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned" or not all(link.judged for link in stage.links):
        return
    for link in stage.site.links:
        off: dict[RecordKey, list[str]] = {}
        for name in link.packs:
            if name in stage.packs and stage.packs[name].link is None:
                off.setdefault(RecordKey(stage.packs[name].record), []).append(name)
        for key, names in off.items():
            missing = _missing(key.record)
            if missing:
                fields = ", ".join(
                    dict.fromkeys(f.path.rsplit(".", 1)[-1].replace("rates_bps", "rate") for f in missing)
                )
                yield cannot_tell(
                    names,
                    f"Link {link.id}: whether {named(names)} ({key.record.id}) can join is not known: {fields} of its "
                    "bus missing or disputed",
                    _TODO,
                    facts=missing,
                )


def _missing(record: Record) -> tuple[FactUsed, ...]:
    found = []
    for name, bus in chain_buses(record, None).items():
        facts: list[tuple[str, Fact[Any]]] = [("kind", bus.kind), ("rates_bps", bus.rates_bps)]
        facts += [("dialect", bus.dialect.of(mode)) for mode in record.modes]
        found += [
            FactUsed(record.id, f"buses.{name}.{field}", fact.state) for field, fact in facts if fact.only is None
        ]
    made_by = record.manager.made_by
    if made_by.only is None:
        found.append(FactUsed(record.id, "manager.made_by", made_by.state))
    return tuple(dict.fromkeys(found))
