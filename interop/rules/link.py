"""Rules of the link subject: who is manager, who asks, who follows whom, and who is on the link at all."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence

from interop.records.answers import Answer
from interop.records.models import Record
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.link_facts import Kind, judged_links, kinds_of, report_cables
from interop.rules.wording import named
from interop.wiring.managers import claims_manager
from interop.wiring.mixing import required_manager
from interop.wiring.purposes import LINE
from interop.wiring.stage import Stage, StageLink
from interop.wiring.talks import RecordKey, mixing_candidates, mixing_statement

__all__: list[str] = []


# ---- who is manager ----


@rule(
    "two-managers-on-a-link",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="More than one pack of a link is set or plugged so that it becomes the manager.",
    source="common practice; Modbus over serial line V1.02, 2.1: one master at a time",
    explain="""One pack of a link asks the others and reports. A second pack that its own switches, or an empty
port, make the manager asks at the same time: the answers collide, and a controller gets two orders that
contradict each other. Set every pack but one as a member, restart them as their manuals say, and read the
number of packs at the controller. A switch that nobody looked at may make a pack the manager: look, and write
down what it shows.""",
)
def _two_managers(stage: Stage) -> Iterator[Hit]:
    for link in judged_links(stage):
        claims = {name: claims_manager(stage, link, name) for name in link.packs if name in stage.packs}
        sure = [name for name, answer in claims.items() if answer is Answer.HOLDS]
        maybe = [name for name, answer in claims.items() if answer is Answer.CANNOT_TELL]
        if len(sure) > 1:
            yield broken(
                sure,
                f"Link {link.id}: {named(sure)} are each set to be the manager; one manager is allowed",
                "Set all but one of them as members, then restart them.",
                got=f"{len(sure)} managers",
                limit="1 manager",
            )
        elif maybe and len(sure) + len(maybe) > 1:
            yield cannot_tell(
                [*sure, *maybe],
                _maybe_text(link, sure, maybe),
                "Read every switch of these packs. What makes a pack the manager stands in the manual under address "
                "or parallel setting.",
                facts=_manager_facts(stage, maybe),
            )


def _maybe_text(link: StageLink, sure: Sequence[str], maybe: Sequence[str]) -> str:
    beside = f" beside {named(sure)}" if sure else ""
    return f"Link {link.id}: what is known of {named(maybe)} does not show whether one of them is the manager{beside}"


def _manager_facts(stage: Stage, names: Sequence[str]) -> tuple[FactUsed, ...]:
    devices = [stage.packs[name].device for name in names]
    return tuple(dict.fromkeys(fact_used(d, "manager.made_by", d.record.manager.made_by) for d in devices))


@rule(
    "record-demands-another-manager",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A record says that a pack of another kind must be the manager of this link.",
    source="record",
    explain="""Some packs answer only to a manager of their own kind, or of the newest generation on the link: an
older manager does not know their messages and passes wrong limits on to the controller, or counts only part of
the packs. Make the pack that the record asks for the manager, and set the old one as a member.""",
)
def _demands(stage: Stage) -> Iterator[Hit]:
    for link in judged_links(stage):
        if link.manager is None or link.manager not in stage.packs:
            continue
        kinds = kinds_of(stage, link)
        manager = next(k for k in kinds if link.manager in k.packs)
        keys = tuple(dict.fromkeys(RecordKey(k.record) for k in kinds))
        if RecordKey(manager.record) in required_manager(keys):
            yield from _demand_unknown(stage, link, kinds)
            continue
        asking, text, unknown = _who_asks(kinds, manager)
        about = (link.manager, *asking.packs)
        if unknown:
            blank = [n for k in kinds if k.record.family == asking.record.family for n in k.packs if _no_generation(k)]
            yield _generation_unknown(stage, link, (*about, *blank))
        else:
            yield broken(
                about,
                f"Link {link.id}: {named(asking.packs)} ({asking.record.id}) {text}; the manager is {link.manager} "
                f"({manager.record.id})",
                "Make the pack that the record asks for the manager.",
                got=manager.record.id,
            )


def _who_asks(kinds: Sequence[Kind], manager: Kind) -> tuple[Kind, str, bool]:
    """Return the kind whose statement the manager breaks, its demand, and whether it rests on an unknown generation."""
    family_unknown = False
    for one, other in itertools.permutations(kinds, 2):
        item = mixing_statement(one.record, other.record)
        wanted = item.manager if item is not None and item.same_link != "no" else None
        if wanted == "this" and manager.record is not one.record:
            return one, f"must be the manager beside {other.record.id}", False
        if wanted == "other" and manager.record is not other.record:
            return one, f"must have {other.record.id} as manager", False
        if wanted == "newest" or one.record.manager.made_by.only == "newest":
            newest, family_unknown = _newest(kinds, one.record)
            if manager.record not in newest:
                return one, _newest_text(newest), family_unknown
    one = next((k for k in kinds if k.record.manager.made_by.only == "newest"), kinds[0])
    newest, family_unknown = _newest(kinds, one.record)
    return one, _newest_text(newest), family_unknown


def _newest(kinds: Sequence[Kind], record: Record) -> tuple[list[Record], bool]:
    family = [k.record for k in kinds if k.record.family == record.family]
    known = [(r, g) for r in family if (g := r.generation.only) is not None]
    top = max((g for _, g in known), default=None)
    return [r for r, g in known if g == top], len(known) < len(family)


def _newest_text(newest: Sequence[Record]) -> str:
    names = ", ".join(dict.fromkeys(r.id for r in newest))
    return (
        f"must have the newest generation of the family as manager ({names})"
        if names
        else "must have the newest as manager"
    )


def _no_generation(kind: Kind) -> bool:
    return kind.record.generation.only is None


def _demand_unknown(stage: Stage, link: StageLink, kinds: Sequence[Kind]) -> Iterator[Hit]:
    """A statement about one generation of a family may be about a pack whose generation is not stated."""
    for one, other in itertools.permutations(kinds, 2):
        if link.manager in one.packs and link.manager in other.packs:
            continue
        if any(item.manager is not None for item, sure in mixing_candidates(one.record, other.record) if not sure):
            yield _generation_unknown(stage, link, (str(link.manager), *one.packs, *other.packs))
            return


def _generation_unknown(stage: Stage, link: StageLink, about: Sequence[str]) -> Hit:
    devices = [stage.packs[name].device for name in about if name in stage.packs]
    facts = tuple(
        dict.fromkeys(
            fact_used(d, "generation", d.record.generation) for d in devices if d.record.generation.only is None
        )
    )
    return cannot_tell(
        tuple(dict.fromkeys(about)),
        f"Link {link.id}: which generation {', '.join(dict.fromkeys(f.record for f in facts))} is, is not known, so "
        f"who "
        f"must be the manager cannot be told; the manager is {link.manager}",
        "Read the generation or revision on the label and write it into the record.",
        facts=facts,
    )


@rule(
    "members-at-most",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A manager has more members than its record allows.",
    source="record",
    explain="""A manager asks a fixed number of addresses at most. Packs beyond that number are never asked: they
carry current, yet their limits and alarms reach nobody. Split the packs over two links where the controller
follows two managers, or leave packs off the link and treat them as unmanaged.""",
)
def _members_at_most(stage: Stage) -> Iterator[Hit]:
    for link in judged_links(stage):
        if link.manager is None or link.manager not in stage.packs or len(link.packs) < 2:
            continue
        device, members = stage.packs[link.manager].device, len(link.packs) - 1
        fact = device.record.manager.members_at_most
        answer = fact.judge(_at_most(members))
        if answer is Answer.BROKEN:
            limit = min(fact.values)
            yield broken(
                (link.manager,),
                f"Link {link.id}: manager {link.manager} ({device.record.id}) can have {limit} member"
                f"{'s' if limit != 1 else ''}; it has {members}",
                "Take members off this link.",
                got=f"{members} members",
                limit=f"{limit} members",
            )
        elif answer is Answer.CANNOT_TELL:
            yield cannot_tell(
                (link.manager,),
                f"Link {link.id}: how many members manager {link.manager} ({device.record.id}) can have is "
                f"{_unknown(fact.state)}; it has {members}",
                "Look in the manual under packs in parallel.",
                got=f"{members} members",
                facts=(fact_used(device, "manager.members_at_most", fact),),
            )


def _at_most(have: int) -> Callable[[int], Answer]:
    return lambda most: Answer.BROKEN if have > most else Answer.HOLDS


def _unknown(state: str) -> str:
    return "disputed" if state == "disputed" else "not stated"


# ---- controllers ----


@rule(
    "two-managers-to-one-controller",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="More links report to a controller than it follows managers.",
    source="record",
    explain="""A controller that follows one manager takes whatever message came last. With two managers its
charge limit jumps from one to the other many times a minute, and each pack is at times charged by the limit of
the other link. Let one link report and leave the other open loop, or join the packs on one link.""",
)
def _controller_follows(stage: Stage) -> Iterator[Hit]:
    reporting: dict[str, list[StageLink]] = {}
    for link in judged_links(stage):
        for name in link.reports_to:
            reporting.setdefault(name, []).append(link)
    for name, links in reporting.items():
        device = stage.device(name)
        fact = device.record.follows.managers_at_most
        ids = named([link.id for link in links])
        about = (name, *(link.manager for link in links if link.manager is not None))
        answer = fact.judge(_at_most(len(links)))
        word = f"link{'s' if len(links) > 1 else ''} {ids} report{'' if len(links) > 1 else 's'} to it"
        if answer is Answer.BROKEN:
            yield broken(
                about,
                f"{name} ({device.record.id}) follows {min(fact.values)} "
                f"manager{'s' if min(fact.values) != 1 else ''} at most; {word}",
                "Let one link report to it.",
                got=f"{len(links)} links",
                limit=f"{min(fact.values)} managers",
            )
        elif answer is Answer.CANNOT_TELL:
            yield cannot_tell(
                about,
                f"How many managers {name} ({device.record.id}) follows is {_unknown(fact.state)}; {word}",
                "Look in its manual under battery communication.",
                got=f"{len(links)} links",
                facts=(fact_used(device, "follows.managers_at_most", fact),),
            )


@rule(
    "wrong-unit",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    meaning="The report cable lands on a unit of a parallel set that does not take it.",
    source="record",
    explain="""In a set of controllers that work in parallel one unit takes the cable of the batteries and tells
the others over their own link. In any other unit the cable is ignored: the set runs on its own voltage settings
as if there were no manager. Move the plug to the unit that the manual names.""",
)
def _wrong_unit(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        for cable in report_cables(stage, link):
            end = cable.b if cable.a.device in stage.packs else cable.a
            device = stage.device(end.device)
            if device.units < 2:
                continue
            port = device.record.ports.get(end.port or "")
            facts = [("follows.cable_lands_on", device.record.follows.cable_lands_on)]
            if port is not None:
                facts.append((f"ports.{end.port}.lands_on", port.lands_on))
            wanted = [(path, fact) for path, fact in facts if fact.known]
            used = tuple(fact_used(device, path, fact) for path, fact in facts)
            about = (end.device,)
            texts = {value for _, fact in wanted for value in fact.values}
            if not wanted or len(texts) > 1:
                yield cannot_tell(
                    about,
                    f"Cable {cable.id}: which of the {device.units} units of {end.device} ({device.record.id}) "
                    f"takes it is "
                    f"{'disputed' if texts else 'not stated'}",
                    "Look in the manual under parallel operation.",
                    facts=used,
                )
            elif device.lands_on is None:
                yield cannot_tell(
                    about,
                    f"Cable {cable.id}: on which of the {device.units} units of {end.device} ({device.record.id}) "
                    f"it lands is "
                    f"not written; {next(iter(texts))} takes it",
                    "Look where the cable ends, and write cable_lands_on.",
                    limit=next(iter(texts)),
                )
            elif device.lands_on not in texts:
                yield broken(
                    about,
                    f"The site file has cable {cable.id} land on {device.lands_on} of {end.device} "
                    f"({device.record.id}); {next(iter(texts))} takes it",
                    f"Put the plug into {next(iter(texts))}, and write cable_lands_on: {next(iter(texts))}.",
                    got=device.lands_on,
                    limit=next(iter(texts)),
                )


# ---- who is on the link ----


@rule(
    "data-cable-on-unmanaged-pack",
    "link",
    broken=Level.STOP,
    unknown=Level.CAUTION,
    broken_also=(Level.CAUTION,),
    meaning="A data cable is plugged into a pack that is on no link.",
    source="common practice",
    explain="""An unmanaged pack is on the busbar only. A data cable left in it still joins its copper with the
link: its switches, its terminator, its stop pair and its voice on the bus all take part, without anybody having
planned it. Pull the cable out of the unmanaged pack and out of the other end.""",
)
def _cable_on_unmanaged(stage: Stage) -> Iterator[Hit]:
    alone = {name for name, pack in stage.packs.items() if pack.role == "unmanaged"}
    touched: dict[str, list[str]] = {}
    for cable in stage.cables:
        for end in (cable.a.device, cable.b.device) if cable.carries != LINE else ():
            if end in alone:
                touched.setdefault(end, []).append(cable.id)
    if touched:
        cables = list(dict.fromkeys(c for ids in touched.values() for c in ids))
        packs = [name for name in stage.packs if name in touched]
        level = Level.STOP if stage.name == "planned" else Level.CAUTION
        yield broken(
            packs,
            f"{named(packs)} {'is' if len(packs) == 1 else 'are'} unmanaged; data "
            f"cable{'s' if len(cables) > 1 else ''} "
            f"{named(cables)} still end{'' if len(cables) > 1 else 's'} there",
            "Take these data cables out.",
            level=level,
        )
