"""Spacing: how far apart pieces lie on their sheets."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave import nest
from kerfwave.engine.errors import StageError


@dataclass(frozen=True, slots=True)
class Spaced:
    """Least distance between two pieces."""

    spacing_mm: float


def run(spacing_mm: float | None, kerf_mm: float) -> Spaced:
    """Run the stage. It stands before the nest, so that another kerf means another nest only if the spacing changes.

    Raises:
        StageError: for a spacing in which two cuts have no room side by side.
    """
    least = nest.least_spacing_mm(kerf_mm)
    if spacing_mm is not None and spacing_mm < kerf_mm:
        raise StageError(
            f"spacing_mm is {spacing_mm:g} mm, less than the kerf of {kerf_mm:g} mm: the beam would cut into the piece "
            f"beside it; {least:g} mm leaves room for the char as well",
            ("stock", "spacing_mm"),
        )
    return Spaced(least if spacing_mm is None else spacing_mm)
