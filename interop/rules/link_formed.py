"""Rules of the link subject: links and packs that the plan could not put to talk, with what is in the way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interop.records.models import Record
from interop.rules.finding import Hit, Level, broken, rule
from interop.rules.in_the_way import InTheWay, limits
from interop.rules.wording import fact_missing, look_up, named
from interop.site.site import Link
from interop.wiring.energy import energy_wh
from interop.wiring.stage import Stage
from interop.wiring.talks import RecordKey
from interop.wiring.together import LEFT, obstacle

__all__: list[str] = []

_REASONS = "Mend what is in the way, or write the link without these packs."


def _decided(stage: Stage) -> bool:
    return stage.name == "planned" and all(link.judged for link in stage.links)


def _off(stage: Stage, link: Link) -> list[str]:
    """Return the packs that the site wants on the link and the stage leaves off it."""
    return [n for n in link.packs if n in stage.packs and stage.packs[n].role == "unmanaged"]


def _kinds(stage: Stage, names: Sequence[str]) -> list[RecordKey]:
    return list(dict.fromkeys(RecordKey(stage.packs[n].record) for n in names))


def _formed(stage: Stage, link: Link) -> bool:
    return any(one.id == link.id for one in stage.links)


@rule(
    "link-not-formed",
    "link",
    broken=Level.STOP,
    unknown=Level.STOP,
    meaning="A link that the site asks for cannot be formed at all.",
    source="common practice",
    explain="""Somebody wants these packs to report to a controller, and no mode, dialect, rate, manager, address
and cable fit together. Sheets that show every one of them as unmanaged would hide that the main thing asked for
is missing, so none is issued. Mend what the finding names, or take the link out of the site file: the packs are
then planned for the busbar only.""",
)
def _not_formed(stage: Stage) -> Iterator[Hit]:
    if not _decided(stage):
        return
    for link in stage.site.links:
        packs = [n for n in link.packs if n in stage.packs]
        if packs and not _formed(stage, link) and not _elsewhere(stage, packs):
            controllers = {name: stage.device(name).record for name in link.reports_to}
            alone = dict.fromkeys(obstacle((key,), controllers, _manager(stage, link)) for key in _kinds(stage, packs))
            hindered = stage.hindered.get(link.id)
            why = InTheWay(hindered) if hindered is not None else _suspects(stage, link, alone, packs)
            yield broken(
                packs,
                f"Link {link.id}: no link can be formed of {named(packs)}: {why.text}",
                f"Mend what is in the way, or take the link out of the site file. {why.todo}".rstrip(),
            )


def _manager(stage: Stage, link: Link) -> Record | None:
    return stage.packs[link.manager].record if link.manager is not None and link.manager in stage.packs else None


def _suspects(stage: Stage, link: Link, causes: Iterable[str], packs: Sequence[str]) -> InTheWay:
    """Return the causes; where the records alone name none, what the number of packs and the site file add."""
    sure = [one for one in dict.fromkeys(causes) if one != LEFT]
    if sure:
        return InTheWay("; ".join(sure))
    found = list(limits(_kinds(stage, packs), len(packs), reports=bool(link.reports_to)))
    about = set(link.packs)
    found += [InTheWay(f"the wish that must hold: {wish.text}") for wish in stage.site.wishes
              if wish.must and about & set(wish.about)]
    switched = [name for name in link.packs if name in stage.packs and stage.packs[name].device.set_patterns]
    if switched:
        found.append(InTheWay(f"the switches that the site file sets for {named(switched)}"))
    if link.group is not None:
        found.append(InTheWay(f"group {link.group}"))
    found = list(dict.fromkeys(found)) or list(_weightless(stage, packs)) or [InTheWay(LEFT)]
    text = "; ".join(one.text for one in found)
    todo = " ".join(dict.fromkeys(one.todo for one in found if one.todo))
    return InTheWay(f"one of these, or several together, leave no way: {text}" if len(found) > 1 else text, todo)


def _weightless(stage: Stage, packs: Sequence[str]) -> Iterator[InTheWay]:
    """Packs that count for nothing, so that the plan leaves them off sooner than it moves a switch."""
    for key in _kinds(stage, packs):
        record = key.record
        if energy_wh(record) is None and record.cells is not None:
            name = "nominal_v" if record.cells.capacity_ah.known else "capacity_ah"
            fact, path = getattr(record.cells, name), f"cells.{name}"
            yield InTheWay(f"{fact_missing(record.id, path, fact)}: with no energy known, leaving it off loses nothing",
                           look_up(record.id, path, fact))


def _elsewhere(stage: Stage, packs: Sequence[str]) -> list[str]:
    """Return the packs that stand on a link of the plan."""
    return [name for name in packs if name in stage.link_of]


@rule(
    "link-left-empty",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    must_accept=True,
    meaning="A link that the site asks for gets no pack, since its packs serve other links.",
    source="common practice",
    explain="""Several links may draw on the same packs, and the best plan can put them all on some of the links. The
controller of an empty link then hears from no pack at all. If that is wrong, name the packs of each link, or wish for
some of them to be managers; if it is right, take the link out, or accept this with name and date.""",
)
def _left_empty(stage: Stage) -> Iterator[Hit]:
    if not _decided(stage):
        return
    for link in stage.site.links:
        packs = [n for n in link.packs if n in stage.packs]
        elsewhere = _elsewhere(stage, packs)
        if elsewhere and not _formed(stage, link):
            told = f"; {named(link.reports_to)} hears from no pack" if link.reports_to else ""
            yield broken(
                packs,
                f"Link {link.id} gets no pack: {named(elsewhere)} {'serve' if len(elsewhere) > 1 else 'serves'} "
                f"link {named(dict.fromkeys(stage.link_of[n].id for n in elsewhere))}{told}",
                "Name the packs of each link, or take this link out.",
            )


def _left_off(stage: Stage, *, installed: bool) -> Iterator[Hit]:
    if not _decided(stage):
        return
    for link in stage.site.links:
        off = [n for n in _off(stage, link) if stage.packs[n].device.new is not installed]
        if not off or not _formed(stage, link):
            continue
        on = [n for n in link.packs if n in stage.packs and n not in _off(stage, link)]
        controllers = {name: stage.device(name).record for name in link.reports_to}
        beside = _kinds(stage, on)
        groups = [(*beside, *([key] if key not in beside else [])) for key in _kinds(stage, off)]
        alone = [obstacle(group, controllers, _manager(stage, link)) for group in groups]
        hindered = stage.hindered.get(link.id)
        if hindered is not None:
            why = InTheWay("; ".join(dict.fromkeys(hindered if one == LEFT else one for one in alone)))
        else:
            why = _suspects(stage, link, alone, [*on, *off])
        word = "installed pack" if installed else "new pack"
        several = len(off) > 1
        yield broken(
            off,
            f"Link {link.id}: {word}{'s' if several else ''} {named(off)} {'stay' if several else 'stays'} "
            f"unmanaged, on the busbar only; beside {named(on)}: {why.text}",
            f"{_REASONS} {why.todo}".rstrip(),
        )


@rule(
    "left-off-the-link",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    must_accept=True,
    meaning="A new pack that was wanted on a link stays unmanaged.",
    source="common practice",
    explain="""The plan could not put this pack on the link. It still carries its share of the current, but
nobody asks it: the controller does not see its limits, its charge state or its alarms. The settings sheet is
made for that; somebody has to agree to it with name and date.""",
)
def _left_off_new(stage: Stage) -> Iterator[Hit]:
    yield from _left_off(stage, installed=False)


@rule(
    "installed-pack-left-off",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    must_accept=True,
    meaning="A pack that is installed and was wanted on a link becomes unmanaged.",
    source="common practice",
    explain="""Taking an installed pack off its link changes what people are used to: the display shows fewer
packs and less charge, and the pack's own limits no longer reach the controller. Somebody has to agree to that
with name and date.""",
)
def _left_off_installed(stage: Stage) -> Iterator[Hit]:
    yield from _left_off(stage, installed=True)
