"""Whether splitting rings saves stock: the nest is tried with whole rings and with rings in parts; the least wins."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kerfwave import nest
from kerfwave.body.air import Body
from kerfwave.body.pairs import left_and_right
from kerfwave.body.slices import Slices
from kerfwave.body.splitting import CannotSplit, Rooms, split_layers
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Check, Piece
from kerfwave.model.spec import SheetStock
from kerfwave.numfmt import several
from kerfwave.stages.supply import SPACING_MM

KERF_MM = 0.2  # by which large sheets are divided: the recipe's is not known yet
SHARES = (0.75, 0.55)  # of the plan's longest side, that no part of a ring shall exceed: what is tried


@dataclass(frozen=True, slots=True)
class Shop:
    """What the nest needs to know."""

    kinds: tuple[Kind, ...]
    margin_mm: float
    spacing_mm: float | None
    grain: str | None
    turns: str
    bed_mm: tuple[float, float]
    count: int

    @property
    def rooms_mm(self) -> tuple[Rooms, ...]:
        """Usable width and height of the sheets of each kind."""
        width, height = self.bed_mm
        return tuple(
            tuple(
                (min(s.width_mm, width) - 2 * self.margin_mm, min(s.height_mm, height) - 2 * self.margin_mm)
                for s in kind.stock.sheets
            )
            for kind in self.kinds
        )


def least_stock(
    body: Body, whole: Slices, insets: tuple[Piece, ...], shop: Shop, *, keyed: bool
) -> tuple[Slices, Check]:
    """Return the slices that take the least area of sheets (of equals, the fewest pieces), and what was found.

    Raises:
        CannotSplit: if a piece is too large for sheet and bed, and cannot be split.
    """
    tried = [(cut, _area(cut, insets, shop)) for cut in _ways(body, whole, shop, keyed=keyed)]
    first, (base_mm2, base_sheets) = tried[0]
    cut, (area_mm2, sheets) = min(tried, key=lambda t: (round(t[1][0], 1), len(t[0].pieces)))
    if cut is first:
        less = "would save no sheet" if math.isfinite(area_mm2) else "do not fit on the sheets that there are either"
        return first, Check("split", "ok", f"rings in parts {less}, so they stay whole")
    text = f"rings in parts, {len(cut.pieces)} pieces instead of {len(first.pieces)}, take {several(sheets, 'sheet')}"
    text += f" instead of {base_sheets}" if math.isfinite(base_mm2) else "; whole they take more than there are"
    return cut, Check("split", "ok", text, float(sheets), float(base_sheets) if math.isfinite(base_mm2) else None)


def _ways(body: Body, whole: Slices, shop: Shop, *, keyed: bool) -> Iterator[Slices]:
    xs, ys = [x for x, _ in body.plan.outline], [y for _, y in body.plan.outline]
    longest = max(max(xs) - min(xs), max(ys) - min(ys))
    yield split_layers(body, whole, shop.rooms_mm, keyed=keyed)
    for share in SHARES:
        try:
            yield split_layers(body, whole, shop.rooms_mm, sparing_mm=share * longest, keyed=keyed)
        except CannotSplit:
            continue


def _area(cut: Slices, insets: tuple[Piece, ...], shop: Shop) -> tuple[float, int]:
    """Return the area of the sheets that these pieces take, and their number; without end if they do not fit."""
    pieces = cut.pieces
    if shop.count > 1:
        pieces = tuple(piece for one in left_and_right(cut) for piece in one.pieces)
    found: list[SheetStock] = []
    for kind in shop.kinds:
        divisions = nest.divide_all(kind.stock.sheets, shop.bed_mm, KERF_MM, may_turn=shop.grain is None)
        try:
            packed = nest.pack_divided(
                tuple(p for p in (*pieces, *insets) if p.thickness_mm == kind.thickness_mm),
                divisions,
                bed_mm=shop.bed_mm,
                margin_mm=shop.margin_mm,
                spacing_mm=SPACING_MM if shop.spacing_mm is None else shop.spacing_mm,
                sheet_grain=shop.grain,
                turns=shop.turns,
            )
        except (nest.DoesNotFit, nest.NotEnoughSheets):
            return math.inf, 0
        found += [division.stock for division, _ in nest.taken(packed, divisions)]
    return math.fsum(s.width_mm * s.height_mm for s in found), len(found)
