"""The folder of a plan, put in place whole or not at all.

The new folder is written beside the target under a hidden name, synced, and takes the target's place by one
exchange of names; where the system has none, by two renames. A run that is killed at any point leaves the old
folder or the new one whole, and the next run clears up, or completes what lies between two renames:

    target           beside it, hidden              what the next run does
    old or nothing   new, perhaps in part           removes the new one
    new              old, perhaps in part           removes the old one
    nothing          old whole and new whole        puts the new one in place (only between two renames)

Only folders that hold nothing but a plan of ours are ever removed. ``plan.json`` is written first and removed
last, so that a folder in part can still be told from a stranger's.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import Final

from interop.cli.exchange import exchange_names
from interop.cli.place import FolderCause, FolderRefused, FolderTrouble, Place, check, in_the_way, place_of
from interop.cli.survey import MANIFEST, Holds, listed_in, parents_of, survey

__all__ = ["FolderRefused", "write_plan_folder"]

_FILE_MODE: Final = 0o644
_FOLDER_MODE: Final = 0o755

Exchange = Callable[[Path, Path], bool]
Step = Callable[[str], None]


def _nothing(_: str) -> None:
    """Do nothing at a step."""


def write_plan_folder(
    target: Path, files: Mapping[str, bytes], *, exchange: Exchange = exchange_names, step: Step = _nothing
) -> None:
    """Put ``files`` (relative name with "/", content) in place as the folder ``target``, whole or not at all.

    ``files`` holds "plan.json", whose "format" is "interop-plan" and whose "files" is the list of all other
    names. ``exchange`` changes two names in one step or answers False; ``step`` is told each step once done.
    Raises FolderRefused with nothing touched, ValueError where ``files`` does not agree with its own list,
    and OSError where the machine fails (disk full); the target is then the old folder or the new one, whole.
    """
    _agree(files)
    place = place_of(target)
    with _one_at_a_time(target.parent):
        _clear_up(place)
        try:
            _write(place.new, files, step)
            _put_in_place(place, exchange, step)
        except PermissionError as error:
            _undo(place)
            barred = Path(error.filename or target)
            raise FolderRefused(FolderCause(FolderTrouble.NOT_ALLOWED, barred)) from error
        except BaseException:
            _undo(place)
            raise
        for left in (place.new, place.old):
            _remove_left_over(left, step)


def _agree(files: Mapping[str, bytes]) -> None:
    """Raise ValueError unless plan.json lists exactly the other files, each by a plain relative name."""
    listed = listed_in(files.get(MANIFEST, b""))
    if listed is None:
        raise ValueError(f"the files of a plan need a {MANIFEST} with a format and a list of files")
    if listed != files.keys():
        odd = ", ".join(sorted(listed ^ files.keys()))
        raise ValueError(f"{MANIFEST} does not list exactly the other files: {odd}")
    for name in files:
        path = PurePosixPath(name)
        if str(path) != name or path.is_absolute() or ".." in path.parts or "\\" in name or "\0" in name:
            raise ValueError(f"not a plain relative name: {name!r}")


@contextmanager
def _one_at_a_time(parent: Path) -> Iterator[None]:
    """Let runs that write beside one another take turns; the lock ends with the process, however it ends."""
    try:
        import fcntl
    except ImportError:  # a system without it: two runs at once are then up to the user
        yield
        return
    handle = os.open(parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        with suppress(OSError):  # some network file systems lock no folders
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


# What earlier runs left


def _clear_up(place: Place) -> None:
    """Complete or clear what a killed run left. Raises FolderRefused before anything is touched."""
    check(place)
    vacant = survey(place.target).holds in {Holds.MISSING, Holds.NOTHING}
    if vacant and survey(place.old).whole:  # killed between two renames: the new one was whole by then
        source = place.new if survey(place.new).whole else place.old
        source.rename(place.target)
        _sync(place.target.parent)
    for left in (place.new, place.old):
        _remove_left_over(left)


def _undo(place: Place) -> None:
    """Bring the target back to what it was, as far as the machine lets us; the next run does the rest."""
    with suppress(OSError):
        if survey(place.target).holds is Holds.MISSING and survey(place.old).holds is Holds.PLAN:
            place.old.rename(place.target)
        _remove_left_over(place.new)


def _remove_left_over(folder: Path, step: Step = _nothing) -> None:
    """Remove a hidden folder of ours, plan.json last. One that holds anything else is left alone."""
    if in_the_way(folder) or survey(folder).holds is Holds.MISSING:
        return
    for path, folders, names in os.walk(folder, topdown=False):
        for name in sorted(names):
            if Path(path) != folder or name != MANIFEST:
                (Path(path) / name).unlink()
                step("old file removed")
        for name in folders:
            (Path(path) / name).rmdir()
    (folder / MANIFEST).unlink(missing_ok=True)
    step("old plan.json removed")
    folder.rmdir()


# The new folder


def _write(folder: Path, files: Mapping[str, bytes], step: Step) -> None:
    """Write every file and folder, and sync each; plan.json before any other."""
    folders = [folder, *(folder / name for name in sorted(parents_of(frozenset(files))))]
    for path in folders:
        path.mkdir()
        path.chmod(_FOLDER_MODE)  # whatever the user's mask is
        step("folder made")
        if path == folder:
            _write_file(folder / MANIFEST, files[MANIFEST], step)
    for name in sorted(files.keys() - {MANIFEST}):
        _write_file(folder / name, files[name], step)
    for path in reversed(folders):
        _sync(path)
    step("synced")


def _write_file(path: Path, content: bytes, step: Step) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, _FILE_MODE)
    with os.fdopen(handle, "wb") as file:
        os.fchmod(handle, _FILE_MODE)
        step("file made")
        file.write(content)
        file.flush()
        os.fsync(handle)
    step("file written")


def _sync(folder: Path) -> None:
    """Bring a folder's entries to the disk, on file systems that can sync a folder."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno != errno.EINVAL:
            raise
    finally:
        os.close(handle)


def _put_in_place(place: Place, exchange: Exchange, step: Step) -> None:
    """Let the new folder take the target's place; the old one, if any, then has a hidden name."""
    if survey(place.target).holds in {Holds.MISSING, Holds.NOTHING}:
        place.new.rename(place.target)  # one step, onto an empty folder too
        step("in place")
    elif exchange(place.new, place.target):
        step("in place")
        _refuse_late(place, place.new, back=lambda: exchange(place.new, place.target))
    else:
        _two_renames(place, step)
    _sync(place.target.parent)


def _two_renames(place: Place, step: Step) -> None:
    place.target.rename(place.old)
    step("moved aside")
    _refuse_late(place, place.old, back=lambda: place.old.rename(place.target))
    place.new.rename(place.target)
    step("in place")


def _refuse_late(place: Place, old: Path, back: Callable[[], object]) -> None:
    """Undo the exchange where somebody put a file into the old folder while the new one was being written."""
    seen = survey(old)
    if seen.holds is not Holds.PLAN:
        back()
        raise FolderRefused(FolderCause(FolderTrouble.STRANGERS, place.target, seen.strangers))
