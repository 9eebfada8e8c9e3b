"""The refusal page: one page that says what blocks, what to settle, and where the missing facts are found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from interop.documents.canonical import grouped
from interop.documents.lettering import wrap
from interop.documents.manuals import usual_place
from interop.documents.plaintext import visible
from interop.documents.press import pdf
from interop.documents.settle import shuts
from interop.standards.cautions import cautions_for

__all__ = ["RefusalItem", "refusal_items", "refusal_page"]

# The page, in pt: what `refusal.typ` sets at 10.5 pt, counted carefully on the high side so that one page is enough.
_LINE_ROOM, _LINE, _ITEM_EXTRA, _SIZE = 455.0, 14.0, 14.0, 10.5
_HEIGHT = 430.0
_LONGEST = 600  # characters of one text; a longer one is cut, plan.json has all of it
_FACTS = 4


@dataclass(frozen=True)
class RefusalItem:
    """One thing that blocks: level, what is so, what to do, whom it is about, and the facts to look up."""

    level: str
    verdict: str
    about: str
    text: str
    todo: str
    facts: tuple[str, ...]


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[:_LONGEST] + " … (the rest is in plan.json)"


def _fact_words(fact: Mapping[str, Any]) -> str:
    where = fact.get("where") or usual_place(fact["path"])
    state = fact["state"].replace("-", " ")
    return _short(f"{fact['record']}: {fact['path']} is {state}. Usually printed in: {where}.")


def _item(finding: Mapping[str, Any]) -> RefusalItem:
    wanted = [fact for fact in finding["facts"] if fact["state"] in ("not-stated", "disputed")]
    facts = [_fact_words(fact) for fact in wanted[:_FACTS]]
    if len(wanted) > _FACTS:
        facts.append(f"and {len(wanted) - _FACTS} more facts, in plan.json")
    return RefusalItem(
        level=finding["level"],
        verdict="cannot tell" if finding["verdict"] == "cannot-tell" else finding["verdict"],
        about=_short(", ".join(finding["about"])),
        text=_short(finding["text"]),
        todo=_short(finding["todo"] or ""),
        facts=tuple(facts),
    )


def _height(item: RefusalItem) -> float:
    texts = [f"{item.level} - {item.verdict}: {item.about}", item.text, item.todo, *item.facts]
    lines = sum(len(wrap(visible(text), _LINE_ROOM, _SIZE, "bold")) for text in texts if text)
    return lines * _LINE + _ITEM_EXTRA


def refusal_items(plan: Mapping[str, Any]) -> tuple[RefusalItem, ...]:
    """Everything of `plan` (plan.json contract) that keeps a clearance shut, stops first."""
    return tuple(_item(finding) for finding in shuts(plan))


def _fitting(items: tuple[RefusalItem, ...]) -> tuple[RefusalItem, ...]:
    """The first items that fill the page; always one."""
    used, count = 0.0, 0
    for item in items:
        used += _height(item)
        if used > _HEIGHT and count:
            break
        count += 1
    return items[:count]


def refusal_page(plan: Mapping[str, Any]) -> bytes:
    """One page as PDF: why nothing is issued for `plan`, and what to settle first."""
    items = refusal_items(plan)
    shown = _fitting(items)
    data = {
        "title": f"No plan issued: {_short(plan['site']['name'])}",
        "fingerprint": grouped(plan["fingerprint"]),
        "draft": plan["draft"],
        "date": plan["date"],
        "items": [asdict(item) for item in shown],
        "more": len(items) - len(shown),
        "found_stops": sum(finding["level"] == "stop" for finding in plan["found"]),
        "defer": [caution.text for caution in cautions_for("folder") if caution.id in ("defer", "live-terminals")],
    }
    return pdf("refusal.typ", data)
