"""The names of all rules, for a site file that accepts a finding: looked up only where one does."""

from __future__ import annotations

from collections.abc import Collection

__all__ = ["rule_names"]


def rule_names() -> Collection[str]:
    """Return the names of all rules."""
    from interop.rules import judge as _judge  # noqa: F401  (enters every rule)
    from interop.rules.finding import RULES

    return RULES.keys()
