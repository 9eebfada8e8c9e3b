"""Words that the rules of the power side share: runs, figures that may be ranges, what is not known, and sources."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from math import inf

from interop.circuit.feeds import Circuit, Guard
from interop.circuit.ranges import Missing, Range
from interop.rules.finding import FactUsed
from interop.rules.wording import fact_missing, figure, joined, look_up, named
from interop.site.site import Site
from interop.standards.clauses import nec_clause

__all__ = ["Group", "about", "amps", "asked", "at", "by_code", "facts", "in_poles", "of_guard", "runs_told", "todo",
           "used", "volts", "why"]

Group = Sequence[Circuit]
"""Alike runs."""

_UNITS = re.compile(r"(?P<unit>\S+ unit )(?P<first>\d+)\.\.(?P=unit)")
"""A range of units that says its device twice: ``INV unit 1..INV unit 3``."""

_MOST_CAUSES = 4
"""So many unknown facts are told in one line; the rest is counted."""


def about(group: Group) -> tuple[str, ...]:
    """The devices that a finding about alike runs names."""
    return tuple(dict.fromkeys(name for one in group for name in one.about))


def at(group: Group) -> tuple[tuple[int, int], ...]:
    """Where the runs stand in the site file."""
    return tuple(dict.fromkeys(one.run.at for one in group))


def runs_told(group: Group) -> str:
    """Name the runs at the head of a sentence: ``Run C1``, ``Runs R1..R9``."""
    names = _UNITS.sub(r"\g<unit>\g<first>..", named(one.name for one in group))
    return f"Run{'s' if len(group) > 1 else ''} {names}"


def amps(value: Range) -> str:
    """Print a current: ``255 A``, ``195 to 260 A``, ``195 A or more``, ``a current that is not known``."""
    return _figures(value, "A", "a current that is not known")


def volts(value: Range) -> str:
    """Print a voltage, likewise."""
    return _figures(value, "V", "a voltage that is not known")


def _figures(value: Range, unit: str, unknown: str) -> str:
    low, high = (figure(round(end, 1)) if end < inf else "" for end in (value.least, value.most))
    if value.most == inf:
        return f"{low} {unit} or more" if 0 < value.least < inf else unknown
    if low == high:
        return f"{low} {unit}"
    return f"up to {high} {unit}" if value.least == 0 else f"{low} to {high} {unit}"


def in_poles(poles: Sequence[str]) -> str:
    """Say in which poles: ``in the plus``, ``in both poles``."""
    return "in both poles" if len(poles) > 1 else f"in the {poles[0]}"


def of_guard(guard: Guard) -> str:
    """Name a device: ``breaker-200 in the plus``, ``the built-in breaker of tarn-a``."""
    if guard.built_in:
        return f"the built-in {guard.kind or 'device'} of {guard.record.id}"
    return f"{guard.record.id} in the {guard.pole}"


# ---- what is not known ----

def _cause(one: Missing) -> str:
    if one.record is None:
        return f"the site file does not tell {one.path}"
    if one.fact is None:
        return f"{one.record.id} does not state {one.path}"
    if one.fact.state == "stated":
        return f"{one.record.id} states {one.path} as {one.fact.wording()}"
    return fact_missing(one.record.id, one.path, one.fact)


def _unlike(missing: Iterable[Missing]) -> list[Missing]:
    return list({one.key: one for one in missing}.values())


def why(missing: Iterable[Missing]) -> str:
    """Say what is not known, as the end of a sentence."""
    causes = [_cause(one) for one in _unlike(missing)]
    if len(causes) > _MOST_CAUSES:
        causes = [*causes[: _MOST_CAUSES - 1], f"{len(causes) - _MOST_CAUSES + 1} more facts are not stated"]
    return joined(causes)


def asked(one: Missing) -> str:
    """Advise how one missing thing can be had."""
    if one.record is None:
        return f"Write {one.path} into the site file."
    if one.fact is None or one.fact.state == "stated":
        return f"Look up {one.path} of {one.record.id}."
    return look_up(one.record.id, one.path, one.fact)


def todo(missing: Iterable[Missing], otherwise: str = "") -> str:
    """Advise how the missing things can be had, and what else to do."""
    steps = [asked(one) for one in _unlike(missing)[:_MOST_CAUSES]]
    return " ".join([*steps, *([otherwise] if otherwise else [])])


def facts(missing: Iterable[Missing]) -> tuple[FactUsed, ...]:
    """The facts of records among the missing things, with their state."""
    return tuple(FactUsed(one.record.id, one.path, "absent" if one.fact is None else one.fact.state)
                 for one in _unlike(missing) if one.record is not None)


def used(guard: Guard, *names: str) -> tuple[FactUsed, ...]:
    """Facts of a device with their state."""
    if guard.facts is None:
        return tuple(FactUsed(guard.record.id, f"{guard.path}.{name}", "absent") for name in names)
    return tuple(FactUsed(guard.record.id, f"{guard.path}.{name}", getattr(guard.facts, name).state) for name in names)


# ---- whose word ----

def by_code(site: Site, clause: str | None, iec: str | None = None) -> str:
    """Name the source of a check: the clause of the site's code, else that none was applied."""
    code = site.code
    if code is None:
        return "common practice; no code was applied, since the site does not say which one holds"
    if code == "none":
        return "common practice; no code was applied, as the site says"
    if code == "IEC":
        return "common practice" if iec is None else iec
    return "common practice" if clause is None else nec_clause(code, clause)
