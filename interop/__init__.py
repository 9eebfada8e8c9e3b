"""Planner for joining unlike battery packs on one low-voltage busbar."""

from __future__ import annotations

from typing import Final

from interop._version import VERSION

__all__ = ["__version__"]

__version__: Final = VERSION
