"""Sheets that cannot be, or hardly: margins, outlines and keep-out places."""

from __future__ import annotations

from collections.abc import Iterator

from kerfwave.findings import Finding
from kerfwave.model import spec as model
from kerfwave.spec.places import Places
from kerfwave.spec.plan import PlanError, check_simple
from kerfwave.spec.units import number


def check(stock: model.Stock, at: Places) -> Iterator[Finding]:
    """Yield what does not make sense in the sheets of a stock."""
    for index, sheet in enumerate(stock.sheets):
        least = min(sheet.width_mm, sheet.height_mm)
        if 2 * stock.edge_margin_mm >= least:
            message = f"two margins of {number(stock.edge_margin_mm)} mm leave nothing of {number(least)} mm"
            key = "outline_mm" if sheet.outline_mm else "width_mm" if sheet.width_mm == least else "height_mm"
            hint = f"edge_margin_mm below {number(least / 2)}"
            yield at.finding(("stock", "sheets", index, key), "K406", message, "", hint)
        yield from _sheet_shapes(sheet, ("stock", "sheets", index), at)


def _sheet_shapes(sheet: model.SheetStock, path: tuple[str | int, ...], at: Places) -> Iterator[Finding]:
    """Look at the outline of a sheet and at the places on it that are kept out."""
    if sheet.outline_mm is not None:
        yield from _simple(sheet.outline_mm, (*path, "outline_mm"), at)
        left, low = min(x for x, _ in sheet.outline_mm), min(y for _, y in sheet.outline_mm)
        if (left, low) != (0.0, 0.0):
            message = f"the box around the outline begins at x = {number(left)}, y = {number(low)} mm"
            why = "the lower left corner of that box is where the program's zero lies"
            hint = f"{number(left)} less in every x and {number(low)} less in every y; shift keep_out likewise"
            yield at.finding((*path, "outline_mm"), "K419", message, why, hint)
    for index, place in enumerate(sheet.keep_out):
        here = (*path, "keep_out", index)
        if place.points_mm is not None:
            yield from _simple(place.points_mm, (*here, "points_mm"), at)
        x0, y0, x1, y1 = _reach(place)
        if x1 <= 0 or y1 <= 0 or x0 >= sheet.width_mm or y0 >= sheet.height_mm:
            message = f"this {place.what} lies beside the sheet"
            why = f"the sheet is {number(sheet.width_mm)} x {number(sheet.height_mm)} mm, measured from its lower left"
            yield at.finding(here, "K420", message, why, "", level="warning")


def _simple(corners: tuple[tuple[float, float], ...], path: tuple[str | int, ...], at: Places) -> Iterator[Finding]:
    try:
        check_simple(corners)
    except PlanError as error:
        yield at.finding(path, "K419", str(error), "", "list the corners in order round the outline")


def _reach(place: model.KeepOut) -> tuple[float, float, float, float]:
    """Return the box around a keep-out place."""
    if place.points_mm is not None:
        xs, ys = [x for x, _ in place.points_mm], [y for _, y in place.points_mm]
        return min(xs), min(ys), max(xs), max(ys)
    x, y = place.x_mm or 0.0, place.y_mm or 0.0
    if place.shape == "circle":
        half = (place.diameter_mm or 0.0) / 2
        return x - half, y - half, x + half, y + half
    return x, y, x + (place.width_mm or 0.0), y + (place.height_mm or 0.0)
