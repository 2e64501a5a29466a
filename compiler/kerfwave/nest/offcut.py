"""The largest rectangle of a sheet that is left for another job."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from shapely.geometry import Polygon

from kerfwave.model.parts import Ring
from kerfwave.nest.areas import Area
from kerfwave.nest.raster import Cells, taken_cells


def largest_offcut(
    shapes: list[Polygon], area: Area, spacing_mm: float, cell_mm: float = 1.0
) -> tuple[float, float, float, float] | None:
    """Return x, y, width, height of the largest upright rectangle at least the spacing away from every piece.

    It may lie anywhere on the sheet, margin and the part beyond the bed included, but holds no knot; what only held
    the sheet down is gone by then. Sides are whole cells (1 mm), on the safe side. None if no cell is free.
    """
    width_mm, height_mm = area.sheet_width_mm, area.sheet_height_mm
    rows, cols = math.floor(height_mm / cell_mm + 1e-9), math.floor(width_mm / cell_mm + 1e-9)
    if rows < 1 or cols < 1:
        return None
    rings = tuple(tuple(tuple(r.coords[:-1]) for r in (s.exterior, *s.interiors)) for s in shapes)
    taken = taken_cells(rings, (rows, cols), cell_mm=cell_mm, grow_mm=spacing_mm)
    faults: tuple[tuple[Ring, ...], ...] = tuple((p.outline,) for p in area.keep_out if p.what == "knot")
    if area.outline:
        far = 4 * cell_mm
        right, top = width_mm + far, height_mm + far
        around = ((-far, -far), (right, -far), (right, top), (-far, top))
        faults += ((around, area.outline),)
    taken |= taken_cells(faults, (rows, cols), cell_mm=cell_mm, grow_mm=0.0)
    found = largest_free(taken)
    if found is None:
        return None
    x, y, w, h = found
    left, low = x * cell_mm, y * cell_mm
    # The last cell may be a hair larger than what the sheet has left.
    return (left, low, min(w * cell_mm, width_mm - left), min(h * cell_mm, height_mm - low))


def largest_free(taken: Cells) -> tuple[int, int, int, int] | None:
    """Return column, row, width, height of the largest rectangle that is all False, None if everything is taken.

    For each top row that is the largest rectangle under the skyline of free columns.
    """
    rows, cols = taken.shape
    heights = np.zeros(cols, dtype=np.int64)
    best = (0, 0, 0, 0, 0)  # area, then -y, -x, so that ties go to the lower left; width, height
    for row in range(rows):
        heights = np.where(taken[row], 0, heights + 1)
        if row + 1 < rows and not (taken[row + 1] & ~taken[row]).any():
            continue  # every rectangle that ends here goes on into the next row
        for left, width, tall in under(heights):
            best = max(best, (tall * width, tall - row - 1, -left, width, tall))
    area, y, x, width, height = best
    return (-x, -y, width, height) if area else None


def under(heights: npt.NDArray[np.int64]) -> Iterator[tuple[int, int, int]]:
    """Yield column, width and height of rectangles under a skyline: all that can be neither wider nor higher, and some.

    `heights` is one of each column; shape (columns,).
    """
    columns = [0, *(np.flatnonzero(np.diff(heights)) + 1).tolist()]
    stack: list[tuple[int, int]] = []
    for start, height in zip([*columns, len(heights)], [*heights[columns].tolist(), 0], strict=True):
        left = start
        while stack and stack[-1][1] >= height:
            left, tall = stack.pop()
            yield left, start - left, tall
        stack.append((left, height))
