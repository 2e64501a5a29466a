"""What all drawings share: the page, the y axis turned up, hatched wood, labels that find room, dimension lines.

A drawing has to work in two places. Alone, as a file that any viewer opens, it carries plain presentation
attributes: dark ink on white. Inside the guide, the guide's style sheet overrides them by class (`kw-wood`,
`kw-ink`, ...), which is how the same bytes follow the reader's light or dark setting. There is no style element
and no script in any drawing, and every `id` begins with the drawing's own, so that many fit in one page.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Any
from xml.etree import ElementTree

import svgwrite
from shapely import affinity, maximum_inscribed_circle
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from kerfwave.model.parts import Mark, Piece, Placement, Point, Ring
from kerfwave.numfmt import fixed
from kerfwave.writers.words import plain, slug

Place = Callable[[Point], Point]  # from the drawing's own coordinates (y up) to the page's (y down)

INK, MUTED, PAPER, AIR = "#1f1d1a", "#6b6559", "#ffffff", "#ffffff"
WOOD, GRAIN, GHOST = "#f3e4c6", "#b58f55", "#d8d2c6"
FONT = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
SCORED = "#a3477f"  # darker than Okabe and Ito's reddish purple, so that thin lines show
MARK_DASH: dict[str, tuple[float, ...]] = {"id": (), "next": (6.0, 3.0, 1.0, 3.0)}
GLYPH = 0.58  # mean width of a character in these fonts, in ems: generous, so that labels stay inside


def n(value: float) -> str:
    """Return a page coordinate; a thousandth of a millimetre is far below what a cutter or an eye resolves."""
    return fixed(value, 3)


def page(
    ident: str, x: float, y: float, width: float, height: float, *, title: str, desc: str, unit: str = "mm"
) -> Any:
    """Return an empty drawing of `width` by `height` units whose view box starts at (x, y), titled and described."""
    drawing = svgwrite.Drawing(
        size=(f"{n(width)}{unit}", f"{n(height)}{unit}"),
        viewBox=f"{n(x)} {n(y)} {n(width)} {n(height)}",
        profile="full",
        debug=False,
        id=ident,
        role="img",
        aria_label=plain(title),
        font_family=FONT,
    )
    drawing.set_desc(title=plain(title), desc=plain(desc))
    drawing.add(drawing.rect((n(x), n(y)), (n(width), n(height)), fill=PAPER, class_="kw-paper"))
    return drawing


def finish(drawing: Any) -> str:
    """Return the drawing as text, one element a line, so that two revisions can be compared line by line."""
    root = drawing.get_xml()
    ElementTree.indent(root, space=" ")
    return ElementTree.tostring(root, encoding="unicode") + "\n"


def outline_data(rings: Iterable[Ring], place: Place) -> str:
    """Return the path data of some closed rings."""
    parts = []
    for ring in rings:
        points = [place(p) for p in ring]
        parts.append("M" + "L".join(f"{n(x)} {n(y)}" for x, y in points) + "Z")
    return "".join(parts)


def line_data(points: Iterable[Point], place: Place) -> str:
    """Return the path data of an open line."""
    return "M" + "L".join(f"{n(x)} {n(y)}" for x, y in map(place, points))


def bounds(rings: Iterable[Ring]) -> tuple[float, float, float, float]:
    """Return the box (x0, y0, x1, y1) round all rings."""
    points = [p for ring in rings for p in ring]
    return (
        min(p[0] for p in points),
        min(p[1] for p in points),
        max(p[0] for p in points),
        max(p[1] for p in points),
    )


def hatch(drawing: Any, ident: str, angle: int, pitch: float) -> str:
    """Define the pattern for cut wood (a tint and thin lines at `angle` degrees) and return the paint that uses it."""
    pattern = drawing.pattern(
        id=ident, patternUnits="userSpaceOnUse", size=(n(pitch), n(pitch)), patternTransform=f"rotate({angle})"
    )
    pattern.add(drawing.rect(("0", "0"), (n(pitch), n(pitch)), fill=WOOD, class_="kw-wood"))
    pattern.add(
        drawing.line(
            ("0", n(pitch / 2)),
            (n(pitch), n(pitch / 2)),
            stroke=GRAIN,
            stroke_width=n(pitch / 12),
            stroke_opacity="0.55",
            class_="kw-grain",
        )
    )
    drawing.defs.add(pattern)
    return f"url(#{ident})"


def dots(drawing: Any, ident: str, pitch: float) -> str:
    """Define a pattern of dots on nothing, to lie over a hatch, and return the paint that uses it."""
    pattern = drawing.pattern(id=ident, patternUnits="userSpaceOnUse", size=(n(pitch), n(pitch)))
    for x, y in ((0.25, 0.25), (0.75, 0.75)):
        pattern.add(
            drawing.circle((n(x * pitch), n(y * pitch)), n(0.11 * pitch), fill=INK, fill_opacity="0.5", class_="kw-dot")
        )
    drawing.defs.add(pattern)
    return f"url(#{ident})"


def words(drawing: Any, text: str, at: Point, size: float, **style: Any) -> Any:
    """Return a text element at a place on the page; `anchor` is 'start', 'middle' or 'end'."""
    anchor = style.pop("anchor", "start")
    style.setdefault("class_", "kw-text")
    style.setdefault("fill", INK)
    return drawing.text(plain(text), insert=(n(at[0]), n(at[1])), font_size=n(size), text_anchor=anchor, **style)


def fitted(text: str, width: float, size: float, least: float) -> tuple[str, float]:
    """Return `text` and a size at which it fits `width`: smaller down to `least`, then cut short with an ellipsis."""
    text = plain(text)
    need = GLYPH * max(len(text), 1)
    if need * size <= width:
        return text, size
    if need * least <= width:
        return text, width / need
    room = max(int(width / (GLYPH * least)) - 1, 1)
    return text[:room].rstrip() + "…", least


def room_for(
    text: str, piece: Piece, largest: float, keep_off: Iterable[tuple[float, float, float, float]] = ()
) -> tuple[Point, float, bool]:
    """Return where in the wood of a piece its label fits best: the middle, the size, and whether it stands upright.

    It stays out of the boxes (x0, y0, x1, y1) to `keep_off` of.

    A line of text is about `GLYPH * len` times as wide as high. Squeezed by that ratio the box of the text is a
    square, so the largest inscribed circle of the squeezed wood shows the place; once lying, once standing.
    """
    wood: BaseGeometry = Polygon(piece.outline, piece.holes)
    for corners in keep_off:
        wood = wood.difference(box(*corners))
    ratio = max(GLYPH * len(text), 1.0)
    best: tuple[Point, float, bool] | None = None
    for upright in (False, True):
        sx, sy = (1.0, 1 / ratio) if upright else (1 / ratio, 1.0)
        radius = maximum_inscribed_circle(affinity.scale(wood, sx, sy, origin=(0, 0)), tolerance=0.05)
        (x, y), size = radius.coords[0], radius.length * 1.25
        if best is None or size > best[1] * 1.3:  # lying text is easier to read: standing must win clearly
            best = ((x / sx, y / sy), size, upright)
    assert best is not None  # the loop ran twice
    at, size, upright = best
    return at, min(size, largest), upright


def label_piece(drawing: Any, piece: Piece, place: Place, largest: float, text: str | None = None) -> Any:
    """Return the id of a piece, written in its wood with a halo so that the hatch does not disturb it.

    It keeps clear of the scored id; where that leaves it much smaller, the scored id is label enough.
    """
    text = plain(piece.id if text is None else text)
    boxes = [bounds(mark.lines) for mark in piece.marks if mark.kind == "id"]
    at, size, upright = room_for(text, piece, largest, boxes)
    if any(size < 0.95 * min(x1 - x0, y1 - y0) for x0, y0, x1, y1 in boxes):
        return drawing.g(class_="kw-label")
    return write_at(drawing, text, place(at), size, upright)


def write_at(
    drawing: Any, text: str, at: Point, size: float, upright: bool = False, *, halo: tuple[str, str] = (WOOD, "kw-halo")
) -> Any:
    """Return a label centred on a place of the page; `halo`: colour and class of what it stands on."""
    x, y = at
    style: dict[str, Any] = {"transform": f"rotate(-90 {n(x)} {n(y)})"} if upright else {}
    return words(
        drawing,
        text,
        (x, y + 0.36 * size),
        size,
        anchor="middle",
        font_weight="600",
        stroke=halo[0],
        stroke_width=n(size * 0.3),
        paint_order="stroke",
        stroke_linejoin="round",
        class_=f"kw-text {halo[1]}",
        **style,
    )


def placed(piece: Piece, placement: Placement) -> Piece:
    """Return the piece where it lies on its sheet: flipped (x -> -x), then turned about the origin, then moved."""
    turn = placement.turn_deg % 360
    exact = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    cos, sin = exact.get(turn, (math.cos(math.radians(turn)), math.sin(math.radians(turn))))
    sign = -1.0 if placement.flipped else 1.0

    def there(ring: Ring) -> Ring:
        return tuple(
            (cos * sign * x - sin * y + placement.x_mm, sin * sign * x + cos * y + placement.y_mm) for x, y in ring
        )

    return Piece(
        id=piece.id,
        role=piece.role,
        outline=there(piece.outline),
        holes=tuple(there(h) for h in piece.holes),
        thickness_mm=piece.thickness_mm,
        layer=piece.layer,
        body=piece.body,
        grain=piece.grain,
        marks=tuple(Mark(m.kind, m.text, tuple(there(line) for line in m.lines)) for m in piece.marks),
    )


def piece_group(drawing: Any, prefix: str, piece: Piece, place: Place, paint: str, stroke: float) -> Any:
    """Return a piece as a group with an id, a tooltip and one path (outline and holes, even-odd)."""
    group = drawing.g(id=f"{prefix}-{slug(piece.id)}", class_="kw-piece")
    group.set_desc(title=plain(piece.id))
    group.add(
        drawing.path(
            d=outline_data((piece.outline, *piece.holes), place),
            fill=paint,
            fill_rule="evenodd",
            stroke=INK,
            stroke_width=n(stroke),
            stroke_linejoin="round",
            class_="kw-ink",
        )
    )
    for kind, dash in MARK_DASH.items():
        data = "".join(line_data(line, place) for m in piece.marks if m.kind == kind for line in m.lines)
        if data:
            group.add(
                drawing.path(
                    d=data,
                    fill="none",
                    stroke=SCORED,
                    stroke_width=n(0.9 * stroke),
                    stroke_linecap="round",
                    stroke_dasharray=" ".join(n(part * stroke) for part in dash) if dash else "none",
                    class_="kw-mark",
                )
            )
    return group


def arrow_head(drawing: Any, tip: Point, towards: Point, size: float, class_: str = "kw-inkfill") -> Any:
    """Return a filled arrow head with its tip at `tip`, pointing along the page vector `towards`."""
    length = math.hypot(*towards) or 1.0
    ux, uy = towards[0] / length, towards[1] / length
    bx, by = tip[0] - ux * size, tip[1] - uy * size
    wx, wy = -uy * size * 0.38, ux * size * 0.38
    points = ((bx + wx, by + wy), tip, (bx - wx, by - wy))
    return drawing.path(d=line_data(points, lambda p: p) + "Z", fill=INK, class_=class_)


def dimension(drawing: Any, a: Point, b: Point, text: str, size: float, *, above: bool = True) -> Any:
    """Return a dimension line between two page points, with arrow heads, end ticks and its figure.

    The figure of an upright line is written turned, to be read from the right, as draughtsmen do.
    """
    group = drawing.g(class_="kw-dimension")
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = math.hypot(dx, dy) or 1.0
    nx, ny = -dy / length * size * 0.45, dx / length * size * 0.45
    lines = (a, b), ((a[0] - nx, a[1] - ny), (a[0] + nx, a[1] + ny)), ((b[0] - nx, b[1] - ny), (b[0] + nx, b[1] + ny))
    for line in lines:
        group.add(
            drawing.path(
                d=line_data(line, lambda p: p), fill="none", stroke=MUTED, stroke_width=n(size / 14), class_="kw-thin"
            )
        )
    if length > size * 1.6:
        group.add(arrow_head(drawing, a, (-dx, -dy), size * 0.55, "kw-muted"))
        group.add(arrow_head(drawing, b, (dx, dy), size * 0.55, "kw-muted"))
    mx, my = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    gap = size * 0.4 if above else -size * 1.1
    if abs(dy) > abs(dx):
        group.add(
            words(drawing, text, (mx - gap, my), size, anchor="middle", transform=f"rotate(-90 {n(mx - gap)} {n(my)})")
        )
    else:
        group.add(words(drawing, text, (mx, my - gap), size, anchor="middle"))
    return group
