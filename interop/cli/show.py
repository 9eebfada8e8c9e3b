"""What the commands print for a reader: findings, and the plan in short."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interop.cli.page import INDENT, Page
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
_DRAFT = "DRAFT - NOT FOR INSTALLATION"
_LEGEND = ("Set and Was: one sign for each switch, in the order of the numbers under Switches: "
           "1 on, 0 off, x nobody looked.")
_TURNED = ("Upside down: with the label upright the row is seen, and drawn on its sheet, from the last of its numbers "
           "to the first. Go by the numbers.")


# ---- findings ----


def show_check(site: Site, judged: Judged) -> None:
    """Print the findings of both stages."""
    page = Page()
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


def _findings(page: Page, items: Iterable[Finding]) -> None:
    for one in items:
        level = one.level.value
        page.head(_MARKS[level], _LOOKS[level], one.rule, "" if one.verdict == "broken" else " (cannot tell)")
        for line in _body(one):
            page.line(line, indent=INDENT)


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
    page = Page()
    plan = package.plan
    page.line(str(plan["site"]["name"]), "bold")
    if plan["draft"]:
        page.line(_DRAFT, "bold red")
    for link in plan["links"]:
        _link(page, link)
    _packs(page, plan, package.decisions.site)
    if plan["cables"]:
        _cables(page, plan)
    _settings(page, plan)
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
        page.line(name, indent=INDENT)
    page.line(f"Plan fingerprint: {' '.join(plan['fingerprint'][i:i + 4] for i in (0, 4, 8))}")


def _link(page: Page, link: Mapping[str, Any]) -> None:
    if link["manager"] is None and not link["members"]:
        page.line(f"Link {link['id']}: not formed", "bold red")
        return
    who = f"manager {link['manager']}" if link["manager"] else f"polled by {link['poller']}"
    page.line(f"Link {link['id']}: {who}, members {named(link['members']) or 'none'}, "
              f"reports to {', '.join(link['reports_to']) or 'nobody'}")
    if not link["proved"]:
        page.line("Not proved best: there were too many ways to look through; see the reasons in plan.json.",
                  "bold", indent=INDENT)
    if link["runner_up"]:
        page.line(str(link["runner_up"]["text"]), indent=INDENT)


def _packs(page: Page, plan: Mapping[str, Any], site: Site) -> None:
    rows: list[tuple[str, ...]] = []
    turned = False
    for name, pack in plan["packs"].items():
        device, faces = plan["devices"][name], site.devices[name].record.switches
        known = pack["address"] is not None
        address = " or ".join(map(str, [pack["address"], *pack["address_also"]])) if known else "-"
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


def _cables(page: Page, plan: Mapping[str, Any]) -> None:
    from interop.documents.entries import entry_words
    from interop.documents.sockets import end_words, far_words, removed_words, stands_elsewhere

    removing = any(cable["remove"] for cable in plan["cables"].values())
    rows = [(name, far_words(plan, cable, cable["from"]), far_words(plan, cable, cable["to"]), cable["work"],
             _joined(cable["joined"]), named(cable["cut"]) or "-",
             *([removed_words(cable["remove"]) or "-"] if removing else [])) for name, cable in plan["cables"].items()]
    heads = ("Cable", "From", "To", "Work", "Joined", "Cut at both ends", *(["Remove"] if removing else []))
    page.table(heads, rows)
    for name, cable in plan["cables"].items():
        if cable["installed_as"] is not None:
            page.line(f"{name}: it stands already, labelled {cable['installed_as']}.")
        for old, new in cable["moved"]:
            if ("from" if new == cable["from"] else "to") in cable["new_plugs"]:
                page.line(f"{name}: the plug in {end_words(old)} does not fit {end_words(new)}: with a new plug this "
                          "end goes there.")
            elif not stands_elsewhere(old, new):
                page.line(f"{name}: one plug belongs in {end_words(new)}; look where it is now.")
            else:
                page.line(f"{name}: the plug in {end_words(old)} goes to {end_words(new)}.")
    for name, cable in plan["cables"].items():
        for words in cable["special"]:
            page.line(f"{name}: {words}.", "bold")
    for controller, settings in plan["settings"].items():
        entry = entry_words(controller, settings)
        if entry is not None:
            page.line(entry)


_UNITS = {"_v": " V", "_a": " A"}


def _settings(page: Page, plan: Mapping[str, Any]) -> None:
    """What to set in each controller, with the reason and the packs that set it."""
    from interop.choose.controller import setting_name

    for name, settings in plan["settings"].items():
        units = plan["devices"][name]["units"]
        told = {label: (key, one) for key, one in settings.items() if (label := setting_name(key, units)) is not None}
        if told:
            page.line(f"Settings of {name}", "bold")
        for label, (key, one) in told.items():
            by = f" Set by {named(one['set_by'])}." if one["set_by"] != [name] else ""
            page.line(f"{label}: {_value(key, one['value'])}", indent=4)
            page.line(f"{one['because']}.{by}", "dim", indent=INDENT)


def _value(key: str, value: float | str | None) -> str:
    """A value with the unit that its key ends on."""
    if value is None:
        return "cannot be told"
    return value if isinstance(value, str) else f"{value:g}{_UNITS.get(key[-2:], '')}"


def _joined(pairs: Sequence[Sequence[str]]) -> str:
    if all(one == other for one, other in pairs):
        return named([one for one, _ in pairs]) or "-"
    return ", ".join(f"{one} to {other}" for one, other in pairs)
