"""The command ``interop`` itself: its options and the list of its commands."""

from __future__ import annotations

from typing import Final

import click

from interop._version import VERSION
from interop.cli.lazy import LazyCommand, LazyGroup

__all__ = ["COMMANDS", "program"]

COMMANDS: Final = {
    "check": LazyCommand("interop.cli.check:command", "Judge a site as it is written; decide nothing."),
    "plan": LazyCommand("interop.cli.plan:command", "Decide what is left open; write the plan's folder."),
    "power": LazyCommand("interop.cli.power:command", "Show what every pack, device and run carries."),
    "explain": LazyCommand("interop.cli.explain:command", "Say what a rule means and how to put it right."),
    "schema": LazyCommand("interop.cli.schema:command", "Print the JSON Schema of records or site files."),
}

_EPILOG: Final = (
    "Exit status: 0 all cleared; 1 the answer is no; 2 unusable input or usage, nothing touched; "
    "3 the program or the machine failed; 4 settings issued, joining not cleared; 130 interrupted."
)


@click.group(
    cls=LazyGroup, lazy=COMMANDS, epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(VERSION, prog_name="interop", message="%(prog)s %(version)s")
def program() -> None:
    """Plan the joining of unlike battery packs on one low-voltage busbar.

    The answer is a folder of setting sheets, cable notes and settings, or a refusal that says what is wrong.
    """
