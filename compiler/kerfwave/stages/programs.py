"""Programs: every file that the machine is given, whole, and by which rules all of them hold.

A design check that failed, and a safety list that does not say "proceed", are written into every program's header.
What cuts pieces was proved by its course; what does not is proved here, from its text.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from kerfwave import cut
from kerfwave.model.parts import Check, Recipe, SheetProgram
from kerfwave.model.spec import Machine
from kerfwave.stages.breakdown import CutDown
from kerfwave.stages.paths import Programs
from kerfwave.stages.proof import Proof, Proved, hold, summed_up
from kerfwave.stages.recipe import Recipes
from kerfwave.writers import gcode


@dataclass(frozen=True, slots=True)
class Whole:
    """The programs, and by which rules they hold."""

    files: tuple[tuple[str, str], ...]  # of the package, by name
    begins: tuple[tuple[str, tuple[int, ...]], ...]  # by program: the line on which each contour begins
    checks: tuple[Check, ...]  # one a rule, with the worst value of all programs


def run(
    paths: Programs,
    proved: Proved,
    cut_down: CutDown,
    recipes: Recipes,
    machine: Machine,
    outcome: str,
    *design: tuple[Check, ...],
) -> Whole:
    """Run the stage; `design` are the checks of all stages before.

    Raises:
        StageError: if a program does not prove.
    """
    failed = tuple(check.text for checks in design for check in checks if check.level == "fail")
    files: dict[str, str] = {}
    begins: dict[str, tuple[int, ...]] = {}
    proofs = list(proved.proofs)
    for program, share, code in zip(paths.programs, paths.shares, paths.codes, strict=True):
        head = gcode.header(_noted(program, failed, outcome, share.notes), machine, recipes.of(program.stock))
        whole = gcode.headed(head, code)
        proofs.append(Proof(program.name, (cut.silent(head, name=program.name),)))
        begins[program.name] = whole.lines
        files[f"gcode/{program.name}.nc"] = whole.text
    for job in _other(paths, cut_down, recipes, machine):
        told = cut.corrected(_noted(job.program, failed if job.of_body else (), outcome), machine)
        text = gcode.render(told, machine, job.recipe, job.depths_mm)
        size = (told.width_mm, told.height_mm)
        checks = cut.safe(text, machine, *size, name=told.name, most_percent=job.most_percent)
        proofs.append(Proof(told.name.removesuffix("-outline"), checks))
        files[f"gcode/{told.name}.nc"] = text
    hold(proofs)
    return Whole(tuple(sorted(files.items())), tuple(sorted(begins.items())), summed_up(proofs))


@dataclass(frozen=True, slots=True)
class _Job:
    """A program that cuts no piece of the body out."""

    program: SheetProgram
    recipe: Recipe
    depths_mm: tuple[float, ...] = ()
    most_percent: float | None = None  # of its power, at any time
    of_body: bool = True  # what stands against the body stands against it too


def _other(paths: Programs, cut_down: CutDown, recipes: Recipes, machine: Machine) -> Iterator[_Job]:
    for coupon in paths.coupons:
        yield _Job(coupon.program, recipes.of(coupon.program.stock), of_body=False)
    for program in (*paths.outlines, *(() if cut_down.outline is None else (cut_down.outline,))):
        faint = cut.outline_recipe(recipes.of(program.stock), machine)
        yield _Job(program, faint, most_percent=machine.outline_power_percent)
    if cut_down.line is not None:
        yield _Job(cut_down.line, recipes.of(cut_down.line.stock), cut_down.depths_mm)


def _noted(
    program: SheetProgram, failed: tuple[str, ...], outcome: str, notes_before: tuple[str, ...] = ()
) -> SheetProgram:
    """Return the program with what stands against it in its header."""
    notes = [f"DESIGN CHECK FAILED: {text}" for text in failed]
    if outcome != "proceed":
        notes.append(f"SAFETY: {outcome.replace('-', ' ')}, see guide.html before anything is cut")
    return replace(program, notes=(*notes, *notes_before, *program.notes))
