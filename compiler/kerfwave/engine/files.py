"""The few ways in which the engine touches files. Links are never followed out of a folder of ours."""

from __future__ import annotations

import errno
import itertools
import os
import stat
from pathlib import Path

FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
FORBIDDEN = (errno.EACCES, errno.EPERM, errno.EROFS)
WRONG_NAME = (errno.ENAMETOOLONG, errno.ELOOP, errno.ENOTDIR, errno.EISDIR)  # no fault of the machine's

_counter = itertools.count()


def read_regular(path: Path) -> bytes | None:
    """Return the content of a regular file, or None if there is none to be read (a pipe or a device never blocks)."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        handle = os.open(path, flags)
    except OSError:
        return None
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            return None
        with os.fdopen(os.dup(handle), "rb") as stream:
            return stream.read()
    except OSError:
        return None
    finally:
        os.close(handle)


def write_atomic(path: Path, data: bytes, *, synced: bool = False) -> None:
    """Put `data` at `path` so that every reader sees the old content or the new, whole.

    The temporary file stands beside its goal, since a rename is only atomic within one file system. `synced`: it is on
    the disk before it takes the old one's place, for what cannot be made again.

    Raises
    ------
    OSError
        if that cannot be done; the old content is still there then.
    """
    attempts = 3
    for attempt in range(attempts):
        spare = path.with_name(f".{path.name[:40]}.{os.getpid()}-{next(_counter)}.tmp")
        try:
            spare.write_bytes(data)
            if synced:
                with spare.open("rb+") as stream:
                    os.fsync(stream.fileno())
            spare.replace(path)
            return
        except FileNotFoundError:
            # Another process that was tidying up may have taken our temporary file for a leftover.
            if attempt == attempts - 1:
                raise
        finally:
            spare.unlink(missing_ok=True)


def is_real_folder(path: Path) -> bool:
    """Tell whether `path` is a folder itself, not a link to one."""
    try:
        return stat.S_ISDIR(path.lstat().st_mode)
    except OSError:
        return False


def advice(error: OSError) -> str:
    """Return what the system said, and what a person can do about it."""
    if error.errno in FULL:
        return "the disk is full: free some room and run this again"
    if error.errno in FORBIDDEN:
        return f"{explain(error)}: mend that, or name another folder"
    if error.errno == errno.ENAMETOOLONG:
        return "the name is too long for this file system: use a shorter one"
    if error.errno in WRONG_NAME:
        return f"{explain(error)}: name another place"
    return explain(error)


def explain(error: OSError) -> str:
    """Return what the system said, without Python's brackets and numbers."""
    return (error.strerror or str(error) or type(error).__name__).lower()
