"""ngspice as an independent solver: netlists are written here from plain rows; nothing of the program is used.

Traps: constant power written plainly converges to the lower root, so it gets a resistive foot below 20 V (and the
caller asserts that nothing stands on it); Newton starts from the packs' voltage; figures are printed with 12 digits.
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

from interop.circuit.draws import Current, Draw, Power
from interop.circuit.network import State
from tests.circuit.networks import Rows

__all__ = ["FOOT_V", "Circuit", "Read", "needed", "run"]

FOOT_V = 20.0
OPTIONS = ".options reltol=1e-9 abstol=1e-9 vntol=1e-9 gmin=1e-15 itl1=500"


@dataclass
class Circuit:
    """Rows, the packs' states with one diode drop [V], and a factor on every power."""

    rows: Rows
    states: list[State] | None = None
    drop_v: float = 0.0
    scale: float = 1.0


@dataclass
class Read:
    """What ngspice says: pack currents outward [A] and port volts [V], by name."""

    pack_a: dict[str, float] = field(default_factory=dict)
    port_v: dict[str, float] = field(default_factory=dict)


def needed() -> str:
    """The program; without it the test is skipped aloud, or fails where oracles are required."""
    found = shutil.which("ngspice")
    if found is None:
        if os.environ.get("INTEROP_ORACLES") == "required":
            pytest.fail("ngspice is required (INTEROP_ORACLES=required) and not installed")
        pytest.skip("ngspice is not installed: currents are not checked by a circuit simulator in this run")
    return found


def netlist(circuits: list[Circuit]) -> str:
    """All circuits in one deck, each grounded at its first minus node."""
    lines = ["* banks", OPTIONS]
    prints: list[str] = []
    for c, circuit in enumerate(circuits):
        lines += _circuit(c, circuit, prints)
    ends = [".control", "set numdgt=12", "set width=200", "op", *prints, "quit 0", ".endc", ".end", ""]
    return "\n".join([*lines, *ends])


def _circuit(c: int, circuit: Circuit, prints: list[str]) -> list[str]:
    rows = circuit.rows
    number = {name: f"n{c}x{i}" for i, name in enumerate(rows.nodes())}
    states = circuit.states or [State.ON] * len(rows.packs)
    level = max(volts for _, _, _, volts, _ in rows.packs)
    for bank in sorted({name.split(".")[0] for name, *_ in rows.packs}):
        number[next(minus for name, _, minus, _, _ in rows.packs if name.split(".")[0] == bank)] = "0"
    lines = [f"R{c}x{i} {number[a]} {number[b]} {ohm!r}" for i, (_, a, b, ohm) in enumerate(rows.branches)]
    for i, (_, plus, minus, volts, ohm) in enumerate(rows.packs):
        tag, p, m = f"{c}x{i}", number[plus], number[minus]
        over = f"({volts!r}-{circuit.drop_v!r}-V({p},{m}))" if states[i] == State.CHARGE_BLOCKED else \
            f"(V({p},{m})-{volts!r}-{circuit.drop_v!r})"
        if states[i] == State.ON:
            lines += [f"Vp{tag} q{tag} {m} {volts!r}", f"Rp{tag} q{tag} {p} {ohm!r}"]
        elif states[i] == State.CHARGE_BLOCKED:
            lines += [f"Vp{tag} q{tag} {m} 0", f"Bp{tag} q{tag} {p} I={over} > 0 ? {over}/{ohm!r} : 0"]
        elif states[i] == State.DISCHARGE_BLOCKED:
            lines += [f"Vp{tag} q{tag} {m} 0", f"Bp{tag} {p} q{tag} I={over} > 0 ? {over}/{ohm!r} : 0"]
        if states[i] != State.OPEN:
            prints.append(f"print i(vp{tag})")
    for i, ((_, plus, minus), draw) in enumerate(zip(rows.ports, rows.draws, strict=True)):
        lines.append(_port(f"{c}x{i}", number[plus], number[minus], draw, circuit.scale))
        minus_v = f"-v({number[minus]})" if number[minus] != "0" else ""
        prints.append(f"print v({number[plus]}){minus_v}")
    lines += [f".nodeset v({spot})={level!r}" for name, spot in number.items() if "+" in name]
    return lines


def _port(tag: str, plus: str, minus: str, draw: Draw, scale: float) -> str:
    if isinstance(draw, Current):
        return f"I{tag} {plus} {minus} {draw.amps!r}"
    assert isinstance(draw, Power)
    watts, volts = draw.watts * scale, f"V({plus},{minus})"
    return f"Bl{tag} {plus} {minus} I={volts} > {FOOT_V} ? {watts!r}/{volts} : {watts!r}*{volts}/{FOOT_V**2}"


def run(circuits: list[Circuit]) -> list[Read]:
    """The operating points of all circuits, in one run."""
    program = needed()
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "banks.cir"
        deck.write_text(netlist(circuits), encoding="utf-8")
        done = subprocess.run([program, "-b", str(deck)], capture_output=True, text=True, check=False, timeout=300)
    figures = re.findall(r"^(\S.*) = (\S+)\s*$", done.stdout, re.MULTILINE)
    values = iter([float(value) for name, value in figures if name.startswith(("i(vp", "v(n"))])
    reads = []
    for circuit in circuits:
        read, states = Read(), circuit.states or [State.ON] * len(circuit.rows.packs)
        try:
            for (name, *_), state in zip(circuit.rows.packs, states, strict=True):
                read.pack_a[name] = 0.0 if state == State.OPEN else -next(values)
            for name, *_ in circuit.rows.ports:
                read.port_v[name] = next(values)
        except StopIteration:
            raise AssertionError(f"ngspice said: {done.stdout[-600:]} {done.stderr[-1500:]}") from None
        reads.append(read)
    return reads


