"""Open a site file and its catalogs: the one place of this layer that touches files."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path

from interop.records.catalog import Catalog, read_file
from interop.records.faults import Fault, InputFaults, nearest
from interop.records.nodes import SIZE, Gap, read_document, shown
from interop.site.read import bind_site, read_site
from interop.site.reader import Known
from interop.site.site import Site

__all__ = ["load_site"]


def load_site(path: Path | str, size: int = SIZE, rules: Callable[[], Collection[str]] | None = None) -> Site:
    """Read a site file and the records it uses.

    Paths in messages are relative to the site file's folder, so that they do not depend on where the command runs.
    ``size`` is the largest file [bytes]. ``rules`` gives the names of all rules (which this layer does not know); it is
    asked only where the site accepts something. Raises :class:`InputFaults` with every fault.
    """
    path = Path(path)
    try:
        data = read_file(path, size)
    except IsADirectoryError:
        raise InputFaults([Fault(str(path), 1, 1, "", "a folder", "a site file")]) from None
    except OSError as bad:
        reason = os.strerror(bad.errno).lower() if bad.errno else "unreadable"
        raise InputFaults([Fault(str(path), 1, 1, "", reason, "a readable site file")]) from None
    except ValueError:  # a NUL in the name
        raise InputFaults([Fault(str(path), 1, 1, "", "no name of a file", "a readable site file")]) from None
    document = read_document(data, path.name, size)
    bound = bind_site(document)
    if bound.model is None:
        raise InputFaults(bound.faults)
    faults = list(bound.faults)
    whole = not any(lost[0] == "catalogs" for lost in bound.spoilt)
    folders = []
    for i, name in enumerate(bound.model.catalogs):
        folder = path.parent / name
        if isinstance(name, Gap):
            continue
        if folder.is_dir():
            folders.append((folder, str(name)))
            continue
        whole = False
        what = "a file" if folder.exists() else "no such folder"
        faults.append(document.fault(("catalogs", i), f"{shown(name)}, {what}", "a folder of records, as seen from "
                                     "the folder of the site file", _near_folder(path.parent, name)))
    catalog = Catalog(folders, size, faults)
    site = read_site(document, bound.model, catalog, ((path.name, data),),
                     Known(tuple(faults), bound.spoilt, whole and catalog.whole, rules))
    return replace(site, shelf=catalog.of_kinds)


_LISTED = 1000
"""Folders beside it that a name is compared with."""


def _near_folder(home: Path, name: str) -> str | None:
    """The folder beside the one that was named whose name is nearest to it, as seen from the site file."""
    beside, slash, last = name.rstrip("/").rpartition("/")
    try:
        with os.scandir(home / (beside + slash)) as entries:
            known = sorted(entry.name for entry in entries if entry.is_dir())[:_LISTED]
    except (OSError, ValueError):  # there is no such folder either, or no name of one
        return None
    near = nearest(last, known)
    return None if near is None else f"{beside}{slash}{near}"
