"""The page that shows many variants at once: a picture of the trade-off, and the table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from kerfwave.numfmt import fixed
from kerfwave.writers.chart_frame import BOTTOM, LEFT, PLOT_WIDTH, TOP, WIDTH
from kerfwave.writers.guide import render_page
from kerfwave.writers.svg import AIR, INK, MUTED, finish, n, page, words

HEIGHT = 320.0
KEPT, FAILS = "#0072b2", "#d55e00"


@dataclass(frozen=True, slots=True)
class Dot:
    """One variant in the picture: a filled circle if it keeps its checks, else a cross."""

    number: int
    x: float
    y: float
    kept: bool


def scatter(dots: Sequence[Dot], *, x_label: str, y_label: str, named: int = 40) -> str:
    """Return the variants as marks over two figures; up to `named` of them with their numbers.

    Raises:
        ValueError: for no dots, or a value that is not finite.
    """
    if not dots or not all(math.isfinite(v) for dot in dots for v in (dot.x, dot.y)):
        raise ValueError("dots need finite places")
    xs, ys = _scale([dot.x for dot in dots]), _scale([dot.y for dot in dots])
    drawing = page(
        "explored",
        0,
        0,
        WIDTH,
        HEIGHT + TOP + BOTTOM,
        title=f"{y_label} over {x_label}",
        desc=f"{len(dots)} variants, one mark each: a filled circle keeps every check, a cross does not.",
        unit="px",
    )
    base = TOP + HEIGHT

    def place(x: float, y: float) -> tuple[float, float]:
        return (
            LEFT + PLOT_WIDTH * (x - xs[0]) / (xs[-1] - xs[0]),
            base - HEIGHT * (y - ys[0]) / (ys[-1] - ys[0]),
        )

    drawing.add(drawing.rect((n(LEFT), n(TOP)), (n(PLOT_WIDTH), n(HEIGHT)), fill=AIR, class_="kw-air"))
    thin = {"stroke": MUTED, "stroke_width": "0.6", "stroke_opacity": "0.5", "class_": "kw-thin"}
    for x in xs:
        at = place(x, ys[0])[0]
        drawing.add(drawing.line((n(at), n(TOP)), (n(at), n(base)), **thin))
        drawing.add(words(drawing, _short(x, xs), (at, base + 17), 13, anchor="middle"))
    for y in ys:
        at = place(xs[0], y)[1]
        drawing.add(drawing.line((n(LEFT), n(at)), (n(LEFT + PLOT_WIDTH), n(at)), **thin))
        drawing.add(words(drawing, _short(y, ys), (LEFT - 6, at + 4.5), 13, anchor="end"))
    drawing.add(words(drawing, x_label, (LEFT + PLOT_WIDTH / 2, base + 38), 14, anchor="middle"))
    drawing.add(words(drawing, y_label, (8, TOP - 14), 14))
    for dot in sorted(dots, key=lambda dot: (dot.kept, dot.number)):
        x, y = place(dot.x, dot.y)
        if dot.kept:
            drawing.add(drawing.circle((n(x), n(y)), "4.5", fill=KEPT, stroke=AIR, stroke_width="0.8"))
        else:
            cross = f"M{n(x - 4)} {n(y - 4)}L{n(x + 4)} {n(y + 4)}M{n(x - 4)} {n(y + 4)}L{n(x + 4)} {n(y - 4)}"
            drawing.add(drawing.path(cross, fill="none", stroke=FAILS, stroke_width="1.8"))
    if len(dots) <= named:
        together: dict[tuple[int, int], list[Dot]] = {}  # variants that differ in nothing shown share one name
        for dot in dots:
            x, y = place(dot.x, dot.y)
            together.setdefault((round(x), round(y)), []).append(dot)
        for those in together.values():
            x, y = place(those[0].x, those[0].y)
            said = ", ".join(str(dot.number) for dot in those)
            drawing.add(words(drawing, said, (x + 6.5, y - 5), 11, fill=INK))
    for row, text in enumerate(("● keeps all", "× does not")):
        drawing.add(words(drawing, text, (LEFT + PLOT_WIDTH + 12, TOP + 12 + 20 * row), 11))
    return finish(drawing)


def render_explored(
    title: str, summary: str, pictures: Sequence[tuple[str, str]], head: Sequence[str], rows: Sequence[Sequence[str]]
) -> str:
    """Return one HTML document that works offline; `pictures` are (caption, SVG)."""
    return render_page("explored.html.jinja", title=title, summary=summary, pictures=pictures, head=head, rows=rows)


def _scale(values: Sequence[float]) -> list[float]:
    """Return round numbers, four to nine of them, that take in all values: steps of 1, 2 or 5."""
    low, high = min(values), max(values)
    if high - low < 1e-9 * max(abs(low), abs(high), 1.0):
        low, high = low - 0.5 * max(abs(low), 1.0) * 0.1, high + 0.5 * max(abs(high), 1.0) * 0.1
    raw = (high - low) / 5.0
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if raw <= m * power * (1 + 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [i * step for i in range(first, max(last, first + 1) + 1)]


def _short(value: float, scale: Sequence[float]) -> str:
    step = min(b - a for a, b in pairwise(scale))
    return fixed(value, max(0, -math.floor(math.log10(step) + 1e-9)))
