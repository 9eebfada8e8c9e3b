"""ngspice as an oracle of transients: netlists written here from plain rows, packs as capacitors behind resistances."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

__all__ = ["inrush_peak", "needed", "pack_currents"]

Floats = NDArray[np.float64]


def needed() -> None:
    """Skip aloud without ngspice; fail where oracles are required."""
    if shutil.which("ngspice") is None:
        if os.environ.get("INTEROP_ORACLES") == "required":
            pytest.fail("ngspice is required (INTEROP_ORACLES=required) and not installed")
        pytest.skip("ngspice is not installed: the joining transient is not checked by it in this run")


def pack_currents(branches: Sequence[tuple[str, str, float]], packs: Sequence[tuple[str, str, float, float, float]],
                  seconds: Sequence[float]) -> Floats:
    """Currents (T, P) [A] out of packs (plus, minus, V at 0, ohm, F) that are joined at 0, at times up to the last."""
    names = {end: f"n{k}" for k, end in enumerate(dict.fromkeys([e for r in branches for e in r[:2]] +
                                                               [e for p in packs for e in p[:2]]))}
    ground = next(iter(names))
    names[ground] = "0"
    lines = ["joining"]
    lines += [f"R{k} {names[a]} {names[b]} {ohm!r}" for k, (a, b, ohm) in enumerate(branches)]
    for k, (plus, minus, volts, ohm, farad) in enumerate(packs):
        lines += [f"C{k} c{k} {names[minus]} {farad!r} ic={volts!r}", f"V{k} c{k} s{k} 0",
                  f"RP{k} s{k} {names[plus]} {ohm!r}"]
    return _run(lines, [f"i(V{k})" for k in range(len(packs))], seconds, seconds[-1] / 4000)


def inrush_peak(volts: float, ohm: float, henry: float, farad: float, seconds: float) -> float:
    """The highest current [A] into an empty capacitor within a time."""
    lines = ["inrush", f"V0 a 0 {volts!r}", f"R0 a b {ohm!r}", f"L0 b c {henry!r} ic=0", f"C0 c 0 {farad!r} ic=0"]
    times = np.linspace(0, seconds, 20001).tolist()
    return float((-_run(lines, ["i(V0)"], times, seconds / 40000)).max())


def _run(lines: Sequence[str], wanted: Sequence[str], seconds: Sequence[float], step: float) -> Floats:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.txt"
        net = Path(folder) / "net.cir"
        net.write_text("\n".join([
            *lines, ".options reltol=1e-7 abstol=1e-9 vntol=1e-9 method=gear", ".control", "set numdgt=12",
            "set wr_singlescale", f"tran {step!r} {seconds[-1]!r} 0 {step!r} uic", f"wrdata {out} {' '.join(wanted)}",
            ".endc", ".end", ""]), encoding="ascii")
        done = subprocess.run(["ngspice", "-b", str(net)], capture_output=True, check=False, text=True, timeout=120)
        if not out.exists():
            pytest.fail(f"ngspice gave nothing: {done.stdout[-500:]} {done.stderr[-500:]}")
        rows = np.loadtxt(out)
    return np.array([np.interp(seconds, rows[:, 0], column) for column in rows[:, 1:].T]).T
