"""The site: devices with their records, wanted and found links, cables, power runs, wishes, acceptances."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field

from interop.records.catalog import LoadedRecord
from interop.records.leaves import Span
from interop.records.models import Record
from interop.records.switches import Pattern
from interop.unchanging import unchanging

__all__ = ["Accepted", "Busbar", "Cable", "Device", "End", "Found", "InRun", "Link", "Load", "Made", "Pole", "Run",
           "Site", "Wish"]

At = tuple[int, int]
"""Line and column in the site file, from 1."""


@unchanging
class Found:
    """What somebody saw on a device: patterns of its switch rows, voltage [V], mode."""

    patterns: Mapping[str, Pattern] = field(default_factory=dict)
    voltage_v: float | None = None
    mode: str | None = None


@unchanging(eq=False)
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
    age_years: float | Span | None = None
    found_capacity_ah: float | Span | None = None
    ambient_c: float | Span | None = None

    @property
    def record(self) -> Record:
        """The capability record."""
        return self.loaded.record


@unchanging
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


@unchanging
class End:
    """One end of a cable. ``device`` None: the manager of ``link``; ``port`` or ``socket`` None: to be proposed."""

    device: str | None
    port: str | None
    socket: str | None
    link: str | None = None


@unchanging
class Made:
    """How a cable is made: "straight", "map" with the joined pins, "propose" or "unknown"."""

    kind: str
    joined: tuple[tuple[str, str], ...] = ()
    cut: tuple[str, ...] = ()
    record: str | None = None


@unchanging
class Cable:
    """A data cable as found or wanted; length [m]."""

    id: str
    a: End
    b: End
    made: Made
    length_m: float | None
    at: At


@unchanging
class InRun:
    """A protective device or switch in one pole of a run, and its distance from the source [m]."""

    loaded: LoadedRecord
    distance_m: float | None


@unchanging
class Pole:
    """One pole of a run: posts at its ends (None at a device), conductor, devices in order from the source.

    ``size``: as written, None where not stated; ``cable``: the record of a power cable; ``length_m`` [m] of each of
    the ``parallel`` conductors; ``lug_uohm``: each lug with its joint [micro-ohm], None where nobody measured.
    """

    a_post: str | None = None
    b_post: str | None = None
    size: str | None = None
    cable: LoadedRecord | None = None
    length_m: float | None = None
    parallel: int = 1
    devices: tuple[InRun, ...] = ()
    lug_uohm: float | Span | None = None


@unchanging
class Run:
    """A power run between a device or a busbar ("busbar NAME") and another; ``unit``: of a set of controllers, from 1.

    The source is at ``a``, but for the run of a controller or load, where it is the busbar at ``b``.
    """

    id: str
    a: str
    b: str
    at: At
    unit: int | None = None
    plus: Pole = Pole()
    minus: Pole = Pole()
    laid: str | None = None
    through_wall: bool | None = None


@unchanging
class Busbar:
    """A busbar: its posts in order, and its record where it has one."""

    id: str
    posts: tuple[str, ...]
    loaded: LoadedRecord | None
    at: At


@unchanging
class Load:
    """The load to carry at the outlets [W]; None: not stated."""

    usual_w: float | Span | None = None
    highest_w: float | Span | None = None
    must_stay_on_w: float | Span | None = None


@unchanging
class Wish:
    """A wish: ``must`` or preference; what is wished; about which packs; for manager wishes the link if named."""

    must: bool
    what: str
    about: tuple[str, ...]
    text: str
    link: str | None
    at: At


@unchanging
class Accepted:
    """An accepted caution."""

    rule: str
    about: tuple[str, ...]
    why: str
    by: str
    on: str
    at: At


def _empty_shelf(*_kinds: str) -> tuple[LoadedRecord, ...]:
    return ()


@unchanging(eq=False)
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
    busbars: Mapping[str, Busbar] = field(default_factory=dict)
    load: Load = Load()
    code: str | None = None
    storage_place: str | None = None
    shelf: Callable[..., tuple[LoadedRecord, ...]] = _empty_shelf
    """Every record of some kinds that the catalogs hold, for proposals."""

    @property
    def packs(self) -> tuple[Device, ...]:
        """All packs in file order."""
        return tuple(d for d in self.devices.values() if d.kind == "pack")
