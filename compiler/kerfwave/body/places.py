"""Places on the faces of a body: where the driver goes, the terminals, and how a face is reached from inside."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from kerfwave.body import shapes
from kerfwave.body.rules import BodyRules
from kerfwave.model.spec import Plan

ROOMY_MM = 0.5  # places with so much less room about them than the widest count as equally wide

TOO_SHORT = "the guide would be too short"


class CannotFold(Exception):
    """A key that does not fit a plan; the message says what stands in the way."""


class Elsewhere(CannotFold):
    """What stands in the way may not, with the terminals in another face."""


@dataclass(frozen=True, slots=True)
class FacePlace:
    """A place on a face: `along_mm` from the face's first point, with its position and outward normal."""

    face: str
    along_mm: float
    x_mm: float
    y_mm: float
    normal_x: float
    normal_y: float


def on_face(plan: Plan, face: str, along: float) -> FacePlace:
    """Return the place so far along a face from its first point."""
    a, b = shapes.face_line(plan, face)
    length = math.dist(a, b)
    c, s = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    return FacePlace(face, along, a[0] + along * c, a[1] + along * s, s, -c)


def place_driver(
    plan: Plan, rules: BodyRules, chamber: Polygon, guide: Callable[[float], BaseGeometry | None]
) -> FacePlace:
    """Return where the driver sits: in the front as near its middle as chamber and guide allow.

    In a facing stack that is where the chamber has most room around it, of such places the one nearest to the
    chamber's centroid. `guide` gives the guide's outline, or None
    if nothing of it comes nearer to the front than so many mm.

    Raises:
        CannotFold: if the chamber does not take the driver, with the sizes.
    """
    if rules.stack == "facing":
        half = rules.bore_mm / 2
        widest = shapes.widest_mm(chamber)
        place = shapes.roomy_place(chamber, max(half, widest - ROOMY_MM))
        if place is None:
            raise CannotFold(
                f"the chamber takes a circle of {2 * widest:.0f} mm, the driver needs {rules.bore_mm:.0f} mm"
            )
        return FacePlace("front", 0.0, *place, 0.0, 0.0)
    a, b = shapes.face_line(plan, "front")
    x0, _, x1, _ = chamber.bounds
    free = shapes.free_stretches(chamber, x0, x1, rules.front_wall_mm, max(rules.reach_mm, rules.front_wall_mm + 1.0))
    half, seat = rules.bore_mm / 2, rules.seat_width_mm / 2
    left, right = clear_of_corners(plan, rules, "front")
    lo, hi = a[0] + seat + left, b[0] - seat - right
    best: float | None = None
    for start, stop in free:
        low, high = max(start + half, lo), min(stop - half, hi)
        if low <= high:
            x = min(max((start + stop) / 2, low), high)
            if best is None or abs(x) < abs(best) - 1e-6:
                best = x
    if best is None:
        widest = max((stop - start for start, stop in free), default=0.0)
        raise CannotFold(
            f"behind the front a width of {widest:.0f} mm is free to a depth of {rules.reach_mm:.0f} mm, "
            f"the driver needs {rules.bore_mm:.0f} mm and its ring {rules.seat_width_mm:.0f} mm of front"
        )
    best = round(best, 2)
    outline = guide(rules.thickness_mm + rules.least_web_mm)
    pocket = box(best - seat, 0.0, best + seat, rules.thickness_mm)
    if outline is not None and pocket.distance(outline) < rules.least_web_mm:
        raise CannotFold("the driver's ring would come too near the guide")
    return on_face(plan, "front", best - a[0])


def clear_of_corners(plan: Plan, rules: BodyRules, face: str) -> tuple[float, float]:
    """Return what has to stay whole of a face at either end: the least web, or what its rounded corner takes."""
    one, other = shapes.corner_lengths(plan, face, rules.corner_mm)
    return max(rules.least_web_mm, one), max(rules.least_web_mm, other)


def terminal_faces(plan: Plan, rules: BodyRules) -> tuple[str, ...]:
    """Return the faces that the terminals may go to, the best first."""
    if rules.terminal_face != "auto":
        return (rules.terminal_face,)
    wall = "back" if rules.stack == "upright" and rules.hang_mm is not None else ""  # nothing stands out of it then
    names = [f for f in shapes.face_names(plan) if (f != "front" or rules.stack == "facing") and f != wall]
    # The back is where a cable is least in the way.
    return tuple(sorted(names, key=lambda f: (f != "back", names.index(f))))


def place_terminal(plan: Plan, rules: BodyRules, face: str, chamber: Polygon, driver: FacePlace) -> FacePlace:
    """Return where the terminal plate sits in a face: over the chamber, clear of the driver, nearest the middle.

    Raises:
        CannotFold: if the face has no such place.
    """
    a, b = shapes.face_line(plan, face)
    room = shapes.in_face_frame(chamber, a, b)
    wall = rules.terminal_wall_mm
    if face == "front" and rules.stack == "upright":
        raise CannotFold("the terminals cannot share the front with the driver")
    width = rules.plate_width_mm + 2 * rules.fit_mm
    start, stop = clear_of_corners(plan, rules, face)
    free = shapes.free_stretches(room, start, math.dist(a, b) - stop, wall, wall + rules.post_depth_mm)
    if rules.stack == "facing":
        inside_driver = box(driver.x_mm, driver.y_mm, driver.x_mm, driver.y_mm).buffer(rules.bore_mm / 2)
    else:
        half = rules.bore_mm / 2
        inside_driver = box(driver.x_mm - half, 0.0, driver.x_mm + half, rules.reach_mm)
    places = [
        round(low + width / 2 + k * 2.0, 3)
        for low, high in free
        for k in range(int((high - low - width) // 2.0) + 1)
        if high - low >= width
    ]
    middle = sum(longest) / 2 if (longest := shapes.longest(free)) else 0.0
    for along in sorted(places, key=lambda p: (round(abs(p - middle), 3), p)):
        posts = Polygon(shapes.face_rectangle(a, b, along, width, 0.0, wall + rules.post_depth_mm))
        if posts.distance(inside_driver) >= rules.least_web_mm:
            return on_face(plan, face, along)
    raise CannotFold(f"the chamber does not reach the {face} face where the terminals need {width:.0f} mm of it")
