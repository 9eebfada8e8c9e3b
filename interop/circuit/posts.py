"""Lugs on the posts of busbars: how many lie on each, and how many posts a busbar has."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from interop.circuit.bank import POLES, runs_of
from interop.circuit.ranges import Verdict, exactly, known, within
from interop.records.answers import Answer
from interop.unchanging import unchanging

if TYPE_CHECKING:
    from interop.site.site import Busbar, Pole, Run, Site
    from interop.wiring.stage import Stage

__all__ = ["Post", "Posts", "posts_named", "posts_taken"]


@unchanging(eq=False)
class Post:
    """A post with more than one lug: its busbar, the poles of which that is so, the runs that land on it, how many
    lugs in a pole at most, and whether that may be (cannot tell: no record says how many lugs a post takes).
    """

    busbar: Busbar
    post: str
    poles: tuple[str, ...]
    runs: tuple[Run, ...]
    lugs: int
    verdict: Verdict


@unchanging(eq=False)
class Posts:
    """A busbar of which more posts are named than its record has, or it is not known how many it has."""

    busbar: Busbar
    runs: tuple[Run, ...]
    verdict: Verdict


def posts_taken(stage: Stage) -> Iterator[Post]:
    """Yield every post on which a second lug lies, of each busbar in the order of the site file."""
    for busbar, runs in _landing(stage):
        landed: dict[str, dict[str, list[Run]]] = {pole: {} for pole in POLES}
        for run in runs:
            for pole in POLES:
                post = _at(busbar, run, pole)
                if post is not None:
                    landed[pole].setdefault(post, []).append(run)
        for post in busbar.posts:
            on = {pole: landed[pole].get(post, []) for pole in POLES}
            lugs = {pole: sum(getattr(run, pole).parallel for run in on[pole]) for pole in POLES}
            poles = tuple(pole for pole in POLES if lugs[pole] > 1)
            if poles:
                here = tuple({id(run): run for pole in poles for run in on[pole]}.values())
                yield Post(busbar, post, poles, here, max(lugs.values()), _allowed(busbar, max(lugs.values())))


def _allowed(busbar: Busbar, lugs: int) -> Verdict:
    got = exactly(float(lugs))
    if busbar.loaded is None or not busbar.loaded.record.terminals.lugs_on_one_stud.known:
        return Verdict(Answer.CANNOT_TELL, got)
    record = busbar.loaded.record
    return within(got, known(record, "terminals.lugs_on_one_stud", record.terminals.lugs_on_one_stud))


def posts_named(stage: Stage) -> Iterator[Posts]:
    """Yield every busbar with a record and whether it has as many posts as the site file names."""
    for busbar, runs in _landing(stage):
        if busbar.loaded is not None and busbar.loaded.record.busbar is not None:
            record = busbar.loaded.record
            has = known(record, "busbar.posts", busbar.loaded.record.busbar.posts)
            yield Posts(busbar, tuple(runs), within(exactly(float(len(busbar.posts))), has))


def _landing(stage: Stage) -> Iterator[tuple[Busbar, Sequence[Run]]]:
    """The busbars of the planned stage with the runs that land on each."""
    site: Site = stage.site
    runs = list({id(run): run for bank in stage.banks for run in runs_of(stage, bank)}.values())
    for busbar in site.busbars.values() if stage.name == "planned" else ():
        here = [run for run in runs if f"busbar {busbar.id}" in (run.a, run.b)]
        if here:
            yield busbar, here


def _at(busbar: Busbar, run: Run, pole: str) -> str | None:
    wired: Pole = getattr(run, pole)
    return wired.a_post if run.a == f"busbar {busbar.id}" else wired.b_post

