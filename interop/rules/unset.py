"""Rule of the address subject about what must be set on a device although nothing in its record says what sets it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.switches import Case
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import fact_missing, look_up, named, of_record
from interop.wiring.meanings import chain_names, known_case, modes_of
from interop.wiring.stage import Stage, StageLink, StagePack
from interop.wiring.stated import Unset, Use, unset, unset_rate
from interop.wiring.talks import alive_buses, chain_talks, controller_talks, report_talks

__all__: list[str] = []

_Wants = dict[tuple[str, str | None, str | None, Unset], list[StagePack]]
"""Packs by record, mode, role and what is not set on them."""


def _use(stage: Stage, link: StageLink, pack: StagePack) -> Use:
    """What a pack is used for on its link; a pack of which nobody knows whether it is the manager counts as member."""
    case = known_case(stage, pack)
    buses = chain_names(link, pack)
    alone = len(link.packs) < 2 and not link.polled_by_controller
    reports = _reports(link, pack) if pack.role == "manager" and link.reports_to else ()
    found = pack.device.found
    was = found.mode if found is not None and not pack.device.new else None
    return Use(case, buses, () if alone else buses, reports, pack.mode if stage.name == "found" else was)


def _reports(link: StageLink, pack: StagePack) -> tuple[str, ...]:
    """The buses of a manager that may lead to the controller: all of its own where the common talk is not known."""
    if link.report is not None:
        found = (report_talks(pack.record, mode).get(link.report, ()) for mode in modes_of(pack))
        return tuple(dict.fromkeys(bus for buses in found for bus in buses))
    return tuple(name for name, bus in alive_buses(pack.record, pack.mode).items() if bus.used_by == "manager")


@rule("setting-not-stated", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="A device must be set to something, and nothing in its record says what sets it.",
      source="record",
      explain="""A plan asks for an address, a role, a mode, a rate or a terminator, and no switch, menu or automatism
that the record names brings the device there. It then stays as it was delivered: several packs answer at one address,
nobody is the manager, or one device speaks at another rate than the rest. Look in the manual for what sets it and
write that into the record: the switch with its part, rate_set_by of the bus, mode_set_by, or what gives the
addresses.""")
def _unset(stage: Stage) -> Iterator[Hit]:
    level = None if stage.name == "planned" else Level.CAUTION
    for link in stage.links:
        if not link.judged:
            continue
        wants: _Wants = {}
        for pack in (stage.packs[name] for name in link.packs if name in stage.packs):
            for one in unset(pack.record, _use(stage, link, pack)):
                by_role = one.what == "address" and pack.record.manager.made_by.only != "address"
                key = (pack.record.id, pack.mode, pack.role if by_role else None, one)
                wants.setdefault(key, []).append(pack)
        for (record, mode, role, one), packs in wants.items():
            yield _hit(link, record, one, packs, _place(packs[0], mode, role), level)
        yield from _controllers(stage, link, level)
        yield from _equals(stage, link, level)


@rule("mode-not-taken", "address", broken=Level.STOP, unknown=Level.STOP,
      meaning="A pack that chooses its mode by itself would have to take one that nothing on its link makes it take.",
      source="record",
      explain="""Some packs choose by themselves how they speak: as delivered, or as an older pack on their link does.
Nobody can set that. Where a plan needs the other mode, and every other pack of the link could be spoken to as
delivered, the packs come up in the mode of their delivery and read their switches in that: addresses are then others
than those of the plan. Free the switches that a wish keeps, or put a pack on the link that speaks the older way.""")
def _not_taken(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        packs = [stage.packs[name] for name in link.packs if name in stage.packs]
        groups: dict[tuple[str, str], list[str]] = {}
        for pack in packs:
            record = pack.record
            if record.mode_set_by.only != "automatic" or pack.mode in (None, record.modes[0]):
                continue
            leads = [one for one in packs if one.record is not record
                     and (link.chain is None or link.chain in chain_talks(one.record, one.record.modes[0]))]
            if not leads:
                groups.setdefault((record.id, str(pack.mode)), []).append(pack.id)
        for (name, mode), ids in groups.items():
            first = stage.packs[ids[0]].record.modes[0]
            yield broken(tuple(ids), f"Link {link.id}: {named(ids)} ({name}) would have to take mode {mode} "
                         f"unbidden, and nothing on the link speaks it: they come up in mode {first}",
                         "Free the switches that a wish keeps, or set the packs as their mode of delivery asks.")


@rule("place-not-written", "address", broken=Level.STOP, unknown=Level.STOP,
      meaning="The place of a pack makes it the manager, and where the packs stand is not written down.",
      source="record",
      explain="""Some packs are the manager by where they stand: first in the rack, or first in the row. Without the
place of every pack of the link nobody can say which one that is; the order of a file is not the order of a rack. Write
place for each of them.""")
def _no_place(stage: Stage) -> Iterator[Hit]:
    for link in stage.links if stage.name == "planned" else ():
        packs = [stage.packs[name] for name in link.packs if name in stage.packs]
        by_place = [pack for pack in packs if pack.role == "manager" and pack.record.manager.made_by.only == "place"]
        silent = [pack.id for pack in packs if pack.device.place is None]
        if by_place and silent and len(packs) > 1:
            yield cannot_tell(tuple(silent), f"Link {link.id}: {by_place[0].record.id} makes a pack the manager by its "
                              f"place, and the place of {named(silent)} is not written down",
                              "Write place for every pack of the link into the site file.")


def _place(pack: StagePack, mode: str | None, role: str | None) -> str:
    """Say in which case: only what the record tells apart."""
    as_role = f" as {role}" if role is not None else ""
    return as_role + (f" in mode {mode}" if mode is not None and len(pack.record.modes) > 1 else "")


def _words(link: StageLink, one: Unset, packs: Sequence[StagePack]) -> str:
    who = of_record([p.device for p in packs])
    if one.bus is None:
        return f"makes {who} the manager" if one.what == "role" else f"puts {who} into mode {packs[0].mode}"
    if one.what == "address":
        return f"sets the address of {who}"
    if one.what == "rate":
        return f"sets bus {one.bus} of {who}{_rate(link, packs[0], one.bus)}"
    return f"sets the terminator of bus {one.bus} of {who}, which is by switch"


def _hit(link: StageLink, record: str, one: Unset, packs: Sequence[StagePack], place: str,
         level: Level | None) -> Hit:
    return cannot_tell(
        [p.id for p in packs],
        f"Link {link.id}: nothing that {record} states {_words(link, one, packs)}{place if one.what != 'mode' else ''}",
        _look(record, one),
        facts=(FactUsed(record, one.path, one.state),),
        level=level,
    )


_WHERE = {
    "address": "in the chapter on several packs, beside the setting of addresses",
    "role": "in the chapter on several packs",
    "mode": "in the chapter on packs of another generation, or in the list of settings",
    "rate": "in the chapter on communication, or in the list of settings",
    "terminator": "in the chapter on communication, beside the drawing of the ports",
}
"""Where a manual usually prints what sets a thing (common practice)."""


def _look(record: str, one: Unset) -> str:
    return (f"Look up what sets the {one.what}; the manual of {record} usually prints it {_WHERE[one.what]}. "
            f"Write it into {one.path} of the record.")


def _rate(link: StageLink, pack: StagePack, bus: str) -> str:
    """The rate wanted, where it is known."""
    talk = link.chain if pack.record.buses[bus].used_by == "all" else link.report
    return f" to {talk.rate_bps} bit/s" if talk is not None else " to its rate"


def _controllers(stage: Stage, link: StageLink, level: Level | None) -> Iterator[Hit]:
    """Controllers with several rates of which nothing states how one is chosen."""
    for name in link.reports_to:
        device = stage.device(name)
        known = controller_talks(device.record).get(link.report, ()) if link.report is not None else ()
        for one in (u for bus in known or device.record.buses for u in unset_rate(device.record, bus, Case())):
            rate = f"{link.report.rate_bps} bit/s" if link.report is not None else "the rate of the link"
            yield cannot_tell(
                (name,),
                f"Link {link.id}: nothing that {device.record.id} states sets bus {one.bus} of "
                f"{of_record([device])} to {rate}",
                _look(device.record.id, one),
                facts=(FactUsed(device.record.id, one.path, one.state),),
                level=level,
            )


def _equals(stage: Stage, link: StageLink, level: Level | None) -> Iterator[Hit]:
    """The newest pack is the manager and several are, or nothing states what makes a manager."""
    pack = stage.packs.get(link.manager or "")
    if pack is None or pack.record.manager.made_by.only not in (None, "newest"):
        return
    made_by, record, top = pack.record.manager.made_by, pack.record.id, pack.record.generation.only
    family = [p for name in link.packs if (p := stage.packs.get(name)) is not None
              and p.record.family == pack.record.family]
    same = [p for p in family if made_by.only is None or p.record.generation.only == top]
    who = of_record([p.device for p in same])
    if made_by.only is None:
        text = f"{fact_missing(record, 'manager.made_by', made_by)}, so nothing makes {pack.id} the manager among {who}"
        todo = look_up(record, "manager.made_by", made_by)
    else:
        text = f"{record} makes the newest pack the manager, and {who} are equally new; nothing makes {pack.id} it"
        todo = (f"Look up what makes the manager among equal packs; the manual of {record} usually prints it "
                f"{_WHERE['role']}. Leave one such pack on the link until it is known.")
    if made_by.only is None or len(same) > 1:
        facts = (FactUsed(record, "manager.made_by", made_by.state),)
        yield cannot_tell([p.id for p in same], f"Link {link.id}: {text}", todo, facts=facts, level=level)
