"""What must be settled: the findings of a plan in the order in which a reader needs them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from interop.unchanging import unchanging

__all__ = [
    "LEVELS",
    "NotCleared",
    "Remark",
    "about",
    "by_weight",
    "fact_words",
    "refuse_uncleared",
    "remark",
    "settle_words",
    "shuts",
]

LEVELS = ("stop", "caution", "note")
_SETTLE_AT_MOST = 4  # more do not help somebody who stands at the rack; all are in the report


class NotCleared(ValueError):
    """A sheet or note was asked for although the plan is not cleared for settings and is no draft."""


@unchanging
class Remark:
    """One finding as it is printed: its level, what is so, what to do, and who accepted it ("" if nobody)."""

    level: str
    text: str
    todo: str
    accepted: str


_UNITS = {"v": "V", "a": "A", "ka": "kA", "w": "W", "c": "°C", "ah": "Ah", "mohm": "mΩ", "bps": "bit/s", "kg": "kg"}
_CHAPTERS = {"buses": "bus", "switches": "row", "addresses": "addresses of", "ports": "port", "lines": "line"}


def fact_words(path: str) -> str:
    """The dotted `path` of a fact in words that somebody at the rack can look up in a manual."""
    first, *rest = path.split(".")
    if first == "pins" and rest:
        return f"pin {rest[1]} of {rest[0]}" if len(rest) > 1 else f"pins of {rest[0]}"
    of = f" of {_CHAPTERS[first]} {rest[0]}" if first in _CHAPTERS and len(rest) > 1 else ""
    plain = bool(rest) and first in ("limits", "cells", "electric", "terminals")
    words = " ".join(rest[1:] if of else rest if plain else [first, *rest]).replace("_", " ").split()
    unit = f" [{_UNITS[words.pop()]}]" if len(words) > 1 and words[-1] in _UNITS else ""
    return " ".join(words) + unit + of


def _plain(finding: Mapping[str, Any], text: str) -> str:
    """A text of `finding` with the paths of its facts, which are for the writer of records, in words."""
    for path in sorted({fact["path"] for fact in finding["facts"]}, key=lambda path: (-len(path), path)):
        if "." in path:
            text = text.replace(path, fact_words(path))
    return text


def remark(finding: Mapping[str, Any]) -> Remark:
    """`finding` of a plan in the words it is printed in."""
    accepted = finding["accepted"]
    words = f"accepted by {accepted['by']} on {accepted['on']}: {accepted['why']}" if accepted else ""
    return Remark(finding["level"], _plain(finding, finding["text"]), _plain(finding, finding["todo"] or ""), words)


def _waits(finding: Mapping[str, Any]) -> bool:
    """A caution that must be accepted and is not; `must_accept` is a key that the contract may grow."""
    return bool(finding.get("must_accept")) and finding["accepted"] is None


def by_weight(findings: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """`findings` with stops first, then cautions, then notes; otherwise in the given order."""
    return sorted(findings, key=lambda finding: LEVELS.index(finding["level"]))


def about(findings: Iterable[Mapping[str, Any]], device: str) -> list[Mapping[str, Any]]:
    """The findings that name `device`, by weight."""
    return by_weight(finding for finding in findings if device in finding["about"])


def shuts(plan: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The planned stage's findings that keep a clearance shut: stops, and cautions that wait for acceptance."""
    return by_weight(item for item in plan["findings"] if item["level"] == "stop" or _waits(item))


def settle_words(plan: Mapping[str, Any], device: str) -> tuple[tuple[str, ...], int]:
    """What keeps joining shut, as things to do, those about `device` first; and how many more there are."""
    if plan["cleared"]["joining"]:
        return (), 0
    own_first = sorted(shuts(plan), key=lambda finding: device not in finding["about"])
    words = list(dict.fromkeys(_plain(finding, finding["todo"] or finding["text"]) for finding in own_first))
    words = words or ["get the list from whoever made this plan"]
    return tuple(words[:_SETTLE_AT_MOST]), max(0, len(words) - _SETTLE_AT_MOST)


def refuse_uncleared(plan: Mapping[str, Any]) -> None:
    """Raise NotCleared if no sheet or note may be issued: settings not cleared and not a draft."""
    if not plan["cleared"]["settings"] and not plan["draft"]:
        raise NotCleared("settings are not cleared: only a draft or a refusal page can be issued")
