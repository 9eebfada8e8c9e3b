"""Exit statuses, and the one place where whatever a command raises becomes a line on stderr and a status."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Iterable, Sequence
from contextlib import suppress
from enum import IntEnum
from pathlib import Path
from typing import Final

__all__ = ["Status", "run_command_line"]

_PACKAGE: Final = Path(__file__).parent.parent


class Status(IntEnum):
    """What every command answers with, as its exit status."""

    CLEARED = 0
    """All cleared; ``check``: no stop in the stages asked for."""
    NO = 1
    """The answer was computed and it is no."""
    UNUSABLE = 2
    """Unusable input or usage; nothing touched."""
    FAILED = 3
    """The program or the machine failed."""
    NOT_FOR_JOINING = 4
    """Settings issued, joining not cleared."""
    INTERRUPTED = 130
    """Interrupted; 128 + 2, the number of SIGINT, as shells count (POSIX, exit status of a command)."""


def run_command_line(args: Sequence[str] | None) -> int:
    """Run ``interop`` with ``args`` (those of the process when None) and return its exit status."""
    try:
        status = _run(args)
        _flush()
    except KeyboardInterrupt:
        _say("interrupted")
        status = Status.INTERRUPTED
    except Exception as error:  # noqa: BLE001  # the one place that turns any failure into a line and a status
        status = _status_of(error)
    return status


def _run(args: Sequence[str] | None) -> int:
    import click

    from interop.cli.program import program

    given = list(sys.argv[1:] if args is None else args)
    try:
        with program.make_context("interop", given) as context:
            answer = program.invoke(context)
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.Abort:
        return Status.INTERRUPTED
    except click.ClickException as refused:
        refused.show()
        return Status.UNUSABLE
    return Status.CLEARED if answer is None else Status(answer)


def _status_of(error: Exception) -> Status:
    """Say what went wrong, in lines without a traceback, and return the status that goes with it."""
    from interop.cli.place import FolderRefused
    from interop.records.faults import InputFaults

    if isinstance(error, InputFaults):
        _say_all(error.faults)
        return Status.UNUSABLE
    if isinstance(error, FolderRefused):
        _say_all(f"interop: {cause}" for cause in error.causes)
        return Status.UNUSABLE
    _let_go_of_output()
    if isinstance(error, BrokenPipeError):  # whoever read the output has gone: nobody is left to tell
        return Status.FAILED
    if os.environ.get("INTEROP_DEBUG") == "1":
        traceback.print_exception(error)
    _say(_failure(error))
    return Status.FAILED


def _failure(error: Exception) -> str:
    """One line: the machine's failure, or a fault of this program and where it arose."""
    if isinstance(error, MemoryError):
        return "the machine failed: out of memory"
    if isinstance(error, OSError) and error.errno is not None:
        return f"the machine failed: {_one_line(error)}"
    name = type(error).__name__
    return f"internal fault: {name}: {_one_line(error)}{_where(error)}; please report it"


def _one_line(error: Exception) -> str:
    if isinstance(error, OSError) and error.errno is not None:
        about = f": {error.filename}" if error.filename is not None else ""
        return " ".join(f"{error.strerror}{about}".split())
    return " ".join(str(error).split()) or "no message"


def _where(error: Exception) -> str:
    """The innermost place of this package that the error passed, in brackets, or nothing."""
    for frame in reversed(traceback.extract_tb(error.__traceback__)):
        path = Path(frame.filename)
        if path.is_relative_to(_PACKAGE):
            return f" (interop/{path.relative_to(_PACKAGE).as_posix()}:{frame.lineno})"
    return ""


# The two streams, either of which may be closed or full


def _say(line: str) -> None:
    _say_all([f"interop: {line}"])


def _say_all(lines: Iterable[object]) -> None:
    with suppress(OSError, ValueError):
        for line in lines:
            print(line, file=sys.stderr)  # noqa: T201  # the edge of the program


def _flush() -> None:
    """Bring the output out now, where a failure can still be told. Raises OSError."""
    if sys.stdout is not None:
        sys.stdout.flush()


def _let_go_of_output() -> None:
    """Drop what cannot be written any more, so that the interpreter's own flush at the end stays quiet.

    Source: Python documentation, module signal, "Note on SIGPIPE".
    """
    with suppress(OSError, ValueError, AttributeError):
        sys.stdout.flush()
        return
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
