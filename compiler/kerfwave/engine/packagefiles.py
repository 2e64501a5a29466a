"""What may stand in a package, its manifest, and whether a folder holds exactly what its manifest says."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kerfwave.engine import codec
from kerfwave.engine.files import is_real_folder, read_regular

MANIFEST = "manifest.json"
FORMAT = "kerfwave-package-1"

_PART = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,98}[A-Za-z0-9_-])?")
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
_DEEPEST = 4


def check_names(names: Mapping[str, bytes]) -> None:
    """Refuse any name that is not a plain relative path, the same on every file system.

    Raises
    ------
    ValueError
        naming the culprit: these names come from our own writers, so this is a slip in the program.
    """
    folded: dict[str, str] = {}
    for name in sorted(names):
        parts = name.split("/")
        if len(parts) > _DEEPEST or not all(_PART.fullmatch(part) for part in parts):
            raise ValueError(f"not a file name for a package: {name!r}")
        if any(part.partition(".")[0].lower() in _DEVICES for part in parts):
            raise ValueError(f"some systems keep this name for a device: {name!r}")
        if name.lower() == MANIFEST:
            raise ValueError(f"{MANIFEST} is written by the publisher")
        for end in range(1, len(parts) + 1):
            path = "/".join(parts[:end])
            kind = path if end == len(parts) else path + "/"
            other = folded.setdefault(path.lower(), kind)
            if other != kind:
                raise ValueError(f"two names are one on some systems: {other!r} and {kind!r}")


def manifest(files: Mapping[str, bytes]) -> bytes:
    """Return the text of ``manifest.json``: SHA-256 and size of every file, sorted by name."""
    listed = {name: {"sha256": codec.sha256(data), "size": len(data)} for name, data in files.items()}
    return codec.to_readable({"files": listed, "format": FORMAT})


def stamp_of(target: Path) -> str | None:
    """Return the digest of the manifest in `target` if every file is there and as listed and nothing else is.

    Every file is read and hashed; time stamps are not looked at, links are not followed.
    """
    listed = listing(target)
    if listed is None:
        return None
    raw = read_regular(target / MANIFEST)
    if raw is None or set(walk(target)) != {MANIFEST, *listed}:
        return None
    return codec.sha256(raw) if all(vouched(target, name, entry) for name, entry in listed.items()) else None


def verify(target: Path) -> bool:
    """Tell whether `target` holds a whole package, exactly as its manifest lists it."""
    return stamp_of(target) is not None


def is_current(target: Path, stamp: str) -> bool:
    """Tell whether `target` holds the whole package with this stamp (`Published.stamp`)."""
    return stamp_of(target) == stamp


def listing(target: Path) -> dict[str, Any] | None:
    """Return the entries of the manifest in `target`, or None if there is no manifest of ours."""
    raw = read_regular(target / MANIFEST) if is_real_folder(target) else None
    try:
        data = codec.from_bytes(raw or b"")
        entries = data["files"]
        if data["format"] == FORMAT and all(isinstance(entry, dict) for entry in entries.values()):
            return dict(entries)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        pass
    return None


def vouched(target: Path, name: str, entry: Mapping[str, Any]) -> bool:
    """Tell whether file `name` in `target` has the size and hash of its manifest entry."""
    path = target / name
    try:
        if path.is_symlink() or path.stat().st_size != entry.get("size"):
            return False
    except (OSError, ValueError):
        return False
    raw = read_regular(path)
    return raw is not None and hashlib.sha256(raw).hexdigest() == entry.get("sha256")


def walk(folder: Path) -> list[str]:
    """Return the relative names of everything in `folder` but real folders, sorted; links count as files."""
    found = []
    waiting = [""]
    while waiting:
        prefix = waiting.pop()
        try:
            with os.scandir(folder / prefix) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        waiting.append(f"{prefix}{entry.name}/")
                    else:
                        found.append(f"{prefix}{entry.name}")
        except OSError:
            found.append(f"{prefix}?")  # a folder that cannot be read vouches for nothing
    return sorted(found)
