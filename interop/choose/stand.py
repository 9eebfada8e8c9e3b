"""How every switch row of a pack stands in a plan: as decided, else as found, else at rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from interop.choose.cables import Routed
from interop.choose.cells import SlotState, standing, switch_values
from interop.choose.members import PackChoice
from interop.records.switches import Case, Pattern, positions, readings, row_length, settings
from interop.site.site import Device

__all__ = ["patterns_of", "place_of"]


def place_of(name: str, routes: Mapping[str, Routed], packs: Mapping[str, PackChoice]) -> str | None:
    """Return where a pack stands in the row of its link: first, middle, last or only; None where it is on no row."""
    link = packs[name].link
    route = routes.get(link) if link is not None else None
    if route is None or name not in route.order:
        return None
    if len(route.order) == 1:
        return "only"
    return {0: "first", len(route.order) - 1: "last"}.get(route.order.index(name), "middle")


def patterns_of(device: Device, choice: PackChoice, place: str | None, ends: Mapping[str, bool]) -> dict[str, Pattern]:
    """Return every row complete: as decided, else as found, else off."""
    if choice.state is None:
        return {name: _keep(device, name) for name in device.record.switches}
    found = _standing_at(device, choice.state, place, ends)
    return {name: _filled(device, name, bits) for name, bits in found.items()}


def _standing_at(
    device: Device, state: SlotState, place: str | None, ends: Mapping[str, bool]
) -> dict[str, tuple[str | None, ...]]:
    record = device.record
    base = standing(record, state)
    values = switch_values(record, replace(state, place=place))
    values.update({f"terminator {bus}": on for bus, on in ends.items()})    # of no other bus: it stays as it stands
    group = values["group"]
    case = Case(state.role, state.mode, state.controller_bus, place, int(group), state.count)
    rows = {name: settings(row, values, case).pattern for name, row in record.switches.items()}
    before = dict(base.patterns) if base is not None else {}
    return {
        name: tuple(b if b is not None else o for b, o in zip(bits, before.get(name, bits), strict=True))
        for name, bits in rows.items()
    }


def _keep(device: Device, name: str) -> Pattern:
    """A row that decides nothing: explicit parts for unmanaged packs, else as found, else off."""
    row = device.record.switches[name]
    if any("unmanaged" in (p.when.role or ()) for p in row.parts):
        bits = settings(row, {"role": "unmanaged"}, Case("unmanaged", device.record.modes[0], "none")).pattern
        return _filled(device, name, bits)
    return _filled(device, name, (None,) * row_length(row))


def _filled(device: Device, name: str, bits: Sequence[str | None]) -> Pattern:
    """Return a row complete: as the site file sets it, else as decided, else as found, else at rest."""
    row = device.record.switches[name]
    open_row = ("x",) * len(bits)
    stated = device.set_patterns.get(name, open_row)
    found = device.found.patterns.get(name, open_row) if device.found is not None else open_row
    rest = "off" if row.kind == "slide" else _rest_position(device, name)
    return tuple(
        next(one for one in (wanted, bit or "x", was, rest) if one != "x")
        for wanted, bit, was in zip(stated, bits, found, strict=True)
    )


def _rest_position(device: Device, name: str) -> str:
    """The first position of a wheel or menu that means anything, where nobody looked and nothing is decided."""
    row = device.record.switches[name]
    shown = positions(row)
    legal = (p for p in shown if readings(row, (p,), Case(), device.record.modes))
    return next(legal, shown[0] if shown else "as delivered")
