"""Rule of the address subject about packs that are numbered by their order or their place, without switches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.models import AddressRule
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, fact_used, rule
from interop.rules.link_facts import waits_for_plan
from interop.rules.wording import fact_missing, look_up, named, of_record
from interop.wiring.meanings import address_rule, controller_buses
from interop.wiring.numbering import BY_ORDER, Doubt, Numbered, by_order
from interop.wiring.paths import shape_of
from interop.wiring.stage import Stage, StageLink, StagePack

__all__: list[str] = []


@rule("numbering-order-wrong", "address", broken=Level.STOP, unknown=Level.STOP,
      unknown_also=(Level.CAUTION,),
      meaning="Packs get their numbers by their order, and the row does not begin where the record wants it to.",
      source="record",
      explain="""Without address switches the first pack of the row takes the first number, the next one the second,
and so on along the cables or the places. Where the record makes the manager the first of them, a manager inside the
row leaves another pack at the manager's number: two packs ask, or nobody does. Put the manager where the numbers
begin, or make the first pack the manager. What the record does not state, who is first, the manager's number, or
which numbers there are, stands in the manual under automatic addresses or several packs.""")
def _order(stage: Stage) -> Iterator[Hit]:
    for link in stage.links:
        packs = [stage.packs[name] for name in link.packs if name in stage.packs]
        if not link.judged or len(packs) < 2:
            continue
        pack = stage.packs.get(link.manager or "") or (packs[0] if link.polled_by_controller else None)
        held = address_rule(link, pack) if pack is not None else None
        if pack is None or held is None:
            continue
        if held[1].given in BY_ORDER and not waits_for_plan(stage, link):
            yield from _hits(stage, link, pack, *held)
        elif held[1].given == "by place" and held[1].first == "manager" and link.manager is not None:
            yield from _by_place(stage, link, pack, packs)


def _numbered(stage: Stage, link: StageLink, pack: StagePack, held: AddressRule) -> tuple[Numbered, bool]:
    """Return the numbers along the cables, and whether the cables make a row at all."""
    cables = [c for c in stage.cables_of.get((link.id, "chain"), ()) if {c.a.device, c.b.device} <= set(link.packs)]
    shape = shape_of(link.packs, [(c.a.device, c.b.device) for c in cables], link.manager)
    head = link.manager if link.manager is not None else _next_to_controller(stage, link)
    buses = controller_buses(link)
    order = shape.order if shape.kind == "path" else link.packs
    bus = buses[0] if len(buses) == 1 else None
    return by_order(held, order, head, link.manager, pack.mode, bus), shape.kind == "path"


def _next_to_controller(stage: Stage, link: StageLink) -> str | None:
    cables = stage.cables_of.get((link.id, "report"), ())
    return next((end.device for c in cables for end in (c.a, c.b) if end.device in link.packs), None)


def _hits(stage: Stage, link: StageLink, pack: StagePack, bus: str, held: AddressRule) -> Iterator[Hit]:
    numbered, row = _numbered(stage, link, pack, held)
    level = None if stage.name == "planned" else Level.CAUTION
    for doubt in numbered.doubts:
        if row or doubt is not Doubt.INSIDE:    # what makes no row is for the rules on its cables
            yield _hit(link, pack, bus, held, doubt, level)


def _hit(link: StageLink, pack: StagePack, bus: str, held: AddressRule, doubt: Doubt, level: Level | None) -> Hit:
    record, path = pack.record.id, f"addresses.{bus}"
    packs, how = link.packs, f"{pack.record.id} numbers its packs {held.given}"
    who = of_record([pack.device])
    if doubt is Doubt.INSIDE:
        begin = "the manager is where the numbers begin" if link.manager is not None else (
            "the pack at the controller is where the numbers begin")
        text = f"Link {link.id}: {how}, and {begin}; {who} stands inside the row of {named(packs)}"
        if held.first == "member":
            return cannot_tell(packs, f"{text}, and on which side of it they begin is not known",
                               "Lay the cables so that the manager is at an end of the row.", level=level)
        return broken(packs, text, "Lay the cables so that it is at an end of the row, or make the pack at an end the "
                      "manager.")
    if doubt is Doubt.TOO_FEW:
        return broken(packs, f"Link {link.id}: {how}, and there are fewer numbers than packs on it",
                      "Leave packs off the link.", got=f"{len(packs)} packs",
                      limit=f"{len(held.allowed.only or ())} numbers", facts=(_fact(pack, f"{path}.allowed", held),))
    if doubt is Doubt.FIRST:
        return cannot_tell(packs, f"Link {link.id}: {how}; whether {who} as manager is the first of them is not known: "
                           f"{record} does not state {path}.first",
                           f"Look up who is numbered first; the manual of {record} usually prints it in the chapter on "
                           "several packs.", facts=(FactUsed(record, f"{path}.first", "absent"),), level=level)
    if doubt is Doubt.ALLOWED:
        return cannot_tell(packs, f"Link {link.id}: {how}; which numbers they get is not known: "
                           f"{fact_missing(record, f'{path}.allowed', held.allowed)}",
                           look_up(record, f"{path}.allowed", held.allowed),
                           facts=(_fact(pack, f"{path}.allowed", held),), level=Level.CAUTION)
    fact = held.manager.of(pack.mode)
    facts = (fact_used(pack.device, f"{path}.manager", fact),)
    if doubt is Doubt.OWN and fact.only is not None:
        return cannot_tell(packs, f"Link {link.id}: {how}, the manager first; {record} also says that the manager has "
                           f"number {fact.only}, which is not the first",
                           f"Look up the manager's number; the manual of {record} usually prints it in the chapter on "
                           "several packs.", facts=facts, level=level)
    return cannot_tell(packs, f"Link {link.id}: {how}, the manager first; which number it has is not known: "
                       f"{fact_missing(record, f'{path}.manager', fact)}", look_up(record, f"{path}.manager", fact),
                       facts=facts, level=Level.CAUTION if doubt is Doubt.UNKNOWN else level)


def _fact(pack: StagePack, path: str, held: AddressRule) -> FactUsed:
    return fact_used(pack.device, path, held.allowed)


def _by_place(stage: Stage, link: StageLink, manager: StagePack, packs: Sequence[StagePack]) -> Iterator[Hit]:
    """The manager is to be in the first place of the link's packs."""
    level = None if stage.name == "planned" else Level.CAUTION
    how = f"Link {link.id}: {manager.record.id} numbers its packs by place, the manager first"
    unplaced = [p for p in packs if p.device.place is None]
    before = [p for p in packs if p is not manager and p.device.rank < manager.device.rank]
    if unplaced:
        yield cannot_tell(link.packs, f"{how}; the place of {named([p.id for p in unplaced])} is not written",
                          "Write the places of the packs into the site file.", level=level)
    elif before:
        verb = "stands" if len(before) == 1 else "stand"
        yield broken(link.packs, f"{how}; {named([p.id for p in before])} {verb} before {of_record([manager.device])}, "
                     "the manager",
                     "Make the pack in the first place the manager, or change the places.")
