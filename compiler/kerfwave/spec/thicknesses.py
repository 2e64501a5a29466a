"""Thicknesses of sheets that cannot be, or hardly: readings far from the label, labels that no layer is cut from."""

from __future__ import annotations

import math
from collections.abc import Iterator

from kerfwave.findings import Finding
from kerfwave.model import spec as model
from kerfwave.spec.places import Places
from kerfwave.spec.units import number

_OTHER_SHEET = 0.3  # measured this far from the label, it is another sheet or another unit


def check(stock: model.Stock, at: Places) -> Iterator[Finding]:
    """Yield readings that are not what the label says, of the stock and of sheets that have their own."""
    yield from _measured(stock.measured_mm, stock.thickness_mm, ("stock",), at)
    for index, sheet in enumerate(stock.sheets):
        path = ("stock", "sheets", index)
        if sheet.measured_mm is not None:
            yield from _measured(sheet.measured_mm, sheet.thickness_mm or stock.thickness_mm, path, at)
        elif sheet.thickness_mm is not None and sheet.thickness_mm != stock.thickness_mm:
            message = f"these sheets are labelled {number(sheet.thickness_mm)} mm, and have no readings of their own"
            why = f"the readings of the stock are those of its {number(stock.thickness_mm)} mm sheets"
            yield at.finding((*path, "thickness_mm"), "K405", message, why, "measured_mm beside it")
    thinnest = min(sheet.thickness_mm or stock.thickness_mm for sheet in stock.sheets)
    if stock.tolerance_mm is not None and stock.tolerance_mm > _OTHER_SHEET * thinnest:
        message = f"tolerance_mm is {number(stock.tolerance_mm)} mm, of sheets of {number(thinnest)} mm"
        why = "beyond 30 % it is another sheet"
        hint = f"at most {number(round(_OTHER_SHEET * thinnest, 2))}"
        yield at.finding(("stock", "tolerance_mm"), "K405", message, why, hint)


def labels(stock: model.Stock, body: model.Enclosure, at: Places) -> Iterator[Finding]:
    """Yield labels that are asked for and not there, or there and not asked for."""
    there = sorted({sheet.thickness_mm or stock.thickness_mm for sheet in stock.sheets})
    listed = f"labels of the sheets: {', '.join(number(label) for label in there)} mm"
    if stock.thickness_mm not in there:
        message = f"no sheet is labelled {number(stock.thickness_mm)} mm, which all layers but floor and lid come from"
        yield at.finding(("stock", "thickness_mm"), "K422", message, listed, "the label of the thinner sheets, mostly")
    if body.plates_mm is not None and body.plates_mm not in there:
        message = f"plates_mm is {number(body.plates_mm)} mm, and no sheet has that label"
        yield at.finding(("enclosure", "plates_mm"), "K422", message, listed, "one of them")
    taken = {stock.thickness_mm, body.plates_mm}
    for index, sheet in enumerate(stock.sheets):
        if sheet.thickness_mm is not None and sheet.thickness_mm not in taken:
            message = f"nothing is cut from these sheets of {number(sheet.thickness_mm)} mm"
            hint = f"plates_mm: {number(sheet.thickness_mm)} in the enclosure, for floor and lid"
            path = ("stock", "sheets", index, "thickness_mm")
            yield at.finding(path, "K422", message, "", hint, level="warning")


def _measured(readings: tuple[float, ...], label: float, path: tuple[str | int, ...], at: Places) -> Iterator[Finding]:
    worst = max(readings, key=lambda reading: abs(reading - label))
    if len(readings) > 1 and abs(worst - label) > _OTHER_SHEET * label:  # a mean would hide it, and be built from
        message = f"one reading is {number(worst)} mm, the label says {number(label)} mm"
        why = "no sheet is so far from its label; 4,1 in a list is two readings, 4 and 1"
        yield at.finding(
            (*path, "measured_mm"), "K405", message, why, "decimals after a point, as in 4.1; or measure again"
        )
        return
    mean = math.fsum(readings) / len(readings)
    # Sanded plywood, t = label: from -(0.4 + 0.03 t) to +(0.2 + 0.03 t) mm, EN 315 as makers' tables and the formula
    # of GB/T 9846 give it; the EN text itself was not seen.
    low, high = label - (0.4 + 0.03 * label), label + (0.2 + 0.03 * label)
    if not low <= mean <= high:
        far = abs(mean - label) > _OTHER_SHEET * label
        message = f"measured {number(round(mean, 2))} mm on average, the label says {number(label)} mm"
        why = f"usual for sanded plywood: {number(round(low, 2))} to {number(round(high, 2))} mm"
        hint = "measure again, in mm; or correct thickness_mm" if far else "measure again; the readings are what counts"
        yield at.finding((*path, "measured_mm"), "K405", message, why, hint, level="error" if far else "warning")
