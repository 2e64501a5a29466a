"""Recipe: how to cut this stock on this machine, or a refusal where it must not go under the beam."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.spec import Laser, RecipeEntry, Stock
from kerfwave.safety.materials import find
from kerfwave.stages.supply import Supplied

ACKNOWLEDGED = "doubtful-material"


@dataclass(frozen=True, slots=True)
class Beam:
    """What of a recipe says where the beam runs: another feed, power or number of passes leaves the routes alone."""

    kerf_mm: float
    bridges: str | None


@dataclass(frozen=True, slots=True)
class Recipes:
    """How to cut every kind of sheet."""

    main: cut.Settings  # of what most layers and all insets come from
    kinds: tuple[cut.Settings, ...]  # in the order of the kinds
    beams: tuple[Beam, ...]  # likewise
    verified: tuple[bool, ...]  # likewise: whether it was measured
    kerf_mm: float  # the widest

    def of(self, stock: str) -> cut.Settings:
        """Return the recipe of a kind of sheet, by its name."""
        return next(recipe for recipe in self.kinds if recipe.stock == stock)


def run(
    entries: tuple[RecipeEntry, ...],
    laser: Laser,
    max_feed_mm_min: float,
    air_on: str | None,
    supplied: Supplied,
    acknowledge: tuple[str, ...],
) -> Recipes:
    """Run the stage.

    Raises:
        StageError: for a material that must not be cut, or a doubtful one that nobody has looked into.
    """
    found = tuple(one(entries, laser, max_feed_mm_min, air_on, kind.stock, acknowledge) for kind in supplied.kinds)
    beams = tuple(Beam(recipe.kerf_mm, recipe.bridges) for recipe in found)
    verified = tuple(recipe.verified for recipe in found)
    return Recipes(found[supplied.main], found, beams, verified, max(recipe.kerf_mm for recipe in found))


def one(
    entries: tuple[RecipeEntry, ...],
    laser: Laser,
    max_feed_mm_min: float,
    air_on: str | None,
    stock: Stock,
    acknowledge: tuple[str, ...],
) -> cut.Settings:
    """Return the recipe of sheets of one thickness. A machine without a word for air assist has none.

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
