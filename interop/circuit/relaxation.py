"""An upper bound on a current over a box of resistances, that no resistances in the box pass.

**Wedges.** A chain's drop v and current i with some resistance from low to high form a pair of wedges: low i <= v <=
high i where i is positive, the reverse where it is negative. With every current's direction known all is linear, and
the largest current is a linear program, exact. Where the direction is open, the straight lines around both wedges
between bounds of the current stand for them, and what is then still loose is split by direction, best bound first.

**Bounds by continuity.** Take the part R of the box where every current lies within guessed bounds. If the programs say
that within R no current even reaches its bounds, nobody can leave R on a path through the box, and since the middle of
the box lies in R, R is the whole box: the guess is proved. So the bounds begin at what corners show, not at the sky.

**Safe values.** A bound is the dual value recomputed from the multipliers (Neumaier and Shcherbina, Mathematical
Programming 99, 2004): weak duality holds for any multipliers, so it does not rest on the linear solver's accuracy.
"""

from __future__ import annotations

import heapq
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interop.circuit.chains import Chains

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = ["CLOSE", "SPLITS", "Relaxed"]

SPLITS = 60
"""So many times at most a direction is split for one bound; what is open then counts with its own bound."""
CLOSE = 1e-7
"""A bound this close above a current that was seen, relative to it or to 1 A, needs no further work."""
_ROUNDS = 6
_WORK = 50
"""So many programs per chain at most for proving all bounds; after that they reach as far as any current can."""
_STRICT = 1e-9
_WAYS = 8
_LOOSE = 1e-6
_NOTHING = 1e-7
"""Where no current passes this [A] the rest is rounding: equal packs without load."""


class Relaxed:
    """The relaxation of a network at constant port currents [A], (Q,).

    ``seen_low``, ``seen_high`` (C,): currents that corners and the middle of the box have shown; a guess to start from.
    ``low``, ``high`` (C,): bounds of all currents, proved, in units of ``reach`` [A], which no current passes anywhere.
    """

    def __init__(self, chains: Chains, port_a: Floats, seen_low: Floats, seen_high: Floats) -> None:
        self.chains = chains
        self.middle = np.sqrt(chains.low_ohm * chains.high_ohm)
        base = chains.linear(self.middle)
        # Any node voltages may be taken out of the forces; those of the middle at no load leave the least to bound.
        emf_v = self.middle * (base.of_emf @ chains.emf_v)
        self.scale = float(np.median(self.middle))
        kept = np.ones(chains.nodes, bool)
        kept[chains.grounds()] = False
        self.across = chains.incidence()[:, kept]
        # All that the ports draw and what each force drives through its own chain: a passive network gains nothing.
        self.reach = float(np.abs(port_a).sum() + (np.abs(emf_v) / chains.low_ohm).sum())
        unit = self.reach or 1.0
        self.emf_v = emf_v / unit
        volts = float((chains.high_ohm + np.abs(self.emf_v)).sum()) / self.scale
        self.node_bound = np.full(self.across.shape[1], volts)
        self.solved = 0
        self._balance(kept, port_a / unit)
        self.low, self.high = self._proved_bounds(seen_low / unit, seen_high / unit)

    def _balance(self, kept: Flags, port_a: Floats) -> None:
        """Current law at every node that is not a ground: what chains take out of it + what ports draw = 0."""
        from scipy.sparse import csr_array

        drawn = np.zeros(self.chains.nodes)
        np.add.at(drawn, self.chains.port_plus, port_a)
        np.add.at(drawn, self.chains.port_minus, -port_a)
        out = self.across.T
        self.equal = csr_array(np.concatenate([out, np.zeros((len(out), len(out)))], axis=1))
        self.drawn = -drawn[kept]
        self.volts = csr_array(self.across * (self.scale / self.middle)[:, None])

    def _rows(self, low: Floats, high: Floats) -> tuple[Any, Floats]:
        """The two lines of every chain that its drop lies between, as rows <= right sides."""
        from scipy.sparse import diags_array, hstack, vstack

        lo, hi = self.chains.low_ohm, self.chains.high_ohm
        both = (low < 0) & (high > 0)
        width = np.where(both, high - low, 1.0)
        up = np.where(both, (hi * high - lo * low) / width, np.where(low >= 0, hi, lo))
        down = np.where(both, (lo * high - hi * low) / width, np.where(low >= 0, lo, hi))
        up_rest = np.where(both, (lo - up) * low, 0.0)
        down_rest = np.where(both, (hi - down) * low, 0.0)
        rows = vstack([hstack([diags_array(-up / self.middle), self.volts]),
                       hstack([diags_array(down / self.middle), -self.volts])], format="csr")
        return rows, np.concatenate([(up_rest - self.emf_v) / self.middle, (self.emf_v - down_rest) / self.middle])

    def _most(self, chain: int, sign: float, low: Floats, high: Floats,
              built: tuple[Any, Floats]) -> tuple[float, Floats | None]:
        """Return what sign x a chain's current never passes, and the solution; (-inf, None): no current fits."""
        done, least, most = self._program(chain, sign, low, high, built)
        if done.status == 2:  # "nothing fits" is believed only where a little more room does not help either
            low, high = low - _LOOSE, high + _LOOSE
            built = self._rows(low, high)
            done, least, most = self._program(chain, sign, low, high, built)
        plain = float(max(sign * low[chain], sign * high[chain]))
        if done.status == 2:
            return -np.inf, None
        if done.status != 0:
            return plain, None
        pushing, held = np.minimum(done.ineqlin.marginals, 0.0), done.eqlin.marginals
        cost = np.zeros(len(least))
        cost[chain] = -sign
        left = cost - built[0].T @ pushing - self.equal.T @ held
        value = pushing @ built[1] + held @ self.drawn + np.minimum(left * least, left * most).sum()
        worth = np.abs(pushing).reshape(2, -1).sum(axis=0) / self.middle
        return min(-float(value), plain), np.concatenate([done.x, worth])

    def _program(self, chain: int, sign: float, low: Floats, high: Floats,
                 built: tuple[Any, Floats]) -> tuple[Any, Floats, Floats]:
        """Run one linear program: the least of - sign x current; its answer and the bounds of its variables."""
        from scipy.optimize import linprog

        self.solved += 1
        least, most = np.concatenate([low, -self.node_bound]), np.concatenate([high, self.node_bound])
        cost = np.zeros(len(least))
        cost[chain] = -sign
        done = linprog(cost, A_ub=built[0], b_ub=built[1], A_eq=self.equal, b_eq=self.drawn,
                       bounds=np.stack([least, most], axis=1), method="highs")
        return done, least, most

    def _proved_bounds(self, seen_low: Floats, seen_high: Floats) -> tuple[Floats, Floats]:
        """Return bounds of every current: guessed, widened until the programs prove them, or as far as any reach."""
        reach, strict = 1.0, _STRICT
        low, high = self._widened(seen_low, seen_high, 0.1)
        for turn in range(_ROUNDS if self.reach > _NOTHING else 0):
            built = self._rows(low, high)
            least, most = low.copy(), high.copy()
            for chain in range(len(low)):
                if low[chain] > -reach:
                    least[chain] = -self._split(chain, -1.0, low, high, -low[chain] - 2 * strict, built)[0]
                if high[chain] < reach:
                    most[chain] = self._split(chain, 1.0, low, high, high[chain] - 2 * strict, built)[0]
            if np.all((least > low + strict) | (low <= -reach)) and np.all((most < high - strict) | (high >= reach)):
                open_ones = (low < 0) & (high > 0)
                return np.where(open_ones, least, low), np.where(open_ones, most, high)
            fell, rose = least <= low + strict, most >= high - strict
            wide_low, wide_high = self._widened(np.minimum(least, seen_low), np.maximum(most, seen_high),
                                                 0.1 * 1.5**turn)
            if self.solved > _WORK * len(low):
                break
            low = np.where(fell & (low > -reach), np.minimum(low, wide_low), low)
            high = np.where(rose & (high < reach), np.maximum(high, wide_high), high)
        return np.full_like(low, -reach), np.full_like(high, reach)

    def _widened(self, low: Floats, high: Floats, by: float) -> tuple[Floats, Floats]:
        """A guess around what was seen: one direction where only one was seen, else somewhat more than was seen."""
        more = by * (high - low) + 1e-6
        one_way = (low > 0, high < 0)
        wide_low = np.where(one_way[0], 0.0, np.where(one_way[1], -1.0, low - more))
        wide_high = np.where(one_way[1], 0.0, np.where(one_way[0], 1.0, high + more))
        return np.maximum(wide_low, -1.0), np.minimum(wide_high, 1.0)

    def highest(self, chain: int, sign: float, seen_a: float) -> tuple[float, Flags]:
        """Return what sign x the chain's current [A] never passes, and corners (K, C) that the programs point at.

        ``seen_a``: a value of sign x current that some corner has; a bound that meets it is not worked on further.
        """
        if self.reach <= _NOTHING:
            return self.reach, np.zeros((0, len(self.low)), bool)
        enough = (seen_a + CLOSE * max(abs(seen_a), 1.0)) / self.reach
        bound, ways = self._split(chain, sign, self.low, self.high, enough, self._rows(self.low, self.high))
        return bound * self.reach, np.array(ways).reshape(-1, len(self.low))

    def _split(self, chain: int, sign: float, low: Floats, high: Floats, enough: float,
               built: tuple[Any, Floats]) -> tuple[float, list[Flags]]:
        """Return a bound and corners; the largest bound is split by the loosest direction until it is low enough."""
        bound, at = self._most(chain, sign, low, high, built)
        if at is None:
            return float(max(sign * low[chain], sign * high[chain])), []
        queue: list[tuple[float, int, Floats, Floats, Floats | None]] = [(-bound, 0, low, high, at)]
        ways = [self._corner(at)]
        for turn in range(1, SPLITS + 1):
            bound, low, high, at = -queue[0][0], *queue[0][2:]
            loose = -1 if at is None else self._loosest(at, low, high)
            if loose < 0 or bound <= enough:
                break
            heapq.heappop(queue)
            for side in (0, 1):
                ends = low.copy(), high.copy()
                ends[side][loose] = 0.0
                value, there = self._most(chain, sign, *ends, self._rows(*ends))
                if there is not None and len(ways) < _WAYS:
                    ways.append(self._corner(there))
                if value > -np.inf:
                    heapq.heappush(queue, (-min(value, bound), 2 * turn + side, *ends, there))
            if not queue:
                return bound, ways
        return -queue[0][0], ways

    def _drops(self, at: Floats) -> Floats:
        node = at[len(self.middle) : len(self.middle) + len(self.node_bound)] * self.scale
        drops: Floats = self.across @ node + self.emf_v
        return drops

    def _corner(self, at: Floats) -> Flags:
        """Which chains a solution takes at their highest resistance."""
        amps, drops = at[: len(self.middle)], self._drops(at)
        return np.asarray(np.abs(drops) * 2 > np.abs(amps) * (self.chains.low_ohm + self.chains.high_ohm))

    def _loosest(self, at: Floats, low: Floats, high: Floats) -> int:
        """The chain of open direction whose drop is furthest out of its wedges, in volts; -1: none is out."""
        amps, drops = at[: len(self.middle)], self._drops(at)
        ends = self.chains.low_ohm * amps, self.chains.high_ohm * amps
        out = np.maximum(np.minimum(*ends) - drops, drops - np.maximum(*ends))
        out[(low >= 0) | (high <= 0)] = 0.0
        out *= np.maximum(at[-len(out) :] * self.scale, 1e-3)
        chain = int(out.argmax())
        return chain if out[chain] > 1e-9 * self.scale else -1
