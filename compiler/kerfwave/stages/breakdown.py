"""Breaking down: which sheets are taken from the stock, and how those larger than the bed are cut down first."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kerfwave import cut, nest
from kerfwave.engine.errors import StageError
from kerfwave.model.breakdown import Breakdown
from kerfwave.model.parts import Nest, Recipe, SheetProgram
from kerfwave.model.spec import Machine


@dataclass(frozen=True, slots=True)
class CutDown:
    """The plan, and the program of the straight line by which it is carried out: None where no sheet is too large."""

    plan: Breakdown
    line: SheetProgram | None
    depths_mm: tuple[float, ...]  # for each contour of the line: of the focus; empty if the head stays
    outline: SheetProgram | None  # a faint dot to and fro along the line


def run(laid: Nest, divisions: tuple[nest.Division, ...], recipe: Recipe, machine: Machine, stock: str) -> CutDown:
    """Run the stage.

    Raises:
        StageError: where the machine's axes are so far off that the line would leave the bed.
    """
    plan = nest.break_down(laid, divisions, math.dist(*cut.line_of(machine)), recipe.kerf_mm)
    if not plan.cut_down:
        return CutDown(plan, None, (), None)
    line, depths = cut.straight_program(machine, recipe, stock)
    outline = cut.outline_program(line, machine)
    try:
        for program in (line, outline):
            if program is not None:
                cut.corrected(program, machine)
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    return CutDown(plan, line, depths, outline)
