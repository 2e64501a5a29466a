"""The frame of a chart: its measures, the decade and 1-2-5 grid that the trade draws, scales, and lines cut at it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

from kerfwave.model.parts import Point
from kerfwave.numfmt import fixed
from kerfwave.writers.svg import INK, line_data, n, words

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 660.0, 62.0, 112.0, 34.0, 48.0
PLOT_WIDTH = WIDTH - LEFT - RIGHT
FONT_PX = 14.0


@dataclass(frozen=True, slots=True)
class Axis:
    """One scale: its label, ends and the distance of its grid lines."""

    label: str
    y_from: float
    y_to: float
    step: float


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a value lies on the page: the ends of the frequency axis, the scales, and how high it stands in px."""

    x_from: float
    x_to: float
    left: Axis
    right: Axis | None
    height_px: float

    @property
    def base(self) -> float:
        """How far down the foot of the frame is."""
        return TOP + self.height_px

    def across(self, x: float) -> float:
        """How far right a frequency is."""
        return LEFT + PLOT_WIDTH * math.log(x / self.x_from) / math.log(self.x_to / self.x_from)

    def ends(self, x_from: float, x_to: float) -> tuple[float, float]:
        """How far right a stretch of the axis begins and ends, as far as it lies in the frame."""
        return self.across(max(x_from, self.x_from)), self.across(min(x_to, self.x_to))

    def up(self, y: float, axis: Axis | None = None) -> float:
        """How far down a value is: on the left scale, if no other is given."""
        axis = axis or self.left
        return TOP + self.height_px * (axis.y_to - y) / (axis.y_to - axis.y_from)

    def box(self, drawing: Any, **style: str) -> Any:
        """Return the rectangle of the frame."""
        return drawing.rect((n(LEFT), n(TOP)), (n(PLOT_WIDTH), n(self.height_px)), **style)


def rule(drawing: Any, a: Point, b: Point, width: float, colour: str, class_: str, dash: str = "") -> Any:
    """Return a straight line."""
    extra = {"stroke_dasharray": dash} if dash else {}
    return drawing.path(
        d=line_data((a, b), lambda p: p), fill="none", stroke=colour, stroke_width=n(width), class_=class_, **extra
    )


def frequency_grid(drawing: Any, frame: Frame, label: str) -> None:
    """Draw the frequency axis."""
    for decade in (1, 10, 100, 1000, 10000):
        for digit in range(1, 10):
            hz = float(decade * digit)
            if not frame.x_from * 0.999 <= hz <= frame.x_to * 1.001:
                continue
            major = digit in (1, 2, 5)
            x = frame.across(hz)
            width, class_ = (1.0, "kw-grid") if major else (0.5, "kw-grid kw-minor")
            drawing.add(rule(drawing, (x, TOP), (x, frame.base), width, "#cfc9bd", class_))
            if major:
                text = f"{fixed(hz / 1000, 0)} k" if hz >= 1000 else fixed(hz, 0)
                drawing.add(words(drawing, text, (x, frame.base + 18), FONT_PX, anchor="middle"))
    drawing.add(words(drawing, label, (LEFT + PLOT_WIDTH / 2, frame.base + 40), FONT_PX, anchor="middle"))


def level_grid(drawing: Any, frame: Frame) -> None:
    """Draw the scale on the left, and ticks of the one on the right."""
    edge, left, right = LEFT + PLOT_WIDTH, frame.left, frame.right
    decimals = max(0, -math.floor(math.log10(left.step) + 1e-9))
    for value in _steps(left):
        y = frame.up(value)
        drawing.add(rule(drawing, (LEFT, y), (edge, y), 1.0, "#cfc9bd", "kw-grid"))
        drawing.add(words(drawing, fixed(value, decimals), (LEFT - 8, y + 5), FONT_PX, anchor="end"))
    drawing.add(words(drawing, left.label, (8, TOP - 14), FONT_PX))
    if right is not None:
        for value in _steps(right):
            y = frame.up(value, right)
            drawing.add(rule(drawing, (edge, y), (edge + 5, y), 1.0, INK, "kw-ink"))
            drawing.add(words(drawing, fixed(value, 0), (edge + 9, y + 5), FONT_PX))
        drawing.add(words(drawing, right.label, (WIDTH - 8, TOP - 14), FONT_PX, anchor="end"))


def _steps(axis: Axis) -> list[float]:
    """Return the values of a scale's grid."""
    first, last = math.ceil(axis.y_from / axis.step - 1e-6), math.floor(axis.y_to / axis.step + 1e-6)
    return [i * axis.step for i in range(first, last + 1)]


def clipped(points: list[Point], left: float, top: float, base: float) -> list[list[Point]]:
    """Return the runs of a line that lie in the frame, cut exactly on its edges."""
    runs: list[list[Point]] = []
    for a, b in itertools.pairwise(points):
        cut = _clip(a, b, left, top, left + PLOT_WIDTH, base)
        if cut is None:
            continue
        if runs and math.dist(runs[-1][-1], cut[0]) < 1e-9:
            runs[-1].append(cut[1])
        else:
            runs.append(list(cut))
    return runs


def _clip(a: Point, b: Point, x0: float, y0: float, x1: float, y1: float) -> tuple[Point, Point] | None:
    """Return the part of a segment inside a box, or None (Liang and Barsky 1984)."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    t0, t1 = 0.0, 1.0
    for p, q in ((-dx, a[0] - x0), (dx, x1 - a[0]), (-dy, a[1] - y0), (dy, y1 - a[1])):
        if p == 0:
            if q < 0:
                return None
        elif p < 0:
            t0 = max(t0, q / p)
        else:
            t1 = min(t1, q / p)
    if t0 >= t1:
        return None
    start = a if t0 == 0.0 else (a[0] + t0 * dx, a[1] + t0 * dy)
    return start, b if t1 == 1.0 else (a[0] + t1 * dx, a[1] + t1 * dy)
