"""Judge a site in both stages, acceptances included: the one call behind ``check`` and ``plan``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from interop.rules import power as _power  # noqa: F401  (enters its rule)
from interop.rules.finding import RULES, Finding, Level, findings
from interop.rules.wording import named
from interop.site.site import Accepted, Site
from interop.wiring.stage import Stage, as_found, as_wanted

__all__ = ["Judged", "check_site", "judge", "sorted_findings"]


@dataclass(frozen=True)
class Judged:
    """Findings of the two stages, gravest first, and what was not judged (left to the plan)."""

    found: tuple[Finding, ...]
    planned: tuple[Finding, ...]
    not_judged: tuple[str, ...]


_ORDER = {Level.STOP: 0, Level.CAUTION: 1, Level.NOTE: 2}


def sorted_findings(items: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings gravest first, otherwise in the order of the rules."""
    return tuple(sorted(items, key=lambda one: (_ORDER[one.level], one.verdict != "broken")))


def judge(found: Stage, planned: Stage) -> Judged:
    """Run every rule over both stages; an acceptance that matches no finding of either is itself a finding."""
    before, after = findings(found), findings(planned)
    left = tuple(link.id for link in planned.links if not link.judged)
    unused = () if left else _unused(planned.site, (*before, *after))
    return Judged(sorted_findings(before), sorted_findings((*after, *unused)), left)


def check_site(site: Site) -> Judged:
    """Judge a site as found and as wanted, deciding nothing."""
    return judge(as_found(site), as_wanted(site))


def _unused(site: Site, items: Sequence[Finding]) -> tuple[Finding, ...]:
    used = {id(one.accepted) for one in items if one.accepted is not None}
    return tuple(_unused_finding(site, item) for item in site.accepted if id(item) not in used)


def _unused_finding(site: Site, item: Accepted) -> Finding:
    known = "" if item.rule in RULES else f" There is no rule {item.rule}."
    return Finding(
        "acceptance-without-finding",
        "site",
        Level.CAUTION,
        "broken",
        item.about,
        None,
        None,
        (),
        f"The acceptance of {item.rule} for {named(item.about)} by {item.by} matches no caution.{known}",
        "Take it out of the site file, or correct its rule and devices.",
        "common practice",
        ((site.file, *item.at),),
    )
