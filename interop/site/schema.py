"""The editor's view of both kinds of file as JSON Schema.

Fields whose text can look like another type (``0110``, ``on``, ``no``) allow what a plain YAML loader makes of them.
"""

from __future__ import annotations

from typing import Any

from interop.records.models import Record
from interop.site.models import SiteFile

__all__ = ["record_schema", "site_schema"]


def _schema(model: type[Record | SiteFile], title: str) -> dict[str, Any]:
    schema = model.model_json_schema(by_alias=True, mode="validation")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = title
    return schema


def record_schema() -> dict[str, Any]:
    """Return the JSON Schema of a capability record."""
    return _schema(Record, "interop capability record")


def site_schema() -> dict[str, Any]:
    """Return the JSON Schema of a site file."""
    return _schema(SiteFile, "interop site file")
