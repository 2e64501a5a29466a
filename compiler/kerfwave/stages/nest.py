"""Nest: all pieces on the sheets that are there."""

from __future__ import annotations

from dataclasses import replace

from kerfwave import nest
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Nest, Piece


def run(
    layers: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    divisions: tuple[nest.Division, ...],
    kinds: tuple[Kind, ...],
    margin_mm: float,
    spacing_mm: float,
    grain: str | None,
    turns: str,
    bed_width_mm: float,
    bed_height_mm: float,
) -> Nest:
    """Run the stage: a piece lies on a sheet of its own thickness.

    Raises:
        StageError: if a piece fits no sheet or bed, or there are too few sheets; the pieces are named.
    """
    found = []
    for kind in kinds:
        pieces = tuple(p for p in (*layers, *insets) if p.thickness_mm == kind.thickness_mm)
        if not pieces:
            continue
        try:
            laid = nest.pack_divided(
                pieces,
                tuple(divisions[entry] for entry in kind.entries),
                bed_mm=(bed_width_mm, bed_height_mm),
                margin_mm=margin_mm,
                spacing_mm=spacing_mm,
                sheet_grain=grain,
                turns=turns,
            )
        except nest.DoesNotFit as error:
            raise StageError(_of_kind(str(error), kind, kinds), ("enclosure", "plan")) from error
        except nest.NotEnoughSheets as error:
            raise StageError(_of_kind(str(error), kind, kinds), ("stock",)) from error
        thick = kind.thickness_mm
        found.append(replace(laid, sheets=tuple(replace(sheet, thickness_mm=thick) for sheet in laid.sheets)))
    return nest.joined(tuple(found))


def _of_kind(text: str, kind: Kind, kinds: tuple[Kind, ...]) -> str:
    """Say which sheets a refusal is about, where there are several."""
    return text if len(kinds) == 1 else f"sheets of {kind.thickness_mm:g} mm: {text}"
