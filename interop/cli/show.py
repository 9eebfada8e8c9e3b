"""What the commands print for a reader: findings, the plan in short, one rule. Text is printed plainly, never as markup."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interop.documents.plaintext import visible
from interop.rules.finding import Finding, Rule
from interop.rules.judge import Judged
from interop.rules.wording import named
from interop.site.site import Site

if TYPE_CHECKING:
    from interop.documents.package import Package

__all__ = ["show_check", "show_plan", "show_rule"]

_LOOKS = {"stop": "bold red", "caution": "yellow", "note": "dim"}
_MARKS = {"stop": "STOP", "caution": "CAUTION", "note": "note"}


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False, emoji=False)


def _plain(text: str, look: str = "") -> Text:
    """Text as it is, with every character that cannot be seen as its visible code."""
    return Text(visible(text), style=look)


def show_check(site: Site, judged: Judged) -> None:
    """Print the findings of both stages."""
    console = _console()
    console.print(_plain(site.name, "bold"))
    for title, items in (("As found", judged.found), ("As planned", judged.planned)):
        console.print(_plain(f"{title}: {_count(items)}", "bold"))
        _findings(console, items)
    if judged.not_judged:
        console.print(_plain(f"Not judged, left to the plan: link {', '.join(judged.not_judged)}."))


def _count(items: Sequence[Finding]) -> str:
    counts = {level: sum(one.level.value == level for one in items) for level in _LOOKS}
    words = [f"{n} {level}{'s' if n != 1 else ''}" for level, n in counts.items() if n]
    return ", ".join(words) or "nothing to report"


def _findings(console: Console, items: Iterable[Finding]) -> None:
    for one in items:
        level = one.level.value
        head = Text.assemble((f"{_MARKS[level]:<8}", _LOOKS[level]), (one.rule, "bold"),
                             "" if one.verdict == "broken" else " (cannot tell)")
        console.print(head)
        body = [one.text]
        if one.todo:
            body.append(f"To do: {one.todo}")
        if one.facts:
            body.append("Facts: " + ", ".join(f"{f.record} {f.path} ({f.state})" for f in one.facts))
        if one.at:
            body.append("At: " + ", ".join(f"{file}:{line}:{column}" for file, line, column in one.at[:3])
                        + (f" and {len(one.at) - 3} more" if len(one.at) > 3 else ""))
        body.append(f"Source: {one.source}")
        if one.accepted is not None:
            body.append(f"Accepted by {one.accepted.by} on {one.accepted.on}: {one.accepted.why}")
        elif one.must_accept:
            body.append("Must be accepted in the site file before sheets are issued.")
        for line in body:
            console.print(Padding(_plain(line), (0, 0, 0, 8)))


def show_plan(package: Package, out: Path) -> None:
    """Print the plan in short: links, packs, cables, findings, what was written."""
    console = _console()
    plan = package.plan
    console.print(_plain(str(plan["site"]["name"]), "bold"))
    for link in plan["links"]:
        _link(console, link)
    console.print(_packs(plan))
    if plan["cables"]:
        console.print(_cables(plan))
    console.print(_plain(f"As found: {_count(package.judged.found)}", "bold"))
    _findings(console, [one for one in package.judged.found if one.level.value == "stop"])
    console.print(_plain(f"As planned: {_count(package.judged.planned)}", "bold"))
    _findings(console, package.judged.planned)
    settings, joining = plan["cleared"]["settings"], plan["cleared"]["joining"]
    verdict = ("Settings and joining are cleared." if joining else
               "Settings are cleared. Joining (closing power) is NOT cleared." if settings else
               "REFUSED: no sheet and no note is issued.")
    console.print(_plain(verdict, "bold" if settings else "bold red"))
    console.print(_plain(f"Written: {out}: " + ", ".join(sorted(package.files))))
    console.print(_plain(f"Plan fingerprint: {' '.join(plan['fingerprint'][i:i + 4] for i in (0, 4, 8))}"))


def _link(console: Console, link: Mapping[str, Any]) -> None:
    if link["manager"] is None and not link["members"]:
        console.print(_plain(f"Link {link['id']}: not formed", "bold red"))
        return
    who = f"manager {link['manager']}" if link["manager"] else f"polled by {link['poller']}"
    console.print(_plain(f"Link {link['id']}: {who}, members {named(link['members']) or 'none'}, "
                         f"reports to {', '.join(link['reports_to']) or 'nobody'}"))
    if link["runner_up"]:
        console.print(_plain(f"  {link['runner_up']['text']}"))


def _packs(plan: Mapping[str, Any]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("Pack", "Place", "Role", "Mode", "Address", "Switches, as printed from left to right", "Was"):
        table.add_column(head, overflow="fold")
    for name, pack in plan["packs"].items():
        rows = [(row, one["set"], one["was"]) for row, one in pack["switches"].items()]
        table.add_row(_plain(name), _plain(plan["devices"][name]["place"] or "not stated"), pack["role"], _plain(pack["mode"] or "-"),
                      "-" if pack["address"] is None else str(pack["address"]),
                      _plain("; ".join(f"{row} {' '.join(bits)}" for row, bits, _ in rows)),
                      _plain("; ".join(_was(row, bits, was) for row, bits, was in rows)))
    return table


def _was(row: str, bits: Sequence[str], was: Sequence[str] | None) -> str:
    if was is None:
        return f"{row} nobody looked"
    return f"{row} as is" if list(bits) == list(was) else f"{row} {' '.join('?' if b == 'x' else b for b in was)}"


def _cables(plan: Mapping[str, Any]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("Cable", "From", "To", "Action", "Joined", "Cut at both ends"):
        table.add_column(head, overflow="fold")
    for name, cable in plan["cables"].items():
        joined = named([a for a, b in cable["joined"]]) if all(a == b for a, b in cable["joined"]) else ", ".join(
            f"{a} to {b}" for a, b in cable["joined"])
        table.add_row(_plain(name), _plain(_end(cable["from"])), _plain(_end(cable["to"])), cable["action"],
                      _plain(joined or "-"), _plain(named(cable["cut"]) or "-"))
    return table


def _end(end: Sequence[str | None]) -> str:
    return " ".join(str(part) for part in dict.fromkeys(p for p in (end[0], end[2] or end[1]) if p))


def show_rule(one: Rule) -> None:
    """Print one rule with its explanation."""
    console = _console()
    console.print(_plain(one.name, "bold"))
    levels = f"broken: {one.broken.value}; cannot tell: {one.unknown.value}"
    if one.must_accept:
        levels += "; must be accepted in the site file"
    for line in (one.meaning, f"Subject: {one.subject}", f"Level: {levels}", f"Source: {one.source}", "", one.explain):
        console.print(_plain(line))
