"""From body coordinates to the sheet: flip, then turn, then move, as the package contract has it."""

from __future__ import annotations

import math

from shapely.geometry import Polygon

from kerfwave.model.parts import Piece, Placement, Ring


def place_ring(ring: Ring, placement: Placement) -> Ring:
    """Return `ring` as it lies on the sheet. A flip reverses the order, so that the winding stays what it was."""
    placed = place_line(ring, placement)
    return placed[::-1] if placement.flipped else placed


def place_line(line: Ring, placement: Placement) -> Ring:
    """Return an open line as it lies on the sheet, in its own order."""
    turn = math.radians(placement.turn_deg)
    # Quarter turns are exact: a sheet full of 6e-17s would nest and cut, but reads badly in every output.
    quarter = placement.turn_deg / 90
    if quarter == round(quarter):
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        cos, sin = math.cos(turn), math.sin(turn)
    flip = -1.0 if placement.flipped else 1.0
    return tuple(
        (cos * flip * x - sin * y + placement.x_mm, sin * flip * x + cos * y + placement.y_mm) for x, y in line
    )


def place(piece: Piece, placement: Placement) -> Polygon:
    """Return the finished piece as it lies on the sheet, holes in the piece's order."""
    return Polygon(place_ring(piece.outline, placement), [place_ring(hole, placement) for hole in piece.holes])
