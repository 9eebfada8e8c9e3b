"""Sites and records written anew: ranges spread, every id renamed, pins permuted, keys without an order shuffled.

Works on the texts of the files (all scalars are texts) and uses nothing of the program.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

Json = dict[str, Any]
PAIRS = (
    ("1", "2"),
    ("3", "6"),
    ("4", "5"),
    ("7", "8"),
)  # the twisted pairs of an eight-pole plug (TIA-568: pairs by position)
LINE_WORDS = ("stop", "enable", "wake", "direction", "on off")


@dataclass
class Files:
    """A site with the records that stand in its catalogs."""

    site: Json
    records: dict[str, Json]

    def write(self, folder: Path) -> Path:
        """Write the site and one catalog; return the path of the site."""
        catalog = folder / "catalog"
        catalog.mkdir(parents=True)
        for record in self.records.values():
            (catalog / f"{record['id']}.yaml").write_text(_text(record), encoding="utf-8")
        path = folder / "site.yaml"
        path.write_text(_text({**self.site, "catalogs": ["catalog"]}), encoding="utf-8")
        return path


class _Plain(yaml.SafeDumper):
    def ignore_aliases(self, data: object) -> bool:
        return True


def _text(raw: Json) -> str:
    return yaml.dump(raw, Dumper=_Plain, sort_keys=False, allow_unicode=True, default_style='"', width=10**6)


def read(path: Path) -> Files:
    """Read a site with every record of its catalogs, and spread its ranges."""
    site = _load(path)
    records = {}
    for name in site["catalogs"]:
        for one in sorted((path.parent / name).rglob("*.yaml")):
            raw = _load(one)
            records[raw["id"]] = raw
    return Files(_spread_site(site), records)


def _load(path: Path) -> Json:
    raw = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)  # noqa: S506 (our own files)
    assert isinstance(raw, dict)
    return raw


# ---- ranges spread ----


def spread(text: str | Iterable[str]) -> list[str]:
    """Return the ids of ``R1..R9, N1``."""
    if not isinstance(text, str):
        return [one for piece in text for one in spread(piece)]
    found: list[str] = []
    for piece in text.split(","):
        match = re.fullmatch(r"\s*(.*?)(\d+)\.\.(?:\1)?(\d+)\s*", piece)
        found += [f"{match[1]}{i}" for i in range(int(match[2]), int(match[3]) + 1)] if match else [piece.strip()]
    return found


def _nth(text: str, i: int) -> str:
    """Return the i-th of ``rack L slot 1..`` or ``left 1..11``."""
    return re.sub(r"(\d+)\.\.\d*", lambda m: str(int(m[1]) + i), text)


def _spread_site(site: Json) -> Json:
    new = dict(site)
    for section in ("packs", "controllers", "devices"):
        if section in site:
            new[section] = {
                name: {**entry, **({"place": _nth(entry["place"], i)} if "place" in entry else {})}
                for key, entry in site[section].items()
                for i, name in enumerate(spread(key))
            }
    for section in ("found", "set"):
        if section in site:
            new[section] = {
                name: entry
                for key, entry in site[section].items()
                for name in ([key] if key in ("links", "cables") else spread(key))
            }
    new["links"] = _spread_links(site.get("links", {}))
    new["cables"] = _spread_cables(site.get("cables", {}))
    for part, spreader in (("links", _spread_links), ("cables", _spread_cables)):
        if part in new.get("found", {}):
            new["found"] = {**new["found"], part: spreader(new["found"][part])}
    if "runs" in site:
        new["runs"] = {
            name: {**entry, "to": _nth(entry["to"], i)} if entry["from"] == "pack" else entry
            for key, entry in site["runs"].items()
            for i, name in enumerate(spread(key))
        }
    new["accepted"] = [{**one, "about": spread(one["about"])} for one in site.get("accepted", [])]
    return new


def _spread_links(links: Json) -> Json:
    return {
        name: spread(entry) if name == "none" else {**entry, "packs": spread(entry["packs"])}
        for name, entry in links.items()
    }


def _spread_cables(cables: Json) -> Json:
    found: Json = {}
    for key, entry in cables.items():
        names = spread(key)
        if "chain" not in entry:
            assert len(names) == 1
            found[key] = entry
            continue
        chain, rest = spread(entry["chain"]), {k: v for k, v in entry.items() if k not in ("chain", "from", "to")}
        for i, name in enumerate(names):
            ends = {
                "from": f"{chain[i]} {entry.get('from', '')}".strip(),
                "to": f"{chain[i + 1]} {entry.get('to', '')}".strip(),
            }
            found[name] = {**ends, **rest}
    return found


# ---- every id renamed ----


@dataclass
class Names:
    """New names, one fresh word for every name of a sort; ``back`` undoes them all."""

    luck: random.Random
    table: dict[tuple[str, str], str] = field(default_factory=dict)

    def new(self, sort: str, name: str) -> str:
        """Return the new name of a thing of a sort (device, record, dialect …)."""
        if (sort, name) not in self.table:
            word = ""
            while not word or word in self.table.values():
                word = "z" + "".join(self.luck.choice("bcdfghjklmnpqrstvwxz") for _ in range(9))
            self.table[sort, name] = word
        return self.table[sort, name]

    def back(self, plan: Json) -> Json:
        """Return a plan with the old names in place of the new, in keys, values and texts."""
        text = json.dumps(plan, ensure_ascii=False)
        for (_, name), word in self.table.items():
            text = re.sub(rf"\b{word}\b", lambda _, name=name: json.dumps(name, ensure_ascii=False)[1:-1], text)  # type: ignore[misc]
        found = json.loads(text)
        assert isinstance(found, dict)
        return found


def renamed(files: Files, luck: random.Random) -> tuple[Files, Names]:
    """Rename devices, links, cables, records, families, dialects, buses, lines, ports, sockets and switch rows."""
    names = Names(luck)
    records = {key: _rename_record(record, names) for key, record in files.records.items()}
    return Files(_rename_site(files, names), records), names


def _keys(raw: Json, change: Callable[[str], str]) -> Json:
    return {change(key): value for key, value in raw.items()}


def _each(raw: object, change: Callable[[str], str]) -> object:
    """Change a text, a list of texts, or the texts of a map by case."""
    if isinstance(raw, dict):
        return {key: _each(value, change) for key, value in raw.items()}
    return [change(str(one)) for one in raw] if isinstance(raw, list) else change(str(raw))


def _rename_record(old: Json, names: Names) -> Json:
    own = old["id"]

    def named(sort: str) -> Callable[[str], str]:
        return lambda name: names.new(f"{sort} of {own}", name)

    bus, line, port, socket, row = map(named, ("bus", "line", "port", "socket", "row"))

    def dialect(name: str) -> str:
        return names.new("dialect", name)

    new = dict(old)
    new["id"] = names.new("record", own)
    if "family" in old:
        new["family"] = names.new("family", old["family"])
    new["with"] = [
        {**one, "other": re.sub(r"family (\S+)", lambda m: f"family {names.new('family', m[1])}", one["other"])}
        for one in old.get("with", [])
    ]
    buses, lines = old.get("buses", {}), old.get("lines", {})
    new["buses"] = {bus(name): _rename_bus(entry, dialect, socket) for name, entry in buses.items()}
    new["lines"] = {
        line(name): {**({"does": name} if name in LINE_WORDS else {}), **entry} for name, entry in lines.items()
    }
    new["ports"] = {
        port(name): {**entry, "sockets": [socket(s) for s in entry["sockets"]]}
        for name, entry in old.get("ports", {}).items()
    }

    def use(text: str) -> str:
        name, _, wire = text.rpartition(" ")
        return f"{bus(name)} {wire}" if name in buses else f"{line(name)} {wire}" if name in lines else text

    new["pins"] = {
        port(name): {pin: _each(what, use) for pin, what in pins.items()} for name, pins in old.get("pins", {}).items()
    }
    new["printed"] = _keys(old.get("printed", {}), port)
    new["addresses"] = _keys(old.get("addresses", {}), bus)
    new["switches"] = {
        row(name): {**entry, "parts": [_rename_part(part, bus, dialect) for part in entry["parts"]]}
        for name, entry in old.get("switches", {}).items()
    }
    if "port" in old.get("manager", {}):
        new["manager"] = {**old["manager"], "port": port(old["manager"]["port"])}
    return new


def _rename_bus(entry: Json, dialect: Callable[[str], str], socket: Callable[[str], str]) -> Json:
    new = {**entry, "dialect": _each(entry["dialect"], dialect)}
    if "codes" in entry:
        new["codes"] = _keys(entry["codes"], dialect)
    if "sockets" in entry:
        new["sockets"] = [socket(one) for one in entry["sockets"]]
    return new


def _rename_part(part: Json, bus: Callable[[str], str], dialect: Callable[[str], str]) -> Json:
    new = dict(part)
    if "bus" in part:
        new["bus"] = bus(part["bus"])
    if part["sets"] == "dialect":
        new["code"] = {"table": _keys(part["code"]["table"], dialect)}
    return new


def _rename_site(files: Files, names: Names) -> Json:
    site = files.site
    models = {
        name: entry["model"]
        for part in ("packs", "controllers", "devices")
        for name, entry in site.get(part, {}).items()
    }

    def device(name: str) -> str:
        sort = "device" if name in models else "record" if name in files.records else None
        return names.new(sort, name) if sort is not None else name

    new = dict(site)
    for part in ("packs", "controllers", "devices"):
        if part in site:
            new[part] = {
                device(n): {**entry, "model": names.new("record", entry["model"])} for n, entry in site[part].items()
            }
    for part in ("found", "set"):
        new[part] = {
            device(n): {
                k if k in ("voltage_v", "mode") else names.new(f"row of {models[n]}", k): v for k, v in entry.items()
            }
            for n, entry in site.get(part, {}).items()
            if n in models
        }

    def link(name: str) -> str:
        return name if name == "none" else names.new("link", name)

    for home, source in ((new, site), (new["found"], site.get("found", {}))):
        if "links" in source:
            home["links"] = {link(n): _rename_link(entry, device) for n, entry in source["links"].items()}
        if "cables" in source:
            home["cables"] = {
                names.new("cable", n): _rename_cable(files, entry, names, models)
                for n, entry in source["cables"].items()
            }
    if "posts" in site:
        new["posts"] = {n: {**bar, "model": names.new("record", bar["model"])} if isinstance(bar, dict) else bar
                        for n, bar in site["posts"].items()}
    if "runs" in site:
        new["runs"] = {
            device(n): _rename_run(files, entry, names)
            for n, entry in site["runs"].items()
        }
    new["wishes"] = {
        part: [_rename_wish(text, device) for text in texts] for part, texts in site.get("wishes", {}).items()
    }
    new["accepted"] = [{**one, "about": [device(n) for n in one["about"]]} for one in site["accepted"]]
    return new


def _rename_run(files: Files, entry: Json, names: Names) -> Json:
    """Rename the records of cables and devices in a run, on both poles or on one."""

    def new(value: str) -> str:
        return names.new("record", value) if value in files.records else value

    fields = {k: _each(v, new) if k in ("device", "cable") else v for k, v in entry.items()}
    return {k: _rename_run(files, entry[k], names) if k in ("plus", "minus") else v for k, v in fields.items()}


def _rename_link(entry: object, device: Callable[[str], str]) -> object:
    if isinstance(entry, list):
        return [device(n) for n in entry]
    assert isinstance(entry, dict)
    fields = {k: _each(v, device) for k, v in entry.items() if k in ("packs", "reports_to", "may_leave", "manager")}
    return {**entry, **fields}


def _rename_cable(files: Files, entry: Json, names: Names, models: Mapping[str, str]) -> Json:
    new = dict(entry)
    for end in ("from", "to"):
        first, _, rest = entry[end].partition(" ")
        owner = models[first] if first in models else next(iter(_reporting(files, rest)))
        sort = "socket" if any(rest in port["sockets"] for port in files.records[owner]["ports"].values()) else "port"
        head = names.new("device", first) if first in models else first
        new[end] = f"{head} {names.new(f'{sort} of {owner}', rest)}" if rest else head
    return new


def _reporting(files: Files, port: str) -> Iterator[str]:
    """Records that can be manager and have a port of this name."""
    for entry in files.site["packs"].values():
        if port in files.records[entry["model"]].get("ports", {}):
            yield entry["model"]


def _rename_wish(text: str, device: Callable[[str], str]) -> str:
    """Wishes name ids with digits only, so that no word of the grammar is taken for one."""
    whole = re.sub(r"[A-Z]+\d+\.\.[A-Z]*\d+", lambda m: ", ".join(spread(m[0])), text)
    return re.sub(r"\b[A-Z]+\d+\b", lambda m: device(m[0]), whole)


# ---- pins permuted ----


def pair_permutation(luck: random.Random) -> dict[str, str]:
    """Return a permutation of eight pins that takes twisted pairs to twisted pairs."""
    targets = list(PAIRS)
    luck.shuffle(targets)
    found = {}
    for (a, b), target in zip(PAIRS, targets, strict=True):
        found[a], found[b] = target if luck.random() < 0.5 else target[::-1]
    return found


def permuted(files: Files, pins: Mapping[str, str]) -> Files:
    """Permute the pins of every eight-pole port of every record, and those that the site's own cables name."""
    site = dict(files.site)
    site["cables"] = {n: _permute_cable(c, pins) for n, c in site.get("cables", {}).items()}
    if "cables" in site.get("found", {}):
        found = {n: _permute_cable(c, pins) for n, c in site["found"]["cables"].items()}
        site["found"] = {**site["found"], "cables": found}
    return Files(site, {key: _permute_record(record, pins) for key, record in files.records.items()})


def _permute_record(old: Json, pins: Mapping[str, str]) -> Json:
    eight = {name for name, port in old.get("ports", {}).items() if port["plug"] == "rj45"}
    new = dict(old)
    for section in ("pins", "printed"):
        new[section] = {
            port: {pins.get(p, p): what for p, what in table.items()} if port in eight else table
            for port, table in old.get(section, {}).items()
        }
    new["ports"] = {
        name: {**port, "inside": _each(port["inside"], lambda text: _bridge(text, pins))} if name in eight else port
        for name, port in old.get("ports", {}).items()
    }
    return new


def _bridge(text: str, pins: Mapping[str, str]) -> str:
    return "-".join(pins.get(p.strip(), p) for p in text.split("-")) if "-" in text else text


def _permute_cable(cable: Json, pins: Mapping[str, str]) -> Json:
    made = cable.get("made")
    if isinstance(made, dict):
        return {**cable, "made": {pins.get(a, a): pins.get(b, b) for a, b in made.items()}}
    assert made is None or "cut" not in made
    return cable


# ---- keys without an order shuffled ----

IN_ORDER = {"sources", "buses", "ports", "switches", "lines", "addresses", "codes", "table"}
"""Maps whose order says something, or is the order in which things are named: their entries stay where they are."""


def shuffled(files: Files, luck: random.Random) -> Files:
    """Shuffle the fields of every record whose order says nothing."""
    return Files(files.site, {key: _shuffle(record, luck, "") for key, record in files.records.items()})


def _shuffle(raw: Any, luck: random.Random, name: str) -> Any:
    if isinstance(raw, list):
        return [_shuffle(one, luck, "") for one in raw]
    if not isinstance(raw, dict):
        return raw
    items = [(key, _shuffle(value, luck, key)) for key, value in raw.items()]
    if name not in IN_ORDER and not any(" p. " in key for key, _ in items):
        luck.shuffle(items)
    return dict(items)
