"""Which rule answers *cannot tell* in place of another one whose fact is missing."""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["STAND_INS"]

_PINS = ("unknown-pin-joined", "inside-not-stated", "wrong-port-or-direction")
_TALK = ("bus-kind-differs", "dialect-differs", "rate-differs")
_LINES = (*_PINS, "line-sense-not-stated")

STAND_INS: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(
        (
            "data-meets-stop-line", "data-meets-supply", "data-meets-reference", "pair-reversed", "empty-pin-joined",
            "unused-pin-joined", "supply-joined", "line-misjoined", "data-ground-bypasses-the-bms", "crossover-lead",
        ),
        _PINS,
    ),
    **dict.fromkeys(("stop-held", "stop-never-acts", "stop-pair-crossed", "senses-differ", "levels-differ"), _LINES),
    "unlike-buses-joined": (*_PINS, *_TALK),
    "wrong-port-or-direction": _TALK,
    "split-pair": ("needed-conductor-missing",),
    "record-demands-another-manager": ("mixing-silent",),
}  # fmt: skip
"""A pin that is not stated could be anything, so that is said once, and not once for every rule that it might break; two ports
whose dialects are not known are compared by the dialect rule alone. With the fact missing, the finding of a rule named on
the left becomes a *cannot tell* of a rule named on the right about the same joining."""
