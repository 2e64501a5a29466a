"""Paths: every move over the sheets, at the recipe's settings, and the coupons that prove the recipe first."""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import Kind, kind_of
from kerfwave.model.parts import SheetProgram
from kerfwave.model.spec import Machine
from kerfwave.stages.recipe import Recipes
from kerfwave.stages.routes import Routed


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


def run(routed: Routed, recipes: Recipes, machine: Machine, kinds: tuple[Kind, ...]) -> Programs:
    """Run the stage.

    Raises:
        StageError: if a test cut has no room on the bed, or the kerf is wider than something in it.
    """
    used = dict.fromkeys(kind_of(kinds, on_sheet.plan.sheet.thickness_mm) for on_sheet in routed.sheets)
    jobs: list[tuple[cut.SheetJob, cut.Share]] = []
    sheets: list[SheetProgram] = []
    try:
        for on_sheet in routed.sheets:
            plan = on_sheet.plan
            recipe = recipes.of(kind_of(kinds, plan.sheet.thickness_mm).stock.name)
            parts = [(cut.job(plan, route, recipe, machine), share) for route, share in on_sheet.routes]
            jobs += parts
            sheets.append(_whole(plan.sheet.number, [job.program for job, _ in parts]))
        programs = tuple(job.program for job, _ in jobs)
        coupons = _coupons(tuple(used), recipes, machine)
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


def _coupons(used: tuple[Kind, ...], recipes: Recipes, machine: Machine) -> tuple[cut.Coupon, ...]:
    """Return the test cuts: for each label those of its thickest sheets, as what cuts them cuts the others too."""
    found: list[cut.Coupon] = []
    labels = tuple(dict.fromkeys(kind.stock.thickness_mm for kind in used))
    for number, label in enumerate(labels, 1):
        kind = max((k for k in used if k.stock.thickness_mm == label), key=lambda k: k.thickness_mm)
        for coupon in cut.design(machine, kind.stock, recipes.of(kind.stock.name)):
            name = coupon.program.name + (f"-{number}" if number > 1 else "")
            found.append(replace(coupon, program=replace(coupon.program, name=name)))
    return tuple(found)
