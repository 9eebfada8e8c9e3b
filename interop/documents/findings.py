"""Findings in the shape of the plan's contract."""

from __future__ import annotations

from typing import Any

from interop.rules.finding import Finding

__all__ = ["finding_json"]

Json = dict[str, Any]
_STATES = {"absent": "not-stated"}
"""The contract does not tell a fact that nobody looked for from one that no source states; the text does."""


def finding_json(one: Finding) -> Json:
    """Return a finding in the shape of the contract."""
    accepted = one.accepted
    return {
        "rule": one.rule,
        "subject": one.subject,
        "level": one.level.value,
        "verdict": one.verdict,
        "about": list(one.about),
        "got": one.got,
        "limit": one.limit,
        "facts": [{"record": f.record, "path": f.path, "state": _STATES.get(f.state, f.state)} for f in one.facts],
        "text": one.text,
        "todo": one.todo,
        "source": one.source,
        "at": [{"file": file, "line": line, "column": column} for file, line, column in one.at],
        "must_accept": one.must_accept,
        "accepted": {"why": accepted.why, "by": accepted.by, "on": accepted.on} if accepted is not None else None,
    }
