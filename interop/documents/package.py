"""The whole folder of one plan as bytes: decide, judge both stages, render. Reads no file, takes no clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from interop.choose.members import TooWide
from interop.choose.plan import Decisions, decide, planned_stage
from interop.circuit.picture import pictures
from interop.documents.canonical import canonical_json, fingerprint
from interop.documents.contract import plan_dict
from interop.documents.power import power_dict, settings_dict
from interop.rules.judge import Judged, check_site, judge
from interop.rules.proposals import proposals
from interop.site.site import Site
from interop.unchanging import unchanging
from interop.wiring.stage import as_found

__all__ = ["Package", "TooWide", "check_site", "plan_document", "plan_site"]


@unchanging
class Package:
    """A plan with its files by name (plan.json among them) and what was decided."""

    plan: Mapping[str, Any]
    files: Mapping[str, bytes]
    decisions: Decisions
    judged: Judged


def plan_document(
    site: Site, *, draft: bool = False, date: str | None = None
) -> tuple[dict[str, Any], Decisions, Judged]:
    """Decide a site and return the plan in the shape of the contract. Raises :class:`TooWide` beyond the stated
    limits.
    """
    decisions = decide(site)
    planned = replace(planned_stage(decisions), over_time=True)
    judged = judge(as_found(site), planned)
    drawn = pictures(planned)
    power = power_dict(drawn, proposals(planned))
    plan = plan_dict(decisions, judged.planned, judged.found, power, settings_dict(drawn), draft=draft, date=date)
    return plan, decisions, judged


def plan_site(site: Site, *, draft: bool = False, date: str | None = None) -> Package:
    """Decide a site and render every document that may be issued.

    ``date`` as YYYY-MM-DD, printed only when given. A refused plan has plan.json and the refusal page only, unless
    ``draft``.
    """
    from interop.documents.drawing import link_drawing
    from interop.documents.faces_of import faces_of
    from interop.documents.notes import cable_notes
    from interop.documents.refusal import refusal_page
    from interop.documents.sheets import setting_sheets

    plan, decisions, judged = plan_document(site, draft=draft, date=date)
    names = ["setting-sheets.pdf", "cable-notes.pdf", "data-links.svg"] if plan["cleared"]["settings"] or draft else []
    if not plan["cleared"]["settings"]:
        names.append("refusal.pdf")
    plan["files"] = sorted(names)
    plan["fingerprint"] = fingerprint(plan)
    files: dict[str, bytes] = {"plan.json": canonical_json(plan)}
    faces = faces_of(decisions)
    for name in plan["files"]:
        if name == "setting-sheets.pdf":
            files[name] = setting_sheets(plan, faces)
        elif name == "cable-notes.pdf":
            files[name] = cable_notes(plan, faces)
        elif name == "data-links.svg":
            files[name] = link_drawing(plan, faces).encode("utf-8")
        else:
            files[name] = refusal_page(plan)
    return Package(plan, files, decisions, judged)
