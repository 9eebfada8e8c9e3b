"""The smallest fault that a device in a run has to clear, and whether its conductors live through it.

power.md §6: a bolted short at the far end of the run, fed by the one pack that is farthest, everything at the high end
of its resistance, the pack nearly empty. The way through both poles is the one of least resistance, so that in a mesh
the true fault is larger still.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interop.circuit.bank import POLES, conductor_of, run_name, terminal
from interop.circuit.feeds import PROTECTING
from interop.circuit.picture import LOW_STATE
from interop.records.answers import Answer
from interop.standards.devices import withstand_i2t_a2s
from interop.standards.sizes import parse_size
from interop.unchanging import unchanging
from interop.wiring.groups import distances, near_of
from interop.wiring.once import once

if TYPE_CHECKING:
    from collections.abc import Mapping

    from interop.circuit.bank import DeviceSpot
    from interop.circuit.picture import Picture
    from interop.records.leaves import TimedCurrent

__all__ = ["Smallest", "opens_after_s", "smallest_faults"]


@unchanging(eq=False)
class Smallest:
    """The smallest fault through one device [A] with everything at its highest resistance, and at the nominal one.

    ``seconds``: the longest time to open at the first of them; infinite: it need not open at all; None: no curve is
    stated. ``withstands_a2s``: what the thinnest conductor of the run lives through; None: not known, ``silent`` says
    why. ``answer``: whether the device opens before the conductor suffers.
    """

    spot: DeviceSpot
    fed_by: str
    amps: float
    usual_a: float
    seconds: float | None
    withstands_a2s: float | None
    silent: str
    answer: Answer


def opens_after_s(curve: tuple[TimedCurrent, ...], amps: float) -> float:
    """Return the longest time [s] to open at a current: that of the largest stated current not above it."""
    below = [(step.amps, step.seconds) for step in curve if step.amps <= amps]
    return max(below)[1] if below else float("inf")


@once
def smallest_faults(picture: Picture) -> tuple[Smallest, ...]:
    """Return the smallest fault of every fuse and breaker in a run of the bank that some pack can feed."""
    asked = [(spot, facts) for spot in picture.bank.devices if (facts := spot.device.loaded.record.device) is not None
             and facts.kind.only in PROTECTING]
    if not asked:
        return ()
    ways = [_ways(picture, which) for which in ("high", "nominal")]
    emf = picture.emf_v(LOW_STATE)
    found = []
    for spot, facts in asked:
        loops = [_farthest(picture, way, spot) for way in ways]
        if loops[0] is None or loops[1] is None:
            continue
        (ohm, pack), (usual_ohm, _) = loops[0], loops[1]
        volts = float(emf[picture.of_pack[pack]])
        amps, usual_a = volts / ohm, volts / usual_ohm
        withstands, silent = _withstands(spot)
        curve = facts.curve.only
        seconds = None if curve is None else opens_after_s(curve, amps)
        if curve is None or withstands is None:
            answer = Answer.CANNOT_TELL
        elif amps**2 * opens_after_s(curve, amps) <= withstands:
            answer = Answer.HOLDS
        else:
            usual = usual_a**2 * opens_after_s(curve, usual_a) > withstands
            answer = Answer.BROKEN if usual else Answer.CANNOT_TELL
        found.append(Smallest(spot, pack, amps, usual_a, seconds, withstands, silent, answer))
    return tuple(found)


def _withstands(spot: DeviceSpot) -> tuple[float | None, str]:
    """What the thinner of both poles lives through [A2 s]; several conductors share it evenly, so each is asked for."""
    least: float | None = None
    for pole in POLES:
        wired = getattr(spot.run, pole)
        size = conductor_of(wired)
        conductor = None if wired.cable is None else wired.cable.record.conductor
        insulation = None if conductor is None else conductor.insulation.only
        if size is None or insulation is None or insulation == "silicone":
            name = "the record of its cable" if wired.cable is None else f"{wired.cable.record.id} conductor.insulation"
            return None, name
        one = withstand_i2t_a2s(parse_size(size), insulation)
        if one is None:
            return None, f"what {size} of {insulation} withstands"
        whole = one * wired.parallel**2
        least = whole if least is None else min(least, whole)
    return least, ""


def _ways(picture: Picture, which: str) -> Mapping[str, Mapping[str, float]]:
    """Ohms from each pack's terminals to every node of the same pole, by the way of least resistance."""
    near = {pole: near_of((one.a, one.b, float(getattr(one.ohms, which))) for one in picture.bank.branches
                          if one.pole == pole) for pole in POLES}
    ways: dict[str, Mapping[str, float]] = {}
    for device, ohms in zip(picture.bank.packs, picture.bank.ohmic, strict=True):
        both: dict[str, float] = {}
        for pole in POLES:
            both |= distances(near[pole], terminal(device.id, pole))
        ways[device.id] = both | {"": getattr(ohms, which)}
    return ways


def _farthest(picture: Picture, ways: Mapping[str, Mapping[str, float]],
              spot: DeviceSpot) -> tuple[float, str] | None:
    """The largest loop [ohm] that one pack alone closes through the whole run, and that pack."""
    bank = picture.bank
    ends = []
    for pole in POLES:
        rows = bank.of_run[run_name(spot.run), pole]
        ends.append((bank.branches[rows[0]].a, bank.branches[rows[-1]].b))
    loops = []
    for name, way in ways.items():
        sides = [max((way[node] for node in pair if node in way), default=None) for pair in ends]
        if sides[0] is not None and sides[1] is not None:
            loops.append((way[""] + sides[0] + sides[1], name))
    return max(loops, default=None)
