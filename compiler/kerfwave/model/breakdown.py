"""Sheets larger than the bed, cut down first: which of them, into what, by which straight cuts."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.model.parts import Point, Ring


@dataclass(frozen=True, slots=True)
class StraightCut:
    """One straight cut. `size_mm` is what it leaves on the side of the sheet's lower left corner.

    The beam's middle runs `stop_mm` from the edge that the size is measured from, half a kerf more. `start_mm` and
    `end_mm` are its ends in the coordinates of the sheet; `runs` counts how often the program's line is needed for it.
    """

    start_mm: Point
    end_mm: Point
    size_mm: float
    stop_mm: float
    runs: int


@dataclass(frozen=True, slots=True)
class Part:
    """One blank of a sheet that is cut down, and the sheet of the nest that it becomes; None: it is left for later."""

    sheet: int | None
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    turned: bool
    outline: Ring = ()  # in the coordinates of the blank as it lies on the bed; (): a rectangle


@dataclass(frozen=True, slots=True)
class Opened:
    """One sheet taken from the stock."""

    number: int
    entry: int
    width_mm: float
    height_mm: float
    outline: Ring
    parts: tuple[Part, ...]
    cuts: tuple[StraightCut, ...]


@dataclass(frozen=True, slots=True)
class Breakdown:
    """All sheets that are taken from the stock. `line_mm` is the length of the program's line."""

    opened: tuple[Opened, ...]
    line_mm: float

    @property
    def cut_down(self) -> tuple[Opened, ...]:
        """Those that are cut down."""
        return tuple(o for o in self.opened if o.cuts)
