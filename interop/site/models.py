"""The site file as written: pydantic models of its grammar (ranges not yet expanded)."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, ClassVar

from pydantic import ConfigDict, Field

from interop.records.bind import Strict
from interop.records.facts import Plain, leaf_error
from interop.records.leaves import (
    Expected,
    Leaf,
    Span,
    calendar_date,
    free_text,
    identifier,
    number,
    whole,
    word,
    yes_no,
)
from interop.records.nodes import Gap, shown
from interop.standards.sizes import SizeError, parse_length_m, parse_size

__all__ = [
    "AcceptedEntry",
    "BusbarEntry",
    "CableEntry",
    "DeviceEntry",
    "FoundEntry",
    "FoundSection",
    "LinkEntry",
    "LinksSection",
    "Load",
    "PoleEntry",
    "RackEntry",
    "RunEntry",
    "SiteFile",
    "WishesEntry",
]

Words = Annotated[str, Plain(free_text())]
Ids = Annotated[str, Plain(free_text(4000))]


def _length(text: str) -> float:
    try:
        return parse_length_m(text)
    except SizeError as bad:
        raise Expected(bad.expected) from None


def _size(text: str) -> str:
    try:
        parse_size(text)
    except SizeError as bad:
        raise Expected(bad.expected) from None
    return str(text)


LENGTH: Leaf[float] = Leaf(_length, "a length with its unit", {"type": "string"})
SIZE: Leaf[str] = Leaf(_size, "a conductor size", {"type": "string"})
Length = Annotated[float, Plain(LENGTH)]


def _cable(text: str) -> str:
    """A size in its unit, or what may be the id of a record: looked up with the whole catalog at hand."""
    if text[:1].isdigit():
        return _size(text)
    return identifier("a conductor size with its unit, or the id of a power cable's record").parse(text)


CABLE: Leaf[str] = Leaf(_cable, "a conductor size or the id of a power cable", {"type": "string"})


def _is_name(piece: Any) -> bool:
    return isinstance(piece, Gap) or (isinstance(piece, str) and bool(piece.strip()))


class _TextOrList:
    """Annotation: one text with ranges, or a list of them."""

    def __get_pydantic_core_schema__(self, source: object, handler: Any) -> Any:
        from pydantic_core import core_schema
        return core_schema.no_info_plain_validator_function(self._validate)

    @staticmethod
    def _validate(raw: object) -> tuple[str, ...]:
        pieces: list[Any] = raw if isinstance(raw, list) else [raw]
        bad = [((i,), shown(p), "a name", None) for i, p in enumerate(pieces) if not _is_name(p)]
        if not pieces or (bad and not isinstance(raw, list)):
            raise leaf_error("a name or a list of names")
        if bad:
            raise leaf_error("a list of names", inner=bad)
        return tuple(p for p in pieces if not isinstance(p, Gap))

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        text = {"type": ["string", "number", "boolean"]}
        return {"anyOf": [text, {"type": "array", "items": text, "minItems": 1}]}


Names = Annotated[tuple[str, ...], _TextOrList()]


class _LengthOrList:
    """Annotation: one length, or a list of them, in m."""

    def __get_pydantic_core_schema__(self, source: object, handler: Any) -> Any:
        from pydantic_core import core_schema
        return core_schema.no_info_plain_validator_function(self._validate)

    @staticmethod
    def _validate(raw: object) -> tuple[float, ...]:
        pieces: list[Any] = raw if isinstance(raw, list) else [raw]
        read: list[float] = []
        bad = []
        for i, piece in enumerate(pieces):
            try:
                read.append(_length(piece if isinstance(piece, str) else ""))
            except Expected as wrong:
                if not isinstance(piece, Gap):
                    bad.append(((i,), shown(piece), wrong.expected, None))
        if bad and not isinstance(raw, list):
            raise leaf_error(bad[0][2])
        if bad or not pieces:
            raise leaf_error("a list of lengths", inner=bad)
        return tuple(read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {"anyOf": [LENGTH.schema, {"type": "array", "items": LENGTH.schema, "minItems": 1}]}


Lengths = Annotated[tuple[float, ...], _LengthOrList()]


class _Raw:
    """Annotation: anything, judged later with the whole site at hand (``shape`` is the editor's view)."""

    def __init__(self, shape: dict[str, Any]) -> None:
        self.shape = shape

    def __get_pydantic_core_schema__(self, source: object, handler: Any) -> Any:
        from pydantic_core import core_schema
        return core_schema.no_info_plain_validator_function(lambda raw: raw)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return self.shape


_SCALAR: dict[str, Any] = {"type": ["string", "number", "boolean"]}
Made = Annotated[Any, _Raw({"anyOf": [_SCALAR, {"type": "object", "additionalProperties": _SCALAR}]})]
FoundValue = Annotated[Any, _Raw(_SCALAR)]
Posts = Annotated[Any, _Raw({"anyOf": [_SCALAR, {"type": "array", "items": _SCALAR}, {
    "type": "object", "properties": {"posts": {"type": ["string", "number", "array"]}, "model": {"type": "string"}},
    "additionalProperties": False}]})]
"""The posts of a busbar, or a map with them and its model."""


class Load(Strict):
    """The load to carry [W]."""

    usual_w: Annotated[float | Span, Plain(number(0, 1e6, "W"))] | None = None
    highest_w: Annotated[float | Span, Plain(number(0, 1e6, "W"))] | None = None
    must_stay_on_w: Annotated[float | Span, Plain(number(0, 1e6, "W"))] | None = None


class DeviceEntry(Strict):
    """One device, or a range of alike devices."""

    model: Words | None = None
    place: Words | None = None
    new: Annotated[bool, Plain(yes_no())] | None = None
    units: Annotated[int, Plain(whole(1, 64))] = 1
    cable_lands_on: Words | None = None
    firmware: Words | None = None
    age_years: Annotated[float | Span, Plain(number(0, 50, "years"))] | None = None
    found_capacity_ah: Annotated[float | Span, Plain(number(1, 5000, "Ah"))] | None = None
    note: Words | None = None


class LinkEntry(Strict):
    """A data link as found or as wanted. Packs listed in several wanted links compete for them."""

    packs: Names
    manager: Words | None = None
    reports_to: Names | None = None
    group: Annotated[int, Plain(whole(0, 99))] | None = None
    may_leave: Names | None = None
    cables: Annotated[str, Plain(word("propose", "as listed"))] = "as listed"


class CableEntry(Strict):
    """A data cable, or one for each neighbouring pair of a chain."""

    chain: Names | None = None
    from_: Words | None = Field(default=None, alias="from")
    to: Words | None = None
    made: Made = "propose"
    length: Length | None = None


class PoleEntry(Strict):
    """What differs on one pole of a power run; ``from`` and ``to`` name other posts of the same busbars."""

    from_: Words | None = Field(default=None, alias="from")
    to: Words | None = None
    cable: Annotated[str, Plain(CABLE)] | None = None
    length: Length | None = None
    parallel: Annotated[int, Plain(whole(1, 8))] | None = None
    lug_uohm: Annotated[float | Span, Plain(number(1, 100000, "uohm"))] | None = None
    device: Names | None = None
    distance_from_source: Lengths | None = None


class RunEntry(Strict):
    """A power run, both poles at once.

    ``cable``: a size or the id of a power cable's record; ``parallel``: conductors side by side on each pole;
    ``lug_uohm``: each lug with its joint, as measured; devices in order from the source (the pack; on the run of a
    controller the busbar; else ``from``).
    """

    from_: Words = Field(alias="from")
    to: Words
    cable: Annotated[str, Plain(CABLE)] | None = None
    length: Length | None = None
    parallel: Annotated[int, Plain(whole(1, 8))] | None = None
    lug_uohm: Annotated[float | Span, Plain(number(1, 100000, "uohm"))] | None = None
    laid: Annotated[str, Plain(word("free air", "enclosed", "conduit"))] | None = None
    through_wall: Annotated[bool, Plain(yes_no())] | None = None
    device: Names | None = None
    distance_from_source: Lengths | None = None
    plus: PoleEntry | None = None
    minus: PoleEntry | None = None


class WishesEntry(Strict):
    """Wishes: ``must`` is a condition, ``prefer`` a preference."""

    must: list[Words] = Field(default_factory=list)
    prefer: list[Words] = Field(default_factory=list)


# Any text here: what the calendar says of it is told together with the names of the entry.
_DATE = replace(free_text(40), schema=calendar_date().schema)


class AcceptedEntry(Strict):
    """A caution that somebody accepts, with name and date."""

    rule: Annotated[str, Plain(identifier("a rule"))]
    about: Names
    why: Words
    by: Words
    on: Annotated[str, Plain(_DATE)]


FoundEntry = dict[str, FoundValue]


class LinksSection(Strict):
    """The wanted links by name; ``none`` lists packs on the busbar only."""

    model_config = ConfigDict(extra="allow", frozen=True, arbitrary_types_allowed=True)
    extra_model: ClassVar[type[Strict]] = LinkEntry
    __pydantic_extra__: dict[str, LinkEntry]

    none: Names | None = None


class FoundSection(Strict):
    """What stands: links, cables, and by device its switches and voltage. Nothing written: nobody looked."""

    model_config = ConfigDict(extra="allow", frozen=True, arbitrary_types_allowed=True)
    __pydantic_extra__: dict[str, FoundEntry]

    links: dict[Ids, LinkEntry] | None = None
    cables: dict[Ids, CableEntry] | None = None


class RackEntry(Strict):
    """Defaults for every pack whose place is in this rack."""

    model: Words | None = None
    new: Annotated[bool, Plain(yes_no())] | None = None
    ambient_c: Annotated[float | Span, Plain(number(-60, 80, "C"))] | None = None


class BusbarEntry(Strict):
    """A busbar: its posts in order, and its record."""

    posts: Names | None = None
    model: Words | None = None


class SiteFile(Strict):
    """The whole site file."""

    interop: Annotated[str, Plain(word("site/1"))]
    name: Words
    catalogs: list[Words] = Field(min_length=1)
    ambient_c: Annotated[float | Span, Plain(number(-60, 80, "C"))] | None = None
    dc_ground: Annotated[str, Plain(word("floating", "minus", "plus", "unknown"))] = "unknown"
    code: Annotated[str, Plain(word("none", "IEC", "NEC 2017", "NEC 2020", "NEC 2023", "NEC 2026"))] | None = None
    storage_place: (
        Annotated[str, Plain(word("utility", "storage", "garage", "detached", "outside", "other"))] | None) = None
    load: Load | None = None
    racks: dict[Words, RackEntry] = Field(default_factory=dict)
    packs: dict[Ids, DeviceEntry] = Field(min_length=1)
    controllers: dict[Ids, DeviceEntry] = Field(default_factory=dict)
    devices: dict[Ids, DeviceEntry] = Field(default_factory=dict)
    found: FoundSection = FoundSection.model_construct()
    links: LinksSection = LinksSection.model_construct()
    cables: dict[Ids, CableEntry] = Field(default_factory=dict)
    posts: dict[Ids, Posts] = Field(default_factory=dict)
    runs: dict[Ids, RunEntry] = Field(default_factory=dict)
    set_: dict[Ids, FoundEntry] = Field(default_factory=dict, alias="set")
    wishes: WishesEntry = WishesEntry.model_construct()
    accepted: list[AcceptedEntry] = Field(default_factory=list)
