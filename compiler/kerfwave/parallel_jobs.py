"""Several specs at once, each in a process of its own; what each says is told in the order of the command line."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

from kerfwave import cli, jobs

LOST = (
    "a process that worked for this one was ended from outside, perhaps for want of memory: run this again, with "
    "fewer --jobs if need be; what was worked out already is in the cache"
)


class NoWorkers(Exception):
    """There is no process to be had; the message says why."""


def run(specs: Sequence[str], out: str, *, write: bool, explain: bool, processes: int) -> int:
    """Build or check specs side by side; the worst outcome is the exit status.

    They share one cache, whose entries are written whole or not at all. Specs that would be written to one place are
    left to `jobs.run`, which tells them apart.
    """
    if len({Path(name).stem for name in specs}) < len(specs):
        return jobs.run(specs, out, write=write, explain=explain)
    worst = cli.DONE
    try:
        with workers(min(processes, len(specs))) as pool:
            for future in [pool.submit(_one, name, out, write, explain) for name in specs]:
                status, said, told = future.result()
                print(told, end="", file=sys.stderr)
                print(said, end="", flush=True)
                worst = max(worst, status)
    except BrokenExecutor:
        jobs._say(f"{LOST}; every package that stands is whole")
        return cli.MACHINE_FAILED
    except NoWorkers as error:
        jobs._say(f"{error}: one spec after another, then")
        return jobs.run(specs, out, write=write, explain=explain)
    return worst


@contextmanager
def workers(processes: int) -> Iterator[ProcessPoolExecutor]:
    """Give so many processes to work with, which end with this one.

    Raises
    ------
    NoWorkers
        before anything is begun, if none can be started.
    """
    from kerfwave.engine.aside import end_with_the_parent

    try:
        pool = ProcessPoolExecutor(processes, initializer=end_with_the_parent)
        pool.submit(int).result()
    except (OSError, NotImplementedError) as error:
        raise NoWorkers(f"no process beside this one can be started ({error})") from error
    with pool:
        yield pool


def _one(name: str, out: str, write: bool, explain: bool) -> tuple[int, str, str]:
    said, told = io.StringIO(), io.StringIO()
    with redirect_stdout(said), redirect_stderr(told):
        status = jobs.run([name], out, write=write, explain=explain, alone=False)
    return status, said.getvalue(), told.getvalue()
