"""Rules of the address subject about switch rows: what they can mean, what they set, and what must still be set."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.answers import Answer
from interop.records.facts import Fact
from interop.records.models import Bus
from interop.records.switches import Pattern, Reading, row_length
from interop.rules.address import unlooked_level
from interop.rules.finding import Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.link_segments import Node, Segment, segments
from interop.rules.wording import fact_missing, figure, joined, look_up, named, of_record, shown_pattern
from interop.wiring.faces import wire_pins
from interop.wiring.line import line_of
from interop.wiring.meanings import (
    Meaning,
    Standing,
    chain_names,
    has_meaning,
    known_case,
    meaning,
    pattern_of,
    read_row,
    reversed_addresses,
    standings,
)
from interop.wiring.stage import Stage, StageEnd, StageLink, StagePack

__all__: list[str] = []

_LOOK = "Look at every switch of these packs and write what is seen into the site file."
_ROLES = {"manager": "member", "member": "manager"}


def _rows(stage: Stage) -> Iterator[tuple[StagePack, str, Pattern]]:
    """Yield every row that stands somehow: seen (in part), or planned."""
    for pack in stage.packs.values():
        for name in pack.record.switches:
            pattern = pattern_of(stage, pack, name)
            if pattern is not None:
                yield pack, name, pattern


_Groups = dict[tuple[str, str, Pattern, str | None], list[StagePack]]


def _alike(stage: Stage) -> _Groups:
    """Group packs by record, row, pattern and role on one link, so that texts name them together."""
    found: _Groups = {}
    for pack, name, pattern in _rows(stage):
        found.setdefault((pack.record.id, name, pattern, pack.role), []).append(pack)
    return found


def _ids(packs: Sequence[StagePack]) -> tuple[str, ...]:
    return tuple(p.id for p in packs)


def _of(packs: Sequence[StagePack]) -> str:
    return of_record([p.device for p in packs])


def _answer(values: Sequence[bool]) -> Answer:
    """Holds if there is a meaning for every kind of bus that may lead to the controller, broken if for none."""
    if all(values):
        return Answer.HOLDS
    return Answer.CANNOT_TELL if any(values) else Answer.BROKEN


# ---- what a pattern can mean ----

@rule("pattern-unreadable", "address", broken=Level.STOP, unknown=Level.STOP,
      meaning="Switches stand in a pattern that has no meaning in any case.",
      source="record",
      explain="""The record names every legal pattern of a row: by its tables and codes, and by the switches that must
stay on or off. A pattern outside all of them is a slip of the hand, a row read upside down, or a record that does not
fit this revision. What the pack does then is not known. Look again with the label the right way up; if the pattern is
really so, compare the revision on the type plate with the record, and set the row anew.""")
def _unreadable(stage: Stage) -> Iterator[Hit]:
    for (record, row, pattern, _), packs in _alike(stage).items():
        for answer, same in _by_answer(stage, packs, row, pattern, any_role=True):
            text = f"Row {row} of {_of(same)} stands at {shown_pattern(pattern)}: {record} gives that no meaning"
            todo = "Look again with the label the right way up, then set the row anew."
            if answer is Answer.BROKEN:
                yield broken(_ids(same), text, todo, got=shown_pattern(pattern))
            elif answer is Answer.CANNOT_TELL:
                yield cannot_tell(_ids(same), f"{text} for some kinds of bus to the controller, and which it is, is "
                                  f"not known", todo,
                                  got=shown_pattern(pattern))


def _by_answer(stage: Stage, packs: Sequence[StagePack], row: str, pattern: Pattern, *,
               any_role: bool) -> Iterator[tuple[Answer, tuple[StagePack, ...]]]:
    found: dict[Answer, list[StagePack]] = {}
    for pack in packs:
        answer = _answer(list(has_meaning(stage, pack, row, pattern, any_role=any_role)))
        found.setdefault(answer, []).append(pack)
    yield from ((answer, tuple(same)) for answer, same in found.items())


@rule("role-switch-wrong", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="The switches of a pack say manager where it is a member, or member where it is the manager.",
      source="record",
      explain="""On some packs a switch, or a code that is not zero, makes the manager. With it on a member there are
two managers on the link; without it on the manager there is none, and the controller hears nobody. Set the row as the
sheet of the pack's role shows, and restart the pack as its manual says.""")
def _role(stage: Stage) -> Iterator[Hit]:
    for (record, row, pattern, role), packs in _alike(stage).items():
        judged = [p for p in packs if (link := stage.link_of.get(p.id)) is not None and link.judged]
        if role not in _ROLES or not judged:
            continue
        text = f"Row {row} of {_of(judged)} stands at {shown_pattern(pattern)}"
        if "x" in pattern and _role_open(judged[0], row, pattern, stage):
            yield cannot_tell(_ids(judged), f"{text}: whether that is a {role}'s cannot be told, not every switch "
                              f"was looked at",
                              _LOOK, level=unlooked_level(stage), got=shown_pattern(pattern))
            continue
        for answer, same in _by_answer(stage, judged, row, pattern, any_role=False):
            readable = _answer(list(has_meaning(stage, same[0], row, pattern, any_role=True)))
            if answer is Answer.HOLDS or readable is Answer.BROKEN:
                continue
            make = broken if answer is Answer.BROKEN else cannot_tell
            names = named(_ids(same))
            yield make(_ids(same), f"Row {row} of {_of(same)} stands at {shown_pattern(pattern)}, which {record} "
                       f"reads as a {_ROLES[role]}'s; {names} "
                       f"{'is the manager' if role == 'manager' else 'must be a member'}",
                       f"Set the row as for a {role} and restart the pack.", got=f"a {_ROLES[role]}'s pattern",
                       limit=f"a {role}'s")


def _role_open(pack: StagePack, row: str, pattern: Pattern, stage: Stage) -> bool:
    """Whether some way to fill in the switches nobody looked at makes the row mean the other role alone."""
    from dataclasses import replace

    case = known_case(stage, pack)
    for full in _filled(pattern):
        mine = read_row(pack.record, row, full, case)
        other = read_row(pack.record, row, full, replace(case, role=_ROLES[str(pack.role)]))
        if other and not mine:
            return True
    return False


def _filled(pattern: Pattern) -> Iterator[Pattern]:
    import itertools

    if len(pattern) == 1 or pattern.count("x") > 12:
        return
    yield from itertools.product(*(("off", "on") if bit == "x" else (bit,) for bit in pattern))


@rule("pattern-ambiguous", "address", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="One pattern of the switches means two values: two rows of a printed table are equal.",
      source="record",
      explain="""The printed table gives the same pattern twice, a misprint that no check of ours can settle. Which of
the two values the pack takes shows only in what it answers to. Use a pattern that stands in the table once, or read
the pack's address with the maker's tool before it joins others on a link.""")
def _ambiguous(stage: Stage) -> Iterator[Hit]:
    for (record, row, pattern, _), packs in _alike(stage).items():
        if "x" in pattern:
            continue
        twice = _two_values(read_row(packs[0].record, row, pattern, known_case(stage, packs[0])))
        for key, values in twice.items():
            yield broken(_ids(packs), f"Row {row} of {_of(packs)} stands at {shown_pattern(pattern)}, which the "
                         f"table of {record} prints for {key} {joined([str(v) for v in values])}",
                         "Use a pattern that the table prints once, or read the value with the maker's tool.",
                         got=shown_pattern(pattern), limit="one value a pattern")


def _two_values(meant: Sequence[Reading]) -> dict[str, tuple[object, ...]]:
    """Keys that have several values in one and the same case."""
    found: dict[tuple[object, str], dict[object, None]] = {}
    for one in meant:
        for key, value in one.values:
            if not key.startswith("free "):
                found.setdefault((one.case, key), {})[value] = None
    return {key: tuple(values) for (_, key), values in found.items() if len(values) > 1}


@rule("pattern-reversed", "address", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="A pattern does not fit the link, but read from its other end it fits the one gap exactly.",
      source="common practice",
      explain="""Most rows count from the first switch, some from the last, and a row that hangs upside down is easily
read from the wrong end. Here the address as set leaves a hole among the others, and the same switches read from the
other end fill it. Look at the numbers printed beside the switches and at the side that is on, then set the row as the
sheet shows.""")
def _reversed(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        held = standings(stage, link) if link.judged else ()
        if len(held) < 2 or any(s.only is None for s in held) or _gapless(s.only for s in held):
            continue
        for one in held:
            others = [s.only for s in held if s is not one]
            for row, pattern, turned, value in reversed_addresses(stage, one) if one.switched else ():
                if _gapless([*others, value]):
                    yield _reversed_hit(link, one, row, pattern, turned, value)


def _gapless(values: Sequence[int | None] | Iterator[int | None]) -> bool:
    found = sorted(v for v in values if v is not None)
    return bool(found) and found == list(range(found[0], found[0] + len(found)))


def _reversed_hit(link: StageLink, one: Standing, row: str, pattern: Pattern, turned: Pattern, value: int) -> Hit:
    return broken((one.pack.id,), f"Row {row} of {_of([one.pack])} stands at {shown_pattern(pattern)}, address "
                  f"{one.only}; read from the other end, {shown_pattern(turned)}, it is address {value}, the one "
                  f"that is missing on link {link.id}",
                  "Look at the numbers printed beside the switches and at the side that is on; set "
                  f"{shown_pattern(turned)}.",
                  got=f"address {one.only}", limit=f"address {value}")


# ---- what must still be set ----

@rule("setting-differs", "address", broken=Level.NOTE, unknown=Level.NOTE,
      meaning="The switches of an installed pack do not stand as planned: work to do, or look before you change.",
      source="common practice",
      explain="""The plan wants this row in another position than it was found in, or nobody has written down how it
stands. Change switches only as the pack's manual says, most often with the pack off, and restart it afterwards.
Before touching a row that nobody looked at, write down how it stands: it is the only way back.""")
def _differs(stage: Stage) -> Iterator[Hit]:
    if stage.name != "planned":
        return
    unseen: dict[tuple[str, str, Pattern | None], list[StagePack]] = {}
    for pack, row, pattern in _rows(stage):
        if pack.device.new:
            continue
        was = pack.device.found.patterns.get(row) if pack.device.found is not None else None
        if was is None or "x" in was:
            seen = was if was is not None and set(was) != {"x"} else None
            unseen.setdefault((pack.record.id, row, seen), []).append(pack)
        elif was != pattern:
            yield broken((pack.id,), f"Row {row} of {_of([pack])} was found at {shown_pattern(was)}; the plan sets "
                         f"{shown_pattern(pattern)}{_moves(pack, row, was, pattern)}", "Set the row as its sheet "
                         "shows.",
                         got=shown_pattern(was), limit=shown_pattern(pattern))
    for (_, row, seen), packs in unseen.items():
        stands = "not written down" if seen is None else f"written down in part only, as {shown_pattern(seen)}"
        yield cannot_tell(_ids(packs), f"How row {row} of {_of(packs)} stands is {stands}, so what changes cannot be "
                          f"told",
                          "Look before you change, and write down what is seen.")


def _moves(pack: StagePack, row: str, was: Pattern, now: Pattern) -> str:
    from interop.records.switches import row_numbers

    if row_length(pack.record.switches[row]) < 2:
        return ""
    printed = row_numbers(pack.record.switches[row])
    moved = [f"{printed[i]} {b}" for i, (a, b) in enumerate(zip(was, now, strict=True)) if a != b]
    return f": switch {joined(moved)}"


# ---- values that follow from the rest of the link ----

def _judge(meant: Meaning, wanted: object) -> Answer:
    """Return whether what the switches mean is what is wanted."""
    if wanted not in meant.values:
        return Answer.BROKEN
    return Answer.HOLDS if len(meant.values) == 1 else Answer.CANNOT_TELL


def _stale(stage: Stage, packs: Sequence[StagePack], meant: Meaning, wanted: object, text: str, todo: str, unit: str,
           about: tuple[str, ...] = ()) -> Iterator[Hit]:
    answer = _judge(meant, wanted)
    if answer is Answer.HOLDS or not meant.values:
        return
    got = " or ".join(_value(v, unit) for v in sorted(meant.values, key=str))
    about = (*_ids(packs), *about)
    if answer is Answer.BROKEN:
        yield broken(about, f"{text.format(got=got)}", todo, got=got, limit=_value(wanted, unit))
    else:
        unseen = "" if meant.looked else "not every switch was looked at, "
        few = got if len(meant.values) <= 4 else f"one of {len(meant.values)} values"
        yield cannot_tell(about, f"{text.format(got=few)}: {unseen}so whether it fits cannot be told", _LOOK, got=few,
                          limit=_value(wanted, unit), level=None if meant.looked else unlooked_level(stage))


def _value(value: object, unit: str) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    return f"{figure(float(str(value)))} {unit}" if unit else str(value)


@rule("count-stale", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="The manager's switches give another number of packs than the link has.",
      source="record",
      explain="""Some managers are told by switches how many packs to ask. After an extension the old number stands:
the packs beyond it are on the busbar and carry current, but nobody reads them; too large a number makes the manager
report packs that never answer. Set the number that the sheet shows, and restart the manager as its manual says.""")
def _count(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        pack = stage.packs.get(link.manager or "")
        if not link.judged or pack is None:
            continue
        for key, wanted in (("count of members", len(link.packs) - 1), ("count of packs", len(link.packs))):
            meant = meaning(stage, pack, key)
            if meant is not None:
                yield from _stale(stage, [pack], meant, wanted, f"Manager {_of([pack])} has its {key} set to "
                                  f"{{got}}; link {link.id} has {wanted}", f"Set it to {wanted} and restart it.", "")


@rule("rate-stale", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="Switches set a bus to another rate than the rest of the bus has.",
      source="record",
      explain="""Devices on one bus must all speak at one rate; at another rate a device hears noise and disturbs the
rest. 250 against 500 kbit/s on the bus to the controller is the common case: the manager is set for another make. Set
every rate switch of the link to the rate that the sheet names, and restart the packs as their manuals say.""")
def _rate(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        if link.judged:
            packs = [stage.packs[p] for p in link.packs if p in stage.packs]
            yield from _chain_rates(stage, link, packs)
            yield from _report_rates(stage, link)


def _chain_rates(stage: Stage, link: StageLink, packs: Sequence[StagePack]) -> Iterator[Hit]:
    set_to: dict[str, tuple[Meaning, str]] = {}
    for pack in packs:
        for bus in chain_names(link, pack):
            meant = meaning(stage, pack, f"rate {bus}")
            if meant is not None:
                set_to[pack.id] = (meant, bus)
    if not set_to:
        return
    if link.chain is not None:
        for pack in packs:
            if pack.id in set_to:
                meant, bus = set_to[pack.id]
                yield from _stale(stage, [pack], meant, link.chain.rate_bps, f"{_of([pack])} sets bus {bus} to "
                                  f"{{got}}; link {link.id} has {figure(link.chain.rate_bps)} bit/s",
                                  "Set the rate of the link.", "bit/s")
        return
    yield from _unlike_rates(stage, link, packs, set_to)


def _unlike_rates(stage: Stage, link: StageLink, packs: Sequence[StagePack],
                  set_to: dict[str, tuple[Meaning, str]]) -> Iterator[Hit]:
    """Where no common rate is known: compare what every pack is set to, or can only speak."""
    can: dict[str, frozenset[int]] = {}
    unknown: list[tuple[StagePack, str, Fact[tuple[int, ...]]]] = []
    for pack in packs:
        if pack.id in set_to:
            can[pack.id] = frozenset(int(v) for v in set_to[pack.id][0].values)
            continue
        names = chain_names(link, pack)
        bus: Bus | None = pack.record.buses[names[0]] if names else None
        if bus is not None and bus.rates_bps.known:
            can[pack.id] = frozenset(r for rates in bus.rates_bps.values for r in rates)
        elif bus is not None:
            unknown.append((pack, names[0], bus.rates_bps))
    common = frozenset[int].intersection(*can.values())
    groups: dict[frozenset[int], list[StagePack]] = {}
    for pack in packs:
        if pack.id in can:
            groups.setdefault(can[pack.id], []).append(pack)
    says = joined([f"{_of(held)} {' or '.join(figure(r) for r in sorted(rates))} bit/s" for rates,
                   held in groups.items()])
    if not common:
        yield broken([p.id for p in packs], f"Link {link.id} has no rate of its own: {says}", "Set every pack to one "
                     "rate.", got=says)
    elif unknown or len(common) > 1 or any(len(meant.values) > 1 for meant, _ in set_to.values()):
        facts = tuple(dict.fromkeys(fact_used(p.device, f"buses.{b}.rates_bps", f) for p, b, f in unknown))
        lookups = " ".join(dict.fromkeys(look_up(p.record.id, f"buses.{b}.rates_bps", f) for p, b, f in unknown))
        yield cannot_tell([p.id for p in packs], f"Whether the packs of link {link.id} speak at one rate cannot be "
                          f"told: {says}",
                          lookups or _LOOK, facts=facts, level=unlooked_level(stage) if not unknown else None)


def _report_rates(stage: Stage, link: StageLink) -> Iterator[Hit]:
    pack = stage.packs.get(link.manager or "")
    if pack is None or not link.reports_to:
        return
    for name, bus in pack.record.buses.items():
        meant = meaning(stage, pack, f"rate {name}") if bus.used_by == "manager" else None
        if meant is None:
            continue
        if link.report is not None:
            yield from _stale(stage, [pack], meant, link.report.rate_bps, f"{_of([pack])} sets bus {name} to "
                              f"{{got}}; {named(link.reports_to)} has {figure(link.report.rate_bps)} bit/s",
                              "Set the rate of the controller.",
                              "bit/s", link.reports_to)
            continue
        yield from _controller_rates(stage, link, pack, name, meant)


def _controller_rates(stage: Stage, link: StageLink, pack: StagePack, name: str, meant: Meaning) -> Iterator[Hit]:
    """Where no common talk is known: compare with every rate that the controller's buses of this kind can have."""
    kind = pack.record.buses[name].kind.only
    for controller in link.reports_to:
        device = stage.device(controller)
        buses = {n: b for n, b in device.record.buses.items() if kind is None or b.kind.only in (kind, None)}
        rates = {r for b in buses.values() for v in b.rates_bps.values for r in v}
        sure = kind is not None and all(b.kind.only is not None and b.rates_bps.known for b in buses.values())
        fits = {int(v) for v in meant.values} & rates
        if sure and fits and len(meant.values) == 1:
            continue
        got = named([figure(float(str(v))) for v in sorted(meant.values, key=str)])
        have = named([figure(r) for r in sorted(rates)])
        says = f"has {have} bit/s" if have else "states no rate"
        text = f"{_of([pack])} sets bus {name} to {got} bit/s; {controller} ({device.record.id}) {says}"
        facts = tuple(fact_used(device, f"buses.{n}.rates_bps", b.rates_bps) for n, b in buses.items())
        if sure and not fits:
            yield broken((pack.id, controller), text, "Set the rate of the controller.", got=f"{got} bit/s",
                         limit=f"{have} bit/s",
                         facts=facts)
        else:
            yield cannot_tell((pack.id, controller), f"{text}: whether they are the same cannot be told",
                              "Look at the switches, and look up kind and rate of the buses in both manuals.",
                              facts=facts)


@rule("terminator-stale", "address", broken=Level.CAUTION, unknown=Level.CAUTION,
      meaning="A terminator switch does not fit the pack's place on the bus.",
      source="TIA-485-A and ISO 11898-2: terminators at the two ends of the bus and nowhere else; record",
      explain="""Terminators belong at the two ends of a bus. When a chain grows, the pack that was its end stands in
the middle, and its switch is easily forgotten: with every terminator too many the signal gets weaker until far packs
drop out; without one at an end it echoes. Set the switches by place, as the sheets show.""")
def _terminator(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        if not link.judged or (stage.name == "found" and not stage.cables_known and len(link.packs) < 2):
            continue
        nowhere: list[StagePack] = []
        for pack in (stage.packs[p] for p in link.packs if p in stage.packs):
            for name in chain_names(link, pack):
                meant = meaning(stage, pack, f"terminator {name}")
                if meant is None or not meant.values:
                    continue
                if _at_end(stage, link, pack, name) is None and (pack.id, name) not in stage.terminators:
                    nowhere += [] if stage.cables_known else [pack]     # a socket without a cable has no bus to end
                else:
                    yield from _terminator_hits(stage, link, pack, name, meant)
        if nowhere and stage.name == "found":
            yield cannot_tell(_ids(nowhere), f"Whether the terminators of {_of(nowhere)} fit their places on link "
                              f"{link.id} cannot be told: no data cables are written", "Write down the data cables.")


def _terminator_hits(stage: Stage, link: StageLink, pack: StagePack, name: str, meant: Meaning) -> Iterator[Hit]:
    at_end = _at_end(stage, link, pack, name)
    fact, path = pack.record.buses[name].termination.ends, f"buses.{name}.termination.ends"
    where = {True: "at an end of", False: "in the middle of", None: "on"}[at_end]
    head = f"Terminator of bus {name} of {_of([pack])}, {where} link {link.id}, is set {{got}}"
    wanted = stage.terminators.get((pack.id, name))
    bus = _bus(stage, link, pack, name)
    if wanted is None and bus is not None and bus[0].at_odds is Answer.BROKEN:
        return  # told by the rule on what the records ask; neither way can be ordered
    asked = fact.only if bus is None else bus[0].asks(bus[1])
    got = joined([_value(v, "") for v in sorted(meant.values, key=str)])
    if wanted is None and at_end and asked is None:
        yield cannot_tell((pack.id,), f"{head.format(got=got)}: {fact_missing(pack.record.id, path, fact)}",
                          look_up(pack.record.id, path, fact), facts=(fact_used(pack.device, path, fact),))
        return
    if wanted is None and at_end and asked == "not required":
        wishes = bus[0].wishes if bus is not None else set()
        if "required" not in wishes:
            if bus is not None and None in wishes and False in meant.values:
                yield _others_open(bus[0], pack, head.format(got=got))
            return
        asked = "required"  # a bus wants what any of its nodes requires
    if wanted is None:
        wanted = bool(at_end) and asked == "required"
    yield from _stale(stage, [pack], meant, wanted, f"{head}; there it must be {_value(wanted, '')}",
                      f"Set it {_value(wanted, '')}.", "")


def _bus(stage: Stage, link: StageLink, pack: StagePack, name: str) -> tuple[Segment, Node] | None:
    """The bus that packs share on a link and the node of this pack on it; None where there is none or it is one hop."""
    if pack.record.buses[name].hop == "one":
        return None
    nodes = ((seg, node) for seg in segments(stage) if seg.link is link for node in seg.nodes)
    return next(((seg, node) for seg, node in nodes if (node.device, node.name) == (pack.id, name)), None)


def _others_open(seg: Segment, pack: StagePack, head: str) -> Hit:
    """A pack that needs no terminator itself, at the end of a bus of which others may need one."""
    facts = tuple(dict.fromkeys(n.fact("ends") for n in seg.nodes if seg.asks(n) is None))
    records = named(dict.fromkeys(f.record for f in facts))
    return cannot_tell((pack.id,), f"{head}: whether {records} needs a terminator at each end is not known",
                       "Look in the manual for the last pack of the row.", facts=facts)


def _at_end(stage: Stage, link: StageLink, pack: StagePack, name: str) -> bool | None:
    """Return whether a pack is at an end of its bus by the cables; None where no cable says so."""
    bus = pack.record.buses[name]
    line = line_of(stage, link)
    mine = [c for c in (line.cables if line is not None else ()) if pack.id in (c.a.device, c.b.device)]
    if bus.hop == "one" and stage.cables_known:
        ends = [end for c in mine for end in (c.a, c.b) if end.device == pack.id]
        return True if any(_on_hop(pack, name, end) for end in ends) else None
    if not stage.cables_known or not mine:
        return None
    return len(mine) == 1


def _on_hop(pack: StagePack, name: str, end: StageEnd) -> bool:
    """Whether a cable's end may be on a bus of one hop: in one of its sockets, or in one that nobody wrote down."""
    sockets = pack.record.buses[name].sockets
    if end.socket is not None and sockets is not None:
        return end.socket in sockets
    return end.port is None or bool(wire_pins(pack.record, end.port, name, None))
