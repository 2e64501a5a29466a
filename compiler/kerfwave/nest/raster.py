"""Shapes as cells: which cells a shape touches, and which it touches once grown by the spacing.

Both answers are conservative: what is not marked is provably clear. So a layout that is free on the grid is legal
in millimetres, and the search itself can work in whole numbers, which are the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import numpy.typing as npt

from kerfwave.model.parts import Ring

Cells = npt.NDArray[np.bool_]
_Floats = npt.NDArray[np.float64]
# A line that runs along a cell's edge doesn't enter the cell; so much is the edge worth. Two such allowances and
# the rounding of shapes together stay under the 1e-6 mm that the exact check at the end grants.
_EDGE_MM = 1.5e-7
_SIDES = 16  # of the polygon around the circle by which shapes are grown


def cells_across(length_mm: float, cell_mm: float) -> int:
    """Cells that a length starting at a cell's edge reaches into."""
    return max(1, math.ceil((length_mm - _EDGE_MM) / cell_mm))


def best_cell(sizes: _Floats, weights: _Floats, spacing_mm: float) -> float:
    """Choose the side of a cell, 0.9 to 1.1 mm in whole 0.001 mm, that suits lengths and spacing best.

    Every length and every gap is rounded up to whole cells; the side is taken at which that costs least, shares of
    each length weighted, and 1 mm where it makes no difference. Strips of 37.1 mm at 2 mm lie as close at 1.003 mm
    as they really could, at 1 mm each row would lose one in forty.

    Args:
        sizes: lengths, mm.
        weights: of the lengths.
        spacing_mm: gap that goes with each.
    """
    cells = np.array(sorted((k / 1000 for k in range(900, 1101)), key=lambda c: (abs(c - 1.0), c)))

    def rounded(lengths: _Floats) -> _Floats:
        return np.asarray(np.ceil((lengths - _EDGE_MM) / cells[:, None]) * cells[:, None])

    pitch = sizes + spacing_mm
    costs = ((rounded(sizes) + rounded(np.array([spacing_mm])) - pitch) / pitch) @ weights
    return float(cells[int(np.argmin(np.round(costs / weights.sum(), 9)))])


def rasterise(
    rings: tuple[Ring, ...], shape: tuple[int, int], *, cell_mm: float, grow_mm: float, pad: int, slack_mm: float
) -> Cells:
    """Mark the cells that a shape, grown by `grow_mm` and moved by up to `slack_mm` in x and y, may touch.

    Args:
        rings: outline and holes, lower-left corner of the box at or just above the origin.
        shape: rows and columns of the box, without padding.
        cell_mm: side of a cell.
        grow_mm: by how much the shape is grown; 0 for the shape itself.
        pad: cells added on each side, enough for `grow_mm`.
        slack_mm: of its place, to either side.

    Returns:
        bool array, shape (rows + 2 pad, columns + 2 pad), row 0 lowest.

    Growing takes the Minkowski sum with a regular polygon of 16 sides drawn *around* the circle, with sides
    upright and level: exact along straight edges of the sheet's directions, at most 2 % too much elsewhere.
    """
    starts = np.array([p for ring in rings for p in ring], dtype=float)
    ends = np.array([p for ring in rings for p in ring[1:] + ring[:1]], dtype=float)
    rows, cols = shape[0] + 2 * pad, shape[1] + 2 * pad
    marks = np.zeros((rows, cols + 1), dtype=np.int32)
    _mark_edges(marks, *_sweep(starts, ends, grow_mm), cell_mm=cell_mm, pad=pad, slack_mm=slack_mm)
    touched = np.cumsum(marks, axis=1)[:, :cols] > 0
    inside: Cells = _inside(starts, ends, rows, cols, cell_mm, pad)
    return touched | inside


def taken_cells(
    shapes: tuple[tuple[Ring, ...], ...], shape: tuple[int, int], *, cell_mm: float, grow_mm: float
) -> Cells:
    """Mark the cells of an area that shapes, grown, may touch. Conservative likewise; what sticks out is cut off."""
    rows, cols = shape
    taken = np.zeros((rows, cols), dtype=np.bool_)
    pad = math.ceil(grow_mm / cell_mm) + 1
    for rings in shapes:
        xs, ys = [x for x, _ in rings[0]], [y for _, y in rings[0]]
        col0, row0 = math.floor(min(xs) / cell_mm), math.floor(min(ys) / cell_mm)
        box = (math.ceil(max(ys) / cell_mm) - row0 + 1, math.ceil(max(xs) / cell_mm) - col0 + 1)
        moved = tuple(tuple((x - col0 * cell_mm, y - row0 * cell_mm) for x, y in ring) for ring in rings)
        cells = rasterise(moved, box, cell_mm=cell_mm, grow_mm=grow_mm, pad=pad, slack_mm=0.0)
        y0, x0 = row0 - pad, col0 - pad
        top, right = min(rows, y0 + cells.shape[0]), min(cols, x0 + cells.shape[1])
        low, left = max(0, y0), max(0, x0)
        if top <= low or right <= left:
            continue
        taken[low:top, left:right] |= cells[low - y0 : top - y0, left - x0 : right - x0]
    return taken


def within_cells(rings: Iterable[Ring], shape: tuple[int, int], cell_mm: float) -> Cells:
    """Mark the cells of an area that lie wholly within a shape, outline and holes: none that all around it may touch.

    Conservative the other way round: what is marked is provably wood, which is what bounds need.
    """
    rows, columns = shape
    low, right, top = -2 * cell_mm, (columns + 2) * cell_mm, (rows + 2) * cell_mm
    around = ((low, low), (right, low), (right, top), (low, top))
    return ~taken_cells(((around, *rings),), shape, cell_mm=cell_mm, grow_mm=0.0)


def _sweep(starts: _Floats, ends: _Floats, grow_mm: float) -> tuple[_Floats, _Floats, npt.NDArray[np.int64]]:
    """Segments and the number of the group each belongs to; the groups' convex hulls together are all edges grown.

    What a polygon sweeps on its way along an edge is the polygon at both ends, and the parallelogram that its
    diameter across the edge sweeps. Each corner is an end of two edges and needs its polygon once.
    """
    edges = np.arange(len(starts))
    if grow_mm == 0:
        return starts, ends, edges
    angles = (np.arange(_SIDES) + 0.5) * (2 * np.pi / _SIDES)
    around = np.column_stack([np.cos(angles), np.sin(angles)]) * (grow_mm / math.cos(math.pi / _SIDES))
    onward = np.roll(around, -1, axis=0)

    def sums(points: _Floats, offsets: _Floats) -> _Floats:
        return np.asarray((points[:, None, :] + offsets[None, :, :]).reshape(-1, 2))

    along = ends - starts
    left = around[np.argmax(along[:, :1] * around[:, 1] - along[:, 1:] * around[:, 0], axis=1)]
    right = -left  # the number of sides is even
    first = np.concatenate([sums(starts, around), starts + left, starts + right, starts + left, ends + left])
    second = np.concatenate([sums(starts, onward), ends + left, ends + right, starts + right, ends + right])
    return first, second, np.concatenate([np.repeat(edges, _SIDES), np.tile(edges + len(edges), 4)])


def _mark_edges(
    marks: npt.NDArray[np.int32],
    first: _Floats,
    second: _Floats,
    group: npt.NDArray[np.int64],
    *,
    cell_mm: float,
    pad: int,
    slack_mm: float,
) -> None:
    """Add +1 where a row's touched cells begin and -1 where they end, for each group's convex hull."""
    reach = slack_mm - _EDGE_MM
    flip = first[:, 1] > second[:, 1]
    low, high = np.where(flip[:, None], second, first), np.where(flip[:, None], first, second)
    row0 = np.floor((low[:, 1] - reach) / cell_mm).astype(np.int64)
    row1 = np.ceil((high[:, 1] + reach) / cell_mm).astype(np.int64) - 1
    counts = np.maximum(row1 - row0 + 1, 0)
    which = np.repeat(np.arange(len(first)), counts)
    if not len(which):
        return
    row = row0[which] + np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    a, b = low[which], high[which]
    rise = b[:, 1] - a[:, 1]
    slope = np.divide(b[:, 0] - a[:, 0], rise, out=np.zeros_like(rise), where=rise > 0)
    bottom = np.clip(row * cell_mm - slack_mm, a[:, 1], b[:, 1])
    top = np.clip((row + 1) * cell_mm + slack_mm, a[:, 1], b[:, 1])
    # Ends that lie in the row are taken as they are, and a level segment is its two ends.
    xa = np.where((rise > 0) & (bottom > a[:, 1]), a[:, 0] + slope * (bottom - a[:, 1]), a[:, 0])
    xb = np.where((rise > 0) & (top < b[:, 1]), a[:, 0] + slope * (top - a[:, 1]), b[:, 0])
    keys, index = np.unique(group[which] * (marks.shape[0] + 2) + row + pad, return_inverse=True)
    left, right = np.full(len(keys), np.inf), np.full(len(keys), -np.inf)
    np.minimum.at(left, index, np.minimum(xa, xb))
    np.maximum.at(right, index, np.maximum(xa, xb))
    at = keys % (marks.shape[0] + 2)
    col0 = np.floor((left - reach) / cell_mm).astype(np.int64) + pad
    col1 = np.ceil((right + reach) / cell_mm).astype(np.int64) + pad
    some = col1 > col0
    np.add.at(marks, (at[some], col0[some]), 1)
    np.add.at(marks, (at[some], col1[some]), -1)


def _inside(starts: _Floats, ends: _Floats, rows: int, cols: int, cell_mm: float, pad: int) -> Cells:
    """Cells whose centre lies in the shape, by the even-odd rule."""
    turns = np.zeros((rows, cols + 1), dtype=np.int32)
    low, high = np.minimum(starts[:, 1], ends[:, 1]), np.maximum(starts[:, 1], ends[:, 1])
    row0 = np.ceil(low / cell_mm - 0.5).astype(np.int64)  # half open: a vertex on a centre line counts once
    row1 = np.ceil(high / cell_mm - 0.5).astype(np.int64)
    counts = row1 - row0
    which = np.repeat(np.arange(len(starts)), counts)
    row = row0[which] + np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    a, b = starts[which], ends[which]
    x = a[:, 0] + (b[:, 0] - a[:, 0]) * (((row + 0.5) * cell_mm - a[:, 1]) / (b[:, 1] - a[:, 1]))
    col = np.clip(np.ceil(x / cell_mm - 0.5).astype(np.int64) + pad, 0, cols)
    np.add.at(turns, (row + pad, col), 1)
    odd: Any = np.cumsum(turns, axis=1)[:, :cols] % 2
    return np.asarray(odd, dtype=np.bool_)
