"""The version of this program, in the one place that packaging and the program both read."""

from __future__ import annotations

from typing import Final

__all__ = ["VERSION"]

VERSION: Final = "0.1.0"
