"""Several specs at once, each in a process of its own; what each says is told in the order of the command line."""

from __future__ import annotations

import io
import sys
from collections.abc import Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from kerfwave import cli, jobs

LOST = (
    "a process that worked for this one was ended from outside, perhaps for want of memory: run this again, with "
    "fewer --jobs if need be; what was worked out already is in the cache"
)


def run(specs: Sequence[str], out: str, *, write: bool, explain: bool, processes: int) -> int:
    """Build or check specs side by side; the worst outcome is the exit status.

    They share one cache, whose entries are written whole or not at all. Specs that would be written to one place are
    left to `jobs.run`, which tells them apart.
    """
    if len({Path(name).stem for name in specs}) < len(specs):
        return jobs.run(specs, out, write=write, explain=explain)
    worst = cli.DONE
    try:
        with ProcessPoolExecutor(max_workers=min(processes, len(specs))) as pool:
            waiting = [pool.submit(_one, name, out, write, explain) for name in specs]
            for future in waiting:
                status, said, told = future.result()
                print(told, end="", file=sys.stderr)
                print(said, end="", flush=True)
                worst = max(worst, status)
    except BrokenExecutor:
        jobs._say(f"{LOST}; every package that stands is whole")
        return cli.MACHINE_FAILED
    return worst


def _one(name: str, out: str, write: bool, explain: bool) -> tuple[int, str, str]:
    said, told = io.StringIO(), io.StringIO()
    with redirect_stdout(said), redirect_stderr(told):
        status = jobs.run([name], out, write=write, explain=explain, alone=False)
    return status, said.getvalue(), told.getvalue()
