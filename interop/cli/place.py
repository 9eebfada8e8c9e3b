"""Whether a target can take a plan: the causes of a refusal, found before anything is touched."""

from __future__ import annotations

import os
from enum import Enum
from pathlib import Path
from typing import Final

from interop.cli.survey import MANIFEST, Holds, Survey, survey
from interop.unchanging import unchanging

__all__ = ["FolderCause", "FolderRefused", "FolderTrouble", "Place", "check", "in_the_way", "place_of"]

_NAMES_SHOWN: Final = 5


class FolderTrouble(Enum):
    """Why a target cannot take a plan; the value is the text."""

    NO_NAME = "is not the name of a folder to make; name one"
    NO_PARENT = "stands in a folder that does not exist"
    LINK = "is a symbolic link; name the folder itself"
    FILE = "is not a folder"
    STRANGERS = "holds what no plan of this program lists"
    LEFT_OVER = "is in the way beside the target and holds what no plan of this program lists"
    MOUNTED = "is a mounted file system and cannot be exchanged as a whole; name a folder in it"
    NOT_ALLOWED = "may not be changed by this user"


@unchanging
class FolderCause:
    """One cause of a refusal: what is wrong with which path, and the names found in the way."""

    trouble: FolderTrouble
    path: Path
    names: tuple[str, ...] = ()

    def __str__(self) -> str:
        more = len(self.names) - _NAMES_SHOWN
        shown = ", ".join(self.names[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
        return f"{self.path} {self.trouble.value}" + (f": {shown}" if shown else "")


class FolderRefused(Exception):
    """The target cannot take a plan; nothing was touched. ``causes`` says why."""

    def __init__(self, *causes: FolderCause) -> None:
        self.causes = causes
        super().__init__("\n".join(map(str, causes)))


@unchanging
class Place:
    """A target and the two hidden names beside it."""

    target: Path
    new: Path
    old: Path


def place_of(target: Path) -> Place:
    """The names to work with. Raises FolderRefused where nothing can be made at ``target``."""
    if target.name in {"", ".", ".."}:
        raise FolderRefused(FolderCause(FolderTrouble.NO_NAME, target))
    if not target.parent.is_dir():
        raise FolderRefused(FolderCause(FolderTrouble.NO_PARENT, target))
    if not _may_change(target.parent):
        raise FolderRefused(FolderCause(FolderTrouble.NOT_ALLOWED, target.parent))
    return Place(
        target,
        target.with_name(f".interop-new-{target.name}"),
        target.with_name(f".interop-old-{target.name}"),
    )


def check(place: Place) -> None:
    """Raise FolderRefused with every cause why the target, or a hidden name beside it, may not be touched."""
    found = (_unfit(place.target), in_the_way(place.new), in_the_way(place.old))
    causes = [cause for cause in found if cause]
    if causes:
        raise FolderRefused(*causes)


def in_the_way(path: Path) -> FolderCause | None:
    """Why a hidden name beside the target cannot be cleared, or None."""
    seen = _survey(path)
    if isinstance(seen, FolderCause):
        return seen
    if seen.holds in {Holds.MISSING, Holds.NOTHING, Holds.PLAN}:
        return _locked(path)
    if seen.strangers == (MANIFEST,) and _is_plain_file(path / MANIFEST):
        return _locked(path)  # killed while its very first file was being written
    return FolderCause(FolderTrouble.LEFT_OVER, path, seen.strangers)


def _unfit(path: Path) -> FolderCause | None:
    """Why the target cannot take a plan, or None."""
    if path.is_symlink():
        return FolderCause(FolderTrouble.LINK, path)
    seen = _survey(path)
    if isinstance(seen, FolderCause):
        return seen
    if seen.holds is Holds.NOT_A_FOLDER:
        return FolderCause(FolderTrouble.FILE, path)
    if seen.holds is Holds.STRANGERS:
        return FolderCause(FolderTrouble.STRANGERS, path, seen.strangers)
    if seen.holds is not Holds.MISSING and path.is_mount():
        return FolderCause(FolderTrouble.MOUNTED, path)
    return _locked(path)


def _survey(path: Path) -> Survey | FolderCause:
    try:
        return survey(path)
    except PermissionError as error:
        return FolderCause(FolderTrouble.NOT_ALLOWED, Path(error.filename or path))


def _locked(folder: Path) -> FolderCause | None:
    """The first folder, of the given one and all below, whose entries this user may not change, or None."""
    for path, _, _ in sorted(os.walk(folder)):
        if not _may_change(Path(path)):
            return FolderCause(FolderTrouble.NOT_ALLOWED, Path(path))
    return None


def _may_change(folder: Path) -> bool:
    return os.access(folder, os.R_OK | os.W_OK | os.X_OK)


def _is_plain_file(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()
