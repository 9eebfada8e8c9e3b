"""``interop explain [RULE]``: say what a rule means and how to put it right."""

from __future__ import annotations

import click

from interop.cli.status import Status

__all__ = ["command"]


@click.command(name="explain")
@click.argument("rule", required=False)
def command(rule: str | None) -> Status:
    """Explain RULE, or list every rule with its meaning."""
    from interop.rules import judge as _judge  # noqa: F401  (enters every rule)
    from interop.rules.finding import RULES

    if rule is None:
        width = max(map(len, RULES))
        for subject in dict.fromkeys(one.subject for one in RULES.values()):
            click.echo(f"{subject}:")
            for one in RULES.values():
                if one.subject == subject:
                    click.echo(f"  {one.name:<{width}}  {one.meaning}")
        return Status.CLEARED
    if rule not in RULES:
        from interop.records.faults import nearest

        near = nearest(rule, RULES)
        raise click.UsageError(f'no rule "{rule}"' + (f"; nearest known name: {near}" if near else "")
                               + "; interop explain lists them all")
    one = RULES[rule]
    from interop.cli.show import show_rule

    show_rule(one)
    return Status.CLEARED
