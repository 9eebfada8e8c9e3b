"""Rules of the cells subject about the makers' words: forbidden, rests on practice, silent, firmware too old."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

from interop.records.answers import Answer
from interop.records.models import Mixing
from interop.rules.cells import Group, groups, pairs
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import joined, of_record
from interop.wiring.busbar import Word, maker_words, needed_words, rests_on, version_at_least
from interop.wiring.stage import Stage

__all__: list[str] = []

_SURE = {"practice": "common practice", "measured": "a measurement", "inferred": "an inference", "reported": "a "
         "report"}


def _linked(stage: Stage, one: Group, other: Group) -> str | None:
    """Return a link that packs of both share, if it is judged; None for the busbar only."""
    mine = {link.id for d in one if (link := stage.link_of.get(d.id)) is not None and link.judged}
    theirs = {link.id for d in other if (link := stage.link_of.get(d.id)) is not None}
    return next(iter(sorted(mine & theirs)), None)


def _judged(stage: Stage) -> Iterator[tuple[Group, Group, str, tuple[Word, ...]]]:
    """Yield every pair of records on a busbar, or on a link over several busbars; what they share in words, and the
    two records' words on each other.
    """
    for one, other in pairs(stage):
        link = _linked(stage, one, other)
        shared = f"on one busbar and on link {link}" if link is not None else "on one busbar"
        yield one, other, shared, _words(one, other, linked=link is not None)
    for link_id, one, other in _over_busbars(stage):
        yield one, other, f"on link {link_id}", _words(one, other, linked=True, busbar=False)


def _words(one: Group, other: Group, *, linked: bool, busbar: bool = True) -> tuple[Word, ...]:
    a, b = one[0].record, other[0].record
    return (
        maker_words(a, b, linked=linked, busbar=busbar),
        maker_words(b, a, linked=linked, busbar=busbar),
    )


def _over_busbars(stage: Stage) -> Iterator[tuple[str, Group, Group]]:
    """Yield every pair of records that a link joins although no one busbar does."""
    for link in stage.links:
        if link.judged and not stage.on_one_bank(link.packs):
            for one, other in itertools.combinations(groups(stage, link.packs), 2):
                if not stage.on_one_bank(_about(one, other)):
                    yield link.id, one, other


def _about(one: Group, other: Group) -> tuple[str, ...]:
    return tuple(d.id for d in (*one, *other))


def _head(one: Group, other: Group, shared: str) -> str:
    return f"{of_record(one)} with {of_record(other)} {shared}"


@rule("mixing-forbidden", "cells", broken=Level.STOP, unknown=Level.STOP,
      meaning="A record forbids packs of another record on its busbar or link.",
      source="record",
      explain="""A maker, or another source of the record, says that these packs must not be joined. Whatever the
reason, nobody who acts against it has the maker on their side when something fails. Give the packs busbars of their
own, or put them on links of their own where only one link is forbidden.""")
def _forbidden(stage: Stage) -> Iterator[Hit]:
    for one, other, shared, words in _judged(stage):
        against = [w for w in words if w.allowed is Answer.BROKEN]
        unsure = [w for w in words if w.allowed is Answer.CANNOT_TELL]
        if against:
            says = joined([f"{w.record.id} forbids {w.other.id} ({_source_words(w)})" for w in against])
            yield broken(_about(one, other), f"{_head(one, other, shared)}: {says}", "Give them busbars, or links, "
                         "of their own.")
        elif unsure:
            says = joined([f"{w.record.id} forbids some of its family {w.other.family}, and the generation of "
                           f"{w.other.id} is not known" for w in unsure])
            yield cannot_tell(_about(one, other), f"{_head(one, other, shared)}: {says}",
                              "Read the revision on the type plate and write the generation into the record.")


def _source_words(word: Word) -> str:
    item = next(item for item, _ in word.items if "no" in (item.same_busbar, item.same_link))
    return item.source or rests_on(word.record, item)[0]


def _needed(words: Sequence[Word]) -> tuple[Word, ...]:
    """The words that are needed: both makers', in one family the newer generation's alone."""
    by_record = {w.record.id: w for w in words}
    return tuple(by_record[who.id] for who, _ in needed_words(words[0].record, words[0].other))


@rule("mixing-silent", "cells", broken=Level.CAUTION, unknown=Level.CAUTION, must_accept=True,
      meaning="A maker whose word is needed says nothing about mixing these packs.",
      source="record",
      explain="""Packs of two makers need the word of both; within one family the word of the newer generation is
enough. Silence is no permission: the fault current, the charge voltage and the share of current may be more than a
pack was tested for, and a warranty may end. Ask the makers. Who goes on without their word accepts this caution by
name, with a reason and a date.""")
def _silent(stage: Stage) -> Iterator[Hit]:
    for one, other, shared, words in _judged(stage):
        silent = [w for w in _needed(words) if w.silent]
        if silent and all(w.allowed is not Answer.BROKEN for w in words):
            says = joined([f"{w.record.id} says nothing of {w.other.id}" for w in silent])
            yield broken(_about(one, other), f"{_head(one, other, shared)}: {says}",
                         "Ask the makers, or accept this caution with a reason, a name and a date.")


@rule("mixing-not-approved", "cells", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="That these packs may be mixed rests on practice or report, not on the word of the maker.",
      source="record",
      explain="""Others have mixed these packs and it worked, or it follows from what is known of them; the maker has
not said so. Firmware, revision or the number of packs may differ from what was tried. The sheet prints the source and
a box to sign. Ask the maker, and write the answer into the record.""")
def _not_approved(stage: Stage) -> Iterator[Hit]:
    for one, other, shared, words in _judged(stage):
        if any(w.allowed is Answer.BROKEN for w in words):
            continue
        says = [f"{w.record.id} allows {w.other.id} by {_SURE[sure]} only ({source})"
                for w in _needed(words) if not w.silent for item, _ in w.items[-1:]
                for source, sure in (_rests(w, item),) if sure != "stated"]
        if says:
            yield broken(_about(one, other), f"{_head(one, other, shared)}: {joined(says)}, not by its maker's word",
                         "Ask the maker; until then whoever joins them signs for it.")


def _rests(word: Word, item: Mixing) -> tuple[str, str]:
    name, sure = rests_on(word.record, item)
    return item.source or name, sure


@rule("firmware-below-minimum", "cells", broken=Level.STOP, unknown=Level.CAUTION, must_accept=True,
      meaning="A pack's firmware is older than its record asks for beside the other packs.",
      source="record",
      explain="""A record may allow other packs only from a firmware version on: earlier ones do not know their
messages or pass wrong limits on. Bring the firmware of the named packs up to the minimum, one pack at a time and
unlinked, as the maker's manual says. Where the version of a pack is not written into the site file, read it on the
pack and write it down.""")
def _firmware(stage: Stage) -> Iterator[Hit]:
    for one, other, _, words in _judged(stage):
        for group, partner, word in ((one, other, words[0]), (other, one, words[1])):
            for item, sure in word.items:
                if item.firmware_minimum is not None:
                    yield from _firmware_hits(group, partner, item.firmware_minimum, sure=sure)


def _firmware_hits(group: Group, partner: Group, least: str, *, sure: bool) -> Iterator[Hit]:
    answers = {d.id: version_at_least(d.firmware, least) for d in group}
    old = [d for d in group if answers[d.id] is Answer.BROKEN]
    unread = [d for d in group if answers[d.id] is Answer.CANNOT_TELL]
    asks = f"beside {of_record(partner)} the record asks for at least {least}"
    todo = f"Bring the firmware to {least} or later before they are joined."
    for version in dict.fromkeys(d.firmware for d in old):
        same = tuple(d for d in old if d.firmware == version)
        text = f"Firmware of {of_record(same)} is {version}; {asks}"
        if sure:
            yield broken(_about(same, partner), text, todo, got=version, limit=least)
        else:
            yield cannot_tell(_about(same, partner), f"{text} of a generation that these may or may not be", todo,
                              got=version,
                              limit=least)
    if unread:
        yield cannot_tell(_about(tuple(unread), partner), f"Firmware of {of_record(unread)} is not known; {asks}",
                          "Read the version on each pack and write it into the site file.", limit=least)


