"""A bank that runs on the bench of a test: packs read their own switches, poll, answer, hold or release their lines.

Nothing of the program is used. What stands in the records is read with a few lines of YAML, patterns are looked up in
the truth tables typed by hand, and copper is a union of pins through cables and devices. What a pack does is common
practice: one asks, those asked answer at their address, two that speak at once are both lost, a closed pair stops a
pack.
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

Json = dict[str, Any]
Spot = tuple[str, str, str]  # device, socket, pin
BLANK = ("empty", "unused", "unknown", "not stated")
WIRES = ("plus", "minus", "high", "low")


# ---- what is read ----


def read_records(folders: Iterable[Path]) -> dict[str, Json]:
    """Return every record of some folders by id; all values are texts."""
    found: dict[str, Json] = {}
    for folder in folders:
        for path in sorted(folder.rglob("*.yaml")):
            raw = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)  # noqa: S506 (our own files)
            if isinstance(raw, dict) and raw.get("interop") == "record/1":
                found[raw["id"]] = raw
    return found


@dataclass(frozen=True)
class Line:
    """One line of a truth table; ``values`` None: no meaning."""

    row: str
    role: str
    mode: str
    values: Mapping[str, str] | None
    pattern: tuple[str, ...]


def read_tables(folders: Iterable[Path], records: Mapping[str, Json]) -> dict[str, list[Line]]:
    """Return the lines of every truth table by record id."""
    found: dict[str, list[Line]] = {}
    for folder in folders:
        for path in sorted(folder.glob("*.csv")):
            rows = records[path.stem].get("switches", {}) if path.stem in records else {}
            for entry in csv.DictReader(path.read_text(encoding="utf-8").splitlines()[1:]):
                slide = rows.get(entry["row"], {}).get("kind") == "slide"
                pattern = tuple(entry["pattern"].split()) if slide else (entry["pattern"],)
                pairs = (pair.partition("=") for pair in entry["values"].split(";") if pair)
                values = None if entry["values"] == "no meaning" else {key: value for key, _, value in pairs}
                found.setdefault(path.stem, []).append(
                    Line(entry["row"], entry["role"], entry["mode"], values, pattern)
                )
    return found


def several(raw: object) -> list[str]:
    """Return a value as a list of texts."""
    return [str(one) for one in raw] if isinstance(raw, list) else [] if raw is None else [str(raw)]


def by_case(raw: object, *cases: str) -> list[str]:
    """Return a value that may be a map by mode or bus kind."""
    if isinstance(raw, dict):
        return next((several(raw[case]) for case in cases if case in raw), [])
    return several(raw)


def numbers(text: str) -> list[int]:
    """Return the numbers of ``1..7`` or ``1, 3, 5``."""
    found: list[int] = []
    for piece in text.split(","):
        low, dots, high = piece.strip().partition("..")
        found += range(int(low), int(high) + 1) if dots else [int(low)]
    return found


# ---- copper ----


class Copper:
    """Pieces of copper that are one."""

    def __init__(self) -> None:
        self.up: dict[Hashable, Hashable] = {}

    def root(self, spot: Hashable) -> Hashable:
        """Return the piece that a spot belongs to."""
        while self.up.setdefault(spot, spot) != spot:
            spot = self.up[spot]
        return spot

    def join(self, one: Hashable, other: Hashable) -> None:
        """Make two spots one piece."""
        self.up[self.root(one)] = self.root(other)


@dataclass
class Device:
    """One device as it stands: what its record says, its mode and switches, and what it makes of them."""

    id: str
    record: Json
    kind: str
    mode: str
    patterns: Mapping[str, tuple[str, ...]]
    role: str = ""
    values: dict[str, set[str]] = field(default_factory=dict)
    address: frozenset[int] = frozenset()
    mute: list[str] = field(default_factory=list)

    def alive(self, section: str) -> dict[str, Json]:
        """Return the buses or lines alive in the mode."""
        return {
            name: one
            for name, one in self.record.get(section, {}).items()
            if "modes" not in one or self.mode in several(one["modes"])
        }

    def use(self, port: str, pin: str) -> tuple[str, str, str]:
        """Return what a pin is: (data, bus, wire), (line, name, wire), (reference, port), (supply, V) or blank."""
        raw = self.record.get("pins", {}).get(port, {}).get(pin)
        found = [self._one(port, text) for text in several(raw)] if not isinstance(raw, dict) else []
        live = [one for one in found if one is not None]
        return live[0] if len(live) == 1 else ("not stated", "", "")

    def _one(self, port: str, text: str) -> tuple[str, str, str] | None:
        if text in BLANK:
            return text, "", ""
        if text == "reference":
            return "reference", port, ""
        if text.startswith("supply"):
            return "supply", text, ""
        name, _, wire = text.rpartition(" ")
        for section, what in (("buses", "data"), ("lines", "line")):
            if name in self.record.get(section, {}):
                return (what, name, wire) if name in self.alive(section) else None
        return "not stated", "", ""

    def dialects(self, bus: str) -> set[str]:
        """Return the dialects it speaks on a bus: as its switches or its menu say, else as the record says."""
        return self.values.get(f"dialect {bus}") or set(by_case(self.record["buses"][bus].get("dialect"), self.mode))

    def rates(self, bus: str) -> set[str]:
        """Return the rates it may run a bus at."""
        return self.values.get(f"rate {bus}") or set(several(self.record["buses"][bus].get("rates_bps")))

    def port_of(self, socket: str) -> str:
        """Return the port of a socket."""
        return next(str(name) for name, port in self.record["ports"].items() if socket in several(port["sockets"]))


@dataclass
class Outcome:
    """What happens. ``received``: by controller the packs it hears of with their address. ``faults``: what is wrong."""

    received: dict[str, dict[str, int]]
    faults: list[str]


class Bank:
    """A plan that is switched on."""

    def __init__(self, plan: Json, records: Mapping[str, Json], tables: Mapping[str, Sequence[Line]]) -> None:
        self.plan = plan
        self.tables = tables
        self.cables = {name: one for name, one in plan["cables"].items() if one["action"] != "remove"}
        self.devices = {name: self._device(name, one, records[one["record"]]) for name, one in plan["devices"].items()}
        self.plugged = {
            (end[0], end[1]) for one in self.cables.values() for end in (one["from"], one["to"]) if end[2] is not None
        }
        self.faults: list[str] = [
            f"cable {name} ends in no socket"
            for name, one in self.cables.items()
            if None in (one["from"][2], one["to"][2])
        ]
        for device in self.devices.values():
            if device.kind == "pack":
                self._wake(device)
        self._number_by_order()
        self.counted = self._count(self._copper(self.cables))

    def _device(self, name: str, raw: Json, record: Json) -> Device:
        pack = self.plan["packs"].get(name)
        mode = (pack or {}).get("mode") or several(record.get("modes", ["own"]))[0]
        rows = {row: tuple(one["set"]) for row, one in pack["switches"].items()} if pack else {}
        device = Device(name, record, raw["kind"], mode, rows)
        setting = self.plan["settings"].get(name, {}).get("dialect")
        if setting is not None:
            device.values = {f"dialect {bus}": {setting["value"].split(":")[0]} for bus in record["buses"]}
        return device

    # ---- a pack reads its own switches ----

    def _readings(self, device: Device, row: str) -> list[tuple[str, Mapping[str, str]]]:
        found = []
        for line in self.tables.get(device.record["id"], []):
            fits = len(line.pattern) == len(device.patterns[row]) and all(
                wanted in ("x", have) for wanted, have in zip(line.pattern, device.patterns[row], strict=True)
            )
            if line.row == row and line.mode in ("", device.mode) and fits and line.values is not None:
                found.append((line.role, line.values))
        return found

    def _wake(self, device: Device) -> None:
        """Find role, address, rates and dialects that the switches mean."""
        made_by = device.record.get("manager", {}).get("made_by", "never")
        readings = {row: self._readings(device, row) for row in device.patterns}
        if made_by == "empty port":
            device.role = "member" if (device.id, device.record["manager"]["port"]) in self.plugged else "manager"
        elif made_by in ("address", "flag", "dialect code"):
            roles = {role for row in readings.values() for role in self._roles(device, made_by, row)}
            if len(roles) != 1:
                device.mute.append("manager or member" if roles else "switches without a meaning")
            device.role = min(roles) if roles else "member"
        for row, found in readings.items():
            self._take(device, row, found)
        self._address(device)

    def _roles(self, device: Device, made_by: str, found: Sequence[tuple[str, Mapping[str, str]]]) -> Iterator[str]:
        for role, values in found:
            if made_by == "address" and "address" in values:
                claimed = "manager" if int(values["address"]) in self._manager_address(device) else "member"
                if role in ("", claimed):
                    yield claimed
            elif made_by == "flag" and "role" in values:
                yield values["role"]
            elif made_by == "dialect code":
                yield role

    def _take(self, device: Device, row: str, found: Sequence[tuple[str, Mapping[str, str]]]) -> None:
        fitting = [values for role, values in found if role in ("", device.role)]
        if not fitting and device.patterns[row] and device.role:
            device.mute.append(f"{row} {' '.join(device.patterns[row])} has no meaning")
        for values in fitting:
            for key, value in values.items():
                device.values.setdefault(key, set()).add(value)

    def _rule(self, device: Device) -> Json:
        rules = device.record.get("addresses", {})
        return next((rules[bus] for bus in device.alive("buses") if bus in rules), {})

    def _manager_address(self, device: Device) -> set[int]:
        report = {bus.get("kind", "") for bus in device.alive("buses").values() if bus.get("used_by") == "manager"}
        return {
            int(one)
            for one in by_case(self._rule(device).get("manager"), device.mode, *sorted(report))
            if one != "none"
        }

    def _address(self, device: Device) -> None:
        made_by = device.record.get("manager", {}).get("made_by")
        read = frozenset(int(one) for one in device.values.get("address", ()))
        device.address = (
            frozenset(self._manager_address(device)) if device.role == "manager" and made_by == "flag" else read
        )
        if len(device.address) > 1:
            device.mute.append(f"address {' or '.join(map(str, sorted(device.address)))}")

    def _number_by_order(self) -> None:
        """Packs without address switches are counted from the manager along the cables, from the numbers allowed."""
        beside: dict[str, list[str]] = {}
        for one in self._chain_cables():
            beside.setdefault(one["from"][0], []).append(one["to"][0])
            beside.setdefault(one["to"][0], []).append(one["from"][0])
        heads = [
            d.id for d in self.devices.values() if d.role == "manager" and self._rule(d).get("given") == "by port order"
        ]
        for head in heads:
            order, waiting = [head], deque(beside.get(head, []))
            while waiting:
                name = waiting.popleft()
                if name not in order:
                    order.append(name)
                    waiting += beside[name]
            for place, name in enumerate(order):
                rule = self._rule(self.devices[name])
                if rule.get("given") == "by port order" and "allowed" in rule:
                    self.devices[name].address = frozenset(numbers(rule["allowed"])[place : place + 1])

    def _chain_cables(self) -> Iterator[Json]:
        for one in self.cables.values():
            if self.devices[one["from"][0]].kind == self.devices[one["to"][0]].kind == "pack":
                yield one

    # ---- copper ----

    def _copper(self, cables: Mapping[str, Json]) -> Copper:
        copper = Copper()
        for device in self.devices.values():
            self._inside(device, copper)
        for one in cables.values():
            (a, _, socket_a), (b, _, socket_b) = one["from"], one["to"]
            for pin_a, pin_b in one["joined"] if None not in (socket_a, socket_b) else ():
                copper.join((a, socket_a, pin_a), (b, socket_b, pin_b))
        return copper

    def _pins(self, device: Device) -> Iterator[tuple[str, str, str]]:
        """Every pin as (port, socket, pin): those the record lists and those it is silent about."""
        for port, entry in device.record.get("ports", {}).items():
            listed = list(device.record.get("pins", {}).get(port, {}))
            pins = [str(i) for i in range(1, 9)] if entry.get("plug") == "rj45" else listed
            for socket in several(entry["sockets"]):
                for pin in dict.fromkeys([*pins, *listed]):
                    yield port, socket, pin

    def _inside(self, device: Device, copper: Copper) -> None:
        for port, socket, pin in self._pins(device):
            spot, entry = (device.id, socket, pin), device.record["ports"][port]
            inside = several(entry.get("inside", "alone"))
            if "same pin joined" in inside:
                copper.join(spot, (device.id, several(entry["sockets"])[0], pin))
            for bridge in inside:
                one, dash, other = bridge.partition("-")
                if dash and pin == one.strip():
                    copper.join(spot, (device.id, socket, other.strip()))
            what, name, wire = device.use(port, pin)
            if what in ("data", "line", "reference"):
                own = device.record.get("buses", {}).get(name, {}).get("sockets")
                if own is None or socket in several(own):
                    copper.join(spot, (device.id, what, name, wire))

    def _wires(self, copper: Copper, device: Device, section: str, name: str) -> dict[str, Hashable]:
        what = "data" if section == "buses" else "line"
        used = {
            wire
            for port, _, pin in self._pins(device)
            for kind, one, wire in (device.use(port, pin),)
            if (kind, one) == (what, name)
        }
        return {wire: copper.root((device.id, what, name, wire)) for wire in sorted(used)}

    def _held(self, copper: Copper) -> dict[Hashable, set[tuple[str, str, str, str]]]:
        """What every piece of copper carries: (device, what, name, wire)."""
        held: dict[Hashable, set[tuple[str, str, str, str]]] = {}
        for device in self.devices.values():
            for port, socket, pin in self._pins(device):
                held.setdefault(copper.root((device.id, socket, pin)), set()).add((device.id, *device.use(port, pin)))
        return held

    def _mixed(self, copper: Copper) -> dict[Hashable, str]:
        """Pieces of copper that carry two unlike things, or lead something live to a pin nobody vouches for."""
        found: dict[Hashable, str] = {}
        for root, held in self._held(copper).items():
            meant = {self._meaning(*one) for one in held} - {None}
            live = {one for one in meant if one != ("reference",)}
            blank = {one[0] for one in held if one[1] in BLANK}
            if len(meant) > 1:
                found[root] = (
                    " meets ".join(sorted(" ".join(one) for one in meant if one))
                    + f" ({', '.join(sorted({o[0] for o in held}))})"
                )
            elif live and blank:
                found[root] = (
                    f"{' '.join(min(one for one in live if one))} leads to a blank pin of {', '.join(sorted(blank))}"
                )
        return found

    def _meaning(self, name: str, what: str, bus: str, wire: str) -> tuple[str, ...] | None:
        if what == "data":
            return "data", self.devices[name].record["buses"][bus].get("kind", "?"), wire
        if what == "line":
            return "line", bus
        if what == "supply":
            return "supply", bus
        return ("reference",) if what == "reference" else None

    # ---- talk ----

    def _transceivers(self, copper: Copper) -> Iterator[tuple[Device, str, Hashable]]:
        """Every live transceiver with the medium it sits on; none for one on spoilt copper or with a wire left out."""
        spoilt = self._mixed(copper)
        for device in self.devices.values():
            for bus in device.alive("buses"):
                wires = self._wires(copper, device, "buses", bus)
                if len(wires) == 2 and not set(wires.values()) & set(spoilt):
                    yield device, bus, (device.record["buses"][bus]["kind"], *wires.items())

    def _media(self, copper: Copper) -> dict[Hashable, list[tuple[Device, str]]]:
        media: dict[Hashable, list[tuple[Device, str]]] = {}
        for device, bus, medium in self._transceivers(copper):
            if (
                device.kind != "pack"
                or device.record["buses"][bus].get("used_by") != "manager"
                or device.role == "manager"
            ):
                media.setdefault(medium, []).append((device, bus))
        return media

    @staticmethod
    def _understand(one: tuple[Device, str], other: tuple[Device, str]) -> bool:
        (a, bus_a), (b, bus_b) = one, other
        return bool(a.dialects(bus_a) & b.dialects(bus_b)) and bool(a.rates(bus_a) & b.rates(bus_b))

    def _asks(self, device: Device, bus: str) -> bool:
        """Whether a device is the one that asks on a bus."""
        raw = device.record["buses"][bus]
        if device.kind != "pack":
            return str(raw.get("poller")) == "controller"
        if raw.get("hop") == "one":
            return all(device.record["ports"][device.port_of(s)]["direction"] == "out" for s in several(raw["sockets"]))
        return str(raw.get("poller")) == "manager" and device.role == "manager"

    def _collisions(self, media: Mapping[Hashable, Sequence[tuple[Device, str]]]) -> Iterator[tuple[Hashable, str]]:
        for medium, nodes in media.items():
            asking = [d.id for d, bus in nodes if self._asks(d, bus)]
            if len(asking) > 1:
                yield medium, f"{' and '.join(sorted(asking))} ask at once"
            reporting = [
                d.id for d, bus in nodes if d.kind == "pack" and d.record["buses"][bus].get("used_by") == "manager"
            ]
            if len(reporting) > 1:
                yield medium, f"{' and '.join(sorted(reporting))} report at once"
            packs = [
                (d, bus) for d, bus in nodes if d.kind == "pack" and d.record["buses"][bus].get("used_by") != "manager"
            ]
            for i, (one, bus) in enumerate(packs):
                for other, _ in packs[i + 1 :]:
                    if one.record["buses"][bus].get("hop") != "one" and one.address & other.address:
                        yield medium, f"{one.id} and {other.id} both speak at {min(one.address & other.address)}"

    def _answers(self, media: Mapping[Hashable, Sequence[tuple[Device, str]]], head: Device) -> set[str]:
        """Packs whose data reach a manager: directly on its medium, or handed on where a link is one hop only."""
        dead = {medium for medium, _ in self._collisions(media)}
        heard, waiting = {head.id}, [head]
        while waiting:
            near = waiting.pop()
            for medium, nodes in media.items():
                own = [(d, bus) for d, bus in nodes if d is near and (near is head or self._asks(d, bus))]
                for mine in own if medium not in dead else ():
                    for far in nodes:
                        device, bus = far
                        raw = device.record["buses"][bus]
                        if (
                            device.kind == "pack"
                            and device.id not in heard
                            and device.role == "member"
                            and not device.mute
                            and device.address
                            and raw.get("used_by") != "manager"
                            and self._understand(mine, far)
                        ):
                            heard.add(device.id)
                            if raw.get("hop") == "one":
                                waiting.append(device)
        return heard

    def _count(self, copper: Copper) -> dict[str, set[str]]:
        """What every manager counts when it starts: as many as its switches say, and no further than the first gap."""
        media = self._media(copper)
        found = {}
        for head in self.devices.values():
            if head.kind == "pack" and head.role == "manager" and not head.mute:
                heard = self._answers(media, head)
                rule, stated = self._rule(head), head.values.get("count of members")
                asked = set(numbers(rule["allowed"])) if "allowed" in rule else None  # a manager asks no others
                heard = {
                    name for name in heard if asked is None or name == head.id or self.devices[name].address <= asked
                }
                if stated is not None and stated != {str(len(heard) - 1)}:
                    self.faults.append(f"{head.id} is set to {min(stated)} members and hears {len(heard) - 1}")
                if rule.get("gaps") == "forbidden" and "start" in rule:
                    heard = self._to_the_gap(heard, int(rule["start"]))
                found[head.id] = heard
        return found

    def _to_the_gap(self, heard: set[str], start: int) -> set[str]:
        at = {min(self.devices[name].address): name for name in heard if self.devices[name].address}
        kept = set()
        while start in at:
            kept.add(at[start])
            start += 1
        return kept

    def run(self, pulled: Iterable[str] = ()) -> Outcome:
        """Let the bank run with some cables pulled: roles, addresses and counts stay as they were at the start."""
        out = set(pulled)
        copper = self._copper({name: one for name, one in self.cables.items() if name not in out})
        media = self._media(copper)
        collisions = list(self._collisions(media))
        faults = [
            *self.faults,
            *self._mixed(copper).values(),
            *(text for _, text in collisions),
            *self._stopped(copper),
        ]
        faults += [f"{d.id}: {why}" for d in self.devices.values() for why in d.mute if self._managed(d.id)]
        received: dict[str, dict[str, int]] = {d.id: {} for d in self.devices.values() if d.kind != "pack"}
        dead = {medium for medium, _ in collisions}
        for medium, nodes in media.items():
            for mine in nodes if medium not in dead else ():
                for far in nodes:
                    if mine[0].kind != "pack" and far[0].id in self.counted and self._understand(mine, far):
                        for name in self._answers(media, far[0]) & self.counted[far[0].id]:
                            received[mine[0].id][name] = min(self.devices[name].address)
        return Outcome(received, faults)

    def _managed(self, name: str) -> bool:
        return any(name in (one["from"][0], one["to"][0]) for one in self.cables.values())

    def _stopped(self, copper: Copper) -> Iterator[str]:
        """Lines that act although nobody wants them to."""
        for device in self.devices.values():
            for name, line in device.alive("lines").items():
                wires = self._wires(copper, device, "lines", name)
                closed = len(wires) > 1 and len(set(wires.values())) == 1
                contact = line.get("contact")
                if (contact == "closed to act" and closed) or (
                    contact == "open to act" and not closed and self._managed(device.id)
                ):
                    yield f"{device.id}: line {name} is held"
