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
    """What differs on one pole of a power run."""

    cable: Annotated[str, Plain(SIZE)] | None = None
    length: Length | None = None
    device: Words | None = None
    distance_from_source: Length | None = None


class RunEntry(Strict):
    """A power run, both poles at once."""

    from_: Words = Field(alias="from")
    to: Words
    cable: Annotated[str, Plain(SIZE)] | None = None
    length: Length | None = None
    device: Words | None = None
    distance_from_source: Length | None = None
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


class SiteFile(Strict):
    """The whole site file."""

    interop: Annotated[str, Plain(word("site/1"))]
    name: Words
    catalogs: list[Words] = Field(min_length=1)
    ambient_c: Annotated[float | Span, Plain(number(-60, 80, "C"))] | None = None
    dc_ground: Annotated[str, Plain(word("floating", "minus", "plus", "unknown"))] = "unknown"
    code: Words | None = None
    load: Load | None = None
    racks: dict[Words, RackEntry] = Field(default_factory=dict)
    packs: dict[Ids, DeviceEntry] = Field(min_length=1)
    controllers: dict[Ids, DeviceEntry] = Field(default_factory=dict)
    devices: dict[Ids, DeviceEntry] = Field(default_factory=dict)
    found: FoundSection = FoundSection()
    links: LinksSection = LinksSection()
    cables: dict[Ids, CableEntry] = Field(default_factory=dict)
    posts: dict[Ids, Any] = Field(default_factory=dict)
    runs: dict[Ids, RunEntry] = Field(default_factory=dict)
    set_: dict[Ids, FoundEntry] = Field(default_factory=dict, alias="set")
    wishes: WishesEntry = WishesEntry()
    accepted: list[AcceptedEntry] = Field(default_factory=list)
