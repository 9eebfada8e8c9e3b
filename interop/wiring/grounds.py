"""Grounds that may be one inside a device: isolated references of several ports, where no record keeps them apart."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence

from interop.unchanging import unchanging
from interop.wiring.contacts import Cause, Held, Net, NodeFault, Reference, Shell, node_faults
from interop.wiring.faces import ground_of, port_of_socket
from interop.wiring.groups import Groups
from interop.wiring.once import once
from interop.wiring.stage import Stage, StageCable

__all__ = ["MayMeet", "held_with", "may_meet"]

Key = tuple[str, str]
"""A device, and the name of an isolated ground of it."""


@unchanging(eq=False)
class MayMeet:
    """Two references that meet only if isolated ports share their ground: the fault, the ports between (device, port),
    the cables of all nets.
    """

    fault: NodeFault
    through: tuple[tuple[str, str], ...]
    cables: tuple[StageCable, ...]


def _grounds(stage: Stage, held: Iterable[Held]) -> dict[Key, tuple[str, str]]:
    """The isolated grounds on a net, each with the device and port it stands at."""
    found: dict[Key, tuple[str, str]] = {}
    for one in held:
        if one.contact == Reference("isolated"):
            record = stage.device(one.spot.device).record
            port = port_of_socket(record, one.spot.socket)
            ground = ground_of(record, port) if port is not None else None
            if port is not None and ground is not None:
                found.setdefault((one.spot.device, ground), (one.spot.device, port))
    return found


def _groups(stage: Stage) -> list[list[int]]:
    """The nets that are one if grounds are shared, several at a time."""
    joined: Groups[Hashable] = Groups((number, key) for number, (_, net) in enumerate(stage.nets)
                                      for key in _grounds(stage, net.held))
    groups = ([one for one in group if isinstance(one, int)] for group in joined.groups())
    return [sorted(group) for group in groups if len(group) > 1]


@once
def may_meet(stage: Stage) -> tuple[MayMeet, ...]:
    """Return the references that must not meet and do where isolated ports of one device share their ground."""
    found = []
    for group in _groups(stage):
        nets = [stage.nets[number] for number in group]
        held = [one for _, net in nets for one in net.held if isinstance(one.contact, Reference | Shell)]
        where = {one.spot: number for number, (_, net) in zip(group, nets, strict=True) for one in net.held}
        faults = [f for f in node_faults(held) if f.cause in (Cause.GROUND_BYPASSES, Cause.GROUND_MEETS_EARTH)]
        apart = [f for f in faults if where[f.first.spot] != where[f.second.spot]]
        cables = tuple(dict.fromkeys(cable for mine, _ in nets for cable in mine))
        found += [MayMeet(fault, _between(stage, nets), cables) for fault in apart]
    return tuple(found)


def _between(stage: Stage, nets: Sequence[tuple[tuple[StageCable, ...], Net]]) -> tuple[tuple[str, str], ...]:
    """The ports whose ground may join nets of a group: those whose ground stands on two of them."""
    seen: dict[Key, dict[tuple[str, str], None]] = {}
    for _, net in nets:
        for key, at in _grounds(stage, net.held).items():
            seen.setdefault(key, {})[at] = None
    return tuple(dict.fromkeys(at for ports in seen.values() if len(ports) > 1 for at in ports))


def held_with(stage: Stage, held: Sequence[Held]) -> tuple[Held, ...]:
    """Return what else may be on the nets of these pins: all on nets that may share an isolated ground with them."""
    keys = set(_grounds(stage, held))
    more: dict[Held, None] = {}
    grown = True
    while grown:
        grown = False
        for _, net in stage.nets:
            here = set(_grounds(stage, net.held))
            if keys & here and not all(one in more for one in net.held):
                more.update(dict.fromkeys(net.held))
                keys |= here
                grown = True
    return tuple(one for one in more if one not in held)
