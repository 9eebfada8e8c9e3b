"""Capability records: what one model and revision of device can do (pydantic models of the grammar).

Units stand in the field names (``_v``, ``_a``, ``_ah``, ``_mohm``, ``_ohm``, ``_c``, ``_s``); every leaf names its
class of fact.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from interop.records.bind import Strict
from interop.records.facts import ABSENT, ByCase, ByCaseType, Fact, FactType, OneOrMore, Plain
from interop.records.leaves import (
    TimedCurrent,
    free_text,
    identifier,
    span_numbers,
    timed_current,
    whole,
    whole_or,
    word,
)
from interop.records.power import (
    BuiltInDevice,
    BusbarFacts,
    Conductor,
    Converter,
    Electric,
    Figure,
    Terminals,
    YesNo,
    deciding,
    estimable,
)

__all__ = [
    "FIELDS",
    "AddressRule",
    "Bus",
    "Cells",
    "Follows",
    "Limits",
    "Line",
    "ManagerRule",
    "Mixing",
    "Part",
    "PartCode",
    "PartWhen",
    "Port",
    "Procedure",
    "Record",
    "Source",
    "SwitchRow",
    "Termination",
]

_NONE: ByCase[Any] = ByCase()

Name = Annotated[str, Plain(identifier())]
Words = Annotated[str, Plain(free_text())]
Pin = Annotated[str, Plain(free_text(12))]
Modes = list[Name]


class Source(Strict):
    """Where statements come from: ``says`` is how sure it is."""

    title: Words
    says: Annotated[str, Plain(word("stated", "measured", "practice", "inferred", "reported"))]
    date: Annotated[str, Plain(free_text(40))] | None = None


class Cells(Strict):
    """Cells of a pack. ``charge_v`` is the recommended charge voltage [V], ``charge_highest_v`` the most allowed."""

    chemistry: Annotated[Fact[str], FactType(word("lfp", "nmc", "nca", "lto", "lmo", "lead", "sodium"))] = ABSENT
    in_series: Annotated[Fact[int], FactType(whole(1, 48))] = ABSENT
    capacity_ah: Annotated[Figure, deciding(1, 5000, "Ah")] = ABSENT
    nominal_v: Annotated[Figure, deciding(1, 150, "V")] = ABSENT
    full_v: Annotated[Figure, deciding(1, 150, "V", "low")] = ABSENT
    charge_v: Annotated[Figure, deciding(1, 150, "V", "low")] = ABSENT
    charge_highest_v: Annotated[Figure, deciding(1, 150, "V", "low")] = ABSENT
    finish_v: Annotated[Figure, deciding(1, 150, "V", "high")] = ABSENT
    balance_v: Annotated[Figure, deciding(1, 150, "V", "high")] = ABSENT
    empty_v: Annotated[Figure, deciding(1, 150, "V", "high")] = ABSENT
    usable_share: Annotated[Figure, deciding(0.05, 1, "share")] = ABSENT


class Limits(Strict):
    """Limits of a pack or controller: currents [A], voltages [V], temperatures [C], packs in parallel."""

    charge_a: Annotated[Figure, deciding(0, 5000, "A", "low")] = ABSENT
    charge_peak_a: Annotated[Fact[TimedCurrent], FactType(timed_current())] = ABSENT
    discharge_a: Annotated[Figure, deciding(0, 5000, "A", "low")] = ABSENT
    discharge_peak_a: Annotated[Fact[TimedCurrent], FactType(timed_current())] = ABSENT
    charge_c: Annotated[Figure, deciding(-60, 100, "C")] = ABSENT
    discharge_c: Annotated[Figure, deciding(-60, 100, "C")] = ABSENT
    join_difference_v: Annotated[Figure, deciding(0, 60, "V", "low")] = ABSENT
    packs_on_busbar: Annotated[Fact[int], FactType(whole(1, 1000), strict="low")] = ABSENT
    same_model_on_busbar: Annotated[Fact[int], FactType(whole(1, 1000), strict="low")] = ABSENT
    all_packs_on_busbar: Annotated[Fact[int], FactType(whole(1, 1000), strict="low")] = ABSENT
    through_terminals_a: Annotated[Figure, deciding(0, 5000, "A", "low")] = ABSENT
    power_w: Annotated[Figure, deciding(0, 1000000, "W", "low")] = ABSENT
    lowest_v: Annotated[Figure, deciding(1, 150, "V", "high")] = ABSENT
    highest_v: Annotated[Figure, deciding(1, 150, "V", "low")] = ABSENT
    weight_kg: Annotated[Figure, deciding(0, 5000, "kg")] = ABSENT


class Termination(Strict):
    """Terminators of a bus: how fitted in this device, resistance [ohm], whether the ends need one."""

    fitted: Annotated[Fact[str], FactType(word("always", "by switch", "by plug", "never"))] = ABSENT
    ohm: Annotated[Figure, deciding(1, 10000, "ohm")] = ABSENT
    ends: Annotated[Fact[str], FactType(word("required", "not required", "forbidden", "only in open loop"))] = ABSENT


class Bus(Strict):
    """One bus of a device: kind, rates, dialects by mode, who asks on it, and its electrical limits."""

    kind: Annotated[Fact[str], FactType(word("rs-485", "can", "rs-232", "private"))] = ABSENT
    rates_bps: Annotated[Fact[tuple[int, ...]], FactType(whole(50, 10000000), many=True)] = ABSENT
    rate_set_by: Annotated[Fact[str], FactType(word("switch", "menu", "automatic", "fixed"))] = ABSENT
    dialect: Annotated[ByCase[tuple[str, ...]], ByCaseType(FactType(identifier("a dialect"), many=True))] = _NONE
    frame: Annotated[Fact[str], FactType(free_text(12))] = ABSENT
    isolated: YesNo = ABSENT
    nodes: Annotated[Fact[int], FactType(whole(1, 1024), strict="low")] = ABSENT
    unit_loads: Annotated[Figure, estimable(0.01, 32, "unit loads")] = ABSENT
    termination: Termination = Termination.model_construct()
    used_by: Annotated[str, Plain(word("all", "manager"))] = "all"
    poller: Annotated[Fact[str], FactType(word("manager", "controller", "nobody"))] = ABSENT
    identity: Annotated[Fact[str], FactType(word("by address", "one for all"))] = ABSENT
    modes: Modes | None = None
    hop: Annotated[str, Plain(word("one", "shared"))] = "shared"
    sockets: list[Name] | None = None
    codes: dict[Name, Words] = Field(default_factory=dict)


class Line(Strict):
    """A stop, enable, wake or direction line: how it acts, and how far it is carried."""

    does: Annotated[str, Plain(word("stop", "enable", "wake", "direction", "on off"))] | None = None
    contact: Annotated[
        Fact[str], FactType(word("closed to act", "open to act", "voltage to act", "no voltage to act"))
    ] = ABSENT
    level_v: Annotated[Figure, deciding(0, 100, "V")] = ABSENT
    pulse_s: Annotated[Figure, deciding(0, 600, "s")] = ABSENT
    drive: Annotated[Fact[str], FactType(word("passive", "driven"))] = ABSENT
    carried: Annotated[Fact[str], FactType(word("through every pack", "not carried"))] = ABSENT
    acts_on: Annotated[Fact[str], FactType(word("this pack", "all packs of the link"))] = ABSENT
    attach: Annotated[Fact[str], FactType(word("any pack", "last pack", "manager"))] = ABSENT
    wires: list[Name] = Field(min_length=1, max_length=4)
    modes: Modes | None = None


class Port(Strict):
    """A port: sockets (alike), plug, direction, how the sockets are joined inside, what the reference is tied to."""

    sockets: list[Name] = Field(min_length=1)
    plug: Annotated[Fact[str], FactType(identifier("a plug"))] = ABSENT
    poles: Annotated[Fact[int], FactType(whole(1, 50))] = ABSENT
    direction: Annotated[Fact[str], FactType(word("in", "out", "either"))] = ABSENT
    inside: Annotated[Fact[tuple[str, ...]], FactType(free_text(24), many=True)] = ABSENT
    reference: Annotated[Fact[str], FactType(word("isolated", "busbar minus", "cell minus", "unknown"))] = ABSENT
    shell: Annotated[Fact[str], FactType(word("none", "chassis", "reference", "unknown"))] = ABSENT
    isolated_from: list[Name] = Field(default_factory=list)
    """Other ports of this device from whose reference that of this one is isolated inside."""
    lands_on: Annotated[Fact[str], FactType(free_text(40))] = ABSENT
    group: Annotated[str, Plain(identifier())] | None = None
    unused_by: Annotated[str, Plain(word("members", "manager", "nobody"))] = "nobody"


class PartWhen(Strict):
    """The case in which a part of a switch row applies; every field named must fit."""

    role: Annotated[list[str] | str, OneOrMore(word("manager", "member", "unmanaged"))] | None = None
    mode: Name | None = None
    controller_bus: Annotated[str, Plain(word("can", "rs-485", "rs-232", "none"))] | None = None
    place: Annotated[list[str] | str, OneOrMore(word("first", "middle", "last", "only"))] | None = None
    group: Annotated[tuple[int, ...], Plain(span_numbers(0, 99))] | None = None
    count: Annotated[tuple[int, ...], Plain(span_numbers(0, 255))] | None = None


class Shown(Strict):
    """A number as shown on a menu or wheel against the number on the wire."""

    shown: Annotated[tuple[int, ...], Plain(span_numbers(0, 9999))]
    wire_from: Annotated[int, Plain(whole(0, 9999))]


class PartCode(Strict):
    """How a part codes its value: exactly one of binary, table, flag, one_of, number (``formula``: a second word)."""

    binary: Annotated[str, Plain(word("first is low", "last is low"))] | None = None
    from_: Annotated[int, Plain(whole(-255, 255))] | None = Field(default=None, alias="from")
    table: dict[Annotated[str, Plain(free_text(40))], Annotated[str, Plain(free_text(80))]] | None = None
    flag: Annotated[str, Plain(word("on", "off"))] | None = None
    one_of: list[Annotated[str, Plain(free_text(40))]] | None = None
    number: Shown | None = None
    formula: Annotated[str, Plain(word("first is low", "last is low"))] | None = None


_KEEP = "The state to leave switches in that set nothing: on or off, or one of the marks of a rotary, hex or menu row"


class Part(Strict):
    """One part of a switch row: which switches, what they set, by which code, in which case."""

    use: Annotated[str, Plain(free_text(80), "The numbers printed beside the switches, or all")]
    sets: Annotated[str, Plain(word("nothing", "address", "count of members", "count of packs", "group", "role", "rate",
                                    "dialect", "mode", "terminator"))]
    bus: Name | None = None
    code: PartCode | None = None
    keep: Annotated[str, Plain(free_text(40), _KEEP)] | None = None
    when: PartWhen = PartWhen.model_construct()


_PRINTED = ("The numbers printed beside the switches, from left to right with the row's own figures the right way up "
            "(from top to bottom where the switches stand one above the other)")
_ON_SIDE = ("The side to which a slider goes to be on, with the row's own figures the right way up. Where the row is "
            "mounted upside down, that is not the side seen with the device's label the right way up but the opposite "
            "one: do not turn it here, the setting sheets do")
_MOUNTED = ("How the row's own figures stand when the device's label is the right way up. Say upside down if they "
            "stand on their heads then; printed, on_side and every code are still told with the figures the right way "
            "up, and the setting sheets draw the row as it is seen, turned by half")


class SwitchRow(Strict):
    """A row of slide switches, a rotary or hex switch, or a menu value, as printed on the device.

    All of a row is told with its own figures the right way up; ``mounted`` alone says how it sits in the device.
    """

    kind: Annotated[str, Plain(word("slide", "rotary", "hex", "menu"))]
    printed: Annotated[tuple[int, ...], Plain(span_numbers(0, 64), _PRINTED)] | None = None
    on_side: Annotated[Fact[str], FactType(word("up", "down", "left", "right"), note=_ON_SIDE)] = ABSENT
    mounted: Annotated[str, Plain(word("upright", "upside down"), _MOUNTED)] = "upright"
    positions: Annotated[tuple[int, ...], Plain(span_numbers(0, 99))] | None = None
    takes_effect: Annotated[Fact[str], FactType(word("at once", "after restart"))] = ABSENT
    parts: list[Part] = Field(min_length=1)


class AddressRule(Strict):
    """Addresses on one bus: who gives them, which are allowed, the manager's, gaps, values kept for others."""

    given: Annotated[
        str, Plain(word("by switches", "by port order", "by direction pin", "by place", "none"))
    ] | None = None
    first: Annotated[str, Plain(word("manager", "member"))] | None = None
    allowed: Annotated[Fact[tuple[int, ...]], FactType(span_numbers(0, 255, "addresses"))] = ABSENT
    gaps: Annotated[Fact[str], FactType(word("allowed", "forbidden"))] = ABSENT
    start: Annotated[Fact[int], FactType(whole(0, 255))] = ABSENT
    manager: Annotated[ByCase[int | str], ByCaseType(FactType(whole_or("none", 0, 255)))] = _NONE
    kept_for: dict[Annotated[int, Plain(whole(0, 255))], Words] = Field(default_factory=dict)


class Reports(Strict):
    """What the manager reports to the controller."""

    charge_state: Annotated[
        Fact[str], FactType(word("lowest", "mean", "weighted mean", "highest", "own", "sum"))
    ] = ABSENT
    limits: Annotated[
        Fact[str], FactType(word("sum of members answering", "sum of all", "count times lowest", "own", "lowest"))
    ] = ABSENT
    current: Annotated[Fact[str], FactType(word("sum of members", "own"))] = ABSENT


class IfLost(Strict):
    """What happens when a member, the link or the manager is lost."""

    member: Annotated[Fact[str], FactType(free_text(80))] = ABSENT
    link: Annotated[Fact[str], FactType(free_text(80))] = ABSENT
    manager: Annotated[Fact[str], FactType(free_text(80))] = ABSENT


class ManagerRule(Strict):
    """What makes a pack the manager, how many members it can have, what it reports."""

    made_by: Annotated[
        Fact[str],
        FactType(word("address", "flag", "dialect code", "empty port", "place", "newest", "controller", "never")),
    ] = ABSENT
    port: Name | None = None
    members_at_most: Annotated[Fact[int], FactType(whole(0, 255), strict="low")] = ABSENT
    reports: Reports = Reports.model_construct()
    if_lost: IfLost = IfLost.model_construct()


class Procedure(Strict):
    """What must be done after or before an action."""

    after: Words | None = None
    before: Words | None = None
    do: Words


class Mixing(Strict):
    """One directed statement about this device with another; the first that matches holds. Silence is a value."""

    other: Words
    same_link: Annotated[str, Plain(word("yes", "no", "silent"))] = "silent"
    same_busbar: Annotated[str, Plain(word("yes", "no", "silent"))] | None = None
    in_mode: Name | None = None
    manager: Annotated[str, Plain(word("this", "other", "newest"))] | None = None
    firmware_minimum: Words | None = None
    special_cable: Words | None = None
    source: Annotated[str, Plain(free_text(80))] | None = None


class Follows(Strict):
    """How a controller obeys: managers at most, which unit takes the cable, what it does when the link is lost."""

    managers_at_most: Annotated[Fact[int], FactType(whole(0, 32), strict="low")] = ABSENT
    cable_lands_on: Annotated[Fact[str], FactType(free_text(40))] = ABSENT
    if_lost: Annotated[Fact[str], FactType(free_text(80))] = ABSENT
    local_limits: Annotated[Fact[str], FactType(word("lower of both", "ignored"))] = ABSENT
    own_address: Annotated[Fact[str], FactType(word("none", "above the last pack"))] = ABSENT


class CableType(Strict):
    """A made-up data cable sold as such: which pin joins which, and which conductors it has."""

    plug_a: Annotated[Fact[str], FactType(identifier("a plug"))] = ABSENT
    plug_b: Annotated[Fact[str], FactType(identifier("a plug"))] = ABSENT
    joined: dict[Annotated[str, Plain(free_text(8))], Annotated[str, Plain(free_text(8))]] = Field(default_factory=dict)


_MODE_SET_BY = ("What puts a pack into another mode than the first of its list, in which it is delivered: switch (a "
                "part that sets the mode), automatic, or in a few words what is to be done, which the sheets print")


class Record(Strict):
    """A capability record: one model and revision of pack, controller, hub, cable type or protective device."""

    interop: Annotated[str, Plain(word("record/1"))]
    kind: Annotated[str, Plain(word("pack", "controller", "charger", "hub", "splitter", "gateway", "terminator plug",
                                    "protective device", "busbar", "cable", "power cable", "load"))] = "pack"
    id: Name
    name: Words
    family: Name | None = None
    generation: Annotated[Fact[int], FactType(whole(0, 1000))] = ABSENT
    revision: Annotated[Fact[str], FactType(free_text(80))] = ABSENT
    firmware: Annotated[Fact[str], FactType(free_text(80))] = ABSENT
    levels: Words | None = None
    sources: dict[Name, Source] = Field(min_length=1)
    cells: Cells | None = None
    limits: Limits = Limits.model_construct()
    electric: Electric = Electric.model_construct()
    terminals: Terminals = Terminals.model_construct()
    modes: list[Name] = Field(default_factory=lambda: ["own"], min_length=1)
    mode_set_by: Annotated[Fact[str], FactType(free_text(120), note=_MODE_SET_BY)] = ABSENT
    buses: dict[Name, Bus] = Field(default_factory=dict)
    lines: dict[Name, Line] = Field(default_factory=dict)
    ports: dict[Name, Port] = Field(default_factory=dict)
    pins: dict[Name, dict[Pin, Annotated[Fact[tuple[str, ...]], FactType(free_text(60), many=True)]]] = Field(
        default_factory=dict)
    printed: dict[Name, dict[Pin, Annotated[str, Plain(free_text(24))]]] = Field(default_factory=dict)
    switches: dict[Name, SwitchRow] = Field(default_factory=dict)
    addresses: dict[Name, AddressRule] = Field(default_factory=dict)
    manager: ManagerRule = ManagerRule.model_construct()
    follows: Follows = Follows.model_construct()
    device: BuiltInDevice | None = None
    cable: CableType | None = None
    converter: Converter = Converter.model_construct()
    conductor: Conductor | None = None
    busbar: BusbarFacts | None = None
    procedures: list[Procedure] = Field(default_factory=list)
    with_: list[Mixing] = Field(default_factory=list, alias="with")


FIELDS = tuple(info.alias or name for name, info in Record.model_fields.items())
"""The fields of a record, as written."""
