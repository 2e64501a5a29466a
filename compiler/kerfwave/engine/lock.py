"""One build of a target at a time. The system frees the lock of a process that dies, so none is ever left over."""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from enum import Enum
from pathlib import Path

_NO_LOCKS_HERE = {errno.ENOSYS, errno.ENOLCK, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}


class Got(Enum):
    """What came of trying to get a lock."""

    YES = 1
    NO = 2  # somebody else has it
    NONE_HERE = 3  # this file system has no locks


@contextmanager
def locked(path: Path, on_wait: Callable[[], None] | None = None) -> Iterator[bool]:
    """Hold the lock file `path` within the block; `on_wait` is called once if somebody else has it.

    On a file system without locks the block runs all the same, and is told so by False: others may be at it too.

    Raises
    ------
    OSError
        if the lock file cannot be made.
    """
    handle, held = _take(path, on_wait)
    try:
        yield held
    finally:
        # Taken away while still held: who waits for it sees that its file is no longer the one at this path.
        with suppress(OSError):
            path.unlink()
        os.close(handle)


def _take(path: Path, on_wait: Callable[[], None] | None) -> tuple[int, bool]:
    told = False
    while True:
        handle = os.open(
            path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0), 0o666
        )
        try:
            got = _lock(handle, wait=False)
            if got is Got.NO:
                if on_wait is not None and not told:
                    on_wait()
                told = True
                while (got := _lock(handle, wait=True)) is Got.NO:
                    time.sleep(0.05)
            if _is_at(handle, path):
                return handle, got is Got.YES
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)


def _is_at(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except FileNotFoundError:
        return False


def _lock(handle: int, wait: bool) -> Got:
    """Try to get the lock; waiting leaves the order in which it goes round to the system."""
    try:
        import fcntl
    except ImportError:
        return _lock_windows(handle)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except OSError as error:
        if error.errno in _NO_LOCKS_HERE:
            return Got.NONE_HERE
        if error.errno in (errno.EAGAIN, errno.EACCES):
            return Got.NO
        raise
    return Got.YES


def _lock_windows(handle: int) -> Got:
    import msvcrt

    try:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
    except OSError:
        return Got.NO
    return Got.YES
