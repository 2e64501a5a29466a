"""Which stages of the build a change reached, and where it stopped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from kerfwave.compare.alike import alike
from kerfwave.compare.model import StageReach

# Which part of a report tells of which stage, in the order of the build; `placement` is told apart from the pieces.
# What is asked as distance between pieces (stage `spacing`) shows in the nest alone.
PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("supply", ("stock",)),
    ("sizing", ("acoustics.sizing",)),
    ("body", ("body", "openings", "acoustics.network")),
    ("response", ("acoustics.response", "acoustics.relief", "acoustics.closed_same_size", "acoustics.figures")),
    ("field", ("field",)),
    ("listening", ("acoustics.listening", "acoustics.limits")),
    ("spread", ("acoustics.spread", "acoustics.thickness")),
    ("shaping", ("acoustics.shaping",)),
    ("slices", ("layers", "pieces")),
    ("recipe", ("recipe", "recipes")),
    ("nest", ("nest", "placement")),
    ("breakdown", ("nest.cut_down",)),
    ("paths", ("cut",)),
    ("safety", ("safety",)),
    ("learned", ("acoustics.measured", "acoustics.as_measured")),
)

Keys = Mapping[str, tuple[str, str]]


def reached_in_builds(a: Keys, b: Keys, order: Sequence[str]) -> tuple[StageReach, ...]:
    """Return what became of each stage, from the (key, output) digests of two builds.

    The key of a stage is the digest of what goes into it: where only the key differs, the stage looked at the change
    and made the same as before, and what comes after it was spared.
    """
    found = []
    for name in (name for name in order if name in a and name in b):
        (key_a, made_a), (key_b, made_b) = a[name], b[name]
        word = "untouched" if key_a == key_b else "same outcome" if made_a == made_b else "changed"
        found.append(StageReach(name, word))
    return tuple(found)


def reached_in_reports(a: Mapping[str, Any], b: Mapping[str, Any]) -> tuple[StageReach, ...]:
    """Return which stages made something else, as far as two reports tell; nothing is known of the others."""
    return tuple(
        StageReach(stage, "changed")
        for stage, parts in PARTS
        if not all(alike(_part(a, part), _part(b, part)) for part in parts)
    )


def _part(report: Mapping[str, Any], path: str) -> Any:
    pieces = report.get("pieces", [])
    if path == "placement":
        return [[piece.get("body"), piece.get("id"), piece.get("placement")] for piece in pieces]
    if path == "pieces":
        return [{key: value for key, value in piece.items() if key != "placement"} for piece in pieces]
    value: Any = report
    for step in path.split("."):
        value = value.get(step) if isinstance(value, Mapping) else None
    return value
