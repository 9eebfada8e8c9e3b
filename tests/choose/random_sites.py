"""Random sites as YAML text: records, one controller or two, found facts, links, wishes; and what each ingredient is.

A case is plain data: ``{"records": [...], "site": {...}}``, every scalar a text. ``INGREDIENTS`` maps a name
to a function that
takes the ingredient out of a copy of a case, so that a run can count how often it decides.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import yaml

from tests.choose import oracle_model as om

__all__ = ["INGREDIENTS", "Case", "random_case", "renamed", "without", "write_case"]

Tree = dict[str, Any]
Case = dict[str, Any]


class _Plain(yaml.CSafeDumper):
    """A dumper that writes no aliases, which site files do not take."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def write_case(case: Case, folder: Path) -> Path:
    """Write the records and the site file; return the path of the site file."""
    (folder / "records").mkdir(parents=True, exist_ok=True)
    for record in case["records"]:
        (folder / "records" / f"{record['id']}.yaml").write_text(_text(record), "utf-8")
    path = folder / "site.yaml"
    path.write_text(_text(case["site"]), "utf-8")
    return path


def _text(tree: Tree) -> str:
    return yaml.dump(tree, Dumper=_Plain, sort_keys=False, allow_unicode=True, width=10**6)


# ---- records --------------------------------------------------------------------------------------------------------


def _bus(kind: str, dialect: object, rates: list[str], more: Tree) -> Tree:
    return {
        "kind": kind,
        "rates_bps": rates,
        "dialect": dialect,
        "poller": "manager" if more.get("used_by") is None else "nobody",
        **more,
    }


def _controller(name: str, dialects: list[str], rates: list[str]) -> Tree:
    return {
        "interop": "record/1",
        "kind": "controller",
        "id": name,
        "name": name,
        "sources": _SOURCES,
        "buses": {"battery": _bus("can", dialects, rates, {"used_by": "all"})},
        "follows": {"managers_at_most": "4"},
    }


_SOURCES = {"manual": {"title": "invented manual", "says": "stated"}}


def _code(rng: random.Random, low: int, width: int) -> Tree:
    return {"binary": rng.choice(["first is low", "last is low"]), "from": str(low)}


def _table(rng: random.Random, allowed: list[int], width: int) -> Tree:
    """A printed table with two equal rows."""
    patterns = rng.sample(range(2**width), len(allowed))
    if len(allowed) > 2:
        one, other = rng.sample(range(len(allowed)), 2)
        patterns[one] = patterns[other]
    return {
        "table": {
            str(a): " ".join("on" if p >> i & 1 else "off" for i in range(width))
            for a, p in zip(allowed, patterns, strict=True)
        }
    }


def _address_parts(rng: random.Random, how: str, allowed: list[int], width: int, modes: list[str]) -> Tree:
    """The rows that set the address: binary, table, flag with a count, menu, wheel, or none."""
    low, use = min(allowed), f"1..{width}"
    if how == "menu":
        shift = rng.choice([0, 1])
        return {
            "MENU": {
                "kind": "menu",
                "parts": [
                    {
                        "use": "all",
                        "sets": "address",
                        "code": {"number": {"shown": f"{low + shift}..{max(allowed) + shift}", "wire_from": str(low)}},
                    }
                ],
            }
        }
    if how == "wheel":
        return {
            "DIAL": {
                "kind": "rotary",
                "positions": f"0..{max(allowed) + 1}",
                "parts": [{"use": "all", "sets": "address", "code": {"table": {str(a): str(a) for a in allowed}}}],
            }
        }
    row: Tree = {"kind": "slide", "printed": use}
    if how == "table":
        row["parts"] = [{"use": use, "sets": "address", "code": _table(rng, allowed, width)}]
    elif how == "flag":
        row["printed"] = f"1..{width + 2}"
        count = rng.choice(["count of members", "count of packs"])
        row["parts"] = [
            {"use": use, "sets": "address", "code": _code(rng, low, width), "when": {"role": "member"}},
            {"use": use, "sets": count, "code": {"binary": "first is low", "from": "0"}, "when": {"role": "manager"}},
            {"use": str(width + 1), "sets": "nothing", "keep": "off"},
            {"use": str(width + 2), "sets": "role", "code": {"flag": "on"}},
        ]
    elif len(modes) > 1 and rng.random() < 0.7:
        row["printed"] = f"1..{width + 1}"
        row["parts"] = [
            {"use": f"2..{width + 1}", "sets": "address", "code": _code(rng, low, width), "when": {"mode": modes[0]}},
            {"use": "1", "sets": "nothing", "keep": "off", "when": {"mode": modes[0]}},
            {"use": use, "sets": "address", "code": _code(rng, low, width), "when": {"mode": modes[1]}},
            {"use": str(width + 1), "sets": "nothing", "when": {"mode": modes[1]}},
        ]
    else:
        row["parts"] = [{"use": use, "sets": "address", "code": _code(rng, low, width)}]
    return {"ADD": row}


def _other_rows(rng: random.Random, chain: Tree, report: Tree, modes: list[str], how: str) -> Tree:
    rows: Tree = {}
    if chain["rate_set_by"] == "switch":
        rows["RATE"] = {
            "kind": "slide",
            "printed": "1",
            "parts": [{"use": "1", "sets": "rate", "bus": "chain", "code": {"table": {"9600": "off", "19200": "on"}}}],
        }
    if len(report["rates_bps"]) > 1:
        rows["SPEED"] = {
            "kind": "menu",
            "parts": [
                {
                    "use": "all",
                    "sets": "rate",
                    "bus": "report",
                    "code": {"table": {"500000": "500k", "250000": "250k"}},
                    "when": {"role": "manager"},
                },
                {"use": "all", "sets": "nothing", "when": {"role": "member"}},
            ],
        }
        rows["SPEED"]["positions"] = None
        del rows["SPEED"]
        rows["SPEED"] = {
            "kind": "slide",
            "printed": "1",
            "parts": [
                {
                    "use": "1",
                    "sets": "rate",
                    "bus": "report",
                    "code": {"table": {"500000": "off", "250000": "on"}},
                    "when": {"role": "manager"},
                },
                {"use": "1", "sets": "nothing", "keep": "off", "when": {"role": "member"}},
            ],
        }
    if isinstance(report["dialect"], list) and how in ("port order", "flag"):
        rows["PROT"] = {
            "kind": "slide",
            "printed": "1..2",
            "parts": [
                {
                    "use": "1..2",
                    "sets": "dialect",
                    "bus": "report",
                    "when": {"role": "manager"},
                    "code": {"table": {"r1": "on off", "r2": "on on"}},
                },
                {"use": "1..2", "sets": "nothing", "keep": "off", "when": {"role": "member"}},
            ],
        }
    if len(modes) > 1 and rng.random() < 0.3:
        rows["MODE"] = {
            "kind": "slide",
            "printed": "1",
            "parts": [{"use": "1", "sets": "mode", "code": {"table": {modes[0]: "off", modes[1]: "on"}}}],
        }
    if rng.random() < 0.2:
        rows["END"] = {
            "kind": "slide",
            "printed": "1",
            "parts": [{"use": "1", "sets": "terminator", "bus": "chain", "code": {"flag": "on"}}],
        }
    return rows


def _buses(rng: random.Random, modes: list[str], packs: int) -> Tree:
    own = rng.choice(["d1", "d1", "d2", ["d1", "d2"]][: 3 if packs > 9 else 4])
    dialect = {modes[0]: rng.choice(["d2", "d1"]), modes[1]: "d1"} if len(modes) > 1 else own
    rates, by = rng.choice(
        [
            (["9600"], "fixed"),
            (["9600", "19200"], "switch"),
            (["9600", "19200"], "switch"),
            (["19200"], "fixed"),
            (["9600", "19200"], "automatic"),
        ][: 4 if packs > 9 else 5]
    )
    chain = _bus("can" if rng.random() < 0.05 else "rs-485", dialect, rates, {"rate_set_by": by})
    if rng.random() < 0.3:
        chain["nodes"] = str(rng.randint(max(1, packs // 2), packs + 2))
    fast = rng.choice([["500000"], ["500000"], ["500000", "250000"]])
    said = rng.choice([["r1", "r2"], ["r1", "r2"], "r1", "r2"])
    return {"chain": chain, "report": _bus("can", said, fast, {"used_by": "manager"})}


def _rule(rng: random.Random, how: str, allowed: list[int], modes: list[str]) -> tuple[Tree, str]:
    """The address rule and what makes the manager."""
    rule: Tree = {"allowed": ", ".join(map(str, allowed))}
    if rng.random() < 0.5:
        rule["gaps"] = rng.choice(["allowed", "allowed", "allowed", "forbidden"])
    if rng.random() < 0.4:
        rule["start"] = str(rng.choice([allowed[0], allowed[0], allowed[0], allowed[1]]))
    if rng.random() < 0.35:
        rule["kept_for"] = {str(rng.choice(allowed[1:])): "somebody else"}
    if how == "port order":
        rule |= {"given": "by port order", "first": "manager"}
        return rule, "dialect code"
    at = str(rng.choice([allowed[0], allowed[0], allowed[0], allowed[1], allowed[-1]]))
    if how == "flag":
        at = rng.choice([at, at, "none", ""][: 3 if len(allowed) > 12 else 4])
        made_by = "flag"
    else:
        made_by = rng.choice(["address"] * 6 + ["place", "never"])
        if made_by == "place":
            at = rng.choice([at, ""][: 1 if len(allowed) > 12 else 2])
    if at:
        rule["manager"] = (
            {m: at if i == 0 or at == "none" else str(rng.choice(allowed[:2])) for i, m in enumerate(modes)}
            if len(modes) > 1 and rng.random() < 0.4
            else at
        )
    return rule, made_by


def _record(rng: random.Random, index: int, packs: int, width: int, how: str) -> Tree:
    generation = index + 1 if rng.random() < 0.8 else rng.randint(1, 3)
    modes = ["own", "older"] if rng.random() < 0.55 else ["own"]
    low = rng.choice([0, 0, 0, 1])
    most = min(2**width, max(3, packs + rng.choice([0, 0, 1] if packs <= 6 else [0, 1, 2, 3])))
    allowed = list(range(low, low + most))
    if how == "wheel":
        allowed = [a for a in allowed if a < 16]
    buses = _buses(rng, modes, packs)
    rule, made_by = _rule(rng, how, allowed, modes)
    manager: Tree = {"made_by": made_by}
    if rng.random() < 0.6:
        manager["members_at_most"] = str(rng.randint(max(0, packs // 2 - 1), packs))
    cells: Tree = {
        "chemistry": "lfp",
        "in_series": "16",
        "capacity_ah": rng.choice(
            ["50", "100", "100", "100..110", {"manual p. 1": "100", "manual p. 2": "90"}, "not stated"]
        ),
    }
    if rng.random() < 0.5:
        cells["nominal_v"] = rng.choice(["48", "51.2"])
    if rng.random() < 0.7:
        cells["usable_share"] = rng.choice(["0.9", "0.95", "0.8..0.9"])
    record: Tree = {
        "interop": "record/1",
        "id": f"m{index}",
        "name": f"Model {index}",
        "family": rng.choice(["larch", "larch", "larch", "fen"]),
        "sources": _SOURCES,
        "cells": cells,
        "modes": modes,
        "mode_set_by": "automatic",
        "buses": buses,
    }
    if rng.random() < 0.93:
        record["generation"] = str(generation)
    record["switches"] = {} if how == "port order" else _address_parts(rng, how, allowed, width, modes)
    record["switches"] |= _other_rows(rng, buses["chain"], buses["report"], modes, how)
    record["addresses"] = {"chain": rule}
    record["manager"] = manager
    return record


def _mixing(rng: random.Random, records: list[Tree]) -> None:
    """Statements of the records about each other; an odd one forbids the link, asks for a mode or for a manager."""
    for record in records:
        said = []
        for other in records:
            if other is record or rng.random() < 0.15:
                continue
            about = rng.choice(
                [
                    f"record {other['id']}",
                    f"family {other['family']}",
                    f"family {other['family']} generation {other.get('generation', '1')}",
                ]
            )
            item = {"other": about, "same_link": "no" if rng.random() < 0.25 else rng.choice(["yes", "yes", "silent"])}
            if len(record["modes"]) > 1 and rng.random() < 0.6:
                item["in_mode"] = rng.choice(record["modes"])
            if rng.random() < 0.8:
                item["manager"] = rng.choice(["this", "other", "newest"])
            said.append(item)
        if said:
            record["with"] = said
    apart = random.Random(repr(records))  # so that every other draw stays as it is
    for item in (item for record in records for item in record.get("with", [])):
        if "manager" not in item and apart.random() < 0.5:
            item["same_link"] = "no"


def _crowd(rng: random.Random, records: list[Tree], packs: int) -> None:
    """Make records such that only so many of their packs may share a link: one identity, a terminator inside each, or
    no address of their own. Few reasons are left for other packs to be off the link.
    """
    what = rng.choice(["identity", "terminators", "terminators", "both"])
    ohms = ["30", "45", "60"] if packs <= 8 else ["45", "60", "120"]
    for record in records:
        chain = record["buses"]["chain"]
        if what != "terminators" and rng.random() < 0.7:
            chain["identity"] = "one for all"
        if what != "identity" and "END" not in record["switches"] and rng.random() < 0.8:
            chain["termination"] = {"fitted": "always", "ohm": rng.choice(ohms), "ends": "required"}
        record["manager"].pop("members_at_most", None)
        chain.pop("nodes", None)
    by_route = [r["addresses"]["chain"] for r in records if r["addresses"]["chain"].get("given") == "by port order"]
    if by_route and rng.random() < 0.5:
        for rule in by_route:
            rule["given"] = "none"
            del rule["first"]


# ---- sites ----------------------------------------------------------------------------------------------------------


def random_case(
    rng: random.Random, least: int, most: int, models: int = 3, links: int = 2, *, crowd: bool = False
) -> Case:
    """Draw a case of ``least`` to ``most`` packs of at most ``models`` records on at most ``links`` links; ``crowd``:
    only so many of them may share a link.
    """
    n = rng.randint(least, most)
    width = 3 if n <= 6 else max(4, (n + 3).bit_length())
    hows = ["binary", "binary", "table", "flag", "menu", "wheel"]
    if n >= 14:  # a wheel has 16 positions
        hows = ["binary", "binary", "table", "flag", "menu"]
    by_route = rng.random() < 0.15
    records = [
        _record(
            rng,
            i,
            n,
            width if "table" not in (how := rng.choice(hows)) else width + 1,
            "port order" if by_route and rng.random() < 0.9 else how,
        )
        for i in range(rng.randint(1, models))
    ]
    _mixing(rng, records)
    if crowd:
        _crowd(rng, records, n)
    names = [f"P{i + 1}" for i in range(n)]
    packs: Tree = {}
    slots = rng.sample(range(1, 2 * n + 1), n)
    for i, name in enumerate(names):
        packs[name] = {"model": rng.choice(records)["id"]}
        if rng.random() < 0.85:
            packs[name]["place"] = f"rack {rng.choice('LLLM')} slot {slots[i]}"
        if rng.random() < 0.25:
            packs[name]["new"] = "yes"
    boxes = [
        _controller("box-1", ["r1", "r2"] if rng.random() < 0.5 else ["r1"], ["500000", "250000"]),
        _controller("box-2", ["r2"], ["500000"]),
    ]
    site: Tree = {
        "interop": "site/1",
        "name": "Random",
        "catalogs": ["records"],
        "packs": packs,
        "controllers": {"INV": {"model": "box-1"}, "SUN": {"model": "box-2"}},
    }
    _links(rng, site, names, links)
    _found(rng, site, records)
    _wishes(rng, site, names)
    return {"records": [*records, *boxes], "site": site}


def _links(rng: random.Random, site: Tree, names: list[str], links: int) -> None:
    wanted: Tree = {}
    if links > 1 and len(names) != 5 and rng.random() < (0.6 if len(names) < 8 else 0.25):
        first = [p for p in names if rng.random() < 0.8] or names[:1]
        second = [p for p in names if rng.random() < (0.6 if len(names) < 8 else 0.4)] or names[-1:]
        wanted["north"] = {"packs": first, "manager": "propose", "reports_to": rng.choice(["INV", "INV", "SUN"])}
        wanted["south"] = {"packs": second, "manager": "propose", "reports_to": rng.choice(["INV", "SUN"])}
    else:
        wanted["north"] = {"packs": list(names), "manager": "propose", "reports_to": rng.choice(["INV", "INV", "SUN"])}
    for link in wanted.values():
        if rng.random() < 0.12:
            link["manager"] = rng.choice(link["packs"])
        if rng.random() < 0.3:
            link["may_leave"] = [p for p in link["packs"] if rng.random() < 0.5] or link["packs"][:1]
    site["links"] = wanted


def _found(rng: random.Random, site: Tree, records: list[Tree]) -> None:
    """What stands: a previous life of the installed packs, with switches nobody looked at."""
    if rng.random() < 0.1:
        return
    installed = [p for p, entry in site["packs"].items() if "new" not in entry]
    recs = {r["id"]: om.read_record(r) for r in records}
    found: Tree = {}
    lead = rng.choice(installed) if installed else None
    for i, name in enumerate(installed):
        rec = recs[site["packs"][name]["model"]]
        seen = _seen(rng, rec, "manager" if name == lead else "member", i, len(installed))
        if seen and rng.random() < 0.85:
            found[name] = seen
            if rng.random() < 0.5:
                found[name]["mode"] = rng.choice(rec.modes)
    if installed and rng.random() < 0.75:
        packs = [p for p in installed if p == lead or rng.random() < 0.8]
        found["links"] = {"old": {"packs": packs, "manager": lead, "reports_to": rng.choice(["INV", "INV", "SUN"])}}
    if found:
        site["found"] = found


def _seen(rng: random.Random, rec: om.Rec, role: str, index: int, count: int) -> Tree:
    allowed = sorted(rec.allowed)
    mode = rng.choice(rec.modes)
    at = allowed[(index + (rng.random() < 0.3)) % len(allowed)]
    stand = om.Standing(
        role,
        mode,
        at,
        count,
        (rec.kind, rec.dialects[mode][0], rng.choice(rec.rates)),
        (rec.report_kind, rng.choice(rec.report_dialects), rng.choice(rec.report_rates)),
    )
    rows = om.wanted(rec, stand)
    seen: Tree = {}
    for name, (width, kind, _) in rec.rows.items():
        texts = rows[name] if rows is not None else [None] * width
        blind = rng.random() < 0.12
        if kind in om.WHEEL:
            seen[name] = "x" if blind or texts[0] is None else texts[0]
        else:
            seen[name] = "".join(
                "x" if blind and rng.random() < 0.6 else {"on": "1", "off": "0"}[t or rng.choice(["on", "off"])]
                for t in texts
            )
        if rng.random() < 0.04:
            del seen[name]
    return seen


def _wishes(rng: random.Random, site: Tree, names: list[str]) -> None:
    def some(k: int) -> list[str]:
        return rng.sample(names, min(k, len(names)))

    installed = [p for p, entry in site["packs"].items() if "new" not in entry] or names
    must, prefer = [], []
    if rng.random() < 0.10:
        must.append(f"keep {', '.join(some(1))} unmanaged")
    if rng.random() < 0.08:
        must.append(f"keep {', '.join(some(1))} managed")
    if rng.random() < 0.20:
        must.append(f"keep addresses of {rng.choice(installed)}")
    if rng.random() < 0.08:
        must.append(f"keep switches of {rng.choice(installed)}")
    if rng.random() < 0.08:
        must.append(f"not manager {rng.choice(names)}")
    if rng.random() < 0.06:
        must.append(f"manager {rng.choice(names)}")
    shapes: list[Callable[[], str]] = [
        lambda: f"keep addresses of {', '.join(rng.sample(installed, min(len(installed), 3)))}",
        lambda: f"keep addresses of {', '.join(rng.sample(installed, min(len(installed), 2)))}",
        lambda: f"keep switches of {', '.join(rng.sample(installed, min(len(installed), 2)))}",
        lambda: f"manager {rng.choice(names)}",
        lambda: f"manager {rng.choice(names)} of {rng.choice(list(site['links']))}",
        lambda: f"not manager {', '.join(some(2))}",
        lambda: "fewest switches moved",
        lambda: "physical order",
        lambda: f"keep {', '.join(some(2))} unmanaged",
        lambda: f"keep {', '.join(some(2))} managed",
    ]
    for _ in range(rng.choice([0, 1, 1, 2, 3])):
        prefer.append(rng.choice(shapes)())
    wishes = {k: v for k, v in (("must", _not_against(site, must)), ("prefer", prefer)) if v}
    if wishes:
        site["wishes"] = wishes


def _not_against(site: Tree, must: list[str]) -> list[str]:
    """Leave out what a site file may not say: two conditions about one pack, or about a manager the site names."""
    stated = {link["manager"] for link in site["links"].values()} - {"propose"}
    kept: list[str] = []
    about = set(stated)
    for text in must:
        pack = next(w for w in text.replace(",", "").split() if w.startswith("P"))
        if pack in about or (text.startswith("manager") and stated):
            continue
        about.add(pack)
        kept.append(text)
    return kept


def renamed(case: Case, names: dict[str, str]) -> Case:
    """Return a case with every pack renamed, everywhere."""
    other = copy.deepcopy(case)
    site = other["site"]
    site["packs"] = {names[k]: v for k, v in site["packs"].items()}
    links = [*site["links"].values(), *site.get("found", {}).get("links", {}).values()]
    for link in links:
        link["packs"] = [names[p] for p in link["packs"]]
        link["manager"] = names.get(link["manager"], link["manager"])
        if "may_leave" in link:
            link["may_leave"] = [names[p] for p in link["may_leave"]]
    if "found" in site:
        site["found"] = {names.get(k, k): v for k, v in site["found"].items()}
    for wishes in site.get("wishes", {}).values():
        wishes[:] = [
            " ".join(names.get(w.strip(","), w.strip(",")) + ("," if w.endswith(",") else "") for w in text.split(" "))
            for text in wishes
        ]
    return other


# ---- ingredients, each with how to take it out ----------------------------------------------------------------------

Strip = Callable[[Case], None]


def _packs(case: Case) -> list[Tree]:
    return [r for r in case["records"] if r.get("kind", "pack") == "pack"]


def _drop(*path: str) -> Strip:
    """Take a field out of every pack record."""

    def strip(case: Case) -> None:
        for record in _packs(case):
            tree = record
            for name in path[:-1]:
                tree = tree.get(name, {})
            tree.pop(path[-1], None)

    return strip


def _drop_site(*path: str) -> Strip:
    def strip(case: Case) -> None:
        tree = case["site"]
        for name in path[:-1]:
            tree = tree.get(name, {})
        tree.pop(path[-1], None)

    return strip


def _parts(case: Case) -> list[tuple[Tree, Tree]]:
    return [(record, part) for record in _packs(case) for row in record["switches"].values() for part in row["parts"]]


def _low_first(case: Case) -> None:
    for _, part in _parts(case):
        if "binary" in part.get("code", {}):
            part["code"]["binary"] = "first is low"


def _no_twins(case: Case) -> None:
    for _, part in _parts(case):
        table = part.get("code", {}).get("table")
        if part["sets"] == "address" and table and " " in next(iter(table.values())):
            width = len(next(iter(table.values())).split())
            seen: set[str] = set()
            for k, text in table.items():
                if text in seen:
                    every = (" ".join("on" if p >> i & 1 else "off" for i in range(width)) for p in range(2**width))
                    table[k] = next(p for p in every if p not in table.values())
                seen.add(table[k])


def _no_flag(case: Case) -> None:
    for record in _packs(case):
        row = record["switches"].get("ADD")
        if row and any(p["sets"] == "role" for p in row["parts"]):
            part = row["parts"][0]
            del part["when"]
            width = part["use"].split("..")[1]
            row["parts"] = [part, {"use": f"{int(width) + 1}..{int(width) + 2}", "sets": "nothing", "keep": "off"}]
            record["manager"]["made_by"] = "address"
            record["addresses"]["chain"].setdefault("manager", record["addresses"]["chain"]["allowed"].split(",")[0])


def _no_row(name: str) -> Strip:
    def strip(case: Case) -> None:
        for record in _packs(case):
            record["switches"].pop(name, None)

    return strip


def _by_hand(case: Case) -> None:
    for record in _packs(case):
        rule = record["addresses"]["chain"]
        if rule.pop("given", None) is not None:
            rule.pop("first", None)
            rule["manager"] = rule["allowed"].split(",")[0]
            record["manager"]["made_by"] = "address"
            top = rule["allowed"].split(", ")[-1]
            record["switches"]["MENU"] = {
                "kind": "menu",
                "parts": [
                    {
                        "use": "all",
                        "sets": "address",
                        "code": {"number": {"shown": f"{rule['manager']}..{top}", "wire_from": rule["manager"]}},
                    }
                ],
            }


def _numbered(case: Case) -> None:
    for record in _packs(case):
        rule = record["addresses"]["chain"]
        if rule.get("given") == "none":
            rule |= {"given": "by port order", "first": "manager"}


def _no_shift(case: Case) -> None:
    for _, part in _parts(case):
        if "number" in part.get("code", {}):
            number = part["code"]["number"]
            low, high = number["shown"].split("..")
            shift = int(low) - int(number["wire_from"])
            number["shown"] = f"{int(low) - shift}..{int(high) - shift}"


def _one_mode(case: Case) -> None:
    """Every pack in its first mode only."""
    for record in _packs(case):
        dialect = record["buses"]["chain"]["dialect"]
        if len(record["modes"]) < 2:
            continue
        record["modes"] = ["own"]
        record["buses"]["chain"]["dialect"] = dialect["own"] if isinstance(dialect, dict) else dialect
        at = record["addresses"]["chain"].get("manager")
        if isinstance(at, dict):
            record["addresses"]["chain"]["manager"] = at["own"]
        for row in record["switches"].values():
            row["parts"] = [p for p in row["parts"] if p.get("when", {}).get("mode", "own") == "own"]
        record["switches"].pop("MODE", None)
        for item in record.get("with", []):
            if item.get("in_mode", "own") != "own":
                del item["in_mode"]
    for name, entry in case["site"].get("found", {}).items():
        if name != "links":
            entry.pop("mode", None)


def _one_dialect(case: Case) -> None:
    """Every pack speaks every dialect among packs, in every mode."""
    for record in _packs(case):
        record["buses"]["chain"]["dialect"] = ["d1", "d2"]


def _any_rate(case: Case) -> None:
    for record in _packs(case):
        chain = record["buses"]["chain"]
        chain["rates_bps"], chain["rate_set_by"] = ["9600", "19200"], "automatic"
        record["switches"].pop("RATE", None)


def _gaps(case: Case) -> None:
    for record in _packs(case):
        record["addresses"]["chain"]["gaps"] = "allowed"


def _no_ban(case: Case) -> None:
    for record in _packs(case):
        for item in record.get("with", []):
            item["same_link"] = "yes"


def _no_said(field: str, value: str | None = None) -> Strip:
    def strip(case: Case) -> None:
        for record in _packs(case):
            for item in record.get("with", []):
                if value is None or item.get(field) == value:
                    item.pop(field, None)

    return strip


def _one_link_each(case: Case) -> None:
    links = case["site"]["links"]
    if len(links) > 1:
        first = set(links["north"]["packs"])
        left = [p for p in links["south"]["packs"] if p not in first]
        if not left or links["south"]["manager"] in first:
            del links["south"]
            _forget_south(case)
        else:
            links["south"]["packs"] = left
            leave = [p for p in links["south"].get("may_leave", []) if p not in first]
            links["south"].pop("may_leave", None)
            if leave:
                links["south"]["may_leave"] = leave


def _forget_south(case: Case) -> None:
    for wishes in case["site"].get("wishes", {}).values():
        wishes[:] = [w.removesuffix(" of south") for w in wishes]


def _one_box(case: Case) -> None:
    for record in case["records"]:
        if record.get("kind") == "controller":
            record["buses"]["battery"]["dialect"] = ["r1", "r2"]


def _no_wish(field: str, start: str, *, unlike: tuple[str, ...] = ()) -> Strip:
    def strip(case: Case) -> None:
        wishes = case["site"].get("wishes", {})
        if field in wishes:
            wishes[field] = [w for w in wishes[field] if not w.startswith(start) or (unlike and w.startswith(unlike))]
            if not wishes[field]:
                del wishes[field]

    return strip


def _all_looked(case: Case) -> None:
    """Switches nobody looked at are all off; a wheel nobody looked at stays."""
    rows = {r["id"]: r["switches"] for r in _packs(case)}
    for name, entry in case["site"].get("found", {}).items():
        if name == "links":
            continue
        for row in entry:
            if row != "mode" and rows[case["site"]["packs"][name]["model"]][row]["kind"] == "slide":
                entry[row] = entry[row].replace("x", "0")


def _nobody_looked(case: Case) -> None:
    found = case["site"].get("found", {})
    for name in [k for k in found if k != "links"]:
        del found[name]


def _all_installed(case: Case) -> None:
    for entry in case["site"]["packs"].values():
        entry.pop("new", None)


def _same_age(case: Case) -> None:
    for record in _packs(case):
        record["generation"] = "1"
        for item in record.get("with", []):
            head, _, _ = item["other"].partition(" generation ")
            item["other"] = head


def _no_places(case: Case) -> None:
    for entry in case["site"]["packs"].values():
        entry.pop("place", None)


def _propose(case: Case) -> None:
    for link in case["site"]["links"].values():
        link["manager"] = "propose"


def _stay(case: Case) -> None:
    for link in case["site"]["links"].values():
        link.pop("may_leave", None)


def _same_energy(case: Case) -> None:
    for record in _packs(case):
        record["cells"] = {"chemistry": "lfp", "in_series": "16", "capacity_ah": "100"}


def _low_manager(case: Case) -> None:
    """Every manager at the lowest address."""
    for record in _packs(case):
        rule = record["addresses"]["chain"]
        if "manager" in rule:
            rule["manager"] = rule["allowed"].split(",")[0]


INGREDIENTS: dict[str, Strip] = {
    "binary with the low end last": _low_first,
    "table with equal rows": _no_twins,
    "flag and count on the manager": _no_flag,
    "dialect code": _no_row("PROT"),
    "menu or wheel number shifted": _no_shift,
    "numbered by port order": _by_hand,
    "modes": _one_mode,
    "dialects among packs": _one_dialect,
    "rates": _any_rate,
    "one identity for all": _drop("buses", "chain", "identity"),
    "terminators fixed inside": _drop("buses", "chain", "termination"),
    "no address of its own": _numbered,
    "members at most": _drop("manager", "members_at_most"),
    "nodes": _drop("buses", "chain", "nodes"),
    "gaps forbidden": _gaps,
    "start": _drop("addresses", "chain", "start"),
    "kept values": _drop("addresses", "chain", "kept_for"),
    "pairs that exclude each other": _no_ban,
    "who must be manager": _no_said("manager"),
    "manager: this": _no_said("manager", "this"),
    "manager: other": _no_said("manager", "other"),
    "manager: newest": _no_said("manager", "newest"),
    "in_mode": _no_said("in_mode"),
    "manager's own address": _low_manager,
    "competing links": _one_link_each,
    "controllers of other dialects": _one_box,
    "must keep addresses": _no_wish("must", "keep addresses"),
    "prefer keep addresses": _no_wish("prefer", "keep addresses"),
    "other musts": _no_wish("must", "", unlike=("keep addresses",)),
    "other preferences": _no_wish("prefer", "", unlike=("keep addresses",)),
    "found switches": _nobody_looked,
    "switches nobody looked at": _all_looked,
    "found links": _drop_site("found", "links"),
    "new packs": _all_installed,
    "generations": _same_age,
    "places": _no_places,
    "manager named by the site": _propose,
    "may leave": _stay,
    "energy": _same_energy,
}


def without(case: Case, name: str) -> Case | None:
    """Return a copy of a case without an ingredient; None where it has none of it."""
    other = copy.deepcopy(case)
    INGREDIENTS[name](other)
    if name == "found links" and not other["site"].get("found", {"": 1}):
        del other["site"]["found"]
    if other["site"].get("wishes") == {}:
        del other["site"]["wishes"]
    _unseen(other)
    return None if other == case else other


def _unseen(case: Case) -> None:
    """Forget found rows that a changed record no longer has, or has in another shape."""
    rows = {r["id"]: r["switches"] for r in _packs(case)}
    found = case["site"].get("found", {})
    for name in [k for k in found if k != "links"]:
        mine = rows[case["site"]["packs"][name]["model"]]
        if "new" in case["site"]["packs"][name]:
            del found[name]
            continue
        for row in [r for r in found[name] if r != "mode" and r not in mine]:
            del found[name][row]
        for row in found[name]:
            if row != "mode" and mine[row]["kind"] == "menu":
                parts = mine[row]["parts"][0]["code"]["number"]["shown"]
                if found[name][row] != "x" and int(found[name][row]) not in om.numbers(parts):
                    found[name][row] = "x"
        if not found[name]:
            del found[name]
    if not found:
        case["site"].pop("found", None)
