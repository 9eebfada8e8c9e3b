"""A small record to put one thing into, for tests of reading."""

from __future__ import annotations

from interop.records.catalog import parse_record
from interop.records.faults import InputFaults
from interop.records.models import Record

__all__ = ["HEAD", "record", "record_text", "told"]

HEAD = """\
interop: record/1
id: small
name: Small
sources: {manual: {title: M, says: stated}, bench: {title: B, says: measured}}
"""


def record_text(more: str) -> str:
    """A record with a few lines more."""
    cells = "" if "cells:" in more else "cells: {chemistry: lfp}\n"
    return f"{HEAD}{cells}{more}\n"


def record(more: str) -> Record:
    """Read such a record."""
    return parse_record(record_text(more).encode(), "small.yaml").record


def told(text: str) -> list[str]:
    """The faults of a record without file, line and column."""
    try:
        parse_record(text.encode(), "small.yaml")
    except InputFaults as bad:
        return [str(fault).split(" ", 1)[1] for fault in bad.faults]
    return []
