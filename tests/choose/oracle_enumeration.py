"""The best choice of a small site by trying everything: every (link, role, mode, address) of every pack.

Passed over is only what contradicts itself at once: two packs at one address, two managers, another number of
packs than is on trial,
a pair that excludes each other, an address outside the run that a record asks for. Rules and reading:
:mod:`tests.choose.oracle_model`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tests.choose import oracle_model as om

__all__ = ["OFF", "Best", "Decision", "Plan", "best_of", "meant", "vector_of"]

Config = tuple[om.Talk, int] | None
WIDTH = 40
"""Bits of one level in a packed vector: sums of at most 60 packs stay far below."""


@dataclass(frozen=True)
class Decision:
    """What is decided for one pack."""

    link: str | None
    role: str
    mode: str | None
    address: int | None
    chain: tuple[str, int] | None = None
    """Dialect and rate among packs; None: not said."""
    report: tuple[str, int] | None = None
    """Dialect and rate towards the controller, of a manager; None: not said."""


def meant(one: Decision, said: Decision) -> bool:
    """Whether a decision is what another says of it."""
    return (
        (one.link, one.role, one.mode, one.address) == (said.link, said.role, said.mode, said.address)
        and said.chain in (None, one.chain)
        and said.report in (None, one.report)
    )


OFF = Decision(None, "unmanaged", None, None)


@dataclass(frozen=True)
class Plan:
    """Who is on one link, and the vector of its component."""

    manager: str | None
    members: tuple[str, ...]
    vector: tuple[int, ...]


@dataclass(frozen=True)
class Best:
    """The least vector, summed over components, and the decisions by pack.

    ``plans``: by link the best plan and the best with another manager or other packs on the link (None: no other).
    """

    vector: tuple[int, ...]
    decisions: Mapping[str, Decision]
    plans: Mapping[str, tuple[Plan, Plan | None]]


Who = tuple[str | None, tuple[str, ...]]
"""Manager and packs of one link."""


@dataclass(frozen=True)
class _Option:
    decision: Decision
    pack: om.Pack
    key: int
    means: frozenset[int] = frozenset()
    """Every address that its pattern may mean."""


class _Component:
    """One component under trial."""

    def __init__(self, plant: om.Plant, links: Sequence[om.Wanted], packs: Sequence[om.Pack]) -> None:
        self.plant, self.links, self.packs = plant, links, packs
        self.names = om.level_names(plant)
        self.top = om.tops(packs)
        n = len(packs)
        self.units = [1 << (20 * n + WIDTH * (len(self.names) - 1 - i)) for i in range(len(self.names))]
        orders = [*(i for i, name in enumerate(self.names) if name in ("wish order", "order"))]
        self.order = sum(self.units[i] for i in orders)
        self.place = {
            link.id: {p.id: i for i, p in enumerate(p for p in packs if p.id in link.packs)} for link in links
        }
        self.options: dict[tuple[int, int, Config], list[_Option]] = {}
        self.least: list[dict[Who, int]] = [{} for _ in links]
        """By link, for every manager and set of packs that some plan has, the least of those plans."""

    def packed(self, row: int, levels: Sequence[int], slot: int) -> int:
        return sum(u * v for u, v in zip(self.units, levels, strict=True)) + (slot << 20 * (len(self.packs) - 1 - row))

    def vector(self, key: int) -> tuple[int, ...]:
        return tuple((key // unit) & ((1 << WIDTH) - 1) for unit in self.units)

    def off(self, row: int) -> list[_Option]:
        levels = om.off_levels(self.plant, self.packs[row])
        return [] if levels is None else [_Option(OFF, self.packs[row], self.packed(row, levels, 10**6 - 1))]

    def on(self, row: int, index: int, config: Config, fixed: Mapping[str, Decision] | None) -> list[_Option]:
        """Every way a pack can stand on a link of ``config``: (talk, number of packs)."""
        if (row, index, config) not in self.options:
            best: dict[Decision, _Option] = {}
            for option in self._on(row, index, config):
                if fixed is not None and not meant(option.decision, fixed[option.pack.id]):
                    continue
                bare = replace(option.decision, report=None)  # ways of reporting that cost more decide nothing
                if bare not in best or option.key < best[bare].key:
                    best[bare] = option
            self.options[row, index, config] = list(best.values())
        return self.options[row, index, config]

    def _on(self, row: int, index: int, config: Config) -> Iterator[_Option]:
        pack, link = self.packs[row], self.links[index]
        if config is None or pack.id not in link.packs:
            return
        talk, count = config
        for stand in _stands(self.plant, pack, link, talk, count):
            levels = om.on_levels(self.plant, pack, link, stand, 0, self.top)
            if levels is not None and om.read_right(pack.rec, stand):
                where = self.plant.links.index(link) * 1000
                slot = where + (500 if stand.role == "member" else 0)
                slot += 0 if stand.address is None else 1 + stand.address
                report = stand.report[1:] if stand.role == "manager" else None
                decision = Decision(link.id, stand.role, stand.mode, stand.address, talk[1:], report)
                yield _Option(decision, pack, self.packed(row, levels, slot), om.meanings(pack.rec, stand))

    def configs(self, index: int) -> list[Config]:
        link = self.links[index]
        return [None, *((talk, n) for talk in om.talks(self.plant, link) for n in range(1, len(link.packs) + 1))]

    def solve(self, fixed: Mapping[str, Decision] | None = None) -> tuple[int, list[_Option]] | None:
        best: tuple[int, list[_Option]] | None = None
        for configs in itertools.product(*(self.configs(i) for i in range(len(self.links)))):
            if sum(c[1] for c in configs if c is not None) > len(self.packs):
                continue
            rows = [
                [
                    *itertools.chain(*(self.on(r, i, c, fixed) for i, c in enumerate(configs))),
                    *(o for o in self.off(r) if fixed is None or fixed[o.pack.id].link is None),
                ]
                for r in range(len(self.packs))
            ]
            for taken in self._trees(rows, configs, []):
                key = self._judge(taken, configs)
                if key is None:
                    continue
                for link, least in zip(self.links, self.least, strict=True):
                    who = _who(taken, link.id)
                    least[who] = min(key, least.get(who, key))
                if best is None or key < best[0]:
                    best = key, taken
        return best

    def plans(self, taken: Sequence[_Option]) -> dict[str, tuple[Plan, Plan | None]]:
        """By link the best plan and the best with another manager or other packs."""
        found: dict[str, tuple[Plan, Plan | None]] = {}
        for link, least in zip(self.links, self.least, strict=True):
            first = _who(taken, link.id)
            second = min((who for who in least if who != first), key=least.__getitem__, default=None)
            found[link.id] = (
                Plan(*first, self.vector(least[first])),
                None if second is None else Plan(*second, self.vector(least[second])),
            )
        return found

    def _trees(
        self, rows: Sequence[Sequence[_Option]], configs: Sequence[Config], taken: list[_Option]
    ) -> Iterator[list[_Option]]:
        lacking = [
            0 if c is None else c[1] - sum(o.decision.link == link.id for o in taken)
            for link, c in zip(self.links, configs, strict=True)
        ]
        if min(lacking) < 0 or sum(lacking) > len(rows) - len(taken):
            return
        if len(taken) == len(rows):
            yield list(taken)
            return
        for option in rows[len(taken)]:
            if not any(_contradict(option, other) for other in taken) and self._in_run(option, configs):
                taken.append(option)
                yield from self._trees(rows, configs, taken)
                taken.pop()

    def _in_run(self, option: _Option, configs: Sequence[Config]) -> bool:
        """Whether an address is inside the run that the pack's own record asks for."""
        rec, at = option.pack.rec, option.decision.address
        if option.decision.link is None or at is None or rec.gaps or rec.start is None:
            return True
        config = configs[[link.id for link in self.links].index(option.decision.link)]
        return config is not None and rec.start <= at < rec.start + config[1]

    def _judge(self, taken: Sequence[_Option], configs: Sequence[Config]) -> int | None:
        key = sum(o.key for o in taken)
        for link, config in zip(self.links, configs, strict=True):
            mine = [o for o in taken if o.decision.link == link.id]
            if config is None:
                continue
            order = self._link(link, mine, config[1])
            if order is None:
                return None
            key += order * self.order
        return key

    def _link(self, link: om.Wanted, mine: Sequence[_Option], count: int) -> int | None:
        """The squared rank differences of a link; None where a rule is broken."""
        leaders = [o for o in mine if o.decision.role == "manager"]
        if len(mine) != count or len(leaders) != 1:
            return None
        lead, present = leaders[0], frozenset(o.pack.rec for o in mine)
        rec, at = lead.pack.rec, lead.decision.address
        if (
            len({r.given for r in present}) > 1
            or not om.may_manage(rec, present)
            or count > om.most_packs(rec, present)
        ):
            return None
        if any(crowd.passed([o.pack.rec for o in mine]) for crowd in om.crowds(present)):
            return None
        if any(o.decision.mode not in om.left_modes(o.pack.rec, present) for o in mine):
            return None
        places = self.place[link.id]
        if rec.made_by == "place" and any(places[o.pack.id] < places[lead.pack.id] for o in mine):
            return None
        if rec.given != "by switches":
            return places[lead.pack.id] ** 2
        slots = om.slots_of(rec, at, present)
        if slots is None or not om.manager_may(rec, lead.decision.mode or "", at, present):
            return None
        if not all(
            o is lead or om.member_may(o.pack.rec, o.decision.mode or "", o.decision.address or 0, rec, at, present)
            for o in mine
        ):
            return None
        if slots.run and any(len(o.means) > 1 for o in mine):
            return None
        used = sorted(o.decision.address for o in mine if o.decision.address is not None)
        if slots.run and used != list(range(slots.start, slots.start + len(used))):
            return None
        return sum((places[o.pack.id] - om.address_rank(slots, o.decision.address, at)) ** 2 for o in mine)


def _stands(plant: om.Plant, pack: om.Pack, link: om.Wanted, talk: om.Talk, count: int) -> Iterator[om.Standing]:
    """Every role, mode, address and way of reporting of a pack on a link, its own record's rules only."""
    rec = pack.rec
    for mode in rec.modes:
        if not om.speaks(rec, mode, talk):
            continue
        by_hand = rec.given == "by switches"
        for report in om.reports(plant, link, rec) if rec.made_by != "never" else ():
            for at in (
                sorted(om.manager_addresses(rec, mode), key=lambda a: -1 if a is None else a) if by_hand else [None]
            ):
                yield om.Standing("manager", mode, at, count, talk, report)
        kind = plant.controllers[link.reports_to[0]][0]
        for address in sorted(rec.allowed - rec.kept) if by_hand else [None]:
            yield om.Standing("member", mode, address, count, talk, (kind, "", 0))


def _who(taken: Sequence[_Option], link: str) -> Who:
    mine = [o for o in taken if o.decision.link == link]
    return next((o.pack.id for o in mine if o.decision.role == "manager"), None), tuple(o.pack.id for o in mine)


def _contradict(one: _Option, other: _Option) -> bool:
    a, b = one.decision, other.decision
    if a.link is None or a.link != b.link:
        return False
    return (
        (a.role == b.role == "manager")
        or bool(one.means & other.means)
        or om.excluded(one.pack.rec, other.pack.rec)
    )


def best_of(plant: om.Plant) -> Best | None:
    """Return the best of a whole site; None where one component cannot keep every condition."""
    return _solved(plant, None)


def vector_of(plant: om.Plant, decisions: Mapping[str, Decision]) -> tuple[int, ...] | None:
    """Return the vector of a choice; None where it breaks a rule."""
    found = _solved(plant, decisions)
    return None if found is None else found.vector


def _solved(plant: om.Plant, fixed: Mapping[str, Decision] | None) -> Best | None:
    total = [0] * len(om.level_names(plant))
    decisions = {p.id: OFF for p in plant.packs}
    plans: dict[str, tuple[Plan, Plan | None]] = {}
    for links, packs in om.components(plant):
        component = _Component(plant, links, packs)
        found = component.solve(fixed)
        if found is None:
            return None
        total = [a + b for a, b in zip(total, component.vector(found[0]), strict=True)]
        decisions.update({o.pack.id: o.decision for o in found[1]})
        plans.update(component.plans(found[1]))
    return Best(tuple(total), decisions, plans)
