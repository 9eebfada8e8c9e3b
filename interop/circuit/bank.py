"""From the site to a network: the runs, busbars, packs and converters of one bank as nodes, branches, packs and ports.

What is not said of a run and may not be assumed (its length, its conductor) is listed; then there is no network.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

from interop.circuit.network import Network
from interop.circuit.pieces import Ohms, bar_ohms, cable_ohms, device_ohms, pack_ohms
from interop.records.catalog import LoadedRecord
from interop.site.site import Device, InRun, Pole, Run, Site
from interop.unchanging import unchanging
from interop.wiring.groups import Groups
from interop.wiring.once import once
from interop.wiring.stage import Stage

__all__ = ["POLES", "Bank", "Branch", "DeviceSpot", "PortSpot", "bank_network", "banks_drawn", "undrawn"]

POLES = ("plus", "minus")


@unchanging
class Branch:
    """One branch: its run or busbar, pole, what it is (cable, device, bar), its nodes and resistance [ohm]."""

    name: str
    owner: str
    pole: str
    what: str
    a: str
    b: str
    ohms: Ohms


@unchanging(eq=False)
class DeviceSpot:
    """A protective device in the network: run and pole, its branch, and what it is."""

    run: Run
    pole: str
    index: int
    branch: str
    device: InRun

    @property
    def name(self) -> str:
        """How it is told: model, run and pole; its number from the source where its like stands there too."""
        record = self.device.loaded.record.id
        pole: Pole = getattr(self.run, self.pole)
        alike = sum(held.loaded.record.id == record for held in pole.devices)
        number = f" no. {self.index + 1}" if alike > 1 else ""
        return f"{record}{number} in the {self.pole} of {run_name(self.run)}"


@unchanging
class PortSpot:
    """Where a controller, charger or load hangs: device and unit (from 1)."""

    name: str
    device: Device
    unit: int


@unchanging(eq=False)
class Bank:
    """One bank as it is drawn. ``branches`` in the order of the network's; ``devices`` by run, plus before minus."""

    packs: tuple[Device, ...]
    runs: tuple[Run, ...]
    branches: tuple[Branch, ...]
    devices: tuple[DeviceSpot, ...]
    ports: tuple[PortSpot, ...]
    pack_ohms: tuple[Ohms, ...]
    ohmic: tuple[Ohms, ...]

    @cached_property
    def network(self) -> Network:
        """The network with nominal resistances; every pack at 1 V without current (set it with ``with_emf``)."""
        nodes = dict.fromkeys(node for branch in self.branches for node in (branch.a, branch.b))
        for device in self.packs:
            nodes.update(dict.fromkeys(terminal(device.id, pole) for pole in POLES))
        for port in self.ports:
            nodes.update(dict.fromkeys(terminal(port.name, pole) for pole in POLES))
        return Network.of(
            list(nodes), [(b.name, b.a, b.b, b.ohms.nominal) for b in self.branches],
            [(d.id, terminal(d.id, "plus"), terminal(d.id, "minus"), 1.0, o.nominal)
             for d, o in zip(self.packs, self.pack_ohms, strict=True)],
            [(p.name, terminal(p.name, "plus"), terminal(p.name, "minus")) for p in self.ports])

    @cached_property
    def at(self) -> Mapping[str, int]:
        """The position of each branch by name."""
        return {branch.name: i for i, branch in enumerate(self.branches)}

    @cached_property
    def own_run(self) -> Mapping[str, str]:
        """The name of each pack's own run; its own id where it has none."""
        runs = {run.a: run_name(run) for run in reversed(self.runs)}
        return {device.id: runs.get(device.id, device.id) for device in self.packs}

    @cached_property
    def of_run(self) -> Mapping[tuple[str, str], tuple[int, ...]]:
        """The branches of each run and pole (busbars too, by name), in order from its ``a`` end."""
        found: dict[tuple[str, str], list[int]] = {}
        for i, branch in enumerate(self.branches):
            found.setdefault((branch.owner, branch.pole), []).append(i)
        return {key: tuple(spots) for key, spots in found.items()}


def terminal(name: str, pole: str) -> str:
    """The node of a device's own terminal."""
    return f"{pole} {name}"


def run_name(run: Run) -> str:
    """How a run is told: by its device, with the unit of a set."""
    return run.id if run.unit is None else f"{run.id} unit {run.unit}"


def source_at_a(site: Site, run: Run) -> bool:
    """Whether devices are counted from the ``a`` end: not on the run of a controller, whose source is the busbar."""
    return run.a not in site.devices or site.devices[run.a].kind == "pack"


def undrawn(stage: Stage, packs: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return what is missing to compute a bank: (run or device, what is not said), in the order of the site file."""
    site = stage.site
    runs = runs_of(stage, packs)
    drawn = {end for run in runs for end in (run.a, run.b)}
    missing = [(name, "no run is drawn") for name in packs if name not in drawn]
    for run in runs:
        for pole in POLES:
            wired: Pole = getattr(run, pole)
            words = [word for word, lost in (("length", wired.length_m is None), ("cable", conductor_of(wired) is None))
                     if lost]
            words += [f"post on {end}" for end, post in ((run.a, wired.a_post), (run.b, wired.b_post))
                      if post is None and end.startswith("busbar ") and site.busbars[end[7:]].posts]
            missing += [(run_name(run), f"{word} of the {pole} is not said") for word in words]
    units: dict[str, set[int]] = {}
    for run in runs:
        if run.a in site.devices and site.devices[run.a].kind in ("controller", "charger", "load"):
            units.setdefault(run.a, set()).add(run.unit or 1)
    for name, here in sorted(units.items(), key=lambda row: site.devices[row[0]].index):
        missing += [(name, f"unit {unit} has no run") for unit in range(1, site.devices[name].units + 1)
                    if unit not in here]
    return tuple(missing)


def conductor_of(wired: Pole) -> str | None:
    """The size of a pole's conductor, from the site file or from the record of the cable; None where neither says."""
    if wired.size is not None or wired.cable is None:
        return wired.size
    conductor = wired.cable.record.conductor
    return None if conductor is None else conductor.size.only


def banks_drawn(stage: Stage) -> Iterator[tuple[str, ...]]:
    """Yield the banks whose every pack is drawn with its run."""
    for bank in stage.banks:
        if not undrawn(stage, bank):
            yield bank


def runs_of(stage: Stage, packs: Sequence[str]) -> tuple[Run, ...]:
    """The runs of the busbars that some packs end on, in the order of the file, without those of absent packs."""
    grouped = _grouped(stage)
    groups = {id(runs): runs for name in packs if (runs := grouped.get(name)) is not None}
    if len(groups) == 1:
        return next(iter(groups.values()))
    return tuple(sorted((run for runs in groups.values() for run in runs), key=stage.site.runs.index))


@once
def _grouped(stage: Stage) -> dict[str, tuple[Run, ...]]:
    """The runs that are joined to each end of a run: one and the same tuple for all ends that they join."""
    gone = {d.id for d in stage.site.packs if d.id not in stage.packs}
    runs = [run for run in stage.site.runs if run.a not in gone and run.b not in gone]
    together = Groups((run.a, run.b) for run in runs)
    number = {end: i for i, ends in enumerate(together.groups()) for end in ends}
    joined: dict[int, list[Run]] = {}
    for run in runs:
        joined.setdefault(number[run.a], []).append(run)
    groups = {i: tuple(group) for i, group in joined.items()}
    return {end: groups[i] for end, i in number.items()}


def bank_network(stage: Stage, packs: Sequence[str]) -> Bank:
    """Return one bank as a network. Call it for banks of which nothing is ``undrawn``."""
    site = stage.site
    runs = runs_of(stage, packs)
    devices = tuple(site.devices[name] for name in packs)
    branches: list[Branch] = []
    spots: list[DeviceSpot] = []
    ports: dict[str, PortSpot] = {}
    for run in runs:
        if run.a in site.devices and site.devices[run.a].kind != "pack":
            ports[run_name(run)] = PortSpot(run_name(run), site.devices[run.a], run.unit or 1)
        for pole in POLES:
            _wire(site, run, pole, branches, spots)
    for name in dict.fromkeys(end[7:] for run in runs for end in (run.a, run.b) if end.startswith("busbar ")):
        branches += _bars(site, name)
    return Bank(devices, runs, tuple(branches), tuple(spots), tuple(ports.values()),
                tuple(pack_ohms(d, "dc_mohm") for d in devices), tuple(pack_ohms(d, "ohmic_mohm") for d in devices))


def _node(site: Site, run: Run, end: str, post: str | None, pole: str) -> str:
    if end in site.devices:
        return terminal(run_name(run) if end == run.a else end, pole)
    return f"{pole} {end}" + (f" {post}" if post is not None else "")


def _wire(site: Site, run: Run, pole: str, branches: list[Branch], spots: list[DeviceSpot]) -> None:
    """Add one pole of a run: cable, device, cable, … from its ``a`` end to its ``b`` end."""
    wired: Pole = getattr(run, pole)
    name = f"{pole} {run_name(run)}"
    size, length = conductor_of(wired), wired.length_m
    if size is None or length is None:
        raise ValueError(f"{name}: conductor or length is not stated")
    forward = source_at_a(site, run)
    held = list(enumerate(wired.devices))
    # no place said: taken at the source, as far as resistance goes; whether it is near enough is a rule's question
    places = [min(d.distance_m or 0.0, length) for d in wired.devices]
    order = held if forward else list(reversed(held))
    cuts = [places[i] if forward else length - places[i] for i, _ in order]
    nodes = [_node(site, run, run.a, wired.a_post, pole)]
    for i, _ in order:
        nodes += [f"{name} before device {i + 1}", f"{name} after device {i + 1}"]
    nodes.append(_node(site, run, run.b, wired.b_post, pole))
    at = 0.0
    for k, (i, device) in enumerate(order):
        branches.append(Branch(f"{name} cable {k + 1}", run_name(run), pole, "cable", nodes[2 * k], nodes[2 * k + 1],
                               cable_ohms(wired, size, cuts[k] - at)))
        at = cuts[k]
        branches.append(Branch(f"{name} device {i + 1}", run_name(run), pole, "device", nodes[2 * k + 1],
                               nodes[2 * k + 2], device_ohms(device.loaded.record)))
        spots.append(DeviceSpot(run, pole, i, f"{name} device {i + 1}", device))
    branches.append(Branch(f"{name} cable {len(order) + 1}", run_name(run), pole, "cable", nodes[-2], nodes[-1],
                           cable_ohms(wired, size, length - at)))


def _bars(site: Site, name: str) -> Iterator[Branch]:
    """The segments of one busbar between neighbouring posts, on both poles; posts that nothing lands on are kept."""
    bar = site.busbars[name]
    record: LoadedRecord | None = bar.loaded
    for pole in POLES:
        for one, other in zip(bar.posts, bar.posts[1:], strict=False):
            yield Branch(f"{pole} busbar {name} {one}-{other}", f"busbar {name}", pole, "bar",
                         f"{pole} busbar {name} {one}", f"{pole} busbar {name} {other}",
                         bar_ohms(None if record is None else record.record))
