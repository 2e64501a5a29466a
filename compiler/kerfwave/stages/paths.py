"""Paths: where the beam runs, on every sheet and on the coupons that prove the recipe first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.parts import Nest, Piece, Recipe, SheetProgram
from kerfwave.model.spec import Machine, Stock


@dataclass(frozen=True, slots=True)
class Programs:
    """One program a sheet, and the coupons."""

    programs: tuple[SheetProgram, ...]
    coupons: tuple[cut.Coupon, ...]


def run(
    nest: Nest,
    layers: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    recipe: Recipe,
    machine: Machine,
    stock: Stock,
    *,
    progress: Callable[[float, str], None],
) -> Programs:
    """Run the stage.

    Raises:
        StageError: if a beam path would leave the bed, or the kerf is wider than something to be cut.
    """
    pieces = (*layers, *insets)
    programs = []
    try:
        for sheet in nest.sheets:
            progress(sheet.number / (len(nest.sheets) + 1), f"sheet {sheet.number}")
            programs.append(cut.sheet_program(sheet.number, nest, pieces, recipe, machine))
        coupons = cut.design(machine, stock, recipe)
    except cut.KerfTooWide as error:
        raise StageError(str(error), ("stock",)) from error
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    return Programs(tuple(programs), coupons)
