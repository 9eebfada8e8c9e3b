"""What a record says of power: resistances, switching of the BMS, protective devices, converters, conductors, bars.

Units stand in the field names. What may be estimated and what never is: power.md, "may be assumed" and "never assumed".
"""

from __future__ import annotations

from typing import Annotated

from interop.records.bind import Strict
from interop.records.facts import ABSENT, Fact, FactClass, FactType
from interop.records.leaves import (
    Expected,
    Leaf,
    Span,
    TimedCurrent,
    TimedPower,
    free_text,
    number,
    timed_current,
    timed_power,
    whole,
    word,
    yes_no,
)
from interop.standards.sizes import SIZE_EXPECTED, SizeError, parse_size

__all__ = ["BmsSwitching", "BuiltInDevice", "BusbarFacts", "Conductor", "Converter", "Electric", "Figure", "Terminals",
           "Trips", "YesNo", "deciding", "estimable", "size_leaf"]

YesNo = Annotated[Fact[bool], FactType(yes_no())]
Figure = Fact[float | Span]
Steps = Annotated[Fact[tuple[TimedCurrent, ...]], FactType(timed_current(), many=True)]


def deciding(low: float, high: float, unit: str, strict: str = "") -> FactType[float | Span]:
    """Return the type of a figure [unit] that may never be assumed; ``strict``: which end of a dispute is strict."""
    return FactType(number(low, high, unit), FactClass.DECIDING, strict=strict)


def estimable(low: float, high: float, unit: str) -> FactType[float | Span]:
    """Return the type of a figure [unit] for which a default range may stand."""
    return FactType(number(low, high, unit), FactClass.ESTIMABLE)


class BuiltInDevice(Strict):
    """A protective device built into the pack, or the device that the record describes.

    ``interrupts_ka`` holds at ``dc_v``; ``full_rating``: may carry its whole rating without end; ``curve``: currents
    with the longest time to open at each.
    """

    kind: Annotated[Fact[str], FactType(word("fuse", "breaker", "switch", "none"))] = ABSENT
    rating_a: Annotated[Figure, deciding(0, 10000, "A")] = ABSENT
    dc_v: Annotated[Figure, deciding(0, 1500, "V", "low")] = ABSENT
    interrupts_ka: Annotated[Figure, deciding(0, 1000, "kA", "low")] = ABSENT
    polarised: YesNo = ABSENT
    load_break: YesNo = ABSENT
    poles: Annotated[Fact[str], FactType(word("plus", "minus", "both"))] = ABSENT
    full_rating: YesNo = ABSENT
    mohm: Annotated[Figure, estimable(0.001, 1000, "mohm")] = ABSENT
    curve: Steps = ABSENT


class BmsSwitching(Strict):
    """How the BMS opens: which pole, by what, and what it does when cold."""

    opens: Annotated[Fact[str], FactType(word("plus", "minus", "both"))] = ABSENT
    by: Annotated[Fact[str], FactType(word("transistor", "contactor"))] = ABSENT
    when_cold: Annotated[Fact[str], FactType(word("blocks charge", "opens", "nothing"))] = ABSENT
    charge_and_discharge: Annotated[Fact[str], FactType(word("separately", "together"))] = ABSENT
    joining: Annotated[Fact[str], FactType(word("current limiter", "precharge", "nothing"))] = ABSENT
    breaks_ka: Annotated[Figure, deciding(0, 1000, "kA", "low")] = ABSENT


class Trips(Strict):
    """At what current, held for how long, the BMS opens: steps by direction, and the step for a short circuit."""

    charge: Steps = ABSENT
    discharge: Steps = ABSENT
    short_circuit: Annotated[Fact[TimedCurrent], FactType(timed_current())] = ABSENT


class Electric(Strict):
    """Electrical facts of a pack or converter: resistances [mohm], short-circuit current [A], capacitance [mF].

    ``dc_mohm``: 30 s and longer (sharing, drop); ``ohmic_mohm``: 10 ms (faults, inrush, surge); both between the
    terminals, at 25 C and half charge.
    """

    dc_mohm: Annotated[Figure, estimable(0.01, 10000, "mohm")] = ABSENT
    ohmic_mohm: Annotated[Figure, estimable(0.01, 10000, "mohm")] = ABSENT
    short_circuit_a: Annotated[Figure, estimable(0, 200000, "A")] = ABSENT
    input_capacitance_mf: Annotated[Figure, estimable(0, 1000, "mF")] = ABSENT
    bms: BmsSwitching = BmsSwitching.model_construct()
    trips: Trips = Trips.model_construct()
    built_in_device: BuiltInDevice | None = None


class Terminals(Strict):
    """Power terminals: stud, torque [Nm], largest cable, lugs on one stud, heater, fixing."""

    stud: Annotated[Fact[str], FactType(free_text(40))] = ABSENT
    torque_nm: Annotated[Figure, deciding(0.1, 200, "Nm")] = ABSENT
    largest_cable: Annotated[Fact[str], FactType(free_text(40))] = ABSENT
    lugs_on_one_stud: Annotated[Fact[int], FactType(whole(1, 12), strict="low")] = ABSENT
    rated_c: Annotated[Figure, deciding(40, 250, "C", "low")] = ABSENT
    heater: Annotated[Fact[str], FactType(free_text(80))] = ABSENT
    fixing: Annotated[Fact[str], FactType(free_text(80))] = ABSENT


class Converter(Strict):
    """How an inverter or charger takes and gives power, and which of its settings can be chosen.

    ``efficiency`` and ``idle_w`` at its rated power; ``surge_w`` at the other side; ``voltage_tolerance`` of its charge
    voltage as a share; ``equalise_off`` and ``compensation_off``: whether these can be switched off;
    ``ripple``: effective value of the alternating current that it draws from the battery, as a share of the direct
    current at rated power; ``voltage_limits``: what its own voltage settings do while it follows a manager;
    ``without_battery_v``: the highest voltage at its terminals when the battery is gone while it charges.
    """

    efficiency: Annotated[Figure, estimable(0.3, 1, "share")] = ABSENT
    idle_w: Annotated[Figure, estimable(0, 5000, "W")] = ABSENT
    surge_w: Annotated[Fact[TimedPower], FactType(timed_power())] = ABSENT
    isolated: YesNo = ABSENT
    voltage_tolerance: Annotated[Figure, estimable(0, 0.1, "share")] = ABSENT
    equalise_off: YesNo = ABSENT
    compensation_off: YesNo = ABSENT
    voltage_limits: Annotated[Fact[str], FactType(word("stay active", "ignored"))] = ABSENT
    charge_v: Annotated[Figure, deciding(1, 150, "V")] = ABSENT
    low_cut_v: Annotated[Figure, deciding(1, 150, "V")] = ABSENT
    ripple: Annotated[Figure, estimable(0, 2, "share")] = ABSENT
    without_battery_v: Annotated[Figure, deciding(1, 300, "V", "high")] = ABSENT
    current_settable: YesNo = ABSENT


def _size(text: str) -> str:
    try:
        return str(parse_size(text))
    except SizeError as bad:
        raise Expected(bad.expected) from None


def size_leaf() -> Leaf[str]:
    """Return the leaf of a conductor size in its canonical spelling: ``70 mm2``, ``2/0 AWG``, ``250 kcmil``."""
    return Leaf(_size, SIZE_EXPECTED, {"type": "string"})


class Conductor(Strict):
    """A cable for power sold as such: size, make of the strands, insulation, and the current it carries [A].

    ``ampacity_a`` holds at ``ambient_c`` [C] around it, laid as ``laid`` says.
    """

    size: Annotated[Fact[str], FactType(size_leaf())] = ABSENT
    strands: Annotated[Fact[str], FactType(word("class 5", "class 5 tinned", "stranded"))] = ABSENT
    insulation: Annotated[Fact[str], FactType(word("pvc", "xlpe", "rubber", "silicone"))] = ABSENT
    insulation_c: Annotated[Figure, deciding(40, 250, "C", "low")] = ABSENT
    ampacity_a: Annotated[Figure, deciding(1, 5000, "A", "low")] = ABSENT
    ambient_c: Annotated[Figure, deciding(-20, 80, "C")] = ABSENT
    laid: Annotated[Fact[str], FactType(word("free air", "enclosed"))] = ABSENT
    highest_v: Annotated[Figure, deciding(1, 3000, "V", "low")] = ABSENT


class BusbarFacts(Strict):
    """A busbar: current it carries [A], resistance from one post to the next [mohm], short-circuit current [kA]."""

    rating_a: Annotated[Figure, deciding(1, 20000, "A", "low")] = ABSENT
    step_mohm: Annotated[Figure, estimable(0.0001, 10, "mohm")] = ABSENT
    withstands_ka: Annotated[Figure, deciding(0.1, 1000, "kA", "low")] = ABSENT
    posts: Annotated[Fact[int], FactType(whole(1, 64))] = ABSENT
