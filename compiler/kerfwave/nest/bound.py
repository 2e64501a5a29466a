"""A number of sheets that no layout can beat."""

from __future__ import annotations

import math
from collections.abc import Callable

from shapely.geometry import Polygon

from kerfwave.nest.areas import Area
from kerfwave.nest.items import Item
from kerfwave.nest.offcut import largest_free
from kerfwave.nest.raster import taken_cells

_ROUNDING = 1e-6  # areas are rounded sums; never claim more than is sure
_STEPS = 7  # dual feasible functions tried
_CELL_MM = 3.0  # in which rectangles within pieces are looked for


def least_sheets(items: tuple[Item, ...], sizes: tuple[Area, ...], spacing_mm: float) -> int:
    """Return a proven lower bound on the number of sheets.

    Pieces grown by half the spacing don't overlap, and lie in the usable area grown likewise. So their areas can't
    add up to more. That holds for the wood of all pieces; and it holds for the filled outlines of those whose
    outline is larger than every window, as none of them can lie in another. The largest sheets are counted first.

    As pieces can't be divided, areas are also counted through dual feasible functions, which round a piece of more
    than half a sheet up to a whole one, of more than a third to a half, and so on (Fekete, Schepers 2004, "A general
    framework for bounds for higher-dimensional orthogonal packing problems", Math. Methods Oper. Res. 60, 311-329).
    The same is done with the width and height of an upright rectangle that lies within each of those outlines: such
    rectangles don't overlap either.
    """
    half = spacing_mm / 2
    windows = [Polygon(ring).area for i in items for ring in i.piece.holes]
    widest = max(windows, default=0.0)
    wood = [Polygon(i.piece.outline, i.piece.holes).buffer(half).area for i in items]
    large = tuple(i for i in items if i.filled_mm2 > widest)
    filled = [Polygon(i.piece.outline).buffer(half).area for i in large]
    rooms = sorted((a.room_mm2(spacing_mm) for a in sizes for _ in range(min(a.count, len(items)))), reverse=True)
    return max(
        _by_area(max(sum(wood), sum(filled)), rooms),
        *(_rounded(sum(step(a / rooms[0]) for a in parts)) for parts in (wood, filled) for step in _functions()),
        _by_rectangles(large, sizes, spacing_mm),
    )


def _by_area(need_mm2: float, rooms_mm2: list[float]) -> int:
    need = need_mm2 * (1 - _ROUNDING)
    count = 0
    for room in rooms_mm2:
        if need <= 0:
            break
        need -= room
        count += 1
    return count


def _rounded(sheets: float) -> int:
    return math.ceil(sheets * (1 - _ROUNDING))


def _functions() -> list[Callable[[float], float]]:
    """Functions of shares of a sheet: whatever shares add up to 1 at most, so do their images."""

    def step(k: int) -> Callable[[float], float]:
        return lambda share: max(0, math.floor((k + 1) * share - _ROUNDING)) / k

    return [lambda share: share, *(step(k) for k in range(1, _STEPS))]


def _by_rectangles(items: tuple[Item, ...], sizes: tuple[Area, ...], spacing_mm: float) -> int:
    """Count by rectangles inside the outlines. Only quarter turns keep them upright; other pieces are left out."""
    # Rectangles a distance apart are at least 0.7 of it apart in x or in y.
    gap = spacing_mm * math.sqrt(0.5)
    width, height = max(a.width_mm for a in sizes) + gap, max(a.height_mm for a in sizes) + gap
    shares = []
    known: dict[object, tuple[float, float]] = {}
    for item in items:
        if any(s.deg % 90 for s in item.stances) or 16 * item.filled_mm2 < width * height:
            continue
        shell = item.stances[0].shell, item.ways
        if shell not in known:
            known[shell] = _within(item)
        w, h = (side + gap for side in known[shell])
        ways = {round(s.deg / 90) % 2 for s in item.stances}
        shares.append([(w / width, h / height) if way == 0 else (h / width, w / height) for way in sorted(ways)])
    return max(
        (
            _rounded(sum(min(across(x) * up(y) for x, y in ways) for ways in shares))
            for across in _functions()
            for up in _functions()
        ),
        default=0,
    )


def _within(item: Item) -> tuple[float, float]:
    """Width and height, in the piece's own directions, of a large upright rectangle within its filled outline."""
    ring = item.piece.outline
    x0, y0 = min(x for x, _ in ring), min(y for _, y in ring)
    width, height = max(x for x, _ in ring) - x0, max(y for _, y in ring) - y0
    if item.filled_mm2 > width * height - 1e-6:
        return width, height
    rows, columns = math.ceil(height / _CELL_MM), math.ceil(width / _CELL_MM)
    low, right, top = -_CELL_MM, (columns + 1) * _CELL_MM, (rows + 1) * _CELL_MM
    around = ((low, low), (right, low), (right, top), (low, top))
    outside = (around, tuple((x - x0, y - y0) for x, y in ring))
    found = largest_free(taken_cells((outside,), (rows, columns), cell_mm=_CELL_MM, grow_mm=0.0))
    return (found[2] * _CELL_MM, found[3] * _CELL_MM) if found else (0.0, 0.0)
