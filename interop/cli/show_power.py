"""What ``interop power`` prints for a reader: packs with bars of their current against their limit, devices, limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from interop.cli.page import Page
from interop.documents.power import power_dict
from interop.rules.wording import named

if TYPE_CHECKING:
    from interop.circuit.picture import Picture
    from interop.site.site import Site

__all__ = ["show_power"]

_BAR = 20
_MOST_MISSING = 12
_MOST_OUT = 6


def show_power(site: Site, drawn: Sequence[Picture], lost: Sequence[tuple[tuple[str, ...], Any]]) -> None:
    """Print every bank: currents at the highest load and at full charge, limits, what they rest on, what is missing."""
    page = Page()
    page.line(site.name, "bold")
    for picture in drawn:
        bank = power_dict([picture], searched=True)
        _bank(page, bank["banks"][0], bank["packs"])
    for packs, missing in lost:
        page.line(f"Bank of {named(packs)}: nothing can be computed, something is not said:", "bold red")
        for who, what in missing[:_MOST_MISSING]:
            page.line(f"{who}: {what}", indent=4)
        if len(missing) > _MOST_MISSING:
            page.line(f"and {len(missing) - _MOST_MISSING} more", indent=4)


def _bank(page: Page, bank: dict[str, Any], packs: dict[str, Any]) -> None:
    page.line(f"Bank of {named(bank['packs'])}", "bold")
    load, charge = bank["load_w"], bank["charge_a"]
    loaded = "not known" if load is None else f"{load:,.0f} W, {bank['load_a']:g} A out of the bank when nearly empty"
    charged = "not known" if charge is None else f"{-charge:g} A into the bank"
    page.line(f"Highest load: {loaded}. Full charge: {charged}.")
    rows = [(name, "-" if one["share"] is None else f"{one['share']:.1%}",
             _figures(one["discharge_a"], one["discharge_limit_a"]), _bar(one["discharge_a"], one["discharge_limit_a"]),
             _figures(one["charge_a"], one["charge_limit_a"]), _bar(one["charge_a"], one["charge_limit_a"]))
            for name, one in packs.items()]
    page.table(("Pack", "Share", "Load A of limit", "", "Charge A of limit", ""), rows, whole=(0, 1, 2, 3, 4, 5))
    for way in ("discharge", "charge"):
        page.line(_limit(way, bank["bank_limit_a"][way]))
    carry = {one["device"]: one for one in bank["devices"]}
    if bank["faults"] or carry:
        page.line("Protective devices: what they carry, and the fault they have to break", "bold")
        faults = {one["device"]: one for one in bank["faults"]}
        page.table(("Device", "Load A", "Charge A", "Carries A", "Fault kA", "Breaks kA"),
                   [_device(name, carry.get(name), faults.get(name)) for name in dict.fromkeys((*carry, *faults))],
                   whole=(1, 2, 3, 4, 5))
    _one_out(page, bank["one_out"])
    _over_time(page, bank["over_time"])
    _joining(page, bank)
    page.line("Taken for granted, because nobody stated it:", "bold")
    told: dict[tuple[str, str, str], list[str]] = {}
    for one in bank["assumptions"]:
        span = "" if one["range"] is None else f" ({one['range'][0]} to {one['range'][1]})"
        told.setdefault((one["fact"], one["value"], span), []).append(one["about"])
    for (fact, value, span), who in told.items():
        page.line(f"{named(who)}: {fact}: {value}{span}", indent=4)


def _device(name: str, carries: dict[str, Any] | None, fault: dict[str, Any] | None) -> tuple[str, ...]:
    keys = ("discharge_a", "charge_a", "carries_a")
    amps = ("-",) * 3 if carries is None else tuple(_a(carries[key]) for key in keys)
    if fault is None:
        return (name, *amps, "-", "-")
    breaks = "not stated" if fault["breaks_ka"] is None else f"{fault['breaks_ka']:g}"
    return (name, *amps, f"{fault['ka']:g}", breaks)


def _one_out(page: Page, found: dict[str, Any] | None) -> None:
    page.line("One out at the highest load", "bold")
    if found is None:
        page.line("not known: the load or the limit of some pack is not stated", indent=4)
        return
    page.table(("Out", "Nearest to its limit", "A", "Of limit", "Then"),
               [(one["out"], one["nearest"] or "-", _a(one["amps"]), f"{one['part']:.0%}",
                 "; ".join(f"{name} {what} after {time:g} s" for time, name, what in one["then"][:3]) or "-")
                for one in found["cases"][:_MOST_OUT]], whole=(2, 3))
    if found["safe_w"] is not None:
        page.line(f"Safe load, whichever one pack is out: {found['safe_w']:,.0f} W.")


def _over_time(page: Page, found: dict[str, Any]) -> None:
    page.line("Over time", "bold")
    if found["not_told"]:
        page.line(f"not known: {named(found['not_told'])}", indent=4)
        return
    before, after = found["endurance"]["before"], found["endurance"]["after"]
    if after is not None:
        was = "" if before is None else f"; without the new packs {before['hours']:g} h, {before['usable_kwh']:g} kWh"
        page.line(f"From 95 %, {after['load_w']:,} W of DC power last {after['hours']:g} h, {after['usable_kwh']:g} kWh"
                  f"{was}.", indent=4)
    if found["highest_load"] is not None:
        page.line(f"The highest load lasts {found['highest_load']['hours']:g} h.", indent=4)
    full = found["end_of_charge"]
    if full is not None:
        short = [f"{name} {one['charge_percent']:g} %" for name, one in full["packs"].items()
                 if one["charge_percent"] < 95]
        page.line(f"From 10 %, charge ends after {full['hours']:g} h; "
                  + (f"not full then: {', '.join(short)}." if short else "every pack is full then."), indent=4)
    for one in found["display"] or ():
        low, high = one["error_percent"]
        page.line(f"What {one['manager']} shows ({one['rule']} of {named(one['packs'])}) lies {low:+g} to {high:+g} "
                  f"points from the charge state of the whole bank, over {one['days']} days.", indent=4)


def _joining(page: Page, bank: dict[str, Any]) -> None:
    rows = bank["joining"]
    if rows:
        page.line("Joining: read the volts across the open device, both sides on, one meter; close only below", "bold")
        told: dict[tuple[str, str], list[str]] = {}
        for one in rows:
            volts = "nothing stated sets a limit" if one["below_v"] is None else f"{one['below_v']:.2f} V"
            told.setdefault((volts, ", not stated: " + named(one["not_stated"]) if one["not_stated"] else ""),
                            []).append(one["pack"])
        for (volts, more), packs in told.items():
            page.line(f"{named(packs)}: {volts}{more}", indent=4)
    inrush = bank["inrush"]
    if inrush is not None and inrush["precharge"] is not None:
        step = inrush["precharge"]
        page.line(f"Inrush into {inrush['capacitance_mf']:g} mF: up to {inrush['peak_a']:,.0f} A. Precharge: "
                  f"{step['ohm']:g} ohm, {step['joule']:g} J, wait {step['seconds']:g} s, close below "
                  f"{step['close_below_v']:g} V.")


def _a(value: float | None) -> str:
    return "not known" if value is None else f"{abs(value):g}"


def _figures(value: float | None, limit: float | None) -> str:
    return f"{_a(value)} of {'not stated' if limit is None else f'{limit:g}'}"


def _bar(value: float | None, limit: float | None) -> str:
    """A bar of the current against the limit; past it, it ends in a sign of its own."""
    if value is None or not limit:
        return "?" * _BAR
    part = abs(value) / limit
    full = min(_BAR, round(part * _BAR))
    return "#" * full + "." * (_BAR - full) + ("!" if part > 1 else "")


def _limit(way: str, limit: dict[str, Any]) -> str:
    if limit["start"] is None:
        return f"Bank limit in {way}: not known."
    words = f"Bank limit in {way}: {limit['start']:g} A at the start; {limit['first']} is first"
    if limit["course"] is not None:
        words += f", {limit['course']:g} A over the course"
    if limit["worst"] is not None:
        words += f". At the worst over all tolerances {limit['worst']:g} A"
        if limit["first_at_worst"] not in (None, limit["first"]):
            words += f", by {limit['first_at_worst']}"
    return words + "."
