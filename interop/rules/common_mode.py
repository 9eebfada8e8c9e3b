"""Rule of the conductor subject: how far the grounds of two ports may lie apart while data passes between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from interop.circuit.bank import terminal
from interop.circuit.picture import pictures
from interop.records.facts import ABSENT, Fact
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import figure
from interop.wiring.once import once
from interop.wiring.purposes import LINE
from interop.wiring.stage import Stage, StageCable

if TYPE_CHECKING:
    from interop.site.site import Device

__all__: list[str] = []

_BEARS_V = {"can": 2.0, "rs-485": 7.0}
"""The nearer end of what a receiver bears [V]: -7 to +12 V (TIA/EIA-485), -2 to +7 V (ISO 11898-2), from memory."""


@rule("common-mode-passed", "conductor", broken=Level.STOP, unknown=Level.CAUTION,
      meaning="The grounds of two ports that talk may lie farther apart than a receiver bears, without an isolator.",
      source="TIA/EIA-485 and ISO 11898-2 (from memory)",
      explain="""Data wires carry their signal against the ground of the port. Where neither port is isolated the two
grounds differ by what is lost in the minus leads, and, where a port stands on the cells of a pack whose BMS opens the
minus pole, by the whole voltage of the pack as soon as that BMS is open and the busbar is dead. A receiver bears -7
to +12 V on RS-485 and -2 to +7 V on CAN; beyond that it is destroyed, often with the port of the neighbour. Put an
isolator into the link. Where a record does not say what the ground of a port is tied to, nobody can tell.""")
def _common_mode(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned":
        return
    for cable in stage.cables:
        if cable.link is not None and cable.joined is not None and cable.carries != LINE:
            yield from _between(stage, cable)


def _tie(device: Device, port: str | None) -> Fact[str]:
    found = device.record.ports.get(port or "")
    return ABSENT if found is None else found.reference


def _between(stage: Stage, cable: StageCable) -> Iterator[Hit]:
    ends = [(stage.device(end.device), end.port) for end in (cable.a, cable.b) if end.device in stage.site.devices]
    if len(ends) < 2 or any(port is None for _, port in ends):
        return
    ties = [(device, port, _tie(device, port)) for device, port in ends]
    if any(tie.only == "isolated" for _, _, tie in ties):
        return
    about = tuple(dict.fromkeys(device.id for device, _, _ in ties))
    facts = tuple(FactUsed(d.record.id, f"ports.{port}.reference", tie.state) for d, port, tie in ties)
    for device, _, tie in ties:
        opens = device.record.electric.bms.opens
        if tie.only == "cell minus" and opens.only != "plus":
            make, level = (cannot_tell, "may open") if opens.only is None else (broken, "opens")
            yield make(about, f"{cable.id}: neither end is isolated, and the ground of {device.id} is tied to its "
                       f"cells: its BMS {level} the minus pole, and then the grounds lie a whole pack voltage apart.",
                       "Put an isolator into this cable.", facts=facts, at=(cable.at,))
            return
    unknown = [device for device, _, tie in ties if tie.only in (None, "unknown")]
    if unknown:
        yield cannot_tell(about, f"{cable.id}: neither end is known to be isolated; what the ground of "
                          f"{' and '.join(d.id for d in unknown)} is tied to is not stated.",
                          "Look in the manual for what the ground of the port is tied to, or put an isolator into this "
                          "cable.", facts=facts, at=(cable.at,))
        return
    spread = _spread(_minus_volts(stage), about)
    kinds = {bus.kind.only for device, _, _ in ties for bus in device.record.buses.values()}
    bears = min((_BEARS_V[kind] for kind in kinds if kind in _BEARS_V), default=min(_BEARS_V.values()))
    if spread is not None and spread > bears:
        yield broken(about, f"{cable.id}: neither end is isolated, and at the highest load their grounds lie "
                     f"{figure(round(spread, 1), 'V')} apart.", "Put an isolator into this cable, or thicken the minus "
                     "leads.", got=figure(round(spread, 1), "V"), limit=figure(bears, "V"), facts=facts, at=(cable.at,))


def _spread(minus: Mapping[str, tuple[float, float]], about: tuple[str, ...]) -> float | None:
    rows = [minus[name] for name in about if name in minus]
    if len(rows) < 2:
        return None
    return max(max(row) for row in rows) - min(min(row) for row in rows)


@once
def _minus_volts(stage: Stage) -> dict[str, tuple[float, float]]:
    """The minus terminals of every device at the highest load [V], lowest and highest of its units."""
    found: dict[str, tuple[float, float]] = {}
    for picture in pictures(stage):
        solution = picture.at_load_worst
        if solution is None or not solution.outcome.holds:
            continue
        where = {name: i for i, name in enumerate(picture.bank.network.nodes)}
        names = [(d.id, d.id) for d in picture.bank.packs]
        names += [(one.spot.device.id, one.name) for one in picture.converters]
        for device, node in names:
            at = where.get(terminal(node, "minus"))
            if at is not None:
                volts = float(solution.node_v[at])
                low, high = found.get(device, (volts, volts))
                found[device] = (min(low, volts), max(high, volts))
    return found
