"""Kinds of sheet: a stock in several thicknesses, taken apart into one stock for each of them.

Sheets are of one kind if their readings have the same mean, to the micrometre: a piece may go on any of them. All that
deals with one thickness (recipe, test cuts, nest) is handed the stock of a kind and need not know that there are more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from kerfwave.model.spec import SheetStock, Stock


@dataclass(frozen=True, slots=True)
class Kind:
    """The sheets of one thickness."""

    thickness_mm: float  # mean of the readings, to the micrometre
    labels_mm: tuple[float, ...]  # what is printed on them, lowest first; nearly always one
    stock: Stock  # with these sheets alone
    entries: tuple[int, ...]  # where they stand among the sheets of the whole stock
    layers: int | None  # of one body that are cut from them, at most; None: not said


def mean_mm(measured_mm: tuple[float, ...]) -> float:
    """Return the thickness that is built from: the mean of the calliper's readings, to the micrometre.

    >>> mean_mm((3.94, 3.97, 3.95, 3.98))
    3.96
    """
    return round(sum(measured_mm) / len(measured_mm), 3)


def kinds(stock: Stock) -> tuple[Kind, ...]:
    """Return the kinds of sheet in a stock, in the order in which they are listed.

    The only kind there is keeps the stock as it is; of several, each has its thickness in its name.
    """
    by_mean: dict[float, list[int]] = {}
    for index, sheet in enumerate(stock.sheets):
        by_mean.setdefault(mean_mm(sheet.measured_mm or stock.measured_mm), []).append(index)
    found = []
    for mean, entries in by_mean.items():
        sheets = [stock.sheets[index] for index in entries]
        labels = tuple(dict.fromkeys(sheet.thickness_mm or stock.thickness_mm for sheet in sheets))
        limits = [sheet.layers for sheet in sheets if sheet.layers is not None]
        plain = tuple(replace(sheet, thickness_mm=None, measured_mm=None, layers=None) for sheet in sheets)
        own = replace(
            stock,
            name=stock.name if len(by_mean) == 1 else f"{stock.name}, measured {mean:g} mm",
            thickness_mm=labels[0],
            measured_mm=tuple(r for reading in _readings(stock, sheets) for r in reading),
            sheets=plain,
        )
        layers = sum(limits) if len(limits) == len(sheets) else None
        found.append(Kind(mean, tuple(sorted(labels)), own, tuple(entries), layers))
    return tuple(found)


def kind_of_entry(known: tuple[Kind, ...], entry: int) -> Kind:
    """Return the kind that an entry of the stock's sheets belongs to."""
    return next(kind for kind in known if entry in kind.entries)


def kind_of(known: tuple[Kind, ...], thickness_mm: float | None) -> Kind:
    """Return the kind of that thickness, as layers, pieces and sheets state it.

    Raises:
        LookupError: if there is none.
    """
    for kind in known:
        if kind.thickness_mm == thickness_mm:
            return kind
    raise LookupError(f"no sheet is {thickness_mm} mm thick")


def _readings(stock: Stock, sheets: list[SheetStock]) -> tuple[tuple[float, ...], ...]:
    """Return the different sets of readings of some sheets; those that were taken once count once."""
    return tuple(dict.fromkeys(sheet.measured_mm or stock.measured_mm for sheet in sheets))


def range_mm(kind: Kind) -> tuple[float, float, str]:
    """Return how thin and how thick the sheets of a kind may be, and where that comes from.

    "stated" tolerance; else the "measured" readings, lowest and highest; of a single reading the "assumed" band for
    sanded plywood of EN 315, 0.6 mm + 6 % of the label, half to either side (as makers' tables give it; the text of
    the standard was not seen).
    """
    mean, readings = kind.thickness_mm, kind.stock.measured_mm
    if kind.stock.tolerance_mm is not None:
        return mean - kind.stock.tolerance_mm, mean + kind.stock.tolerance_mm, "stated"
    if len(readings) > 1:
        return min(readings), max(readings), "measured"
    half = (0.6 + 0.06 * kind.stock.thickness_mm) / 2
    return mean - half, mean + half, "assumed"
