"""What a record must fulfil beyond its shape: names that exist, parts that cover each switch once, codes that fit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interop.records.facts import NOT_STATED, Reading
from interop.records.faults import Fault, nearest
from interop.records.leaves import Expected
from interop.records.models import Part, Record, SwitchRow
from interop.records.nodes import Document, shown
from interop.records.pins import line_use, pin_function
from interop.records.switches import cover_faults, part_switches, positions, value_key
from interop.standards import plugs

__all__ = ["more_faults", "reading_of", "record_faults"]

_COUNTED = ("address", "count of members", "count of packs", "group")
_NUMERIC = (*_COUNTED, "rate")
_BRIDGE = "same pin joined, alone, or a bridge such as 1-8"


class _Check:
    """Collects the faults of one record at their positions."""

    def __init__(self, document: Document, record: Record) -> None:
        self.document = document
        self.record = record
        self.sources = reading_of(document).sources  # also those that could not be read in full

    def fault(self, path: tuple[str | int, ...], got: str, expected: str, near: str | None = None) -> Fault:
        line, column = self.document.value_at(path)
        return Fault(self.document.file, line, column, ".".join(map(str, path)), got, expected, near)

    def name(self, path: tuple[str | int, ...], value: str, known: list[str], what: str) -> Iterator[Fault]:
        if value not in known:
            names = ", ".join(known) if known else "none in this record"
            yield self.fault(path, f'"{value}"', f"{what}: {names}", nearest(value, known))


def record_faults(document: Document, record: Record) -> list[Fault]:
    """Return every fault of a record that its models cannot see."""
    check = _Check(document, record)
    return [*_words(check), *_buses(check), *_ports(check), *_pins(check), *_switches(check), *_rest(check)]


def more_faults(document: Document, record: Record, spoilt: frozenset[tuple[str | int, ...]]) -> list[Fault]:
    """Return the faults of a record that was read without its ``spoilt`` parts: those that do not rest on them."""
    if any(path[0] in _RESTED_ON and len(path) <= _RESTED_ON[str(path[0])] for path in spoilt):
        return []
    dotted = {".".join(map(str, path)) for path in spoilt}
    return [fault for fault in record_faults(document, record)
            if not any(_within(fault.path, path) or _within(path, fault.path) for path in dotted)]


_RESTED_ON = {"kind": 1, "modes": 2, "buses": 2, "lines": 2, "ports": 2}
"""Sections whose entries are named elsewhere, with the depth at which one of those names is lost."""


def _within(path: str, other: str) -> bool:
    return path == other or path.startswith(f"{other}.")


def _words(check: _Check) -> Iterator[Fault]:
    record = check.record
    reserved = {"manager", "member", "unmanaged", "can", "rs-485", "rs-232", "private", "none"}
    for i, mode in enumerate(record.modes):
        if mode in check.sources or mode in reserved:
            yield check.fault(("modes", i), f'"{mode}"', "a mode named unlike any source, role or bus kind")
    if len(set(record.modes)) != len(record.modes):
        yield check.fault(("modes",), "a mode twice", "each mode once")
    if record.kind == "pack" and record.cells is None:
        yield check.fault(("cells",), "nothing", 'the field "cells" of a pack')
    cells = record.cells
    if cells is not None and cells.full_v.only is not None and cells.empty_v.only is not None:
        full, empty = cells.full_v.only, cells.empty_v.only
        if isinstance(full, float) and isinstance(empty, float) and empty >= full:
            yield check.fault(("cells", "empty_v"), f'"{empty:g}"', f"less than full_v ({full:g} V)")


def _modes(check: _Check, path: tuple[str | int, ...], modes: list[str] | None) -> Iterator[Fault]:
    for i, mode in enumerate(modes or ()):
        yield from check.name((*path, "modes", i), mode, check.record.modes, "a mode of this record")


def _buses(check: _Check) -> Iterator[Fault]:
    record = check.record
    sockets = [s for port in record.ports.values() for s in port.sockets]
    for name, bus in record.buses.items():
        yield from _modes(check, ("buses", name), bus.modes)
        for i, socket in enumerate(bus.sockets or ()):
            yield from check.name(("buses", name, "sockets", i), socket, sockets, "a socket of this record")
    for name, line in record.lines.items():
        yield from _modes(check, ("lines", name), line.modes)
        if line_use(record, name) is None:
            yield check.fault(("lines", name), f'line "{name}"',
                              'the field "does" (stop, enable, wake, direction, on off), or one of these as its name')


def _ports(check: _Check) -> Iterator[Fault]:
    record = check.record
    seen: dict[str, str] = {}
    for name, port in record.ports.items():
        for i, socket in enumerate(port.sockets):
            if socket in seen:
                yield check.fault(("ports", name, "sockets", i), f'socket "{socket}" a second time',
                                  f"each socket in one port (first in {seen[socket]})")
            seen[socket] = name
        plug = port.plug.only
        if plug is not None and _poles(plug) is None and not port.poles.known:
            known = plugs.known_plugs()
            yield check.fault(("ports", name, "plug"), f'"{plug}"',
                              "a known plug (or the field poles beside it): " + _folded(known), nearest(plug, known))
        for text in (p for value in port.inside.values for p in value):
            if text not in ("same pin joined", "alone") and not _bridge(text):
                yield check.fault(("ports", name, "inside"), shown(text), _BRIDGE,
                                  nearest(text, ["same pin joined", "alone"]))


def _folded(names: Iterable[str]) -> str:
    """Names that differ in their number only as one: ``round 2..24``."""
    heads: dict[str, list[str]] = {}
    for name in names:
        head, space, last = name.rpartition(" ")
        heads.setdefault(f"{head} " if space and last.isdecimal() else name, []).append(last)
    return ", ".join(name if not name.endswith(" ") else f"{name}{tails[0]}..{tails[-1]}" if len(tails) > 5
                     else ", ".join(name + tail for tail in tails) for name, tails in heads.items())


def _bridge(text: str) -> bool:
    pins = text.split("-")
    return len(pins) >= 2 and all(p.strip() for p in pins)


def _poles(plug: str) -> tuple[str, ...] | None:
    try:
        return plugs.plug(plug).poles
    except plugs.UnknownPlug:
        return None


def _port_pins(record: Record, name: str) -> list[str] | None:
    port = record.ports[name]
    poles = _poles(port.plug.only) if port.plug.only is not None else None
    if poles is not None:
        return [*poles, "shell"]
    count = port.poles.only
    return [*(str(i) for i in range(1, count + 1)), "shell"] if count is not None else None


def _pins(check: _Check) -> Iterator[Fault]:
    record = check.record
    tables = [("pins", n, list(t)) for n, t in record.pins.items()]
    tables += [("printed", n, list(t)) for n, t in record.printed.items()]
    for section, name, table in tables:
        if name not in record.ports:
            yield from check.name((section, name), name, list(record.ports), "a port of this record")
            continue
        known = _port_pins(record, name)
        for pin in table:
            if known is not None and pin not in known:
                yield check.fault((section, name, pin), f'pin "{pin}"', "a pin of the plug: " + ", ".join(known))
    for name, pins in record.pins.items():
        for pin, fact in pins.items():
            for text in (t for value in fact.values for t in value if t != NOT_STATED):
                try:
                    pin_function(record, text)
                except Expected as bad:
                    yield check.fault(("pins", name, pin), shown(text), bad.expected, bad.near)


def _switches(check: _Check) -> Iterator[Fault]:
    for name, row in check.record.switches.items():
        path: tuple[str | int, ...] = ("switches", name)
        if row.kind == "slide" and row.printed is None:
            yield check.fault(path, "a slide row without numbers", 'the field "printed", such as 1..4')
            continue
        if row.kind != "slide" and row.printed is not None:
            yield check.fault((*path, "printed"), "numbers", f"none: a {row.kind} setting is one switch")
            continue
        before = list(_parts(check, path, row))
        yield from before
        if not before:
            for number, case in cover_faults(row, check.record.modes):
                spoken = ", ".join(f"{k} {v}" for k, v in vars(case).items() if v is not None) or "every case"
                yield check.fault((*path, "parts"), f"switch {number} covered twice",
                                  f"once in each case (here: {spoken})")


def _parts(check: _Check, path: tuple[str | int, ...], row: SwitchRow) -> Iterator[Fault]:
    record = check.record
    for i, part in enumerate(row.parts):
        here = (*path, "parts", i)
        try:
            count = len(part_switches(row, part))
        except Expected as bad:
            yield check.fault((*here, "use"), shown(part.use), bad.expected, bad.near)
            continue
        if part.bus is not None:
            yield from check.name((*here, "bus"), part.bus, list(record.buses), "a bus of this record")
        if part.bus is None and part.sets in ("rate", "terminator", "dialect") and record.buses:
            yield check.fault(here, f'sets {part.sets} without "bus"', f"the bus: {', '.join(record.buses)}")
        if part.when.mode is not None:
            yield from check.name((*here, "when", "mode"), part.when.mode, record.modes, "a mode of this record")
        yield from _code(check, here, part, count, row)


def _code(check: _Check, here: tuple[str | int, ...], part: Part, count: int, row: SwitchRow) -> Iterator[Fault]:
    if part.sets == "nothing":
        if part.code is not None:
            yield check.fault((*here, "code"), "a code", 'no code for "nothing" (use keep: on or off)')
        return
    if part.code is None:
        yield check.fault(here, "no code", f"a code for {value_key(part)}: binary, table, flag, one_of or number")
        return
    code = part.code
    given = [n for n in ("binary", "table", "flag", "one_of", "number") if getattr(code, n) is not None]
    if len(given) != 1:
        yield check.fault((*here, "code"), " and ".join(given) or "nothing",
                          "exactly one of binary, table, flag, one_of, number")
        return
    if code.binary is not None and count > 10:
        yield check.fault((*here, "use"), f"{count} switches", "at most 10 switches in one binary code")
    if row.kind != "slide" and given[0] not in ("table", "number"):
        yield check.fault((*here, "code"), given[0], f"table or number for a {row.kind} setting")
    if code.flag is not None and count != 1:
        yield check.fault((*here, "use"), f"{count} switches", "one switch for a flag")
    if code.one_of is not None and len(code.one_of) != count:
        yield check.fault((*here, "code", "one_of"), f"{len(code.one_of)} values", f"{count} values, one a switch")
    yield from _code_for(check, here, part, row)
    if code.table is not None:
        yield from _table(check, here, part, count, row)


def _code_for(check: _Check, here: tuple[str | int, ...], part: Part, row: SwitchRow) -> Iterator[Fault]:
    """Faults of a code that cannot carry what the part sets."""
    code = part.code
    if code is None:
        return
    given = "binary" if code.binary is not None else "number" if code.number is not None else None
    if given is not None and part.sets not in _COUNTED:
        yield check.fault((*here, "code"), given, f"a table for {part.sets}: {given} codes only numbers")
    if code.flag is not None and part.sets not in ("role", "terminator"):
        yield check.fault((*here, "code", "flag"), f"a flag for {part.sets}",
                          "a table: a flag sets a role or a terminator")
    if code.formula is not None and (code.table is None or row.kind != "slide" or part.sets not in _NUMERIC):
        yield check.fault((*here, "code", "formula"), "a formula",
                          "a formula only beside a table of numbers on slide switches")


def _table(check: _Check, here: tuple[str | int, ...], part: Part, count: int, row: SwitchRow) -> Iterator[Fault]:
    shown_at = positions(row) if row.positions is not None else None
    for key, text in ((part.code.table if part.code else None) or {}).items():
        at = (*here, "code", "table", key)
        if part.sets in _NUMERIC and not key.isdecimal():
            yield check.fault(at, shown(key), f"a whole number, since the part sets {part.sets}")
        if row.kind == "slide":
            words = text.split()
            if len(words) != count or set(words) - {"on", "off"}:
                yield check.fault(at, shown(text), f"{count} words on or off")
        elif shown_at is not None and text not in shown_at:
            yield check.fault(at, shown(text), "one of the positions " + ", ".join(shown_at))


def _rest(check: _Check) -> Iterator[Fault]:
    record = check.record
    for name in record.addresses:
        yield from check.name(("addresses", name), name, list(record.buses), "a bus of this record")
    if record.manager.port is not None:
        yield from check.name(("manager", "port"), record.manager.port, list(record.ports), "a port of this record")
    for i, item in enumerate(record.with_):
        if item.in_mode is not None:
            yield from check.name(("with", i, "in_mode"), item.in_mode, record.modes, "a mode of this record")
        if item.source is not None:
            yield from check.name(("with", i, "source"), item.source.split(" ")[0], list(check.sources),
                                  "a source of this record")
        words = item.other.split()
        if not (words[0] in ("family", "record") and len(words) > 1) and item.other != "any":
            yield check.fault(("with", i, "other"), shown(item.other),
                              "family NAME, family NAME generation N, record ID, or any")


def reading_of(document: Document) -> Reading:
    """Return what the leaf validators need: the record's sources and modes, as far as they can be read."""
    root = document.root if isinstance(document.root, dict) else {}
    sources = root.get("sources")
    modes = root.get("modes")
    return Reading(tuple(map(str, sources)) if isinstance(sources, dict) else (),
                   tuple(map(str, modes)) if isinstance(modes, list) else ("own",))
