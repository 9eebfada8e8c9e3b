"""Catalog look-up over several folders. A record is parsed only when it is asked for; ids are normalised once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from interop.records.bind import bind
from interop.records.checks import reading_of, record_faults
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.leaves import normal_id
from interop.records.models import Record
from interop.records.nodes import SIZE, Document, read_document

__all__ = ["Catalog", "LoadedRecord", "parse_record"]

_ID = re.compile(rb"^id:[ ]*([^#\r\n]+?)[ ]*(?:#.*)?\r?$", re.MULTILINE)


@dataclass(frozen=True)
class LoadedRecord:
    """A record with its file (as shown), its nodes for positions, and the bytes it was read from."""

    record: Record
    document: Document
    data: bytes

    def at(self, dotted: str) -> tuple[str, int, int]:
        """Return file, line and column of a dotted path."""
        line, column = self.document.at(tuple(dotted.split(".")))
        return self.document.file, line, column


def parse_record(data: bytes, file: str, size: int = SIZE) -> LoadedRecord:
    """Read one record from bytes; ``file`` is the name shown. Raises :class:`InputFaults` with every fault."""
    document = read_document(data, file, size)
    if not isinstance(document.root, dict):
        raise InputFaults([document.fault((), document.root, "a map of fields")])
    record = bind(document, Record, reading_of(document))
    faults = record_faults(document, record)
    if faults:
        raise InputFaults(faults)
    return LoadedRecord(record, document, data)


class Catalog:
    """Records of several folders by id.

    ``folders`` are searched in order, files by name. Raises :class:`InputFaults` at once for a missing folder, a file that
    leaves its folder, or an id that stands in two files; later, on look-up, for faults of the record itself.
    """

    def __init__(self, folders: Iterable[tuple[Path, str]], size: int = SIZE) -> None:
        self._size = size
        self._files: dict[str, tuple[Path, str]] = {}
        self._loaded: dict[str, LoadedRecord] = {}
        faults: list[Fault] = []
        for folder, shown in folders:
            faults += self._scan(folder, shown)
        if faults:
            raise InputFaults(faults)

    def _scan(self, folder: Path, shown: str) -> Iterable[Fault]:
        if not folder.is_dir():
            yield Fault(shown, 1, 1, "", "no such folder", "a folder of records")
            return
        home = folder.resolve()
        for path in sorted(p for p in folder.rglob("*.yaml") if p.is_file() or p.is_symlink()):
            name = f"{shown.rstrip('/')}/{path.relative_to(folder).as_posix()}"
            if not path.resolve().is_relative_to(home):
                yield Fault(name, 1, 1, "", "a link that leaves its folder", "a file inside the catalog folder")
                continue
            yield from self._enter(path, name)

    def _enter(self, path: Path, name: str) -> Iterable[Fault]:
        try:
            data = path.read_bytes()
        except OSError as bad:
            yield Fault(name, 1, 1, "", str(bad.strerror), "a readable file")
            return
        match = _ID.search(data)
        if match is None:
            try:
                loaded = parse_record(data, name, self._size)
            except InputFaults as bad:
                yield from bad.faults
                return
            key = loaded.record.id
        else:
            key = normal_id(match[1].decode("utf-8", "replace").strip("'\""))
        if key in self._files:
            line = data.count(b"\n", 0, match.start()) + 1 if match else 1
            yield Fault(name, line, 1, "id", f'id "{key}" a second time', f"each id once (first in {self._files[key][1]})")
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

    def load(self, name: str) -> LoadedRecord:
        """Return a record by id, parsed once. Raises :class:`KeyError` for an unknown id, :class:`InputFaults` for a bad one."""
        key = normal_id(name)
        if key not in self._loaded:
            path, shown = self._files[key]
            self._loaded[key] = parse_record(path.read_bytes(), shown, self._size)
        return self._loaded[key]
