"""From records to sockets: what every pin of a socket carries in a mode, and the copper inside the device."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from itertools import combinations

from interop.records.models import Port, Record
from interop.records.pins import PinFunction, line_use, pin_function, port_poles
from interop.standards import plugs
from interop.standards.plugs import SHELL
from interop.wiring.contacts import (
    NOT_STATED,
    BusWire,
    Contact,
    Empty,
    Face,
    LineWire,
    NotStated,
    Reference,
    Shell,
    Socket,
    Supply,
    Unknown,
    Unused,
)
from interop.wiring.talks import RecordKey

__all__ = ["ground_of", "inside_known", "port_of_socket", "socket_face", "socket_of", "wire_pins"]

Naming = Callable[[str], str]
"""Gives the link-wide identity of a bus of a record."""


def port_of_socket(record: Record, socket: str) -> str | None:
    """Return the port that has a socket."""
    return next((name for name, port in record.ports.items() if socket in port.sockets), None)


def _pairs(record: Record, port_name: str) -> frozenset[frozenset[str]]:
    plug = record.ports[port_name].plug.only
    try:
        return frozenset(frozenset(p) for p in plugs.plug(plug).pairs) if plug is not None else frozenset()
    except plugs.UnknownPlug:
        return frozenset()


def inside_known(record: Record, port_name: str) -> bool:
    """Return whether it is stated how the sockets of a port are joined inside (one socket alone needs no statement)."""
    port = record.ports[port_name]
    return port.inside.only is not None or (len(port.sockets) == 1 and not port.inside.known)


@cache
def _nodes(key: RecordKey, port_name: str, socket: str) -> tuple[tuple[str, str], ...]:
    """Name the piece of copper of each pin. Sockets joined inside, or not stated, share copper (the worse side)."""
    record = key.record
    port: Port = record.ports[port_name]
    inside = port.inside.only or (
        ("alone",) if len(port.sockets) == 1 and not port.inside.known else ("same pin joined",)
    )
    owner = f"{port_name}" if "alone" not in inside else f"{port_name}/{socket}"
    first: dict[str, str] = {}
    for text in inside:
        if text not in ("same pin joined", "alone"):
            pins = sorted(first.get(p.strip(), p.strip()) for p in text.split("-"))
            merged = {first.get(p, p) for p in pins} | set(pins)
            root = min(merged, key=lambda p: (len(p), p))
            for pin in [*merged, *(p for p, r in first.items() if r in merged)]:
                first[pin] = root
    nodes = {pin: f"{owner}.{first.get(pin, pin)}" for pin in port_poles(record, port_name)}
    nodes[SHELL] = _shell_node(key, port_name, nodes) or f"{owner}.{SHELL}"
    return tuple((pin, nodes[SHELL] if _is(key, port_name, pin, "shell") else node) for pin, node in nodes.items())


def _is(key: RecordKey, port_name: str, pin: str, what: str) -> bool:
    return any(f.what == what for f in dict(_functions(key, port_name, None)).get(pin) or ())


def _shell_node(key: RecordKey, port_name: str, nodes: Mapping[str, str]) -> str | None:
    """The copper that a shell shares: the case is one for all ports, a reference is that of the port's pins."""
    shell = _shell_contacts(key, port_name)
    if Shell(earthed=True) in shell:
        return "case"
    if not any(isinstance(one, Reference) for one in shell):
        return None
    return next((node for pin, node in nodes.items() if _is(key, port_name, pin, "reference")), None)


@cache
def _grounds(key: RecordKey) -> dict[str, str]:
    """Name the isolated ground of each port that has one: ports share a name unless the record keeps them apart."""
    ports = key.record.ports
    isolated = [name for name, port in ports.items() if port.reference.only == "isolated"]
    names = {name: name for name in isolated}
    for one, other in combinations(isolated, 2):
        if other not in ports[one].isolated_from and one not in ports[other].isolated_from:
            old, new = names[other], names[one]
            names = {name: new if ground == old else ground for name, ground in names.items()}
    return names


def ground_of(record: Record, port_name: str) -> str | None:
    """Return the name of the isolated ground that a port's reference may be; None for a port that is not isolated.

    Ports of one device often share one isolated supply (common practice, from memory): only a record that says that
    two of them are isolated from each other keeps their grounds apart.
    """
    return _grounds(RecordKey(record)).get(port_name)


@cache
def _shell_contacts(key: RecordKey, port_name: str) -> frozenset[Contact]:
    """What the shell of a port is tied to: as ``ports.NAME.shell`` says, and as its table of pins says of it."""
    port = key.record.ports[port_name]
    said: dict[str, Contact] = {
        "none": Shell(earthed=False),
        "chassis": Shell(earthed=True),
        "reference": Reference(port.reference.only or "unknown"),  # type: ignore[arg-type]
        "unknown": Unknown(),
    }
    found: set[Contact] = {said.get(port.shell.only or "", Unknown())} if port.shell.known else set()
    for function in dict(_functions(key, port_name, None)).get(SHELL, ()) or ():
        bare = function.what in ("unused", "shell")
        found.add(Shell(earthed=False) if bare else _contact(key.record, port_name, function, str))
    return frozenset(found) or frozenset({NotStated()})


def _contact(record: Record, port_name: str, function: PinFunction, naming: Naming) -> Contact:
    if function.what == "bus":
        return BusWire(naming(function.name), function.wire)
    if function.what == "line":
        return _line(record, function)
    if function.what == "reference":
        return Reference(record.ports[port_name].reference.only or "unknown")  # type: ignore[arg-type]
    if function.what == "shell":
        shell = _shell_contacts(RecordKey(record), port_name)
        return next(iter(shell)) if len(shell) == 1 else Unknown()
    if function.what == "supply":
        return Supply(function.name or NOT_STATED)
    blank: dict[str, Contact] = {"empty": Empty(), "unused": Unused(), "unknown": Unknown()}
    return blank.get(function.what, NotStated())


def _line(record: Record, function: PinFunction) -> LineWire:
    line = record.lines[function.name]
    contact = line.contact.only
    dry = contact in ("closed to act", "open to act") and not line.level_v.known
    volts = line.level_v.only
    figure = f"{volts:g} V" if isinstance(volts, float) else f"{volts} V"
    level = "contact" if dry else (figure if volts is not None else NOT_STATED)
    carried = {"through every pack": True, "not carried": False}.get(line.carried.only or "")
    passive = {"passive": True, "driven": False}.get(line.drive.only or "")
    return LineWire(
        function.name,
        function.wire,
        line_use(record, function.name) or "",
        contact or NOT_STATED,
        level,
        carried,
        passive,
    )


def _alive(record: Record, function: PinFunction, mode: str | None) -> bool:
    modes = None
    if function.what == "bus":
        modes = record.buses[function.name].modes
    elif function.what == "line":
        modes = record.lines[function.name].modes
    return mode is None or modes is None or mode in modes


@cache
def _functions(
    key: RecordKey, port_name: str, mode: str | None
) -> tuple[tuple[str, tuple[PinFunction, ...] | None], ...]:
    """What each listed pin can be and is alive in the mode; None where it is not stated or disputed."""
    record = key.record
    found: list[tuple[str, tuple[PinFunction, ...] | None]] = []
    for pin, fact in record.pins.get(port_name, {}).items():
        texts = fact.only
        if texts is None:
            found.append((pin, None))
            continue
        functions = tuple(pin_function(record, t) for t in texts)
        found.append((pin, tuple(f for f in functions if _alive(record, f, mode))))
    return tuple(found)


def socket_face(record: Record, port_name: str, socket: str, mode: str | None, naming: Naming) -> Face:
    """Return what a socket shows in a mode (None: everything it can show); ``naming`` gives each bus its identity.

    The shell is the last of its poles, whether or not its plug usually has one: a cable may join it all the same.
    """
    key = RecordKey(record)
    poles = port_poles(record, port_name)
    contacts: dict[str, frozenset[Contact]] = {SHELL: _shell_contacts(key, port_name)}
    for pin, functions in _functions(key, port_name, mode):
        if pin in poles:
            contacts[pin] = (
                frozenset({NotStated()})
                if functions is None
                else frozenset(_contact(record, port_name, f, naming) for f in functions)
            )
    return Face(
        record.ports[port_name].plug.only or "not stated",
        (*poles, SHELL),
        _pairs(record, port_name),
        contacts,
        dict(_nodes(key, port_name, socket)),
    )


def socket_of(device: str, record: Record, port_name: str, socket: str, mode: str | None, naming: Naming) -> Socket:
    """Return a socket of a device of the site."""
    return Socket(device, port_name, socket, socket_face(record, port_name, socket, mode, naming))


def wire_pins(record: Record, port_name: str, bus: str, mode: str | None) -> tuple[str, ...]:
    """Return the pins of a port that carry a wire of a bus in a mode."""
    return tuple(
        pin
        for pin, functions in _functions(RecordKey(record), port_name, mode)
        for f in functions or ()
        if f.what == "bus" and f.name == bus
    )
