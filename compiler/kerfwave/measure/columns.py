"""Plain columns of measurements: one row a frequency, read where that is safe and refused clearly where it is not.

Every program and every meter writes such files a little differently. What can only be read one way is read: header
lines and comments, blanks, tabs, commas or semicolons between the values, decimal commas beside another separator,
rows in any order. What could be read in two ways is refused with its line, since a measurement that is silently read
wrongly is worse than none.
"""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass

MOST_CHARACTERS = 16_000_000
MOST_ROWS = 400_000
LONGEST_LINE = 2_000

_COMMENTS = ("#", ";", "*", "//", "%", "!")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,4})?", re.ASCII)
_STARTS_AS_NUMBER = re.compile(r"[+-]?(?:[.,]?\d|(?:nan|inf(?:inity)?)\b)", re.ASCII | re.IGNORECASE)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf(?:inity)?)", re.IGNORECASE)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+")


class ColumnError(ValueError):
    """A file of columns that cannot be read: where, what is wrong and what would be right."""

    def __init__(self, name: str, line: int, problem: str, remedy: str = "") -> None:
        self.name, self.line, self.problem, self.remedy = name, line, problem, remedy
        super().__init__(f"{name}:{line}: {problem}" + (f"; {remedy}" if remedy else ""))


@dataclass(frozen=True, slots=True)
class Columns:
    """The numbers of one file, rows in order of frequency.

    `values[i]` is the column `columns[i]`; `lines[k]` is the line, from 1, that row k stood on; `notes` says what
    was passed over or put in order.
    """

    name: str
    columns: tuple[str, ...]
    values: tuple[tuple[float, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()

    def column(self, title: str) -> tuple[float, ...] | None:
        """Return one column by its title, or None where this optional one is not in the file."""
        return self.values[self.columns.index(title)] if title in self.columns else None


def text_of(data: bytes, *, name: str) -> str:
    """Return the text of a file: UTF-8, UTF-16 with its mark, or else Latin-1, as old meters write it.

    Raises:
        ColumnError: for a file that is too large, or no text.
    """
    if len(data) > 2 * MOST_CHARACTERS:
        raise ColumnError(name, 1, f"{len(data)} bytes are more than a file of columns has", "export fewer points")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise ColumnError(name, 1, "the UTF-16 text is damaged", "export it again as plain text") from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")  # the numbers are ASCII; only a unit in the header can be misread


def read_columns(text: str, *, name: str, columns: tuple[str, ...], optional: int = 0) -> Columns:
    """Return the numbers in `text`.

    Parameters
    ----------
    text
        The content of the file.
    name
        What messages call the file.
    columns
        The titles that the columns shall have, at least two; the first one is the frequency in Hz.
    optional
        How many of the last of `columns` may be missing from the whole file.

    Raises
    ------
    ColumnError
        with file, line and remedy, for whatever cannot be read in one way only.
    """
    if len(columns) - optional < 2:
        raise ValueError("a file of columns has a frequency and at least one more")
    rows, headers, notes = _rows(text.removeprefix("\ufeff"), name)
    fields = _split(rows, headers, name, len(columns) - optional)
    width = _width(fields, rows, name, columns, optional)
    if len(fields[0]) > width:
        notes.append(f"{len(fields[0])} columns: the first {width} were read")
    comma = _decimal_comma(fields, rows, name)
    numbers = []
    for (line, _), cells in zip(rows, fields, strict=True):
        numbers.append(
            (line, *(_number(cell, name, line, title, comma) for cell, title in zip(cells, columns, strict=False)))
        )
    ordered = sorted(numbers, key=lambda row: row[1])
    if ordered != numbers:
        notes.append("the rows were put in order of frequency")
    _check_frequencies(ordered, name)
    lines, *values = zip(*ordered, strict=True)
    return Columns(name, columns[:width], tuple(values), lines, tuple(notes))


def _rows(text: str, name: str) -> tuple[list[tuple[int, str]], list[str], list[str]]:
    """Return the lines that hold numbers, the header lines, and notes."""
    if len(text) > MOST_CHARACTERS:
        raise ColumnError(name, 1, f"{len(text)} characters are more than a file of columns has", "export fewer points")
    rows: list[tuple[int, str]] = []
    headers: list[str] = []
    asides: list[tuple[int, str]] = []
    for number, raw in enumerate(re.split(r"\r\n|\n|\r", text), 1):
        if any(c < " " and c != "\t" and c != "\f" for c in raw):
            raise ColumnError(name, number, "control characters: this is no plain text", "export the numbers as text")
        if len(raw) > LONGEST_LINE:
            raise ColumnError(name, number, "a very long line: this is no file of columns", "one row a frequency")
        line = raw.replace("\u2212", "-").replace('"', "").strip()
        if not line:
            continue
        if line.startswith(_COMMENTS):
            asides.append((number, line))
        elif _STARTS_AS_NUMBER.match(line):
            rows.append((number, re.split(r"#|//", line)[0].strip()))
        elif rows:
            raise ColumnError(name, number, f"{_quoted(line)} is no row of numbers", "put a # before remarks")
        elif line[0].isalpha() or line[0] in "'([{<|=" or not re.search(r"\d", line):
            headers.append(line)
        else:
            raise ColumnError(
                name, number, f"{_quoted(line)} is neither a header nor a row of numbers", "put a # before remarks"
            )
        if len(rows) > MOST_ROWS:
            raise ColumnError(name, number, f"more than {MOST_ROWS} rows", "export fewer points")
    if not rows:
        raise ColumnError(name, 1, "no row of numbers", "one row a frequency, the frequency in Hz first")
    _check_asides(asides, rows, name)
    notes = [f"{len(headers)} header line{'s' * (len(headers) > 1)} passed over"] if headers else []
    return rows, headers, notes


def _check_asides(asides: list[tuple[int, str]], rows: list[tuple[int, str]], name: str) -> None:
    """Refuse a row whose first cell is empty: where semicolons separate, it looks like a remark."""
    if not any(";" in line for _, line in rows):
        return
    for number, line in asides:
        cells = [cell.strip() for cell in line.split(";")[1:]]
        if line.startswith(";") and any(cells) and all(_NUMBER.fullmatch(cell) or not cell for cell in cells):
            raise ColumnError(name, number, "a row without a frequency", "put a # before rows that shall not count")


def _split(rows: list[tuple[int, str]], headers: list[str], name: str, least: int) -> list[list[str]]:
    """Return the cells of each row, split by the one separator that the whole file has."""
    lines = [line for _, line in rows]
    if any(";" in line for line in lines):
        return [_trim([cell.strip() for cell in line.split(";")]) for line in lines]
    # A comma beside a blank can only separate; without one it separates where nothing else does.
    spaced = [re.sub(r"\s*,\s+|\s+,\s*", "\t", line) for line in lines]
    blanks = [bool(re.search(r"\s", line)) for line in spaced]
    if all(blanks) or not any("," in line for line in spaced):
        return [line.split() for line in spaced]
    if any(blanks):
        number = rows[blanks.index(not blanks[0])][0]
        raise ColumnError(name, number, "not separated as the first row is", "one separator throughout")
    fields = [_trim(line.split(",")) for line in lines]
    count = max(len(cells) for cells in fields)
    told = any("." in line for line in lines) or any(len(header.split(",")) == count for header in headers[-1:])
    if count > least and not told:
        raise ColumnError(
            name,
            rows[0][0],
            "commas that may separate or be decimal",
            "put semicolons between the columns, or write decimal points",
        )
    return fields


def _trim(cells: list[str]) -> list[str]:
    return cells[:-1] if len(cells) > 1 and not cells[-1] else cells


def _width(
    fields: list[list[str]], rows: list[tuple[int, str]], name: str, columns: tuple[str, ...], optional: int
) -> int:
    """Return how many of `columns` the file has."""
    first = len(fields[0])
    for (number, _), cells in zip(rows, fields, strict=True):
        if len(cells) < len(columns) - optional:
            wanted = ", ".join(columns[: len(columns) - optional])
            raise ColumnError(
                name, number, f"{len(cells)} value{'s' * (len(cells) != 1)} where {wanted} are needed", "one row each"
            )
        if len(cells) != first:
            raise ColumnError(
                name, number, f"{len(cells)} values, but {first} in line {rows[0][0]}", "as many in every row"
            )
    return min(first, len(columns))


def _decimal_comma(fields: list[list[str]], rows: list[tuple[int, str]], name: str) -> bool:
    """Tell whether the comma is the decimal mark of this file."""
    commas = [(n, cell) for (n, _), cells in zip(rows, fields, strict=True) for cell in cells if "," in cell]
    if not commas:
        return False
    line, cell = commas[0]
    points = [n for (n, _), cells in zip(rows, fields, strict=True) for c in cells if "." in c]
    if points:
        where = f"line {points[0]}" if points[0] != line else "the same line"
        raise ColumnError(
            name, line, f"a comma in {_quoted(cell)}, but a decimal point in {where}", "one decimal mark throughout"
        )
    if all(_THOUSANDS.fullmatch(c) for _, c in commas):
        plain = cell.replace(",", "")
        raise ColumnError(
            name,
            line,
            f"{_quoted(cell)} may be {plain} or {cell.replace(',', '.', 1)}",
            "write decimal points, and thousands without a mark",
        )
    return True


def _number(cell: str, name: str, line: int, title: str, comma: bool) -> float:
    if not cell:
        raise ColumnError(name, line, f"nothing in the column {title}", "a number in every column")
    if _NOT_FINITE.fullmatch(cell):
        raise ColumnError(
            name, line, f"{_quoted(cell)} in the column {title} is not a finite number", "leave that row out"
        )
    if not _NUMBER.fullmatch(cell):
        raise ColumnError(
            name,
            line,
            f"{_quoted(cell)} in the column {title} is no number",
            "plain numbers without units; # before remarks",
        )
    value = float(cell.replace(",", ".") if comma else cell)
    if not math.isfinite(value):
        raise ColumnError(name, line, f"{_quoted(cell)} in the column {title} is too large", "a finite number")
    return value


def _check_frequencies(ordered: list[tuple[int, ...]] | list[tuple[int | float, ...]], name: str) -> None:
    line, lowest = int(ordered[0][0]), ordered[0][1]
    if lowest <= 0:
        raise ColumnError(
            name, line, f"the frequency {lowest:g} Hz", "frequencies are above 0; leave a row for 0 Hz out"
        )
    for before, row in itertools.pairwise(ordered):
        if row[1] == before[1]:
            first, second = sorted((int(before[0]), int(row[0])))
            raise ColumnError(
                name, second, f"the frequency {row[1]:g} Hz stands in line {first} already", "one row a frequency"
            )


def _quoted(text: str, limit: int = 32) -> str:
    return f"'{text if len(text) <= limit else text[: limit - 1] + '…'}'"
