"""The exact end of a nest: pieces as placed, pushed together, and proven to be apart."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon

from kerfwave.model.parts import Piece, Placement
from kerfwave.nest.items import Area, quarter

_LENGTH_MM = 1e-6
_OVERLAP_MM2 = 1e-3


class NestFault(AssertionError):
    """A layout broke its own rules: a fault of the program, never of the spec."""


def placed(piece: Piece, placement: Placement) -> Polygon:
    """Return the piece as it lies on its sheet. Quarter turns only, so no sine is taken."""
    turns = round(placement.turn_deg / 90)

    def move(ring: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
        flip = -1.0 if placement.flipped else 1.0
        turned = quarter(((flip * x, y) for x, y in ring), turns)
        return [(x + placement.x_mm, y + placement.y_mm) for x, y in turned]

    return Polygon(move(piece.outline), [move(h) for h in piece.holes])


def settle(shapes: list[Polygon], area: Area, margin_mm: float, spacing_mm: float, reach_mm: float) -> list[Polygon]:
    """Push pieces down and left by up to `reach_mm`, in steps of 0.001 mm, as far as spacing and margin allow.

    The grid leaves up to a cell between neighbours; this takes it out. Every position kept has been measured.
    """
    shapes = list(shapes)
    steps = round(reach_mm * 1000)
    for dx, dy in ((0, -1), (-1, 0)) * 2:
        order = sorted(range(len(shapes)), key=lambda k: (shapes[k].bounds[1 if dy else 0], shapes[k].bounds, k))
        for k in order:
            shape = shapes[k]
            x0, y0, x1, y1 = shape.bounds
            room = (y0 if dy else x0) - margin_mm
            most = min(steps, int((room + _LENGTH_MM / 2) * 1000))
            if most <= 0:
                continue
            reach = most / 1000 + spacing_mm
            zone = shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach)
            near = [s for j, s in enumerate(shapes) if j != k and s.intersects(zone)]
            good, bad, tried = 0, most + 1, most  # in steps; the whole way first, then halving
            while bad - good > 1:
                moved = translate(shape, dx * tried / 1000, dy * tried / 1000)
                if all(_apart(moved, other, spacing_mm) for other in near):
                    good = tried
                else:
                    bad = tried
                tried = (good + bad) // 2
            if good:
                shapes[k] = translate(shape, dx * good / 1000, dy * good / 1000)
    return shapes


def _apart(one: Polygon, other: Polygon, spacing_mm: float) -> bool:
    distance = one.distance(other)
    if distance > 0:
        return bool(distance >= spacing_mm)
    return spacing_mm == 0 and one.intersection(other).area == 0


def verify(shapes: dict[str, Polygon], area: Area, margin_mm: float, spacing_mm: float) -> None:
    """Prove one sheet: every piece inside the usable area, every two at least the spacing apart.

    Raises:
        NestFault: naming what is wrong. It can't happen, and nothing may be cut if it does.
    """
    names, polygons = list(shapes), list(shapes.values())
    for name, polygon in shapes.items():
        x0, y0, x1, y1 = polygon.bounds
        inside = (
            x0 >= margin_mm - _LENGTH_MM
            and y0 >= margin_mm - _LENGTH_MM
            and x1 <= margin_mm + area.width_mm + _LENGTH_MM
            and y1 <= margin_mm + area.height_mm + _LENGTH_MM
        )
        if not inside:
            raise NestFault(f"nest: piece {name} lies outside the usable area of its sheet")
    tree = shapely.STRtree(polygons)
    pairs = tree.query(polygons, predicate="dwithin", distance=spacing_mm)
    for a, b in np.asarray(pairs).T:
        if a >= b:
            continue
        one, other = polygons[a], polygons[b]
        too_near = one.distance(other) < spacing_mm - _LENGTH_MM
        if too_near or one.intersection(other).area > _OVERLAP_MM2:
            raise NestFault(f"nest: pieces {names[a]} and {names[b]} lie closer than {spacing_mm} mm")
