"""How packs share at one instant, and the bank limit there: every current is a + b I of the total current I.

Superposition: with the ports' shares of the total given, the linear network makes every pack and branch current a
constant (what circulates without load) plus a part in proportion (power.md §3). Units are SI; pack currents are
positive out of the pack, branch currents from the branch's first node to its second, port currents out of the bank.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from interop.circuit.network import NetworkError
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from interop.circuit.network import Factored, Network

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

__all__ = [
    "ROUNDING_A", "BankLimit", "Element", "Limits", "Sharing", "bank_limit", "even_split", "linear_currents", "share",
    "split_of",
]  # fmt: skip

NO_SHARE = 1e-12
"""A part of the total below this counts as none: the element does not feel the load."""


ROUNDING_A = 1e-6
"""A limit passed by less than this [A] is kept: a pack too cold to charge has none, and equal packs carry 1e-13 A."""


@unchanging
class Element:
    """A pack or branch by kind ("pack" or "branch"), position in the network, and name."""

    kind: str
    at: int
    name: str


@unchanging(eq=False)
class Sharing:
    """Currents [A] and port voltages [V] as a + b I. Shapes: packs (P,), branches (B,), ports (Q,).

    ``pack_rest_a``: a of every pack, what circulates at no load; ``pack_share``: b, without unit; the same for
    branches; ``port_rest_v`` [V] and ``port_sag_ohm`` [ohm]: a port is at rest minus sag x I.
    """

    network: Network
    pack_rest_a: Floats
    pack_share: Floats
    branch_rest_a: Floats
    branch_share: Floats
    port_rest_v: Floats
    port_sag_ohm: Floats

    def packs_at(self, total_a: float) -> Floats:
        """Return the current of every pack [A], shape (P,), at a total current [A], positive out of the bank."""
        return self.pack_rest_a + self.pack_share * total_a

    def branches_at(self, total_a: float) -> Floats:
        """Return the current of every branch [A], shape (B,), at a total current [A]."""
        return self.branch_rest_a + self.branch_share * total_a


@unchanging(eq=False)
class Limits:
    """The currents [A] that packs (P,) and branches (B,) may carry in each direction; zero or more.

    Infinite: not limited, or not to be judged. Not a number: not stated, which is told and never a pass.
    """

    charge_a: Floats
    discharge_a: Floats
    forward_a: Floats
    backward_a: Floats

    def __post_init__(self) -> None:
        for name in ("charge_a", "discharge_a", "forward_a", "backward_a"):
            if np.any(getattr(self, name) < 0):
                raise ValueError(f"{name}: a limit is below zero")

    @classmethod
    def of(cls, network: Network, packs: Mapping[str, tuple[float, float]],
           branches: Mapping[str, tuple[float, float]] | None = None) -> Limits:
        """Return limits by name: packs (charge A, discharge A), branches (first to second node, back) [A].

        A pack that is left out counts as not stated, a branch that is left out as not to be judged.
        Raises `NetworkError` for a name that is not part of the network, `ValueError` for a limit below zero.
        """
        strange = [*(name for name in packs if name not in network.packs),
                   *(name for name in branches or {} if name not in network.branches)]
        if strange:
            raise NetworkError("limit of something that is not part of the network", strange)
        of_packs = np.array([packs.get(name, (np.nan, np.nan)) for name in network.packs], float).reshape(-1, 2)
        rows = branches or {}
        of_branches = np.array([rows.get(name, (np.inf, np.inf)) for name in network.branches], float).reshape(-1, 2)
        return cls(of_packs[:, 0], of_packs[:, 1], of_branches[:, 0], of_branches[:, 1])


@unchanging
class BankLimit:
    """The interval of the total current [A], positive out of the bank, in which every element keeps both its limits.

    ``low_a`` to ``high_a``: so -``low_a`` is the charge limit. ``first_low``, ``first_high``: who ends the interval
    there (several where equal). ``passed_at_zero``: who passes a limit with no load at all: a joining finding.
    ``empty``: no total current keeps all limits. ``not_stated``: elements whose limit in a direction nobody stated.
    """

    low_a: float
    high_a: float
    first_low: tuple[Element, ...]
    first_high: tuple[Element, ...]
    passed_at_zero: tuple[Element, ...]
    not_stated: tuple[Element, ...]

    @property
    def empty(self) -> bool:
        """Whether no total current at all keeps every limit."""
        return self.low_a > self.high_a

    @property
    def zero_inside(self) -> bool:
        """Whether every limit is kept with no load."""
        return not self.passed_at_zero


def even_split(network: Network) -> Floats:
    """Return equal shares of the total current over all ports, shape (Q,). Raises `NetworkError` without ports."""
    if not network.ports:
        raise NetworkError("no port to draw a current from", ("ports",))
    return np.full(len(network.ports), 1 / len(network.ports))


def split_of(network: Network, split: ArrayLike | None) -> Floats:
    """Return the shares of the total current, shape (Q,), checked; equal shares for None.

    Raises `ValueError` for shares below zero, of another number than the ports, or that do not sum to one.
    """
    if split is None:
        return even_split(network)
    shares = np.asarray(split, dtype=np.float64)
    if shares.shape != (len(network.ports),):
        raise ValueError(f"split has shape {shares.shape}, expected ({len(network.ports)},)")
    if np.any(shares < 0) or not np.isclose(shares.sum(), 1, rtol=0, atol=1e-9):
        raise ValueError(f"split {shares.tolist()} is not shares that sum to 1")
    return shares


def linear_currents(network: Network, factored: Factored, emf_v: Floats, port_a: Floats, closed: Flags | None = None,
                    whole: Flags | None = None, *, branch_emf_v: Floats | None = None) -> tuple[Floats, Floats, Floats]:
    """Return pack currents [A], branch currents [A] and port voltages [V] of the linear network.

    ``emf_v`` (P, cases) and ``port_a`` (Q, cases), positive out of the bank; ``branch_emf_v`` (B, cases): a source in
    series with a branch that drives current from its first to its second node. ``closed`` and ``whole`` as given to
    ``factored``. Results (P, cases), (B, cases), (Q, cases). Norton injections; what is open carries nothing.
    """
    on = np.ones(len(network.packs), bool) if closed is None else closed
    kept = np.ones(len(network.branches), bool) if whole is None else whole
    pack_s, branch_s = on / network.pack_ohm, kept / network.branch_ohm
    injected = np.zeros((len(network.nodes), emf_v.shape[1]))
    driven = emf_v * pack_s[:, None]
    np.add.at(injected, network.pack_plus, driven)
    np.add.at(injected, network.pack_minus, -driven)
    np.add.at(injected, network.port_plus, -port_a)
    np.add.at(injected, network.port_minus, port_a)
    if branch_emf_v is not None:
        pushed = branch_emf_v * branch_s[:, None]
        np.add.at(injected, network.branch_b, pushed)
        np.add.at(injected, network.branch_a, -pushed)
    volts = factored.volts(injected)
    pack_a = driven - pack_s[:, None] * (volts[network.pack_plus] - volts[network.pack_minus])
    across = volts[network.branch_a] - volts[network.branch_b]
    if branch_emf_v is not None:
        across = across + branch_emf_v
    return pack_a, branch_s[:, None] * across, volts[network.port_plus] - volts[network.port_minus]


def _fed_ports(network: Network, factored: Factored, split: Floats, closed: Flags | None) -> None:
    """Raise `NetworkError` where a port with a share of the current reaches no closed pack."""
    on = np.ones(len(network.packs), bool) if closed is None else closed
    sources = set(factored.part[network.pack_plus[on]].tolist())
    dead = [
        name for name, a, b, part in zip(network.ports, network.port_plus, network.port_minus, split, strict=True)
        if part > 0 and (factored.part[a] != factored.part[b] or factored.part[a] not in sources)
    ]
    if dead:
        raise NetworkError("no closed pack feeds the port", dead)


def share(network: Network, split: ArrayLike | None = None, closed: Flags | None = None,
          whole: Flags | None = None) -> Sharing:
    """Return how packs and branches share the total current, from two cases of one factorisation.

    ``split`` (Q,): each port's part of the total, equal for None; ``closed`` (P,) and ``whole`` (B,): what conducts,
    all for None. Raises `NetworkError` where a port reaches no closed pack, `ValueError` for an impossible split.
    """
    parts = split_of(network, split)
    factored = network.factored(closed, whole)
    _fed_ports(network, factored, parts, closed)
    emf_v = np.stack([network.pack_emf_v, np.zeros_like(network.pack_emf_v)], axis=1)
    port_a = np.stack([np.zeros_like(parts), parts], axis=1)
    packs, branches, ports = linear_currents(network, factored, emf_v, port_a, closed, whole)
    return Sharing(network, packs[:, 0], packs[:, 1], branches[:, 0], branches[:, 1], ports[:, 0], -ports[:, 1])


def bank_limit(sharing: Sharing, limits: Limits) -> BankLimit:
    """Return the interval of the total current in which every pack and branch keeps both its limits.

    The interval is infinite at an end that nothing limits. Zero outside it, or nothing in it, is a joining finding:
    see ``passed_at_zero`` and ``empty`` of the result.
    """
    network = sharing.network
    rest = np.concatenate([sharing.pack_rest_a, sharing.branch_rest_a])
    part = np.concatenate([sharing.pack_share, sharing.branch_share])
    top = np.concatenate([limits.discharge_a, limits.forward_a])
    bottom = -np.concatenate([limits.charge_a, limits.backward_a])
    low, high = _ends_of(rest, part, bottom, top)
    low_a, high_a = float(low.max(initial=-np.inf)), float(high.min(initial=np.inf))
    with np.errstate(invalid="ignore"):
        passed = (rest > top + ROUNDING_A) | (rest < bottom - ROUNDING_A)
    first_low, first_high = _tied(network, low, low_a, -np.inf), _tied(network, high, high_a, np.inf)
    if not passed.any():  # zero lies inside: not a rounding beside it
        low_a, high_a = min(low_a, 0.0), max(high_a, 0.0)
    return BankLimit(low_a, high_a, first_low, first_high, _named(network, passed),
                     _named(network, np.isnan(top) | np.isnan(bottom)))


def _ends_of(rest: Floats, part: Floats, bottom: Floats, top: Floats) -> tuple[Floats, Floats]:
    """Return where each rest + part x I enters and leaves [bottom, top]; never (+inf, -inf), always (-inf, +inf)."""
    steady = np.abs(part) < NO_SHARE
    slope = np.where(steady, 1.0, part)
    to_top, to_bottom = (top - rest) / slope, (bottom - rest) / slope
    low = np.where(slope > 0, to_bottom, to_top)
    high = np.where(slope > 0, to_top, to_bottom)
    with np.errstate(invalid="ignore"):
        broken = (rest > top + ROUNDING_A) | (rest < bottom - ROUNDING_A)
    low = np.where(steady, np.where(broken, np.inf, -np.inf), low)
    high = np.where(steady, np.where(broken, -np.inf, np.inf), high)
    return np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)


def _tied(network: Network, ends: Floats, end_a: float, unlimited: float) -> tuple[Element, ...]:
    """Everything that ends the interval there, within rounding; nothing where it has no end."""
    if end_a == unlimited:
        return ()
    if np.isinf(end_a):
        return _named(network, ends == end_a)
    return _named(network, np.abs(ends - end_a) <= 1e-9 * max(abs(end_a), 1.0))


def _named(network: Network, which: Flags) -> tuple[Element, ...]:
    count = len(network.packs)
    return tuple(
        Element("pack", i, network.packs[i]) if i < count else Element("branch", i - count, network.branches[i - count])
        for i in np.flatnonzero(which).tolist())
