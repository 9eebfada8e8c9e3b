"""Prospective fault through every protective device of a bank, those built into packs included.

power.md §6: a bolted short on each of the two sides, all packs on, highest charge voltage, lowest ohmic resistance,
copper at 20 C. Chargers and inverters add what they give. What a record does not state is never put in the place of a
rating.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.bank import POLES, DeviceSpot, run_name
from interop.circuit.faults import device_faults
from interop.circuit.protection import SHORT_LEAD_M
from interop.unchanging import unchanging
from interop.wiring.busbar import highest, lowest
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from interop.circuit.bank import Bank
    from interop.circuit.network import Network
    from interop.circuit.picture import Picture
    from interop.records.power import BuiltInDevice
    from interop.site.site import Device

__all__ = ["Fault", "bank_faults", "can_break", "highest_v"]


@unchanging(eq=False)
class Fault:
    """The fault through one device [A]: the larger of a short on either side. ``pack`` is set for a built-in one.

    ``amps``: all resistances at the low end of their ranges; ``least_a``: all at the high end, nothing added.
    ``backup``: a fuse in series that surely breaks it, where this device does not.
    """

    name: str
    about: str
    record: str
    path: str
    facts: BuiltInDevice | None
    amps: float
    least_a: float
    pack: bool
    backup: str | None = None


def highest_v(device: Device) -> float | None:
    """The highest voltage [V] that a pack may be charged to; None: nobody states any."""
    cells = device.record.cells
    if cells is None:
        return None
    figures = (highest(cells.charge_highest_v), highest(cells.full_v), highest(cells.charge_v))
    known = [v for v in figures if v is not None]
    return max(known) if known else None


@once
def bank_faults(picture: Picture) -> tuple[Fault, ...]:
    """Return the fault through every device in a run and every device built into a pack, in that order.

    Empty where the highest voltage of some pack is not stated.
    """
    bank = picture.bank
    volts = [highest_v(device) for device in bank.packs]
    if any(v is None for v in volts):
        return ()
    emf = bank.network.with_emf([v or 0.0 for v in volts])
    low = emf.with_ohm([b.ohms.low for b in bank.branches], [o.low for o in bank.ohmic])
    high = emf.with_ohm([b.ohms.high for b in bank.branches], [o.high for o in bank.ohmic])
    sources = sum((one.charge_a or 0.0) for one in picture.converters)
    packs = [d for d in bank.packs if (bank.own_run[d.id], "plus") in bank.of_run]
    spots = [(spot.branch, spot.pole) for spot in bank.devices]
    spots += [(bank.branches[bank.of_run[bank.own_run[d.id], "plus"][0]].name, "plus") for d in packs]
    most, least = _through(low, bank, spots) + sources, _through(high, bank, spots)
    rows: list[DeviceSpot | Device] = [*bank.devices, *packs]
    own = [_own_a(picture, row) for row in rows]
    # the lead of a pack lowers what flows in a short at its terminals
    found = [_fault(picture, row, max(float(a), alone or 0.0), float(b))
             for row, a, b, alone in zip(rows, most, least, own, strict=True)]
    runs = [run_name(row.run) if isinstance(row, DeviceSpot) else bank.own_run[row.id] for row in rows]
    away = [_beyond(row) for row in rows]
    return tuple(replace(one, backup=_backup(one, [(other, metres) for other, at, metres
                                                   in zip(found, runs, away, strict=True) if at == run], alone))
                 for one, run, alone in zip(found, runs, own, strict=True))


def _backup(fault: Fault, series: Sequence[tuple[Fault, float | None]], own_a: float | None) -> str | None:
    """A fuse in the same run that can break what this device cannot; a fuse opens first at such currents.

    A short on the lead between the device of a pack and the fuse does not flow through the fuse: it stands in for it
    only near the pack, or where the device breaks what its own pack gives (``own_a``).
    """
    for one, metres in series:
        fuse = one.facts is not None and one.facts.kind.only == "fuse"
        rating = None if fault.facts is None else lowest(fault.facts.interrupts_ka)
        own = own_a is None or (rating is not None and own_a <= rating * 1000)
        near = metres is not None and metres <= SHORT_LEAD_M
        if one is not fault and fuse and can_break(one) and (own or near):
            return one.name
    return None


def _beyond(row: DeviceSpot | Device) -> float | None:
    """How far a device in a run stands from its source [m]; None: not stated, or built in."""
    return getattr(row.run, row.pole).devices[row.index].distance_m if isinstance(row, DeviceSpot) else None


def _own_a(picture: Picture, row: DeviceSpot | Device) -> float | None:
    """What a pack alone drives into a short at its terminals [A]; None for a device in a run."""
    if isinstance(row, DeviceSpot):
        return None
    ohms = picture.bank.ohmic[picture.of_pack[row.id]]
    return (highest_v(row) or 0.0) / ohms.low


def can_break(fault: Fault) -> bool:
    """Whether a device surely breaks the fault through it."""
    rating = None if fault.facts is None else lowest(fault.facts.interrupts_ka)
    return rating is not None and fault.amps <= rating * 1000


def _through(network: Network, bank: Bank, spots: list[tuple[str, str]]) -> NDArray[np.float64]:
    """The larger fault through each branch, whichever end of its run the short returns to."""
    where = {name: i for i, name in enumerate(network.nodes)}
    rows, near, far = [], [], []
    for name, pole in spots:
        branch = bank.branches[bank.at[name]]
        other = POLES[1 - POLES.index(pole)]
        opposite = bank.of_run[branch.owner, other]
        rows.append(bank.at[name])
        near.append(where[bank.branches[opposite[0]].a])
        far.append(where[bank.branches[opposite[-1]].b])
    if not rows:
        return np.zeros(0)
    ends = [device_faults(network, rows, back).larger_a for back in (near, far)]
    larger: NDArray[np.float64] = np.maximum(*ends)
    return larger


def _fault(picture: Picture, row: DeviceSpot | Device, most_a: float, least_a: float) -> Fault:
    if isinstance(row, DeviceSpot):
        record = row.device.loaded.record
        site = picture.stage.site
        about = next((end for end in (row.run.a, row.run.b) if end in site.devices), row.run.id)
        return Fault(row.name, about, record.id, "device", record.device, most_a, least_a, pack=False)
    return Fault(f"the device built into {row.id}", row.id, row.record.id, "electric.built_in_device",
                 row.record.electric.built_in_device, most_a, least_a, pack=True)
