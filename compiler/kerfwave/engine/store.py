"""The cache: what stages made, by content. JSON only; whatever does not verify is a miss, never a crash.

    objects/<sha256>.json   values; the name is the hash of the content, so a damaged file gives itself away
    traces/<key>.json       key of a stage and its inputs -> digest of what it made
    records/<name>.json     small notes that may be written over: the last build of each spec, import lists

Two processes may share one cache: files appear whole, equal names mean equal content, and a lost file is only
made again. No time stamp is read, so a clock that is set back or a copied folder changes nothing.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from kerfwave.engine import codec
from kerfwave.engine.files import explain, is_real_folder, read_regular, write_atomic

FORMAT = "kerfwave-cache-1"
FOLDERS = ("objects", "traces", "records")
README = """\
This folder holds what earlier builds worked out, so that the next one is quick.
It is safe to delete at any time: everything in it is made again when needed.
Nothing here is meant to be edited; a changed file is noticed and made anew.
"""


class Store:
    """One cache folder, or none at all.

    Parameters
    ----------
    folder
        Where the cache lives; made if need be. None keeps nothing.
    note
        Called with one sentence when something about the cache is worth hearing: it cannot be written, an entry is
        damaged. By default the sentences gather in `notes`.
    """

    def __init__(self, folder: Path | None, note: Callable[[str], None] | None = None) -> None:
        self.folder = folder
        self.notes: list[str] = []
        self._note = note or self.notes.append
        self.readable = self.writable = False
        if folder is not None:
            self._open(folder)

    def _open(self, folder: Path) -> None:
        if any(path.is_symlink() for path in (folder, *(folder / name for name in FOLDERS))):
            self._note(f"{folder} is, or holds, a link to another place, so the cache is not used: delete it")
            return
        self.readable = True
        try:
            for name in FOLDERS:
                (folder / name).mkdir(parents=True, exist_ok=True)
            if not (folder / "README.txt").is_file():
                write_atomic(folder / "README.txt", README.encode())
            self.writable = True
        except OSError as error:
            self._cannot_write(error)

    # Objects: canonical JSON under the hash of its own bytes.

    def put_object(self, raw: bytes) -> str:
        """Keep canonical bytes; return their digest. Where nothing can be written, the digest is all that comes."""
        name = codec.sha256(raw)
        if self.writable and not self._path("objects", name).is_file():
            self._write(self._path("objects", name), raw)
        return name

    def get_object(self, digest: str) -> bytes | None:
        """Return the bytes of an object, or None if it is not there or not what its name says."""
        raw = self._read("objects", digest)
        if raw is not None and codec.sha256(raw) != digest:
            self._damaged(self._path("objects", digest))
            return None
        return raw

    # Traces and records: small JSON that carries its own name and hash.

    def put_trace(self, key: str, body: Any) -> None:
        """Remember what the stage with this key made."""
        self._put_sealed("traces", key, key, body)

    def get_trace(self, key: str) -> Any | None:
        """Return what was remembered under this key, or None."""
        return self._get_sealed("traces", key, key)

    def put_record(self, name: str, body: Any) -> None:
        """Write over the record of this name (any text; it never becomes a path)."""
        self._put_sealed("records", codec.sha256(name.encode("utf-8", "surrogatepass"))[:32], name, body)

    def get_record(self, name: str) -> Any | None:
        """Return the record of this name, or None if there is none that verifies."""
        return self._get_sealed("records", codec.sha256(name.encode("utf-8", "surrogatepass"))[:32], name)

    def records(self, prefix: str) -> dict[str, Any]:
        """Return all records that verify and whose name starts with `prefix`."""
        found = {}
        for path, _ in self._files("records"):
            raw = read_regular(path)
            body = None if raw is None or path.suffix != ".json" else _unseal(raw)
            if body is not None and body[0].startswith(prefix):
                found[body[0]] = body[1]
        return found

    def _put_sealed(self, folder: str, file: str, name: str, body: Any) -> None:
        if self.writable:
            self._write(self._path(folder, file), _seal(name, body))

    def _get_sealed(self, folder: str, file: str, name: str) -> Any | None:
        raw = self._read(folder, file)
        if raw is None or _of_another_version(raw):
            return None
        opened = _unseal(raw)
        if opened is None or opened[0] != name:
            self._damaged(self._path(folder, file))
            return None
        return opened[1]

    # Tidying up.

    def size(self) -> int:
        """Return how many bytes the objects take."""
        return sum(size for _, size in self._files("objects"))

    def prune(self, keep: Iterable[str], most_bytes: int) -> int:
        """If the objects take more than `most_bytes`, drop all objects and traces that are not named in `keep`.

        Returns
        -------
        int
            How many files went. Dropping one that another process is about to read costs that process some work and
            nothing else.
        """
        if not self.writable or self.size() <= most_bytes:
            return 0
        kept, gone = set(keep), 0
        for folder in FOLDERS:
            for path, _ in self._files(folder):
                leftover = path.suffix == ".tmp"
                if leftover or (folder != "records" and path.stem not in kept):
                    try:
                        path.unlink()
                        gone += 1
                    except OSError:
                        continue
        return gone

    def _files(self, folder: str) -> list[tuple[Path, int]]:
        found: list[tuple[Path, int]] = []
        if self.folder is None or not self.readable:
            return found
        try:
            with os.scandir(self.folder / folder) as entries:
                for entry in entries:
                    try:
                        found.append((Path(entry.path), entry.stat(follow_symlinks=False).st_size))
                    except OSError:
                        continue
        except OSError:
            return []
        return sorted(found)

    def _path(self, folder: str, name: str) -> Path:
        assert self.folder is not None
        return self.folder / folder / f"{name}.json"

    def _read(self, folder: str, name: str) -> bytes | None:
        return read_regular(self._path(folder, name)) if self.readable else None

    def _write(self, path: Path, data: bytes) -> None:
        try:
            write_atomic(path, data)
        except OSError as error:
            self._cannot_write(error)

    def _cannot_write(self, error: OSError) -> None:
        self.writable = False
        assert self.folder is not None
        if is_real_folder(self.folder) and (self.folder / "objects").is_dir():
            self._note(f"the cache in {self.folder} cannot be written ({explain(error)}); building without keeping")
        else:
            self._note(f"there can be no cache in {self.folder} ({explain(error)}); building without")

    def _damaged(self, path: Path) -> None:
        self._note(f"cache entry {path.parent.name}/{path.name[:12]}... is damaged and will be made again")
        if self.writable:
            with contextlib.suppress(OSError):
                path.unlink()


def _seal(name: str, body: Any) -> bytes:
    check = codec.sha256(codec.to_bytes([FORMAT, name, body]))
    return codec.to_bytes({"body": body, "format": FORMAT, "name": name, "sha256": check}) + b"\n"


def _unseal(raw: bytes) -> tuple[str, Any] | None:
    """Return (name, body) of a sealed file, or None if it is not exactly what `_seal` writes."""
    try:
        data = codec.from_bytes(raw)
        name, body = data["name"], data["body"]
        return (name, body) if _seal(name, body) == raw else None
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _of_another_version(raw: bytes) -> bool:
    """Tell whether this is whole, but of a later or earlier Kerfwave: nothing wrong with it, and no use to us."""
    try:
        other = codec.from_bytes(raw)["format"]
        return isinstance(other, str) and other.startswith("kerfwave-cache-") and other != FORMAT
    except (ValueError, KeyError, TypeError, RecursionError):
        return False
