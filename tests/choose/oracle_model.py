"""What the oracles of the choice share: their own reading of the YAML, their own switch codes, their own rules.

Nothing of ``interop`` is imported. The rules are written down again from the statement of what "best" means:
addresses [wire number], energy [Wh]. Rows of up to four switches and menus shown from 1 take their patterns from
truth tables typed by hand; longer rows from the definition of a binary number. It reads the part of the grammar that
:mod:`tests.choose.random_sites` writes: one bus ``chain`` among packs, one bus ``report`` towards the controller, one
controller a link, no ranges of ids.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import yaml

Tree = dict[str, Any]
Talk = tuple[str, str, int]
WHEEL = ("rotary", "hex", "menu")
EARLY = ("unmanaged", "managed")
UNIT = 3600
"""Terminators load a bus in whole parts of 1/3600 S."""
MOST_LOAD = {"rs-485": UNIT // 20, "can": UNIT // 45}
"""Below 20 ohm an RS-485 bus is not to be run, below 45 ohm no CAN bus."""


# ---- reading --------------------------------------------------------------------------------------------------------


def listed(raw: object) -> list[str]:
    """``[a, b]`` or ``a``; spans of numbers spread: ``1..3`` -> 1, 2, 3."""
    pieces = raw if isinstance(raw, list) else str(raw).split(",")
    return [piece.strip() for piece in pieces]


def numbers(raw: object) -> list[int]:
    found: list[int] = []
    for piece in listed(raw):
        low, dots, high = piece.partition("..")
        found += range(int(low), int(high) + 1) if dots else [int(low)]
    return found


@dataclass(frozen=True)
class Part:
    """One part of a switch row: positions from 0, what it sets on which bus, and when."""

    at: tuple[int, ...]
    sets: str
    bus: str | None
    code: Tree
    keep: str | None
    when: Tree


@dataclass(frozen=True, eq=False)
class Rec:
    """One pack record, as far as the choice asks."""

    id: str
    family: str
    generation: int | None
    modes: tuple[str, ...]
    dialects: Mapping[str, tuple[str, ...]]
    kind: str
    rates: tuple[int, ...]
    nodes: int
    report_kind: str
    report_dialects: tuple[str, ...]
    report_rates: tuple[int, ...]
    rows: Mapping[str, tuple[int, str, tuple[Part, ...]]]
    given: str
    allowed: frozenset[int]
    kept: frozenset[int]
    gaps: bool
    start: int | None
    manager_at: Mapping[str, str | None]
    made_by: str
    cap: int
    says: tuple[Tree, ...]
    energy: int
    one_identity: bool
    load: int
    """What the terminator fixed inside loads the bus with, in 1/3600 S; 0: none."""


@dataclass(frozen=True)
class Crowd:
    """So much of something is all that the packs of one link may have together; each of a record has its part."""

    parts: Mapping[Rec, int]
    most: int

    def passed(self, packs: Sequence[Rec]) -> bool:
        return sum(self.parts.get(rec, 0) for rec in packs) > self.most


@dataclass(frozen=True, eq=False)
class Pack:
    """One pack: place rank over the whole site, as-found switches, the role and controllers it was found with."""

    id: str
    rec: Rec
    rank: int
    new: bool
    found: Mapping[str, tuple[str, ...]] | None
    mode: str | None
    was: tuple[str, frozenset[str]]


@dataclass(frozen=True)
class Wanted:
    """One wanted link."""

    id: str
    packs: tuple[str, ...]
    manager: str | None
    reports_to: tuple[str, ...]
    may_leave: frozenset[str]


@dataclass(frozen=True)
class Wish:
    """One wish."""

    what: str
    about: tuple[str, ...]
    link: str | None = None
    text: str = ""


@dataclass(frozen=True, eq=False)
class Plant:
    """A whole site. ``controllers``: id -> (kind of bus, dialects, rates)."""

    packs: tuple[Pack, ...]
    links: tuple[Wanted, ...]
    controllers: Mapping[str, tuple[str, tuple[str, ...], tuple[int, ...]]]
    must: tuple[Wish, ...]
    prefer: tuple[Wish, ...]
    found_links: bool
    by_id: Mapping[str, Pack] = field(default_factory=dict)


def _row(row: Tree) -> tuple[int, str, tuple[Part, ...]]:
    printed = numbers(row["printed"]) if row["kind"] == "slide" else [1]
    parts = []
    for part in row["parts"]:
        at = range(len(printed)) if part["use"] == "all" else [printed.index(n) for n in numbers(part["use"])]
        parts.append(
            Part(tuple(at), part["sets"], part.get("bus"), part.get("code", {}), part.get("keep"), part.get("when", {}))
        )
    return len(printed), row["kind"], tuple(parts)


def _energy(cells: Tree) -> int:
    """Whole Wh: a range or a dispute counts with its lowest; 3.2 V a cell of LFP where no nominal voltage is stated."""

    def low(raw: Any) -> float:
        texts = list(raw.values()) if isinstance(raw, dict) else [raw]
        return min(float(str(t).split("..", maxsplit=1)[0]) for t in texts)

    if cells.get("capacity_ah", "not stated") == "not stated":
        return 0
    volts = low(cells["nominal_v"]) if "nominal_v" in cells else 3.2 * int(cells["in_series"])
    share = low(cells["usable_share"]) if "usable_share" in cells else 1.0
    return int(low(cells["capacity_ah"]) * volts * share + 1e-6)


def read_record(raw: Tree) -> Rec:
    modes = tuple(raw.get("modes", ["own"]))
    chain, report = raw["buses"]["chain"], raw["buses"]["report"]
    dialect = chain["dialect"]
    rule, manager = raw["addresses"]["chain"], raw["manager"]
    at, fixed = rule.get("manager"), chain.get("termination", {})
    return Rec(
        raw["id"],
        raw["family"],
        int(raw["generation"]) if "generation" in raw else None,
        modes,
        {m: tuple(listed(dialect[m] if isinstance(dialect, dict) else dialect)) for m in modes},
        chain["kind"],
        tuple(map(int, chain["rates_bps"])),
        int(chain.get("nodes", 10**6)),
        report["kind"],
        tuple(listed(report["dialect"])),
        tuple(map(int, report["rates_bps"])),
        {name: _row(row) for name, row in raw.get("switches", {}).items()},
        rule.get("given", "by switches"),
        frozenset(numbers(rule["allowed"])),
        frozenset(map(int, rule.get("kept_for", {}))),
        rule.get("gaps") == "allowed",
        int(rule["start"]) if "start" in rule else None,
        {m: at.get(m) if isinstance(at, dict) else at for m in modes},
        manager["made_by"],
        int(manager.get("members_at_most", 10**6)),
        tuple(raw.get("with", [])),
        _energy(raw["cells"]),
        chain.get("identity") == "one for all",
        UNIT // int(fixed["ohm"]) if fixed.get("fitted") == "always" else 0,
    )


_SHAPES = (
    ("keep addresses of ", "addresses"),
    ("keep switches of ", "switches"),
    ("not manager ", "not manager"),
    ("manager ", "manager"),
    ("fewest switches moved", "fewest"),
    ("physical order", "order"),
)


def _wish(text: str) -> Wish:
    for head, what in _SHAPES:
        if text.startswith(head):
            ids, _, link = text[len(head) :].partition(" of ")
            return Wish(what, tuple(listed(ids)) if ids else (), link or None, text)
    words = text.removeprefix("keep ")
    what = "unmanaged" if words.endswith(" unmanaged") else "managed"
    return Wish(what, tuple(listed(words.removesuffix(" " + what))), None, text)


def _ranks(packs: Mapping[str, Tree]) -> dict[str, int]:
    """Rack by rack in order of first appearance, then slot, then position in the file; without a place last."""
    racks: dict[str, int] = {}
    keys = []
    for i, (name, entry) in enumerate(packs.items()):
        rack, _, slot = entry.get("place", "").partition(" slot ")
        keys.append((racks.setdefault(rack, len(racks)) if rack else 10**9, int(slot or 0), i, name))
    return {name: rank for rank, (_, _, _, name) in enumerate(sorted(keys))}


def _texts(row: tuple[int, str, tuple[Part, ...]], raw: str) -> tuple[str, ...]:
    width, kind, _ = row
    if kind in WHEEL:
        return (raw,)
    words = {"0": "off", "1": "on", "x": "x"}
    texts = tuple(words[c] for c in raw)
    assert len(texts) == width
    return texts


def read_plant(folder: Path) -> Plant:
    """Read site.yaml and every record of ``records/`` in a folder."""
    trees = [
        yaml.load(p.read_text("utf-8"), Loader=yaml.BaseLoader)  # noqa: S506
        for p in sorted((folder / "records").glob("*.yaml"))
    ]
    site = yaml.load((folder / "site.yaml").read_text("utf-8"), Loader=yaml.BaseLoader)  # noqa: S506
    recs = {t["id"]: read_record(t) for t in trees if t.get("kind", "pack") == "pack"}
    boxes = {t["id"]: t["buses"]["battery"] for t in trees if t.get("kind") == "controller"}
    controllers = {
        name: (b["kind"], tuple(listed(b["dialect"])), tuple(map(int, b["rates_bps"])))
        for name, entry in site["controllers"].items()
        for b in [boxes[entry["model"]]]
    }
    found = dict(site.get("found", {}))
    stood = found.pop("links", None)
    was = {
        p: ("manager" if p == link.get("manager") else "member", frozenset(listed(link["reports_to"])))
        for link in (stood or {}).values()
        for p in listed(link["packs"])
    }
    ranks = _ranks(site["packs"])
    packs = []
    for name, entry in site["packs"].items():
        rec = recs[entry["model"]]
        seen = {k: _texts(rec.rows[k], v) for k, v in found[name].items() if k in rec.rows} if name in found else None
        packs.append(
            Pack(
                name,
                rec,
                ranks[name],
                entry.get("new") == "yes",
                seen,
                found.get(name, {}).get("mode"),
                was.get(name, ("unmanaged", frozenset())),
            )
        )
    links = tuple(
        Wanted(
            name,
            tuple(listed(entry["packs"])),
            None if entry.get("manager", "propose") == "propose" else entry["manager"],
            tuple(listed(entry["reports_to"])),
            frozenset(listed(entry.get("may_leave", []))),
        )
        for name, entry in site["links"].items()
        if name != "none"
    )
    wishes = {f: tuple(_wish(t) for t in site.get("wishes", {}).get(f, [])) for f in ("must", "prefer")}
    return Plant(
        tuple(sorted(packs, key=lambda p: p.rank)),
        links,
        controllers,
        wishes["must"],
        wishes["prefer"],
        stood is not None,
        {p.id: p for p in packs},
    )


# ---- switches -------------------------------------------------------------------------------------------------------


TYPED = Path(__file__).parent.parent / "published" / "truth_tables"
"""Truth tables typed by hand: switches of the forms they cover are taken from there."""


_MENU = ("rill-50", "MENU ADDRESS")
"""A menu that shows one more than the wire carries."""


@cache
def typed(record: str, row: str) -> dict[int, tuple[str, ...]]:
    """The patterns of one row by address, as typed."""
    found = {}
    for line in (TYPED / f"{record}.csv").read_text("utf-8").splitlines()[2:]:
        name, _, _, values, pattern = line.split(",")
        if name == row and values.startswith("address="):
            found[int(values.removeprefix("address="))] = tuple(pattern.split())
    return found


def _bits(number: int, width: int, order: str) -> tuple[str, ...]:
    if not 0 <= number < 2**width:
        raise KeyError(number)
    if width <= 4:  # of fewer than four switches the missing ones count as off
        last = order == "last is low"
        return typed("ex14a-reports-lowest", "ADD")[number][-width:] if last else typed("tarn-a", "ADD")[number][:width]
    text = f"{number:0{width}b}"
    return tuple("on" if c == "1" else "off" for c in (text if order == "last is low" else reversed(text)))


def encode(part: Part, value: object, kind: str) -> tuple[str, ...]:
    """The switches of a part for a value; KeyError when its code cannot carry it."""
    code = part.code
    if "table" in code:
        text = code["table"][str(value)]
        return (text,) if kind in WHEEL else tuple(text.split())
    if "binary" in code:
        return _bits(int(str(value)) - int(code["from"]), len(part.at), code["binary"])
    if "number" in code:
        shown = numbers(code["number"]["shown"])
        place = int(str(value)) - int(code["number"]["wire_from"])
        if kind == "menu" and (shown[0], code["number"]["wire_from"]) == (1, "0") and place in typed(*_MENU):
            if place >= len(shown):
                raise KeyError(value)
            return typed(*_MENU)[place]
        if not 0 <= place < len(shown):
            raise KeyError(value)
        return (f"{shown[place]:X}" if kind == "hex" else str(shown[place]),)
    acting = value in ("manager", True)
    return ("on" if acting == (code["flag"] == "on") else "off",)


@dataclass(frozen=True)
class Standing:
    """What a pack on a link is: what its switches follow from. Talks are (kind, dialect, rate)."""

    role: str
    mode: str
    address: int | None
    count: int
    chain: Talk
    report: Talk

    def value(self, part: Part) -> object:
        talk = {"chain": self.chain[1:], "report": self.report[1:]}.get(part.bus or "", ("", 0))
        return {
            "address": self.address,
            "count of members": self.count - 1,
            "count of packs": self.count,
            "role": self.role,
            "mode": self.mode,
            "dialect": talk[0],
            "rate": talk[1],
        }[part.sets]


def fits(when: Tree, role: str, mode: str, bus: str) -> bool:
    have = {"role": role, "mode": mode, "controller_bus": bus}
    return all(have[k] in listed(v) for k, v in when.items())


@cache
def wanted(rec: Rec, stand: Standing) -> dict[str, list[str | None]] | None:
    """Each switch as it must stand: None where it hangs on the ends of the route. None: cannot be set."""
    rows: dict[str, list[str | None]] = {}
    for name, (width, kind, parts) in rec.rows.items():
        rows[name] = [None] * width
        covered: set[int] = set()
        for part in parts:
            if "place" in part.when or part.sets == "terminator":
                covered |= set(part.at)
                continue
            if not fits(part.when, stand.role, stand.mode, stand.report[0]):
                continue
            covered |= set(part.at)
            if part.sets == "nothing":
                texts: tuple[str | None, ...] = (part.keep or "off",) * len(part.at)  # free switches are planned off
            else:
                try:
                    texts = encode(part, stand.value(part), kind)
                except (KeyError, ValueError):
                    return None
            for i, text in zip(part.at, texts, strict=True):
                rows[name][i] = text
        if len(covered) < width:
            return None
    return rows


def moves(pack: Pack, rows: Mapping[str, Sequence[str | None]]) -> int:
    """Switches moved on a pack: none on a new one; one where nobody looked."""
    if pack.new:
        return 0
    seen = pack.found or {}
    return sum(
        1
        for name, row in rows.items()
        for i, want in enumerate(row)
        if want is not None and (name not in seen or seen[name][i] != want)
    )


@cache
def twins(rec: Rec, stand: Standing) -> frozenset[int]:
    """The addresses of the other rows of the printed table in force that have the same pattern as this address."""
    found: set[int] = set()
    if stand.address is None:
        return frozenset()
    for _, kind, parts in rec.rows.values():
        for part in parts:
            if (
                part.sets == "address"
                and "table" in part.code
                and fits(part.when, stand.role, stand.mode, stand.report[0])
            ):
                mine = encode(part, stand.address, kind)
                table = part.code["table"]
                found |= {int(k) for k in table if k != str(stand.address) and encode(part, k, kind) == mine}
    return frozenset(found)


def meanings(rec: Rec, stand: Standing) -> frozenset[int]:
    """Every address that a pack may stand at, as its pattern is read."""
    return twins(rec, stand) | (frozenset() if stand.address is None else {stand.address})


@cache
def read_right(rec: Rec, stand: Standing) -> bool:
    """Whether a pack is where its own record allows one in its part, however its pattern is read."""
    others = twins(rec, stand)
    if stand.role == "manager":
        return others <= manager_addresses(rec, stand.mode)
    own = rec.manager_at[stand.mode] if rec.made_by == "address" else "none"
    return others <= rec.allowed - rec.kept and own is not None and not any(str(a) == own for a in others)


@cache
def crowds(present: frozenset[Rec]) -> tuple[Crowd, ...]:
    """One pack of a record that speaks with one identity, one that has no address of its own, and no more terminators
    fixed inside than the bus bears.
    """
    found = [Crowd({rec: 1}, 1) for rec in present if rec.one_identity]
    found.append(Crowd({rec: 1 for rec in present if rec.given == "none"}, 1))
    found.append(Crowd({rec: rec.load for rec in present}, min(MOST_LOAD[rec.kind] for rec in present)))
    return tuple(found)


@cache
def found_addresses(pack: Pack) -> frozenset[int | None] | None:
    """Every address the found switches mean; None when nobody looked at one that sets it.

    Where the switches make the pack a manager and set no address there, its address is the manager's as the
    record states it.
    """
    if pack.found is None:
        return None
    meant: set[int | None] = set()
    for name, (_, kind, parts) in pack.rec.rows.items():
        setting = [
            p
            for p in parts
            if (p.sets == "address" and p.when.get("mode", pack.mode) in (pack.mode, None))
            or (p.sets == "address" and pack.mode is None)
        ]
        if not setting:
            continue
        seen = pack.found.get(name)
        if seen is None or any(seen[i] == "x" for p in setting for i in p.at):
            return None
        for mode, role, bus in itertools.product(pack.rec.modes, ("manager", "member"), ("can", "rs-485")):
            if pack.mode in (None, mode):
                meant |= set(_meanings(pack.rec, parts, seen, kind, role, mode, bus))
    return frozenset(meant)


def _meanings(
    rec: Rec, parts: Sequence[Part], seen: Sequence[str], kind: str, role: str, mode: str, bus: str
) -> Iterator[int | None]:
    """Addresses one row means in one case, if its other switches agree with the case (x agrees with anything)."""
    live = [p for p in parts if fits({k: v for k, v in p.when.items() if k != "place"}, role, mode, bus)]
    for part in live:
        if part.sets == "address":
            continue
        texts = [seen[i] for i in part.at]
        if part.sets == "nothing":
            options: list[tuple[str, ...]] = [(part.keep,) * len(texts)] if part.keep else [tuple(texts)]
        elif part.sets in ("role", "mode"):
            options = _codes(part, [role if part.sets == "role" else mode], kind)
        elif part.sets == "terminator":
            options = [("on",), ("off",)]
        else:
            options = _codes(part, [*part.code.get("table", {}), *range(300)], kind)
        if not any(all(t in ("x", o) for t, o in zip(texts, option, strict=True)) for option in options):
            return
    setting = [p for p in live if p.sets == "address"]
    if not setting:
        if role == "manager" and rec.manager_at[mode] is not None and any(p.sets == "role" for p in parts):
            yield None if rec.manager_at[mode] == "none" else int(str(rec.manager_at[mode]))
        return
    for part in setting:
        for address in range(256):
            if _codes(part, [address], kind) == [tuple(seen[i] for i in part.at)]:
                yield address


def _codes(part: Part, values: Sequence[object], kind: str) -> list[tuple[str, ...]]:
    found = []
    for value in values:
        try:
            found.append(encode(part, value, kind))
        except (KeyError, ValueError):
            continue
    return found


# ---- what packs say of each other -----------------------------------------------------------------------------------


@cache
def statement(one: Rec, other: Rec) -> tuple[int, Tree] | None:
    """The first statement of a record that speaks of another record (of its own kind a record says nothing)."""
    if one is other:
        return None
    for i, item in enumerate(one.says):
        words = item["other"].split()
        hit = (
            item["other"] == "any"
            or (words[0] == "record" and other.id == words[1])
            or (
                words[0] == "family"
                and other.family == words[1]
                and (len(words) == 2 or str(other.generation) == words[3])
            )
        )
        if hit:
            return i, item
    return None


@cache
def excluded(one: Rec, other: Rec) -> bool:
    return any(s is not None and s[1].get("same_link") == "no" for s in (statement(one, other), statement(other, one)))


@cache
def may_manage(rec: Rec, present: frozenset[Rec]) -> bool:
    """Whether no record on the link asks for another manager."""
    if rec.made_by == "never":
        return False
    for one in present:
        spoken: dict[int, list[Rec]] = {}
        for other in present:
            said = statement(one, other)
            if said is not None:
                spoken.setdefault(said[0], []).append(other)
        for i, others in spoken.items():
            who = one.says[i].get("manager")
            if (who == "this" and rec is not one) or (who == "other" and rec not in others):
                return False
            if who == "newest" and not newest(rec, [r for r in present if r.family == one.family]):
                return False
    return True


def newest(rec: Rec, family: Sequence[Rec]) -> bool:
    """Whether a record is of the highest generation in its family, all of them being known."""
    known = [r.generation for r in family if r.generation is not None]
    return rec in family and len(known) == len(family) and rec.generation == max(known)


@cache
def left_modes(rec: Rec, present: frozenset[Rec]) -> tuple[str, ...]:
    """The modes left beside the others."""
    asked = {s[1]["in_mode"] for o in present if (s := statement(rec, o)) is not None and "in_mode" in s[1]}
    return tuple(m for m in rec.modes if asked <= {m})


# ---- addresses of one link ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Slots:
    """The addresses of a link: ``run`` without gaps from ``start``, or any of ``open``."""

    run: bool
    start: int
    open: tuple[int, ...]


def manager_addresses(rec: Rec, mode: str) -> frozenset[int | None]:
    at = rec.manager_at[mode]
    if at is not None:
        return frozenset([None if at == "none" else int(at)])
    return frozenset() if rec.made_by == "address" else frozenset(rec.allowed)


@cache
def open_addresses(manager: Rec, present: frozenset[Rec]) -> frozenset[int]:
    """Addresses that members may take on a link: the manager asks only those it allows; none that any record keeps."""
    return manager.allowed - frozenset().union(*(r.kept for r in present))


@cache
def slots_of(manager: Rec, at: int | None, present: frozenset[Rec]) -> Slots | None:
    """The slots of a link under a manager at an address (None: it has no address)."""
    members = open_addresses(manager, present)
    own = frozenset() if at is None else frozenset([at])
    strict = [r for r in present if not r.gaps]
    if not strict:
        return Slots(run=False, start=0, open=tuple(sorted(members | own)))
    stated = {r.start for r in strict if r.start is not None}
    if len(stated) > 1 or not members | own:
        return None
    return Slots(run=True, start=stated.pop() if stated else min(members | own), open=())


def member_may(rec: Rec, mode: str, address: int, manager: Rec, at: int | None, present: frozenset[Rec]) -> bool:
    if address == at or address not in rec.allowed or address not in open_addresses(manager, present):
        return False
    if rec.made_by == "address":  # at the manager's address it would be one
        return rec.manager_at[mode] is not None and str(address) != rec.manager_at[mode]
    return True


def manager_may(rec: Rec, mode: str, at: int | None, present: frozenset[Rec]) -> bool:
    if at not in manager_addresses(rec, mode):
        return False
    return rec.manager_at[mode] is not None or at in open_addresses(rec, present)


def most_packs(manager: Rec, present: frozenset[Rec]) -> int:
    """Packs on a link at most: members of the manager, nodes of every bus, numbers where the route gives them."""
    most = min(manager.cap + 1, *(r.nodes for r in present))
    if manager.given != "by switches":
        most = min([most, *(len(r.allowed - r.kept) + ("none" in r.manager_at.values()) for r in present)])
    return most


def counts(rec: Rec) -> bool:
    """Whether a switch of a record counts the packs or the members."""
    return any(part.sets.startswith("count") for _, _, parts in rec.rows.values() for part in parts)


@dataclass(frozen=True)
class Frame:
    """Who is on a link and how: records, talk, the manager's record and address, slots (None: the route numbers)."""

    present: frozenset[Rec]
    talk: Talk
    manager: Rec
    at: int | None
    slots: Slots | None


def frames(plant: Plant, link: Wanted) -> Iterator[Frame]:
    """Every frame of a link."""
    recs = list(dict.fromkeys(plant.by_id[p].rec for p in link.packs))
    for size in range(1, len(recs) + 1):
        for some in itertools.combinations(recs, size):
            if any(excluded(a, b) for a, b in itertools.combinations(some, 2)) or len({r.given for r in some}) > 1:
                continue
            present = frozenset(some)
            for talk, manager in itertools.product(talks(plant, link), some):
                spoken = all(any(speaks(r, m, talk) for m in left_modes(r, present)) for r in some)
                if spoken and may_manage(manager, present) and reports(plant, link, manager):
                    yield from _addressed(present, talk, manager)


def _crowded(present: frozenset[Rec], packs: Sequence[Rec]) -> int:
    """How many of these packs no crowd keeps off a link, the lightest taken first."""
    on: list[Rec] = []
    for rec in sorted((r for r in packs if r in present), key=lambda r: (r.load, r.one_identity)):
        if not any(crowd.passed([*on, rec]) for crowd in crowds(present)):
            on.append(rec)
    return len(on)


def room(plant: Plant, link: Wanted) -> int:
    """Most packs that any frame of a link can take, wishes and switches apart."""
    return max(
        (
            min(most_packs(f.manager, f.present), _crowded(f.present, [plant.by_id[p].rec for p in link.packs]))
            for f in frames(plant, link)
        ),
        default=0,
    )


def _addressed(present: frozenset[Rec], talk: Talk, manager: Rec) -> Iterator[Frame]:
    if manager.given != "by switches":
        yield Frame(present, talk, manager, None, None)
        return
    options = {a for m in manager.modes for a in manager_addresses(manager, m)}
    for at in sorted(options, key=lambda a: -1 if a is None else a):
        slots = slots_of(manager, at, present)
        if slots is not None:
            yield Frame(present, talk, manager, at, slots)


# ---- levels ---------------------------------------------------------------------------------------------------------


def level_names(plant: Plant) -> list[str]:
    early = [f"wish {w.what}" for w in plant.prefer if w.what in EARLY]
    late = [f"wish {w.what}" for w in plant.prefer if w.what not in EARLY]
    return ["taken off", *early, "energy", "twins", *late, "changed", "moved", "newest", "order"]


def off_levels(plant: Plant, pack: Pack) -> list[int] | None:
    """Levels of a candidate pack that is on no link; None where a condition wants it on one."""
    if any(pack.id in w.about and w.what in ("managed", "addresses", "manager") for w in plant.must):
        return None
    stood = not pack.new and pack.was[0] != "unmanaged"
    free = any(pack.id in link.may_leave for link in plant.links)
    wish = [(w.what, int(pack.id in w.about and w.what in ("managed", "addresses", "manager"))) for w in plant.prefer]
    early = [v for what, v in wish if what in EARLY]
    late = [v for what, v in wish if what not in EARLY]
    return [int(stood and not free), *early, pack.rec.energy, 0, *late, int(stood and plant.found_links), 0, 0, 0]


def wish_cost(wish: Wish, pack: Pack, link: str, role: str, address: int | None, moved: int) -> int:
    """What a pack on a link adds to a wish (physical order apart)."""
    if wish.what == "fewest":
        return moved
    if pack.id not in wish.about:
        return 0
    if wish.what == "addresses":
        kept = found_addresses(pack)
        return int(kept is None or address not in kept)
    right = role == "manager" and wish.link in (None, link)
    return {
        "unmanaged": 1,
        "managed": 0,
        "switches": moved,
        "manager": int(not right),
        "not manager": int(role == "manager"),
    }.get(wish.what, 0)


def on_levels(
    plant: Plant, pack: Pack, link: Wanted, stand: Standing, order: int, top: Mapping[str, int]
) -> list[int] | None:
    """Levels of a pack on a link; None where its switches or a condition forbid it. ``order``: squared rank
    difference."""
    rows = wanted(pack.rec, stand)
    if rows is None:
        return None
    moved = moves(pack, rows)
    for w in plant.must:
        if wish_cost(w, pack, link.id, stand.role, stand.address, moved):
            return None
        if w.what == "manager" and w.link == link.id and stand.role == "manager" and pack.id not in w.about:
            return None
    if stand.role == "manager" and link.manager not in (None, pack.id):
        return None
    wish = [
        (w, order if w.what == "order" else wish_cost(w, pack, link.id, stand.role, stand.address, moved))
        for w in plant.prefer
    ]
    was = pack.mode or (pack.rec.modes[0] if len(pack.rec.modes) == 1 else None)
    changed = (stand.role, frozenset(link.reports_to)) != pack.was or was not in (None, stand.mode)
    older = stand.role == "manager" and pack.rec.generation is not None and pack.rec.generation < top[pack.rec.family]
    return [
        0,
        *(c for w, c in wish if w.what in EARLY),
        0,
        int(bool(twins(pack.rec, stand))),
        *(c for w, c in wish if w.what not in EARLY),
        int(changed and not pack.new and plant.found_links),
        moved,
        int(older),
        order,
    ]


def components(plant: Plant) -> list[tuple[list[Wanted], list[Pack]]]:
    """Links that share packs, with their packs in place order."""
    groups: list[list[Wanted]] = []
    for link in plant.links:
        touched = [g for g in groups if any(set(link.packs) & set(o.packs) for o in g)]
        groups = [g for g in groups if g not in touched] + [[*itertools.chain(*touched), link]]
    return [(g, [p for p in plant.packs if any(p.id in link.packs for link in g)]) for g in groups]


def tops(packs: Sequence[Pack]) -> dict[str, int]:
    found: dict[str, int] = {}
    for pack in packs:
        if pack.rec.generation is not None:
            found[pack.rec.family] = max(found.get(pack.rec.family, 0), pack.rec.generation)
    return found


def talks(plant: Plant, link: Wanted) -> list[Talk]:
    """Every (kind, dialect, rate) that some candidate offers."""
    recs = {plant.by_id[p].rec for p in link.packs}
    return sorted({(r.kind, d, rate) for r in recs for m in r.modes for d in r.dialects[m] for rate in r.rates})


def reports(plant: Plant, link: Wanted, rec: Rec) -> list[Talk]:
    """Every (kind, dialect, rate) in which a pack of a record can report to all controllers of a link."""
    heard = [plant.controllers[c] for c in link.reports_to]
    return [
        (rec.report_kind, d, rate)
        for d in rec.report_dialects
        for rate in rec.report_rates
        if all(rec.report_kind == k and d in ds and rate in rates for k, ds, rates in heard)
    ]


def speaks(rec: Rec, mode: str, talk: Talk) -> bool:
    """Whether a pack in a mode takes part in a talk among packs."""
    return rec.kind == talk[0] and talk[1] in rec.dialects[mode] and talk[2] in rec.rates


def address_rank(slots: Slots, address: int | None, at: int | None) -> int:
    """Rank of an address among the slots; a manager without an address comes first."""
    if address is None:
        return 0
    first = int(at is None)
    return first + (address - slots.start if slots.run else slots.open.index(address))
