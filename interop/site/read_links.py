"""Links and cables of a site file: every name looked up, chains spread, ends resolved to sockets."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from interop.records.faults import Fault, nearest
from interop.records.leaves import Expected, identifier, normal_id
from interop.records.nodes import Gap, shown
from interop.records.pins import port_poles
from interop.site.models import CableEntry, LinkEntry
from interop.site.ranges import expand_many, first_of, numbered
from interop.site.reader import Path, Reader
from interop.site.site import Cable, End, Link, Made
from interop.standards import plugs

__all__ = ["read_cables", "read_links"]

_NAME = identifier("a link")
_PACKS = ("packs",)


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
        if manager is not None and manager != "propose":
            _manager(reader, here, entry)
        reports = reader.ids((*here, "reports_to"), entry.reports_to) if entry.reports_to else ()
        for name in reports:
            if name in packs:
                reader.fault((*here, "reports_to"), f'"{name}", a pack of this link', "a controller of this site")
            else:
                reader.device((*here, "reports_to"), name, followers, "a controller of this site",
                              of=("controllers", "devices"))
        leave = reader.packs((*here, "may_leave"), entry.may_leave) if entry.may_leave else ()
        links.append(Link(normal_id(key), packs, manager, reports, entry.group, frozenset(leave),
                          entry.cables == "propose", reader.document.at(here)))
    return tuple(links)


def _manager(reader: Reader, here: Path, entry: LinkEntry) -> None:
    """Tell of a manager that is none of the packs; where these cannot all be read, of one that is no pack at all."""
    manager, at = str(entry.manager), (*here, "manager")
    known = reader.known_packs
    try:
        packs = expand_many(entry.packs)
    except Expected:  # told where the packs are read
        packs = ()
    if manager in packs and (manager in known or reader.may_be(manager, _PACKS)):
        return
    if (packs and not reader.touched((*here, "packs"))
            and all(one in known or reader.may_be(one, _PACKS) for one in packs)):
        reader.known(at, manager, packs, "a pack of this link, or propose")
    elif manager not in known:  # a mistyped pack may be the one that is meant
        reader.device(at, manager, [one for one in packs if one in known] or known, "a pack of this link, or propose",
                      of=_PACKS)


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
            first = seen.get(name, reader.lines.get(name))
            if first is not None:
                reader.fault(here, f'id "{name}" a second time', f"each id once (first on line {first})", key=True)
            seen[name] = at[0]
        made = _made(reader, here, entry.made)
        told: set[tuple[str, str]] = set()
        for name, pair in zip(names, _cable_ends(reader, here, entry, len(names), links), strict=False):
            if pair is None:
                continue
            a, b = pair
            device = _device_at(a, links)
            if device is not None and device == _device_at(b, links):
                reader.fault(here, f'both ends on "{device}"', "two devices", key=True)
            cables.append(Cable(name, a, b, made, entry.length, at))
            _pins_there(reader, (*here, "made"), cables[-1], links, told)
    _used_twice(reader, path, cables)
    return tuple(cables)


def _device_at(end: End, links: Sequence[Link]) -> str | None:
    """The device at an end; None where it is a manager that the plan or nobody names."""
    if end.device is not None:
        return end.device
    managers = {link.manager for link in links if end.link in (None, link.id)}
    return managers.pop() if len(managers) == 1 and not managers & {None, "propose"} else None


def _cable_ends(reader: Reader, here: Path, entry: CableEntry, count: int,
                links: Sequence[Link]) -> Sequence[tuple[End, End] | None]:
    """The ends of every cable of an entry; both sides are looked up even where one of them is at fault (then None)."""
    if entry.chain is not None or reader.spoilt((*here, "chain")):
        return _chain_ends(reader, here, entry, count)
    if entry.from_ is None or entry.to is None:
        reader.fault(here, "a cable with one end", 'the fields "from" and "to", or "chain"', key=True,
                     rests_on=("from", "to", "chain"))
    starts = _spread_ends(reader, (*here, "from"), entry.from_, count, links)
    ends = _spread_ends(reader, (*here, "to"), entry.to, count, links)
    return [None if a is None or b is None else
            (_manager_link(reader, (*here, "from"), a, b, links), _manager_link(reader, (*here, "to"), b, a, links))
            for a, b in zip(starts, ends, strict=False)]


def _spread_ends(reader: Reader, path: Path, text: str | None, count: int, links: Sequence[Link]) -> list[End | None]:
    """One end of ``count`` cables (0: nobody knows how many)."""
    if text is None or reader.spoilt(path):
        return []
    spread = numbered(text, count) if count else None
    if spread is None and count:
        reader.uneven(path, text, count, "ends", str(path[-2]))
    if spread is None:  # the first device and socket at least are known to be meant
        _end(reader, path, first_of(text), links)
        return []
    return [_end(reader, path, one, links) for one in spread]


def _chain_ends(reader: Reader, here: Path, entry: CableEntry, count: int) -> Sequence[tuple[End, End] | None]:
    at = (*here, "chain")
    if entry.chain is None:
        return ()
    written = reader.ids(at, entry.chain)
    known = {one for one in written if reader.device(at, one, reader.devices, "a device of this site")}
    whole = bool(written) and not reader.touched(at)
    if whole and count and len(written) - 1 != count:
        reader.fault(at, f"{len(written)} devices", f"{count + 1} devices for {count} cables")
    starts = {one: _end_of(reader, (*here, "from"), one, entry.from_) for one in written[:-1] if one in known}
    ends = {one: _end_of(reader, (*here, "to"), one, entry.to) for one in written[1:] if one in known}
    if not whole or len(written) - 1 != count:
        return ()
    return [(starts[one], ends[other]) if one in starts and other in ends else None for one, other in pairwise(written)]


def _manager_link(reader: Reader, path: Path, end: End, other: End, links: Sequence[Link]) -> End:
    """The link whose manager is meant: the only one that reports to the device at the other end."""
    if end.device is not None:
        return end
    if end.link is None:
        fits = [link.id for link in links if other.device in link.reports_to] or [link.id for link in links]
        end = End(None, end.port, end.socket, fits[0]) if len(fits) == 1 else end
    _manager_port(reader, path, end, links)
    return end


def _manager_port(reader: Reader, path: Path, end: End, links: Sequence[Link]) -> None:
    """Tell of a port that no pack has which may be the manager."""
    text = end.port
    may = [pack for link in links if end.link in (None, link.id)
           for pack in (link.packs if link.manager in (None, "propose") else (link.manager,))]
    devices = [reader.devices[pack] for pack in may if pack in reader.devices]
    if text is None or not devices or len(devices) < len(may):
        return
    if not any(text in one.record.ports or any(text in p.sockets for p in one.record.ports.values())
               for one in devices):
        owner = f"{devices[0].id} ({devices[0].record.id})" if len(devices) == 1 else "a pack that may be the manager"
        reader.port(path, text, owner, [one.loaded for one in devices])


def _end(reader: Reader, path: Path, text: str, links: Sequence[Link]) -> End | None:
    words = text.split()
    if words[0] == "manager":
        link, rest = None, words[1:]
        if rest[:1] == ["of"] and len(rest) > 1:
            link, rest = rest[1], rest[2:]
            section = ("found", "links") if path[0] == "found" else ("links",)
            if reader.spoilt(section) or not reader.known(path, link, [x.id for x in links], "a link of this site"):
                return None
        return End(None, " ".join(rest) or None, None, link)
    for cut in range(len(words), 0, -1):
        name = " ".join(words[:cut])
        if name in reader.devices:
            return _end_of(reader, path, name, " ".join(words[cut:]) or None)
        if name in reader.doubtful:
            return None
    reader.device(path, words[0], reader.devices, "a device of this site, with its port")
    return None


def _end_of(reader: Reader, path: Path, device: str, port_text: str | None) -> End:
    one = reader.devices[device]
    ports = one.record.ports
    if port_text is None:
        return End(device, None, None)
    for name, port in ports.items():
        if port_text in port.sockets:
            return End(device, name, port_text)
    if port_text in ports:
        sockets = ports[port_text].sockets
        return End(device, port_text, sockets[0] if len(sockets) == 1 else None)
    reader.port(path, port_text, f"{device} ({one.record.id})", [one.loaded])
    return End(device, None, None)


def _joined(reader: Reader, path: Path, raw: Mapping[str, object]) -> Made:
    """A cable by its map of pins, each of the far plug once."""
    seen: dict[str, str] = {}
    for pin, other in raw.items():
        if isinstance(other, Gap):
            continue
        if not re.fullmatch(r"\w{1,8}", pin) or not isinstance(other, str) or not re.fullmatch(r"\w{1,8}", other):
            reader.fault((*path, pin), f"{shown(pin)} to {shown(other)}", "one pin to one pin, such as 7: 8")
        elif seen.setdefault(other, pin) != pin:
            reader.fault((*path, pin), f'pin "{other}" of the far plug a second time',
                         f"each pin of the far plug once (pin {seen[other]} goes to it)")
    return Made("map", tuple((str(a), shown(b) if isinstance(b, dict | list) else str(b)) for a, b in raw.items()))


def _made(reader: Reader, here: Path, raw: object) -> Made:
    path = (*here, "made")
    if isinstance(raw, dict):
        return _joined(reader, path, raw)
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
        if loaded is not None and (loaded.doubtful("cable") or loaded.lost("kind")):
            return Made("unknown")
        if loaded is not None and loaded.record.cable is not None:
            return Made("map", tuple(loaded.record.cable.joined.items()), (), loaded.record.id)
        if loaded is not None:
            reader.fault(path, f'"{text}", a record of kind {loaded.record.kind}', "a record of kind cable")
        return Made("unknown")
    words = ["straight", "straight, cut 1..6", "propose", "unknown"]
    reader.fault(path, shown(raw), "straight, straight with cuts (straight, cut 1..6), a map of pins, propose, "
                 "unknown, or the id of a cable record", nearest(text, words))
    return Made("unknown")


def _pins_there(reader: Reader, path: Path, cable: Cable, links: Sequence[Link], told: set[tuple[str, str]]) -> None:
    """Tell of pins in a map, and of cuts, that the plugs at the two ends do not have; each once an entry."""
    made = cable.made
    sides = ((cable.a, [a for a, _ in made.joined] + list(made.cut), 0), (cable.b, [b for _, b in made.joined], 1))
    for end, pins, side in sides:
        poles = _poles_at(reader, end, links)
        for pin in pins:
            if not poles or pin in poles or (str(side), pin) in told or not re.fullmatch(r"\w{1,8}", pin):
                continue
            told.add((str(side), pin))
            written = made.joined if made.record is None else ()
            near = next((pair[0] for pair in written if pair[side] == pin), None)
            where = " ".join(filter(None, (end.device or "the manager", end.socket or end.port)))
            reader.fault(path if near is None else (*path, near), f'pin "{pin}" of {where}',
                         f"a pin of its plug ({', '.join(poles)})", key=near is not None and side == 0)


def _poles_at(reader: Reader, end: End, links: Sequence[Link]) -> tuple[str, ...] | None:
    """The pins that the plug at an end may have, the shell among them; None where nobody knows them."""
    may = [end.device] if end.device is not None else [
        pack for link in links if end.link in (None, link.id)
        for pack in (link.packs if link.manager in (None, "propose") else (link.manager,))]
    found: dict[str, None] = {}
    for name in may:
        one = reader.devices.get(name)
        if one is None or one.loaded is None or one.loaded.doubtful("ports") or one.loaded.doubtful("pins"):
            return None
        ports = [port for port in one.record.ports
                 if end.port is None or end.port == port or end.port in one.record.ports[port].sockets]
        for port in ports:
            poles = port_poles(one.record, port)
            if not poles:
                return None
            found.update(dict.fromkeys((*poles, *one.record.pins.get(port, ()), plugs.SHELL)))
    return tuple(found) or None


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
