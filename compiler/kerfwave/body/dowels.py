"""Registration: dowel holes through the stack, so that every piece lies where it belongs without measuring.

The holes run through all layers but the outermost two, which stay whole to look at. They stand where every one of
those layers has wood, as far apart as each solid part of the body lets them: two for each part that has room.
"""

from __future__ import annotations

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from kerfwave.body import path, shapes
from kerfwave.body.rules import BodyRules, LayerCount
from kerfwave.model.parts import AirPrism, Check, Piece, Point, Ring

GRID_MM = 1.0
LEAST_APART_MM = 25.0  # nearer than that a second dowel hardly holds a piece straight
MOST = 16


def dowels(
    skin: Ring, rules: BodyRules, counts: LayerCount, air: tuple[AirPrism, ...], dowel_mm: float | None
) -> tuple[AirPrism, ...]:
    """Return the holes for dowels of a diameter; none if no dowels are asked for or nowhere is room for one."""
    if dowel_mm is None or counts.total < 4:
        return ()
    low, high = counts.z_mm[1], counts.z_mm[-2]
    # Over the mark of a foot, too, wood stays whole, or the mark would be a hole into the stack.
    crossing = [
        shapes.polygon(p.outline, p.holes)
        for p in air
        if (p.to_z_mm > low and p.from_z_mm < high) or p.kind in ("foot", "keyhole")
    ]
    wood = shapes.polygon(skin).difference(unary_union(crossing))
    hole = dowel_mm + rules.dowel_play_mm
    places = [p for part in shapes.parts_of(wood) for p in _pair(part, hole / 2 + rules.least_web_mm)]
    return tuple(
        AirPrism(f"dowel {n}", "dowel", path.circle(x, y, hole), (), low, high)
        for n, (x, y) in enumerate(places[:MOST], 1)
    )


def _pair(part: Polygon, clear_mm: float) -> tuple[Point, ...]:
    """Return up to two places in a part that keep clear of its edge, as far from each other as they can be."""
    room = part.buffer(-clear_mm, quad_segs=8)
    spots = [spot for piece in shapes.parts_of(room, 1e-6) for spot in _spots(piece)]
    # Round a corner the room is made of chords, which pass it a little nearer than the arc.
    near = shapely.distance(part.boundary, shapely.points(spots)) if spots else ()
    spots = [spot for spot, clear in zip(spots, near, strict=True) if clear >= clear_mm]
    if not spots:
        return ()
    # The two ends of the widest pair: from any spot to the farthest, and from there to the farthest again.
    first = max(spots, key=lambda s: (round(_square(s, spots[0]), 6), s))
    second = max(spots, key=lambda s: (round(_square(s, first), 6), s))
    if _square(first, second) < LEAST_APART_MM**2:
        return (first,)
    return tuple(sorted((first, second)))


def _spots(room: BaseGeometry) -> list[Point]:
    x0, y0, x1, y1 = room.bounds
    columns, rows = int((x1 - x0) // GRID_MM) + 1, int((y1 - y0) // GRID_MM) + 1
    grid = [(round(x0 + i * GRID_MM, 1), round(y0 + k * GRID_MM, 1)) for k in range(rows) for i in range(columns)]
    shapely.prepare(room)
    inside = shapely.covers(room, shapely.points(grid))
    found = [spot for spot, within in zip(grid, inside, strict=True) if within]
    if found:
        return found
    middle = room.representative_point()
    return [(middle.x, middle.y)]


def _square(a: Point, b: Point) -> float:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2


def check_registration(pieces: tuple[Piece, ...], air: tuple[AirPrism, ...], layers: int) -> Check:
    """Say how many pieces are held by two dowels, by one, by none. The outermost layers have none to hold them."""
    holes = [shapes.polygon(p.outline).centroid for p in air if p.kind == "dowel"]
    inner = [p for p in pieces if p.layer is not None and 1 < p.layer < layers]
    held = {p.id: sum(Polygon(p.outline).covers(spot) for spot in holes) for p in inner}
    loose = sorted(name for name, count in held.items() if count < 2)
    text = f"{len(held) - len(loose)} of {len(held)} inner pieces are held by two dowels or more"
    if loose:
        text += f"; lay {', '.join(loose[:8])}{' and others' if len(loose) > 8 else ''} against the drawing"
    return Check("registration", "ok" if not loose else "warn", text, float(len(held) - len(loose)), float(len(held)))


def check_dowels(body_air: tuple[AirPrism, ...], skin: Ring, web_mm: float) -> Check:
    """Return the narrowest wood between a dowel and any other cut or edge, in every layer that it passes."""
    holes = [p for p in body_air if p.kind == "dowel"]
    rim = shapes.polygon(skin).boundary
    least: tuple[float, str] = (float("inf"), "the outside")
    for n, hole in enumerate(holes):
        own = shapes.polygon(hole.outline)
        least = min(least, (own.distance(rim), f"{hole.name} and the outside"))
        for other in body_air:
            before = other in holes[: n + 1]
            if (
                not before
                and other.to_z_mm > hole.from_z_mm + shapes.EPS
                and other.from_z_mm < hole.to_z_mm - shapes.EPS
            ):
                least = min(
                    least, (own.distance(shapes.polygon(other.outline, other.holes)), f"{hole.name} and {other.name}")
                )
    web, where = least
    text = f"at least {web:.2f} mm of wood round every dowel, between {where}; {web_mm:g} mm asked"
    return Check("dowel-web", "ok" if web >= web_mm - shapes.EPS else "fail", text, round(web, 3), web_mm)
