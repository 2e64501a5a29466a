"""What hands and tools can reach: clamps, the way of an inset into its seat, the room behind the driver."""

from __future__ import annotations

import math
from bisect import bisect_left

from shapely.geometry import Point as Place
from shapely.geometry import box
from shapely.ops import unary_union

from kerfwave.body import shapes
from kerfwave.body.air import Body
from kerfwave.body.rules import MAGNET_GAP_MM
from kerfwave.body.slices import Slices, joints
from kerfwave.model.parts import Check, Spot
from kerfwave.model.spec import Driver

CLAMP_MM = 100.0  # throat of an ordinary bar clamp (common practice: 80 to 120 mm)
WAY_MM = 60.0  # free before a seat, for the inset and a hand


def check_clamps(body: Body, sliced: Slices) -> Check:
    """Return how far inside the outer faces the innermost joint lies, against the throat of a clamp."""
    rim = shapes.polygon(body.skin).boundary
    worst: tuple[float, tuple[Spot, ...]] = (0.0, ())
    known: dict[bytes, tuple[float, float, float]] = {}
    for layer, joint in zip(sliced.layers[1:], joints(sliced), strict=True):
        key = joint.wkb
        if key not in known:
            # A joint's innermost place is a corner of it, or the middle of the plan where it covers that.
            middle = shapes.polygon(body.skin).centroid
            corners = [Place(c) for part in shapes.parts_of(joint) for c in part.exterior.coords]
            corners += [middle] if joint.contains(middle) else []
            deepest = max(((round(rim.distance(c), 3), c.x, c.y) for c in corners), default=(0.0, 0.0, 0.0))
            known[key] = deepest
        far, x, y = known[key]
        if far > worst[0]:
            worst = (far, (Spot(layer.index, round(x, 2), round(y, 2)),))
    far, at = worst
    text = f"the innermost joint lies {far:.0f} mm inside the outer faces"
    if far > CLAMP_MM:
        text += f"; a clamp reaches {CLAMP_MM:.0f} mm (common practice): press it with a board and weights"
        return Check("clamp-reach", "warn", text, far, CLAMP_MM, at)
    return Check("clamp-reach", "ok", text, far, CLAMP_MM, at)


def check_ways(body: Body) -> Check:
    """Return whether every inset can be put into its seat from outside, once the stack is glued.

    Layers go on one by one from above, so nothing keeps them; an inset comes through the face, square to it, and a wing
    of the plan may stand in its way. The value is the least free way in mm.
    """
    plan = shapes.polygon(body.plan.outline)
    least: tuple[float, str, tuple[Spot, ...]] = (math.inf, "", ())
    faces = {"driver-seat": ("front", body.fold.driver), "terminal-seat": (body.fold.terminal.face, body.fold.terminal)}
    for prism in body.air:
        if prism.kind not in faces:
            continue
        face, place = faces[prism.kind]
        xs = shapes.in_face_frame(shapes.polygon(prism.outline), *shapes.face_line(body.plan, face)).bounds
        others = shapes.in_face_frame(plan, *shapes.face_line(body.plan, face))
        way = box(xs[0] + 0.1, -WAY_MM, xs[2] - 0.1, -0.1)
        blocked = others.intersection(way)
        free = WAY_MM if blocked.is_empty else max(0.0, -blocked.bounds[3])
        layer = bisect_left(body.counts.z_mm, prism.from_z_mm - shapes.EPS) + 1
        if free < least[0]:
            least = (free, prism.name, (Spot(layer, round(place.x_mm, 2), round(place.y_mm, 2)),))
    free, name, at = least
    if not name or free >= WAY_MM:
        return Check("way-in", "ok", "every inset has a free way into its seat", WAY_MM, WAY_MM)
    text = f"only {free:.0f} mm are free before the {name}: the inset cannot be put in from outside"
    return Check("way-in", "fail", text, round(free, 1), WAY_MM, at)


def check_driver_depth(body: Body, sliced: Slices, driver: Driver) -> Check:
    """Return how much air is behind the driver's magnet, measured on the pieces, against what it should breathe."""
    measure = _room_upright if body.rules.stack == "upright" else _room_facing
    room, at = measure(body, sliced, driver)
    left = room - body.rules.sunk_mm - driver.depth_mm
    text = f"{left:.1f} mm of air behind the magnet"
    if left < 0:
        text = f"the driver is {-left:.1f} mm too deep: it meets wood"
    elif left < MAGNET_GAP_MM - 0.05:
        text += f"; {MAGNET_GAP_MM:.0f} mm let a vented pole breathe (common practice)"
    level = "fail" if left < 0 else "warn" if left < MAGNET_GAP_MM - 0.05 else "ok"
    return Check("driver-depth", level, text, round(left, 2), MAGNET_GAP_MM, at)


def _room_upright(body: Body, sliced: Slices, driver: Driver) -> tuple[float, tuple[Spot, ...]]:
    shape = {p.id: shapes.polygon(p.outline, p.holes) for p in sliced.pieces}
    middle = body.counts.middle_mm(body.levels.seat)
    x, half = body.fold.driver.x_mm, driver.magnet_mm / 2
    back = max(y for _, y in body.plan.outline)
    corridor = box(x - half, body.rules.front_wall_mm + 0.1, x + half, back)
    nearest: tuple[float, tuple[Spot, ...]] = (back, ())
    for layer in sliced.layers:
        if layer.z_mm >= middle + half or layer.z_mm + layer.thickness_mm <= middle - half:
            continue
        wood = unary_union([shape[name] for name in layer.pieces]).intersection(corridor)
        if not wood.is_empty and wood.bounds[1] < nearest[0]:
            nearest = (wood.bounds[1], (Spot(layer.index, round(x, 2), round(wood.bounds[1], 2)),))
    return nearest


def _room_facing(body: Body, sliced: Slices, driver: Driver) -> tuple[float, tuple[Spot, ...]]:
    shape = {p.id: shapes.polygon(p.outline, p.holes) for p in sliced.pieces}
    x, y = body.fold.driver.x_mm, body.fold.driver.y_mm
    magnet = Place(x, y).buffer(driver.magnet_mm / 2, quad_segs=16)
    for layer in sliced.layers[body.counts.floor :]:
        if any(shape[name].intersects(magnet) for name in layer.pieces):
            return layer.z_mm, (Spot(layer.index, round(x, 2), round(y, 2)),)
    last = sliced.layers[-1]
    return last.z_mm + last.thickness_mm, ()
