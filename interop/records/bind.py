"""Nodes to models: pydantic validates, every error becomes a fault with position and nearest known name."""

from __future__ import annotations

import types
import typing
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from interop.records.facts import Reading
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.nodes import Document, Gap, Path, shown
from interop.unchanging import unchanging

__all__ = ["Bound", "Strict", "bind", "bind_part", "faults_of"]

M = TypeVar("M", bound=BaseModel)


class Strict(BaseModel):
    """Base of all models: unknown keys are faults, values do not change after reading."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, arbitrary_types_allowed=True, populate_by_name=True, defer_build=True
    )  # built with the first file that is read: a nested model needs no validator of its own


def _inner_models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if isinstance(annotation, types.UnionType) or typing.get_origin(annotation) is not None:
        return [m for arg in typing.get_args(annotation) for m in _inner_models(arg)]
    return []


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {info.alias or name: info.annotation for name, info in model.model_fields.items()}


def _known_keys(model: type[BaseModel], path: Path) -> list[str]:
    """Return the field names of the model that holds the last step of ``path``."""
    models = [model]
    for step in path[:-1]:
        found = [m for here in models if step in _fields(here) for m in _inner_models(_fields(here)[str(step)])]
        found = found or [here.extra_model for here in models if hasattr(here, "extra_model")]
        models = found or models
    return sorted({name for m in models for name in _fields(m)})


def faults_of(document: Document, model: type[BaseModel], error: ValidationError) -> list[Fault]:
    """Turn pydantic's errors into faults of ``document``."""
    return _told(document, model, error.errors(include_url=False))[0]


_SPELLED = 200
"""Faults of a file that get a nearest known name; looking for more would take longer than anyone reads."""


def _told(document: Document, model: type[BaseModel], items: Sequence[Any]) -> tuple[list[Fault], set[Path]]:
    """The faults of a list of errors, and the fields that an unknown one was probably meant to be.

    Nothing is told of a gap, nor that a field is missing where it may be meant by an entry that has its own fault.
    """
    near: dict[Path, str | None] = {}
    for item in items:
        if item["type"] == "extra_forbidden" and len(near) < _SPELLED:
            path = _path(item["loc"])
            near[path] = nearest(str(path[-1]), _known_keys(model, path))
    meant = {(*path[:-1], name) for path, name in near.items() if name is not None}
    faults = [fault for item in items if not _follows(document, item, meant)
              for fault in _faults_of(document, model, item, near)]
    return faults, meant


def _follows(document: Document, item: Any, meant: set[Path]) -> bool:
    if isinstance(item["input"], Gap) and item["type"] != "missing":
        return True
    return item["type"] == "missing" and (_path(item["loc"]) in meant or _path(item["loc"])[:-1] in document.open_maps)


def _faults_of(document: Document, model: type[BaseModel], item: Any, near: dict[Path, str | None]) -> Iterator[Fault]:
    path, kind = _path(item["loc"]), item["type"]
    if kind == "leaf" and item["ctx"]["inner"]:
        for keys, got, expected, close in item["ctx"]["inner"]:
            yield _fault(document, (*path, *keys), got, expected, close, key=True)
    elif kind == "leaf":
        expected, close = item["ctx"]["expected"], item["ctx"]["near"]
        yield _fault(document, path, item["ctx"]["got"] or shown(item["input"]), expected, close, key=_is_key(item))
    elif kind == "extra_forbidden":
        known = _known_keys(model, path)
        yield _fault(document, path, f'field "{path[-1]}"', "a known field: " + ", ".join(known), near.get(path),
                     key=True)
    elif kind == "missing":
        line, column = document.value_at(path[:-1])
        yield Fault(document.file, line, column, _dotted(path), "nothing", f'the field "{path[-1]}"')
    else:
        yield _fault(document, path, shown(item["input"]), _EXPECTED.get(kind, str(item["msg"]).lower()))


def _is_key(item: Any) -> bool:
    return item["loc"][-1:] == ("[key]",) and isinstance(item["input"], str)


def _path(loc: Path) -> Path:
    """The path of an error without pydantic's own last step for a key."""
    return loc[:-1] if loc[-1:] == ("[key]",) else loc


def _dotted(path: Path) -> str:
    return ".".join(map(str, path))


def _fault(document: Document, path: Path, got: str, expected: str, near: str | None = None, *,
           key: bool = False) -> Fault:
    line, column = document.at(path) if key else document.value_at(path)
    return Fault(document.file, line, column, _dotted(path), got, expected, near)


_EXPECTED = {
    "model_type": "a map of fields", "model_attributes_type": "a map of fields", "dict_type": "a map",
    "list_type": "a list", "tuple_type": "a list", "too_short": "at least one entry", "too_long": "fewer entries",
}


@unchanging
class Bound(Generic[M]):
    """What could be read of a document, and every fault so far.

    ``model`` has stand-ins where something is at fault: a :class:`Gap` for a text or key, an empty map or list, the
    default of a field that has one (None: there is no map of fields at all). ``spoilt`` are the paths of those.
    """

    model: M | None
    faults: tuple[Fault, ...]
    spoilt: frozenset[Path]


def bind_part(document: Document, model: type[M], reading: Reading) -> Bound[M]:
    """Validate what can be validated of a document, so that all the rest is judged in the same run as its faults."""
    root = document.root
    spoilt = set(document.gaps)
    faults = list(document.faults)
    for attempt in range(_ATTEMPTS):
        try:
            return Bound(model.model_validate(root, context=reading), tuple(faults), frozenset(spoilt))
        except ValidationError as error:
            items = error.errors(include_url=False)
            if attempt == 0:  # what is told later would be about the stand-ins
                told, meant = _told(document, model, items)
                faults += told
                spoilt |= {path for path in meant if not _stands(root, path)} | _unsaid(document, model)
                root = _copy(root)
            if any(_path(item["loc"]) == () for item in items):
                break
            for item in items:
                spoilt.update(path for path in _mend(root, item) if not _below(path, spoilt))
    return Bound(None, tuple(faults), frozenset(spoilt))


_ATTEMPTS = 12
"""Each puts a stand-in one level deeper: as often as maps of models stand in maps, with some to spare."""


def _unsaid(document: Document, model: type[BaseModel]) -> set[Path]:
    """The fields that are not written in a map of which an entry cannot be read."""
    return {(*path, name) for path in document.open_maps for name in _known_keys(model, (*path, ""))
            if not _stands(document.root, (*path, name))}


def _stands(root: Any, path: Path) -> bool:
    try:
        for step in path:
            root = root[step]
    except (KeyError, IndexError, TypeError):
        return False
    return True


def _below(path: Path, spoilt: set[Path]) -> bool:
    return any(path[:n] in spoilt for n in range(1, len(path) + 1))


def _copy(node: Any) -> Any:
    """Copy maps and lists; texts stay."""
    if isinstance(node, dict):
        return {key: _copy(value) for key, value in node.items()}
    return [_copy(value) for value in node] if isinstance(node, list) else node


def _mend(root: Any, item: Any) -> Iterator[Path]:
    """Put a stand-in where an error is; the paths where that was done."""
    path, kind = _path(item["loc"]), item["type"]
    below = item["ctx"]["inner"] if kind == "leaf" else ()
    for place in [(*path, *keys) for keys, *_ in below] or [path]:
        holder, depth = _holder(root, place)
        step: Any = place[depth]
        yield place[: depth + 1]
        if below or depth < len(place) - 1 or kind == "extra_forbidden":
            _take_out(holder, step)
        elif _is_key(item):
            entries = [(Gap(key) if key == step else key, value) for key, value in holder.items()]
            holder.clear()
            holder.update(entries)
        elif kind == "missing":
            holder[step] = Gap()
        elif kind in _STAND_INS:
            holder[step] = _STAND_INS[kind]()
        elif kind == "too_short":
            holder[step] = {Gap(): Gap()} if isinstance(holder[step], dict) else [Gap()]
        elif kind == "too_long":
            del holder[step][item["ctx"]["max_length"]:]
        else:
            _take_out(holder, step)


_STAND_INS: dict[str, Callable[[], Any]] = {
    "model_type": dict, "model_attributes_type": dict, "dict_type": dict, "list_type": list, "tuple_type": list}


def _holder(root: Any, path: Path) -> tuple[Any, int]:
    """The map or list that holds the last step of a path, or the deepest one on the way to it, and its depth."""
    node = root
    for depth, step in enumerate(path[:-1]):
        if not _stands(node, (step,)) or not isinstance(node[step], dict | list):
            return node, depth
        node = node[step]
    return node, len(path) - 1


def _take_out(holder: Any, step: Any) -> None:
    """Leave an entry of a map out; in a list a gap keeps the places of the others."""
    if isinstance(holder, dict):
        holder.pop(step, None)
    elif isinstance(step, int) and step < len(holder):
        holder[step] = Gap()


def bind(document: Document, model: type[M], reading: Reading) -> M:
    """Validate the whole document as ``model``. Raises :class:`InputFaults` with every fault."""
    bound = bind_part(document, model, reading)
    if bound.model is None or bound.faults:
        raise InputFaults(bound.faults)
    return bound.model
