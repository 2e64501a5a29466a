"""Nest: all pieces on the sheets that are there."""

from __future__ import annotations

from kerfwave import nest
from kerfwave.engine.errors import StageError
from kerfwave.model.parts import Nest, Piece


def run(
    layers: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    divisions: tuple[nest.Division, ...],
    margin_mm: float,
    spacing_mm: float,
    grain: str | None,
    turns: str,
    bed_width_mm: float,
    bed_height_mm: float,
) -> Nest:
    """Run the stage.

    Raises:
        StageError: if a piece fits no sheet or bed, or there are too few sheets; the pieces are named.
    """
    try:
        return nest.pack_divided(
            (*layers, *insets),
            divisions,
            bed_mm=(bed_width_mm, bed_height_mm),
            margin_mm=margin_mm,
            spacing_mm=spacing_mm,
            sheet_grain=grain,
            turns=turns,
        )
    except nest.DoesNotFit as error:
        raise StageError(str(error), ("enclosure", "plan")) from error
    except nest.NotEnoughSheets as error:
        raise StageError(str(error), ("stock",)) from error
