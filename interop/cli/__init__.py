"""The command line, one module a command, thin."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["for_one_command", "main"]


def for_one_command() -> None:
    """Set what suits a process that lives for one command; numpy must not be imported before."""
    import gc
    import os

    # The matrices of a bank are small: threads that wait for each other cost more than they give, most when other
    # programs run. Read by the linear algebra below numpy when it is first imported.
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    # No plugin of the schema library has a say in what a plan reads; looking for one reads what all is installed.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "true")
    # A command lives for seconds: looking for cycles among what it imported frees nothing, at the end least of all.
    gc.set_threshold(500_000, 50, 50)


def main(args: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; ``args`` are those of the process unless given."""
    import atexit
    import gc

    for_one_command()
    atexit.register(gc.freeze)
    from interop.cli.status import run_command_line

    return run_command_line(args)
