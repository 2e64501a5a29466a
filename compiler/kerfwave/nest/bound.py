"""A number of sheets that no layout can beat."""

from __future__ import annotations

from shapely.geometry import Polygon

from kerfwave.nest.items import Area, Item


def least_sheets(items: tuple[Item, ...], sizes: tuple[Area, ...], spacing_mm: float) -> int:
    """Return a proven lower bound on the number of sheets.

    Pieces grown by half the spacing don't overlap, and lie in the usable area grown likewise. So their areas can't
    add up to more. That holds for the wood of all pieces; and it holds for the filled outlines of those whose
    outline is larger than every window, as none of them can lie in another. The largest sheets are counted first.
    """
    half = spacing_mm / 2
    windows = [Polygon(ring).area for i in items for ring in i.piece.holes]
    widest = max(windows, default=0.0)
    wood = sum(Polygon(i.piece.outline, i.piece.holes).buffer(half).area for i in items)
    filled = sum(Polygon(i.piece.outline).buffer(half).area for i in items if i.filled_mm2 > widest)
    need = max(wood, filled) * (1 - 1e-6)  # areas are rounded sums; never claim more than is sure
    count = 0
    for area in sorted((_grown(a, spacing_mm) for a in sizes for _ in range(min(a.count, len(items)))), reverse=True):
        if need <= 0:
            break
        need -= area
        count += 1
    return count


def _grown(area: Area, spacing_mm: float) -> float:
    return (area.width_mm + spacing_mm) * (area.height_mm + spacing_mm)
