"""PDF from a shipped template and data. Data goes in as JSON, so no text can become markup."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.resources import as_file, files
from typing import Any

from interop.documents.plaintext import breakable, visible

__all__ = ["pdf"]

# An instant only because the format wants one where a date is asked for; the templates set no date.
_NO_CLOCK = 0


def _printable(value: Any) -> Any:
    if isinstance(value, str):
        return breakable(visible(value))
    if isinstance(value, Mapping):
        return {key: _printable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(item) for item in value]
    return value


def pdf(template: str, data: Mapping[str, Any]) -> bytes:
    """The shipped `template` (file name) filled with `data`, as PDF/UA-1; the same bytes on every machine.

    Every text in `data` is made visible first (`plaintext.visible`), so pass texts as they are. Only the shipped
    fonts are used. Raises typst.TypstError if the template cannot be set.
    """
    import typst

    with as_file(files("interop.documents")) as folder:
        made: bytes = typst.compile(
            str(folder / template),
            root=str(folder),
            font_paths=[str(folder / "fonts")],
            ignore_system_fonts=True,
            format="pdf",
            pdf_standards=["ua-1"],
            timestamp=_NO_CLOCK,
            sys_inputs={"data": json.dumps(_printable(data), ensure_ascii=True)},
        )
    return made
