"""The best choice of a site of any size by CP-SAT, level after level, each earlier optimum kept as an equality.

One yes/no per (pack, link, talk, slots, role, mode, address) and one per frame of a link: which records are on
it, how they talk,
which record is manager and at which address. Rules and reading: :mod:`tests.choose.oracle_model`. A solver
that reaches its time
limit is an error. ``linearization_level`` 2: without it the assignment inside is not proved in any useful time.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ortools.sat.python import cp_model

from tests.choose import oracle_model as om
from tests.choose.oracle_enumeration import Decision

__all__ = ["Proof", "prove"]

LIMIT_S = 12.0
"""Time limit of one level [s]; reaching it fails the test."""


@dataclass(frozen=True)
class Proof:
    """The least vector over all components, and whether the decisions in question are among the best."""

    vector: tuple[int, ...]
    reached: bool


@dataclass(frozen=True)
class _Frame:
    """Who is on a link and how: records, talk, the manager's record and address, slots (None: the route numbers)."""

    present: frozenset[om.Rec]
    talk: om.Talk
    manager: om.Rec
    at: int | None
    slots: om.Slots | None

    @property
    def sign(self) -> tuple[om.Talk, om.Slots | None, bool]:
        """What the rank of an address and the switches follow from."""
        return self.talk, self.slots, self.at is None


def _frames(plant: om.Plant, link: om.Wanted) -> Iterator[_Frame]:
    recs = list(dict.fromkeys(plant.by_id[p].rec for p in link.packs))
    for size in range(1, len(recs) + 1):
        for some in itertools.combinations(recs, size):
            if any(om.excluded(a, b) for a, b in itertools.combinations(some, 2)) or len({r.given for r in some}) > 1:
                continue
            present = frozenset(some)
            for talk, manager in itertools.product(om.talks(plant, link), some):
                spoken = all(any(om.speaks(r, m, talk) for m in om.left_modes(r, present)) for r in some)
                if spoken and om.may_manage(manager, present) and om.reports(plant, link, manager):
                    yield from _addressed(present, talk, manager)


def _addressed(present: frozenset[om.Rec], talk: om.Talk, manager: om.Rec) -> Iterator[_Frame]:
    if manager.given != "by switches":
        yield _Frame(present, talk, manager, None, None)
        return
    for at in {a for m in manager.modes for a in om.manager_addresses(manager, m)}:
        slots = om.slots_of(manager, at, present)
        if slots is not None:
            yield _Frame(present, talk, manager, at, slots)


class _Model:
    """One component as a CP-SAT model."""

    def __init__(self, plant: om.Plant, links: Sequence[om.Wanted], packs: Sequence[om.Pack]) -> None:
        self.plant, self.packs = plant, packs
        self.top = om.tops(packs)
        self.model: Any = cp_model.CpModel()
        self.levels: list[list[tuple[Any, int]]] = [[] for _ in om.level_names(plant)]
        self.by_pack: dict[str, list[tuple[Decision, Any]]] = {p.id: [] for p in packs}
        for pack in packs:
            costs = om.off_levels(plant, pack)
            if costs is not None:
                self._enter(pack, Decision(None, "unmanaged", None, None), costs)
        for link in links:
            _Link(self, link)
        for pack in packs:
            self.model.add_exactly_one([x for _, x in self.by_pack[pack.id]])

    def _enter(self, pack: om.Pack, decision: Decision, costs: Sequence[int]) -> Any:
        x = self.model.new_bool_var("")
        self.by_pack[pack.id].append((decision, x))
        for level, cost in zip(self.levels, costs, strict=True):
            if cost:
                level.append((x, cost))
        return x

    def _hint(self, decisions: Mapping[str, Decision]) -> None:
        """Begin from the decisions in question: it saves the search for a first answer and proves nothing."""
        for pack, decision in decisions.items():
            mine = [(x, d == decision) for d, x in self.by_pack.get(pack, [])]
            for x, same in mine:
                if not same or sum(s for _, s in mine) == 1:
                    self.model.add_hint(x, same)

    def _groups(self) -> list[list[tuple[int, int]]]:
        """Levels that differ at all, neighbours packed into one objective while its sum stays below 2^40:
        (level, weight).

        A weight passes the largest sum of all levels after it, so that the packed optimum is the level-by-level one; an
        equality for each level alone would take the whole-number corners from the assignment inside.
        """
        groups: list[list[tuple[int, int]]] = []
        weight = 2**40
        for k in reversed(range(len(self.levels))):
            if not self.levels[k]:
                continue
            costs = {x.index: cost for x, cost in self.levels[k]}
            span = 1 + sum(max((costs.get(x.index, 0) for _, x in row), default=0) for row in self.by_pack.values())
            if weight * span >= 2**40:
                groups.append([])
                weight = 1
            groups[-1].append((k, weight))
            weight *= span
        return groups[::-1]

    def solve(self, decisions: Mapping[str, Decision] | None) -> tuple[list[int], bool] | None:
        self._hint(decisions or {})
        values: dict[int, int] = {}
        if not self._groups() and _run(self.model)[1] == cp_model.INFEASIBLE:
            return None
        for group in self._groups():
            packed = sum(x * cost * weight for k, weight in group for x, cost in self.levels[k])
            self.model.minimize(packed)
            solver, status = _run(self.model)
            if status == cp_model.INFEASIBLE:
                return None
            for k, _ in group:
                values[k] = sum(cost * solver.value(x) for x, cost in self.levels[k])
                self.model.add(sum(x * cost for x, cost in self.levels[k]) == values[k])
            self.model.clear_hints()
            for row in self.by_pack.values():
                for _, x in row:
                    self.model.add_hint(x, solver.value(x))
        vector = [values.get(k, 0) for k in range(len(self.levels))]
        self.model.clear_objective()
        self.model.clear_hints()
        for pack, row in self.by_pack.items():
            if decisions is None:
                break
            self.model.add(sum(x for d, x in row if d == decisions[pack]) == 1)
        return vector, _run(self.model)[1] != cp_model.INFEASIBLE


def _run(model: Any) -> tuple[Any, Any]:
    solver = cp_model.CpSolver()
    solver.parameters.linearization_level = 2
    solver.parameters.num_workers = 2
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = LIMIT_S
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.INFEASIBLE):
        raise AssertionError(f"not proved within {LIMIT_S} s: {solver.status_name(status)}")
    return solver, status


class _Link:
    """Variables and rules of one link."""

    def __init__(self, owner: _Model, link: om.Wanted) -> None:
        self.owner, self.link, self.model = owner, link, owner.model
        self.packs = [p for p in owner.packs if p.id in link.packs]
        self.frames = {f: self.model.new_bool_var("") for f in _frames(owner.plant, link)}
        self.by_sign: dict[Any, list[_Frame]] = defaultdict(list)
        for frame in self.frames:
            self.by_sign[frame.sign].append(frame)
        self.on: dict[str, list[Any]] = defaultdict(list)
        self.leads: dict[str, list[Any]] = defaultdict(list)
        self.used: dict[Any, dict[int, list[Any]]] = defaultdict(lambda: defaultdict(list))
        self.one_each: dict[Any, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
        self.one_lead: dict[Any, list[Any]] = defaultdict(list)
        self.counted: list[tuple[Any, int]] = []
        for place, pack in enumerate(self.packs):
            for sign in self.by_sign:
                self._pack(pack, place, sign)
        self._rules()

    def _pack(self, pack: om.Pack, place: int, sign: tuple[om.Talk, om.Slots | None, bool]) -> None:
        for mode, role in itertools.product(pack.rec.modes, ("manager", "member")):
            frames = [
                f for f in self.by_sign[sign] if pack.rec in f.present and mode in om.left_modes(pack.rec, f.present)
            ]
            if not frames or not om.speaks(pack.rec, mode, sign[0]):
                continue
            for address, open_in in self._addresses(pack.rec, mode, role, frames):
                rank = 0 if sign[1] is None else om.address_rank(sign[1], address, None if sign[2] else -1)
                order = (place - rank) ** 2 if sign[1] is not None or role == "manager" else 0
                self._enter(pack, om.Standing(role, mode, address, 0, sign[0], ("", "", 0)), order, open_in, sign)

    def _addresses(
        self, rec: om.Rec, mode: str, role: str, frames: Sequence[_Frame]
    ) -> Iterator[tuple[int | None, list[_Frame]]]:
        """Addresses of a record in a role, each with the frames that are open to it."""
        open_in: dict[int | None, list[_Frame]] = defaultdict(list)
        for frame in frames:
            if role == "manager":
                if (
                    rec is frame.manager
                    and (frame.slots is None or om.manager_may(rec, mode, frame.at, frame.present))
                    and (frame.at is None or frame.slots is None or self._inside(frame.slots, frame.at))
                ):
                    open_in[frame.at].append(frame)
                continue
            if frame.slots is None:
                open_in[None].append(frame)
                continue
            for a in rec.allowed:
                if om.member_may(rec, mode, a, frame.manager, frame.at, frame.present) and self._inside(frame.slots, a):
                    open_in[a].append(frame)
        yield from open_in.items()

    def _inside(self, slots: om.Slots, address: int) -> bool:
        return slots.start <= address < slots.start + len(self.packs) if slots.run else address in slots.open

    def _enter(
        self,
        pack: om.Pack,
        stand: om.Standing,
        order: int,
        frames: Sequence[_Frame],
        sign: tuple[om.Talk, om.Slots | None, bool],
    ) -> None:
        plant, link = self.owner.plant, self.link
        kind = plant.controllers[link.reports_to[0]][0]
        ways = om.reports(plant, link, pack.rec) if stand.role == "manager" else [(kind, "", 0)]
        counts = range(1, len(self.packs) + 1) if stand.role == "manager" and _counts(pack.rec) else [0]
        for report, count in itertools.product(ways, counts):
            full = om.Standing(stand.role, stand.mode, stand.address, count, stand.chain, report)
            costs = om.on_levels(plant, pack, link, full, order, self.owner.top)
            if costs is None:
                continue
            x = self.owner._enter(pack, Decision(link.id, stand.role, stand.mode, stand.address), costs)
            self.model.add_bool_or([*(self.frames[f] for f in frames), ~x])
            self.on[pack.id].append(x)
            self.one_each[sign][pack.id].append(x)
            if stand.role == "manager":
                self.one_lead[sign].append(x)
                self.leads[pack.id].append(x)
            if count:
                self.counted.append((x, count))
            if stand.address is not None:
                self.used[sign][stand.address].append(x)

    def _rules(self) -> None:
        model = self.model
        total = sum(x for row in self.on.values() for x in row)
        model.add_at_most_one(self.frames.values())
        model.add(sum(x for row in self.leads.values() for x in row) == sum(self.frames.values()))
        model.add(total <= sum(om.most_packs(f.manager, f.present) * y for f, y in self.frames.items()))
        for sign, frames in self.by_sign.items():
            here = sum(self.frames[f] for f in frames)
            for row in self.one_each[sign].values():
                model.add(sum(row) <= here)
            model.add(sum(self.one_lead[sign]) == here)
        for frame, y in self.frames.items():
            for rec in frame.present:
                model.add_bool_or([~y, *(x for p in self.packs if p.rec is rec for x in self.on[p.id])])
        for x, count in self.counted:
            model.add(total == count).only_enforce_if(x)
        self._distinct()
        for pack in self.packs:
            if pack.rec.made_by == "place":
                before = [x for p in self.packs[: self.packs.index(pack)] for x in self.on[p.id]]
                for x in self.leads[pack.id] if before else ():
                    model.add(sum(before) == 0).only_enforce_if(x)

    def _distinct(self) -> None:
        for sign, table in self.used.items():
            here = sum(self.frames[f] for f in self.by_sign[sign])
            for row in table.values():
                self.model.add(sum(row) <= here)
            slots = sign[1]
            if slots is not None and slots.run:
                for a in (a for a in table if a > slots.start):
                    self.model.add(sum(table[a]) <= sum(table.get(a - 1, [])))


def _counts(rec: om.Rec) -> bool:
    return any(part.sets.startswith("count") for _, _, parts in rec.rows.values() for part in parts)


def prove(plant: om.Plant, decisions: Mapping[str, Decision] | None = None) -> Proof | None:
    """Return the proved optimum; None where the conditions cannot all hold. Raises AssertionError at the time limit."""
    total = [0] * len(om.level_names(plant))
    reached = True
    for links, packs in om.components(plant):
        found = _Model(plant, links, packs).solve(decisions)
        if found is None:
            return None
        total = [a + b for a, b in zip(total, found[0], strict=True)]
        reached = reached and found[1]
    return Proof(tuple(total), reached)
