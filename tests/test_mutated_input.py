"""Example sites and their records with one to three things spoilt, by fixed seeds: an answer or faults, nothing else.

Whatever is written, the loader either gives a site, for which both stages are judged, a plan is made and every sheet
and note is laid out, or it raises every fault with its file, line and column. Anything else is a fault of the program.
"""

from __future__ import annotations

import json
import random
import re
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml

import interop
from interop.documents.canonical import canonical_json
from interop.documents.faces_of import faces_of
from interop.documents.notes import note_inputs
from interop.documents.package import TooWide
from interop.documents.sheets import sheet_inputs

ROOT = Path(__file__).parent.parent
SITES = ("ferry-landing", "lock-house", "tide-gauge", "ten-faults")
pytestmark = pytest.mark.xdist_group("mutated input")     # one worker: the last test counts what the others met
ROUNDS = 20
"""Spoilt inputs of each site and operation."""


# ---- a file as a tree in which a key may stand twice ----


@dataclass
class Map:
    pairs: list[tuple[str, Node]]


@dataclass
class Seq:
    items: list[Node]


Node = Map | Seq | str


def parse(text: str) -> Node:
    return _node(yaml.compose(text, yaml.BaseLoader))


def _node(node: object) -> Node:
    if isinstance(node, yaml.MappingNode):
        return Map([(key.value, _node(value)) for key, value in node.value])
    if isinstance(node, yaml.SequenceNode):
        return Seq([_node(item) for item in node.value])
    assert isinstance(node, yaml.ScalarNode)
    return str(node.value)


def written(node: Node) -> str:
    """The tree in block style: a line for every scalar, so that faults stand at lines of their own."""
    return "\n".join(_lines(node)) + "\n"


def _lines(node: Node) -> Iterator[str]:
    if isinstance(node, str):
        yield _scalar(node)
        return
    if isinstance(node, Map):
        entries = [(f"{_scalar(key)}:", value) for key, value in node.pairs]
    else:
        entries = [("-", value) for value in node.items]
    if not entries:
        yield "{}" if isinstance(node, Map) else "[]"
    for head, value in entries:
        first, *rest = _lines(value)
        if isinstance(value, str) or not (value.pairs if isinstance(value, Map) else value.items):
            yield f"{head} {first}"
        else:
            yield head
            yield from (f"  {line}" for line in (first, *rest))


def _scalar(text: str) -> str:
    plain = re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 ._/-]*[A-Za-z0-9]|[A-Za-z0-9]", text)
    return text if plain else json.dumps(text, ensure_ascii=False)


# ---- what is done to a tree ----

HOSTILE = (
    "", " ", "~", "null", "yes", "no", "on", "off", "x", "all", "none", "unknown", "not stated", "propose", "manager",
    "0", "1", "-1", "1.5", "1e999", "NaN", "-inf", "0x10", "1_000", "99999999999999999999", "1..3", "3..1", "1..",
    "..", "R1", "R1..R9", "R9..R1", "A1..A3", "S1..", "N1", "INV", "SUN", "unit 1", "unit 99", "rack L slot 1..",
    "R1 LINK1", "manager REPORT", "tarn-a", "tarn-z", "REPORT", "LINK", "chain", "stop a", "chain plus", "reference",
    "supply 12 V", "empty", "cell minus", "either", "alone", "same pin joined", "1-8", "flag", "first is low",
    "by port order", "by plug", "newest", "can", "rs-485", "closed to act", "open to act", "0000", "xxxx", "101010",
    "<script>", "#{}[]`$@&*!|>%", "\\", "\"'", "a\nb", "\u202e", "\U0001f50b", "W" * 500, "../..", "/dev/zero",
    "2031-02-30", "6 ft", "1 furlong", "70 mm2", "5 for 10 s",
)  # fmt: skip
COMPOUND: tuple[Node, ...] = (
    Map([]), Seq([]), Seq(["1"]), Seq(["R1", "R1"]), Seq([Map([])]), Map([("7", "8")]), Map([("x", "8")]),
    Map([("7", "7"), ("8", "7")]), Map([("manual", "1")]), Map([("own", "1"), ("older", "2")]), Map([("", "")]),
    Seq([Seq([Seq(["a"])])]), Map([("table", Map([("1", "off")]))]),
)  # fmt: skip

Place = tuple[Map | Seq, int]


def places(node: Node) -> Iterator[Place]:
    """Every entry below a node."""
    if isinstance(node, str):
        return
    for i, value in enumerate([v for _, v in node.pairs] if isinstance(node, Map) else node.items):
        yield node, i
        yield from places(value)


def value_at(place: Place) -> Node:
    where, i = place
    return where.pairs[i][1] if isinstance(where, Map) else where.items[i]


def put(place: Place, value: Node) -> None:
    """A copy of a value in a place, so that no part of a tree stands in it twice."""
    where, i = place
    if isinstance(where, Map):
        where.pairs[i] = (where.pairs[i][0], deepcopy(value))
    else:
        where.items[i] = deepcopy(value)


def entries_of(where: Map | Seq) -> list[tuple[str, Node]] | list[Node]:
    return where.pairs if isinstance(where, Map) else where.items


def drop(tree: Node, rng: random.Random) -> None:
    where, i = rng.choice(list(places(tree)))
    del entries_of(where)[i]


def swap(tree: Node, rng: random.Random) -> None:
    """A scalar for a hostile one."""
    scalars = [place for place in places(tree) if isinstance(value_at(place), str)]
    put(rng.choice(scalars), rng.choice(HOSTILE))


def retype(tree: Node, rng: random.Random) -> None:
    """A scalar for a map or list, a map or list for a scalar or for one of the other kind."""
    place = rng.choice(list(places(tree)))
    put(place, rng.choice(COMPOUND if isinstance(value_at(place), str) else (*HOSTILE, *COMPOUND)))


def double(tree: Node, rng: random.Random) -> None:
    """An entry a second time: a key twice in one map, or a part of the file where another part was."""
    all_places = list(places(tree))
    where, i = rng.choice(all_places)
    if rng.random() < 0.5:
        entries = entries_of(where)
        entries.insert(rng.randrange(len(entries) + 1), deepcopy(entries[i]))  # type: ignore[arg-type]
    else:
        put(rng.choice(all_places), value_at((where, i)))


def shuffle(tree: Node, rng: random.Random) -> None:
    several = [where for where, _ in places(tree) if len(entries_of(where)) > 1]
    rng.shuffle(entries_of(rng.choice(several)))


def rename(tree: Node, rng: random.Random) -> None:
    """A key for another key of the file or a hostile word."""
    maps = [place for place in places(tree) if isinstance(place[0], Map)]
    where, i = rng.choice(maps)
    other, j = rng.choice(maps)
    assert isinstance(where, Map)
    assert isinstance(other, Map)
    key = rng.choice([other.pairs[j][0], rng.choice(HOSTILE)])
    where.pairs[i] = (key, where.pairs[i][1])


OPERATIONS: dict[str, Callable[[Node, random.Random], None]] = {
    "drop": drop, "swap": swap, "retype": retype, "double": double, "shuffle": shuffle, "rename": rename,
}  # fmt: skip


# ---- one spoilt site ----


@dataclass(frozen=True)
class Spoilt:
    """The files of one input by name as seen from the site file, and which of them was spoilt."""

    files: dict[str, str]
    which: str


def originals(name: str) -> dict[str, str]:
    """The site file and the files of its records, by path as seen from its folder."""
    home = ROOT / "examples" / name
    site = interop.load_site(home / "site.yaml")
    return {path: (home / path).read_text(encoding="utf-8") for path, _ in site.inputs}


def spoilt(files: dict[str, str], operation: str, rng: random.Random) -> Spoilt:
    """One file with one to three things done to it: the site file in half the cases, else one of its records."""
    records = sorted(name for name in files if name != "site.yaml")
    which = "site.yaml" if rng.random() < 0.5 else rng.choice(records)
    tree = parse(files[which])
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        if not any(True for _ in places(tree)):
            break
        OPERATIONS[operation](tree, rng)
    return Spoilt(files | {which: written(tree)}, which)


LINE = re.compile(r"(?P<file>[^:]+):(?P<line>\d+):(?P<column>\d+):(?: .+?:)? got .+; expected .+")


def complaints(fault: str, home: Path) -> Iterator[str]:
    """What is wrong with the line of a fault: its shape, or a place that is not there, as seen from the site file."""
    said = LINE.fullmatch(fault)
    if said is None:
        yield f"no file:line:column, got and expected: {fault}"
        return
    path, line, column = home / said["file"], int(said["line"]), int(said["column"])
    lines = path.read_text(encoding="utf-8").split("\n") if path.is_file() else [""]  # a folder has one place, 1:1
    if not 1 <= line <= len(lines) or not 1 <= column <= len(lines[line - 1]) + 1:
        yield f"no such place: {fault}"


def status(home: Path) -> int:
    """The exit status that the command would give for ``plan``; raises whatever is not meant for the user."""
    try:
        site = interop.load_site(home / "site.yaml")
    except interop.InputFaults as bad:
        lines = str(bad).split("\n")
        assert [said for line in lines for said in complaints(line, home)] == []
        return 2
    interop.check_site(site)
    try:
        plan, decisions, _ = interop.plan_document(site, draft=True)
    except TooWide:
        return 2
    faces = faces_of(decisions)
    assert len(sheet_inputs(plan, faces)) == len(plan["packs"])
    assert len(note_inputs(plan, faces)) == len(plan["cables"])
    assert json.loads(canonical_json(plan)) == plan
    if not plan["cleared"]["settings"]:
        return 1
    return 0 if plan["cleared"]["joining"] else 4


def write(folder: Path, home: str, one: Spoilt) -> None:
    for name, text in one.files.items():
        path = folder / "examples" / home / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.resolve().write_text(text, encoding="utf-8")


SEEN: Counter[int] = Counter()


@pytest.mark.parametrize("operation", OPERATIONS)
@pytest.mark.parametrize("home", SITES)
def test_an_answer_or_faults_with_their_places(tmp_path: Path, home: str, operation: str) -> None:
    shutil.copytree(ROOT / "catalogs", tmp_path / "catalogs")
    whole = originals(home)
    rng = random.Random(f"{home} {operation} 5")
    found: Counter[int] = Counter()
    rounds = ROUNDS // 2 if operation == "shuffle" else ROUNDS       # what is shuffled is always answered, in full
    for number in range(rounds):
        one = spoilt(whole, operation, rng)
        write(tmp_path, home, one)
        try:
            found[status(tmp_path / "examples" / home)] += 1
        except Exception as bad:  # the input is what helps
            bad.add_note(f"round {number}, {one.which}:\n{one.files[one.which]}")
            raise
    assert set(found) <= {0, 1, 2, 4}
    assert found.total() == rounds
    SEEN.update(found)


def test_the_rounds_reach_faults_and_answers() -> None:
    """Not vacuous: of all rounds at least a fifth each ends in faults and in an answer (run after the others)."""
    if not SEEN:
        pytest.skip("none of the rounds was run")
    assert SEEN[2] >= SEEN.total() / 5
    assert SEEN[1] + SEEN[4] >= SEEN.total() / 5


@pytest.mark.parametrize("home", SITES)
def test_unspoilt_the_same_files_are_read_and_answered_alike(tmp_path: Path, home: str) -> None:
    """The writer of this test changes nothing by itself."""
    shutil.copytree(ROOT / "catalogs", tmp_path / "catalogs")
    whole = {name: written(parse(text)) for name, text in originals(home).items()}
    one = Spoilt(whole, "")
    write(tmp_path, home, one)
    again = interop.plan_document(interop.load_site(tmp_path / "examples" / home / "site.yaml"))[0]
    first = interop.plan_document(interop.load_site(ROOT / "examples" / home / "site.yaml"))[0]
    for key in ("links", "packs", "cables", "buses", "cleared", "reasons", "settings"):
        assert again[key] == first[key], key


def test_a_line_without_its_place_is_complained_of(tmp_path: Path) -> None:
    (tmp_path / "site.yaml").write_text("a: 1\n", encoding="utf-8")
    assert list(complaints("site.yaml:1:1: a: got x; expected y", tmp_path)) == []
    assert list(complaints("records:1:1: got a file; expected a folder", tmp_path)) == []
    assert list(complaints("site.yaml: got x; expected y", tmp_path))
    assert list(complaints("site.yaml:9:1: got x; expected y", tmp_path))
    assert list(complaints("site.yaml:1:9: got x; expected y", tmp_path))
    assert list(complaints("site.yaml:1:1: a: x", tmp_path))
