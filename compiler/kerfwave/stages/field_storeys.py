"""A guide on storeys, unfolded into one plane, so that its sound field can be solved in two dimensions.

```
   storey 2  <----------.             ----------> storey 1 =====> storey 2 ---------->
   floor     ==========  |     =>                          bridge
   storey 1  ---------->-'
```

Every storey is a plane field of its own. At a passage the next one is laid on in front, turned by half a turn, and a
bridge joins the two lanes: a straight stretch with the inertance and the volume that the network gives the passage,
whatever its length in the drawing. So the solution tests lanes, bends, turns and the mouth; the passages it takes as
they are counted (`acoustics.bends.passage_correction`, itself held against plane fields).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from shapely import affinity
from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.acoustics.guide import segments
from kerfwave.body import path
from kerfwave.body.air import Body
from kerfwave.body.path import Run
from kerfwave.body.storeys import gap_mm
from kerfwave.model.acoustic import Air, GuideRun

STEP_MM = 10.0  # by which a bridge is lengthened until what it joins lies clear
LONGEST_MM = 800.0
CLEAR_MM = 3.0  # between two storeys in the plane
JOIN_MM = 0.5  # a bridge reaches so far over the lanes at its ends: no gap is left between them


Move = tuple[float, float, float, float, float, float]  # an affine map as shapely takes it


class CannotUnfold(Exception):
    """Storeys that come to lie in each other however long the bridges are."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """A passage in the plane: its shape, and the height and share of air that give it its inertance and volume."""

    shape: Any
    height_mm: float
    spring: float


@dataclass(frozen=True, slots=True)
class Unfolded:
    """A guide in one plane with its chamber: shapely, mm."""

    guide: Any  # lanes and bridges
    lanes: tuple[Any, ...]  # of each storey, less its bridges
    filled: Any  # the part of it that holds fibre
    bridges: tuple[Bridge, ...]
    move: Move  # of the last storey, which holds the mouth


def unfold(
    body: Body, chamber: Any, ducts: tuple[Any, ...], runs: tuple[GuideRun, ...], filled_m: float, air: Air
) -> Unfolded:
    """Unfold a guide on storeys.

    Args:
        body: whose guide has storeys.
        chamber: what lies in the plane already, mm.
        ducts: the guide's air on each storey within the plan, mm.
        runs: the guide as it was measured, passages among its lanes.
        filled_m: how much of it holds fibre, counted along those runs from the chamber.
        air: the medium.

    Raises:
        CannotUnfold: if storeys would lie in each other.
    """
    gap = gap_mm(body.levels, body.counts)
    laid: list[Any] = [chamber]
    bridges: list[Bridge] = []
    filled: list[Any] = []
    move: Move = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    waiting = list(runs)
    came = body.fold.runs[0]  # the lane that led to the passage
    for storey, duct in enumerate(ducts):
        lanes = tuple(run for run in body.fold.runs if run.storey == storey)
        begins, ends = storey > 0 or bool(body.fold.key.under), storey + 1 < len(ducts)
        first, last = lanes[0], lanes[-1]
        holes = [_stretch(first, -1.0, gap, 1.0)] if begins else []
        holes += [_stretch(last, last.length_mm - gap, last.length_mm + 1.0, 1.0)] if ends else []
        lane = duct.difference(unary_union(holes)) if holes else duct
        if begins:
            passage = waiting.pop(0)
            out_of_chamber = storey == 0
            start = path.at(first, 0.0) if out_of_chamber else path.at(came, 1.0 - gap / came.length_mm)
            move, length = _laid_on(first, gap, start, move, lane, laid)
            # The chamber's wall may be slanted: the bridge begins well inside it.
            back = length + JOIN_MM + (first.width_in_mm if out_of_chamber else 0.0)
            shape = moved(_stretch(first, gap - back, gap + JOIN_MM), move).difference(chamber)
            bridges.append(Bridge(shape, *_counted(passage, length + 2 * JOIN_MM, air)))
            if filled_m > passage.length_m / 2:
                filled.append(shape)
            filled_m -= passage.length_m
        laid.append(moved(lane, move))
        came = last
        for i, run in enumerate(lanes):
            before, after = (gap if begins and i == 0 else 0.0), (gap if ends and i == len(lanes) - 1 else 0.0)
            length_m = waiting.pop(0).length_m
            part = min(1.0, max(0.0, filled_m / length_m))
            filled_m -= length_m
            if part > 0.0:
                filled.append(moved(_swept(run, before, before + part * (run.length_mm - before - after)), move))
    guide = unary_union([*laid[1:], *(bridge.shape for bridge in bridges)])
    joined = unary_union([bridge.shape for bridge in bridges])
    lanes_of = tuple(lane.difference(joined) for lane in laid[1:])
    return Unfolded(guide, lanes_of, unary_union(filled), tuple(bridges), move)


def moved(shape: Any, move: Move) -> Any:
    """Return a shape moved as its storey is."""
    return affinity.affine_transform(shape, list(move))


def _laid_on(
    first: Run, gap: float, start: tuple[float, float, float], move: Move, lane: Any, laid: list[Any]
) -> tuple[Move, float]:
    """Return how the next storey is moved, so that it lies clear of all that is laid, and the bridge's length.

    Turned by half a turn it goes on in front of `start`, where its passage begins on what is laid already.
    """
    x, y, heading = path.at(first, gap / first.length_mm)
    ahead = (-math.cos(math.radians(heading)), -math.sin(math.radians(heading)))
    length = max(gap, STEP_MM)
    a, b, d, e, dx, dy = move
    taken = unary_union(laid)
    while length <= LONGEST_MM:
        px, py = start[0] + ahead[0] * length + x, start[1] + ahead[1] * length + y
        turned = (-a, -b, -d, -e, a * px + b * py + dx, d * px + e * py + dy)
        if moved(lane, turned).distance(taken) >= CLEAR_MM:
            return turned, length
        length += STEP_MM
    raise CannotUnfold("the storeys would lie in each other, laid side by side")


def _counted(passage: GuideRun, length_mm: float, air: Air) -> tuple[float, float]:
    """Return a bridge's height in mm and its share of compressible air, from the network's own count of a passage."""
    parts = segments((passage,), air)
    inertance = math.fsum(air.density * s.length_m / s.area_in_m2 + s.extra_inertance_kg_m4 for s in parts)
    volume = math.fsum(s.length_m * s.area_in_m2 for s in parts)
    height = air.density * length_mm * 1e-3 / (passage.width_in_m * inertance)
    return height * 1e3, volume / (passage.width_in_m * length_mm * 1e-3 * height)


def _stretch(run: Run, start: float, stop: float, wider: float = 0.0) -> Polygon:
    """Return the duct of a straight run between two places along it, which may lie beyond its ends."""
    width = run.width_in_mm + wider
    corners = ((start, -0.5), (stop, -0.5), (stop, 0.5), (start, 0.5))
    return Polygon([path.at(run, along / run.length_mm, side * width)[:2] for along, side in corners])


def _swept(run: Run, start: float, stop: float) -> Polygon:
    """Return the duct of a run between two places along it."""
    x, y, heading = path.at(run, start / run.length_mm)
    share = (stop - start) / run.length_mm
    one, other = (path.width_at(run, at / run.length_mm) for at in (start, stop))
    return Polygon(path.sweep((Run(run.name, x, y, heading, stop - start, run.turn_deg * share, one, other),)))
