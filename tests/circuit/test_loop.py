"""What a manager orders with packs gone, by hand, and a bank that follows it."""

from __future__ import annotations

from pathlib import Path

import pytest

from interop.circuit.cascade import End, Protection, play
from interop.circuit.draws import Current, Draw
from interop.circuit.loop import charging, loops
from interop.circuit.lost import charge_losses, charging_goes_on, sure_charge_a
from interop.circuit.network import Network, State
from interop.circuit.picture import Picture, pictures
from interop.site.load import load_site
from interop.wiring.stage import as_wanted
from tests.circuit.test_lost import of

TIDE, FERRY = "examples/tide-gauge/site.yaml", "examples/ferry-landing/site.yaml"


def out(picture: Picture, *gone: str) -> list[float]:
    """The currents [A] of all ports with some packs open."""
    states = [State.OPEN if d.id in gone else State.ON for d in picture.bank.packs]
    draws = charging(picture, states)
    assert draws is not None
    return [-draw.amps for draw in draws if isinstance(draw, Current)]


def test_a_manager_orders_the_sum_of_its_own_members() -> None:
    """Four packs of 25 A behind one manager: 100 A of the planned 138 A, 75 A with one of them gone; the three packs
    of the other link may take 300 A, so the plan's 69 A stay.
    """
    picture = of(TIDE)
    assert [loop.manager.id for loop in loops(picture)] == ["S1", "G1"]
    assert picture.charge_plan == (138.0, 69.0)
    assert out(picture) == [100.0, 69.0]
    assert out(picture, "S3") == [75.0, 69.0]
    assert out(picture, "S3", "S4") == [50.0, 69.0]


def test_nobody_orders_where_the_manager_is_gone_or_does_not_know_of_the_pack() -> None:
    assert out(of(TIDE), "S1") == [138.0, 69.0]
    assert out(of(FERRY), "C1") == out(of(FERRY)) == [80.0, 80.0, 80.0, 60.0]     # C1 is on no link, SUN has no port


def test_closed_loop_is_never_worse_where_both_limits_count() -> None:
    for site in (TIDE, FERRY):
        opened, closed = ({row.name: row.part for row in charge_losses(of(site), closed=yes)} for yes in (False, True))
        assert opened.keys() == closed.keys()
        assert all(closed[name] <= opened[name] * (1 + 1e-9) for name in opened)
    assert closed != {}
    tide = [{row.name: row.part for row in charge_losses(of(TIDE), closed=yes)} for yes in (False, True)]
    assert tide[1]["G2"] < 0.85 * tide[0]["G2"]


def test_the_play_asks_again_after_every_opening() -> None:
    """Three equal packs charged with 90 A; each opens above 35 A after 10 s. In open loop all go, one after the other
    has gone; with an order of 30 A for each pack that answers nobody goes.
    """
    bank = Network.of(["p", "m"], [], [(n, "p", "m", 52.0, 0.01) for n in "ABC"], [("charger", "p", "m")])
    packs = [Protection(charge=((35.0, 10.0),))] * 3
    first = [State.OPEN, State.ON, State.ON]

    def order(states: object) -> list[Draw]:
        assert isinstance(states, list)
        return [Current(-30.0 * sum(state is State.ON for state in states))]

    opened = play(bank, [Current(-90.0)], packs, states=first)
    assert [(event.time_s, event.name) for event in opened.events[:2]] == [(10.0, "B"), (10.0, "C")]
    assert opened.end is End.DARK
    closed = play(bank, [Current(-90.0)], packs, states=first, ordered=order)
    assert (closed.events, closed.end) == ((), End.CARRIED)
    assert closed.solution.pack_a == pytest.approx([0, -30, -30], abs=1e-9)


def test_the_sure_charge_current_by_hand() -> None:
    """Three packs of 50 A: with one out, one way at its lowest takes 1/low of 1/low + 1/high, leads included; the
    segments of the busbar between their posts, a few micro-ohms, are left out here.
    """
    picture = scenario("charge-current-to-be-set.breaks.yaml")
    own = [i for i, branch in enumerate(picture.bank.branches) if branch.owner == "A1"]
    low = picture.box.pack_low_ohm[0] + picture.box.branch_low_ohm[own].sum()
    high = picture.box.pack_high_ohm[0] + picture.box.branch_high_ohm[own].sum()
    assert sure_charge_a(picture) == pytest.approx(50 * (1 + low / high), rel=3e-3)


def test_what_follows_in_open_loop() -> None:
    picture = scenario("one-out-overcharges-the-rest.breaks.yaml")
    worst = charge_losses(picture)[0]
    events, end = charging_goes_on(picture, worst, closed=False)
    assert [(event.time_s, event.name) for event in events] == [(10.0, "A2"), (10.0, "INV unit 1"),
                                                                (10.0, "INV unit 2")]
    assert end is End.DARK


def scenario(name: str) -> Picture:
    (picture,) = pictures(as_wanted(load_site(Path(__file__).parents[1] / "scenarios" / name)))
    return picture
