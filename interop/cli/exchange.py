"""Exchange of two names in one step of the file system, where the system has it.

Source: Linux manual page rename(2), "renameat2()"; RENAME_EXCHANGE is 2 in linux/fs.h and AT_FDCWD is -100 in
fcntl.h (both exact, from memory; a test sees two folders change places).
"""

from __future__ import annotations

import ctypes
import errno
import os
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Final

__all__ = ["exchange_names"]

_AT_FDCWD: Final = -100
_RENAME_EXCHANGE: Final = 2
# The kernel, the file system or a sandbox does not offer the exchange.
_NOT_OFFERED: Final = frozenset({errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP})

_Renameat2 = Callable[[int, bytes, int, bytes, int], int]


@cache
def _renameat2() -> _Renameat2 | None:
    """The C library's function, or None where it has none."""
    try:
        function = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return None
    function.argtypes = [ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint]
    function.restype = ctypes.c_int
    found: _Renameat2 = function
    return found


def exchange_names(one: Path, other: Path) -> bool:
    """Let two existing names change places in one step.

    Returns False, with nothing touched, where the system does not offer it. Raises OSError on any other
    failure.
    """
    renameat2 = _renameat2()
    if renameat2 is None:
        return False
    if renameat2(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _RENAME_EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in _NOT_OFFERED:
        return False
    raise OSError(code, os.strerror(code), str(one), None, str(other))
