"""A plan as written becomes a plan in the body's coordinates.

Counter-clockwise, the front face first, lying on y = 0 with its middle at x = 0 and the body at y > 0. With
`stack: facing` the plan is the outline seen from the front, and `front` is the bottom edge of that drawing.
"""

from __future__ import annotations

import math
from typing import Any

from kerfwave.model.parts import Point, Ring
from kerfwave.model.spec import Plan

_SHORTEST_EDGE = 0.5  # mm; anything shorter is a slip, not a face
_LEAST, _GREATEST = 30.0, 1500.0  # mm, as in the schema
_TOUCH = 1e-6  # mm
_FOUR = ("front", "right", "back", "left")


class PlanError(ValueError):
    """A plan that is no outline; `path` says where below `plan`, `code` which finding it is."""

    def __init__(self, message: str, path: tuple[str | int, ...] = (), hint: str = "", code: str = "K409") -> None:
        super().__init__(message)
        self.path, self.hint, self.code = path, hint, code


def plan_of(data: dict[str, Any]) -> Plan:
    """Return the plan that fits its schema as a value in the body's coordinates.

    Raises:
        PlanError: for an outline that crosses or touches itself, is degenerate, too large or too small, or reaches
            in front of its front face; for face names that are not one per edge, different, and one of them front.
    """
    shape = data["shape"]
    if shape == "polygon":
        return _polygon(data["points_mm"], data["faces"])
    front = float(data["width_mm" if shape == "rectangle" else "front_mm"])
    back = front if shape == "rectangle" else float(data["back_mm"])
    depth = float(data["depth_mm"])
    return Plan(shape, ((-front / 2, 0.0), (front / 2, 0.0), (back / 2, depth), (-back / 2, depth)), _FOUR)


def _polygon(points_mm: list[list[float]], faces: list[str]) -> Plan:
    _check_faces(len(points_mm), faces)
    points: Ring = tuple((float(x), float(y)) for x, y in points_mm)
    check_simple(points)
    names = tuple(faces)
    if _doubled_area(points) < 0:
        points = points[::-1]
        # Edge j of the reversed ring joins the same corners as edge n - 2 - j of the ring as written.
        names = tuple(names[(len(names) - 2 - index) % len(names)] for index in range(len(names)))
    first = names.index("front")
    points, names = points[first:] + points[:first], names[first:] + names[:first]
    outline = _laid_on_front(points)
    foremost = min(y for _, y in outline)
    if foremost < -_TOUCH:
        raise PlanError(
            f"the plan reaches {-foremost:.4g} mm in front of its front face", ("faces",), "name another edge front"
        )
    width = max(x for x, _ in outline) - min(x for x, _ in outline)
    depth = max(y for _, y in outline)
    for size, word in ((width, "wide"), (depth, "deep")):
        if not _LEAST <= size <= _GREATEST:
            raise PlanError(f"the plan is {size:.1f} mm {word}; allowed: {_LEAST:.0f} to {_GREATEST:.0f} mm")
    return Plan("polygon", outline, names)


def _check_faces(corners: int, faces: list[str]) -> None:
    if len(faces) != corners:
        message = f"{len(faces)} faces for {corners} corners"
        raise PlanError(message, ("faces",), "one name per edge, from corner i to the next", "K410")
    for index, name in enumerate(faces):
        if name in faces[:index]:
            raise PlanError(f"two faces are called '{name}'", ("faces", index), "a name of its own", "K410")
        if name == "auto":
            raise PlanError("'auto' is no name for a face", ("faces", index), "another name", "K410")
    if "front" not in faces:
        raise PlanError("no face is called front", ("faces",), "name one edge front", "K410")


def check_simple(points: Ring) -> None:
    """Check that corners, as listed, are those of one simple outline.

    Raises:
        PlanError: for an outline that crosses or touches itself, turns back, or has no area or an edge of no length.
    """
    _check_edges(points)
    _check_crossings(points)


def _check_edges(points: Ring) -> None:
    for index, here in enumerate(points):
        after = points[(index + 1) % len(points)]
        if math.dist(here, after) < _SHORTEST_EDGE:
            message = f"corner {index + 1} and the next are less than {_SHORTEST_EDGE} mm apart"
            raise PlanError(message, ("points_mm", index), "leave one out; the outline closes by itself")
        before = points[index - 1]
        one, two = _minus(before, here), _minus(after, here)
        if one[0] * two[0] + one[1] * two[1] > 0 and abs(_cross(one, two)) < _TOUCH * math.hypot(*one) * math.hypot(
            *two
        ):
            raise PlanError(f"the outline turns back on itself at corner {index + 1}", ("points_mm", index))


def _check_crossings(points: Ring) -> None:
    count = len(points)
    for i in range(count):
        a, b = points[i], points[(i + 1) % count]
        for j in range(i + 2, count):
            if (j + 1) % count != i and _gap(a, b, points[j], points[(j + 1) % count]) < _TOUCH:
                message = f"the edge from corner {i + 1} and the edge from corner {j + 1} cross or touch"
                raise PlanError(message, ("points_mm", i), "list the corners in order round the outline")
    if abs(_doubled_area(points)) < 2 * _TOUCH:
        raise PlanError("the outline has no area", ("points_mm",))


def _laid_on_front(points: Ring) -> Ring:
    (x0, y0), (x1, y1) = points[0], points[1]
    length = math.dist(points[0], points[1])
    cos, sin = (x1 - x0) / length, (y1 - y0) / length
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    turned = [
        ((x - middle_x) * cos + (y - middle_y) * sin, (y - middle_y) * cos - (x - middle_x) * sin) for x, y in points
    ]
    # A millionth of a millimetre: away with the noise of the rotation, and with minus zero.
    return tuple((round(x, 6) + 0.0, round(y, 6) + 0.0) for x, y in turned)


def _doubled_area(points: Ring) -> float:
    return sum(_cross(points[index - 1], point) for index, point in enumerate(points))


def _minus(a: Point, b: Point) -> Point:
    return (a[0] - b[0], a[1] - b[1])


def _cross(a: Point, b: Point) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _gap(a: Point, b: Point, c: Point, d: Point) -> float:
    """Return the distance of two segments, 0 if they cross."""
    ab, cd = _minus(b, a), _minus(d, c)
    sides_c, sides_d = _cross(ab, _minus(c, a)), _cross(ab, _minus(d, a))
    sides_a, sides_b = _cross(cd, _minus(a, c)), _cross(cd, _minus(b, c))
    if sides_c * sides_d < 0 and sides_a * sides_b < 0:
        return 0.0
    return min(_from_segment(a, c, d), _from_segment(b, c, d), _from_segment(c, a, b), _from_segment(d, a, b))


def _from_segment(point: Point, a: Point, b: Point) -> float:
    ab, ap = _minus(b, a), _minus(point, a)
    along = max(0.0, min(1.0, (ap[0] * ab[0] + ap[1] * ab[1]) / (ab[0] ** 2 + ab[1] ** 2)))
    return math.dist(point, (a[0] + along * ab[0], a[1] + along * ab[1]))
