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
    for layer in layers:
        name = f"L{layer.index:02d}"
        lines.append(f"solid {name}")
        low, high = layer.z_mm, layer.z_mm + layer.thickness_mm
        for piece in layer.pieces:
            for triangle in prism(by_id[piece], low, high):
                corners = ("vertex " + " ".join(fixed(c, DECIMALS) for c in corner) for corner in triangle)
                normal = " ".join(fixed(c, 4) for c in normal_of(triangle))
                lines += (f"facet normal {normal}", "outer loop", *corners, "endloop", "endfacet")
        lines.append(f"endsolid {name}")
    return "\n".join(lines) + "\n"


def prism(piece: Piece, from_z_mm: float, to_z_mm: float) -> Iterator[Triangle]:
    """Yield the surface of a piece between two heights, triangles counter-clockwise as seen from outside.

    Corners are put on a grid of `GRID_MM` before anything else, so neighbouring triangles share them to the digit.
    """
    snapped = shapely.set_precision(Polygon(piece.outline, piece.holes), GRID_MM)
    for part in shapely.get_parts(snapped):
        for face in sorted(_turned(triangle) for triangle in shapely.get_parts(_triangulated(part))):
            (ax, ay), (bx, by), (cx, cy) = face
            yield (ax, ay, to_z_mm), (bx, by, to_z_mm), (cx, cy, to_z_mm)
            yield (ax, ay, from_z_mm), (cx, cy, from_z_mm), (bx, by, from_z_mm)
        wood = orient(part, 1.0)  # wood lies to the left of every ring
        for ring in (wood.exterior, *wood.interiors):
            points = list(ring.coords)
            for (ax, ay), (bx, by) in pairwise(points):
                yield (ax, ay, from_z_mm), (bx, by, from_z_mm), (bx, by, to_z_mm)
                yield (ax, ay, from_z_mm), (bx, by, to_z_mm), (ax, ay, to_z_mm)


def _triangulated(part: Polygon) -> shapely.GeometryCollection:
    """Cut a polygon into triangles between its own corners: no new point, so the walls fit without a gap."""
    return shapely.constrained_delaunay_triangles(part)


def _turned(triangle: Polygon) -> tuple[Point, Point, Point]:
    """Return the corners counter-clockwise, from the lowest leftmost."""
    a, b, c = orient(triangle, 1.0).exterior.coords[:3]
    return min((a, b, c), (b, c, a), (c, a, b))


def normal_of(triangle: Triangle) -> Vector:
    """Return the outward unit normal of a triangle."""
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = triangle
    ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    n = (uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx)
    length = math.hypot(*n) or 1.0
    return n[0] / length, n[1] / length, n[2] / length
