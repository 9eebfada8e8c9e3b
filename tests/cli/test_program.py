"""The installed command: help, usage, exit statuses, and how a failure is told. No command's own work."""

from __future__ import annotations

import errno
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest

from interop import __version__
from interop.cli import main, program
from interop.cli.lazy import LazyCommand, LazyGroup
from interop.cli.place import FolderCause, FolderRefused, FolderTrouble
from interop.cli.status import Status
from interop.records.faults import Fault, InputFaults

INSTALLED = Path(sys.executable).with_name("interop")
HEAVY = [
    "networkx", "scipy", "numpy", "typst", "graphviz", "pygraphviz", "pydantic", "rich", "jinja2", "segno",
    "yaml",
]  # fmt: skip


def run(*args: str, way: tuple[str, ...] = (str(INSTALLED),)) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*way, *args], capture_output=True, text=True, check=False, timeout=60)


@pytest.mark.parametrize(
    "way", [(str(INSTALLED),), (sys.executable, "-m", "interop")], ids=["script", "module"]
)
def test_version_and_help_through_both_doors(way: tuple[str, ...]) -> None:
    version = run("--version", way=way)
    assert (version.returncode, version.stdout, version.stderr) == (0, f"interop {__version__}\n", "")
    shown = run("--help", way=way)
    assert (shown.returncode, shown.stderr) == (0, "")
    assert shown.stdout.startswith("Usage: interop [OPTIONS] COMMAND [ARGS]...\n")


def test_help_lists_the_commands_and_every_exit_status() -> None:
    text = run("-h").stdout
    listed = text[text.index("Commands:\n") :].splitlines()[1:]
    assert [line.split()[0] for line in listed[: listed.index("")]] == ["check", "plan", "power", "explain", "schema"]
    words = " ".join(text.split())
    for said in ("0 all cleared", "1 the answer is no", "2 unusable", "3 the program or the machine failed",
                 "4 settings issued", "130 interrupted"):  # fmt: skip
        assert said in words


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import json, sys; from interop.cli import main; status = main(['--help']); "
        "print(json.dumps([status, sorted(sys.modules)]), file=sys.stderr)"
    )
    done = run("-c", code, way=(sys.executable,))
    status, modules = json.loads(done.stderr)
    assert status == 0
    assert set(modules) & set(HEAVY) == set()
    assert set(modules) & {"interop.cli.check", "interop.records", "interop.site"} == set()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("chek",), "No such command 'chek'."),
        (("--nonsense",), "No such option"),
        ((), "Usage: interop [OPTIONS] COMMAND [ARGS]..."),
    ],
)
def test_wrong_usage_is_2_and_says_so_on_stderr(args: tuple[str, ...], said: str) -> None:
    done = run(*args)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr


PRINTING = (
    "import sys, click; from interop.cli import main, program; "
    "program.program.add_command(click.Command('say', callback=lambda: print('held back'))); "
    "sys.exit(main(['say']))"
)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize(
    "way", [(INSTALLED, "--help"), (sys.executable, "-c", PRINTING)], ids=["echo", "print"]
)
def test_output_that_cannot_be_written_is_3_in_one_line(way: tuple[str, ...]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            way, stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=60
        )
    assert (done.returncode, done.stderr) == (3, "interop: the machine failed: No space left on device\n")


def test_a_reader_that_went_away_is_3_and_quiet() -> None:
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = subprocess.run(
            [INSTALLED, "--help"], stdout=writer, stderr=subprocess.PIPE, text=True, check=False, timeout=60
        )
    finally:
        os.close(writer)
    assert (done.returncode, done.stderr) == (3, "")


def test_the_interrupt_key_is_130() -> None:
    code = (
        "import os, signal, sys, click\n"
        "from interop.cli import main, program\n"
        # a test run in the background may have the signal ignored
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "press = lambda: os.kill(os.getpid(), signal.SIGINT)\n"
        "program.program.add_command(click.Command('wait', callback=press))\n"
        "sys.exit(main(['wait']))"
    )
    done = run("-c", code, way=(sys.executable,))
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "interop: interrupted\n")
    assert Status.INTERRUPTED == 128 + signal.SIGINT


# What a command answers or raises


@pytest.fixture
def status_of() -> Iterator[Callable[[Callable[[], object]], int]]:
    """Run a function as a command of the real program and return the exit status."""

    def given(callback: Callable[[], object]) -> int:
        program.program.add_command(click.Command("trial", callback=callback))
        return main(["trial"])

    yield given
    program.program.commands.pop("trial", None)


Given = Callable[[Callable[[], object]], int]


def raising(error: BaseException) -> Callable[[], object]:
    def callback() -> object:
        raise error

    return callback


@pytest.mark.parametrize(
    ("answer", "status"),
    [(None, 0), (Status.CLEARED, 0), (Status.NO, 1), (Status.UNUSABLE, 2), (Status.FAILED, 3),
     (Status.NOT_FOR_JOINING, 4), (4, 4)],
)  # fmt: skip
def test_an_answer_is_the_exit_status(status_of: Given, answer: int | None, status: int) -> None:
    assert status_of(lambda: answer) == status


FAULTS = [
    Fault("a.yaml", 3, 7, "cells.in_series", '"x"', "a whole number"),
    Fault("a.yaml", 1, 1, "", "b", "c"),
]
CAUSES = [FolderCause(FolderTrouble.FILE, Path("out")), FolderCause(FolderTrouble.LINK, Path("b"))]


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (InputFaults(FAULTS), 2,
         'a.yaml:1:1: got b; expected c\na.yaml:3:7: cells.in_series: got "x"; expected a whole number\n'),
        (FolderRefused(*CAUSES), 2,
         "interop: out is not a folder\ninterop: b is a symbolic link; name the folder itself\n"),
        (click.ClickException("no such rule"), 2, "Error: no such rule\n"),
        (OSError(errno.ENOSPC, "No space left on device", "out/plan.json"), 3,
         "interop: the machine failed: No space left on device: out/plan.json\n"),
        (MemoryError(), 3, "interop: the machine failed: out of memory\n"),
        (KeyError("a\nb"), 3, "interop: internal fault: KeyError: 'a\\nb'; please report it\n"),
        (ValueError("two\n  lines"), 3, "interop: internal fault: ValueError: two lines; please report it\n"),
        (RuntimeError(), 3, "interop: internal fault: RuntimeError: no message; please report it\n"),
        (BrokenPipeError(errno.EPIPE, "Broken pipe"), 3, ""),
        (KeyboardInterrupt(), 130, "interop: interrupted\n"),
        (click.Abort(), 130, ""),
    ],
)  # fmt: skip
def test_whatever_is_raised_becomes_lines_and_a_status(
    status_of: Given, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    error: BaseException, status: int, said: str,
) -> None:  # fmt: skip
    monkeypatch.delenv("INTEROP_DEBUG", raising=False)
    assert status_of(raising(error)) == status
    out, err = capsys.readouterr()
    # The line of the program's own place changes with its source; the test below holds its form.
    assert (out, err.replace(own_place(err), "")) == ("", said)


def own_place(text: str) -> str:
    start = text.find(" (interop/")
    return text[start : text.index(")", start) + 1] if start >= 0 else "\0"


def test_an_internal_fault_names_the_innermost_place_of_ours(
    status_of: Given, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of(lambda: LazyCommand("json:dumps", "").load()) == 3
    err = capsys.readouterr().err
    where = "(interop/cli/lazy.py:"
    assert err.startswith(f"interop: internal fault: TypeError: json:dumps is no command {where}")
    assert err.endswith("); please report it\n")
    assert err.count("\n") == 1


def test_debugging_shows_the_traceback_too(
    status_of: Given, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("INTEROP_DEBUG", "1")
    assert status_of(raising(ValueError("why"))) == 3
    err = capsys.readouterr().err
    assert err.startswith("Traceback (most recent call last):\n")
    assert err.splitlines()[-1].startswith("interop: internal fault: ValueError: why (interop/cli/status.py:")


def test_a_lazy_command_is_imported_when_asked_for() -> None:
    group = LazyGroup(name="g", lazy={"go": LazyCommand("no.such.module:command", "Go.")})
    context = click.Context(group)
    assert group.list_commands(context) == ["go"]
    assert "go  Go." in group.get_help(context)
    assert group.get_command(context, "stay") is None
    with pytest.raises(ModuleNotFoundError):
        group.get_command(context, "go")
