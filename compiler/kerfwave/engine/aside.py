"""A second process for stages that nothing waits for at once, and for shares of others, where there is a core to spare.

What goes there and what comes back are the bytes that the cache keeps, so a stage makes the same wherever it runs.
"""

from __future__ import annotations

import multiprocessing
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from kerfwave.engine import codec
from kerfwave.engine.graph import Ref, Stage, call, encoded, load_type

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Input:
    """One input on its way: the bytes of a whole value, its type or the type's name, and which part is meant."""

    raw: bytes
    type: str | type
    ref: Ref


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a stage: its canonical bytes, and the seconds that it took."""

    raw: bytes
    seconds: float


class Aside:
    """One process beside this one, started when it is first needed."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None
        self._processes: tuple[BaseProcess, ...] = ()

    def start(self, stage: Stage, inputs: Sequence[Input]) -> Future[Made]:
        """Run a stage there. Raises what `submit` raises."""
        return self.submit(work, stage, tuple(inputs))

    def submit(self, function: Callable[..., T], *arguments: Any) -> Future[T]:
        """Make a call there.

        Raises
        ------
        OSError
            if no process can be started.
        """
        if self._pool is None:
            # Not forked: a fork of a process with threads may hang, and other systems have none.
            method = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(1, mp_context=method, initializer=live_no_longer_than_the_parent)
        others = multiprocessing.active_children()
        future = self._pool.submit(function, *arguments)
        self._processes += tuple(child for child in multiprocessing.active_children() if child not in others)
        return future

    def close(self, *, at_once: bool) -> None:
        """Let go of the process; `at_once`: whatever it is at. It writes nothing, so nothing is left half done."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
        if at_once:
            for process in self._processes:
                process.kill()


def work(stage: Stage, inputs: Sequence[Input]) -> Made:
    """Run a stage from the bytes of its inputs."""
    start = time.perf_counter()
    values = [one.ref.value(codec.decode(load_type(stage.name, one.type), codec.from_bytes(one.raw))) for one in inputs]
    raw = encoded(stage, call(stage, values, _untold))
    return Made(raw, time.perf_counter() - start)


def _untold(fraction: float, note: str = "") -> None:
    """Take the place of who listens to progress."""


def live_no_longer_than_the_parent() -> None:
    """Leave interrupts to the parent, and end with it."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_the_parent()


def end_with_the_parent() -> None:
    """End when the parent does, even if it is killed: else this process would wait for work for ever."""
    import threading
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    parent = parent_process()
    if parent is not None:
        sentinel = parent.sentinel

        def watch() -> None:
            wait([sentinel])
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()
