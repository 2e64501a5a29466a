"""Closed polylines become straight and circular moves.

Outlines come as polylines whose arcs were sampled to a hundredth of a millimetre. A run of points is an arc when
one circle through its two ends passes within `TOLERANCE_MM` of every point between, the run keeps turning the
same way, and no chord of it lies further from the circle than such sampling explains.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from kerfwave.model.parts import Move, Point, Ring

TOLERANCE_MM = 0.005
SAGITTA_MM = 0.0105  # sampling to 0.01 mm, and a little for rounding
_SWEEP = math.radians(95)  # quarter arcs: four starts on every circle, and no controller has trouble with them
_LEAST_EDGES = 3
_LARGEST_RADIUS_MM = 2000.0


def moves_along(ring: Ring, *, arcs: bool, decimals: int) -> tuple[Move, ...]:
    """Return the moves once round `ring`, ending where they begin; that start is the last move's end.

    Parameters
    ----------
    ring
        closed, without a repeated end.
    arcs
        False for straight moves only.
    decimals
        all ends are rounded to so many decimals of a millimetre. Arc centres are rounded to at least three:
        RS274 allows a radius at the end of an arc to differ by 0.002 mm from that at its start (NISTIR 6556).
    """
    points = _rounded(ring, decimals)
    while len(points) > 1 and points[-1] == points[0]:
        points.pop()
    return _fitted([*points, points[0]], arcs, decimals)


def moves_between(points: Sequence[Point], *, arcs: bool, decimals: int) -> tuple[Move, ...]:
    """Return the moves along an open polyline; its first point is where the first move starts."""
    return _fitted(_rounded(points, decimals), arcs, decimals)


def _fitted(ends: list[Point], arcs: bool, decimals: int) -> tuple[Move, ...]:
    moves: list[Move] = []
    at = 0
    while at < len(ends) - 1:
        fit = _longest_arc(ends, at, max(decimals, 3)) if arcs else None
        if fit is None:
            at += 1
            moves.append(Move("line", *ends[at]))
        else:
            at, centre, kind = fit
            moves.append(Move(kind, *ends[at], centre_x_mm=centre[0], centre_y_mm=centre[1]))
    return tuple(moves)


def _rounded(ring: Sequence[Point], decimals: int) -> list[Point]:
    """Round to the machine's decimals and drop what became the same point."""
    points: list[Point] = []
    for x, y in ring:
        point = (round(x, decimals) + 0.0, round(y, decimals) + 0.0)
        if not points or point != points[-1]:
            points.append(point)
    return points


def _longest_arc(ends: list[Point], at: int, digits: int) -> tuple[int, Point, str] | None:
    """Return (index of the end, centre, kind) of the longest arc that starts at `ends[at]`, or None."""
    best = None
    turn = 0.0
    sign = 0.0
    longest = math.dist(ends[at], ends[min(at + 1, len(ends) - 1)])
    for to in range(at + 2, len(ends)):
        step = _turn(ends[to - 2], ends[to - 1], ends[to])
        sign = sign or math.copysign(1.0, step)
        turn += abs(step)
        if step * sign <= 0 or abs(step) > math.pi / 3 or turn > _SWEEP:
            break
        longest = max(longest, math.dist(ends[to - 1], ends[to]))
        if to - at < _LEAST_EDGES:
            continue
        centre = _centre(ends[at : to + 1], longest, digits)
        if centre is None:
            if best is not None:
                break
            continue
        best = (to, centre, "arc-ccw" if sign > 0 else "arc-cw")
    return best


def _turn(a: Point, b: Point, c: Point) -> float:
    """Signed change of direction at b, in radians."""
    ux, uy, vx, vy = b[0] - a[0], b[1] - a[1], c[0] - b[0], c[1] - b[1]
    return math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)


def _centre(run: list[Point], longest_mm: float, digits: int) -> Point | None:
    """Return the centre of the circle through both ends that fits the points between best, or None.

    `longest_mm` is the longest edge in the run: it lies furthest inside the circle.

    With the centre at m + h n on the bisector of the chord, |q - centre| = radius is linear in h for each point
    q, so least squares is one division.
    """
    (ax, ay), (bx, by) = run[0], run[-1]
    chord = math.hypot(bx - ax, by - ay)
    if chord < 20 * 10**-digits:  # ends that rounding could merge: a full circle would come of it
        return None
    mx, my, nx, ny = (ax + bx) / 2, (ay + by) / 2, -(by - ay) / chord, (bx - ax) / chord
    above = below = 0.0
    quarter = chord * chord / 4
    for qx, qy in run[1:-1]:
        ux, uy = qx - mx, qy - my
        across = ux * nx + uy * ny
        above += (ux * ux + uy * uy - quarter) * across
        below += 2 * across * across
    if below < 1e-12:
        return None
    height = above / below
    radius = math.hypot(height, chord / 2)
    if radius > _LARGEST_RADIUS_MM:
        return None
    cx, cy = round(mx + height * nx, digits) + 0.0, round(my + height * ny, digits) + 0.0
    half = longest_mm / 2
    if half >= radius or radius - math.sqrt(radius**2 - half**2) > SAGITTA_MM:
        return None
    centre = (cx, cy)
    if any(abs(math.dist(point, centre) - radius) > TOLERANCE_MM for point in run):
        return None
    return centre
