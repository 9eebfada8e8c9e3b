"""What a pin can be: the words of the grammar read into small objects (the bus or line says whether it is alive)."""

from __future__ import annotations

import re

from interop.records.faults import nearest
from interop.records.leaves import Expected
from interop.records.models import Record
from interop.standards import plugs
from interop.unchanging import unchanging

__all__ = ["BUS_WIRES", "LINE_USES", "PinFunction", "line_use", "pin_function", "port_poles"]

BUS_WIRES = {"rs-485": ("plus", "minus"), "can": ("high", "low"), "rs-232": ("transmit", "receive")}
"""The wires of each bus kind; a private bus may name any."""
LINE_USES = ("stop", "enable", "wake", "direction", "on off")
_PLAIN = ("reference", "shell", "empty", "unused", "unknown")
_SUPPLY = re.compile(r"supply(?: (?P<volts>\d+(\.\d+)?) V)?")


@unchanging
class PinFunction:
    """One function of a pin: ``what`` is bus, line, reference, shell, supply, empty, unused or unknown."""

    what: str
    name: str = ""
    wire: str = ""


def line_use(record: Record, name: str) -> str | None:
    """Return what a line does: as stated, else its name where that is one of the words."""
    line = record.lines[name]
    return line.does or (name if name in LINE_USES else None)


def pin_function(record: Record, text: str) -> PinFunction:
    """Read one function of a pin. Raises :class:`Expected` with the functions this record offers."""
    if text in _PLAIN:
        return PinFunction(text)
    supply = _SUPPLY.fullmatch(text)
    if supply is not None:
        return PinFunction("supply", supply["volts"] or "")
    name, _, wire = text.rpartition(" ")
    if name in record.buses:
        kind = record.buses[name].kind.only
        if kind not in BUS_WIRES or wire in BUS_WIRES[kind]:
            return PinFunction("bus", name, wire)
    if name in record.lines and wire in record.lines[name].wires:
        return PinFunction("line", name, wire)
    known = _known(record)
    raise Expected("a pin function: " + ", ".join(known), nearest(text, known))


def _known(record: Record) -> list[str]:
    buses = [f"{name} {wire}" for name, bus in record.buses.items()
             for wire in BUS_WIRES.get(bus.kind.only or "", ())]
    lines = [f"{name} {wire}" for name, line in record.lines.items() for wire in line.wires if wire]
    return [*buses, *lines, *_PLAIN, "supply 5 V"]


def port_poles(record: Record, port_name: str) -> tuple[str, ...]:
    """Return the pins of a port's plug in order: from the plug, else from the count of poles, else from the pins
    listed.
    """
    port = record.ports[port_name]
    plug = port.plug.only
    if plug is not None:
        try:
            return plugs.plug(plug).poles
        except plugs.UnknownPlug:
            pass
    if port.poles.only is not None:
        return tuple(str(i) for i in range(1, port.poles.only + 1))
    return tuple(p for p in record.pins.get(port_name, {}) if p != "shell")
