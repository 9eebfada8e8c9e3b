"""Where the NEC says what, by edition: clauses move, so that none is named without its edition.

Numbers of the 2020 and 2023 editions, and those that differed in 2017. That of 2026 was rearranged and was not read:
its clauses are told by their numbers of 2023.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from interop.standards.sources import Certainty

__all__ = ["CLAUSES", "EDITIONS", "nec_clause"]

EDITIONS = ("NEC 2017", "NEC 2020", "NEC 2023", "NEC 2026")
"""The editions that a site may name."""

_UNREAD = "NEC 2026"

CLAUSES: Mapping[str, tuple[str, str, Certainty]] = MappingProxyType(
    {
        # what is asked: as numbered from 2020 on, as numbered in 2017, how sure
        "ampacity": ("table 310.16", "table 310.15(B)(16)", Certainty.V2),
        "parallel conductors": ("310.10(G)", "310.10(H)", Certainty.V2),
        "device on a conductor": ("240.4(B) to (D)", "240.4(B) to (D)", Certainty.V2),
        "device in each ungrounded conductor": ("240.15(A)", "240.15(A)", Certainty.V2),
        "continuous current": ("210.20(A) and article 706", "210.20(A) and article 706", Certainty.V1),
        "conductor for a continuous current": ("210.19(A) and article 706", "210.19(A) and article 706", Certainty.V1),
        "device for DC": ("article 706", "article 706", Certainty.V2),
        "means of isolation": ("706.15", "706.7", Certainty.V2),
    }
)
"""Clauses by what they are about. The number 706.7 is from memory, and so is 210.19(A)."""


def nec_clause(edition: str, about: str) -> str:
    """Return edition and clause, as printed: ``NEC 2020, 310.10(G)``. Raises `KeyError` for what is not listed, and
    `ValueError` for another edition.
    """
    if edition not in EDITIONS:
        raise ValueError(f"an edition is one of {', '.join(EDITIONS)}, got {edition!r}")
    now, before, _ = CLAUSES[about]
    if edition == _UNREAD:
        return f"{edition} ({now} as numbered in NEC 2023)"
    return f"{edition}, {before if edition == 'NEC 2017' else now}"
