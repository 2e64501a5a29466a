"""Blanks: what the bed is given. Sheets larger than it are divided."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave import nest
from kerfwave.model.spec import SheetStock


@dataclass(frozen=True, slots=True)
class Blanks:
    """What is nested on. `divisions` are in the order of the stock's sheets."""

    divisions: tuple[nest.Division, ...]


def run(
    sheets: tuple[SheetStock, ...], grain: str | None, bed_width_mm: float, bed_height_mm: float, kerf_mm: float
) -> Blanks:
    """Run the stage."""
    return Blanks(nest.divide_all(sheets, (bed_width_mm, bed_height_mm), kerf_mm, may_turn=grain is None))
