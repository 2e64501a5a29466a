"""A rounded lip at the mouth: its edges get a radius, so that air leaves without whistling at a sharp edge.

The two upright edges are rounded in the plane of the layers. The other two are the faces of layers: there the layers
next to the mouth are cut back, each as far as the radius asks at its middle, so that the mouth flares in steps; but
never the outermost ones, which stay whole to look at. What is left square is for sandpaper. The lip touches nothing but
the wall's own thickness, so it changes neither the guide's length nor its section.
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
    return replace(body, air=(*body.air, *lips, *_flare(body, mouth, lip_mm)))


def flare_mm(radius_mm: float, height_mm: float) -> float:
    """Return how far from the face a lip of a radius reaches so high above its edge: a quarter of a circle."""
    return radius_mm - math.sqrt(radius_mm**2 - (radius_mm - height_mm) ** 2) if height_mm < radius_mm else 0.0


def _flare(body: Body, mouth: FacePlace, lip_mm: float) -> list[AirPrism]:
    """Return what layers below and above the mouth are cut back by, within the wall that it opens through."""
    z, web = body.counts.z_mm, body.rules.least_web_mm
    low, high = body.levels.storeys[-1]
    # The mouth's storey comes last in the guide, so its duct is the last prism of that kind.
    duct = shapes.polygon([p for p in body.air if p.kind == "guide"][-1].outline)
    line = shapes.face_line(body.plan, mouth.face)
    found: list[AirPrism] = []
    for layers, edge, sign in ((range(low - 1, 0, -1), z[low], -1), (range(high, body.counts.total - 1), z[high], 1)):
        for layer in layers:
            deep = flare_mm(lip_mm, sign * ((z[layer] + z[layer + 1]) / 2 - edge))
            deep = min(deep, body.rules.wall_mm - web)
            if deep < LEAST_MM:
                break
            band = shapes.polygon(
                shapes.face_rectangle(*line, math.dist(*line) / 2, math.dist(*line), -OVERLAP_MM, deep)
            )
            cut = max(shapes.parts_of(duct.intersection(band)), key=lambda part: part.area, default=None)
            # Seats and holes keep clear of it also where they only touch its layer from above or below.
            others = [
                shapes.polygon(p.outline, p.holes)
                for p in body.air
                if p.to_z_mm >= z[layer] - shapes.EPS and p.from_z_mm <= z[layer + 1] + shapes.EPS and p.kind != "guide"
            ]
            if cut is None or any(cut.distance(other) < web for other in others):
                break
            name = f"mouth flare {len(found) + 1}"
            found.append(AirPrism(name, "mouth-lip", shapes.rings_of(cut)[0], (), z[layer], z[layer + 1]))
    return found


def check_lips(body: Body, lip_mm: float) -> Check:
    """Say how many upright edges of the mouth are rounded, which is the value, and over how many layers it flares."""
    lips = [p for p in body.air if p.kind == "mouth-lip"]
    flared = sum(p.name.startswith("mouth flare") for p in lips)
    count = len(lips) - flared
    if count >= 2:
        text = f"{count} edges of the mouth are rounded to {lip_mm:g} mm at most"
        text += f"; it flares over {flared} layer{'s' if flared > 1 else ''} below and above" if flared else ""
        return Check("lips", "ok", text, float(count), 2.0)
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
