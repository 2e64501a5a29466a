"""The stack in three dimensions: closed as it will stand, and exploded with its layers lifted apart.

Both are parallel (axonometric) views from above, from the front and a little from the right. Hidden lines go by
painter's order, which is exact here: a layer hides what is under it; in a layer the upper faces hide walls; and of
two walls the nearer hides the other. A wall that faces the reader runs from left to right on the page, and of such
lines, when they do not cross, one can always say which is nearer. What is wholly hidden is left out of the file.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely.geometry import LinearRing, Polygon
from shapely.ops import unary_union
from shapely.prepared import prep

from kerfwave.model.parts import Layer, Piece, Point, Ring
from kerfwave.numfmt import fixed
from kerfwave.writers.svg import INK, MUTED, WOOD, bounds, finish, hatch, n, page, words
from kerfwave.writers.words import listed, mm

AZIMUTH, ELEVATION = math.radians(28.0), math.radians(32.0)  # how far the eye stands to the right, and how high
TOLERANCE_MM = 0.1  # arcs are thinned to this, for these drawings only
MANY = 30  # layers; a taller stack is drawn smaller, so its arcs may be thinned further
CORNER = math.cos(math.radians(22.0))  # a sharper turn is drawn as an edge
HIDDEN_MM = 0.02  # rounding between two layers' outlines shows nothing
COS_A, SIN_A, COS_E, SIN_E = math.cos(AZIMUTH), math.sin(AZIMUTH), math.cos(ELEVATION), math.sin(ELEVATION)
SIDE = 0.6  # walls whose normal points at least this far to the right are hatched
DARK = "#e6d0a4"


@dataclass(frozen=True, slots=True)
class _Wall:
    """A run of wall without a sharp corner: across the page, and how near it is at each point of it."""

    across: tuple[float, ...]
    near: tuple[float, ...]
    side: bool  # looks to the right rather than to the front


@dataclass(frozen=True, slots=True)
class _Slab:
    """A layer ready to be drawn: faces as rings in the plan, walls from far to near."""

    layer: Layer
    faces: tuple[tuple[Ring, ...], ...]
    walls: tuple[_Wall, ...]


def closed_view_svg(layers: Iterable[Layer], pieces: Iterable[Piece], *, stack: str = "upright") -> str:
    """Return the glued stack as it stands (`upright`), or lying on its back (`facing`)."""
    return _view(tuple(layers), tuple(pieces), stack, exploded=False)


def exploded_view_svg(layers: Iterable[Layer], pieces: Iterable[Piece], *, stack: str = "upright") -> str:
    """Return the stack with its layers lifted apart and the ids of their pieces beside them."""
    return _view(tuple(layers), tuple(pieces), stack, exploded=True)


def _view(layers: tuple[Layer, ...], pieces: tuple[Piece, ...], stack: str, *, exploded: bool) -> str:
    by_id = {piece.id: piece for piece in pieces}
    turned = stack != "upright"  # layer 1 is the front: turned over, so that the reader sees the driver's hole
    tolerance = TOLERANCE_MM * max(1.0, len(layers) / MANY)
    slabs = [_slab(layer, by_id, turned, tolerance) for layer in layers]
    total = max(layer.z_mm + layer.thickness_mm for layer in layers)
    if turned:
        slabs.reverse()
    heights = [total - s.layer.z_mm - s.layer.thickness_mm if turned else s.layer.z_mm for s in slabs]

    flat = [(_across(p), -_near(p) * SIN_E) for s in slabs for face in s.faces for p in face[0]]
    left, low, right, high = bounds([tuple(flat)])
    wide, deep = right - left, high - low
    lift = min(0.42 * deep, 4.0 * wide / len(slabs)) if exploded else 0.0  # on the page, over and above the thickness
    rise = total * COS_E + lift * (len(slabs) - 1)
    unit = max(wide, (deep + rise) * 0.5) / 100
    margin, beside = 5 * unit, 34 * unit if exploded else 5 * unit
    width, height = wide + margin + beside, deep + rise + 2 * margin
    ident = "exploded" if exploded else "closed"
    title = "The stack, layers lifted apart" if exploded else "The stack, glued up"
    stance = "lying on its back, front up" if turned else "seen from above, front and right"
    order = f"From top to bottom: {listed(tuple(f'layer {s.layer.index}' for s in reversed(slabs)))}."
    desc = f"{len(layers)} layers, {mm(total)} in all, {stance}; driver ring and terminal plate are not shown. {order}"
    drawing = page(ident, 0.0, 0.0, width, height, title=title, desc=desc)
    paint = hatch(drawing, f"{ident}-side", 0, 0.9 * unit)
    floor = height - margin + low

    groups = []
    cover: Any = Polygon()
    for k in reversed(range(len(slabs))):  # from the top, to know what is hidden
        bottom = floor - heights[k] * COS_E - lift * k
        group, shown = _draw(drawing, ident, slabs[k], bottom, margin - left, paint, unit, cover)
        # lifted apart, what hides most of a layer is the next one; the union of many open frames costs too much
        cover = unary_union(shown if exploded else [cover, *shown])
        groups.append(group)
    for group in reversed(groups):
        drawing.add(group)
    if exploded:
        for k, slab in enumerate(slabs):
            middle = floor - heights[k] * COS_E - lift * k - slab.layer.thickness_mm * COS_E / 2
            drawing.add(_name(drawing, slab, margin - left, middle, width - beside, unit, lift))
    return finish(drawing)


def _across(p: Point) -> float:
    """Return how far right a point of the plan lies on the page."""
    return p[0] * COS_A + p[1] * SIN_A


def _near(p: Point) -> float:
    """Return how near the reader a point of the plan lies."""
    return p[0] * SIN_A - p[1] * COS_A


def _thinned(ring: Ring, turned: bool, tolerance: float) -> Ring:
    """Return a ring with its arcs thinned, turned over if asked."""
    kept = LinearRing(ring).simplify(tolerance).coords[:-1]
    return tuple((x, -y) if turned else (x, y) for x, y in kept)


def _slab(layer: Layer, by_id: dict[str, Piece], turned: bool, tolerance: float) -> _Slab:
    """Return a layer with the wood to the left of every ring, also of one that was turned over."""
    faces = []
    for piece in (by_id[name] for name in layer.pieces):
        rings = (_thinned(ring, turned, tolerance) for ring in (piece.outline, *piece.holes))
        faces.append(tuple(r if LinearRing(r).is_ccw == (i == 0) else r[::-1] for i, r in enumerate(rings)))
    return _Slab(layer, tuple(faces), _far_to_near([w for face in faces for ring in face for w in _walls(ring)]))


def _walls(ring: Ring) -> list[_Wall]:
    """Return the stretches of a ring whose wall faces the reader, parted at sharp corners and where the shade changes.

    Wood lies to the left of a ring, so its wall looks to the right of it: it is seen where the ring runs rightwards.
    """
    count = len(ring)
    kinds: list[tuple[bool, bool, float, float]] = []
    for a, b in zip(ring, ring[1:] + ring[:1], strict=True):
        length = math.dist(a, b)
        dx, dy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        kinds.append((_across((dx, dy)) > 1e-6, dy > SIDE, dx, dy))

    def goes_on(i: int) -> bool:
        """Say whether edge i goes on in edge i + 1."""
        one, two = kinds[i], kinds[(i + 1) % count]
        return one[:2] == two[:2] and one[2] * two[2] + one[3] * two[3] > CORNER

    starts = [i for i in range(count) if kinds[i][0] and not goes_on(i - 1)]
    found = []
    for start in starts:
        end = start
        while goes_on(end % count):
            end += 1
        points = [ring[i % count] for i in range(start, end + 2)]
        found.append(_Wall(tuple(map(_across, points)), tuple(map(_near, points)), kinds[start][1]))
    return found


def _far_to_near(walls: list[_Wall]) -> tuple[_Wall, ...]:
    """Order walls so that none is drawn before another that it hides: sorted by what lies in front of what."""
    walls = sorted(walls, key=lambda w: (w.across, w.near))
    before: list[list[int]] = [[] for _ in walls]
    waits = [0] * len(walls)
    for i, one in enumerate(walls):
        for j in range(i + 1, len(walls)):
            two = walls[j]
            if two.across[0] > one.across[-1] - 1e-6:
                break  # sorted by where they begin: the rest lies further right
            middle = (two.across[0] + min(one.across[-1], two.across[-1])) / 2
            far, near = (i, j) if _at(one, middle) < _at(two, middle) else (j, i)
            before[far].append(near)
            waits[near] += 1
    ready = [i for i, wait in enumerate(waits) if not wait]
    order = []
    while ready:
        i = heapq.heappop(ready)
        order.append(i)
        for j in before[i]:
            waits[j] -= 1
            if not waits[j]:
                heapq.heappush(ready, j)
    return tuple(walls[i] for i in order)


def _at(wall: _Wall, across: float) -> float:
    return float(np.interp(across, wall.across, wall.near))


def _draw(
    drawing: Any, ident: str, slab: _Slab, bottom: float, shift: float, paint: str, unit: float, cover: Any
) -> tuple[Any, list[Polygon]]:
    """Return a layer as a group, and what of the page it covers. `cover` is what the layers above it cover."""
    thick = slab.layer.thickness_mm * COS_E
    group = drawing.g(
        id=f"{ident}-{slab.layer.index:02d}",
        class_="kw-layer kw-edge",
        stroke=INK,
        stroke_width=n(unit * 0.16),
        stroke_linejoin="round",
    )
    group.set_desc(title=f"Layer {slab.layer.index}")
    hides = prep(cover.buffer(HIDDEN_MM))
    shown = []
    for wall in slab.walls:
        foot = [(a + shift, bottom + d * SIN_E) for a, d in zip(wall.across, wall.near, strict=True)]
        ring = (*foot, *((x, y - thick) for x, y in reversed(foot)))
        shape = Polygon(ring)
        if shape.is_valid and not hides.covers(shape):
            shown.append(shape)
            look = {"fill": paint} if wall.side else {"fill": DARK, "class_": "kw-wood-dark"}
            group.add(drawing.path(d=_data([ring]), **look))
    for face in slab.faces:
        rings = [tuple((_across(p) + shift, bottom - thick + _near(p) * SIN_E) for p in ring) for ring in face]
        shape = Polygon(rings[0], rings[1:])
        if not shape.is_valid:
            shape = shape.buffer(0)
        if not hides.covers(shape):
            shown.append(shape)
            group.add(drawing.path(d=_data(rings), fill=WOOD, fill_rule="evenodd", class_="kw-wood"))
    return group, shown


def _data(rings: Iterable[Ring]) -> str:
    """Return path data in tenths of a millimetre, as fine as the arcs are."""
    return "".join("M" + "L".join(f"{fixed(x, 1)} {fixed(y, 1)}" for x, y in ring) + "Z" for ring in rings)


def _name(drawing: Any, slab: _Slab, shift: float, middle: float, edge: float, unit: float, lift: float) -> Any:
    """Return the ids of a layer's pieces beside it, with a thin line from its rightmost corner."""
    corner = max((p for face in slab.faces for p in face[0]), key=lambda p: (_across(p), p))
    x, y = _across(corner) + shift, middle + _near(corner) * SIN_E
    size = min(3.2 * unit, 0.9 * (lift + slab.layer.thickness_mm * COS_E))
    group = drawing.g(class_="kw-name")
    group.add(
        drawing.line(
            (n(x + unit * 0.5), n(y)),
            (n(edge + 3 * unit), n(y)),
            stroke=MUTED,
            stroke_width=n(unit * 0.15),
            class_="kw-thin",
        )
    )
    names = slab.layer.pieces
    text = listed(names) if len(names) <= 2 else f"{names[0]} to {names[-1]}"
    group.add(words(drawing, text, (edge + 4 * unit, y + 0.36 * size), size))
    return group
