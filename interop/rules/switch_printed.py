"""Rule of the address subject on what a manual prints twice: a table of switches, and a formula beside it."""

from __future__ import annotations

from collections.abc import Iterator

from interop.records.models import SwitchRow
from interop.records.switches import Pattern, formula_differences, part_switches
from interop.rules.finding import Hit, Level, broken, rule
from interop.rules.wording import named, shown_pattern
from interop.wiring.stage import Stage

__all__: list[str] = []


@rule(
    "table-and-formula-differ",
    "address",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    meaning="A pack stands at a setting for which the printed table and the formula printed beside it differ.",
    source="record",
    explain="""Manuals print a table of switch settings and often a formula beside it, and one of the two has been
misprinted more than once. The table is what is set here, since it is what others set by; the formula is kept as a
second statement. Where the two differ nobody can tell on paper which one the pack follows: use a number for which
they agree, or read what the pack answers to with the maker's tool before it joins others on a link.""",
)
def _printed_twice(stage: Stage) -> Iterator[Hit]:
    groups: dict[tuple[str, str, str, Pattern, Pattern], list[str]] = {}
    for name, pack in stage.packs.items():
        for row_name, row in pack.record.switches.items():
            for value, table, formula in _doubtful(row, pack.patterns.get(row_name)):
                groups.setdefault((pack.record.id, row_name, value, table, formula), []).append(name)
    for (record, row_name, value, table, formula), packs in groups.items():
        yield broken(
            tuple(packs),
            f"Row {row_name} of {named(packs)} ({record}): for {value} the printed table gives "
            f"{shown_pattern(table)}, the formula beside it {shown_pattern(formula)}",
            "Use a number for which both agree, or read the number with the maker's tool.",
            got=shown_pattern(table),
            limit=shown_pattern(formula),
        )


def _doubtful(row: SwitchRow, pattern: Pattern | None) -> Iterator[tuple[str, Pattern, Pattern]]:
    """Yield the values at which a pattern stands by the table or by the formula, where the two differ."""
    if pattern is None:
        return
    for part in row.parts:
        if part.code is not None and part.code.formula is not None:
            bits = tuple(pattern[i] for i in part_switches(row, part))
            yield from (one for one in formula_differences(row) if bits in one[1:])
