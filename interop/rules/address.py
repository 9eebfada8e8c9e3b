"""Rules of the address subject: who stands at which address on a link, and whether that address is legal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interop.records.answers import Answer, one_answer
from interop.records.models import AddressRule
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import fact_missing, joined, look_up, named, of_record
from interop.wiring.crowding import no_address_of_its_own, shared_bus, speaks_as_one
from interop.wiring.meanings import Standing, address_rule, chain_names, manager_values, modes_of, standings
from interop.wiring.stage import Stage, StageLink, StagePack
from interop.wiring.talks import address_inside

__all__ = ["numbers", "unlooked_level"]

_LOOK = "Look at every switch of these packs and write what is seen into the site file."


def unlooked_level(stage: Stage) -> Level | None:
    """Return the level of "nobody looked": a caution in the stage as found, the rule's own where it is planned."""
    return Level.CAUTION if stage.name == "found" else None


def numbers(values: Iterable[int]) -> str:
    """Print addresses with runs of three or more folded: ``0..14, 16``."""
    return named([str(v) for v in sorted(values)])


def _links(stage: Stage) -> Iterator[tuple[StageLink, tuple[Standing, ...]]]:
    for link in stage.links:
        if link.judged:
            yield link, standings(stage, link)


def _ids(held: Iterable[Standing]) -> tuple[str, ...]:
    return tuple(s.pack.id for s in held)


def _of(held: Iterable[Standing]) -> str:
    return of_record([s.pack.device for s in held])


def _by_rule(held: Iterable[Standing]) -> Iterator[tuple[AddressRule, tuple[Standing, ...]]]:
    """Yield packs by the address rule they follow."""
    found: dict[int, list[Standing]] = {}
    for one in held:
        found.setdefault(id(one.rule), []).append(one)
    for group in found.values():
        yield group[0].rule, tuple(group)


def _by_value(held: Iterable[Standing]) -> Iterator[tuple[frozenset[int], tuple[Standing, ...]]]:
    found: dict[frozenset[int], list[Standing]] = {}
    for one in held:
        found.setdefault(one.values, []).append(one)
    yield from ((values, tuple(group)) for values, group in found.items())


def _means(link: StageLink, held: Sequence[Standing]) -> str:
    """Say where packs can stand: ``link old: R5 (tarn-a) is set to address 3``."""
    values = numbers(held[0].values)
    verb = "are" if len(held) > 1 else "is"
    if len(held[0].values) == 1:
        how = "set to" if held[0].switched else "at"
        return f"Link {link.id}: {_of(held)} {verb} {how} address {values}"
    return f"Link {link.id}: {_of(held)} may stand at any of the addresses {values}"


# ---- two at one address ----

@rule("address-clash", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="Two packs of one link stand at one address.",
      source="common practice; Modbus over serial line V1.02, 2.2: each address must be unique on the bus",
      explain="""Both packs answer when the address is asked, their frames collide, and the manager reads neither or
mixes them up: limits and alarms of one pack are lost while it carries current. It often follows a switch that was
knocked, or a new pack left as it was delivered. Give each pack of the link an address of its own and restart the
packs as their manuals say. A pack whose switches nobody looked at may stand at any address: look, and write down what
is seen.""")
def _clash(stage: Stage) -> Iterator[Hit]:
    for link, held in _links(stage):
        sure: set[str] = set()
        for values, group in _by_value(held):
            if len(group) > len(values):
                sure.update(_ids(group))
                yield _clash_hit(link, values, group)
        yield from _maybe_clash(stage, link, held, sure)


def _clash_hit(link: StageLink, values: frozenset[int], group: Sequence[Standing]) -> Hit:
    what = f"address {numbers(values)}" if len(values) == 1 else f"the addresses {numbers(values)}"
    count = len(values)
    places = "each address takes one pack" if count == 1 else f"{count} addresses take {count} packs"
    return broken(_ids(group), f"Link {link.id}: {_of(group)} share {what}; {places}",
                  "Give each of them an address of its own and restart it.", got=f"{len(group)} packs at "
                  f"{numbers(values)}",
                  limit="one pack an address")


def _maybe_clash(stage: Stage, link: StageLink, held: Sequence[Standing], sure: set[str]) -> Iterator[Hit]:
    for looked in (False, True):
        unsure = [s for s in held if len(s.values) > 1 and s.looked is looked and s.pack.id not in sure]
        reach = {v for s in unsure for v in s.values}
        others = [s for s in held if s not in unsure and s.values & reach]
        if not unsure or len(unsure) + len(others) < 2:
            continue
        why = "one pattern, or a record, leaves several addresses open" if looked else "not every switch was looked at"
        yield cannot_tell(_ids([*unsure, *others]), f"Link {link.id}: {_open_words(unsure, others)}; {why}",
                          _LOOK if not looked else "Ask the maker which address the pattern means, or use another "
                          "one.",
                          level=None if looked else unlooked_level(stage), facts=_manager_facts(link, unsure))


def _open_words(unsure: Sequence[Standing], others: Sequence[Standing]) -> str:
    with_others = f"that of one of {named(_ids(others))}" if len(others) > 1 else f"that of {named(_ids(others))}"
    if len(unsure) == 1:
        return f"the address of {_of(unsure)} cannot be told, it may be {with_others}"
    same = "two of them may be the same"
    return f"the addresses of {_of(unsure)} cannot be told, {same}" + (", or one of them "
                                                                       f"{with_others}" if others else "")


def _manager_facts(link: StageLink, held: Iterable[Standing]) -> tuple[FactUsed, ...]:
    return tuple(fact_used(s.pack.device, f"addresses.{s.bus}.manager", s.rule.manager.of(s.pack.mode, None))
                 for s in held if not s.switched and manager_values(link, s.pack, s.rule) is None)


# ---- packs that cannot be told apart ----

@rule("one-bus-identity", "address", broken=Level.STOP, unknown=Level.STOP,
      meaning="Several packs on one bus speak with the same identity.",
      source="ISO 11898-1: one identifier is sent by one node; common practice",
      explain="""Some packs have one fixed identity on their bus, whatever is set. Two of them on one bus send the
same identifiers: the controller obeys whichever it heard last and believes there is one pack, so the others charge
without limit. Only one such pack may be on the bus; join the others at the busbar only, or put a device between that
the maker offers for it. Where the identity is not stated, the manual's chapter on communication says whether the
address changes the identifiers.""")
def _identity(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        if link.judged:
            yield from _identity_hits(link, [stage.packs[p] for p in link.packs if p in stage.packs])


def _identity_hits(link: StageLink, packs: Sequence[StagePack]) -> Iterator[Hit]:
    shared: list[tuple[StagePack, str]] = []
    for pack in packs:
        bus = shared_bus(pack.record, chain_names(link, pack))
        if bus is not None and pack.record.buses[bus].identity.only != "by address":
            shared.append((pack, bus))
    if len(shared) < 2:
        return
    facts = tuple(dict.fromkeys(fact_used(p.device, f"buses.{b}.identity", p.record.buses[b].identity) for p,
                                b in shared))
    one = [p for p, b in shared if speaks_as_one(p.record, (b,))]
    for group in _alike(one):
        if len(group) > 1:
            yield broken([p.id for p in group], f"Link {link.id}: {of_record([p.device for p in group])} all speak "
                         "with one identity; one such pack is allowed on a bus",
                         "Leave one of them on the link; join the others at the busbar only.",
                         got=f"{len(group)} packs", limit="1 pack", facts=facts)
    unknown = [(p, b) for p, b in shared if p.record.buses[b].identity.only is None]
    if unknown or len(list(_alike(one))) > 1:
        first = dict.fromkeys((p.record.id, f"buses.{b}.identity", p.record.buses[b].identity) for p, b in unknown)
        why = joined([fact_missing(*f) for f in first]) or "they are of several records, which may share an identity"
        yield cannot_tell([p.id for p, _ in shared], f"Link {link.id}: whether "
                          f"{of_record([p.device for p, _ in shared])} speak with identities of their own cannot be "
                          f"told: {why}", " ".join(look_up(*f) for f in first) or "Ask the makers.",
                          facts=facts)


def _alike(packs: Iterable[StagePack]) -> Iterator[tuple[StagePack, ...]]:
    found: dict[str, list[StagePack]] = {}
    for pack in packs:
        found.setdefault(pack.record.id, []).append(pack)
    yield from map(tuple, found.values())


@rule("packs-without-switches", "address", broken=Level.STOP, unknown=Level.STOP,
      meaning="Several packs on one link have no way to get an address of their own.",
      source="common practice",
      explain="""Packs without address switches, and without numbering by cable or place, all answer at the same
address: the manager reads them as one. One such pack can be on a link; the others can only be joined at the busbar.
Where a record does not say how its packs get their addresses, look in the manual under several packs, or address
setting.""")
def _without(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        packs = [stage.packs[p] for p in link.packs if p in stage.packs]
        if not link.judged or len(packs) < 2:
            continue
        rules = [(pack, address_rule(link, pack)) for pack in packs]
        bare = [p for p, held in rules if no_address_of_its_own(held[1] if held is not None else None)]
        if len(bare) > 1:
            yield broken([p.id for p in bare], f"Link {link.id}: {of_record([p.device for p in bare])} have no "
                         f"address switches and all answer at one address; one such pack is allowed on a link",
                         "Leave one of them on the link; join the others at the busbar only.", got=f"{len(bare)} "
                         f"packs",
                         limit="1 pack")
        silent = [p for p, held in rules if held is None and not _one_for_all(link, p)]
        if silent:
            yield cannot_tell([p.id for p in silent], f"Link {link.id}: how {of_record([p.device for p in silent])} "
                              "get their addresses is not stated",
                              "Look in the manual under several packs, and write the address rule into the record.")


def _one_for_all(link: StageLink, pack: StagePack) -> bool:
    return any(pack.record.buses[b].identity.only == "one for all" for b in chain_names(link, pack))


# ---- legal addresses ----

@rule("address-out-of-range", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="A pack is set to an address that its record does not allow.",
      source="record",
      explain="""Switches can often show more addresses than the pack listens to: a row of five switches has 32
patterns where seven are valid. At an address that is not allowed the pack is never asked, or starts in some other
role. Set it to an allowed address that no other pack of the link has. The set is printed in the manual beside the
table of the switches.""")
def _range(stage: Stage) -> Iterator[Hit]:
    for link, held in _links(stage):
        members = [s for s in held if s.pack.role != "manager" and not s.values <= set(s.rule.kept_for)]
        for held_rule, group in _by_rule(members):
            yield from _range_hits(stage, link, held_rule, group)


def _range_hits(stage: Stage, link: StageLink, held_rule: AddressRule, group: Sequence[Standing]) -> Iterator[Hit]:
    path, record = f"addresses.{group[0].bus}.allowed", group[0].pack.record.id
    used = (fact_used(group[0].pack.device, path, held_rule.allowed),)
    if not held_rule.allowed.known:
        yield cannot_tell(_ids(group), f"Link {link.id}: whether the addresses of {_of(group)} are allowed cannot be "
                          f"told: {fact_missing(record, path, held_rule.allowed)}", look_up(record, path,
                                                                                      held_rule.allowed), facts=used)
        return
    allowed = " or ".join(f"{numbers(v)} ({s.source})" for s in held_rule.allowed.statements for v in (s.value,))
    for values, same in _by_value(group):
        free = values - set(held_rule.kept_for)
        answer = one_answer(address_inside(held_rule, v) for v in free)
        if answer is Answer.BROKEN:
            yield broken(_ids(same), f"{_means(link, same)}; {record} allows {allowed}", "Set an allowed address "
                         "that is free.",
                         got=numbers(values), limit=allowed, facts=used)
        elif answer is Answer.CANNOT_TELL:
            looked = same[0].looked
            yield cannot_tell(_ids(same), f"{_means(link, same)}; {record} allows {allowed}", _LOOK if not looked else
                              look_up(record, path,
                                      held_rule.allowed), got=numbers(values), limit=allowed, facts=used,
                              level=None if looked else unlooked_level(stage))


@rule("address-reserved", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="A pack is set to an address that its record keeps for something else.",
      source="record",
      explain="""Some addresses are kept for a broadcast, for a service tool, or for another participant of the link.
A pack that stands there is never asked as a pack, or answers what was meant for somebody else. Set it to an address
of its own.""")
def _reserved(stage: Stage) -> Iterator[Hit]:
    for link, held in _links(stage):
        for values, same in _by_value(s for s in held if s.switched):
            for held_rule, group in _by_rule(same):
                kept = values & set(held_rule.kept_for)
                if not kept:
                    continue
                why = joined([f"{v} ({held_rule.kept_for[v]})" for v in sorted(kept)])
                text = f"{_means(link, group)}; {group[0].pack.record.id} keeps back {why}"
                if kept == values:
                    yield broken(_ids(group), text, "Set an allowed address that is free.", got=numbers(values))
                else:
                    yield cannot_tell(_ids(group), text, _LOOK, got=numbers(values),
                                      level=None if group[0].looked else unlooked_level(stage))


# ---- the manager's address ----

@rule("manager-address-wrong", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="The manager is not at the address that makes it manager, or a member is.",
      source="record",
      explain="""Where the address makes a pack the manager, a manager at another address is only one more member:
nobody asks the others, and the controller sees one pack or none. A member that stands at the manager's address
becomes a second manager. Set the manager to the address that its record names for this kind of link, and every member
to another.""")
def _manager_address(stage: Stage) -> Iterator[Hit]:
    for link, held in _links(stage):
        for one in held:
            if one.pack.id == link.manager and one.switched:
                yield from _own_address(stage, link, one)
        if link.manager is not None:
            yield from _members_at_managers(stage, link,
                                            [s for s in held if s.pack.id != link.manager and s.switched])


def _facts(link: StageLink, one: Standing) -> tuple[FactUsed, ...]:
    bus = link.report.kind if link.report is not None else None
    record = one.pack.record
    return (fact_used(one.pack.device, f"addresses.{one.bus}.manager", one.rule.manager.of(modes_of(one.pack)[0],
                                                                                           bus)),
            fact_used(one.pack.device, "manager.made_by", record.manager.made_by))


def _own_address(stage: Stage, link: StageLink, one: Standing) -> Iterator[Hit]:
    own, record = manager_values(link, one.pack, one.rule), one.pack.record.id
    if own is None:
        yield cannot_tell((one.pack.id,), f"{_means(link, [one])}; whether that makes it the manager cannot be told: "
                          f"{record} does not state addresses.{one.bus}.manager",
                          look_up(record, f"addresses.{one.bus}.manager",
                                                                       one.rule.manager.of(modes_of(one.pack)[0])),
                          facts=_facts(link, one))
    elif not own:
        return
    elif not one.values & own:
        yield broken((one.pack.id,), f"{_means(link, [one])}; {record} makes a pack the manager at {numbers(own)}",
                     f"Set it to address {numbers(own)}.", got=numbers(one.values), limit=numbers(own),
                     facts=_facts(link, one))
    elif not one.values <= own:
        yield cannot_tell((one.pack.id,), f"{_means(link, [one])}; {record} makes a pack the manager at "
                          f"{numbers(own)}",
                          _LOOK if not one.looked else "Find out which it is.", got=numbers(one.values),
                          limit=numbers(own),
                          level=None if one.looked else unlooked_level(stage))


def _members_at_managers(stage: Stage, link: StageLink, members: Sequence[Standing]) -> Iterator[Hit]:
    """Members at the manager's address, where the address makes (or may make) the manager."""
    for values, same in _by_value(members):
        for held_rule, group in _by_rule(same):
            made_by, record = group[0].pack.record.manager.made_by, group[0].pack.record
            if "address" not in made_by.values and made_by.known:
                continue
            path = f"addresses.{group[0].bus}.manager"
            stated = any(f.known for _, f in held_rule.manager)
            own = manager_values(link, group[0].pack, held_rule) if stated else None
            about, facts = (str(link.manager), *_ids(group)), _facts(link, group[0])
            if own is None:
                fact = held_rule.manager.of(modes_of(group[0].pack)[0])
                yield cannot_tell(about, f"{_means(link, group)}; whether that makes a second manager beside "
                                  f"{link.manager} cannot be told: {record.id} does not state {path}",
                                  look_up(record.id, path,
                                                                                      fact), facts=facts)
            elif values & own:
                text = (f"{_means(link, group)}; {record.id} makes a pack the manager at {numbers(own)}, and the "
                        f"manager is {link.manager}")
                sure = values <= own and made_by.only == "address"
                make, level = (broken, None) if sure else (cannot_tell,
                                                           None if group[0].looked else unlooked_level(stage))
                yield make(about, text, "Set the members to other addresses." if sure else _LOOK, got=numbers(values),
                           limit=numbers(own), facts=facts, level=level)
