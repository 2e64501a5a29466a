"""The room inside a plan, as lanes see it."""

from __future__ import annotations

from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from kerfwave.body import shapes
from kerfwave.body.keys import FoldKey
from kerfwave.body.places import CannotFold
from kerfwave.body.rules import BodyRules
from kerfwave.model.spec import Plan


class Rooms:
    """The room inside a plan as the lanes see it, worked out once for all the folds that are tried in it."""

    def __init__(self, plan: Plan, rules: BodyRules) -> None:
        self.plan, self.rules = plan, rules
        self._rooms: dict[str, Polygon] = {}
        self._worn: dict[tuple[str, float], BaseGeometry] = {}
        self._seen: dict[tuple[str, bool, bool, bool, float], BaseGeometry] = {}
        self._beside: dict[tuple[str, int, bool, float], BaseGeometry] = {}

    def room(self, terminal_face: str) -> Polygon:
        """Return what is inside the walls when the terminals stand in a face."""
        if terminal_face not in self._rooms:
            self._rooms[terminal_face] = room_behind(self.plan, self.rules, terminal_face)
        return self._rooms[terminal_face]

    def seen(self, terminal_face: str, key: FoldKey, less_mm: float = 0.0) -> BaseGeometry:
        """Return that room in the lane frame of a key, worn away by so much all round."""
        name = (terminal_face, key.along, key.flip_u, key.flip_v, round(less_mm, 6))
        if name not in self._seen:
            self._seen[name] = _to_lanes(self.worn(terminal_face, name[-1]), key)
        return self._seen[name]

    def beside(self, terminal_face: str, edge: int, mirrored: bool, less_mm: float = 0.0) -> BaseGeometry:
        """Return that room, worn away by so much all round, as seen from an edge: s along it, t into the room.

        Mirrored, the edge is walked the other way: s counts from its second end, and t still leads inwards.
        """
        name = (terminal_face, edge, mirrored, round(less_mm, 6))
        if name not in self._beside:
            a, b = self.plan.outline[edge], self.plan.outline[(edge + 1) % len(self.plan.outline)]
            room = self.worn(terminal_face, name[-1])
            if mirrored:
                room, (a, b) = affinity.scale(room, -1.0, 1.0, origin=(0, 0)), ((-b[0], b[1]), (-a[0], a[1]))
            self._beside[name] = shapes.in_face_frame(room, a, b)
        return self._beside[name]

    def worn(self, terminal_face: str, less_mm: float) -> BaseGeometry:
        """Return the room worn away, before any turning: keys that only differ by flips share it."""
        if not less_mm:
            return self.room(terminal_face)
        if (terminal_face, less_mm) not in self._worn:
            room = self.room(terminal_face)
            self._worn[terminal_face, less_mm] = shapes.worn(room, less_mm - shapes.EPS, quad_segs=32)
        return self._worn[terminal_face, less_mm]


def room_behind(plan: Plan, rules: BodyRules, terminal_face: str) -> Polygon:
    """Return what is inside the walls when the terminals stand in a given face.

    Raises:
        CannotFold: if nothing is.
    """
    return largest(shapes.inside(plan, wall_sizes(rules, terminal_face), rules.wall_mm))


def wall_sizes(rules: BodyRules, terminal_face: str) -> dict[str, float]:
    """Return the faces whose walls are thicker than the rest, and how thick, when the terminals stand in a face."""
    walls = {terminal_face: rules.terminal_wall_mm}
    if rules.stack == "upright":
        walls["front"] = max(rules.front_wall_mm, walls.get("front", 0.0))
    return walls


def _to_lanes(shape: BaseGeometry, key: FoldKey) -> BaseGeometry:
    u, v = (-1.0 if key.flip_u else 1.0), (-1.0 if key.flip_v else 1.0)
    matrix = [0.0, u, v, 0.0, 0.0, 0.0] if key.along else [u, 0.0, 0.0, v, 0.0, 0.0]
    return affinity.affine_transform(shape, matrix)


def largest(shape: BaseGeometry) -> Polygon:
    """Return the largest part of a room.

    Raises:
        CannotFold: if nothing is left of it.
    """
    parts = shapes.parts_of(shape)
    if not parts:
        raise CannotFold("the walls leave no room inside the plan")
    return max(parts, key=lambda p: round(p.area, 3))
