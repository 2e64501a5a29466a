"""A bound by lines across the sheet: whatever lies apart cuts every line into pieces that lie apart.

Wherever a piece lies, lines at equal distances cross it somewhere. What they have of it together, at the least, is
counted against what they have of the sheet; the lengths go through `duals` first. The same is done with all lines at
once, which counts areas, but knows that no two lengths of more than half a sheet share a line. For rectangles and
lines at thirds that is Fekete's and Schepers' u^(2) in one direction and another function in the other; for other
outlines it is our own generalisation of it.

Lengths are those of cells that lie within the piece over a whole row, so no place between two rows has less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry import Polygon

from kerfwave.nest.duals import Dual, Whole
from kerfwave.nest.raster import Cells, within_cells

ROWS = 120  # of a sheet: a multiple of 2, 3, 4, 5 and 6
_FINE = 16  # cells along a row for one across it
_LINES = (1, 2, 3, 4, 5)
_UNIT = 10_000  # whole lengths are 0.0001 mm


@dataclass(frozen=True, slots=True)
class Rows:
    """What the rows of a sheet have of one piece: whole lengths, the row of each, and how many rows there are."""

    lengths: Whole
    row: npt.NDArray[np.int64]
    count: int
    height_mm: float


def rows_of(shape: Polygon, row_mm: float) -> Rows:
    """Cut a shape into rows of equal height from its lowest point on."""
    left, low, right, top = shape.bounds
    cell = row_mm / _FINE
    count, columns = math.ceil((top - low) / row_mm - 1e-9), math.ceil((right - left) / cell - 1e-9)
    # Seen so that a cell is square: x is stretched.
    rings = [
        tuple(((x - left) * _FINE, y - low) for x, y in ring.coords[:-1]) for ring in (shape.exterior, *shape.interiors)
    ]
    starts, ends = _runs(within_cells(rings, (count, columns), row_mm))
    lengths = np.floor((ends[1] - starts[1]) * cell * _UNIT - 1e-3).astype(np.int64)
    return Rows(lengths, starts[0], count, top - low)


def _runs(wood: Cells) -> tuple[tuple[npt.NDArray[np.int64], ...], tuple[npt.NDArray[np.int64], ...]]:
    padded = np.zeros((wood.shape[0], wood.shape[1] + 2), dtype=np.int8)
    padded[:, 1:-1] = wood
    edges = np.diff(padded, axis=1)
    return np.nonzero(edges == 1), np.nonzero(edges == -1)


def measures(pieces: Sequence[Rows], duals: Sequence[Dual], sheet_mm: float) -> Whole:
    """Return what lines have of each piece at the least, wherever it lies on a sheet `sheet_mm` high.

    Shape (pieces, functions, 1 + kinds of lines): first all lines at once, in rows, then one line, two, and so on.
    """
    row_mm = sheet_mm / ROWS
    images = np.array([dual(np.concatenate([p.lengths for p in pieces])) for dual in duals])
    ends = np.cumsum([len(p.lengths) for p in pieces]).tolist()
    found = np.zeros((len(pieces), len(duals), 1 + len(_LINES)), dtype=np.int64)
    for i, (rows, end) in enumerate(zip(pieces, ends, strict=True)):
        by_row = np.zeros((rows.count + 1, len(duals)), dtype=np.int64)  # and an empty one, for lines beside the piece
        np.add.at(by_row, rows.row, images[:, end - len(rows.lengths) : end].T)
        found[i, :, 0] = by_row.sum(axis=0)
        # Rows into which the lowest line may fall, seen from the piece; the piece stays on the sheet.
        spare = max(0.0, sheet_mm - rows.height_mm)  # a way in which it is too high counts for nothing
        for n, lines in enumerate(_LINES, start=1):
            apart = ROWS // (lines + 1)
            first = math.floor((apart * row_mm - spare) / row_mm - 1e-6)
            at = np.arange(first, apart + 1)[:, None] + apart * np.arange(lines)[None, :]
            at[(at < 0) | (at >= rows.count)] = rows.count
            found[i, :, n] = by_row[at].sum(axis=1).min(axis=0)
    return found


def rooms(duals: Sequence[Dual], capacity: int, height_mm: float, sheet_mm: float) -> Whole:
    """Return what lines have of a sheet of some width (whole) and height, laid where the largest has its corner."""
    across = np.array([int(dual(np.array([capacity]))[0]) for dual in duals])
    row_mm = sheet_mm / ROWS
    counts = [math.ceil(height_mm / row_mm - 1e-9)]
    for lines in _LINES:
        counts.append(sum(k * (ROWS // (lines + 1)) * row_mm <= height_mm + 1e-6 for k in range(1, lines + 1)))
    return np.asarray(across[:, None] * np.array(counts)[None, :], dtype=np.int64)
