"""Splitting: a piece too large for sheet and bed becomes several, with butt seams that stagger like brickwork.

A piece is cut by straight lines across its longer side, near its middle, until every part fits. A seam keeps clear of
seats, bores and dowels, and of the seams of the layer below; the layers above and below lap over it, so it is as tight
as the glue between them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import split as cut_along
from shapely.ops import unary_union

from kerfwave.body import shapes
from kerfwave.body.air import Body
from kerfwave.body.slices import Slices, letters
from kerfwave.model.parts import Layer, Piece

STAGGER_MM = 20.0  # between seams of neighbouring layers, at least (common practice: several sheets' thickness)
CLEAR_MM = 4.0  # between a seam and anything cut into the layer
STEP_MM = 2.0
MOST_PARTS = 16


class CannotSplit(Exception):
    """A piece that no allowed seam makes fit; the message names it."""


@dataclass(frozen=True, slots=True)
class Seam:
    """One straight seam across a layer: at x or y equal to `at_mm`."""

    axis: int  # 0: at an x, 1: at a y
    at_mm: float


def fits(shape: Polygon, room_mm: tuple[tuple[float, float], ...]) -> bool:
    """Return whether a piece lies within one of the rooms, as it is or turned by a quarter."""
    x0, y0, x1, y1 = shape.bounds
    w, h = x1 - x0, y1 - y0
    return any((w <= a and h <= b) or (h <= a and w <= b) for a, b in room_mm)


def split_layers(body: Body, slices: Slices, room_mm: tuple[tuple[float, float], ...]) -> Slices:
    """Split what does not fit any of the rooms (usable width and height of sheets, bed included).

    Raises:
        CannotSplit: if a piece has no place for a seam.
    """
    pieces: list[Piece] = []
    layers: list[Layer] = []
    below: tuple[Seam, ...] = ()
    by_id = {p.id: p for p in slices.pieces}
    for layer in slices.layers:
        middle = layer.z_mm + layer.thickness_mm / 2
        clear = unary_union(
            [
                shapes.polygon(p.outline).buffer(CLEAR_MM)
                for p in body.air
                if p.kind not in ("chamber", "guide") and p.from_z_mm < middle < p.to_z_mm
            ]
        )
        seams: list[Seam] = []
        parts: list[tuple[Polygon, Piece]] = []
        for piece in (by_id[name] for name in layer.pieces):
            shape = shapes.polygon(piece.outline, piece.holes)
            found = _parts(shape, room_mm, clear, below, seams, layer.index, piece.id)
            parts += [(part, piece) for part in found]
        if len(parts) == len(layer.pieces):
            pieces += [piece for _, piece in parts]
            layers.append(layer)
        else:
            named = []
            for k, (part, piece) in enumerate(parts):
                outline, holes = shapes.rings_of(part)
                named.append(replace(piece, id=f"L{layer.index:02d}{letters(k)}", outline=outline, holes=holes))
            pieces += named
            layers.append(replace(layer, pieces=tuple(p.id for p in named)))
        below = tuple(seams)
    return Slices(tuple(layers), tuple(pieces))


def _parts(
    shape: Polygon,
    room_mm: tuple[tuple[float, float], ...],
    clear: BaseGeometry,
    below: tuple[Seam, ...],
    seams: list[Seam],
    layer: int,
    name: str,
) -> list[Polygon]:
    whole: list[Polygon] = [shape]
    done: list[Polygon] = []
    while whole:
        if len(whole) + len(done) > MOST_PARTS:
            raise CannotSplit(f"{name} falls into more than {MOST_PARTS} parts before all of them fit the bed")
        part = whole.pop(0)
        if fits(part, room_mm):
            done.append(part)
            continue
        seam = _seam(part, clear, below, layer)
        if seam is None:
            raise CannotSplit(f"{name} is too large for the bed, and has no place for a seam clear of its cuts")
        seams.append(seam)
        whole += shapes.parts_of(cut_along(part, _line(part, seam)))
    return done


def _line(part: Polygon, seam: Seam) -> LineString:
    x0, y0, x1, y1 = part.bounds
    if seam.axis == 0:
        return LineString([(seam.at_mm, y0 - 1.0), (seam.at_mm, y1 + 1.0)])
    return LineString([(x0 - 1.0, seam.at_mm), (x1 + 1.0, seam.at_mm)])


def _seam(part: Polygon, clear: BaseGeometry, below: tuple[Seam, ...], layer: int) -> Seam | None:
    """Return the seam nearest to where this layer wants it: left of the middle and right of it by turns."""
    x0, y0, x1, y1 = part.bounds
    axis = 0 if x1 - x0 >= y1 - y0 else 1
    low, high = (x0, x1) if axis == 0 else (y0, y1)
    wanted = (low + high) / 2 + (STAGGER_MM if layer % 2 else -STAGGER_MM) / 1.5
    steps = int((high - low) * 0.35 // STEP_MM)
    for k in range(2 * steps + 1):
        at = round(wanted + (k + 1) // 2 * STEP_MM * (1 if k % 2 else -1), 3)
        seam = Seam(axis, at)
        if any(s.axis == axis and abs(s.at_mm - at) < STAGGER_MM for s in below):
            continue
        cut = _line(part, seam).intersection(part)
        if not cut.is_empty and not cut.intersects(clear):
            return seam
    return None
