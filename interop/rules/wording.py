"""Words that findings share: ids folded into ranges, devices with their record, where a manual prints a fact."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from interop.records.facts import Fact
from interop.site.site import Device

__all__ = ["fact_missing", "figure", "joined", "look_up", "named", "of_record", "shown_pattern"]

_TAIL = re.compile(r"(.*?)(\d+)")

_PRINTED = {
    "cells": "in the table of technical data, or on the type plate",
    "limits": "in the table of technical data, or in the chapter on packs in parallel",
    "addresses": "beside the table of the address switches",
    "manager": "in the chapter on several packs, beside the table of the address switches",
    "buses": "in the chapter on communication, beside the drawing of the ports",
    "converter": "in the chapter on the battery",
    "follows": "in the chapter on the battery",
    "generation": "on the type plate, or in the list of revisions",
}
"""Where a manual usually prints a fact, by the first word of its path (common practice)."""


def named(ids: Iterable[str]) -> str:
    """Return ids as a list with runs of three or more folded: ``R1..R9, N1, N2``."""
    runs: list[list[str]] = []
    for one in ids:
        before = _TAIL.fullmatch(runs[-1][-1]) if runs else None
        here = _TAIL.fullmatch(one)
        follows = before is not None and here is not None and before[1] == here[1]
        if follows and before is not None and here is not None:
            next_one = int(here[2]) == int(before[2]) + 1
            follows = next_one and (len(here[2]) == len(before[2]) or not here[2].startswith("0"))
        if follows:
            runs[-1].append(one)
        else:
            runs.append([one])
    return ", ".join(f"{run[0]}..{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs)


def joined(words: Sequence[str]) -> str:
    """Join words: ``a``, ``a and b``, ``a, b and c``."""
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def of_record(devices: Sequence[Device]) -> str:
    """Name devices with the record they share: ``R1..R9 (tarn-a) and N1, N2 (tarn-b)``."""
    groups: dict[str, list[str]] = {}
    for device in devices:
        groups.setdefault(device.record.id, []).append(device.id)
    return joined([f"{named(ids)} ({record})" for record, ids in groups.items()])


def figure(value: float, unit: str = "") -> str:
    """Print a number with its unit, without the noise of binary fractions."""
    text = f"{round(value, 4):g}"
    return f"{text} {unit}" if unit else text


def shown_pattern(pattern: Sequence[str]) -> str:
    """Print a switch pattern as the site file writes it: ``0110`` (x: nobody looked), or the value shown."""
    signs = {"off": "0", "on": "1", "x": "x"}
    return "".join(signs[bit] for bit in pattern) if all(bit in signs for bit in pattern) else " ".join(pattern)


def fact_missing(record: str, path: str, fact: Fact[Any]) -> str:
    """Say that a fact is not known: nobody looked, its sources do not say, or they say different things."""
    if fact.state == "disputed":
        return f"the sources of {record} differ on {path}: {fact.wording()}"
    return f"{record} does not state {path}"


def look_up(record: str, path: str, fact: Fact[Any]) -> str:
    """Advise how a missing fact can be had: other words for what nobody looked up and for what no source states."""
    where = _PRINTED.get(path.split(".", 1)[0], "in the chapter on installation")
    if fact.state == "disputed":
        return f"Settle {path} of {record} with its maker: its sources differ."
    if fact.state == "not-stated":
        return f"Ask the maker for {path} of {record}: its sources do not state it."
    return f"Look up {path} of {record}; a manual usually prints it {where}."
