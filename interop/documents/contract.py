"""plan.json: everything decided, with reasons, findings and assumptions, in the shape that programs may rely on."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from interop.choose.cables import Planned, Routed
from interop.choose.cells import standing as standing_of
from interop.choose.members import LinkChoice, PackChoice
from interop.choose.plan import Decisions
from interop.documents.canonical import fingerprint
from interop.documents.entries import link_settings
from interop.documents.findings import finding_json
from interop.documents.reasons import reasons, runner_up_text
from interop.documents.standing import cut_pins, lands_on, removed_pins, standing, work
from interop.records.models import Record
from interop.records.switches import Pattern
from interop.rules.finding import SUBJECTS, Finding, Level
from interop.site.site import Cable, Device, End, Site
from interop.wiring.energy import energy_wh
from interop.wiring.mixing import special_cables
from interop.wiring.numbering import BY_ORDER, by_order
from interop.wiring.purposes import LINE
from interop.wiring.stage import StageEnd
from interop.wiring.talks import chain_address_rule, chain_talks, controller_talks, report_talks

__all__ = ["FORMAT", "VERSION", "cleared", "plan_dict"]

FORMAT, VERSION = "interop-plan", 1

Json = dict[str, Any]


def cleared(findings: Iterable[Finding]) -> dict[str, bool]:
    """Judge the two clearances on the findings of the planned stage.

    Settings: no stop that is broken, no cannot-tell at level stop among the subjects of settings, no must-accept
    caution left. Joining: the same over every subject.
    """
    waiting, stops, unknown, unknown_settings = False, False, False, False
    for one in findings:
        waiting |= one.must_accept and one.accepted is None
        if one.level is Level.STOP:
            stops |= one.verdict == "broken"
            unknown |= one.verdict == "cannot-tell"
            unknown_settings |= one.verdict == "cannot-tell" and one.subject in SUBJECTS
    settings = not (waiting or stops or unknown_settings)
    return {"settings": settings, "joining": settings and not unknown}


def plan_dict(
    decisions: Decisions, planned: Sequence[Finding], found: Sequence[Finding], power: Json | None = None,
    settings: Mapping[str, Json] | None = None, *, draft: bool, date: str | None
) -> Json:
    """Return the whole plan in the shape of the contract, with its fingerprint (without the list of files).

    ``power`` and the electrical ``settings``: as `interop.documents.power` gives them.
    """
    site = decisions.site
    by_link = _buses(decisions)
    buses = {name: bus for of_link in by_link.values() for name, bus in of_link.items()}
    plan: Json = {
        "format": FORMAT,
        "version": VERSION,
        "cleared": cleared(planned),
        "draft": draft,
        "date": date,
        "inputs": [{"path": path, "sha256": hashlib.sha256(data).hexdigest()} for path, data in site.inputs],
        "site": {"name": site.name},
        "devices": {d.id: _device(d) for d in site.devices.values()},
        "findings": [finding_json(one) for one in planned],
        "found": [finding_json(one) for one in found],
        "links": [_link(decisions, choice, by_link.get(choice.link.id, {})) for choice in decisions.links],
        "buses": buses,
        "packs": {d.id: _pack(decisions, d, by_link) for d in site.packs},
        "cables": _cables(decisions),
        "power": power,
        "settings": _merged(link_settings(decisions), settings or {}),
        "assumptions": [*_assumptions(site), *_groups(decisions), *_unread_rows(decisions)],
        "reasons": reasons(decisions),
    }
    plan["fingerprint"] = fingerprint(plan)
    return plan


def _device(device: Device) -> Json:
    return {
        "kind": device.kind,
        "record": device.record.id,
        "units": device.units,
        "place": device.place,
        "installed": not device.new,
    }


def _link(decisions: Decisions, choice: LinkChoice, buses: Mapping[str, Json]) -> Json:
    link, route = choice.link, decisions.routes.get(choice.link.id)
    formed = choice.family is not None and route is not None
    order = route.order if route is not None else ()
    runner = choice.runner_up
    return {
        "id": link.id,
        "poller": _poller(decisions, choice) if formed else None,
        "manager": choice.manager if formed else None,
        "members": [p for p in order if p != choice.manager],
        "reports_to": list(link.reports_to),
        "buses": list(buses),
        "proved": choice.proved,
        "bound": None if choice.solution is None or choice.solution.bound is None else list(choice.solution.bound),
        "runner_up": None
        if runner is None or not formed
        else {
            "manager": runner.manager,
            "members": [m for m in runner.members if m != runner.manager],
            "lost_at": runner.lost_at,
            "proved": runner.proved,
            "text": runner_up_text(choice),
        },
    }


def _chain_buses(decisions: Decisions, choice: LinkChoice, name: str) -> tuple[str, ...]:
    pack = decisions.packs[name]
    if choice.family is None or choice.family.chain is None or pack.mode is None:
        return ()
    return chain_talks(decisions.site.devices[name].record, pack.mode).get(choice.family.chain, ())


def _poller(decisions: Decisions, choice: LinkChoice) -> str | None:
    if choice.manager is None:
        return choice.link.reports_to[0] if choice.link.reports_to else None
    record = decisions.site.devices[choice.manager].record
    who = {record.buses[bus].poller.only for bus in _chain_buses(decisions, choice, choice.manager)}
    if who == {"controller"} and choice.link.reports_to:
        return choice.link.reports_to[0]
    return None if who == {"nobody"} else choice.manager


def _buses(decisions: Decisions) -> dict[str, dict[str, Json]]:
    """Return the buses of each link by name."""
    return {choice.link.id: _link_buses(decisions, choice) for choice in decisions.links}


def _link_buses(decisions: Decisions, choice: LinkChoice) -> dict[str, Json]:
    found: dict[str, Json] = {}
    route = decisions.routes.get(choice.link.id)
    if choice.family is None or route is None:
        return found
    chain, link = choice.family.chain, choice.link.id
    own = {p: _chain_buses(decisions, choice, p) for p in route.order}
    records = {p: decisions.site.devices[p].record for p in route.order}
    if chain is not None and any(records[p].buses[b].hop == "one" for p, names in own.items() for b in names):
        for i, cable in enumerate((c for c in route.cables if c.carries == "chain"), 1):
            ends = [(e.device, _bus_at(records[e.device], own[e.device], e.socket)) for e in (cable.a, cable.b)]
            found[f"{link} chain {i}"] = _bus(decisions, chain, ends)
    elif chain is not None and len(route.order) > 1:
        found[f"{link} chain"] = _bus(decisions, chain, [(p, own[p][0]) for p in route.order if own[p]])
    _report_bus(decisions, choice, own, found)
    return found


def _report_bus(
    decisions: Decisions, choice: LinkChoice, own: Mapping[str, tuple[str, ...]], found: dict[str, Json]
) -> None:
    """Enter the bus towards the controllers: one of its own, or the packs' own bus with the controllers on it."""
    family = choice.family
    if family is None or family.report is None or not choice.link.reports_to:
        return
    devices = decisions.site.devices
    ends = [(c, controller_talks(devices[c].record)[family.report][0]) for c in choice.link.reports_to]
    source = choice.manager if choice.manager is not None else next(iter(own), None)
    if source is None:
        return
    mode = decisions.packs[source].mode or ""
    buses = report_talks(devices[source].record, mode).get(family.report, ())
    apart = [b for b in buses if b not in own.get(source, ())]
    shared = f"{choice.link.id} chain"
    if not apart and shared in found:
        found[shared]["nodes"] += [list(e) for e in ends]
        found[shared]["terminators"] += _terminators(decisions, ends)
    elif buses:
        found[f"{choice.link.id} report"] = _bus(decisions, family.report, [(source, (apart or list(buses))[0]), *ends])


def _bus_at(record: Record, names: Sequence[str], socket: str | None) -> str:
    for name in names:
        sockets = record.buses[name].sockets
        if sockets is not None and socket in sockets:
            return name
    return names[0] if names else ""


def _bus(decisions: Decisions, talk: Any, nodes: Sequence[tuple[str, str]]) -> Json:
    kind = talk.kind if talk.kind in ("rs-485", "can", "rs-232") else "other"
    return {
        "kind": kind,
        "dialect": talk.dialect,
        "rate_bps": talk.rate_bps,
        "nodes": [list(n) for n in nodes],
        "terminators": _terminators(decisions, nodes),
    }


def _terminators(decisions: Decisions, nodes: Iterable[tuple[str, str]]) -> list[Json]:
    found = []
    for device, bus in nodes:
        record = decisions.site.devices[device].record
        fitted = record.buses[bus].termination.fitted.only if bus in record.buses else None
        if fitted == "always":
            found.append({"device": device, "by": "fitted"})
        elif decisions.terminators.get((device, bus)):
            found.append({"device": device, "by": "plug" if fitted == "by plug" else "switch"})
    return found


def _pack(decisions: Decisions, device: Device, by_link: Mapping[str, Mapping[str, Json]]) -> Json:
    choice = decisions.packs[device.id]
    buses = by_link.get(choice.link or "", {})
    route = decisions.routes.get(choice.link) if choice.link is not None else None
    on = route is not None and device.id in route.order
    at = {
        name: choice.address
        for name, bus in buses.items()
        if on
        and choice.address is not None
        and choice.link is not None
        and name.startswith(f"{choice.link} chain")
        and any(n[0] == device.id for n in bus["nodes"])
    }
    address = choice.address if on else None
    if on and address is None:
        address = _route_number(decisions, device)
        at = {
            name: address
            for name, bus in buses.items()
            if address is not None
            and name.startswith(f"{choice.link} chain")
            and any(n[0] == device.id for n in bus["nodes"])
        }
    patterns = decisions.patterns[device.id]
    was: Mapping[str, Pattern] = device.found.patterns if device.found is not None else {}
    return {
        "role": choice.role if on else "unmanaged",
        "link": choice.link if on else None,
        "mode": choice.mode if on else None,
        "mode_set_by": _mode_set_by(device.record) if on else None,
        "address": address,
        "address_also": list(_also(device.record, choice)) if on else [],
        "addresses": at,
        "switches": {
            row: {"set": list(bits), "was": list(was[row]) if row in was else None} for row, bits in patterns.items()
        },
    }


def _mode_set_by(record: Record) -> str | None:
    """What puts a pack into a mode, where no switch row does; None for a record with one mode, or where a row does."""
    by_row = any(part.sets == "mode" for row in record.switches.values() for part in row.parts)
    return None if len(record.modes) < 2 or by_row else record.mode_set_by.only


def _also(record: Record, choice: PackChoice) -> tuple[int, ...]:
    """Other addresses that the same switches mean by the record: two equal rows of a printed table."""
    stands = standing_of(record, choice.state) if choice.state is not None else None
    return stands.also if stands is not None else ()


def _route_number(decisions: Decisions, device: Device) -> int | None:
    """The number of a pack that is numbered by the order of the cables; None where it has none or nobody knows it."""
    choice = next((one for one in decisions.links if one.link.id == decisions.packs[device.id].link), None)
    route = decisions.routes.get(choice.link.id) if choice is not None else None
    if choice is None or route is None or choice.family is None:
        return None
    head = choice.manager if choice.manager is not None else _next_to_controller(route)
    first = head if head is not None else route.order[0]
    record = decisions.site.devices[first].record
    rule = chain_address_rule(record, _chain_buses(decisions, choice, first) or record.addresses)
    if rule is None or rule.given not in BY_ORDER:
        return None
    mode, bus = decisions.packs[first].mode, choice.family.controller_bus
    return by_order(rule, route.order, head, choice.manager, mode, bus).numbers[device.id]


def _next_to_controller(route: Routed) -> str | None:
    """The pack of a route that a controller's cable ends at; None where none does."""
    ends = (end.device for cable in route.cables if cable.carries == "report" for end in (cable.a, cable.b))
    return next((name for name in ends if name in route.order), None)


def _cables(decisions: Decisions) -> dict[str, Json]:
    found: dict[str, Json] = {cable.id: _cable(decisions, cable) for cable in decisions.cables}
    for removed in decisions.removed:
        found.setdefault(removed.cable.id, _removed(removed.cable))
    return found


def _cable(decisions: Decisions, cable: Planned) -> Json:
    """One cable. ``work`` says what ``action`` means for it: an altered one may only move from socket to socket
    (``moved``: where each such plug is and where it goes; ``new_plugs``: the ends whose plug does not fit there).
    ``lands_on``: the unit of a set of controllers it goes to. ``special``: what a record asks for in
    its place. ``remove``: conductors found that must go. ``installed_as``: the name under which it stands today, where
    the site file wants it under another. ``carries``: chain or report bus of its link, or a line alone.
    """
    stands, action = standing(decisions, cable), decisions.actions[cable.id].action
    was = decisions.actions[cable.id].was
    joined = cable.joined or ()
    return {
        "from": _end(cable.a),
        "to": _end(cable.b),
        "carries": cable.carries,
        "action": action,
        "work": work(action, stands, joined),
        "installed_as": was.id if was is not None and was.id != cable.id else None,
        "moved": [[_end(old), _end(new)] for old, new in stands.moved] if stands is not None else [],
        "lands_on": lands_on(decisions.site, cable),
        "kind": cable.kind,
        "special": _special(decisions.site, cable) if cable.carries != LINE else [],
        "joined": [list(p) for p in joined],
        "cut": list(cut_pins(cable, stands)),
        "remove": [list(p) for p in removed_pins(cable, stands)],
        "new_plugs": [side for side, old in zip(("from", "to"), stands.old_plugs, strict=True) if old]
        if stands is not None
        else [],
    }


def _special(site: Site, cable: Planned) -> list[str]:
    """The special cables that the records at both ends ask for here, in words."""
    ends = site.devices[cable.a.device].record, site.devices[cable.b.device].record
    return [f"{one.record.id} asks for a special cable here: {one.words} ({one.source})"
            for one in special_cables(*ends)]


def _removed(cable: Cable) -> Json:
    return {
        "from": _end(cable.a),
        "to": _end(cable.b),
        "carries": None,
        "action": "remove",
        "work": "remove",
        "installed_as": None,
        "moved": [],
        "lands_on": None,
        "kind": "straight",
        "special": [],
        "joined": [],
        "cut": [],
        "remove": [],
        "new_plugs": [],
    }


def _end(end: End | StageEnd) -> list[str | None]:
    return [end.device, end.port, end.socket]


def _merged(dialects: Mapping[str, Json], electric: Mapping[str, Json]) -> dict[str, Json]:
    """The settings of each controller: those of its data link first, then those of its power side."""
    names = dict.fromkeys((*dialects, *electric))
    return {name: {**dialects.get(name, {}), **electric.get(name, {})} for name in names}


def _assumptions(site: Site) -> list[Json]:
    """Assumptions that decide something in this plan (none of them electrical yet): what the energy of a pack that
    states too little is taken to be.
    """
    linked = {p for link in site.links for p in link.packs}
    seen: dict[str, Record] = {d.record.id: d.record for d in site.packs if d.id in linked}
    found = []
    for name, record in sorted(seen.items()):
        for what, fact, value, low_high in _energy_taken(record):
            found.append(
                {
                    "id": f"{what} {name}",
                    "fact": f"{fact} of {name}",
                    "value": value,
                    "range": low_high,
                    "decides": ["energy not on a link"],
                }
            )
    return found


def _energy_taken(record: Record) -> Iterator[tuple[str, str, str, list[str]]]:
    """Yield what is assumed of a pack's energy: id, fact, value, range."""
    cells = record.cells
    if energy_wh(record) is None or cells is None:
        yield "energy", "usable energy", "0 Wh: capacity or voltage is not stated", []
        return
    if not cells.nominal_v.known:
        yield "nominal-voltage", "nominal voltage", "3.2 V for each LFP cell", []
    if not cells.usable_share.known:
        yield "usable-share", "usable share", "1", ["0.8", "1"]


def _groups(decisions: Decisions) -> Iterator[Json]:
    """Links whose group nobody states although a switch of their packs sets it: taken to be the first."""
    for choice in decisions.links:
        records = [decisions.site.devices[name].record for name in choice.members]
        switches = [item for record in records for item in record.switches.items()]
        rows = dict.fromkeys(name for name, row in switches if any(part.sets == "group" for part in row.parts))
        if choice.family is not None and choice.link.group is None and rows:
            yield {
                "id": f"group {choice.link.id}",
                "fact": f"group of link {choice.link.id}",
                "value": "the first that its switches can set",
                "range": [],
                "decides": [f"row {name}" for name in rows],
            }


def _unread_rows(decisions: Decisions) -> Iterator[Json]:
    """Rows of unmanaged packs that their record says nothing about off a link: taken to do nothing there."""
    rows: dict[tuple[str, str], None] = {}
    for name, choice in decisions.packs.items():
        record = decisions.site.devices[name].record
        for row, switch in record.switches.items() if choice.state is None else ():
            if not any("unmanaged" in (part.when.role or ()) for part in switch.parts):
                rows[record.id, row] = None
    for record_id, row in rows:
        yield {
            "id": f"off-a-link {record_id} {row}",
            "fact": f"what row {row} of {record_id} does in a pack without a data cable",
            "value": "nothing: it stays as found, or off (wheel or menu: first mark) where nobody looked",
            "range": [],
            "decides": [f"row {row} of unmanaged {record_id}"],
        }
