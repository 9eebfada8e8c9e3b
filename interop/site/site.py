"""The site: devices with their records, wanted and found links, cables, power runs, wishes, acceptances."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from interop.records.catalog import LoadedRecord
from interop.records.leaves import Span
from interop.records.models import Record
from interop.records.switches import Pattern

__all__ = ["Accepted", "Cable", "Device", "End", "Found", "Link", "Made", "Run", "Site", "Wish"]

At = tuple[int, int]
"""Line and column in the site file, from 1."""


@dataclass(frozen=True)
class Found:
    """What somebody saw on a device: patterns of its switch rows, voltage [V], mode."""

    patterns: Mapping[str, Pattern] = field(default_factory=dict)
    voltage_v: float | None = None
    mode: str | None = None


@dataclass(frozen=True, eq=False)
class Device:
    """One device of the site. ``rank`` orders packs by place (rack by rack), then by position in the file."""

    id: str
    kind: str
    loaded: LoadedRecord
    place: str | None
    new: bool
    units: int
    index: int
    rank: int
    at: At
    found: Found | None = None
    set_patterns: Mapping[str, Pattern] = field(default_factory=dict)
    lands_on: str | None = None
    firmware: str | None = None

    @property
    def record(self) -> Record:
        """The capability record."""
        return self.loaded.record


@dataclass(frozen=True)
class Link:
    """A data link. ``manager`` is an id, None (not stated) or "propose"."""

    id: str
    packs: tuple[str, ...]
    manager: str | None
    reports_to: tuple[str, ...]
    group: int | None
    may_leave: frozenset[str]
    propose_cables: bool
    at: At


@dataclass(frozen=True)
class End:
    """One end of a cable. ``device`` None: the manager of ``link``; ``port`` or ``socket`` None: to be proposed."""

    device: str | None
    port: str | None
    socket: str | None
    link: str | None = None


@dataclass(frozen=True)
class Made:
    """How a cable is made: "straight", "map" with the joined pins, "propose" or "unknown"."""

    kind: str
    joined: tuple[tuple[str, str], ...] = ()
    cut: tuple[str, ...] = ()
    record: str | None = None


@dataclass(frozen=True)
class Cable:
    """A data cable as found or wanted; length [m]."""

    id: str
    a: End
    b: End
    made: Made
    length_m: float | None
    at: At


@dataclass(frozen=True)
class Run:
    """A power run (topology): between a device or busbar post and another."""

    id: str
    a: str
    b: str
    at: At


@dataclass(frozen=True)
class Wish:
    """A wish: ``must`` or preference; what is wished; about which packs; for manager wishes the link if named."""

    must: bool
    what: str
    about: tuple[str, ...]
    text: str
    link: str | None
    at: At


@dataclass(frozen=True)
class Accepted:
    """An accepted caution."""

    rule: str
    about: tuple[str, ...]
    why: str
    by: str
    on: str
    at: At


@dataclass(frozen=True, eq=False)
class Site:
    """A site with every name resolved. Devices in file order; ``none`` are packs on the busbar only."""

    name: str
    file: str
    devices: Mapping[str, Device]
    links: tuple[Link, ...]
    none: frozenset[str]
    cables: tuple[Cable, ...]
    found_links: tuple[Link, ...] | None
    found_cables: tuple[Cable, ...] | None
    runs: tuple[Run, ...]
    wishes: tuple[Wish, ...]
    accepted: tuple[Accepted, ...]
    ambient_c: float | Span | None
    dc_ground: str
    inputs: tuple[tuple[str, bytes], ...]

    @property
    def packs(self) -> tuple[Device, ...]:
        """All packs in file order."""
        return tuple(d for d in self.devices.values() if d.kind == "pack")
