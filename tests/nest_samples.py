"""Pieces and independent arithmetic for the nesting tests."""

from __future__ import annotations

import itertools
import math

from shapely import affinity
from shapely.geometry import Polygon

from kerfwave.model.parts import Nest, Piece, Ring, Sheet
from kerfwave.model.spec import SheetStock


def rectangle(w: float, h: float, x: float = 0.0, y: float = 0.0) -> Ring:
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))


def hole(w: float, h: float, x: float, y: float) -> Ring:
    return rectangle(w, h, x, y)[::-1]


def disc(r: float, sides: int = 32) -> Ring:
    return tuple((r * math.cos(2 * math.pi * k / sides), r * math.sin(2 * math.pi * k / sides)) for k in range(sides))


def ell(w: float, h: float, limb: float) -> Ring:
    return ((0.0, 0.0), (w, 0.0), (w, limb), (limb, limb), (limb, h), (0.0, h))


def piece(name: str, outline: Ring, *holes: Ring, grain: str | None = None, x: float = 0.0, y: float = 0.0) -> Piece:
    def move(ring: Ring) -> Ring:
        return tuple((a + x, b + y) for a, b in ring)

    return Piece(name, "layer", move(outline), tuple(move(h) for h in holes), 6.0, grain=grain)


def trapezoid(scale: float = 1.0) -> Ring:
    points = ((-75.0, 0.0), (75.0, 0.0), (50.0, 180.0), (-50.0, 180.0))
    return tuple((x * scale, y * scale) for x, y in points)


def _kind(sheet: Sheet) -> tuple[object, ...]:
    return (sheet.width_mm, sheet.height_mm, frozenset(sheet.outline), len(sheet.keep_out))


def _kind_at_hand(sheet: SheetStock) -> tuple[object, ...]:
    return (sheet.width_mm, sheet.height_mm, frozenset(sheet.outline_mm or ()), len(sheet.keep_out))


def on_sheet(nest: Nest, pieces: tuple[Piece, ...]) -> dict[str, Polygon]:
    """Pieces as placed, by shapely's own turning: nothing of the package's geometry is used."""
    where = {p.piece: p for p in nest.placements}
    found = {}
    for one in pieces:
        at = where[one.id]
        shape = Polygon(one.outline, one.holes)
        if at.flipped:
            shape = affinity.scale(shape, -1, 1, origin=(0, 0))
        shape = affinity.rotate(shape, at.turn_deg, origin=(0, 0))
        found[one.id] = affinity.translate(shape, at.x_mm, at.y_mm)
    return found


def assert_legal(
    nest: Nest,
    pieces: tuple[Piece, ...],
    sheets: tuple[SheetStock, ...],
    *,
    bed_mm: tuple[float, float],
    margin_mm: float,
    spacing_mm: float,
    sheet_grain: str | None = None,
    turns: str = "quarter",
) -> None:
    """Every promise of a nest, one by one."""
    assert sorted(p.piece for p in nest.placements) == sorted(p.id for p in pieces)
    assert [s.number for s in nest.sheets] == list(range(1, len(nest.sheets) + 1))
    for kind in {_kind(s) for s in nest.sheets}:
        there = sum(s.count for s in sheets if _kind_at_hand(s) == kind)
        assert sum(_kind(s) == kind for s in nest.sheets) <= there
    assert nest.bound <= len(nest.sheets)
    shapes = on_sheet(nest, pieces)
    for sheet in nest.sheets:
        names = [p.piece for p in nest.placements if p.sheet == sheet.number]
        assert names
        right = min(sheet.width_mm, bed_mm[0]) - margin_mm
        top = min(sheet.height_mm, bed_mm[1]) - margin_mm
        for name in names:
            x0, y0, x1, y1 = shapes[name].bounds
            assert x0 >= margin_mm - 1e-6
            assert y0 >= margin_mm - 1e-6
            assert x1 <= right + 1e-6
            assert y1 <= top + 1e-6
        for one, other in itertools.combinations(names, 2):
            assert shapes[one].distance(shapes[other]) >= spacing_mm - 1.5e-6, (one, other)
            assert shapes[one].intersection(shapes[other]).area < 1e-3, (one, other)
        assert math.isclose(sheet.pieces_area_mm2, sum(shapes[n].area for n in names))
        wood = Polygon(sheet.outline or rectangle(sheet.width_mm, sheet.height_mm))
        # Turned by an angle, a piece's own corners are sums of sines here and there.
        for name in names:
            assert wood.buffer(1e-6).contains(shapes[name]), name
            assert wood.exterior.distance(shapes[name]) >= margin_mm - 1.5e-6, name
        for place in sheet.keep_out:
            there = Polygon(place.outline)
            for name in names:
                assert shapes[name].distance(there) >= spacing_mm + place.clearance_mm - 1.5e-6, (name, place.what)
                assert shapes[name].intersection(there).area < 1e-3, (name, place.what)
        if sheet.offcut_mm is not None:
            x, y, w, h = sheet.offcut_mm
            assert wood.buffer(1e-6).contains(Polygon(rectangle(w, h, x, y)))
            faults = [Polygon(p.outline) for p in sheet.keep_out if p.what == "knot"]
            assert all(f.intersection(Polygon(rectangle(w, h, x, y))).area < 1e-6 for f in faults)
            assert x >= 0
            assert y >= 0
            assert x + w <= sheet.width_mm
            assert y + h <= sheet.height_mm
            spare = Polygon(rectangle(w, h, x, y))
            assert all(shapes[n].distance(spare) >= spacing_mm - 1e-6 for n in names)
            assert all(shapes[n].intersection(spare).area < 1e-3 for n in names)
    grains = {p.id: p.grain for p in pieces}
    for placement in nest.placements:
        assert not placement.flipped
        assert 0 <= placement.turn_deg < 360
        assert turns == "any" or placement.turn_deg in (0, 90, 180, 270)
        assert placement.x_mm == round(placement.x_mm, 3)
        assert placement.y_mm == round(placement.y_mm, 3)
        if sheet_grain and grains[placement.piece]:
            along = placement.turn_deg in (0, 180)
            assert along == (grains[placement.piece] == sheet_grain)
