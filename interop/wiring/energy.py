"""The usable energy of a pack, as far as its record states it."""

from __future__ import annotations

from interop.records.leaves import Span
from interop.records.models import Record

__all__ = ["energy_wh"]

_CELL_V = {"lfp": 3.2}
"""Nominal voltage of one cell [V]: LFP 3.2 (two independent published copies agree)."""


def _low(value: float | Span | None) -> float | None:
    return value.low if isinstance(value, Span) else value


def energy_wh(record: Record) -> int | None:
    """Return the usable energy of a pack in whole Wh: capacity x nominal voltage x usable share; None: not stated.

    Disputed or ranged values count with their lowest. Nominal voltage: as stated, else cells x 3.2 V for LFP.
    """
    cells = record.cells
    if cells is None or not cells.capacity_ah.known:
        return None
    capacity = min(_low(v) or 0.0 for v in cells.capacity_ah.values)
    volts = min((_low(v) or 0.0 for v in cells.nominal_v.values), default=None)
    if volts is None:
        cell = _CELL_V.get(cells.chemistry.only or "")
        if cell is None or cells.in_series.only is None:
            return None
        volts = cell * cells.in_series.only
    share = min((_low(v) or 0.0 for v in cells.usable_share.values), default=1.0)
    return int(capacity * volts * share + 1e-6)
