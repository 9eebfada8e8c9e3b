"""Rules of the link subject: inverters and chargers that could obey a manager and hear from none."""

from __future__ import annotations

from collections.abc import Iterator

from interop.rules.finding import Hit, Level, broken, rule
from interop.rules.wording import named
from interop.site.site import Device
from interop.wiring.stage import Stage

__all__: list[str] = []

_OBEYS = "it obeys its own settings, not the packs"


def _can_follow(device: Device) -> bool:
    """Whether a device could obey packs: an inverter or charger with a bus, unless its record says that it obeys none.

    A record that does not state how many managers it follows leaves that open, so the question stands.
    """
    most = device.record.follows.managers_at_most
    follows = not most.known or max(most.values) > 0
    return device.record.kind in ("controller", "charger") and bool(device.record.buses) and follows


def _unheard(stage: Stage) -> Iterator[Device]:
    """Yield the controllers of the planned stage that no link reports to.

    A link that the site asks for and that cannot be formed, or gets no pack, has a finding of its own.
    """
    if stage.name != "planned" or not stage.packs:
        return
    told = [(link.packs, link.reports_to) for link in stage.links]
    told += [(link.packs, link.reports_to) for link in stage.site.links]
    heard = {name for packs, controllers in told if stage.packs.keys() & set(packs) for name in controllers}
    yield from (d for d in stage.site.devices.values() if d.id not in heard and _can_follow(d))


def _before(stage: Stage, controller: str) -> str:
    """Say what led to a controller as found: the links that reported to it, or the cables between it and a pack."""
    links = [link.id for link in stage.site.found_links or () if controller in link.reports_to]
    if links:
        return f"link{'s' if len(links) > 1 else ''} {named(links)} reported to it"
    cables = [
        cable.id
        for cable in stage.site.found_cables or ()
        for near, far in ((cable.a, cable.b), (cable.b, cable.a))
        if near.device == controller and (far.device is None or far.device in stage.packs)
    ]
    return f"cable{'s' if len(cables) > 1 else ''} {named(cables)} led to it" if cables else ""


@rule(
    "controller-hears-nobody",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    meaning="No link reports to an inverter or charger that could obey the packs.",
    source="common practice",
    explain="""An inverter or charger that hears from no manager charges and discharges by the voltages and currents
that somebody once set on it. It does not know when a pack blocks, is cold or has left the busbar, and it goes on
until a pack opens by itself. Let a link report to it, or set its charge voltage, currents and low-voltage limit to
the figures that the plan gives for the bank.""",
)
def _hears_nobody(stage: Stage) -> Iterator[Hit]:
    for device in _unheard(stage):
        if not _before(stage, device.id):
            yield broken(
                (device.id,),
                f"No link reports to {device.id} ({device.record.id}): {_OBEYS}",
                "Let a link report to it, or set its own limits to those of the bank.",
            )


@rule(
    "controller-loses-its-packs",
    "link",
    broken=Level.CAUTION,
    unknown=Level.CAUTION,
    must_accept=True,
    meaning="An inverter or charger that packs reported to is left without any link.",
    source="common practice",
    explain="""Until now the packs told this inverter or charger how much it may charge and discharge. Without a link
it falls back on settings of its own that nobody may have looked at since it was installed, or it stops when the
messages end. Let a link report to it. If it shall run by its own settings, set them to the limits of the bank first,
and accept this with a reason, a name and a date.""",
)
def _loses_packs(stage: Stage) -> Iterator[Hit]:
    for device in _unheard(stage):
        before = _before(stage, device.id)
        if before:
            yield broken(
                (device.id,),
                f"As found {before}; no link of the plan reports to {device.id} ({device.record.id}): {_OBEYS}",
                "Let a link report to it, or set its own limits to those of the bank and accept this with a name.",
            )
