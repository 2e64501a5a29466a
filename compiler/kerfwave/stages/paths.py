"""Paths: what the machine does on every sheet, at the recipe's settings, and the coupons that prove the recipe first.

The moves themselves leave this stage as text: as code, and as the course that the code keeps whatever the feed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave import cut
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import Kind, kind_of
from kerfwave.model.parts import SheetProgram
from kerfwave.model.spec import Machine
from kerfwave.stages.recipe import Recipes
from kerfwave.stages.routes import Routed
from kerfwave.writers import gcode


@dataclass(frozen=True, slots=True)
class Programs:
    """One program a sheet or one a piece, what goes with each, and the coupons. All in the sheet's own coordinates."""

    programs: tuple[SheetProgram, ...]  # without their moves
    codes: tuple[gcode.Rendered, ...]  # of each: its moves as text, all of the file but the header
    courses: tuple[cut.Course, ...]  # of each
    shares: tuple[cut.Share, ...]  # for each program: what it cuts of which sheet
    coupons: tuple[cut.Coupon, ...]
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
        for program in (*outlines, *(coupon.program for coupon in coupons)):
            cut.corrected(program, machine)  # raises where the machine cannot follow
        told = tuple(cut.corrected(program, machine) for program in programs)
    except cut.KerfTooWide as error:
        raise StageError(str(error), ("stock",)) from error
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    codes = tuple(
        gcode.code(program, machine, recipes.of(program.stock), job.depths_mm)
        for program, (job, _) in zip(told, jobs, strict=True)
    )
    return Programs(
        tuple(map(_without_moves, programs)),
        codes,
        tuple(_course(program, code, recipes, machine) for program, code in zip(programs, codes, strict=True)),
        tuple(share for _, share in jobs),
        coupons,
        restarts=tuple(cut.restart_points(job.program, job.labels) for job, _ in jobs),
        outlines=outlines,
        usage=cut.usage(programs, machine),
    )


def _without_moves(program: SheetProgram) -> SheetProgram:
    return replace(program, contours=tuple(replace(contour, moves=()) for contour in program.contours))


def _course(program: SheetProgram, code: gcode.Rendered, recipes: Recipes, machine: Machine) -> cut.Course:
    bridges = tuple(sorted({(c.piece, point) for c in program.contours for point in c.bridges}))
    return cut.course_of(code.text, recipes.of(program.stock), machine, name=program.name, bridges=bridges)


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
