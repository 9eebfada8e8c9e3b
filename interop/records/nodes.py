"""YAML text to nodes with positions: every scalar stays text until a field's type says otherwise.

Limits are checked while the events of PyYAML's C parser arrive, so an aliased, deep or huge file costs nothing.
"""

from __future__ import annotations

import gc
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import yaml

from interop.records.faults import Fault, InputFaults

__all__ = ["DEPTH", "NODES", "SIZE", "Document", "Text", "read_document", "shown"]

SIZE = 4_000_000
"""Largest file [bytes] (``--limit`` raises it)."""
DEPTH = 32
"""Deepest nesting."""
NODES = 200_000
"""Most nodes of one file; raised in step with the size limit."""

_MERGE = "<<"
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


class Text(str):
    """A scalar as written, with its position (line and column from 1)."""

    __slots__ = ("column", "line")
    line: int
    column: int


class _Map(dict[str, Any]):
    """A mapping as written, with its own position."""

    __slots__ = ("column", "line")


class _List(list[Any]):
    """A sequence as written, with its own position."""

    __slots__ = ("column", "line")


def shown(value: object) -> str:
    """Return a short text for a value in a message: quoted, cut after 60 characters."""
    if isinstance(value, dict):
        return "a map" if value else "an empty map"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    text = str(value)
    text = text if len(text) <= 60 else text[:57] + "..."
    return "nothing" if text == "" else f'"{text}"'


@dataclass(frozen=True)
class Document:
    """A file as nodes: maps, lists and :class:`Text`, each with its position."""

    file: str
    root: Any

    def at(self, path: tuple[str | int, ...]) -> tuple[int, int]:
        """Return line and column of the deepest node of ``path`` that exists; of the key for a map's entry."""
        node, where = self.root, (getattr(self.root, "line", 1), getattr(self.root, "column", 1))
        for step in path:
            if isinstance(node, dict) and step in node:
                key = next(k for k in node if k == step)
                where = (getattr(key, "line", where[0]), getattr(key, "column", where[1]))
                node = node[str(step)]
            elif isinstance(node, list) and isinstance(step, int) and 0 <= step < len(node):
                node = node[step]
                where = (getattr(node, "line", where[0]), getattr(node, "column", where[1]))
            else:
                break
        return where

    def value_at(self, path: tuple[str | int, ...]) -> tuple[int, int]:
        """Return line and column of the value at ``path`` (its key's where the value is empty or missing)."""
        node = self.root
        for step in path:
            try:
                node = node[step]
            except (KeyError, IndexError, TypeError):
                return self.at(path)
        return (getattr(node, "line", 1), getattr(node, "column", 1))

    def fault(self, path: tuple[str | int, ...], got: object, expected: str, near: str | None = None) -> Fault:
        """Build a fault at the value of ``path``."""
        line, column = self.value_at(path)
        dotted = ".".join(str(step) for step in path)
        return Fault(self.file, line, column, dotted, got if type(got) is str else shown(got), expected, near)


@contextmanager
def _collector_paused() -> Iterator[None]:
    """Pause the cyclic collector while nodes are made: growth stays linear (measured)."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _decode(data: bytes, file: str, size: int) -> str:
    if len(data) > size:
        raise InputFaults([Fault(file, 1, 1, "", f"{len(data)} bytes", f"at most {size} bytes (--limit raises it)")])
    if data[:2] in _UTF16:
        raise InputFaults([Fault(file, 1, 1, "", "UTF-16 text", "UTF-8 text")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as bad:
        before = data[: bad.start].decode("utf-8", "replace")
        line = before.count("\n") + 1
        column = len(before) - (before.rfind("\n") + 1) + 1
        raise InputFaults([Fault(file, line, column, "", f"byte 0x{data[bad.start]:02x}", "UTF-8 text")]) from None
    faults = []
    for match in _FORBIDDEN.finditer(text):
        line, column = _line_column(text, match.start())
        faults.append(Fault(file, line, column, "", f"control character U+{ord(match[0]):04X}", "printable text"))
    for number, row in enumerate(text.split("\n"), 1):
        indent = row[: len(row) - len(row.lstrip(" \t"))]
        if "\t" in indent and row.strip() and not row.lstrip(" \t").startswith("#"):
            faults.append(Fault(file, number, indent.index("\t") + 1, "", "a tab", "spaces for indentation"))
    if faults:
        raise InputFaults(faults)
    return text


def _line_column(text: str, offset: int) -> tuple[int, int]:
    return text.count("\n", 0, offset) + 1, offset - (text.rfind("\n", 0, offset) + 1) + 1


class _Builder:
    """Builds nodes from parser events, gathering faults that do not stop the reading."""

    def __init__(self, file: str, limit: int) -> None:
        self.file = file
        self.limit = limit
        self.count = 0
        self.faults: list[Fault] = []
        self.stack: list[tuple[Any, Text | None]] = []
        self.root: Any = None
        self.documents = 0

    def fault(self, mark: Any, got: str, expected: str) -> Fault:
        return Fault(self.file, mark.line + 1, mark.column + 1, "", got, expected)

    def take(self, event: Any) -> None:
        kind = type(event)
        if kind is yaml.ScalarEvent:
            self.open_checks(event)
            text = Text(event.value)
            text.line, text.column = event.start_mark.line + 1, event.start_mark.column + 1
            self.place(text, event)
        elif kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
            self.open_checks(event)
            node: Any = _Map() if kind is yaml.MappingStartEvent else _List()
            node.line, node.column = event.start_mark.line + 1, event.start_mark.column + 1
            self.place(node, event)
            self.stack.append((node, None))
            if len(self.stack) > DEPTH:
                raise InputFaults([*self.faults, self.fault(event.start_mark, "nesting deeper than 32",
                                                            "at most 32 levels")])
        elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
            self.stack.pop()
        elif kind is yaml.AliasEvent:
            raise InputFaults([*self.faults, self.fault(event.start_mark, f'alias "*{event.anchor}"',
                                                        "the value written out (no anchors or aliases)")])
        elif kind is yaml.DocumentStartEvent:
            self.documents += 1
            if self.documents > 1:
                raise InputFaults([*self.faults, self.fault(event.start_mark, "a second document",
                                                            "one document a file")])

    def open_checks(self, event: Any) -> None:
        self.count += 1
        if self.count > self.limit:
            raise InputFaults([*self.faults, self.fault(event.start_mark, f"more than {self.limit} values",
                                                        f"at most {self.limit} values a file (--limit raises it)")])
        if event.anchor is not None:
            self.faults.append(self.fault(event.start_mark, f'anchor "&{event.anchor}"',
                                          "the value written out (no anchors or aliases)"))
        if event.tag is not None:
            self.faults.append(self.fault(event.start_mark, f'tag "{event.tag}"', "no tag"))

    def place(self, node: Any, event: Any) -> None:
        if not self.stack:
            self.root = node
            return
        holder, key = self.stack[-1]
        if isinstance(holder, list):
            holder.append(node)
        elif key is None:
            self.stack[-1] = (holder, self.key(node, event))
        else:
            self.stack[-1] = (holder, None)
            if key in holder:
                first = next(k for k in holder if k == key)
                self.faults.append(Fault(self.file, key.line, key.column, "", f'key "{key}" a second time',
                                         f"each key once (first on line {first.line})"))
            holder[key] = node

    def key(self, node: Any, event: Any) -> Text:
        if not isinstance(node, Text):
            raise InputFaults([*self.faults, self.fault(event.start_mark, "a map or list as a key", "a word as key")])
        if node == _MERGE:
            self.faults.append(self.fault(event.start_mark, 'merge key "<<"', "the values written out"))
        return node


def read_document(data: bytes, file: str, size: int = SIZE) -> Document:
    """Read YAML bytes into a :class:`Document`.

    ``file`` is the name shown in messages; ``size`` the largest number of bytes, which scales the node limit.
    Raises :class:`InputFaults` with every fault that can be seen without a schema.
    """
    text = _decode(data, file, size)
    builder = _Builder(file, max(NODES, NODES * size // SIZE))
    with _collector_paused():
        try:
            parser = yaml.CSafeLoader(text)
            while parser.check_event():
                builder.take(parser.get_event())
        except yaml.YAMLError as bad:
            mark = getattr(bad, "problem_mark", None)
            line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
            problem = getattr(bad, "problem", None) or "unreadable text"
            raise InputFaults([*builder.faults,
                               Fault(file, line, column, "", str(problem), "well-formed YAML")]) from None
    if builder.root is None or (isinstance(builder.root, Text) and not builder.root.strip()):
        raise InputFaults([Fault(file, 1, 1, "", "an empty file", "a map of fields")])
    if builder.faults:
        raise InputFaults(builder.faults)
    return Document(file, builder.root)
