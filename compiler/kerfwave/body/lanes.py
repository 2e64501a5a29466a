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

    `widths` are those of all lanes, in the order of the way. A turn may be centred anywhere in `turning(reach)`: the
    room less the turn's outer radius. On every second storey the guide runs the same way back, each time from the end
    wall of a lane; over the chamber it begins at one, too.
    """
    under, lanes = bool(arrangement.under), len(widths) // arrangement.storeys
    if any(abs(a - b) > septum for a, b in itertools.pairwise(widths)):
        raise CannotFold("neighbouring lanes differ by more than the separator's thickness")
    in_turn = [widths[i : i + lanes] for i in range(0, len(widths), lanes)]
    # From the chamber's side on: on every second storey the way's last lane is the one beside the chamber.
    placed = [one[::-1] if storey % 2 else one for storey, one in enumerate(in_turn)]
    top = min(_top(room, one) for one in dict.fromkeys(placed))
    bottoms = {one: _bottoms(top, one, septum) for one in dict.fromkeys(placed)}
    lowest = min(found[0] for found in bottoms.values())
    if lowest < room.bounds[1] if under else lowest - septum <= room.bounds[1] + 1.0:
        raise CannotFold(f"{lanes} lanes so wide leave nothing for the chamber")
    storeys = {one: _lay_storey(room, turning, one, found, septum, under) for one, found in bottoms.items()}
    begin, steps = storeys[placed[0]]
    first = widths[0]
    drop = bottoms[placed[0]][0] - lowest  # a storey with wider lanes reaches further down: the throat goes on to there
    throat: tuple[path.Step, ...] = (
        ("throat", septum / 2 + drop, 0.0, first, first),
        ("bend 1", (first + septum) / 2 * math.pi / 2, -90.0, first, first),
    )
    start = (begin - (first + septum) / 2, lowest - septum, 90.0)
    if arrangement.in_one_plane:
        return path.chain(*start, (*throat, *steps))
    ways = []
    for one in placed:
        begin, steps = storeys[one]
        way = path.chain(begin, bottoms[one][0] + one[0] / 2, 0.0, steps)
        behind = way[0].x - end_walls(room, bottoms[one][0], one[0], way[0].x)[0]
        low, high = end_walls(room, bottoms[one][-1], one[-1], way[-1].x)
        ways.append((way, behind, high - way[-1].x if lanes % 2 else way[-1].x - low))
    return (*(() if under else path.chain(*start, throat)), *climb(tuple(ways)))


def _lay_storey(
    room: BaseGeometry,
    turning: Callable[[float], BaseGeometry],
    widths: tuple[float, ...],
    bottoms: list[float],
    septum: float,
    under: bool,
) -> tuple[float, tuple[path.Step, ...]]:
    """Return at which u the first lane begins, behind the throat's turn, and the lanes with the turns between them."""
    lanes, (u_lo, _, u_hi, _) = len(widths), room.bounds
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
    steps: list[path.Step] = []
    for i in range(lanes - 1):
        straight = abs(turns[i + 1] - turns[i])
        if (turns[i + 1] - turns[i]) * (1 if i % 2 == 0 else -1) < 0:
            raise CannotFold("the lanes are shorter than their turns")
        steps.append((f"lane {i + 1}", straight, 0.0, widths[i], widths[i]))
        half_turn = 180.0 if i % 2 == 0 else -180.0
        steps.append((f"bend {i + 2}", radii[i + 1] * math.pi, half_turn, widths[i], widths[i + 1]))
    # The last lane is drawn well past any wall; `_open` cuts it where it leaves the plan.
    steps.append((f"lane {lanes}", 2 * (u_hi - u_lo), 0.0, widths[-1], widths[-1]))
    return turns[0], tuple(steps)


def _top(room: BaseGeometry, widths: tuple[float, ...]) -> float:
    """Return the upper edge of the last lane."""
    width = widths[-1]
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
    if len(widths) > 1:
        # A turn from a wider lane below would else bulge past the last lane's far side.
        top -= max(0.0, (widths[-2] - width) / 2)
    return float(top)


def _bottoms(top: float, widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the lower edges of the lanes, stacked from their top downwards."""
    lanes = len(widths)
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


def climb(ways: tuple[tuple[tuple[Run, ...], float, float], ...]) -> tuple[Run, ...]:
    """Walk a way and back again, storey by storey; each storey ends at an end wall, the last well past any wall.

    For each storey there is its way, whose last run is drawn far, how far its first lane could begin before the turn
    of the throat, and how far its last run goes to its end wall. Coming back, the first lane goes on to its own.
    """
    found: list[Run] = []
    for storey, (way, begin_mm, reach_mm) in enumerate(ways):
        last, far = way[-1], way[-1].length_mm
        up = (*way[:-1], replace(last, length_mm=reach_mm))
        first = up[0]
        x, y, _ = path.at(first, -begin_mm / first.length_mm)
        on = (replace(first, x=x, y=y, length_mm=first.length_mm + begin_mm), *up[1:])
        runs = path.backwards(on) if storey % 2 else (up if storey == 0 else on)
        if storey == len(ways) - 1:
            runs = (*runs[:-1], replace(runs[-1], length_mm=far))
        names = [f"{run.name}, storey {storey + 1}" if len(ways) > 1 else run.name for run in runs]
        found += [replace(run, name=name, storey=storey) for run, name in zip(runs, names, strict=True)]
    return tuple(found)


def chamber_below(room: BaseGeometry, runs: tuple[Run, ...]) -> BaseGeometry:
    """Return what the lanes leave of the room: everything below the throat."""
    u_lo, v_lo, u_hi, _ = room.bounds
    return room.intersection(box(u_lo - 1, v_lo - 1, u_hi + 1, runs[0].y))
