"""Sheets larger than the bed, divided into blanks that it takes.

A sheet is cut along straight lines right through: into strips, and each strip into blanks. Blanks are as large as the
bed but for the last of a row, which takes what is left.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely
from shapely.geometry import Polygon

from kerfwave.model.parts import Point, Ring
from kerfwave.model.spec import KeepOut, SheetStock
from kerfwave.nest.areas import kept_out

LEAST_MM = 50.0  # less than that is no blank; it may hang over the edge of the bed (our own choice)
_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Blank:
    """One part of a divided sheet: where it lies in the sheet, and what it is once it lies on the bed.

    `turned`: by a quarter turn counter-clockwise, on its way from sheet to bed.
    """

    column: int
    row: int
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    turned: bool
    sheet: SheetStock  # of as many as there are such sheets to divide


@dataclass(frozen=True, slots=True)
class Division:
    """How one entry of the stock is divided: sizes of columns and rows, and the blanks of each of its sheets."""

    entry: int
    stock: SheetStock
    columns_mm: tuple[float, ...]
    rows_mm: tuple[float, ...]
    blanks: tuple[Blank, ...]

    @property
    def whole(self) -> bool:
        """Whether the sheet stays as it is."""
        return len(self.columns_mm) == len(self.rows_mm) == 1


def divide(
    entry: int, stock: SheetStock, bed_mm: tuple[float, float], kerf_mm: float, *, may_turn: bool = True
) -> Division:
    """Divide a sheet for a bed.

    Args:
        entry: place of the sheet in its stock, to tell divisions apart.
        stock: the sheet.
        bed_mm: width and height of the bed.
        kerf_mm: what each cut takes away.
        may_turn: whether blanks may lie on the bed turned by a quarter; not where the sheet's grain matters.

    Of the two ways to lay the sheet the one with the larger blanks is taken, measured by the sum of their squared
    areas; as drawn, if that is the same.
    """
    ways = [(False, bed_mm), (True, bed_mm[::-1])] if may_turn and bed_mm[0] != bed_mm[1] else [(False, bed_mm)]
    if stock.width_mm <= bed_mm[0] + LEAST_MM and stock.height_mm <= bed_mm[1] + LEAST_MM:
        ways = ways[:1]
    found = []
    for turned, (across, up) in ways:
        columns, rows = _parts(stock.width_mm, across, kerf_mm), _parts(stock.height_mm, up, kerf_mm)
        large = sum((min(c, across) * min(r, up)) ** 2 for c in columns for r in rows)
        found.append((large, turned, columns, rows))
    _, turned, columns, rows = max(found, key=lambda x: (round(x[0]), not x[1]))
    if len(columns) == len(rows) == 1 and not turned:
        blank = Blank(0, 0, 0.0, 0.0, stock.width_mm, stock.height_mm, False, replace(stock, price=None))
        return Division(entry, stock, columns, rows, (blank,))
    blanks: list[Blank] = []
    x = 0.0
    for column, width in enumerate(columns):
        y = 0.0
        for row, height in enumerate(rows):
            blanks += _cut_out(stock, column, row, (x, y, width, height), turned)
            y = round(y + height + kerf_mm, _DIGITS)
        x = round(x + width + kerf_mm, _DIGITS)
    return Division(entry, stock, columns, rows, tuple(blanks))


def divide_all(
    sheets: tuple[SheetStock, ...], bed_mm: tuple[float, float], kerf_mm: float, *, may_turn: bool = True
) -> tuple[Division, ...]:
    """Divide every entry of a stock for a bed, in their order; see `divide`."""
    return tuple(divide(entry, sheet, bed_mm, kerf_mm, may_turn=may_turn) for entry, sheet in enumerate(sheets))


def _parts(length_mm: float, most_mm: float, kerf_mm: float) -> tuple[float, ...]:
    """Divide a length into parts of at most so much, but for up to `LEAST_MM` that the last may hang over."""
    parts = []
    left = length_mm
    while left > most_mm + LEAST_MM:
        parts.append(most_mm)
        left = round(left - most_mm - kerf_mm, _DIGITS)
    return (*parts, left)


def _cut_out(
    stock: SheetStock, column: int, row: int, box: tuple[float, float, float, float], turned: bool
) -> list[Blank]:
    """Return what a sheet has in one field of its division: one blank, several of an odd outline, or none."""
    x, y, width, height = box
    if stock.outline_mm is None:
        parts = [(x, y, x + width, y + height, None)]
    else:
        found = Polygon(stock.outline_mm).intersection(shapely.box(x, y, x + width, y + height))
        polygons = sorted(
            (p for p in getattr(found, "geoms", [found]) if p.geom_type == "Polygon" and not p.is_empty), key=_corner
        )
        parts = [(*p.bounds, _ring(p)) for p in polygons]
    blanks = []
    for x0, y0, x1, y1, ring in parts:
        w, h = round(x1 - x0, _DIGITS), round(y1 - y0, _DIGITS)
        if min(w, h) < LEAST_MM:
            continue
        laid = (h, w) if turned else (w, h)
        outline = None if ring is None or _is_box(ring, w, h) else tuple(_laid(p, (x0, y0), h, turned) for p in ring)
        kept = tuple(
            _moved(place, (x0, y0), h, turned)
            for place in stock.keep_out
            if Polygon(kept_out(place).outline).intersects(shapely.box(x0, y0, x1, y1))
        )
        sheet = SheetStock(*laid, stock.count, None, outline, kept)
        blanks.append(Blank(column, row, round(x0, _DIGITS), round(y0, _DIGITS), w, h, turned, sheet))
    return blanks


def _corner(part: Polygon) -> tuple[float, float]:
    return part.bounds[0], part.bounds[1]


def _ring(part: Polygon) -> Ring:
    return tuple(part.normalize().exterior.coords[:-1])


def _is_box(ring: Ring, width: float, height: float) -> bool:
    return bool(Polygon(ring).area > width * height - 1e-6)


def _laid(point: Point, corner: Point, height: float, turned: bool) -> Point:
    """From sheet to blank: its corner to the origin, and a quarter turn that keeps it in the first quadrant."""
    x, y = round(point[0] - corner[0], _DIGITS) + 0.0, round(point[1] - corner[1], _DIGITS) + 0.0
    return (round(height - y, _DIGITS) + 0.0, x) if turned else (x, y)


def _moved(place: KeepOut, corner: Point, height: float, turned: bool) -> KeepOut:
    if place.points_mm is not None:
        return replace(place, points_mm=tuple(_laid(p, corner, height, turned) for p in place.points_mm))
    x, y = place.x_mm or 0.0, place.y_mm or 0.0
    if place.shape == "rectangle" and turned:
        # The upper left corner becomes the lower left one.
        x, y = _laid((x, y + (place.height_mm or 0.0)), corner, height, turned)
        return replace(place, x_mm=x, y_mm=y, width_mm=place.height_mm, height_mm=place.width_mm)
    x, y = _laid((x, y), corner, height, turned)
    return replace(place, x_mm=x, y_mm=y)
