"""The whole stack, from the front or from the side."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kerfwave.model.parts import Layer, Opening, Point, Ring
from kerfwave.numfmt import fixed
from kerfwave.writers.openings import OPENING_WORDS
from kerfwave.writers.svg import (
    AIR,
    GLYPH,
    INK,
    MUTED,
    Place,
    bounds,
    dimension,
    finish,
    line_data,
    n,
    page,
    words,
)
from kerfwave.writers.words import mm


def stack_svg(layers: Iterable[Layer], openings: Iterable[Opening], plan: Ring, *, stack: str = "upright") -> str:
    """Return the stack seen from the front (`upright`) or from the side with the front at the left (`facing`).

    Openings in the face that looks at the reader are drawn as they are; the others are drawn dashed, as hidden.
    """
    layers, openings = tuple(layers), tuple(openings)
    x0, y0, x1, y1 = bounds([plan])
    total = max(layer.z_mm + layer.thickness_mm for layer in layers)
    across, low_edge = (x1 - x0, x0) if stack == "upright" else (y1 - y0, y0)
    upright = stack == "upright"
    wide, high = (across, total) if upright else (total, across)
    unit = max(wide, high) / 100
    view = "from the front" if upright else "from the side, front at the left"
    desc = f"The stack seen {view}: {len(layers)} layers, {mm(total)} in all. " + " ".join(
        f"{o.name}: {_size_words(o)}." for o in openings
    )
    left, right, top, bottom = 14 * unit, 23 * unit, (10 if upright else 14) * unit, 11 * unit
    width, height = wide + left + right, high + top + bottom
    drawing = page("stack", 0.0, 0.0, width, height, title=f"The stack, seen {view}", desc=desc)

    def place(point: Point) -> Point:
        return point[0] + left, height - bottom - point[1]

    for layer in layers:
        z, t = layer.z_mm, layer.thickness_mm
        x, y = place((0.0, z + t)) if upright else place((z, across))
        size = (across, t) if upright else (t, across)
        shade = "kw-wood" if layer.index % 2 else "kw-wood kw-wood-dark"
        drawing.add(
            drawing.rect(
                (n(x), n(y)),
                (n(size[0]), n(size[1])),
                id=f"stack-{layer.index:02d}",
                fill="#f3e4c6" if layer.index % 2 else "#e6d0a4",
                stroke=INK,
                stroke_width=n(unit * 0.15),
                class_=f"{shade} kw-edge",
            )
        )
    _number_layers(drawing, layers, place, unit, across, upright)
    for opening in openings:
        drawing.add(_stack_opening(drawing, opening, place, unit, low_edge, upright, high))
    a, b = place((0.0, 0.0)), place((wide, high))
    x, y, text_size = left * 0.5, a[1] + 5 * unit, 3.4 * unit
    drawing.add(dimension(drawing, (x, a[1]), (x, b[1]), mm(high), text_size))
    drawing.add(dimension(drawing, (a[0], y), (b[0], y), mm(wide), text_size, above=False))
    return finish(drawing)


def _size_words(opening: Opening) -> str:
    if opening.diameter_mm is not None:
        return f"{mm(opening.diameter_mm)} across"
    return f"{mm(opening.width_mm or 0.0)} by {mm(opening.height_mm or 0.0)}"


def _number_layers(
    drawing: Any, layers: tuple[Layer, ...], place: Place, unit: float, across: float, upright: bool
) -> None:
    """Write the numbers of the layers beside them: first and last always, the rest where they have room.

    Beside the first, the last, and the first of every other thickness stands how thick it is.
    """
    size = 3.0 * unit
    gap = (1.15 if upright else 1.7) * size
    middles = [layer.z_mm + layer.thickness_mm / 2 for layer in layers]
    final = len(layers) - 1
    other = [i for i, layer in enumerate(layers) if i and layer.thickness_mm != layers[i - 1].thickness_mm]
    told: list[int] = []
    for i in (0, final, *other, *range(len(layers))):
        if i in (0, final) or all(abs(middles[i] - middles[k]) >= gap for k in told):
            told.append(i)
    for i in sorted({*told}):
        layer, z = layers[i], middles[i]
        thick = upright and i in (0, final, *other)
        text = f"{layer.index}" + (f": {fixed(layer.thickness_mm, 2)} mm" if thick else "")
        if upright:
            x, y = place((across, z))
            drawing.add(
                words(drawing, text, (x + 1.5 * unit, y + 0.36 * size), size, class_="kw-text kw-quiet", fill=MUTED)
            )
        else:
            x, y = place((z, across))
            drawing.add(
                words(drawing, text, (x, y - unit), size, anchor="middle", class_="kw-text kw-quiet", fill=MUTED)
            )


def _stack_opening(
    drawing: Any, opening: Opening, place: Place, unit: float, low_edge: float, upright: bool, high: float
) -> Any:
    """Return an opening in the elevation: full lines where it faces the reader, dashed where it does not.

    The reader looks at the front of an upright stack, and at the left side of a facing one with its front at the left.
    """
    cx, cy, cz = opening.centre_mm
    nx, ny, nz = opening.normal
    size = 3.4 * unit
    group = drawing.g(id=f"stack-{opening.kind}", class_="kw-opening")
    style = {"fill": "none", "stroke": INK, "stroke_width": n(unit * 0.4), "class_": "kw-ink"}
    text = OPENING_WORDS.get(opening.kind, opening.kind)
    x, y = place((cx - low_edge, cz) if upright else (cz, cy - low_edge))
    along = opening.diameter_mm or opening.width_mm or 0.0
    tall = opening.diameter_mm or opening.height_mm or 0.0
    w, h = (along, tall) if upright else (tall, along)
    towards = -ny if upright else -nx
    if towards > 0.7:
        style |= {"fill": AIR, "class_": "kw-ink kw-air"}
        if opening.diameter_mm is not None:
            group.add(drawing.circle((n(x), n(y)), n(opening.diameter_mm / 2), **style))
        else:
            group.add(drawing.rect((n(x - w / 2), n(y - h / 2)), (n(w), n(h)), **style))
        if w < GLYPH * len(text) * size <= h:  # a tall, narrow one is named along its height
            at, turn = (x + 0.36 * size, y), {"transform": f"rotate(-90 {n(x + 0.36 * size)} {n(y)})"}
        else:
            at, turn = (x, y - h / 2 + min(1.6 * size, h / 2)), {}
        group.add(words(drawing, text, at, size, anchor="middle", **turn))
        return group
    style |= {"stroke_dasharray": f"{n(1.6 * unit)} {n(unit)}"}
    if towards < -0.7:
        group.add(drawing.rect((n(x - w / 2), n(y - h / 2)), (n(w), n(h)), **style))
        # What lies behind is named above the stack, so that its name does not run into what lies in front.
        foot, sky = (x - 0.35 * w, y - h / 2), place((0.0, high))[1] - (1.2 if upright else 5.2) * unit
        group.add(
            drawing.path(
                d=line_data((foot, (foot[0], sky)), lambda p: p),
                fill="none",
                stroke=MUTED,
                stroke_width=n(unit * 0.2),
                class_="kw-thin",
            )
        )
        behind = " (back)" if upright else " (far side)"
        group.add(words(drawing, text + behind, (foot[0], sky - 0.8 * unit), size, anchor="middle"))
        return group
    style |= {"stroke_width": n(unit)}
    if upright or abs(nz) > 0.5:  # an upright edge, seen from its end
        group.add(drawing.path(d=line_data(((x, y - h / 2), (x, y + h / 2)), lambda p: p), **style))
        inward = -1.0 if (nx if upright else nz) > 0 else 1.0
        at, anchor = (x + inward * 1.5 * unit, y + 0.36 * size), "start" if inward > 0 else "end"
    else:  # in the top or the bottom
        group.add(drawing.path(d=line_data(((x - w / 2, y), (x + w / 2, y)), lambda p: p), **style))
        at, anchor = (x, y + (1.3 * size if ny > 0 else -0.6 * size)), "middle"
    group.add(words(drawing, text, at, size, anchor=anchor))
    return group
