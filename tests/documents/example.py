"""A plan typed by hand after the contract of plan.json, and the faces that go with it. All of it is invented."""

from __future__ import annotations

from typing import Any

from interop.documents.canonical import fingerprint
from interop.documents.face import CableFace, DeviceFace, Faces, PortFace, RowFace

__all__ = ["finding", "made", "many", "small_faces", "small_plan"]

ADD = RowFace("ADD", "slide", (1, 2, 3, 4, 5, 6), "up", takes_effect="after restart")
END = RowFace("END", "slide", (1,), "right")
LOW = RowFace("SET", "slide", (1, 2, 3, 4), "down")
HEADSTAND = RowFace("ID", "slide", (8, 7, 6, 5, 4, 3, 2, 1), "down", upside_down=True)
WHEEL = RowFace("GROUP", "rotary", values=tuple("0123456789"))
HEX = RowFace("HEX", "hex")
MENU = RowFace("Menu 4", "menu")
STACK = RowFace("SIDE", "slide", (1, 2, 3), "left")


def finding(rule: str, level: str, about: list[str], text: str, todo: str, **more: Any) -> dict[str, Any]:
    made: dict[str, Any] = {
        "rule": rule,
        "level": level,
        "verdict": "broken",
        "about": about,
        "got": None,
        "limit": None,
        "facts": [],
        "text": text,
        "todo": todo,
        "source": "common practice",
        "at": [],
        "accepted": None,
    }
    return made | more


def _pack(role: str, switches: dict[str, Any], **more: Any) -> dict[str, Any]:
    pack: dict[str, Any] = {"role": role, "link": "rack", "mode": "own", "mode_set_by": None, "address": 1,
                            "address_also": [], "addresses": {}, "switches": switches}
    return pack | more


def _row(setting: str, was: str | None) -> dict[str, Any]:
    names = {"1": "on", "0": "off", "x": "x"}
    return {"set": [names[c] for c in setting], "was": None if was is None else [names[c] for c in was]}


def _device(kind: str, record: str, place: str | None) -> dict[str, Any]:
    return {"kind": kind, "record": record, "units": 1, "place": place, "installed": True}


def small_plan() -> dict[str, Any]:
    """Five packs: manager, two members, two unmanaged, and a controller; every kind of row once."""
    plan: dict[str, Any] = {
        "format": "interop-plan",
        "version": 1,
        "cleared": {"settings": True, "joining": False},
        "draft": False,
        "date": None,
        "fingerprint": "",
        "inputs": [{"path": "site.yaml", "sha256": "ab" * 32}],
        "site": {"name": "Ferry landing workshop"},
        "devices": {
            "N1": _device("pack", "tarn-b", "rack L slot 1"),
            "R1": _device("pack", "tarn-a", "rack L slot 2"),
            "R2": _device("pack", "tarn-a", "rack L slot 3"),
            "C1": _device("pack", "crag-300", "floor left"),
            "C2": _device("pack", "crag-300", "floor right"),
            "INV": _device("controller", "mole-6", None),
        },
        "findings": [
            finding(
                "fault-current-unknown",
                "stop",
                ["C1", "C2"],
                "The fault current of C1 and C2 is not stated.",
                "Measure or ask for the short-circuit current of C1 and C2.",
                verdict="cannot-tell",
                facts=[{"record": "crag-300", "path": "electric.short_circuit_a", "state": "not-stated"}],
            ),
            finding(
                "mixing-silent",
                "caution",
                ["R1", "R2", "C1", "C2"],
                "Neither maker says whether these packs may share a busbar.",
                "Fuse both and watch the first full charge.",
            ),
            finding(
                "stop-line-does-not-reach",
                "caution",
                ["N1", "R1"],
                "A stop pressed at R1 does not reach N1, which stays live.",
                "Press both.",
                accepted={"why": "both buttons are side by side", "by": "A. Example", "on": "2031-05-02"},
            ),
            finding("address-order", "note", ["R2"], "R2 keeps the address it had.", ""),
        ],
        "found": [
            finding(
                "two-managers",
                "stop",
                ["R1", "N1"],
                "R1 and N1 both act as manager.",
                "Set R1 as on its sheet.",
            )
        ],
        "links": [
            {
                "id": "rack",
                "poller": "N1",
                "manager": "N1",
                "members": ["R1", "R2"],
                "reports_to": ["INV"],
                "buses": ["rack chain", "rack report"],
                "proved": True,
                "runner_up": None,
            }
        ],
        "buses": {
            "rack chain": {
                "kind": "rs-485",
                "dialect": "tarn-1",
                "rate_bps": 9600,
                "nodes": [["N1", "chain"], ["R1", "chain"], ["R2", "chain"]],
                "terminators": [{"device": "N1", "by": "switch"}, {"device": "R2", "by": "plug"}],
            },
            "rack report": {
                "kind": "can",
                "dialect": "tarn-can",
                "rate_bps": 500000,
                "nodes": [["N1", "report"], ["INV", "battery"]],
                "terminators": [{"device": "N1", "by": "fitted"}],
            },
        },
        "packs": {
            "N1": _pack(
                "manager",
                {"ADD": _row("100110", "000010"), "END": _row("1", "0")},
                mode="older",
                address=0,
                addresses={"rack chain": 0, "rack report": 5},
            ),
            "R1": _pack("member", {"SET": _row("1010", "0010")}),
            "R2": _pack("member", {"ID": _row("01100101", "01100101")}, address=2),
            "C1": _pack(
                "unmanaged",
                {"GROUP": {"set": ["3"], "was": ["7"]}, "Menu 4": {"set": ["12"], "was": None}},
                link=None,
                mode=None,
                address=None,
            ),
            "C2": _pack(
                "unmanaged",
                {"HEX": {"set": ["B"], "was": ["0"]}, "SIDE": _row("101", "x01")},
                link=None,
                mode=None,
                address=None,
            ),
        },
        "cables": {
            "W1": {
                "from": ["N1", "LINK", "LINK2"],
                "to": ["R1", "LINK", "LINK1"],
                "carries": "chain",
                "action": "alter",
                "work": "alter",
                "moved": [],
                "lands_on": None,
                "kind": "straight",
                "joined": [["7", "7"], ["8", "8"]],
                "special": [],
                "cut": ["1", "2", "3", "4", "5", "6"],
                "remove": [],
                "new_plugs": [],
                "installed_as": None,
            },
            "W2": {
                "from": ["R1", "LINK", "LINK2"],
                "to": ["R2", "LINK", "LINK1"],
                "carries": "chain",
                "action": "keep",
                "work": "keep",
                "moved": [],
                "lands_on": None,
                "kind": "straight",
                "joined": [[str(n), str(n)] for n in range(1, 9)],
                "special": [],
                "cut": [],
                "remove": [],
                "new_plugs": [],
                "installed_as": None,
            },
            "W3": {
                "from": ["N1", "REPORT", None],
                "to": ["INV", "BAT", None],
                "carries": "report",
                "action": "make",
                "work": "make",
                "moved": [],
                "lands_on": None,
                "kind": "repinned",
                "joined": [["4", "1"], ["5", "2"], ["6", "6"]],
                "special": [],
                "cut": [],
                "remove": [],
                "new_plugs": [],
                "installed_as": None,
            },
            "W4": {
                "from": ["C1", "COM", None],
                "to": ["C2", "COM", None],
                "carries": None,
                "action": "remove",
                "work": "remove",
                "moved": [],
                "lands_on": None,
                "kind": "straight",
                "joined": [],
                "special": [],
                "cut": [],
                "remove": [],
                "new_plugs": [],
                "installed_as": None,
            },
        },
        "power": {"bank_limit_a": {}, "packs": {}},
        "settings": {},
        "assumptions": [],
        "reasons": [
            {
                "about": ["W1"],
                "text": "A plain straight cable would join the stop line of R1 to the supply of N1.",
            }
        ],
    }
    plan["fingerprint"] = fingerprint(plan)
    return plan


def small_faces() -> Faces:
    links = (PortFace("LINK", "LINK1", "rj45"), PortFace("LINK", "LINK2", "rj45"))
    ended = (PortFace("LINK", "LINK1", "rj45"), PortFace("LINK", "LINK2", "rj45", holds="terminator plug"))
    com = (PortFace("COM", None, "rj45"),)
    devices = [
        DeviceFace(
            "N1",
            "Tarn B",
            "rack L slot 1",
            1,
            "B3 and later",
            (ADD, END),
            (*links, PortFace("REPORT", None, "rj45")),
            ("breaker 125 A built in, plus", "fuse 160 A in the plus cable"),
            ("restart the pack",),
        ),
        DeviceFace("R1", "Tarn A", "rack L slot 2", 2, None, (LOW,), links),
        DeviceFace("R2", "Tarn A", "rack L slot 3", 3, None, (HEADSTAND,), ended),
        DeviceFace("C1", "Crag 300", "floor left", 4, None, (WHEEL, MENU), com),
        DeviceFace("C2", "Crag 300", "floor right", 5, None, (HEX, STACK), com),
        DeviceFace("INV", "Mole 6", None, 6, None, (), (PortFace("BAT", None, "terminal block 6"),)),
    ]
    cables = {
        "W1": CableFace("rj45", "rj45", "0.5 m", "A straight cable joins a stop line to a 12 V supply."),
        "W2": CableFace("rj45", "rj45", "0.3 m"),
        "W3": CableFace("rj45", "terminal block 6", "3 m"),
        "W4": CableFace("rj45", "rj45"),
    }
    return Faces({device.id: device for device in devices}, cables)


def made(**changes: Any) -> dict[str, Any]:
    """The small plan with top-level keys replaced and its fingerprint made anew."""
    plan = small_plan() | changes
    plan["fingerprint"] = fingerprint(plan)
    return plan


def many(count: int) -> tuple[dict[str, Any], Faces]:
    """`count` copies of pack R1 on one link without a manager pack, and their faces."""
    ids = [f"P{n}" for n in range(1, count + 1)]
    plan = made(
        devices={one: _device("pack", "tarn-a", f"rack {one}") for one in ids},
        packs={one: _pack("member", {"SET": _row("1010", "0010")}) for one in ids},
        cables={},
    )
    plan["links"][0] |= {"members": ids, "manager": None, "poller": None, "reports_to": []}
    devices = {one: DeviceFace(one, "Tarn A", f"rack {one}", n, None, (LOW,)) for n, one in enumerate(ids)}
    return plan, Faces(devices)
