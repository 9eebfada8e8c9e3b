"""What a folder holds: nothing, a plan of ours and only that, or something that is not ours to touch."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from enum import Enum
from pathlib import Path, PurePosixPath
from typing import Final

from interop.unchanging import unchanging

__all__ = ["MANIFEST", "PLAN_FORMAT", "Holds", "Survey", "listed_in", "parents_of", "survey"]

MANIFEST: Final = "plan.json"
PLAN_FORMAT: Final = "interop-plan"


class Holds(Enum):
    """What stands at a name."""

    MISSING = "missing"
    NOT_A_FOLDER = "not a folder"
    NOTHING = "nothing"
    PLAN = "a plan of ours"
    STRANGERS = "files that no plan of ours lists"


@unchanging
class Survey:
    """What stands at a name; ``strangers`` are relative names, sorted.

    ``whole``: every file that the plan lists is there.
    """

    holds: Holds
    strangers: tuple[str, ...] = ()
    whole: bool = False


def listed_in(manifest: bytes) -> frozenset[str] | None:
    """The names that a plan.json lists, itself included, or None when it is no plan of ours."""
    try:
        plan = json.loads(manifest)
    except (ValueError, RecursionError):
        return None
    if not isinstance(plan, dict) or plan.get("format") != PLAN_FORMAT:
        return None
    names = plan.get("files")
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        return None
    return frozenset(names) | {MANIFEST}


def parents_of(names: frozenset[str]) -> frozenset[str]:
    """The relative names of every folder that the named files stand in."""
    return frozenset(str(parent) for name in names for parent in PurePosixPath(name).parents) - {"."}


def _entries(folder: Path, enter: frozenset[str], under: str = "") -> Iterator[tuple[str, int]]:
    """Relative name and file type of all entries, sorted; only the folders in ``enter`` are entered."""
    with os.scandir(folder) as scan:
        found = sorted(scan, key=lambda entry: entry.name)
    for entry in found:
        name = under + entry.name
        mode = entry.stat(follow_symlinks=False).st_mode
        yield name, stat.S_IFMT(mode)
        if stat.S_ISDIR(mode) and name in enter:
            yield from _entries(Path(entry.path), enter, name + "/")


def _is_listed(name: str, kind: int, files: frozenset[str], folders: frozenset[str]) -> bool:
    if kind == stat.S_IFREG:
        return name in files
    return kind == stat.S_IFDIR and name in folders


def _manifest(folder: Path) -> frozenset[str] | None:
    """The names listed by the plan in a folder, or None; nothing but a plain file is opened."""
    path = folder / MANIFEST
    try:
        plain = stat.S_ISREG(path.lstat().st_mode)
    except FileNotFoundError:
        return None
    return listed_in(path.read_bytes()) if plain else None


def survey(folder: Path) -> Survey:
    """What stands at ``folder``. Raises OSError where it cannot be read."""
    try:
        mode = folder.lstat().st_mode
    except FileNotFoundError:
        return Survey(Holds.MISSING)
    if not stat.S_ISDIR(mode):
        return Survey(Holds.NOT_A_FOLDER)
    files = _manifest(folder)
    folders = parents_of(files or frozenset())
    entries = list(_entries(folder, folders))
    if not entries:
        return Survey(Holds.NOTHING)
    if files is None:
        return Survey(Holds.STRANGERS, tuple(name for name, _ in entries))
    strangers = tuple(name for name, kind in entries if not _is_listed(name, kind, files, folders))
    if strangers:
        return Survey(Holds.STRANGERS, strangers)
    return Survey(Holds.PLAN, whole=files <= {name for name, _ in entries})
