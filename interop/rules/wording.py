"""Words shared by findings: lists of ids folded into ranges."""

from __future__ import annotations

import re
from collections.abc import Iterable

__all__ = ["named"]

_TAIL = re.compile(r"(.*?)(\d+)")


def named(ids: Iterable[str]) -> str:
    """Return ids as a list with runs of three or more folded: ``R1..R9, N1, N2``."""
    runs: list[list[str]] = []
    for one in ids:
        before = _TAIL.fullmatch(runs[-1][-1]) if runs else None
        here = _TAIL.fullmatch(one)
        follows = (before is not None and here is not None and before[1] == here[1]
                   and int(here[2]) == int(before[2]) + 1 and (len(here[2]) == len(before[2]) or not here[2].startswith("0")))
        if follows:
            runs[-1].append(one)
        else:
            runs.append([one])
    return ", ".join(f"{run[0]}..{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)
