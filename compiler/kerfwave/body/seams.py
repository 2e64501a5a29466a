"""Seams and what laps them: a butt seam with air on both sides is a leak and a hinge; a tongue over air sags.

A seam is where two pieces of one layer touch. It is good where wood of the layer above or below laps over it.
"""

from __future__ import annotations

from itertools import combinations

from shapely.geometry import Point as Place
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from kerfwave.body import shapes
from kerfwave.body.slices import Slices
from kerfwave.model.parts import Check, Spot

OPEN_SEAM_MM = 0.5  # of a seam that nothing laps: below, it is rounding
TOUCH_MM = 0.01
OVERHANG_MM = 25.0  # a tongue of sheet that nothing holds may reach so far (own choice: four thicknesses of 6 mm)


def check_seams(sliced: Slices) -> tuple[Check, Check]:
    """Return the longest stretch of a seam that no neighbour laps, and the farthest overhang of a piece."""
    shape = {p.id: shapes.polygon(p.outline, p.holes) for p in sliced.pieces}
    wood = [unary_union([shape[name] for name in layer.pieces]) for layer in sliced.layers]
    open_seam: tuple[float, str, tuple[Spot, ...]] = (0.0, "", ())
    overhang: tuple[float, str, tuple[Spot, ...]] = (0.0, "", ())
    seams = 0
    for k, layer in enumerate(sliced.layers):
        lap = unary_union([*wood[max(k - 1, 0) : k], *wood[k + 1 : k + 2]])
        for a, b in combinations(layer.pieces, 2):
            seam = _seam(shape[a], shape[b])
            if seam is None:
                continue
            seams += 1
            bare = seam.difference(lap.buffer(TOUCH_MM))
            if bare.length > open_seam[0]:
                at = bare.interpolate(0.5, normalized=True) if bare.geom_type == "LineString" else bare.centroid
                open_seam = (bare.length, f"{a} and {b}", (Spot(layer.index, round(at.x, 2), round(at.y, 2)),))
        if 0 < k < len(sliced.layers) - 1:
            for name in layer.pieces:
                far, at = _farthest(shape[name], lap)
                if at is not None and far > max(overhang[0], TOUCH_MM):
                    overhang = (far, name, (Spot(layer.index, round(at.x, 2), round(at.y, 2)),))
    return _said_of_seams(seams, *open_seam), _said_of_overhang(*overhang)


def _seam(a: Polygon, b: Polygon) -> BaseGeometry | None:
    if a.distance(b) > TOUCH_MM:
        return None
    seam = a.boundary.intersection(b.buffer(TOUCH_MM))
    return seam if seam.length > OPEN_SEAM_MM else None


def _farthest(piece: Polygon, lap: BaseGeometry) -> tuple[float, Place | None]:
    """Return how far a corner of the piece lies from where its neighbours hold it, and which."""
    free = piece.difference(lap.buffer(TOUCH_MM))
    held = piece.intersection(lap)
    corners = [Place(c) for part in shapes.parts_of(free) for c in part.exterior.coords]
    if not corners or held.is_empty:
        return 0.0, None
    worst = max(corners, key=lambda c: (round(held.distance(c), 6), c.x, c.y))
    return float(held.distance(worst)), worst


def _said_of_seams(count: int, length: float, names: str, at: tuple[Spot, ...]) -> Check:
    if not count:
        return Check("seam-lap", "ok", "no layer has a seam", 0.0, OPEN_SEAM_MM)
    if length <= OPEN_SEAM_MM:
        return Check("seam-lap", "ok", f"wood laps every one of {count} seams", round(length, 2), OPEN_SEAM_MM)
    text = f"{length:.1f} mm of the seam between {names} have air above and below: it leaks and bends there"
    return Check("seam-lap", "fail", text, round(length, 2), OPEN_SEAM_MM, at)


def _said_of_overhang(far: float, name: str, at: tuple[Spot, ...]) -> Check:
    text = f"the farthest overhang is {far:.1f} mm, of {name}" if name else "no piece hangs over air"
    level = "ok" if far <= OVERHANG_MM else "warn"
    text += "" if level == "ok" else f"; above {OVERHANG_MM:.0f} mm put a strip under it while the glue sets"
    return Check("overhang", level, text, round(far, 2), OVERHANG_MM, at)
