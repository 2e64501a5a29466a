"""Supply: the kinds of sheet that there are, and which of them the layers of a body come from."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.body.supply import Supply, supply_of
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import Kind, kinds
from kerfwave.model.spec import Driver, Enclosure, Stock

INSET_RIM_MM = 10.0  # of the driver's ring round its frame, for the room that is kept for it
SPACING_MM = 2.0  # where the stock leaves it to the recipe, which is not known yet


@dataclass(frozen=True, slots=True)
class Supplied:
    """The stock by thickness, as listed, and what is taken of it."""

    kinds: tuple[Kind, ...]
    supply: Supply

    @property
    def main(self) -> int:
        """Which kind the insets come from, and the first of all layers but floor and lid."""
        return self.supply.layers[0].kind

    @property
    def main_first(self) -> tuple[Kind, ...]:
        """All kinds, the main one first."""
        return (self.kinds[self.main], *(kind for n, kind in enumerate(self.kinds) if n != self.main))


def run(
    stock: Stock, enclosure: Enclosure, driver: Driver, count: int, bed_width_mm: float, bed_height_mm: float
) -> Supplied:
    """Run the stage.

    Raises:
        StageError: if no sheet has the label that floor and lid shall have.
    """
    found, plate = kinds(stock), enclosure.terminals
    insets = plate.plate_width_mm * plate.plate_height_mm
    if enclosure.stack == "upright":
        insets += (2 if enclosure.recess else 1) * (driver.frame_mm + INSET_RIM_MM) ** 2
    try:
        supply = supply_of(
            found,
            enclosure.plan,
            plates_mm=enclosure.plates_mm,
            label_mm=stock.thickness_mm,
            bed_mm=(bed_width_mm, bed_height_mm),
            margin_mm=stock.edge_margin_mm,
            spacing_mm=SPACING_MM if stock.spacing_mm is None else stock.spacing_mm,
            bodies=count,
            insets_mm2=insets,
        )
    except ValueError as error:
        raise StageError(str(error), ("enclosure", "plates_mm")) from error
    return Supplied(found, supply)
