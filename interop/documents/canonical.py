"""plan.json as bytes, and the fingerprint by which paper and plan are matched."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

__all__ = ["canonical_json", "fingerprint", "grouped"]

_PLAIN = frozenset([str, int, float, bool, type(None)])
_NOT_DECIDED = frozenset(["fingerprint", "date"])


def canonical_json(plan: Mapping[str, Any]) -> bytes:
    """`plan` as indented UTF-8 JSON with sorted keys; equal plans give equal bytes.

    Raises ValueError for a number that JSON cannot say (not a number, infinite) and UnicodeEncodeError for
    half a surrogate pair.
    """
    text = json.dumps(plan, ensure_ascii=False, allow_nan=False, sort_keys=True, indent=1)
    return (text + "\n").encode("utf-8")


def _without_text(value: Any) -> Any:
    """`value` without wording. A device or a switch row may be called "text": its entry is no string and stays."""
    if isinstance(value, dict):
        return {key: item if type(item) in _PLAIN else _without_text(item) for key, item in value.items()
                if key != "text" or not isinstance(item, str)}
    if isinstance(value, list | tuple):
        return [item if type(item) in _PLAIN else _without_text(item) for item in value]
    return value


def fingerprint(plan: Mapping[str, Any]) -> str:
    """SHA-256 (64 hex digits) of what `plan` decides: compact JSON, sorted keys, UTF-8.

    Left out are `fingerprint` and `date` at the top and every wording (`text`), so that the same decisions made
    on another day or told in other words keep their fingerprint. Raises as `canonical_json`.
    """
    decided = {key: value for key, value in plan.items() if key not in _NOT_DECIDED}
    text = json.dumps(
        _without_text(decided), ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def grouped(digits: str) -> str:
    """The first 12 of `digits` in groups of four, as documents print a fingerprint."""
    return " ".join(digits[at : at + 4] for at in (0, 4, 8))
