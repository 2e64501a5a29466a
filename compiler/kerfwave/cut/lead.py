"""Into the cut from the waste, and a little past its start at the end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon

from kerfwave.cut.motion import heading, length_mm, sweep
from kerfwave.model.parts import Move, Point, Ring

# Long leads first, and first the one that runs straight on into the cut, which needs an outward corner; the last is
# for inward corners, between their two sides.
LENGTHS_MM = (2.0, 1.5, 1.0, 0.5)
ANGLES_DEG = (0.0, 45.0, 90.0, 135.0)
OVERRUN_MM = 0.5
_TOUCH_MM = 0.002  # rounding and chords may bring a lead so much nearer to its own piece than half a kerf
_OFF_ARC_MM = 0.001  # RS274 takes 0.002 mm between the radii at the ends of an arc; the start has its own share
_APART_MM = 0.05  # kept between the lead's own kerf and that of any other piece


KeepOut = tuple[str, Ring, float]  # what it is, its outline on the sheet, the clearance in mm


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a lead must keep clear of."""

    own: Polygon
    others: tuple[Polygon, ...]
    kerf_mm: float
    width_mm: float  # of what sheet and bed have in common
    height_mm: float
    sheet: Polygon | None = None  # of a sheet that is no rectangle


def leads(moves: Sequence[Move], at: Sequence[int], around: Surroundings, *, decimals: int) -> tuple[Point | None, ...]:
    """Return for each start `moves[i]`, i in `at`, where the beam may be lit, or None where there is no room.

    The beam then goes straight from there to the start of `moves[i]` (the end of the move before). A place is
    good if the way stays half a kerf from the own piece and draws away from it, keeps its own kerf clear of the
    kerf of every other piece, and stays on the sheet and the bed.
    """
    found: list[Point | None] = [None] * len(at)
    for length in LENGTHS_MM:
        for angle in ANGLES_DEG:
            missing = [n for n, point in enumerate(found) if point is None]
            if not missing:
                return tuple(found)
            starts = [_end(moves[at[n] - 1]) for n in missing]
            places = [_place(s, moves[at[n]], length, angle, decimals) for s, n in zip(starts, missing, strict=True)]
            good = _clear(np.array(starts), np.array(places), length, around)
            for n, place, is_good in zip(missing, places, good, strict=True):
                if is_good:
                    found[n] = place
    return tuple(found)


def overrun(start: Point, moves: Sequence[Move], total_mm: float, decimals: int) -> tuple[Move, ...]:
    """Return the moves that go on from `start` along `moves` for the overrun, or for a tenth of the way round.

    The last of them stops within a move; what it burns, the pass before has burnt already.
    """
    left = min(OVERRUN_MM, total_mm / 10)
    at = start
    out: list[Move] = []
    for move in moves:
        length = length_mm(at, move)
        if length >= left:
            stop = _part_way(at, move, left / length, decimals)
            if stop is not None:
                out.append(stop)
            break
        out.append(move)
        left -= length
        at = _end(move)
    return tuple(out)


def _end(move: Move) -> Point:
    return move.x_mm, move.y_mm


def _place(start: Point, move: Move, length: float, angle_deg: float, decimals: int) -> Point:
    """Go back from `start` against the cut, swung to the right: there lies the waste."""
    ux, uy = heading(start, move)
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    x, y = start[0] + length * (-cos * ux + sin * uy), start[1] + length * (-cos * uy - sin * ux)
    return round(x, decimals) + 0.0, round(y, decimals) + 0.0


def _clear(
    starts: npt.NDArray[np.float64], places: npt.NDArray[np.float64], length: float, around: Surroundings
) -> npt.NDArray[np.bool_]:
    half = around.kerf_mm / 2
    x, y = places[:, 0], places[:, 1]
    good = (x >= 0) & (y >= 0) & (x <= around.width_mm) & (y <= around.height_mm)
    lines = shapely.linestrings(np.stack([starts, places], axis=1))
    good &= ~shapely.dwithin(around.own, lines, half - _TOUCH_MM)
    good &= ~shapely.dwithin(around.own, shapely.points(places), half + length / 4)
    if around.sheet is not None:
        good &= shapely.covers(around.sheet, lines)
    for other in around.others:
        good &= ~shapely.dwithin(other, lines, 1.5 * around.kerf_mm + _APART_MM)
    return np.asarray(good)


def _part_way(start: Point, move: Move, share: float, decimals: int) -> Move | None:
    """Return `move` cut short, or None if rounding leaves nothing of it, or moves its end off the arc."""
    off = 0.0
    if move.centre_x_mm is None or move.centre_y_mm is None:
        x, y = start[0] + share * (move.x_mm - start[0]), start[1] + share * (move.y_mm - start[1])
    else:
        cx, cy = move.centre_x_mm, move.centre_y_mm
        angle = math.atan2(start[1] - cy, start[0] - cx) + share * sweep(start, move)
        radius = math.hypot(start[0] - cx, start[1] - cy)
        x, y = cx + radius * math.cos(angle), cy + radius * math.sin(angle)
        off = abs(math.hypot(round(x, decimals) - cx, round(y, decimals) - cy) - radius)
    x, y = round(x, decimals) + 0.0, round(y, decimals) + 0.0
    if math.hypot(x - start[0], y - start[1]) < 20 * 10**-decimals or off > _OFF_ARC_MM:
        return None
    return Move(move.kind, x, y, move.power, move.feed_mm_min, move.centre_x_mm, move.centre_y_mm)
