"""Small banks for tests: a site file from a few lines, over the records of the scenarios."""

from __future__ import annotations

from pathlib import Path

from interop.circuit.picture import Picture, bank_picture
from interop.site.load import load_site
from interop.wiring.stage import as_wanted

__all__ = ["picture"]

RECORDS = Path(__file__).parents[1] / "scenarios" / "records"


def picture(folder: Path, text: str) -> Picture:
    """The picture of the only bank of a site; ``text``: everything after the name and the catalogs."""
    if not (folder / "records").exists():
        (folder / "records").symlink_to(RECORDS, target_is_directory=True)
    (folder / "site.yaml").write_text(f"interop: site/1\nname: Net loft\ncatalogs: [records]\n{text}", encoding="utf-8")
    stage = as_wanted(load_site(folder / "site.yaml"))
    (bank,) = stage.banks
    return bank_picture(stage, bank)
