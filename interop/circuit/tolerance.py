"""Worst case over tolerances: how far a current may go when every resistance lies anywhere in its box.

At constant current a current is linear-fractional in each single resistance, so the worst case is a corner of the box.
Up to `ENUMERATED` free values (elements in series count as one) all corners are tried: exact. Beyond, two figures:

- the best corner found by following the signs of the derivatives (by resistance j it is -Y_kj i_j, with Y the transfer
  admittance: Tellegen's theorem), from many deterministic starts and from the corners that the bound points at;
- an upper bound, `interop.circuit.relaxation`, which no resistances in the box pass.

With constant power the same corners, each converged: called not proved (power.md §3). Units are SI.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.chains import Box, Chains
from interop.circuit.relaxation import CLOSE, Relaxed
from interop.circuit.sharing import ROUNDING_A, Element, split_of
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.network import Network
    from interop.circuit.sharing import Limits

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Spots = NDArray[np.int64]

__all__ = ["ENUMERATED", "Box", "Collapse", "Worst", "WorstBankLimit", "worst_bank_limit", "worst_currents",
           "worst_currents_at_power"]  # fmt: skip

ENUMERATED = 14
"""Up to so many free values every corner is tried: 16,384 small systems at most."""
AGREE = 1e-6
"""A corner this close to the bound, relative to it or to 1 A, is the worst case."""
_PATTERNS = 12
_BATCH = 2048
_ROWS = 64
_TRIES = 8


class Collapse(ValueError):
    """Some corner of the box cannot deliver the power."""


@unchanging(eq=False)
class Worst:
    """Lowest and highest current [A] of each of ``targets`` (T,) over the box, in the targets' own positive direction.

    ``low_a``, ``high_a`` (T,): at the worst corner found; ``low_bound_a``, ``high_bound_a`` (T,): nothing in the box
    passes these (not a number where no bound exists); ``proved`` (T, 2): found and bound agree, low and high.
    ``low_at``, ``high_at`` (T, E): the corner, true where an element (packs, then branches) is at its highest.
    """

    targets: tuple[Element, ...]
    low_a: Floats
    high_a: Floats
    low_bound_a: Floats
    high_bound_a: Floats
    proved: Flags
    low_at: Flags
    high_at: Flags


@unchanging
class WorstBankLimit:
    """The bank limit [A, positive out of the bank] at the worst corner found, and a value that surely holds.

    ``charge_a``, ``discharge_a``: the least total, as an amount, at which the worst corner found passes a limit;
    ``*_sure_a``: with less than this nothing in the box passes a limit; ``*_first``: who is first at the worst corner;
    ``*_proved``: both agree. Infinite where nothing limits; zero where a limit may be passed with no load at all.
    """

    charge_a: float
    charge_sure_a: float
    charge_first: Element | None
    charge_proved: bool
    discharge_a: float
    discharge_sure_a: float
    discharge_first: Element | None
    discharge_proved: bool


class _Corners:
    """Currents at any corner of the box, by the difference from one solved base (all values in the middle)."""

    def __init__(self, chains: Chains) -> None:
        self.chains, self.free = chains, chains.free
        base = np.sqrt(chains.low_ohm * chains.high_ohm)
        self.base = chains.linear(base)
        self.low = (chains.low_ohm - base)[self.free]
        self.high = (chains.high_ohm - base)[self.free]
        self.of_free = self.base.of_emf[:, self.free]
        self.among = self.of_free[self.free]

    def all_corners(self) -> Iterator[Flags]:
        """Every corner, in batches (K, F): true where a free value is at its highest."""
        count = len(self.free)
        for start in range(0, 1 << count, _BATCH):
            numbers = np.arange(start, min(start + _BATCH, 1 << count))
            yield (numbers[:, None] >> np.arange(count) & 1).astype(bool)

    def above(self, at_high: Flags) -> Floats:
        """What each free value has above the base [ohm], (K, F)."""
        return np.where(at_high, self.high, self.low)

    def currents(self, above: Floats, base_a: Floats) -> Floats:
        """All chain currents (K, C, S) for what they are at the base, (C, S)."""
        system = np.eye(len(self.free)) + self.among * above[:, None, :]
        free_a = np.linalg.solve(system, np.broadcast_to(base_a[self.free], (len(above), *base_a[self.free].shape)))
        return base_a - self.of_free @ (above[:, :, None] * free_a)

    def base_currents(self, port_a: Floats) -> Floats:
        """Chain currents at the base, (C, S), for port currents (Q, S)."""
        return (self.base.of_emf @ self.chains.emf_v)[:, None] + self.base.of_port @ port_a

    def at_power(self, above: Floats, port_w: Floats) -> Floats:
        """All chain currents (K, C) at constant power of every port [W], (Q,): Newton on the ports, upper root.

        Raises `Collapse` where a corner cannot deliver it.
        """
        chains, ports = self.chains, len(port_w)
        emf_a = self.base.of_emf @ chains.emf_v
        sides = np.concatenate([emf_a[:, None], self.base.of_port], axis=1)
        moved = self.currents(above, sides)
        volts = np.concatenate([(self.base.of_port.T @ chains.emf_v)[:, None], -self.base.sag_ohm], axis=1)
        volts = volts - self.base.of_port[self.free].T @ (above[:, :, None] * moved[:, self.free])
        rest, sag = volts[:, :, 0], -volts[:, :, 1:]
        port_a = port_w / rest
        for _ in range(60):
            held = rest - (sag @ port_a[:, :, None])[:, :, 0]
            missing = port_a * held - port_w
            slope = held[:, :, None] * np.eye(ports) - port_a[:, :, None] * sag
            step = np.linalg.solve(slope, missing[:, :, None])[:, :, 0]
            port_a = port_a - step
            if np.all(np.abs(step) <= 1e-12 * np.maximum(np.abs(port_a), 1.0)):
                break
        held = rest - (sag @ port_a[:, :, None])[:, :, 0]
        settled = np.abs(port_a * held - port_w) <= 1e-6 * np.maximum(np.abs(port_w), 1.0)
        if not np.all(settled & (held > rest / 2)):
            raise Collapse(f"a corner of the tolerances cannot deliver {port_w.sum():.0f} W")
        out: Floats = moved[:, :, 0] + (moved[:, :, 1:] @ port_a[:, :, None])[:, :, 0]
        return out

    def ohm(self, at_high: Flags) -> Floats:
        """Resistances (C,) of one corner (F,)."""
        ohm: Floats = self.chains.low_ohm.copy()
        ohm[self.free[at_high]] = self.chains.high_ohm[self.free[at_high]]
        return ohm

    def climb(self, chain: Spots, sign: Floats, base_a: Floats, starts: Flags) -> tuple[Floats, Flags]:
        """Change signs until no single change raises sign x current of a chain, row by row; (K,) each, starts (K, F).

        Each turn takes every change that the derivatives ask for or the best single one, whichever is more.
        Returns the currents times their signs (K,) and the corners (K, F).
        """
        size, rows = len(self.free), np.arange(len(starts))
        flags, best = starts.copy(), np.full(len(starts), -np.inf)
        going = np.ones(len(starts), bool)
        for _ in range(8 * size + 8):
            on = rows[going]
            pull = sign[on, None] * self.of_free[chain[on]]
            above = self.above(flags[on])
            inverse = np.linalg.inv(np.eye(size) + above[:, :, None] * self.among)
            free_a = inverse.transpose(0, 2, 1) @ base_a[self.free]
            best[on] = sign[on] * base_a[chain[on]] - (pull * above * free_a).sum(axis=1)
            slope = -(pull[:, None, :] @ inverse)[:, 0] * free_a
            own = (self.among * inverse.transpose(0, 2, 1)).sum(axis=2)
            turn = np.where(flags[on], self.low, self.high) - above
            gain = slope * turn / (1 + own * turn)
            single = gain.max(axis=1, initial=-np.inf)
            better = single > 1e-12 * np.maximum(np.abs(best[on]), 1.0)
            going[on] = better
            if not better.any():
                break
            wanted = slope > 0
            there = self.currents(self.above(wanted), base_a[:, None])[np.arange(len(on)), chain[on], 0] * sign[on]
            one = flags[on]
            one[np.arange(len(on)), gain.argmax(axis=1)] ^= True
            moved = np.where((there > best[on] + single)[:, None], wanted, one)
            flags[on] = np.where(better[:, None], moved, flags[on])
        return best, flags

    def starts(self, chain: int) -> Flags:
        """Deterministic starts (K, F): own chain low and the others high, the reverse, all low, all high, patterns."""
        count = len(self.free)
        own = self.free == chain
        numbers = np.arange(1, count + 1)
        patterns = [np.array([(n & k).bit_count() & 1 for n in numbers.tolist()], bool) for k in range(1, _PATTERNS)]
        return np.array([~own, own, np.zeros(count, bool), np.ones(count, bool), *patterns]).reshape(-1, count)

    def searched(self, chain: int, sign: float, base_a: Floats, more: Flags | None = None) -> tuple[float, Flags]:
        """The best of all starts, and of ``more`` (K, F), for sign x one chain's current."""
        starts = self.starts(chain) if more is None else np.concatenate([more, self.starts(chain)])
        best, flags = self.climb(np.full(len(starts), chain), np.full(len(starts), sign), base_a, starts)
        winner = int(best.argmax())
        return float(best[winner]), flags[winner]

    def searched_at_power(self, chain: int, sign: float, base_a: Floats, port_w: Floats) -> tuple[float, Flags]:
        """From the worst corner at constant current, change one value at a time while the current at power rises."""
        flags = self.searched(chain, sign, base_a)[1]
        best = sign * float(self.at_power(self.above(flags[None]), port_w)[0, chain])
        for _ in range(2 * len(flags)):
            changed = flags ^ np.eye(len(flags), dtype=bool)
            amps = sign * self.at_power(self.above(changed), port_w)[:, chain]
            at = int(amps.argmax())
            if amps[at] <= best + 1e-12 * max(abs(best), 1.0):
                break
            best, flags = float(amps[at]), changed[at]
        return best, flags

    def seen(self, base_a: Floats) -> tuple[Floats, Floats]:
        """How low and how high every chain's current goes at corners found by one climb each way, (C,) each."""
        count = len(base_a)
        chain, sign = np.tile(np.arange(count), 2), np.repeat([-1.0, 1.0], count)
        slope = -(sign[:, None] * self.of_free[chain]) * base_a[self.free]
        best = np.concatenate([
            self.climb(chain[k : k + _ROWS], sign[k : k + _ROWS], base_a, slope[k : k + _ROWS] > 0)[0]
            for k in range(0, len(chain), _ROWS)
        ])
        return np.minimum(-best[:count], base_a), np.maximum(best[count:], base_a)


def worst_currents(network: Network, box: Box, port_a: ArrayLike, targets: Sequence[Element] | None = None,
                   closed: Flags | None = None, whole: Flags | None = None, *,
                   enumerated: int = ENUMERATED) -> Worst:
    """Return how low and how high each target's current may go at constant port currents [A], shape (Q,).

    ``targets``: all packs for None. Exact up to ``enumerated`` free values; beyond, a corner and a bound.
    ``closed`` (P,) and ``whole`` (B,): what conducts. Raises `NetworkError` where a port reaches no closed pack and
    `ValueError` for a box of another size. Source: power.md §3.
    """
    chains = Chains.of(network, box, closed, whole)
    corners = _Corners(chains)
    ports = np.asarray(port_a, dtype=np.float64)
    asked = _asked(network, targets)
    base_a = corners.base_currents(ports[:, None])[:, 0]
    if len(corners.free) <= enumerated:
        return _by_all_corners(network, corners, asked, lambda above: corners.currents(above, base_a[:, None])[:, :, 0])
    relaxed = Relaxed(chains, ports, *corners.seen(base_a))
    found = [_searched(corners, relaxed, *_placed(network, chains, one), base_a) for one in asked]
    return _worst(corners, asked, found)


def worst_currents_at_power(network: Network, box: Box, port_w: ArrayLike, targets: Sequence[Element] | None = None,
                            closed: Flags | None = None, whole: Flags | None = None, *,
                            enumerated: int = ENUMERATED) -> Worst:
    """Return the same at constant power of every port [W], shape (Q,), positive out: each corner converged, not proved.

    Beyond ``enumerated`` free values the corners that are worst at the currents of the middle are converged, and from
    there those that differ in one value.
    Raises `Collapse` where a corner cannot deliver the power, else as `worst_currents`.
    """
    chains = Chains.of(network, box, closed, whole)
    corners = _Corners(chains)
    power = np.asarray(port_w, dtype=np.float64)
    asked = _asked(network, targets)
    if len(corners.free) <= enumerated:
        found = _by_all_corners(network, corners, asked, lambda above: corners.at_power(above, power))
        return _unproved(found)
    base_a = corners.at_power(np.zeros((1, len(corners.free))), power)[0]
    rows = []
    for one in asked:
        chain, sense = _placed(network, chains, one)
        row = []
        for sign in (-1.0, 1.0):
            if chain < 0:
                row.append((0.0, np.nan, np.zeros(len(corners.free), bool)))
                continue
            best, flags = corners.searched_at_power(chain, sign * sense, base_a, power)
            row.append((sign * best, np.nan, flags))
        rows.append((row[0], row[1]))
    return _unproved(_worst(corners, asked, rows))


def worst_bank_limit(network: Network, box: Box, limits: Limits, split: ArrayLike | None = None,
                     closed: Flags | None = None, whole: Flags | None = None, *,
                     enumerated: int = ENUMERATED) -> WorstBankLimit:
    """Return the bank limit at this instant at its worst over the box, in both directions.

    ``split`` (Q,): the ports' shares of the total. Limits that are infinite or not stated do not count (see
    `interop.circuit.sharing.bank_limit` for who has none). Errors as `worst_currents`.
    """
    chains = Chains.of(network, box, closed, whole)
    corners = _Corners(chains)
    parts = split_of(network, split)
    charge = _bank_limit(network, corners, limits, parts, -1.0, enumerated)
    discharge = _bank_limit(network, corners, limits, parts, 1.0, enumerated)
    return WorstBankLimit(*charge, *discharge)


_Found = tuple[float, float, "Flags"]


def _asked(network: Network, targets: Sequence[Element] | None) -> tuple[Element, ...]:
    packs = tuple(Element("pack", i, name) for i, name in enumerate(network.packs))
    return packs if targets is None else tuple(targets)


def _placed(network: Network, chains: Chains, one: Element) -> tuple[int, float]:
    """The chain that an element is part of and its sense there; -1: it does not conduct."""
    at = one.at if one.kind == "pack" else len(network.packs) + one.at
    return int(chains.chain[at]), float(chains.sense[at])


def _by_all_corners(network: Network, corners: _Corners, asked: tuple[Element, ...],
                    solved: Callable[[Floats], Floats]) -> Worst:
    placed = [_placed(network, corners.chains, one) for one in asked]
    chain, sense = np.array([c for c, _ in placed], int), np.array([s for _, s in placed])
    low, high = np.full(len(asked), np.inf), np.full(len(asked), -np.inf)
    low_at = np.zeros((len(asked), len(corners.free)), bool)
    high_at = low_at.copy()
    columns = np.arange(len(asked))
    for flags in corners.all_corners():
        amps = solved(corners.above(flags))[:, chain] * sense
        least, most = amps.argmin(axis=0), amps.argmax(axis=0)
        less, more = amps[least, columns] < low, amps[most, columns] > high
        low, high = np.where(less, amps[least, columns], low), np.where(more, amps[most, columns], high)
        low_at[less], high_at[more] = flags[least[less]], flags[most[more]]
    rows = [((low[i], low[i], low_at[i]), (high[i], high[i], high_at[i])) for i in range(len(asked))]
    return _worst(corners, asked, rows)


def _searched(corners: _Corners, relaxed: Relaxed, chain: int, sense: float, base_a: Floats) -> tuple[_Found, _Found]:
    """The worst corner and the bound of one chain, low and high, in the element's own direction."""
    if chain < 0:
        nothing = np.zeros(len(corners.free), bool)
        return (0.0, 0.0, nothing), (0.0, 0.0, nothing)
    out = []
    for sign in (-1.0, 1.0):
        best, flags = corners.searched(chain, sign * sense, base_a)
        bound, ways = relaxed.highest(chain, sign * sense, best)
        if bound > best + CLOSE * max(abs(best), 1.0):
            best, flags = max((best, flags), corners.searched(chain, sign * sense, base_a, ways[:, corners.free]),
                              key=lambda found: found[0])
        out.append((sign * best, sign * max(bound, best), flags))
    return out[0], out[1]


def _worst(corners: _Corners, asked: tuple[Element, ...],
           rows: Sequence[tuple[_Found, _Found]]) -> Worst:
    low, high = [row[0] for row in rows], [row[1] for row in rows]

    def column(found: list[_Found], at: int) -> Floats:
        return np.array([one[at] for one in found], dtype=np.float64)

    def corner(found: list[_Found]) -> Flags:
        chain = corners.chains.chain
        of_chain = np.zeros((len(found), len(corners.chains.first)), bool)
        of_chain[:, corners.free] = np.array([one[2] for one in found], bool).reshape(len(found), len(corners.free))
        return np.where(chain >= 0, of_chain[:, chain], False)

    pairs = ((column(low, 0), column(low, 1)), (column(high, 0), column(high, 1)))
    proved = np.stack([np.abs(a - b) <= AGREE * np.maximum(np.abs(b), 1.0) for a, b in pairs], axis=1)
    return Worst(asked, pairs[0][0], pairs[1][0], pairs[0][1], pairs[1][1], proved, corner(low), corner(high))


def _unproved(found: Worst) -> Worst:
    none = np.full(len(found.targets), np.nan)
    return Worst(found.targets, found.low_a, found.high_a, none, none.copy(), np.zeros_like(found.proved), found.low_at,
                 found.high_at)


def _bank_limit(network: Network, corners: _Corners, limits: Limits, parts: Floats, way: float,
                enumerated: int) -> tuple[float, float, Element | None, bool]:
    """The least amount, the sure amount, who is first, and whether both agree; way +1 discharge, -1 charge."""
    watched = _watched(network, corners.chains, limits)
    none = np.zeros(len(parts))
    base_a = corners.base_currents(np.stack([none, way * parts], axis=1))
    base_a[:, 1] -= base_a[:, 0]
    if len(corners.free) <= enumerated:
        least, first = np.inf, None
        for flags in corners.all_corners():
            amps = corners.currents(corners.above(flags), base_a)
            for one, chain, sign, limit in watched:
                got = float(_reached(sign * amps[:, chain, 0], sign * amps[:, chain, 1], limit).min())
                if got < least:
                    least, first = got, one
        return least, least, first, True
    least, first = _least_amount(corners, watched, base_a)
    if np.isinf(least):  # no corner found ever passes a limit; without limits that is sure
        return np.inf, 0.0 if watched else np.inf, None, not watched
    sure = _sure_amount(corners, watched, base_a, parts, way, least)
    return least, sure, first, least - sure <= AGREE * max(least, 1.0)


_Watched = list[tuple[Element, int, float, float]]


def _watched(network: Network, chains: Chains, limits: Limits) -> _Watched:
    """Every stated limit: whose, of which chain, in which of its directions, and how much."""
    out = []
    rows = (("pack", network.packs, ((limits.discharge_a, 1.0), (limits.charge_a, -1.0))),
            ("branch", network.branches, ((limits.forward_a, 1.0), (limits.backward_a, -1.0))))
    for kind, names, both in rows:
        for values, sign in both:
            for i, name in enumerate(names):
                one = Element(kind, i, name)
                chain, sense = _placed(network, chains, one)
                if chain >= 0 and np.isfinite(values[i]):
                    out.append((one, chain, sign * sense, float(values[i])))
    return out


def _reached(rest: Floats, part: Floats, limit: float) -> Floats:
    """The least amount, zero or more, at which rest + part x amount passes a limit; infinite: never."""
    with np.errstate(divide="ignore", invalid="ignore"):
        amount = np.where(part > 0, (limit - rest) / part, np.inf)
    return np.where(rest > limit + ROUNDING_A, 0.0, np.maximum(amount, 0.0))


def _least_amount(corners: _Corners, watched: _Watched, base_a: Floats) -> tuple[float, Element | None]:
    """The least amount at any corner found: at the least so far look for who passes furthest, and repeat."""
    least, first = np.inf, None
    middle = base_a[None]
    for one, chain, sign, limit in watched:
        got = float(_reached(sign * middle[:, chain, 0], sign * middle[:, chain, 1], limit)[0])
        if got < least:
            least, first = got, one
    for _ in range(20):
        before = least
        if np.isinf(least):
            break
        for one, chain, sign, limit in watched:
            here = base_a[:, 0] + before * base_a[:, 1]
            flags = corners.searched(chain, sign, here)[1]
            amps = corners.currents(corners.above(flags[None]), base_a)
            got = float(_reached(sign * amps[:, chain, 0], sign * amps[:, chain, 1], limit)[0])
            if got < least:
                least, first = got, one
        if before - least <= 1e-9 * max(before, 1.0):
            break
    return least, first


def _sure_amount(corners: _Corners, watched: _Watched, base_a: Floats, parts: Floats, way: float,
                 least: float) -> float:
    """An amount up to which nothing in the box passes a limit.

    A current is linear in the amount, so it is proved in between where it is proved at zero and at that amount.
    """
    if not watched:
        return np.inf
    if least <= 0 or _passes(corners, watched, base_a[:, 0], 0 * parts) > 1:
        return 0.0
    sure = least * (1 - CLOSE)
    for _ in range(_TRIES):
        past = _passes(corners, watched, base_a[:, 0] + sure * base_a[:, 1], way * sure * parts)
        if past <= 1:
            return sure
        sure *= max(0.98 / past, 0.5)
    return 0.0


def _passes(corners: _Corners, watched: _Watched, base_a: Floats, port_a: Floats) -> float:
    """The largest bound of a watched current over its limit."""
    relaxed = Relaxed(corners.chains, port_a, *corners.seen(base_a))
    if relaxed.reach <= min(limit for _, _, _, limit in watched):
        return 0.0
    past = 0.0
    for _, chain, sign, limit in watched:
        bound = relaxed.highest(chain, sign, limit * (1 - CLOSE))[0]
        past = max(past, bound / (limit + ROUNDING_A))
    return past
