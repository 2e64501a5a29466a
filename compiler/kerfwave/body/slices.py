"""Slicing: the wood of a layer is the plan less all air that crosses it. That one subtraction is all of it."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from kerfwave.body import shapes
from kerfwave.body.air import Body
from kerfwave.model.parts import AirPrism, Layer, Piece


@dataclass(frozen=True, slots=True)
class Slices:
    """The stack: layers from the bottom (or, facing, from the front) and every piece they are made of."""

    layers: tuple[Layer, ...]
    pieces: tuple[Piece, ...]


def air_of_layer(air: tuple[AirPrism, ...], from_z_mm: float, to_z_mm: float) -> BaseGeometry:
    """Return the air that crosses a layer, as one shape."""
    crossing = [
        shapes.polygon(p.outline, p.holes)
        for p in air
        if min(p.to_z_mm, to_z_mm) - max(p.from_z_mm, from_z_mm) > shapes.EPS
    ]
    return unary_union(crossing) if crossing else Polygon()


def letters(index: int) -> str:
    """Return a, b, ... z, aa, ab, ... for 0, 1, ..."""
    text = ""
    index += 1
    while index:
        index, digit = divmod(index - 1, 26)
        text = chr(ord("a") + digit) + text
    return text


def slices(body: Body, stock: str, *, grain: str | None = None, kinds: tuple[str, ...] = ()) -> Slices:
    """Cut the body into layers and the layers into pieces.

    A layer in one piece gives `L08`; one in several gives `L08a`, `L08b`, front to back and left to right. `grain` is
    the axis of the body that the face grain of every layer shall follow, None if it may lie as it likes. `stock` is the
    name of what they are cut from; where there are several kinds of sheet, `kinds` are their names.
    """
    counts, outline = body.counts, shapes.polygon(body.skin)
    layers: list[Layer] = []
    pieces: list[Piece] = []
    for i, (t, kind) in enumerate(zip(counts.thickness_mm, counts.kinds, strict=True)):
        low, high = counts.z_mm[i], counts.z_mm[i + 1]
        wood = outline.difference(air_of_layer(body.air, low, high))
        parts = shapes.parts_of(wood)
        names = []
        for k, part in enumerate(parts):
            name = f"L{i + 1:02d}" + (letters(k) if len(parts) > 1 else "")
            ring, holes = shapes.rings_of(part)
            pieces.append(Piece(name, "layer", ring, holes, t, layer=i + 1, grain=grain))
            names.append(name)
        layers.append(Layer(i + 1, low, t, kinds[kind] if kinds else stock, tuple(names)))
    return Slices(tuple(layers), tuple(pieces))


def joints(sliced: Slices) -> tuple[BaseGeometry, ...]:
    """Return where wood lies on wood, between each layer and the next one."""
    shape = {p.id: shapes.polygon(p.outline, p.holes) for p in sliced.pieces}
    wood = [unary_union([shape[name] for name in layer.pieces]) for layer in sliced.layers]
    return tuple(below.intersection(above) for below, above in itertools.pairwise(wood))
