"""A number of sheets that no layout can beat."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt
from shapely.geometry import MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from kerfwave.model.parts import Ring
from kerfwave.nest import lines
from kerfwave.nest.areas import Area
from kerfwave.nest.conflict import Solid, at_origin, most_apart
from kerfwave.nest.duals import Whole, functions
from kerfwave.nest.items import Item
from kerfwave.nest.within import radius_within, rectangles_within

_UNIT = 10_000  # whole sizes are 0.0001 mm
_UNIT_MM2 = 100  # and whole areas 0.01 mm2
_SIZES = 6  # of the largest pieces, from which dual feasible functions are made
_HAIR_MM = 1e-6
_FAR = np.iinfo(np.int64).max


def least_sheets(items: tuple[Item, ...], sizes: tuple[Area, ...], spacing_mm: float, enough: int | None = None) -> int:
    """Return a proven lower bound on the number of sheets.

    Small pieces may lie in the windows of large ones, so two sets of pieces are looked at: all, and those larger than
    any that may fit a window. Windows that none of the set can enter are taken for wood. What is left is counted in
    four ways, and the largest number holds:

    - By area. Pieces grown by half the spacing don't overlap, and lie in the usable area grown likewise.
    - By upright rectangles within the pieces, of any two of which the same is true. Areas, widths and heights go
      through `duals` first, as pieces can't be divided. A piece that may be turned counts what it does in the way
      that is worth less; one that may lie at any angle, what a square within a circle within it does.
    - By what lines across the sheet have of them (`lines`), which knows more of outlines that are no rectangles.
    - By pieces of which no two can share a sheet, whatever lies beside them (`conflict`).

    Sheets are counted from the one that may hold most, as many as there are of each size; of a sheet with an outline
    only its area and the box around it count. Once a bound is `enough`, no better one is looked for.
    """
    counts = tuple(min(a.count, len(items)) for a in sizes)
    best = min(1, len(items))
    windows = _Windows(items, spacing_mm)
    sets = [_solids(kept, windows) for kept in _sets(items, windows)]
    for way in (_by_area, _by_rectangles, _by_lines, _by_pairs):  # the quick ones first
        for solids in sets:
            if enough is not None and best >= enough:
                return best
            best = max(best, way(solids, sizes, counts, spacing_mm))
    return best


_Room = tuple[float, float, float, float]  # area, girth, width and height


class _Windows:
    """Which pieces may lie in which windows; what has been measured is kept."""

    def __init__(self, items: Iterable[Item], spacing_mm: float) -> None:
        self.spacing_mm = spacing_mm
        self.sizes: dict[tuple[object, ...], _Room] = {}
        self.found: dict[Ring, tuple[_Room, ...]] = {}
        for item in items:
            if item.kind not in self.sizes:
                girth, width, height = _around(MultiPoint(item.piece.outline))
                self.sizes[item.kind] = (item.filled_mm2, girth, width, height)

    def rooms(self, hole: Ring) -> tuple[_Room, ...]:
        """Measure what a window leaves beside the spacing; no less."""
        if hole not in self.found:
            inner = Polygon(hole).buffer(_HAIR_MM - self.spacing_mm)
            parts = [part for part in getattr(inner, "geoms", [inner]) if not part.is_empty]
            self.found[hole] = tuple((part.area, *_around(part)) for part in parts)
        return self.found[hole]

    def may_take(self, rooms: Iterable[_Room], item: Item) -> bool:
        """Whether nothing simple says that an item can't lie in any of some rooms: area, girth, box."""
        area, girth, width, height = self.sizes[item.kind]
        for room, around, w, h in rooms:
            boxed = (width <= w and height <= h) or (height <= w and width <= h)
            if area <= room and girth <= around and (boxed or item.oblique):
                return True
        return False


def _around(shape: BaseGeometry) -> tuple[float, float, float]:
    """Girth, width and height of the convex hull of a shape."""
    hull = shape.convex_hull
    x0, y0, x1, y1 = hull.bounds
    return hull.length, x1 - x0, y1 - y0


def _sets(items: tuple[Item, ...], windows: _Windows) -> list[tuple[Item, ...]]:
    """Return all items, and those larger than any that may fit a window."""
    kinds = {i.kind: i for i in items}.values()
    rooms = dict.fromkeys(room for i in kinds for hole in i.piece.holes for room in windows.rooms(hole))
    enter = sorted({i.filled_mm2 for i in kinds if windows.may_take(rooms, i)})
    if not enter:
        return [items]
    large = tuple(i for i in items if i.filled_mm2 > enter[-1])
    return [items, large] if large else [items]


def _solids(items: tuple[Item, ...], windows: _Windows) -> tuple[Solid, ...]:
    kinds: dict[tuple[object, ...], list[Item]] = {}
    for item in items:
        kinds.setdefault(item.kind, []).append(item)
    firsts = [those[0] for those in kinds.values()]
    found = []
    for those in kinds.values():
        item = those[0]
        others = firsts if len(those) > 1 else [one for one in firsts if one is not item]
        holes = [hole for hole in item.piece.holes if any(windows.may_take(windows.rooms(hole), i) for i in others)]
        found.append(Solid(item, Polygon(item.piece.outline, holes), len(those)))
    return tuple(sorted(found, key=lambda s: (-s.shape.area, s.item.piece.id)))


# --- counting ---------------------------------------------------------------------------------------------------------


def _sheets(total: int, rooms: Sequence[int], counts: Sequence[int]) -> int:
    """Return how many rooms, the largest first, it takes to come to a total; all that hold anything if they don't."""
    found = 0
    for room, count in sorted(zip(rooms, counts, strict=True), reverse=True):
        if total <= 0 or room <= 0:
            break
        need = min(count, -(-total // room))
        found += need
        total -= need * room
    return found


def _by_area(solids: tuple[Solid, ...], sizes: tuple[Area, ...], counts: tuple[int, ...], spacing_mm: float) -> int:
    # What shapely grows is never too large: it draws arcs within the true ones.
    parts = np.array([_down(s.shape.buffer(spacing_mm / 2).area, _UNIT_MM2) for s in solids], dtype=np.int64)
    rooms = np.array([_up(a.room_mm2(spacing_mm), _UNIT_MM2) for a in sizes], dtype=np.int64)
    many = np.array([s.count for s in solids], dtype=np.int64)
    capacity = int(rooms.max())
    if len(parts) == 0 or capacity < 2:
        return 0
    return max(
        _sheets(int(f(np.minimum(parts, capacity)) @ many), f(rooms).tolist(), counts)
        for f in functions(parts[:_SIZES].tolist(), capacity)
    )


def _by_pairs(solids: tuple[Solid, ...], sizes: tuple[Area, ...], counts: tuple[int, ...], spacing_mm: float) -> int:
    return most_apart(solids, sizes, spacing_mm)


def _by_rectangles(
    solids: tuple[Solid, ...], sizes: tuple[Area, ...], counts: tuple[int, ...], spacing_mm: float
) -> int:
    # Rectangles a distance apart are at least 0.7 of it apart in x or in y.
    gap = spacing_mm * math.sqrt(0.5)
    rooms_x = np.array([_up(a.width_mm + gap, _UNIT) for a in sizes], dtype=np.int64)
    rooms_y = np.array([_up(a.height_mm + gap, _UNIT) for a in sizes], dtype=np.int64)
    most_x, most_y = int(rooms_x.max()), int(rooms_y.max())
    if not solids:
        return 0
    sides = _sides(solids, gap)
    x, y = sides[..., 0], sides[..., 1]
    lies = (x <= most_x) & (y <= most_y) & _ways(solids)[:, None, :]  # not where the rectangle is too large for it
    many = np.array([s.count for s in solids], dtype=np.int64)
    x, y = np.minimum(x, most_x), np.minimum(y, most_y)
    first = sides[:, :, 0]  # as drawn
    widest = first[np.arange(len(solids)), (first[..., 0] * first[..., 1]).argmax(axis=1)]
    cuts = list(dict.fromkeys(int(v) for v in np.sort(widest, axis=1)[:, ::-1].reshape(-1) if v))[:_SIZES]
    across, up = functions(cuts, most_x), functions(cuts, most_y)
    fx, fy = [f(x) for f in across], [f(y) for f in up]
    rx, ry = [f(rooms_x) for f in across], [f(rooms_y) for f in up]

    def sheets(worth: Whole, rooms: Whole) -> int:
        least = np.where(lies, worth, _FAR).min(axis=2)
        least[least == _FAR] = 0
        return _sheets(int(least.max(axis=1) @ many), rooms.tolist(), counts)

    best = 0
    for a in range(len(across)):
        for b in range(len(up)):
            one = fx[a] * fy[b]
            best = max(best, sheets(one, rx[a] * ry[b]))
            if a < b:  # both ways round at once: what holds for each holds for the sum
                best = max(best, sheets(one + fx[b] * fy[a], rx[a] * ry[b] + rx[b] * ry[a]))
    return best


def _by_lines(solids: tuple[Solid, ...], sizes: tuple[Area, ...], counts: tuple[int, ...], spacing_mm: float) -> int:
    wide, high = [a.width_mm + spacing_mm for a in sizes], [a.height_mm + spacing_mm for a in sizes]
    many = np.array([s.count for s in solids], dtype=np.int64)
    turned = [_both_ways(s, spacing_mm) for s in solids]
    cuts = list(dict.fromkeys(_down(side, _UNIT) for both in turned for side in both[0].bounds[2:]))[:_SIZES]
    cut: dict[tuple[int, int, float], lines.Rows] = {}  # for a sheet as wide as high the same twice
    totals, rooms = [], []
    for quarter, (across, along) in enumerate(((wide, high), (high, wide))):
        duals = functions(cuts, _up(max(across), _UNIT))
        for k, both in enumerate(turned):
            for way in (0, 1):
                key = (k, way ^ quarter, max(along))
                if key not in cut:
                    cut[key] = lines.rows_of(both[way ^ quarter], max(along) / lines.ROWS)
        rows = [cut[k, way ^ quarter, max(along)] for k in range(len(turned)) for way in (0, 1)]
        totals.append(lines.measures(rows, duals, max(along)).reshape(len(turned), 2, len(duals), -1))
        sides = zip(across, along, strict=True)
        rooms.append(np.array([lines.rooms(duals, _up(a, _UNIT), b, max(along)) for a, b in sides]))
    lies = _ways(solids)[:, :, None, None]
    best = 0
    for worth, room in ((totals[0], rooms[0]), (totals[1], rooms[1]), (totals[0] + totals[1], rooms[0] + rooms[1])):
        least = np.where(lies, worth, _FAR).min(axis=1)
        sums = np.tensordot(many, least, axes=1).reshape(-1).tolist()
        for total, there in zip(sums, room.reshape(len(sizes), -1).T.tolist(), strict=True):
            best = max(best, _sheets(total, there, counts))
    return best


def _both_ways(solid: Solid, spacing_mm: float) -> tuple[Polygon, Polygon]:
    """Return a solid grown by half the spacing, as drawn and turned; a circle in it if it may lie at any angle."""
    shape = solid.shape
    if solid.item.oblique:
        shape = Point(0.0, 0.0).buffer(radius_within(shape))
    grown = shape.buffer(spacing_mm / 2)
    return at_origin(grown, 0), at_origin(grown, 1)


def _sides(solids: tuple[Solid, ...], gap_mm: float) -> Whole:
    """Return sides of rectangles within each solid, grown: shape (solids, rectangles, ways, 2); 0 for none."""
    sets: list[tuple[tuple[float, float], ...]] = []
    for solid in solids:
        if solid.item.oblique:
            side = radius_within(solid.shape) * math.sqrt(2.0)
            sets.append(((side, side),))
        else:
            sets.append(rectangles_within(solid.shape))
    found = np.zeros((len(sets), max(map(len, sets)), 2, 2), dtype=np.int64)
    for i, rectangles in enumerate(sets):
        for j, (width, height) in enumerate(rectangles):
            w, h = _down(width + gap_mm, _UNIT), _down(height + gap_mm, _UNIT)
            found[i, j] = ((w, h), (h, w))
    return found


def _ways(solids: tuple[Solid, ...]) -> npt.NDArray[np.bool_]:
    """Return for each solid whether it may lie as drawn, and turned by a quarter; both, at any angle."""
    turns = [{0, 1} if s.item.oblique else {round(deg / 90) % 2 for deg in s.item.ways} for s in solids]
    return np.array([[0 in t, 1 in t] for t in turns])


def _down(value: float, unit: int) -> int:
    return math.floor(value * unit - 1e-3)


def _up(value: float, unit: int) -> int:
    return math.ceil(value * unit + 1e-3) + 1
