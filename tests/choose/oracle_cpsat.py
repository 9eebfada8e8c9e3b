"""The best choice of a site of any size by CP-SAT, level after level, each earlier optimum kept as a condition.

One yes/no per frame of a link (which records are on it, how they talk, which record is manager and at which address),
and inside each frame one per (pack, role, address) and, where the rules ask for it, one per number of packs. Frames do
not share yes/noes: so the linear relaxation is that of one assignment for each frame, and is nearly always whole.
Rules and reading: :mod:`tests.choose.oracle_model`. A solver that reaches its limit is an error.

``linearization_level`` 2: without it the assignment inside is not proved in any useful time. One worker: with two,
CP-SAT gives the linear relaxation to neither (measured: one frame of 22 packs not proved in 12 s, else in 0.1 s).
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ortools.sat.python import cp_model

from tests.choose import oracle_model as om
from tests.choose.oracle_enumeration import OFF, Decision, meant

__all__ = ["LIMIT", "Proof", "Unproved", "prove"]

LIMIT = 200.0
"""Limit of one solve in the solver's own count of work, about seconds of a quiet machine, the same on every machine;
reaching it fails the test. The hardest of the 200 sites takes 23."""
PACKED = 2**31
"""Levels after energy are packed into one objective while its largest sum stays below this."""


class Unproved(Exception):
    """The solver came to its limit."""


@dataclass(frozen=True)
class Proof:
    """The least vector over all components, and whether the decisions in question are among the best."""

    vector: tuple[int, ...]
    reached: bool


@dataclass
class _Option:
    """One way of a pack to stand: its least levels, and every decision that comes to them."""

    levels: tuple[int, ...]
    decisions: list[Decision]


Way = tuple[str, str, int | None, int]
"""Pack, role, address, number of packs where a switch of the manager counts them (else 0)."""


class _Ways:
    """The options of every pack in one frame, the ways that differ only in mode and talk towards the controller
    reduced to the cheapest: nothing else hangs on them."""

    def __init__(
        self, plant: om.Plant, link: om.Wanted, packs: Sequence[om.Pack], frame: om.Frame, top: Mapping[str, int]
    ) -> None:
        self.plant, self.link, self.frame, self.top = plant, link, frame, top
        self.packs = [p for p in packs if p.rec in frame.present]
        self.place = {p.id: i for i, p in enumerate(packs)}
        self.most = min(om.most_packs(frame.manager, frame.present), len(self.packs))
        self.table: dict[Way, _Option] = {}
        self.means: dict[Way, frozenset[int]] = {}
        """Every address that the pattern of a way may mean."""

    def _ranked(self, role: str, address: int | None, place: int) -> int:
        slots = self.frame.slots
        if slots is None:
            return place**2 if role == "manager" else 0
        return (place - om.address_rank(slots, address, self.frame.at)) ** 2

    def _inside(self, address: int) -> bool:
        slots = self.frame.slots
        return slots is not None and (
            slots.start <= address < slots.start + self.most if slots.run else address in slots.open
        )

    def _stands(self, rec: om.Rec, mode: str) -> Iterator[om.Standing]:
        f = self.frame
        if rec is f.manager and (
            f.slots is None or (om.manager_may(rec, mode, f.at, f.present) and (f.at is None or self._inside(f.at)))
        ):
            counts = range(len(f.present), self.most + 1) if om.counts(rec) else [0]
            for report, count in itertools.product(om.reports(self.plant, self.link, rec), counts):
                yield om.Standing("manager", mode, f.at, count, f.talk, report)
        towards = (self.plant.controllers[self.link.reports_to[0]][0], "", 0)
        if f.slots is None:
            yield om.Standing("member", mode, None, 0, f.talk, towards)
            return
        for a in sorted(rec.allowed):
            if self._inside(a) and om.member_may(rec, mode, a, f.manager, f.at, f.present):
                yield om.Standing("member", mode, a, 0, f.talk, towards)

    def fill(self, fixed: Mapping[str, Decision] | None) -> dict[Way, _Option]:
        modes = {
            r: [m for m in om.left_modes(r, self.frame.present) if om.speaks(r, m, self.frame.talk)]
            for r in self.frame.present
        }
        stands = {r: [s for m in modes[r] for s in self._stands(r, m)] for r in self.frame.present}
        for pack in self.packs:
            for stand in stands[pack.rec]:
                decision = _decision(self.link.id, stand)
                if fixed is not None and not meant(decision, fixed[pack.id]):
                    continue
                order = self._ranked(stand.role, stand.address, self.place[pack.id])
                levels = om.on_levels(self.plant, pack, self.link, stand, order, self.top)
                slots = self.frame.slots
                apart = om.read_right(pack.rec, stand) and not (slots and slots.run and om.twins(pack.rec, stand))
                if levels is not None and apart:
                    way = pack.id, stand.role, stand.address, stand.count
                    self.means[way] = self.means.get(way, frozenset()) | om.meanings(pack.rec, stand)
                    self._enter(way, tuple(levels), decision)
        return self.table

    def _enter(self, way: Way, levels: tuple[int, ...], decision: Decision) -> None:
        known = self.table.get(way)
        if known is None or levels < known.levels:
            self.table[way] = _Option(levels, [decision])
        elif levels == known.levels:
            known.decisions.append(decision)


def _decision(link: str, stand: om.Standing) -> Decision:
    report = stand.report[1:] if stand.role == "manager" else None
    return Decision(link, stand.role, stand.mode, stand.address, stand.chain[1:], report)


class _Model:
    """One component as a CP-SAT model. ``fixed``: only what these decisions say is open."""

    def __init__(
        self,
        plant: om.Plant,
        links: Sequence[om.Wanted],
        packs: Sequence[om.Pack],
        fixed: Mapping[str, Decision] | None = None,
    ) -> None:
        self.plant, self.packs, self.fixed = plant, packs, fixed
        self.top = om.tops(packs)
        self.model: Any = cp_model.CpModel()
        self.names = om.level_names(plant)
        self.levels: list[list[tuple[Any, int]]] = [[] for _ in self.names]
        self.by_pack: dict[str, list[tuple[_Option, Any]]] = {p.id: [] for p in packs}
        for pack in packs:
            costs = om.off_levels(plant, pack)
            if costs is not None and (fixed is None or fixed[pack.id].link is None):
                self._enter(pack.id, _Option(tuple(costs), [OFF]))
        for link in links:
            mine = [p for p in packs if p.id in link.packs]
            self.model.add_at_most_one(self._frame(ways) for ways in self._unlike(link, mine))
        for pack in packs:
            self._split(pack.id)

    def _split(self, pack: str) -> None:
        """A pack stands in one way; whether it is on each link is a yes/no of its own, for the solver to begin with."""
        by_link: dict[str | None, list[Any]] = defaultdict(list)
        for option, x in self.by_pack[pack]:
            by_link[option.decisions[0].link].append(x)
        on = {link: self.model.new_bool_var("") if link is not None else xs[0] for link, xs in by_link.items()}
        for link, xs in by_link.items():
            if link is not None:
                self.model.add(sum(xs) == on[link])
        self.model.add_exactly_one(on.values())

    def _enter(self, pack: str, option: _Option) -> Any:
        x = self.model.new_bool_var("")
        self.by_pack[pack].append((option, x))
        for level, cost in zip(self.levels, option.levels, strict=True):
            if cost:
                level.append((x, cost))
        return x

    def _unlike(self, link: om.Wanted, packs: Sequence[om.Pack]) -> list[_Ways]:
        """The possible frames of a link, one of those that no level can tell apart (as two dialects no switch sets)."""
        kept: dict[object, _Ways] = {}
        for frame in om.frames(self.plant, link):
            ways = _Ways(self.plant, link, packs, frame, self.top)
            table = ways.fill(self.fixed)
            if ways.most < len(frame.present) or not any(role == "manager" for _, role, _, _ in table):
                continue
            costs = frozenset((way, option.levels) for way, option in table.items())
            same = kept.setdefault((frame.present, frame.manager, frame.at, frame.slots, costs), ways)
            if same is not ways:
                for way, option in table.items():
                    same.table[way].decisions += option.decisions
        return list(kept.values())

    def _frame(self, ways: _Ways) -> Any:
        """Enter one frame; return whether it is the one in force."""
        frame, table = ways.frame, ways.table
        model, y = self.model, self.model.new_bool_var("")
        xs = {way: self._enter(way[0], option) for way, option in table.items()}
        of_pack: dict[str, list[Any]] = defaultdict(list)
        leads: dict[str, list[Any]] = defaultdict(list)
        at: dict[int, list[Any]] = defaultdict(list)
        counted: dict[int, list[Any]] = defaultdict(list)
        for (name, role, address, count), x in xs.items():
            of_pack[name].append(x)
            if role == "manager":
                leads[name].append(x)
                counted[count].append(x)
            for value in ways.means[name, role, address, count]:
                at[value].append(x)
        model.add(sum(x for row in leads.values() for x in row) == y)
        for i, pack in enumerate(ways.packs):
            later = [x for p in ways.packs[i + 1 :] for x in leads[p.id]] if frame.manager.made_by == "place" else []
            model.add(sum([*of_pack[pack.id], *later]) <= y)
        for rec in frame.present:
            model.add(sum(x for p in ways.packs if p.rec is rec for x in of_pack[p.id]) >= y)
        for crowd in om.crowds(frame.present):
            parts = [(x, crowd.parts.get(p.rec, 0)) for p in ways.packs for x in of_pack[p.id]]
            model.add(sum(part * x for x, part in parts if part) <= crowd.most * y)
        self._number(frame, ways.most, y, list(xs.values()), at, counted)
        return y

    def _number(
        self,
        frame: om.Frame,
        most: int,
        y: Any,
        xs: Sequence[Any],
        at: Mapping[int, Sequence[Any]],
        counted: Mapping[int, Sequence[Any]],
    ) -> None:
        """How many packs: at most the cap; exactly the number in force where addresses run or a switch counts."""
        model, run = self.model, frame.slots is not None and frame.slots.run
        numbers = {n: model.new_bool_var("") for n in range(len(frame.present), most + 1)}
        if not run and 0 in counted:
            model.add(sum(xs) <= most * y)
        else:
            model.add(sum(numbers.values()) == y)
            model.add(sum(xs) == sum(n * z for n, z in numbers.items()))
        if 0 not in counted:
            for n, z in numbers.items():
                model.add(sum(counted.get(n, [])) == z)
        if frame.slots is None:
            return
        if not run:
            for row in at.values():
                model.add(sum(row) <= y)
            return
        first, bare = frame.slots.start, int(frame.at is None)
        for a in range(first, first + most):
            model.add(sum(at.get(a, [])) == sum(z for n, z in numbers.items() if first + n - bare > a))

    # ---- solving ----

    def _hint(self, decisions: Mapping[str, Decision]) -> None:
        """Begin from the decisions in question: it saves the search for a first answer and proves nothing."""
        for pack, row in self.by_pack.items():
            for option, x in row:
                self.model.add_hint(x, any(meant(d, decisions[pack]) for d in option.decisions))

    def _next(self, level: int) -> list[tuple[int, int]]:
        """The levels to solve at once, from ``level`` on, with their weights: while the largest sum stays in bounds.
        Those that only ask who is on a link, down to energy, are solved each alone: it takes less work.

        A weight passes the largest sum of all levels after it, so that the packed optimum is the level-by-level one.
        """
        if level <= self.names.index("energy"):
            return [(level, 1)]
        spans = []
        for k in range(level, len(self.levels)):
            costs = {x.index: cost for x, cost in self.levels[k]}
            spans.append(
                1 + sum(max((costs.get(x.index, 0) for _, x in row), default=0) for row in self.by_pack.values())
            )
        taken, size = 0, 1
        for span in spans:
            if taken and size * span >= PACKED:
                break
            taken, size = taken + 1, size * span
        found, weight = [], 1
        for k in reversed(range(taken)):
            found.append((level + k, weight))
            weight *= spans[k]
        return found[::-1]

    def solve(self, hints: Mapping[str, Decision] | None = None) -> list[int] | None:
        if hints is not None:
            self._hint(hints)
        values: list[int] = []
        solver: Any = None
        while len(values) < len(self.levels):
            k = len(values)
            if solver is not None and not any(solver.value(x) for x, _ in self.levels[k]):
                values.append(0)  # no level goes below 0
                for x, _ in self.levels[k]:
                    self.model.add(x == 0)
                continue
            group = self._next(k)
            self.model.minimize(sum(x * cost * weight for j, weight in group for x, cost in self.levels[j]))
            solver = _run(self.model)
            if solver is None:
                return None
            for j, _ in group:
                values.append(sum(cost * solver.value(x) for x, cost in self.levels[j]))
                self.model.add(sum(x * cost for x, cost in self.levels[j]) == values[j])
            self.model.clear_hints()
            for row in self.by_pack.values():
                for _, x in row:
                    self.model.add_hint(x, solver.value(x))
        return values


def _run(model: Any) -> Any:
    """Solve; None where nothing is possible."""
    solver = cp_model.CpSolver()
    solver.parameters.linearization_level = 2
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = LIMIT
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.INFEASIBLE):
        raise Unproved(f"CP-SAT did not prove it within {LIMIT:g} units of work: {solver.status_name(status)}")
    return solver if status == cp_model.OPTIMAL else None


def prove(
    plant: om.Plant, decisions: Mapping[str, Decision] | None = None, hints: Mapping[str, Decision] | None = None
) -> Proof | None:
    """Return the proved optimum; None where the conditions cannot all hold. Raises Unproved at the limit.

    ``decisions``: also say whether they are among the best, and begin from them; ``hints``: only begin from them.
    """
    total = [0] * len(om.level_names(plant))
    reached = True
    for links, packs in om.components(plant):
        found = _Model(plant, links, packs).solve(decisions or hints)
        if found is None:
            return None
        total = [a + b for a, b in zip(total, found, strict=True)]
        if decisions is not None:
            reached = reached and _Model(plant, links, packs, decisions).solve() == found
    return Proof(tuple(total), reached)
