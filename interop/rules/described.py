"""Rules about the record itself: does it describe the device that stands there?"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from interop.records.answers import Answer, all_of
from interop.rules.finding import Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.wording import fact_missing, of_record
from interop.site.site import Device
from interop.wiring.busbar import version_at_least
from interop.wiring.stage import Stage

__all__: list[str] = []

_LATER = re.compile(r"(?:from )?(?P<low>\S+)(?: (?:and|or) (?:later|newer|above|up)| onwards?| on)")
_EARLIER = re.compile(r"(?P<high>\S+) (?:and|or) (?:earlier|older|below)|up to (?P<most>\S+)")
_BETWEEN = re.compile(r"(?P<low>\S+?)(?: to | ?\.\. ?| - )(?P<high>\S+)")
_VERSION = re.compile(r"(?P<letters>[a-z]*)\.? ?(?P<numbers>\d+(?:\.\d+)*)")


def _describes(stated: str, have: str) -> Answer:
    """Return whether a firmware is one that a record describes: ``2.4 and later``, ``A1 to A4``, or one version."""
    says, mine = (" ".join(text.lower().split()) for text in (stated, have))
    if says == mine:
        return Answer.HOLDS
    if later := _LATER.fullmatch(says):
        return _at_least(mine, later["low"])
    if earlier := _EARLIER.fullmatch(says):
        return _at_least(earlier["high"] or earlier["most"], mine)
    between = _BETWEEN.fullmatch(says)
    low, high = (between["low"], between["high"]) if between else (says, says)
    if _another_line(mine, low) and _another_line(mine, high):
        return Answer.BROKEN
    return all_of((_at_least(mine, low), _at_least(high, mine)))


def _letters(version: re.Match[str]) -> str:
    return "" if version["letters"] in ("v", "version") else version["letters"]


def _at_least(have: str, least: str) -> Answer:
    """Compare two versions whose letters are the same; cannot tell where anything else is written beside them."""
    mine, wanted = _VERSION.fullmatch(have), _VERSION.fullmatch(least)
    if mine is None or wanted is None or _letters(mine) != _letters(wanted):
        return Answer.CANNOT_TELL
    return version_at_least(mine["numbers"], wanted["numbers"])


def _another_line(have: str, end: str) -> bool:
    """Whether two versions are of lines with different letters, as B2 and A4 are."""
    mine, theirs = _VERSION.fullmatch(have), _VERSION.fullmatch(end)
    letters = {_letters(one) for one in (mine, theirs) if one is not None}
    return len(letters) == 2 and "" not in letters


def _stated(stage: Stage) -> Iterator[tuple[Sequence[Device], str]]:
    """Yield the devices of the stage whose firmware the site states, by record and firmware."""
    found: dict[tuple[str, str], list[Device]] = {}
    for device in stage.site.devices.values():
        if device.firmware is not None and not (device.new and stage.name == "found"):
            found.setdefault((device.record.id, device.firmware), []).append(device)
    for (_, firmware), devices in found.items():
        yield devices, firmware


@rule(
    "record-does-not-describe",
    "link",
    broken=Level.STOP,
    unknown=Level.NOTE,
    broken_also=(Level.CAUTION,),
    unknown_also=(Level.CAUTION,),
    meaning="The firmware that the site states is not one that the device's record describes.",
    source="record",
    explain="""A record holds for the firmware that it names. Another firmware can have other switch tables, messages,
rates and limits, so that nothing in the record is known to be true of this device, and a plan made from it may be
wrong anywhere. Take a record that describes this firmware, or bring the device to a firmware that the record
describes, as its manual says. Where the two cannot be compared, read the version again, and look it up in the manual
that the record was made from.""",
)
def _firmware(stage: Stage) -> Iterator[Hit]:
    for devices, firmware in _stated(stage):
        fact = devices[0].record.firmware
        answer = fact.judge(lambda stated, have=firmware: _describes(stated, have))  # type: ignore[misc]
        about = tuple(d.id for d in devices)
        whose = "its record" if len(devices) == 1 else "their record"
        says = " or ".join(dict.fromkeys(fact.values))
        if answer is Answer.BROKEN:
            yield broken(
                about,
                f"Firmware of {of_record(devices)} is {firmware}; {whose} describes {says}",
                "Take a record of this firmware, or bring the firmware to one that the record describes.",
                got=firmware,
                limit=says,
                level=Level.STOP if stage.name == "planned" else Level.CAUTION,
            )
        elif answer is Answer.CANNOT_TELL:
            against = any(_describes(stated, firmware) is Answer.BROKEN for stated in fact.values)
            known = fact_missing(devices[0].record.id, "firmware", fact) if fact.only is None else (
                f"the record describes {says}")
            yield cannot_tell(
                about,
                f"Firmware of {of_record(devices)} is {firmware}; whether {whose} describes it cannot be told: {known}",
                "Read the version on the device again, and compare it with the manual that the record is made from.",
                got=firmware,
                limit=says or None,
                facts=(fact_used(devices[0], "firmware", fact),),
                level=Level.CAUTION if against else None,
            )
