"""What ``interop power`` prints for a reader: packs with bars of their current against their limit, devices, limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from interop.cli.page import Page
from interop.rules.wording import named

__all__ = ["show_power"]

_BAR = 20
_MOST_MISSING = 12
_MOST_OUT = 6


def show_power(name: str, power: dict[str, Any] | None, lost: Sequence[tuple[tuple[str, ...], Any]]) -> None:
    """Print what `power_dict` says of a site: what is proposed for runs that lack a device or a cable, with which the
    figures are computed; then every bank: currents at the highest load and at full charge, limits, what they rest on.
    ``lost``: the banks of which nothing can be computed, with what is not said.
    """
    page = Page()
    page.line(name, "bold")
    if power is not None:
        _proposals(page, power["proposals"])
        for bank in power["banks"]:
            _bank(page, bank, {pack: power["packs"][pack] for pack in bank["packs"]})
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
    _one_out_charging(page, bank["one_out_charging"])
    _over_time(page, bank["over_time"])
    _joining(page, bank)
    _after_stop(page, bank["after_stop"])
    _decided_by(page, bank["decided_by"], bank["decided_together"])
    if bank["assumptions"]:
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
                 _then(one))
                for one in found["cases"][:_MOST_OUT]], whole=(2, 3))
    sure = "not known" if found["sure_w"] is None else f"{found['sure_w']:,.0f} W"
    page.line(f"Safe load, whichever one pack is out: {sure} wherever the resistances lie, "
              f"{found['safe_w']:,.0f} W at those to work with.")


def _one_out_charging(page: Page, found: dict[str, Any] | None) -> None:
    page.line("One out while all are charged", "bold")
    if found is None:
        page.line("not known: charge currents or charge limits are not stated", indent=4)
        return
    looped = any(one["closed_loop"] is not None for one in found["cases"])
    rows = []
    for one in found["cases"][:_MOST_OUT]:
        ways = [way for way in (one["open_loop"], one["closed_loop"]) if way is not None]
        rows.append((one["out"], *(cell for way in ways for cell in (way["nearest"] or "-", _a(way["amps"]),
                                                                     f"{way['part']:.0%}", _then(way)))))
    names = ("Nearest to its limit", "A", "Of limit", "Then")
    page.table(("Out", *names, *(f"{name}, closed loop" if name == names[0] else name for name in names if looped)),
               rows, whole=(2, 3, 6, 7) if looped else (2, 3))
    sure = "not known" if found["sure_a"] is None else f"{found['sure_a']} A"
    page.line(f"Charged: {found['charged_a']:g} A. Safe, whichever one pack is out: {sure} wherever the resistances "
              "lie.")


def _then(one: dict[str, Any]) -> str:
    return "; ".join(f"{name} {what} after {time:g} s" for time, name, what in one["then"][:3]) or "-"


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


def _after_stop(page: Page, found: dict[str, Any]) -> None:
    page.line("After a stop", "bold")
    for one in found["stops"]:
        live = one["live_packs"]
        if not one["stops"]:
            page.line("no stop line: every pack and the busbar stay live until each is switched off by hand.", indent=4)
        elif live:
            page.line(f"a stop at {named(one['stops'])} leaves {named(live)} and the busbar live.", indent=4)
        else:
            page.line(f"a stop at {named(one['stops'])} opens every pack; the busbar is dead when its capacitors are.",
                      indent=4)
    joule = found["capacitors_j"]
    page.line("The cells of every pack stay live behind its BMS. "
              + ("How much the capacitors of the converters hold is not stated: " if joule is None
                 else f"The capacitors of the converters hold {joule:g} J: ") + "measure before touching.", indent=4)


def _proposals(page: Page, rows: Sequence[dict[str, Any]]) -> None:
    if rows:
        page.line("Proposed for what the site file leaves open; the figures below take it as done", "bold")
    for one in rows:
        poles = " and the ".join(one["poles"])
        parts = [] if one["device"] is None else [f"{one['device']} in the {poles} {one['place']}"]
        parts += [] if one["cable"] is None else [f"cable {one['cable']}"]
        need = "a current that is not known" if one["need_a"] is None else f"{one['need_a']:g} A"
        rating = "" if one["standard_a"] is None else f", next standard rating {one['standard_a']} A"
        page.line(f"{named(one['runs'])}: {' and '.join(parts) or one['unmet']} (it carries {need}{rating})", indent=4)


def _decided_by(page: Page, rows: Sequence[dict[str, Any]], together: Sequence[str]) -> None:
    """Which unknown resistance alone decides whether a pack keeps its limit."""
    if rows:
        page.line("Decided by a resistance that is not known well: pack-passes-its-limit", "bold")
    elif together:
        page.line("Decided by several resistances together, none alone: pack-passes-its-limit", "bold")
        page.line(f"{named(together)}: with every range at its worst end the limit may be passed; no range alone does "
                  "it.", indent=4)
    for one in rows:
        low, high = one["amps"]
        what = ("leads, lugs and devices" if one["range_mohm"] is None else
                f"{one['resistance']} ({one['range_mohm'][0]:g} to {one['range_mohm'][1]:g} mohm)")
        page.line(f"{what}: {one['pack']} carries {low:g} A at the low end and {high:g} A at the high end in "
                  f"{one['way']}; its limit is {one['limit_a']:g} A.", indent=4)


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
    for one in bank["joining_curves"]:
        page.line(f"{one['pack']} closed at {one['at_v']:g} V difference: its current dies away", indent=4)
        most = max(map(abs, one["amps"])) or 1.0
        page.table(("Minutes", "A", ""), [(f"{minutes:g}", _a(amps), "#" * round(_BAR * abs(amps) / most))
                                          for minutes, amps in zip(one["minutes"], one["amps"], strict=True)],
                   whole=(0, 1, 2))
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
        words += f". At the start, at the worst over all tolerances, {limit['worst']:g} A"
        if limit["first_at_worst"] not in (None, limit["first"]):
            words += f", by {limit['first_at_worst']}"
    return words + "."
