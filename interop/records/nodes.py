"""YAML text to nodes with positions: every scalar stays text until a field's type says otherwise.

Limits are checked while the events of PyYAML's C parser arrive, so an aliased, deep or huge file costs nothing.
"""

from __future__ import annotations

import codecs
import gc
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final, NoReturn

import yaml

from interop.records.faults import Fault, InputFaults
from interop.unchanging import unchanging

__all__ = ["DEPTH", "NODES", "SIZE", "Document", "Gap", "Path", "Text", "read_document", "shown"]

Path = tuple[str | int, ...]
"""Keys of maps and places in lists, from the root of a file to a node."""

SIZE = 4_000_000
"""Largest file [bytes] (``--limit`` raises it)."""
DEPTH = 32
"""Deepest nesting."""
NODES = 200_000
"""Most nodes of one file; raised in step with the size limit."""

_MERGE = "<<"
_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")
# Control characters, and the four characters besides line feed that YAML 1.1 takes for a line break (specification 1.1,
# section 5.4): with one of them in a file the line numbers of messages would not be those of the user's editor.
_FORBIDDEN: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]|\r(?!\n)")
_MOST_CHARACTERS: Final = 100
"""Most bad characters of one file that are told: a file that is no text at all has millions."""
_INDENT: Final = re.compile(r"^[ ]*\t", re.MULTILINE)


class Text(str):
    """A scalar as written, with its position (line and column from 1)."""

    __slots__ = ("column", "line")
    line: int
    column: int


class Gap(Text):
    """Stands where a text could not be read, so that the rest can be judged: every leaf lets it pass, no check tells
    anything of it. As the key of a map it is the key as written.
    """

    __slots__ = ()


class _OddKey(Gap):
    """Stands for a key that is none; ``ended`` when the map or list that stood there has been read."""

    __slots__ = ("ended",)
    ended: bool


class _Map(dict[str, Any]):
    """A mapping as written, with its own position and those of its keys."""

    __slots__ = ("column", "line", "marks")

    def __init__(self) -> None:
        self.marks: dict[str, Text] = {}


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


@unchanging
class Document:
    """A file as nodes: maps, lists and :class:`Text`, each with its position."""

    file: str
    root: Any
    faults: tuple[Fault, ...] = ()
    """What the text itself has wrong (a key twice, an anchor, a tag); told together with the faults of its fields."""
    gaps: frozenset[Path] = frozenset()
    """Where a :class:`Gap` stands."""
    open_maps: frozenset[Path] = frozenset()
    """Maps with an entry that cannot be read: a field that is missing there may be meant by it."""

    def at(self, path: Path) -> tuple[int, int]:
        """Return line and column of the deepest node of ``path`` that exists; of the key for a map's entry."""
        node, where = self.root, (getattr(self.root, "line", 1), getattr(self.root, "column", 1))
        for step in path:
            if isinstance(node, dict) and step in node:
                key = node.marks.get(str(step)) if isinstance(node, _Map) else None
                where = (key.line, key.column) if key is not None else where
                node = node[str(step)]
            elif isinstance(node, list) and isinstance(step, int) and 0 <= step < len(node):
                node = node[step]
                where = (getattr(node, "line", where[0]), getattr(node, "column", where[1]))
            else:
                break
        return where

    def value_at(self, path: Path) -> tuple[int, int]:
        """Return line and column of the value at ``path`` (its key's where the value is empty or missing)."""
        node = self.root
        for step in path:
            try:
                node = node[step]
            except (KeyError, IndexError, TypeError):
                return self.at(path)
        return (getattr(node, "line", 1), getattr(node, "column", 1))

    def fault(self, path: Path, got: object, expected: str, near: str | None = None) -> Fault:
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
    """Return the text of a file. Raises :class:`InputFaults` for what no parser should see."""
    if len(data) > size:
        expected = f"at most {size} bytes (--limit raises it)"
        raise InputFaults([Fault(file, 1, 1, "", f"more than {size} bytes", expected)])
    if data[:2] in _UTF16:
        raise InputFaults([Fault(file, 1, 1, "", "UTF-16 text", "UTF-8 text")])
    body = data.removeprefix(codecs.BOM_UTF8)  # the mark is no character of the first line
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as bad:
        before = body[: bad.start].decode("utf-8")
        line, column = _line_column(before, len(before))
        raise InputFaults([Fault(file, line, column, "", f"byte 0x{body[bad.start]:02x}", "UTF-8 text")]) from None
    faults = [Fault(file, *_line_column(text, found.start()), "", f"character U+{ord(found[0]):04X}",
                    "printable text, with line feeds between lines") for found in _FORBIDDEN.finditer(text)]
    faults += [Fault(file, *_line_column(text, text.index("\t", found.start())), "", "a tab", "spaces for indentation")
               for found in _INDENT.finditer(text)]
    if faults:
        raise InputFaults(faults[:_MOST_CHARACTERS])
    return text


def _line_column(text: str, offset: int) -> tuple[int, int]:
    return text.count("\n", 0, offset) + 1, offset - (text.rfind("\n", 0, offset) + 1) + 1


_WRITTEN_OUT = "the value written out (no anchors or aliases)"


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
        self.gaps: set[Path] = set()
        self.open_maps: set[Path] = set()

    def where(self) -> Path:
        """Return the path of the value that comes next."""
        last = len(self.stack) - 1
        # a list already holds the map or list that is being read inside it
        return tuple(str(key) if isinstance(holder, dict) else len(holder) - (depth < last)
                     for depth, (holder, key) in enumerate(self.stack) if isinstance(holder, list) or key is not None)

    def path(self) -> str:
        """Return the dotted path of the value that comes next."""
        return ".".join(map(str, self.where()))

    def fault(self, mark: Any, got: str, expected: str) -> Fault:
        return Fault(self.file, mark.line + 1, mark.column + 1, self.path(), got, expected)

    def take(self, event: Any) -> None:
        """Take one event. Raises :class:`InputFaults` where reading on would cost or mean anything."""
        kind = type(event)
        if kind is yaml.ScalarEvent:
            self.open_checks(event)
            self.place(_placed(Text(event.value), event), event)
        elif kind is yaml.MappingStartEvent or kind is yaml.SequenceStartEvent:
            self.open_checks(event)
            if len(self.stack) >= DEPTH:
                self.give_up(event, f"nesting deeper than {DEPTH}", f"at most {DEPTH} levels")
            node = _placed(_Map() if kind is yaml.MappingStartEvent else _List(), event)
            self.place(node, event)
            self.stack.append((node, None))
        elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
            self.stack.pop()
            self.done()
        elif kind is yaml.AliasEvent:
            self.faults.append(self.fault(event.start_mark, f'alias "*{event.anchor}"', _WRITTEN_OUT))
            self.gaps.add(self.where())
            self.place(_placed(Gap(), event), event)
        elif kind is yaml.DocumentStartEvent:
            self.documents += 1
            if self.documents > 1:
                self.faults.append(self.fault(event.start_mark, "a second document", "one document a file"))

    def give_up(self, event: Any, got: str, expected: str) -> NoReturn:
        raise InputFaults([*self.faults, self.fault(event.start_mark, got, expected)])

    def open_checks(self, event: Any) -> None:
        self.count += 1
        if self.count > self.limit:
            self.give_up(event, f"more than {self.limit} values",
                         f"at most {self.limit} values a file (--limit raises it)")
        if event.anchor is not None:
            self.faults.append(self.fault(event.start_mark, f'anchor "&{event.anchor}"', _WRITTEN_OUT))
        if event.tag is not None:
            self.faults.append(self.fault(event.start_mark, f'tag "{event.tag}"', "no tag"))

    def place(self, node: Any, event: Any) -> None:
        """Put a node where it belongs; a map's key waits for its value."""
        if not self.stack:
            self.root = node
            return
        holder, key = self.stack[-1]
        if isinstance(holder, list):
            holder.append(node)
        elif key is None:
            key = self.key(node, event)
            self.stack[-1] = (holder, key)
        else:
            self.enter(holder, key, node)
            if isinstance(node, Text):
                self.stack[-1] = (holder, None)

    def done(self) -> None:
        """Forget the key whose map or list has ended, unless it is the key itself that has."""
        if not self.stack:
            return
        holder, key = self.stack[-1]
        if isinstance(key, _OddKey) and not key.ended:
            key.ended = True
        else:
            self.stack[-1] = (holder, None)

    def enter(self, holder: _Map, key: Text, node: Any) -> None:
        if isinstance(key, Gap):
            self.open_maps.add(self.where()[:-1])
        elif key in holder:
            self.faults.append(Fault(self.file, key.line, key.column, self.path(), f'key "{key}" a second time',
                                     f"each key once (first on line {holder.marks[key].line})"))
        elif key == _MERGE:
            self.open_maps.add(self.where()[:-1])
            self.faults.append(Fault(self.file, key.line, key.column, self.path(), 'merge key "<<"',
                                     "the values written out"))
        else:
            holder[key] = node
            holder.marks[key] = key

    def key(self, node: Any, event: Any) -> Text:
        if isinstance(node, Text):
            return node
        self.faults.append(self.fault(event.start_mark, "a map or list as a key", "a word as key"))
        odd: Text = _placed(_OddKey(), event)
        odd.ended = False  # type: ignore[attr-defined]
        return odd


def _placed(node: Any, event: Any) -> Any:
    node.line, node.column = event.start_mark.line + 1, event.start_mark.column + 1
    return node


def read_document(data: bytes, file: str, size: int = SIZE) -> Document:
    """Read YAML bytes into a :class:`Document`.

    ``file`` is the name shown in messages; ``size`` the largest number of bytes, which scales the node limit.
    Raises :class:`InputFaults` where the text cannot be read on; the other faults that can be seen without knowing the
    fields stand in the document's ``faults``.
    """
    text = _decode(data, file, size)
    builder = _Builder(file, max(NODES, NODES * size // SIZE))
    with _collector_paused():
        try:
            parser = yaml.CSafeLoader(text)
            while builder.documents < 2 and parser.check_event():  # what follows a second start is another file
                builder.take(parser.get_event())
        except yaml.YAMLError as bad:
            mark = getattr(bad, "problem_mark", None)
            line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
            problem = getattr(bad, "problem", None) or "unreadable text"
            fault = Fault(file, line, column, builder.path(), str(problem), "well-formed YAML")
            raise InputFaults([*builder.faults, fault]) from None
    if builder.root is None or (isinstance(builder.root, Text) and not builder.root.strip()):
        raise InputFaults([Fault(file, 1, 1, "", "an empty file", "a map of fields")])
    return Document(file, builder.root, tuple(builder.faults), frozenset(builder.gaps), frozenset(builder.open_maps))
