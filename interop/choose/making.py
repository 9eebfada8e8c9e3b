"""The conductors of the cables of one link, chosen for all of them together.

What the site wants made stays as written, its faults are for the rules; an installed cable that it leaves to the plan
stays as it is where that is possible and is altered where not. A cable whose conductors are written and wrong stops
no other cable from being chosen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from interop.choose.conductors import CableChoice, ConductorChoice, choose_conductors
from interop.choose.installed import ends_along, plug_fits
from interop.choose.naming import Naming, Planned
from interop.choose.no_cable import NoCable
from interop.records.models import Record
from interop.site.site import Cable, Site
from interop.standards.plugs import SHELL
from interop.wiring.contacts import (
    CableSlot,
    Cause,
    Chain,
    NotStated,
    Socket,
    build_nets,
    is_blank,
    node_faults,
    slot_joins,
)
from interop.wiring.stage import StageEnd, joined_pins

__all__ = ["Maker", "alike_blank", "as_written", "known_pins", "with_choice"]

Pins = tuple[tuple[str, str], ...]
_GROUND = (Cause.GROUND_BYPASSES, Cause.GROUND_MEETS_EARTH)


def alike_blank(one: Socket, other: Socket, record_a: Record, record_b: Record, pair: tuple[str, str]) -> bool:
    """Whether a conductor joins nothing but the same blank pin of two packs of one record (the maker's own lead)."""
    if record_a is not record_b or pair[0] != pair[1] or pair[0] == SHELL:
        return False
    return all(
        is_blank(c)
        for socket, pin in ((one, pair[0]), (other, pair[1]))
        for c in socket.face.contacts.get(pin, (NotStated(),))
    )


def known_pins(site: Site, cable: Cable | None, a: StageEnd, b: StageEnd) -> Pins | None:
    """The joined pins of a cable that the site states as made, pin at ``a`` with pin at ``b``; None: not known."""
    if cable is None or cable.made.kind in ("propose", "unknown"):
        return None
    return joined_pins(site, cable, a, b)


def as_written(cable: Planned, joined: Pins | None, poles: tuple[Sequence[str], Sequence[str]]) -> Planned:
    """A cable with the pins that the site states: re-pinned if any goes to another pin, else with the rest cut.
    ``poles``: the pins of the plugs at its two ends.
    """
    if joined is None:
        return cable
    if any(one != other for one, other in joined):
        return replace(cable, joined=tuple(sorted(joined, key=lambda p: (len(p[0]), p[0]))), kind="repinned")
    kept = {pin for pin, _ in joined}
    return replace(cable, joined=joined, cut=tuple(p for p in poles[0] if p in poles[1] and p not in kept))


class Maker:
    """Chooses the cables of one link, row after row, so that no reference conductor bypasses a BMS through all of them.

    ``installed``: the installed cable that each planned one is, by the id of the planned one.
    """

    def __init__(self, naming: Naming, installed: Mapping[str, Cable]) -> None:
        self._naming = naming
        self._installed = installed
        self._made: list[tuple[CableSlot, Pins]] = []
        self._faults = 0

    def row(self, cables: Sequence[Planned], carries: str) -> tuple[Planned, ...] | NoCable:
        """Choose cables that follow one another.

        First with the installed cables as they are and with references, then without the references, then with every
        cable open to change: the first way by which no ground meets another through all cables of the link.
        """
        tried: list[tuple[int, list[tuple[CableSlot, Pins]], tuple[Planned, ...]]] = []
        for keep, no_references in ((True, False), (True, True), (False, False), (False, True)):
            done = _Row(self._naming, cables, carries, self._installed if keep else {}, no_references).chosen()
            if isinstance(done, NoCable):
                return done
            tried.append((_ground_faults([*self._made, *done[0]]), *done))
            if tried[-1][0] <= self._faults:
                break
        self._faults, made, found = min(tried, key=lambda one: one[0])
        self._made += made
        return found


def _ground_faults(made: Sequence[tuple[CableSlot, Pins]]) -> int:
    sockets = [end for slot, _ in made for end in (slot.a, slot.b)]
    nets = build_nets(sockets, [join for slot, pins in made for join in slot_joins(slot, pins)])
    return sum(fault.cause in _GROUND for net in nets if net.joined for fault in node_faults(net.held))


class _Row:
    """Cables that follow one another, with what is made of them already.

    ``fixed``: the pins that a cable keeps; ``soft``: those of them that may still be altered; ``written``: cables
    whose pins no choice can be made with, and that stay as the site writes them.
    """

    def __init__(
        self, naming: Naming, cables: Sequence[Planned], carries: str, installed: Mapping[str, Cable],
        no_references: bool,
    ) -> None:  # fmt: skip
        self._naming = naming
        self._cables = cables
        self._carries = carries
        self._no_references = no_references
        self._sockets = dict(self._shown())
        self._fixed: dict[str, Pins] = {}
        self._soft: set[str] = set()
        self._written: set[str] = set()
        for cable in cables:
            pins = known_pins(naming.site, cable.wanted, cable.a, cable.b)
            if pins is not None and not self._on_faces(cable, pins):
                self._written.add(cable.id)
            elif pins is None:
                pins = self._found(cable, installed.get(cable.id))
                self._soft |= {cable.id} if pins is not None else set()
            if pins is not None:
                self._fixed[cable.id] = pins

    def _shown(self) -> Iterator[tuple[str, tuple[Socket, Socket] | None]]:
        """The sockets at the ends of each cable; neighbours along the row have unlike parity."""
        parities: dict[str, int] = {}
        for cable in self._cables:
            found = []
            for end, far in ((cable.a, cable.b), (cable.b, cable.a)):
                if end.device not in parities:
                    parities[end.device] = 1 - parities[far.device] if far.device in parities else 0
                found.append(self._naming.socket(end, self._carries, parities[end.device]))
            yield cable.id, (found[0], found[1]) if found[0] is not None and found[1] is not None else None

    def _on_faces(self, cable: Planned, pins: Pins) -> bool:
        sockets = self._sockets[cable.id]
        return sockets is not None and all(
            p in sockets[0].face.nodes and q in sockets[1].face.nodes for p, q in pins
        )

    def _found(self, cable: Planned, lead: Cable | None) -> Pins | None:
        """The conductors of an installed cable; None where they are not known or lead to plugs that do not fit."""
        pins = known_pins(self._naming.site, lead, cable.a, cable.b)
        if lead is None or pins is None or not self._on_faces(cable, pins):
            return None
        ends = zip(ends_along(lead, cable.a, cable.b), (cable.a, cable.b), strict=True)
        return pins if all(plug_fits(self._naming.site, old, new) for old, new in ends) else None

    def chosen(self) -> tuple[list[tuple[CableSlot, Pins]], tuple[Planned, ...]] | NoCable:
        """Return the cables with their conductors, and the slots that they were chosen for."""
        choices: dict[str, tuple[CableChoice, bool]] = {}
        for run in self._runs():
            while True:
                slots = [self._slot(cable, sockets) for cable, sockets in run]
                found = choose_conductors(_oriented(slots)) if slots else None
                if found is None or isinstance(found, ConductorChoice):
                    break
                failing = {core.cable for core in found.cores}
                if not self._give_way(failing, {slot.id for slot in slots}):
                    return found
                if failing & self._written:
                    return self.chosen()
            for one in found.cables if found is not None else ():
                choices[one.id] = one, _turned(slots, one.id)
        done = [self._done(cable, choices.get(cable.id)) for cable in self._cables]
        made = [(CableSlot(c.id, *ends), c.joined) for c in done
                if (ends := self._sockets[c.id]) is not None and c.joined is not None and self._on_faces(c, c.joined)]
        return made, tuple(done)

    def _give_way(self, failing: set[str], run: set[str]) -> bool:
        """Open installed cables to change, those that fail first; then leave made ones that fail as written."""
        soft = self._soft & run
        if soft:
            gone = (failing & soft) or soft
            self._soft -= gone
            for name in gone:
                del self._fixed[name]
            return True
        hard = failing & self._fixed.keys()
        self._written |= hard
        return bool(hard)

    def _runs(self) -> Iterator[list[tuple[Planned, tuple[Socket, Socket]]]]:
        """The stretches between cables that stay as they are written."""
        run: list[tuple[Planned, tuple[Socket, Socket]]] = []
        for cable in self._cables:
            sockets = self._sockets[cable.id]
            if cable.id in self._written or sockets is None:
                yield run
                run = []
            else:
                run.append((cable, sockets))
        yield run

    def _slot(self, cable: Planned, sockets: tuple[Socket, Socket]) -> CableSlot:
        fixed = self._fixed.get(cable.id)
        if fixed is not None:
            fixed = tuple(pair for pair in fixed if not self._blank(cable, pair))
        bare = self._no_references and fixed is None
        return CableSlot(cable.id, *sockets, fixed, carries=frozenset({self._carries}), no_references=bare)

    def _blank(self, cable: Planned, pair: tuple[str, str]) -> bool:
        """Whether a conductor of a made cable is left out of the choice."""
        sockets = self._sockets[cable.id]
        records = self._naming.record(cable.a.device), self._naming.record(cable.b.device)
        return sockets is not None and alike_blank(*sockets, *records, pair)

    def _done(self, cable: Planned, chosen: tuple[CableChoice, bool] | None) -> Planned:
        if chosen is None:
            poles = self._naming.poles(cable.a), self._naming.poles(cable.b)
            return as_written(cable, self._fixed.get(cable.id), poles)
        blank = [pair for pair in self._fixed.get(cable.id, ()) if self._blank(cable, pair)]
        return with_choice(cable, chosen[0], blank, turned=chosen[1])


def _oriented(slots: Sequence[CableSlot]) -> Chain:
    """Turn cables so that each goes on from the device where the one before ended."""
    turned: list[CableSlot] = []
    for i, slot in enumerate(slots):
        if i == 0:
            first_next = slots[1] if len(slots) > 1 else None
            away = first_next is not None and slot.a.device in (first_next.a.device, first_next.b.device)
            turned.append(_turn(slot) if away else slot)
        else:
            turned.append(slot if slot.a.device == turned[-1].b.device else _turn(slot))
    return Chain(tuple(turned))


def _turn(slot: CableSlot) -> CableSlot:
    fixed = tuple((b, a) for a, b in slot.fixed) if slot.fixed is not None else None
    return replace(slot, a=slot.b, b=slot.a, fixed=fixed)


def _turned(slots: Sequence[CableSlot], name: str) -> bool:
    chain = _oriented(slots).cables
    return next(s.a.device for s in slots if s.id == name) != next(s.a.device for s in chain if s.id == name)


def with_choice(
    cable: Planned, choice: CableChoice, blank: Sequence[tuple[str, str]] = (), *, turned: bool = False
) -> Planned:
    """A cable with its choice, and the blank pins that it joins besides; ``turned``: the choice runs from its end b."""
    joined = tuple((b, a) for a, b in choice.joined) if turned else choice.joined
    pins = (*joined, *blank)
    order = sorted(pins, key=lambda p: (len(p[0]), p[0]))
    cut = tuple(p for p in choice.cut if p not in {a for a, _ in blank})
    return replace(cable, joined=tuple(order), kind=choice.kind, cut=cut, choice=choice)
