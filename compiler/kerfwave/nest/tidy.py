"""The emptiest sheet once more: all that lies on it pushed together, so that the largest rectangle is left over."""

from __future__ import annotations

import random

import numpy as np

from kerfwave.nest.areas import Area
from kerfwave.nest.board import Past
from kerfwave.nest.fill import Spot, fresh, lay_large, openings, vary
from kerfwave.nest.layout import Laid, Layout, add_small, emptiest, split
from kerfwave.nest.maps import Maps
from kerfwave.nest.offcut import largest_free

_COARSE = 4  # cells to one of the grid on which layouts are compared


def tidy(maps: Maps, layouts: tuple[Layout, ...], effort: int, seed: int) -> Layout:
    """Lay the emptiest sheet of each layout anew, in so many ways, and keep what leaves the largest rectangle."""
    found = []
    for layout in layouts:
        if layout.left:
            return layout
        number = emptiest(layout)
        sheets = list(layout.sheets)
        sheets[number], left = _compact(maps, sheets[number], effort // len(layouts), seed)
        found.append((left, Layout(tuple(sheets), ())))
    return max(found, key=lambda x: x[0])[1]


def _compact(maps: Maps, sheet: Laid, effort: int, seed: int) -> tuple[Laid, int]:
    """Return the sheet laid anew, and how much is left of it."""
    rng = random.Random(seed)
    past = Past()
    area = sheet.area
    order = tuple(sorted((s.item for s in sheet.spots), key=lambda i: (-i.hull_mm2, -i.filled_mm2, i.piece.id)))
    large, small = split(order)
    best, most, best_genes = sheet, _left_over(maps, area, sheet.spots), None
    trials = openings(large) if large else []
    for number in range(effort):
        if number < len(trials):
            genes = trials[number]
        elif large:
            genes = vary(best_genes, large, rng) if best_genes and number % 2 else fresh(large, rng)
        elif number >= 2:
            break  # small pieces alone: row by row and column by column is all there is to try
        spots = lay_large(maps, area, large, genes, past) if large else ()
        if len(spots) < len(large):
            continue
        across = genes.across[0] if large else bool(number)
        (tried,), rest = add_small(maps, [Laid(area, spots)], small, across=across)
        if rest:
            continue
        left = _left_over(maps, area, tried.spots)
        if left > most:
            best, most, best_genes = tried, left, genes if large else None
    return best, most


def _left_over(maps: Maps, area: Area, spots: tuple[Spot, ...]) -> int:
    """Size of the largest free rectangle of the sheet, in coarse cells, none of them touched."""
    cell = maps.cell_mm
    rows, columns = round(area.sheet_height_mm / cell), round(area.sheet_width_mm / cell)
    edge = round(area.margin_mm / cell)
    taken = np.zeros((rows, columns), dtype=np.bool_)
    if not area.plain:
        walls = maps.walls(area)
        taken[edge : edge + walls.shape[0], edge : edge + walls.shape[1]] = walls[: rows - edge, : columns - edge]
    for spot in spots:
        cells = maps.grown(spot.stance.open, spot.stance.turn)
        x, y = spot.x - maps.pad + edge, spot.y - maps.pad + edge
        low, left = max(0, y), max(0, x)
        top, right = min(rows, y + cells.shape[0]), min(columns, x + cells.shape[1])
        taken[low:top, left:right] |= cells[low - y : top - y, left - x : right - x]
    high, wide = -(-rows // _COARSE), -(-columns // _COARSE)
    padded = np.zeros((high * _COARSE, wide * _COARSE), dtype=np.bool_)
    padded[:rows, :columns] = taken
    found = largest_free(np.asarray(padded.reshape(high, _COARSE, wide, _COARSE).any(axis=(1, 3))))
    return found[2] * found[3] if found else 0
