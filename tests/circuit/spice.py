"""ngspice as an independent solver: netlists are written here from plain rows; nothing of the program is used.

Traps: constant power written plainly converges to the lower root, so it gets a resistive foot below 20 V (and the
caller asserts that nothing stands on it); Newton starts from the packs' voltage; figures are printed with 12 digits;
a short is a source of 0 V, not a small resistance; an ammeter in series with a busbar segment of microhms spoils the
solution by 1e-5 (measured), so that branch currents are read off the resistors themselves. A charger is what the
caller says that it does, full current or its voltage; the figures that come back tell whether that was consistent.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from interop.circuit.draws import Charger, Current, Draw, Power
from interop.circuit.network import State
from tests.circuit.networks import Rows

__all__ = ["FOOT_V", "Circuit", "Read", "needed", "run"]

FOOT_V = 20.0
OPTIONS = ".options reltol=1e-9 abstol=1e-9 vntol=1e-9 gmin=1e-15 itl1=500"


@dataclass
class Circuit:
    """Rows, the packs' states with one diode drop [V], a factor on every power, bolted shorts (plus, minus), chargers
    at their voltage (by number of port), and branches whose current is wanted.
    """

    rows: Rows
    states: list[State] | None = None
    drop_v: float = 0.0
    scale: float = 1.0
    shorts: list[tuple[str, str]] = field(default_factory=list)
    holding: set[int] = field(default_factory=set)
    wanted: list[str] = field(default_factory=list)


@dataclass
class Read:
    """What ngspice says: pack currents outward [A], port volts [V], by name; currents of shorts and of chargers that
    hold [A into what hangs there]; branch currents wanted [A, first to second node].
    """

    pack_a: dict[str, float] = field(default_factory=dict)
    port_v: dict[str, float] = field(default_factory=dict)
    short_a: list[float] = field(default_factory=list)
    held_a: dict[int, float] = field(default_factory=dict)
    branch_a: dict[str, float] = field(default_factory=dict)


def needed() -> str:
    """The program; without it the test is skipped aloud, or fails where oracles are required."""
    found = shutil.which("ngspice")
    if found is None:
        if os.environ.get("INTEROP_ORACLES") == "required":
            pytest.fail("ngspice is required (INTEROP_ORACLES=required) and not installed")
        pytest.skip("ngspice is not installed: currents are not checked by a circuit simulator in this run")
    return found


class _Deck:
    """One circuit as lines of a netlist, and the expressions to print, each with where its figure belongs."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit, self.lines = circuit, ["* bank", OPTIONS]
        self.prints: list[tuple[str, str, object]] = []
        rows = circuit.rows
        self.number = {name: f"n{i}" for i, name in enumerate(rows.nodes())}
        for bank in sorted({name.split(".")[0] for name, *_ in rows.packs}):  # each bank grounded at its first minus
            self.number[next(minus for name, _, minus, _, _ in rows.packs if name.split(".")[0] == bank)] = "0"
        for i, (name, a, b, ohm) in enumerate(rows.branches):
            self.lines.append(f"R{i} {self.number[a]} {self.number[b]} {ohm!r}")
            if name in circuit.wanted:
                self.prints.append((f"@r{i}[i]", "branch_a", name))
        for i in range(len(rows.packs)):
            self._pack(i)
        for i, draw in enumerate(rows.draws):
            self._port(i, draw)
        for i, (plus, minus) in enumerate(circuit.shorts):
            self.lines.append(f"Vs{i} {self.number[plus]} {self.number[minus]} 0")
            self.prints.append((f"i(vs{i})", "short_a", i))
        level = max(volts for _, _, _, volts, _ in rows.packs)
        self.lines += [f".nodeset v({spot})={level!r}" for name, spot in self.number.items() if "+" in name]

    def _pack(self, i: int) -> None:
        name, plus, minus, volts, ohm = self.circuit.rows.packs[i]
        state = (self.circuit.states or [State.ON] * len(self.circuit.rows.packs))[i]
        p, m, drop = self.number[plus], self.number[minus], self.circuit.drop_v
        if state == State.OPEN:
            return
        if state == State.ON:
            self.lines += [f"Vp{i} q{i} {m} {volts!r}", f"Rp{i} q{i} {p} {ohm!r}"]
        elif state == State.CHARGE_BLOCKED:
            over = f"({volts!r}-{drop!r}-V({p},{m}))"
            self.lines += [f"Vp{i} q{i} {m} 0", f"Bp{i} q{i} {p} I={over} > 0 ? {over}/{ohm!r} : 0"]
        else:
            over = f"(V({p},{m})-{volts!r}-{drop!r})"
            self.lines += [f"Vp{i} q{i} {m} 0", f"Bp{i} {p} q{i} I={over} > 0 ? {over}/{ohm!r} : 0"]
        self.prints.append((f"-i(vp{i})", "pack_a", name))

    def _port(self, i: int, draw: Draw) -> None:
        name, plus, minus = self.circuit.rows.ports[i]
        p, m = self.number[plus], self.number[minus]
        if isinstance(draw, Charger) and i in self.circuit.holding:
            self.lines.append(f"Vh{i} {p} {m} {draw.volts!r}")
            self.prints.append((f"i(vh{i})", "held_a", i))
        elif isinstance(draw, Power):
            watts, volts = draw.watts * self.circuit.scale, f"V({p},{m})"
            self.lines.append(
                f"Bl{i} {p} {m} I={volts} > {FOOT_V} ? {watts!r}/{volts} : {watts!r}*{volts}/{FOOT_V**2}")
        else:
            self.lines.append(f"I{i} {p} {m} {draw.amps if isinstance(draw, Current) else -draw.amps!r}")
        self.prints.append((f"v({p})" + (f"-v({m})" if m != "0" else ""), "port_v", name))

    def text(self) -> str:
        out = [f"print {what}" for what, _, _ in self.prints]
        return "\n".join([*self.lines, ".control", "set numdgt=12", "set width=200", "op", *out, "quit 0", ".endc",
                          ".end", ""])


def run(circuit: Circuit) -> Read:
    """The operating point. Fails where the simulator finds none."""
    deck, program = _Deck(circuit), needed()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bank.cir"
        path.write_text(deck.text(), encoding="utf-8")
        done = subprocess.run([program, "-b", str(path)], capture_output=True, text=True, check=False, timeout=300)
    figures = re.findall(r"^(-?[iv]\(\S*|@r\S*) = (\S+)\s*$", done.stdout, re.MULTILINE)
    if len(figures) != len(deck.prints):
        raise AssertionError(f"ngspice said: {done.stdout[-600:]} {done.stderr[-1500:]}")
    read = Read({name: 0.0 for name, *_ in circuit.rows.packs})
    for (what, kind, key), (told, value) in zip(deck.prints, figures, strict=True):
        assert told.replace(" ", "") == what
        if kind == "short_a":
            read.short_a.append(float(value))
        else:
            getattr(read, kind)[key] = float(value)
    return read
