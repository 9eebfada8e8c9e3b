"""Facts: what a record states, by whom, and what it does not state.

Three classes decide what an unknown means (never a pass): deciding, estimable, permission.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from enum import Enum
from functools import cached_property
from typing import Any, Generic, NoReturn, TypeVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from interop.records.answers import Answer, one_answer
from interop.records.faults import nearest
from interop.records.leaves import Expected, Leaf
from interop.records.nodes import Gap, shown
from interop.unchanging import unchanging

__all__ = ["ABSENT", "NOT_STATED", "ByCase", "ByCaseType", "Fact", "FactClass", "FactType", "OneOrMore", "Plain",
           "Reading", "Statement", "leaf_error"]

T = TypeVar("T")

NOT_STATED = "not stated"
_CASE_WORDS = ("manager", "member", "unmanaged", "can", "rs-485", "rs-232", "private", "none")


class FactClass(Enum):
    """What may be done with a fact that is not known (declared with the field, never in a rule)."""

    DECIDING = "deciding"
    ESTIMABLE = "estimable"
    PERMISSION = "permission"


@unchanging
class Statement(Generic[T]):
    """One source's word: the value, the source's id in the record, and the place in it."""

    value: T
    source: str
    place: str = ""


@unchanging
class Reading:
    """What the leaf validators need to know of the record they are in."""

    sources: tuple[str, ...] = ()
    modes: tuple[str, ...] = ()
    any_source: bool = False
    """The sources cannot be read: whatever is named may be one."""
    any_mode: bool = False
    """The modes cannot be read: whatever is named may be one."""


@unchanging(eq=False)
class Fact(Generic[T]):
    """Zero or more statements. Raises on truth value and on comparison with a plain value."""

    statements: tuple[Statement[T], ...] = ()
    looked: bool = False

    def __bool__(self) -> NoReturn:
        raise TypeError("a fact has no truth value; ask 'known', 'state' or 'judge'")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Fact):
            raise TypeError("a fact is not a plain value; ask 'values' or 'judge'")
        return self.statements == other.statements and self.looked == other.looked

    def __hash__(self) -> int:
        return hash((self.statements, self.looked))

    @property
    def known(self) -> bool:
        """Whether any source states it."""
        return len(self.statements) > 0

    @property
    def state(self) -> str:
        """stated, disputed, not-stated (somebody looked) or absent (nobody did)."""
        if not self.known:
            return "not-stated" if self.looked else "absent"
        return "disputed" if len({s.value for s in self.statements}) > 1 else "stated"

    @cached_property
    def values(self) -> tuple[T, ...]:
        """The different values stated, in the order written."""
        return tuple(dict.fromkeys(s.value for s in self.statements))

    @cached_property
    def only(self) -> T | None:
        """The one value that all sources state; None where unknown or disputed."""
        values = self.values
        return values[0] if len(values) == 1 else None

    def judge(self, test: Callable[[T], Answer]) -> Answer:
        """Answer under each statement; one answer from all is the answer, else cannot tell. Unknown: cannot tell."""
        return one_answer(test(value) for value in self.values)

    def wording(self, unit: str = "") -> str:
        """Say the fact with its sources: ``2 V (manual p. 31), 1.5 V (inv p. 8)``."""
        if not self.known:
            return NOT_STATED
        tail = f" {unit}" if unit else ""
        return ", ".join(f"{_plain(s.value)}{tail} ({(s.source + ' ' + s.place).strip()})" for s in self.statements)


ABSENT: Fact[Any] = Fact()


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return ", ".join(_plain(part) for part in value)
    return str(value)


_Inner = tuple[tuple[str | int, ...], str, str, str | None]
"""A fault under a leaf: keys or places below the field, got, expected, nearest known name."""


def leaf_error(expected: str, near: str | None = None, inner: Iterable[_Inner] = (),
               got: str | None = None) -> PydanticCustomError:
    """Build the error that :mod:`interop.records.bind` turns into faults."""
    return PydanticCustomError("leaf", "not as expected",
                               {"expected": expected, "near": near, "inner": list(inner), "got": got})


class OneOrMore(Generic[T]):
    """Annotation: a plain leaf, or a list of them (``list[str] | str``)."""

    def __init__(self, leaf: Leaf[T]) -> None:
        self.leaf = leaf

    def _validate(self, raw: object) -> T | list[T]:
        try:
            return list(_each(raw, self.leaf)) if isinstance(raw, list) and raw else _scalar(raw, self.leaf)
        except _Below as bad:
            raise _error_of(bad) from None
        except Expected as bad:
            raise leaf_error(f"{bad.expected}; or a list of them", bad.near, got=shown(raw)) from None

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [self.leaf.schema, {"type": "array", "items": self.leaf.schema, "minItems": 1}],
                "description": f"{self.leaf.expected}; or a list of them"}


class _Below(Expected):
    """Faults in the map under a leaf."""

    def __init__(self, expected: str, inner: list[_Inner]) -> None:
        super().__init__(expected)
        self.inner = inner

    def under(self, key: str | int) -> list[_Inner]:
        return [((key, *keys), got, expected, near) for keys, got, expected, near in self.inner]


def _error_of(bad: Expected) -> PydanticCustomError:
    return leaf_error(bad.expected, bad.near, bad.inner if isinstance(bad, _Below) else ())


def _sources_expected(reading: Reading) -> str:
    known = ", ".join(reading.sources) or "none in this record"
    return f"a source of this record, then a place in it: {known}"


def _scalar(raw: object, leaf: Leaf[T]) -> T:
    if not isinstance(raw, str):
        raise Expected(leaf.expected)
    if isinstance(raw, Gap):
        return raw  # type: ignore[return-value]  # nobody asks it for a value
    return leaf.parse(raw)


def _each(pieces: list[Any], leaf: Leaf[T]) -> tuple[T, ...]:
    """Read every entry of a list. Raises :class:`_Below` with each that does not fit."""
    found: list[T] = []
    bad: list[_Inner] = []
    for i, piece in enumerate(pieces):
        try:
            if not isinstance(piece, Gap):
                found.append(_scalar(piece, leaf))
        except Expected as error:
            bad.append(((i,), shown(piece), error.expected, error.near))
    if bad:
        raise _Below(leaf.expected, bad)
    return tuple(found)


class Plain(Generic[T]):
    """Annotation: a plain leaf that is no fact (``Annotated[str, Plain(identifier())]``); ``note`` is for editors."""

    def __init__(self, leaf: Leaf[T], note: str = "") -> None:
        self.leaf = leaf
        self.note = note

    def _validate(self, raw: object) -> T:
        try:
            return _scalar(raw, self.leaf)
        except Expected as bad:
            raise leaf_error(bad.expected, bad.near) from None

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {**self.leaf.schema, "description": self.leaf.expected + (f". {self.note}" if self.note else "")}


def _lost(raw: object) -> bool:
    """Whether nothing is left of a value: it could not be read, or no entry of its list could."""
    return isinstance(raw, Gap) or (isinstance(raw, list) and bool(raw) and all(isinstance(p, Gap) for p in raw))


def _reading(info: core_schema.ValidationInfo) -> Reading:
    return info.context if isinstance(info.context, Reading) else Reading()


class FactType(Generic[T]):
    """Annotation: a fact of one leaf type and class; ``strict`` says which end of disputed values is the strict one.

    ``note`` is what an editor must know besides the value wanted.
    """

    def __init__(self, leaf: Leaf[T], kind: FactClass = FactClass.DECIDING, *, strict: str = "",
                 many: bool = False, note: str = "") -> None:
        self.leaf = leaf
        self.kind = kind
        self.strict = strict
        self.many = many
        self.note = note

    def parse(self, raw: object, reading: Reading) -> Fact[Any]:
        """Read one fact: a scalar, ``not stated``, a list (where the leaf is one of many), or statements by source."""
        if isinstance(raw, dict):
            return self._statements(raw, reading)
        if _lost(raw):
            return ABSENT
        if isinstance(raw, str) and raw == NOT_STATED:
            return Fact((), True)
        first = reading.sources[0] if reading.sources else ""
        return Fact((Statement(self._value(raw), first),))

    def _value(self, raw: object) -> Any:
        if not self.many:
            return _scalar(raw, self.leaf)
        pieces = raw if isinstance(raw, list) else [raw]
        if not pieces:
            raise Expected(f"a list of {self.leaf.expected}")
        return _each(pieces, self.leaf) if isinstance(raw, list) else (_scalar(raw, self.leaf),)

    def _statements(self, raw: dict[str, Any], reading: Reading) -> Fact[Any]:
        if not raw:
            raise Expected(f"{self.leaf.expected}, or statements by source")
        found: list[Statement[Any]] = []
        bad: list[_Inner] = []
        for key, value in raw.items():
            source, _, place = str(key).partition(" ")
            if source not in reading.sources and not reading.any_source:
                bad.append(((key,), shown(key), _sources_expected(reading), nearest(source, reading.sources)))
                continue
            try:
                if not (_lost(value) or (isinstance(value, str) and value == NOT_STATED)):
                    found.append(Statement(self._value(value), source, place))
            except _Below as error:
                bad += error.under(key)
            except Expected as error:
                bad.append(((key,), shown(value), error.expected, error.near))
        if bad:
            raise _Below(self.leaf.expected, bad)
        return Fact(tuple(found), True)

    def validate(self, raw: object, info: core_schema.ValidationInfo) -> Fact[Any]:
        """Read one fact for pydantic. Raises its custom error."""
        try:
            return self.parse(raw, _reading(info))
        except Expected as bad:
            raise _error_of(bad) from None

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(self.validate)

    def value_schema(self) -> dict[str, Any]:
        """The editor's view of one value of this fact."""
        single = {"anyOf": [self.leaf.schema, {"const": NOT_STATED}]}
        return {"anyOf": [single, {"type": "array", "items": self.leaf.schema, "minItems": 1}]} if self.many else single

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        value = self.value_schema()
        by_source = {"type": "object", "additionalProperties": value, "minProperties": 1}
        return {"anyOf": [value, by_source], **self.about()}

    def about(self) -> dict[str, Any]:
        """What an editor shows beside the field: the value wanted, and what is done when it is not known."""
        unknown = {
            FactClass.DECIDING: "never assumed",
            FactClass.ESTIMABLE: "a stated default range is used if unknown",
            FactClass.PERMISSION: "silence is a value",
        }[self.kind]
        one = f"{self.leaf.expected}; or a list of them" if self.many else self.leaf.expected
        one += f". {self.note}" if self.note else ""
        return {"x-fact": self.kind.value, "description": f"{one}. {self.kind.value.capitalize()} fact: {unknown}. "
                f'May be "{NOT_STATED}", or a map of statements by source and place.'}


@unchanging(eq=False)
class ByCase(Generic[T]):
    """A fact that may differ by mode, role or kind of bus; the key "" holds for every case not named."""

    cases: tuple[tuple[str, Fact[T]], ...] = ()

    def __bool__(self) -> NoReturn:
        raise TypeError("a fact has no truth value; ask for the case")

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, ByCase):
            raise TypeError("a fact is not a plain value; ask for the case")
        return self.cases == other.cases

    def __hash__(self) -> int:
        return hash(self.cases)

    def of(self, *case: str | None) -> Fact[T]:
        """Return the fact of the first named case that stands, else the one for all cases."""
        table = dict(self.cases)
        for name in case:
            if name is not None and name in table:
                return table[name]
        return table.get("", ABSENT)

    def __iter__(self) -> Iterator[tuple[str, Fact[T]]]:
        return iter(self.cases)


def _any_case(raw: Any, reading: Reading) -> bool:
    """Whether a map must be one of cases where the modes cannot be read: not every key begins with a source."""
    return (reading.any_mode and isinstance(raw, dict) and bool(raw)
            and not all(str(key).partition(" ")[0] in reading.sources for key in raw))


class ByCaseType(Generic[T]):
    """Annotation: one fact, or a map from case (mode, role, kind of bus) to a fact."""

    def __init__(self, inner: FactType[T]) -> None:
        self.inner = inner

    def validate(self, raw: Any, info: core_schema.ValidationInfo) -> ByCase[T]:
        """Read one fact, or one for each case. Raises pydantic's custom error."""
        reading = _reading(info)
        known = {*reading.modes, *_CASE_WORDS}
        if not (isinstance(raw, dict) and any(str(key) in known for key in raw)) and not _any_case(raw, reading):
            return ByCase((("", self.inner.validate(raw, info)),))
        cases: list[tuple[str, Fact[Any]]] = []
        bad: list[_Inner] = []
        for key, value in raw.items():
            if str(key) not in known and not reading.any_mode:
                bad.append(((key,), shown(key), "a mode of this record, a role or a kind of bus",
                            nearest(str(key), known)))
                continue
            try:
                cases.append((str(key), self.inner.parse(value, reading)))
            except _Below as error:
                bad += error.under(key)
            except Expected as error:
                bad.append(((key,), shown(value), error.expected, error.near))
        if bad:
            raise leaf_error(self.inner.leaf.expected, None, bad)
        return ByCase(tuple(cases))

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.with_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        value = self.inner.value_schema()
        nested = {"anyOf": [value, {"type": "object", "additionalProperties": value, "minProperties": 1}]}
        cases = {"type": "object", "additionalProperties": nested, "minProperties": 1}
        about = self.inner.about()
        about["description"] += " May differ by mode, role or kind of bus: a map of these."
        return {"anyOf": [value, cases], **about}
