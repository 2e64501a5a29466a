"""Axes that are not quite true: what a machine is told so that what it draws is right.

A machine whose axes are off draws what it is told through the matrix ``((sx, sy sin a), (0, sy cos a))``: sx and sy are
`axis_scale`, true length over the length asked for, and a is `skew_deg`, the lean of the y axis towards +x. A
program is written through its inverse, and read back through the matrix itself.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from kerfwave.cut.errors import OutsideBed
from kerfwave.model.parts import Contour, Move, SheetProgram
from kerfwave.model.spec import Machine


def is_true(machine: Machine) -> bool:
    """Return whether nothing needs to be corrected."""
    return machine.axis_scale in (None, (1.0, 1.0)) and machine.skew_deg == 0


def drawn(points: npt.NDArray[np.float64], machine: Machine) -> npt.NDArray[np.float64]:
    """Return where the beam really runs, shape (k, 2), when the machine is told to go through `points`."""
    if is_true(machine):
        return points
    sx, sy = machine.axis_scale or (1.0, 1.0)
    lean = math.radians(machine.skew_deg)
    return np.stack(
        [sx * points[:, 0] + sy * math.sin(lean) * points[:, 1], sy * math.cos(lean) * points[:, 1]], axis=1
    )


def corrected(program: SheetProgram, machine: Machine) -> SheetProgram:
    """Return `program` as the machine is to be told it; itself where the axes are true.

    Raises
    ------
    OutsideBed
        where the machine would have to leave its bed.
    ValueError
        for an arc: on axes that are not true it would be none.
    """
    if is_true(machine):
        return program
    return replace(program, contours=tuple(_contour(c, machine) for c in program.contours))


def _contour(contour: Contour, machine: Machine) -> Contour:
    moves = tuple(_move(m, machine) for m in contour.moves)
    for move in moves:
        if not (0 <= move.x_mm <= machine.bed_width_mm and 0 <= move.y_mm <= machine.bed_height_mm):
            raise OutsideBed(
                f"{contour.piece}: with the axes corrected the machine would go to ({move.x_mm:.2f}, {move.y_mm:.2f}) "
                f"mm, and its bed is {machine.bed_width_mm:g} x {machine.bed_height_mm:g} mm; use a larger edge margin"
            )
    return replace(contour, moves=moves)


def _move(move: Move, machine: Machine) -> Move:
    if move.centre_x_mm is not None:
        raise ValueError("an arc cannot be corrected; programs for such a machine hold straight moves only")
    sx, sy = machine.axis_scale or (1.0, 1.0)
    lean = math.radians(machine.skew_deg)
    y = move.y_mm / (sy * math.cos(lean))
    x = (move.x_mm - sy * math.sin(lean) * y) / sx
    return replace(move, x_mm=round(x, machine.decimals) + 0.0, y_mm=round(y, machine.decimals) + 0.0)
