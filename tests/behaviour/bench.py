"""Plans of the shipped and exercise sites on the bench, and everything there is to complain about when one runs."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from interop.documents.package import plan_document
from interop.site.load import load_site
from tests.behaviour.model import Bank, Device, read_records, read_tables

ROOT = Path(__file__).resolve().parents[2]
EXERCISES = ROOT / "tests" / "exercises"
RECORDS = read_records([ROOT / "catalogs", EXERCISES / "records", EXERCISES / "sites" / "catalog"])
TABLES = read_tables([ROOT / "tests" / "published" / "truth_tables", Path(__file__).parent / "truth_tables"], RECORDS)
SITES = {path.stem: path for path in sorted((EXERCISES / "sites").glob("*.yaml"))}
SITES |= {path.parent.name: path for path in sorted((ROOT / "examples").glob("*/site.yaml"))}

Plan = dict[str, Any]


@cache
def _planned(name: str) -> Plan:
    return plan_document(load_site(SITES[name]))[0]


def plan_of(name: str) -> Plan:
    """Return a plan of one's own, to be spoilt at will."""
    return copy.deepcopy(_planned(name))


def bank_of(plan: Plan) -> Bank:
    """Switch a plan on."""
    return Bank(plan, RECORDS, TABLES)


def managed(plan: Plan) -> dict[str, int]:
    """Return the packs that a plan calls managed, with their addresses."""
    return {name: pack["address"] for name, pack in plan["packs"].items() if pack["role"] != "unmanaged"}


def promised(plan: Plan) -> dict[str, dict[str, int]]:
    """Return what every controller must receive by the word of the plan."""
    found: dict[str, dict[str, int]] = {name: {} for name, one in plan["devices"].items() if one["kind"] != "pack"}
    for link in plan["links"]:
        for controller in link["reports_to"]:
            packs = [link["manager"], *link["members"]] if link["manager"] is not None else []
            found[controller] |= {name: plan["packs"][name]["address"] for name in packs}
    return found


def complaints(plan: Plan) -> list[str]:
    """Say everything in which a running bank is not what its plan says; empty when all is well."""
    bank = bank_of(plan)
    outcome = bank.run()
    found = list(outcome.faults)
    for controller, packs in promised(plan).items():
        if outcome.received[controller] != packs:
            found.append(f"{controller} receives {outcome.received[controller]}, not {packs}")
    for name, pack in plan["packs"].items():
        if pack["role"] != "unmanaged":
            device = bank.devices[name]
            if (device.role, device.address) != (pack["role"], frozenset({pack["address"]})):
                found.append(
                    f"{name} is {device.role} at {sorted(device.address)}, not {pack['role']} at {pack['address']}"
                )
    return found + list(_terminators(plan, bank))


def _terminators(plan: Plan, bank: Bank) -> Iterator[str]:
    for name, bus in plan["buses"].items():
        said = sorted(one["device"] for one in bus["terminators"])
        plugs = {one["device"] for one in bus["terminators"] if one["by"] == "plug"}
        found = sorted(d for d, b in map(tuple, bus["nodes"]) if d in plugs or _ends(bank.devices[d], b))
        if found != said:
            yield f"bus {name} is terminated at {found}, not at {said}"
        asked = {
            bank.devices[d].record["buses"][b].get("termination", {}).get("ends") for d, b in map(tuple, bus["nodes"])
        }
        if "required" in asked and len(found) != 2:
            yield f"bus {name} needs two terminators and has {len(found)}"


def _ends(device: Device, bus: str) -> bool:
    """Whether a device puts a terminator on a bus by itself: fitted, or its own switch is on."""
    fitted = device.record["buses"][bus].get("termination", {}).get("fitted")
    return bool(fitted == "always" or (fitted == "by switch" and device.values.get(f"terminator {bus}") == {"on"}))
