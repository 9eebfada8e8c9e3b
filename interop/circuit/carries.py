"""What the conductors of one pole of a run may carry [A], as far as size, insulation, terminals and place are known.

Two grounds, never a neighbouring size: the NEC's table for US sizes, and what the record of a power cable states with
its conditions. Everything that is not known makes a range: its lower end is what surely may flow, its upper end what
may at best. All figures are for the parallel conductors of the pole together.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, sqrt
from typing import TYPE_CHECKING

from interop.circuit.bank import conductor_of
from interop.circuit.pieces import span_of
from interop.circuit.ranges import Missing, Range, exactly, known
from interop.standards.ampacity import COLUMNS_C, conductor_ampacity, table_ampacity_a, terminal_column_c
from interop.standards.sizes import Size, parse_size
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from interop.circuit.feeds import Circuit
    from interop.records.models import Record
    from interop.records.power import Conductor
    from interop.site.site import Pole

__all__ = ["BUNDLED", "Carries", "is_nec", "pole_carries"]

BUNDLED = ((3, 1.0), (6, 0.8), (9, 0.7), (20, 0.5))
"""Share of the ampacity by the number of current-carrying conductors together, up to so many (NEC, table of adjustment
factors, from memory: they make a range and never a verdict)."""

_COLDEST_C = 10.0
_WARMEST_COLUMN = COLUMNS_C[-1]
_TABLE = "table"


@unchanging(eq=False)
class Carries:
    """What the conductors of a pole may carry [A].

    ``amps`` in the hottest ambient; ``apart`` the same without the heat of terminals that nobody stated; ``continuous``
    what 125 % of a continuous current is held against by the NEC, before factors. ``basis``: the table, or the id of
    the cable's record; None where there is neither.
    """

    size: Size
    amps: Range
    apart: Range
    continuous: Range
    basis: str | None

    @property
    def by_table(self) -> bool:
        """Whether it is the NEC's table that says so."""
        return self.basis == _TABLE


def is_nec(code: str | None) -> bool:
    """Whether a site's code is an edition of the NEC."""
    return code is not None and code.startswith("NEC")


def pole_carries(one: Circuit, pole: str, circuit_a: float | None = None) -> Carries | None:
    """Return what the conductors of a pole may carry; None where nobody says what they are.

    ``circuit_a``: rating of the device on it [A], which decides what unmarked terminals bear (NEC 110.14(C)).
    """
    wired: Pole = getattr(one.run, pole)
    text = conductor_of(wired)
    if text is None:
        return None
    size = parse_size(text)
    facts = None if wired.cable is None else wired.cable.record.conductor
    marked, surely = _terminals(one, wired, size, circuit_a)
    strict = _grounds(one, wired, size, facts, marked)
    apart = strict if surely else _grounds(one, wired, size, facts, Range(marked.most, marked.most))
    share = _bundled(one, wired)
    return Carries(size, _all(strict[0], wired, share), _all(apart[0], wired, share),
                   _all(strict[1], wired, exactly(1.0)), strict[2])


def _all(each: Range, wired: Pole, share: Range) -> Range:
    missing = (*each.missing, *share.missing)
    return Range(each.least * share.least * wired.parallel, each.most * share.most * wired.parallel, missing)


def _bundled(one: Circuit, wired: Pole) -> Range:
    """The share that is left where parallel conductors may lie together: only in free air surely all."""
    count = 2 * wired.parallel
    least = next(share for most, share in BUNDLED if count <= most)
    if one.run.laid == "free air" or least == 1.0:
        return exactly(1.0)
    return Range(least, 1.0, (Missing(f"how its {count} conductors lie together"),))


# ---- terminals and ambient ----

def _terminals(one: Circuit, wired: Pole, size: Size, circuit_a: float | None) -> tuple[Range, bool]:
    """The temperature [C] that every terminal bears, and whether that is sure by what is stated or by the code.

    The NEC says what unmarked terminals bear. Elsewhere they may bear no more than that, or as much as any insulation.
    """
    records = [*(device.record for device in one.ends), *(held.loaded.record for held in wired.devices)]
    nec = is_nec(one.site.code)
    usual = terminal_column_c(size, 1e6 if circuit_a is None or circuit_a <= 0 else circuit_a)
    lowest_usual = 60 if circuit_a is None else usual
    found = exactly(inf)
    for record in records:
        fact = record.terminals.rated_c
        stated = known(record, "terminals.rated_c", fact)
        if not fact.known:
            stated = Range(usual, usual if nec else inf, () if nec else stated.missing)
            if nec and lowest_usual < usual:
                stated = Range(lowest_usual, usual, (Missing("the rating of its device"),))
        found = found.at_most(stated)
    sure = nec or all(record.terminals.rated_c.known for record in records)
    return found, sure


def _ambient(one: Circuit) -> Range:
    """The hottest that it is [C] where the run lies: at either end, and on the site."""
    hottest = [span_of(ambient) for ambient in (one.site.ambient_c, *(device.ambient_c for device in one.ends))]
    stated = [span[1] for span in hottest if span is not None]
    if not stated or any(device.ambient_c is None for device in one.ends):
        return Range(_COLDEST_C, inf, (Missing("ambient_c"),))
    return exactly(max(stated))


# ---- the two grounds ----

def _grounds(one: Circuit, wired: Pole, size: Size, facts: Conductor | None,
             terminal: Range) -> tuple[Range, Range, str | None]:
    """Of one conductor: what it may carry, what counts before factors, and whose word it is."""
    if facts is not None and wired.cable is not None and facts.ampacity_a.known:
        return *_by_record(one, wired.cable.record, facts, terminal), wired.cable.record.id
    if table_ampacity_a(size, _WARMEST_COLUMN) is not None and not _fine(facts):
        return *_by_table(one, wired, size, facts, terminal), _TABLE
    if wired.cable is None:
        cause = Missing("the record of its cable with an ampacity")
    else:
        cause = Missing("conductor.ampacity_a", wired.cable.record, None if facts is None else facts.ampacity_a)
    nothing = Range(0.0, inf, (cause,))
    return nothing, nothing, None


def _fine(facts: Conductor | None) -> bool:
    """Whether the strands of a cable are surely not those of the table."""
    return facts is not None and facts.strands.known and facts.strands.only != "stranded"


def _by_table(one: Circuit, wired: Pole, size: Size, facts: Conductor | None, terminal: Range) -> tuple[Range, Range]:
    insulation = Range(COLUMNS_C[0], _WARMEST_COLUMN, (Missing("the insulation of its cable"),))
    unsure: tuple[Missing, ...] = ()
    if facts is not None and wired.cable is not None:
        stated = known(wired.cable.record, "conductor.insulation_c", facts.insulation_c)
        insulation = stated if facts.insulation_c.known else Range(COLUMNS_C[0], _WARMEST_COLUMN, stated.missing)
        if facts.strands.only != "stranded":
            unsure = (Missing("conductor.strands", wired.cable.record, facts.strands),)
    ambient = _ambient(one)
    low = _of_table(size, insulation.least, terminal.least, ambient.most)
    high = _of_table(size, insulation.most, terminal.most, ambient.least)
    missing = (*insulation.missing, *ambient.missing, *terminal.missing, *unsure)
    before = (*insulation.missing, *terminal.missing, *unsure)
    least = (0.0, 0.0) if unsure else low
    return Range(least[0], high[0], missing if least[0] != high[0] else ()), Range(
        least[1], high[1], before if least[1] != high[1] else ())


def _of_table(size: Size, insulation_c: float, terminal_c: float, ambient_c: float) -> tuple[float, float]:
    """What the table gives in the ambient, and before factors; nothing below its lowest column."""
    columns = [_column(insulation_c), _column(terminal_c)]
    if None in columns:
        return 0.0, 0.0
    insulated, landed = (column or 0 for column in columns)
    before = min(table_ampacity_a(size, insulated) or 0.0, table_ampacity_a(size, landed) or 0.0)
    if ambient_c > 100:
        return 0.0, before
    found = conductor_ampacity(size, insulation_c=insulated, terminal_c=landed, ambient_c=ambient_c)
    return (0.0 if found is None else found.a), before


def _column(temperature_c: float) -> int | None:
    return max((column for column in COLUMNS_C if column <= temperature_c), default=None)


def _by_record(one: Circuit, record: Record, facts: Conductor, terminal: Range) -> tuple[Range, Range]:
    """The record's own ampacity in its conditions.

    It holds up to its ambient and as it is laid; in hotter places it falls with the root of what is left of the
    temperature rise, which is the law behind every table of factors; it is never raised.
    """
    stated = known(record, "conductor.ampacity_a", facts.ampacity_a)
    causes = tuple(_unlike(one, record, facts))
    rise = _rises(one, record, facts, terminal)
    least = 0.0 if causes else stated.least * rise.least * rise.landed_least
    most = stated.most * rise.most * rise.landed_most
    amps = Range(least, most, (*stated.missing, *causes, *rise.missing))
    before = Range(0.0 if causes else stated.least * rise.landed_least, stated.most * rise.landed_most,
                   (*stated.missing, *causes, *rise.missing))
    return amps, before


def _unlike(one: Circuit, record: Record, facts: Conductor) -> Iterator[Missing]:
    """Yield why the stated ampacity may not hold as the run is laid: a cable in free air carries more."""
    laid = one.run.laid
    if laid == "free air" or facts.laid.only == "enclosed":
        return
    if facts.laid.only != "free air":
        yield Missing("conductor.laid", record, facts.laid)
    elif laid is None:
        yield Missing("how it is laid")
    else:
        yield Missing("conductor.ampacity_a for an enclosed cable", record)


@unchanging(eq=False)
class _Rise:
    """Shares of a stated ampacity: in the ambient, and for the heat that the terminals bear."""

    least: float
    most: float
    landed_least: float
    landed_most: float
    missing: tuple[Missing, ...]


def _rises(one: Circuit, record: Record, facts: Conductor, terminal: Range) -> _Rise:
    ambient = _ambient(one)
    reference = known(record, "conductor.ambient_c", facts.ambient_c)
    insulation = known(record, "conductor.insulation_c", facts.insulation_c)
    missing: list[Missing] = []
    cool, hot = 1.0, 1.0
    if not facts.ambient_c.known or ambient.most > reference.least:
        cool = _root(insulation.least - ambient.most, insulation.least - reference.least) if (
            facts.ambient_c.known and facts.insulation_c.known) else 0.0
        missing += [*ambient.missing, *reference.missing, *insulation.missing]
    if facts.ambient_c.known and facts.insulation_c.known and ambient.least > reference.most:
        hot = _root(insulation.most - ambient.least, insulation.most - reference.most)
    low, high = 1.0, 1.0
    if not facts.insulation_c.known or terminal.least < insulation.most:
        sure = facts.ambient_c.known and facts.insulation_c.known
        low = _root(terminal.least - reference.most, insulation.most - reference.most) if sure else 0.0
        if terminal.least == inf:
            low = 1.0
        else:
            missing += [*terminal.missing, *reference.missing, *insulation.missing]
        if sure and terminal.most < insulation.least:
            high = _root(terminal.most - reference.least, insulation.least - reference.least)
    return _Rise(cool, hot, low, high, tuple({m.key: m for m in missing}.values()))


def _root(rise_c: float, stated_c: float) -> float:
    """The share of a current that heats by so much less [C]; none where nothing is left."""
    return sqrt(rise_c / stated_c) if 0 < rise_c < stated_c else 0.0 if rise_c <= 0 else 1.0
