"""One chart: lines over a logarithmic frequency axis, with the decade and 1-2-5 grid that the trade draws.

Series differ by dash as well as by colour, and each carries its name at its end, so a grey print and every eye can
tell them apart. The colours are Okabe and Ito's (2008), two of them darker so that their names read well as text.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from kerfwave.numfmt import fixed
from kerfwave.writers.chart_frame import (
    BOTTOM,
    FONT_PX,
    LEFT,
    PLOT_WIDTH,
    TOP,
    WIDTH,
    Axis,
    Frame,
    clipped,
    frequency_grid,
    level_grid,
    rule,
)
from kerfwave.writers.svg import AIR, INK, MUTED, finish, line_data, n, page, words
from kerfwave.writers.words import slug

STYLES = (  # colour, dash, width
    ("#0072b2", "", 2.4),
    ("#d55e00", "9 4", 2.0),
    ("#007a5a", "2.5 3.5", 2.2),
    ("#a3477f", "10 3 2 3", 2.0),
)
STRIP, SLIVER = 18.0, 14.0  # height of the strip at the foot; a part shorter than that gets no name


@dataclass(frozen=True, slots=True)
class Series:
    """One line. `style` picks colour and dash; `axis` "right" reads against the second scale."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    style: int = 0
    axis: str = "left"


@dataclass(frozen=True, slots=True)
class Band:
    """A shaded stretch of the frequency axis."""

    x_from: float
    x_to: float
    name: str


@dataclass(frozen=True, slots=True)
class Area:
    """What lies between two lines, in the colour of a style: where most of something lies."""

    name: str
    x: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    style: int = 0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the frequency axis with its name, in a strip along the foot of the chart."""

    x_from: float
    x_to: float
    name: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A value not to pass, or to reach: a thin level line with its name, on the left scale."""

    y: float
    name: str


def line_chart(
    series: tuple[Series, ...],
    *,
    title: str,
    y_label: str,
    y_from: float | None = None,
    y_to: float | None = None,
    x_label: str = "frequency, Hz",
    x_from: float = 20.0,
    x_to: float = 2000.0,
    bands: Iterable[Band] = (),
    limits: Iterable[Limit] = (),
    areas: Iterable[Area] = (),
    strip: Iterable[Stretch] = (),
    right: Axis | None = None,
    height: float | None = None,
    desc: str = "",
    ident: str = "",
) -> str:
    """Return a chart as SVG. Ends of the left scale that are not given follow the data, rounded to its grid.

    Lines are cut where they leave the frame, never drawn over it; one that lies wholly outside is left out. Areas are
    behind them, and the strip is inside at the foot.

    Raises:
        ValueError: when there is no line, none of the values lies on the frequency axis, or one is not finite.
    """
    limits, areas = tuple(limits), tuple(areas)
    _check_finite(series, areas)
    bounds = tuple(Series(a.name, a.x, y, a.style) for a in areas for y in (a.low, a.high))
    left = _axis((*series, *bounds), limits, y_label, y_from, y_to, x_from, x_to)
    frame = Frame(x_from, x_to, left, right, height or 240.0)
    drawing = page(
        ident or f"chart-{slug(title)}",
        0,
        0,
        WIDTH,
        frame.base + BOTTOM,
        title=title,
        desc=desc
        or f"{y_label} against {x_label}, {fixed(x_from, 0)} to {fixed(x_to, 0)}: {', '.join(s.name for s in series)}.",
        unit="px",
    )
    drawing.add(frame.box(drawing, fill=AIR, class_="kw-air"))
    for i, band in enumerate(bands):
        _band(drawing, band.name, *frame.ends(band.x_from, band.x_to), frame.base, i)
    frequency_grid(drawing, frame, x_label)
    level_grid(drawing, frame)
    ends: list[tuple[float, float, Series]] = []
    for area in areas:
        ends += _area(drawing, area, frame)
    for limit in limits:
        crowded = any(0 < frame.up(limit.y) - frame.up(other.y) < 17 for other in limits)
        drawing.add(_limit(drawing, limit, series, frame, below=crowded))
    for line in series:
        ends += _line(drawing, line, frame)
    _name_lines(drawing, ends, frame.base, right is not None)
    _strip(drawing, [(*frame.ends(s.x_from, s.x_to), s.name) for s in strip], frame.base)
    drawing.add(frame.box(drawing, fill="none", stroke=INK, stroke_width="1", class_="kw-ink"))
    return finish(drawing)


def _check_finite(series: tuple[Series, ...], areas: tuple[Area, ...]) -> None:
    if not series:
        raise ValueError("a chart needs a line")
    values = [(one.name, (*one.x, *one.y)) for one in series]
    values += [(area.name, (*area.x, *area.low, *area.high)) for area in areas]
    for name, numbers in values:
        if not all(map(math.isfinite, numbers)):
            raise ValueError(f"{name!r} holds a value that is not a finite number")


def _band(drawing: Any, name: str, a: float, b: float, base: float, row: int) -> None:
    shade = {"fill": "#56b4e9", "fill_opacity": "0.16", "class_": "kw-band"}
    drawing.add(drawing.rect((n(a), n(TOP)), (n(b - a), n(base - TOP)), **shade))
    drawing.add(words(drawing, name, (a + 5, base - 7 - 15 * row), 12, class_="kw-text kw-quiet", fill=MUTED))


def _line(drawing: Any, line: Series, frame: Frame) -> list[tuple[float, float, Series]]:
    """Draw a line as far as it lies in the frame, and return where its name belongs."""
    axis = frame.right if line.axis == "right" else None
    points = [(frame.across(x), frame.up(y, axis)) for x, y in zip(line.x, line.y, strict=True)]
    runs = clipped(points, LEFT, TOP, frame.base)
    if not runs:
        return []
    style = line.style % len(STYLES)
    colour, dash, stroke = STYLES[style]
    extra = {"stroke_dasharray": dash} if dash else {}
    drawing.add(
        drawing.path(
            d="".join(line_data(run, lambda p: p) for run in runs),
            fill="none",
            stroke=colour,
            stroke_width=n(stroke),
            stroke_linejoin="round",
            class_=f"kw-line kw-s{style}",
            **extra,
        )
    )
    return [(*runs[-1][-1], line)]


def _axis(
    series: tuple[Series, ...],
    limits: tuple[Limit, ...],
    label: str,
    y_from: float | None,
    y_to: float | None,
    x_from: float,
    x_to: float,
) -> Axis:
    """Return the left scale: a 1-2-5 grid of about five lines (decibels over a wide range: tens)."""
    values = [y for s in series if s.axis == "left" for x, y in zip(s.x, s.y, strict=True) if x_from <= x <= x_to]
    values += [limit.y for limit in limits]
    if not values:
        raise ValueError(f"no value for {label!r} lies between {x_from} and {x_to}")
    low = min(values) if y_from is None else y_from
    high = max(values) if y_to is None else y_to
    if high - low < 1e-9:
        high, low = high + 0.5, (low - 0.5 if y_from is None else low)
    rough = (high - low) / 5
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * 0.999)
    if y_from is None:
        low = step * math.floor(low / step + 1e-9)
    if y_to is None:
        high = step * math.ceil((high + 0.02 * (high - low)) / step - 1e-9)
    return Axis(label, low, high, step)


def _limit(drawing: Any, limit: Limit, series: tuple[Series, ...], frame: Frame, *, below: bool) -> Any:
    """Return a level line with its name above (or below) it, at the end that the lines keep farther away from."""
    y = frame.up(limit.y)
    edge = LEFT + PLOT_WIDTH
    group = drawing.g(class_="kw-limit")
    group.add(rule(drawing, (LEFT, y), (edge, y), 1.4, INK, "kw-ink", dash="1 4"))
    lines = [s for s in series if s.axis == "left"]
    points = [(frame.across(x), frame.up(v)) for s in lines for x, v in zip(s.x, s.y, strict=True)]
    width = 7.0 * len(limit.name) + 12

    def clearance(x_from: float, x_to: float) -> float:
        return min(
            (abs(py - (y + 9 if below else y - 9)) for px, py in points if x_from <= px <= x_to), default=math.inf
        )

    at_left = clearance(LEFT, LEFT + width) >= clearance(edge - width, edge)
    x, anchor = (LEFT + 6, "start") if at_left else (edge - 6, "end")
    group.add(
        words(
            drawing,
            limit.name,
            (x, y + 14 if below else y - 5),
            12,
            anchor=anchor,
            stroke=AIR,
            stroke_width="3",
            paint_order="stroke",
            class_="kw-text kw-halo-air",
        )
    )
    return group


def _area(drawing: Any, area: Area, frame: Frame) -> list[tuple[float, float, Series]]:
    """Draw an area cut to the frame, and return where its name belongs."""
    edge = LEFT + PLOT_WIDTH
    xs = [frame.across(x) for x in area.x]
    inside = [i for i, x in enumerate(xs) if LEFT - 1e-6 <= x <= edge + 1e-6]
    # Levels are clamped to the frame: the area's edge then runs along it, as it is cut off there.
    low, high = ([(xs[i], min(max(frame.up(y[i]), TOP), frame.base)) for i in inside] for y in (area.low, area.high))
    if len(inside) < 2:
        return []
    colour = STYLES[area.style % len(STYLES)][0]
    drawing.add(
        drawing.path(
            d=line_data([*high, *reversed(low)], lambda p: p) + "Z",
            fill=colour,
            fill_opacity="0.2",
            stroke=colour,
            stroke_width="0.7",
            stroke_opacity="0.6",
            class_=f"kw-s{area.style % len(STYLES)} kw-t{area.style % len(STYLES)}",
        )
    )
    return [(high[-1][0], (high[-1][1] + low[-1][1]) / 2, Series(area.name, (), (), area.style))]


def _strip(drawing: Any, stretches: list[tuple[float, float, str]], base: float) -> None:
    """Draw the strip at the foot: a tick at every change, each name in its part, or above one that is too short."""
    if not stretches:
        return
    top = base - STRIP
    drawing.add(
        drawing.rect(
            (n(LEFT), n(top)),
            (n(PLOT_WIDTH), n(STRIP)),
            fill=AIR,
            stroke=INK,
            stroke_width="0.8",
            class_="kw-air kw-ink",
        )
    )
    for a, b, name in stretches:
        if b <= a:
            continue
        if a > LEFT + 0.5:
            drawing.add(rule(drawing, (a, top), (a, base), 0.8, INK, "kw-ink"))
        fits = b - a >= 6.6 * len(name) + 6
        if fits or b - a >= SLIVER:
            at = (a + b) / 2, base - 5 if fits else top - 6
            drawing.add(words(drawing, name, at, 12, anchor="middle"))


def _name_lines(drawing: Any, ends: list[tuple[float, float, Series]], base: float, two_scales: bool) -> None:
    """Write each line's name beside its end, moved apart where two would touch. With two scales: at the top, inside."""
    gap = 19.0
    edge = LEFT + PLOT_WIDTH
    if two_scales:
        for i, (_, _, line) in enumerate(ends):
            x = LEFT + 20 + i * 150
            drawing.add(_sample(drawing, x, TOP + 16, line))
            drawing.add(
                words(
                    drawing,
                    line.name,
                    (x + 40, TOP + 21),
                    FONT_PX,
                    class_=f"kw-text kw-t{line.style % len(STYLES)}",
                    fill=STYLES[line.style % len(STYLES)][0],
                    font_weight="600",
                )
            )
        return
    floor = TOP + 8.0
    rows = sorted(ends, key=lambda e: e[1])
    wanted: list[float] = []
    for _, y, _ in rows:
        floor = max(floor, y)
        wanted.append(floor)
        floor += gap
    slack = base - 4 - wanted[-1]
    if slack < 0:  # the lowest would fall out of the frame: push all up, keeping their distance
        for i in range(len(wanted) - 1, -1, -1):
            wanted[i] = min(wanted[i], base - 4 - gap * (len(wanted) - 1 - i))
    for (x, y, line), at in zip(rows, wanted, strict=True):
        colour = STYLES[line.style % len(STYLES)][0]
        klass = f"kw-s{line.style % len(STYLES)}"
        if abs(at - y) > 1 or edge - x > 1:
            drawing.add(rule(drawing, (x, y), (edge + 8, at), 0.8, colour, f"kw-line {klass}"))
        drawing.add(
            words(
                drawing,
                line.name,
                (edge + 11, at + 5),
                FONT_PX,
                fill=colour,
                font_weight="600",
                class_=f"kw-text kw-t{line.style % len(STYLES)}",
            )
        )


def _sample(drawing: Any, x: float, y: float, line: Series) -> Any:
    colour, dash, stroke = STYLES[line.style % len(STYLES)]
    return rule(drawing, (x, y), (x + 34, y), stroke, colour, f"kw-line kw-s{line.style % len(STYLES)}", dash)
