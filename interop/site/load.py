"""Open a site file and its catalogs: the one place of this layer that touches files."""

from __future__ import annotations

import os
from pathlib import Path

from interop.records.catalog import Catalog
from interop.records.faults import Fault, InputFaults
from interop.records.nodes import SIZE, read_document
from interop.site.read import read_site, site_file
from interop.site.site import Site

__all__ = ["load_site"]


def load_site(path: Path | str, size: int = SIZE) -> Site:
    """Read a site file and the records it uses.

    Paths in messages are relative to the site file's folder, so that they do not depend on where the command runs.
    ``size`` is the largest file [bytes]. Raises :class:`InputFaults` with every fault.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except IsADirectoryError:
        raise InputFaults([Fault(path.name, 1, 1, "", "a folder", "a site file")]) from None
    except OSError as bad:
        reason = os.strerror(bad.errno) if bad.errno else "unreadable"
        raise InputFaults([Fault(path.name or str(path), 1, 1, "", reason.lower(), "a readable site file")]) from None
    document = read_document(data, path.name, size)
    raw = site_file(document)
    catalog = Catalog([(path.parent / name, str(name)) for name in raw.catalogs], size)
    return read_site(document, raw, catalog, ((path.name, data),))
