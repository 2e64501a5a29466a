"""A rounded lip at the mouth: its two upright edges get a radius, so that air leaves without whistling at a sharp edge.

The rounding lies in the plane of the layers; edges that are the faces of layers stay square, sand those. The lip
touches nothing but the wall's own thickness, so it changes neither the guide's length nor its section.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

from shapely.geometry import LineString, Polygon
from shapely.geometry import Point as Place
from shapely.ops import unary_union

from kerfwave.body import shapes
from kerfwave.body.air import OVERLAP_MM, Body
from kerfwave.body.path import SAGITTA_MM
from kerfwave.body.places import FacePlace
from kerfwave.model.parts import AirPrism, Check, Point

LEAST_MM = 1.0  # a smaller radius is sanded quicker than it is cut


def with_lips(body: Body, lip_mm: float) -> Body:
    """Return the body with edges of its mouth rounded to a radius, as far as wood and neighbours leave room for it."""
    mouth = body.fold.mouth
    if lip_mm <= 0.0 or mouth is None:
        return body
    lips: list[AirPrism] = []
    for prism in body.air:
        if prism.kind != "guide":
            continue
        for corner in _corners(body, mouth, prism):
            shape = _lip(body, mouth.face, prism, *corner, lip_mm)
            if shape is not None:
                outline = shapes.rings_of(shape)[0]
                name = f"mouth lip {len(lips) + 1}"
                lips.append(AirPrism(name, "mouth-lip", outline, (), prism.from_z_mm, prism.to_z_mm))
    return replace(body, air=(*body.air, *lips))


def check_lips(body: Body, lip_mm: float) -> Check:
    """Say how many edges of the mouth are rounded; the value is their number."""
    count = sum(p.kind == "mouth-lip" for p in body.air)
    if count >= 2:
        return Check(
            "lips", "ok", f"{count} edges of the mouth are rounded to {lip_mm:g} mm at most", float(count), 2.0
        )
    text = f"{count} of 2 edges of the mouth have room for a radius; round the rest with sandpaper"
    return Check("lips", "warn", text, float(count), 2.0)


def _corners(body: Body, mouth: FacePlace, guide: AirPrism) -> list[tuple[Point, Point, Point]]:
    """Return where each edge of the mouth is, and unit vectors into its wood: along the face, along the guide."""
    a, b = shapes.face_line(body.plan, mouth.face)
    face = LineString([a, b])
    plan = shapes.polygon(body.plan.outline)
    found = []
    ring = (*guide.outline, guide.outline[0])
    for p, q in itertools.pairwise(ring):
        edge = LineString([p, q])
        cross = edge.intersection(face)
        if cross.geom_type != "Point":
            continue
        inner = p if plan.contains(Place(p)) else q
        if not plan.contains(Place(inner)):
            continue
        at = (cross.x, cross.y)
        away = (at[0] - mouth.x_mm, at[1] - mouth.y_mm)
        found.append((at, _unit(away), _unit((inner[0] - at[0], inner[1] - at[1]))))
    return found


def _lip(
    body: Body, mine: str, guide: AirPrism, at: Point, face: Point, inward: Point, lip_mm: float
) -> Polygon | None:
    """Return the wood that a radius takes off one edge; smaller where a wall is thin, None where it leaves no web."""
    web = body.rules.least_web_mm
    others = unary_union(
        [
            shapes.polygon(p.outline, p.holes)
            for p in body.air
            if p is not guide and p.to_z_mm > guide.from_z_mm and p.from_z_mm < guide.to_z_mm
        ]
    )
    faces = unary_union([LineString(shapes.face_line(body.plan, f)) for f in shapes.face_names(body.plan) if f != mine])
    own = shapes.polygon(guide.outline, guide.holes)
    angle = math.acos(max(-1.0, min(1.0, face[0] * inward[0] + face[1] * inward[1])))
    radius = lip_mm
    while radius >= LEAST_MM:
        reach = radius / math.tan(angle / 2)
        shape = _spandrel(at, face, inward, angle, radius)
        # The wood behind the rounding: it has to be a web thick, or the edge breaks off.
        probe = Place(at[0] + face[0] * reach, at[1] + face[1] * reach)
        beyond = own.difference(Place(at).buffer(reach * 1.5 + radius))
        clear = (
            probe.distance(faces) >= web
            and shape.distance(others) >= web
            and (beyond.is_empty or probe.distance(beyond) >= web)
        )
        if clear and shapes.polygon(body.skin).buffer(OVERLAP_MM).covers(shape):
            return shape
        radius = round(radius - 0.5, 6)
    return None


def _spandrel(at: Point, face: Point, inward: Point, angle: float, radius: float) -> Polygon:
    """Return what lies between an edge and the circle that touches both its sides."""
    reach, far = radius / math.tan(angle / 2), radius / math.sin(angle / 2)
    half = _unit((face[0] + inward[0], face[1] + inward[1]))
    cx, cy = at[0] + half[0] * far, at[1] + half[1] * far
    one = (at[0] + face[0] * reach, at[1] + face[1] * reach)
    two = (at[0] + inward[0] * reach, at[1] + inward[1] * reach)
    a0, a1 = math.atan2(one[1] - cy, one[0] - cx), math.atan2(two[1] - cy, two[0] - cx)
    turn = (a1 - a0 + math.pi) % math.tau - math.pi
    steps = max(4, math.ceil(abs(turn) / (2 * math.acos(1 - min(SAGITTA_MM / radius, 1.0)))))
    angles = [a0 + turn * k / steps for k in range(steps + 1)]
    arc = [(cx + radius * math.cos(a), cy + radius * math.sin(a)) for a in angles]
    # A hair beyond both sides, so that no sliver of wood stays between this air and its neighbours.
    out = (at[0] - OVERLAP_MM * (face[0] + inward[0]), at[1] - OVERLAP_MM * (face[1] + inward[1]))
    before = (one[0] - OVERLAP_MM * inward[0], one[1] - OVERLAP_MM * inward[1])
    after = (two[0] - OVERLAP_MM * face[0], two[1] - OVERLAP_MM * face[1])
    return Polygon([out, before, *arc, after])


def _unit(vector: Point) -> Point:
    length = math.hypot(*vector)
    return vector[0] / length, vector[1] / length
