"""Random banks as plain rows, from which a test builds the network and the oracle builds its own netlist.

Both poles with lugs, devices and cable; posts along two busbars fed at one end or crosswise; packs that hang on
another pack's terminals; several banks.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from interop.circuit.draws import Charger, Current, Draw, Power
from interop.circuit.network import Network, State

__all__ = ["Rows", "network", "random_rows", "random_states"]


@dataclass
class Rows:
    """(name, node, node, ohm), (name, plus, minus, V, ohm), (name, plus, minus) and one draw for each port."""

    branches: list[tuple[str, str, str, float]] = field(default_factory=list)
    packs: list[tuple[str, str, str, float, float]] = field(default_factory=list)
    ports: list[tuple[str, str, str]] = field(default_factory=list)
    draws: list[Draw] = field(default_factory=list)

    def nodes(self) -> list[str]:
        ends = [node for row in (*self.branches, *self.packs, *self.ports) for node in row[1:3]]
        return list(dict.fromkeys(str(node) for node in ends))


def network(rows: Rows) -> Network:
    return Network.of(rows.nodes(), rows.branches, rows.packs, rows.ports)


def random_rows(draw: random.Random, most: int, *, banks: int = 1, chargers: bool = False, load: float = 0.6) -> Rows:
    """A random network of up to ``most`` packs; ``load``: part of about what the bank carries at full current."""
    rows = Rows()
    for bank in range(banks):
        _bank(draw, rows, f"{bank}.", draw.randint(2, max(2, most // banks)), chargers, load)
    return rows


def _ohm(draw: random.Random, low: float, high: float) -> float:
    return float(np.exp(draw.uniform(np.log(low), np.log(high))))


def _bank(draw: random.Random, rows: Rows, at: str, count: int, chargers: bool, load: float) -> None:
    posts = max(2, draw.randint(count // 2, count + 2))
    for pole in "+-":
        for k in range(1, posts):
            rows.branches.append((f"{at}bar{pole}{k}", f"{at}bar{pole}{k - 1}", f"{at}bar{pole}{k}",
                                  _ohm(draw, 2e-6, 5e-5)))
    hung: list[str] = []
    level = draw.uniform(48, 56)
    for k in range(count):
        name = f"{at}pack{k}"
        rows.packs.append((name, f"{name}+", f"{name}-", level + draw.gauss(0, 0.05), _ohm(draw, 6e-3, 6e-2)))
        below = draw.choice(hung) if hung and draw.random() < 0.2 else None
        post = draw.randrange(posts)
        for pole in "+-":
            end = f"{below}{pole}" if below else f"{at}bar{pole}{post}"
            inner = [f"{name}{pole}", *(f"{name}{pole}{i}" for i in range(draw.randint(0, 3))), end]
            for i, (one, other) in enumerate(pairwise(inner)):
                rows.branches.append((f"{name}{pole}run{i}", one, other, _ohm(draw, 2e-5, 3e-3)))
        hung.append(name)
    for k in range(draw.randint(1, 3)):
        plus, minus = f"{at}inv{k}+", f"{at}inv{k}-"
        first = draw.randrange(posts)
        last = posts - 1 - first if draw.random() < 0.5 else first
        rows.branches += [(f"{at}inv{k}run+", plus, f"{at}bar+{first}", _ohm(draw, 2e-4, 2e-3)),
                          (f"{at}inv{k}run-", f"{at}bar-{last}", minus, _ohm(draw, 2e-4, 2e-3))]
        rows.ports.append((f"{at}inv{k}", plus, minus))
        rows.draws.append(_draw(draw, count, chargers, load))


def _draw(draw: random.Random, count: int, chargers: bool, load: float) -> Draw:
    kind = draw.random()
    if chargers and kind < 0.4:
        return Charger(draw.uniform(5, 60) * count, draw.uniform(50, 58))
    if kind < 0.7:
        return Power(draw.uniform(0.1, 1) * load * 2000 * count)
    if kind < 0.8:
        return Power(-draw.uniform(0.1, 1) * load * 1000 * count)
    return Current(draw.uniform(-1, 1) * load * 40 * count)


def random_states(draw: random.Random, count: int, part: float = 0.4) -> list[State]:
    return [draw.choice(list(State)) if draw.random() < part else State.ON for _ in range(count)]
