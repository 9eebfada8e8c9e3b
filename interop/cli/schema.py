"""``interop schema site|record``: print the JSON Schema for an editor."""

from __future__ import annotations

import click

from interop.cli.status import Status

__all__ = ["command"]


@click.command(name="schema")
@click.argument("kind", type=click.Choice(["site", "record"]))
def command(kind: str) -> Status:
    """Print the JSON Schema of site files or of records, for editors that complete and check while typing."""
    import json

    from interop.site.schema import record_schema, site_schema

    schema = site_schema() if kind == "site" else record_schema()
    click.echo(json.dumps(schema, indent=1, ensure_ascii=False, sort_keys=True).encode("utf-8"))
    return Status.CLEARED
