"""Busbars and power runs of a site file: posts looked up, both ends of every run."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interop.records.leaves import Expected, identifier
from interop.records.nodes import shown
from interop.site.models import RunEntry
from interop.site.ranges import MOST, numbered, range_length
from interop.site.reader import Path, Reader
from interop.site.site import Run

__all__ = ["read_posts", "read_runs"]

_NAME = identifier("a busbar")


def _post(reader: Reader, path: Path, text: str) -> str | None:
    name, _, post = text.rpartition(" ")
    posts = reader.posts
    if text in posts:
        return text
    if reader.spoilt(("posts",)) or ("posts",) in reader.document.open_maps:
        return None
    if not reader.known(path, name or text, posts, "a busbar of this site with its post"):
        return None
    if posts[name] and post not in posts[name]:
        reader.fault(path, f'post "{post}" of {name}', "a post of this busbar: " + ", ".join(posts[name][:16]))
        return None
    return name


def read_posts(reader: Reader) -> None:
    """Read the busbars with their posts into ``reader.posts``."""
    for name, raw in reader.raw.posts.items():
        path: Path = ("posts", name)
        try:
            _NAME.parse(name)
        except Expected as bad:
            reader.fault(path, shown(name), bad.expected, key=True)
        pieces = raw if isinstance(raw, list) else [raw]
        if reader.touched(path):
            reader.posts[name] = ()
        elif all(isinstance(piece, str) for piece in pieces):
            reader.posts[name] = reader.ids(path, pieces)
        else:
            reader.fault(path, shown(raw), "a list of posts, such as [1..8]")
            reader.posts[name] = ()


def read_runs(reader: Reader) -> tuple[Run, ...]:
    """Read the power runs; the protective devices in them are looked up."""
    return tuple(run for key, entry in reader.raw.runs.items() for run in _read_run(reader, key, entry))


def _read_run(reader: Reader, key: str, entry: RunEntry) -> Iterator[Run]:
    here: Path = ("runs", key)
    names = reader.ids(here, key, key=True)
    near, far = ("from", entry.from_), ("to", entry.to)
    if _at_device(entry.to) and not _at_device(entry.from_):    # the run is written from its busbar
        near, far = far, near
    own, units = _at_device(near[1]), near[1].startswith("controller unit")
    if own:
        for name in names:
            reader.device(here, name, reader.devices, "a device of this site", key=True)
    for pole in ("plus", "minus", ""):
        held = getattr(entry, pole) if pole else entry
        if held is not None and held.device is not None:
            reader.record((*here, pole, "device") if pole else (*here, "device"), held.device)
    count = len(names)
    if units and count == 1:
        count = _units(reader, names[0])
    starts = _ends(reader, (*here, near[0]), near[1], count, busbars=not own)
    ends = _ends(reader, (*here, far[0]), far[1], count, busbars=True)
    at = reader.document.at(here)
    for i, (a, b) in enumerate(zip(starts, ends, strict=False)):
        name = names[i] if i < len(names) else names[0]
        if own and b is not None and name in reader.devices:
            yield Run(name, name, f"busbar {b}", at)
        elif not own and a is not None and a == b:
            reader.fault(here, f'both ends on busbar "{a}"', "two different busbars", key=True)
        elif not own and a is not None and b is not None:
            yield Run(name, f"busbar {a}", f"busbar {b}", at)


def _at_device(text: str) -> bool:
    return text == "pack" or text.startswith("controller unit")


def _units(reader: Reader, name: str) -> int:
    """How many units a run serves; 0 where that could not be read."""
    return reader.devices[name].units if name in reader.devices and name not in reader.units_lost else 0


def _ends(reader: Reader, path: Path, text: str, count: int, *, busbars: bool) -> Sequence[str | None]:
    """One end of ``count`` runs, on busbars each with its post looked up; empty where nothing can be said of them.

    The posts are looked up even where their number does not fit, or where it is not known how many are wanted (0).
    """
    if reader.spoilt(path):
        return ()
    spread = numbered(text, count) if count else None
    if spread is None and count:
        reader.uneven(path, text, count, "ends", str(path[-2]))
    length = range_length(text) or 1
    written = spread if spread is not None else numbered(text, length) or () if length <= MOST else ()
    found = [_post(reader, path, end) if busbars else end for end in written]
    return () if spread is None else found
