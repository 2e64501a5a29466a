"""One stage's work shared out between two processes: like calls, none of which waits for another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, Protocol, TypeVar

T = TypeVar("T")


class Beside(Protocol):
    """Begins a call beside this one, if a second process has nothing to do; what it returns waits for the outcome."""

    def __call__(self, function: Callable[..., T], *arguments: Any) -> Callable[[], T]:
        """Begin a call; `function` stands in a module, and what it takes and gives can be pickled."""


def in_turn(function: Callable[..., T], *arguments: Any) -> Callable[[], T]:
    """Take the place of a second process: the call is made when its outcome is asked for."""
    return partial(function, *arguments)


def shared(function: Callable[..., T], calls: Sequence[tuple[Any, ...]], beside: Beside) -> list[T]:
    """Return what `function` makes of each of `calls`, every second of which goes beside.

    What a call raises is raised here: that of the first of them, wherever it ran.
    """
    begun = {k: beside(function, *calls[k]) for k in range(1, len(calls), 2)}
    made: dict[int, T] = {}
    wrong: dict[int, Exception] = {}
    for k in (*range(0, len(calls), 2), *begun):
        try:
            made[k] = begun[k]() if k in begun else function(*calls[k])
        except Exception as error:
            wrong[k] = error  # told when none is at work any more, so that it is the same one each time
    if wrong:
        raise wrong[min(wrong)]
    return [made[k] for k in range(len(calls))]
