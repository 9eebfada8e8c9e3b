"""The exchange of two names, on the real system and where it is not offered."""

from __future__ import annotations

import ctypes
import errno
from pathlib import Path

import pytest

from interop.cli import exchange


def two_folders(where: Path) -> tuple[Path, Path]:
    one, other = where / "one", where / "other"
    for folder in (one, other):
        folder.mkdir()
        (folder / "name").write_text(folder.name)
    return one, other


def test_two_folders_change_places(tmp_path: Path) -> None:
    one, other = two_folders(tmp_path)
    if not exchange.exchange_names(one, other):
        pytest.skip("this system has no exchange of names")
    assert (one / "name").read_text() == "other"
    assert (other / "name").read_text() == "one"


@pytest.mark.skipif(exchange._renameat2() is None, reason="this C library has no renameat2")
def test_a_missing_name_is_an_error_not_a_no(tmp_path: Path) -> None:
    one, _ = two_folders(tmp_path)
    with pytest.raises(FileNotFoundError):
        exchange.exchange_names(one, tmp_path / "none")
    assert (one / "name").read_text() == "one"


def test_no_function_in_the_library_answers_no(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = two_folders(tmp_path)
    monkeypatch.setattr(exchange, "_renameat2", lambda: None)
    assert exchange.exchange_names(one, other) is False
    assert (one / "name").read_text() == "one"


@pytest.mark.parametrize("code", [errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP])
def test_a_system_that_does_not_offer_it_answers_no(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    one, other = two_folders(tmp_path)

    def failing(*_: object) -> int:
        ctypes.set_errno(code)
        return -1

    monkeypatch.setattr(exchange, "_renameat2", lambda: failing)
    assert exchange.exchange_names(one, other) is False


def test_another_failure_is_raised_with_both_names(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = two_folders(tmp_path)

    def failing(*_: object) -> int:
        ctypes.set_errno(errno.EIO)
        return -1

    monkeypatch.setattr(exchange, "_renameat2", lambda: failing)
    with pytest.raises(OSError, match="error") as caught:
        exchange.exchange_names(one, other)
    assert (caught.value.errno, caught.value.filename, caught.value.filename2) == (
        errno.EIO, str(one), str(other),
    )  # fmt: skip
