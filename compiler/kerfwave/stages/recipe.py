"""Recipe: how to cut this stock on this machine, or a refusal where it must not go under the beam."""

from __future__ import annotations

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.spec import Laser, RecipeEntry, Stock
from kerfwave.safety.materials import find

ACKNOWLEDGED = "doubtful-material"


def run(
    entries: tuple[RecipeEntry, ...],
    laser: Laser,
    max_feed_mm_min: float,
    air_on: str | None,
    stock: Stock,
    acknowledge: tuple[str, ...],
) -> cut.Settings:
    """Run the stage. A machine without a word for air assist has none.

    Raises:
        StageError: for a material that must not be cut or is not known, or a doubtful one that nobody has looked into.
    """
    material = find(stock.material)
    if material is None:
        message = (
            f"the material '{stock.material}' is not in the table of the spec reference, so what it gives off is not "
            "known: it is not cut. Ask its maker for the safety data sheet, and use a sheet that is known"
        )
        raise StageError(message, ("stock", "material"))
    if material.standing == "forbidden":
        message = f"{material.name} must not be laser-cut: {material.reason}; use another sheet"
        raise StageError(message, ("stock", "material"))
    if material.standing == "doubtful" and ACKNOWLEDGED not in acknowledge:
        message = (
            f"{material.name} is doubtful under a laser: {material.reason}. First {material.find_out}; then say so in "
            f"the spec with acknowledge: [{ACKNOWLEDGED}]"
        )
        raise StageError(message, ("stock", "material"))
    return cut.look_up(entries, laser, stock, max_feed_mm_min=max_feed_mm_min, air_assist=air_on is not None)
