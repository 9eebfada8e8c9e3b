"""Small sites on disk and the installed command run on them, for tests of the command line."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

__all__ = ["CATALOGS", "INSTALLED", "ROOT", "Done", "run", "site", "tree"]

ROOT = Path(__file__).resolve().parents[2]
CATALOGS = ROOT / "catalogs"
INSTALLED = Path(sys.executable).with_name("interop")
Done = subprocess.CompletedProcess[str]


def run(folder: Path, *args: str, env: Mapping[str, str] | None = None) -> Done:
    """Run the installed command in a folder."""
    given = {**os.environ, **(env or {})}
    return subprocess.run([str(INSTALLED), *args], cwd=folder, env=given, capture_output=True, encoding="utf-8",
                          check=False, timeout=120)


def site(folder: Path, text: str, name: str = "site.yaml", catalogs: Sequence[str] = ()) -> Path:
    """Write a site file that begins with the usual three lines; catalogs as seen from its folder."""
    folder.mkdir(parents=True, exist_ok=True)
    listed = ", ".join(catalogs or (os.path.relpath(CATALOGS, folder),))
    path = folder / name
    path.write_text(f"interop: site/1\nname: Boat house\ncatalogs: [{listed}]\n{text}", encoding="utf-8")
    return path


def tree(folder: Path) -> dict[str, bytes | None]:
    """Every name below a folder with its bytes (None for a folder)."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
            for path in sorted(folder.rglob("*"))}
