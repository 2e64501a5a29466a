"""What the engine's tests share: building the toy graph and seeing what ran."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from kerfwave.engine import Event, Results, Store, build

_spec = importlib.util.spec_from_file_location("kerfwave_toy", Path(__file__).with_name("toy.py"))
toy_module = importlib.util.module_from_spec(_spec)
sys.modules["kerfwave_toy"] = toy_module
_spec.loader.exec_module(toy_module)


@dataclass
class Outcome:
    results: Results
    ran: list[str]
    events: list[Event]
    notes: list[str]

    @property
    def words(self) -> dict[str, str]:
        return {event.stage: event.word for event in self.results.events}


class Toy:
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def build(self, root, want=("join", "label"), stages=None, **options) -> Outcome:
        toy_module.RAN.clear()
        events: list[Event] = []
        store = options.pop("store", None) or Store(self.folder)
        results = build(
            stages or toy_module.STAGES, {"root": root}, store, want=want, listener=events.append, **options
        )
        for name in want:  # the caller reads everything: nothing may be missing now
            assert results[name] is not None
        return Outcome(results, list(toy_module.RAN), events, store.notes)


@pytest.fixture
def toy(tmp_path):
    return Toy(tmp_path / "cache")
