"""Pieces of which no two can share a sheet, wherever they lie: each needs one of its own.

Two pieces can share a sheet if some shift of one against the other keeps both on it and apart. The shifts that don't
keep them apart are the no-fit polygon; it is taken from whole cells within the pieces, so it is never too large. Only
where it holds every shift that keeps both on the sheet, however they may be turned, is a pair said to be apart.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.affinity import translate
from shapely.geometry import Polygon

from kerfwave.nest.areas import Area
from kerfwave.nest.items import Item, corner, quarter
from kerfwave.nest.raster import Cells, within_cells
from kerfwave.nest.spectra import back, forward, quick_size
from kerfwave.nest.within import radius_within

_CELL_MM = 2.0
_MOST_KINDS = 24  # kinds of pieces looked at, the largest
_MOST_MAPS = 64  # no-fit polygons worked out; pairs beyond count as if they could share a sheet
_HAIR_MM = 1e-6
_MOST_STEPS = 20_000  # of the search for the largest set


@dataclass(frozen=True, slots=True)
class Solid:
    """So many equal pieces, with the windows that nothing can enter filled."""

    item: Item
    shape: Polygon
    count: int


def most_apart(solids: Sequence[Solid], sizes: tuple[Area, ...], spacing_mm: float) -> int:
    """Return the size of the largest set found of pieces no two of which can share a sheet; bounded work.

    Of pieces that may lie at any angle a circle within them stands for them.
    """
    kinds = solids[:_MOST_KINDS]
    radii = [radius_within(s.shape) for s in kinds]
    ways = [sorted({round(d / 90) % 4 for d in s.item.ways}) for s in kinds]
    turned: dict[int, list[Polygon]] = {}
    apart = [[False] * len(kinds) for _ in kinds]
    left = _MOST_MAPS
    for i, j in itertools.combinations_with_replacement(range(len(kinds)), 2):
        if i == j and kinds[i].count < 2:
            continue
        near = radii[i] + radii[j]
        if all(math.hypot(a.width_mm - near, a.height_mm - near) < near + spacing_mm - _HAIR_MM for a in sizes):
            apart[i][j] = apart[j][i] = True
            continue
        if kinds[i].item.oblique or kinds[j].item.oblique:
            continue
        if any(_beside(kinds[i], kinds[j], a, spacing_mm) for a in sizes):
            continue
        for k in {i, j} - turned.keys():
            turned[k] = [at_origin(kinds[k].shape, q) for q in ways[k]]
        pairs = list(itertools.product(turned[i], turned[j]))
        if any(_meet_well(*p, a, spacing_mm) for a in sizes for p in pairs):
            continue
        left -= len(pairs) * len(sizes)
        if left < 0:
            break
        apart[i][j] = apart[j][i] = all(_never(*p, a, spacing_mm) for a in sizes for p in pairs)
    return _largest([s.count if apart[k][k] else 1 for k, s in enumerate(kinds)], apart)


def at_origin(shape: Polygon, turns: int) -> Polygon:
    """Return the shape turned, the lower-left corner of its box at the origin."""
    rings = [quarter(ring.coords[:-1], turns) for ring in (shape.exterior, *shape.interiors)]
    x0, y0 = corner(rings[0])
    moved = [[(x - x0, y - y0) for x, y in ring] for ring in rings]
    return Polygon(moved[0], moved[1:])


def _shifts(one: Polygon, other: Polygon, area: Area) -> tuple[float, float, float, float] | None:
    """Return least and most x, then y, of the other against the one, for both to lie in the area's box."""
    (_, _, w, h), (_, _, v, g) = one.bounds, other.bounds
    if max(w, v) > area.width_mm or max(h, g) > area.height_mm:
        return None
    return w - area.width_mm, area.width_mm - v, h - area.height_mm, area.height_mm - g


def _beside(one: Solid, other: Solid, area: Area, spacing_mm: float) -> bool:
    """Whether the boxes around two solids lie beside each other in an area's box, in some way of each."""
    boxes = []
    for solid in (one, other):
        x0, y0, x1, y1 = solid.shape.bounds
        turns = {round(deg / 90) % 2 for deg in solid.item.ways}
        boxes.append([(x1 - x0, y1 - y0) if turn == 0 else (y1 - y0, x1 - x0) for turn in sorted(turns)])
    return any(
        max(w, v) <= area.width_mm
        and max(h, g) <= area.height_mm
        and (w + v + spacing_mm <= area.width_mm or h + g + spacing_mm <= area.height_mm)
        for (w, h), (v, g) in itertools.product(*boxes)
    )


def _meet_well(one: Polygon, other: Polygon, area: Area, spacing_mm: float) -> bool:
    """Whether two shapes lie apart in opposite corners of an area's box."""
    shifts = _shifts(one, other, area)
    if shifts is None:
        return False
    x0, x1, y0, y1 = shifts
    if x1 >= one.bounds[2] + spacing_mm or y1 >= one.bounds[3] + spacing_mm:
        return True
    return any(one.distance(translate(other, x, y)) >= spacing_mm for x in (x0, x1) for y in (y0, y1))


def _never(one: Polygon, other: Polygon, area: Area, spacing_mm: float) -> bool:
    """Whether every shift that keeps both in the box of an area lies in the no-fit polygon."""
    shifts = _shifts(one, other, area)
    if shifts is None:
        return True
    pad = math.ceil(spacing_mm / _CELL_MM)
    # What shapely grows is never too large: it draws arcs within the true ones.
    a, b = _within(one.buffer(spacing_mm), pad), _within(other, 0)
    size = quick_size(n + m for n, m in zip(a.shape, b.shape, strict=True))
    shared = back(forward(a, size) * np.conj(forward(b, size)), size) > 0.5
    # Cells that coincide at a shift by whole cells overlap at all shifts less than a cell from it.
    x0, x1, y0, y1 = shifts
    columns = np.arange(math.floor(x0 / _CELL_MM), math.ceil(x1 / _CELL_MM) + 1) + pad
    rows = np.arange(math.floor(y0 / _CELL_MM), math.ceil(y1 / _CELL_MM) + 1) + pad
    if columns[0] <= -b.shape[1] or rows[0] <= -b.shape[0] or columns[-1] >= a.shape[1] or rows[-1] >= a.shape[0]:
        return False
    return bool(shared[np.ix_(rows, columns)].all())


def _within(shape: Polygon, pad: int) -> Cells:
    """Return the cells that lie within a shape; the first is `pad` cells below and left of the origin."""
    _, _, right, top = shape.bounds
    cell, edge = _CELL_MM, pad * _CELL_MM
    rows, columns = math.ceil((top + edge) / cell) + 1, math.ceil((right + edge) / cell) + 1
    rings = [tuple((x + edge, y + edge) for x, y in ring.coords[:-1]) for ring in (shape.exterior, *shape.interiors)]
    return within_cells(rings, (rows, columns), cell)


def _largest(weights: Sequence[int], apart: Sequence[Sequence[bool]]) -> int:
    """Return the most weight of nodes that are all apart: a search that stops after so many steps."""
    best, steps = 0, 0

    def extend(weight: int, rest: list[int]) -> None:
        nonlocal best, steps
        best = max(best, weight)
        for k, node in enumerate(rest):
            if steps >= _MOST_STEPS or weight + sum(weights[n] for n in rest[k:]) <= best:
                return
            steps += 1
            extend(weight + weights[node], [n for n in rest[k + 1 :] if apart[node][n]])

    extend(0, sorted(range(len(weights)), key=lambda n: (-weights[n] * sum(apart[n]), n)))
    return best
