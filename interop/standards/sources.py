"""Where a number comes from, and how sure we are of it.

Every table of `interop.standards` carries a `Source` beside it. The certainties and their meaning are those
of the project's list of reference values.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

__all__ = ["COMMON_PRACTICE", "PROJECT_DEFAULT", "Certainty", "Source"]


class Certainty(Enum):
    """How a published value was checked. The member's value is the mark that is printed."""

    PRIMARY = "PRIMARY"
    V2 = "V2"
    CALC = "V1+calc"
    V1 = "V1"
    DERIVED = "DERIVED"
    PRACTICE = "PRACTICE"
    DEFAULT = "DEFAULT"
    MEM = "MEM"

    @property
    def meaning(self) -> str:
        """One sentence for a reader who has never seen the mark."""
        return _MEANINGS[self]

    @property
    def may_stop(self) -> bool:
        """Whether a stop may rest on a value of this certainty alone. A value from memory only warns."""
        return self is not Certainty.MEM


@dataclass(frozen=True, slots=True)
class Source:
    """A document, the place in it, and how sure we are. `clause` is empty where there is none to name."""

    title: str
    clause: str
    certainty: Certainty

    def __str__(self) -> str:
        """As printed beside a number: title, clause and mark."""
        place = f"{self.title}, {self.clause}" if self.clause else self.title
        return f"{place} ({self.certainty.value})"


_MEANINGS = {
    Certainty.PRIMARY: "the text of the standard itself was read",
    Certainty.V2: "two independent copies agree",
    Certainty.CALC: "one copy was read and an independent formula gives the same",
    Certainty.V1: "one copy was read",
    Certainty.DERIVED: "computed here from other values",
    Certainty.PRACTICE: "common practice of the trade, without a published clause",
    Certainty.DEFAULT: "a default proposed by this project",
    Certainty.MEM: "from memory: warn, and never stop on it alone",
}

COMMON_PRACTICE = Source("common practice", "", Certainty.PRACTICE)
PROJECT_DEFAULT = Source("default of this project", "", Certainty.DEFAULT)
