"""The record of the last build under one label: what to compare the next one with, and what the cache must keep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from kerfwave.engine.store import Store

MOST_BYTES = 256 * 2**20  # of objects in the cache before old ones go
EARLIER_BUILDS = 8  # of each label, that are spared then
_PREFIX = "run:"


@dataclass(slots=True)
class History:
    """What one record holds.

    `stages` maps each stage to its key, the digests of its output and of its inputs, and of its code; `parts` maps
    modules and tools to what they were; `earlier` lists the names of cache entries that recent builds used, the latest
    build first.
    """

    stages: dict[str, Any] = field(default_factory=dict)
    parts: dict[str, str] = field(default_factory=dict)
    earlier: list[list[str]] = field(default_factory=list)

    @classmethod
    def parse(cls, body: Any) -> History:
        """Return what a record says; one of another shape says nothing."""
        try:
            return cls(dict(body["stages"]), dict(body["parts"]), list(body["earlier"]))
        except (KeyError, TypeError, ValueError):
            return cls()

    @classmethod
    def read(cls, store: Store, label: str) -> History:
        """Return the history of `label`, empty before its first build."""
        return cls.parse(store.get_record(_PREFIX + label))

    def of(self, stage: str) -> Mapping[str, Any]:
        """Return the entry of a stage, empty if there is none."""
        entry: Mapping[str, Any] = self.stages.get(stage, {})
        return entry

    def write(
        self, store: Store, label: str, now: Mapping[str, Any], parts: Mapping[str, str], used: Iterable[str]
    ) -> None:
        """Add a build: the entries of its stages, its program, the names of the root objects that it used."""
        names = {*used, *(entry[part] for entry in now.values() for part in ("key", "output"))}
        body = {
            "stages": {**self.stages, **now},
            "parts": {**self.parts, **parts},
            "earlier": [sorted(names), *self.earlier][:EARLIER_BUILDS],
        }
        store.put_record(_PREFIX + label, body)


def tidy(store: Store) -> None:
    """Keep the cache from growing without end; which entries go depends on builds, never on a clock."""
    if store.size() <= MOST_BYTES:
        return
    histories = [History.parse(body) for body in store.records(_PREFIX).values()]
    for depth in (EARLIER_BUILDS, 1):
        keep = {name for history in histories for names in history.earlier[:depth] for name in names}
        store.prune(keep, MOST_BYTES)
