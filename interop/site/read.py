"""From the nodes of a site file to the site: ranges spread, every name looked up, all faults at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from interop.records.bind import Bound, bind_part
from interop.records.catalog import LoadedRecord
from interop.records.facts import Reading
from interop.records.faults import InputFaults, nearest
from interop.records.leaves import Expected, Span, normal_id, number
from interop.records.models import Record
from interop.records.nodes import Document, shown
from interop.records.switches import Pattern, pattern_texts
from interop.site.models import DeviceEntry, RackEntry, SiteFile
from interop.site.ranges import MOST, expand_many, numbered
from interop.site.read_links import read_cables, read_links
from interop.site.read_runs import read_posts, read_runs
from interop.site.reader import SECTIONS, Known, Path, Reader, Records
from interop.site.site import Device, Found, Load, Site
from interop.site.wishes import read_accepted, read_wishes

__all__ = ["bind_site", "read_site"]

_RESERVED = ("links", "cables", "none", "manager", "pack", "controller", "propose")
_VOLTS = number(0, 1500, "V", spans=False)
_SLOT = re.compile(r"(?P<rack>.*?)(?:\s+(?P<word>slot|shelf|tier)\s+(?P<slot>[0-9]+))?")
_SECTIONS = (("packs", "pack"), ("controllers", "controller"), ("devices", ""))


def bind_site(document: Document) -> Bound[SiteFile]:
    """Bind a document to the grammar of the site file, as far as that can be done, with every fault."""
    if not isinstance(document.root, dict):
        fault = document.fault((), document.root, "a map of fields")
        return Bound(None, (*document.faults, fault), frozenset())
    return bind_part(document, SiteFile, Reading())


def read_site(document: Document, raw: SiteFile, records: Records, inputs: tuple[tuple[str, bytes], ...] = (),
              known: Known | None = None) -> Site:
    """Resolve a bound site file against the records. Raises :class:`InputFaults` with every fault.

    ``inputs`` are (path shown, bytes) of files read so far; the records used are added to them. ``known`` is what
    reading has found so far.
    """
    reader = Reader(document, raw, records, known or Known())
    read_posts(reader)
    _doubtful(reader)
    _read_devices(reader)
    _read_found_devices(reader)
    links = read_links(reader, ("links",), dict(raw.links.__pydantic_extra__ or {}))
    none = frozenset(reader.packs(("links", "none"), raw.links.none)) if raw.links.none else frozenset()
    _on_a_link(reader)
    _loads(reader)
    found_links = None if raw.found.links is None else read_links(reader, ("found", "links"), raw.found.links)
    cables = read_cables(reader, ("cables",), raw.cables, links)
    found_cables = (None if raw.found.cables is None
                    else read_cables(reader, ("found", "cables"), raw.found.cables, found_links or ()))
    runs = read_runs(reader)
    wishes = read_wishes(reader, links, none)
    accepted = read_accepted(reader)
    if reader.faults:
        raise InputFaults(reader.faults)
    return Site(raw.name, document.file, reader.devices, links, none, cables, found_links, found_cables, runs, wishes,
                accepted, raw.ambient_c, raw.dc_ground, (*inputs, *sorted(reader.used.items())), reader.busbars,
                _load(raw), raw.code, raw.storage_place)


def _load(raw: SiteFile) -> Load:
    load = raw.load
    return Load() if load is None else Load(load.usual_w, load.highest_w, load.must_stay_on_w)


def _loads(reader: Reader) -> None:
    """No load is above the highest."""
    load = reader.raw.load
    most = None if load is None else _most(load.highest_w)
    for name in ("usual_w", "must_stay_on_w"):
        said = _most(getattr(load, name, None))
        if most is not None and said is not None and said > most:
            reader.fault(("load", name), f"{said:g} W", f"at most the highest load, {most:g} W")


def _most(said: float | Span | None) -> float | None:
    return said.high if isinstance(said, Span) else said


def _on_a_link(reader: Reader) -> None:
    """Tell of packs that are said to be on no link and stand in one, known ones and those whose entry is at fault."""
    none = {name for name in _written(reader.raw.links.none) if name in reader.known_packs or reader.may_be(name)}
    for key, entry in (reader.raw.links.__pydantic_extra__ or {}).items() if none else ():
        for pack in sorted(none.intersection(_written(entry.packs))):
            reader.fault(("links", "none"), f'"{pack}"', f"a pack on no link (it stands in link {normal_id(key)})")


def _written(names: str | Sequence[str] | None) -> tuple[str, ...]:
    """The ids that are written; none where they cannot be expanded, which is told where they are looked up."""
    try:
        return expand_many(names) if names else ()
    except Expected:
        return ()


def _doubtful(reader: Reader) -> None:
    """Note where the entries of a section could not be read, so that nobody is told that a device does not exist."""
    for section, _ in _SECTIONS:
        if reader.spoilt((section,)) or (section,) in reader.document.open_maps:
            reader.blind.add(section)


# ---- devices ----

_Row = tuple[str, str, DeviceEntry, str | None, LoadedRecord, tuple[int, int]]


def _read_devices(reader: Reader) -> None:
    rows: list[_Row] = []
    slots: dict[str, str] = {}
    for section, kind in _SECTIONS:
        for key, entry in getattr(reader.raw, section).items():
            if len(reader.lines) > MOST:
                break
            rows += _expand(reader, section, kind, key, entry, slots)
            if len(reader.lines) > MOST:
                reader.fault((section, key), f"more than {MOST} devices", f"at most {MOST} devices a site", key=True)
                reader.blind.update(SECTIONS)
    ranks = _ranks([(place, i) for i, (_, kind, _, place, _, _) in enumerate(rows) if kind == "pack"])
    for i, (name, kind, entry, place, loaded, at) in enumerate(rows):
        new = _new(reader, entry, place)
        reader.devices[name] = Device(name, kind, loaded, place, new, entry.units, i, ranks.get(i, -1), at,
                                      lands_on=entry.cable_lands_on, firmware=entry.firmware,
                                      age_years=entry.age_years, found_capacity_ah=entry.found_capacity_ah,
                                      ambient_c=_ambient(reader, place))


def _expand(reader: Reader, section: str, kind: str, key: str, entry: DeviceEntry,
            slots: dict[str, str]) -> list[_Row]:
    path: Path = (section, key)
    names = reader.ids(path, key, key=True)
    if not names:
        reader.written(key)
    at = reader.document.at(path)
    places = _places(reader, path, entry, key, len(names))
    loaded = _record_of(reader, path, entry, places)
    fits = loaded is not None and _right_kind(reader, path, kind, loaded)
    rows: list[_Row] = []
    for name, place in zip(names, places, strict=True):
        if name in reader.lines:
            reader.fault(path, f'id "{name}" a second time', f"each id once (first on line {reader.lines[name]})",
                         key=True)
            continue
        reader.lines[name] = at[0]
        if kind == "pack" and place is not None:
            _one_a_slot(reader, (*path, "place"), name, place, slots)
        if name in _RESERVED:
            reader.fault(path, f'id "{name}"', "an id that is not one of " + ", ".join(_RESERVED), key=True)
        if reader.spoilt((*path, "units")):
            reader.units_lost.add(name)
        if loaded is not None and fits:
            rows.append((name, kind or loaded.record.kind, entry, place, loaded, at))
        else:
            reader.doubtful.add(name)
    return rows


def _one_a_slot(reader: Reader, path: Path, name: str, place: str, slots: dict[str, str]) -> None:
    """Tell of a second pack in one slot: it cannot be there. Other places (a floor, a shelf) may hold several."""
    match = _SLOT.fullmatch(normal_id(place))
    if match is None or match["word"] != "slot":
        return
    first = slots.setdefault(normal_id(place), name)
    if first != name:
        reader.fault(path, f"{shown(place)} for {name}",
                     f"one pack in each slot ({first} on line {reader.lines[first]} is in it)")


def _places(reader: Reader, path: Path, entry: DeviceEntry, key: str, count: int) -> tuple[str | None, ...]:
    spread = numbered(entry.place, count) if entry.place is not None else None
    if entry.place is not None and spread is None and count:
        reader.uneven((*path, "place"), entry.place, count, "places", key)
    return (None,) * count if spread is None else spread


def _record_of(reader: Reader, path: Path, entry: DeviceEntry, places: Sequence[str | None]) -> LoadedRecord | None:
    """The record of an entry: its own model, or the default of its rack."""
    if entry.model is not None or reader.spoilt((*path, "model")):
        return reader.record((*path, "model"), entry.model or "")
    name, defaults = _rack_defaults(reader, places)
    if defaults is None or defaults.model is None:
        unsure = reader.spoilt(("racks",)) or (name is not None and reader.spoilt(("racks", name, "model")))
        if unsure or (entry.place is not None and None in places):
            return None  # what the rack would say, or which one it is, could not be read
        reader.fault(path, "no model", 'the field "model", here or as the default of the rack', key=True,
                     rests_on=("model", "place"))
        return None
    return reader.record(path, defaults.model)


def _new(reader: Reader, entry: DeviceEntry, place: str | None) -> bool:
    """Whether a device is new: as its entry says, else as its rack says, else it is installed."""
    if entry.new is not None:
        return entry.new
    _, defaults = _rack_defaults(reader, (place,))
    return defaults is not None and defaults.new is True


def _ambient(reader: Reader, place: str | None) -> float | Span | None:
    """The ambient [C] of a place: that of its rack, else that of the site."""
    _, defaults = _rack_defaults(reader, (place,))
    own = defaults.ambient_c if defaults is not None else None
    return reader.raw.ambient_c if own is None else own


def _rack_defaults(reader: Reader, places: Sequence[str | None]) -> tuple[str | None, RackEntry | None]:
    for name, entry in reader.raw.racks.items():
        if places and all(p is not None and (p == name or p.startswith(f"{name} ")) for p in places):
            return name, entry
    return None, None


def _right_kind(reader: Reader, path: Path, kind: str, loaded: LoadedRecord) -> bool:
    record = loaded.record
    if loaded.lost("kind"):
        return True
    wanted = {"pack": ("pack",), "controller": ("controller", "charger")}.get(kind)
    if wanted is None and record.kind != "pack":
        return True
    if wanted is not None and record.kind in wanted:
        return True
    reader.fault((*path, "model"), f'"{record.id}", a record of kind {record.kind}',
                 f"a record of kind {' or '.join(wanted or ('hub, charger, cable …',))}")
    return False


def _ranks(places: Sequence[tuple[str | None, int]]) -> dict[int, int]:
    """Rank by rack (in order of first appearance), slot, then position in the file; no place comes last."""
    racks: dict[str, int] = {}
    keys = []
    for place, index in places:
        match = _SLOT.fullmatch(place or "")
        rack = match["rack"] if match is not None and place is not None else ""
        slot = int(match["slot"]) if match is not None and match["slot"] else 0
        order = racks.setdefault(rack, len(racks)) if place is not None else 10**9
        keys.append((order, slot, index))
    return {index: rank for rank, (_, _, index) in enumerate(sorted(keys))}


def _read_found_devices(reader: Reader) -> None:
    for section, table in (("found", reader.raw.found.__pydantic_extra__ or {}), ("set", reader.raw.set_)):
        seen: dict[str, int] = {}
        for key, entry in table.items():
            path: Path = (section, key)
            judged = False
            for name in reader.ids(path, key, key=True):
                if not reader.device(path, name, reader.devices, "a device of this site", key=True):
                    continue
                judged = True
                if name in seen:
                    reader.fault(path, f'"{name}" a second time', f"each device once (first on line {seen[name]})",
                                 key=True)
                    continue
                seen[name] = reader.document.at(path)[0]
                _enter_found(reader, path, reader.devices[name], entry)
            if not judged and section == "found":
                _voltage(reader, path, entry)


def _voltage(reader: Reader, path: Path, entry: Mapping[str, Any]) -> None:
    """Judge what was found on devices that are not known: the one figure that rests on no record."""
    for value in (entry[field] for field in ("voltage_v",) if field in entry):
        try:
            _volts(value)
        except Expected as bad:
            reader.fault((*path, "voltage_v"), shown(value), bad.expected)


def _volts(value: object) -> float:
    if not isinstance(value, str):
        raise Expected("one setting or figure")
    return float(str(_VOLTS.parse(value)))


def _enter_found(reader: Reader, path: Path, device: Device, entry: Mapping[str, Any]) -> None:
    if path[0] == "found" and device.new:
        reader.fault(path, f'"{device.id}"', "an installed device (this one is new: yes)", key=True)
    found = _found(reader, path, device, entry)
    change: dict[str, Any] = {"found": found} if path[0] == "found" else {"set_patterns": found.patterns}
    reader.devices[device.id] = replace(device, **change)


def _found(reader: Reader, path: Path, device: Device, entry: Mapping[str, Any]) -> Found:
    record, loaded = device.record, device.loaded
    more = ("voltage_v", "mode") if path[0] == "found" else ()
    read: dict[str, Any] = {}
    for field, value in entry.items():
        here = (*path, field)
        if loaded.lost("switches") and field not in more:
            continue
        if field not in record.switches and field not in more:
            what = " or ".join((f"a switch row of {record.id}", *more))
            known = [*record.switches, *more]
            reader.fault(here, f"field {shown(field)}", f"{what}: {', '.join(known) or 'there is none'}",
                         nearest(field, known), key=True)
            continue
        if field in record.switches and loaded.doubtful("switches", field):
            continue
        if field == "mode" and loaded.doubtful("modes"):
            continue
        try:
            read[field] = _seen_value(record, field, value)
        except Expected as bad:
            reader.fault(here, shown(value), bad.expected, bad.near)
    patterns: dict[str, Pattern] = {field: value for field, value in read.items() if field in record.switches}
    return Found(patterns, *(read.get(field) if field not in patterns else None for field in ("voltage_v", "mode")))


def _seen_value(record: Record, field: str, value: object) -> Pattern | float | str:
    """What somebody saw or set: a pattern of a switch row, a voltage [V], a mode. Raises :class:`Expected`."""
    if not isinstance(value, str):
        raise Expected("one setting or figure")
    if field in record.switches:
        return pattern_texts(record.switches[field], value)
    if field == "voltage_v":
        return _volts(value)
    if value not in record.modes:
        raise Expected(f"a mode of {record.id}: {', '.join(record.modes)}", nearest(value, record.modes))
    return str(value)
