"""From the text of a site to currents, against a netlist written from the same lengths, sizes and lugs by this test.

The conductor table here is the test's own copy: IEC 60228, class 5, plain copper, ohm/km at 20 C; copper rises by
0.393 % per kelvin about 20 C (IEC 60028). The pack and the busbar are what their records in this folder's scenarios
say: 14 to 18 mohm, worked with in the middle; 10 to 20 uohm from post to post.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from interop.circuit.draws import Power
from tests.circuit import spice
from tests.circuit.drawn import picture
from tests.circuit.networks import Rows
from tests.circuit.spice import FOOT_V, Circuit

OHM_PER_KM = {"25 mm2": 0.780, "35 mm2": 0.554, "50 mm2": 0.386, "70 mm2": 0.272, "95 mm2": 0.206, "120 mm2": 0.161}
WARM = 1 + 0.00393 * (40 - 20)
PACK_OHM, STEP_OHM = 16e-3, 15e-6


def lead(size: str, metres: float, lug_uohm: float, parallel: int = 1) -> float:
    return (OHM_PER_KM[size] * metres / 1000 * WARM + 2 * lug_uohm * 1e-6) / parallel


def drawn(seed: int) -> tuple[str, Rows]:
    """A site's text, and the same as rows: packs on a rack busbar with one feed for each pole to the main busbar; some
    packs hang on the terminals of the pack before them.
    """
    draw = random.Random(seed)
    count, units = draw.randint(3, 9), draw.randint(1, 2)
    rows, runs = Rows(), []

    def run(name: str, ends: list[tuple[str, str]], written: str, parallel: int = 1) -> None:
        sizes = [draw.choice(list(OHM_PER_KM)) for _ in range(2)]
        metres = [round(draw.uniform(0.3, 4), 2) for _ in range(2)]
        lugs = [draw.randint(20, 200) for _ in range(2)]
        runs.append(f"  {name}: {{{written}, parallel: {parallel}, " + ", ".join(
            f"{pole}: {{cable: {size}, length: {length} m, lug_uohm: {lug}}}"
            for pole, size, length, lug in zip(("plus", "minus"), sizes, metres, lugs, strict=True)) + "}")
        for pole, size, length, lug in zip("+-", sizes, metres, lugs, strict=True):
            rows.branches += [(f"{one}{pole}", f"0.{one}{pole}", f"0.{other}{pole}", lead(size, length, lug, parallel))
                              for one, other in ends]

    for k in range(1, count + 1):
        rows.packs.append((f"0.A{k}", f"0.A{k}+", f"0.A{k}-", 0.0, PACK_OHM))
        hung = k > 1 and draw.random() < 0.25
        run(f"A{k}", [(f"A{k}", f"A{k - 1}" if hung else f"rack{k}")],
            f"from: pack, to: {f'pack A{k - 1}' if hung else f'rack {k}'}")
    posts = {name: count + 1 if name == "rack" else units + 1 for name in ("rack", "main")}
    for name, last in posts.items():
        rows.branches += [(f"{name}{k}{pole}", f"0.{name}{k}{pole}", f"0.{name}{k + 1}{pole}", STEP_OHM)
                          for k in range(1, last) for pole in "+-"]
    run("feed", [(f"rack{count + 1}", "main1")], f"from: rack {count + 1}, to: main 1", 2)
    run("INV", [(f"INV{k}", f"main{k + 1}") for k in range(1, units + 1)],
        f"from: controller unit 1..{units}, to: main 2..{units + 1}")
    rows.ports += [(f"0.INV{k}", f"0.INV{k}+", f"0.INV{k}-") for k in range(1, units + 1)]
    load = draw.randint(1500, 4500) * units
    text = (f"load: {{highest_w: {load}}}\npacks:\n  A1..A{count}: {{model: stilt-100}}\n"
            f"controllers:\n  INV: {{model: brant-5, units: {units}}}\n"
            f"posts: {{rack: {{posts: [1..{posts['rack']}], model: bar-250}}, "
            f"main: {{posts: [1..{posts['main']}], model: bar-250}}}}\nruns:\n" + "\n".join(runs) + "\n")
    rows.draws = [Power(load / units / 0.93 + 40)] * units
    return text, rows


@pytest.mark.parametrize("seed", range(12))
def test_currents_of_a_drawn_site(tmp_path: Path, seed: int) -> None:
    text, rows = drawn(seed)
    one = picture(tmp_path, text)
    found = one.at_load
    assert found is not None
    emf = float(one.emf_v(0.1)[0])  # where the charge stands is checked elsewhere; here all packs stand alike
    rows.packs = [(name, plus, minus, emf, ohm) for name, plus, minus, _, ohm in rows.packs]
    read = spice.run(Circuit(rows))
    assert min(read.port_v.values()) > 1.5 * FOOT_V
    theirs = np.array([read.pack_a[f"0.{name}"] for name in one.bank.network.packs])
    assert np.abs(found.pack_a - theirs).max() <= 1e-6 * np.abs(theirs).max()
    assert found.port_v == pytest.approx(list(read.port_v.values()), abs=1e-7)
