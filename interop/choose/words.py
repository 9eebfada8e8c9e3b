"""What a pin carries and why no cable is possible, in words."""

from __future__ import annotations

from interop.choose.cables import Blocked
from interop.choose.no_cable import NoCable
from interop.wiring.contacts import BusWire, Contact, Empty, LineWire, NotStated, Reference, Shell, Supply, Unknown

__all__ = ["blocked_words", "contact_words"]


def contact_words(contact: Contact) -> str:
    """Say what a pin carries."""
    if isinstance(contact, BusWire):
        return f"data {contact.wire}"
    if isinstance(contact, LineWire):
        return f"{contact.use} line {contact.wire}"
    if isinstance(contact, Reference):
        return f"reference ({contact.tie})"
    if isinstance(contact, Supply):
        return f"supply {contact.volts} V" if contact.volts != "not stated" else "supply"
    if isinstance(contact, Shell):
        return "shell, earthed" if contact.earthed else "shell, tied to nothing"
    words = {Empty: "must stay empty", Unknown: "unknown", NotStated: "not stated"}
    return words.get(type(contact), "unused")


def blocked_words(blocked: Blocked) -> str:
    """Say why no cable joins the kinds of a link."""
    kinds = " and ".join(blocked.kinds)
    if blocked.lone is not None:
        return f"{blocked.lone} has no free socket for one of its two neighbours on the chain of {kinds}"
    if blocked.no_cable is None:
        return f"no order of {kinds} has a cable for every two neighbours"
    return f"no cable joins {kinds}: {_core_words(blocked.no_cable)}"


def _core_words(no_cable: NoCable) -> str:
    core = no_cable.smallest
    pins = ", ".join(
        f"{held.spot.device} {held.spot.socket} pin {held.spot.pin} ({contact_words(held.contact)})"
        for held in core.pins
    )
    return core.reason.value + (f": {pins}" if pins else "")
