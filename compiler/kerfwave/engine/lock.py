"""One build of a target at a time. The system frees the lock of a process that dies, so none is ever left over."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_NO_LOCKS_HERE = {errno.ENOSYS, errno.ENOLCK, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}


@contextmanager
def locked(path: Path, on_wait: Callable[[], None] | None = None) -> Iterator[None]:
    """Hold the lock file `path` within the block; `on_wait` is called once if somebody else has it.

    On a file system without locks the block runs all the same: the swap itself stays whole, and the last one wins.

    Raises
    ------
    OSError
        if the lock file cannot be made.
    """
    handle = _take(path, on_wait)
    try:
        yield
    finally:
        # Taken away while still held: who waits for it sees that its file is no longer the one at this path.
        with suppress(OSError):
            path.unlink()
        os.close(handle)


def _take(path: Path, on_wait: Callable[[], None] | None) -> int:
    told = False
    while True:
        handle = os.open(
            path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0), 0o666
        )
        try:
            if not _lock(handle, wait=False):
                if on_wait is not None and not told:
                    on_wait()
                told = True
                while not _lock(handle, wait=True):
                    time.sleep(0.05)
            if _is_at(handle, path):
                return handle
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _is_at(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except FileNotFoundError:
        return False


def _lock(handle: int, wait: bool) -> bool:
    """Return whether the lock is ours now; waiting leaves the order in which it goes round to the system."""
    try:
        import fcntl
    except ImportError:
        return _lock_windows(handle)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as error:
        if error.errno in _NO_LOCKS_HERE:
            return True
        if error.errno in (errno.EAGAIN, errno.EACCES):
            return False
        raise
    return True


def _lock_windows(handle: int) -> bool:
    import msvcrt

    try:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    except OSError:
        return False
    return True
