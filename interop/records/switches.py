"""Switch rows: from values to a pattern and back, and the proof that parts cover each switch exactly once.

A pattern is a tuple of texts in the order printed on the device: ``on``/``off`` for slide switches, one text for a
rotary, hex or menu setting. In a found pattern ``x`` stands for a switch that nobody looked at.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from functools import cache, lru_cache

from interop.records.leaves import Expected, span_numbers
from interop.records.models import Part, PartWhen, SwitchRow
from interop.unchanging import unchanging

__all__ = ["Case", "Pattern", "Reading", "Setting", "Values", "cover_faults", "domain", "formula_differences", "grid",
           "marks_of", "part_switches", "parts_in", "pattern_texts", "positions", "read_pattern", "readings",
           "row_length", "row_numbers", "settings", "value_key"]

Pattern = tuple[str, ...]
Values = Mapping[str, str | int | bool]


@unchanging
class Case:
    """The conditions a part may ask for; None: not known, or asked by no part."""

    role: str | None = None
    mode: str | None = None
    controller_bus: str | None = None
    place: str | None = None
    group: int | None = None
    count: int | None = None


@unchanging
class Setting:
    """What a row is set to. A switch that cannot be given is None in ``pattern``; ``causes`` says why."""

    pattern: tuple[str | None, ...]
    causes: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether every switch is given."""
        return None not in self.pattern


@unchanging
class Reading:
    """One meaning of a pattern: the case, and the values it sets in that case."""

    case: Case
    values: tuple[tuple[str, str | int | bool], ...]

    @property
    def table(self) -> dict[str, str | int | bool]:
        """The values by key."""
        return dict(self.values)


class _Key:
    """A row as a cache key: by identity, since models hold maps."""

    __slots__ = ("row",)

    def __init__(self, row: SwitchRow) -> None:
        self.row = row

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.row is self.row

    def __hash__(self) -> int:
        return id(self.row)


def row_numbers(row: SwitchRow) -> tuple[int, ...]:
    """Return the numbers printed beside the switches, left to right; one stand-in for a single setting."""
    if row.kind != "slide":
        return (1,)
    return row.printed if row.printed is not None else ()


def row_length(row: SwitchRow) -> int:
    """Return how many switches the row has (1 for rotary, hex and menu)."""
    return len(row_numbers(row))


def part_switches(row: SwitchRow, part: Part) -> tuple[int, ...]:
    """Return the positions (from 0, as printed left to right) of the switches a part uses, in the order of ``use``."""
    return _part_switches(_Key(row), part.use)


@lru_cache(maxsize=4096)
def _part_switches(key: _Key, use: str) -> tuple[int, ...]:
    numbers = row_numbers(key.row)
    if use == "all":
        return tuple(range(len(numbers)))
    wanted = span_numbers(0, 64, "switches").parse(use)
    unknown = [n for n in wanted if n not in numbers]
    if unknown:
        raise Expected(f"switches of this row: {', '.join(map(str, numbers))}")
    return tuple(numbers.index(n) for n in wanted)


def value_key(part: Part) -> str:
    """Return the key of what a part sets: ``address``, ``rate report``, ``terminator chain``."""
    return f"{part.sets} {part.bus}" if part.bus is not None else part.sets


def _wanted(value: object) -> tuple[object, ...] | None:
    if value is None:
        return None
    return tuple(value) if isinstance(value, list | tuple) else (value,)


_CONDITIONS = tuple(item.name for item in fields(Case))


def _applies(when: PartWhen, case: Case) -> bool | None:
    """Return whether a part applies in the case; None when the case does not say."""
    answer: bool | None = True
    for name in _CONDITIONS:
        wanted = _wanted(getattr(when, name))
        if wanted is None:
            continue
        have = getattr(case, name)
        if have is None:
            answer = None if answer is not False else False
        elif have not in wanted:
            return False
    return answer


def _spoken_role(row: SwitchRow, role: str | None) -> str | None:
    """An unmanaged pack answers as a member does unless the row names the case of its own."""
    if role == "unmanaged" and not any("unmanaged" in (_wanted(p.when.role) or ()) for p in row.parts):
        return "member"
    return role


def parts_in(row: SwitchRow, case: Case) -> tuple[tuple[Part, bool | None], ...]:
    """Return the parts that apply in the case (True) or might (None), in the order written."""
    return _parts_in(_Key(row), case)


@lru_cache(maxsize=65536)
def _parts_in(key: _Key, case: Case) -> tuple[tuple[Part, bool | None], ...]:
    row = key.row
    spoken = replace(case, role=_spoken_role(row, case.role))
    return tuple((part, answer) for part in row.parts if (answer := _applies(part.when, spoken)) is not False)


def grid(row: SwitchRow, modes: Iterable[str], known: Case | None = None) -> tuple[Case, ...]:
    """Return the finite grid of cases that the conditions of the row span.

    Of the numbers (group, count) it holds one out of every class that no condition can tell apart, or the known one.
    """
    asked = {item.name: [w for p in row.parts if (w := _wanted(getattr(p.when, item.name))) is not None]
             for item in fields(Case)}
    axes: dict[str, tuple[object, ...]] = dict.fromkeys(asked, (None,))
    if asked["role"]:
        named = {r for wanted in asked["role"] for r in wanted}
        axes["role"] = ("manager", "member", "unmanaged") if "unmanaged" in named else ("manager", "member")
    if asked["mode"]:
        axes["mode"] = tuple(modes)
    if asked["controller_bus"]:
        axes["controller_bus"] = ("can", "rs-485", "rs-232", "none")
    if asked["place"]:
        axes["place"] = ("first", "middle", "last", "only")
    for name, highest in (("group", 99), ("count", 255)):
        number = getattr(known, name, None)
        if asked[name]:
            axes[name] = (number,) if number is not None else _atoms(asked[name], highest)
    return tuple(Case(**dict(zip(axes, values, strict=True))) for values in itertools.product(*axes.values()))  # type: ignore[arg-type]


def _atoms(sets: list[tuple[object, ...]], highest: int) -> tuple[int, ...]:
    """The lowest number out of every class of numbers from 0 that no condition can tell apart."""
    wanted = [frozenset(numbers) for numbers in sets]
    seen: dict[tuple[bool, ...], int] = {}
    for number in range(highest + 1):
        seen.setdefault(tuple(number in numbers for numbers in wanted), number)
    return tuple(seen.values())


def cover_faults(row: SwitchRow, modes: Iterable[str]) -> tuple[tuple[int, Case], ...]:
    """Return every (switch as printed, case) in which more than one part covers the switch: a fault of the record."""
    found = []
    numbers = row_numbers(row)
    for case in grid(row, modes):
        times = [0] * len(numbers)
        for part, _ in parts_in(row, case):
            for position in part_switches(row, part):
                times[position] += 1
        found += [(numbers[i], case) for i, n in enumerate(times) if n > 1]
    return tuple(found)


def pattern_texts(row: SwitchRow, text: str) -> Pattern:
    """Read a pattern as typed: ``0110``, ``on off on off``, ``xxxx`` for slide switches, else the shown value.

    Raises :class:`Expected` with what the row takes.
    """
    if row.kind != "slide":
        shown = positions(row)
        if text != "x" and shown and text not in shown:
            raise Expected(f"one of the positions {', '.join(shown[:12])}{' …' if len(shown) > 12 else ''}")
        return (text,)
    count = row_length(row)
    words = text.split() if " " in text else list(text) if set(text) <= set("01x") else [text]
    table = {"0": "off", "1": "on", "off": "off", "on": "on", "x": "x"}
    if len(words) != count or any(w not in table for w in words):
        got = f" (got {len(words)})" if all(w in table for w in words) else ""
        raise Expected(f"{count} switch{'es' if count != 1 else ''} as 0, 1 or x, in the order printed{got}")
    return tuple(table[w] for w in words)


def positions(row: SwitchRow) -> tuple[str, ...]:
    """Return every position a rotary, hex or menu row can show, as far as the record says."""
    if row.positions is not None:
        return tuple(_as_shown(row, n) for n in row.positions)
    return tuple(dict.fromkeys(p for part in row.parts for p in _images(row, part)))


def marks_of(row: SwitchRow) -> tuple[str, ...]:
    """Return every mark of a rotary, hex or menu row that its record names, other than by a state to leave it in."""
    if row.positions is not None:
        return positions(row)
    codes = [part.code for part in row.parts if part.code is not None]
    return tuple(dict.fromkeys(
        mark for code in codes for mark in (*(code.table or {}).values(),
                                            *(_as_shown(row, n) for n in (code.number.shown if code.number else ())))))


def _as_shown(row: SwitchRow, number: int) -> str:
    return f"{number:X}" if row.kind == "hex" else str(number)


def _images(row: SwitchRow, part: Part) -> list[str]:
    codes = (_encode(row, part, value) for value in domain(row, part))
    return [bits[0] for bits in codes if bits is not None and len(bits) == 1]


# ---- one part: value <-> switches ----

def _typed(part: Part, text: str) -> str | int | bool:
    if part.sets in ("address", "count of members", "count of packs", "group", "rate"):
        return int(text)
    if part.sets == "terminator":
        return text in ("on", "fitted", "yes")
    return str(text)


def domain(row: SwitchRow, part: Part) -> tuple[str | int | bool, ...]:
    """Return every value that the code of a part can carry, in the order of the code."""
    code = part.code
    if code is None:
        return (part.keep,) if part.keep is not None else _free_patterns(row, part)
    if code.table is not None:
        return tuple(_typed(part, key) for key in code.table)
    if code.one_of is not None:
        return tuple(_typed(part, key) for key in code.one_of)
    if code.number is not None:
        return tuple(code.number.wire_from + i for i in range(len(code.number.shown)))
    if code.flag is not None:
        return ("member", "manager") if part.sets == "role" else (False, True)
    start = code.from_ if code.from_ is not None else 0
    return tuple(range(start, start + 2 ** len(part_switches(row, part))))


def _free_patterns(row: SwitchRow, part: Part) -> tuple[str, ...]:
    """Every state of switches that decide nothing, the one to take without a wish first."""
    if row.kind != "slide":
        return tuple(_as_shown(row, n) for n in row.positions or ())
    return tuple(" ".join(bits) for bits in itertools.product(("off", "on"), repeat=len(part_switches(row, part))))


def _table_pattern(row: SwitchRow, text: str) -> Pattern:
    return tuple(text.split()) if row.kind == "slide" else (text,)


def _binary(number: int, count: int, order: str) -> Pattern:
    bits = tuple("on" if number >> i & 1 else "off" for i in range(count))
    return bits if order == "first is low" else bits[::-1]


def _encode(row: SwitchRow, part: Part, value: str | int | bool) -> Pattern | None:
    """Return the switches of a part (in the order of ``use``) for a value; None when the code cannot carry it."""
    code, count = part.code, len(part_switches(row, part))
    values = domain(row, part)
    if value not in values or any(type(v) is not type(value) for v in values[:1]):
        return None
    if code is None:
        return (part.keep,) * count if part.keep is not None else tuple(str(value).split())
    if code.table is not None:
        return _table_pattern(row, list(code.table.values())[values.index(value)])
    if code.one_of is not None:
        return tuple("on" if i == values.index(value) else "off" for i in range(count))
    if code.number is not None:
        return (_as_shown(row, code.number.shown[values.index(value)]),)
    if code.flag is not None:
        on = value in ("manager", True)
        return ("on" if on == (code.flag == "on") else "off",) * count
    return _binary(int(value) - (code.from_ or 0), count, code.binary or "first is low")


@cache
def _decoder(row_key: _Key, index: int) -> dict[Pattern, tuple[str | int | bool, ...]]:
    row, part = row_key.row, row_key.row.parts[index]
    found: dict[Pattern, list[str | int | bool]] = {}
    for value in domain(row, part):
        bits = _encode(row, part, value)
        if bits is not None:
            found.setdefault(bits, []).append(value)
    return {bits: tuple(values) for bits, values in found.items()}


def settings(row: SwitchRow, values: Values, case: Case) -> Setting:
    """Return how the row is set for values in a case.

    ``values`` maps :func:`value_key` to a value. A switch stays None where no part covers it in the case (not stated),
    the case is not known far enough, the value is missing, or the code cannot carry it; each has its cause.
    """
    pattern: list[str | None] = [None] * row_length(row)
    touched: set[int] = set()
    causes: list[str] = []
    for part, answer in parts_in(row, case):
        places = part_switches(row, part)
        touched.update(places)
        if answer is None:
            causes.append(f"switch {part.use}: {', '.join(_unsaid(part.when, case))} not known")
            continue
        bits = _part_bits(row, part, values, causes)
        if bits is not None:
            for position, bit in zip(places, bits, strict=True):
                pattern[position] = bit
    numbers = row_numbers(row)
    missing = [str(numbers[i]) for i in range(len(numbers)) if i not in touched]
    if missing:
        causes.append("not stated: switch " + ", ".join(missing))
    return Setting(tuple(pattern), tuple(dict.fromkeys(causes)))


def _unsaid(when: PartWhen, case: Case) -> list[str]:
    """The conditions that a part asks for and the case does not say."""
    return [item.name.replace("_", " ") for item in fields(Case)
            if getattr(when, item.name) is not None and getattr(case, item.name) is None]


def _part_bits(row: SwitchRow, part: Part, values: Values, causes: list[str]) -> Pattern | None:
    key = value_key(part)
    if part.sets == "nothing":
        if part.keep is not None:
            return (part.keep,) * len(part_switches(row, part))
        free = _free_patterns(row, part)
        return tuple(str(values.get(_free_key(part), free[0])).split()) if free else None
    if key not in values:
        causes.append(f"no value for {key}")
        return None
    bits = _encode(row, part, values[key])
    if bits is None:
        causes.append(f"{key} {values[key]} cannot be set")
    return bits


def _free_key(part: Part) -> str:
    return f"free {part.use}"


def read_pattern(row: SwitchRow, pattern: Pattern, modes: Iterable[str]) -> tuple[Reading, ...]:
    """Return every meaning of a pattern, in any case (``x`` for a switch that nobody looked at)."""
    return readings(row, pattern, Case(), modes)


def readings(row: SwitchRow, pattern: Pattern, known: Case, modes: Iterable[str]) -> tuple[Reading, ...]:
    """Return the set of (case, values) that a pattern can mean, given what is known of the case.

    An unmanaged pack reads as a member where the row has no case of its own for it (its case then says member).
    """
    return _readings(_Key(row), pattern, known, tuple(modes))


@lru_cache(maxsize=8192)
def _readings(key: _Key, pattern: Pattern, known: Case, modes: tuple[str, ...]) -> tuple[Reading, ...]:
    row = key.row
    found: dict[Reading, None] = {}
    spoken = replace(known, role=_spoken_role(row, known.role))
    cases = [case for case in grid(row, modes, spoken) if _fits(case, spoken)]
    for full in _patterns(row, pattern):
        for case in cases:
            found.update(dict.fromkeys(_read(row, full, case)))
    return tuple(found)


def _patterns(row: SwitchRow, pattern: Pattern) -> Iterator[Pattern]:
    if row.kind != "slide":
        yield from ((shown,) for shown in (positions(row) if pattern == ("x",) else pattern))
        return
    yield from itertools.product(*(("off", "on") if bit == "x" else (bit,) for bit in pattern))


def _fits(case: Case, known: Case) -> bool:
    return all(getattr(known, item.name) is None or getattr(case, item.name) in (None, getattr(known, item.name))
               for item in fields(Case))


def _read(row: SwitchRow, pattern: Pattern, case: Case) -> Iterator[Reading]:
    choices: list[list[tuple[str, str | int | bool] | None]] = []
    covered: set[int] = set()
    for index, part in enumerate(row.parts):
        if _applies(part.when, case) is not True:
            continue
        places = part_switches(row, part)
        covered.update(places)
        bits = tuple(pattern[i] for i in places)
        meant = _decoder(_Key(row), index).get(bits, ())
        if not meant:
            return
        if part.sets == "nothing":
            if part.keep is None:
                choices.append([(_free_key(part), v) for v in meant])
            continue
        choices.append([(value_key(part), v) for v in meant])
    if len(covered) < row_length(row):
        return
    for picked in itertools.product(*choices):
        values = tuple(dict.fromkeys(p for p in picked if p is not None))
        if len({key for key, _ in values}) == len(values) and _consistent(row, case, dict(values)):
            yield Reading(case, values)


def _consistent(row: SwitchRow, case: Case, values: dict[str, str | int | bool]) -> bool:
    """A row that sets its own role, mode or group means the case in which it says so."""
    for key, have in (("role", case.role), ("mode", case.mode)):
        if have is not None and key in values and values[key] != have:
            return False
    if case.group is None or "group" not in values:
        return True
    wanted = [w for part in row.parts if (w := _wanted(part.when.group)) is not None]
    return all((case.group in w) == (values["group"] in w) for w in wanted)


def formula_differences(row: SwitchRow) -> tuple[tuple[str, Pattern, Pattern], ...]:
    """Return (value, printed pattern, pattern by the formula printed beside) wherever table and formula differ."""
    found = []
    for part in row.parts:
        code = part.code
        if code is None or code.table is None or code.formula is None:
            continue
        count = len(part_switches(row, part))
        for key, text in code.table.items():
            number = int(key) - (code.from_ or 0)
            by_formula = _binary(number, count, code.formula)
            if _table_pattern(row, text) != by_formula:
                found.append((key, _table_pattern(row, text), by_formula))
    return tuple(found)
