"""What a person must enter in a controller so that it hears its link: the dialect with its code, and the rate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from interop.choose.plan import Decisions
from interop.records.models import Bus, Record
from interop.records.switches import Case, settings
from interop.rules.wording import figure, shown_pattern
from interop.wiring.talks import Talk, controller_talks

__all__ = ["entry_words", "link_settings"]

Json = dict[str, Any]


def link_settings(decisions: Decisions) -> dict[str, Json]:
    """Return by controller the settings of its data link: ``dialect``, and ``rate_bps`` [bit/s] where it has several
    rates and a person chooses (``by``: menu, or the row with its pattern).
    """
    found: dict[str, Json] = {}
    for choice in decisions.links:
        family = choice.family
        if family is None or family.report is None or choice.link.id not in decisions.routes:
            continue
        who = [choice.manager] if choice.manager is not None else list(choice.members)
        for name in choice.link.reports_to:
            record = decisions.site.devices[name].record
            mine = found.setdefault(name, {})
            why = f"link {choice.link.id} reports"
            mine["dialect"] = {
                "value": _dialect(record, family.report),
                "because": f"{why} in {family.report.dialect}",
                "set_by": who,
            }
            by = _rate_by(record, family.report)
            if by is not None:
                mine["rate_bps"] = {
                    "value": family.report.rate_bps,
                    "because": f"{why} at {family.report.rate_bps} bit/s",
                    "set_by": who,
                    "by": by,
                }
    return found


def _dialect(record: Record, talk: Talk) -> str:
    codes = [record.buses[bus].codes.get(talk.dialect) for bus in controller_talks(record).get(talk, ())]
    code = next((one for one in codes if one is not None), None)
    return f"{talk.dialect}: {code}" if code is not None else f"{talk.dialect} ({record.id} does not state its code)"


def _rate_by(record: Record, talk: Talk) -> str | None:
    """What a person sets the rate of a controller by; None where it has one rate, or finds it by itself."""
    for name in controller_talks(record).get(talk, ()):
        bus = record.buses[name]
        if len(bus.rates_bps.only or ()) > 1 and bus.rate_set_by.only != "automatic":
            return _row(record, name, talk) or _stated(bus)
    return None


def _row(record: Record, bus: str, talk: Talk) -> str | None:
    """The switch row of a controller that sets the rate, with the switches that do: ``x`` for those that do not."""
    for name, row in record.switches.items():
        if any(part.sets == "rate" and part.bus == bus for part in row.parts):
            pattern = settings(row, {f"rate {bus}": talk.rate_bps}, Case()).pattern
            return f"row {name} at {shown_pattern(['x' if one is None else one for one in pattern])}"
    return None


def _stated(bus: Bus) -> str:
    return bus.rate_set_by.only or "not stated"


def entry_words(name: str, told: Mapping[str, Any]) -> str | None:
    """Say what to enter in a controller: ``Enter in INV: tarn-can: menu 21, code 03, 250 kbit/s.``; None for nothing.

    ``told``: its settings in the shape of the plan's contract.
    """
    if "dialect" not in told:
        return None
    rate = told.get("rate_bps")
    return f"Enter in {name}: {told['dialect']['value']}{_rate_words(rate) if rate is not None else ''}."


def _rate_words(rate: Mapping[str, Any]) -> str:
    value = rate["value"]
    words = f"{figure(value / 1000)} kbit/s" if value >= 100_000 else f"{value} bit/s"
    return f", {words}" + (f" ({rate['by']})" if str(rate["by"]).startswith("row ") else "")
