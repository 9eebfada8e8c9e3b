"""Rule of the conductor subject about cables that a record asks for beside another device."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from interop.rules.conductor_nets import where
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.link_facts import waits_for_plan
from interop.rules.wording import of_record
from interop.wiring.mixing import SpecialCable, special_cables
from interop.wiring.stage import Stage, StageCable, StageLink

__all__: list[str] = []

_TODO = "Get that cable, or ask the maker what is in it, and use it in place of what the note shows."


@rule("special-cable-asked", "conductor", broken=Level.CAUTION, unknown=Level.CAUTION, must_accept=True,
      meaning="A record asks for a special cable between these devices.",
      source="record",
      explain="""The maker, or another source of the record, says that these two are joined by a cable of its own: an
adapter, a lead with a part inside, a converter. What is in it is not in the record, so the pins on the cable note show
only what a plain cable would join, and a plain cable may not work or may do harm. Get the cable that is named, and
accept this with name and date.""")
def _special(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        if not link.judged or not stage.cables_known:
            continue
        found: dict[tuple[object, ...], list[tuple[StageCable, SpecialCable]]] = {}
        joined: set[frozenset[int]] = set()
        for cable in (*stage.cables_of.get((link.id, "chain"), ()), *stage.cables_of.get((link.id, "report"), ())):
            ends = stage.device(cable.a.device).record, stage.device(cable.b.device).record
            joined.add(frozenset(map(id, ends)))
            for one in special_cables(*ends):
                key = (one.record.id, one.other.id, one.words, one.source, one.sure)
                found.setdefault(key, []).append((cable, one))
        for asked in found.values():
            yield _cable_hit(stage, link, [cable for cable, _ in asked], asked[0][1])
        if not waits_for_plan(stage, link):
            yield from _apart(stage, link, joined)


def _words(one: SpecialCable, beside: str) -> str:
    may = "" if one.sure else ", if it means this one"
    return f"{one.record.id} asks for a special cable beside {beside}{may}: {one.words} ({one.source})"


def _cable_hit(stage: Stage, link: StageLink, cables: list[StageCable], one: SpecialCable) -> Hit:
    about = tuple(dict.fromkeys(end.device for c in cables for end in (c.a, c.b)))
    others = [stage.device(name) for name in about]
    text = f"{where(link.id, [c.id for c in cables])}, between {of_record(others)}: {_words(one, one.other.id)}"
    return (broken if one.sure else cannot_tell)(about, text, _TODO)


def _apart(stage: Stage, link: StageLink, joined: set[frozenset[int]]) -> Iterator[Hit]:
    """Packs of two records that no cable joins directly: the statement speaks of the link all the same."""
    records = {id(stage.packs[n].record): stage.packs[n].record for n in link.packs if n in stage.packs}
    for one, other in itertools.combinations(records.values(), 2):
        if frozenset((id(one), id(other))) in joined:
            continue
        packs = [stage.packs[n].device for n in link.packs if n in stage.packs
                 and stage.packs[n].record in (one, other)]
        for asked in special_cables(one, other):
            text = f"Link {link.id}, on which no cable joins {one.id} and {other.id}: {_words(asked, asked.other.id)}"
            yield (broken if asked.sure else cannot_tell)([d.id for d in packs], text, _TODO)
