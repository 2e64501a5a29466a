"""What the engine tells while it builds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kerfwave.engine.why import Reason


@dataclass(frozen=True, slots=True)
class Event:
    """Something to tell the person who waits.

    `word` is one of: ``started``, ``progress`` (with `fraction` from 0 to 1 and `text`), ``made`` (ran), ``steady``
    (ran, and made the same bytes as in the last build), ``kept`` (nothing changed since the last build), ``recalled``
    (something changed, and the cache knows the outcome), ``stopped`` (failed), ``waiting`` (not reached).
    """

    stage: str
    word: str
    seconds: float = 0.0
    reasons: tuple[Reason, ...] = ()
    fraction: float | None = None
    text: str = ""


Listener = Callable[[Event], None]
