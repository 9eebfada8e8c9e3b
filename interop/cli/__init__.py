"""The command line, one module a command, thin."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["main"]


def main(args: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; ``args`` are those of the process unless given."""
    import atexit
    import gc

    # A command lives for seconds: looking for cycles among what it imported frees nothing, at the end least of all.
    gc.set_threshold(500_000, 50, 50)
    atexit.register(gc.freeze)
    from interop.cli.status import run_command_line

    return run_command_line(args)
