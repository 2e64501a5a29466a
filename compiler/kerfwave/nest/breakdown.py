"""The plan by which sheets larger than the bed are cut down: which of them, into what, by which straight cuts."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from shapely.geometry import Polygon

from kerfwave.model.breakdown import Breakdown, Opened, Part, StraightCut
from kerfwave.model.parts import Nest, Piece
from kerfwave.nest.areas import SheetKind, sheet_kind
from kerfwave.nest.blanks import Division
from kerfwave.nest.errors import NotEnoughSheets
from kerfwave.nest.packing import pack

OVERLAP_MM = 10.0  # of two runs of the line, where one is too short for a cut
BEYOND_MM = 2.0  # the line goes on past both edges


def pack_divided(pieces: tuple[Piece, ...], divisions: tuple[Division, ...], **rules: Any) -> Nest:
    """Pack on the blanks of divided sheets; `rules` are those of `pack`, and it raises what that raises.

    Where the stock is one size of sheet, of which several blanks are cut, as few of those sheets are opened as will do.
    """
    found = pack(pieces, tuple(b.sheet for d in divisions for b in d.blanks), **rules)
    if len(divisions) > 1 or divisions[0].whole:
        return found
    division = divisions[0]
    wood = sum(Polygon(p.outline, p.holes).area for p in pieces)
    least = max(1, math.ceil(wood / (division.stock.width_mm * division.stock.height_mm)))
    with suppress(NotEnoughSheets):
        while (fewer := len(taken(found, divisions)) - 1) >= least:
            found = pack(pieces, tuple(replace(b.sheet, count=fewer) for b in division.blanks), **rules)
    return found


def break_down(nest: Nest, divisions: tuple[Division, ...], line_mm: float, kerf_mm: float) -> Breakdown:
    """Say which sheets of the stock the sheets of a nest are cut from, and how.

    Sheets are taken in the order of the nest's: a blank of a sheet that is opened already first, then one of the
    smallest sheet that has such a blank. Only cuts that set a used blank free are made.
    """
    return Breakdown(
        tuple(
            _opened(number, division, used, line_mm, kerf_mm)
            for number, (division, used) in enumerate(taken(nest, divisions), start=1)
        ),
        line_mm,
    )


def taken(nest: Nest, divisions: tuple[Division, ...]) -> list[tuple[Division, dict[int, int]]]:
    """Return the division of each sheet that is taken from the stock, and which blank of it is which of the nest's."""
    order = sorted(divisions, key=lambda d: (d.stock.width_mm * d.stock.height_mm, d.entry))
    opened: list[tuple[Division, dict[int, int]]] = []
    for sheet in nest.sheets:
        kind = (sheet.width_mm, sheet.height_mm, sheet.outline, sheet.keep_out)
        for division, used in opened:
            free = _free(division, used, kind)
            if free is not None:
                used[free] = sheet.number
                break
        else:
            for division in order:
                copies = sum(d is division for d, _ in opened)
                free = _free(division, {}, kind)
                if copies < division.stock.count and free is not None:
                    opened.append((division, {free: sheet.number}))
                    break
            else:
                raise ValueError(f"sheet {sheet.number} is none of the blanks")
    return opened


def _free(division: Division, used: dict[int, int], kind: SheetKind) -> int | None:
    return next(
        (k for k, blank in enumerate(division.blanks) if k not in used and sheet_kind(blank.sheet) == kind), None
    )


def _opened(number: int, division: Division, used: dict[int, int], line_mm: float, kerf_mm: float) -> Opened:
    parts = tuple(
        Part(used.get(k), b.x_mm, b.y_mm, b.width_mm, b.height_mm, b.turned, sheet_kind(b.sheet)[2])
        for k, b in enumerate(division.blanks)
    )
    taken = {(division.blanks[k].column, division.blanks[k].row) for k in used}
    ways = [_cuts(division, taken, line_mm, kerf_mm, rows_first=first) for first in (False, True)]
    cuts = min(ways, key=lambda way: (sum(c.runs for c in way), sum(math.dist(c.start_mm, c.end_mm) for c in way)))
    stock = division.stock
    outline = sheet_kind(stock)[2]
    return Opened(number, division.entry, stock.width_mm, stock.height_mm, outline, parts, tuple(cuts))


def _cuts(
    division: Division, taken: set[tuple[int, int]], line_mm: float, kerf_mm: float, *, rows_first: bool
) -> list[StraightCut]:
    """Cuts into strips, then of each strip that holds a used blank; x and y change roles if rows come first."""
    stock = division.stock
    first, second = (division.rows_mm, division.columns_mm) if rows_first else (division.columns_mm, division.rows_mm)
    long, across = (stock.width_mm, stock.height_mm) if rows_first else (stock.height_mm, stock.width_mm)
    fields = {(row, column) if rows_first else (column, row) for column, row in taken}
    cuts = _along(first, {a for a, _ in fields}, (0.0, long), line_mm, kerf_mm)
    starts = _starts(first, kerf_mm)
    for strip in sorted({a for a, _ in fields}):
        used = {b for a, b in fields if a == strip}
        ends = (starts[strip], min(across, starts[strip] + first[strip]))
        cuts += [c.turned() for c in _along(second, used, ends, line_mm, kerf_mm)]
    return [(c.turned() if rows_first else c).cut() for c in cuts]


@dataclass(frozen=True, slots=True)
class _Line:
    """A cut at one `place` of the first axis, along the second from `low` to `high`; `axis` 0: the first is x."""

    place: float
    low: float
    high: float
    size: float
    stop: float
    runs: int
    axis: int = 0

    def turned(self) -> _Line:
        return _Line(self.place, self.low, self.high, self.size, self.stop, self.runs, 1 - self.axis)

    def cut(self) -> StraightCut:
        ends = ((self.place, self.low), (self.place, self.high))
        start, end = ends if self.axis == 0 else ((self.low, self.place), (self.high, self.place))
        return StraightCut(start, end, self.size, self.stop, self.runs)


def _starts(sizes: tuple[float, ...], kerf_mm: float) -> list[float]:
    starts = [0.0]
    for size in sizes[:-1]:
        starts.append(round(starts[-1] + size + kerf_mm, 6))
    return starts


def _along(
    sizes: tuple[float, ...], used: set[int], ends: tuple[float, float], line_mm: float, kerf_mm: float
) -> list[_Line]:
    """Cuts between parts of which one at least is used. What is cut off last time is the edge to measure from."""
    lines = []
    starts = _starts(sizes, kerf_mm)
    edge = 0.0
    for k in range(len(sizes) - 1):
        if k in used or k + 1 in used:
            end = round(starts[k] + sizes[k], 6)
            size = round(end - edge, 6)
            stop = round(size + kerf_mm / 2, 6)
            lines.append(_Line(round(end + kerf_mm / 2, 6), *ends, size, stop, _runs(ends[1] - ends[0], line_mm)))
            edge = starts[k + 1]
    return lines


def _runs(length_mm: float, line_mm: float) -> int:
    needed = length_mm + 2 * BEYOND_MM
    return 1 if needed <= line_mm else math.ceil((needed - OVERLAP_MM) / (line_mm - OVERLAP_MM) - 1e-9)
