"""A package appears whole or not at all: written beside its place, checked onto the disk, then swapped in.

At every moment the target is the old package or the new one. Where the system can exchange two folders in one step
(Linux, macOS) that holds even for a process killed between any two instructions; elsewhere there are two renames, and
`recover`, which every publication starts with, puts the old package back if the process died between them.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from kerfwave.engine import codec
from kerfwave.engine.errors import PublishError
from kerfwave.engine.exchange import exchange
from kerfwave.engine.files import FORBIDDEN, FULL, explain, is_real_folder, read_regular
from kerfwave.engine.lock import locked
from kerfwave.engine.packagefiles import MANIFEST, check_names, listing, manifest, stamp_of, vouched, walk


@dataclass(frozen=True, slots=True)
class Published:
    """The outcome of `publish`."""

    stamp: str  # digest of the manifest, to ask `is_current` about later
    changed: bool  # False: the very same package stood there already and was left alone
    kept: Path | None = None  # where files that somebody had edited or added by hand were put


def publish(files: Mapping[str, bytes], target: Path, on_wait: Callable[[], None] | None = None) -> Published:
    """Make `target` hold exactly `files` and a manifest of them.

    Parameters
    ----------
    files
        Content by relative name with forward slashes; see `packagefiles.check_names`.
    target
        The package's folder. If it stands already it must be a package of ours (or empty): nobody's other files are
        ever replaced. Files that were edited or added by hand since are copied to ``<target>.edited-1`` first.
    on_wait
        Called once if another build of the same target has to be waited for.

    Raises
    ------
    PublishError
        if the target is a link, a file or somebody else's folder, if the disk is full, or if something may not be
        written. The target holds what it held before.
    ValueError
        for a name that has no place in a package.
    """
    check_names(files)
    text = manifest(files)
    stamp = codec.sha256(text)
    content = {**files, MANIFEST: text}
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with locked(target.parent / f".{target.name}.lock", on_wait) as alone:
            _recover(target, alone)
            _refuse_strangers(target, content)
            if stamp_of(target) == stamp:
                return Published(stamp, changed=False)
            # Where there are no locks somebody else may be writing too: each in a folder of its own.
            whose = "" if alone else f"-{os.getpid()}"
            incoming, outgoing = _incoming(target, whose), _outgoing(target, whose)
            kept = _keep_edited(target, content, whose)
            try:
                _write_all(content, incoming)
                _swap(incoming, target, outgoing)
            finally:
                _clear(target, (*_leftovers(target), incoming, outgoing) if alone else (incoming, outgoing))
            return Published(stamp, changed=True, kept=kept)
    except OSError as error:
        raise PublishError(_what_to_do(error, target, sum(map(len, content.values())))) from error


def recover(target: Path) -> None:
    """Put things right if an earlier build was killed in the middle: afterwards the last good package is in its place.

    Raises
    ------
    PublishError
        if that is not possible.
    """
    try:
        if target.parent.is_dir() and _leftovers(target):
            with locked(target.parent / f".{target.name}.lock") as alone:
                _recover(target, alone)
    except OSError as error:
        raise PublishError(_what_to_do(error, target, 0)) from error


def _incoming(target: Path, whose: str = "") -> Path:
    return target.with_name(f".{target.name}.incoming{whose}")


def _outgoing(target: Path, whose: str = "") -> Path:
    return target.with_name(f".{target.name}.outgoing{whose}")


def _recover(target: Path, alone: bool) -> None:
    left = _leftovers(target)
    if not os.path.lexists(target):
        gone = [path for path in left if _is_old(path, target) and is_real_folder(path)]
        if gone:
            gone[0].rename(target)
    if alone:  # without a lock these may be another's work
        _clear(target, left)


def _clear(target: Path, left: Sequence[Path]) -> None:
    """Remove leftovers, but not the last good package, where the swap was broken off in the middle."""
    for path in left:
        if _is_old(path, target) and not os.path.lexists(target):
            continue
        if is_real_folder(path):
            shutil.rmtree(path, ignore_errors=True)
        elif os.path.lexists(path):
            path.unlink()


def _is_old(path: Path, target: Path) -> bool:
    return path.name.startswith(_outgoing(target).name)


def _leftovers(target: Path) -> tuple[Path, ...]:
    """Return what builds of this target left that were killed: new, old, or copies of what a person changed."""
    begin = f".{target.name}."
    ours = re.compile(r"(incoming|outgoing)(-[a-z0-9-]+)?")
    found = (path for path in target.parent.iterdir() if path.name.startswith(begin))
    return tuple(sorted(path for path in found if ours.fullmatch(path.name[len(begin) :])))


def _refuse_strangers(target: Path, content: Mapping[str, bytes]) -> None:
    """Stop before anything that is not a package of ours would be replaced."""
    if not os.path.lexists(target):
        return
    if target.is_symlink():
        raise PublishError(f"{target} is a link to another place; nothing is written through it. Remove the link.")
    if not is_real_folder(target):
        raise PublishError(f"{target} is a file, and a package of that name needs a folder. Move the file away.")
    if listing(target) is None:
        strangers = [name for name in walk(target) if name not in content]
        if strangers:
            raise PublishError(
                f"{target} is there already and is no package of Kerfwave (it holds {strangers[0]!r}). "
                "Move it away, or build into another folder with --out."
            )


def _keep_edited(target: Path, content: Mapping[str, bytes], whose: str) -> Path | None:
    """Copy what a person changed or added in the old package to a folder beside it, whole, before it is replaced."""
    if not is_real_folder(target):
        return None
    listed = listing(target) or {}
    edited = [
        name
        for name in walk(target)
        if name != MANIFEST
        and not (name in listed and vouched(target, name, listed[name]))
        and not (name in content and read_regular(target / name) == content[name])
    ]
    if not edited:
        return None
    number = 1
    while os.path.lexists(place := target.with_name(f"{target.name}.edited-{number}")):
        number += 1
    aside = _incoming(target, f"-{place.name.removeprefix(target.name + '.')}{whose}")
    shutil.rmtree(aside, ignore_errors=True)
    try:
        for name in edited:
            (aside / name).parent.mkdir(parents=True, exist_ok=True)
            if (target / name).is_symlink() or (target / name).is_file():
                shutil.copy2(target / name, aside / name, follow_symlinks=False)
        aside.rename(place)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return place


def _write_all(content: Mapping[str, bytes], folder: Path) -> None:
    """Write every file and see it safe on the disk: a rename must not overtake the bytes it makes visible."""
    folder.mkdir()
    for name in sorted(content):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as stream:
            stream.write(content[name])
            stream.flush()
            os.fsync(stream.fileno())
    for place in {folder, *((folder / name).parent for name in content)}:
        _sync_folder(place)


def _swap(new: Path, target: Path, outgoing: Path) -> None:
    if not os.path.lexists(target):
        new.rename(target)
    elif not exchange(new, target):
        target.rename(outgoing)
        try:
            new.rename(target)
        except BaseException:
            outgoing.rename(target)
            raise
    _sync_folder(target.parent)


def _sync_folder(folder: Path) -> None:
    """Have the folder's entries written out, where the system knows such a thing."""
    with _ignored():
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def _ignored() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in (errno.EIO, *FULL):
            raise


def _what_to_do(error: OSError, target: Path, size: int) -> str:
    place = error.filename or target
    unchanged = f"{target} is as it was before"
    if error.errno in FULL:
        return f"the disk is full: the package takes {size / 1e6:.1f} MB. Free some room and build again; {unchanged}."
    if error.errno in FORBIDDEN:
        return f"no permission to write {place}. Mend that, or build into another folder with --out; {unchanged}."
    return f"could not write {place} ({explain(error)}); {unchanged}."
