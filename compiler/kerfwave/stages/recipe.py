"""Recipe: how to cut this stock on this machine."""

from __future__ import annotations

from kerfwave import cut
from kerfwave.model.parts import Recipe
from kerfwave.model.spec import Laser, RecipeEntry, Stock


def run(
    entries: tuple[RecipeEntry, ...], laser: Laser, max_feed_mm_min: float, air_on: str | None, stock: Stock
) -> Recipe:
    """Run the stage. A machine without a word for air assist has none."""
    return cut.look_up(entries, laser, stock, max_feed_mm_min=max_feed_mm_min, air_assist=air_on is not None)
