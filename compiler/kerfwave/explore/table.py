"""What came of the variants, as one table: a row each, a column for every number that was found."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from kerfwave.explore.vary import Value
from kerfwave.numfmt import fixed
from kerfwave.writers.bill import text_cell

KEPT, FAILS, REFUSED = "kept", "fails", "refused"

# Units of the design checks, as they stand in the names of columns; a check that is not here has none.
UNITS = {
    "level": "db",
    "ripple": "db",
    "relief": "db",
    "bass": "db",
    "excursion": "mm",
    "mouth": "m_s",
    "below-relief": "mm",
    "guide-length": "mm",
    "as-built": "db",
    "field-resonance": "percent",
    "field-transfer": "db",
    "shaped-excursion": "mm",
    "listening": "db",
    "bass-control": "mm",
    "spread": "share",
    "web": "mm",
    "smallest-hole": "mm",
    "glue": "mm2",
    "panel-mode": "hz",
    "chamber": "l",
    "laser": "h",
}
SIGNS = {"db": "dB", "m_s": "m/s", "percent": "%", "mm2": "mm²", "hz": "Hz", "l": "L"}  # of units not written so


@dataclass(frozen=True, slots=True)
class Row:
    """One variant: what it was given, how it stands to its checks, its numbers, and what is wrong if something is."""

    number: int
    values: tuple[Value, ...]
    verdict: str  # "kept", "fails" (a check) or "refused" (cannot be built)
    figures: tuple[tuple[str, float], ...]
    note: str = ""


def column(name: str) -> str:
    """Return the heading of a figure, unit and all: "bass_db" for "bass"."""
    unit = UNITS.get(name, "")
    return name.replace("-", "_") + (f"_{unit}" if unit else "")


def label(name: str) -> str:
    """Return what a figure is called in a picture: "bass, dB" for "bass"."""
    unit = UNITS.get(name, "")
    return name.replace("-", " ") + (f", {SIGNS.get(unit, unit)}" if unit else "")


def figure_names(rows: Sequence[Row]) -> tuple[str, ...]:
    """Return every figure that any row has, in the order in which they were first met."""
    return tuple(dict.fromkeys(name for row in rows for name, _ in row.figures))


def head(keys: Sequence[str], rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the headings: number, verdict, the keys that were varied, the figures, the note."""
    return ("variant", "verdict", *keys, *map(column, figure_names(rows)), "note")


def cells(row: Row, names: Sequence[str]) -> tuple[str, ...]:
    """Return one row as text; a figure that it has not is empty."""
    found = dict(row.figures)
    return (
        str(row.number),
        row.verdict,
        *map(_value, row.values),
        *("" if name not in found else fixed(found[name], 3) for name in names),
        row.note,
    )


def csv_of(keys: Sequence[str], rows: Sequence[Row]) -> str:
    """Return the table as CSV; no cell can become a formula."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(map(text_cell, head(keys, rows)))
    names = figure_names(rows)
    for row in rows:
        number, verdict, *rest = cells(row, names)
        varied, figures = rest[: len(keys)], rest[len(keys) : -1]
        given = [text_cell(one) if isinstance(v, str) else one for one, v in zip(varied, row.values, strict=True)]
        writer.writerow([number, verdict, *given, *figures, text_cell(row.note)])
    return out.getvalue()


def _value(value: Value) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else fixed(float(value), 6)
