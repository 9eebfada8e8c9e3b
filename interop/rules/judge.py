"""Judge a site in both stages, acceptances included: the one call behind ``check`` and ``plan``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from interop.rules import power as _power  # noqa: F401  (enters its rule)
from interop.rules.finding import RULES, Finding, Level, Rule, covers, findings
from interop.rules.link_facts import made_kinds, waits_for_plan
from interop.rules.wording import named
from interop.site.site import Accepted, Site
from interop.unchanging import unchanging
from interop.wiring.stage import Stage, StagePack, as_found, as_wanted

__all__ = ["EXPLAINED", "Judged", "check_site", "judge", "sorted_findings"]


@unchanging
class Judged:
    """Findings of the two stages, gravest first, and what was not judged (left to the plan)."""

    found: tuple[Finding, ...]
    planned: tuple[Finding, ...]
    not_judged: tuple[str, ...]


_UNUSED = Rule(
    "acceptance-without-finding",
    "site",
    Level.CAUTION,
    Level.CAUTION,
    must_accept=False,
    meaning="The site file accepts something that no caution of it asks for.",
    source="common practice",
    explain="An acceptance names a rule and devices, and holds for cautions only. Where no caution of that rule is "
    "left about these devices, somebody once agreed to something that is no longer so, or meant another rule or other "
    "devices and believes it settled. A stop cannot be accepted, whoever signs: what it names must be mended or "
    "stated. A note needs no acceptance. Take the acceptance out of the site file, or correct its rule and devices; "
    "every device of the caution must be named, by its id or by its model.",
    check=lambda _stage: (),
)
"""A rule about the acceptances: judged over the findings of both stages, not over a stage."""

EXPLAINED: Mapping[str, Rule] = {**RULES, _UNUSED.name: _UNUSED}
"""Every rule that a finding may name."""

_ORDER = {Level.STOP: 0, Level.CAUTION: 1, Level.NOTE: 2}


def sorted_findings(items: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings gravest first, otherwise in the order of the rules."""
    return tuple(sorted(items, key=lambda one: (_ORDER[one.level], one.verdict != "broken")))


def judge(found: Stage, planned: Stage, left: tuple[str, ...] = ()) -> Judged:
    """Run every rule over both stages; an acceptance that matches no finding of either is itself a finding.

    ``left``: what the planned stage leaves to the plan, so that an acceptance may wait for it.
    """
    before, after = findings(found), findings(planned)
    unused = () if left else _unused(planned.site, (*before, *after))
    return Judged(sorted_findings(before), sorted_findings((*after, *unused)), left)


def check_site(site: Site) -> Judged:
    """Judge a site as found and as wanted, deciding nothing."""
    wanted = as_wanted(site)
    return judge(as_found(site), wanted, tuple(_left_to_plan(wanted)))


def _left_to_plan(wanted: Stage) -> Iterator[str]:
    """Name the links, cables and switches that a site leaves to the plan, so that no rule judges them."""
    for link in wanted.links:
        if not link.judged:
            yield f"link {link.id}"
            continue
        made = made_kinds(wanted)
        cables = [c.id for carries in ("chain", "report") for c in wanted.cables_of.get((link.id, carries), ())]
        proposed = [c for c in cables if made.get(c) == "propose"]
        if waits_for_plan(wanted, link) or (not cables and len(link.packs) + len(link.reports_to) > 1):
            yield f"cables of link {link.id}"
        elif proposed:
            yield f"conductors of cable{'s' if len(proposed) > 1 else ''} {named(proposed)} of link {link.id}"
        open_rows = [name for name in link.packs if name in wanted.packs and _open_rows(wanted.packs[name])]
        if open_rows:
            yield f"switches of {named(open_rows)}"


def _open_rows(pack: StagePack) -> bool:
    return any("x" in pack.patterns.get(row, ("x",)) for row in pack.record.switches)


def _unused(site: Site, items: Sequence[Finding]) -> tuple[Finding, ...]:
    used = {id(one.accepted) for one in items if one.accepted is not None}
    return tuple(_unused_finding(site, item, items) for item in site.accepted if id(item) not in used)


def _unused_finding(site: Site, item: Accepted, items: Sequence[Finding]) -> Finding:
    about = f"The acceptance of {item.rule} for {named(item.about)} by {item.by}"
    same = [one for one in items if one.rule == item.rule]
    touched = {one.level for one in same if any(covers(site, item, (name,)) for name in one.about)}
    covered = {one.level for one in same if covers(site, item, one.about)}
    if item.rule not in EXPLAINED:
        text, todo = f"{about} matches no caution. There is no rule {item.rule}.", _CORRECT
    elif Level.STOP in touched:
        text = f"{about} changes nothing: {item.rule} is a stop here, and a stop cannot be accepted."
        todo = f"Take it out of the site file, and do what the stop {item.rule} asks for."
    elif Level.NOTE in covered:
        text, todo = f"{about} changes nothing: {item.rule} is a note here, and needs none.", _TAKE_OUT
    elif Level.CAUTION in covered:
        text, todo = f"{about} changes nothing: another acceptance covers the same caution.", _TAKE_OUT
    else:
        text, todo = f"{about} matches no caution.", _CORRECT
    return Finding(
        _UNUSED.name,
        _UNUSED.subject,
        _UNUSED.broken,
        "broken",
        item.about,
        None,
        None,
        (),
        text,
        todo,
        _UNUSED.source,
        ((site.file, *item.at),),
    )


_TAKE_OUT = "Take it out of the site file."
_CORRECT = "Take it out of the site file, or correct its rule and devices."
