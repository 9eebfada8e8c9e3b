"""``interop check SITE``: judge a site as it is written, found and planned; decide nothing."""

from __future__ import annotations

from pathlib import Path

import click

from interop.cli.names import rule_names
from interop.cli.status import Status

__all__ = ["command"]


@click.command(name="check")
@click.argument("site", type=click.Path(readable=False, path_type=Path))
@click.option("--stage", type=click.Choice(["found", "planned", "both"]), default="both", show_default=True,
              help="Which stage decides the exit status.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--limit", type=click.IntRange(1, 1_000), default=4, show_default=True,
              help="Largest input file in MB.")
def command(site: Path, stage: str, as_json: bool, limit: int) -> Status:
    """Judge SITE as found and as planned. What it leaves to the plan is listed as not judged."""
    from interop.site.load import load_site

    # read before the engine is imported: a mistyped word need not wait for it
    read = load_site(site, limit * 1_000_000, rule_names)
    from interop.rules.finding import SUBJECTS
    from interop.rules.judge import check_site

    judged = check_site(read)
    wanted = {"found": judged.found, "planned": judged.planned, "both": (*judged.found, *judged.planned)}[stage]
    stops = [one for one in wanted if one.level.value == "stop"]
    if as_json:
        import json

        from interop.documents.findings import finding_json

        answer = {"format": "interop-check", "version": 1, "site": {"name": read.name},
                  "findings": [finding_json(one) for one in judged.planned],
                  "found": [finding_json(one) for one in judged.found], "not_judged": list(judged.not_judged)}
        text = json.dumps(answer, indent=1, ensure_ascii=False, sort_keys=True)
        click.echo(text.encode("utf-8"))  # bytes: JSON is UTF-8 (RFC 8259, 8.1), the terminal may not be
    else:
        from interop.cli.show import show_check

        show_check(read, judged)
    if any(one.verdict == "broken" or one.subject in SUBJECTS for one in stops):
        return Status.NO
    return Status.NOT_FOR_JOINING if stops else Status.CLEARED
