"""How long a program takes: trapezoids of speed, with the corners slowed.

Each move accelerates, runs and brakes at the machine's acceleration. The speed is kept through a junction that
turns by no more than `CORNER_DEG` and zero at anything sharper, at every rapid and wherever the beam is switched.
A forward and a backward sweep make every move able to reach the next one's speed, as a controller with a long
enough look-ahead does. Arcs keep below the speed whose centripetal acceleration is the machine's.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from kerfwave.cut.motion import course
from kerfwave.model.parts import Contour, Move, Point
from kerfwave.model.spec import Machine

CORNER_DEG = 30.0
_COS_CORNER = math.cos(math.radians(CORNER_DEG)) - 1e-12


def estimate(moves: Iterable[Move], machine: Machine, start: Point = (0.0, 0.0)) -> float:
    """Return the seconds that `moves` take from rest at `start` to rest at their end.

    Rapids run at the machine's rapid feed, everything else at its own feed, which the machine's maximum limits.
    """
    accel = machine.acceleration_mm_s2
    lengths: list[float] = []
    limits: list[float] = []
    joins: list[float] = []  # highest speed at the start of each move
    at = start
    before: tuple[Point, Move] | None = None  # the last move and its direction at its end
    for move in moves:
        length, begins, ends = course(at, move)
        if length == 0:
            continue
        limit = _limit_mm_s(at, move, machine)
        joins.append(min(limit, limits[-1]) if before and _runs_on(before, begins, move) else 0.0)
        lengths.append(length)
        limits.append(limit)
        before = (ends, move)
        at = (move.x_mm, move.y_mm)
    joins.append(0.0)
    for i in range(len(lengths) - 1, -1, -1):
        if (most := math.sqrt(joins[i + 1] ** 2 + 2 * accel * lengths[i])) < joins[i]:
            joins[i] = most
    for i, length in enumerate(lengths):
        if (most := math.sqrt(joins[i] ** 2 + 2 * accel * length)) < joins[i + 1]:
            joins[i + 1] = most
    return math.fsum(_trapezoid_s(length, joins[i], joins[i + 1], limits[i], accel) for i, length in enumerate(lengths))


def contour_times_s(contours: Iterable[Contour], machine: Machine, start: Point = (0.0, 0.0)) -> tuple[float, ...]:
    """Return the seconds that each contour takes, its way there included: every one begins and ends at rest."""
    found = []
    at = start
    for contour in contours:
        found.append(estimate(contour.moves, machine, at))
        at = (contour.moves[-1].x_mm, contour.moves[-1].y_mm)
    return tuple(found)


def _limit_mm_s(start: Point, move: Move, machine: Machine) -> float:
    if move.kind == "rapid":
        return machine.rapid_feed_mm_min / 60
    limit = min(move.feed_mm_min, machine.max_feed_mm_min) / 60
    if move.centre_x_mm is None or move.centre_y_mm is None:
        return limit
    radius = math.hypot(start[0] - move.centre_x_mm, start[1] - move.centre_y_mm)
    return min(limit, math.sqrt(machine.acceleration_mm_s2 * radius))


def _runs_on(before: tuple[Point, Move], begins: Point, move: Move) -> bool:
    (ux, uy), last = before
    if "rapid" in (last.kind, move.kind) or (last.power > 0) != (move.power > 0):
        return False
    return ux * begins[0] + uy * begins[1] >= _COS_CORNER


def _trapezoid_s(length: float, begin: float, end: float, limit: float, accel: float) -> float:
    """Return the seconds for `length` from speed `begin` to `end`, never above `limit`."""
    peak = min(limit, math.sqrt(accel * length + (begin**2 + end**2) / 2))
    ramps = (2 * peak**2 - begin**2 - end**2) / (2 * accel)
    return (2 * peak - begin - end) / accel + max(0.0, length - ramps) / peak
