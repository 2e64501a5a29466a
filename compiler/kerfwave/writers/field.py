"""The pressure inside the body at one frequency: bands of equal pressure, with the wood laid over them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from contourpy import FillType, contour_generator
from shapely.geometry import Polygon
from shapely.ops import unary_union

from kerfwave.model.parts import AirPrism, Opening, Point, Ring
from kerfwave.numfmt import fixed
from kerfwave.writers.lines import Series, line_chart
from kerfwave.writers.openings import OPENING_WORDS
from kerfwave.writers.svg import INK, bounds, finish, hatch, line_data, n, outline_data, page, words
from kerfwave.writers.words import significant

# From little pressure to much: ten steps of cividis turned round, light to dark. It was made to look alike to most
# eyes, its lightness is even, and so it prints in grey. J. R. Nuñez, C. R. Anderton, R. S. Renslow, "Optimizing
# colormaps with consideration for color vision deficiency", PLoS ONE 13 (2018) e0199239.
COLOURS = (
    *("#fee838", "#e1cc55", "#c3b369", "#a59c74", "#8a8678"),
    *("#707173", "#575d6d", "#3b496c", "#123570", "#00224e"),
)
SMOOTH_MM = 0.1  # a border of two bands may stray by so much: the file is half as long
HOLLOW = ("chamber", "guide", "driver-bore", "terminal-bore")


def pressure_svg(
    plan: Ring,
    air: Iterable[AirPrism],
    openings: Iterable[Opening],
    *,
    ident: str,
    title: str,
    frequency_hz: float,
    origin_mm: Point,
    step_mm: float,
    columns: int,
    pressure_pa: Sequence[float],
    highest_pa: float,
    driver_pa: float,
    mouth_pa: float,
) -> str:
    """Return the body cut open along the stack, its air coloured by the magnitude of the pressure.

    Args:
        plan: the body's outline.
        air: its air; seats that hold something are left to the wood.
        openings: named where they are.
        ident: the drawing's own name in a page.
        title: what is shown.
        frequency_hz: for the words.
        origin_mm: the place of the first sample.
        step_mm: between samples.
        columns: of samples; row by row from the front, each from the left.
        pressure_pa: the samples, r.m.s.
        highest_pa: what the scale ends at.
        driver_pa: mean over the driver's opening, for the words.
        mouth_pa: mean over the mouth, for the words.
    """
    x0, y0, x1, y1 = bounds([plan])
    unit = max(x1 - x0, y1 - y0) / 100
    left, right, top, low = 4 * unit, 23 * unit, 5 * unit, 8 * unit
    width, height = x1 - x0 + left + right, y1 - y0 + top + low
    desc = (
        f"Sound pressure in the body at {fixed(frequency_hz, 0)} Hz, seen along the stack, front at the bottom: "
        f"{_pa(driver_pa)} behind the driver, {_pa(mouth_pa)} in the mouth, at most {_pa(highest_pa)}. "
        "Light is little pressure, dark is much."
    )
    drawing = page(ident, 0.0, 0.0, width, height, title=title, desc=desc)

    def place(point: Point) -> Point:
        return point[0] - x0 + left, y1 + top - point[1]

    wood = Polygon(plan)
    hollow = unary_union([Polygon(p.outline, p.holes) for p in air if p.kind in HOLLOW]).intersection(wood)
    # The samples reach into the wood, and the wood that is drawn next covers what does.
    for colour, area in _bands(wood, origin_mm, step_mm, columns, pressure_pa, highest_pa):
        drawing.add(drawing.path(d=_coarse(_rings(area), place), fill=colour, fill_rule="evenodd"))
    drawing.add(
        drawing.path(
            d=outline_data(_rings(wood.difference(hollow)), place),
            fill=hatch(drawing, f"{ident}-wood", 45, 1.8 * unit),
            fill_rule="evenodd",
            stroke=INK,
            stroke_width=n(unit * 0.3),
            class_="kw-ink",
        )
    )
    for opening in openings:
        _name(drawing, opening, place, unit)
    _scale(drawing, (x1 - x0 + left + 5 * unit, top + 5 * unit), unit, y1 - y0 - 5 * unit, highest_pa)
    return finish(drawing)


def _bands(
    plan: Polygon, origin_mm: Point, step_mm: float, columns: int, pressure_pa: Sequence[float], highest_pa: float
) -> Iterable[tuple[str, Any]]:
    """Return each colour with what it covers: all that is at least so loud, so that the next lies on top of it."""
    grid = np.array(pressure_pa).reshape(-1, columns)
    x = origin_mm[0] + step_mm * np.arange(columns)
    y = origin_mm[1] + step_mm * np.arange(len(grid))
    contours = contour_generator(x, y, grid, name="serial", fill_type=FillType.OuterOffset)
    for i, colour in enumerate(COLOURS):
        least = -1.0 if i == 0 else highest_pa * i / len(COLOURS)
        filled: Any = contours.filled(least, np.inf)  # points and offsets of rings, a pair for each polygon
        parts = []
        for points, ends in zip(*filled, strict=True):
            outer, *holes = (points[a:b] for a, b in itertools.pairwise(ends))
            parts.append(Polygon(outer, holes).buffer(0))
        area = unary_union(parts).simplify(SMOOTH_MM).intersection(plan)
        if area.area > 0:
            yield colour, area


def _coarse(rings: list[Ring], place: Any) -> str:
    """Return path data to a tenth of a millimetre: no machine's last digits show, and the file stays small."""
    return "".join(
        "M" + "L".join(f"{fixed(x, 1)} {fixed(y, 1)}" for x, y in (place(p) for p in ring)) + "Z" for ring in rings
    )


def _rings(area: Any) -> list[Ring]:
    parts = [part for part in getattr(area, "geoms", [area]) if isinstance(part, Polygon)]
    return [tuple(ring.coords)[:-1] for part in parts for ring in (part.exterior, *part.interiors)]


def _name(drawing: Any, opening: Opening, place: Any, unit: float) -> None:
    """Write the name of a driver or mouth beside it, with a tick across the wall; terminals are of no matter here."""
    if opening.kind == "terminal":
        return
    x, y = place((opening.centre_mm[0], opening.centre_mm[1]))
    nx, ny = opening.normal[0], -opening.normal[1]
    text, size = OPENING_WORDS.get(opening.kind, opening.kind), 3.6 * unit
    if abs(opening.normal[2]) > 0.5:  # looks along the stack
        radius = (opening.diameter_mm or 8 * unit) / 2
        dashes = f"{n(unit)} {n(unit)}"
        circle = drawing.circle((n(x), n(y)), n(radius), fill="none", stroke=INK, stroke_dasharray=dashes)
        circle["stroke-width"] = n(0.3 * unit)
        drawing.add(circle)
        return
    tip = (x + nx * 2.5 * unit, y + ny * 2.5 * unit)
    line = line_data(((x - nx * unit, y - ny * unit), tip), lambda p: p)
    drawing.add(drawing.path(d=line, fill="none", stroke=INK, stroke_width=n(0.6 * unit), class_="kw-ink"))
    if abs(nx) > abs(ny):
        at = (tip[0] + nx * 0.5 * unit, y + size * 1.2)
        turn = f"rotate({'90' if nx > 0 else '-90'} {n(at[0])} {n(y)})"
        drawing.add(words(drawing, text, (at[0], y), size, anchor="middle", transform=turn))
    else:
        drawing.add(words(drawing, text, (x, tip[1] + (0.9 * size if ny > 0 else -0.3 * size)), size, anchor="middle"))


def _scale(drawing: Any, at: Point, unit: float, height: float, highest_pa: float) -> None:
    x, y = at
    size, step = 3.4 * unit, height / len(COLOURS)
    drawing.add(words(drawing, "Pa r.m.s.", (x, y - 3.4 * unit), size))
    for i, colour in enumerate(COLOURS):
        low = y + height - i * step
        edge = {"stroke": INK, "stroke_width": n(0.15 * unit), "class_": "kw-edge"}
        drawing.add(drawing.rect((n(x), n(low - step)), (n(5 * unit), n(step)), fill=colour, **edge))
    for i in range(0, len(COLOURS) + 1, 2):
        value = significant(highest_pa * i / len(COLOURS), 3)
        drawing.add(words(drawing, value, (x + 6 * unit, y + height - i * step + 0.35 * size), size))


def _pa(value: float) -> str:
    return f"{significant(value, 3)} Pa"


def transfer_chart(frequency_hz: tuple[float, ...], field_db: tuple[float, ...], network_db: tuple[float, ...]) -> str:
    """Return what comes out of the mouth for what the driver puts in, in the sound field and in the network."""
    low, high = frequency_hz[0], frequency_hz[-1]
    return line_chart(
        (Series("sound field", frequency_hz, field_db, 0), Series("network", frequency_hz, network_db, 1)),
        title="From driver to mouth",
        y_label="mouth over driver, dB",
        x_from=low,
        x_to=high,
        desc=f"Volume velocity of the mouth over that of the driver, {fixed(low, 0)} to {fixed(high, 0)} Hz: in the "
        "sound field of the as-built air, and in the network.",
        ident="chart-transfer",
    )
