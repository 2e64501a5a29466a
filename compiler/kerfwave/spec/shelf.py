"""Where shelf files are, and that a name in a spec never leads anywhere else.

A shelf is a folder with any of ``drivers/ stock/ machines/ recipes/`` in it. For each kind the first folder that has
it is taken, of: the spec's own folder, its parents up to three levels, and the ``specs`` folder of each of those.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from kerfwave.filenames import native, text_of_name
from kerfwave.findings import quoted

FOLDERS = {
    "driver": "drivers",
    "stock": "stock",
    "machine": "machines",
    "recipes": "recipes",
    "response": "drivers",  # a measured response lies beside its driver
}
LEVELS = 3
ENDINGS = (".yaml", ".yml")
ENDINGS_OF = {"response": (".txt",)}


class ShelfError(ValueError):
    """A shelf name that cannot be followed."""

    def __init__(self, code: str, message: str, why: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.code, self.why, self.hint = code, why, hint


def folder_for(spec: Path, kind: str) -> Path | None:
    """Return the shelf folder for one kind of file, None if there is none near the spec."""
    here = spec.absolute().parent
    for place in (here, *list(here.parents)[:LEVELS]):
        for root in (place, place / "specs"):
            folder = root / FOLDERS[kind]
            if folder.is_dir() and folder.resolve().is_relative_to(root.resolve()):
                return folder
    return None


def named(spec: Path, kind: str, name: str) -> Path:
    """Return the shelf file that `name` (such as ``drivers/example.yaml``) stands for.

    Raises:
        ShelfError: if there is no shelf, no such file, or the name leads out of its folder.
    """
    prefix, endings = FOLDERS[kind], ENDINGS_OF.get(kind, ENDINGS)
    example = f"{prefix}/{_stem(name)}{endings[0]}"
    parts = name.split("/")
    if (
        "\\" in name
        or name.startswith(("/", "~"))
        or ":" in name
        or not name.isprintable()
        or {"", ".", ".."} & set(parts)
    ):
        why = f"a shelf file is named by its place in the folder {prefix}, with / between parts and no .."
        raise ShelfError("K302", f"{quoted(name)} leads out of the shelf", why, example)
    if parts[0] != prefix or len(parts) < 2 or not name.endswith(endings):
        why = f"a {kind} on the shelf is named {prefix}/...{endings[0]}"
        raise ShelfError("K302", f"{quoted(name)} is not the name of a shelf file", why, example)
    folder = folder_for(spec, kind)
    if folder is None:
        why = f"looked for a folder {prefix} beside the spec, {LEVELS} levels up, and in specs at each"
        raise ShelfError(
            "K303", f"there is no shelf with {prefix}", why, f"make the folder {prefix}, or write it inline"
        )
    path = folder.joinpath(*map(native, parts[1:]))
    if not _exists(path):
        from kerfwave.spec.suggest import nearest

        names = [text_of_name(file.name) for file in listed(spec, kind)]
        near = nearest("/".join(parts[1:]), names)
        why = f"on the shelf: {', '.join(names[:12])}" if names else "the shelf is empty"
        raise ShelfError("K301", f"there is no {quoted(name)} on the shelf", why, f"{prefix}/{near}" if near else "")
    _check_inside(path, folder, name)
    return _like(path, spec)


def listed(spec: Path, kind: str) -> tuple[Path, ...]:
    """Return every shelf file of one kind, sorted by name; files that lead out of the folder are left out."""
    folder = folder_for(spec, kind)
    if folder is None:
        return ()
    real, endings = folder.resolve(), ENDINGS_OF.get(kind, ENDINGS)
    paths = sorted(path for path in folder.iterdir() if path.suffix in endings and path.is_file())
    return tuple(_like(path, spec) for path in paths if path.resolve().is_relative_to(real))


def sha256_of(path: Path) -> str:
    """Return the digest of a file's bytes, "" if there is no regular file or it cannot be read."""
    found = hashlib.sha256()
    try:
        if not path.is_file():
            return ""
        with path.open("rb") as stream:
            while block := stream.read(1 << 20):
                found.update(block)
    except (OSError, ValueError):
        return ""
    return found.hexdigest()


def surroundings(spec: Path) -> tuple[str, ...]:
    """Return all that decides which shelf files a spec gets: where the shelves are, and what is listed there."""
    folders = (f"{kind}: {folder_for(spec, kind)}" for kind in FOLDERS)
    return (str(spec.absolute()), *folders, *(path.as_posix() for path in listed(spec, "recipes")))


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):  # too long a name, or one that this system cannot write
        return False


def _like(path: Path, spec: Path) -> Path:
    """Return `path` as it shall stand in messages: relative to the working folder if the spec is."""
    return path if spec.is_absolute() else Path(os.path.relpath(path))


def _check_inside(path: Path, folder: Path, name: str) -> None:
    try:
        inside = path.resolve(strict=True).is_relative_to(folder.resolve(strict=True))
    except (OSError, RuntimeError):  # a loop of links
        inside = False
    if not inside:
        raise ShelfError("K302", f"{quoted(name)} is a link that leads out of the shelf", "", "put a copy on the shelf")


def _stem(name: str) -> str:
    last = name.replace("\\", "/").rstrip("/").split("/")[-1]
    stem = last.rsplit(".", 1)[0] if last.endswith((*ENDINGS, ".txt")) else last
    return "".join(char for char in stem if char.isalnum() or char in "-_")[:40] or "example"
