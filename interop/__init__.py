"""Plan the joining of unlike battery packs on one low-voltage busbar.

The steps of the command line as functions, loaded when first used::

    site = interop.load_site("examples/ferry-landing/site.yaml")     # InputFaults with every fault
    judged = interop.check_site(site)                                # findings as found and as wanted
    package = interop.plan_site(site, draft=False, date=None)        # package.plan, package.files: name -> bytes
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from interop._version import VERSION

__version__ = VERSION

_WHERE = {
    "InputFaults": "interop.records.faults",
    "load_site": "interop.site.load",
    "check_site": "interop.rules.judge",
    "plan_document": "interop.documents.package",
    "plan_site": "interop.documents.package",
}

__all__ = ["InputFaults", "__version__", "check_site", "load_site", "plan_document", "plan_site"]


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'interop' has no attribute '{name}'")
