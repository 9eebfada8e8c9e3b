"""One component: links that compete for packs, and what each pack in each slot of a frame costs, level by level."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from math import prod

import numpy as np
from numpy.typing import NDArray

from interop.choose.cells import (
    depends_on_count,
    found_addresses,
    found_codes,
    kept,
    lacking,
    moved,
    other_addresses,
    set_codes,
    slot_state,
    standing_rows,
)
from interop.choose.frames import MOST_KINDS, Family, families
from interop.site.site import Device, Link, Wish
from interop.wiring.energy import energy_wh
from interop.wiring.talks import RecordKey

__all__ = [
    "IMPOSSIBLE",
    "MOST_COMBINATIONS",
    "Block",
    "Combo",
    "Component",
    "Vector",
    "Whole",
    "block_of",
    "component_of",
    "family_low",
    "level_names",
    "off_levels",
    "slot_key",
]

Whole = NDArray[np.int64]
Vector = tuple[int, ...]
Combo = tuple[Family | None, ...]

_AFTER = (
    "installed packs changed",
    "switches moved",
    "manager not of the newest generation",
    "order by place",
)
_MEMBERSHIP = ("unmanaged", "managed")
"""Preferences about who is managed stand before energy, all others after it: a kept address never costs a managed
pack.
"""


Refused = tuple[int, int | None, frozenset[int]]
"""A link (index), its manager and all packs on it (rows): together they cannot be, whatever their addresses."""


@dataclass
class Component:
    """Links that compete for packs. ``packs`` stand in rank order; ``found_role``: (role, link it was on) as found."""

    links: tuple[Link, ...]
    packs: tuple[Device, ...]
    devices: Mapping[str, Device]
    wishes: tuple[Wish, ...]
    found_role: Mapping[str, tuple[str, frozenset[str]]] | None
    may_stay_off: frozenset[str]
    families: list[list[Family]] = field(default_factory=list)
    blocks: dict[object, Block | None] = field(default_factory=dict)
    tables: dict[object, Table] = field(default_factory=dict)
    open_to: dict[object, Whole] = field(default_factory=dict)
    sums: dict[Combo, list[int]] = field(default_factory=dict)
    last_low: Whole | None = None
    _masks: dict[Family, int] = field(default_factory=dict)
    _kinds: dict[RecordKey, int] = field(default_factory=dict)
    bounds: dict[object, Vector] = field(default_factory=dict)
    starts: list[tuple[Vector, Combo, int]] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    assigned: int = 0
    """Assignments solved so far."""
    wide: bool = False
    """Whether some families are passed over unseen, so that nothing is proved."""
    _room: dict[object, tuple[tuple[int, ...], list[int]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.row = {d.id: i for i, d in enumerate(self.packs)}
        self.energy = np.array([energy_wh(d.record) or 0 for d in self.packs], dtype=np.int64)
        self.candidates = [[d for d in self.packs if d.id in set(link.packs)] for link in self.links]
        prefer = [w for w in self.wishes if not w.must]
        self.early = [w for w in prefer if w.what in _MEMBERSHIP]
        self.late = [w for w in prefer if w.what not in _MEMBERSHIP]
        self.levels = 7 + len(prefer)
        self.must = [w for w in self.wishes if w.must]
        self.kept = {d.id: found_addresses(d) for d in self.packs}
        self.newest = self._newest()
        self.ranks = [
            np.array([{d.id: i for i, d in enumerate(own)}.get(d.id, 0) for d in self.packs], dtype=np.int64)
            for own in self.candidates
        ]
        self.off = np.stack(off_levels(self))
        self.may_be_off = _off_allowed(self)
        self.off_low = np.where(self.may_be_off, self.off, IMPOSSIBLE)
        self.found, self.fixed = {}, {}
        for key in {RecordKey(d.record) for d in self.packs}:
            alike = [d for d in self.packs if d.record is key.record]
            self.found[key] = np.array([found_codes(d) for d in alike]).reshape(len(alike), -1)
            self.fixed[key] = np.array([set_codes(d) for d in alike]).reshape(len(alike), -1)
        if not self.families:
            self.families = [
                [
                    family
                    for family in families(i, link, dict(self.devices), self.candidates[i])
                    if _manager_fits(link, family, self.devices)
                ]
                for i, link in enumerate(self.links)
            ]
            self._narrow()

    def _narrow(self) -> None:
        """Keep the first families of each link where their combinations pass the limit."""
        kinds = [len({RecordKey(d.record) for d in candidates}) for candidates in self.candidates]
        self.wide = any(number > MOST_KINDS for number in kinds)
        if prod(len(own) + 1 for own in self.families) > MOST_COMBINATIONS:
            self.wide = True
            each = int(MOST_COMBINATIONS ** (1 / len(self.links))) - 1
            self.families = [own[: max(each, 1)] for own in self.families]

    def room(self, combo: Combo, off: tuple[tuple[int, int], ...]) -> tuple[tuple[int, ...], list[int]]:
        """Return the least of the levels before energy, and by number of packs the energy that stays off any link."""
        alike: object = off and (
            off if self.early else tuple((self.packs[row].record.id, int(self.energy[row])) for row, _ in off)
        )
        masks, mask = self._masks, 0
        for family in combo:
            if family is not None:
                known = masks.get(family)
                mask |= self._mask(family) if known is None else known
        found = self._room.get((mask, alike))
        if found is None:
            kinds = frozenset(k for f in combo if f is not None for k in f.kinds)
            without = {row for row, _ in off}
            rows = [i for i, d in enumerate(self.packs) if RecordKey(d.record) in kinds and i not in without]
            inside = {self.packs[i].id for i in rows}
            early = tuple(
                sum(name in self.row and name not in inside for name in w.about) if w.what == "managed" else 0
                for w in self.early
            )
            on = np.concatenate([[0], np.cumsum(np.sort(self.energy[rows])[::-1])])
            found = self._room[mask, alike] = early, [int(v) for v in self.energy.sum() - on]
        return found

    def _mask(self, family: Family) -> int:
        """The kinds of a family as bits, entered."""
        mask = self._masks[family] = sum(1 << self._kinds.setdefault(key, len(self._kinds)) for key in family.kinds)
        return mask

    def strike(
        self,
        link: int,
        family: Family,
        modes: Mapping[RecordKey, frozenset[str]],
        manager_mode: str | None,
        fewer_than: int | None = None,
    ) -> None:
        """Take out every plan of a link with the kinds, talks, manager's kind and modes that a family was used with.

        ``modes``: the modes that the members of each kind were given. What differs in one of them stays: each family
        that allows them all is split into those that leave one of them out. With ``fewer_than`` packs it stays too:
        what is in the way are the sockets of so many.
        """
        self.starts, self.last_low = [], None
        self.sums.clear()
        self.bounds.clear()
        left: dict[object, Family] = {}
        for one in self.families[link]:
            like = (one.chain, one.report, one.manager) == (family.chain, family.report, family.manager)
            allowed = dict(one.modes)
            covers = manager_mode is None or manager_mode in one.manager_modes
            covers = covers and all(used <= set(allowed.get(key, ())) for key, used in modes.items())
            if not like or set(one.kinds) != set(family.kinds) or not covers:
                left[_content(one)] = one
                continue
            for split in _without(one, modes, manager_mode):
                left.setdefault(_content(split), split)
            if fewer_than is not None and one.least < fewer_than:
                smaller = replace(one, most=min(one.most, fewer_than - 1))
                left.setdefault(_content(smaller), smaller)
        self.families[link] = list(left.values())

    def refuse(self, link: int, manager: str | None, members: Sequence[str]) -> None:
        """Take out every plan with these packs on a link under this manager."""
        self.refused.append((
            link, self.row[manager] if manager is not None else None, frozenset(self.row[name] for name in members)
        ))

    def _newest(self) -> dict[str | None, int]:
        top: dict[str | None, int] = {}
        for d in self.packs:
            generation = d.record.generation.only
            if generation is not None:
                top[d.record.family] = max(top.get(d.record.family, generation), generation)
        return top


def _content(family: Family) -> object:
    """Everything that tells one family from another."""
    return tuple(getattr(family, one.name) for one in fields(family))


def _without(
    family: Family, modes: Mapping[RecordKey, frozenset[str]], manager_mode: str | None
) -> Iterator[Family]:
    """Yield the family without one of the modes each time, where others are left."""
    for key, used in modes.items():
        for mode in sorted(used):
            rest = tuple(m for m in dict(family.modes)[key] if m != mode)
            if rest:
                yield replace(family, modes=tuple((k, rest if k == key else own) for k, own in family.modes))
    others = tuple(m for m in family.manager_modes if m != manager_mode)
    if manager_mode is not None and others:
        yield replace(family, manager_modes=others)


def _manager_fits(link: Link, family: Family, devices: Mapping[str, Device]) -> bool:
    """Whether a manager that the site names can be the one of a family."""
    if link.manager is None or link.manager not in devices or family.manager is None:
        return True
    return family.manager.record is devices[link.manager].record and family.manager_pack in (None, link.manager)


def level_names(component: Component) -> tuple[str, ...]:
    """Return the names of the levels, first decides first."""
    return (
        "installed packs taken off their link",
        *(f"preference: {w.text}" for w in component.early),
        "energy not on a link",
        "addresses that read as another",
        *(f"preference: {w.text}" for w in component.late),
        *_AFTER,
    )


MOST_COMBINATIONS = 50_000
"""Most combinations of the links' families that a search begins with; beyond, the first families of each link."""
IMPOSSIBLE = 2**40
"""A cost no level comes up to, for what is not possible: a sum over every pack stays a whole number of 64 bits."""


@dataclass
class Table:
    """Every slot that a family can have, whatever the number of packs: levels x packs x slots, which are possible, and
    the mode taken there. ``also``: by (pack, slot) the other addresses that the pattern there means, where there are.
    """

    levels: Whole
    allowed: NDArray[np.bool_]
    slots: list[tuple[str, int | None]]
    modes: NDArray[np.object_]
    also: dict[tuple[int, int], frozenset[int]] = field(default_factory=dict)

    @cached_property
    def low(self) -> Whole:
        """Levels x packs, the least over the slots; what is not possible costs more than any level."""
        least: Whole = np.where(self.allowed, self.levels, IMPOSSIBLE).min(axis=2)
        return least


@dataclass
class Block:
    """The slots of one link in one frame: levels x packs x slots, which are possible, and what each slot is.

    ``low``: levels x packs, the least over the slots. ``keys``: the order of the slots, lowest first. ``columns``:
    where the slots stand in the table.
    """

    levels: Whole
    allowed: NDArray[np.bool_]
    slots: list[tuple[str, int | None]]
    table: Table
    columns: list[int]
    members: int
    low: Whole
    keys: list[int]

    def mode(self, row: int, slot: int) -> str:
        """Return the mode that a pack takes in a slot."""
        mode: str = self.table.modes[row, self.columns[slot]]
        return mode

    def means(self, row: int, slot: int) -> frozenset[int]:
        """Return every address that the switches of a pack mean in a slot."""
        address = self.slots[slot][1]
        also = self.table.also.get((row, self.columns[slot]), frozenset())
        return also if address is None else also | {address}


def slot_key(link: int, role: str, address: int | None, position: int) -> int:
    """Order of slots: by link, the manager first (without an address before any), then members by address (by position
    where the route numbers the packs).
    """
    if role == "manager":
        return link * 10**6 + (0 if address is None else 1 + address)
    return link * 10**6 + 10**5 + (address if address is not None else position)


def block_of(component: Component, family: Family, count: int) -> Block | None:
    """Return the slots of a family with ``count`` packs (built once).

    None where the manager's address leaves a gap, or a slot is open to no pack.
    """
    key = (family, count)
    if key not in component.blocks:
        component.blocks[key] = _build(component, family, count)
    return component.blocks[key]


def _build(component: Component, family: Family, count: int) -> Block | None:
    members = family.member_slots(count)
    if members is None:
        return None
    table = _table(component, family, count)
    slots: list[tuple[str, int | None]] = [("manager", family.manager_address)] if family.manager is not None else []
    slots += [("member", address) for address in members]
    where = {slot: j for j, slot in enumerate(table.slots)}
    columns = [where[slot] for slot in slots]
    levels, allowed = table.levels[:, :, columns], table.allowed[:, columns]
    _rank_levels(component, family, slots, levels)
    _first_only(component, family, slots, allowed)
    needed = count - (family.manager is not None)
    if (family.manager is not None and not allowed[:, 0].any()) or allowed.any(axis=0).sum() < count:
        return None
    low = np.where(allowed, levels, IMPOSSIBLE).min(axis=2)
    keys = sorted(slot_key(family.link, role, address, j) for j, (role, address) in enumerate(slots))
    return Block(levels, allowed, slots, table, columns, needed, low, keys)


def family_low(component: Component, family: Family) -> Whole:
    """Return levels x packs, the least that each pack can cost on the link of a family, whatever the number of packs.

    Where switches depend on that number nothing is known of the levels, only which packs may be on the link.
    """
    if not any(depends_on_count(k.record) for k in family.kinds):
        return _table(component, family, family.most).low
    if (family.link, family.kinds) not in component.open_to:
        kinds, on_link = set(family.kinds), {d.id for d in component.candidates[family.link]}
        rows = [RecordKey(d.record) in kinds and d.id in on_link for d in component.packs]
        component.open_to[family.link, family.kinds] = np.broadcast_to(
            np.where(rows, 0, IMPOSSIBLE), (component.levels, len(component.packs))
        )
    return component.open_to[family.link, family.kinds]


def _table(component: Component, family: Family, count: int) -> Table:
    """Return the table of a family; families that differ in the number of packs or in the first pack share it."""
    counted = count if any(depends_on_count(k.record) for k in family.kinds) else 0
    f = family
    key = (f.link, f.kinds, f.chain, f.report, f.manager, f.manager_address, f.manager_modes, f.modes, f.group,
           f.addresses, f.numbered, f.start is None, counted)
    if key not in component.tables:
        component.tables[key] = _tabled(component, family, count)
    return component.tables[key]


def _tabled(component: Component, family: Family, count: int) -> Table:
    slots: list[tuple[str, int | None]] = [("manager", family.manager_address)] if family.manager is not None else []
    slots += [("member", a) for a in family.addresses] if family.numbered else [("member", None)]
    shape = (len(component.packs), len(slots))
    table = Table(
        np.zeros((component.levels, *shape), dtype=np.int64),
        np.zeros(shape, dtype=np.bool_),
        slots,
        np.full(shape, "", dtype=np.object_),
    )
    for key in family.kinds:
        _fill(component, family, count, key, table)
    _restrict(component, family, slots, table.allowed)
    return table


def _fill(component: Component, family: Family, count: int, key: RecordKey, table: Table) -> None:
    """Enter the packs of one record: for each slot the best of its modes."""
    on_link = {d.id for d in component.candidates[family.link]}
    alike = [d for d in component.packs if d.record is key.record]
    keep = [i for i, d in enumerate(alike) if d.id in on_link]
    devices = [alike[i] for i in keep]
    if not devices:
        return
    rows = np.array([component.row[d.id] for d in devices])
    place = {int(row): i for i, row in enumerate(rows)}
    found = component.found[key][keep]
    still = np.array([any(w.what == "switches" and d.id in w.about for w in component.must) for d in devices])
    member_modes = dict(family.modes)[key]
    unset = np.zeros(table.allowed.shape, dtype=np.int64)
    for mode in dict.fromkeys((*member_modes, *(family.manager_modes if key == family.manager else ()))):
        open_to = [
            (mode in member_modes) if role == "member" else (key == family.manager and mode in family.manager_modes)
            for role, _ in table.slots
        ]
        states = tuple(slot_state(family, key.record, mode, a, count, role) for role, a in table.slots)
        codes, possible, ambiguous = standing_rows(key, states)
        possible = possible & np.array(open_to, dtype=np.bool_)
        if family.start is not None:    # at its other address it would leave a gap, or be a second one there
            possible = possible & (ambiguous == 0)
        cost = moved(codes, devices, found)
        mine = _mode_levels(component, family, devices, table.slots, mode, cost, ambiguous)
        open_slots = possible[None, :] & ((cost == 0) | ~still[:, None]) & kept(codes, component.fixed[key][keep])
        lacks = lacking(key, devices, states)  # a mode that can be set stands before one that nothing known sets
        before = [unset[rows], *(level[rows] for level in table.levels)]
        better = open_slots & (~table.allowed[rows] | _less([lacks, *mine], before))
        unset[rows] = np.where(better, lacks, unset[rows])
        for level, new in zip(table.levels, mine, strict=True):
            level[rows] = np.where(better, new, level[rows])
        table.allowed[rows] |= open_slots
        table.modes[rows] = np.where(better, mode, table.modes[rows])
        if table.also:
            table.also = {at: other for at, other in table.also.items()
                          if at[0] not in place or not better[place[at[0]], at[1]]}
        for i, j in np.argwhere(better & (ambiguous != 0)):
            table.also[int(rows[i]), int(j)] = other_addresses(key.record, states[j])


def _less(one: Sequence[Whole], other: Sequence[Whole]) -> NDArray[np.bool_]:
    less = np.zeros(one[0].shape, dtype=np.bool_)
    equal = np.ones(one[0].shape, dtype=np.bool_)
    for a, b in zip(one, other, strict=True):
        less |= equal & (a < b)
        equal &= a == b
    return less


def _mode_levels(
    component: Component,
    family: Family,
    devices: Sequence[Device],
    slots: Sequence[tuple[str, int | None]],
    mode: str,
    cost: Whole,
    ambiguous: Whole,
) -> list[Whole]:
    """Levels of (pack, slot) in one mode, in the order of :func:`level_names`; order by place is entered later."""
    shape = cost.shape
    zero = np.zeros(shape, dtype=np.int64)
    early = [_wish_level(component, family, wish, devices, slots, cost) for wish in component.early]
    late = [_wish_level(component, family, wish, devices, slots, cost) for wish in component.late]
    roles = dict.fromkeys(role for role, _ in slots)
    by_role = {role: [_changed(component, family, d, role, mode) for d in devices] for role in roles}
    changed = np.array([by_role[role] for role, _ in slots], dtype=np.int64).T
    newest = zero.copy()
    for j, (role, _) in enumerate(slots):
        if role == "manager" and family.manager is not None:
            record = family.manager.record
            top = component.newest.get(record.family)
            newest[:, j] = int(top is not None and record.generation.only is not None and record.generation.only < top)
    return [
        zero,
        *early,
        zero,
        np.broadcast_to(ambiguous[None, :], shape),
        *late,
        changed,
        cost,
        newest,
        zero,
    ]


def _wish_level(
    component: Component,
    family: Family,
    wish: Wish,
    devices: Sequence[Device],
    slots: Sequence[tuple[str, int | None]],
    cost: Whole,
) -> Whole:
    level = np.zeros(cost.shape, dtype=np.int64)
    if wish.what == "fewest switches":
        return cost.copy()
    about = set(wish.about)
    for i, device in enumerate(devices):
        if device.id not in about:
            continue
        if wish.what == "unmanaged":
            level[i] = 1
        elif wish.what == "switches":
            level[i] = cost[i]
        elif wish.what == "addresses":
            kept = component.kept[device.id]
            level[i] = [0 if kept is not None and a in kept else 1 for _, a in slots]
        elif wish.what == "manager":
            level[i] = [0 if role == "manager" and _means(component, family, wish) else 1 for role, _ in slots]
        elif wish.what == "not manager" and _means(component, family, wish):
            level[i] = [1 if role == "manager" else 0 for role, _ in slots]
    return level


def _means(component: Component, family: Family, wish: Wish) -> bool:
    return wish.link is None or component.links[family.link].id == wish.link


def _changed(component: Component, family: Family, device: Device, role: str, mode: str) -> int:
    if device.new or component.found_role is None:
        return 0
    was, reported = component.found_role.get(device.id, ("unmanaged", frozenset()))
    found = device.found
    mode_was = (
        found.mode
        if found is not None and found.mode is not None
        else (device.record.modes[0] if len(device.record.modes) == 1 else None)
    )
    same = was == role and reported == frozenset(component.links[family.link].reports_to)
    return int(not same or (mode_was is not None and mode_was != mode))


def _rank_levels(
    component: Component, family: Family, slots: Sequence[tuple[str, int | None]], levels: Whole
) -> None:
    """Order by place: (place rank - address rank) squared; packs numbered by the route only ask for the first as
    manager.
    """
    order = sorted(range(len(slots)), key=lambda j: (slots[j][1] if slots[j][1] is not None else -1, j))
    rank_of = np.empty(len(slots), dtype=np.int64)
    rank_of[order] = np.arange(len(slots))
    ranked = [j for j, (role, _) in enumerate(slots) if family.numbered or role == "manager"]
    squares = (component.ranks[family.link][:, None] - rank_of[None, ranked]) ** 2
    levels[-1][:, ranked] = squares
    for k, wish in enumerate(component.late):
        if wish.what == "physical order":
            levels[len(component.early) + 3 + k][:, ranked] = squares


def _first_only(
    component: Component, family: Family, slots: Sequence[tuple[str, int | None]], allowed: NDArray[np.bool_]
) -> None:
    """Where a manager is made by place: only that pack is it, and no pack before it is a member."""
    if family.manager_pack is None:
        return
    row = component.row[family.manager_pack]
    for j, (role, _) in enumerate(slots):
        if role == "manager":
            allowed[:row, j] = allowed[row + 1 :, j] = False
        else:
            allowed[:row, j] = False


def _restrict(
    component: Component, family: Family, slots: Sequence[tuple[str, int | None]], allowed: NDArray[np.bool_]
) -> None:
    """Strike what ``must`` wishes and a fixed manager forbid."""
    link = component.links[family.link]
    fixed = link.manager if link.manager not in (None, "propose") else None
    named = [w for w in component.must if w.what == "manager" and _means(component, family, w)]
    for j, (role, address) in enumerate(slots):
        if role == "manager":
            only = [{fixed}] if fixed is not None else []
            only += [set(w.about) for w in named if len(component.links) == 1]
            for names in only:
                allowed[[i for i, d in enumerate(component.packs) if d.id not in names], j] = False
        _restrict_slot(component, family, j, role, address, allowed)


def _restrict_slot(
    component: Component, family: Family, j: int, role: str, address: int | None, allowed: NDArray[np.bool_]
) -> None:
    """Strike the packs that a ``must`` wish keeps out of one slot."""
    for wish in component.must:
        for name in wish.about:
            i = component.row.get(name)
            if i is not None and not _wish_allows(component, family, wish, i, role, address):
                allowed[i, j] = False


def _wish_allows(component: Component, family: Family, wish: Wish, row: int, role: str, address: int | None) -> bool:
    if wish.what == "unmanaged":
        return False
    if wish.what == "addresses":
        kept = component.kept[component.packs[row].id]
        return kept is not None and address in kept
    if wish.what == "manager":
        return role == "manager" and _means(component, family, wish)
    if wish.what == "not manager":
        return role != "manager" or not _means(component, family, wish)
    return True


def off_levels(component: Component) -> list[Whole]:
    """Levels of a pack that is on no link."""
    n = len(component.packs)
    levels = [np.zeros(n, dtype=np.int64) for _ in range(component.levels)]
    roles = component.found_role
    for i, device in enumerate(component.packs):
        was = roles.get(device.id, ("unmanaged", frozenset[str]()))[0] if roles is not None else "unmanaged"
        taken_off = not device.new and was != "unmanaged"
        levels[0][i] = int(taken_off and device.id not in component.may_stay_off)
        energy = len(component.early) + 1
        for k, wish in enumerate((*component.early, *component.late)):
            if device.id in wish.about and wish.what in ("managed", "addresses", "manager"):
                levels[1 + k if k < len(component.early) else 3 + k][i] = 1
        levels[energy][i] = component.energy[i]
        levels[component.levels - 4][i] = int(taken_off)
    return levels


def _off_allowed(component: Component) -> NDArray[np.bool_]:
    """Return by pack whether it may be on no link: not where a ``must`` wish asks it to be managed."""
    allowed = np.ones(len(component.packs), dtype=np.bool_)
    for wish in component.must:
        if wish.what in ("managed", "addresses", "manager"):
            allowed[[component.row[name] for name in wish.about if name in component.row]] = False
    return allowed


def component_of(
    links: Sequence[Link],
    devices: Mapping[str, Device],
    wishes: Sequence[Wish],
    found_role: Mapping[str, tuple[str, frozenset[str]]] | None,
    extra: Sequence[str] = (),
) -> Component:
    """Build a component of links with all their candidate packs in rank order."""
    names = dict.fromkeys([*(p for link in links for p in link.packs), *extra])
    packs = tuple(sorted((devices[p] for p in names), key=lambda d: d.rank))
    leave = frozenset(p for link in links for p in link.may_leave)
    about = {d.id for d in packs}
    mine = tuple(w for w in wishes if not w.about or about & set(w.about))
    return Component(tuple(links), packs, devices, mine, found_role, leave)
