"""Let a build meet a fault at every step that it takes on the disk, one after another, and see what it leaves.

Run by `test_faults.py` in a process of its own: each build is a fork of it, so that it can really be killed. It is the
command line as people run it, account, cache and publication included; only the stages are small, and the spec is
read beforehand. What is wrong is printed, a line for each; at the end the number of steps.
"""

from __future__ import annotations

import errno
import gc
import io
import os
import shutil
import signal
import sys
from collections.abc import Callable
from contextlib import redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any

from kerfwave import account, cli, jobs
from kerfwave.cli import main
from kerfwave.engine import Stage, recover
from kerfwave.engine.packagefiles import stamp_of
from kerfwave.stages.labels import Labels
from kerfwave.stages.package import Package

publish = sys.modules["kerfwave.engine.publish"]
CHANGES = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate")
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


def grow(labels: Labels) -> Package:
    files = tuple((f"sheets/sheet-{number:02}.svg", f"<svg>{labels.name} {number}</svg>") for number in (1, 2))
    return Package(files, (), "proceed")


def package(pages: Package, labels: Labels) -> Package:
    return Package((*pages.files, ("report.json", f"{labels.spec_sha256}\n")), (), "proceed")


STAGES = (Stage("pages", grow, Package, ("labels",)), Stage("package", package, Package, ("pages", "labels")))


# Faults.


def killed(fatal: bool) -> None:
    """Be gone in this very moment."""
    os.kill(os.getpid(), signal.SIGKILL)


def full(takes_room: bool) -> None:
    """Stand for a disk without room: what was there can still be moved about and removed."""
    if takes_room:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def read_only(takes_room: bool) -> None:
    """Stand for a disk that went over to reading only, as it does after an error."""
    raise OSError(errno.EROFS, os.strerror(errno.EROFS))


class Torn:
    """A file of which only the first half of what is written gets through when the disk is full."""

    def __init__(self, file: Any, step: Callable[[bool], None]) -> None:
        self._file, self._step = file, step

    def __enter__(self) -> Torn:
        return self

    def __exit__(self, *error: object) -> None:
        self._file.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def write(self, data: bytes) -> int:
        half = len(data) // 2
        self._file.write(data[:half])
        self._file.flush()
        self._step(True)
        self._file.write(data[half:])
        return len(data)


def inject(first: int, fault: Callable[[bool], None]) -> list[int]:
    """From the step `first` on, let every step onto the disk meet the fault; return the count of steps."""
    count = [0]

    def step(takes_room: bool) -> None:
        count[0] += 1
        if count[0] > first:
            fault(takes_room)

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open" and not isinstance(arguments[0], int):
            if arguments[2] & WRITES and not str(arguments[0]).startswith("/dev/"):
                step(bool(arguments[2] & (os.O_CREAT | os.O_TRUNC)))
        elif event in CHANGES:
            step(event in ("os.mkdir", "os.link", "os.symlink"))

    plain_open, plain_exchange = Path.open, publish.exchange

    def opened(path: Path, mode: str = "r", *more: Any, **options: Any) -> Any:
        file = plain_open(path, mode, *more, **options)
        return Torn(file, step) if {"w", "x"} & set(mode) and "b" in mode else file

    def exchanged(a: Path, b: Path) -> bool:
        step(False)
        return plain_exchange(a, b)

    Path.open, publish.exchange, os.fsync = opened, exchanged, lambda handle: step(True)
    sys.addaudithook(hook)  # told of every change before it is made, whoever makes it; it cannot be taken off again
    return count


# Builds.


def in_a_fork(said: Path, argv: list[str], first: int, fault: Callable[[bool], None] | None) -> tuple[int, int]:
    """Run a command in a process of its own; return its status (-9 when it was killed) and the steps that it took."""
    read, write = os.pipe()
    pid = os.fork()
    if pid == 0:
        gc.disable()  # which would copy all that the fork shares with its parent
        sys.stdout = sys.stderr = io.TextIOWrapper(said.open("wb", buffering=0), "utf-8", write_through=True)
        os.fsync = lambda handle: None  # it takes its time, and tells apart nothing here
        count = inject(first, fault) if fault else [0]
        status = main(argv)
        os.write(write, str(count[0]).encode())
        os._exit(status)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        steps = int(pipe.read() or b"0")
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), steps


class Place:
    """A spec, its output folder, and how both are put back."""

    def __init__(self, home: Path, demo: Path) -> None:
        shelf = Path(shutil.copytree(demo.parent, home / "specs"))
        self.spec, self.out, self.said = shelf / "toy.yaml", home / "out", home / "said"
        self.target = self.out / "toy"
        self.texts = [demo.read_text("utf-8") + f"# revision {number}\n" for number in (1, 2)]
        loaded = {}
        for text in self.texts:
            self.spec.write_text(text, "utf-8")
            loaded[text] = jobs._load(self.spec)
        jobs.STAGES = STAGES
        jobs._load = lambda path, tell=None: loaded[path.read_text("utf-8")]
        account._program()  # once for all of them, as is the reading of our own code
        cli.parser = cache(cli.parser)
        walker = jobs.Walker(None)
        for stage in STAGES:
            walker.code(stage.modules)
        jobs.Walker = lambda memo: walker
        self.argv = ["build", str(self.spec), "--out", str(self.out)]
        self.stamps = []
        for text in self.texts:
            self.spec.write_text(text, "utf-8")
            with redirect_stdout(io.StringIO()):
                assert main(self.argv) == 0  # in this process, so that no fork has to import what it needs
            self.stamps.append(stamp_of(self.target))
            shutil.copytree(self.out, home / f"out-{len(self.stamps)}")

    def reset(self, start: str) -> str | None:
        """Put everything as it is at the beginning; return the stamp of the package that stands."""
        shutil.rmtree(self.out, ignore_errors=True)
        if start != "nothing":
            shutil.copytree(self.out.with_name("out-1"), self.out)
        if start == "edited":
            (self.target / "mine.txt").write_text("notes", "utf-8")
        if start == "cold":
            shutil.rmtree(self.out / ".cache")
        return None if start == "nothing" else self.stamps[0]

    def wrong(self, start: str, status: int, before: str | None) -> list[str]:
        """Return what is wrong after a fault, and after the build that follows it."""
        said = self.said.read_text("utf-8")
        if start == "renames":
            recover(self.target)  # as every build begins with, also one that comes to nothing
        found = [f"said {word}" for word in ("Traceback", "fault in kerfwave") if word in said]
        after = stamp_of(self.target)
        if start == "edited" and (self.target / "mine.txt").exists():
            (self.target / "mine.txt").unlink()
            after = stamp_of(self.target)
        if after not in (before, self.stamps[1]) or (before is None and after is None and self.target.exists()):
            found.append("the package is neither the old one nor the new one")
        if status not in (0, 3, -signal.SIGKILL):
            found.append(f"status {status}: {said}")
        if status == 0 and after != self.stamps[1]:
            found.append("done, it said, but the new package is not there")
        if status == 3 and not any(word in said for word in ("the disk is full", "no permission", "read-only")):
            found.append(f"no word of what to do: {said}")
        found += [] if start != "edited" else self.lost()
        again, _ = in_a_fork(self.said, self.argv, 0, None)
        if again or stamp_of(self.target) != self.stamps[1]:
            found.append(f"the next build: status {again}: {self.said.read_text('utf-8')}")
        left = {path.name for path in self.out.iterdir()} - {".cache", "toy"}
        found += [f"left over: {name}" for name in left if not name.startswith("toy.edited-")]
        return found

    def lost(self) -> list[str]:
        """Return what is wrong with what a person had added."""
        kept = [path for path in self.out.glob("toy.edited-*") if (path / "mine.txt").exists()]
        return [] if kept or stamp_of(self.target) == self.stamps[0] else ["what was added by hand is lost"]


def campaign(place: Place, start: str, fault: Callable[[bool], None]) -> int:
    """Let the build meet the fault at its first step, its second, and so on until it meets it no more."""
    first = 0
    while True:
        before = place.reset(start)
        status, steps = in_a_fork(place.said, place.argv, first, fault)
        for text in place.wrong(start, status, before):
            sys.stderr.write(f"{start}, {fault.__name__} at step {first}: {text}\n")
        if status != -signal.SIGKILL and steps <= first:
            return first
        first += 1


if __name__ == "__main__":
    here = Place(Path(sys.argv[1]), Path(sys.argv[2]))
    if sys.argv[3] == "renames":
        publish.exchange = lambda a, b: False
    one = {"killed": killed, "full": full, "read_only": read_only}[sys.argv[4]]
    sys.stdout.write(f"{campaign(here, sys.argv[3], one)} steps\n")
