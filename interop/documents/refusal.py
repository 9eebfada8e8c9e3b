"""The refusal page: one page that says what blocks, what to settle, and where the missing facts are found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from interop.documents.canonical import grouped
from interop.documents.lettering import wrap
from interop.documents.manuals import usual_place
from interop.documents.plaintext import shortened, visible
from interop.documents.press import pdf
from interop.documents.settle import shuts
from interop.standards.cautions import cautions_for
from interop.unchanging import unchanging

__all__ = ["RefusalItem", "refusal_items", "refusal_page"]

# The page in pt, as `refusal.typ` sets it at 10.5 pt; counted on the high side so that one page is enough.
_ROOM, _SIZE, _LINE, _ITEM_EXTRA = 455.0, 10.5, 13.6, 8.0
_HEIGHT = 470.0
_FACTS = 4


@unchanging
class RefusalItem:
    """One thing that blocks: level, what is so, what to do, whom it is about, and the facts to look up."""

    level: str
    verdict: str
    about: str
    text: str
    todo: str
    facts: tuple[str, ...]


def _lines(text: str, count: int) -> str:
    """`text` cut to about `count` printed lines; plan.json has all of it."""
    return shortened(text, count * _ROOM * 0.9, _SIZE, "bold")


def _fact_words(fact: Mapping[str, Any]) -> str:
    where = fact.get("where") or usual_place(fact["path"])
    state = fact["state"].replace("-", " ")
    return _lines(f"{fact['record']}: {fact['path']} is {state}. Usually printed in: {where}.", 3)


def _item(finding: Mapping[str, Any]) -> RefusalItem:
    wanted = [fact for fact in finding["facts"] if fact["state"] in ("not-stated", "disputed")]
    facts = [_fact_words(fact) for fact in wanted[:_FACTS]]
    if len(wanted) > _FACTS:
        facts.append(f"and {len(wanted) - _FACTS} more facts, in plan.json")
    return RefusalItem(
        level=finding["level"],
        verdict="cannot tell" if finding["verdict"] == "cannot-tell" else finding["verdict"],
        about=_lines(", ".join(finding["about"]), 2),
        text=_lines(finding["text"], 6),
        todo=_lines(finding["todo"] or "", 5),
        facts=tuple(facts),
    )


def _height(item: RefusalItem) -> float:
    texts = [f"{item.level} - {item.verdict}: {item.about}", item.text, item.todo, *item.facts]
    lines = sum(len(wrap(visible(text), _ROOM, _SIZE, "bold")) for text in texts if text)
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
        "title": f"No plan issued: {plan['site']['name']}",
        "foot": shortened(f"No plan issued: {plan['site']['name']}", 330, 9),
        "fingerprint": grouped(plan["fingerprint"]),
        "draft": plan["draft"],
        "date": plan["date"],
        "items": [asdict(item) for item in shown],
        "more": len(items) - len(shown),
        "found_stops": sum(finding["level"] == "stop" for finding in plan["found"]),
        "defer": [caution.text for caution in cautions_for("folder") if caution.id in ("defer", "live-terminals")],
    }
    return pdf("refusal.typ", data)
