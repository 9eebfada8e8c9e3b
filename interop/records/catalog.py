"""Catalog look-up over several folders. A record is parsed only when it is asked for; ids are normalised once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path as FilePath

from interop.records.bind import bind_part
from interop.records.checks import more_faults, reading_of
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.leaves import Expected, identifier, normal_id
from interop.records.models import Record
from interop.records.nodes import SIZE, Document, Path, read_document
from interop.unchanging import unchanging

__all__ = ["Catalog", "LoadedRecord", "parse_record", "read_file", "read_record"]

_KIND = re.compile(rb"^kind:[ ]*([a-z ]+?)[ ]*(?:#.*)?\r?$", re.MULTILINE)
_ID = re.compile(rb"^id:[ ]*([^#\r\n]+?)[ ]*(?:#.*)?\r?$", re.MULTILINE)
_NAME = identifier("an id")
_SUFFIXES = (".yaml", ".yml")


@unchanging
class LoadedRecord:
    """A record with its file (as shown), its nodes for positions, and the bytes it was read from.

    With ``faults`` it serves for one thing only: to judge what names it in the same run. It then has stand-ins at its
    ``spoilt`` paths.
    """

    record: Record
    document: Document
    data: bytes
    faults: tuple[Fault, ...] = ()
    spoilt: frozenset[Path] = frozenset()

    def lost(self, *path: str) -> bool:
        """Whether what stands at a path of the record could not be read."""
        return any(path[:n] in self.spoilt for n in range(1, len(path) + 1))

    def doubtful(self, *path: str) -> bool:
        """Whether a fault is told of what stands at a path, below it or above it."""
        dotted = ".".join(path)
        return self.lost(*path) or any(one == dotted or one.startswith(f"{dotted}.") or dotted.startswith(f"{one}.")
                                       for one in (fault.path for fault in self.faults if fault.path))

    def at(self, dotted: str) -> tuple[str, int, int]:
        """Return file, line and column of a dotted path."""
        line, column = self.document.at(tuple(dotted.split(".")))
        return self.document.file, line, column


def parse_record(data: bytes, file: str, size: int = SIZE) -> LoadedRecord:
    """Read one record from bytes; ``file`` is the name shown. Raises :class:`InputFaults` with every fault."""
    loaded = read_record(data, file, size)
    if loaded.faults:
        raise InputFaults(loaded.faults)
    return loaded


def read_record(data: bytes, file: str, size: int = SIZE) -> LoadedRecord:
    """Read what can be read of one record, with every fault. Raises :class:`InputFaults` where nothing can."""
    document = read_document(data, file, size)
    if not isinstance(document.root, dict):
        raise InputFaults([*document.faults, document.fault((), document.root, "a map of fields")])
    bound = bind_part(document, Record, reading_of(document))
    if bound.model is None:
        raise InputFaults(bound.faults)
    faults = (*bound.faults, *more_faults(document, bound.model, bound.spoilt))
    return LoadedRecord(bound.model, document, data, faults, bound.spoilt)


class Catalog:
    """Records of several folders by id.

    ``folders`` (with the name shown of each) are searched in order, files by name. Only the line of the id is read of a
    record until it is asked for. Faults of the folders themselves (a missing one, a file that leaves its folder, an id
    that stands in two files) are raised as :class:`InputFaults`, or, where a list ``faults`` is given, added to it.
    ``whole`` says whether every id could be read, so that one which is not there is known to be missing.
    """

    def __init__(self, folders: Iterable[tuple[FilePath, str]], size: int = SIZE,
                 faults: list[Fault] | None = None) -> None:
        self.whole = True
        self._size = size
        self._files: dict[str, tuple[FilePath, str]] = {}
        self._loaded: dict[str, LoadedRecord] = {}
        self._folders: dict[FilePath, str] = {}
        found = [fault for folder, shown in folders for fault in self._scan(folder, shown)]
        if faults is not None:
            faults += found
        elif found:
            raise InputFaults(found)

    def _scan(self, folder: FilePath, shown: str) -> Iterator[Fault]:
        if not folder.is_dir():
            self.whole = False
            yield Fault(shown, 1, 1, "", "no folder" if folder.exists() else "no such folder", "a folder of records")
            return
        home = folder.resolve()
        if home in self._folders:
            yield Fault(shown, 1, 1, "", "a folder a second time", f"each folder once (first as {self._folders[home]})")
            return
        self._folders[home] = shown
        for path in _record_files(folder):
            name = f"{shown.rstrip('/')}/{path.relative_to(folder).as_posix()}"
            if path.is_symlink() and not _stays_in(home, path):
                self.whole = False
                yield Fault(name, 1, 1, "", "a link that leads out of its folder, or nowhere",
                            "a file inside the catalog folder")
            elif not path.is_dir():
                yield from self._enter(path, name)

    def _enter(self, path: FilePath, name: str) -> Iterator[Fault]:
        try:
            data = read_file(path, self._size)
        except OSError as bad:
            self.whole = False
            yield Fault(name, 1, 1, "", str(bad.strerror).lower(), "a readable file")
            return
        key = _id_of(data)
        if key is None:  # written in another way than by one plain line: the file itself must tell
            try:
                loaded = read_record(data, name, self._size)
            except InputFaults as bad:
                self.whole = False
                yield from bad.faults
                return
            if loaded.doubtful("id"):
                self.whole = False
                yield from loaded.faults
                return
            key = loaded.record.id
        if key in self._files:
            yield Fault(name, _line_of_id(data), 1, "id", f'id "{key}" a second time',
                        f"each id once (first in {self._files[key][1]})")
            return
        self._files[key] = (path, name)

    @property
    def ids(self) -> tuple[str, ...]:
        """All ids, sorted."""
        return tuple(sorted(self._files))

    def nearest(self, name: str) -> str | None:
        """Return the known id nearest to a name."""
        return nearest(name, self._files)

    def __contains__(self, name: str) -> bool:
        return normal_id(name) in self._files

    def of_kinds(self, *kinds: str) -> tuple[LoadedRecord, ...]:
        """Return every sound record of some kinds, by id. A file that says another kind on a line of its own is not
        parsed; one with a fault is left out, for nobody asked for it.
        """
        found = []
        for key in self.ids:
            path, _ = self._files[key]
            try:
                if key not in self._loaded and not _may_be(read_file(path, self._size), kinds):
                    continue
                loaded = self.read(key)
            except (OSError, InputFaults):
                continue
            if not loaded.faults and loaded.record.kind in kinds:
                found.append(loaded)
        return tuple(found)

    def load(self, name: str) -> LoadedRecord:
        """Return a record by id, parsed once. Raises KeyError for an unknown id, InputFaults for a bad record."""
        loaded = self.read(name)
        if loaded.faults:
            raise InputFaults(loaded.faults)
        return loaded

    def read(self, name: str) -> LoadedRecord:
        """Return what can be read of a record, once, with its faults.

        Raises KeyError for an unknown id, InputFaults where nothing can be read.
        """
        key = normal_id(name)
        if key not in self._loaded:
            path, shown = self._files[key]
            try:
                data = read_file(path, self._size)
            except OSError as bad:
                raise InputFaults([Fault(shown, 1, 1, "", str(bad.strerror).lower(), "a readable file")]) from None
            loaded = read_record(data, shown, self._size)
            if loaded.record.id != key and not loaded.lost("id"):
                line, column = loaded.document.value_at(("id",))
                fault = Fault(shown, line, column, "id", f'"{loaded.record.id}"',
                              "the id in one line, as it is read by itself")
                loaded = replace(loaded, faults=(*loaded.faults, fault))
            self._loaded[key] = loaded
        return self._loaded[key]


def _may_be(data: bytes, kinds: tuple[str, ...]) -> bool:
    """Whether a record may be of one of some kinds, by its plain line for the kind."""
    match = _KIND.search(data)
    return match is None or match[1].decode("ascii") in kinds


def read_file(path: FilePath, size: int) -> bytes:
    """Return the bytes of a file, at most one more than ``size``, so that an endless one ends. Raises OSError."""
    with path.open("rb") as file:
        return file.read(size + 1)


def _record_files(folder: FilePath) -> list[FilePath]:
    """Every file that may be a record, and every link to a folder (none is followed), sorted."""
    return sorted(path for path in folder.rglob("*")
                  if (path.suffix in _SUFFIXES and (path.is_file() or path.is_symlink()))
                  or (path.is_symlink() and path.is_dir()))


def _stays_in(home: FilePath, path: FilePath) -> bool:
    try:
        return path.resolve(strict=True).is_relative_to(home)
    except (OSError, RuntimeError):  # a link to nothing, or one that leads to itself
        return False


def _id_of(data: bytes) -> str | None:
    """The id of a record from its one line, or None where it is not written in such a line."""
    found = _ID.findall(data)
    if len(found) != 1:
        return None
    try:
        return _NAME.parse(found[0].decode("utf-8").strip("'\""))
    except (UnicodeDecodeError, Expected):
        return None


def _line_of_id(data: bytes) -> int:
    match = _ID.search(data)
    return data.count(b"\n", 0, match.start()) + 1 if match is not None else 1
