"""``python -m interop``: the same as the command ``interop``."""

from __future__ import annotations

import sys

from interop.cli import main

__all__: list[str] = []

if __name__ == "__main__":
    sys.exit(main())
