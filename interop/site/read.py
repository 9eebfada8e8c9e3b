"""From the nodes of a site file to the site: ranges spread, every name looked up, all faults at once."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any, Protocol

from interop.records.bind import bind
from interop.records.catalog import LoadedRecord
from interop.records.facts import Reading
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.leaves import Expected, normal_id, number
from interop.records.models import Record
from interop.records.nodes import Document, shown
from interop.records.switches import Pattern, pattern_texts
from interop.site.models import CableEntry, DeviceEntry, LinkEntry, SiteFile
from interop.site.ranges import expand_ids, expand_many, numbered
from interop.site.site import Accepted, Cable, Device, End, Found, Link, Made, Run, Site, Wish

__all__ = ["Records", "read_site", "site_file"]

_RESERVED = ("links", "cables", "none", "manager", "pack", "controller", "propose")
_VOLTS = number(0, 1500, "V", spans=False)
_SLOT = re.compile(r"(?P<rack>.*?)(?:\s+(?:slot|shelf|tier)\s+(?P<slot>\d+))?")

Path = tuple[str | int, ...]


class Records(Protocol):
    """Look-up of records by id, as :class:`interop.records.catalog.Catalog` offers it."""

    @property
    def ids(self) -> tuple[str, ...]:
        """All ids."""

    def __contains__(self, name: str) -> bool:
        """Whether a record has this id."""

    def load(self, name: str) -> LoadedRecord:
        """Return a record by id."""


def site_file(document: Document) -> SiteFile:
    """Bind a document to the grammar of the site file. Raises :class:`InputFaults`."""
    if not isinstance(document.root, dict):
        raise InputFaults([document.fault((), document.root, "a map of fields")])
    return bind(document, SiteFile, Reading())


class _Reader:
    """Reads one site, gathering faults."""

    def __init__(self, document: Document, raw: SiteFile, records: Records) -> None:
        self.document = document
        self.raw = raw
        self.records = records
        self.faults: list[Fault] = []
        self.devices: dict[str, Device] = {}
        self.bad_records: set[str] = set()
        self.pack_names: dict[str, bool] = {}
        self.pack_table: dict[str, None] = {}
        self.posts: dict[str, list[str]] = {str(k): _post_names(v) for k, v in raw.posts.items()}

    def fault(self, path: Path, got: str, expected: str, near: str | None = None, *, key: bool = False) -> None:
        line, column = self.document.at(path) if key else self.document.value_at(path)
        self.faults.append(Fault(self.document.file, line, column, ".".join(map(str, path)), got, expected, near))

    def ids(self, path: Path, text: str | Sequence[str], *, key: bool = False) -> tuple[str, ...]:
        """Expand ranges; a fault and an empty tuple when that fails."""
        try:
            return expand_many(text) if not isinstance(text, str) else expand_ids(text)
        except Expected as bad:
            self.fault(path, shown(text if isinstance(text, str) else ", ".join(text)), bad.expected, key=key)
            return ()

    def packs(self, path: Path, text: str | Sequence[str], *, key: bool = False) -> tuple[str, ...]:
        """Expand ranges of known packs."""
        if len(self.pack_names) != len(self.devices):
            self.pack_names = {d.id: d.kind == "pack" for d in self.devices.values()}
            self.pack_table = {name: None for name, pack in self.pack_names.items() if pack}
        known = self.pack_table
        return tuple(i for i in self.ids(path, text, key=key) if self.known(path, i, known, "a pack of this site", key=key))

    def known(self, path: Path, name: str, known: Collection[str], what: str, *, key: bool = False) -> bool:
        if name in known:
            return True
        some = ", ".join(list(known)[:8]) + (" …" if len(known) > 8 else "")
        self.fault(path, f'"{name}"', f"{what}: {some or 'there is none'}", nearest(name, known), key=key)
        return False

    def record(self, path: Path, name: str) -> LoadedRecord | None:
        """Look a model up; faults of the record itself are gathered once."""
        if name not in self.records:
            self.fault(path, f'model "{name}"', "the id of a record in the catalogs", nearest(name, self.records.ids))
            return None
        if normal_id(name) in self.bad_records:
            return None
        try:
            return self.records.load(name)
        except InputFaults as bad:
            self.faults += bad.faults
            self.bad_records.add(normal_id(name))
            return None


def read_site(document: Document, raw: SiteFile, records: Records, inputs: tuple[tuple[str, bytes], ...] = ()) -> Site:
    """Resolve a bound site file against the records. Raises :class:`InputFaults` with every fault.

    ``inputs`` are (path shown, bytes) of files read so far; the records used are added to them.
    """
    reader = _Reader(document, raw, records)
    _read_devices(reader)
    _read_found_devices(reader)
    links = _read_links(reader, ("links",), dict(raw.links.__pydantic_extra__ or {}))
    none = frozenset(reader.packs(("links", "none"), raw.links.none)) if raw.links.none else frozenset()
    for link in links:
        for pack in sorted(none & set(link.packs)):
            reader.fault(("links", "none"), f'"{pack}"', f"a pack on no link (it stands in link {link.id})")
    found_links = None if raw.found.links is None else _read_links(reader, ("found", "links"), raw.found.links)
    cables = _read_cables(reader, ("cables",), raw.cables, links)
    found_cables = (None if raw.found.cables is None
                    else _read_cables(reader, ("found", "cables"), raw.found.cables, found_links or ()))
    runs = _read_runs(reader)
    wishes = _read_wishes(reader, links)
    accepted = _read_accepted(reader)
    if reader.faults:
        raise InputFaults(reader.faults)
    used = {d.loaded.document.file: d.loaded.data for d in reader.devices.values()}
    return Site(raw.name, document.file, reader.devices, links, none, cables, found_links, found_cables, runs, wishes,
                accepted, raw.ambient_c, raw.dc_ground, (*inputs, *sorted(used.items())))


# ---- devices ----

def _read_devices(reader: _Reader) -> None:
    rows: list[tuple[str, str, DeviceEntry, str | None, LoadedRecord, tuple[int, int]]] = []
    seen: dict[str, int] = {}
    for section, kind in (("packs", "pack"), ("controllers", "controller"), ("devices", "")):
        for key, entry in getattr(reader.raw, section).items():
            rows += _expand(reader, section, kind, key, entry, seen)
    ranks = _ranks([(place, i) for i, (_, kind, _, place, _, _) in enumerate(rows) if kind == "pack"])
    for i, (name, kind, entry, place, loaded, at) in enumerate(rows):
        reader.devices[name] = Device(name, kind, loaded, place, entry.new, entry.units, i, ranks.get(i, -1), at,
                                      lands_on=entry.cable_lands_on, firmware=entry.firmware)


def _expand(reader: _Reader, section: str, kind: str, key: str, entry: DeviceEntry,
            seen: dict[str, int]) -> Iterator[tuple[str, str, DeviceEntry, str | None, LoadedRecord, tuple[int, int]]]:
    path: Path = (section, key)
    names = reader.ids(path, key, key=True)
    at = reader.document.at(path)
    places: tuple[str | None, ...] = (None,) * len(names)
    if entry.place is not None:
        spread = numbered(entry.place, len(names))
        if spread is None:
            reader.fault((*path, "place"), shown(entry.place), f"{len(names)} places, one for each of {key}")
        else:
            places = spread
    defaults = _rack_defaults(reader, places)
    model = entry.model or (defaults.model if defaults is not None else None)
    if model is None:
        reader.fault(path, "no model", 'the field "model", here or as the default of the rack', key=True)
        return
    loaded = reader.record((*path, "model") if entry.model else path, model)
    for name, place in zip(names, places, strict=True):
        if name in seen:
            reader.fault(path, f'id "{name}" a second time', f"each id once (first on line {seen[name]})", key=True)
            continue
        if name in _RESERVED:
            reader.fault(path, f'id "{name}"', "an id that is not one of " + ", ".join(_RESERVED), key=True)
            continue
        seen[name] = at[0]
        if loaded is not None and _right_kind(reader, path, kind, loaded.record):
            yield name, kind or loaded.record.kind, entry, place, loaded, at


def _rack_defaults(reader: _Reader, places: Sequence[str | None]) -> Any:
    for name, entry in reader.raw.racks.items():
        if places and all(p is not None and (p == name or p.startswith(f"{name} ")) for p in places):
            return entry
    return None


def _right_kind(reader: _Reader, path: Path, kind: str, record: Record) -> bool:
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


def _read_found_devices(reader: _Reader) -> None:
    for section, table in (("found", reader.raw.found.__pydantic_extra__ or {}), ("set", reader.raw.set_)):
        for key, entry in table.items():
            path: Path = (section, key)
            for name in reader.ids(path, key, key=True):
                if not reader.known(path, name, reader.devices, "a device of this site", key=True):
                    continue
                device = reader.devices[name]
                if section == "found" and device.new:
                    reader.fault(path, f'"{name}"', "an installed device (this one is new: yes)", key=True)
                found = _found(reader, path, device, entry)
                if section == "found":
                    _replace(reader, device, found=found)
                else:
                    _replace(reader, device, set_patterns=found.patterns)


def _replace(reader: _Reader, device: Device, **change: object) -> None:
    from dataclasses import replace
    reader.devices[device.id] = replace(device, **change)  # type: ignore[arg-type]


def _found(reader: _Reader, path: Path, device: Device, entry: Mapping[str, Any]) -> Found:
    patterns: dict[str, Pattern] = {}
    volts, mode = None, None
    record = device.record
    for field, value in entry.items():
        here = (*path, field)
        try:
            if not isinstance(value, str):
                raise Expected("a text")
            if field == "voltage_v" and path[0] == "found":
                volts = float(str(_VOLTS.parse(value)))
            elif field == "mode" and path[0] == "found":
                if value not in record.modes:
                    raise Expected("a mode of " + record.id + ": " + ", ".join(record.modes), nearest(value, record.modes))
                mode = value
            elif field in record.switches:
                patterns[field] = pattern_texts(record.switches[field], value)
            else:
                known = [*record.switches, "voltage_v", "mode"]
                reader.fault(here, f'field "{field}"', f"a switch row of {record.id}, voltage_v or mode: "
                             + ", ".join(known), nearest(field, known), key=True)
        except Expected as bad:
            reader.fault(here, shown(value), bad.expected, bad.near)
    return Found(patterns, volts, mode)


# ---- links and cables ----

def _read_links(reader: _Reader, path: Path, table: Mapping[str, LinkEntry]) -> tuple[Link, ...]:
    followers = [d.id for d in reader.devices.values() if d.kind != "pack"]
    links = []
    for key, entry in table.items():
        here = (*path, key)
        packs = reader.packs((*here, "packs"), entry.packs)
        manager = entry.manager
        if manager is not None and manager != "propose":
            reader.known((*here, "manager"), manager, list(packs), "a pack of this link, or propose")
        reports = reader.ids((*here, "reports_to"), entry.reports_to) if entry.reports_to else ()
        for name in reports:
            reader.known((*here, "reports_to"), name, followers, "a controller of this site")
        leave = reader.packs((*here, "may_leave"), entry.may_leave) if entry.may_leave else ()
        links.append(Link(normal_id(key), packs, manager, reports, entry.group, frozenset(leave),
                          entry.cables == "propose", reader.document.at(here)))
    return tuple(links)


def _read_cables(reader: _Reader, path: Path, table: Mapping[str, CableEntry], links: Sequence[Link]) -> tuple[Cable, ...]:
    cables: list[Cable] = []
    seen: dict[str, int] = {}
    for key, entry in table.items():
        here = (*path, key)
        names = reader.ids(here, key, key=True)
        at = reader.document.at(here)
        for name in names:
            if name in seen:
                reader.fault(here, f'id "{name}" a second time', f"each id once (first on line {seen[name]})", key=True)
            seen[name] = at[0]
        made = _made(reader, here, entry.made)
        for name, (a, b) in zip(names, _cable_ends(reader, here, entry, len(names), links), strict=False):
            if a.device is not None and a.device == b.device:
                reader.fault(here, f'both ends on "{a.device}"', "two devices", key=True)
            cables.append(Cable(name, a, b, made, entry.length, at))
    _used_twice(reader, path, cables)
    return tuple(cables)


def _cable_ends(reader: _Reader, here: Path, entry: CableEntry, count: int,
                links: Sequence[Link]) -> Iterator[tuple[End, End]]:
    if entry.chain is None:
        if entry.from_ is None or entry.to is None:
            reader.fault(here, "a cable with one end", 'the fields "from" and "to", or "chain"', key=True)
            return
        a, b = numbered(entry.from_, count), numbered(entry.to, count)
        if a is None or b is None:
            field = "from" if a is None else "to"
            reader.fault((*here, field), shown(entry.from_ if a is None else entry.to), f"{count} ends, one for each cable")
            return
        for one, other in zip(a, b, strict=True):
            end_a, end_b = _end(reader, (*here, "from"), one, links), _end(reader, (*here, "to"), other, links)
            if end_a is not None and end_b is not None:
                yield _manager_link(end_a, end_b, links), _manager_link(end_b, end_a, links)
        return
    chain = reader.ids((*here, "chain"), entry.chain)
    chain = tuple(c for c in chain if reader.known((*here, "chain"), c, reader.devices, "a device of this site"))
    if len(chain) - 1 != count:
        reader.fault((*here, "chain"), f"{len(chain)} devices", f"{count + 1} devices for {count} cables")
        return
    for one, other in zip(chain, chain[1:], strict=False):
        yield (_end_of(reader, (*here, "from"), one, entry.from_), _end_of(reader, (*here, "to"), other, entry.to))


def _manager_link(end: End, other: End, links: Sequence[Link]) -> End:
    """The link whose manager is meant: the only one that reports to the device at the other end."""
    if end.device is not None or end.link is not None:
        return end
    fits = [link.id for link in links if other.device in link.reports_to] or [link.id for link in links]
    return End(None, end.port, end.socket, fits[0]) if len(fits) == 1 else end


def _end(reader: _Reader, path: Path, text: str, links: Sequence[Link]) -> End | None:
    words = text.split()
    if words[0] == "manager":
        link, rest = None, words[1:]
        if rest[:1] == ["of"] and len(rest) > 1:
            link, rest = rest[1], rest[2:]
            if not reader.known(path, link, [x.id for x in links], "a link of this site"):
                return None
        return End(None, " ".join(rest) or None, None, link)
    for cut in range(len(words), 0, -1):
        name = " ".join(words[:cut])
        if name in reader.devices:
            return _end_of(reader, path, name, " ".join(words[cut:]) or None)
    reader.known(path, words[0], reader.devices, "a device of this site, with its port")
    return None


def _end_of(reader: _Reader, path: Path, device: str, port_text: str | None) -> End:
    ports = reader.devices[device].record.ports
    if port_text is None:
        return End(device, None, None)
    for name, port in ports.items():
        if port_text in port.sockets:
            return End(device, name, port_text)
    if port_text in ports:
        sockets = ports[port_text].sockets
        return End(device, port_text, sockets[0] if len(sockets) == 1 else None)
    known = list(dict.fromkeys([*ports, *(s for p in ports.values() for s in p.sockets)]))
    reader.known(path, port_text, known, f"a port or socket of {device} ({reader.devices[device].record.id})")
    return End(device, None, None)


def _made(reader: _Reader, here: Path, raw: object) -> Made:
    path = (*here, "made")
    if isinstance(raw, dict):
        pairs = tuple((str(a), str(b)) for a, b in raw.items())
        if len({b for _, b in pairs}) != len(pairs):
            reader.fault(path, "one pin twice", "each pin of the far plug once")
        return Made("map", pairs)
    text = raw if isinstance(raw, str) else ""
    if text in ("straight", "propose", "unknown"):
        return Made(str(text))
    match = re.fullmatch(r"straight, cut (.+)", text)
    if match is not None:
        try:
            return Made("straight", (), tuple(_pins(match[1])))
        except Expected as bad:
            reader.fault(path, shown(raw), bad.expected)
            return Made("unknown")
    if text in reader.records:
        loaded = reader.record(path, text)
        if loaded is not None and loaded.record.cable is not None:
            return Made("map", tuple(loaded.record.cable.joined.items()), (), loaded.record.id)
        if loaded is not None:
            reader.fault(path, f'"{text}", a record of kind {loaded.record.kind}', "a record of kind cable")
        return Made("unknown")
    words = ["straight", "straight, cut 1..6", "propose", "unknown"]
    reader.fault(path, shown(raw), "straight, straight with cuts (straight, cut 1..6), a map of pins, propose, unknown, "
                 "or the id of a cable record", nearest(text, words))
    return Made("unknown")


def _pins(text: str) -> Iterator[str]:
    for piece in text.split(","):
        match = re.fullmatch(r"\s*(\d+)\s*\.\.\s*(\d+)\s*", piece)
        if match is not None and int(match[2]) - int(match[1]) < 64:
            yield from map(str, range(int(match[1]), int(match[2]) + 1))
        elif re.fullmatch(r"\s*\w{1,8}\s*", piece):
            yield piece.strip()
        else:
            raise Expected("pins, such as straight, cut 1..6 or straight, cut 3, 6")


def _used_twice(reader: _Reader, path: Path, cables: Sequence[Cable]) -> None:
    seen: dict[tuple[str, str], Cable] = {}
    for cable in cables:
        for end in (cable.a, cable.b):
            if end.device is None or end.socket is None:
                continue
            first = seen.setdefault((end.device, end.socket), cable)
            if first is not cable:
                line, column = cable.at
                reader.faults.append(Fault(reader.document.file, line, column, ".".join((*map(str, path), cable.id)),
                                           f"socket {end.socket} of {end.device} a second time",
                                           f"one cable in each socket (cable {first.id} on line {first.at[0]} is in it)"))


# ---- runs, wishes, acceptances ----

def _post(reader: _Reader, path: Path, text: str) -> str | None:
    name, _, post = text.rpartition(" ")
    posts = reader.posts
    if text in posts:
        return text
    if not reader.known(path, name or text, posts, "a busbar of this site with its post"):
        return None
    if post not in posts[name]:
        reader.fault(path, f'post "{post}" of {name}', "a post of this busbar: " + ", ".join(posts[name][:16]))
        return None
    return name


def _post_names(raw: object) -> list[str]:
    pieces = raw if isinstance(raw, list) else [raw]
    try:
        return [p for piece in pieces for p in expand_ids(str(piece))]
    except Expected:
        return []


def _read_runs(reader: _Reader) -> tuple[Run, ...]:
    runs = []
    for key, entry in reader.raw.runs.items():
        here: Path = ("runs", key)
        names = reader.ids(here, key, key=True)
        at = reader.document.at(here)
        units = entry.from_.startswith("controller unit")
        count = len(names)
        if units and count == 1:
            count = reader.devices[names[0]].units if names[0] in reader.devices else 1
        ends = {f: numbered(getattr(entry, "from_" if f == "from" else f), count) for f in ("from", "to")}
        for field, found in ends.items():
            if found is None:
                reader.fault((*here, field), shown(entry.from_ if field == "from" else entry.to),
                             f"{count} ends, one for each of {key}")
        if ends["from"] is None or ends["to"] is None:
            continue
        own = entry.from_ == "pack" or units
        for i, (start, end) in enumerate(zip(ends["from"], ends["to"], strict=True)):
            name = names[i] if i < len(names) else names[0]
            if own and not reader.known(here, name, reader.devices, "a device of this site", key=True):
                continue
            a = name if own else _post(reader, (*here, "from"), start)
            b = _post(reader, (*here, "to"), end)
            if a is not None and b is not None:
                runs.append(Run(name, a, f"busbar {b}", at) if own else Run(name, f"busbar {a}", f"busbar {b}", at))
        for pole in ("plus", "minus", ""):
            held = getattr(entry, pole) if pole else entry
            if held is not None and held.device is not None:
                reader.record((*here, pole, "device") if pole else (*here, "device"), held.device)
    return tuple(runs)


_WISHES = (
    (re.compile(r"keep addresses of (?P<ids>.+)"), "addresses"),
    (re.compile(r"keep switches of (?P<ids>.+)"), "switches"),
    (re.compile(r"keep (?P<ids>.+) unmanaged"), "unmanaged"),
    (re.compile(r"keep (?P<ids>.+) managed"), "managed"),
    (re.compile(r"manager (?P<ids>\S+)(?: of (?P<link>.+))?"), "manager"),
    (re.compile(r"not manager (?P<ids>.+)"), "not manager"),
    (re.compile(r"fewest switches moved"), "fewest switches"),
    (re.compile(r"physical order"), "physical order"),
)
_WISH_WORDS = ("keep IDS unmanaged", "keep IDS managed", "keep addresses of IDS", "keep switches of IDS", "manager ID",
               "not manager IDS", "fewest switches moved", "physical order")


def _read_wishes(reader: _Reader, links: Sequence[Link]) -> tuple[Wish, ...]:
    wishes = []
    for must, field in ((True, "must"), (False, "prefer")):
        for i, text in enumerate(getattr(reader.raw.wishes, field)):
            path: Path = ("wishes", field, i)
            for shape, what in _WISHES:
                match = shape.fullmatch(text)
                if match is not None:
                    break
            else:
                reader.fault(path, shown(text), "a wish: " + "; ".join(_WISH_WORDS), nearest(text, _WISH_WORDS))
                continue
            groups = match.groupdict()
            ids = reader.packs(path, groups["ids"]) if groups.get("ids") else ()
            link = groups.get("link")
            if link is not None:
                reader.known(path, link, [x.id for x in links], "a link of this site")
            if must and what in ("fewest switches", "physical order"):
                reader.fault(path, shown(text), "under prefer: it has no yes or no")
            wishes.append(Wish(must, what, ids, text, link, reader.document.value_at(path)))
    return tuple(wishes)


def _read_accepted(reader: _Reader) -> tuple[Accepted, ...]:
    accepted = []
    models = {d.record.id for d in reader.devices.values()}
    for i, entry in enumerate(reader.raw.accepted):
        path: Path = ("accepted", i)
        about = reader.ids((*path, "about"), entry.about)
        for name in about:
            reader.known((*path, "about"), name, [*reader.devices, *sorted(models)], "a device or model of this site")
        if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])", entry.on):
            reader.fault((*path, "on"), shown(entry.on), "a date such as 2031-05-02")
        accepted.append(Accepted(entry.rule, about, entry.why, entry.by, entry.on, reader.document.at(path)))
    return tuple(accepted)
