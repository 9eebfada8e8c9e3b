"""``interop plan SITE --out DIR``: decide what the site leaves open and write the plan's folder."""

from __future__ import annotations

from pathlib import Path

import click

from interop.cli.names import rule_names
from interop.cli.status import Status

__all__ = ["command"]


def _date(_context: click.Context, _parameter: click.Parameter, value: str | None) -> str | None:
    if value is None:
        return value
    from interop.records.leaves import Expected, calendar_date

    try:
        return calendar_date().parse(value)
    except Expected as bad:
        raise click.BadParameter(f'got "{value}"; expected {bad.expected}') from None


@click.command(name="plan")
@click.argument("site", type=click.Path(readable=False, path_type=Path))
@click.option("--out", "out", type=click.Path(path_type=Path), required=True,
              help="Folder of the plan: new, empty, or an older plan of this program.")
@click.option("--draft", is_flag=True, help="Issue everything, every page marked as not for installation.")
@click.option("--date", callback=_date, help="Date to print (YYYY-MM-DD); without it a blank to fill in.")
@click.option("--json", "as_json", is_flag=True, help="Print plan.json too.")
@click.option("--limit", type=click.IntRange(1, 1_000), default=4, show_default=True,
              help="Largest input file in MB.")
def command(site: Path, out: Path, draft: bool, date: str | None, as_json: bool, limit: int) -> Status:
    """Decide SITE: managers, members, addresses, switches, conductors. Write sheets, notes and plan.json to DIR."""
    from interop.site.load import load_site

    # read before the engine is imported: a mistyped word need not wait for it
    read = load_site(site, limit * 1_000_000, rule_names)
    from interop.cli.folder import write_plan_folder
    from interop.documents.package import TooWide, plan_site

    try:
        package = plan_site(read, draft=draft, date=date)
    except TooWide as wide:
        raise click.ClickException(f"{site.name}: {wide}") from None
    write_plan_folder(out, package.files)
    if as_json:
        click.echo(package.files["plan.json"], nl=False)  # bytes: JSON is UTF-8 (RFC 8259, 8.1)
    else:
        from interop.cli.show import show_plan

        show_plan(package, out)
    cleared = package.plan["cleared"]
    if not cleared["settings"]:
        return Status.NO
    return Status.CLEARED if cleared["joining"] else Status.NOT_FOR_JOINING
