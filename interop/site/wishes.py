"""Wishes and acceptances of a site file: words matched, packs looked up, contradictions told."""

from __future__ import annotations

import re
from collections.abc import Sequence

from interop.records.faults import nearest
from interop.records.leaves import Expected, calendar_date, normal_id
from interop.records.nodes import Gap, shown
from interop.site.reader import SECTIONS, Path, Reader
from interop.site.site import Accepted, Link, Wish

__all__ = ["read_accepted", "read_wishes"]

_DATE = calendar_date()
_WISHES = (
    (re.compile(r"keep addresses of (?P<ids>.+)"), "addresses"),
    (re.compile(r"keep switches of (?P<ids>.+)"), "switches"),
    (re.compile(r"keep (?P<ids>.+) unmanaged"), "unmanaged"),
    (re.compile(r"keep (?P<ids>.+) managed"), "managed"),
    (re.compile(r"manager (?P<ids>\S+)(?: of (?P<link>.+))?"), "manager"),
    (re.compile(r"not manager (?P<ids>.+)"), "not manager"),
    (re.compile(r"fewest switches moved"), "fewest switches"),
    (re.compile(r"physical order"), "physical order"),
)
_WISH_WORDS = ("keep IDS unmanaged", "keep IDS managed", "keep addresses of IDS", "keep switches of IDS", "manager ID",
               "not manager IDS", "fewest switches moved", "physical order")


def _matched(text: str) -> tuple[str, re.Match[str] | None]:
    """What a wish asks for, and its words; the first shape that fits."""
    for shape, what in _WISHES:
        found = shape.fullmatch(text)
        if found is not None:
            return what, found
    return "", None


def read_wishes(reader: Reader, links: Sequence[Link], none: frozenset[str]) -> tuple[Wish, ...]:
    """Read the wishes; two ``must`` that cannot both be, or a ``must`` against what the links say, are faults."""
    wishes: list[Wish] = []
    told = _Told(reader, {link.id: link for link in links}, none)
    for must, field in ((True, "must"), (False, "prefer")):
        for i, text in enumerate(getattr(reader.raw.wishes, field)):
            path: Path = ("wishes", field, i)
            if isinstance(text, Gap):
                continue
            what, match = _matched(text)
            if match is None:
                reader.fault(path, shown(text), "a wish: " + "; ".join(_WISH_WORDS), nearest(text, _WISH_WORDS))
                continue
            groups = match.groupdict()
            ids = reader.packs(path, groups["ids"]) if groups.get("ids") else ()
            link = groups.get("link")
            if link is not None and not reader.spoilt(("links",)):
                reader.known(path, link, told.links, "a link of this site")
            if must and what in ("fewest switches", "physical order"):
                reader.fault(path, shown(text), "under prefer: it has no yes or no")
            if what == "manager" and len(ids) > 1:
                reader.fault(path, shown(text), "one pack as manager of one link")
            wish = Wish(must, what, ids, text, link, reader.document.value_at(path))
            if must:
                told.enter(path, wish)
            wishes.append(wish)
    return tuple(wishes)


_OPPOSITES = {
    "unmanaged": ("managed", "manager", "addresses"), "managed": ("unmanaged",), "addresses": ("unmanaged",),
    "manager": ("unmanaged", "not manager"), "not manager": ("manager",),
}
"""Which ``must`` wishes about one pack exclude each other: an address and the part of manager need a link."""


class _Told:
    """The ``must`` wishes read so far, for contradictions."""

    def __init__(self, reader: Reader, links: dict[str, Link], none: frozenset[str]) -> None:
        self.reader = reader
        self.links = links
        self.none = none
        self.about: dict[str, list[Wish]] = {}
        self.managers: dict[str | None, Wish] = {}

    def enter(self, path: Path, wish: Wish) -> None:
        """Tell what a wish contradicts, once a pack, and remember it."""
        for pack in wish.about:
            for before in self.about.setdefault(pack, []):
                if before.what in _OPPOSITES.get(wish.what, ()) and _same_link(wish, before):
                    self.against(path, wish, f'"{before.text}" on line {before.at[0]}')
                    break
            self.about[pack].append(wish)
            if pack in self.none and wish.what in _OPPOSITES["unmanaged"]:
                self.against(path, wish, f"links.none, where {pack} stands")
        self.enter_manager(path, wish)

    def enter_manager(self, path: Path, wish: Wish) -> None:
        """Two managers of one link, or another one than the link itself states."""
        for link in self.links.values():
            if wish.link not in (None, link.id) or not set(wish.about) & set(link.packs):
                continue
            stated = link.manager if link.manager != "propose" else None
            if (wish.what == "manager" and stated not in (None, *wish.about)) or (
                    wish.what in ("not manager", "unmanaged") and stated in wish.about):
                self.against(path, wish, f"link {link.id}, which states the manager {stated}")
            if wish.what == "manager" and (wish.link is not None or len(self.links) == 1):
                before = self.managers.setdefault(link.id, wish)
                if before.about != wish.about:
                    self.against(path, wish, f'"{before.text}" on line {before.at[0]}')

    def against(self, path: Path, wish: Wish, other: str) -> None:
        self.reader.fault(path, shown(wish.text), f"a wish that does not contradict {other}")


def _same_link(wish: Wish, other: Wish) -> bool:
    return wish.link is None or other.link is None or wish.link == other.link


def read_accepted(reader: Reader) -> tuple[Accepted, ...]:
    """Read what somebody accepts."""
    accepted = []
    models = sorted({one.record.id for one in reader.devices.values()})
    known = dict.fromkeys([*reader.devices, *models])
    entries = [*reader.raw.racks.values(), *(e for one in SECTIONS for e in getattr(reader.raw, one).values())]
    written = {normal_id(entry.model) for entry in entries if entry.model is not None}
    for i, entry in enumerate(reader.raw.accepted):
        path: Path = ("accepted", i)
        if not isinstance(entry.rule, Gap):
            _rule(reader, (*path, "rule"), entry.rule)
        about = reader.ids((*path, "about"), entry.about)
        for name in about:
            if reader.doubtful and (name in reader.records or name in written):
                continue  # the model of a device that could not be read, or one whose own entry tells what is wrong
            reader.device((*path, "about"), name, known, "a device or model of this site")
        try:
            if not isinstance(entry.on, Gap):
                _DATE.parse(entry.on)
        except Expected as bad:
            reader.fault((*path, "on"), shown(entry.on), bad.expected)
        accepted.append(Accepted(entry.rule, about, entry.why, entry.by, entry.on, reader.document.at(path)))
    return tuple(accepted)


def _rule(reader: Reader, path: Path, name: str) -> None:
    """Tell of a rule that there is not: an acceptance that is never looked at is worse than none."""
    rules = reader.rules
    if rules is not None and name not in rules:
        reader.fault(path, shown(name), "a rule (interop explain lists them all)", nearest(name, rules))
