"""Paths: where the beam runs, on every sheet and on the coupons that prove the recipe first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.parts import Nest, Piece, Recipe, SheetProgram
from kerfwave.model.spec import Machine, Stock


@dataclass(frozen=True, slots=True)
class Programs:
    """One program a sheet or one a piece, what goes with each, and the coupons. All in the sheet's own coordinates."""

    programs: tuple[SheetProgram, ...]
    shares: tuple[cut.Share, ...]  # for each program: what it cuts of which sheet
    coupons: tuple[cut.Coupon, ...]
    depths_mm: tuple[tuple[float, ...], ...]  # for each program and contour: of the focus; empty if the head stays
    restarts: tuple[tuple[cut.RestartPoint, ...], ...]  # for each program and contour
    outlines: tuple[SheetProgram, ...]  # faint, round the used area; one for each sheet and program that cuts
    usage: cut.Usage  # of the programs, without coupons


def run(
    nest: Nest,
    layers: tuple[Piece, ...],
    insets: tuple[Piece, ...],
    recipe: Recipe,
    machine: Machine,
    stock: Stock,
    each: str,
    *,
    progress: Callable[[float, str], None],
) -> Programs:
    """Run the stage; `each`: "sheet" or "piece", what gets a program of its own.

    Raises:
        StageError: if a beam path would leave the bed, or the kerf is wider than something to be cut.
    """
    pieces = (*layers, *insets)
    jobs: list[tuple[cut.SheetJob, cut.Share]] = []
    sheets: list[SheetProgram] = []
    try:
        for sheet in nest.sheets:
            progress(sheet.number / (len(nest.sheets) + 1), f"sheet {sheet.number}")
            keep_out = [(place.what, place.outline, place.clearance_mm) for place in sheet.keep_out]
            given = (sheet.number, nest, pieces, recipe, machine)
            if each == "piece":
                parts = cut.piece_jobs(*given, outline=sheet.outline, keep_out=keep_out)
            else:
                parts = ((cut.sheet_job(*given, outline=sheet.outline, keep_out=keep_out), cut.Share(sheet.number)),)
            jobs += parts
            sheets.append(_whole(sheet.number, [job.program for job, _ in parts]))
        programs = tuple(job.program for job, _ in jobs)
        coupons = cut.design(machine, stock, recipe)
        named = {program.name: program for program in (*sheets, *programs)}
        outlines = tuple(o for o in (cut.outline_program(program, machine) for program in named.values()) if o)
        for program in (*programs, *outlines, *(coupon.program for coupon in coupons)):
            cut.corrected(program, machine)  # raises where the machine cannot follow
    except cut.KerfTooWide as error:
        raise StageError(str(error), ("stock",)) from error
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    return Programs(
        programs,
        tuple(share for _, share in jobs),
        coupons,
        depths_mm=tuple(job.depths_mm for job, _ in jobs),
        restarts=tuple(cut.restart_points(job.program, job.labels, machine) for job, _ in jobs),
        outlines=outlines,
        usage=cut.usage(programs, machine),
    )


def _whole(number: int, programs: list[SheetProgram]) -> SheetProgram:
    """Return what all programs of a sheet cut, as one: for the outline that shows where the sheet must lie."""
    contours = tuple(contour for program in programs for contour in program.contours)
    return replace(programs[0], name=f"sheet-{number:02d}", contours=contours)
