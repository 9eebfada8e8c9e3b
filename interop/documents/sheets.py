"""Setting sheets: one page taped to each pack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from interop.documents.canonical import grouped
from interop.documents.face import DeviceFace, Faces
from interop.documents.lettering import fit
from interop.documents.plaintext import shortened, visible
from interop.documents.press import pdf
from interop.documents.settle import Remark, about, refuse_uncleared, remark, settle_words
from interop.documents.sockets import CableEnd, SocketInput, cable_ends, controller_lines, socket_inputs
from interop.documents.switches import RowInput, row_inputs
from interop.standards.cautions import cautions_for
from interop.unchanging import unchanging

__all__ = ["SheetInput", "setting_sheets", "sheet_inputs"]

_ROOM_PT = 505.0  # width of the printed area: A4 less two margins of 16 mm [pt]


_AT_BUTTON = "stop-does-not-reach"
_REMARKS_AT_MOST = 6  # the template shows as many as one page holds; the rest stands in plan.json


@unchanging
class SheetInput:
    """Everything one sheet says, in the words it is printed in. Sizes in pt."""

    id: str
    foot_id: str
    place: str
    id_size: float
    place_size: float
    role: str
    role_words: str
    facts: tuple[tuple[str, str], ...]
    rows: tuple[RowInput, ...]
    sockets: tuple[SocketInput, ...]
    controller: tuple[str, ...]
    protection: tuple[str, ...]
    after: tuple[str, ...]
    remarks: tuple[Remark, ...]
    remarks_more: int
    found: tuple[Remark, ...]
    settle: tuple[str, ...]
    settle_more: int


def _link_of(plan: Mapping[str, Any], pack: Mapping[str, Any]) -> Mapping[str, Any] | None:
    return next((link for link in plan["links"] if link["id"] == pack["link"]), None)


def _role_words(pack: Mapping[str, Any], link: Mapping[str, Any] | None) -> str:
    if pack["role"] == "unmanaged":
        return "UNMANAGED - no data cable"
    if pack["role"] == "manager":
        to = ", ".join(link["reports_to"]) if link else ""
        return f"MANAGER - reports to {to or 'no controller'}"
    answers = (link["manager"] or link["poller"]) if link else None
    return f"MEMBER - answers {answers}" if answers else "MEMBER"


def _or_dash(value: object) -> str:
    return "none" if value is None else str(value)


def _address_words(pack: Mapping[str, Any]) -> str:
    """The address, with every other one that the same switches may mean."""
    also = "".join(f" or {one}" for one in pack["address_also"])
    return _or_dash(pack["address"]) + (f"{also}: the table prints one pattern for them" if also else "")


def _mode_words(pack: Mapping[str, Any]) -> str:
    by = pack["mode_set_by"]
    return _or_dash(pack["mode"]) + (f" ({by})" if by is not None else "")


def _facts(pack: Mapping[str, Any], face: DeviceFace) -> tuple[tuple[str, str], ...]:
    others = {bus: value for bus, value in (pack["addresses"] or {}).items() if value != pack["address"]}
    lines = [
        ("Address", _address_words(pack)),
        ("Mode", _mode_words(pack)),
        ("Link", _or_dash(pack["link"])),
        ("Model", face.record_name + (f", revision {face.revision}" if face.revision else "")),
    ]
    return (*lines, *((f"Address on {bus}", _or_dash(value)) for bus, value in others.items()))


def _remarks(plan: Mapping[str, Any], device: str) -> list[Mapping[str, Any]]:
    """What a reader at this pack needs: stops and cautions. Notes are in plan.json; the banner speaks of power.

    First is how far a stop reaches: it belongs at the button, accepted or not, whatever else a sheet has room for.
    """
    own = about(plan["findings"], device)
    wanted = [one for one in own if one["level"] != "note" and one["rule"] != "power-not-judged"]
    return sorted(
        wanted, key=lambda one: (one["rule"] != _AT_BUTTON, one["level"] != "stop", one["accepted"] is not None)
    )


def _sheet(
    plan: Mapping[str, Any], device: str, face: DeviceFace, ends: Sequence[CableEnd], controller: Sequence[str]
) -> SheetInput:
    pack = plan["packs"][device]
    place = face.place or plan["devices"][device]["place"] or "place not stated"
    settle, settle_more = settle_words(plan, device)
    remarks = _remarks(plan, device)
    return SheetInput(
        id=device,
        foot_id=shortened(device, 70, 9, "bold"),
        place=place,
        id_size=fit(visible(device), _ROOM_PT * 0.62, 54, 12),
        place_size=fit(visible(place), _ROOM_PT * 0.62, 28, 11),
        role=pack["role"],
        role_words=_role_words(pack, _link_of(plan, pack)),
        facts=_facts(pack, face),
        rows=row_inputs(face, pack["switches"], installed=plan["devices"][device]["installed"]),
        sockets=socket_inputs(face, ends),
        controller=tuple(controller),
        protection=face.protection,
        after=face.after_change,
        remarks=tuple(map(remark, remarks[:_REMARKS_AT_MOST])),
        remarks_more=max(0, len(remarks) - _REMARKS_AT_MOST),
        found=tuple(remark(one) for one in about(plan["found"], device) if one["level"] == "stop"),
        settle=settle,
        settle_more=settle_more,
    )


def sheet_inputs(plan: Mapping[str, Any], faces: Faces) -> tuple[SheetInput, ...]:
    """One SheetInput per pack of `plan` (plan.json contract), in walking order (`DeviceFace.order`).

    Raises FaceMismatch if `faces` does not describe what the plan sets.
    """
    ends, lines = cable_ends(plan), controller_lines(plan)
    packs = sorted(plan["packs"], key=lambda device: faces.device(device).order)
    return tuple(_sheet(plan, one, faces.device(one), ends.get(one, []), lines.get(one, ())) for one in packs)


def setting_sheets(plan: Mapping[str, Any], faces: Faces) -> bytes:
    """The setting sheets of all packs as one PDF, a sheet per pack in walking order.

    Raises as `sheet_inputs`, and settle.NotCleared if no sheet may be issued for this plan.
    """
    refuse_uncleared(plan)
    data = {
        "title": f"Setting sheets: {plan['site']['name']}",
        "foot": shortened(f"Setting sheets: {plan['site']['name']}", 195, 9),
        "fingerprint": grouped(plan["fingerprint"]),
        "draft": plan["draft"],
        "date": plan["date"],
        "joining": plan["cleared"]["joining"],
        "cautions": [caution.text for caution in cautions_for("sheet")],
        "sheets": [asdict(sheet) for sheet in sheet_inputs(plan, faces)],
    }
    return pdf("sheet.typ", data)
