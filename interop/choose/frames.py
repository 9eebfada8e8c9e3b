"""Frames: what all packs of a link share. Inside a frame every rule concerns one pack and one slot.

A family of frames differs only in the number of packs. What is not an assignment is enumerated here: kinds that
exclude each other, who must be manager, dialect and rate, caps, the manager's address.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cache, lru_cache

from interop.records.answers import Answer
from interop.records.models import AddressRule, Record
from interop.site.site import Device, Link
from interop.unchanging import unchanging
from interop.wiring.crowding import AtMost, Share, at_most, fixed_load
from interop.wiring.mixing import pair_excluded, required_manager, required_modes
from interop.wiring.stated import numbering
from interop.wiring.talks import (
    RecordKey,
    Talk,
    chain_address_rule,
    chain_talks,
    controller_talks,
    has_manager,
    has_report_bus,
    manager_addresses,
    may_be_manager,
    report_talks,
)

__all__ = ["MOST_KINDS", "MOST_SETS", "Family", "families", "link_talks"]

MOST_KINDS = 8
"""Most kinds of packs on one link of which every set is looked at."""
MOST_SETS = 512
"""Most sets of kinds looked at where there are more kinds; the choice is then not proved."""


Counts = tuple[tuple[RecordKey, int], ...]
"""How many packs of each kind may be on a link."""
ModesOf = tuple[tuple[RecordKey, tuple[str, ...]], ...]
"""The modes that are left to each kind."""


@unchanging(eq=False)
class Family:
    """Frames of one link that differ only in the number of packs; each is made once, and told apart by identity.

    ``manager`` None: the controller polls every pack. ``starts``: first of the gap-free addresses, None where gaps are
    allowed. ``addresses``: every address a member may take, in order; empty where the route numbers the packs.
    ``manager_pack``: the one pack that is manager by its place, with every member after it in place order.
    ``at_most``: limits on the packs of some kinds that are passed if all of them are on the link.
    """

    link: int
    kinds: tuple[RecordKey, ...]
    chain: Talk | None
    report: Talk | None
    manager: RecordKey | None
    manager_address: int | None
    manager_modes: tuple[str, ...]
    modes: ModesOf
    most: int
    least: int
    numbered: bool
    start: int | None
    addresses: tuple[int, ...]
    group: int | None
    manager_pack: str | None = None
    at_most: tuple[AtMost, ...] = ()

    @property
    def controller_bus(self) -> str:
        """The kind of bus towards the controller, as conditions of switch parts name it."""
        return self.report.kind if self.report is not None else "none"

    def member_slots(self, count: int) -> tuple[int | None, ...] | None:
        """Return the member slots with ``count`` packs on the link; None where the manager's address leaves a gap."""
        members = count - (self.manager is not None)
        if not self.numbered:
            return (None,) * members
        if self.start is None:
            return self.addresses if len(self.addresses) >= members else None
        addressed = count if self.manager is None or self.manager_address is not None else members
        run = range(self.start, self.start + addressed)
        if self.manager is not None and self.manager_address is not None and self.manager_address not in run:
            return None
        wanted = tuple(a for a in run if a != self.manager_address or self.manager is None)
        return wanted if set(wanted) <= set(self.addresses) else None


def _reports(link: Link, devices: dict[str, Device]) -> tuple[Talk | None, ...]:
    """Talks that every controller of the link takes; (None,) where it reports to nobody."""
    followed = [devices[name].record for name in link.reports_to]
    if not followed:
        return (None,)
    common = set(controller_talks(followed[0]))
    for record in followed[1:]:
        common &= set(controller_talks(record))
    order = list(controller_talks(followed[0]))
    return tuple(sorted(common, key=order.index))


@cache
def link_talks(kinds: tuple[RecordKey, ...]) -> tuple[Talk, ...]:
    """Return the talks every kind can use among packs in some mode left to it, in the order of the first record."""
    found: list[Talk] = []
    for position, key in enumerate(kinds):
        mine = list(dict.fromkeys(t for m in required_modes(key.record, kinds) for t in chain_talks(key.record, m)))
        found = mine if position == 0 else [t for t in found if t in mine]
    return tuple(found)


def families(index: int, link: Link, devices: dict[str, Device], packs: Sequence[Device]) -> Iterator[Family]:
    """Yield the families of frames of a link over sets of kinds among ``packs``: over every set up to ``MOST_KINDS``
    kinds, beyond over the largest ``MOST_SETS``.
    """
    kinds = tuple(dict.fromkeys(RecordKey(p.record) for p in packs))
    counts = {k: sum(p.record is k.record for p in packs) for k in kinds}
    reports = _reports(link, devices)
    followed = tuple(RecordKey(devices[name].record) for name in link.reports_to)
    for chosen in _sets(kinds) if len(kinds) <= MOST_KINDS else itertools.islice(_largest_sets(kinds), MOST_SETS):
        for shared in _shared(tuple((k, counts[k]) for k in chosen), reports, followed):
            made = Family(index, chosen, group=link.group, **dict(shared))  # type: ignore[arg-type]
            yield from _placed(made, packs)


def _sets(kinds: tuple[RecordKey, ...]) -> Iterator[tuple[RecordKey, ...]]:
    """Yield every set of kinds of which none excludes another, the largest first."""
    for size in range(len(kinds), 0, -1):
        for chosen in itertools.combinations(kinds, size):
            if not any(pair_excluded(a.record, b.record) for a, b in itertools.combinations(chosen, 2)):
                yield chosen


def _largest_sets(kinds: tuple[RecordKey, ...]) -> Iterator[tuple[RecordKey, ...]]:
    """Yield the largest sets of kinds that share a talk and exclude none; then those with one kind less, and so on."""
    import networkx as nx

    order = {key: i for i, key in enumerate(kinds)}
    speakers: dict[Talk, list[RecordKey]] = {}
    for key in kinds:
        for talk in dict.fromkeys(t for m in key.record.modes for t in chain_talks(key.record, m)):
            speakers.setdefault(talk, []).append(key)
    largest: list[tuple[RecordKey, ...]] = []
    for group in speakers.values():
        graph: nx.Graph = nx.Graph()
        graph.add_nodes_from(group)
        pairs = itertools.combinations(group, 2)
        graph.add_edges_from((a, b) for a, b in pairs if not pair_excluded(a.record, b.record))
        cliques = itertools.islice(nx.find_cliques(graph), MOST_SETS)
        largest += [tuple(sorted(one, key=order.__getitem__)) for one in cliques]
    following = dict.fromkeys([*sorted(largest, key=lambda one: -len(one)), *((key,) for key in kinds)])
    seen = set(following)
    while following:
        yield from following
        fewer = dict.fromkeys(one[:i] + one[i + 1 :] for one in following for i in range(len(one)) if len(one) > 1)
        following = {one: None for one in fewer if one not in seen}
        seen |= set(following)


def _placed(family: Family, packs: Sequence[Device]) -> Iterator[Family]:
    """Split a family whose manager is made by place: one for each pack that may be the first."""
    if family.manager is None or family.manager.record.manager.made_by.only != "place":
        yield family
        return
    for pack in packs:
        if pack.record is family.manager.record:
            yield replace(family, manager_pack=pack.id)


@lru_cache(maxsize=4096)
def _shared(
    counts: Counts, reports: tuple[Talk | None, ...], controllers: tuple[RecordKey, ...]
) -> tuple[tuple[tuple[str, object], ...], ...]:
    found = []
    for report in reports:
        every = itertools.chain(_managed(counts, report, controllers), _polled(counts, report, controllers))
        found += [tuple(fields.items()) for fields in every]
    return tuple(found)


def _limits(counts: Counts, chain: Talk, modes_of: ModesOf, beside: Sequence[RecordKey]) -> tuple[AtMost, ...]:
    """Return the limits that the packs of a family can pass; ``beside``: the controllers on the packs' own bus."""
    shares = [Share(key, tuple(chain_talks(key.record, m)[chain] for m in modes)) for key, modes in modes_of]
    load = sum(fixed_load(k.record, controller_talks(k.record).get(chain, ())) for k in beside)
    every = [key for key, number in counts for _ in range(number)]
    return tuple(one for one in at_most(shares, chain.kind, load) if one.passed(every))


def _on_packs_bus(manager: RecordKey | None, controllers: tuple[RecordKey, ...]) -> tuple[RecordKey, ...]:
    """The controllers that hang on the packs' own bus."""
    return () if manager is not None and has_report_bus(manager.record) else controllers


def _modes_for(kinds: Sequence[RecordKey], chain: Talk) -> ModesOf | None:
    found = []
    for key in kinds:
        modes = tuple(m for m in required_modes(key.record, kinds) if chain in chain_talks(key.record, m))
        if not modes:
            return None
        found.append((key, modes))
    return tuple(found)


def _managed(
    counts: Counts, report: Talk | None, controllers: tuple[RecordKey, ...]
) -> Iterator[dict[str, object]]:
    """Families with a manager: alone on its link (no chain), or the first of several."""
    kinds, total = tuple(key for key, _ in counts), sum(number for _, number in counts)
    if any(has_manager(k.record) is not True for k in kinds):
        return
    for manager in kinds:
        if may_be_manager(manager.record) is not Answer.HOLDS or manager not in required_manager(kinds):
            continue
        if len(kinds) == 1:
            modes = tuple(
                m for m in manager.record.modes if report is None or report in report_talks(manager.record, m)
            )
            yield from _with_addresses(kinds, manager, None, report, modes, ((manager, modes),), 1, 1)
        for chain in link_talks(kinds):
            modes_of = _modes_for(kinds, chain)
            if modes_of is None:
                continue
            modes = tuple(m for m in dict(modes_of)[manager] if _reports_in(manager.record, m, chain, report))
            beside = _on_packs_bus(manager, controllers)
            limits = _limits(counts, chain, modes_of, beside)
            most = min([total, _cap(manager, chain, modes_of, len(beside)), *(one.most(counts) for one in limits)])
            for fields in _with_addresses(kinds, manager, chain, report, modes, modes_of, most, len(kinds)):
                yield {**fields, "at_most": limits}


def _reports_in(record: Record, mode: str, chain: Talk, report: Talk | None) -> bool:
    """Whether a manager can report in a mode: on another bus than the link's, or in the same talk on the same bus."""
    if report is None:
        return True
    buses = report_talks(record, mode).get(report, ())
    own = chain_talks(record, mode)[chain]
    return any(name not in own or report == chain for name in buses)


def _strict(values: Iterable[int]) -> int:
    return min(values, default=10**6)


def _cap(
    manager: RecordKey | None,
    chain: Talk,
    modes_of: ModesOf,
    beside: int,
) -> int:
    """Most packs by the members of a manager and by the nodes of the bus, ``beside`` them so many controllers."""
    nodes = [
        v
        for key, modes in modes_of
        for m in modes
        for name in chain_talks(key.record, m)[chain]
        if key.record.buses[name].hop != "one"
        for v in key.record.buses[name].nodes.values
    ]
    members = manager.record.manager.members_at_most.values if manager is not None else ()
    return min(_strict(nodes) - beside, _strict(members) + 1)


def _rule_of(key: RecordKey, modes: Sequence[str], chain: Talk | None) -> AddressRule | None:
    names = [
        n for m in modes for n in (chain_talks(key.record, m)[chain] if chain is not None else key.record.addresses)
    ]
    return chain_address_rule(key.record, names)


def _with_addresses(
    kinds: tuple[RecordKey, ...],
    manager: RecordKey | None,
    chain: Talk | None,
    report: Talk | None,
    modes: tuple[str, ...],
    modes_of: ModesOf,
    most: int,
    least: int,
) -> Iterator[dict[str, object]]:
    if (manager is not None and not modes) or most < least:
        return
    rules = {key: _rule_of(key, own, chain) for key, own in modes_of}
    by_switch = [k for k, r in rules.items() if r is not None and numbering(k.record, r) in ("by switches", None)]
    if by_switch and len(by_switch) != len(kinds):
        return
    shared: dict[str, object] = {
        "chain": chain,
        "report": report,
        "manager": manager,
        "manager_modes": modes,
        "modes": modes_of,
        "most": most,
        "least": least,
        "numbered": bool(by_switch),
    }
    if not by_switch:
        most = min(most, _numbers(rules.values()))
        if most >= least:
            yield {**shared, "most": most, "manager_address": None, "start": None, "addresses": ()}
        return
    known = [r for r in rules.values() if r is not None]
    rule = rules[manager] if manager is not None else None
    free = _free(known, rule)
    gapless = [r for r in known if r.gaps.only != "allowed"]
    for option in _manager_options(manager, rule, modes, report, known):
        start = _start(gapless, {*free, *(() if option is None else (option,))})
        if start is None and gapless:
            continue
        yield {**shared, "manager_address": option, "start": start, "addresses": tuple(sorted(free - {option}))}


def _numbers(rules: Iterable[AddressRule | None]) -> int:
    """Most packs that the route can number: the allowed numbers, and a manager that has none."""
    return _strict(
        len(set(values) - set(r.kept_for)) + any(fact.only == "none" for _, fact in r.manager)
        for r in rules
        if r is not None
        for values in r.allowed.values
    )


def _free(known: Sequence[AddressRule], rule: AddressRule | None) -> set[int]:
    """Addresses open to members: those the manager's record allows (it asks no others), none that any record keeps."""
    kept = {a for r in known for a in r.kept_for}
    asked = (
        [set(v) for v in rule.allowed.values]
        if rule is not None
        else [{a for r in known for v in r.allowed.values for a in v}]
    )
    return set.intersection(*asked) - kept if asked else set()


def _manager_options(
    manager: RecordKey | None,
    rule: AddressRule | None,
    modes: Sequence[str],
    report: Talk | None,
    known: Sequence[AddressRule],
) -> list[int | None]:
    """Addresses the manager may stand at: as its record states, else any allowed one that no record keeps."""
    if manager is None or rule is None:
        return [None]
    bus = report.kind if report is not None else "none"
    kept = {a for r in known for a in r.kept_for}
    found = {
        a
        for m in modes
        for a in manager_addresses(manager.record, rule, m, bus)
        if rule.manager.of(m, bus).known or a not in kept
    }
    return sorted(found, key=lambda a: (a is not None, a or 0))


def _start(gapless: Sequence[AddressRule], slots: set[int]) -> int | None:
    """First address of a run without gaps: as stated, else the lowest slot. None: gaps are allowed, or two starts
    are stated.
    """
    stated = {r.start.only for r in gapless if r.start.only is not None}
    if not gapless or len(stated) > 1:
        return None
    return stated.pop() if stated else min(slots, default=None)


def _polled(
    counts: Counts, report: Talk | None, controllers: tuple[RecordKey, ...]
) -> Iterator[dict[str, object]]:
    """Families without a manager: the controller itself polls every pack on its own bus."""
    kinds, total = tuple(key for key, _ in counts), sum(number for _, number in counts)
    if report is None or any(has_manager(k.record) is not False for k in kinds):
        return
    modes_of = _modes_for(kinds, report)
    if modes_of is None:
        return
    limits = _limits(counts, report, modes_of, controllers)
    most = min([total, _cap(None, report, modes_of, len(controllers)), *(one.most(counts) for one in limits)])
    for fields in _with_addresses(kinds, None, report, report, (), modes_of, most, 1):
        yield {**fields, "at_most": limits}
