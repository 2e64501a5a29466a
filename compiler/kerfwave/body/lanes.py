"""Lanes side by side and round turns between them, in the lane frame: u along the lanes, v across them.

A turn is a half ring about the round tip of the septum between its lanes, so the duct keeps its width, or goes evenly
from one lane's width to the next one's.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from kerfwave.body import path, shapes
from kerfwave.body.path import Run
from kerfwave.body.places import CannotFold


def _radii(widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the centreline radii of the turns, the throat's first."""
    between = [(a / 2 + septum + b / 2) / 2 for a, b in itertools.pairwise(widths)]
    return [(widths[0] + septum) / 2, *between]


def _reaches(widths: tuple[float, ...], septum: float) -> list[float]:
    """Return the greatest outer radii of the turns, the throat's first."""
    ends = [(widths[0], widths[0]), *itertools.pairwise(widths)]
    return [r + max(a, b) / 2 for r, (a, b) in zip(_radii(widths, septum), ends, strict=True)]


def lay_lanes(
    room: BaseGeometry, turning: Callable[[float], BaseGeometry], widths: tuple[float, ...], septum: float
) -> tuple[Run, ...]:
    """Lay the guide out in the lane frame: up from the chamber, then to and fro, ending in the last lane.

    A turn may be centred anywhere in `turning(reach)`: the room less the turn's outer radius.
    """
    lanes, width = len(widths), widths[-1]
    if any(abs(a - b) > septum for a, b in itertools.pairwise(widths)):
        raise CannotFold("neighbouring lanes differ by more than the separator's thickness")
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
    bottoms = [top - sum(widths[i:]) - (lanes - 1 - i) * septum for i in range(lanes)]
    if bottoms[0] - septum <= v_lo + 1.0:
        raise CannotFold(f"{lanes} lanes so wide leave nothing for the chamber")
    radii, reaches = _radii(widths, septum), _reaches(widths, septum)
    # Turns are centred between the middles of their lanes; the throat's is level with the middle of its septum.
    middles = [b + w / 2 for b, w in zip(bottoms, widths, strict=True)]
    tips = [bottoms[0] - septum / 2, *((a + b) / 2 for a, b in itertools.pairwise(middles))]
    turns = []
    for i, tip in enumerate(tips):
        line = turning(reaches[i]).intersection(LineString([(u_lo - 1, tip), (u_hi + 1, tip)]))
        if line.is_empty:
            raise CannotFold(f"no room for a turn {2 * reaches[i]:.1f} mm across")
        turns.append(line.bounds[0] if i % 2 == 0 else line.bounds[2])
    # Below its turn the throat goes straight on to the chamber, beside a wall that may lean inwards.
    beside = shapes.free_stretches(room, u_lo, u_hi, tips[0] - septum / 2, tips[0])
    turns[0] = max(
        turns[0], *(start + reaches[0] for start, stop in beside if start - shapes.EPS <= turns[0] <= stop), u_lo
    )
    first = widths[0]
    steps: list[path.Step] = [
        ("throat", septum / 2, 0.0, first, first),
        ("bend 1", radii[0] * math.pi / 2, -90.0, first, first),
    ]
    for i in range(lanes - 1):
        straight = abs(turns[i + 1] - turns[i])
        if (turns[i + 1] - turns[i]) * (1 if i % 2 == 0 else -1) < 0:
            raise CannotFold("the lanes are shorter than their turns")
        steps.append((f"lane {i + 1}", straight, 0.0, widths[i], widths[i]))
        half_turn = 180.0 if i % 2 == 0 else -180.0
        steps.append((f"bend {i + 2}", radii[i + 1] * math.pi, half_turn, widths[i], widths[i + 1]))
    # The last lane is drawn well past any wall; `_open` cuts it where it leaves the plan.
    steps.append((f"lane {lanes}", 2 * (u_hi - u_lo), 0.0, widths[-1], widths[-1]))
    return path.chain(turns[0] - radii[0], bottoms[0] - septum, 90.0, tuple(steps))


def chamber_below(room: BaseGeometry, runs: tuple[Run, ...]) -> BaseGeometry:
    """Return what the lanes leave of the room: everything below the throat."""
    u_lo, v_lo, u_hi, _ = room.bounds
    return room.intersection(box(u_lo - 1, v_lo - 1, u_hi + 1, runs[0].y))
