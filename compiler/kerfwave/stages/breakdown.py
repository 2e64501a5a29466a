"""Breaking down: which sheets are taken from the stock, and how those larger than the bed are cut down first."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from kerfwave import cut, nest
from kerfwave.engine.errors import StageError
from kerfwave.model.breakdown import Breakdown
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Nest, SheetProgram
from kerfwave.model.spec import Machine
from kerfwave.stages.recipe import Recipes


@dataclass(frozen=True, slots=True)
class CutDown:
    """The plan, and the program of the straight line by which it is carried out: None where no sheet is too large."""

    plan: Breakdown
    line: SheetProgram | None
    depths_mm: tuple[float, ...]  # for each contour of the line: of the focus; empty if the head stays
    outline: SheetProgram | None  # a faint dot to and fro along the line


def run(
    laid: Nest, divisions: tuple[nest.Division, ...], kinds: tuple[Kind, ...], recipes: Recipes, machine: Machine
) -> CutDown:
    """Run the stage. One line serves for all sheets: it is cut as the thickest of those that are cut down asks for.

    Raises:
        StageError: where the machine's axes are so far off that the line would leave the bed.
    """
    reach_mm = math.dist(*cut.line_of(machine))
    plans, thickest = [], None
    for kind in kinds:
        sheets = tuple(sheet for sheet in laid.sheets if sheet.thickness_mm == kind.thickness_mm)
        own = tuple(divisions[entry] for entry in kind.entries)
        found = nest.break_down(replace(laid, sheets=sheets), own, reach_mm, recipes.of(kind.stock.name).kerf_mm)
        if found.cut_down and (thickest is None or kind.thickness_mm > thickest.thickness_mm):
            thickest = kind
        plans.append(found)
    plan = nest.joined_breakdowns(tuple(plans))
    if thickest is None:
        return CutDown(plan, None, (), None)
    stock = thickest.stock.name
    line, depths = cut.straight_program(machine, recipes.of(stock), stock)
    outline = cut.outline_program(line, machine)
    try:
        for program in (line, outline):
            if program is not None:
                cut.corrected(program, machine)
    except cut.CutError as error:
        raise StageError(str(error), ("machine",)) from error
    return CutDown(plan, line, depths, outline)
