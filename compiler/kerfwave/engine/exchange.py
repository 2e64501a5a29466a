"""Exchange two folders in one step, where the system can."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

_AT_FDCWD = -100
_RENAME_EXCHANGE = 2  # Linux, renameat2(2)
_RENAME_SWAP = 2  # macOS, renamex_np(2)
_NOT_HERE = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EXDEV}


def exchange(a: Path, b: Path) -> bool:
    """Exchange `a` and `b`; return False if this system or file system has no such step.

    Raises
    ------
    OSError
        if it has, and refuses.
    """
    import ctypes  # not quick to import, and a build with nothing to do never comes here

    try:
        library = ctypes.CDLL(None, use_errno=True)
        if sys.platform.startswith("linux"):
            failed = library.renameat2(_AT_FDCWD, os.fsencode(a), _AT_FDCWD, os.fsencode(b), _RENAME_EXCHANGE)
        elif sys.platform == "darwin":
            failed = library.renamex_np(os.fsencode(a), os.fsencode(b), _RENAME_SWAP)
        else:
            return False
    except (AttributeError, OSError, TypeError):  # no such function in this C library, or no C library to ask
        return False
    if not failed:
        return True
    number = ctypes.get_errno()
    if number in _NOT_HERE:
        return False
    raise OSError(number, os.strerror(number), str(b))
