"""What all parts of reading a site share: look-ups that gather faults, and tell none that only follows from another."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import cached_property
from itertools import islice
from typing import Protocol

from interop.records.catalog import LoadedRecord
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.leaves import Expected, normal_id
from interop.records.nodes import Document, Path, shown
from interop.site.models import SiteFile
from interop.site.ranges import expand_ids, expand_many, range_length
from interop.site.site import Busbar, Device
from interop.unchanging import unchanging

__all__ = ["SECTIONS", "Known", "Path", "Reader", "Records"]

SECTIONS = ("packs", "controllers", "devices")
"""The sections of a site file that name devices."""
_COMPARISONS = 50_000
"""Names compared in one run to find near ones (some seconds); a site has few unknown names, or one range of them."""
_TOLD = 10
"""Unknown names that one entry lists one by one: a range may hold thousands."""
_SHOWN = 8
"""Known names that a message lists."""


class Records(Protocol):
    """Look-up of records by id, as :class:`interop.records.catalog.Catalog` offers it."""

    @property
    def ids(self) -> tuple[str, ...]:
        """All ids."""

    def __contains__(self, name: str) -> bool:
        """Whether a record has this id."""

    def read(self, name: str) -> LoadedRecord:
        """Return what can be read of a record, with its faults. Raises :class:`InputFaults` where nothing can."""


@unchanging
class Known:
    """What is known before names are looked up: faults so far, paths at fault, whether all catalogs could be read.

    ``rules`` gives the names of all rules; None: nobody looks up the rule of an acceptance.
    """

    faults: tuple[Fault, ...] = ()
    spoilt: frozenset[Path] = frozenset()
    whole: bool = True
    rules: Callable[[], Collection[str]] | None = None


class Reader:
    """Reads one site, gathering faults.

    ``doubtful`` are ids that are written but could not be read as devices, ``heads`` what stands before the number in
    keys that could not be expanded, ``lines`` where each id of a device was first written, ``units_lost`` devices whose
    number of units could not be read. ``blind`` are sections of devices of which any name may be one.
    """

    def __init__(self, document: Document, raw: SiteFile, records: Records, known: Known) -> None:
        self.document = document
        self.raw = raw
        self.records = records
        self.faults: list[Fault] = list(known.faults)
        self.devices: dict[str, Device] = {}
        self.used: dict[str, bytes] = {}
        self.doubtful: set[str] = set()
        self.heads: set[str] = set()
        self.lines: dict[str, int] = {}
        self.units_lost: set[str] = set()
        self.blind: set[str] = set()
        self.posts: dict[str, tuple[str, ...]] = {}
        self.busbars: dict[str, Busbar] = {}
        self._known = known
        self._spoilt = {path[:n] for path in known.spoilt for n in range(1, len(path) + 1)}
        self._bad_records: set[str] = set()
        self._pack_count = -1
        self._packs: dict[str, None] = {}
        self._told: dict[Path, int] = {}
        self._told_ports: set[tuple[Path, str, str]] = set()
        self._compared = 0

    @cached_property
    def rules(self) -> frozenset[str] | None:
        """The names of all rules; None where nobody can say them."""
        return None if self._known.rules is None else frozenset(self._known.rules())

    def fault(self, path: Path, got: str, expected: str, near: str | None = None, *, key: bool = False,
              rests_on: Sequence[str] = ()) -> None:
        """Gather a fault, unless what it is about, or a field below that it ``rests_on``, was left out as faulty."""
        if self.spoilt(path) or any((*path, field) in self._spoilt for field in rests_on):
            return
        line, column = self.document.at(path) if key else self.document.value_at(path)
        self.faults.append(Fault(self.document.file, line, column, ".".join(map(str, path)), got, expected, near))

    def spoilt(self, path: Path) -> bool:
        """Whether what stands at a path has been left out."""
        return any(path[:n] in self._known.spoilt for n in range(1, len(path) + 1))

    def touched(self, path: Path) -> bool:
        """Whether what stands at a path, or anything below it, has been left out."""
        return path in self._spoilt or self.spoilt(path)

    def uneven(self, path: Path, text: str, count: int, what: str, of: str) -> None:
        """Gather the fault of a range that is not as long as what it is for."""
        self.fault(path, f"{shown(text)}, {range_length(text)} {what}", f"{count} {what}, one for each of {of}")

    def ids(self, path: Path, text: str | Sequence[str], *, key: bool = False) -> tuple[str, ...]:
        """Expand ranges; a fault and an empty tuple when that fails."""
        try:
            return expand_many(text) if not isinstance(text, str) else expand_ids(text)
        except Expected as bad:
            self.fault(path, shown(text if isinstance(text, str) else ", ".join(text)), bad.expected, key=key)
            return ()

    def packs(self, path: Path, text: str | Sequence[str], *, key: bool = False) -> tuple[str, ...]:
        """Expand ranges of known packs."""
        known = self.known_packs
        return tuple(name for name in self.ids(path, text, key=key)
                     if self.device(path, name, known, "a pack of this site", key=key, of=("packs",)))

    @property
    def known_packs(self) -> Collection[str]:
        """The ids of all packs read so far."""
        if self._pack_count != len(self.devices):
            self._packs = {one.id: None for one in self.devices.values() if one.kind == "pack"}
            self._pack_count = len(self.devices)
        return self._packs

    def device(self, path: Path, name: str, known: Collection[str], what: str, *, key: bool = False,
               of: Sequence[str] = SECTIONS) -> bool:
        """Whether a name is one of the known devices ``of`` some sections; a fault if not, unless its own entry is."""
        if name not in known and self.may_be(name, of):
            return False
        return self.known(path, name, known, what, key=key)

    def may_be(self, name: str, of: Sequence[str] = SECTIONS) -> bool:
        """Whether a name may be that of a device whose entry is at fault."""
        return name in self.doubtful or _head(name) in self.heads or any(section in self.blind for section in of)

    def written(self, key: str) -> None:
        """Note the ids of an entry that could not be read, so that nobody is told that they do not exist."""
        try:
            self.doubtful.update(expand_ids(key))
        except Expected:
            self.doubtful.add(key)
            if ".." in key or "," in key:  # whichever numbers it was meant to name
                self.heads.update(_head(end.strip()) for piece in key.split(",") for end in piece.split(".."))

    def port(self, path: Path, text: str, owner: str, records: Sequence[LoadedRecord]) -> None:
        """Tell that no record has such a port, once a record where many devices are named at one place."""
        told = (path, text, records[0].document.file)
        if told in self._told_ports or any(map(_sockets_doubtful, records)):
            return
        self._told_ports.add(told)
        ports = [port for loaded in records for port in loaded.record.ports.values()]
        sockets = list(dict.fromkeys(socket for port in ports for socket in port.sockets))
        known = list(dict.fromkeys([*(name for loaded in records for name in loaded.record.ports), *sockets]))
        near = nearest(text, sockets)
        if near is not None and text != near and _head(text) == _head(near):  # they differ in their number only
            near = next(" or ".join(s for s in port.sockets if _head(s) == _head(near))
                        for port in ports if near in port.sockets)
        self.fault(path, shown(text), f"a port or socket of {owner}: {', '.join(known) or 'there is none'}",
                   near or self._near(text, known))

    def known(self, path: Path, name: str, known: Collection[str], what: str, *, key: bool = False) -> bool:
        """Whether a name is one of the known ones; a fault if not."""
        if name in known:
            return True
        told = self._told[path] = self._told.get(path, 0) + 1
        some = ", ".join(islice(known, _SHOWN)) + (" …" if len(known) > _SHOWN else "")
        expected = f"{what}: {some or 'there is none'}"
        if told <= _TOLD:
            self.fault(path, shown(name), expected, self._near(name, known), key=key)
        elif told == _TOLD + 1:
            self.fault(path, "more names of this kind", expected, key=key)
        return False

    def _near(self, name: str, known: Collection[str]) -> str | None:
        if self._compared > _COMPARISONS:
            return None
        self._compared += len(known)
        return nearest(name, known)

    def record(self, path: Path, name: str) -> LoadedRecord | None:
        """Look a model up; faults of the record itself are gathered once, and what could be read of it is used."""
        if self.spoilt(path):
            return None
        if name not in self.records:
            if self._known.whole:
                near = self._near(name, self.records.ids)
                self.fault(path, f"model {shown(name)}", "the id of a record in the catalogs", near)
            return None
        if normal_id(name) in self._bad_records:
            return None
        try:
            loaded = self.records.read(name)
        except InputFaults as bad:
            self.faults += bad.faults
            self._bad_records.add(normal_id(name))
            return None
        if loaded.document.file not in self.used:
            self.faults += loaded.faults
        self.used[loaded.document.file] = loaded.data
        return loaded


def _head(name: str) -> str:
    """What stands before the number of an id."""
    return name.rstrip("0123456789")


def _sockets_doubtful(loaded: LoadedRecord) -> bool:
    """Whether the name of a port or socket may be among what could not be read of a record."""
    return loaded.lost("ports") or any(path[0] == "ports" and (len(path) < 3 or path[2] == "sockets")
                                       for path in loaded.spoilt)
