"""Links and cables of a site file: every name looked up, chains spread, ends resolved to sockets."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from interop.records.faults import Fault, nearest
from interop.records.leaves import Expected, identifier, normal_id
from interop.records.nodes import shown
from interop.site.models import CableEntry, LinkEntry
from interop.site.ranges import numbered
from interop.site.reader import Path, Reader
from interop.site.site import Cable, End, Link, Made

__all__ = ["read_cables", "read_links"]

_NAME = identifier("a link")


def read_links(reader: Reader, path: Path, table: Mapping[str, LinkEntry]) -> tuple[Link, ...]:
    """Read the links that stand or are wanted."""
    followers = {one.id: None for one in reader.devices.values() if one.kind != "pack"}
    links = []
    for key, entry in table.items():
        here = (*path, key)
        try:
            _NAME.parse(key)
        except Expected as bad:
            reader.fault(here, shown(key), bad.expected, key=True)
        packs = reader.packs((*here, "packs"), entry.packs)
        manager = entry.manager
        if manager is not None and manager != "propose" and packs:
            reader.device((*here, "manager"), manager, packs, "a pack of this link, or propose")
        reports = reader.ids((*here, "reports_to"), entry.reports_to) if entry.reports_to else ()
        for name in reports:
            if name in packs:
                reader.fault((*here, "reports_to"), f'"{name}", a pack of this link', "a controller of this site")
            else:
                reader.device((*here, "reports_to"), name, followers, "a controller of this site")
        leave = reader.packs((*here, "may_leave"), entry.may_leave) if entry.may_leave else ()
        links.append(Link(normal_id(key), packs, manager, reports, entry.group, frozenset(leave),
                          entry.cables == "propose", reader.document.at(here)))
    return tuple(links)


def read_cables(reader: Reader, path: Path, table: Mapping[str, CableEntry],
                links: Sequence[Link]) -> tuple[Cable, ...]:
    """Read the cables that stand or are wanted, one for each neighbouring pair of a chain."""
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


def _cable_ends(reader: Reader, here: Path, entry: CableEntry, count: int,
                links: Sequence[Link]) -> Iterator[tuple[End, End]]:
    if entry.chain is None:
        if entry.from_ is None or entry.to is None:
            reader.fault(here, "a cable with one end", 'the fields "from" and "to", or "chain"', key=True,
                         rests_on=("from", "to", "chain"))
            return
        a, b = numbered(entry.from_, count), numbered(entry.to, count)
        if a is None or b is None:
            for field, text, spread in (("from", entry.from_, a), ("to", entry.to, b)):
                if spread is None and count:
                    reader.uneven((*here, field), text, count, "ends", str(here[-1]))
            return
        for one, other in zip(a, b, strict=True):
            end_a, end_b = _end(reader, (*here, "from"), one, links), _end(reader, (*here, "to"), other, links)
            if end_a is not None and end_b is not None:
                yield _manager_link(end_a, end_b, links), _manager_link(end_b, end_a, links)
        return
    written = reader.ids((*here, "chain"), entry.chain)
    chain = tuple(c for c in written if reader.device((*here, "chain"), c, reader.devices, "a device of this site"))
    if chain != written or not chain or not count:
        return
    if len(chain) - 1 != count:
        reader.fault((*here, "chain"), f"{len(chain)} devices", f"{count + 1} devices for {count} cables")
        return
    for one, other in pairwise(chain):
        yield (_end_of(reader, (*here, "from"), one, entry.from_), _end_of(reader, (*here, "to"), other, entry.to))


def _manager_link(end: End, other: End, links: Sequence[Link]) -> End:
    """The link whose manager is meant: the only one that reports to the device at the other end."""
    if end.device is not None or end.link is not None:
        return end
    fits = [link.id for link in links if other.device in link.reports_to] or [link.id for link in links]
    return End(None, end.port, end.socket, fits[0]) if len(fits) == 1 else end


def _end(reader: Reader, path: Path, text: str, links: Sequence[Link]) -> End | None:
    words = text.split()
    if words[0] == "manager":
        link, rest = None, words[1:]
        if rest[:1] == ["of"] and len(rest) > 1:
            link, rest = rest[1], rest[2:]
            if not reader.known(path, link, [x.id for x in links], "a link of this site"):
                return None
        return End(None, " ".join(rest) or None, None, link)
    if words[0] in reader.doubtful:
        return None
    for cut in range(len(words), 0, -1):
        name = " ".join(words[:cut])
        if name in reader.devices:
            return _end_of(reader, path, name, " ".join(words[cut:]) or None)
    reader.device(path, words[0], reader.devices, "a device of this site, with its port")
    return None


def _end_of(reader: Reader, path: Path, device: str, port_text: str | None) -> End:
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


def _made(reader: Reader, here: Path, raw: object) -> Made:
    path = (*here, "made")
    if isinstance(raw, dict):
        pairs = tuple((str(a), shown(b) if isinstance(b, dict | list) else str(b)) for a, b in raw.items())
        for pin, other in raw.items():
            if not re.fullmatch(r"\w{1,8}", pin) or not isinstance(other, str) or not re.fullmatch(r"\w{1,8}", other):
                reader.fault((*path, pin), f"{shown(pin)} to {shown(other)}", "one pin to one pin, such as 7: 8")
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
    reader.fault(path, shown(raw), "straight, straight with cuts (straight, cut 1..6), a map of pins, propose, "
                 "unknown, or the id of a cable record", nearest(text, words))
    return Made("unknown")


def _pins(text: str) -> Iterator[str]:
    for piece in text.split(","):
        match = re.fullmatch(r"\s*([0-9]{1,3})\s*\.\.\s*([0-9]{1,3})\s*", piece)
        if match is not None and int(match[2]) - int(match[1]) < 64:
            yield from map(str, range(int(match[1]), int(match[2]) + 1))
        elif re.fullmatch(r"\s*\w{1,8}\s*", piece):
            yield piece.strip()
        else:
            raise Expected("pins, such as straight, cut 1..6 or straight, cut 3, 6")


def _used_twice(reader: Reader, path: Path, cables: Sequence[Cable]) -> None:
    seen: dict[tuple[str, str], Cable] = {}
    for cable in cables:
        for end in (cable.a, cable.b):
            if end.device is None or end.socket is None:
                continue
            first = seen.setdefault((end.device, end.socket), cable)
            if first is not cable:
                line, column = cable.at
                reader.faults.append(Fault(
                    reader.document.file, line, column, ".".join((*map(str, path), cable.id)),
                    f"socket {end.socket} of {end.device} a second time",
                    f"one cable in each socket (cable {first.id} on line {first.at[0]} is in it)"))
