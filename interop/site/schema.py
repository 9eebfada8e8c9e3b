"""The editor's view of both kinds of file as JSON Schema.

Fields whose text can look like another type (``0110``, ``on``, ``no``) allow what a plain YAML loader makes of them, so
that a file which reads well is never marked; what only looks well to such a loader is told by the reader.
"""

from __future__ import annotations

from typing import Any

from interop.records.models import Record
from interop.site.models import SiteFile

__all__ = ["record_schema", "site_schema"]

_NULL = {"type": "null"}


def _schema(model: type[Record | SiteFile], title: str) -> dict[str, Any]:
    made: dict[str, Any] = _tidied(model.model_json_schema(by_alias=True, mode="validation"))
    return {**made, "$schema": "https://json-schema.org/draft/2020-12/schema", "title": title}


def _tidied(node: Any) -> Any:
    """Take out what a model has for its own sake: titles made of field names, and null where a field may be absent."""
    if isinstance(node, list):
        return [_tidied(part) for part in node]
    if not isinstance(node, dict):
        return node
    made = {key: _tidied(value) for key, value in node.items() if not (key == "title" and isinstance(value, str))}
    if made.get("default", 0) is None or made.get("default") == {}:
        del made["default"]
    if _NULL in made.get("anyOf", ()):
        rest = [part for part in made.pop("anyOf") if part != _NULL]
        made = {**rest[0], **made} if len(rest) == 1 else {"anyOf": rest, **made}
    if "on" in made.get("properties", {}):
        _on_is_true(made)
    return made


def _on_is_true(made: dict[str, Any]) -> None:
    """A YAML 1.1 loader takes the key ``on`` for true, and JSON has no other name for that than "true"."""
    made["properties"]["true"] = {**made["properties"]["on"], "description": "the field on, as YAML 1.1 reads it"}
    if "on" in made.get("required", ()):
        made["required"] = [name for name in made["required"] if name != "on"]
        made["anyOf"] = [{"required": ["on"]}, {"required": ["true"]}]


def record_schema() -> dict[str, Any]:
    """Return the JSON Schema of a capability record."""
    return _schema(Record, "interop capability record")


def site_schema() -> dict[str, Any]:
    """Return the JSON Schema of a site file."""
    return _schema(SiteFile, "interop site file")
