"""What a job takes: light, hours of beam and machine, current."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from kerfwave.cut.motion import length_mm
from kerfwave.model.parts import Point, SheetProgram
from kerfwave.model.spec import Machine


@dataclass(frozen=True, slots=True)
class Usage:
    """Totals of some programs."""

    energy_kj: float  # optical, at the recipe's power while the beam is on
    beam_h: float  # hours of the lens and of the laser
    machine_h: float  # hours of the machine, of extraction and filter
    electric_kwh: float | None  # None: the machine file does not say what it draws


def usage(programs: Iterable[SheetProgram], machine: Machine) -> Usage:
    """Return what `programs` take.

    Beam time is length over feed, without the slowing at corners: energy is what a controller that scales power with
    speed puts into the wood. Machine time is the programs' own estimate.
    """
    joules: list[float] = []
    lit_s: list[float] = []
    time_s: list[float] = []
    for program in programs:
        at: Point = (0.0, 0.0)
        time_s.append(program.time_s)
        for contour in program.contours:
            for move in contour.moves:
                if move.power > 0:
                    seconds = 60 * length_mm(at, move) / min(move.feed_mm_min, machine.max_feed_mm_min)
                    lit_s.append(seconds)
                    joules.append(seconds * move.power * machine.laser.optical_power_w)
                at = (move.x_mm, move.y_mm)
    hours = math.fsum(time_s) / 3600
    electric = None if machine.electric_w is None else machine.electric_w * hours / 1000
    return Usage(math.fsum(joules) / 1000, math.fsum(lit_s) / 3600, hours, electric)
