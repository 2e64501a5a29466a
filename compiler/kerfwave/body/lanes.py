"""Lanes side by side and round turns between them, in the lane frame: u along the lanes, v across them.

A turn is a half ring about the round tip of the septum between its lanes, so the duct keeps its width, or goes evenly
from one lane's width to the next one's.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from kerfwave.body import path, shapes
from kerfwave.body.path import Run
from kerfwave.body.places import CannotFold
from kerfwave.body.storeys import IN_ONE_PLANE, Arrangement


def turn_radii(widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the centreline radii of the turns, the throat's first."""
    between = [(a / 2 + septum + b / 2) / 2 for a, b in itertools.pairwise(widths)]
    return [(widths[0] + septum) / 2, *between]


def turn_reaches(widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the greatest outer radii of the turns, the throat's first."""
    ends = [(widths[0], widths[0]), *itertools.pairwise(widths)]
    return [r + max(a, b) / 2 for r, (a, b) in zip(turn_radii(widths, septum), ends, strict=True)]


def lay_lanes(
    room: BaseGeometry,
    turning: Callable[[float], BaseGeometry],
    widths: tuple[float, ...],
    septum: float,
    arrangement: Arrangement = IN_ONE_PLANE,
) -> tuple[Run, ...]:
    """Lay the guide out in the lane frame: up from the chamber, then to and fro, ending in the last lane.

    A turn may be centred anywhere in `turning(reach)`: the room less the turn's outer radius. On every second storey
    the guide runs the same way back, each time from the end wall of a lane; over the chamber it begins at one, too.
    """
    lanes = len(widths)
    under = bool(arrangement.under)
    if any(abs(a - b) > septum for a, b in itertools.pairwise(widths)):
        raise CannotFold("neighbouring lanes differ by more than the separator's thickness")
    u_lo, v_lo, u_hi, _ = room.bounds
    bottoms = _bottoms(room, widths, septum)
    if bottoms[0] < v_lo if under else bottoms[0] - septum <= v_lo + 1.0:
        raise CannotFold(f"{lanes} lanes so wide leave nothing for the chamber")
    radii, reaches = turn_radii(widths, septum), turn_reaches(widths, septum)
    # Turns are centred between the middles of their lanes; the throat's is level with the middle of its septum.
    middles = [b + w / 2 for b, w in zip(bottoms, widths, strict=True)]
    tips = [bottoms[0] - septum / 2, *((a + b) / 2 for a, b in itertools.pairwise(middles))]
    turns = []
    for i, tip in enumerate(tips):
        if under and i == 0:
            turns.append(u_lo)  # there is no throat: the first lane begins at its end wall, see below
            continue
        ends = shapes.across(turning(reaches[i]), tip)
        if ends is None:
            raise CannotFold(f"no room for a turn {2 * reaches[i]:.1f} mm across")
        turns.append(ends[i % 2])
    if under:
        inside = turns[1] if lanes > 1 else (u_lo + u_hi) / 2
        turns[0] = end_walls(room, bottoms[0], widths[0], inside)[0]
    else:
        # Below its turn the throat goes straight on to the chamber, beside a wall that may lean inwards.
        beside = shapes.free_stretches(room, u_lo, u_hi, tips[0] - septum / 2, tips[0])
        turns[0] = max(
            turns[0], *(start + reaches[0] for start, stop in beside if start - shapes.EPS <= turns[0] <= stop), u_lo
        )
    first = widths[0]
    steps: list[path.Step] = []
    for i in range(lanes - 1):
        straight = abs(turns[i + 1] - turns[i])
        if (turns[i + 1] - turns[i]) * (1 if i % 2 == 0 else -1) < 0:
            raise CannotFold("the lanes are shorter than their turns")
        steps.append((f"lane {i + 1}", straight, 0.0, widths[i], widths[i]))
        half_turn = 180.0 if i % 2 == 0 else -180.0
        steps.append((f"bend {i + 2}", radii[i + 1] * math.pi, half_turn, widths[i], widths[i + 1]))
    # The last lane is drawn well past any wall; `_open` cuts it where it leaves the plan.
    far = 2 * (u_hi - u_lo)
    steps.append((f"lane {lanes}", far, 0.0, widths[-1], widths[-1]))
    throat: tuple[path.Step, ...] = (
        ("throat", septum / 2, 0.0, first, first),
        ("bend 1", radii[0] * math.pi / 2, -90.0, first, first),
    )
    start = path.chain(turns[0] - radii[0], bottoms[0] - septum, 90.0, throat)
    if arrangement.in_one_plane:
        return path.chain(turns[0] - radii[0], bottoms[0] - septum, 90.0, (*throat, *steps))
    way = path.chain(turns[0], bottoms[0] + first / 2, 0.0, tuple(steps))
    begin = way[0].x - end_walls(room, bottoms[0], first, way[0].x)[0]
    low, high = end_walls(room, bottoms[-1], widths[-1], way[-1].x)
    reach = high - way[-1].x if lanes % 2 else way[-1].x - low
    return (*(() if under else start), *climb(way, begin, reach, arrangement.storeys))


def _bottoms(room: BaseGeometry, widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the lower edges of the lanes, stacked from the top of the room downwards."""
    lanes, width = len(widths), widths[-1]
    u_lo, v_lo, u_hi, v_hi = room.bounds
    # A pointed room has no use for its tip: come down until the last lane is worth having.
    top = v_hi
    least = max(2 * width, 30.0)
    while True:
        if top - width < v_lo:
            raise CannotFold(f"a lane {width:.1f} mm wide is too wide for the room")
        free = shapes.longest(shapes.free_stretches(room, u_lo, u_hi, top - width, top))
        if free is not None and free[1] - free[0] >= least:
            break
        top -= 2.0
    if lanes > 1:
        # A turn from a wider lane below would else bulge past the last lane's far side.
        top -= max(0.0, (widths[-2] - widths[-1]) / 2)
    return [top - sum(widths[i:]) - (lanes - 1 - i) * septum for i in range(lanes)]


def end_walls(room: BaseGeometry, bottom: float, width: float, inside: float) -> tuple[float, float]:
    """Return between which two u a lane can lie that holds the place `inside`.

    Raises:
        CannotFold: if none can.
    """
    u_lo, _, u_hi, _ = room.bounds
    for low, high in shapes.free_stretches(room, u_lo, u_hi, bottom, bottom + width):
        if low - shapes.EPS <= inside <= high + shapes.EPS:
            return low, high
    raise CannotFold(f"a lane {width:.1f} mm wide finds no end wall")


def climb(way: tuple[Run, ...], begin_mm: float, reach_mm: float, storeys: int) -> tuple[Run, ...]:
    """Walk a way and back again, storey by storey; each storey ends at an end wall, the last well past any wall.

    The way's last run is drawn far; `reach_mm` is how far it goes to its end wall. Coming back, the first lane goes on
    to its own end wall, `begin_mm` past where the throat's turn is below.
    """
    last, far = way[-1], way[-1].length_mm
    up = (*way[:-1], replace(last, length_mm=reach_mm))
    first = up[0]
    x, y, _ = path.at(first, -begin_mm / first.length_mm)
    on = (replace(first, x=x, y=y, length_mm=first.length_mm + begin_mm), *up[1:])
    found: list[Run] = []
    for storey in range(storeys):
        runs = path.backwards(on) if storey % 2 else (up if storey == 0 else on)
        if storey == storeys - 1:
            runs = (*runs[:-1], replace(runs[-1], length_mm=far))
        names = [f"{run.name}, storey {storey + 1}" if storeys > 1 else run.name for run in runs]
        found += [replace(run, name=name, storey=storey) for run, name in zip(runs, names, strict=True)]
    return tuple(found)


def chamber_below(room: BaseGeometry, runs: tuple[Run, ...]) -> BaseGeometry:
    """Return what the lanes leave of the room: everything below the throat."""
    u_lo, v_lo, u_hi, _ = room.bounds
    return room.intersection(box(u_lo - 1, v_lo - 1, u_hi + 1, runs[0].y))
