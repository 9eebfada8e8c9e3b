"""Rules of the power subject about studs and posts: does the lug fit, and how many lie on one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from interop.circuit.bank import POLES, conductor_of
from interop.circuit.feeds import Circuit, circuits
from interop.circuit.posts import Post, posts_named, posts_taken
from interop.circuit.protection import cable_fits, lugs_fit
from interop.circuit.ranges import Verdict
from interop.records.answers import Answer
from interop.records.models import Record
from interop.rules.finding import FactUsed, Hit, Level, broken, cannot_tell, rule
from interop.rules.power_words import about, at, facts, in_poles, runs_told, todo, why
from interop.rules.wording import figure, named
from interop.site.site import Run
from interop.standards.sizes import parse_size
from interop.wiring.stage import Stage

__all__: list[str] = []


def _landings(one: Circuit) -> Iterator[tuple[Record, str]]:
    """Yield what the conductors of a run are landed on, and in which pole: devices at its ends and devices in it."""
    for pole in POLES:
        for device in one.ends:
            yield device.record, pole
        for held in getattr(one.run, pole).devices:
            yield held.loaded.record, pole


@rule("lug-does-not-fit", "power", broken=Level.STOP, unknown=Level.CAUTION,
      meaning="A conductor is larger than the terminals that it lands on take.",
      source="record",
      explain="""A cable that is too thick for a terminal is made to fit by cutting strands away or by filing a lug,
and the joint that comes of it runs hot until it burns. Makers state the largest cable that a stud or clamp takes.
Land the cable on a busbar or a distribution post near by and go on from there with one that fits and is protected
for its size, or take a device with larger terminals. Where the record does not say, hold a lug against the terminal
before the cable is made.""")
def _fits(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one = group[0]
        found: dict[tuple[str, str, Answer], tuple[Record, Verdict, list[str]]] = {}
        for record, pole in _landings(one):
            text = conductor_of(getattr(one.run, pole))
            if text is None:
                continue
            verdict = cable_fits(parse_size(text), record)
            if verdict.answer is not Answer.HOLDS:
                key = record.id, parse_size(text).text, verdict.answer
                found.setdefault(key, (record, verdict, []))[2].append(pole)
        for (_, size, _), (record, verdict, poles) in found.items():
            where = in_poles(tuple(dict.fromkeys(poles)))
            used = (FactUsed(record.id, "terminals.largest_cable", record.terminals.largest_cable.state),)
            more: dict[str, Any] = {"got": size, "facts": used, "at": at(group)}
            if verdict.answer is Answer.BROKEN:
                most = record.terminals.largest_cable.wording()
                yield broken(about(group), f"{runs_told(group)}: {size} {where}; the terminals of {record.id} take "
                             f"{most}", "Go on from a busbar near by with a cable that fits, or take larger terminals.",
                             limit=most, **more)
            else:
                yield cannot_tell(about(group), f"{runs_told(group)}: whether the terminals of {record.id} take {size} "
                                  f"{where} cannot be told: {_unread(record) or why(verdict.missing)}",
                                  todo(verdict.missing, "Or hold a lug against the terminal before the cable is made."),
                                  **more)


def _unread(record: Record) -> str:
    """Say where a largest cable is stated in words that are no size."""
    fact = record.terminals.largest_cable
    return f"{record.id} states it as {fact.wording()}" if fact.state == "stated" else ""


@rule("too-many-lugs", "power", broken=Level.STOP, unknown=Level.CAUTION, must_accept=True,
      meaning="More lugs lie on one stud of a device than its record allows.",
      source="record",
      explain="""Each further lug on a stud lies on the one below instead of on the terminal: its current crosses
every face in between, the stack loosens with warmth, and the stud is too short for a full nut. Conductors in
parallel and runs that are cascaded through a pack's terminals count, each lug by itself. Where the record does not
say how many may lie there, more than one must be accepted with a name. Land the others on a busbar.""")
def _lugs(stage: Stage) -> Iterator[Hit]:
    for group in circuits(stage):
        one = group[0]
        found: dict[tuple[str, Answer, int], tuple[Record, Verdict, list[str]]] = {}
        for record, pole, count in _stacked(one):
            verdict = lugs_fit(count, record)
            if verdict.answer is not Answer.HOLDS:
                found.setdefault((record.id, verdict.answer, count), (record, verdict, []))[2].append(pole)
        for (_, _, count), (record, verdict, poles) in found.items():
            where = in_poles(tuple(dict.fromkeys(poles)))
            used = (FactUsed(record.id, "terminals.lugs_on_one_stud", record.terminals.lugs_on_one_stud.state),)
            head = f"{runs_told(group)}: {count} lugs lie on one stud of {record.id} {where}"
            more: dict[str, Any] = {"got": f"{count} lugs", "facts": used, "at": at(group)}
            if verdict.answer is Answer.BROKEN:
                most = record.terminals.lugs_on_one_stud.wording("lugs")
                yield broken(about(group), f"{head}; it takes {most}", "Land the others on a busbar.", limit=most,
                             **more)
            else:
                yield cannot_tell(about(group), f"{head}; whether it takes them cannot be told: {why(verdict.missing)}",
                                  todo(verdict.missing, "Or land the others on a busbar."), **more)


def _stacked(one: Circuit) -> Iterator[tuple[Record, str, int]]:
    """Yield how many lugs lie on each stud of the run's own device and of the devices in it."""
    for pole in POLES:
        wired = getattr(one.run, pole)
        own = one.own
        if own is not None:
            landed = sum(getattr(run, pole).parallel for run in one.net.runs if run.b == own.id)
            yield own.record, pole, wired.parallel + landed
        for held in wired.devices:
            yield held.loaded.record, pole, wired.parallel


@rule("post-taken", "power", broken=Level.CAUTION, unknown=Level.CAUTION, must_accept=True, broken_also=(Level.STOP,),
      meaning="More than one lug lies on one post of a busbar.",
      source="common practice",
      explain="""One post, one lug: then every lead can be taken off without loosening another, and each joint can be
tightened and seen. A second lug makes the nut of one joint that of two, and on a short stud there is no thread left
for it. Where the busbar's record says how many lugs a post takes, that holds, and more is a stop; where none says
so, somebody must accept it with name and date. Use a free post, or a longer busbar.""")
def _post(stage: Stage) -> Iterator[Hit]:
    for post in posts_taken(stage):
        answer = post.verdict.answer
        if answer is Answer.HOLDS:
            continue
        head = (f"Post {post.post} of busbar {post.busbar.id}: {post.lugs} lugs {in_poles(post.poles)}, of "
                f"{_runs(post.runs)}")
        more: dict[str, Any] = {"got": f"{post.lugs} lugs", "at": tuple(dict.fromkeys(run.at for run in post.runs))}
        names = _devices(stage, post)
        if answer is Answer.BROKEN and post.busbar.loaded is not None:
            record = post.busbar.loaded.record
            most = record.terminals.lugs_on_one_stud.wording("lugs")
            yield broken(names, f"{head}; a post of {record.id} takes {most}", "Use a free post, or a longer busbar.",
                         limit=most, level=Level.STOP, source="record", **more)
        else:
            yield broken(names, f"{head}; nobody states that a post takes more than one",
                         "Use a free post, or accept it with a reason, a name and a date.", limit="1 lug", **more)


def _runs(runs: tuple[Run, ...]) -> str:
    from interop.circuit.bank import run_name

    return named([run_name(run) for run in runs])


def _devices(stage: Stage, post: Post) -> tuple[str, ...]:
    """The devices whose runs land on a post; of a tie alone those that the tie is about."""
    wanted = {id(run) for run in post.runs}
    own = [run.a for run in post.runs if run.a in stage.site.devices]
    ties = [name for group in circuits(stage) for one in group if id(one.run) in wanted for name in one.about]
    return tuple(dict.fromkeys(own or ties))


@rule("no-free-post", "power", broken=Level.STOP, unknown=Level.CAUTION,
      meaning="The site file names more posts of a busbar than its record has.",
      source="record",
      explain="""A lead that is planned for a post that is not there ends up as a second lug on another one, or on a
bolt drilled into the bar. Count the posts of the busbar that is really there, leave one free for measuring, and
move what does not find a place to a second busbar, with a run between the two that is protected and carries what
crosses it.""")
def _free(stage: Stage) -> Iterator[Hit]:
    for posts in posts_named(stage):
        verdict, loaded = posts.verdict, posts.busbar.loaded
        if verdict.answer is Answer.HOLDS or verdict.got is None or loaded is None:
            continue
        names = tuple(dict.fromkeys(run.a for run in posts.runs if run.a in stage.site.devices))
        head = f"Busbar {posts.busbar.id}: {figure(verdict.got.most)} posts are named"
        more: dict[str, Any] = {"got": f"{figure(verdict.got.most)} posts", "at": (posts.busbar.at,)}
        if verdict.answer is Answer.BROKEN and verdict.limit is not None:
            yield broken(names, f"{head}; {loaded.record.id} has {figure(verdict.limit.most)}",
                         "Take a longer busbar, or a second one.", limit=f"{figure(verdict.limit.most)} posts", **more)
        else:
            yield cannot_tell(names, f"{head}; how many {loaded.record.id} has cannot be told: {why(verdict.missing)}",
                              todo(verdict.missing), facts=facts(verdict.missing), **more)
