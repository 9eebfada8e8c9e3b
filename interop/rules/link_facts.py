"""What the rules of the link subject share: the kinds on a link, its buses, and which links are judged at all."""

from __future__ import annotations

from collections.abc import Iterator

from interop.records.models import Bus, Record
from interop.unchanging import unchanging
from interop.wiring.stage import Stage, StageCable, StageLink
from interop.wiring.talks import RecordKey, alive_buses

__all__ = ["Kind", "chain_buses", "judged_links", "kinds_of", "made_kinds", "report_cables", "waits_for_plan"]


@unchanging(eq=False)
class Kind:
    """Packs of one link that share record and mode, in the order of the link."""

    record: Record
    mode: str | None
    packs: tuple[str, ...]

    @property
    def modes(self) -> tuple[str, ...]:
        """The mode, or every mode it may be in where it is not known."""
        return (self.mode,) if self.mode is not None else tuple(self.record.modes)


def judged_links(stage: Stage) -> Iterator[StageLink]:
    """Yield the links whose manager and members the site does not leave to the plan."""
    yield from (link for link in stage.links if link.judged)


def kinds_of(stage: Stage, link: StageLink) -> tuple[Kind, ...]:
    """Return the kinds on a link, in order of first appearance."""
    found: dict[tuple[RecordKey, str | None], list[str]] = {}
    for name in link.packs:
        if name in stage.packs:
            pack = stage.packs[name]
            found.setdefault((RecordKey(pack.record), pack.mode), []).append(name)
    return tuple(Kind(key.record, mode, tuple(names)) for (key, mode), names in found.items())


def chain_buses(record: Record, mode: str | None) -> dict[str, Bus]:
    """Return the buses between packs that are alive in a mode (all for None)."""
    return {name: bus for name, bus in alive_buses(record, mode).items() if bus.used_by == "all"}


def waits_for_plan(stage: Stage, link: StageLink) -> bool:
    """Return whether the cables of a link are still left to the plan (or nobody wrote the found ones down)."""
    if not stage.cables_known or not link.judged:
        return True
    if stage.name != "planned" or any((link.id, carries) in stage.cables_of for carries in ("chain", "report")):
        return False
    return any(item.id == link.id and item.propose_cables for item in stage.site.links)


def report_cables(stage: Stage, link: StageLink) -> tuple[StageCable, ...]:
    """Return the cables of a link between a pack and a device that is no pack."""
    return stage.cables_of.get((link.id, "report"), ())


def made_kinds(stage: Stage) -> dict[str, str]:
    """Return how the site file says each cable of the stage is made: straight, map, propose or unknown."""
    return stage.made_kinds
