"""Pieces as they lie, in millimetres: placed, pushed together, and proven to be apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon

from kerfwave.model.parts import Piece, Placement, Ring
from kerfwave.nest.areas import Area
from kerfwave.nest.items import Item, Stance, corner, turned

_LENGTH_MM = 1e-6
_OVERLAP_MM2 = 1e-3
_REACH_MM = 12.0  # a row of a dozen pieces may have most of a millimetre to spare at each
_FLOAT_MM = 1e-9  # what sums of coordinates lose


class NestFault(AssertionError):
    """A layout broke its own rules: a fault of the program, never of the spec."""


@dataclass(frozen=True, slots=True)
class Lying:
    """An item in a stance, where it lies on its sheet."""

    item: Item
    stance: Stance
    shape: Polygon


@dataclass(frozen=True, slots=True)
class Cover:
    """What lies on one sheet."""

    area: Area
    lying: tuple[Lying, ...]


def lay(item: Item, stance: Stance, left_mm: float, bottom_mm: float) -> Lying:
    """Lay an item down with the corner of its box as near to a point as whole steps of 0.001 mm allow."""
    placement = _placement(item, stance, left_mm, bottom_mm, 0)
    return Lying(item, stance, placed(item.piece, placement))


def placement(lying: Lying, sheet: int) -> Placement:
    """Return the placement of what lies on a sheet."""
    return _placement(lying.item, lying.stance, lying.shape.bounds[0], lying.shape.bounds[1], sheet)


def _placement(item: Item, stance: Stance, left_mm: float, bottom_mm: float, sheet: int) -> Placement:
    x0, y0 = corner(turned(item.piece.outline, stance.deg))
    # Adding 0.0 turns a minus zero into zero.
    return Placement(item.piece.id, sheet, round(left_mm - x0, 3) + 0.0, round(bottom_mm - y0, 3) + 0.0, stance.deg)


def placed(piece: Piece, placement: Placement) -> Polygon:
    """Return the piece as it lies on its sheet. For quarter turns no sine is taken."""

    def move(ring: Ring) -> Ring:
        return tuple((x + placement.x_mm, y + placement.y_mm) for x, y in turned(ring, placement.turn_deg))

    return Polygon(move(piece.outline), [move(h) for h in piece.holes])


def settle(cover: Cover, spacing_mm: float) -> Cover:
    """Push pieces down and left by up to 12 mm, in steps of 0.001 mm, as far as spacing and sheet allow.

    The grid leaves up to a cell between neighbours; this takes it out. Every position kept has been measured.
    """
    shapes = [one.shape for one in cover.lying]
    bounds = _Bounds(cover.area, spacing_mm)
    margin_mm = cover.area.margin_mm
    for dx, dy in ((0, -1), (-1, 0)) * 2:
        for k in sorted(range(len(shapes)), key=lambda k: (shapes[k].bounds[1 if dy else 0], shapes[k].bounds, k)):
            x0, y0, x1, y1 = shapes[k].bounds
            room = (y0 if dy else x0) - margin_mm
            most = math.floor(min(_REACH_MM, room + _LENGTH_MM / 2) * 1000)
            if most <= 0:
                continue
            swept = (x0 + dx * _REACH_MM, y0 + dy * _REACH_MM, x1, y1)
            zone = shapely.box(swept[0] - spacing_mm, swept[1] - spacing_mm, x1 + spacing_mm, y1 + spacing_mm)
            near = [s for j, s in enumerate(shapes) if j != k and s.intersects(zone)]
            shapely.prepare(near)
            good, bad, tried = 0, most + 1, most  # in steps; the whole way first, then halving
            while bad - good > 1:
                moved = translate(shapes[k], dx * tried / 1000, dy * tried / 1000)
                if bounds.hold(moved, _FLOAT_MM) and _clear(moved, near, spacing_mm):
                    good = tried
                else:
                    bad = tried
                tried = (good + bad) // 2
            if good:
                shapes[k] = translate(shapes[k], dx * good / 1000, dy * good / 1000)
    lying = tuple(Lying(one.item, one.stance, shape) for one, shape in zip(cover.lying, shapes, strict=True))
    return Cover(cover.area, lying)


def _clear(shape: Polygon, others: list[Polygon], spacing_mm: float) -> bool:
    """Whether a shape keeps the spacing from others, which are prepared."""
    if spacing_mm > _FLOAT_MM:
        return not np.any(shapely.dwithin(others, shape, spacing_mm - _FLOAT_MM))
    return all(_apart(shape, other, spacing_mm) for other in others)


class _Bounds:
    """What of a sheet that is no plain rectangle a piece must keep away from."""

    def __init__(self, area: Area, spacing_mm: float) -> None:
        self.margin_mm = area.margin_mm
        self.sheet = Polygon(area.outline) if area.outline else None
        self.places = [(Polygon(p.outline), spacing_mm + p.clearance_mm) for p in area.keep_out]
        if self.sheet is not None:
            shapely.prepare(self.sheet)

    def hold(self, shape: Polygon, slack_mm: float) -> bool:
        """Whether a shape lies on the sheet, the margin from its edge, and clear of every place that is kept out."""
        if self.sheet is not None:
            grown = self.sheet.buffer(slack_mm, join_style="mitre") if self.margin_mm == 0 else self.sheet
            if not grown.covers(shape) or self.sheet.exterior.distance(shape) < self.margin_mm - slack_mm:
                return False
        return all(_apart(shape, place, least, slack_mm) for place, least in self.places)


def _apart(one: Polygon, other: Polygon, spacing_mm: float, slack_mm: float = _FLOAT_MM) -> bool:
    distance = one.distance(other)
    if distance > 0:
        return bool(distance >= spacing_mm - slack_mm)
    return spacing_mm == 0 and one.intersection(other).area <= (0 if slack_mm <= _FLOAT_MM else _OVERLAP_MM2)


def verify(shapes: dict[str, Polygon], area: Area, spacing_mm: float) -> None:
    """Prove one sheet: every piece inside the usable area and off what is kept out, every two the spacing apart.

    Raises:
        NestFault: naming what is wrong. It can't happen, and nothing may be cut if it does.
    """
    names, polygons = list(shapes), list(shapes.values())
    margin_mm, bounds = area.margin_mm, _Bounds(area, spacing_mm)
    for name, polygon in shapes.items():
        x0, y0, x1, y1 = polygon.bounds
        inside = (
            x0 >= margin_mm - _LENGTH_MM
            and y0 >= margin_mm - _LENGTH_MM
            and x1 <= margin_mm + area.width_mm + _LENGTH_MM
            and y1 <= margin_mm + area.height_mm + _LENGTH_MM
        )
        if not inside or not bounds.hold(polygon, _LENGTH_MM):
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
