"""Planner for joining unlike battery packs on one low-voltage busbar."""

from __future__ import annotations

from interop._version import VERSION as __version__

__all__ = ["__version__"]
