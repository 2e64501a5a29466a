"""The bill of materials as CSV that is safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass

from kerfwave.numfmt import fixed
from kerfwave.writers.words import plain

COLUMNS = ("item", "quantity", "unit", "mass_g", "price", "used_in", "note")


@dataclass(frozen=True, slots=True)
class BillRow:
    """One thing to have on the bench. Mass and price are for the whole quantity; None: not known."""

    item: str
    quantity: float
    unit: str
    mass_g: float | None = None
    price: float | None = None
    used_in: str = ""
    note: str = ""


def text_cell(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula.

    A cell is a formula when it begins with one of = + - @ (their full-width forms count too, and blanks before them
    do not help); an apostrophe before it makes it text. Programs set to a locale that separates cells by semicolons
    split there even in a file of commas, so the same holds after each semicolon. Common practice, as web security
    guides describe it for CSV.
    """
    return re.sub(r"(^|;)(\s*)(?=[=+\-@＝＋－＠])", r"\1\2'", plain(text))


def render_bill(rows: Iterable[BillRow]) -> str:
    """Return the bill as CSV: a header, one line a row, line feeds, numbers with at most two decimals.

    Raises:
        ValueError: for a NaN or an infinity.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow(bill_cells(row))
    return out.getvalue()


def bill_cells(row: BillRow) -> tuple[str, ...]:
    """Return the cells of one row as text, in the order of `COLUMNS`."""
    return (
        text_cell(row.item),
        fixed(row.quantity, 2),
        text_cell(row.unit),
        "" if row.mass_g is None else fixed(row.mass_g, 1),
        "" if row.price is None else fixed(row.price, 2),
        text_cell(row.used_in),
        text_cell(row.note),
    )
