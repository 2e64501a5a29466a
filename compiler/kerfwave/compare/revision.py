"""A spec as it stood at a git revision, with the shelf files round it, written to a folder of its own.

Git is only asked, never told: nothing is checked out, no hook or filter runs, nothing is fetched. What comes out are
the bytes of regular files of the revision's tree; links and submodules are left out.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

SHELVES = ("drivers", "stock", "machines", "recipes")
LEVELS = 3  # as far up as a shelf is looked for
LARGEST_BYTES = 8 * 2**20  # of one file
MOST_FILES = 2000
_SPEC_AT = re.compile(r"(?P<spec>.+?\.ya?ml)@(?P<revision>.+)", re.IGNORECASE | re.DOTALL)
_OF_A_HOOK = ("GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_OBJECT_DIRECTORY")
_REGULAR = ("100644", "100755")


class RevisionError(ValueError):
    """A revision, or a file in it, that is not to be had; the message says why."""


@dataclass(frozen=True, slots=True)
class Revised:
    """A spec of a revision, on disk."""

    path: Path  # in the folder that was asked for
    root: Path  # stands for the top of the repository
    commit: str


def split(name: str) -> tuple[str, str] | None:
    """Return (spec, revision) of ``spec.yaml@REV``; None for what is no such name, or is the name of a file.

    >>> split("specs/post.yaml@HEAD@{1}"), split("out/post")
    (('specs/post.yaml', 'HEAD@{1}'), None)
    """
    found = _SPEC_AT.fullmatch(name)
    return None if found is None or os.path.lexists(name) else (found["spec"], found["revision"])


def fetch(spec: str, revision: str, folder: Path) -> Revised:
    """Write the spec at `revision`, what was measured beside it, and its shelves, into `folder`.

    Raises
    ------
    RevisionError
        without git, a repository, the revision, or the file in it; for a spec outside of the repository.
    """
    if shutil.which("git") is None:
        raise RevisionError("git is not installed, and a spec at a revision (spec.yaml@REV) needs it")
    place = Path(os.path.realpath(Path(spec).parent)) / Path(spec).name
    near = next(parent for parent in place.parents if parent.is_dir())
    try:
        top = Path(os.fsdecode(_git(near, "rev-parse", "--show-toplevel")).rstrip("\n"))
    except RevisionError as error:
        raise RevisionError(f"{spec}: it is in no git repository ({error})") from None
    top = Path(os.path.realpath(top))
    if not place.is_relative_to(top):
        raise RevisionError(f"{spec}: it lies outside of the repository {top}")
    inner = PurePosixPath(place.relative_to(top).as_posix())
    try:
        if revision.startswith("-"):
            raise RevisionError("a revision does not begin with a dash")
        asked = ("rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}")
        commit = _git(top, *asked).decode("ascii").strip()
    except RevisionError:
        raise RevisionError(f"there is no revision '{revision}' in {top}") from None
    # The temporary stand-in lies so deep that no shelf is looked for above it.
    root = folder.joinpath(*("revision",) * (LEVELS + 1))
    blobs = _blobs(top, commit, inner)
    if inner.as_posix() not in blobs:
        raise RevisionError(f"{spec}: there is no such file at {revision} (or it is a link)")
    for name, blob in sorted(blobs.items()):
        target = root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(_git(top, "cat-file", "blob", blob))
    return Revised(root / inner, root, commit)


def _blobs(top: Path, commit: str, spec: PurePosixPath) -> dict[str, str]:
    """Return the objects of the spec, its measurements and the shelves round it, by path in the repository."""
    wanted = [spec.as_posix(), spec.with_name(f"{spec.stem}.measured.yaml").as_posix()]
    for folder in (spec.parent, *list(spec.parent.parents)[:LEVELS]):
        wanted += [(root / shelf).as_posix() for root in (folder, folder / "specs") for shelf in SHELVES]
    listed = _git(top, "--literal-pathspecs", "ls-tree", "-r", "-z", "-l", "--full-tree", commit, "--", *wanted)
    found: dict[str, str] = {}
    for entry in listed.split(b"\0"):
        about, tab, name = entry.partition(b"\t")
        if not tab:
            continue
        mode, kind, blob, size = about.decode("ascii").split()
        path = os.fsdecode(name)
        if kind != "blob" or mode not in _REGULAR or not path.endswith((".yaml", ".yml", ".txt")):
            continue
        if "\\" in path or {"", ".", "..", ".git"} & set(path.split("/")):
            raise RevisionError(f"'{path}' is no path that a repository may hold")
        if int(size) > LARGEST_BYTES:
            raise RevisionError(f"'{path}' is too large for a spec or a shelf file")
        found[path] = blob
    if len(found) > MOST_FILES:
        raise RevisionError(f"there are more than {MOST_FILES} shelf files at {commit}")
    return found


def _git(folder: Path, *arguments: str) -> bytes:
    """Return what git prints. No shell sees the arguments, and git asks nobody and fetches nothing."""
    # Within a hook, git speaks of the repository that the hook belongs to; we mean the one where the spec lies.
    clean = {name: value for name, value in os.environ.items() if name not in _OF_A_HOOK}
    quiet = {"GIT_TERMINAL_PROMPT": "0", "GIT_OPTIONAL_LOCKS": "0", "GIT_NO_LAZY_FETCH": "1", "LC_ALL": "C"}
    try:
        done = subprocess.run(
            ["git", "--no-pager", "-C", str(folder), *arguments],
            env={**clean, **quiet},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
        )
    except (OSError, ValueError) as error:
        raise RevisionError(f"git cannot be run: {error}") from None
    if done.returncode:
        said = done.stderr.decode("utf-8", "replace").strip().splitlines()
        raise RevisionError(said[0] if said else "git found nothing")
    return done.stdout
