"""The stack as a mesh that CAD and viewers read: STL in its text form, one solid a layer, in millimetres.

Every layer is closed in itself: its pieces as prisms, seen from outside counter-clockwise, so that normals point out
of the wood and the volume of a solid is the wood of its layer. Layers touch, as they do in the stack; a program that
wants one body joins them. Insets are not in it: they are cut apart and glued in.

The format is the public one of 1988 (facet, outer loop, three vertices); blanks and line ends are free in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import pairwise

import shapely
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from kerfwave.model.parts import Layer, Piece, Point, Vector
from kerfwave.numfmt import fixed

GRID_MM = 0.001  # far finer than a cut; coarser would change the volume of a small piece by a part in 10 000
DECIMALS = 3
Triangle = tuple[Vector, Vector, Vector]


def body_stl(layers: Iterable[Layer], pieces: Iterable[Piece]) -> str:
    """Return the stack in the axes of the body: x along the front, y to the back, z up the stack."""
    by_id = {piece.id: piece for piece in pieces}
    lines: list[str] = []
    known: dict[Vector, str] = {}  # most corners and normals come up six times and more, and rounding takes the time

    def vector(value: Vector) -> str:
        text = known.get(value)
        if text is None:
            text = known[value] = " ".join(fixed(c, DECIMALS) for c in value)
        return text

    for layer in layers:
        name = f"L{layer.index:02d}"
        lines.append(f"solid {name}")
        low, high = layer.z_mm, layer.z_mm + layer.thickness_mm
        for piece in layer.pieces:
            for triangle in prism(by_id[piece], low, high):
                a, b, c = (vector(corner) for corner in triangle)
                lines.append(
                    f"facet normal {vector(normal_of(triangle))}\nouter loop\n"
                    f"vertex {a}\nvertex {b}\nvertex {c}\nendloop\nendfacet"
                )
        lines.append(f"endsolid {name}")
    return "\n".join(lines) + "\n"


def prism(piece: Piece, from_z_mm: float, to_z_mm: float) -> Iterator[Triangle]:
    """Yield the surface of a piece between two heights, triangles counter-clockwise as seen from outside.

    Corners are put on a grid of `GRID_MM` before anything else, so neighbouring triangles share them to the digit.
    """
    snapped = shapely.set_precision(Polygon(piece.outline, piece.holes), GRID_MM)
    for part in shapely.get_parts(snapped):
        for face in _triangles(part):
            (ax, ay), (bx, by), (cx, cy) = face
            yield (ax, ay, to_z_mm), (bx, by, to_z_mm), (cx, cy, to_z_mm)
            yield (ax, ay, from_z_mm), (cx, cy, from_z_mm), (bx, by, from_z_mm)
        wood = orient(part, 1.0)  # wood lies to the left of every ring
        for ring in (wood.exterior, *wood.interiors):
            points = list(ring.coords)
            for (ax, ay), (bx, by) in pairwise(points):
                yield (ax, ay, from_z_mm), (bx, by, from_z_mm), (bx, by, to_z_mm)
                yield (ax, ay, from_z_mm), (bx, by, to_z_mm), (ax, ay, to_z_mm)


def _triangles(part: Polygon) -> list[tuple[Point, Point, Point]]:
    """Cut a polygon into triangles between its own corners: no new point, so the walls fit without a gap.

    Each runs counter-clockwise from its lowest leftmost corner, and they are sorted, whatever order they came in.
    """
    rings = shapely.get_coordinates(shapely.constrained_delaunay_triangles(part)).reshape(-1, 4, 2).tolist()
    found = []
    for (ax, ay), (bx, by), (cx, cy), _ in rings:
        a, b, c = (ax, ay), (bx, by), (cx, cy)
        if (bx - ax) * (cy - ay) < (by - ay) * (cx - ax):
            b, c = c, b
        found.append(min((a, b, c), (b, c, a), (c, a, b)))
    return sorted(found)


def normal_of(triangle: Triangle) -> Vector:
    """Return the outward unit normal of a triangle."""
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = triangle
    ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    n = (uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx)
    length = math.hypot(*n) or 1.0
    return n[0] / length, n[1] / length, n[2] / length
