"""The cautions that every document carries, in words short enough for a sheet taped to a pack.

None of them says that anything may be touched, and none stands for a code, a manual or a licence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from interop.standards.sources import COMMON_PRACTICE, Certainty, Source

__all__ = ["CAUTIONS", "LONGEST_TEXT", "Caution", "Where", "cautions_for"]

Where = Literal["sheet", "note", "folder"]
"""A setting sheet on a pack, a note on a cable, the papers of the whole plan."""

LONGEST_TEXT = 140
"""Most characters that a caution may have, so that the set fits on one card."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One statement, the source it rests on, and the documents that carry it."""

    id: str
    text: str
    source: Source
    where: frozenset[Where]


def cautions_for(where: Where) -> tuple[Caution, ...]:
    """The cautions that one kind of document carries, in the order they are printed."""
    return tuple(one for one in CAUTIONS if where in one.where)


def _in(*where: Where) -> frozenset[Where]:
    return frozenset(where)


# OSHA clauses on tools, eyes and jewellery: 1910.335(a) in one copy, 1910.333(c)(8) from memory.

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "isolate-first",
        "Before work: isolate this pack and every other source, lock them open, and prove it with a meter.",
        COMMON_PRACTICE,
        _in("sheet", "folder"),
    ),
    Caution(
        "live-terminals",
        "Treat pack terminals as live at all times, pack on or off. Do not touch them; keep their covers on.",
        COMMON_PRACTICE,
        _in("sheet", "folder"),
    ),
    Caution(
        "arc-and-burn",
        "A short circuit can give thousands of amperes: arc, burns, molten metal, at low voltage too.",
        COMMON_PRACTICE,
        _in("sheet", "folder"),
    ),
    Caution(
        "guard-live-parts",
        "Guard live parts at 50 V or more against contact. A full bank of this class is above 50 V.",
        Source("OSHA", "29 CFR 1910.303(g)(2)(i)", Certainty.V1),
        _in("sheet", "folder"),
    ),
    Caution(
        "insulated-tools",
        "Use insulated tools. Lay no tool and no loose metal on a pack.",
        Source("OSHA", "29 CFR 1910.335(a)(2)(i)", Certainty.V1),
        _in("sheet", "folder"),
    ),
    Caution(
        "eye-protection",
        "Wear eye or face protection whenever live power terminals are uncovered.",
        Source("OSHA", "29 CFR 1910.335(a)(1)(v)", Certainty.V1),
        _in("sheet", "folder"),
    ),
    Caution(
        "no-jewellery",
        "Take off rings, watches, chains and everything else of metal before you start.",
        Source("OSHA", "29 CFR 1910.333(c)(8)", Certainty.MEM),
        _in("sheet", "folder"),
    ),
    Caution(
        "voltage-difference",
        "Never connect packs whose voltages differ beyond the plan's limit. Measure across the open device.",
        COMMON_PRACTICE,
        _in("sheet", "folder"),
    ),
    Caution(
        "data-cables-out-first",
        "Take data cables out before any minus cable, lug or device is opened. Put them back last.",
        COMMON_PRACTICE,
        _in("sheet", "note", "folder"),
    ),
    Caution(
        "no-switch-change-live",
        "Change switches and data plugs only with this device off, unless its manual says otherwise.",
        COMMON_PRACTICE,
        _in("sheet", "note", "folder"),
    ),
    Caution(
        "this-cable-only",
        "This cable fits only the two sockets named here. A lead that looks the same is not the same.",
        COMMON_PRACTICE,
        _in("note"),
    ),
    Caution(
        "live-after-stop",
        "After a stop, pack terminals stay live; busbar and inverter may too. Measure before you reach in.",
        COMMON_PRACTICE,
        _in("sheet", "folder"),
    ),
    Caution(
        "one-plan",
        "Every sheet and note must show the same plan fingerprint. If one differs, stop and print anew.",
        COMMON_PRACTICE,
        _in("sheet", "note", "folder"),
    ),
    Caution(
        "defer",
        "Local codes, makers' manuals and licensed practice come before this paper. If they differ, stop.",
        COMMON_PRACTICE,
        _in("sheet", "note", "folder"),
    ),
)
