"""``interop power SITE``: what every pack, device and run carries, and the limit of the bank, as planned."""

from __future__ import annotations

from pathlib import Path

import click

from interop.cli.names import rule_names
from interop.cli.status import Status

__all__ = ["command"]


@click.command(name="power")
@click.argument("site", type=click.Path(readable=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
@click.option("--days", type=click.IntRange(1, 365), default=7, show_default=True,
              help="How many days to follow what the display shows.")
@click.option("--limit", type=click.IntRange(1, 1_000), default=4, show_default=True,
              help="Largest input file in MB.")
def command(site: Path, as_json: bool, days: int, limit: int) -> Status:
    """Show what every pack of SITE, as planned, carries at the highest load and at full charge."""
    from interop.site.load import load_site

    read = load_site(site, limit * 1_000_000, rule_names)
    from interop.choose.plan import decide, planned_stage
    from interop.circuit.bank import undrawn
    from interop.circuit.picture import pictures
    from interop.cli.progress import following
    from interop.documents.power import power_dict
    from interop.rules.proposals import proposals, with_proposals

    stage = planned_stage(decide(read))
    proposed = proposals(stage)
    stage = with_proposals(stage)
    lost = [(bank, missing) for bank in stage.banks if (missing := undrawn(stage, bank))]
    with following() as told:
        power = power_dict(pictures(stage), proposed, searched=True, days=days, told=told)
    if as_json:
        import json

        answer = {"format": "interop-power", "version": 1, "site": {"name": read.name},
                  "power": power,
                  "not_drawn": [{"packs": list(bank), "missing": [list(row) for row in missing]}
                                for bank, missing in lost]}
        click.echo(json.dumps(answer, indent=1, ensure_ascii=False, sort_keys=True).encode("utf-8"))
    else:
        from interop.cli.show_power import show_power

        show_power(read.name, power, lost)
    return Status.NO if lost else Status.CLEARED
