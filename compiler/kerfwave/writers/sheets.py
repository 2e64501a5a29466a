"""Sheets and coupons at true scale: one unit is one millimetre, and the page is as wide as the sheet.

The page's lower left corner is the sheet's, which is the program's origin; a strip above the sheet holds the title
and the scale bars, so that nothing is ever written over a place where the machine cuts.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from kerfwave.model.parts import Contour, KeptOut, Piece, Placement, Point, Sheet, SheetProgram
from kerfwave.numfmt import fixed, several
from kerfwave.writers.svg import (
    GHOST,
    INK,
    MUTED,
    SCORED,
    Place,
    bounds,
    finish,
    fitted,
    hatch,
    label_piece,
    line_data,
    n,
    outline_data,
    page,
    piece_group,
    placed,
    words,
    write_at,
)
from kerfwave.writers.words import MM_PER_INCH, plain, slug

STRIP_MM = 30.0
UNVERIFIED = "Recipe not verified: cut the coupons first"


def sheet_svg(
    sheet: Sheet,
    placements: Iterable[Placement],
    pieces: Iterable[Piece],
    *,
    title: str,
    stock: str,
    verified: bool,
) -> str:
    """Return one nested sheet, to scale, in the coordinates of its program.

    `placements` and `pieces` may be those of the whole package; the ones of this sheet are drawn. Elements have the
    ids `sheet-01` (the drawing) and `sheet-01-L03a` (a piece).

    Raises:
        KeyError: when a placement names a piece that is not there.
    """
    by_id = {p.id: p for p in pieces}
    lying = [placed(by_id[p.piece], p) for p in placements if p.sheet == sheet.number]
    prefix = f"sheet-{sheet.number:02d}"
    desc = (
        f"Sheet {sheet.number}, {fixed(sheet.width_mm, 1)} by {fixed(sheet.height_mm, 1)} mm, {stock}. "
        f"Pieces: {', '.join(p.id for p in lying) or 'none'}. {'' if verified else UNVERIFIED + '.'}"
    )
    drawing, place = _true_scale(prefix, sheet.width_mm, sheet.height_mm, title, stock, verified, desc)
    if sheet.outline:
        _edge(drawing, prefix, sheet, place)
    for number, kept in enumerate(sheet.keep_out, start=1):
        _kept_out(drawing, f"{prefix}-keep-out-{number}", kept, place)
    margin = sheet.margin_mm
    if margin > 0 and not sheet.outline:
        box = sheet.width_mm - 2 * margin, sheet.height_mm - 2 * margin
        x, y = place((margin, sheet.height_mm - margin))
        drawing.add(_box(drawing, (x, y), box, stroke=MUTED, stroke_width="0.15", class_="kw-thin"))
    if sheet.offcut_mm is not None:
        ox, oy, width, height = sheet.offcut_mm
        group = drawing.g(id=f"{prefix}-offcut")
        corner = place((ox, oy + height))
        group.add(
            _box(
                drawing,
                corner,
                (width, height),
                stroke=MUTED,
                stroke_width="0.4",
                stroke_dasharray="4 3",
                class_="kw-thin",
            )
        )
        text, size = fitted(f"offcut {fixed(width, 0)} × {fixed(height, 0)} mm", width * 0.9, min(6.0, height / 2), 2.0)
        middle = place((ox + width / 2, oy + height / 2))
        group.add(words(drawing, text, middle, size, anchor="middle", fill=MUTED, class_="kw-text kw-quiet"))
        drawing.add(group)
    _wood(drawing, prefix, lying, place)
    if any(p.marks for p in lying):
        drawing.add(_scored_key(drawing, prefix))
    _corner(drawing, prefix, place)
    return finish(drawing)


def _scored_key(drawing: Any, prefix: str) -> Any:
    """Return the line of the legend that tells what is scored from what is cut."""
    group = drawing.g(id=f"{prefix}-scored")
    line = ((2.0, 27.4), (12.0, 27.4))
    group.add(
        drawing.path(d=line_data(line, lambda p: p), fill="none", stroke=SCORED, stroke_width="0.4", class_="kw-mark")
    )
    group.add(words(drawing, "scored only: ids, arrows", (13.5, 28.4), 3.0))
    return group


def coupon_svg(
    program: SheetProgram, pieces: Iterable[Piece] = (), title: str = "", *, placements: Iterable[Placement] = ()
) -> str:
    """Return a test cut as the machine will draw it: the beam's path in full lines, rapids dotted, pieces in wood.

    Pieces without a placement are taken to be in the coupon's own coordinates.
    """
    where = {p.piece: p for p in placements}
    lying = [placed(p, where[p.id]) if p.id in where else p for p in pieces]
    prefix = slug(program.name)
    title = title or program.name
    desc = (
        f"Test cut {plain(program.name)}, {fixed(program.width_mm, 1)} by {fixed(program.height_mm, 1)} mm, "
        f"{several(len(program.contours), 'contour')}. {' '.join(plain(note) for note in program.notes)}"
    )
    # A coupon is what verifies a recipe, so its own page carries no warning that it should be cut first.
    drawing, place = _true_scale(prefix, program.width_mm, program.height_mm, title, program.stock, True, desc)
    _wood(drawing, prefix, lying, place)
    cuts, rapids = _beam_path(program.contours, place)
    for name, data, style in (
        (
            "rapids",
            rapids,
            {"stroke": MUTED, "stroke_dasharray": "0.6 1.4", "stroke_width": "0.2", "class_": "kw-thin"},
        ),
        ("cuts", cuts, {"stroke": INK, "stroke_width": "0.3", "class_": "kw-ink"}),
    ):
        if data:
            drawing.add(drawing.path(d=data, id=f"{prefix}-{name}", fill="none", stroke_linecap="round", **style))
    _corner(drawing, prefix, place)
    return finish(drawing)


def _true_scale(
    prefix: str, width: float, height: float, title: str, stock: str, verified: bool, desc: str
) -> tuple[Any, Place]:
    """Return the page (the sheet and the strip above it) and the way from sheet coordinates onto it."""
    page_height = height + STRIP_MM
    drawing = page(prefix, 0.0, 0.0, width, page_height, title=title, desc=desc)

    def place(point: Point) -> Point:
        return point[0], page_height - point[1]

    left, room = 2.0, width - 4.0
    text, size = fitted(title, room, 6.0, 2.2)
    drawing.add(words(drawing, text, (left, 7.0), size, font_weight="600"))
    state = f"{stock}, {fixed(width, 1)} × {fixed(height, 1)} mm" + ("" if verified else f". {UNVERIFIED}")
    text, size = fitted(state, room, 4.2, 1.8)
    drawing.add(words(drawing, text, (left, 13.0), size, font_weight="400" if verified else "600"))
    drawing.add(_scale_bars(drawing, prefix, left, 20.0, room))
    drawing.add(
        drawing.rect(
            (n(0.15), n(STRIP_MM + 0.15)),
            (n(width - 0.3), n(height - 0.3)),
            id=f"{prefix}-edge",
            fill="none",
            stroke=INK,
            stroke_width="0.3",
            class_="kw-ink",
        )
    )
    return drawing, place


def _scale_bars(drawing: Any, prefix: str, x: float, y: float, room: float) -> Any:
    """Return the bars to check a print with: 50 mm, and 2 in beside it (below it where the sheet is narrow)."""
    group = drawing.g(id=f"{prefix}-scale", class_="kw-scale")
    step = 72.0 if room >= 72.0 + 2 * MM_PER_INCH + 12 else 0.0
    for i, (length, text) in enumerate(((50.0, "50 mm"), (2 * MM_PER_INCH, "2 in"))):
        bx, by = x + i * step, y + (0.0 if step else 6.0 * i)
        bar = (
            ((bx, by - 1.2), (bx, by + 1.2)),
            ((bx, by), (bx + length, by)),
            ((bx + length, by - 1.2), (bx + length, by + 1.2)),
        )
        data = "".join(line_data(line, lambda p: p) for line in bar)
        group.add(drawing.path(d=data, fill="none", stroke=INK, stroke_width="0.35", class_="kw-ink"))
        group.add(words(drawing, text, (bx + length + 1.5, by + 1.2), 3.4))
    return group


def _corner(drawing: Any, prefix: str, place: Place) -> None:
    """Mark the origin: two short heavy strokes along the edges, x to the right and y up."""
    data = line_data(((0.0, 12.0), (0.0, 0.0), (12.0, 0.0)), place)
    drawing.add(
        drawing.path(d=data, id=f"{prefix}-origin", fill="none", stroke=INK, stroke_width="1.6", class_="kw-ink")
    )


def _edge(drawing: Any, prefix: str, sheet: Sheet, place: Place) -> None:
    """Draw the edge of a sheet that is no rectangle; the box around it stays as a thin line."""
    drawing.add(
        drawing.path(
            d=outline_data((sheet.outline,), place),
            id=f"{prefix}-outline",
            fill="none",
            stroke=INK,
            stroke_width="0.9",
            class_="kw-ink",
        )
    )


def _kept_out(drawing: Any, ident: str, kept: KeptOut, place: Place) -> None:
    """Draw a place where nothing is cut: its outline with a cross through it, and the word for what is there."""
    x0, y0, x1, y1 = bounds([kept.outline])
    group = drawing.g(id=ident)
    group.set_desc(title=f"{plain(kept.what)}, {fixed(kept.clearance_mm, 1)} mm clear of it")
    data = outline_data((kept.outline,), place)
    middle = (x0 + x1) / 2, (y0 + y1) / 2
    for (ax, ay), (bx, by) in (((x0, y0), (x1, y1)), ((x0, y1), (x1, y0))):
        # Seven tenths of the box: inside a circle, and for other shapes near enough.
        ends = [(middle[0] + 0.7 * (x - middle[0]), middle[1] + 0.7 * (y - middle[1])) for x, y in ((ax, ay), (bx, by))]
        data += line_data(ends, place)
    group.add(drawing.path(d=data, fill="none", stroke=INK, stroke_width="0.6", class_="kw-ink"))
    text, size = fitted(kept.what, max(x1 - x0, 14.0), 5.0, 2.0)
    x, y = place(middle)
    group.add(write_at(drawing, text, (x, y), size))
    drawing.add(group)


def _box(drawing: Any, at: Point, size: Point, **style: str) -> Any:
    return drawing.rect((n(at[0]), n(at[1])), (n(size[0]), n(size[1])), fill="none", **style)


def _wood(drawing: Any, prefix: str, pieces: list[Piece], place: Place) -> None:
    paint = hatch(drawing, f"{prefix}-wood", 45, 3.0) if pieces else GHOST
    for piece in pieces:
        group = piece_group(drawing, prefix, piece, place, paint, 0.3)
        group.add(label_piece(drawing, piece, place, 7.0))
        drawing.add(group)


def _beam_path(contours: Iterable[Contour], place: Place) -> tuple[str, str]:
    """Return the path data of all cuts and of all rapids. A pass that runs over the same line again adds nothing."""
    cuts: dict[str, None] = {}
    rapids: dict[str, None] = {}
    at: Point = (0.0, 0.0)
    for contour in contours:
        for move in contour.moves:
            to = (move.x_mm, move.y_mm)
            if move.kind in ("arc-ccw", "arc-cw") and move.centre_x_mm is not None and move.centre_y_mm is not None:
                data = _arc_data(at, to, (move.centre_x_mm, move.centre_y_mm), move.kind == "arc-ccw", place)
            else:
                data = line_data((at, to), place)
            if at != to or move.kind.startswith("arc"):
                (cuts if move.power > 0 else rapids).setdefault(data)
            at = to
    return "".join(cuts), "".join(rapids)


def _arc_data(start: Point, end: Point, centre: Point, ccw: bool, place: Place) -> str:
    """Return an SVG arc. Two halves where it is more than half a turn, as one command cannot say a full circle."""
    radius = math.dist(start, centre)
    a0 = math.atan2(start[1] - centre[1], start[0] - centre[0])
    a1 = math.atan2(end[1] - centre[1], end[0] - centre[0])
    sweep = (a1 - a0) % math.tau if ccw else -((a0 - a1) % math.tau)
    if abs(sweep) < 1e-9:
        sweep = math.tau if ccw else -math.tau
    stops = [end]
    if abs(sweep) > math.pi:
        half = a0 + sweep / 2
        stops.insert(0, (centre[0] + radius * math.cos(half), centre[1] + radius * math.sin(half)))
    x, y = place(start)
    flag = 0 if ccw else 1  # the page's y runs down, so counter-clockwise is the sweep that SVG calls negative
    data = f"M{n(x)} {n(y)}"
    for stop in stops:
        x, y = place(stop)
        data += f"A{n(radius)} {n(radius)} 0 0 {flag} {n(x)} {n(y)}"
    return data
