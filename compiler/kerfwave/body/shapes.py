"""Plane geometry that the body needs, on top of shapely: rings in and out, walls, free stretches."""

from __future__ import annotations

import math
from collections.abc import Iterable

import shapely
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Polygon, box
from shapely.geometry import Point as Place
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient
from shapely.ops import nearest_points, unary_union

from kerfwave.body.path import GRID_DECIMALS, SAGITTA_MM
from kerfwave.model.parts import Point, Ring
from kerfwave.model.spec import Plan

EPS = 1e-6  # mm; below what any calliper or laser can tell


def polygon(outline: Ring, holes: Iterable[Ring] = ()) -> Polygon:
    """Return the shapely polygon of an outline and its holes."""
    return Polygon(outline, [list(h) for h in holes])


def ring_of(coordinates: Iterable[tuple[float, ...]]) -> Ring:
    """Return a ring snapped to the grid, open, without repeated points, starting at its lowest leftmost point."""
    points: list[Point] = []
    for x, y, *_ in coordinates:
        point = (round(x, GRID_DECIMALS) + 0.0, round(y, GRID_DECIMALS) + 0.0)
        if not points or point != points[-1]:
            points.append(point)
    if len(points) > 1 and points[0] == points[-1]:
        points.pop()
    start = min(range(len(points)), key=lambda i: (points[i][1], points[i][0]))
    return tuple(points[start:] + points[:start])


def rings_of(shape: Polygon) -> tuple[Ring, tuple[Ring, ...]]:
    """Return outline (counter-clockwise) and holes (clockwise, in a fixed order) of a polygon."""
    turned = orient(shape, 1.0)
    return ring_of(turned.exterior.coords), tuple(sorted(ring_of(h.coords) for h in turned.interiors))


def parts_of(shape: BaseGeometry, least_area_mm2: float = 1e-3) -> tuple[Polygon, ...]:
    """Return the polygons of any geometry, dust left out, ordered by place (front to back, left to right)."""
    if isinstance(shape, Polygon):
        found = [shape]
    elif isinstance(shape, MultiPolygon) or hasattr(shape, "geoms"):
        found = [g for g in shape.geoms if isinstance(g, Polygon)]
    else:
        found = []
    kept = [p for p in found if p.area > least_area_mm2]
    return tuple(sorted(kept, key=lambda p: (round(p.bounds[1], 3), round(p.bounds[0], 3), round(p.area, 3))))


def face_line(plan: Plan, face: str) -> tuple[Point, Point]:
    """Return both ends of a named face, in the outline's direction (the body lies to its left).

    Raises:
        KeyError: if the plan has no such face.
    """
    if face not in plan.faces:
        raise KeyError(face)
    i = plan.faces.index(face)
    return plan.outline[i], plan.outline[(i + 1) % len(plan.outline)]


def corner_lengths(plan: Plan, face: str, corner_mm: float) -> tuple[float, float]:
    """Return how much of a face its rounded corners take away at either end.

    A chamfer takes less, a reflex corner nothing. A circle of radius r touches both sides of an angle at
    r / tan(angle / 2) from its corner.
    """
    count, i = len(plan.outline), plan.faces.index(face)
    found = []
    for k in (i, i + 1):
        before, here, after = (plan.outline[(k + step) % count] for step in (-1, 0, 1))
        one = math.atan2(after[1] - here[1], after[0] - here[0])
        other = math.atan2(before[1] - here[1], before[0] - here[0])
        angle = (other - one) % math.tau
        found.append(corner_mm / math.tan(angle / 2) if angle < math.pi else 0.0)
    return found[0], found[1]


def face_names(plan: Plan) -> tuple[str, ...]:
    """Return the names of the faces, each once, in the outline's order."""
    return tuple(dict.fromkeys(plan.faces))


def inside(plan: Plan, walls: dict[str, float], wall_mm: float) -> BaseGeometry:
    """Return what is left of the plan behind its walls: `walls` by face, `wall_mm` for the rest."""
    n = len(plan.outline)
    cut = [
        LineString([plan.outline[i], plan.outline[(i + 1) % n]]).buffer(walls.get(plan.faces[i], wall_mm), quad_segs=32)
        for i in range(n)
    ]
    return polygon(plan.outline).difference(unary_union(cut))


def in_face_frame(shape: BaseGeometry, a: Point, b: Point) -> BaseGeometry:
    """Return a shape as seen from a face: s along it from `a`, t into the body."""
    turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    moved = affinity.translate(shape, -a[0], -a[1])
    return affinity.rotate(moved, -turn, origin=(0, 0))


def face_rectangle(a: Point, b: Point, centre_s: float, width: float, from_t: float, to_t: float) -> Ring:
    """Return the rectangle centred at `centre_s` along the face from a to b, between two depths into the body."""
    length = math.dist(a, b)
    c, s = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    corners = ((-0.5, from_t), (0.5, from_t), (0.5, to_t), (-0.5, to_t))
    return tuple(
        (
            round(a[0] + (centre_s + k * width) * c - t * s, GRID_DECIMALS),
            round(a[1] + (centre_s + k * width) * s + t * c, GRID_DECIMALS),
        )
        for k, t in corners
    )


def free_stretches(room: BaseGeometry, u0: float, u1: float, v0: float, v1: float) -> tuple[tuple[float, float], ...]:
    """Return the stretches of u in which the whole height v0..v1 of the strip lies in the room."""
    if u1 - u0 < EPS or v1 - v0 < EPS:
        return ()
    if (ring := convex_ring(room)) is not None:
        # The sides of a convex room bulge outwards: they come nearest at the strip's two edges.
        chords = (chord(ring, v0 + EPS), chord(ring, v1 - EPS))
        if chords[0] is None or chords[1] is None:
            return ()
        low, high = max(u0, chords[0][0], chords[1][0]), min(u1, chords[0][1], chords[1][1])
        return ((low, high),) if high > low + EPS else ()
    strip = box(u0, v0 + EPS, u1, v1 - EPS)
    missing = strip.difference(room)
    blocked = sorted((p.bounds[0], p.bounds[2]) for p in parts_of(missing, least_area_mm2=1e-4))
    found: list[tuple[float, float]] = []
    at = u0
    for lo, hi in blocked:
        if lo > at + EPS:
            found.append((at, lo))
        at = max(at, hi)
    if u1 > at + EPS:
        found.append((at, u1))
    return tuple(found)


def convex_ring(shape: BaseGeometry) -> tuple[Point, ...] | None:
    """Return the corners of a convex polygon without holes; None for any other shape."""
    if not isinstance(shape, Polygon) or shape.is_empty or len(shape.interiors):
        return None
    ring = tuple((x, y) for x, y in shapely.get_coordinates(shape.exterior)[:-1].tolist())
    turns = [
        (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
        for a, b, c in zip(ring, ring[1:] + ring[:1], ring[2:] + ring[:2], strict=True)
    ]
    return ring if min(turns) >= -EPS or max(turns) <= EPS else None


def chord(ring: tuple[Point, ...], v: float) -> tuple[float, float] | None:
    """Return between which two u the line at v crosses a convex ring; None if it misses it."""
    found = []
    for (au, av), (bu, bv) in zip(ring, ring[1:] + ring[:1], strict=True):
        if min(av, bv) <= v <= max(av, bv):
            found += [au, bu] if av == bv else [au + (bu - au) * ((v - av) / (bv - av))]
    return (min(found), max(found)) if found else None


def across(room: BaseGeometry, v: float) -> tuple[float, float] | None:
    """Return the first and the last u at which the line at v lies in a room; None if it misses it."""
    if (ring := convex_ring(room)) is not None:
        return chord(ring, v)
    if room.is_empty:
        return None
    u0, _, u1, _ = room.bounds
    line = room.intersection(LineString([(u0 - 1, v), (u1 + 1, v)]))
    return None if line.is_empty else (line.bounds[0], line.bounds[2])


def longest(stretches: tuple[tuple[float, float], ...]) -> tuple[float, float] | None:
    """Return the longest stretch, the first of equals; None if there is none."""
    return max(stretches, key=lambda s: (round(s[1] - s[0], 6), -s[0])) if stretches else None


def worn(shape: Polygon, by_mm: float, quad_segs: int = 16) -> BaseGeometry:
    """Return a polygon worn away all round.

    A regular polygon with an even number of corners, worn by more than its incircle, comes out of GEOS turned inside
    out; parts that do not lie as deep inside as they should are dropped.
    """
    left = parts_of(shape.buffer(-by_mm, quad_segs=quad_segs), 0.0)
    deep = [part for part in left if shape.boundary.distance(part.representative_point()) >= by_mm - 0.1]
    return deep[0] if len(deep) == 1 else MultiPolygon(deep)


def widest_mm(shape: Polygon) -> float:
    """Return the radius of the largest circle that lies in a polygon, to a tenth of a millimetre."""
    x0, y0, x1, y1 = shape.bounds
    low, high = 0, math.ceil(5 * min(x1 - x0, y1 - y0)) + 1  # in tenths: a bisection on whole numbers ends alike
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if worn(shape, middle / 10).is_empty else (middle, high)
    return low / 10


def roomy_place(shape: Polygon, radius_mm: float) -> Point | None:
    """Return the place in a polygon nearest to its centroid about which a circle fits; None if there is none.

    The widest place itself would not do: of several equally wide ones, rounding would choose.
    """
    centre = shape.centroid
    places = [nearest_points(part, centre)[0] for part in parts_of(worn(shape, radius_mm), 0.0)]
    near = [(round(place.distance(centre), 3), round(place.y, 2) + 0.0, round(place.x, 2) + 0.0) for place in places]
    return min(near)[:0:-1] if near else None


def width_across(duct: Polygon, x: float, y: float, heading_deg: float) -> float:
    """Return how wide a duct is at a point of its centreline, measured square to the heading."""
    c, s = -math.sin(math.radians(heading_deg)), math.cos(math.radians(heading_deg))
    reach = max(duct.bounds[2] - duct.bounds[0], duct.bounds[3] - duct.bounds[1])
    cut = duct.intersection(LineString([(x - reach * c, y - reach * s), (x + reach * c, y + reach * s)]))
    pieces = [g for g in getattr(cut, "geoms", [cut]) if g.length > 0]
    here = min(pieces, key=lambda g: g.distance(Place(x, y)))
    return float(here.length)


def with_corners(outline: Ring, kind: str, size_mm: float) -> Ring:
    """Return an outline with its convex corners rounded ("round") or cut off ("chamfer"); reflex ones stay sharp.

    A chamfer of a right angle takes `size_mm` times 2 - sqrt 2 off both sides, as far in as rounding would go.
    """
    if size_mm <= 0.0:
        return outline
    quarter = max(2, math.ceil(math.pi / 2 / (2 * math.acos(1 - min(SAGITTA_MM / size_mm, 1.0)))))
    worn = polygon(outline).buffer(-size_mm, join_style="mitre")
    join = "round" if kind == "round" else "bevel"
    return rings_of(max(parts_of(worn.buffer(size_mm, quad_segs=quarter, join_style=join)), key=lambda p: p.area))[0]
