"""What a record must fulfil beyond its shape: names that exist, parts that cover each switch once, codes that fit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interop.records.facts import NOT_STATED, Reading
from interop.records.faults import Fault, nearest
from interop.records.leaves import Expected
from interop.records.models import FIELDS, Part, Record, SwitchRow
from interop.records.nodes import Document, Path, shown
from interop.records.pins import line_use, pin_function
from interop.records.switches import cover_faults, marks_of, part_switches, positions, value_key
from interop.standards import plugs

__all__ = ["more_faults", "reading_of", "record_faults"]

_COUNTED = ("address", "count of members", "count of packs", "group")
_NUMERIC = (*_COUNTED, "rate")
_BRIDGE = "same pin joined, alone, or a bridge such as 1-8"
_CODES = ("binary", "table", "flag", "one_of", "number")


class _Check:
    """What the checks of one record share: its document, what of it could not be read, and the names it gives."""

    def __init__(self, document: Document, record: Record, spoilt: frozenset[Path]) -> None:
        self.document = document
        self.record = record
        self._spoilt = spoilt
        self._above = {path[:n] for path in spoilt for n in range(1, len(path))}
        reading = reading_of(document)
        self.sources = None if reading.any_source else list(reading.sources)  # also those not read in full
        self.modes = None if reading.any_mode or self.lost("modes") else list(reading.modes)

    def lost(self, *path: str | int) -> bool:
        """Whether what stands at a path could not be read."""
        return any(path[:n] in self._spoilt for n in range(1, len(path) + 1))

    def touched(self, *path: str | int) -> bool:
        """Whether anything at a path or below it could not be read."""
        return path in self._above or self.lost(*path)

    def names(self, section: str) -> list[str] | None:
        """The names that a section gives (None: it could not be read, whatever is named may stand there)."""
        return None if self.lost(section) else list(getattr(self.record, section))

    @property
    def sockets(self) -> list[str] | None:
        """Every socket (None: those of a port could not be read)."""
        ports = self.names("ports")
        if ports is None or any(self.touched("ports", name, "sockets") for name in ports):
            return None
        return list(dict.fromkeys(socket for port in self.record.ports.values() for socket in port.sockets))

    def fault(self, path: Path, got: str, expected: str, near: str | None = None) -> Fault:
        line, column = self.document.value_at(path)
        return Fault(self.document.file, line, column, ".".join(map(str, path)), got, expected, near)

    def name(self, path: Path, value: str, known: list[str] | None, what: str) -> Iterator[Fault]:
        """The fault of a name that is none of the known ones, if these are known and the name could be read."""
        if known is not None and value not in known and not self.lost(*path):
            names = ", ".join(known) if known else "none in this record"
            yield self.fault(path, f'"{value}"', f"{what}: {names}", nearest(value, known))


def record_faults(document: Document, record: Record) -> list[Fault]:
    """Return every fault of a record that its models cannot see."""
    return more_faults(document, record, frozenset())


def more_faults(document: Document, record: Record, spoilt: frozenset[Path]) -> list[Fault]:
    """Return the faults of a record that has stand-ins at its ``spoilt`` paths: those that do not rest on them."""
    check = _Check(document, record, spoilt)
    return [*_words(check), *_buses(check), *_ports(check), *_pins(check), *_switches(check), *_rest(check)]


def _words(check: _Check) -> Iterator[Fault]:
    record = check.record
    reserved = {"manager", "member", "unmanaged", "can", "rs-485", "rs-232", "private", "none"}
    modes = [] if check.lost("modes") else record.modes
    for i, mode in enumerate(modes):
        if (mode in (check.sources or ()) or mode in reserved) and not check.lost("modes", i):
            yield check.fault(("modes", i), f'"{mode}"', "a mode named unlike any source, role or bus kind")
    read = [mode for i, mode in enumerate(modes) if not check.lost("modes", i)]
    if len(set(read)) != len(read):
        yield check.fault(("modes",), "a mode twice", "each mode once")
    if record.kind == "pack" and record.cells is None and not (check.lost("kind") or check.lost("cells")):
        yield check.fault(("cells",), "nothing", 'the field "cells" of a pack')
    cells = record.cells
    if cells is not None and cells.full_v.only is not None and cells.empty_v.only is not None:
        full, empty = cells.full_v.only, cells.empty_v.only
        if isinstance(full, float) and isinstance(empty, float) and empty >= full:
            yield check.fault(("cells", "empty_v"), f'"{empty:g}"', f"less than full_v ({full:g} V)")


def _modes(check: _Check, path: Path, modes: list[str] | None) -> Iterator[Fault]:
    for i, mode in enumerate(modes or ()):
        yield from check.name((*path, "modes", i), mode, check.modes, "a mode of this record")


def _buses(check: _Check) -> Iterator[Fault]:
    record = check.record
    for name, bus in record.buses.items():
        yield from _modes(check, ("buses", name), bus.modes)
        for i, socket in enumerate(bus.sockets or ()):
            yield from check.name(("buses", name, "sockets", i), socket, check.sockets, "a socket of this record")
    for name, line in record.lines.items():
        yield from _modes(check, ("lines", name), line.modes)
        if line_use(record, name) is None and not check.lost("lines", name, "does"):
            yield check.fault(("lines", name), f'line "{name}"',
                              'the field "does" (stop, enable, wake, direction, on off), or one of these as its name')


def _ports(check: _Check) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for name, port in check.record.ports.items():
        for i, socket in enumerate(port.sockets):
            if check.lost("ports", name, "sockets", i):
                continue
            if socket in seen:
                yield check.fault(("ports", name, "sockets", i), f'socket "{socket}" a second time',
                                  f"each socket in one port (first in {seen[socket]})")
            seen[socket] = name
        plug = port.plug.only
        if (plug is not None and _poles(plug) is None and not port.poles.known
                and not check.touched("ports", name, "poles")):
            known = plugs.known_plugs()
            yield check.fault(("ports", name, "plug"), f'"{plug}"',
                              "a known plug (or the field poles beside it): " + _folded(known), nearest(plug, known))
        for text in (p for value in port.inside.values for p in value):
            if text not in ("same pin joined", "alone") and not _bridge(text):
                yield check.fault(("ports", name, "inside"), shown(text), _BRIDGE,
                                  nearest(text, ["same pin joined", "alone"]))
        for i, other in enumerate(port.isolated_from):
            yield from check.name(("ports", name, "isolated_from", i), other, check.names("ports"),
                                  "a port of this record")


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
            yield from check.name((section, name), name, check.names("ports"), "a port of this record")
            continue
        known = _port_pins(record, name)
        for pin in table:
            if known is not None and pin not in known and not check.lost(section, name, pin):
                yield check.fault((section, name, pin), f'pin "{pin}"', "a pin of the plug: " + ", ".join(known))
    for name, pins in record.pins.items():
        for pin, fact in pins.items():
            for text in (t for value in fact.values for t in value if t != NOT_STATED):
                try:
                    pin_function(record, text)
                except Expected as bad:
                    if not _may_be_a_wire(check, text):
                        yield check.fault(("pins", name, pin), shown(text), bad.expected, bad.near)


def _may_be_a_wire(check: _Check, text: str) -> bool:
    """Whether a pin function may be a wire of a bus or line that could not be read."""
    owner, _, wire = text.rpartition(" ")
    if check.names("buses") is None or check.names("lines") is None:
        return bool(wire and owner)
    return owner in check.record.lines and check.touched("lines", owner, "wires")


def _switches(check: _Check) -> Iterator[Fault]:
    for name, row in check.record.switches.items():
        path: Path = ("switches", name)
        kind = None if check.lost(*path, "kind") else row.kind
        sized = kind is not None and not check.lost(*path, "printed")
        if sized and (row.kind == "slide") != (row.printed is not None):  # one of the two is wrong: judge by neither
            yield (check.fault(path, "a slide row without numbers", 'the field "printed", such as 1..4')
                   if row.kind == "slide" else
                   check.fault((*path, "printed"), "numbers", f"none: a {row.kind} setting is one switch"))
            sized, kind = False, None
        counts = [_count(check, (*path, "parts", i), row, part) if sized else None for i, part in enumerate(row.parts)]
        for i, part in enumerate(row.parts):
            yield from _part(check, (*path, "parts", i), part, counts[i], row, kind)
        yield from _covered_twice(check, path, row, counts)


def _covered_twice(check: _Check, path: Path, row: SwitchRow, counts: Sequence[int | Fault | None]) -> Iterator[Fault]:
    """Switches that two parts cover in one case, among the parts of which switches and case are sound."""
    sound = [part for i, part in enumerate(row.parts)
             if isinstance(counts[i], int) and not check.touched(*path, "parts", i, "when")
             and (part.when.mode is None or part.when.mode in (check.modes or ()))]
    if not sound:
        return
    judged = row if len(sound) == len(row.parts) else row.model_copy(update={"parts": sound})
    for number, case in cover_faults(judged, [mode for mode in check.modes or () if mode in check.record.modes]):
        spoken = ", ".join(f"{k} {v}" for k, v in vars(case).items() if v is not None) or "every case"
        yield check.fault((*path, "parts"), f"switch {number} covered twice", f"once in each case (here: {spoken})")


def _count(check: _Check, here: Path, row: SwitchRow, part: Part) -> int | Fault | None:
    """How many switches a part uses; the fault where they are none of the row; None where they could not be read."""
    if check.lost(*here, "use"):
        return None
    try:
        return len(part_switches(row, part))
    except Expected as bad:
        return check.fault((*here, "use"), shown(part.use), bad.expected, bad.near)


def _part(check: _Check, here: Path, part: Part, count: int | Fault | None, row: SwitchRow,
          kind: str | None) -> Iterator[Fault]:
    """Faults of one part; ``kind`` is that of the row, None where it could not be read."""
    buses = check.names("buses")
    if isinstance(count, Fault):
        yield count
    if part.bus is not None:
        yield from check.name((*here, "bus"), part.bus, buses, "a bus of this record")
    if part.bus is None and part.sets in ("rate", "terminator", "dialect") and buses and not check.lost(*here, "bus"):
        yield check.fault(here, f'sets {part.sets} without "bus"', f"the bus: {', '.join(buses)}")
    if part.when.mode is not None:
        yield from check.name((*here, "when", "mode"), part.when.mode, check.modes, "a mode of this record")
    if part.keep is not None and kind is not None and not check.lost(*here, "keep"):
        yield from _keep(check, here, part.keep, row)
    if not check.lost(*here, "sets"):
        yield from _code(check, here, part, count if isinstance(count, int) else None, row, kind)


def _keep(check: _Check, here: Path, keep: str, row: SwitchRow) -> Iterator[Fault]:
    """The fault of a state that the row cannot be left in: slide switches are on or off, all others show a mark."""
    path = here[:2]
    if row.kind == "slide":
        if keep not in _STATES:
            yield check.fault((*here, "keep"), shown(keep), "one of: on, off", nearest(keep, _STATES))
        return
    if check.lost(*path, "positions") or any(check.touched(*path, "parts", i, "code") for i in range(len(row.parts))):
        return
    marks = marks_of(row)
    if keep not in marks:
        named = ", ".join(marks[:16]) + (" …" if len(marks) > 16 else "")
        yield check.fault((*here, "keep"), shown(keep), f"one of the marks of this {row.kind} setting: "
                          + (named or "none in this record (list them in the field positions)"), nearest(keep, marks))


_STATES = ("on", "off")


def _code(check: _Check, here: Path, part: Part, count: int | None, row: SwitchRow,
          kind: str | None) -> Iterator[Fault]:
    code, at = part.code, (*here, "code")
    if check.lost(*at) or any(check.lost(*at, name) for name in _CODES):
        return
    if part.sets == "nothing":
        if code is not None:
            yield check.fault(at, "a code", 'no code for "nothing" (use keep: on or off)')
        return
    if code is None:
        yield check.fault(here, "no code", f"a code for {value_key(part)}: binary, table, flag, one_of or number")
        return
    given = [n for n in _CODES if getattr(code, n) is not None]
    if len(given) != 1:
        yield check.fault(at, " and ".join(given) or "nothing", "exactly one of binary, table, flag, one_of, number")
        return
    if count is not None and code.binary is not None and count > 10:
        yield check.fault((*here, "use"), f"{count} switches", "at most 10 switches in one binary code")
    if kind not in (None, "slide") and given[0] not in ("table", "number"):
        yield check.fault(at, given[0], f"table or number for a {kind} setting")
    if count not in (None, 1) and code.flag is not None:
        yield check.fault((*here, "use"), f"{count} switches", "one switch for a flag")
    if count is not None and code.one_of is not None and len(code.one_of) != count:
        yield check.fault((*at, "one_of"), f"{len(code.one_of)} values", f"{count} values, one a switch")
    yield from _code_for(check, here, part, kind)
    if code.table is not None:
        yield from _table(check, here, part, count, row, kind)
    if code.number is not None and kind not in (None, "slide") and row.positions is not None:
        yield from _number(check, here, code.number.shown, row)


def _code_for(check: _Check, here: Path, part: Part, kind: str | None) -> Iterator[Fault]:
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
    if code.formula is not None and (code.table is None or kind not in (None, "slide") or part.sets not in _NUMERIC):
        yield check.fault((*here, "code", "formula"), "a formula",
                          "a formula only beside a table of numbers on slide switches")


def _number(check: _Check, here: Path, numbers: Sequence[int], row: SwitchRow) -> Iterator[Fault]:
    """The fault of numbers that the row has no mark for."""
    marks, at = positions(row), (*here, "code", "number", "shown")
    strange = [number for number in numbers if number not in (row.positions or ())]
    if strange and not check.lost(*at):
        yield check.fault(at, f'"{strange[0]}"', "one of the positions " + ", ".join(marks))


def _table(check: _Check, here: Path, part: Part, count: int | None, row: SwitchRow,
           kind: str | None) -> Iterator[Fault]:
    shown_at = positions(row) if row.positions is not None else None
    for key, text in ((part.code.table if part.code else None) or {}).items():
        at = (*here, "code", "table", key)
        if check.lost(*at):
            continue
        if part.sets in _NUMERIC and not key.isdecimal():
            yield check.fault(at, shown(key), f"a whole number, since the part sets {part.sets}")
        if kind == "slide":
            words = text.split()
            if (count is not None and len(words) != count) or set(words) - {"on", "off"}:
                yield check.fault(at, shown(text), f"{'' if count is None else f'{count} '}words on or off")
        elif kind is not None and shown_at is not None and text not in shown_at:
            yield check.fault(at, shown(text), "one of the positions " + ", ".join(shown_at))


def _rest(check: _Check) -> Iterator[Fault]:
    record = check.record
    for name in record.addresses:
        yield from check.name(("addresses", name), name, check.names("buses"), "a bus of this record")
    if record.manager.port is not None:
        yield from check.name(("manager", "port"), record.manager.port, check.names("ports"), "a port of this record")
    for i, item in enumerate(record.with_):
        if item.in_mode is not None:
            yield from check.name(("with", i, "in_mode"), item.in_mode, check.modes, "a mode of this record")
        if item.source is not None:
            yield from check.name(("with", i, "source"), item.source.split(" ")[0], check.sources,
                                  "a source of this record")
        words = item.other.split()
        if check.lost("with", i, "other"):
            continue
        if not (words[0] in ("family", "record") and len(words) > 1) and item.other != "any":
            yield check.fault(("with", i, "other"), shown(item.other),
                              "family NAME, family NAME generation N, record ID, or any")


def reading_of(document: Document) -> Reading:
    """Return what the leaf validators need: the record's sources and modes, as far as they can be read."""
    root = document.root if isinstance(document.root, dict) else {}
    sources, modes = root.get("sources"), root.get("modes")
    meant = {nearest(str(key), FIELDS) for key in root if key not in FIELDS} if modes is None else set()
    any_mode = "modes" in meant if modes is None else not (isinstance(modes, list) and modes)
    return Reading(tuple(map(str, sources)) if isinstance(sources, dict) else (),
                   tuple(map(str, modes)) if isinstance(modes, list) else ("own",),
                   any_source=not (isinstance(sources, dict) and sources), any_mode=any_mode)
