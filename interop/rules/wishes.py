"""Rule of the settings of switches that a wish keeps: the plan moves none of them, or is refused."""

from __future__ import annotations

from collections.abc import Iterator

from interop.records.switches import Pattern
from interop.rules.finding import Hit, Level, broken, cannot_tell, rule
from interop.rules.wording import named, shown_pattern
from interop.wiring.kept import found_row, moves
from interop.wiring.stage import Stage

__all__: list[str] = []


@rule(
    "kept-switches-move",
    "address",
    broken=Level.STOP,
    unknown=Level.STOP,
    broken_also=(Level.NOTE,),
    meaning="A wish keeps the switches of a pack, and the plan moves one of them.",
    source="common practice",
    explain="""Whoever writes that the switches of a pack must stay as they are has a reason: a seal, a pack that
nobody can reach, a setting that works. A plan that moves one of them all the same, since the site file sets another
pattern or the record asks for it, is refused. Where nobody looked at a switch, nobody can say that it stays: read the
row and write it under found. A wish that is only preferred gives way, to a terminator at a new end of the row for one;
then a note says which switches move.""",
)
def _kept(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned" or not all(link.judged for link in stage.links):
        return
    wishes = [wish for wish in stage.site.wishes if wish.what == "switches"]
    about = {name for wish in wishes if wish.must for name in wish.about}
    yield from _preferred(stage, {name for wish in wishes for name in wish.about} - about)
    unseen: list[str] = []
    for name, row, was, pattern in _rows(stage, about):
        if moves(was, pattern):
            yield broken(
                (name,),
                f"The switches of {name} must stay as found, and row {row} would go from {shown_pattern(was)} to "
                f"{shown_pattern(pattern)}",
                "Take out the wish, or what sets the row otherwise.",
                got=shown_pattern(pattern),
                limit=shown_pattern(was),
            )
        elif "x" in was and name not in unseen:
            unseen.append(name)
    if unseen:
        yield cannot_tell(
            tuple(unseen),
            f"The switches of {named(unseen)} must stay as found, and nobody wrote down how they stand",
            "Read the switches and write them under found.",
        )


def _preferred(stage: Stage, about: set[str]) -> Iterator[Hit]:
    """What the plan moves of the switches that should rather stay."""
    for name, row, was, pattern in _rows(stage, about):
        if moves(was, pattern):
            yield broken(
                (name,),
                f"The switches of {name} should rather stay as found, and row {row} goes from {shown_pattern(was)} to "
                f"{shown_pattern(pattern)}",
                "Accept it, or make it a wish that must hold.",
                got=shown_pattern(pattern),
                limit=shown_pattern(was),
                level=Level.NOTE,
            )


def _rows(stage: Stage, about: set[str]) -> Iterator[tuple[str, str, Pattern, Pattern]]:
    """Every switch row of some packs: pack, row, as it was found and as it is planned."""
    for name in (n for n in stage.packs if n in about):
        pack = stage.packs[name]
        for row, pattern in pack.patterns.items():
            yield name, row, found_row(pack.device, row, len(pattern)), pattern
