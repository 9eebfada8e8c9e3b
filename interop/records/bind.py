"""Nodes to models: pydantic validates, every error becomes a fault with position and nearest known name."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from interop.records.facts import Reading
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.nodes import Document, shown

__all__ = ["Bound", "Strict", "bind", "bind_part", "faults_of"]

M = TypeVar("M", bound=BaseModel)


class Strict(BaseModel):
    """Base of all models: unknown keys are faults, values do not change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, populate_by_name=True)


def _inner_models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is not None:
        return [m for arg in typing.get_args(annotation) for m in _inner_models(arg)]
    return []


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {info.alias or name: info.annotation for name, info in model.model_fields.items()}


def _known_keys(model: type[BaseModel], path: tuple[str | int, ...]) -> list[str]:
    """Return the field names of the model that holds the last step of ``path``."""
    models = [model]
    for step in path[:-1]:
        found = [m for here in models if step in _fields(here) for m in _inner_models(_fields(here)[str(step)])]
        found = found or [here.extra_model for here in models if hasattr(here, "extra_model")]
        models = found or models
    return sorted({name for m in models for name in _fields(m)})


def faults_of(document: Document, model: type[BaseModel], error: ValidationError) -> list[Fault]:
    """Turn pydantic's errors into faults of ``document``."""
    faults: list[Fault] = []
    for item in error.errors(include_url=False):
        faults += _faults_of(document, model, item, spell=len(faults) < _SPELLED)
    return faults


_SPELLED = 200
"""Faults of a file that get a nearest known name; looking for more would take longer than anyone reads."""


def _faults_of(document: Document, model: type[BaseModel], item: Any, *, spell: bool) -> Iterator[Fault]:
    path, kind = _path(item["loc"]), item["type"]
    if kind == "leaf" and item["ctx"]["inner"]:
        for keys, got, expected, near in item["ctx"]["inner"]:
            yield _fault(document, (*path, *keys), got, expected, near, key=True)
    elif kind == "leaf":
        expected, near = item["ctx"]["expected"], item["ctx"]["near"]
        yield _fault(document, path, item["ctx"]["got"] or shown(item["input"]), expected, near, key=_is_key(item))
    elif kind == "extra_forbidden":
        known = _known_keys(model, path)
        yield _fault(document, path, f'field "{path[-1]}"', "a known field: " + ", ".join(known),
                     nearest(str(path[-1]), known) if spell else None, key=True)
    elif kind == "missing":
        line, column = document.value_at(path[:-1])
        yield Fault(document.file, line, column, _dotted(path), "nothing", f'the field "{path[-1]}"')
    else:
        yield _fault(document, path, shown(item["input"]), _EXPECTED.get(kind, str(item["msg"]).lower()))


def _is_key(item: Any) -> bool:
    return item["loc"][-1:] == ("[key]",) and isinstance(item["input"], str)


def _path(loc: tuple[str | int, ...]) -> tuple[str | int, ...]:
    """The path of an error without pydantic's own last step for a key."""
    return loc[:-1] if loc[-1:] == ("[key]",) else loc


def _dotted(path: tuple[str | int, ...]) -> str:
    return ".".join(map(str, path))


def _fault(document: Document, path: tuple[str | int, ...], got: str, expected: str, near: str | None = None, *,
           key: bool = False) -> Fault:
    line, column = document.at(path) if key else document.value_at(path)
    return Fault(document.file, line, column, _dotted(path), got, expected, near)


_EXPECTED = {
    "model_type": "a map of fields", "model_attributes_type": "a map of fields", "dict_type": "a map",
    "list_type": "a list", "tuple_type": "a list", "too_short": "at least one entry", "too_long": "fewer entries",
}


@dataclass(frozen=True)
class Bound(Generic[M]):
    """What could be read of a document: the model without the parts at fault (None: nothing), and every fault so far.

    ``spoilt`` are the paths at fault or left out, under which and above which nothing more can be said.
    """

    model: M | None
    faults: tuple[Fault, ...]
    spoilt: frozenset[tuple[str | int, ...]]


def bind_part(document: Document, model: type[M], reading: Reading) -> Bound[M]:
    """Validate what can be validated of a document, so that what rests on it can be judged in the same run."""
    root = document.root
    spoilt: set[tuple[str | int, ...]] = set()
    faults = list(document.faults)
    for attempt in range(_ATTEMPTS):
        try:
            return Bound(model.model_validate(root, context=reading), tuple(faults), frozenset(spoilt))
        except ValidationError as error:
            if attempt == 0:  # what is missing later is missing because it was left out here
                faults += faults_of(document, model, error)
            root = _copy(root) if attempt == 0 else root
            left_out = [_left_out(root, item) for item in error.errors(include_url=False, include_context=False)]
            if () in left_out:
                break
            spoilt.update(left_out)
            for path in left_out:
                _leave_out(root, path)
    return Bound(None, tuple(faults), frozenset(spoilt))


_ATTEMPTS = 6
"""A part without a field that it needs is left out too, and so on upward: as often as maps of models stand in maps."""


def _copy(node: Any) -> Any:
    """Copy maps and lists; texts stay."""
    if isinstance(node, dict):
        return {key: _copy(value) for key, value in node.items()}
    return [_copy(value) for value in node] if isinstance(node, list) else node


def _left_out(root: Any, item: Any) -> tuple[str | int, ...]:
    """The path to leave out for an error; a list goes as a whole, since its positions are those of the messages."""
    path = _path(item["loc"])
    path = path[:-1] if item["type"] == "missing" else path
    node = root
    for depth, step in enumerate(path):
        if isinstance(node, list) and depth == len(path) - 1:
            return path[:depth]
        try:
            node = node[step]
        except (KeyError, IndexError, TypeError):
            return path[:depth]
    return path


def _leave_out(root: Any, path: tuple[str | int, ...]) -> None:
    node = root
    for step in path[:-1]:
        try:
            node = node[step]
        except (KeyError, IndexError, TypeError):
            return
    if isinstance(node, dict):
        node.pop(path[-1], None)


def bind(document: Document, model: type[M], reading: Reading) -> M:
    """Validate the whole document as ``model``. Raises :class:`InputFaults` with every fault."""
    bound = bind_part(document, model, reading)
    if bound.model is None or bound.faults:
        raise InputFaults(bound.faults)
    return bound.model
