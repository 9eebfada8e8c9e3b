"""A bar on the error output for what takes longer than a second, where somebody sits before it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from interop.documents.plaintext import visible

__all__ = ["following"]

_SOON_S = 1.0
"""What is done within this needs no bar."""


@contextmanager
def following() -> Iterator[Callable[[str, float], None] | None]:
    """Give what is to be called with a name and the part done, from 0 to 1; None where the output is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    bar = Progress(TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn(),
                   console=Console(stderr=True), transient=True)
    tasks: dict[str, TaskID] = {}
    began = time.monotonic()

    def told(name: str, part: float) -> None:
        if time.monotonic() - began < _SOON_S:
            return
        if not tasks:
            bar.start()
        if name not in tasks:
            tasks[name] = bar.add_task(f"what {visible(name)} shows, day by day", total=1.0)
        bar.update(tasks[name], completed=part)

    try:
        yield told
    finally:
        bar.stop()
