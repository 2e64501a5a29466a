"""A large sheet and the straight cuts that bring it down to the size of the bed."""

from __future__ import annotations

from typing import Any

from kerfwave.model.breakdown import Opened, Part, StraightCut
from kerfwave.model.parts import Point
from kerfwave.writers.captions import cut_text
from kerfwave.writers.svg import (
    INK,
    MUTED,
    Place,
    dimension,
    finish,
    fitted,
    hatch,
    line_data,
    n,
    outline_data,
    page,
    words,
    write_at,
)
from kerfwave.writers.words import mm


def breakdown_svg(opened: Opened, *, title: str, stock: str) -> str:
    """Return one sheet of the stock with its cuts, numbered in their order, and what becomes of each part."""
    prefix = f"break-down-{opened.number:02d}"
    width, height = opened.width_mm, opened.height_mm
    unit = max(width, height) / 60
    left, top, edge = 5 * unit, 9 * unit, 2 * unit
    desc = f"{stock}, {mm(width)} by {mm(height)}. " + " ".join(cut_text(k, c) for k, c in enumerate(opened.cuts, 1))
    drawing = page(prefix, 0.0, 0.0, width + left + edge, height + top + edge, title=title, desc=desc)

    def place(point: Point) -> Point:
        return point[0] + left, top + height - point[1]

    text, size = fitted(title, width, 2.4 * unit, unit)
    drawing.add(words(drawing, text, (left, 2.6 * unit), size, font_weight="600"))
    text, size = fitted(f"{stock}, {mm(width)} × {mm(height)}", width, 1.7 * unit, unit)
    drawing.add(words(drawing, text, (left, 5.0 * unit), size))
    paint = hatch(drawing, f"{prefix}-wood", 45, unit)
    outline = opened.outline or ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    drawing.add(_path(drawing, outline_data((outline,), place), unit * 0.2, INK, id=f"{prefix}-edge"))
    for part in opened.parts:
        drawing.add(_part(drawing, part, place, paint, unit))
    for number, cut in enumerate(opened.cuts, start=1):
        drawing.add(_cut(drawing, number, cut, place, unit, f"{prefix}-cut-{number}"))
    y = top - 1.2 * unit
    drawing.add(dimension(drawing, (left, y), (left + width, y), mm(width), 1.5 * unit))
    x = left - 1.2 * unit
    drawing.add(dimension(drawing, (x, top + height), (x, top), mm(height), 1.5 * unit))
    return finish(drawing)


def _part(drawing: Any, part: Part, place: Place, paint: str, unit: float) -> Any:
    x, y, width, height = part.x_mm, part.y_mm, part.width_mm, part.height_mm
    corner = place((x, y + height))
    group = drawing.g()
    if part.sheet is not None:
        box = drawing.rect((n(corner[0]), n(corner[1])), (n(width), n(height)), fill=paint, stroke="none")
        group.add(box)
    text = f"sheet {part.sheet}" if part.sheet is not None else "left over"
    middle = place((x + width / 2, y + height / 2))

    def write(label: str, at: Point, size: float) -> Any:
        if part.sheet is not None:
            return write_at(drawing, label, at, size)  # with a halo, as it stands on hatched wood
        return words(drawing, label, (at[0], at[1] + 0.36 * size), size, anchor="middle", fill=MUTED)

    label, size = fitted(text, 0.9 * width, min(2.6 * unit, height / 3), 0.6 * unit)
    group.add(write(label, middle, size))
    label, size = fitted(f"{mm(width)} × {mm(height)}", 0.9 * width, min(1.5 * unit, height / 4), 0.5 * unit)
    group.add(write(label, (middle[0], middle[1] + 2.4 * unit), size))
    if part.sheet is not None and part.turned:
        label, size = fitted("lies a quarter turn to the left on the bed", 0.9 * width, 1.3 * unit, 0.5 * unit)
        group.add(write_at(drawing, label, (middle[0], middle[1] + 4.4 * unit), size))
    return group


def _cut(drawing: Any, number: int, cut: StraightCut, place: Place, unit: float, ident: str) -> Any:
    group = drawing.g(id=ident)
    data = line_data((cut.start_mm, cut.end_mm), place)
    group.add(_path(drawing, data, unit * 0.3, INK, stroke_dasharray=f"{n(1.2 * unit)} {n(0.6 * unit)}"))
    # A third of the way along, where no part's name stands.
    spot = tuple(a + 0.2 * (b - a) for a, b in zip(cut.start_mm, cut.end_mm, strict=True))
    x, y = place((spot[0], spot[1]))
    group.add(drawing.circle((n(x), n(y)), n(1.3 * unit), fill="#ffffff", stroke=MUTED, stroke_width=n(unit * 0.12)))
    group.add(words(drawing, str(number), (x, y + 0.6 * unit), 1.7 * unit, anchor="middle", font_weight="600"))
    return group


def _path(drawing: Any, data: str, width: float, stroke: str, **style: str) -> Any:
    return drawing.path(d=data, fill="none", stroke=stroke, stroke_width=n(width), class_="kw-ink", **style)
