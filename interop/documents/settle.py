"""What must be settled: the findings of a plan in the order in which a reader needs them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

__all__ = [
    "LEVELS",
    "NotCleared",
    "Remark",
    "about",
    "by_weight",
    "refuse_uncleared",
    "remark",
    "settle_words",
    "shuts",
]

LEVELS = ("stop", "caution", "note")
_SETTLE_AT_MOST = 4  # more do not help somebody who stands at the rack; all are in the report


class NotCleared(ValueError):
    """A sheet or note was asked for although the plan is not cleared for settings and is no draft."""


@dataclass(frozen=True)
class Remark:
    """One finding as it is printed: its level, what is so, what to do, and who accepted it ("" if nobody)."""

    level: str
    text: str
    todo: str
    accepted: str


def remark(finding: Mapping[str, Any]) -> Remark:
    """`finding` of a plan in the words it is printed in."""
    accepted = finding["accepted"]
    words = f"accepted by {accepted['by']} on {accepted['on']}: {accepted['why']}" if accepted else ""
    return Remark(finding["level"], finding["text"], finding["todo"] or "", words)


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
    words = [finding["todo"] or finding["text"] for finding in own_first] or ["see the findings in plan.json"]
    return tuple(words[:_SETTLE_AT_MOST]), max(0, len(words) - _SETTLE_AT_MOST)


def refuse_uncleared(plan: Mapping[str, Any]) -> None:
    """Raise NotCleared if no sheet or note may be issued: settings not cleared and not a draft."""
    if not plan["cleared"]["settings"] and not plan["draft"]:
        raise NotCleared("settings are not cleared: only a draft or a refusal page can be issued")
