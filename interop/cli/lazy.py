"""A group of commands whose modules are imported only when one of them is used.

The engine's parts take tenths of a second to import; help and a mistyped option must not wait for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

import click

from interop.unchanging import unchanging

__all__ = ["LazyCommand", "LazyGroup"]


@unchanging
class LazyCommand:
    """Where a command stands ("package.module:name") and the line that help prints without importing it."""

    where: str
    line: str

    def load(self) -> click.Command:
        """Import the module and return the command. Raises TypeError where something else stands there."""
        module, _, name = self.where.partition(":")
        command = getattr(import_module(module), name)
        if not isinstance(command, click.Command):
            raise TypeError(f"{self.where} is no command")
        return command


class LazyGroup(click.Group):
    """A click group over ``lazy``: name of the command -> where it stands. Help keeps the order given."""

    def __init__(self, *args: object, lazy: Mapping[str, LazyCommand], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # passed through as click takes them
        self._lazy = dict(lazy)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names of all commands, in the order given."""
        return [*self._lazy, *(name for name in super().list_commands(ctx) if name not in self._lazy)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of a name, imported now, or None where there is none."""
        if cmd_name in self._lazy:
            return self._lazy[cmd_name].load()
        return super().get_command(ctx, cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands into the help, importing none of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, entry.line) for name, entry in self._lazy.items()])
