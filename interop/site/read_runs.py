"""Busbars and power runs of a site file: posts looked up, both ends of every run."""

from __future__ import annotations

from interop.records.leaves import Expected, identifier
from interop.records.nodes import shown
from interop.site.ranges import numbered
from interop.site.reader import Path, Reader
from interop.site.site import Run

__all__ = ["read_posts", "read_runs"]

_NAME = identifier("a busbar")


def _post(reader: Reader, path: Path, text: str) -> str | None:
    name, _, post = text.rpartition(" ")
    posts = reader.posts
    if text in posts:
        return text
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
        if all(isinstance(piece, str) for piece in pieces):
            reader.posts[name] = reader.ids(path, pieces)
        else:
            reader.fault(path, shown(raw), "a list of posts, such as [1..8]")
            reader.posts[name] = ()


def read_runs(reader: Reader) -> tuple[Run, ...]:
    """Read the power runs; the protective devices in them are looked up."""
    runs = []
    for key, entry in reader.raw.runs.items():
        here: Path = ("runs", key)
        names = reader.ids(here, key, key=True)
        at = reader.document.at(here)
        units = entry.from_.startswith("controller unit")
        count = len(names)
        if units and count == 1:
            count = reader.devices[names[0]].units if names[0] in reader.devices else 1
        ends = {f: numbered(getattr(entry, "from_" if f == "from" else f), count) for f in ("from", "to")}
        for field, found in ends.items():
            if found is None and count:
                reader.uneven((*here, field), entry.from_ if field == "from" else entry.to, count, "ends", key)
        for pole in ("plus", "minus", ""):
            held = getattr(entry, pole) if pole else entry
            if held is not None and held.device is not None:
                reader.record((*here, pole, "device") if pole else (*here, "device"), held.device)
        if ends["from"] is None or ends["to"] is None:
            continue
        own = entry.from_ == "pack" or units
        for i, (start, end) in enumerate(zip(ends["from"], ends["to"], strict=True)):
            name = names[i] if i < len(names) else names[0]
            if own and not reader.device(here, name, reader.devices, "a device of this site", key=True):
                continue
            a = name if own else _post(reader, (*here, "from"), start)
            b = _post(reader, (*here, "to"), end)
            if not own and a is not None and a == b:
                reader.fault(here, f'both ends on busbar "{a}"', "two different busbars", key=True)
            if a is not None and b is not None:
                runs.append(Run(name, a, f"busbar {b}", at) if own else Run(name, f"busbar {a}", f"busbar {b}", at))
    return tuple(runs)
