"""How much stored energy may stand in one place of a dwelling."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from interop.standards.sources import Certainty, Source

__all__ = ["MOST_IN_ONE_PLACE_KWH", "MOST_IN_ONE_UNIT_KWH", "STORAGE_ENERGY_SOURCE"]

# Chapter 15 is about dwellings of one and two families; above its limits the rest of the standard holds, which is for
# an authority to judge. The limit is meant for each place of a kind (2023 edition; 2020 has the same figures).

STORAGE_ENERGY_SOURCE = Source("NFPA 855", "chapter 15", Certainty.V2)

MOST_IN_ONE_UNIT_KWH = 20.0
"""Most energy of one unit [kWh]."""

MOST_IN_ONE_PLACE_KWH: Mapping[str, float] = MappingProxyType(
    {"utility": 40.0, "storage": 40.0, "garage": 80.0, "detached": 80.0, "outside": 80.0}
)
"""Most energy [kWh] by place: utility closet or storage space, attached garage, detached building, outside."""
