"""What must be cut before what on one sheet, so that nothing is cut loose and then cut again.

- Holes come before the outline of their piece, and pieces that lie in a hole before that hole.
- A small piece comes before the outline of a neighbour within 10 mm that is more than four times its size, and a
  piece that is held by bridges (slender or tiny) before that of any larger neighbour: what frees the larger one
  takes away what holds the smaller (common practice; the figures are our own choice). Sizes are those of filled
  outlines, so a piece never comes before what lies in its windows.
"""

from __future__ import annotations

from collections.abc import Sequence

from shapely import STRtree
from shapely.geometry import Polygon

NEAR_MM = 10.0
SMALLER = 0.25


def precedence(
    lines: Sequence[tuple[int, int | None]], shapes: Sequence[Polygon], fragile: Sequence[bool]
) -> list[tuple[int, ...]]:
    """Return for each line the lines that must follow it.

    Parameters
    ----------
    lines
        (piece, hole) of each line; the hole is None for an outline.
    shapes
        the pieces as they lie on the sheet.
    fragile
        for each piece whether it goes before any larger neighbour.
    """
    outline = {piece: i for i, (piece, hole) in enumerate(lines) if hole is None}
    later: list[set[int]] = [set() for _ in lines]
    holes = [
        (i, piece, Polygon(shapes[piece].interiors[hole])) for i, (piece, hole) in enumerate(lines) if hole is not None
    ]
    for i, piece, _ in holes:
        later[i].add(outline[piece])
    if holes:
        inside = [shape.representative_point() for shape in shapes]
        pieces, around = STRtree([hole for *_, hole in holes]).query(inside, predicate="within")
        for piece, k in zip(pieces.tolist(), around.tolist(), strict=True):
            i, owner, _ = holes[k]
            if owner != piece:
                later[outline[piece]].add(i)
    if not shapes:
        return []
    filled = [Polygon(shape.exterior).area for shape in shapes]
    a, b = STRtree(list(shapes)).query(list(shapes), predicate="dwithin", distance=NEAR_MM)
    for small, large in zip(a.tolist(), b.tolist(), strict=True):
        if filled[small] < filled[large] * (1.0 if fragile[small] and not fragile[large] else SMALLER):
            later[outline[small]].add(outline[large])
    return [tuple(sorted(those)) for those in later]
