"""The folder of a plan: what is refused, what is replaced, and what a killed run leaves."""

from __future__ import annotations

import errno
import json
import os
import signal
import stat
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from interop.cli.exchange import exchange_names
from interop.cli.folder import write_plan_folder
from interop.cli.place import FolderRefused, FolderTrouble

Exchange = Callable[[Path, Path], bool]


def no_exchange(_one: Path, _other: Path) -> bool:
    return False


def plan(mark: str, *names: str) -> dict[str, bytes]:
    listed = sorted(names)
    manifest = {"format": "interop-plan", "version": 1, "files": listed, "mark": mark}
    others = {name: f"{mark} {name}".encode() for name in listed}
    return {"plan.json": json.dumps(manifest).encode(), **others}


OLD = plan("old", "sheets/R1.pdf", "sheets/R2.pdf", "report.html")
NEW = plan("new", "sheets/R1.pdf", "notes/W9.pdf", "report.html")


def content(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def everything(folder: Path) -> list[str]:
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


def refusal(target: Path, files: dict[str, bytes] = NEW) -> list[tuple[FolderTrouble, Path, tuple[str, ...]]]:
    with pytest.raises(FolderRefused) as caught:
        write_plan_folder(target, files)
    return [(cause.trouble, cause.path, cause.names) for cause in caught.value.causes]


ways = pytest.mark.parametrize("exchange", [exchange_names, no_exchange], ids=["exchange", "two-renames"])


# What is written


@ways
def test_a_missing_an_empty_and_an_old_folder_take_the_plan(tmp_path: Path, exchange: Exchange) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD, exchange=exchange)
    assert content(target) == OLD
    write_plan_folder(target, NEW, exchange=exchange)
    assert content(target) == NEW
    (tmp_path / "empty").mkdir()
    write_plan_folder(tmp_path / "empty", NEW, exchange=exchange)
    assert content(tmp_path / "empty") == NEW
    assert sorted(p.name for p in tmp_path.iterdir()) == ["empty", "out"]


def test_the_target_may_be_a_bare_relative_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_plan_folder(Path("out"), NEW)
    assert content(tmp_path / "out") == NEW


@pytest.mark.parametrize("mask", [0o000, 0o022, 0o077])
def test_modes_do_not_depend_on_the_users_mask(tmp_path: Path, mask: int) -> None:
    before = os.umask(mask)
    try:
        write_plan_folder(tmp_path / "out", NEW)
    finally:
        os.umask(before)
    made = [tmp_path / "out", *(tmp_path / "out").rglob("*")]
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in made}
    assert modes == {
        "out": 0o755, "sheets": 0o755, "notes": 0o755,
        "plan.json": 0o644, "R1.pdf": 0o644, "W9.pdf": 0o644, "report.html": 0o644,
    }  # fmt: skip


def test_every_file_and_folder_is_synced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real, synced = os.fsync, []

    def watching(handle: int) -> None:
        synced.append(Path(f"/proc/self/fd/{handle}").readlink().name)
        real(handle)

    if not Path("/proc/self/fd").exists():
        pytest.skip("no /proc to name what is synced")
    monkeypatch.setattr(os, "fsync", watching)
    write_plan_folder(tmp_path / "out", NEW)
    assert synced == [
        "plan.json", "W9.pdf", "report.html", "R1.pdf", "sheets", "notes", ".interop-new-out", tmp_path.name,
    ]  # fmt: skip


# What is refused, with nothing touched


@pytest.mark.parametrize(
    ("extra", "named"),
    [("mine.txt", "mine.txt"), ("sheets/mine.txt", "sheets/mine.txt"), ("other/deep/mine.txt", "other")],
)
def test_a_file_that_the_plan_does_not_list_is_refused(tmp_path: Path, extra: str, named: str) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)
    (target / extra).parent.mkdir(parents=True, exist_ok=True)
    (target / extra).write_bytes(b"mine")
    assert refusal(target) == [(FolderTrouble.STRANGERS, target, (named,))]
    assert content(target) == {**OLD, extra: b"mine"}
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_link_in_the_place_of_a_listed_file_is_refused(tmp_path: Path) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)
    (tmp_path / "kept").write_bytes(b"kept")
    (target / "report.html").unlink()
    (target / "report.html").symlink_to(tmp_path / "kept")
    assert refusal(target) == [(FolderTrouble.STRANGERS, target, ("report.html",))]
    assert (tmp_path / "kept").read_bytes() == b"kept"


@pytest.mark.parametrize(
    "manifest",
    [b"", b"not json", b"[]", b"[" * 100_000,
     b'{"format": "other", "files": ["mine.txt"]}', b'{"format": "interop-plan"}',
     b'{"format": "interop-plan", "files": [1]}', b'{"format": "interop-plan", "files": "mine.txt"}'],
)  # fmt: skip
def test_a_folder_with_some_other_plan_json_is_refused(tmp_path: Path, manifest: bytes) -> None:
    target = tmp_path / "out"
    target.mkdir()
    (target / "mine.txt").write_bytes(b"mine")
    (target / "plan.json").write_bytes(manifest)
    assert refusal(target) == [(FolderTrouble.STRANGERS, target, ("mine.txt", "plan.json"))]
    assert (target / "mine.txt").read_bytes() == b"mine"


def test_a_lone_foreign_plan_json_is_refused(tmp_path: Path) -> None:
    target = tmp_path / "out"
    target.mkdir()
    (target / "plan.json").write_bytes(b"{}")
    assert refusal(target) == [(FolderTrouble.STRANGERS, target, ("plan.json",))]


def test_a_file_a_link_and_a_missing_parent_are_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"kept")
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to("real")
    (tmp_path / "dangling").symlink_to("nowhere")
    before = everything(tmp_path)
    assert refusal(tmp_path / "file") == [(FolderTrouble.FILE, tmp_path / "file", ())]
    assert refusal(tmp_path / "link") == [(FolderTrouble.LINK, tmp_path / "link", ())]
    assert refusal(tmp_path / "dangling") == [(FolderTrouble.LINK, tmp_path / "dangling", ())]
    assert refusal(tmp_path / "no" / "out") == [(FolderTrouble.NO_PARENT, tmp_path / "no" / "out", ())]
    assert refusal(tmp_path / "file" / "out") == [(FolderTrouble.NO_PARENT, tmp_path / "file" / "out", ())]
    assert everything(tmp_path) == before


@pytest.mark.parametrize("name", [".", "..", "/"])
def test_a_target_without_a_name_of_its_own_is_refused(name: str) -> None:
    assert refusal(Path(name)) == [(FolderTrouble.NO_NAME, Path(name), ())]


def test_a_mounted_file_system_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "out"
    target.mkdir()
    monkeypatch.setattr(Path, "is_mount", lambda path: path == target)  # mounting needs rights a test has not
    assert refusal(target) == [(FolderTrouble.MOUNTED, target, ())]


def test_a_strangers_folder_under_a_hidden_name_is_refused_and_kept(tmp_path: Path) -> None:
    target, hidden = tmp_path / "out", tmp_path / ".interop-new-out"
    write_plan_folder(target, OLD)
    (hidden / "plan.json").mkdir(parents=True)
    assert refusal(target) == [(FolderTrouble.LEFT_OVER, hidden, ("plan.json",))]
    assert content(target) == OLD
    assert (hidden / "plan.json").is_dir()


def test_all_causes_are_named_in_one_refusal(tmp_path: Path) -> None:
    target = tmp_path / "out"
    for folder in (target, tmp_path / ".interop-old-out"):
        folder.mkdir()
        for number in range(7):
            (folder / f"{number}.txt").write_bytes(b"")
    with pytest.raises(FolderRefused) as caught:
        write_plan_folder(target, NEW)
    shown = "0.txt, 1.txt, 2.txt, 3.txt, 4.txt and 2 more"
    assert str(caught.value) == (
        f"{target} holds what no plan of this program lists: {shown}\n"
        f"{tmp_path}/.interop-old-out is in the way beside the target and holds what no plan of this program "
        f"lists: {shown}"
    )


@ways
def test_a_file_put_in_while_the_new_folder_is_written_is_kept(tmp_path: Path, exchange: Exchange) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)

    def put_in(step: str) -> None:
        if step == "synced":
            (target / "mine.txt").write_bytes(b"mine")

    with pytest.raises(FolderRefused, match=r": mine\.txt$"):
        write_plan_folder(target, NEW, exchange=exchange, step=put_in)
    assert content(target) == {**OLD, "mine.txt": b"mine"}
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize(
    ("files", "text"),
    [
        ({}, "the files of a plan need a plan.json with a format and a list of files"),
        ({**NEW, "more": b""}, "plan.json does not list exactly the other files: more"),
        (plan("x", "../out"), "not a plain relative name: '../out'"),
        (plan("x", "/out"), "not a plain relative name: '/out'"),
        (plan("x", "a//b"), "not a plain relative name: 'a//b'"),
        (plan("x", "a\\b"), "not a plain relative name: 'a\\\\b'"),
    ],
)
def test_files_that_do_not_agree_with_their_list_are_a_fault(
    tmp_path: Path, files: dict[str, bytes], text: str
) -> None:
    with pytest.raises(ValueError) as caught:
        write_plan_folder(tmp_path / "out", files)
    assert str(caught.value) == text
    assert everything(tmp_path) == []


# A user without rights: only a child process can give up its own

AS_NOBODY = """
import os, sys
from pathlib import Path
from interop.cli.folder import FolderRefused, write_plan_folder
from interop.cli import exchange
import json, fcntl
if os.geteuid() == 0:
    os.setgid(65534)
    os.setuid(65534)
try:
    write_plan_folder(Path(sys.argv[1]), {"plan.json": b'{"format": "interop-plan", "files": []}'})
except FolderRefused as refused:
    print(refused)
"""


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user can reach, unlike pytest's own."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def said_as_nobody(target: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-c", AS_NOBODY, target], capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout


def test_a_parent_that_may_not_be_written_is_refused(open_folder: Path) -> None:
    open_folder.chmod(0o555)
    assert said_as_nobody(open_folder / "out") == f"{open_folder} may not be changed by this user\n"
    assert everything(open_folder) == []
    open_folder.chmod(0o755)


def test_an_old_plan_that_may_not_be_emptied_is_refused(open_folder: Path) -> None:
    target = open_folder / "out"
    write_plan_folder(target, OLD)
    open_folder.chmod(0o777)
    for folder in (target, target / "sheets"):
        folder.chmod(0o777)
    (target / "sheets").chmod(0o555)
    assert said_as_nobody(target) == f"{target}/sheets may not be changed by this user\n"
    assert content(target) == OLD
    (target / "sheets").chmod(0o755)


# The machine fails


STEPS = ["folder made", "file made", "file written", "synced"]


@pytest.mark.parametrize(
    ("exchange", "at"),
    [*((exchange_names, at) for at in STEPS), *((no_exchange, at) for at in [*STEPS, "moved aside"])],
)
@pytest.mark.parametrize("failure", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_failure_leaves_the_old_plan_and_nothing_else(
    tmp_path: Path, exchange: Exchange, at: str, failure: BaseException
) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)

    def fail(step: str) -> None:
        if step == at:
            raise failure

    with pytest.raises(type(failure)) as caught:
        write_plan_folder(target, NEW, exchange=exchange, step=fail)
    assert caught.value is failure
    assert content(target) == OLD
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_full_disk_is_an_error_of_the_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(OSError, match="No space left on device"):
            write_plan_folder(target, NEW)
    assert content(target) == OLD
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


# Killed

KILLED = """
import json, os, signal, sys
from pathlib import Path
from interop.cli.exchange import exchange_names
from interop.cli.folder import write_plan_folder

target, way, last = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
files = {name: text.encode() for name, text in json.load(sys.stdin).items()}
done = 0

def step(name):
    global done
    done += 1
    if done == last:
        print(name, flush=True)
        os.kill(os.getpid(), signal.SIGKILL)

exchange = exchange_names if way == "exchange" else lambda *_: False
write_plan_folder(target, files, step=step, exchange=exchange)
print("finished")
"""


def killed_at(target: Path, way: str, step: int) -> str:
    """Write NEW in a process that kills itself at a step (from 1); the step's name, or "finished"."""
    done = subprocess.run(
        [sys.executable, "-c", KILLED, target, way, str(step)],
        input=json.dumps({name: data.decode() for name, data in NEW.items()}),
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    said = done.stdout.strip()
    assert done.returncode == (0 if said == "finished" else -signal.SIGKILL), done.stderr
    return said


BEFORE = ["folder made", "file made", "file written", "folder made", "folder made",
          *["file made", "file written"] * 3, "synced"]  # fmt: skip
AFTER = ["in place", *["old file removed"] * 3, "old plan.json removed"]
RUNS = [("exchange", [*BEFORE, *AFTER]), ("two-renames", [*BEFORE, "moved aside", *AFTER])]


@pytest.mark.parametrize(
    ("way", "step", "name"),
    [
        pytest.param(way, number, name, id=f"{way}-{number}-{name.replace(' ', '-')}")
        for way, names in RUNS
        for number, name in enumerate([*names, "finished"], start=1)
    ],
)
def test_a_killed_run_leaves_one_whole_plan(tmp_path: Path, way: str, step: int, name: str) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)
    assert killed_at(target, way, step) == name
    if name == "moved aside":  # the one moment without a target: both are whole, the next run completes
        assert content(tmp_path / ".interop-old-out") == OLD
        assert content(tmp_path / ".interop-new-out") == NEW
        assert not target.exists()
    else:
        assert content(target) == (OLD if name in BEFORE else NEW)
    newest = plan("newest", "report.html")
    write_plan_folder(target, newest)
    assert content(target) == newest
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def failing_at_once(_: str) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


@pytest.mark.parametrize("emptied", [False, True], ids=["no-target", "empty-target"])
def test_the_next_run_completes_two_renames_even_when_it_fails_itself(tmp_path: Path, emptied: bool) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)
    assert killed_at(target, "two-renames", len(BEFORE) + 1) == "moved aside"
    if emptied:
        target.mkdir()
    with pytest.raises(OSError, match="No space left"):
        write_plan_folder(target, OLD, step=failing_at_once)
    assert content(target) == NEW
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_the_older_plan_comes_back_where_the_new_one_was_damaged_since(tmp_path: Path) -> None:
    target = tmp_path / "out"
    write_plan_folder(target, OLD)
    assert killed_at(target, "two-renames", len(BEFORE) + 1) == "moved aside"
    (tmp_path / ".interop-new-out" / "report.html").unlink()
    with pytest.raises(OSError, match="No space left"):
        write_plan_folder(target, NEW, step=failing_at_once)
    assert content(target) == OLD
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_left_over_of_another_target_is_not_touched(tmp_path: Path) -> None:
    write_plan_folder(tmp_path / ".interop-old-other", OLD)
    write_plan_folder(tmp_path / "out", NEW)
    assert content(tmp_path / ".interop-old-other") == OLD


def test_a_kill_while_the_first_file_is_half_written_is_cleared_up(tmp_path: Path) -> None:
    (tmp_path / ".interop-new-out").mkdir()
    (tmp_path / ".interop-new-out" / "plan.json").write_bytes(b'{"format": "int')
    write_plan_folder(tmp_path / "out", NEW)
    assert content(tmp_path / "out") == NEW
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_two_runs_at_once_take_turns(tmp_path: Path) -> None:
    """A second run started while the first one writes waits, then replaces the first one's plan."""
    target = tmp_path / "out"
    second: list[subprocess.Popen[str]] = []

    def start_another(step: str) -> None:
        if step == "synced":
            args = [sys.executable, "-c", KILLED, str(target), "exchange", "0"]
            second.append(subprocess.Popen(args, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))
            with pytest.raises(subprocess.TimeoutExpired):
                second[0].communicate(json.dumps({n: d.decode() for n, d in NEW.items()}), timeout=1.0)

    write_plan_folder(target, OLD, step=start_another)
    said, _ = second[0].communicate(timeout=60)
    assert said == "finished\n"
    assert content(target) == NEW
    assert [p.name for p in tmp_path.iterdir()] == ["out"]
