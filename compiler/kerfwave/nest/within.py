"""Upright rectangles within a piece, for bounds: whatever lies apart from the piece lies apart from them."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from kerfwave.nest.offcut import under
from kerfwave.nest.raster import Cells, within_cells

Box = tuple[float, float, float, float]  # left, low, right, top, mm

_ACROSS = 48  # cells along the longer side
_MOST = 8  # rectangles kept of those that no other holds
_HALVINGS = 6  # of a cell, when sides are pushed outwards
_FULL = 1e-6


def rectangles_within(shape: Polygon) -> tuple[tuple[float, float], ...]:
    """Return width and height of upright rectangles within the shape: of some that no wider and higher one holds."""
    left, low, right, top = shape.bounds
    if shape.area > (right - left) * (top - low) - _FULL:
        return ((right - left, top - low),)
    cell = max(right - left, top - low) / _ACROSS
    rows, columns = math.ceil((top - low) / cell - 1e-9), math.ceil((right - left) / cell - 1e-9)
    rings = [tuple((x - left, y - low) for x, y in ring.coords[:-1]) for ring in (shape.exterior, *shape.interiors)]
    wood = within_cells(rings, (rows, columns), cell)
    shapely.prepare(shape)

    def box(cells: tuple[int, int, int, int]) -> Box:
        x, y, w, h = cells
        return left + x * cell, low + y * cell, left + (x + w) * cell, low + (y + h) * cell

    boxes = (_pushed(shape, box(found), cell) for found in _widest(wood))
    return tuple(dict.fromkeys((x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes))


def radius_within(shape: Polygon) -> float:
    """Return the radius of a circle within the shape, nearly the largest."""
    if shape.is_empty:
        return 0.0
    line = shapely.maximum_inscribed_circle(shape)
    # The circle is found to a tolerance; its radius is measured, so that it does lie within.
    return float(shape.boundary.distance(shapely.Point(line.coords[0])))


def _widest(wood: Cells) -> list[tuple[int, int, int, int]]:
    """Return rectangles of wood (column, row, width, height) that no other one is wider and higher than."""
    rows, columns = wood.shape
    best: dict[int, tuple[int, int, int]] = {}  # by height: width, column, row
    heights = np.zeros(columns, dtype=np.int64)
    for row in range(rows):
        heights = np.where(wood[row], heights + 1, 0)
        longest: dict[int, tuple[int, int]] = {}  # by height, the longest run of just that: width, -column
        for column, width, height in under(heights):
            longest[height] = max(longest.get(height, (0, 0)), (width, -column))
        run = (0, 0)
        for height in sorted(longest.keys() - {0}, reverse=True):
            run = max(run, longest[height])  # a higher one counts too
            if run[0] > best.get(height, (0, 0, 0))[0]:
                best[height] = (run[0], -run[1], row - height + 1)
    found: list[tuple[int, int, int, int]] = []
    for height in sorted(best, reverse=True):
        width, column, row = best[height]
        if not found or width > found[-1][2]:
            found.append((column, row, width, height))
    if len(found) > _MOST:
        large = sorted(found, key=lambda f: -f[2] * f[3])[:_MOST]
        keep = {found[0], found[-1], *large[: _MOST - 2]}
        found = [f for f in found if f in keep]
    return found


def _pushed(shape: Polygon, box: Box, cell: float) -> Box:
    """Push the sides of a box outwards, by up to a cell, as far as it stays within the prepared shape."""
    sides = list(box)
    for k, sign in ((0, -1), (1, -1), (2, 1), (3, 1)):
        step = cell
        for _ in range(_HALVINGS):
            tried = [*sides[:k], sides[k] + sign * step, *sides[k + 1 :]]
            if shape.covers(shapely.box(*tried)):
                sides = tried
            step /= 2
    return sides[0], sides[1], sides[2], sides[3]
