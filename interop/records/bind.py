"""Nodes to models: pydantic validates, every error becomes a fault with position and nearest known name."""

from __future__ import annotations

import types
import typing
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from interop.records.facts import Reading
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.nodes import Document, shown

__all__ = ["Strict", "bind", "faults_of"]

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


def faults_of(document: Document, model: type[BaseModel], error: ValidationError,
              prefix: tuple[str | int, ...] = ()) -> list[Fault]:
    """Turn pydantic's errors into faults of ``document``; ``prefix`` is the path that was validated."""
    faults = []
    for item in error.errors(include_url=False):
        path = prefix + tuple(step for step in item["loc"] if step != "[key]")
        kind, ctx = item["type"], item.get("ctx", {})
        if kind == "leaf":
            for key, got, expected, near in ctx["inner"]:
                line, column = document.at((*path, key))
                faults.append(Fault(document.file, line, column, ".".join(map(str, (*path, key))), got, expected, near))
            if not ctx["inner"]:
                faults.append(document.fault(path, ctx["got"] or shown(item["input"]), ctx["expected"], ctx["near"]))
        elif kind == "extra_forbidden":
            known = _known_keys(model, tuple(item["loc"]))
            line, column = document.at(path)
            faults.append(Fault(document.file, line, column, ".".join(map(str, path)), f'field "{path[-1]}"',
                                "a known field: " + ", ".join(known), nearest(str(path[-1]), known)))
        elif kind == "missing":
            line, column = document.value_at(path[:-1])
            faults.append(Fault(document.file, line, column, ".".join(map(str, path)), "nothing",
                                f'the field "{path[-1]}"'))
        else:
            faults.append(document.fault(path, shown(item["input"]), _EXPECTED.get(kind, str(item["msg"]).lower())))
    return faults


_EXPECTED = {
    "model_type": "a map of fields", "model_attributes_type": "a map of fields", "dict_type": "a map",
    "list_type": "a list", "tuple_type": "a list", "too_short": "at least one entry",
}


def bind(document: Document, model: type[M], reading: Reading) -> M:
    """Validate the whole document as ``model``. Raises :class:`InputFaults` with every fault."""
    try:
        return model.model_validate(document.root, context=reading)
    except ValidationError as error:
        raise InputFaults(faults_of(document, model, error)) from None
