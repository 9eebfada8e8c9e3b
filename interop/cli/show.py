"""What the commands print for a reader: findings, the plan in short, one rule. Text is printed plainly, no markup.

Lines are broken between words only, so that a position such as ``site.yaml:12:3`` or a switch pattern stays whole.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from interop.documents.plaintext import visible
from interop.records.faults import seen
from interop.rules.finding import Finding
from interop.rules.judge import Judged
from interop.rules.wording import named, shown_pattern
from interop.site.site import Site

if TYPE_CHECKING:
    from interop.documents.package import Package
    from interop.records.models import SwitchRow

__all__ = ["show_check", "show_plan"]

_LOOKS = {"stop": "bold red", "caution": "yellow", "note": "dim"}
_MARKS = {"stop": "STOP", "caution": "CAUTION", "note": "note"}
_INDENT = 8
_WIDEST = 120
"""Longer lines are hard to follow (common practice), however wide the terminal is."""
_PIPED = 100
"""Width where no terminal tells one, so that a file is the same wherever it is written."""
_DRAFT = "DRAFT - NOT FOR INSTALLATION"
_LEGEND = ("Set and Was: one sign for each switch, in the order of the numbers under Switches: "
           "1 on, 0 off, x nobody looked.")
_TURNED = ("Upside down: with the label upright the row is seen, and drawn on its sheet, from the last of its numbers "
           "to the first. Go by the numbers.")


class _Page:
    """Lines on the output: wrapped here, coloured by rich, which gets no markup and wraps nothing."""

    def __init__(self) -> None:
        if isinstance(sys.stdout, io.TextIOWrapper):  # a terminal of few characters shows the others as codes
            sys.stdout.reconfigure(errors="backslashreplace")
        self._console = Console(highlight=False, emoji=False, markup=False, soft_wrap=True)
        terminal = self._console.is_terminal
        self.width = max(40, min(self._console.width, _WIDEST)) if terminal else _PIPED

    def line(self, text: str, look: str = "", *, indent: int = 0) -> None:
        """Print a text that may hold what somebody wrote, every character of it visible."""
        for row in _wrapped(visible(text), self.width - indent):
            self._console.print(Text(" " * indent + row, style=look))

    def head(self, mark: str, look: str, rule: str, more: str) -> None:
        """Print the first line of a finding; all of it is our own text."""
        apart = len(f"{mark:<{_INDENT}}{rule}{more}") > self.width
        self._console.print(Text.assemble((f"{mark:<{_INDENT}}", look), (rule, "bold"), "" if apart else more))
        if apart:
            self._console.print(Text(" " * _INDENT + more.strip()))

    def path(self, before: str, path: Path) -> None:
        """Print a path in one piece, so that it can be copied."""
        self._console.print(Text(f"{before}{seen(str(path))}"))

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]], whole: Sequence[int] = ()) -> None:
        """Print columns; those in ``whole`` are never broken, others between words. Without room for that, a line for
        each cell.
        """
        cells = [[visible(cell) for cell in row] for row in rows]
        widths = _widths([heads, *cells], self.width, whole)
        if widths is None:
            self._stacked(heads, cells)
            return
        for number, row in enumerate([heads, *cells]):
            broken = [list(_wrapped(cell, width)) for cell, width in zip(row, widths, strict=True)]
            for line in zip_longest(*broken, fillvalue=""):
                text = "  ".join(part + " " * (wide - cell_len(part)) for part, wide in zip(line, widths, strict=True))
                self._console.print(Text(text.rstrip(), style="bold" if number == 0 else ""))

    def _stacked(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Print each row as lines "head: cell"; a cell that is empty holds what the row above has, and is left out."""
        for row in rows:
            for i, (head, cell) in enumerate(zip(heads, row, strict=True)):
                if cell:
                    indent = 0 if i == 0 else 4
                    for line in _wrapped(f"{head}: {cell}", self.width - indent):
                        self._console.print(Text(" " * indent + line, style="bold" if i == 0 else ""))


def _wrapped(text: str, width: int) -> Iterator[str]:
    """Break a text between words; a word that is too long stays whole."""
    line = ""
    for word in text.split(" "):
        joined = word if not line else f"{line} {word}"
        if line and cell_len(joined) > width:
            yield line
            line = word
        else:
            line = joined
    yield line


def _widths(rows: Sequence[Sequence[str]], room: int, whole: Sequence[int]) -> list[int] | None:
    """Width of each column; the widest that may be broken give way, down to their longest words, until the row has
    room. None where it never has.
    """
    columns = list(zip(*rows, strict=True))
    widths = [max(map(cell_len, column)) for column in columns]
    least = [widths[i] if i in whole else max(cell_len(word) for cell in column for word in cell.split(" "))
             for i, column in enumerate(columns)]
    while sum(widths) + 2 * (len(widths) - 1) > room:
        may = [i for i, width in enumerate(widths) if width > least[i]]
        if not may:
            return None
        widths[max(may, key=lambda i: widths[i])] -= 1
    return widths


# ---- findings ----


def show_check(site: Site, judged: Judged) -> None:
    """Print the findings of both stages."""
    page = _Page()
    page.line(site.name, "bold")
    for title, items in (("As found", judged.found), ("As planned", judged.planned)):
        page.line(f"{title}: {_count(items)}", "bold")
        _findings(page, items)
    if judged.not_judged:
        page.line(f"Not judged, left to the plan: {'; '.join(judged.not_judged)}.")


def _count(items: Sequence[Finding]) -> str:
    counts = {level: sum(one.level.value == level for one in items) for level in _LOOKS}
    words = [f"{n} {level}{'s' if n != 1 else ''}" for level, n in counts.items() if n]
    return ", ".join(words) or "nothing to report"


def _findings(page: _Page, items: Iterable[Finding]) -> None:
    for one in items:
        level = one.level.value
        page.head(_MARKS[level], _LOOKS[level], one.rule, "" if one.verdict == "broken" else " (cannot tell)")
        for line in _body(one):
            page.line(line, indent=_INDENT)


def _body(one: Finding) -> Iterator[str]:
    yield one.text
    if one.todo:
        yield f"To do: {one.todo}"
    if one.facts:
        yield "Facts: " + ", ".join(f"{f.record} {f.path} ({f.state})" for f in one.facts)
    if one.at:
        more = f" and {len(one.at) - 3} more" if len(one.at) > 3 else ""
        yield "At: " + ", ".join(f"{file}:{line}:{column}" for file, line, column in one.at[:3]) + more
    yield f"Source: {one.source}"
    if one.accepted is not None:
        yield f"Accepted by {one.accepted.by} on {one.accepted.on}: {one.accepted.why}"
    elif one.must_accept:
        yield "Must be accepted in the site file before sheets are issued."


# ---- the plan ----


def show_plan(package: Package, out: Path) -> None:
    """Print the plan in short: links, packs, cables, findings, what was written."""
    page = _Page()
    plan = package.plan
    page.line(str(plan["site"]["name"]), "bold")
    if plan["draft"]:
        page.line(_DRAFT, "bold red")
    for link in plan["links"]:
        _link(page, link)
    _packs(page, plan, package.decisions.site)
    if plan["cables"]:
        _cables(page, plan)
    page.line(f"As found: {_count(package.judged.found)}", "bold")
    _findings(page, [one for one in package.judged.found if one.level.value == "stop"])
    page.line(f"As planned: {_count(package.judged.planned)}", "bold")
    _findings(page, package.judged.planned)
    settings, joining = plan["cleared"]["settings"], plan["cleared"]["joining"]
    verdict = ("Settings and joining are cleared." if joining else
               "Settings are cleared. Joining (closing power) is NOT cleared." if settings else
               "REFUSED: not for installation." if plan["draft"] else "REFUSED: no sheet and no note is issued.")
    if plan["draft"]:
        page.line(f"{_DRAFT}: plan anew without --draft before anything is set or joined.", "bold red")
        verdict = f"In the plan without --draft: {verdict[0].lower()}{verdict[1:]}" if settings else verdict
    page.line(verdict, "bold" if settings else "bold red")
    page.path("Written: ", out)
    for name in sorted(package.files):
        page.line(name, indent=_INDENT)
    page.line(f"Plan fingerprint: {' '.join(plan['fingerprint'][i:i + 4] for i in (0, 4, 8))}")


def _link(page: _Page, link: Mapping[str, Any]) -> None:
    if link["manager"] is None and not link["members"]:
        page.line(f"Link {link['id']}: not formed", "bold red")
        return
    who = f"manager {link['manager']}" if link["manager"] else f"polled by {link['poller']}"
    page.line(f"Link {link['id']}: {who}, members {named(link['members']) or 'none'}, "
              f"reports to {', '.join(link['reports_to']) or 'nobody'}")
    if not link["proved"]:
        page.line("Not proved best: there were too many ways to look through; see the reasons in plan.json.",
                  "bold", indent=_INDENT)
    if link["runner_up"]:
        page.line(str(link["runner_up"]["text"]), indent=_INDENT)


def _packs(page: _Page, plan: Mapping[str, Any], site: Site) -> None:
    rows: list[tuple[str, ...]] = []
    turned = False
    for name, pack in plan["packs"].items():
        device, faces = plan["devices"][name], site.devices[name].record.switches
        address = "-" if pack["address"] is None else str(pack["address"])
        first = (name, device["place"] or "not stated", pack["role"], pack["mode"] or "-", address)
        settings = [(row, _numbers(faces[row]), _setting(faces[row].kind, one["set"]),
                     _was(faces[row].kind, one, new=not device["installed"])) for row, one in pack["switches"].items()]
        turned |= any(_upside_down(faces[row]) for row in pack["switches"])
        for i, setting in enumerate(settings or [("-", "-", "-", "-")]):
            rows.append((*(first if i == 0 else ("",) * len(first)), *setting))
    page.table(("Pack", "Place", "Role", "Mode", "Address", "Row", "Switches", "Set", "Was"), rows, whole=(4, 7, 8))
    page.line(_LEGEND)
    if turned:
        page.line(_TURNED)


def _numbers(row: SwitchRow) -> str:
    """The numbers of a slide row in the order of its pattern, and a word where they are seen the other way round."""
    if row.kind != "slide" or not row.printed:
        return "-"
    steps = {b - a for a, b in pairwise(row.printed)}
    ends = f"{row.printed[0]}..{row.printed[-1]}"
    numbers = ends if len(steps) == 1 and steps <= {1, -1} else ", ".join(map(str, row.printed))
    return numbers + (" upside down" if _upside_down(row) else "")


def _upside_down(row: SwitchRow) -> bool:
    return row.kind == "slide" and row.mounted == "upside down"


def _setting(kind: str, pattern: Sequence[str]) -> str:
    """A row of slide switches as signs; a wheel or menu in words: its 1 must not be taken for a switch that is on."""
    return shown_pattern(pattern) if kind == "slide" else f"at {' '.join(pattern)}"


def _was(kind: str, one: Mapping[str, Any], *, new: bool) -> str:
    if new:
        return "new"
    if one["was"] is None:
        return "not seen"
    return "the same" if list(one["set"]) == list(one["was"]) else _setting(kind, one["was"])


def _cables(page: _Page, plan: Mapping[str, Any]) -> None:
    from interop.documents.sockets import end_words, far_words, removed_words

    removing = any(cable["remove"] for cable in plan["cables"].values())
    rows = [(name, far_words(plan, cable, cable["from"]), far_words(plan, cable, cable["to"]), cable["work"],
             _joined(cable["joined"]), named(cable["cut"]) or "-",
             *([removed_words(cable["remove"]) or "-"] if removing else [])) for name, cable in plan["cables"].items()]
    heads = ("Cable", "From", "To", "Work", "Joined", "Cut at both ends", *(["Remove"] if removing else []))
    page.table(heads, rows)
    for name, cable in plan["cables"].items():
        for old, new in cable["moved"]:
            if ("from" if new == cable["from"] else "to") in cable["new_plugs"]:
                page.line(f"{name}: the plug in {end_words(old)} does not fit {end_words(new)}: with a new plug this "
                          "end goes there.")
            elif old[0] == new[0] and old[2] is None:
                page.line(f"{name}: one plug belongs in {end_words(new)}; look where it is now.")
            else:
                page.line(f"{name}: the plug in {end_words(old)} goes to {end_words(new)}.")
    for controller, settings in plan["settings"].items():
        if "dialect" in settings:
            page.line(f"Enter in {controller}: {settings['dialect']['value']}.")


def _joined(pairs: Sequence[Sequence[str]]) -> str:
    if all(one == other for one, other in pairs):
        return named([one for one, _ in pairs]) or "-"
    return ", ".join(f"{one} to {other}" for one, other in pairs)
