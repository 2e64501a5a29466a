"""Slices: the layers, the insets, and what is scored on them."""

from __future__ import annotations

from dataclasses import dataclass

from kerfwave.body.air import Body
from kerfwave.body.insets import insets
from kerfwave.body.marks import check_marks, mark_layers, mark_ring
from kerfwave.body.pairs import check_pair, left_and_right, lefts, rights
from kerfwave.body.slices import Slices, slices
from kerfwave.body.splitting import CannotSplit, split_layers
from kerfwave.engine.errors import StageError
from kerfwave.model.kinds import Kind
from kerfwave.model.parts import Check, Layer, Piece
from kerfwave.model.spec import Driver, Terminals
from kerfwave.stages.sparing import Shop, least_stock


@dataclass(frozen=True, slots=True)
class Sliced:
    """Everything there is to cut."""

    layers: tuple[Layer, ...]
    pieces: tuple[Piece, ...]
    insets: tuple[Piece, ...]
    checks: tuple[Check, ...]
    plain: Slices  # one body before anything is scored on it, and its insets
    across: tuple[Piece, ...]
    right: tuple[Layer, ...] = ()  # layers of the mirrored body of a pair; its pieces are among `pieces`


ALONG_FRONT = "x"  # where a sheet's grain matters, it runs along the front of every layer, and across the insets


def run(
    body: Body,
    driver: Driver,
    terminals: Terminals,
    kinds: tuple[Kind, ...],
    sheet_grain: str | None,
    split: str,
    margin_mm: float,
    bed_width_mm: float,
    bed_height_mm: float,
    marks: str,
    count: int,
    seam: str,
    spacing_mm: float | None,
    turns: str,
) -> Sliced:
    """Run the stage.

    Raises:
        StageError: if a piece is too large for sheet and bed, shall be split, and cannot be.
    """
    grain = None if sheet_grain is None else ALONG_FRONT
    names = tuple(kind.stock.name for kind in kinds)
    cut = slices(body, names[0], grain=grain, kinds=names)
    across = insets(body, driver, terminals, grain=grain)
    standing = across if count == 1 else (*lefts(across), *rights(across))
    checks: list[Check] = []
    shop = Shop(kinds, margin_mm, spacing_mm, sheet_grain, turns, (bed_width_mm, bed_height_mm), count)
    try:
        if split == "when-needed":
            cut = split_layers(body, cut, shop.rooms_mm, keyed=seam == "keyed")
        elif split == "saves-stock":
            cut, check = least_stock(body, cut, standing, shop, keyed=seam == "keyed")
            checks.append(check)
    except CannotSplit as error:
        raise StageError(str(error), ("enclosure", "plan")) from error
    bodies = (cut,) if count == 1 else left_and_right(cut)
    marked = [mark_layers(one, body.rules.stack, marks) for one in bodies]
    if marks != "none":
        standing = tuple(mark_ring(p, driver.frame_mm) if p.role == "driver-ring" else p for p in standing)
        checks.append(check_marks(marked[0]))
    if count > 1:
        checks.append(check_pair(cut))
    return Sliced(
        layers=marked[0].layers,
        pieces=tuple(piece for one in marked for piece in one.pieces),
        insets=standing,
        checks=tuple(checks),
        plain=cut,
        across=across,
        right=marked[1].layers if count > 1 else (),
    )
