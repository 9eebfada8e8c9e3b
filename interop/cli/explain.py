"""``interop explain [RULE]``: say what a rule means and how to put it right."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from interop.cli.status import Status

if TYPE_CHECKING:
    from interop.rules.finding import Level, Rule

__all__ = ["command"]

_PIPED, _NARROWEST, _WIDEST = 100, 40, 120
"""Width where no terminal tells one, and the limits of a terminal's (common practice for lines that are read)."""


@click.command(name="explain")
@click.argument("rule", required=False)
def command(rule: str | None) -> Status:
    """Explain RULE, or list every rule with its meaning."""
    from interop.rules.judge import EXPLAINED

    if rule is None:
        width = max(map(len, EXPLAINED))
        for subject in dict.fromkeys(one.subject for one in EXPLAINED.values()):
            click.echo(f"{subject}:")
            for one in EXPLAINED.values():
                if one.subject == subject:
                    click.echo(f"  {one.name:<{width}}  {one.meaning}")
        return Status.CLEARED
    if rule not in EXPLAINED:
        from interop.records.faults import nearest

        near = nearest(rule, EXPLAINED)
        raise click.UsageError(f'no rule "{rule}"' + (f"; nearest known name: {near}" if near else "")
                               + "; interop explain lists them all")
    _show(EXPLAINED[rule])
    return Status.CLEARED


def _show(one: Rule) -> None:
    """Print one rule with its explanation, broken between words."""
    import shutil
    import textwrap

    wide = shutil.get_terminal_size((_PIPED, 24)).columns if sys.stdout.isatty() else _PIPED
    width = max(_NARROWEST, min(wide, _WIDEST))
    click.secho(one.name, bold=True)
    for line in _lines(one):
        click.echo(textwrap.fill(line, width, break_long_words=False, break_on_hyphens=False))


def _lines(one: Rule) -> Iterator[str]:
    from interop.records.answers import Answer

    yield one.meaning
    yield f"Subject: {one.subject}"
    words = f"broken: {_levels(one.levels(Answer.BROKEN))}; cannot tell: {_levels(one.levels(Answer.CANNOT_TELL))}"
    yield f"Level: {words}" + ("; a caution must be accepted in the site file" if one.must_accept else "")
    yield f"Source: {one.source}"
    yield ""
    yield one.explain


def _levels(levels: tuple[Level, ...]) -> str:
    """The usual level, and those that single findings have instead."""
    usual, *also = (one.value for one in levels)
    return f"{usual} (in some cases {' or '.join(also)})" if also else usual
