"""Lengths and directions of single moves."""

from __future__ import annotations

import math

from kerfwave.model.parts import Move, Point


def course(start: Point, move: Move) -> tuple[float, Point, Point]:
    """Return the length of a move that begins at `start`, and its directions there and at its end (see `heading`)."""
    if move.centre_x_mm is None or move.centre_y_mm is None:
        dx, dy = move.x_mm - start[0], move.y_mm - start[1]
        length = math.hypot(dx, dy)
        along = (dx / length, dy / length) if length else (0.0, 0.0)
        return length, along, along
    return length_mm(start, move), heading(start, move), heading(start, move, at_end=True)


def length_mm(start: Point, move: Move) -> float:
    """Return the length of one move that begins at `start`."""
    if move.centre_x_mm is None or move.centre_y_mm is None:
        return math.hypot(move.x_mm - start[0], move.y_mm - start[1])
    return abs(sweep(start, move)) * math.hypot(start[0] - move.centre_x_mm, start[1] - move.centre_y_mm)


def sweep(start: Point, move: Move) -> float:
    """Return the signed angle of an arc in radians, counter-clockwise positive; a full turn if it ends at `start`."""
    if move.centre_x_mm is None or move.centre_y_mm is None:
        raise ValueError("not an arc")
    begin = math.atan2(start[1] - move.centre_y_mm, start[0] - move.centre_x_mm)
    end = math.atan2(move.y_mm - move.centre_y_mm, move.x_mm - move.centre_x_mm)
    full = 2 * math.pi
    return (end - begin) % full or full if move.kind == "arc-ccw" else -((begin - end) % full or full)


def heading(start: Point, move: Move, *, at_end: bool = False) -> Point:
    """Return the unit direction of travel at the start of a move, or at its end; (0, 0) where it has no length."""
    if move.centre_x_mm is None or move.centre_y_mm is None:
        dx, dy = move.x_mm - start[0], move.y_mm - start[1]
    else:
        x, y = (move.x_mm, move.y_mm) if at_end else start
        dx, dy = -(y - move.centre_y_mm), x - move.centre_x_mm
        if move.kind == "arc-cw":
            dx, dy = -dx, -dy
    size = math.hypot(dx, dy)
    return (dx / size, dy / size) if size else (0.0, 0.0)


def reach(start: Point, move: Move) -> tuple[Point, ...]:
    """Return points between which the whole move lies, as a box: its end, and where an arc is furthest out."""
    end = (move.x_mm, move.y_mm)
    if move.centre_x_mm is None or move.centre_y_mm is None:
        return (end,)
    cx, cy = move.centre_x_mm, move.centre_y_mm
    radius = math.hypot(start[0] - cx, start[1] - cy)
    begin, turn = math.atan2(start[1] - cy, start[0] - cx), sweep(start, move)
    found = [end]
    for quarter, (ux, uy) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1))):
        way = (quarter * math.pi / 2 - begin) % (2 * math.pi)
        if way <= turn or (turn < 0 and way - 2 * math.pi >= turn):
            found.append((cx + radius * ux, cy + radius * uy))
    return tuple(found)
