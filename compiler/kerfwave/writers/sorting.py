"""Pieces by themselves: all of them on one page to sort the cut wood by, and an inset large."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kerfwave.model.parts import Piece, Placement, Point
from kerfwave.writers.svg import MUTED, bounds, dimension, finish, fitted, hatch, label_piece, page, piece_group, words
from kerfwave.writers.words import mm, plain, slug


def pieces_svg(pieces: Iterable[Piece], placements: Iterable[Placement] = (), *, columns: int = 4) -> str:
    """Return every piece at one common scale in a grid, in the order given, each with its id, layer and sheet."""
    parts = tuple(pieces)
    sheet = {p.piece: p.sheet for p in placements}
    boxes = [bounds([p.outline]) for p in parts]
    widest = max(x1 - x0 for x0, _, x1, _ in boxes)
    unit = widest / 30
    line = 3.0 * unit
    cell_width = widest + 3 * unit
    rows = [range(i, min(i + columns, len(parts))) for i in range(0, len(parts), columns)]
    heights = [max(boxes[i][3] - boxes[i][1] for i in row) + 2.6 * line for row in rows]
    width = cell_width * min(columns, len(parts)) + 3 * unit
    desc = "Every piece, in the order of the stack: " + ", ".join(plain(p.id) for p in parts) + "."
    drawing = page("pieces", 0.0, 0.0, width, sum(heights) + unit, title="Map of the pieces", desc=desc)
    paint = hatch(drawing, "pieces-wood", 45, unit)
    top = unit
    for row, height in zip(rows, heights, strict=True):
        for column, i in enumerate(row):
            corner = (2 * unit + column * cell_width, top)
            drawing.add(_cell(drawing, parts[i], boxes[i], corner, paint, unit, sheet.get(parts[i].id), cell_width))
        top += height
    return finish(drawing)


def inset_svg(piece: Piece, title: str) -> str:
    """Return an inset by itself, to look at while gluing: its wood, its id and its outside size."""
    x0, y0, x1, y1 = bounds([piece.outline])
    unit = max(x1 - x0, y1 - y0) / 40
    left, top, edge = 9 * unit, 8 * unit, 2 * unit
    width, height = x1 - x0 + left + edge, y1 - y0 + top + edge
    size = f"{mm(x1 - x0)} by {mm(y1 - y0)}"
    prefix = f"inset-{slug(piece.id)}"
    drawing = page(prefix, 0.0, 0.0, width, height, title=f"{title} {piece.id}", desc=f"{title}, {size} outside.")

    def place(point: Point) -> Point:
        return point[0] - x0 + left, y1 - point[1] + top

    group = piece_group(drawing, prefix, piece, place, hatch(drawing, f"{prefix}-wood", 45, unit), unit * 0.15)
    group.add(label_piece(drawing, piece, place, 3 * unit))
    drawing.add(group)
    drawing.add(dimension(drawing, (left, top * 0.6), (width - edge, top * 0.6), mm(x1 - x0), 2.4 * unit))
    drawing.add(dimension(drawing, (left * 0.6, height - edge), (left * 0.6, top), mm(y1 - y0), 2.4 * unit))
    return finish(drawing)


def _cell(
    drawing: Any,
    piece: Piece,
    box: tuple[float, float, float, float],
    corner: Point,
    paint: str,
    unit: float,
    sheet: int | None,
    width: float,
) -> Any:
    x0, _, x1, y1 = box
    line = 3.0 * unit
    middle = corner[0] + (width - 3 * unit) / 2

    def place(point: Point) -> Point:
        return point[0] - (x0 + x1) / 2 + middle, y1 - point[1] + corner[1] + 1.7 * line

    where = f"layer {piece.layer}" if piece.layer is not None else piece.role.replace("-", " ")
    lies = where + (f", sheet {sheet}" if sheet is not None else "")
    group = piece_group(drawing, "pieces", piece, place, paint, unit * 0.12)
    group.add(
        words(drawing, piece.id, (middle, corner[1] + 0.45 * line), line * 0.72, anchor="middle", font_weight="600")
    )
    text, size = fitted(lies, width - unit, line * 0.5, line * 0.3)
    group.add(
        words(
            drawing,
            text,
            (middle, corner[1] + 1.2 * line),
            size,
            anchor="middle",
            fill=MUTED,
            class_="kw-text kw-quiet",
        )
    )
    return group
