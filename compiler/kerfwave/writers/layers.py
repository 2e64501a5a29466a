"""A layer on the one below it: what the glue-up is done by."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.model.parts import Layer, Opening, Piece, Point, Ring
from kerfwave.numfmt import fixed
from kerfwave.writers.openings import OPENING_WORDS, TOUCH_MM, crosses
from kerfwave.writers.svg import (
    AIR,
    GHOST,
    GLYPH,
    INK,
    MUTED,
    Place,
    arrow_head,
    bounds,
    dimension,
    dots,
    finish,
    fitted,
    hatch,
    label_piece,
    line_data,
    n,
    outline_data,
    page,
    piece_group,
    words,
)
from kerfwave.writers.words import listed, mm

GLUE_PITCH = 1.6  # of the dots, in hundredths of the plan
EDGE_WORDS = {"upright": "front", "facing": "bottom (seen from behind)"}


@dataclass(frozen=True, slots=True)
class PlaceNote:
    """A place in a layer and what is to be said of it."""

    text: str
    x_mm: float
    y_mm: float


def layer_svg(
    layer: Layer,
    pieces: Iterable[Piece],
    below: Iterable[Piece],
    plan: Ring,
    *,
    openings: Iterable[Opening] = (),
    stack: str = "upright",
    ident: str = "",
    notes: Iterable[PlaceNote] = (),
) -> str:
    """Return one layer, seen from above as it is glued, with the front at the bottom of the page.

    `notes` are places worth a look, numbered in the drawing and named under it. Dots lie where this layer's wood meets
    that of the layer below: there goes the glue.

    `pieces` may be all of the package (those of the layer are drawn); `below` are the pieces of the layer under it,
    or nothing for the first. Neighbouring pieces are hatched in opposite directions.
    """
    mine = [p for p in pieces if p.id in layer.pieces]
    under = list(below)
    x0, y0, x1, y1 = bounds([plan])
    unit = max(x1 - x0, y1 - y0) / 100
    prefix = ident or f"layer-{layer.index:02d}"
    desc = (
        f"Layer {layer.index}, {fixed(layer.thickness_mm, 2)} mm thick, from z = {mm(layer.z_mm)}. "
        f"Pieces: {listed(layer.pieces)}. Hatched: wood of this layer. Grey: wood of the layer below. White: air. "
        f"{'Dotted: wood on wood, where the glue goes. ' if under else ''}"
        f"Outside size {fixed(x1 - x0, 1)} by {fixed(y1 - y0, 1)} mm. Bottom of the picture: {EDGE_WORDS[stack]}."
    )
    openings = tuple(openings)
    left, right = side_margins(openings, unit, 3.6 * unit, 14 * unit, 7 * unit)
    notes = tuple(notes)
    lines = len(notes) + bool(under)  # of text under the drawing
    top, low = 18 * unit, (15 + 4.2 * lines) * unit
    width, height = x1 - x0 + left + right, y1 - y0 + top + low
    title = f"Layer {layer.index}: {listed(layer.pieces)}"
    drawing = page(prefix, 0.0, 0.0, width, height, title=title, desc=desc)

    def place(point: Point) -> Point:
        return point[0] - x0 + left, height - low - (point[1] - y0)

    drawing.add(_plan(drawing, plan, place, unit))
    if under:
        drawing.add(_ghost(drawing, prefix, under, place, unit))
    _draw_pieces(drawing, prefix, mine, place, unit)
    if under:
        drawing.add(_glue(drawing, prefix, mine, under, place, unit))
        drawing.add(_glue_legend(drawing, prefix, (left, height - (1.6 + 4.2 * len(notes)) * unit), unit))
    for piece in mine:  # all labels above all wood
        drawing.add(label_piece(drawing, piece, place, 4.6 * unit))
    for opening in openings:
        if crosses(opening, layer):
            drawing.add(_opening_arrow(drawing, opening, place, unit))
    _draw_notes(drawing, notes, place, unit, left, (width, height))
    size = 3.6 * unit
    drawing.add(dimension(drawing, (left, top * 0.34), (width - right, top * 0.34), mm(x1 - x0), size))
    x = min(left * 0.6, 5 * unit) if left > 14 * unit else left * 0.6
    drawing.add(dimension(drawing, (x, height - low), (x, top), mm(y1 - y0), size))
    drawing.add(
        words(
            drawing,
            EDGE_WORDS[stack],
            (left, height - low + 12 * unit),
            size,
            font_style="italic",
            class_="kw-text kw-quiet",
        )
    )
    return finish(drawing)


def _draw_pieces(drawing: Any, prefix: str, mine: list[Piece], place: Place, unit: float) -> None:
    """Draw the wood of a layer, neighbours hatched in opposite directions."""
    paints = [
        hatch(drawing, f"{prefix}-wood-{angle}", angle, 1.8 * unit) for angle in ((45, -45) if len(mine) > 1 else (45,))
    ]
    for i, piece in enumerate(mine):
        drawing.add(piece_group(drawing, prefix, piece, place, paints[i % len(paints)], unit * 0.28))


def _draw_notes(
    drawing: Any, notes: tuple[PlaceNote, ...], place: Place, unit: float, left: float, page_mm: Point
) -> None:
    """Mark the places worth a look with numbers, and say under the drawing what each is."""
    width, height = page_mm
    for number, note in enumerate(notes, 1):
        drawing.add(_place_note(drawing, number, note, place, unit))
        line = (left, height - (1.6 + 4.2 * (len(notes) - number)) * unit)
        text, small = fitted(f"{number}  {note.text}", width - left - unit, 3.0 * unit, 2.0 * unit)
        drawing.add(words(drawing, text, line, small, class_="kw-text"))


def _place_note(drawing: Any, number: int, note: PlaceNote, place: Place, unit: float) -> Any:
    """Return a ring round a place, with a line to its number: ring and number read in any print."""
    group = drawing.g(class_="kw-note")
    x, y = place((note.x_mm, note.y_mm))
    ring = {"fill": "none", "stroke": INK, "stroke_width": n(0.35 * unit), "class_": "kw-ink"}
    group.add(drawing.circle((n(x), n(y)), n(2.2 * unit), **ring))
    leader = ((x + 1.6 * unit, y - 1.6 * unit), (x + 3 * unit, y - 3 * unit))
    group.add(drawing.path(d=line_data(leader, lambda p: p), **ring))
    group.add(
        drawing.circle(
            (n(x + 4.4 * unit), n(y - 4.4 * unit)),
            n(2.0 * unit),
            fill="#ffffff",
            stroke=INK,
            stroke_width=n(0.25 * unit),
            class_="kw-badge",
        )
    )
    group.add(
        words(
            drawing,
            str(number),
            (x + 4.4 * unit, y - 3.4 * unit),
            2.8 * unit,
            anchor="middle",
            font_weight="600",
            class_="kw-text kw-badge-text",
        )
    )
    return group


def side_margins(openings: Iterable[Opening], unit: float, size: float, least: float, reach: float) -> Point:
    """Return the width left and right of a plan that the names of openings need beyond arrows so long as `reach`."""
    need = [least, least]
    for opening in openings:
        nx, ny, _ = opening.normal
        if abs(nx) > abs(ny):
            wide = reach + GLYPH * len(OPENING_WORDS.get(opening.kind, opening.kind)) * size + unit
            side = 1 if nx > 0 else 0
            need[side] = max(need[side], wide + (0.0 if side else 6 * unit))  # the dimension line stands at the left
    return need[0], need[1]


def _glue(drawing: Any, prefix: str, mine: list[Piece], under: list[Piece], place: Place, unit: float) -> Any:
    """Return the wood that lies on wood, dotted."""
    here, there = (unary_union([Polygon(p.outline, p.holes) for p in pieces]) for pieces in (mine, under))
    met = here.intersection(there)
    parts = [part for part in getattr(met, "geoms", [met]) if part.geom_type == "Polygon" and part.area > TOUCH_MM]
    rings = [tuple(ring.coords)[:-1] for part in parts for ring in (part.exterior, *part.interiors)]
    paint = dots(drawing, f"{prefix}-glue-dots", GLUE_PITCH * unit)
    return drawing.path(
        id=f"{prefix}-glue", d=outline_data(rings, place), fill=paint, fill_rule="evenodd", class_="kw-glue"
    )


def _glue_legend(drawing: Any, prefix: str, at: Point, unit: float) -> Any:
    """Return a dotted field and what it means, for somebody who has the drawing and not its description."""
    group = drawing.g(class_="kw-legend")
    (x, y), size = at, 3.0 * unit
    field = {"fill": f"url(#{prefix}-glue-dots)", "stroke": MUTED, "stroke_width": n(0.15 * unit)}
    group.add(drawing.rect((n(x), n(y - 0.8 * size)), (n(2 * size), n(size)), **field))
    group.add(words(drawing, "glue on the layer below", (x + 2.4 * size, y), size, class_="kw-text"))
    return group


def _plan(drawing: Any, plan: Ring, place: Place, unit: float) -> Any:
    """Return the outside of the body, which a layer need not fill."""
    return drawing.path(
        d=outline_data([plan], place),
        fill=AIR,
        stroke=MUTED,
        stroke_width=n(unit * 0.15),
        stroke_dasharray=f"{n(unit)} {n(unit)}",
        class_="kw-air",
    )


def _ghost(drawing: Any, prefix: str, under: list[Piece], place: Place, unit: float) -> Any:
    group = drawing.g(id=f"{prefix}-below", class_="kw-below")
    for piece in under:
        group.add(
            drawing.path(
                d=outline_data((piece.outline, *piece.holes), place),
                fill=GHOST,
                fill_rule="evenodd",
                fill_opacity="0.75",
                stroke=MUTED,
                stroke_width=n(unit * 0.18),
                stroke_dasharray=f"{n(unit * 0.9)} {n(unit * 0.6)}",
                class_="kw-ghost",
            )
        )
    return group


def _opening_arrow(drawing: Any, opening: Opening, place: Place, unit: float) -> Any:
    """Return an arrow out of an opening, and its name beyond or beside its tip."""
    group = drawing.g(class_="kw-opening")
    nx, ny = opening.normal[0], -opening.normal[1]  # on the page
    x, y = place((opening.centre_mm[0], opening.centre_mm[1]))
    start, tip = (x - nx * 3 * unit, y - ny * 3 * unit), (x + nx * 6 * unit, y + ny * 6 * unit)
    group.add(
        drawing.path(
            d=line_data((start, tip), lambda p: p), fill="none", stroke=INK, stroke_width=n(unit * 0.4), class_="kw-ink"
        )
    )
    group.add(arrow_head(drawing, tip, (nx, ny), 2.4 * unit))
    size = 3.6 * unit
    text = OPENING_WORDS.get(opening.kind, opening.kind)
    if abs(nx) > abs(ny):
        side = 1.0 if nx > 0 else -1.0
        at, anchor = (tip[0] + side * 0.8 * unit, tip[1] + 0.36 * size), "start" if side > 0 else "end"
    else:
        at, anchor = (tip[0] + 1.6 * unit, tip[1] + (0.2 if ny > 0 else 0.6) * size), "start"
    group.add(words(drawing, text, at, size, anchor=anchor))
    return group
