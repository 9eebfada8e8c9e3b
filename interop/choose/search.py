"""The best choice over all frames of a component: best-first by a lower bound, one assignment a frame.

A component is a set of links that compete for packs, with those packs. The answer is the least vector of levels; equal vectors
are told apart by place. Nothing is sampled: a frame is passed over only when its bound already loses.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from interop.choose.assignment import assign
from interop.choose.cells import energy_wh, found_addresses, found_codes, moved, slot_state, standing_rows
from interop.choose.frames import Family, families
from interop.site.site import Device, Link, Wish
from interop.wiring.talks import RecordKey

__all__ = [
    "MOST_COMBINATIONS",
    "MOST_FRAMES",
    "MOST_LINKS",
    "Component",
    "Placed",
    "Restriction",
    "Solution",
    "best",
    "component_of",
    "least",
    "level_names",
]

MOST_LINKS = 4
"""Most links of one component that are enumerated exactly."""
MOST_FRAMES = 20_000
"""Most frames solved in one search; beyond, the best found is returned as not proved, with the bound reached."""
MOST_COMBINATIONS = 300_000
"""Most combinations of the links' families that a search begins with."""

Whole = NDArray[np.int64]
Vector = tuple[int, ...]
Combo = tuple[Family | None, ...]

_AFTER = (
    "addresses that read as another",
    "installed packs changed",
    "switches moved",
    "manager not of the newest generation",
    "order by place",
)
_MEMBERSHIP = ("unmanaged", "managed")
"""Preferences about who is managed stand before energy, all others after it: a kept address never costs a managed pack."""


@dataclass(frozen=True)
class Placed:
    """One pack in a plan: link (index in the component), role, mode, address."""

    link: int | None
    role: str
    mode: str | None
    address: int | None
    slot: int


@dataclass(frozen=True)
class Solution:
    """A choice: level vector, family and number of packs per link, and every pack's slot in rank order."""

    vector: Vector
    chosen: tuple[tuple[Family, int] | None, ...]
    placed: tuple[Placed, ...]
    slots: tuple[int, ...]
    bound: Vector | None = None
    """None: proved best. Else the bound on the first levels below which nothing better can lie."""

    def manager(self, packs: Sequence[Device], link: int) -> str | None:
        """Return the id of a link's manager."""
        return next(
            (d.id for d, p in zip(packs, self.placed, strict=True) if p.link == link and p.role == "manager"), None
        )

    def members(self, packs: Sequence[Device], link: int) -> tuple[str, ...]:
        """Return the ids of all packs on a link, the manager among them, in rank order."""
        return tuple(d.id for d, p in zip(packs, self.placed, strict=True) if p.link == link)


@dataclass(frozen=True)
class Restriction:
    """What a second search must differ in: packs that may not manage a link, must be on it, or must be off it."""

    not_manager: tuple[tuple[int, int], ...] = ()
    on: tuple[tuple[int, int], ...] = ()
    off: tuple[tuple[int, int], ...] = ()


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
    _blocks: dict[object, _Block] = field(default_factory=dict)
    bounds: dict[object, Vector] = field(default_factory=dict)
    starts: list[tuple[Vector, Combo, tuple[int, ...]]] = field(default_factory=list)
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
        self.found = {}
        for key in {RecordKey(d.record) for d in self.packs}:
            alike = [d for d in self.packs if d.record is key.record]
            self.found[key] = np.array([found_codes(d) for d in alike]).reshape(len(alike), -1)
        if not self.families:
            self.families = [
                list(families(i, link, dict(self.devices), self.candidates[i])) for i, link in enumerate(self.links)
            ]

    def room(self, combo: Combo, off: tuple[tuple[int, int], ...]) -> tuple[tuple[int, ...], list[int]]:
        """Return the least of the levels before energy, and by number of packs the energy that stays off any link."""
        kinds = frozenset(k for f in combo if f is not None for k in f.kinds)
        alike: object = (
            off if self.early else tuple((self.packs[row].record.id, int(self.energy[row])) for row, _ in off)
        )
        if (kinds, alike) not in self._room:
            without = {row for row, _ in off}
            rows = [i for i, d in enumerate(self.packs) if RecordKey(d.record) in kinds and i not in without]
            inside = {self.packs[i].id for i in rows}
            early = tuple(
                sum(name in self.row and name not in inside for name in w.about) if w.what == "managed" else 0
                for w in self.early
            )
            on = np.concatenate([[0], np.cumsum(np.sort(self.energy[rows])[::-1])])
            self._room[kinds, alike] = early, [int(v) for v in self.energy.sum() - on]
        return self._room[kinds, alike]

    def strike(self, link: str, kinds: tuple[str, ...]) -> bool:
        """Take out every frame of a link with exactly these kinds (record ids); return whether any was left to take."""
        index = next(i for i, one in enumerate(self.links) if one.id == link)
        self.starts = []
        self.bounds.clear()
        gone = {f for f in self.families[index] if {k.record.id for k in f.kinds} == set(kinds)}
        self.families[index] = [f for f in self.families[index] if f not in gone]
        return bool(gone)

    def _newest(self) -> dict[str | None, int]:
        top: dict[str | None, int] = {}
        for d in self.packs:
            generation = d.record.generation.only
            if generation is not None:
                top[d.record.family] = max(top.get(d.record.family, generation), generation)
        return top


def level_names(component: Component) -> tuple[str, ...]:
    """Return the names of the levels, first decides first."""
    return (
        "installed packs taken off their link",
        *(f"preference: {w.text}" for w in component.early),
        "energy not on a link",
        *(f"preference: {w.text}" for w in component.late),
        *_AFTER,
    )


@dataclass
class _Block:
    """The slots of one link in one frame: levels x packs x slots, which are possible, and what each slot is."""

    levels: list[Whole]
    allowed: NDArray[np.bool_]
    slots: list[tuple[str, int | None]]
    modes: list[list[str]]
    members: int


def _block(component: Component, family: Family, count: int) -> _Block | None:
    key = (family, count)
    if key not in component._blocks:
        built = _build(component, family, count)
        if built is not None:
            component._blocks[key] = built
        else:
            return None
    return component._blocks[key]


def _build(component: Component, family: Family, count: int) -> _Block | None:
    members = family.member_slots(count)
    if members is None:
        return None
    slots: list[tuple[str, int | None]] = [("manager", family.manager_address)] if family.manager is not None else []
    slots += [("member", address) for address in members]
    n_packs, n_levels = len(component.packs), component.levels
    levels = [np.zeros((n_packs, len(slots)), dtype=np.int64) for _ in range(n_levels)]
    allowed = np.zeros((n_packs, len(slots)), dtype=np.bool_)
    modes = [[""] * len(slots) for _ in range(n_packs)]
    for key in family.kinds:
        _fill(component, family, count, key, slots, levels, allowed, modes)
    _rank_levels(component, family, slots, levels)
    _restrict(component, family, slots, allowed)
    return _Block(levels, allowed, slots, modes, count - (family.manager is not None))


def _fill(
    component: Component,
    family: Family,
    count: int,
    key: RecordKey,
    slots: Sequence[tuple[str, int | None]],
    levels: list[Whole],
    allowed: NDArray[np.bool_],
    modes: list[list[str]],
) -> None:
    """Enter the packs of one record: for each slot the best of its modes."""
    on_link = {d.id for d in component.candidates[family.link]}
    alike = [d for d in component.packs if d.record is key.record]
    keep = [i for i, d in enumerate(alike) if d.id in on_link]
    devices = [alike[i] for i in keep]
    if not devices:
        return
    rows = np.array([component.row[d.id] for d in devices])
    found = component.found[key][keep]
    still = np.array([any(w.what == "switches" and d.id in w.about for w in component.must) for d in devices])
    member_modes = dict(family.modes)[key]
    for mode in dict.fromkeys((*member_modes, *(family.manager_modes if key == family.manager else ()))):
        open_to = [
            (mode in member_modes) if role == "member" else (key == family.manager and mode in family.manager_modes)
            for role, _ in slots
        ]
        states = tuple(slot_state(family, key.record, mode, a, count, role) for role, a in slots)
        codes, possible, ambiguous = standing_rows(key, states)
        possible = possible & np.array(open_to, dtype=np.bool_)
        cost = moved(codes, devices, found)
        mine = _mode_levels(component, family, devices, slots, mode, cost, ambiguous)
        open_slots = possible[None, :] & ((cost == 0) | ~still[:, None])
        better = open_slots & (~allowed[rows] | _less(mine, [level[rows] for level in levels]))
        for level, new in zip(levels, mine, strict=True):
            level[rows] = np.where(better, new, level[rows])
        allowed[rows] |= open_slots
        for i, j in np.argwhere(better):
            modes[rows[i]][j] = mode


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
    changed = np.array(
        [[_changed(component, family, d, role, mode) for role, _ in slots] for d in devices], dtype=np.int64
    )
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
        *late,
        np.broadcast_to(ambiguous[None, :], shape),
        changed.reshape(shape),
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
    component: Component, family: Family, slots: Sequence[tuple[str, int | None]], levels: list[Whole]
) -> None:
    """Order by place: (place rank - address rank) squared; packs numbered by the route only ask for the first as manager."""
    ranks = np.array(
        [{d.id: i for i, d in enumerate(component.candidates[family.link])}.get(d.id, 0) for d in component.packs],
        dtype=np.int64,
    )
    order = sorted(range(len(slots)), key=lambda j: (slots[j][1] if slots[j][1] is not None else -1, j))
    rank_of = {j: r for r, j in enumerate(order)}
    for j, (role, _) in enumerate(slots):
        if family.numbered or role == "manager":
            squares = (ranks - rank_of[j]) ** 2
            levels[-1][:, j] = squares
            for k, wish in enumerate(component.late):
                if wish.what == "physical order":
                    levels[len(component.early) + 2 + k][:, j] = squares


def _restrict(
    component: Component, family: Family, slots: Sequence[tuple[str, int | None]], allowed: NDArray[np.bool_]
) -> None:
    """Strike what ``must`` wishes, a fixed manager and a manager by place forbid."""
    link = component.links[family.link]
    for j, (role, address) in enumerate(slots):
        if role == "manager":
            fixed = link.manager if link.manager not in (None, "propose") else None
            for name in (fixed, family.manager_pack):
                if name is not None:
                    allowed[[i for i, d in enumerate(component.packs) if d.id != name], j] = False
        elif family.manager_pack is not None:
            allowed[: component.row[family.manager_pack], j] = False
        for wish in component.must:
            for name in wish.about:
                i = component.row.get(name)
                if i is not None and not _wish_allows(component, family, wish, i, role, address):
                    allowed[i, j] = False
    for wish in component.must:
        if wish.what == "manager" and _means(component, family, wish):
            outside = [i for i, d in enumerate(component.packs) if d.id not in wish.about]
            for j, (role, _) in enumerate(slots):
                if role == "manager" and len(component.links) == 1:
                    allowed[outside, j] = False


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


# ---- the search ----


def best(
    component: Component,
    restriction: Restriction | None = None,
    cutoff: Vector | None = None,
    frames: int = MOST_FRAMES,
) -> Solution | None:
    """Return the best choice under a restriction; None when nothing is possible or nothing comes up to ``cutoff``.

    After ``frames`` frames the best found so far is returned with the bound reached: not proved.
    """
    restriction = restriction or Restriction()
    found: Solution | None = None
    for number, (bound, combo, counts) in enumerate(_in_order(component)):
        limit = found.vector if found is not None else cutoff
        if limit is not None and bound > limit[: len(bound)]:
            break
        if limit is not None and _bound(component, combo, counts, restriction) > limit[: len(bound)]:
            continue
        if number >= frames and found is not None:
            return replace(found, bound=bound)
        solved = _all_kinds(component, combo, counts, restriction, found)
        if solved is not None and (found is None or (solved.vector, solved.slots) < (found.vector, found.slots)):
            found = solved
    if found is not None and cutoff is not None and found.vector > cutoff:
        return None
    return found


def _in_order(component: Component) -> Iterator[tuple[Vector, Combo, tuple[int, ...]]]:
    """Yield frames by their bound, least first: every combination of families, from its most packs downwards."""
    heap: list[tuple[Vector, int, Combo, tuple[int, ...]]] = []
    ticket = itertools.count()
    seen: set[tuple[Combo, tuple[int, ...]]] = set()
    fresh = iter(_starts(component))
    following = next(fresh, None)
    while heap or following is not None:
        if following is not None and (not heap or following[0] <= heap[0][0]):
            bound, combo, counts = following
            following = next(fresh, None)
        else:
            bound, _, combo, counts = heapq.heappop(heap)
        yield bound, combo, counts
        for i, family in enumerate(combo):
            if family is not None and counts[i] > family.least:
                fewer = (*counts[:i], counts[i] - 1, *counts[i + 1 :])
                if (combo, fewer) not in seen:
                    seen.add((combo, fewer))
                    heapq.heappush(heap, (_bound(component, combo, fewer, Restriction()), next(ticket), combo, fewer))


def _starts(component: Component) -> list[tuple[Vector, Combo, tuple[int, ...]]]:
    """Every combination of families at its most packs, by bound (kept for the searches for the runner-up)."""
    if not component.starts:
        found = []
        for combo in _combos(component):
            counts = tuple(f.most if f is not None else 0 for f in combo)
            found.append((_bound(component, combo, counts, Restriction()), combo, counts))
        component.starts = sorted(found, key=lambda one: one[0])
    return component.starts


def _combos(component: Component) -> Iterator[Combo]:
    yield from itertools.product(*[[*options, None] for options in component.families])


def least(component: Component, restriction: Restriction) -> Vector:
    """Return a bound below every choice under a restriction: the least over all frames at their most packs."""
    key = ("least", tuple((component.packs[row].record.id, int(component.energy[row])) for row, _ in restriction.off))
    if key not in component.bounds or component.early or restriction.on or restriction.not_manager:
        component.bounds[key] = min(
            _bound(component, combo, tuple(f.most if f is not None else 0 for f in combo), restriction)
            for combo in _combos(component)
        )
    return component.bounds[key]


def _bound(component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction) -> Vector:
    """Return a lower bound on the levels down to energy: the packs of most energy that the frame has room for."""
    off = restriction.off if len(component.links) == 1 else ()
    early, lost = component.room(combo, off)
    return (0, *early, lost[min(sum(counts), len(lost) - 1)])


def _off_levels(component: Component) -> list[Whole]:
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
                levels[1 + k if k < len(component.early) else 2 + k][i] = 1
        levels[energy][i] = component.energy[i]
        levels[component.levels - 4][i] = int(taken_off)
    return levels


def _all_kinds(
    component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction, found: Solution | None
) -> Solution | None:
    """Solve a frame with every one of its kinds on the link: what an absent kind asks must not shape the answer.

    Where a kind is missing, its packs are put on the link one after the other, unless the answer already loses to ``found``.
    """
    solved = _solve(component, combo, counts, restriction, found)
    if solved is None or (found is not None and (solved.vector, solved.slots) >= (found.vector, found.slots)):
        return None
    missing = next(
        (
            (i, k)
            for i, family in enumerate(combo)
            if family is not None
            for k in family.kinds
            if not any(
                p.link == i and d.record is k.record for d, p in zip(component.packs, solved.placed, strict=True)
            )
        ),
        None,
    )
    if missing is None:
        return solved
    index, kind = missing
    best_of: Solution | None = None
    for row, device in enumerate(component.packs):
        if device.record is kind.record:
            other = _all_kinds(
                component, combo, counts, replace(restriction, on=(*restriction.on, (row, index))), best_of or found
            )
            best_of = other or best_of
    return best_of


def _solve(
    component: Component, combo: Combo, counts: tuple[int, ...], restriction: Restriction, found: Solution | None
) -> Solution | None:
    """Solve one frame by one assignment; None when it cannot be filled or its row minima already lose to ``found``."""
    blocks: list[_Block | None] = []
    for family, count in zip(combo, counts, strict=True):
        block = _block(component, family, count) if family is not None else None
        if family is not None and block is None:
            return None
        blocks.append(block)
    n, total = len(component.packs), sum(counts)
    if total > n:
        return None
    parts = [b for b in blocks if b is not None]
    spare = [sum(role == "member" for role, _ in b.slots) - b.members for b in parts]
    size = n + sum(spare)
    allowed = np.zeros((size, size), dtype=np.bool_)
    levels = [np.zeros((size, size), dtype=np.int64) for _ in range(component.levels)]
    column, row = 0, n
    starts: list[int] = []
    for block, extra in zip(parts, spare, strict=True):
        width = len(block.slots)
        allowed[:n, column : column + width] = block.allowed
        for level, mine in zip(levels, block.levels, strict=True):
            level[:n, column : column + width] = mine
        members = [column + j for j, (role, _) in enumerate(block.slots) if role == "member"]
        allowed[row : row + extra, members] = True
        starts.append(column)
        column, row = column + width, row + extra
    _off_columns(component, levels, allowed, column)
    _apply(restriction, combo, parts, starts, allowed, n, column)
    if found is not None and _loses(levels, allowed, combo, counts, parts, found, n):
        return None
    columns = assign(levels, allowed, n)
    return None if columns is None else _solution(component, combo, counts, parts, starts, levels, columns, column)


def _loses(
    levels: Sequence[Whole],
    allowed: NDArray[np.bool_],
    combo: Combo,
    counts: tuple[int, ...],
    parts: Sequence[_Block],
    found: Solution,
    n: int,
) -> bool:
    """Whether a frame cannot beat ``found``: by the sum of row minima of each level in turn, then by the lowest slots."""
    for level, best_of in zip(levels, found.vector, strict=True):
        low = int(np.where(allowed[:n], level[:n], 2**40).min(axis=1).sum())
        if low != best_of:
            return low > best_of
    where = [i for i, f in enumerate(combo) if f is not None]
    keys: list[int] = []
    for block, index in zip(parts, where, strict=True):
        mine = sorted(_slot_key(index, role, address, j) for j, (role, address) in enumerate(block.slots))
        keys += mine[: counts[index]]
    return (*sorted(keys), *[_OFF] * (n - len(keys))) > found.slots


_OFF = 10**9


def _slot_key(link: int, role: str, address: int | None, position: int) -> int:
    """Order of slots: by link, the manager first, then by address (by position where the route numbers the packs)."""
    return link * 10**6 + (0 if role == "manager" else 1 + (address if address is not None else position))


def _off_columns(component: Component, levels: list[Whole], allowed: NDArray[np.bool_], column: int) -> None:
    n = len(component.packs)
    for level, off in zip(levels, _off_levels(component), strict=True):
        level[:n, column:] = off[:, None]
    allowed[:n, column:] = True
    for wish in component.must:
        if wish.what in ("managed", "addresses", "manager"):
            rows = [component.row[name] for name in wish.about if name in component.row]
            allowed[rows, column:] = False


def _apply(
    restriction: Restriction,
    combo: Combo,
    parts: Sequence[_Block],
    starts: Sequence[int],
    allowed: NDArray[np.bool_],
    n: int,
    off: int,
) -> None:
    place = {i: k for k, i in enumerate(i for i, f in enumerate(combo) if f is not None)}
    for row, link in restriction.not_manager:
        if link in place:
            for j, (role, _) in enumerate(parts[place[link]].slots):
                if role == "manager":
                    allowed[row, starts[place[link]] + j] = False
    for row, link in (*restriction.on, *restriction.off):
        mine = np.zeros(allowed.shape[1], dtype=np.bool_)
        if link in place:
            start = starts[place[link]]
            mine[start : start + len(parts[place[link]].slots)] = True
        allowed[row] &= mine if (row, link) in restriction.on else ~mine


def _solution(
    component: Component,
    combo: Combo,
    counts: tuple[int, ...],
    parts: Sequence[_Block],
    starts: Sequence[int],
    levels: Sequence[Whole],
    columns: Sequence[int],
    off: int,
) -> Solution:
    n = len(component.packs)
    vector = tuple(int(sum(int(level[i, columns[i]]) for i in range(n))) for level in levels)
    where = [i for i, f in enumerate(combo) if f is not None]
    placed, slots = [], []
    for i in range(n):
        if columns[i] >= off:
            placed.append(Placed(None, "unmanaged", None, None, -1))
            slots.append(_OFF)
            continue
        k = max(k for k, start in enumerate(starts) if start <= columns[i])
        j = columns[i] - starts[k]
        role, address = parts[k].slots[j]
        placed.append(Placed(where[k], role, parts[k].modes[i][j], address, j))
        slots.append(_slot_key(where[k], role, address, j))
    chosen = tuple((f, counts[i]) if f is not None else None for i, f in enumerate(combo))
    return Solution(vector, chosen, tuple(placed), tuple(slots))


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
