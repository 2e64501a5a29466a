"""The path of the air inside: chamber, passes of the guide, seats, mouth, seen along the stack."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from shapely.geometry import Point as Dot
from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.model.parts import AirPrism, Opening, Piece, Point, Ring
from kerfwave.writers.layers import side_margins
from kerfwave.writers.openings import OPENING_WORDS
from kerfwave.writers.svg import (
    INK,
    MUTED,
    Place,
    arrow_head,
    bounds,
    dimension,
    finish,
    fitted,
    hatch,
    line_data,
    n,
    outline_data,
    page,
    room_for,
    words,
    write_at,
)
from kerfwave.writers.words import mm, slug

# Okabe and Ito, "Color Universal Design" (2008): tells apart under the common kinds of colour blindness.
PASS_COLOURS = ("#56b4e9", "#e69f00", "#009e73", "#cc79a7", "#f0e442", "#0072b2", "#d55e00")
CHAMBER_COLOUR = "#dfe9f0"
SEAT_COLOUR = "#cfcac0"
SEAT_WORDS = {
    "driver-seat": "seat of the driver",
    "driver-bore": "bore behind the driver",
    "driver-recess": "recess for the flange",
    "terminal-seat": "seat of the terminals",
    "terminal-bore": "bore behind the terminals",
    "driver-screw": "pilot holes",
    "dowel": "dowels",
    "mouth-lip": "rounded edge of the mouth",
    "wire": "channel for the wire",
    "wire-tie": "hole to tie the wire",
    "foot": "places of the feet",
    "keyhole": "keyholes in the back",
}


def plan_svg(
    air: Iterable[AirPrism],
    plan: Ring,
    *,
    openings: Iterable[Opening] = (),
    path: Iterable[Point] = (),
    title: str = "The path inside",
    ident: str = "inside",
) -> str:
    """Return the body cut open along the stack: wood hatched, chamber pale, passes coloured and numbered in order.

    Prisms of one name (a pass that is cut through several bands of layers) are drawn as one. The line with the arrow
    leads from the chamber to the mouth: `path` where it is given, else through the middle of each pass and of each
    border between two. `ident` begins the ids, so that several may stand in one page.
    """
    openings = tuple(openings)
    groups = _by_name(air)
    x0, y0, x1, y1 = bounds([plan])
    unit = max(x1 - x0, y1 - y0) / 100
    guide = [name for name, (kind, _) in groups.items() if kind == "guide"]
    legend = _legend(groups, guide)
    left, right = side_margins(openings, unit, 3.8 * unit, 14 * unit, 12.5 * unit)
    top, low = 20 * unit, 16 * unit
    width = x1 - x0 + left + right
    size = 3.6 * unit
    columns = max(1, min(len(legend), int(width / (44 * unit))))
    rows = -(-len(legend) // columns)
    height = y1 - y0 + top + low + (rows * 1.7 + 0.6) * size
    floor = y1 - y0 + top
    desc = (
        f"Seen along the stack, front at the bottom. Outside size {mm(x1 - x0)} by {mm(y1 - y0)}. Inside, in the order "
        f"of the sound's path: {', '.join(text for _, text, _ in legend)}. "
        f"Openings: {', '.join(OPENING_WORDS.get(o.kind, o.kind) for o in openings) or 'none'}."
    )
    drawing = page(ident, 0.0, 0.0, width, height, title=title, desc=desc)

    def place(point: Point) -> Point:
        return point[0] - x0 + left, floor - (point[1] - y0)

    drawing.add(
        drawing.path(
            d=outline_data([plan], place),
            fill=hatch(drawing, f"{ident}-wood", 45, 1.8 * unit),
            stroke=INK,
            stroke_width=n(unit * 0.35),
            class_="kw-ink",
        )
    )
    order = {"chamber": 0, "guide": 1, "mouth": 1}
    for name, (kind, wood) in sorted(groups.items(), key=lambda item: order.get(item[1][0], 2)):
        drawing.add(_area(drawing, ident, name, kind, wood, guide, place, unit))
    line = tuple(path) or _line_through(groups, openings)
    if len(line) > 1:
        drawing.add(_path(drawing, ident, line, place, unit))
    for name, (kind, wood) in groups.items():
        if kind in ("guide", "chamber") and not wood.is_empty:
            drawing.add(_name_area(drawing, name, kind, wood, guide, place, unit))
    for opening in openings:
        _name_opening(drawing, opening, place, unit)
    edge = min(left * 0.5, 5 * unit) if left > 14 * unit else left * 0.5
    drawing.add(dimension(drawing, (left, top * 0.3), (width - right, top * 0.3), mm(x1 - x0), size))
    drawing.add(dimension(drawing, (edge, floor), (edge, top), mm(y1 - y0), size))
    _draw_legend(drawing, legend, (5 * unit, floor + low), (width - 10 * unit) / columns, columns, unit)
    return finish(drawing)


def _draw_legend(
    drawing: Any, legend: list[tuple[str, str, str]], at: Point, column_mm: float, columns: int, unit: float
) -> None:
    """Draw what each colour means, in columns; a text that is too long for its own is written smaller."""
    size = 3.6 * unit
    for i, (colour, text, class_) in enumerate(legend):
        x, y = at[0] + (i % columns) * column_mm, at[1] + (i // columns) * 1.7 * size
        drawing.add(
            drawing.rect(
                (n(x), n(y - size)),
                (n(1.4 * size), n(1.1 * size)),
                fill=colour,
                stroke=INK,
                stroke_width=n(unit * 0.15),
                class_=class_ + " kw-edge",
            )
        )
        text, fit = fitted(text, column_mm - 2.4 * size, size, 0.6 * size)
        drawing.add(words(drawing, text, (x + 1.9 * size, y - 0.1 * size), fit))


def _by_name(air: Iterable[AirPrism]) -> dict[str, tuple[str, Any]]:
    groups: dict[str, tuple[str, list[Polygon]]] = {}
    for prism in air:
        groups.setdefault(prism.name, (prism.kind, []))[1].append(Polygon(prism.outline, prism.holes))
    return {name: (kind, unary_union(parts)) for name, (kind, parts) in groups.items()}


def _colour(name: str, kind: str, guide: list[str]) -> tuple[str, str]:
    """Return the paint of an area and the class that the guide's style sheet knows it by."""
    if kind == "guide":
        return PASS_COLOURS[guide.index(name) % len(PASS_COLOURS)], "kw-pass"
    if kind == "mouth":
        return PASS_COLOURS[(len(guide) - 1) % len(PASS_COLOURS)], "kw-pass"
    return (CHAMBER_COLOUR, "kw-chamber") if kind == "chamber" else (SEAT_COLOUR, "kw-seat")


def _legend(groups: dict[str, tuple[str, Any]], guide: list[str]) -> list[tuple[str, str, str]]:
    """Return (colour, words, class) for the chamber, each pass in order, and each kind of seat once."""
    entries: dict[str, tuple[str, str, str]] = {}
    rank = {"chamber": 0, "guide": 1, "mouth": 2}
    for name, (kind, _) in sorted(groups.items(), key=lambda item: rank.get(item[1][0], 3)):
        colour, class_ = _colour(name, kind, guide)
        if kind == "guide":
            entries[name] = (colour, f"{guide.index(name) + 1}: {name}", class_)
        elif kind != "mouth":  # the mouth is named where it opens
            entries.setdefault(kind, (colour, SEAT_WORDS.get(kind, kind), class_))
    return list(entries.values())


def _area(
    drawing: Any, ident: str, name: str, kind: str, area: Any, guide: list[str], place: Place, unit: float
) -> Any:
    colour, class_ = _colour(name, kind, guide)
    rings = [
        tuple(ring.coords)[:-1] for part in getattr(area, "geoms", [area]) for ring in (part.exterior, *part.interiors)
    ]
    return drawing.path(
        d=outline_data(rings, place),
        id=f"{ident}-{slug(name)}",
        fill=colour,
        fill_rule="evenodd",
        stroke=INK,
        stroke_width=n(unit * 0.22),
        class_=f"{class_} kw-edge",
    )


def _name_area(drawing: Any, name: str, kind: str, area: Any, guide: list[str], place: Place, unit: float) -> Any:
    text = "chamber" if kind == "chamber" else str(guide.index(name) + 1)
    largest = max(getattr(area, "geoms", [area]), key=lambda part: part.area)
    holes = tuple(tuple(r.coords)[:-1] for r in largest.interiors)
    as_piece = Piece(name, "layer", tuple(largest.exterior.coords)[:-1], holes, 0.0)
    at, size, upright = room_for(text, as_piece, 4.6 * unit)
    x, y = place(at)
    group = drawing.g(class_="kw-label")
    if kind == "guide":
        size = max(min(size, 4.0 * unit), 2.4 * unit)
        group.add(
            drawing.circle(
                (n(x), n(y)),
                n(size * 0.78),
                fill="#ffffff",
                stroke=INK,
                stroke_width=n(unit * 0.25),
                class_="kw-badge",
            )
        )
        group.add(
            words(
                drawing,
                text,
                (x, y + 0.36 * size),
                size,
                anchor="middle",
                font_weight="600",
                class_="kw-text kw-badge-text",
            )
        )
    else:
        group.add(write_at(drawing, text, (x, y), size, upright, halo=(CHAMBER_COLOUR, "kw-halo-chamber")))
    return group


def _line_through(groups: dict[str, tuple[str, Any]], openings: tuple[Opening, ...]) -> tuple[Point, ...]:
    """Return a line from the chamber through every pass to the mouth, by middles of areas and of shared borders."""
    chain = [area for kind in ("chamber", "guide", "mouth") for k, area in groups.values() if k == kind]
    if len(chain) < 2:
        return ()
    points: list[Point] = []
    for i, area in enumerate(chain):
        if i:
            border = chain[i - 1].buffer(0.05).intersection(area.buffer(0.05))
            if not border.is_empty:
                points.append((border.centroid.x, border.centroid.y))
        middle = area.centroid if area.contains(area.centroid) else area.representative_point()
        points.append((middle.x, middle.y))
    mouth = next((o for o in openings if o.kind == "mouth"), None)
    if mouth is not None:
        # from where the last pass is nearest to the mouth, so that the arrow leaves square to the face
        x, y, _ = mouth.centre_mm
        if Dot(points[-1]).distance(Dot(x, y)) > 1e-6:
            points.append((x, y))
    return tuple(points)


def _path(drawing: Any, ident: str, line: tuple[Point, ...], place: Place, unit: float) -> Any:
    group = drawing.g(id=f"{ident}-path")
    common = {"fill": "none", "stroke_linejoin": "round", "stroke_linecap": "round"}
    data = line_data(line, place)
    group.add(drawing.path(d=data, stroke="#ffffff", stroke_width=n(1.5 * unit), stroke_opacity="0.8", **common))
    group.add(
        drawing.path(
            d=data,
            stroke="#1f1d1a",
            stroke_width=n(0.55 * unit),
            stroke_dasharray=f"{n(2 * unit)} {n(1.2 * unit)}",
            **common,
        )
    )
    return group


def _name_opening(drawing: Any, opening: Opening, place: Place, unit: float) -> None:
    """Draw an arrow where the opening meets the outside (sound comes out of mouth and driver), and name it."""
    size = 3.8 * unit
    text = OPENING_WORDS.get(opening.kind, opening.kind)
    x, y = place((opening.centre_mm[0], opening.centre_mm[1]))
    nx, ny = opening.normal[0], -opening.normal[1]
    if abs(opening.normal[2]) > 0.5:  # looks along the stack: towards the reader or away
        drawing.add(
            drawing.circle(
                (n(x), n(y)),
                n((opening.diameter_mm or 8 * unit) / 2),
                fill="none",
                stroke=INK,
                stroke_width=n(unit * 0.3),
                stroke_dasharray=f"{n(unit)} {n(unit)}",
                class_="kw-ink",
            )
        )
        drawing.add(write_at(drawing, text, (x, y), size))
        return
    heavy = opening.kind == "mouth"
    tip = (x + nx * 7 * unit, y + ny * 7 * unit)
    drawing.add(
        drawing.path(
            d=line_data(((x - nx * unit, y - ny * unit), tip), lambda p: p),
            fill="none",
            stroke=INK if heavy else MUTED,
            stroke_width=n(unit * (1.1 if heavy else 0.4)),
            class_="kw-ink" if heavy else "kw-thin",
        )
    )
    drawing.add(arrow_head(drawing, (tip[0] + nx * unit, tip[1] + ny * unit), (nx, ny), (4.0 if heavy else 2.4) * unit))
    if abs(nx) > abs(ny):
        side = 1.0 if nx > 0 else -1.0
        at, anchor = (tip[0] + side * 1.8 * unit, tip[1] + 0.36 * size), "start" if side > 0 else "end"
    else:
        at, anchor = (tip[0] + 2.4 * unit, tip[1] + (-0.1 if ny > 0 else 0.9) * size), "start"
    drawing.add(words(drawing, text, at, size, anchor=anchor, font_weight="600" if heavy else "400"))
