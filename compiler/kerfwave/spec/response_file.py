"""A driver's measured response from the shelf: plain columns of frequency and level."""

from __future__ import annotations

import itertools
import math
import re
from pathlib import Path

from kerfwave.acoustics.air import air
from kerfwave.findings import Finding
from kerfwave.measure.columns import ColumnError, Columns, read_columns, text_of
from kerfwave.model.spec import Driver, DriverCurve
from kerfwave.spec.units import number

MOST_BYTES = 1 << 20
MOST_LEVEL_DB = 300.0


def read(path: Path, driver: Driver) -> tuple[DriverCurve | None, tuple[Finding, ...]]:
    """Return the curve in the file at `path`, or what stands against it. Never raises.

    Rows must stand in order of frequency: one that does not is more often a slip than a habit of the program that
    wrote it. The curve has to cover the octave in which it is joined to the model.
    """
    name = path.as_posix()
    if not path.is_file():  # a pipe would keep us waiting for ever
        return None, (_refused(name, 1, "this is not a regular file", "", "a text file with two columns"),)
    try:
        with path.open("rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
    except OSError as error:
        return None, (_refused(name, 1, f"the file cannot be read: {error.strerror or error}", "", ""),)
    if len(raw) > MOST_BYTES:
        return None, (_refused(name, 1, "it is larger than 1 MiB", "", "export fewer points"),)
    text = ""
    try:
        text = text_of(raw, name=name)
        table = read_columns(text, name=name, columns=("frequency in Hz", "level in dB"))
        _check(table, driver)
    except ColumnError as error:
        lines = re.split(r"\r\n|\n|\r", text)
        shown = lines[error.line - 1] if error.line <= len(lines) else ""
        return None, (_refused(name, error.line, error.problem, shown, error.remedy),)
    return DriverCurve(*table.values), ()


def join_from_hz(driver: Driver) -> float:
    """Return where a measured curve begins to count, ka = 1/2; from an octave above, ka = 1, it counts alone."""
    return air().speed / (4.0 * math.pi * math.sqrt(driver.sd_cm2 * 1e-4 / math.pi))


def _check(table: Columns, driver: Driver) -> None:
    frequency, level = table.values
    as_written = sorted(zip(table.lines, frequency, strict=True))
    for (_, before), (line, hz) in itertools.pairwise(as_written):
        if hz < before:
            raise ColumnError(
                table.name, line, f"{number(hz)} Hz stands below a higher frequency", "rising frequencies"
            )
    for line, db in zip(table.lines, level, strict=True):
        if abs(db) > MOST_LEVEL_DB:
            raise ColumnError(table.name, line, f"a level of {number(db)} dB", "levels in dB in the second column")
    low, high = join_from_hz(driver), 2.0 * join_from_hz(driver)
    if frequency[0] > low or frequency[-1] < high:
        problem = f"it goes from {number(frequency[0])} to {number(frequency[-1])} Hz"
        remedy = f"{number(round(low))} to {number(round(high))} Hz at least, where it is joined to the model"
        raise ColumnError(table.name, table.lines[0], problem, remedy)


def _refused(name: str, line: int, problem: str, shown: str, remedy: str) -> Finding:
    why = "read as the driver's response_file"
    return Finding("K304", "error", name, line, 1, problem, why, remedy, shown, max(1, len(shown)))
