"""Sheets made ready for packing: what of them can be used, and what on them is in the way."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon

from kerfwave.model.parts import KeptOut, Ring
from kerfwave.model.spec import KeepOut, SheetStock

# Free room around what holds a sheet down, on top of the spacing: half the width of the narrow end of a laser head
# with its air nozzle, 15 to 20 mm (common practice). A knot is flat.
CLEARANCE_MM = {"knot": 0.0, "clamp": 10.0, "magnet": 10.0}
_SIDES = 48  # of the polygon that stands for a circle


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """One size of sheet and the part of it that can be used; compared by identity.

    `width_mm` by `height_mm` is the box that pieces must lie in, its corner at the margin. `outline`, counter-clockwise
    and in sheet coordinates, is that of a sheet which is no rectangle; pieces keep the margin from it too.
    """

    width_mm: float
    height_mm: float
    sheet_width_mm: float
    sheet_height_mm: float
    count: int
    margin_mm: float
    outline: Ring = ()
    keep_out: tuple[KeptOut, ...] = ()

    @property
    def plain(self) -> bool:
        """Whether the box is all there is to keep."""
        return not self.outline and not self.keep_out

    @property
    def sheet_mm2(self) -> float:
        """Area of the whole sheet."""
        return float(Polygon(self.outline).area) if self.outline else self.sheet_width_mm * self.sheet_height_mm

    def room_mm2(self, spacing_mm: float) -> float:
        """Return an upper bound on the area of all pieces that fit, each grown by half the spacing.

        They don't overlap, and lie in the usable part grown likewise. shapely draws arcs within the true ones, so
        what it grows is never too large, and what it takes away never too much.
        """
        half = spacing_mm / 2
        room = shapely.box(-half, -half, self.width_mm + half, self.height_mm + half)
        if self.plain:
            return float(room.area)
        x = y = self.margin_mm
        room = shapely.affinity.translate(room, x, y)
        if self.outline:
            inner = half - self.margin_mm
            style = "mitre" if inner > 0 else "round"
            room = room.intersection(Polygon(self.outline).buffer(inner, join_style=style))
        for place in self.keep_out:
            room = room.difference(Polygon(place.outline).buffer(place.clearance_mm + half))
        return float(room.area)


SheetKind = tuple[float, float, Ring, tuple[KeptOut, ...]]


def areas(sheets: tuple[SheetStock, ...], bed_mm: tuple[float, float], margin_mm: float) -> tuple[Area, ...]:
    """Usable areas, largest first, equal sheets counted together.

    Of a sheet larger than the bed only the lower-left, bed-sized part is used; the margin is kept on all four sides
    of that part, so that cuts round a piece at its edge stay on the bed too.
    """
    counts: dict[SheetKind, int] = {}
    for sheet in sheets:
        key = sheet_kind(sheet)
        counts[key] = counts.get(key, 0) + max(sheet.count, 0)
    found = [
        Area(min(w, bed_mm[0]) - 2 * margin_mm, min(h, bed_mm[1]) - 2 * margin_mm, w, h, n, margin_mm, outline, places)
        for (w, h, outline, places), n in counts.items()
    ]
    usable = (a for a in found if a.count and a.width_mm > 0 and a.height_mm > 0)
    return tuple(sorted(usable, key=_order))


def sheet_kind(sheet: SheetStock) -> SheetKind:
    """Return what tells sheets apart: size, outline (counter-clockwise; () for a rectangle), places kept out."""
    return sheet.width_mm, sheet.height_mm, _outline(sheet), tuple(kept_out(p) for p in sheet.keep_out)


def _order(area: Area) -> tuple[object, ...]:
    size = area.width_mm * area.height_mm if area.plain else area.room_mm2(0.0)
    places = tuple((p.what, p.outline, p.clearance_mm) for p in area.keep_out)
    return (-size, area.sheet_width_mm, area.sheet_height_mm, area.outline, places)


def _outline(sheet: SheetStock) -> Ring:
    """Counter-clockwise outline of a sheet, () if it is a rectangle."""
    corners = sheet.outline_mm or ()
    return corners[::-1] if corners and not shapely.LinearRing(corners).is_ccw else corners


def kept_out(place: KeepOut) -> KeptOut:
    """Return a place as a polygon, a circle as one drawn around it."""
    x, y = place.x_mm or 0.0, place.y_mm or 0.0
    width, height = place.width_mm or 0.0, place.height_mm or 0.0
    if place.points_mm is not None:
        outline = place.points_mm
    elif place.shape == "circle":
        radius = (place.diameter_mm or 0.0) / 2 / math.cos(math.pi / _SIDES)
        angles = [2 * math.pi * k / _SIDES for k in range(_SIDES)]
        # Whole 0.001 mm, away from the middle: the same on every machine, and never too small.
        outline = tuple((_away(x, radius * math.cos(a)), _away(y, radius * math.sin(a))) for a in angles)
    else:
        outline = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    clearance = CLEARANCE_MM[place.what] if place.clearance_mm is None else place.clearance_mm
    return KeptOut(place.what, outline, clearance)


def _away(middle: float, offset: float) -> float:
    return round(middle + math.copysign(math.ceil(abs(offset) * 1000 - 1e-6) / 1000, offset), 6) + 0.0
