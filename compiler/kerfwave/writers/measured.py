"""What a measurement becomes on disk: plain columns that any program reads, and charts.

Every table has one header line and then numbers separated by commas, with decimal points: `read_columns` reads them
back. A value that was not measured is an empty cell.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence

from kerfwave.numfmt import fixed
from kerfwave.writers.chart_frame import PLOT_WIDTH
from kerfwave.writers.lines import Area, Limit, Series, line_chart
from kerfwave.writers.svg import AIR, INK, finish, line_data, n, page, words

_FEWEST = 3  # points of a line that is worth drawing
_SHOWN_MS = 100.0
_BELOW = 1e3  # dB under the frame: where a line goes that has no value


def table(titles: Sequence[str], columns: Sequence[Sequence[float | None]], decimals: Sequence[int]) -> str:
    """Return columns as CSV, each with its own number of decimals.

    Raises:
        ValueError: for columns of different lengths, NaN and infinities.
    """
    lines = [",".join(titles)]
    for row in zip(*columns, strict=True):
        lines.append(",".join("" if v is None else fixed(v, d) for v, d in zip(row, decimals, strict=True)))
    return "\n".join(lines) + "\n"


def level_chart(
    series: tuple[Series, ...],
    *,
    title: str,
    y_label: str,
    desc: str,
    limits: Iterable[Limit] = (),
    areas: Iterable[Area] = (),
    span_db: float = 50.0,
) -> str:
    """Return levels over the decades that were measured, `span_db` tall, the highest level near the top."""
    low, high = _ends(series)
    top = 5.0 * math.ceil((max(max(line.y) for line in series if line.style == 0) + 2.0) / 5.0)
    decade = PLOT_WIDTH / math.log10(high / low)
    return line_chart(
        series,
        title=title,
        y_label=y_label,
        x_from=low,
        x_to=high,
        y_from=top - span_db,
        y_to=top,
        limits=limits,
        areas=areas,
        height=min(max(decade * span_db / 50.0, 180.0), 320.0),
        desc=desc,
    )


def harmonics_chart(
    frequency_hz: tuple[float, ...], harmonics: Sequence[tuple[str, Sequence[float | None]]]
) -> str | None:
    """Return harmonics in dB below the fundamental, or None where none was heard at all.

    Where a harmonic is not clear of the noise its line leaves the frame at the bottom.
    """
    series = tuple(
        Series(
            name,
            frequency_hz,
            tuple(-_BELOW if not p else 20.0 * math.log10(p / 100.0) for p in percent),
            style,
        )
        for style, (name, percent) in enumerate(harmonics)
        if sum(bool(p) for p in percent) >= _FEWEST
    )
    if not series:
        return None
    highest = max(max(line.y) for line in series)
    top = min(10.0 * math.ceil((highest + 2.0) / 10.0), 20.0)
    low, high = _ends(series)
    return line_chart(
        series,
        title="Distortion by harmonic",
        y_label="level, dB re the fundamental (-40 dB is 1 %)",
        x_label="frequency of the fundamental, Hz",
        x_from=low,
        x_to=high,
        y_from=top - 80.0,
        y_to=top,
        limits=(Limit(-40.0, "1 %"),) if top - 80.0 < -40.0 < top else (),
        desc="Harmonics of orders 2 to 5 over the frequency of the fundamental. A line that ends at the bottom is not "
        "clear of the noise there.",
    )


def impulse_chart(time_s: Sequence[float], value: Sequence[float], *, title: str = "Impulse response") -> str:
    """Return the impulse response over time in milliseconds, its peak at 0, relative to its peak."""
    width, height, left, right, top, bottom = 660.0, 220.0, 62.0, 24.0, 34.0, 48.0
    peak = max(map(abs, value), default=0.0) or 1.0
    last = min(1000.0 * time_s[-1], _SHOWN_MS)
    first = max(1000.0 * time_s[0], -0.1 * last)
    drawing = page(
        "chart-impulse",
        0,
        0,
        width,
        height + top + bottom,
        title=title,
        desc=f"Impulse response from {fixed(first, 1)} to {fixed(last, 1)} ms about its peak; the table has all of it.",
        unit="px",
    )
    plot = width - left - right
    drawing.add(drawing.rect((n(left), n(top)), (n(plot), n(height)), fill=AIR, stroke=INK, class_="kw-air"))

    def across(ms: float) -> float:
        return left + plot * (ms - first) / (last - first)

    def up(level: float) -> float:
        return top + height * (1.1 - level) / 2.2

    for level in (-1.0, -0.5, 0.0, 0.5, 1.0):
        drawing.add(_rule(drawing, (left, up(level)), (left + plot, up(level))))
        drawing.add(words(drawing, fixed(level, 1), (left - 8, up(level) + 5), 14, anchor="end"))
    step = next(m * 10.0**p for p in range(-3, 5) for m in (1, 2, 5) if m * 10.0**p * 8 >= last - first)
    for k in range(math.ceil(first / step - 1e-9), math.floor(last / step + 1e-9) + 1):
        x = across(k * step)
        drawing.add(_rule(drawing, (x, top), (x, top + height)))
        drawing.add(words(drawing, fixed(k * step, 3), (x, top + height + 18), 14, anchor="middle"))
    points = _envelope(
        [(across(1000.0 * t), up(v / peak)) for t, v in zip(time_s, value, strict=True) if first <= 1000.0 * t <= last]
    )
    drawing.add(
        drawing.path(
            d=line_data(points, lambda p: p),
            fill="none",
            stroke="#0072b2",
            stroke_width="1.2",
            stroke_linejoin="round",
            class_="kw-line kw-s0",
        )
    )
    drawing.add(words(drawing, "time after the peak, ms", (left + plot / 2, top + height + 40), 14, anchor="middle"))
    drawing.add(words(drawing, "sound pressure, re its peak", (8, top - 14), 14))
    return finish(drawing)


def _rule(drawing: object, a: tuple[float, float], b: tuple[float, float]) -> object:
    return drawing.path(  # type: ignore[attr-defined]
        d=line_data((a, b), lambda p: p), fill="none", stroke="#cfc9bd", stroke_width="1", class_="kw-grid"
    )


def _envelope(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the points, of each half pixel no more than the highest and the lowest."""
    kept: list[tuple[float, float]] = []
    for _, group in itertools.groupby(points, key=lambda p: round(2 * p[0])):
        ends = list(group)
        kept += sorted({min(ends, key=lambda p: p[1]), max(ends, key=lambda p: p[1])})
    return kept


def _ends(series: tuple[Series, ...]) -> tuple[float, float]:
    """Return the 1-2-5 frequencies round what was measured, a decade apart at least."""
    low, high = min(line.x[0] for line in series), max(line.x[-1] for line in series)
    marks = [m * 10.0**p for p in range(6) for m in (1, 2, 5)]
    start = max((m for m in marks if m <= low * 1.001), default=1.0)
    end = min((m for m in marks if m >= high * 0.999), default=100000.0)
    return start, max(end, 10.0 * start)
