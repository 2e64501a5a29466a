"""A guide's centreline as a chain of straights and circular bends, and the duct that it sweeps.

A duct lies evenly to both sides of its centreline, bends included, so its area in plan is exactly the integral of
its width along the centreline (Pappus-Guldin).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from kerfwave.model.parts import Point, Ring

SAGITTA_MM = 0.01  # arcs leave as chords that stray no further than this from the true circle
GRID_DECIMALS = 9  # coordinates are snapped here, so that lines computed two ways are one line


@dataclass(frozen=True, slots=True)
class Run:
    """One stretch: starts at (x, y) with a heading, goes on for `length_mm`, turning evenly by `turn_deg`.

    The duct's width goes evenly from `width_in_mm` to `width_out_mm`.
    """

    name: str
    x: float
    y: float
    heading_deg: float
    length_mm: float
    turn_deg: float  # positive: to the left; 0 for a straight
    width_in_mm: float
    width_out_mm: float
    storey: int = 0  # counted along the guide, throat first

    @property
    def radius_mm(self) -> float:
        """Centreline radius of a bend; infinite for a straight."""
        return abs(self.length_mm / math.radians(self.turn_deg)) if self.turn_deg else math.inf


def _unit(heading_deg: float) -> Point:
    # Exact on the axes, where nearly every run lies.
    return (round(math.cos(math.radians(heading_deg)), 15), round(math.sin(math.radians(heading_deg)), 15))


def at(run: Run, fraction: float, left_mm: float = 0.0) -> tuple[float, float, float]:
    """Return x, y and heading at a fraction of a run's length, `left_mm` to the left of the centreline."""
    heading = run.heading_deg + run.turn_deg * fraction
    c, s = _unit(heading)
    if run.turn_deg == 0.0:
        x, y = run.x + c * run.length_mm * fraction, run.y + s * run.length_mm * fraction
    else:
        side = math.copysign(1.0, run.turn_deg)
        c0, s0 = _unit(run.heading_deg)
        r = run.radius_mm
        x = run.x - side * r * s0 + side * r * s
        y = run.y + side * r * c0 - side * r * c
    return (x - s * left_mm, y + c * left_mm, heading)


def end(run: Run) -> tuple[float, float, float]:
    """Return x, y and heading where a run ends."""
    return at(run, 1.0)


def reach_mm(run: Run) -> float:
    """Return how far a run's duct may stray from the box around its two ends: half its width, and a bend's radius."""
    return max(run.width_in_mm, run.width_out_mm) / 2 + (run.radius_mm if run.turn_deg else 0.0)


Step = tuple[str, float, float, float, float]  # name, length_mm, turn_deg, width_in_mm, width_out_mm


def chain(x: float, y: float, heading_deg: float, steps: tuple[Step, ...]) -> tuple[Run, ...]:
    """Lay runs end to end; those of no length are left out."""
    runs: list[Run] = []
    for name, length, turn, width_in, width_out in steps:
        if length < 1e-9:
            continue
        run = Run(name, x, y, heading_deg, length, turn, width_in, width_out)
        runs.append(run)
        x, y, heading_deg = end(run)
    return tuple(runs)


def width_at(run: Run, fraction: float) -> float:
    """Return the duct's width at a fraction of a run's length."""
    return run.width_in_mm + (run.width_out_mm - run.width_in_mm) * fraction


def _side(runs: tuple[Run, ...], side: float, sagitta_mm: float) -> list[Point]:
    points: list[Point] = []
    for run in runs:
        steps = 1
        if run.turn_deg:
            widest = max(run.width_in_mm, run.width_out_mm)
            r = run.radius_mm - math.copysign(1.0, run.turn_deg) * side * widest / 2
            if r > sagitta_mm:
                steps = max(1, math.ceil(math.radians(abs(run.turn_deg)) / (2 * math.acos(1 - sagitta_mm / r))))
        for i in range(steps + 1):
            x, y, _ = at(run, i / steps, side * width_at(run, i / steps) / 2)
            point = (round(x, GRID_DECIMALS), round(y, GRID_DECIMALS))
            if not points or point != points[-1]:
                points.append(point)
    return points


def sweep(runs: tuple[Run, ...], sagitta_mm: float = SAGITTA_MM) -> Ring:
    """Return the outline of the duct along the runs, square-cut at both ends."""
    return tuple(_side(runs, -1.0, sagitta_mm) + _side(runs, 1.0, sagitta_mm)[::-1])


def length_mm(runs: tuple[Run, ...]) -> float:
    """Return the length of the whole centreline."""
    return sum(run.length_mm for run in runs)


def backwards(runs: tuple[Run, ...]) -> tuple[Run, ...]:
    """Return the same way walked from its end to its start."""
    found = []
    for run in reversed(runs):
        x, y, heading = end(run)
        turned = replace(run, x=x, y=y, heading_deg=heading + 180.0, turn_deg=-run.turn_deg)
        found.append(replace(turned, width_in_mm=run.width_out_mm, width_out_mm=run.width_in_mm))
    return tuple(found)


def mirrored(runs: tuple[Run, ...]) -> tuple[Run, ...]:
    """Return the runs with x turned into -x."""
    return tuple(replace(r, x=-r.x, heading_deg=180.0 - r.heading_deg, turn_deg=-r.turn_deg) for r in runs)


def swapped(runs: tuple[Run, ...]) -> tuple[Run, ...]:
    """Return the runs with x and y exchanged."""
    return tuple(replace(r, x=r.y, y=r.x, heading_deg=90.0 - r.heading_deg, turn_deg=-r.turn_deg) for r in runs)


def circle(x: float, y: float, diameter_mm: float) -> Ring:
    """Return a circle as a ring of chords, points on the true circle."""
    r = diameter_mm / 2
    # A multiple of four keeps the extreme points exactly on the axes, so a calliper reads the true diameter.
    n = 4 * max(4, math.ceil(math.tau / (2 * math.acos(1 - SAGITTA_MM / r)) / 4))
    return tuple(
        (
            round(x + r * math.cos(math.tau * i / n), GRID_DECIMALS),
            round(y + r * math.sin(math.tau * i / n), GRID_DECIMALS),
        )
        for i in range(n)
    )
