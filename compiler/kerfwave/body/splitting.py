"""Splitting: a piece too large for sheet and bed, or wasteful on the sheet, becomes several.

A piece is cut by straight lines across its longer side, near its middle, until every part fits. Seams stagger like
brickwork: one keeps clear of the seams of the layer below, and of seats, bores, dowels and screws of its own; and the
layers above and below lap over all of it, so it is as tight as the glue between them. A seam may be keyed where the
wood is wide enough: a dovetail of one part lies in the other and holds it while the glue sets.
"""

from __future__ import annotations

from collections.abc import Callable
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
HAIR_MM = 0.01
OPEN_MM = 0.5  # of a seam that a neighbour does not lap: below, it is rounding
WASTEFUL = 0.5  # of the box around it that a piece fills: below, it may be worth splitting (own choice)
LEAST_PART_MM2 = 1500.0  # of a part that is split off to save stock: a strip of 10 by 150 mm (own choice)
LONG_CUT_MM = 30.0  # of a seam to save stock, through one wall: a longer one runs along it (own choice)
SHORT_CUT_MM = 10.0  # seams whose lengths differ by less count as equally short
FLARE = 1.3  # of a key: head over neck
KEY_MM = 10.0  # longest key
GRIP = 0.8  # of a key: length over neck

Rooms = tuple[tuple[float, float], ...]


class CannotSplit(Exception):
    """A piece that no allowed seam makes fit; the message names it."""


@dataclass(frozen=True, slots=True)
class Seam:
    """One straight seam across a layer: at x or y equal to `at_mm`."""

    axis: int  # 0: at an x, 1: at a y
    at_mm: float


@dataclass(frozen=True, slots=True)
class _Around:
    """What a seam of one layer has to respect."""

    clear: BaseGeometry  # where no seam may run
    laps: tuple[BaseGeometry, ...]  # wood of the layers above and below, a hair wider than it is
    below: tuple[Seam, ...]
    layer: int
    web_mm: float


def fits(shape: Polygon, room_mm: Rooms) -> bool:
    """Return whether a piece lies within one of the rooms, as it is or turned by a quarter."""
    x0, y0, x1, y1 = shape.bounds
    w, h = x1 - x0, y1 - y0
    return any((w <= a and h <= b) or (h <= a and w <= b) for a, b in room_mm)


def wasteful(shape: Polygon) -> bool:
    """Return whether a piece fills so little of the box around it that parts of it may lie closer on a sheet."""
    x0, y0, x1, y1 = shape.bounds
    return bool(shape.area < WASTEFUL * (x1 - x0) * (y1 - y0))


def split_layers(
    body: Body,
    slices: Slices,
    rooms_mm: tuple[Rooms, ...],
    *,
    sparing_mm: float | None = None,
    keyed: bool = False,
) -> Slices:
    """Split what does not fit any of the rooms of its kind of sheet (usable width and height, bed included).

    With `sparing_mm` wasteful pieces are split as well, where they have a place for a seam, until no part of them is
    longer than that. `keyed` gives seams a key wherever there is room for one.

    Raises:
        CannotSplit: if a piece that does not fit has no place for a seam.
    """
    pieces: list[Piece] = []
    layers: list[Layer] = []
    below: tuple[Seam, ...] = ()
    web = body.rules.least_web_mm
    by_id = {p.id: p for p in slices.pieces}
    wood = [
        unary_union([shapes.polygon(by_id[name].outline, by_id[name].holes) for name in layer.pieces]).buffer(HAIR_MM)
        for layer in slices.layers
    ]
    for k, layer in enumerate(slices.layers):
        around = _Around(_clear(body, layer), (*wood[max(k - 1, 0) : k], *wood[k + 1 : k + 2]), below, layer.index, web)
        rooms = rooms_mm[body.counts.kinds[k]]
        seams: list[Seam] = []
        parts: list[tuple[Polygon, Piece]] = []
        for piece in (by_id[name] for name in layer.pieces):
            shape = shapes.polygon(piece.outline, piece.holes)
            wanted = _wanted(shape, rooms, sparing_mm)
            found = _parts(shape, wanted, rooms, around, seams, piece.id, web if keyed else None)
            parts += [(part, piece) for part in found]
        if len(parts) == len(layer.pieces):
            pieces += [piece for _, piece in parts]
            layers.append(layer)
        else:
            named = []
            for n, (part, piece) in enumerate(parts):
                outline, holes = shapes.rings_of(part)
                named.append(replace(piece, id=f"L{layer.index:02d}{letters(n)}", outline=outline, holes=holes))
            pieces += named
            layers.append(replace(layer, pieces=tuple(p.id for p in named)))
        below = tuple(seams)
    return Slices(tuple(layers), tuple(pieces))


def _clear(body: Body, layer: Layer) -> BaseGeometry:
    middle = layer.z_mm + layer.thickness_mm / 2
    return unary_union(
        [
            shapes.polygon(p.outline).buffer(CLEAR_MM)
            for p in body.air
            if p.kind not in ("chamber", "guide") and p.from_z_mm < middle < p.to_z_mm
        ]
    )


def _wanted(shape: Polygon, room_mm: Rooms, sparing_mm: float | None) -> Callable[[Polygon], bool]:
    """Return the test whether a part of `shape` is small enough."""
    if sparing_mm is None or not wasteful(shape):
        return lambda part: fits(part, room_mm)
    longest = sparing_mm

    def small(part: Polygon) -> bool:
        x0, y0, x1, y1 = part.bounds
        return max(x1 - x0, y1 - y0) <= longest and fits(part, room_mm)

    return small


def _parts(
    shape: Polygon,
    small: Callable[[Polygon], bool],
    room_mm: Rooms,
    around: _Around,
    seams: list[Seam],
    name: str,
    key_web_mm: float | None,
) -> list[Polygon]:
    whole: list[Polygon] = [shape]
    done: list[Polygon] = []
    while whole:
        part = whole.pop(0)
        if small(part):
            done.append(part)
            continue
        many = len(whole) + len(done) >= MOST_PARTS
        seam = None if many else _seam(part, around, wish=fits(part, room_mm))
        if seam is None and fits(part, room_mm):
            done.append(part)  # splitting it was only a wish
            continue
        if many:
            raise CannotSplit(f"{name} falls into more than {MOST_PARTS} parts before all of them fit the bed")
        if seam is None:
            raise CannotSplit(f"{name} is too large for the bed, and has no place for a seam clear of its cuts")
        seams.append(seam)
        halves = list(shapes.parts_of(cut_along(part, _line(part, seam))))
        whole += halves if key_web_mm is None else _keyed(halves, part, seam, around.clear, key_web_mm, room_mm)
    return done


def _line(part: Polygon, seam: Seam) -> LineString:
    x0, y0, x1, y1 = part.bounds
    if seam.axis == 0:
        return LineString([(seam.at_mm, y0 - 1.0), (seam.at_mm, y1 + 1.0)])
    return LineString([(x0 - 1.0, seam.at_mm), (x1 + 1.0, seam.at_mm)])


def _seam(part: Polygon, around: _Around, *, wish: bool) -> Seam | None:
    """Return the seam that makes the fewest parts with the shortest cuts, nearest to where this layer wants it.

    It wants it left of the middle and right of it by turns. Both neighbours lap over a seam; where there is no such
    place, one of them does. A seam that is only a `wish` makes two parts, each large enough to be held by its glue.
    """
    x0, y0, x1, y1 = part.bounds
    axis = 0 if x1 - x0 >= y1 - y0 else 1
    low, high = (x0, x1) if axis == 0 else (y0, y1)
    wanted = (low + high) / 2 + (STAGGER_MM if around.layer % 2 else -STAGGER_MM) / 1.5
    steps = int((high - low) * 0.35 // STEP_MM)
    best: tuple[tuple[bool, int, int, int], Seam] | None = None
    for k in range(2 * steps + 1):
        at = round(wanted + (k + 1) // 2 * STEP_MM * (1 if k % 2 else -1), 3)
        seam = Seam(axis, at)
        if any(s.axis == axis and abs(s.at_mm - at) < STAGGER_MM for s in around.below):
            continue
        cut = _line(part, seam).intersection(part)
        if cut.is_empty or cut.intersects(around.clear):
            continue
        bare = [cut.difference(wood).length for wood in around.laps]
        if min(bare, default=0.0) > OPEN_MM:
            continue
        halves = shapes.parts_of(cut_along(part, _line(part, seam)))
        longest = max(line.length for line in getattr(cut, "geoms", [cut]))
        if wish and (len(halves) > 2 or longest > LONG_CUT_MM or min(h.area for h in halves) < LEAST_PART_MM2):
            continue
        rank = (max(bare, default=0.0) > OPEN_MM, len(halves), round(cut.length / SHORT_CUT_MM), k)
        if (best is None or rank < best[0]) and _sound(halves, around.web_mm):
            best = (rank, seam)
    return best[1] if best else None


def _sound(halves: tuple[Polygon, ...], web_mm: float) -> bool:
    """Return whether no part has a strip narrower than a web: a seam that ran along a wall would leave one."""
    return all(len(shapes.parts_of(half.buffer(-0.48 * web_mm, quad_segs=4), 1e-6)) == 1 for half in halves)


# --- keys -------------------------------------------------------------------------------------------------------


def _keyed(
    halves: list[Polygon], part: Polygon, seam: Seam, clear: BaseGeometry, web_mm: float, room_mm: Rooms
) -> list[Polygon]:
    """Return the parts with a key across every crossing of the seam that is wide enough, from the low side to the high.

    Neck and the wood beside the head are a web wide at least. What would not fit the room any more stays as it is.
    """
    crossing = _line(part, seam).intersection(part)
    inner = part.buffer(-web_mm).buffer(0.02)
    for line in sorted(getattr(crossing, "geoms", [crossing]), key=lambda g: g.bounds):
        key = _key(line, seam, web_mm)
        if key is None or key.intersects(clear) or not inner.covers(key):
            continue
        low = [i for i, half in enumerate(halves) if _below(half, seam) and half.distance(line) < 1e-9]
        high = [i for i, half in enumerate(halves) if not _below(half, seam) and half.distance(line) < 1e-9]
        if len(low) != 1 or len(high) != 1:
            continue
        grown, cut = halves[low[0]].union(key), halves[high[0]].difference(key)
        if isinstance(grown, Polygon) and isinstance(cut, Polygon) and fits(grown, room_mm):
            halves[low[0]], halves[high[0]] = grown, cut
    return halves


def _below(half: Polygon, seam: Seam) -> bool:
    bounds = half.bounds
    return bool((bounds[seam.axis] + bounds[seam.axis + 2]) / 2 < seam.at_mm)


def _key(line: BaseGeometry, seam: Seam, web_mm: float) -> Polygon | None:
    """Return a dovetail on the high side of a crossing; None where it is too narrow for neck, head and two webs."""
    along = 1 - seam.axis
    low, high = line.bounds[along], line.bounds[along + 2]
    neck = max(web_mm, min((high - low) / 4, KEY_MM / GRIP))
    head = FLARE * neck
    if high - low < head + 2 * web_mm:
        return None
    middle, deep = (low + high) / 2, GRIP * neck
    corners = ((-neck / 2, 0.0), (neck / 2, 0.0), (head / 2, deep), (-head / 2, deep))
    if seam.axis == 0:
        return Polygon([(seam.at_mm + d, middle + s) for s, d in corners])
    return Polygon([(middle + s, seam.at_mm + d) for s, d in corners])
