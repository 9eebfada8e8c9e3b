"""What all parts of reading a site share: look-ups that gather faults, and tell none that only follows from another."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Protocol

from interop.records.catalog import LoadedRecord
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.leaves import Expected, normal_id
from interop.records.nodes import Document, shown
from interop.site.models import SiteFile
from interop.site.ranges import expand_ids, expand_many, range_length
from interop.site.site import Device

__all__ = ["Known", "Path", "Reader", "Records"]

Path = tuple[str | int, ...]

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

    def load(self, name: str) -> LoadedRecord:
        """Return a record by id. Raises :class:`InputFaults` for a bad record."""


@dataclass(frozen=True)
class Known:
    """What is known before names are looked up: faults so far, paths left out, whether all catalogs could be read."""

    faults: tuple[Fault, ...] = ()
    spoilt: frozenset[Path] = frozenset()
    whole: bool = True


class Reader:
    """Reads one site, gathering faults. ``doubtful`` are ids that are written but could not be read as devices."""

    def __init__(self, document: Document, raw: SiteFile, records: Records, known: Known) -> None:
        self.document = document
        self.raw = raw
        self.records = records
        self.faults: list[Fault] = list(known.faults)
        self.devices: dict[str, Device] = {}
        self.used: dict[str, bytes] = {}
        self.doubtful: set[str] = set()
        self.blind = False
        self.posts: dict[str, tuple[str, ...]] = {}
        self._known = known
        self._spoilt = {path[:n] for path in known.spoilt for n in range(1, len(path) + 1)}
        self._bad_records: set[str] = set()
        self._pack_count = -1
        self._packs: dict[str, None] = {}
        self._told: dict[Path, int] = {}
        self._compared = 0

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
        if self._pack_count != len(self.devices):
            self._packs = {one.id: None for one in self.devices.values() if one.kind == "pack"}
            self._pack_count = len(self.devices)
        return tuple(name for name in self.ids(path, text, key=key)
                     if self.device(path, name, self._packs, "a pack of this site", key=key))

    def device(self, path: Path, name: str, known: Collection[str], what: str, *, key: bool = False) -> bool:
        """Whether a name is one of the known devices; a fault if not, unless its own entry is at fault."""
        if name not in known and (name in self.doubtful or self.blind):
            return False
        return self.known(path, name, known, what, key=key)

    def written(self, key: str) -> None:
        """Note the ids of an entry that could not be read, so that nobody is told that they do not exist."""
        try:
            self.doubtful.update(expand_ids(key))
        except Expected:
            self.doubtful.add(key)
            self.blind = self.blind or ".." in key or "," in key  # whatever it was meant to name

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
        """Look a model up; faults of the record itself are gathered once."""
        if name not in self.records:
            if self._known.whole:
                near = self._near(name, self.records.ids)
                self.fault(path, f"model {shown(name)}", "the id of a record in the catalogs", near)
            return None
        if normal_id(name) in self._bad_records:
            return None
        try:
            loaded = self.records.load(name)
        except InputFaults as bad:
            self.faults += bad.faults
            self._bad_records.add(normal_id(name))
            return None
        self.used[loaded.document.file] = loaded.data
        return loaded
