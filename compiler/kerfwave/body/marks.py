"""What is scored into the pieces: where each belongs, which way it lies, and what comes on top of it.

Marks are scored into the upper face (the side towards the end of the stack) where the next layer covers them. The id
with its arrow is as tall as it can be there; a piece that has no room for it is named by a check. What lies on top of
the stack is covered by nothing and stays clean.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

from shapely import affinity, maximum_inscribed_circle
from shapely.geometry import Point as Place
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import linemerge, unary_union

from kerfwave.body import shapes
from kerfwave.body.slices import Slices
from kerfwave.model.parts import Check, Mark, Piece, Point, Ring
from kerfwave.model.strokes import strokes, width_mm

TALLEST_MM = 5.0
LEAST_TALL_MM = 1.8  # lower letters run together (common practice: about ten widths of the line)
CLEAR_MM = 0.8  # from the edge of the piece, and from where the next layer leaves it open
EDGE_MM = 0.5  # an outline of the next layer that runs nearer than this to an edge is that edge
SHORT_MM = 3.0  # of such an outline: shorter ends are left out
SMOOTH_MM = 0.02
ARROW = 1.6  # width of the arrow with its gap, in heights of the text
FORWARD = {"upright": (0.0, -1.0), "facing": (0.0, 1.0)}  # the arrow: to the front; with layers seen from behind, up


def mark_layers(sliced: Slices, stack: str, style: str) -> Slices:
    """Return the slices with marks: `style` is "none", "ids" or "outlines" (of the next layer as well)."""
    if style == "none":
        return sliced
    by_id = {p.id: p for p in sliced.pieces}
    wood = [unary_union([_wood(by_id[name]) for name in layer.pieces]) for layer in sliced.layers]
    marked: dict[str, Piece] = {}
    for layer, above in zip(sliced.layers, wood[1:], strict=False):
        for name in layer.pieces:
            piece = by_id[name]
            covered = _wood(piece).intersection(above)
            found = [id_mark(name, covered, FORWARD[stack], _wood(piece))]
            if style == "outlines":
                found.append(_next(_wood(piece), above))
            marked[name] = replace(piece, marks=tuple(m for m in found if m is not None))
    return replace(sliced, pieces=tuple(marked.get(p.id, p) for p in sliced.pieces))


def mark_ring(piece: Piece, frame_mm: float) -> Piece:
    """Return the driver's ring with its id where the driver's flange covers it; the arrow points to the top."""
    flange = Place(0.0, 0.0).buffer(frame_mm / 2 - CLEAR_MM, quad_segs=32)
    mark = id_mark(piece.id, _wood(piece).intersection(flange), (0.0, 1.0), _wood(piece))
    return piece if mark is None else replace(piece, marks=(mark,))


def check_marks(sliced: Slices) -> Check:
    """Say which pieces carry their id, and which are to be marked by hand."""
    last = len(sliced.layers)
    wanted = [p for p in sliced.pieces if p.layer is not None and p.layer < last]
    bare = [p.id for p in wanted if not any(m.kind == "id" for m in p.marks)]
    text = f"{len(wanted) - len(bare)} of {len(wanted)} pieces below the last layer have their id and an arrow scored"
    if bare:
        text += f"; too narrow for it, mark by hand: {', '.join(bare[:8])}{' and others' if len(bare) > 8 else ''}"
    text += f". Layer {last} is covered by nothing and stays clean"
    return Check("marks", "warn" if bare else "ok", text, float(len(wanted) - len(bare)), float(len(wanted)))


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where a label of height `tall_mm` fits, turned by `turn_deg`."""

    at: Point
    tall_mm: float
    turn_deg: float


def id_mark(text: str, room: BaseGeometry, forward: Point, along: Polygon) -> Mark | None:
    """Return `text` and an arrow towards `forward`, as tall as they fit into `room`; None if they do not.

    The label lies, stands, or follows the longest edge of `along`.
    """
    free = room.buffer(-CLEAR_MM, quad_segs=4)
    if free.is_empty:
        return None
    wide = width_mm(text, 1.0) + ARROW
    best: _Spot | None = None
    for turn in (0.0, 90.0, _longest_edge_deg(along)):
        spot = _spot(affinity.rotate(free, -turn, origin=(0, 0)), wide, turn)
        if spot is not None and (best is None or spot.tall_mm > 1.2 * best.tall_mm):  # lying text reads best
            best = spot
    return None if best is None else Mark("id", text, _written(text, best, wide, forward))


def _wood(piece: Piece) -> Polygon:
    return shapes.polygon(piece.outline, piece.holes)


def _longest_edge_deg(shape: Polygon) -> float:
    """Return the direction of the longest edge, in (-90, 90] degrees."""
    ring = list(shape.exterior.coords)
    a, b = max(itertools.pairwise(ring), key=lambda e: (round(math.dist(*e), 3), e))
    angle = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    return round(angle - 180.0 if angle > 90.0 else angle + 180.0 if angle <= -90.0 else angle, 3)


def _spot(free: BaseGeometry, wide: float, turn_deg: float) -> _Spot | None:
    """Return where a box `wide` times as wide as tall is tallest, in the turned frame.

    Squeezed by its ratio the box is a square, so the largest circle in the squeezed room shows about where it fits;
    from there it is grown until it touches.
    """
    circle = maximum_inscribed_circle(affinity.scale(free, 1 / wide, 1.0, origin=(0, 0)), tolerance=0.1)
    x, y = circle.coords[0][0] * wide, circle.coords[0][1]
    low, high = 0.0, TALLEST_MM
    while high - low > 0.05:
        tall = (low + high) / 2
        inside = free.covers(box(x - wide * tall / 2, y - tall / 2, x + wide * tall / 2, y + tall / 2))
        low, high = (tall, high) if inside else (low, tall)
    return _Spot((x, y), low, turn_deg) if low >= LEAST_TALL_MM else None


def _written(text: str, spot: _Spot, wide: float, forward: Point) -> tuple[Ring, ...]:
    tall = spot.tall_mm
    x, y = spot.at[0] - wide * tall / 2, spot.at[1] - tall / 2
    c, s = math.cos(math.radians(spot.turn_deg)), math.sin(math.radians(spot.turn_deg))
    letters = [[(px * c - py * s, px * s + py * c) for px, py in line] for line in strokes(text, (x, y), tall)]
    mx, my = x + (wide - 0.5) * tall, y + tall / 2
    middle = (mx * c - my * s, mx * s + my * c)
    return tuple(
        tuple((round(px, 4), round(py, 4)) for px, py in line) for line in (*letters, *_arrow(middle, tall, forward))
    )


def _arrow(middle: Point, tall: float, forward: Point) -> tuple[list[Point], list[Point]]:
    """Return an arrow `tall` long about `middle`."""
    fx, fy = forward
    half, barb = tall / 2, 0.32 * tall

    def at(ahead: float, aside: float) -> Point:
        return middle[0] + ahead * fx - aside * fy, middle[1] + ahead * fy + aside * fx

    return [at(-half, 0.0), at(half, 0.0)], [at(half - barb, barb), at(half, 0.0), at(half - barb, -barb)]


def _next(wood: Polygon, above: BaseGeometry) -> Mark | None:
    """Return the outline of the next layer where it runs across this piece and is none of the piece's own edges."""
    across = above.boundary.intersection(wood.buffer(-EDGE_MM, quad_segs=4))
    lines = [g for g in getattr(across, "geoms", [across]) if g.geom_type == "LineString" and g.length > 0]
    if not lines:
        return None
    merged = linemerge(lines) if len(lines) > 1 else lines[0]
    kept = sorted(
        tuple((round(x, 4), round(y, 4)) for x, y in line.simplify(SMOOTH_MM).coords)
        for line in getattr(merged, "geoms", [merged])
        if line.length >= SHORT_MM
    )
    return Mark("next", "", tuple(kept)) if kept else None
