"""Rule of the address subject about addresses that are left out below a pack."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.answers import Answer
from interop.records.switches import parts_in
from interop.rules.address import numbers, unlooked_level
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import joined, of_record
from interop.wiring.gaps import run_answer
from interop.wiring.meanings import Standing, address_rule, known_case, manager_values, meaning, standings
from interop.wiring.stage import Stage, StageLink, StagePack
from interop.wiring.stated import numbering

__all__: list[str] = []

_LOOK = "Look at every switch of these packs and write what is seen into the site file."
_RECORD = "Look up gaps and the first address in the manual, beside the table of the address switches."
_ASK = "Use a pattern that has one meaning, or read the address with the maker's tool."


@rule("address-gap", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="An address is left out where the record wants them without a gap.",
      source="record",
      explain="""Many managers count upwards from the first address and stop at the first that does not answer: every
pack beyond a gap is on the busbar and carries current, but nobody reads it. Number the packs of the link without a
gap from the first address on. The first address is the one stated, else the lowest that is allowed. A pack that may
stand at several addresses is judged at each of them.""")
def _gap(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        held = standings(stage, link) if link.judged else ()
        asking = [s for s in held if s.rule.gaps.only != "allowed"]
        if asking:
            yield from _gap_hits(stage, link, held, asking)


def _unread(stage: Stage, link: StageLink, held: Sequence[Standing]) -> tuple[list[StagePack], int]:
    """Packs numbered by switches whose switches mean nothing, and how many the plan still places."""
    known = {s.pack.id for s in held}
    unread, left = [], sum(stage.name == "planned" and not s.looked for s in held)
    for pack in (stage.packs[name] for name in link.packs if name in stage.packs and name not in known):
        rule_ = address_rule(link, pack)
        if rule_ is None or numbering(pack.record, rule_[1]) != "by switches":
            continue
        meant = meaning(stage, pack, "address")
        sets = _sets_address(stage, pack)
        if meant is not None and pack.role != "manager" and sets:
            unread.append(pack)
        left += meant is None and sets
    return unread, left


def _sets_address(stage: Stage, pack: StagePack) -> bool:
    """Whether a switch sets the address of a pack; where none does, that is a finding of its own."""
    case = known_case(stage, pack)
    return any(part.sets == "address" for row in pack.record.switches.values() for part, _ in parts_in(row, case))


def _gap_hits(stage: Stage, link: StageLink, held: Sequence[Standing], asking: Sequence[Standing]) -> Iterator[Hit]:
    lows = [_first(link, s) for s in asking]
    surely = [low for low, stated in lows if stated]
    certain = any(s.rule.gaps.only == "forbidden" for s in asking) and bool(surely)
    low = min(surely) if certain else min(low for low, _ in lows)
    unread, left = _unread(stage, link, held)
    sets = [s.values for s in held if s.looked or stage.name == "found"]
    if not sets:
        return
    answer = run_answer(sets, low, anywhere=len(unread), left=left)
    if answer is Answer.HOLDS:
        return
    facts = tuple(dict.fromkeys(fact_used(s.pack.device, f"addresses.{s.bus}.{n}", f) for s in asking
                                for n, f in (("gaps", s.rule.gaps), ("start", s.rule.start))))
    if answer is Answer.BROKEN and certain:
        yield _broken(link, held, asking, low, facts)
    else:
        yield _open(stage, link, held, asking, unread, low, facts, certain=certain)


def _records(asking: Sequence[Standing]) -> str:
    return joined(list(dict.fromkeys(s.pack.record.id for s in asking)))


def _ids(held: Sequence[Standing], unread: Sequence[StagePack] = ()) -> tuple[str, ...]:
    return (*(s.pack.id for s in held), *(p.id for p in unread))


def _broken(link: StageLink, held: Sequence[Standing], asking: Sequence[Standing], low: int,
            facts: tuple[FactUsed, ...]) -> Hit:
    """Say which addresses nobody can stand at, below the highest that a pack must have."""
    top = max(min(s.values) for s in held)
    missing = [v for v in range(low, top) if not any(v in s.values for s in held)]
    who = of_record([s.pack.device for s in held])
    wants = f"{_records(asking)} wants the addresses {low}..{top} without"
    taken = {s.only for s in held if s.only is not None}
    text = f"no pack of {who} stands at address {numbers(missing)}; {wants} a gap"
    if not missing:
        text = f"however the switches of {who} are read, an address is left out; {wants} a gap"
    return broken(_ids(held), f"Link {link.id}: {text}", "Number the packs of the link without a gap.",
                  got=numbers(taken), limit=f"{low}..{top}", facts=facts)


def _open(stage: Stage, link: StageLink, held: Sequence[Standing], asking: Sequence[Standing],
          unread: Sequence[StagePack], low: int, facts: tuple[FactUsed, ...], *, certain: bool) -> Hit:
    """What the record wants, or where a pack stands, is not known, and at one of its addresses there is a gap."""
    unsure = [s for s in held if len(s.values) > 1]
    taken = {s.only for s in held if s.only is not None}
    missing = [v for v in range(low, max(taken, default=low)) if v not in taken]
    about, who = _ids(held, unread), of_record([s.pack.device for s in held])
    twice = [s for s in unsure if s.looked]
    unsaid = f"what {_records(asking)} says of gaps and of the first address is not known"
    level = None if twice else unlooked_level(stage) if unsure or unread else Level.CAUTION
    why, todo = (("not every address is known", _LOOK) if certain else (unsaid, _RECORD))
    if twice:
        why, todo = f"{_may_stand(twice)}, since one pattern, or a record, leaves them open", _ASK
    elif unread:
        why, todo = f"what the switches of {of_record([p.device for p in unread])} mean is not known", _LOOK
    if missing:
        text = f"no pack of {who} is known to stand at address {numbers(missing)}; whether that is a gap"
    else:
        text = f"whether {who} stand without a gap from address {low} on"
    return cannot_tell(about, f"Link {link.id}: {text} cannot be told, {why}", todo, got=numbers(taken), facts=facts,
                       level=level)


def _may_stand(held: Sequence[Standing]) -> str:
    return joined([f"{s.pack.id} may stand at any of the addresses {numbers(s.values)}" for s in held])


def _first(link: StageLink, one: Standing) -> tuple[int, bool]:
    """Return the first address of a run and whether the record states it; else the lowest that is allowed, or zero."""
    if one.rule.start.known:
        return min(one.rule.start.values), True
    own = manager_values(link, one.pack, one.rule)
    if not one.rule.allowed.known or own is None:
        return 0, False
    return min({a for values in one.rule.allowed.values for a in values} | own), False
