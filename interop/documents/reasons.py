"""Why a plan is as it is, in words: managers, runners-up, packs left off, conductors cut and kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from interop.choose.cables import Planned
from interop.choose.members import LinkChoice
from interop.choose.plan import Decisions
from interop.choose.words import blocked_words, contact_words
from interop.documents.standing import Standing, cut_pins, standing
from interop.rules.wording import named, of_record
from interop.site.site import Link
from interop.wiring.contacts import (
    Joining,
    NodeFault,
)
from interop.wiring.mixing import required_manager
from interop.wiring.talks import RecordKey, mixing_statement

__all__ = ["blocked_words", "cable_reasons", "contact_words", "reasons", "runner_up_text", "straight_gives",
           "straight_words", "unproved_text"]

Reason = dict[str, Any]


def reasons(decisions: Decisions) -> list[Reason]:
    """Return the reasons of a plan in the contract's shape, in a fixed order."""
    found: list[Reason] = []
    for choice in decisions.links:
        found += _link_reasons(decisions, choice)
    for link, blocked in decisions.blocked.items():
        found.append({"about": [], "text": f"Link {link}: {blocked_words(blocked)}."})
    for removed in decisions.removed:
        found.append({"about": [removed.cable.id], "text": f"Cable {removed.cable.id} goes: {removed.why}."})
    found += _unlisted(decisions)
    for dropped in decisions.dropped:
        name = dropped.cable.id
        stays = any(cable.id == name for cable in decisions.cables)
        end = "; the installed cable of this name stays in use otherwise" if stays else ""
        found.append({"about": [name], "text": f"Cable {name} is not made: {dropped.why}{end}."})
    for cable in decisions.cables:
        found += [{"about": [cable.id], "text": text} for text in cable_reasons(cable, standing(decisions, cable))]
    return found


def _link_reasons(decisions: Decisions, choice: LinkChoice) -> Iterator[Reason]:
    link = choice.link
    demand = _demand(decisions, link)
    if demand is not None:
        yield {"about": [link.manager], "text": demand}
    if choice.family is None:
        yield {
            "about": list(link.packs),
            "text": f"No pack of link {link.id} can be managed; what is in the way stands with rule link-not-formed.",
        }
        return
    if choice.manager is not None:
        yield {
            "about": [choice.manager],
            "text": f"{choice.manager} is the manager of link {link.id}: {_manager_words(decisions, choice)}.",
        }
    if not choice.proved:
        yield {"about": list(choice.members), "text": unproved_text(choice)}
    if choice.runner_up is not None:
        about = [choice.runner_up.manager] if choice.runner_up.manager is not None else []
        yield {"about": about, "text": runner_up_text(choice)}
    if choice.left_off:
        yield {
            "about": list(choice.left_off),
            "text": f"{named(choice.left_off)} cannot join link {link.id} beside "
            f"{named(choice.members)} and stay on the busbar only; what is in the way stands with the finding.",
        }


def _unlisted(decisions: Decisions) -> Iterator[dict[str, Any]]:
    """Cables that the plan makes for a link whose cables are as listed, and that nobody listed."""
    site = decisions.site
    listed = {cable.id for cable in (*site.cables, *(site.found_cables or ()))}
    for choice in decisions.links:
        route = decisions.routes.get(choice.link.id)
        made = [c.id for c in route.cables if c.id not in listed] if route is not None else []
        if made and not choice.link.propose_cables:
            yield {
                "about": made,
                "text": f"Link {choice.link.id} says nothing of cables {named(made)}; the plan makes them, since the "
                "link needs them.",
            }


def _demand(decisions: Decisions, link: Link) -> str | None:
    """Say when the site names a manager that the records of its packs do not let be manager beside the others."""
    if link.manager is None or link.manager == "propose":
        return None
    devices = [decisions.site.devices[p] for p in link.packs]
    keys = tuple(dict.fromkeys(RecordKey(d.record) for d in devices))
    fit = required_manager(keys)
    if RecordKey(decisions.site.devices[link.manager].record) in fit:
        return None
    may = [d for d in devices if RecordKey(d.record) in fit]
    who = f"only {of_record(may)} may be manager" if may else "no pack may be manager"
    return (f"The site names {link.manager} as manager of link {link.id}; by what the records say of each other, "
            f"{who} among {named(link.packs)}.")


def _manager_words(decisions: Decisions, choice: LinkChoice) -> str:
    devices = decisions.site.devices
    record = devices[choice.manager or ""].record
    seen: dict[int, Any] = {}
    for name in choice.members:
        seen.setdefault(id(devices[name].record), devices[name].record)
    for one in seen.values():
        for other in seen.values():
            item = mixing_statement(one, other) if one is not other else None
            if item is None or item.manager is None:
                continue
            key = (item.source or next(iter(one.sources))).split(" ")[0]
            source = one.sources[key]
            who = {"this": one.name, "other": other.name, "newest": "the newest generation"}[item.manager]
            says = "common practice" if source.says == "practice" else f"{source.title} ({source.says})"
            return f"beside {other.name}, {who} must be manager ({says}), and of the packs that may be it loses least"
    if choice.link.manager == choice.manager:
        return "the site file names it"
    only = sum(devices[p].record is record for p in choice.members) == 1 and len(seen) > 1
    return (
        "it is the only pack of its kind"
        if only
        else "of the packs that may be manager it loses least at every level in order"
    )


def runner_up_text(choice: LinkChoice) -> str:
    """Say which plan came second and at which level it lost."""
    runner = choice.runner_up
    if runner is None:
        return ""
    members = named([m for m in runner.members if m != runner.manager])
    what = f"with members {members}" if members else "with the manager alone"
    if not runner.members:
        what = "no pack on it"
    elif runner.manager != choice.manager:
        what = f"with {runner.manager} as manager" if runner.manager is not None else "with no manager"
        if set(runner.members) != set(choice.members):
            what += f" and members {members or 'none'}"
    rank = "Second best" if runner.proved else "Second best of what was looked at"
    if runner.lost_at == "place":
        return f"{rank} for link {choice.link.id}: {what}; equal at every level, later by place."
    return (
        f'{rank} for link {choice.link.id}: {what}; it loses at "{runner.lost_at}" '
        f"({runner.theirs} against {runner.ours})."
    )


def unproved_text(choice: LinkChoice) -> str:
    """Say that a better plan may exist, and by how much at most at the first level that is not at its bound."""
    bound = choice.solution.bound if choice.solution is not None else None
    gap = next(
        ((name, a, b) for name, a, b in zip(choice.levels, choice.vector, bound or (), strict=False) if a != b), None
    )
    where = f'at "{gap[0]}" ({gap[1]}; nothing lies below {gap[2]})' if gap is not None else "at a later level"
    return (
        f"The plan for link {choice.link.id} is not proved best: there were too many ways to look through. "
        f"A better one may exist, {where}."
    )


def cable_reasons(cable: Planned, stands: Standing | None) -> list[str]:
    """Return one line per cause why conductors of a cable are cut, or why it has none there; and one for the packs
    that it bridges.
    """
    if cable.choice is None:
        return []
    by_cause: dict[tuple[str, str], list[str]] = {}
    blank = {a for a, b in cable.joined or () if a == b} - {a for a, _ in cable.choice.joined}
    exist = cut_pins(cable, stands)
    for conductor in cable.choice.conductors:
        if not conductor.kept and conductor.a not in blank:
            head = "Cut" if conductor.a in exist else "No conductor on"
            by_cause.setdefault((head, _cut_words(conductor.why)), []).append(conductor.a)
    lines = [f"{head} {_pins(pins)}: {cause}." for (head, cause), pins in by_cause.items()]
    if cable.bridged:
        lines.append(f"Bridges {named(cable.bridged)}, now without data cables.")
    return lines


def _pins(pins: list[str]) -> str:
    return f"pin{'s' if len(pins) > 1 else ''} {named(pins)}"


def _cut_words(why: object) -> str:
    if isinstance(why, Joining):
        return f"{why.cause.value} ({contact_words(why.first)} / {contact_words(why.second)})"
    if isinstance(why, NodeFault):
        return (
            f"{why.cause.value} ({why.first.spot.device} pin {why.first.spot.pin} {contact_words(why.first.contact)} / "
            f"{why.second.spot.device} pin {why.second.spot.pin} {contact_words(why.second.contact)})"
        )
    return str(getattr(why, "value", why))


def straight_words(cable: Planned) -> str | None:
    """Say what a plain straight cable would do in place of a cut or re-pinned one; None where it would do no harm."""
    if cable.choice is None or (not cable.cut and cable.kind == "straight"):
        return None
    causes: dict[str, list[str]] = {}
    for conductor in cable.choice.conductors:
        if not conductor.kept and isinstance(conductor.why, Joining | NodeFault):
            causes.setdefault(conductor.why.cause.value, []).append(conductor.a)
    if cable.kind == "repinned":
        return (
            "A plain straight cable joins unlike pins: the data wires do not meet their like, and the link stays dead."
        )
    return straight_gives(causes)


def straight_gives(causes: Mapping[str, Sequence[str]]) -> str | None:
    """Say what a plain straight cable would do, from the pins by cause; None where it would do no harm."""
    said = "; ".join(f"{cause} on {_pins(list(pins))}" for cause, pins in causes.items())
    return f"A plain straight cable gives: {said}." if said else None
