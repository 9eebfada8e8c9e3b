"""Rule of the link subject: whether what a link joins stands on one busbar."""

from __future__ import annotations

from collections.abc import Iterator

from interop.rules.finding import Hit, Level, broken, rule
from interop.rules.link_facts import judged_links
from interop.rules.wording import joined, named
from interop.wiring.stage import Stage, busbars_of

__all__: list[str] = []


@rule(
    "link-over-busbars",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    broken_also=(Level.CAUTION,),
    meaning="Packs of one link, or the controller that follows it, end on different busbars.",
    source="common practice",
    explain="""A manager speaks for all packs of its link as for one bank: it sums what they may be charged with and
reports one voltage and one charge state. A controller that stands on the busbar of some of them only puts the share
of all into those few, and the voltage that it reads may belong to the others. That is a stop. Of a link that reports
to no controller it is a caution: what the manager shows is of two banks. Give each busbar a link and a controller of
its own, or write the power run that joins the busbars.""",
)
def _over_busbars(stage: Stage) -> Iterator[Hit]:
    where = busbars_of(stage.site)
    for link in judged_links(stage):
        parts: dict[int, list[str]] = {}
        for name in (*link.packs, *link.reports_to):
            if name in where:
                parts.setdefault(where[name], []).append(name)
        if len(parts) < 2:
            continue
        says = joined([named(names) for names in parts.values()])
        tells = f", and {named(link.reports_to)} is told of all of them as of one bank" if link.reports_to else ""
        yield broken(
            tuple(name for names in parts.values() for name in names),
            f"Link {link.id}: {says} end on different busbars{tells}",
            "Give each busbar a link and a controller of its own, or write the power run that joins the busbars.",
            got=f"{len(parts)} busbars",
            limit="1 busbar",
            level=Level.STOP if link.reports_to else Level.CAUTION,
        )
