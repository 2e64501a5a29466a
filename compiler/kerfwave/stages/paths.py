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
    """One program a sheet, what goes with each, and the coupons. All in the sheet's own coordinates."""

    programs: tuple[SheetProgram, ...]
    coupons: tuple[cut.Coupon, ...]
    depths_mm: tuple[tuple[float, ...], ...]  # for each program and contour: of the focus; empty if the head stays
    restarts: tuple[tuple[cut.RestartPoint, ...], ...]  # for each program and contour
    outlines: tuple[SheetProgram, ...]  # faint, round the used area; one for each program that cuts anything
    usage: cut.Usage  # of the programs, without coupons


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
    jobs = []
    try:
        for sheet in nest.sheets:
            progress(sheet.number / (len(nest.sheets) + 1), f"sheet {sheet.number}")
            keep_out = [(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out]
            jobs.append(
                cut.sheet_job(sheet.number, nest, pieces, recipe, machine, outline=sheet.outline, keep_out=keep_out)
            )
        programs = tuple(job.program for job in jobs)
        coupons = cut.design(machine, stock, recipe)
        outlines = tuple(o for o in (cut.outline_program(program, machine) for program in programs) if o is not None)
        for program in (*programs, *outlines, *(coupon.program for coupon in coupons)):
            cut.corrected(program, machine)  # raises where the machine cannot follow
    except cut.KerfTooWide as error:
        raise StageError(str(error), ("stock",)) from error
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    return Programs(
        programs,
        coupons,
        depths_mm=tuple(job.depths_mm for job in jobs),
        restarts=tuple(cut.restart_points(job.program, job.labels, machine) for job in jobs),
        outlines=outlines,
        usage=cut.usage(programs, machine),
    )
