"""One straight cut across the bed, to be used again and again on a sheet that is moved under it."""

from __future__ import annotations

import math

from kerfwave.cut.program import assemble
from kerfwave.cut.settings import focus_depths_mm
from kerfwave.model.parts import Contour, Move, Point, Recipe, SheetProgram
from kerfwave.model.spec import Machine

EDGE_MM = 5.0  # from the ends of the line to the edges of the bed (our own choice)


def line_of(machine: Machine) -> tuple[Point, Point]:
    """Return both ends of the line: along the longer side of the bed, in the middle of the other, mm."""
    width, height = machine.bed_width_mm, machine.bed_height_mm
    if width >= height:
        y = round(height / 2, machine.decimals)
        return (EDGE_MM, y), (round(width - EDGE_MM, machine.decimals), y)
    x = round(width / 2, machine.decimals)
    return (x, EDGE_MM), (x, round(height - EDGE_MM, machine.decimals))


def straight_program(machine: Machine, recipe: Recipe, stock: str) -> tuple[SheetProgram, tuple[float, ...]]:
    """Return the program of that line, and for each of its contours the depth of the focus; none if the head stays.

    Passes go to and fro, so that the beam is dark only on the way there and back.
    """
    depths = focus_depths_mm(recipe, machine, recipe.passes)
    start, end = line_of(machine)
    power, feed = recipe.power_percent / 100, recipe.feed_mm_min
    contours, moves, at = [], [Move("rapid", *start)], start
    for number in range(recipe.passes):
        if depths and number:
            contours.append(_line(moves, start, end))
            moves = [Move("rapid", *at)]
        at = end if at == start else start
        moves.append(Move("line", *at, power, feed))
    contours.append(_line(moves, start, end))
    notes = (
        "Lay the scribed line under the beam, or a stop beside it, see guide.html. Use it for every straight cut.",
        "The sheet is larger than the bed: support what hangs over, so that nothing tips when the cut is through.",
    )
    size = (machine.bed_width_mm, machine.bed_height_mm)
    program = assemble("break-down", stock, size, tuple(contours), machine, verified=recipe.verified, notes=notes)
    return program, depths


def _line(moves: list[Move], start: Point, end: Point) -> Contour:
    return Contour("straight line", "outline", tuple(moves), math.dist(start, end) * (len(moves) - 1))
