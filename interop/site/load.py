"""Open a site file and its catalogs: the one place of this layer that touches files."""

from __future__ import annotations

import os
from pathlib import Path

from interop.records.catalog import Catalog, read_file
from interop.records.faults import Fault, InputFaults
from interop.records.nodes import SIZE, read_document, shown
from interop.site.read import bind_site, read_site
from interop.site.reader import Known
from interop.site.site import Site

__all__ = ["load_site"]


def load_site(path: Path | str, size: int = SIZE) -> Site:
    """Read a site file and the records it uses.

    Paths in messages are relative to the site file's folder, so that they do not depend on where the command runs.
    ``size`` is the largest file [bytes]. Raises :class:`InputFaults` with every fault.
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
    before = len(faults)
    folders = [(path.parent / name, str(name)) for name in bound.model.catalogs]
    for i, (folder, name) in enumerate(folders):
        if not folder.is_dir():
            what = "a file" if folder.exists() else "no such folder"
            faults.append(document.fault(("catalogs", i), f"{shown(name)}, {what}", "a folder of records, as seen from "
                                         "the folder of the site file"))
    catalog = Catalog([(folder, name) for folder, name in folders if folder.is_dir()], size, faults)
    whole = len(faults) == before
    return read_site(document, bound.model, catalog, ((path.name, data),),
                     Known(tuple(faults), bound.spoilt, whole))
