"""Sheets: drawings of what lies on every sheet, of how large ones are cut down, and of all pieces side by side.

Of a recipe they show only whether it was measured, so no feed, power or number of passes changes them.
"""

from __future__ import annotations

from kerfwave.model.breakdown import Breakdown
from kerfwave.model.kinds import Kind, kind_of, kind_of_entry
from kerfwave.model.parts import Nest, Piece
from kerfwave.stages.files import Files
from kerfwave.writers import drawings


def run(
    stem: str,
    layers: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    nest: Nest,
    plan: Breakdown,
    kinds: tuple[Kind, ...],
    verified: tuple[bool, ...],
) -> Files:
    """Run the stage; `stem` is the spec's file name, `verified` says of the recipe of each of the `kinds`: measured."""
    pieces = (*layers, *insets)
    measured = dict(zip((kind.stock.name for kind in kinds), verified, strict=True))
    found = {"drawings/pieces.svg": drawings.pieces_svg(pieces, nest.placements)}
    for sheet in nest.sheets:
        stock = kind_of(kinds, sheet.thickness_mm).stock.name
        found[f"sheets/sheet-{sheet.number:02d}.svg"] = drawings.sheet_svg(
            sheet,
            nest.placements,
            pieces,
            title=f"{stem}, sheet {sheet.number}",
            stock=stock,
            verified=measured[stock],
        )
    for opened in plan.cut_down:
        found[f"sheets/break-down-{opened.number:02d}.svg"] = drawings.breakdown_svg(
            opened,
            title=f"{stem}: large sheet {opened.number}, cut down first",
            stock=kind_of_entry(kinds, opened.entry).stock.name,
        )
    return Files(tuple(sorted(found.items())))
