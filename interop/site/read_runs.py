"""Busbars and power runs of a site file: posts looked up, both ends and both poles of every run."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from interop.records.catalog import LoadedRecord
from interop.records.leaves import Expected, Span, identifier, normal_id
from interop.records.nodes import Gap, shown
from interop.site.models import PoleEntry, RunEntry
from interop.site.ranges import MOST, numbered, range_length
from interop.site.reader import Path, Reader
from interop.site.site import Busbar, InRun, Pole, Run
from interop.unchanging import unchanging

__all__ = ["read_posts", "read_runs"]

_NAME = identifier("a busbar")
_POSTS = "a list of posts, such as [1..8], or a map of posts and model"
_IN_RUN = ("protective device",)
_HEAD_AGAIN = re.compile(r"(?P<head>\S*?)(?P<first>[0-9]+)\s*\.\.\s*(?P=head)(?=[0-9])")
"""A range whose name is said twice, ``A1..A3``; it is read as ``A1..3``."""


# ---- busbars ----

def read_posts(reader: Reader) -> None:
    """Read the busbars with their posts into ``reader.posts`` and ``reader.busbars``."""
    for name, raw in reader.raw.posts.items():
        path: Path = ("posts", name)
        try:
            _NAME.parse(name)
        except Expected as bad:
            reader.fault(path, shown(name), bad.expected, key=True)
        whole = isinstance(raw, Mapping)
        loaded = _model(reader, path, raw) if whole else None
        listed = not whole or "posts" in raw
        reader.posts[name] = (_posts(reader, (*path, "posts") if whole else path, raw["posts"] if whole else raw)
                              if listed else ())
        reader.busbars[name] = Busbar(name, reader.posts[name], loaded, reader.document.at(("posts", name)))


def _posts(reader: Reader, path: Path, raw: Any) -> tuple[str, ...]:
    pieces = list(raw) if isinstance(raw, (list, tuple)) else [raw]
    if reader.touched(path):
        return ()
    if pieces and all(isinstance(piece, str) for piece in pieces):
        return reader.ids(path, pieces)
    reader.fault(path, shown(raw), _POSTS)
    return ()


def _model(reader: Reader, path: Path, raw: Mapping[str, Any]) -> LoadedRecord | None:
    for field in raw:
        if field not in ("posts", "model"):
            reader.fault((*path, field), f"field {shown(field)}", "posts or model", key=True)
    model = raw.get("model")
    if model is None or isinstance(model, Gap):
        return None
    if not isinstance(model, str):
        reader.fault((*path, "model"), shown(model), "the id of a busbar's record")
        return None
    return _of_kind(reader, (*path, "model"), model, ("busbar",))


def _of_kind(reader: Reader, path: Path, name: str, kinds: tuple[str, ...]) -> LoadedRecord | None:
    """Look a record up that must be of one of some kinds."""
    loaded = reader.record(path, name)
    if loaded is None or loaded.lost("kind"):
        return None
    if loaded.record.kind not in kinds:
        reader.fault(path, f'"{loaded.record.id}", a record of kind {loaded.record.kind}',
                     f"a record of kind {' or '.join(kinds)}")
        return None
    return loaded


def _post(reader: Reader, path: Path, text: str) -> tuple[str, str | None] | None:
    """The busbar and post that a text names."""
    name, _, post = text.rpartition(" ")
    posts = reader.posts
    if text in posts:
        return text, None
    if reader.spoilt(("posts",)) or ("posts",) in reader.document.open_maps:
        return None
    if not reader.known(path, name or text, posts, "a busbar of this site with its post"):
        return None
    raw = reader.raw.posts[name]
    if isinstance(raw, Mapping) and "posts" not in raw and not reader.touched(("posts", name)):
        reader.fault(path, f'post "{post}" of {name}',
                     f'"{name}" alone, which lists no posts, or a list of posts there')
        return None
    if posts[name] and post not in posts[name]:
        reader.fault(path, f'post "{post}" of {name}', "a post of this busbar: " + ", ".join(posts[name][:16]))
        return None
    return name, post


# ---- runs ----

@unchanging
class _Far:
    """One end of one run on a busbar, or on the terminals of another pack: by pole, where the poles differ."""

    owner: str
    post: str | None


def read_runs(reader: Reader) -> tuple[Run, ...]:
    """Read the power runs; what is in them is looked up, and no terminal of a device gets two runs of its own."""
    runs: list[Run] = []
    first: dict[tuple[str, int | None], int] = {}
    for key, entry in reader.raw.runs.items():
        told: set[str] = set()
        for run in _read_run(reader, key, entry):
            line = first.setdefault((run.id, run.unit), run.at[0])
            if run.a in reader.devices and line != run.at[0] and run.id not in told:
                told.add(run.id)
                what = f"{run.id} unit {run.unit}" if run.unit is not None else run.id
                reader.fault(("runs", key), f"a second run of {what}",
                             f"one run of each device (first on line {line}); conductors side by side are parallel: 2",
                             key=True)
            runs.append(run)
    return tuple(runs)


def _read_run(reader: Reader, key: str, entry: RunEntry) -> Iterator[Run]:
    here: Path = ("runs", key)
    names = reader.ids(here, key, key=True)
    near, far = ("from", entry.from_), ("to", entry.to)
    turned = _at_device(entry.to) and not _at_device(entry.from_)    # the run is written from its busbar
    if turned:
        near, far = far, near
    own, units = _at_device(near[1]), near[1].startswith("controller unit")
    if own:
        for name in names:
            reader.device(here, name, reader.devices, "a device of this site", key=True)
    count = len(names)
    if units and count == 1:
        count = _units(reader, names[0])
    poles = {pole: _Wired(reader, here, entry, pole) for pole in ("plus", "minus")}
    starts = _ends(reader, (*here, near[0]), near[1], count, at_device=own)
    ends = _ends(reader, (*here, far[0]), far[1], count, at_device=False)
    others = {(pole, end): _other(reader, here, entry, pole, end, count)
              for pole in poles for end in ("from", "to")}
    if own:
        _no_post_at_device(reader, here, entry, near[0])
    at = reader.document.at(here)
    for i, (a, b) in enumerate(zip(starts, ends, strict=False)):
        name = names[i] if i < len(names) else names[0]
        a_end = a if not own else _Far(name, None) if name in reader.devices else None
        if a_end is None or b is None or not _two(reader, here, a_end, b):
            continue
        built = {pole: wired.pole(*(_same_bar(reader, here, pole, ends_of[i] if i < len(ends_of) else None, usual)
                                    for ends_of, usual in ((others[pole, near[0]], a_end), (others[pole, far[0]], b))))
                 for pole, wired in poles.items()}
        yield Run(name, a_end.owner, b.owner, at, i + 1 if units else None, built["plus"], built["minus"], entry.laid,
                  entry.through_wall)


def _two(reader: Reader, here: Path, a: _Far, b: _Far) -> bool:
    """Whether a run joins two things; a fault if not."""
    if a.owner != b.owner:
        return True
    if a.owner.startswith("busbar "):
        reader.fault(here, f'both ends on busbar "{a.owner[7:]}"', "two different busbars", key=True)
    else:
        reader.fault(here, f"both ends on {a.owner}", "a busbar, or another pack", key=True)
    return False


def _no_post_at_device(reader: Reader, here: Path, entry: RunEntry, side: str) -> None:
    for pole in ("plus", "minus"):
        held: PoleEntry | None = getattr(entry, pole)
        text = None if held is None else held.from_ if side == "from" else held.to
        if text is not None:
            reader.fault((*here, pole, side), shown(text), "nothing: at this end both poles begin at the device")


def _at_device(text: str) -> bool:
    return text in ("pack", "device") or text.startswith("controller unit")


def _units(reader: Reader, name: str) -> int:
    """How many units a run serves; 0 where that could not be read."""
    return reader.devices[name].units if name in reader.devices and name not in reader.units_lost else 0


def _ends(reader: Reader, path: Path, text: str, count: int, *, at_device: bool) -> Sequence[_Far | None]:
    """One end of ``count`` runs, on busbars each with its post looked up; empty where nothing can be said of them.

    The posts are looked up even where their number does not fit, or where it is not known how many are wanted (0).
    """
    if reader.spoilt(path):
        return ()
    text = _HEAD_AGAIN.sub(r"\g<head>\g<first>..", text)
    spread = numbered(text, count) if count else None
    if spread is None and count:
        reader.uneven(path, text, count, "ends", str(path[-2]))
    length = range_length(text) or 1
    written = spread if spread is not None else numbered(text, length) or () if length <= MOST else ()
    found = [_Far("", None) if at_device else _end(reader, path, end) for end in written]
    return () if spread is None else found


def _end(reader: Reader, path: Path, text: str) -> _Far | None:
    """A busbar's post, or the terminals of another pack ("pack R1")."""
    head, _, name = normal_id(text).partition(" ")
    if head == "pack" and name and head not in reader.posts:
        return _Far(name, None) if reader.device(path, name, reader.known_packs, "a pack of this site") else None
    found = _post(reader, path, text)
    return None if found is None else _Far(f"busbar {found[0]}", found[1])


def _other(reader: Reader, here: Path, entry: RunEntry, pole: str, side: str, count: int) -> Sequence[_Far | None]:
    """What one pole says of an end that differs from the other pole; empty where it says nothing."""
    held: PoleEntry | None = getattr(entry, pole)
    text = None if held is None else held.from_ if side == "from" else held.to
    path = (*here, pole, side)
    if text is None or reader.spoilt(path) or _at_device(entry.from_ if side == "from" else entry.to):
        return ()
    return _ends(reader, path, text, count, at_device=False)


def _same_bar(reader: Reader, here: Path, pole: str, said: _Far | None, usual: _Far) -> str | None:
    if said is None:
        return usual.post
    if said.owner != usual.owner:
        reader.fault((*here, pole), f"{pole} on {said.owner}", f"a post of {usual.owner}: both poles of a run join the "
                     "same two things", key=True)
    return said.post


class _Wired:
    """Conductor and devices of one pole of the runs of one entry: its own words over those for both poles."""

    def __init__(self, reader: Reader, here: Path, entry: RunEntry, pole: str) -> None:
        own: PoleEntry | None = getattr(entry, pole)
        self.reader = reader
        self.where = {name: (*here, pole, name) if own is not None and getattr(own, name) is not None else (*here, name)
                      for name in ("cable", "length", "parallel", "device", "distance_from_source", "lug_uohm")}
        said = {name: getattr(own if len(path) == len(here) + 2 else entry, name) for name, path in self.where.items()}
        self.size, self.cable = self._conductor(said["cable"])
        self.length_m: float | None = said["length"]
        self.parallel: int = said["parallel"] or 1
        self.lug_uohm: float | Span | None = said["lug_uohm"]
        self.devices = self._devices(said["device"] or (), said["distance_from_source"])

    def _conductor(self, text: str | None) -> tuple[str | None, LoadedRecord | None]:
        if text is None or text[:1].isdigit():
            return text, None
        return None, _of_kind(self.reader, self.where["cable"], text, ("power cable",))

    def _devices(self, names: Sequence[str], distances: Sequence[float] | None) -> tuple[InRun, ...]:
        path = self.where["device"]
        loaded = [_of_kind(self.reader, path, name, _IN_RUN) for name in names]
        far: Sequence[float | None] = (None,) * len(names) if distances is None else distances
        if len(far) != len(names):
            self.reader.fault(self.where["distance_from_source"], f"{len(far)} distances for {len(names)} devices",
                              "one distance for each device", rests_on=())
            return ()
        if self.length_m is not None and any(d is not None and d > self.length_m for d in far):
            self.reader.fault(self.where["distance_from_source"], f"{max(d for d in far if d is not None):g} m",
                              f"at most the length of the run, {self.length_m:g} m")
        known = [d for d in far if d is not None]
        if known != sorted(known):
            self.reader.fault(self.where["distance_from_source"], ", ".join(f"{d:g} m" for d in known),
                              "the devices in their order from the source on")
        return tuple(InRun(one, d) for one, d in zip(loaded, far, strict=True) if one is not None)

    def pole(self, a_post: str | None, b_post: str | None) -> Pole:
        """Return the pole with its posts."""
        return Pole(a_post, b_post, self.size, self.cable, self.length_m, self.parallel, self.devices,
                    self.lug_uohm)
